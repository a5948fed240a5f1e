//! Whether an entry agrees with the register.

use foldhash::{HashMap, HashSet};

use super::conflict::Conflict;
use super::entry::{Entry, Event, SlotName};
use super::fact::Fact;
use super::names::{Id, Names};
use crate::quantity::{Unit, nearest};
use crate::register::{Component, Register};
use crate::wear::LimitRule;

/// The register made ready for very many entries.
pub(super) struct Rules<'r> {
    register: &'r Register,
    layouts: HashMap<&'r str, &'r str>,
    /// Layout, component, position.
    slots: HashSet<(&'r str, &'r str, &'r str)>,
}

/// What was found to agree with the register, so that it need not be asked again.
/// Entries differ in little of what the register knows.
#[derive(Default)]
pub(super) struct KnownFine {
    slots: HashSet<u32>,
    /// Everything else: kind, machine or component, and its words.
    details: HashSet<(u8, Id, [Id; 3], bool)>,
}

impl<'r> Rules<'r> {
    pub(super) fn of(register: &'r Register) -> Rules<'r> {
        let machines = register.machines.iter();
        let slots = register.layouts.iter().flat_map(|layout| {
            layout.slots.iter().flat_map(|slots| {
                let positions = slots.positions.iter();
                positions.map(|p| (layout.id.as_str(), slots.component.as_str(), p.as_str()))
            })
        });
        Rules {
            register,
            layouts: machines
                .map(|m| (m.tag.as_str(), m.layout.as_str()))
                .collect(),
            slots: slots.collect(),
        }
    }

    /// As [`against_register`]; `fact` is the entry's.
    pub(super) fn against<S: AsRef<str>>(
        &self,
        entry: &Entry<S>,
        fact: &Fact,
        names: &mut Names,
        known: &mut KnownFine,
    ) -> Vec<Conflict> {
        let Some(machine) = &entry.machine else {
            return Vec::new();
        };
        let slot_fine = match (fact.slot(), entry.event.slot()) {
            (Some(number), Some(slot)) => {
                known.slots.contains(&number) || {
                    let fine = self.layouts.get(machine.as_ref()).is_some_and(|layout| {
                        let slot = (*layout, slot.component.as_ref(), slot.position.as_ref());
                        self.slots.contains(&slot)
                    });
                    if fine {
                        known.slots.insert(number);
                    }
                    fine
                }
            }
            _ => true,
        };
        let details = details(entry, fact, names);
        if slot_fine && known.details.contains(&details) {
            return Vec::new();
        }
        let found = against_register(self.register, entry);
        if found.is_empty() {
            known.details.insert(details);
        }
        found
    }
}

/// All of an entry beside its slot that the register has a say in.
fn details<S: AsRef<str>>(
    entry: &Entry<S>,
    fact: &Fact,
    names: &mut Names,
) -> (u8, Id, [Id; 3], bool) {
    let none = Id::NONE;
    let Some(slot) = entry.event.slot() else {
        return match &entry.event {
            Event::Reading { meter, .. } => {
                let meter = names.id(meter.as_ref());
                (0, fact.machine, [meter, none, none], false)
            }
            _ => (1, fact.machine, [none; 3], false),
        };
    };
    let component = names.id(slot.component.as_ref());
    let words = match &entry.event {
        Event::Measured {
            quantity,
            unit,
            zone,
            span,
            ..
        } => {
            let quantity = names.id(quantity.as_ref());
            let unit = names.id(unit.as_ref());
            let zone = names.id_if(zone.as_ref());
            return (2, component, [quantity, unit, zone], span.is_some());
        }
        Event::Inspected { mode, .. } => [names.id_if(mode.as_ref()), none, none],
        event => {
            let mode = event.ending().and_then(|end| end.mode.as_ref());
            let part = event.item().and_then(|item| item.part.as_ref());
            [names.id_if(mode), names.id_if(part), none]
        }
    };
    (3, component, words, false)
}

/// Everything in an entry that the register does not know.
pub(super) fn against_register<S: AsRef<str>>(
    register: &Register,
    entry: &Entry<S>,
) -> Vec<Conflict> {
    let mut found = Vec::new();
    let Some(machine) = entry.machine.as_ref().map(AsRef::as_ref) else {
        return found;
    };
    if register.machine(machine).is_none() {
        let known = names(register.machines.iter().map(|m| m.tag.as_str()));
        found.push(Conflict::UnknownMachine {
            machine: machine.to_owned(),
            nearest: near(machine, &known),
            known,
        });
    }
    if let Event::Reading { meter, .. } = &entry.event
        && let meter = meter.as_ref()
        && register.usage(meter).is_none()
    {
        let known = names(register.usages.iter().map(|u| u.id.as_str()));
        found.push(Conflict::UnknownMeter {
            meter: meter.to_owned(),
            nearest: near(meter, &known),
            known,
        });
    }
    if let Some(slot) = entry.event.slot() {
        about_slot(register, machine, slot, &entry.event, &mut found);
    }
    found
}

fn names<'a>(all: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut known: Vec<String> = Vec::new();
    for name in all {
        if !known.iter().any(|other| other == name) {
            known.push(name.to_owned());
        }
    }
    known
}

fn near(word: &str, known: &[String]) -> Option<String> {
    nearest(word, known.iter().map(String::as_str)).map(str::to_owned)
}

fn about_slot<S: AsRef<str>>(
    register: &Register,
    machine: &str,
    slot: &SlotName<S>,
    event: &Event<S>,
    found: &mut Vec<Conflict>,
) {
    let (id, position) = (slot.component.as_ref(), slot.position.as_ref());
    let Some(component) = register.component(id) else {
        let known = names(register.components.iter().map(|c| c.id.as_str()));
        found.push(Conflict::UnknownComponent {
            component: id.to_owned(),
            nearest: near(id, &known),
            known,
        });
        return;
    };
    let slots = || register.slots(machine);
    if register.machine(machine).is_some()
        && !slots().any(|s| s.component == id && s.position == position)
    {
        let known = names(slots().filter(|s| s.component == id).map(|s| s.position));
        found.push(Conflict::UnknownSlot {
            machine: machine.to_owned(),
            component: id.to_owned(),
            position: position.to_owned(),
            nearest: near(position, &known),
            known,
        });
    }
    let mode = match event {
        Event::Inspected { mode, .. } => mode.as_ref(),
        other => other.ending().and_then(|end| end.mode.as_ref()),
    };
    if let Some(mode) = mode.map(AsRef::as_ref)
        && !component.modes.iter().any(|known| known == mode)
    {
        found.push(Conflict::UnknownMode {
            component: component.id.clone(),
            mode: mode.to_owned(),
            nearest: near(mode, &component.modes),
            known: component.modes.clone(),
        });
    }
    if let Some(part) = event.item().and_then(|item| item.part.as_ref()) {
        about_part(register, component, part.as_ref(), found);
    }
    if let Event::Measured {
        quantity,
        unit,
        zone,
        span,
        ..
    } = event
    {
        about_measurement(
            register,
            component,
            quantity.as_ref(),
            unit.as_ref(),
            zone.as_ref().map(AsRef::as_ref),
            span.is_some(),
            found,
        );
    }
}

/// A part number must be known if the register lists any for the component, and may
/// never be one that the register lists for another component.
fn about_part(register: &Register, component: &Component, part: &str, found: &mut Vec<Conflict>) {
    match register.part(part) {
        Some(known) if known.component == component.id => {}
        Some(other) => found.push(Conflict::PartFitsAnother {
            component: component.id.clone(),
            part: part.to_owned(),
            fits: other.component.clone(),
        }),
        None => {
            let known = names(register.parts_of(&component.id).map(|p| p.number.as_str()));
            if !known.is_empty() {
                found.push(Conflict::UnknownPart {
                    component: component.id.clone(),
                    part: part.to_owned(),
                    nearest: near(part, &known),
                    known,
                });
            }
        }
    }
}

fn about_measurement(
    register: &Register,
    component: &Component,
    quantity: &str,
    unit: &str,
    zone: Option<&str>,
    has_span: bool,
    found: &mut Vec<Conflict>,
) {
    let of_component = || {
        register
            .measurements
            .iter()
            .filter(|m| m.component == component.id)
    };
    let fits: Vec<_> = of_component().filter(|m| m.quantity == quantity).collect();
    let Some(first) = fits.first() else {
        let known = names(of_component().map(|m| m.quantity.as_str()));
        found.push(Conflict::UnknownQuantity {
            component: component.id.clone(),
            quantity: quantity.to_owned(),
            nearest: near(quantity, &known),
            known,
        });
        return;
    };
    let zones = names(fits.iter().flat_map(|m| match (&m.zone, m.limit) {
        (_, LimitRule::Paired { .. }) => vec![LimitRule::WORKING, LimitRule::UNWORN],
        (Some(zone), _) => vec![zone.as_str()],
        (None, _) => Vec::new(),
    }));
    let any_zone = fits
        .iter()
        .any(|m| m.zone.is_none() && !matches!(m.limit, LimitRule::Paired { .. }));
    match zone {
        None if !any_zone => found.push(Conflict::ZoneMissing {
            component: component.id.clone(),
            quantity: quantity.to_owned(),
            known: zones,
        }),
        Some(zone) if !any_zone && !zones.iter().any(|known| known == zone) => {
            found.push(Conflict::UnknownZone {
                component: component.id.clone(),
                quantity: quantity.to_owned(),
                zone: zone.to_owned(),
                nearest: near(zone, &zones),
                known: zones,
            });
        }
        _ => {}
    }
    let per_metre = fits.iter().any(|m| {
        matches!(m.limit, LimitRule::PerMetreAtMost { .. })
            && (m.zone.is_none() || m.zone.as_deref() == zone)
    });
    if per_metre && !has_span {
        found.push(Conflict::SpanMissing {
            component: component.id.clone(),
            quantity: quantity.to_owned(),
        });
    }
    let known = || {
        Unit::symbols_of(first.unit.dimension())
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    match Unit::parse(unit) {
        None => found.push(Conflict::UnknownUnit {
            unit: unit.to_owned(),
            nearest: near(unit, &known()),
            known: known(),
        }),
        Some(given) if given.dimension() != first.unit.dimension() => {
            found.push(Conflict::WrongUnit {
                quantity: quantity.to_owned(),
                unit: unit.to_owned(),
                found: given.dimension().name(),
                expected: first.unit.dimension().name(),
                known: known(),
            });
        }
        Some(_) => {}
    }
}
