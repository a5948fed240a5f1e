//! Doubts about meters: too fast, unread; and whether one stood still.

use std::collections::HashSet;

use super::doubt::Doubt;
use super::names::Id;
use super::quality::Look;
use super::state::Readings;

/// A meter left unread for longer than this is a doubt.
const UNREAD_S: i64 = 90 * DAY_S;
const DAY_S: i64 = 24 * 3600;

/// Usage units that cannot grow by more than 24 a day.
const HOURS: &[&str] = &["h", "hour", "hours", "hr", "hrs"];

impl Look {
    pub(super) fn meters(&mut self) {
        let end = self.end();
        for id in 0..self.state.meters.len() {
            self.meter(id);
        }
        let in_use: HashSet<Id> = self
            .order
            .iter()
            .map(|turn| self.fact(*turn).machine)
            .collect();
        for (machine, meter) in self.meters_needed() {
            let names = &self.state.names;
            let (tag, usage) = (names.known(&machine), names.known(&meter));
            if !tag.is_some_and(|tag| in_use.contains(&tag)) {
                continue;
            }
            let last = tag
                .zip(usage)
                .and_then(|key| names.known_meter(key))
                .and_then(|id| self.state.meters[id as usize].last());
            match (last, end) {
                (None, _) => self.doubt_register(&Doubt::NeverRead { machine, meter }),
                (Some((rank, _, _)), Some(end)) if end - rank.0 > UNREAD_S => {
                    let turn = rank.2;
                    let days = (end - rank.0) / DAY_S;
                    let doubt = Doubt::UnreadLately {
                        machine,
                        meter,
                        days,
                    };
                    self.doubt(turn, &doubt);
                }
                _ => {}
            }
        }
    }

    /// One reading after the other of one meter.
    fn meter(&mut self, id: usize) {
        let (machine, meter) = self.state.names.meters[id];
        let usage = self.survey.register.usage(self.state.names.text(meter));
        let counts_hours = usage.is_some_and(|usage| HOURS.contains(&usage.unit.as_str()));
        let mut found = Vec::new();
        for pair in self.state.meters[id].windows(2) {
            let ((before, from, _), (rank, value, reset)) = (pair[0], pair[1]);
            let elapsed = rank.0 - before.0;
            let elapsed_h = elapsed as f64 / 3600.0;
            let hours = value.get() - from.get();
            // A meter shows whole hours, and nobody reads it on the dot.
            let too_fast = counts_hours && !reset && hours > elapsed_h + 2.0;
            if elapsed > UNREAD_S || too_fast {
                found.push((rank.2, before.2, elapsed, hours, too_fast));
            }
        }
        let (machine, meter) = (self.text(machine), self.text(meter));
        for (turn, before, elapsed, hours, too_fast) in found {
            let since = self.witness(before);
            if elapsed > UNREAD_S {
                let doubt = Doubt::Unread {
                    machine: machine.clone(),
                    meter: meter.clone(),
                    days: elapsed / DAY_S,
                    since: since.clone(),
                };
                self.doubt(turn, &doubt);
            }
            if too_fast {
                let doubt = Doubt::TooFast {
                    machine: machine.clone(),
                    meter: meter.clone(),
                    hours,
                    elapsed_h: elapsed as f64 / 3600.0,
                    since,
                };
                self.doubt(turn, &doubt);
            }
        }
    }

    /// Machine and meter wherever a slot's component ages by that usage.
    fn meters_needed(&self) -> Vec<(String, String)> {
        let register = &self.survey.register;
        let mut seen = HashSet::new();
        let mut needed = Vec::new();
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                if let Some(component) = register.component(slot.component) {
                    let pair = (machine.tag.as_str(), component.usage.as_str());
                    if seen.insert(pair) {
                        needed.push((pair.0.to_owned(), pair.1.to_owned()));
                    }
                }
            }
        }
        needed
    }
}

/// Whether the meter showed the same at the last reading up to `from` and the first one
/// after `to`, with no reset between.
pub(super) fn stood_still(readings: &Readings, from: i64, to: i64) -> bool {
    let first = readings.partition_point(|(rank, _, _)| rank.0 <= from);
    let last = readings.partition_point(|(rank, _, _)| rank.0 < to);
    let (Some(before), Some(after)) = (first.checked_sub(1), readings.get(last)) else {
        return false;
    };
    readings[before].1.get() == after.1.get()
        && !readings[first..=last].iter().any(|(_, _, reset)| *reset)
}
