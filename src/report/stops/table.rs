//! The stops one by one, and a count of those too far off to be told.
//!
//! In: plans. Out: rows. Never: dates or sums of its own.

use chrono::{Datelike, NaiveDate};

use super::facts::StopsFacts;
use super::part::{MonthRow, Months, RenewLine, StopRow};
use super::places::positions;
use crate::chart::number;
use crate::plan::{KitLine, Stop, Task};
use crate::report::words::{day, lower_first, money};
use crate::view::plan::{kind, kit_words};

/// Stops told one by one; beyond as many and a few more they are counted.
const TOLD: usize = 60;

/// The next stops, and the others counted.
pub(super) fn stops(facts: &StopsFacts<'_>) -> (Vec<StopRow>, Option<Months>) {
    let mut stops: Vec<(&Stop, &[KitLine])> = Vec::new();
    for plan in facts.plans {
        let kits = plan.plan.kits.iter().map(Vec::as_slice);
        stops.extend(plan.plan.stops().into_iter().zip(kits));
    }
    // Stable: on one day in the order of the plants and their registers.
    stops.sort_by_key(|(stop, _)| stop.date);
    let (told, counted) = stops.split_at(stops.len().min(TOLD));
    let rows = told
        .iter()
        .map(|(stop, kit)| row(stop, kit, facts.currency));
    let counted: Vec<&Stop> = counted.iter().map(|(stop, _)| *stop).collect();
    (rows.collect(), months(&counted, facts))
}

fn row(stop: &Stop, kit: &[KitLine], currency: &str) -> StopRow {
    let kit_of =
        |pieces: &dyn Fn(&KitLine) -> u32| kit_words(kit.iter().map(|line| (line, pieces(line))));
    StopRow {
        date: day(stop.date),
        between: if stop.earliest == stop.latest {
            String::new()
        } else {
            format!("{} to {}", day(stop.earliest), day(stop.latest))
        },
        machine: stop.machine.clone(),
        overdue: stop.is_overdue(),
        opens: stop.opened_names.clone(),
        renew: renew(stop),
        measure: measure(stop),
        hours: hours(stop.hours),
        labour: hours(stop.labour_h),
        cost: format!("{currency} {}", money(stop.cost)),
        kit: kit_of(&|line| line.pieces),
        short: kit_of(&KitLine::short),
    }
}

pub(super) fn hours(value: f64) -> String {
    format!("{} h", number(value, usize::from(value < 9.95)))
}

/// What is renewed, by the kind of reason; the most pressing first.
fn renew(stop: &Stop) -> Vec<RenewLine> {
    const ORDER: [&str; 7] = [
        "condemned",
        "overdue",
        "due",
        "early",
        "exposed",
        "machine down",
        "always renewed",
    ];
    let why = |task: &Task| task.renew.map_or("", kind);
    let lines = ORDER.iter().filter_map(|word| {
        let tasks: Vec<&Task> = stop.renewals().filter(|t| why(t) == *word).collect();
        (!tasks.is_empty()).then(|| RenewLine {
            why: (*word).to_owned(),
            what: by_place(&tasks, |_| "").join("; "),
        })
    });
    lines.collect()
}

/// What is measured, and where a look is due.
fn measure(stop: &Stop) -> Vec<String> {
    let mut tasks: Vec<&Task> = stop
        .tasks
        .iter()
        .filter(|task| !task.measures.is_empty() || task.look)
        .collect();
    // In the order of the layout, whether renewed or not.
    tasks.sort_by_key(|task| task.slot);
    by_place(
        &tasks,
        |task| if task.look { " (a look is due)" } else { "" },
    )
}

/// "plunger packing set, packing spring P1–P3": components of the same places together.
fn by_place(tasks: &[&Task], also: impl Fn(&Task) -> &'static str) -> Vec<String> {
    let mut components: Vec<(&Task, &str, Vec<&str>)> = Vec::new();
    for task in tasks {
        let also = also(task);
        let alike = |set: &&mut (&Task, &str, Vec<&str>)| {
            set.0.component == task.component && set.1 == also
        };
        match components.iter_mut().find(alike) {
            Some(set) => set.2.push(&task.position),
            None => components.push((task, also, vec![&task.position])),
        }
    }
    let mut places: Vec<(String, Vec<String>)> = Vec::new();
    for (task, also, at) in components {
        let name = format!("{}{also}", lower_first(&task.name));
        let at = positions(&at);
        match places.iter_mut().find(|(known, _)| *known == at) {
            Some((_, names)) => names.push(name),
            None => places.push((at, vec![name])),
        }
    }
    places
        .iter()
        .map(|(at, names)| format!("{} {at}", names.join(", ")))
        .collect()
}

/// Stops by month and machine; none without a stop.
fn months(stops: &[&Stop], facts: &StopsFacts<'_>) -> Option<Months> {
    let (first, last) = (stops.first()?, stops.last()?);
    let index = |date: NaiveDate| date.year() * 12 + date.month0() as i32;
    let from = index(first.date);
    let columns = usize::try_from(index(last.date) - from + 1).ok()?;
    let column = |date: NaiveDate| usize::try_from(index(date) - from).unwrap_or(0);
    let mut sums = vec![0; columns];
    let mut rows: Vec<MonthRow> = Vec::new();
    for machine in facts.plans.iter().flat_map(|p| &p.plan.machines) {
        let mut counts = vec![0; columns];
        for stop in stops.iter().filter(|s| s.machine == machine.machine) {
            counts[column(stop.date)] += 1;
            sums[column(stop.date)] += 1;
        }
        if counts.iter().any(|count| *count > 0) {
            rows.push(MonthRow {
                machine: machine.machine.clone(),
                counts,
            });
        }
    }
    Some(Months {
        months: (0..columns)
            .map(|n| {
                let month = from + n as i32;
                format!("{}-{:02}", month.div_euclid(12), month.rem_euclid(12) + 1)
            })
            .collect(),
        rows,
        stops: stops.len(),
        sums,
    })
}
