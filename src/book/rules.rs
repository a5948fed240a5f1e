//! Whether an entry agrees with the register.

use super::conflict::Conflict;
use super::entry::{Entry, Event, SlotName};
use crate::quantity::{Unit, nearest};
use crate::register::{Component, Register};
use crate::wear::LimitRule;

/// Everything in an entry that the register does not know.
pub(super) fn against_register(register: &Register, entry: &Entry) -> Vec<Conflict> {
    let mut found = Vec::new();
    let Some(machine) = entry.machine.as_deref() else {
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
        && register.usage(meter).is_none()
    {
        let known = names(register.usages.iter().map(|u| u.id.as_str()));
        found.push(Conflict::UnknownMeter {
            meter: meter.clone(),
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

fn about_slot(
    register: &Register,
    machine: &str,
    slot: &SlotName,
    event: &Event,
    found: &mut Vec<Conflict>,
) {
    let Some(component) = register.component(&slot.component) else {
        let known = names(register.components.iter().map(|c| c.id.as_str()));
        found.push(Conflict::UnknownComponent {
            component: slot.component.clone(),
            nearest: near(&slot.component, &known),
            known,
        });
        return;
    };
    let slots = || register.slots(machine);
    if register.machine(machine).is_some()
        && !slots().any(|s| s.component == slot.component && s.position == slot.position)
    {
        let known = names(
            slots()
                .filter(|s| s.component == slot.component)
                .map(|s| s.position),
        );
        found.push(Conflict::UnknownSlot {
            machine: machine.to_owned(),
            component: slot.component.clone(),
            position: slot.position.clone(),
            nearest: near(&slot.position, &known),
            known,
        });
    }
    let mode = match event {
        Event::Inspected { mode, .. } => mode.as_ref(),
        other => other.ending().and_then(|end| end.mode.as_ref()),
    };
    if let Some(mode) = mode
        && !component.modes.contains(mode)
    {
        found.push(Conflict::UnknownMode {
            component: component.id.clone(),
            mode: mode.clone(),
            nearest: near(mode, &component.modes),
            known: component.modes.clone(),
        });
    }
    if let Some(part) = event.item().and_then(|item| item.part.as_deref()) {
        about_part(register, component, part, found);
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
            quantity,
            unit,
            zone.as_deref(),
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
