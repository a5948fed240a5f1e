//! What is past its interval on the plan's day.
//!
//! In: plans. Out: rows. Never: what is done about it.

use super::facts::{StopsFacts, names};
use super::part::OverdueRow;
use crate::plan::Overdue;
use crate::report::words::usage;
use crate::view::plan::overdue_words;

pub(super) fn rows(facts: &StopsFacts<'_>) -> Vec<OverdueRow> {
    let names = names(facts.plans);
    let machines = facts.plans.iter().flat_map(|p| &p.plan.machines);
    let mut rows: Vec<(bool, OverdueRow)> = Vec::new();
    for machine in machines {
        for late in &machine.overdue {
            let stop_now = late.past_ceiling || late.condemned.is_some();
            rows.push((
                !stop_now,
                OverdueRow {
                    machine: machine.machine.clone(),
                    component: names
                        .get(late.component.as_str())
                        .map_or_else(|| late.component.clone(), |name| (*name).to_owned()),
                    position: late.position.clone(),
                    age: figure(late.age, late),
                    interval: figure(late.interval, late),
                    also: overdue_words(late.condemned.as_deref(), late.past_ceiling),
                    stop_now,
                },
            ));
        }
    }
    // Stable: what may not run on stands first, then as the registers have it.
    rows.sort_by_key(|row| row.0);
    rows.into_iter().map(|(_, row)| row).collect()
}

fn figure(value: Option<f64>, late: &Overdue) -> Option<String> {
    value.map(|value| usage(value.round(), &late.unit))
}
