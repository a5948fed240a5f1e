//! What is past its interval on the plan's day.
//!
//! In: plans. Out: rows. Never: what is done about it.

use super::facts::{StopsFacts, names};
use super::part::OverdueRow;
use super::places::positions;
use crate::chart::number;
use crate::plan::Overdue;
use crate::report::words::usage;
use crate::view::plan::overdue_words;

/// Rows told; of more the farthest past their intervals.
const TOLD: usize = 60;

/// A row a machine, component and interval, what may not run on first; and how many items are
/// not among them.
pub(super) fn rows(facts: &StopsFacts<'_>) -> (Vec<OverdueRow>, usize) {
    let names = names(facts.plans);
    let mut sets: Vec<(&str, Vec<&Overdue>)> = Vec::new();
    for machine in facts.plans.iter().flat_map(|p| &p.plan.machines) {
        for late in &machine.overdue {
            let alike = |set: &&mut (&str, Vec<&Overdue>)| {
                let first = set.1[0];
                set.0 == machine.machine
                    && first.component == late.component
                    && first.interval == late.interval
                    && first.past_ceiling == late.past_ceiling
                    && first.condemned == late.condemned
            };
            match sets.iter_mut().find(alike) {
                Some(set) => set.1.push(late),
                None => sets.push((&machine.machine, vec![late])),
            }
        }
    }
    // Stable: else as the registers have it.
    if sets.len() > TOLD {
        sets.sort_by(|a, b| past(&b.1).total_cmp(&past(&a.1)));
    }
    sets.sort_by_key(|(_, late)| !stop_now(late[0]));
    let more = sets.iter().skip(TOLD).map(|(_, late)| late.len()).sum();
    let rows = sets.iter().take(TOLD).map(|(machine, late)| {
        let first = late[0];
        let at: Vec<&str> = late.iter().map(|l| l.position.as_str()).collect();
        OverdueRow {
            machine: (*machine).to_owned(),
            component: names
                .get(first.component.as_str())
                .map_or_else(|| first.component.clone(), |name| (*name).to_owned()),
            positions: positions(&at),
            age: ages(late),
            interval: first.interval.map(|i| usage(i.round(), &first.unit)),
            also: overdue_words(first.condemned.as_deref(), first.past_ceiling),
            stop_now: stop_now(first),
        }
    });
    (rows.collect(), more)
}

/// How many of its intervals the oldest of them is old.
fn past(late: &[&Overdue]) -> f64 {
    let each = late.iter().filter_map(|l| Some(l.age? / l.interval?));
    each.fold(0.0, f64::max)
}

fn stop_now(late: &Overdue) -> bool {
    late.past_ceiling || late.condemned.is_some()
}

/// "4,748 to 4,854 h"; none where the age of one is unknown.
fn ages(late: &[&Overdue]) -> Option<String> {
    let ages: Option<Vec<f64>> = late.iter().map(|l| Some(l.age?.round())).collect();
    let ages = ages?;
    let unit = &late[0].unit;
    let low = ages.iter().copied().fold(f64::INFINITY, f64::min);
    let high = ages.iter().copied().fold(0.0, f64::max);
    Some(if low == high {
        usage(low, unit)
    } else {
        format!("{} to {}", number(low, 0), usage(high, unit))
    })
}
