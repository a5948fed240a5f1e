//! What an entry states, whoever wrote it down, when, and from where.
//!
//! In: entries. Out: the name of what they state, and how often it stands in a ledger.
//! Never: whether they hold (what was withdrawn was stated all the same).

use std::collections::HashMap;

use rust_decimal::Decimal;

use super::entry::{Age, Ending, Entry, Event, Found, Item, SlotName};
use super::sha::Sha;
use crate::quantity::Number;

/// The name of what an entry states: a SHA-256 over its kind, time, machine, job and own
/// keys. Who wrote it down and when, its note and its source do not count; nor do the
/// digits a number was written with. Two entries of the same name say the same twice.
pub fn statement<S: AsRef<str>>(entry: &Entry<S>) -> Sha {
    let mut said = Said(Vec::with_capacity(256));
    said.text(entry.event.kind().word());
    said.whole(entry.time.timestamp());
    said.text_if(entry.machine.as_ref());
    said.text_if(entry.job.as_ref());
    said.event(&entry.event);
    Sha::of(&said.0)
}

/// Bytes in which each part has its length before it, so that no two lists of parts
/// make the same.
struct Said(Vec<u8>);

impl Said {
    fn part(&mut self, bytes: &[u8]) {
        self.0
            .extend_from_slice(&(bytes.len() as u64).to_le_bytes());
        self.0.extend_from_slice(bytes);
    }

    fn none(&mut self) {
        self.0.extend_from_slice(&u64::MAX.to_le_bytes());
    }

    fn text(&mut self, text: &str) {
        self.part(text.as_bytes());
    }

    fn text_if<S: AsRef<str>>(&mut self, text: Option<&S>) {
        match text {
            Some(text) => self.text(text.as_ref()),
            None => self.none(),
        }
    }

    fn whole(&mut self, number: i64) {
        self.part(&number.to_le_bytes());
    }

    fn number(&mut self, number: Number) {
        // Adding 0 makes -0 and 0 one.
        self.part(&(number.get() + 0.0).to_bits().to_le_bytes());
    }

    fn number_if(&mut self, number: Option<Number>) {
        match number {
            Some(number) => self.number(number),
            None => self.none(),
        }
    }

    fn money(&mut self, money: Decimal) {
        self.text(&money.normalize().to_string());
    }

    fn slot<S: AsRef<str>>(&mut self, slot: &SlotName<S>) {
        self.text(slot.component.as_ref());
        self.text(slot.position.as_ref());
    }

    fn item<S: AsRef<str>>(&mut self, item: &Item<S>) {
        self.text_if(item.part.as_ref());
        self.whole(item.pieces.map_or(-1, i64::from));
        self.text_if(item.batch.as_ref());
        self.text_if(item.serial.as_ref());
        match item.age {
            Age::New => self.number(Number::from(0)),
            Age::Known(age) => self.number(age),
            Age::Unknown => self.none(),
        }
    }

    fn end<S: AsRef<str>>(&mut self, end: &Ending<S>) {
        self.text(end.reason.word());
        self.text_if(end.mode.as_ref());
        self.text_if(end.found.map(Found::word).as_ref());
    }

    fn event<S: AsRef<str>>(&mut self, event: &Event<S>) {
        match event {
            Event::Opened { book, format } => {
                self.text(book.as_ref());
                self.whole(i64::from(*format));
            }
            Event::Reading {
                meter,
                value,
                reset,
            } => {
                self.text(meter.as_ref());
                self.number(*value);
                self.whole(i64::from(*reset));
            }
            Event::Installed { slot, item } => {
                self.slot(slot);
                self.item(item);
            }
            Event::Replaced { slot, item, end } => {
                self.slot(slot);
                self.item(item);
                self.end(end);
            }
            Event::Removed { slot, end } => {
                self.slot(slot);
                self.end(end);
            }
            Event::Inspected {
                slot,
                finding,
                mode,
            } => {
                self.slot(slot);
                self.text(finding.word());
                self.text_if(mode.as_ref());
            }
            Event::Measured {
                slot,
                quantity,
                value,
                unit,
                zone,
                span,
                new_value,
            } => {
                self.slot(slot);
                self.text(quantity.as_ref());
                self.number(*value);
                self.text(unit.as_ref());
                self.text_if(zone.as_ref());
                self.number_if(*span);
                self.number_if(*new_value);
            }
            Event::Job {
                start,
                stop,
                kind,
                labour_h,
                downtime_h,
                cost,
            } => {
                self.whole(start.timestamp());
                self.whole(stop.timestamp());
                self.text(kind.word());
                self.number(*labour_h);
                self.number(*downtime_h);
                match cost {
                    Some(cost) => self.money(*cost),
                    None => self.none(),
                }
            }
            Event::Expense { cost, what } => {
                self.money(*cost);
                self.text(what.as_ref());
            }
            Event::Withdrawn { entry_sha, why } => {
                self.text(entry_sha.as_ref());
                self.text(why.as_ref());
            }
        }
    }
}

/// How often each statement stands in the books of a ledger; withdrawn ones count too.
#[derive(Debug, Default)]
pub(super) struct Stated(HashMap<Sha, u32>);

impl Stated {
    pub(super) fn of(names: &[Sha]) -> Stated {
        let mut stated = Stated(HashMap::with_capacity(names.len()));
        for name in names {
            stated.add(*name);
        }
        stated
    }

    pub(super) fn add(&mut self, name: Sha) {
        *self.0.entry(name).or_default() += 1;
    }

    pub(super) fn times(&self, name: Sha) -> usize {
        self.0.get(&name).map_or(0, |times| *times as usize)
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;

    fn expense(cost: &str, who: &str) -> Entry {
        Entry {
            time: DateTime::UNIX_EPOCH,
            logged: DateTime::UNIX_EPOCH,
            who: who.to_owned(),
            machine: None,
            event: Event::Expense {
                cost: cost.parse().expect("money"),
                what: "oil".to_owned(),
            },
            job: None,
            note: Some(who.to_owned()),
            source: None,
        }
    }

    #[test]
    fn who_and_how_it_was_written_does_not_count_and_all_else_does() {
        let name = statement(&expense("9.5", "A"));
        assert_eq!(name, statement(&expense("9.50", "B")));
        assert_ne!(name, statement(&expense("9.51", "A")));
        let mut other = expense("9.5", "A");
        other.machine = Some("H-01".to_owned());
        assert_ne!(name, statement(&other));
        let mut other = expense("9.5", "A");
        other.job = Some("H-01".to_owned());
        assert_ne!(name, statement(&other));
    }
}
