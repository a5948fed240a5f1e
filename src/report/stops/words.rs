//! What the plans come to, in sentences.
//!
//! In: an [`Outlook`], notes of the plans. Out: sentences. Never: figures of its own.

use std::collections::BTreeMap;

use super::facts::{StopsFacts, names};
use super::outlook::{NextStops, Outlook};
use super::places::{machines, positions};
use super::table::hours;
use crate::report::words::{count, day, list, lower_first, money};

/// What is overdue, the next stop, how many there are, and what is to be ordered.
pub fn sentences(outlook: &Outlook, currency: &str) -> Vec<String> {
    let mut out = vec![overdue(outlook)];
    let Some(next) = &outlook.next else {
        out.push(format!(
            "No stop is planned from {} to {}.",
            day(outlook.from),
            day(outlook.to)
        ));
        return out;
    };
    let mut then = next_words(next);
    if let Some(later) = &outlook.then {
        then.push_str(&format!(
            " After {}, {} on {}{}.",
            if next.machines.len() == 1 {
                "it"
            } else {
                "them"
            },
            machines(&later.machines),
            day(later.date),
            between(later),
        ));
    }
    out.push(then);
    out.push(format!(
        "From {} to {} there {}: {} of production, {} of labour, {currency} {} with parts, labour \
         and lost production.",
        day(outlook.from),
        day(outlook.to),
        match outlook.stops {
            1 => "is one stop".to_owned(),
            n => format!("are {}", count(n, "stop", "stops")),
        },
        hours(outlook.hours),
        hours(outlook.labour_h),
        money(outlook.cost),
    ));
    out.extend(orders(outlook));
    out
}

fn overdue(outlook: &Outlook) -> String {
    let on: Vec<String> = outlook
        .overdue_on
        .iter()
        .map(|(machine, n)| format!("{n} on {machine}"))
        .collect();
    let mut text = match (outlook.overdue, on.as_slice()) {
        (0, _) => return "Nothing is past its interval.".to_owned(),
        (1, _) => {
            let on: Vec<&str> = outlook.overdue_on.iter().map(|o| o.0.as_str()).collect();
            format!("One item is past its interval, on {}.", list(&on))
        }
        (n, on) if on.len() <= 6 => format!(
            "{} are past their interval: {}.",
            count(n, "item", "items"),
            list(on)
        ),
        (n, on) => format!(
            "{} are past their interval, on {} machines.",
            count(n, "item", "items"),
            on.len()
        ),
    };
    if outlook.past_ceiling > 0 {
        text.push_str(&match outlook.past_ceiling {
            1 => " One of them is past its ceiling: it may not run on.".to_owned(),
            n => format!(" {n} of them are past their ceiling: they may not run on."),
        });
    }
    if outlook.condemned > 0 {
        text.push_str(&match outlook.condemned {
            1 => " One was found worn or failed and is still in.".to_owned(),
            n => format!(" {n} were found worn or failed and are still in."),
        });
    }
    text
}

fn next_words(next: &NextStops) -> String {
    let several = next.machines.len() > 1;
    let on = machines(&next.machines);
    match (next.overdue, several) {
        (true, true) => format!("The next stops are due now: {on}."),
        (true, false) => format!("The next stop is due now: {on}."),
        (false, true) => format!("The next stops are {on} on {}.", day(next.date)),
        (false, false) => format!(
            "The next stop is {on} on {}{}.",
            day(next.date),
            between(next)
        ),
    }
}

fn between(next: &NextStops) -> String {
    if next.earliest == next.latest || next.machines.len() > 1 {
        return String::new();
    }
    format!(" (between {} and {})", day(next.earliest), day(next.latest))
}

fn orders(outlook: &Outlook) -> Option<String> {
    let next = outlook.next_order.map(day);
    let late = outlook.late_parts.as_slice();
    match (late.len(), next) {
        (0, None) => None,
        (0, Some(next)) => Some(format!("The next parts are to be ordered by {next}.")),
        (n, next) => {
            let named = match n {
                1..=6 => format!("{} should have been ordered already", list(late)),
                n => format!("{n} part numbers should have been ordered already"),
            };
            let then = match next {
                Some(next) => format!("; the next order is due by {next}"),
                None => String::new(),
            };
            Some(format!("{named}{then}."))
        }
    }
}

/// What is to be known of the plans: each note once, with the machines it is about.
pub(super) fn notes(facts: &StopsFacts<'_>) -> Vec<String> {
    let names = names(facts.plans);
    let mut notes: Vec<(String, Vec<&str>)> = Vec::new();
    for (machine, own) in facts.plans.iter().flat_map(|plan| plan.noted()) {
        let undated = undated(&machine.undated, &names);
        for note in own.iter().cloned().chain(undated) {
            match notes.iter_mut().find(|(known, _)| *known == note) {
                Some((_, on)) => on.push(&machine.machine),
                None => notes.push((note, vec![&machine.machine])),
            }
        }
    }
    let mut out: Vec<String> = notes
        .into_iter()
        .map(|(note, on)| format!("{}: {note}.", machines(&on)))
        .collect();
    if facts.narrowed {
        out.push(
            "A stop is one of a whole machine: what is planned rests on all its components, \
             whichever of them this report tells of."
                .to_owned(),
        );
    }
    out
}

fn undated(slots: &[(String, String)], names: &BTreeMap<&str, &str>) -> Option<String> {
    let mut sets: Vec<(&str, Vec<&str>)> = Vec::new();
    for (component, position) in slots {
        match sets.iter_mut().find(|(known, _)| known == component) {
            Some((_, at)) => at.push(position),
            None => sets.push((component, vec![position])),
        }
    }
    let told: Vec<String> = sets
        .iter()
        .map(|(component, at)| {
            let name = names.get(component).copied().unwrap_or(component);
            format!("{} {}", lower_first(name), positions(at))
        })
        .collect();
    let told = told.join("; ");
    (!slots.is_empty())
        .then(|| format!("no date for {told}, as its age or the machine’s usage is unknown"))
}
