//! What to do at a stop of one machine: what its plan has, with what the record tells of every
//! slot that lies open then. Without a plan every slot lies open, and those are renewed that
//! have reached the interval the crew keeps today.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, Utc};

use super::CommandError;
use super::wear_now::{Worn, WornSlots};
use crate::book::{Event, Reason, SlotName, Survey, slot_entries};
use crate::life::LifeRow;
use crate::plan;
use crate::quantity::time::{day, start_of_day};
use crate::register::{Slot, cylinder};
use crate::store::{Ledger, SlotStay, Store, UsageNow};
use crate::view::plan::short_why;
use crate::view::sheet::{
    LastReading, MeterAtStop, Opening, Renewal, SlotAtStop, Stop, kit, usage,
};
use crate::wear::Standing;

/// The stop of a machine on a day, as planned; `None` where there is nothing to plan from.
pub(super) fn stop(
    store: &Store,
    ledger: &Ledger,
    tag: &str,
    at: NaiveDate,
    planned: Option<&plan::Stop>,
    worn: &WornSlots,
) -> Result<Stop, CommandError> {
    let machine = store.machine_name(ledger, tag);
    let register = &ledger.register;
    let zone = register.plant.time_zone;
    let lives = store.lives()?;
    let stays = store.slot_history()?;
    let mut now = store.usage_now()?;
    now.retain(|meter| meter.machine == machine);
    let survey = Survey::read(&ledger.folder)?;
    let record = Record {
        store,
        ledger,
        tag,
        now: &now,
        lives: lives.iter().filter(|row| row.machine == machine).collect(),
        stays: stays
            .iter()
            .filter(|stay| stay.machine == machine)
            .collect(),
        survey: &survey,
        worn,
        weeks: weeks(store.as_of(), start_of_day(at, zone)),
    };
    let mut openings: Vec<Opening> = Vec::new();
    for slot in register.slots(tag) {
        let cylinder = cylinder(slot.position);
        let task =
            match planned {
                Some(planned) if !lies_open(planned, &slot, cylinder) => continue,
                Some(planned) => Planned::Stop(planned.tasks.iter().find(|task| {
                    task.component == slot.component && task.position == slot.position
                })),
                None => Planned::Nothing,
            };
        let filled = record.slot(slot.component, slot.position, slot.access, task)?;
        let same = |o: &&mut Opening| o.access.as_deref() == slot.access && o.cylinder == cylinder;
        match openings.iter_mut().find(same) {
            Some(opening) => opening.slots.push(filled),
            None => openings.push(Opening {
                access: slot.access.map(str::to_owned),
                cylinder: cylinder.to_owned(),
                slots: vec![filled],
            }),
        }
    }
    Ok(Stop {
        machine: tag.to_owned(),
        day: at,
        as_of: day(store.as_of(), zone),
        meters: record.meters(),
        kit: kit(register, tag, &openings),
        openings,
    })
}

fn weeks(from: DateTime<Utc>, to: DateTime<Utc>) -> f64 {
    let seconds = (to - from).num_seconds().max(0) as f64;
    seconds / (7.0 * 86_400.0)
}

/// What is planned for a slot.
#[derive(Clone, Copy)]
enum Planned<'a> {
    /// There is no plan.
    Nothing,
    /// What the stop does with it; `None`: it only lies open.
    Stop(Option<&'a plan::Task>),
}

/// Whether a slot can be looked at in a stop: what no access covers always can.
fn lies_open(planned: &plan::Stop, slot: &Slot<'_>, cylinder: &str) -> bool {
    slot.access.is_none_or(|access| {
        let opened = &planned.opened_keys;
        opened.iter().any(|(id, at)| id == access && at == cylinder)
    })
}

/// What the record will say of a renewal, unless something worse is found.
fn reason(why: plan::Why) -> Reason {
    match why {
        plan::Why::Condemned => Reason::Worn,
        plan::Why::Overdue { .. } | plan::Why::Due | plan::Why::Early => Reason::Planned,
        plan::Why::Exposed | plan::Why::Down | plan::Why::Disturbed => Reason::Opportunity,
    }
}

/// All that is known of the machine.
struct Record<'a> {
    store: &'a Store,
    ledger: &'a Ledger,
    tag: &'a str,
    now: &'a [UsageNow],
    lives: Vec<&'a LifeRow>,
    stays: Vec<&'a SlotStay>,
    survey: &'a Survey,
    /// Last readings of what is in place, judged.
    worn: &'a WornSlots,
    /// From the last entry to the stop.
    weeks: f64,
}

impl Record<'_> {
    /// Usage a week: the recent rate, else what the register expects.
    fn per_week(&self, meter: &str) -> Option<f64> {
        let recent = self.now.iter().find(|now| now.meter == meter);
        recent.and_then(|now| now.per_week).or_else(|| {
            let machine = self.ledger.register.machine(self.tag)?;
            machine.usage_per_week.get(meter).copied()
        })
    }

    /// Every meter that ages a component of the machine.
    fn meters(&self) -> Vec<MeterAtStop> {
        let register = &self.ledger.register;
        let used: BTreeSet<&str> = register
            .slots(self.tag)
            .filter_map(|slot| register.component(slot.component))
            .map(|component| component.usage.as_str())
            .collect();
        let used = register
            .usages
            .iter()
            .filter(|u| used.contains(u.id.as_str()));
        used.map(|usage| {
            let meter = self.now.iter().find(|now| now.meter == usage.id);
            MeterAtStop {
                meter: usage.id.clone(),
                expected: meter.and_then(|meter| {
                    let since = weeks(meter.last_time, self.store.as_of()) + self.weeks;
                    Some(meter.last_value + self.per_week(&usage.id)? * since)
                }),
            }
        })
        .collect()
    }

    fn slot(
        &self,
        component: &str,
        position: &str,
        access: Option<&str>,
        planned: Planned<'_>,
    ) -> Result<SlotAtStop, CommandError> {
        let register = &self.ledger.register;
        let known = register.component(component);
        let in_place = self.stays.iter().find(|stay| {
            stay.component == component && stay.position == position && stay.end_time.is_none()
        });
        let lives = || {
            let all = self.lives.iter();
            all.filter(|row| row.component == component && row.position == position)
        };
        let running = lives().find(|row| row.end_time.is_none());
        // Found bad and left in: the life has ended, the item has not left.
        let left_in = lives()
            .next_back()
            .filter(|_| in_place.is_some() && running.is_none())
            .and_then(|row| row.end_time);
        let meter = known.map_or("", |c| c.usage.as_str());
        let age = running
            .and_then(|row| row.lo)
            .and_then(|lo| Some(lo + self.per_week(meter)? * self.weeks));
        let unit = register.usage(meter).map_or("", |usage| &usage.unit);
        let due = known.and_then(|c| c.present_interval);
        let always = access
            .and_then(|id| register.access(id))
            .is_some_and(|access| access.always_renew.iter().any(|id| id == component));
        let zone = self.ledger.register.plant.time_zone;
        let renewal = match (age, due) {
            _ if in_place.is_none() => None,
            _ if let Planned::Stop(task) = planned => task.and_then(|task| {
                Some(Renewal {
                    reason: reason(task.renew?),
                    why: match left_in {
                        Some(found) => format!("found so on {}", day(found, zone)),
                        None => short_why(task),
                    },
                })
            }),
            _ if left_in.is_some() => left_in.map(|found| Renewal {
                reason: Reason::Worn,
                why: format!("found so on {}", day(found, zone)),
            }),
            (Some(age), Some(due)) if age >= due => Some(Renewal {
                reason: Reason::Planned,
                why: format!("due at {}", usage(due, unit)),
            }),
            _ if always => Some(Renewal {
                reason: Reason::Opportunity,
                why: "whenever opened".to_owned(),
            }),
            _ => None,
        };
        Ok(SlotAtStop {
            component: component.to_owned(),
            position: position.to_owned(),
            age,
            empty: in_place.is_none(),
            renewal,
            part: register
                .part_for(component, in_place.and_then(|stay| stay.part.as_deref()))
                .map(|part| part.number.clone()),
            last: self.last(component, position, in_place.map(|stay| stay.start_time))?,
            trend: self.trend(component, position),
        })
    }

    fn read(&self, component: &str, position: &str) -> &[Worn] {
        let machine = self.store.machine_name(self.ledger, self.tag);
        let slot = [machine, component.to_owned(), position.to_owned()];
        self.worn.get(&slot).map_or(&[], Vec::as_slice)
    }

    /// Usage left to the nearest limit, in words.
    fn trend(&self, component: &str, position: &str) -> Option<String> {
        let read = self.read(component, position);
        let left = read
            .iter()
            .filter_map(|worn| Some((worn, worn.left.as_ref()?)));
        let (worn, (_, words)) = left.min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
        Some(match read.len() {
            1 => words.clone(),
            _ => format!("{}: {words}", worn.quantity),
        })
    }

    /// "near" or "beyond", where it is that.
    fn verdict(
        &self,
        component: &str,
        position: &str,
        quantity: &str,
        zone: Option<&str>,
    ) -> Option<String> {
        let mut read = self.read(component, position).iter();
        let worn = read.find(|worn| worn.quantity == quantity && worn.zone.as_deref() == zone)?;
        worn.standing
            .filter(|standing| *standing != Standing::Within)
            .map(|standing| format!("{} its limit", standing.word()))
    }

    /// The last reading of each quantity of the item that has been in place since `start`.
    fn last(
        &self,
        component: &str,
        position: &str,
        start: Option<DateTime<Utc>>,
    ) -> Result<Vec<LastReading>, CommandError> {
        let name = SlotName {
            component: component.to_owned(),
            position: position.to_owned(),
        };
        let zone = self.ledger.register.plant.time_zone;
        let mut last: Vec<LastReading> = Vec::new();
        for told in slot_entries(self.survey, self.tag, &name, self.store.as_of())? {
            let entry = told.told.entry;
            if told.withdrawn.is_some() || start.is_none_or(|start| entry.time < start) {
                continue;
            }
            match entry.event {
                // A new item has no readings yet.
                Event::Installed { .. } | Event::Replaced { .. } | Event::Removed { .. } => {
                    last.clear();
                }
                Event::Measured {
                    quantity,
                    value,
                    unit,
                    zone: where_taken,
                    ..
                } => {
                    last.retain(|one| one.quantity != quantity || one.zone != where_taken);
                    let verdict =
                        self.verdict(component, position, &quantity, where_taken.as_deref());
                    last.push(LastReading {
                        verdict,
                        quantity,
                        zone: where_taken,
                        value: value.to_string(),
                        unit,
                        day: day(entry.time, zone),
                    });
                }
                _ => {}
            }
        }
        Ok(last)
    }
}
