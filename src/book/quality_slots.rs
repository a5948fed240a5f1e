//! Doubts about slots: what sits in them, for how long, and how it was found.

use std::collections::HashMap;

use super::doubt::Doubt;
use super::entry::{Finding, Reason};
use super::fact::{End, Put, What, Worn};
use super::names::Id;
use super::quality::Look;
use super::quality_meters::stood_still;
use crate::register::Component;

/// What a slot holds, as the walk through time has it.
#[derive(Clone, Copy, Default)]
enum Seat {
    #[default]
    NeverFilled,
    Filled {
        put_in: u32,
        serial: Id,
        bad: Option<(Finding, u32)>,
    },
    /// By this entry.
    Emptied(u32),
}

/// Where an item of a serial number is: put in by this entry, or nowhere.
type Serials = HashMap<(Id, Id), Option<u32>>;

impl Look {
    pub(super) fn slots(&mut self) {
        let components = self.components();
        let mut seats = vec![Seat::default(); self.state.names.slots.len()];
        let mut serials = Serials::new();
        let mut unknown: Vec<u32> = Vec::new();
        for i in 0..self.order.len() {
            let turn = self.order[i];
            let fact = self.fact(turn);
            let Some(slot) = fact.slot() else { continue };
            let seat = seats[slot as usize];
            let (_, component, _) = self.state.names.slots[slot as usize];
            if let What::Inspected {
                finding, with_mode, ..
            } = fact.what
            {
                seats[slot as usize] = self.inspected(turn, slot, finding, with_mode, seat);
                continue;
            }
            if let Some(end) = fact.end() {
                if let Seat::Filled {
                    put_in,
                    serial,
                    bad,
                } = seat
                {
                    let usage = components.get(&component).map(|c| c.usage.as_str());
                    self.taken_out(turn, slot, end, put_in, bad, usage);
                    if serial.is_some() {
                        serials.insert((component, serial), None);
                    }
                }
                seats[slot as usize] = Seat::Emptied(turn);
            }
            if let Some(item) = fact.item() {
                // What a slot holds when its record begins was not fitted then.
                let in_place = matches!(seats[slot as usize], Seat::NeverFilled);
                let of = components.get(&component);
                self.put_in(turn, slot, item, in_place, of, &mut serials);
                if item.age == Worn::Unknown {
                    unknown.push(turn);
                }
                seats[slot as usize] = Seat::Filled {
                    put_in: turn,
                    serial: item.serial,
                    bad: None,
                };
            }
        }
        self.unknown_ages(&unknown);
        self.never_filled(&seats);
        let end = self.end();
        for (slot, seat) in (0u32..).zip(seats) {
            if let (Seat::Emptied(turn), Some(end)) = (seat, end) {
                let days = (end - self.fact(turn).time) / (24 * 3600);
                if days > 7 {
                    let slot = self.state.names.slot_name(slot);
                    self.doubt(turn, &Doubt::LeftEmpty { slot, days });
                }
            }
        }
    }

    /// What the slot holds after an inspection.
    fn inspected(
        &mut self,
        turn: u32,
        slot: u32,
        finding: Finding,
        with_mode: bool,
        seat: Seat,
    ) -> Seat {
        let name = |look: &Look| look.state.names.slot_name(slot);
        if !with_mode && matches!(finding, Finding::Failed | Finding::Worn) {
            let slot = name(self);
            let word = finding.word();
            self.doubt(turn, &Doubt::NoMode { slot, word });
        }
        let Seat::Filled {
            put_in,
            serial,
            bad,
        } = seat
        else {
            return seat;
        };
        let bad = match (finding, bad) {
            (Finding::Sound, Some((bad, before))) => {
                let doubt = Doubt::SoundAgain {
                    slot: name(self),
                    word: bad.word(),
                    before: self.witness(before),
                };
                self.doubt(turn, &doubt);
                None
            }
            (Finding::Worn | Finding::Failed, None) => Some((finding, turn)),
            (_, bad) => bad,
        };
        Seat::Filled {
            put_in,
            serial,
            bad,
        }
    }

    fn taken_out(
        &mut self,
        turn: u32,
        slot: u32,
        end: End,
        put_in: u32,
        bad: Option<(Finding, u32)>,
        usage: Option<&str>,
    ) {
        let by_itself = matches!(end.reason, Reason::Failed | Reason::Worn);
        if let (false, Some((bad, before))) = (by_itself, bad) {
            let doubt = Doubt::ReasonDiffers {
                slot: self.state.names.slot_name(slot),
                reason: end.reason.word(),
                word: bad.word(),
                before: self.witness(before),
            };
            self.doubt(turn, &doubt);
        }
        let fact = self.fact(turn);
        let (from, to) = (self.fact(put_in).time, fact.time);
        let names = &self.state.names;
        let still = || {
            let meter = names.known_meter((fact.machine, names.known(usage?)?))?;
            Some(stood_still(&self.state.meters[meter as usize], from, to))
        };
        if from == to || still() == Some(true) {
            let doubt = Doubt::NoLength {
                slot: names.slot_name(slot),
                put_in: self.witness(put_in),
            };
            self.doubt(turn, &doubt);
        }
    }

    /// Pieces that one item in a slot is made of.
    fn pieces_of(&self, slot: u32) -> u32 {
        let names = &self.state.names;
        let (machine, component, position) = names.slots[slot as usize];
        let register = &self.survey.register;
        register.pieces_at(
            names.text(machine),
            names.text(component),
            names.text(position),
        )
    }

    fn put_in(
        &mut self,
        turn: u32,
        slot: u32,
        item: Put,
        in_place: bool,
        component: Option<&Component>,
        serials: &mut Serials,
    ) {
        let (_, id, _) = self.state.names.slots[slot as usize];
        let never_refit = component.is_some_and(|component| component.never_refit);
        let mut before = None;
        if item.serial.is_some() {
            let known = serials.insert((id, item.serial), Some(turn));
            if let Some(Some(other)) = known {
                let doubt = Doubt::SerialTwice {
                    serial: self.text(item.serial),
                    other: self.witness(other),
                };
                self.doubt(turn, &doubt);
            }
            before = known.map(|other| other.map(|other| self.witness(other)));
        }
        let used = !in_place && item.age == Worn::Used;
        if never_refit && (used || before.is_some()) {
            let doubt = Doubt::Refitted {
                slot: self.state.names.slot_name(slot),
                component: self.text(id),
                before: before.flatten(),
            };
            self.doubt(turn, &doubt);
        }
        if let Some(pieces) = item.pieces
            && let expected = self.pieces_of(slot)
            && pieces != expected
        {
            let doubt = Doubt::Pieces {
                slot: self.state.names.slot_name(slot),
                pieces,
                expected,
            };
            self.doubt(turn, &doubt);
        }
    }

    fn unknown_ages(&mut self, unknown: &[u32]) {
        let Some(first) = unknown.first() else { return };
        let slots = unknown.iter().filter_map(|turn| self.fact(*turn).slot());
        let names = slots.take(6).map(|slot| self.state.names.slot_name(slot));
        let names: Vec<String> = names.collect();
        let mut slots = names.join(", ");
        if unknown.len() > names.len() {
            slots.push_str(&format!(" and {} more", unknown.len() - names.len()));
        }
        let count = unknown.len();
        self.doubt(*first, &Doubt::UnknownAges { count, slots });
    }

    fn never_filled(&mut self, seats: &[Seat]) {
        let register = &self.survey.register;
        let names = &self.state.names;
        let filled = |machine: &str, component: &str, position: &str| {
            let key = (
                names.known(machine)?,
                names.known(component)?,
                names.known(position)?,
            );
            let seat = seats.get(names.known_slot(key)? as usize)?;
            (!matches!(seat, Seat::NeverFilled)).then_some(())
        };
        let mut empty: Vec<(String, String, Vec<String>)> = Vec::new();
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                if filled(&machine.tag, slot.component, slot.position).is_some() {
                    continue;
                }
                let position = slot.position.to_owned();
                match empty.last_mut() {
                    Some((tag, component, positions))
                        if *tag == machine.tag && *component == slot.component =>
                    {
                        positions.push(position);
                    }
                    _ => empty.push((
                        machine.tag.clone(),
                        slot.component.to_owned(),
                        vec![position],
                    )),
                }
            }
        }
        for (machine, component, positions) in empty {
            self.doubt_register(&Doubt::NeverFilled {
                machine,
                component,
                positions: positions.join(", "),
            });
        }
    }
}
