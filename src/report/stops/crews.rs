//! Days with more machines down than crews can open.
//!
//! In: plans. Out: sentences. Never: a moved stop.

use super::facts::StopsFacts;
use super::places::machines;
use crate::report::words::{count, day, list};

/// Days told one by one.
const TOLD: usize = 20;

pub(super) fn words(facts: &StopsFacts<'_>) -> Vec<String> {
    let several = facts.plans.len() > 1;
    let mut told = Vec::new();
    for plan in facts.plans {
        for clash in &plan.plan.clashes {
            let plant = match several {
                true => format!(" at {}", plan.plant),
                false => String::new(),
            };
            let instead: Vec<String> = clash
                .instead
                .iter()
                .map(|(machine, date)| format!("{machine} could go on {}", day(*date)))
                .collect();
            let instead = match instead.as_slice() {
                [] => "No day within a week has a crew free.".to_owned(),
                some => format!("{}.", list(some)),
            };
            told.push((
                clash.date,
                format!(
                    "{}{plant}: {} are down together, and there {} to open them. {instead}",
                    day(clash.date),
                    machines(&clash.machines),
                    match clash.crews {
                        1 => "is one crew".to_owned(),
                        n => format!("are {n} crews"),
                    },
                ),
            ));
        }
    }
    told.sort_by_key(|(date, _)| *date);
    let more = told.len().saturating_sub(TOLD);
    let mut words: Vec<String> = told.into_iter().map(|(_, text)| text).take(TOLD).collect();
    if more > 0 {
        words.push(format!(
            "And {} more; the command plan tells all.",
            count(more, "day", "days")
        ));
    }
    words
}
