//! Gathers the histories of machines and slots: over which usage watched, with which failures.
//!
//! In: a store. Out: [`History`], units whose events are taken together. Never: printing;
//! statistics.
//!
//! A failure is a life that ended by failure, running or found at an inspection; one found at
//! an inspection counts at the moment it was found. A machine is watched from the first life
//! on record to the as-of moment, at its meter's usage. A slot's clock is the usage of the
//! lives in it, one after another, from the first life whose age is known; it begins at that
//! age, and stands still while nothing is in or the item is known to have failed.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{DateTime, Utc};

use super::select::{Select, no_lives, rank, unit};
use super::{CommandError, recur::By};
use crate::life::{Flag, LifeRow, Outcome};
use crate::quantity::counted;
use crate::recurrence::{Unit, Units};
use crate::store::{Meters, SlotStay, Store};
use crate::view::recur::GroupName;

/// Units taken together.
#[derive(Debug, Clone)]
pub struct History {
    pub name: GroupName,
    pub units: Units,
    pub usage_unit: String,
    /// Failures that count, and those of them found at an inspection.
    pub failures: u64,
    pub found: u64,
    pub notes: Vec<String>,
}

/// One group being filled.
#[derive(Default)]
struct Filling {
    name: GroupName,
    usage_unit: String,
    units: Vec<Unit>,
    /// Failures that count, those found at an inspection, those beyond the meter readings.
    failures: u64,
    found: u64,
    extrapolated: u64,
    /// Failures before a clock begins.
    before: u64,
    /// Machines or slots that cannot be used, by reason.
    unread: Vec<String>,
    unclocked: u64,
}

/// The histories of what is asked for, in the order of machines or components.
pub fn gather(store: &Store, select: &Select, by: By) -> Result<Vec<History>, CommandError> {
    select.check(store)?;
    let rows = store.lives()?;
    let meters = store.meters()?;
    let asked: Vec<&LifeRow> = rows.iter().filter(|row| select.takes(row)).collect();
    if asked.is_empty() {
        return Err(no_lives(store));
    }
    let groups = match by {
        By::Slot => slots(store, select, &rows, &meters)?,
        By::Machine | By::Component | By::Fleet => machines(store, &asked, &meters, by),
    };
    Ok(groups.into_iter().map(|group| group.close(by)).collect())
}

/// Groups whose units are machines.
fn machines(store: &Store, rows: &[&LifeRow], meters: &Meters, by: By) -> Vec<Filling> {
    let order = store.machines();
    let place = |machine: &str| order.iter().position(|m| m == machine);
    // Group, then machine within it.
    type Machines<'a> = BTreeMap<(Option<usize>, String), Vec<&'a LifeRow>>;
    let mut groups: BTreeMap<(usize, String), Machines<'_>> = BTreeMap::new();
    for row in rows {
        let at = (place(&row.machine), row.machine.clone());
        let group = match by {
            By::Component => (rank(store, &row.component), row.component.clone()),
            By::Machine => (at.0.unwrap_or(usize::MAX), row.machine.clone()),
            _ => (0, String::new()),
        };
        let machines = groups.entry(group).or_default();
        machines.entry(at).or_default().push(row);
    }
    let mut filled = Vec::with_capacity(groups.len());
    for ((_, key), machines) in groups {
        let mut group = Filling::default();
        match by {
            By::Component => {
                group.usage_unit = unit(store, &key);
                group.name.group = Some(key.clone());
                group.name.component = Some(key);
            }
            By::Machine => {
                group.name.group = Some(key.clone());
                group.name.machine = Some(key);
            }
            _ => group.name.group = Some("all machines".into()),
        }
        for ((_, machine), rows) in machines {
            let register = store.register_of(&machine).unwrap_or(store.register());
            let meter = match &group.name.component {
                Some(id) => register.component(id).map(|c| c.usage.clone()),
                None => register.usages.first().map(|u| u.id.clone()),
            };
            let meter = meter.unwrap_or_default();
            if let Some(kind) = register.usage(&meter) {
                group.usage_unit = kind.unit.clone();
            }
            group.machine(&machine, &meter, &rows, meters, store.as_of());
        }
        filled.push(group);
    }
    filled
}

/// Groups of a component, whose units are slots.
fn slots(
    store: &Store,
    select: &Select,
    rows: &[LifeRow],
    meters: &Meters,
) -> Result<Vec<Filling>, CommandError> {
    let stays = store.slot_history()?;
    let mut groups: BTreeMap<(usize, &str), Vec<&SlotStay>> = BTreeMap::new();
    for stay in &stays {
        if select.takes_slot(&stay.machine, &stay.component, &stay.position) {
            let key = (rank(store, &stay.component), stay.component.as_str());
            groups.entry(key).or_default().push(stay);
        }
    }
    let mut own: HashMap<&str, Vec<&LifeRow>> = HashMap::new();
    for row in rows {
        own.entry(&row.component).or_default().push(row);
    }
    let filled = groups.into_iter().map(|((_, component), stays)| {
        let rows = own.get(component).map_or(&[][..], Vec::as_slice);
        component_slots(store, component, &stays, rows, meters)
    });
    Ok(filled.collect())
}

/// The history of one component over its slots; `stays` and `rows` are its own.
pub(super) fn of_component(
    store: &Store,
    component: &str,
    stays: &[&SlotStay],
    rows: &[&LifeRow],
    meters: &Meters,
) -> History {
    component_slots(store, component, stays, rows, meters).close(By::Slot)
}

fn component_slots(
    store: &Store,
    component: &str,
    stays: &[&SlotStay],
    rows: &[&LifeRow],
    meters: &Meters,
) -> Filling {
    type Slots<'a> = BTreeMap<(&'a str, &'a str), Vec<&'a SlotStay>>;
    let mut slots: Slots<'_> = BTreeMap::new();
    for stay in stays {
        let slot = (stay.machine.as_str(), stay.position.as_str());
        slots.entry(slot).or_default().push(stay);
    }
    // Age of the item at the line that began its life; `None` where unknown.
    let ages: BTreeMap<&str, Option<f64>> = rows
        .iter()
        .map(|row| (row.start_sha.as_str(), row.entry))
        .collect();
    let mut failures: BTreeMap<(&str, &str), Vec<&LifeRow>> = BTreeMap::new();
    for row in rows.iter().filter(|row| failed(row)) {
        let slot = (row.machine.as_str(), row.position.as_str());
        failures.entry(slot).or_default().push(row);
    }
    let mut group = Filling {
        usage_unit: unit(store, component),
        name: GroupName {
            group: Some(component.into()),
            component: Some(component.into()),
            machine: None,
        },
        ..Filling::default()
    };
    for ((machine, position), stays) in slots {
        let register = store.register_of(machine).unwrap_or(store.register());
        let meter = register.component(component).map(|c| c.usage.clone());
        let meter = meter.unwrap_or_default();
        let usage = |time| meters.usage(machine, &meter, time);
        let found = failures.get(&(machine, position));
        let found = found.map_or(&[][..], Vec::as_slice);
        group.slot(machine, &stays, found, &ages, usage, store.as_of());
    }
    group
}

fn failed(row: &LifeRow) -> bool {
    row.outcome != Outcome::Suspension
}

impl Filling {
    fn count(&mut self, row: &LifeRow) {
        self.failures += 1;
        self.found += u64::from(row.outcome == Outcome::Interval);
        self.extrapolated += u64::from(row.has(Flag::Extrapolated));
    }

    fn machine(
        &mut self,
        machine: &str,
        meter: &str,
        rows: &[&LifeRow],
        meters: &Meters,
        as_of: DateTime<Utc>,
    ) {
        let usage = |time| meters.usage(machine, meter, time);
        let began = rows.iter().map(|row| row.start_time).min();
        let (Some(start), Some(end)) = (began.and_then(usage), usage(as_of)) else {
            self.unread.push(machine.into());
            return;
        };
        // A line carried back before the first reading can pass below 0.
        let start = start.max(0.0);
        let mut events = Vec::new();
        for row in rows.iter().filter(|row| failed(row)) {
            match row.end_time.and_then(usage) {
                Some(at) if at > start => {
                    self.count(row);
                    events.push(at);
                }
                _ => self.before += 1,
            }
        }
        match Unit::new(start, Some(end), events) {
            Ok(unit) => self.units.push(unit),
            Err(_) => self.unread.push(machine.into()),
        }
    }

    fn slot(
        &mut self,
        machine: &str,
        stays: &[&SlotStay],
        failures: &[&LifeRow],
        ages: &BTreeMap<&str, Option<f64>>,
        usage: impl Fn(DateTime<Utc>) -> Option<f64>,
        as_of: DateTime<Utc>,
    ) {
        let within = |stay: &SlotStay| {
            failures.iter().find(|row| {
                row.end_time.is_some_and(|end| {
                    stay.start_time < end && stay.end_time.is_none_or(|out| end <= out)
                })
            })
        };
        let age = |stay: &&SlotStay| ages.get(stay.start_sha.as_str()).copied().flatten();
        let first = stays.iter().position(|stay| age(stay).is_some());
        let begin = first.unwrap_or(stays.len());
        self.before += stays[..begin].iter().filter_map(|s| within(s)).count() as u64;
        let Some(start) = stays.get(begin).and_then(age) else {
            self.unclocked += 1;
            return;
        };
        let (mut clock, mut events) = (start, Vec::new());
        for stay in &stays[begin..] {
            let failure = within(stay);
            let until = failure.and_then(|row| row.end_time).or(stay.end_time);
            let (Some(from), Some(to)) = (usage(stay.start_time), usage(until.unwrap_or(as_of)))
            else {
                self.unread.push(machine.into());
                return;
            };
            clock += (to - from).max(0.0);
            match failure {
                Some(row) if clock > start => {
                    self.count(row);
                    events.push(clock);
                }
                Some(_) => self.before += 1,
                None => {}
            }
        }
        match Unit::new(start, Some(clock), events) {
            Ok(unit) => self.units.push(unit),
            Err(_) => self.unclocked += 1,
        }
    }

    fn close(self, by: By) -> History {
        let mut notes = Vec::new();
        if self.extrapolated > 0 {
            notes.push(format!(
                "the usage of {} is carried on beyond the meter readings",
                counted(self.extrapolated, "failure", "failures")
            ));
        }
        if self.before > 0 {
            let reason = match by {
                By::Slot => "in a part of unknown age",
                _ => "before the usage on record begins",
            };
            notes.push(format!(
                "left out: {} {reason}",
                counted(self.before, "failure", "failures")
            ));
        }
        if self.unclocked > 0 {
            notes.push(format!(
                "left out: {} in which no life of known age is on record",
                counted(self.unclocked, "slot", "slots")
            ));
        }
        let unread: BTreeSet<String> = self.unread.into_iter().collect();
        if !unread.is_empty() {
            let names: Vec<String> = unread.into_iter().collect();
            notes.push(format!(
                "left out for want of meter readings: {}",
                names.join(", ")
            ));
        }
        History {
            name: self.name,
            units: Units::new(self.units),
            usage_unit: self.usage_unit,
            failures: self.failures,
            found: self.found,
            notes,
        }
    }
}
