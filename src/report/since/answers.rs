//! Intervals and verdicts then and now, slot by slot, and why they differ as far as it is known.
//!
//! In: two twins. Out: [`Answers`]. Never: a test of whether a difference is more than chance.

use std::collections::HashMap;

use super::ChangeRow;
use crate::chart::number;
use crate::quantity::same_or_none;
use crate::report::stops::{machines, positions};
use crate::report::twin::{Asked, Component, Recommendation, Twin};
use crate::report::words::{chance, count, money, usage};

/// What changed among components and their answers.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Answers {
    pub rows: Vec<ChangeRow>,
    /// Intervals that changed under the same verdict; verdicts that changed.
    pub intervals: usize,
    pub verdicts: usize,
    /// Names of components and tags of machines told only now, or only then.
    pub new: Vec<String>,
    pub gone: Vec<String>,
    pub new_machines: Vec<String>,
    pub gone_machines: Vec<String>,
    /// Of the components told both times.
    pub lives: i64,
    pub failures: i64,
    /// That the reports were asked for different things.
    pub asked_apart: bool,
}

/// Relative difference from which a cost counts as changed.
const COST: f64 = 0.01;

type Slot<'a> = (&'a str, &'a str);

pub(super) fn compare(then: &Twin, now: &Twin) -> Answers {
    let mut found = Answers {
        asked_apart: then.asked != now.asked,
        ..Answers::default()
    };
    for component in &now.components {
        match then
            .components
            .iter()
            .find(|c| c.component == component.component)
        {
            Some(before) => component_changes(then, now, before, component, &mut found),
            None if takes(&then.asked, &component.component) => {
                found.new.push(component.name.clone());
            }
            None => {}
        }
    }
    for before in &then.components {
        let known = now
            .components
            .iter()
            .any(|c| c.component == before.component);
        if !known && takes(&now.asked, &before.component) {
            found.gone.push(before.name.clone());
        }
    }
    if !found.asked_apart {
        let (before, after) = (machines_of(then), machines_of(now));
        let only = |of: &[&str], not: &[&str]| -> Vec<String> {
            let apart = of.iter().filter(|m| !not.contains(m));
            apart.map(|m| (*m).to_owned()).collect()
        };
        found.new_machines = only(&after, &before);
        found.gone_machines = only(&before, &after);
    }
    found
}

fn takes(asked: &Asked, component: &str) -> bool {
    asked.components.is_empty() || asked.components.iter().any(|c| c == component)
}

fn machines_of(twin: &Twin) -> Vec<&str> {
    let mut all: Vec<&str> = Vec::new();
    for slots in twin.recommendations.iter().flat_map(|r| &r.slots) {
        if !all.contains(&slots.machine.as_str()) {
            all.push(&slots.machine);
        }
    }
    all
}

fn component_changes(
    then: &Twin,
    now: &Twin,
    before: &Component,
    component: &Component,
    found: &mut Answers,
) {
    found.lives += difference(before.lives, component.lives);
    found.failures += difference(before.failures, component.failures);
    let own = |twin: &'_ Twin| -> Vec<Recommendation> {
        let all = twin.recommendations.iter();
        all.filter(|r| r.component == component.component)
            .cloned()
            .collect()
    };
    let (old, new) = (own(then), own(now));
    let old_of: HashMap<Slot<'_>, usize> = slots(&old).collect();
    // Slots that went from one answer to another, in the order told now.
    let mut moved: Vec<((usize, usize), Vec<Slot<'_>>)> = Vec::new();
    for (slot, n) in slots(&new) {
        let Some(o) = old_of.get(&slot).copied() else {
            continue;
        };
        if same_answer(&old[o], &new[n]) {
            continue;
        }
        match moved.iter_mut().find(|(pair, _)| *pair == (o, n)) {
            Some((_, at)) => at.push(slot),
            None => moved.push(((o, n), vec![slot])),
        }
    }
    let money_told = then.currency == now.currency;
    for ((o, n), at) in moved {
        let (old, new) = (&old[o], &new[n]);
        if old.verdict == new.verdict {
            found.intervals += 1;
        } else {
            found.verdicts += 1;
        }
        found.rows.push(ChangeRow {
            what: component.name.clone(),
            place: place(new, &at),
            then: answer(old, &before.unit),
            now: answer(new, &component.unit),
            why: why(
                old,
                new,
                before,
                component,
                money_told.then_some(&now.currency),
            ),
        });
    }
    let present = |all: &[Recommendation]| all.first().and_then(|r| r.present);
    let (was, is) = (present(&old), present(&new));
    if was != is && !old.is_empty() && !new.is_empty() {
        let told = |value: Option<f64>, unit: &str| {
            value.map_or("at failure".to_owned(), |v| {
                format!("every {}", usage(v, unit))
            })
        };
        found.rows.push(ChangeRow {
            what: component.name.clone(),
            place: "what is done today".to_owned(),
            then: told(was, &before.unit),
            now: told(is, &component.unit),
            why: "as the register states".to_owned(),
        });
    }
}

fn difference(then: usize, now: usize) -> i64 {
    i64::try_from(now).unwrap_or(i64::MAX) - i64::try_from(then).unwrap_or(i64::MAX)
}

/// Every slot with the answer that holds there.
fn slots(all: &[Recommendation]) -> impl Iterator<Item = (Slot<'_>, usize)> {
    all.iter().enumerate().flat_map(|(n, answer)| {
        answer.slots.iter().flat_map(move |slots| {
            let at = slots.positions.iter();
            at.map(move |position| ((slots.machine.as_str(), position.as_str()), n))
        })
    })
}

fn same_answer(old: &Recommendation, new: &Recommendation) -> bool {
    same_or_none(old.interval, new.interval) && old.verdict == new.verdict
}

fn answer(of: &Recommendation, unit: &str) -> String {
    match of.interval {
        Some(interval) => format!("{} every {}", of.verdict, usage(interval, unit)),
        None => of.verdict.clone(),
    }
}

/// The place in the report's words where all of it changed, else its slots.
fn place(new: &Recommendation, at: &[Slot<'_>]) -> String {
    let all: usize = new.slots.iter().map(|slots| slots.positions.len()).sum();
    if at.len() == all {
        return new.place.clone();
    }
    let mut sets: Vec<(String, Vec<&str>)> = Vec::new();
    let mut on: Vec<&str> = Vec::new();
    for (machine, _) in at {
        if !on.contains(machine) {
            on.push(machine);
        }
    }
    for machine in on {
        let own: Vec<&str> = at.iter().filter(|s| s.0 == machine).map(|s| s.1).collect();
        let words = positions(&own);
        match sets.iter_mut().find(|(known, _)| *known == words) {
            Some((_, on)) => on.push(machine),
            None => sets.push((words, vec![machine])),
        }
    }
    let told = sets.iter().map(|(at, on)| format!("{} {at}", machines(on)));
    told.collect::<Vec<_>>().join("; ")
}

/// Why an answer changed: what of its grounds is another now.
fn why(
    old: &Recommendation,
    new: &Recommendation,
    before: &Component,
    component: &Component,
    currency: Option<&String>,
) -> String {
    let mut out = Vec::new();
    if old.place != new.place {
        out.push(format!(
            "weighed as {} then, as {} now",
            old.place, new.place
        ));
    }
    let lives = difference(before.lives, component.lives);
    let failures = difference(before.failures, component.failures);
    if failures != 0 {
        out.push(format!(
            "{} on record",
            more(failures, "failure", "failures")
        ));
    } else if lives != 0 {
        out.push(format!(
            "{} on record, no further failure",
            more(lives, "life", "lives")
        ));
    }
    if let Some(currency) = currency {
        for (what, was, is) in [
            ("a planned renewal", old.planned_cost, new.planned_cost),
            ("a failure", old.failed_cost, new.failed_cost),
        ] {
            if (is - was).abs() > COST * was.abs() {
                out.push(format!(
                    "{what} costs {currency} {}, was {}",
                    money(is),
                    money(was)
                ));
            }
        }
    }
    if old.ceiling != new.ceiling {
        out.push(match new.ceiling {
            Some(ceiling) => format!("the ceiling is {} now", usage(ceiling, &component.unit)),
            None => "there is no ceiling any more".to_owned(),
        });
    }
    if let (Some(was), Some(is)) = (old.chance_it_pays, new.chance_it_pays)
        && old.verdict != new.verdict
        && chance(was) != chance(is)
    {
        out.push(format!(
            "chance that it pays {}, was {}",
            chance(is),
            chance(was)
        ));
    }
    if out.is_empty() {
        out.push("no life ended; what is in place ran on".to_owned());
    }
    out.join("; ")
}

/// "5 more failures", "1 failure fewer".
pub(super) fn more(difference: i64, one: &str, many: &str) -> String {
    let n = usize::try_from(difference.unsigned_abs()).unwrap_or(usize::MAX);
    match difference {
        ..0 => format!("{} fewer", count(n, one, many)),
        _ => format!(
            "{} more {}",
            number(n as f64, 0),
            if n == 1 { one } else { many }
        ),
    }
}
