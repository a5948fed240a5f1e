//! What a register holds, named as in `plant.toml`.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use chrono_tz::Tz;
use rust_decimal::Decimal;

use crate::quantity::{Currency, Language, Paper, Unit};
use crate::wear::LimitRule;

/// The whole register. Usage values are in the unit of their usage kind; money is in
/// the plant's currency; hours are hours.
#[derive(Debug, Clone, PartialEq)]
pub struct Register {
    pub plant: Plant,
    pub looks: Looks,
    pub usages: Vec<UsageKind>,
    pub components: Vec<Component>,
    pub accesses: Vec<Access>,
    pub layouts: Vec<Layout>,
    pub machines: Vec<Machine>,
    pub measurements: Vec<Measurement>,
    pub parts: Vec<Part>,
}

/// `[plant]`
#[derive(Debug, Clone, PartialEq)]
pub struct Plant {
    pub name: String,
    pub currency: Currency,
    pub time_zone: Tz,
    /// Money per hour of labour.
    pub labour_rate: Decimal,
    /// Intervals are rounded down to a multiple of this usage.
    pub planning_grid: Option<f64>,
    /// Crews that can open machines on one day, at least 1.
    pub crews: Option<u32>,
    /// Share of the time in which stock should be enough, 0.5 to 0.999.
    pub service_level: Option<f64>,
    /// The plant's own cautions; they stand beside the usual ones, never in their place.
    pub cautions: Vec<String>,
}

/// `[report]`: how the plant wants its printed pages.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Looks {
    /// A picture file in the ledger's folder.
    pub logo: Option<String>,
    /// Of numbers and days; sentences are English.
    pub language: Option<Language>,
    pub paper: Option<Paper>,
}

/// `[[usage]]`: what ages a part, read off a meter of the same id on each machine.
#[derive(Debug, Clone, PartialEq)]
pub struct UsageKind {
    pub id: String,
    pub name: String,
    pub unit: String,
}

/// `[[component]]`: a kind of maintainable item.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    pub id: String,
    pub name: String,
    /// Id of the usage that ages it.
    pub usage: String,
    pub modes: Vec<String>,
    /// Price per piece.
    pub price: Decimal,
    /// Pieces per position.
    pub pieces: u32,
    /// Hands-on hours beside the access labour.
    pub own_labour_h: f64,
    /// Production hours lost by one planned renewal.
    pub planned_stop_h: f64,
    /// Production hours lost by one failure.
    pub failed_stop_h: f64,
    /// Product lost, damage to other parts and the like, per failure.
    pub failed_extra_cost: Decimal,
    /// Never fitted again once taken out.
    pub never_refit: bool,
    pub assumed_shape: Option<AssumedShape>,
    pub shape_prior: Option<ShapePrior>,
    pub ceiling: Option<Ceiling>,
    /// Usage at which the crew renews it today.
    pub present_interval: Option<f64>,
    /// What to look at when it lies open, in the plant's words.
    pub checks: Vec<String>,
}

/// A shape taken from elsewhere, with its source.
#[derive(Debug, Clone, PartialEq)]
pub struct AssumedShape {
    pub shape: f64,
    pub source: String,
}

/// 5 % and 95 % points of what is believed of the shape, with the source.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapePrior {
    pub low: f64,
    pub high: f64,
    pub source: String,
}

/// A usage that no interval may pass, with its source.
#[derive(Debug, Clone, PartialEq)]
pub struct Ceiling {
    pub value: f64,
    pub source: String,
}

/// `[[access]]`: a strip-down that exposes several slots at once.
#[derive(Debug, Clone, PartialEq)]
pub struct Access {
    pub id: String,
    pub name: String,
    pub labour_h: f64,
    /// Ids of components renewed whenever it is opened.
    pub always_renew: Vec<String>,
    /// Opening, doing and closing it, in working order.
    pub steps: Vec<String>,
    /// What to take along beside the usual hand tools.
    pub tools: Vec<String>,
}

/// `[[layout]]`: the slots of a type of machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    pub id: String,
    pub slots: Vec<LayoutSlots>,
    /// Steps before anything of the machine is opened.
    pub before: Vec<String>,
    /// Steps after all is closed, before the machine goes back to production.
    pub after: Vec<String>,
}

/// One component's positions in a layout.
#[derive(Debug, Clone, PartialEq)]
pub struct LayoutSlots {
    pub component: String,
    pub positions: Vec<String>,
    /// Id of the access that exposes them.
    pub access: Option<String>,
    /// Pieces to a position where this type of machine takes another number.
    pub pieces: Option<u32>,
}

/// `[[machine]]`
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    pub tag: String,
    pub name: String,
    pub layout: String,
    pub in_service: NaiveDate,
    /// Money per production hour lost.
    pub downtime_cost: Decimal,
    /// Expected usage per week, by usage id.
    pub usage_per_week: BTreeMap<String, f64>,
}

/// `[[measurement]]`: a quantity measured on a component, and its limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    pub component: String,
    pub quantity: String,
    pub unit: Unit,
    pub zone: Option<String>,
    pub limit: LimitRule,
}

/// `[[part]]`: a part number that fits a component.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    pub number: String,
    pub component: String,
    /// Overrides the component's price.
    pub price: Option<Decimal>,
    pub supplier: Option<String>,
    pub lead_time_days: Option<u32>,
    /// Pieces on the shelf.
    pub stock: Option<u32>,
}

/// One slot of a machine: where one item sits at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Slot<'a> {
    pub component: &'a str,
    pub position: &'a str,
    pub access: Option<&'a str>,
    /// Pieces that one item here is made of.
    pub pieces: u32,
}

/// The cylinder of a position: what stands before its first dot. An access is opened cylinder
/// by cylinder.
pub fn cylinder(position: &str) -> &str {
    position
        .split_once('.')
        .map_or(position, |(before, _)| before)
}

impl Component {
    /// Production hours of one planned renewal: its own, which it adds to any stop, and those
    /// it shares with what else is done in the same stop. Hands-on hours beyond what production
    /// stops for are done while it runs.
    pub fn planned_hours(&self) -> (f64, f64) {
        let own = self.own_labour_h.min(self.planned_stop_h);
        (own, self.planned_stop_h - own)
    }
}

impl Register {
    /// The machine with this tag.
    pub fn machine(&self, tag: &str) -> Option<&Machine> {
        self.machines.iter().find(|m| m.tag == tag)
    }

    /// The component with this id.
    pub fn component(&self, id: &str) -> Option<&Component> {
        self.components.iter().find(|c| c.id == id)
    }

    /// The usage kind (and meter) with this id.
    pub fn usage(&self, id: &str) -> Option<&UsageKind> {
        self.usages.iter().find(|u| u.id == id)
    }

    /// The access with this id.
    pub fn access(&self, id: &str) -> Option<&Access> {
        self.accesses.iter().find(|a| a.id == id)
    }

    /// The layout with this id.
    pub fn layout(&self, id: &str) -> Option<&Layout> {
        self.layouts.iter().find(|l| l.id == id)
    }

    /// The part with this number.
    pub fn part(&self, number: &str) -> Option<&Part> {
        self.parts.iter().find(|p| p.number == number)
    }

    /// The part numbers that fit a component.
    pub fn parts_of<'a>(&'a self, component: &'a str) -> impl Iterator<Item = &'a Part> {
        self.parts.iter().filter(move |p| p.component == component)
    }

    /// The slots of a machine in the order of its layout; none for an unknown tag.
    pub fn slots<'a>(&'a self, tag: &str) -> impl Iterator<Item = Slot<'a>> + use<'a> {
        self.machine(tag)
            .and_then(|machine| self.layout(&machine.layout))
            .into_iter()
            .flat_map(|layout| &layout.slots)
            .flat_map(|slots| {
                let pieces = slots
                    .pieces
                    .unwrap_or_else(|| self.pieces(&slots.component));
                slots.positions.iter().map(move |position| Slot {
                    component: &slots.component,
                    position,
                    access: slots.access.as_deref(),
                    pieces,
                })
            })
    }

    /// The slot of a machine at this component and position.
    pub fn slot(&self, tag: &str, component: &str, position: &str) -> Option<Slot<'_>> {
        self.slots(tag)
            .find(|slot| slot.component == component && slot.position == position)
    }

    /// Pieces that one position of a component takes where its layout says nothing else; 1 for
    /// an unknown component.
    pub fn pieces(&self, component: &str) -> u32 {
        self.component(component).map_or(1, |c| c.pieces)
    }

    /// Pieces that an item in this slot is made of; the component's where no layout has it.
    pub fn pieces_at(&self, tag: &str, component: &str, position: &str) -> u32 {
        self.slot(tag, component, position)
            .map_or_else(|| self.pieces(component), |slot| slot.pieces)
    }

    /// The part number to put into a slot: the one fitted there where the register still has
    /// it, else the last one it states for the component.
    pub fn part_for<'a>(&'a self, component: &'a str, fitted: Option<&str>) -> Option<&'a Part> {
        let known =
            fitted.and_then(|number| self.parts_of(component).find(|part| part.number == number));
        known.or_else(|| self.parts_of(component).last())
    }

    /// The price of one piece: the part's own if it states one, else the component's.
    pub fn price(&self, component: &str, part: Option<&str>) -> Option<Decimal> {
        part.and_then(|number| self.part(number))
            .and_then(|part| part.price)
            .or_else(|| self.component(component).map(|c| c.price))
    }
}
