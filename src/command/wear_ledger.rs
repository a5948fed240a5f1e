//! Readings of a ledger, gathered: a group a measured quantity, a row an item still in.
//!
//! In: a store, filters. Out: [`Group`]s with verdicts, ready for lines. Never: statistics.

use std::collections::HashMap;

use rayon::prelude::*;

use super::select::{Select, rank, usage};
use crate::register::{Measurement, Register};
use crate::store::{Reading, Store};
use crate::wear::{
    Given, ItemReadings, LimitRule, NotComparable, Standard, Taken, Verdict, WearLines,
};

/// Everything read of one quantity in one zone of a component, over all machines.
pub(super) struct Group {
    pub component: String,
    pub quantity: String,
    pub zone: Option<String>,
    /// `None` where the register has no such measurement (any more).
    pub standard: Option<Standard>,
    pub usage_unit: String,
    pub usage_name: String,
    /// What lines go through: one an item with a comparable reading at a known usage.
    pub items: Vec<ItemReadings>,
    pub rows: Vec<Row>,
    /// Readings that no line goes through: usage unknown, or not comparable.
    pub left_out: usize,
}

/// An item still in, by its latest reading.
pub(super) struct Row {
    pub latest: Reading,
    pub verdict: Result<Verdict, NotComparable>,
    /// Its place among the group's items.
    pub item: Option<usize>,
    /// Readings of it that its line goes through.
    pub readings: usize,
}

/// The measurement of a register that a reading is of: in the zones of a pair the pair, which
/// tells more than a limit on one of them; else that of its zone, else that of any zone.
pub(super) fn measurement_of<'a>(
    register: &'a Register,
    component: &str,
    quantity: &str,
    zone: Option<&str>,
) -> Option<&'a Measurement> {
    let fits = |m: &&Measurement| m.component == component && m.quantity == quantity;
    let all = || register.measurements.iter().filter(fits);
    let in_pair = matches!(zone, Some(LimitRule::WORKING | LimitRule::UNWORN));
    let is_pair = |m: &Measurement| matches!(m.limit, LimitRule::Paired { .. });
    all()
        .find(|m| in_pair && is_pair(m))
        .or_else(|| all().find(|m| m.zone.is_some() && m.zone.as_deref() == zone))
        .or_else(|| all().find(|m| m.zone.is_none() && !is_pair(m)))
        .or_else(|| all().find(|m| is_pair(m)))
}

/// The rule and unit of a measurement.
pub(super) fn standard(measurement: &Measurement) -> Standard {
    Standard {
        unit: measurement.unit,
        rule: measurement.limit,
    }
}

/// A reading as the rules see it.
pub(super) fn taken(reading: &Reading) -> Taken<'_> {
    Taken {
        given: Given {
            value: reading.value,
            unit: &reading.unit,
            zone: reading.zone.as_deref(),
            span: reading.span,
            new_value: reading.new_value,
        },
        time: reading.time.timestamp(),
        item: reading.life_sha.as_deref(),
    }
}

/// The groups that hold a row asked for, in the order of the register; all siblings count for
/// their lines, asked for or not.
pub(super) fn gather(
    store: &Store,
    readings: Vec<Reading>,
    select: &Select,
    quantities: &[String],
) -> Vec<Group> {
    let mut groups = grouped(store, readings, select, quantities);
    groups.retain(|group| !group.rows.is_empty());
    groups
}

/// Every group, also those whose items are all gone.
pub(super) fn everything(store: &Store, readings: Vec<Reading>) -> Vec<Group> {
    grouped(store, readings, &Select::default(), &[])
}

/// Each group with the lines through its readings, where there are any.
pub(super) fn lined(groups: Vec<Group>) -> Vec<(Group, Option<WearLines>)> {
    let fit = |group: Group| {
        let lines = WearLines::fit(&group.items).ok();
        (group, lines)
    };
    groups.into_par_iter().map(fit).collect()
}

fn grouped(
    store: &Store,
    readings: Vec<Reading>,
    select: &Select,
    quantities: &[String],
) -> Vec<Group> {
    let mut registers: HashMap<String, Option<&Register>> = HashMap::new();
    // Zones of a pair are one quantity; else each has a wear of its own.
    let mut key = |reading: &Reading| {
        let register = match registers.get(&reading.machine) {
            Some(known) => *known,
            None => {
                let found = store.register_of(&reading.machine);
                registers.insert(reading.machine.clone(), found);
                found
            }
        };
        let standard = register
            .and_then(|register| {
                let zone = reading.zone.as_deref();
                measurement_of(register, &reading.component, &reading.quantity, zone)
            })
            .map(standard);
        let paired = standard.is_some_and(|s| matches!(s.rule, LimitRule::Paired { .. }));
        let zone = if paired { None } else { reading.zone.clone() };
        (standard, zone)
    };
    let mut groups: Vec<(Group, Vec<Reading>)> = Vec::new();
    for reading in readings {
        if !select.takes_component(&reading.component)
            || !(quantities.is_empty() || quantities.contains(&reading.quantity))
        {
            continue;
        }
        let (standard, zone) = key(&reading);
        let place = groups.iter().position(|(group, _)| {
            group.component == reading.component
                && group.quantity == reading.quantity
                && group.zone == zone
                && group.standard == standard
        });
        match place {
            Some(place) => groups[place].1.push(reading),
            None => {
                let aged_by = usage(store, &reading.component);
                let group = Group {
                    component: reading.component.clone(),
                    quantity: reading.quantity.clone(),
                    zone,
                    standard,
                    usage_unit: aged_by.map(|u| u.unit.clone()).unwrap_or_default(),
                    usage_name: aged_by.map(|u| u.name.clone()).unwrap_or_default(),
                    items: Vec::new(),
                    rows: Vec::new(),
                    left_out: 0,
                };
                groups.push((group, vec![reading]));
            }
        }
    }
    let mut filled: Vec<Group> = groups
        .into_par_iter()
        .map(|(group, readings)| fill(group, readings, select))
        .collect();
    filled.sort_by(|a, b| {
        (
            rank(store, &a.component),
            &a.component,
            &a.quantity,
            &a.zone,
        )
            .cmp(&(
                rank(store, &b.component),
                &b.component,
                &b.quantity,
                &b.zone,
            ))
    });
    filled
}

fn fill(mut group: Group, readings: Vec<Reading>, select: &Select) -> Group {
    let all: Vec<Taken<'_>> = readings.iter().map(taken).collect();
    let (verdicts, judged) = match group.standard {
        Some(standard) => (standard.verdicts(&all), standard.judged(&all)),
        None => (
            vec![Err(NotComparable::NoRule); all.len()],
            vec![Err(NotComparable::NoRule); all.len()],
        ),
    };
    let paired = group
        .standard
        .is_some_and(|s| matches!(s.rule, LimitRule::Paired { .. }));
    // The zone that wears is the one a pair's line and row are of.
    let counts = |reading: &Reading| !paired || reading.zone.as_deref() == Some(LimitRule::WORKING);
    let mut places: HashMap<&str, usize> = HashMap::new();
    let mut latest: Vec<(&str, usize)> = Vec::new();
    let mut known: HashMap<&str, usize> = HashMap::new();
    for (n, reading) in readings.iter().enumerate() {
        if !counts(reading) {
            continue;
        }
        let Some(item) = reading.life_sha.as_deref() else {
            group.left_out += 1;
            continue;
        };
        match (reading.usage, &judged[n]) {
            (Some(usage), Ok(value)) if usage >= 0.0 => {
                let place = *places.entry(item).or_insert_with(|| {
                    group.items.push(ItemReadings {
                        item: item.to_owned(),
                        readings: Vec::new(),
                    });
                    group.items.len() - 1
                });
                group.items[place].readings.push((usage, *value));
            }
            _ => group.left_out += 1,
        }
        match known.get(item).map(|at| &mut latest[*at].1) {
            // An item's readings in two slots do not come in the order of time.
            Some(last) if readings[*last].time <= reading.time => *last = n,
            Some(_) => {}
            None => {
                known.insert(item, latest.len());
                latest.push((item, n));
            }
        }
    }
    let mut rows: Vec<Row> = latest
        .into_iter()
        .filter_map(|(item, n)| {
            let reading = &readings[n];
            let (machine, position) = (
                reading.item_machine.as_deref()?,
                reading.item_position.as_deref()?,
            );
            let asked = select.takes_slot(machine, &reading.component, position);
            let place = places.get(item).copied();
            (reading.still_in && asked).then(|| Row {
                latest: reading.clone(),
                verdict: verdicts[n].clone(),
                item: place,
                readings: place.map_or(0, |place| group.items[place].readings.len()),
            })
        })
        .collect();
    rows.sort_by(|a, b| {
        let place = |row: &Row| {
            (
                row.latest.item_machine.clone(),
                row.latest.item_position.clone(),
            )
        };
        place(a).cmp(&place(b))
    });
    group.rows = rows;
    group
}
