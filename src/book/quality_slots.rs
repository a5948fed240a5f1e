//! Doubts about slots: what sits in them, for how long, and how it was found.

use std::collections::{BTreeMap, HashMap};

use super::doubt::Doubt;
use super::entry::{Age, Event, Finding, Item, Reason, SlotName};
use super::ledger::Placed;
use super::quality::{Look, slot_name};
use super::quality_meters::Readings;

/// The item in a slot, as the walk through time has it.
struct Seat<'a> {
    put_in: Placed<'a>,
    item: &'a Item,
    bad: Option<(Finding, Placed<'a>)>,
}

impl<'a> Look<'a> {
    pub(super) fn slots(&mut self, entries: &[Placed<'a>]) {
        let mut seats: BTreeMap<(&str, &str, &str), Option<Seat<'a>>> = BTreeMap::new();
        let mut emptied: BTreeMap<(&str, &str, &str), Placed<'a>> = BTreeMap::new();
        let mut serials: HashMap<(&str, &str), Option<Placed<'a>>> = HashMap::new();
        let readings = Readings::of(entries);
        let mut unknown: Vec<Placed<'a>> = Vec::new();
        for placed in entries {
            let Some(slot) = placed.entry.event.slot() else {
                continue;
            };
            let machine = placed.entry.machine.as_deref().unwrap_or_default();
            let key = (machine, slot.component.as_str(), slot.position.as_str());
            let name = slot_name(machine, slot);
            if let Event::Inspected { finding, .. } = &placed.entry.event {
                let seat = seats.get_mut(&key).and_then(Option::as_mut);
                self.inspected(placed, *finding, seat, &name);
                continue;
            }
            if let Some(end) = placed.entry.event.ending() {
                let seat = seats.remove(&key).flatten();
                if let Some(seat) = &seat {
                    self.taken_out(placed, end.reason, seat, &name, &readings);
                    if let Some(serial) = &seat.item.serial {
                        serials.insert((slot.component.as_str(), serial), None);
                    }
                }
                seats.insert(key, None);
                emptied.insert(key, *placed);
            }
            if let Some(item) = placed.entry.event.item() {
                emptied.remove(&key);
                // What a slot holds when its record begins was not fitted then.
                let in_place = !seats.contains_key(&key);
                self.put_in(placed, slot, item, &name, in_place, &mut serials);
                if item.age == Age::Unknown {
                    unknown.push(*placed);
                }
                let seat = Seat {
                    put_in: *placed,
                    item,
                    bad: None,
                };
                seats.insert(key, Some(seat));
            }
        }
        self.unknown_ages(&unknown);
        self.never_filled(&seats);
        let end = entries.last().map(|placed| placed.entry.time);
        for ((machine, component, position), placed) in emptied {
            let days = end.map_or(0, |end| (end - placed.entry.time).num_days());
            if days > 7 {
                let slot = format!("{machine} {component} {position}");
                self.doubt(&placed, &Doubt::LeftEmpty { slot, days });
            }
        }
    }

    fn inspected(
        &mut self,
        placed: &Placed<'a>,
        finding: Finding,
        seat: Option<&mut Seat<'a>>,
        name: &str,
    ) {
        if let (Event::Inspected { mode: None, .. }, Finding::Failed | Finding::Worn) =
            (&placed.entry.event, finding)
        {
            let slot = name.to_owned();
            let word = finding.word();
            self.doubt(placed, &Doubt::NoMode { slot, word });
        }
        let Some(seat) = seat else { return };
        match (finding, seat.bad) {
            (Finding::Sound, Some((bad, before))) => {
                let doubt = Doubt::SoundAgain {
                    slot: name.to_owned(),
                    word: bad.word(),
                    before: self.witness(&before),
                };
                self.doubt(placed, &doubt);
                seat.bad = None;
            }
            (Finding::Worn | Finding::Failed, None) => seat.bad = Some((finding, *placed)),
            _ => {}
        }
    }

    fn taken_out(
        &mut self,
        placed: &Placed<'a>,
        reason: Reason,
        seat: &Seat<'a>,
        name: &str,
        readings: &Readings<'a>,
    ) {
        let by_itself = matches!(reason, Reason::Failed | Reason::Worn);
        if let (false, Some((bad, before))) = (by_itself, &seat.bad) {
            let doubt = Doubt::ReasonDiffers {
                slot: name.to_owned(),
                reason: reason.word(),
                word: bad.word(),
                before: self.witness(before),
            };
            self.doubt(placed, &doubt);
        }
        let machine = placed.entry.machine.as_deref().unwrap_or_default();
        let component = placed
            .entry
            .event
            .slot()
            .map(|slot| slot.component.as_str());
        let usage = component
            .and_then(|id| self.ledger.register.component(id))
            .map_or("", |component| &component.usage);
        let (from, to) = (seat.put_in.entry.time, placed.entry.time);
        if from == to || readings.stood_still(machine, usage, from, to) {
            let doubt = Doubt::NoLength {
                slot: name.to_owned(),
                put_in: self.witness(&seat.put_in),
            };
            self.doubt(placed, &doubt);
        }
    }

    fn put_in(
        &mut self,
        placed: &Placed<'a>,
        slot: &'a SlotName,
        item: &'a Item,
        name: &str,
        in_place: bool,
        serials: &mut HashMap<(&'a str, &'a str), Option<Placed<'a>>>,
    ) {
        let register = &self.ledger.register;
        let never_refit = register
            .component(&slot.component)
            .is_some_and(|component| component.never_refit);
        let mut before = None;
        if let Some(serial) = &item.serial {
            let known = serials.insert((&slot.component, serial), Some(*placed));
            if let Some(Some(other)) = known {
                let doubt = Doubt::SerialTwice {
                    serial: serial.clone(),
                    other: self.witness(&other),
                };
                self.doubt(placed, &doubt);
            }
            before = known.map(|other| other.map(|other| self.witness(&other)));
        }
        let used = !in_place && item.age.usage().is_some_and(|age| age > 0.0);
        if never_refit && (used || before.is_some()) {
            let doubt = Doubt::Refitted {
                slot: name.to_owned(),
                component: slot.component.clone(),
                before: before.flatten(),
            };
            self.doubt(placed, &doubt);
        }
        let expected = register.pieces(&slot.component);
        if let Some(pieces) = item.pieces
            && pieces != expected
        {
            let slot = name.to_owned();
            let doubt = Doubt::Pieces {
                slot,
                pieces,
                expected,
            };
            self.doubt(placed, &doubt);
        }
    }

    fn unknown_ages(&mut self, unknown: &[Placed<'a>]) {
        let Some(first) = unknown.first() else { return };
        let names: Vec<String> = unknown
            .iter()
            .filter_map(|placed| {
                let machine = placed.entry.machine.as_deref()?;
                Some(slot_name(machine, placed.entry.event.slot()?))
            })
            .collect();
        let shown = names.len().min(6);
        let mut slots = names[..shown].join(", ");
        if names.len() > shown {
            slots.push_str(&format!(" and {} more", names.len() - shown));
        }
        let count = names.len();
        self.doubt(first, &Doubt::UnknownAges { count, slots });
    }

    fn never_filled(&mut self, seats: &BTreeMap<(&str, &str, &str), Option<Seat<'a>>>) {
        let register = &self.ledger.register;
        let mut empty: Vec<(&str, &str, Vec<&str>)> = Vec::new();
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                if seats.contains_key(&(machine.tag.as_str(), slot.component, slot.position)) {
                    continue;
                }
                match empty.last_mut() {
                    Some((tag, component, positions))
                        if *tag == machine.tag && *component == slot.component =>
                    {
                        positions.push(slot.position);
                    }
                    _ => empty.push((&machine.tag, slot.component, vec![slot.position])),
                }
            }
        }
        for (machine, component, positions) in empty {
            self.doubt_register(&Doubt::NeverFilled {
                machine: machine.to_owned(),
                component: component.to_owned(),
                positions: positions.join(", "),
            });
        }
    }
}
