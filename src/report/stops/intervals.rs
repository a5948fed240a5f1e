//! Every component and place with its own answer, and what the plan makes of it.
//!
//! In: subjects and plans. Out: rows. Never: a decision of its own.

use std::collections::HashMap;

use super::facts::StopsFacts;
use super::part::IntervalRow;
use super::places::machines;
use crate::chart::{number, significant};
use crate::plan::{Basis, MachineNow, SlotNow};
use crate::policy::Verdict;
use crate::report::subject::{Group, Subject};
use crate::report::words::{chance, usage};
use crate::view::plan::basis;

pub(super) fn rows(facts: &StopsFacts<'_>) -> Vec<IntervalRow> {
    let planned = Planned::of(facts);
    let told = |subject: &Subject, group: &Group| {
        let found = &group.recommendation;
        let near = found.decision.as_ref().and_then(|decision| decision.near);
        IntervalRow {
            component: subject.name.clone(),
            place: group.scope.words(),
            verdict: found.verdict.into(),
            interval: found.interval.map(|i| usage(i, &subject.unit)),
            near: near.filter(|_| found.verdict != Verdict::RunToFailure).map(
                |(from, to)| match to {
                    Some(to) => format!(
                        "{} to {} {}",
                        significant(from, 3),
                        significant(to, 3),
                        subject.unit
                    ),
                    None => format!("from {} {} on", significant(from, 3), subject.unit),
                },
            ),
            present: subject.present.map(|i| usage(i, &subject.unit)),
            ceiling: subject
                .ceiling
                .as_ref()
                .map(|(value, _)| usage(*value, &subject.unit)),
            planned: planned.words(&subject.id, &group.slots),
            lives: group.sample.count() as usize,
            failures: group.sample.failures() as usize,
            chance: found.decision.as_ref().map(|d| chance(d.chance_it_pays)),
        }
    };
    let each = facts.subjects.iter().flat_map(|subject| {
        let groups = subject.groups.iter();
        let own = groups.filter(|group| !group.slots.is_empty());
        own.map(move |group| told(subject, group))
    });
    each.collect()
}

/// Base intervals of the machines: "1,250 h on H-01 and H-03; 750 h on H-02".
pub(super) fn bases(facts: &StopsFacts<'_>) -> String {
    let mut bases: Vec<(String, Vec<&str>)> = Vec::new();
    for machine in facts.plans.iter().flat_map(|p| &p.plan.machines) {
        let Some((base, unit)) = &machine.base else {
            continue;
        };
        gather(&mut bases, usage(*base, unit), &machine.machine);
    }
    let told = bases
        .iter()
        .map(|(base, on)| format!("{base} on {}", machines(on)));
    told.collect::<Vec<_>>().join("; ")
}

fn gather<'a>(sets: &mut Vec<(String, Vec<&'a str>)>, words: String, machine: &'a str) {
    match sets.iter_mut().find(|(known, _)| *known == words) {
        Some((_, on)) if on.contains(&machine) => {}
        Some((_, on)) => on.push(machine),
        None => sets.push((words, vec![machine])),
    }
}

/// How the plans take each slot, by machine, component and position.
struct Planned<'a> {
    slots: HashMap<[&'a str; 3], (&'a MachineNow, &'a SlotNow, usize)>,
}

impl<'a> Planned<'a> {
    fn of(facts: &StopsFacts<'a>) -> Planned<'a> {
        let mut slots = HashMap::new();
        for machine in facts.plans.iter().flat_map(|p| p.machines) {
            for (n, slot) in machine.slots.iter().enumerate() {
                let key = [
                    machine.machine.as_str(),
                    slot.component.as_str(),
                    slot.position.as_str(),
                ];
                slots.insert(key, (machine, slot, n));
            }
        }
        Planned { slots }
    }

    /// Each answer once, with the machines it holds on where there are several.
    fn words(&self, component: &str, slots: &[(String, String)]) -> Vec<String> {
        let mut answers: Vec<(String, Vec<&str>)> = Vec::new();
        for (machine, position) in slots {
            let key = [machine.as_str(), component, position.as_str()];
            if let Some((now, slot, n)) = self.slots.get(&key) {
                gather(&mut answers, answer(now, slot, *n), &now.machine);
            }
        }
        let alone = answers.len() == 1;
        answers
            .into_iter()
            .map(|(words, on)| match alone {
                true => words,
                false => format!("{words}: {}", few(&on)),
            })
            .collect()
    }
}

/// Machines in little room.
fn few(on: &[&str]) -> String {
    match on.len() {
        0..=4 => on.join(", "),
        n => format!("{} and {} more", on[..3].join(", "), n - 3),
    }
}

fn answer(machine: &MachineNow, slot: &SlotNow, n: usize) -> String {
    let always = || machine.openings.iter().any(|o| o.always.contains(&n));
    match (&slot.renewal, slot.look_at) {
        (Some(renewal), _) => {
            let interval = usage(renewal.interval, &slot.unit);
            match renewal.basis {
                Basis::Present => format!("{interval}, as today"),
                Basis::Ceiling => format!("{interval}, the ceiling"),
                Basis::Grouped { multiple: 1 } => interval,
                Basis::Grouped { multiple } => match &machine.base {
                    Some((of, base)) if *of == slot.usage => {
                        format!("{multiple} × {} = {interval}", number(*base, 0))
                    }
                    _ => format!("{interval} ({})", basis(renewal.basis)),
                },
            }
        }
        (None, Some(look)) => format!("look at {}", usage(look.round(), &slot.unit)),
        (None, None) if always() => "whenever opened".to_owned(),
        (None, None) => "at failure".to_owned(),
    }
}
