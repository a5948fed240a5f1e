//! A machine as it stands: what sits where, how old it is, and what is to be done with it.
//!
//! In: nothing. Out: the plain data a plan is made of. Never: computation beyond reading off.

use std::collections::BTreeMap;

use super::Rate;

/// One machine on the day the plan is made for.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineNow {
    /// As tables name it.
    pub machine: String,
    pub name: String,
    pub slots: Vec<SlotNow>,
    /// Strip-downs, one a cylinder.
    pub openings: Vec<Opening>,
    /// Usage between planned stops, and the usage it counts in; `None` where no renewal is
    /// worth planning.
    pub base: Option<(String, f64)>,
    /// How fast each usage grows, by its id.
    pub rates: BTreeMap<String, Rate>,
    /// Money per production hour lost, and per hour of labour.
    pub downtime_cost: f64,
    pub labour_rate: f64,
}

/// One strip-down of one cylinder.
#[derive(Debug, Clone, PartialEq)]
pub struct Opening {
    /// Id in the register and the cylinder: `cylinder`, `P2`; the cylinder is empty where the
    /// positions have none.
    pub access: String,
    pub cylinder: String,
    pub name: String,
    pub labour_h: f64,
    /// Slots (indices) renewed whenever it is opened.
    pub always: Vec<usize>,
}

/// What is known of the usage on an item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Since {
    /// Its age now.
    Age(f64),
    /// At least so much: it came with an unknown age.
    AtLeast(f64),
    /// Nothing is in the slot, or nothing is known of it.
    Unknown,
}

impl Since {
    /// The age to reckon with; an item of unknown age counts what was seen of it.
    pub fn age(self) -> Option<f64> {
        match self {
            Since::Age(age) | Since::AtLeast(age) => Some(age),
            Since::Unknown => None,
        }
    }
}

/// Where an interval comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// The grouped plan: this multiple of the base interval.
    Grouped { multiple: u32 },
    /// The register's present interval, kept as the record does not settle another.
    Present,
    /// A ceiling alone.
    Ceiling,
}

/// When a slot's item is to be renewed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Renewal {
    /// The age aimed at.
    pub interval: f64,
    /// The age it may reach where that saves a stop; never beyond the ceiling.
    pub latest: f64,
    pub basis: Basis,
}

/// One slot of the machine.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotNow {
    pub component: String,
    pub name: String,
    pub position: String,
    /// Which of the machine's openings exposes it.
    pub opening: Option<usize>,
    /// Id of the usage that ages it, and its unit.
    pub usage: String,
    pub unit: String,
    pub since: Since,
    /// Found worn or failed and still in: what was found.
    pub condemned: Option<String>,
    pub renewal: Option<Renewal>,
    pub ceiling: Option<f64>,
    /// Ages beyond which it is taken along: where it lies open anyway, and where the machine
    /// is down for something else.
    pub take_exposed: Option<f64>,
    pub take_down: Option<f64>,
    /// The age at which to look, where looking is cheaper than renewing by age.
    pub look_at: Option<f64>,
    /// Hands-on hours beside the opening; production hours that it adds to a stop; those that
    /// any stop for it costs; money for its pieces.
    pub own_labour_h: f64,
    pub own_stop_h: f64,
    pub shared_h: f64,
    pub parts_cost: f64,
    pub part: Option<String>,
    pub pieces: u32,
    /// What is measured when it lies open.
    pub measures: Vec<String>,
}

impl SlotNow {
    /// What taking it costs once it lies open and the machine is down.
    pub fn own_cost(&self, machine: &MachineNow) -> f64 {
        self.parts_cost
            + self.own_labour_h * machine.labour_rate
            + self.own_stop_h * machine.downtime_cost
    }

    /// What a stop for it alone costs beside that.
    pub fn stop_cost(&self, machine: &MachineNow) -> f64 {
        let opening = self.opening.map_or(0.0, |n| machine.openings[n].labour_h);
        opening * machine.labour_rate + self.shared_h * machine.downtime_cost
    }
}
