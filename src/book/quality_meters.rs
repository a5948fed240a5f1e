//! Doubts about meters: too fast, unread; and whether one stood still.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, TimeDelta, Utc};

use super::doubt::Doubt;
use super::entry::Event;
use super::ledger::Placed;
use super::quality::Look;

/// A meter left unread for longer than this is a doubt.
const UNREAD: TimeDelta = TimeDelta::days(90);

/// Usage units that cannot grow by more than 24 a day.
const HOURS: &[&str] = &["h", "hour", "hours", "hr", "hrs"];

impl<'a> Look<'a> {
    pub(super) fn meters(&mut self, entries: &[Placed<'a>]) {
        let mut last: BTreeMap<(&str, &str), Placed<'a>> = BTreeMap::new();
        for placed in entries {
            let Event::Reading {
                meter,
                value,
                reset,
            } = &placed.entry.event
            else {
                continue;
            };
            let machine = placed.entry.machine.as_deref().unwrap_or_default();
            let before = last.insert((machine, meter), *placed);
            let Some(before) = before else { continue };
            let elapsed = placed.entry.time - before.entry.time;
            let since = self.witness(&before);
            if elapsed > UNREAD {
                self.doubt(
                    placed,
                    &Doubt::Unread {
                        machine: machine.to_owned(),
                        meter: meter.clone(),
                        days: elapsed.num_days(),
                        since: since.clone(),
                    },
                );
            }
            let unit = self.ledger.register.usage(meter).map(|u| u.unit.as_str());
            if *reset || !unit.is_some_and(|unit| HOURS.contains(&unit)) {
                continue;
            }
            let Event::Reading { value: from, .. } = &before.entry.event else {
                continue;
            };
            let hours = value.get() - from.get();
            let elapsed_h = elapsed.as_seconds_f64() / 3600.0;
            // A meter shows whole hours, and nobody reads it on the dot.
            if hours > elapsed_h + 2.0 {
                self.doubt(
                    placed,
                    &Doubt::TooFast {
                        machine: machine.to_owned(),
                        meter: meter.clone(),
                        hours,
                        elapsed_h,
                        since,
                    },
                );
            }
        }
        let end = entries.last().map(|placed| placed.entry.time);
        for (machine, meter) in self.meters_needed() {
            let in_use = |placed: &Placed<'_>| placed.entry.machine.as_deref() == Some(machine);
            match (last.get(&(machine, meter)), end) {
                (None, _) if !entries.iter().any(in_use) => {}
                (None, _) => self.doubt_register(&Doubt::NeverRead {
                    machine: machine.to_owned(),
                    meter: meter.to_owned(),
                }),
                (Some(placed), Some(end)) if end - placed.entry.time > UNREAD => {
                    let placed = *placed;
                    self.doubt(
                        &placed,
                        &Doubt::UnreadLately {
                            machine: machine.to_owned(),
                            meter: meter.to_owned(),
                            days: (end - placed.entry.time).num_days(),
                        },
                    );
                }
                _ => {}
            }
        }
    }

    /// Machine and meter wherever a slot's component ages by that usage.
    pub(super) fn meters_needed(&self) -> Vec<(&'a str, &'a str)> {
        let register = &self.ledger.register;
        let mut needed = Vec::new();
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                if let Some(component) = register.component(slot.component) {
                    let pair = (machine.tag.as_str(), component.usage.as_str());
                    if !needed.contains(&pair) {
                        needed.push(pair);
                    }
                }
            }
        }
        needed
    }
}

/// Meter readings by machine and meter, in the order of time.
pub(super) struct Readings<'a>(HashMap<(&'a str, &'a str), Vec<Shown>>);

/// When, what the meter showed, whether it was reset.
type Shown = (DateTime<Utc>, f64, bool);

impl<'a> Readings<'a> {
    pub(super) fn of(entries: &[Placed<'a>]) -> Readings<'a> {
        let mut all: HashMap<(&str, &str), Vec<Shown>> = HashMap::new();
        for placed in entries {
            if let (
                Some(machine),
                Event::Reading {
                    meter,
                    value,
                    reset,
                },
            ) = (&placed.entry.machine, &placed.entry.event)
            {
                all.entry((machine, meter)).or_default().push((
                    placed.entry.time,
                    value.get(),
                    *reset,
                ));
            }
        }
        Readings(all)
    }

    /// Whether the meter showed the same at the last reading up to `from` and the
    /// first one after `to`, with no reset between.
    pub(super) fn stood_still(
        &self,
        machine: &str,
        meter: &str,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> bool {
        let Some(all) = self.0.get(&(machine, meter)) else {
            return false;
        };
        let first = all.partition_point(|(time, _, _)| *time <= from);
        let last = all.partition_point(|(time, _, _)| *time < to);
        let (Some(before), Some(after)) = (first.checked_sub(1), all.get(last)) else {
            return false;
        };
        all[before].1 == after.1 && !all[first..=last].iter().any(|(_, _, reset)| *reset)
    }
}
