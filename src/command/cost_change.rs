//! Gathers what changed between two periods: money by kind, and how often failures came.
//!
//! In: a frame whose period is the later one, and the earlier one. Out: [`ChangeView`].
//! Never: printing; the splitting of a change, limits.

use std::collections::BTreeMap;

use super::CommandError;
use super::cost_frame::Frame;
use crate::cost::{Span, Spent, breakdown, events, split};
use crate::life::{CostItem, CostKind};
use crate::quantity::time::{day, format_utc};
use crate::recurrence::{rate_limits, rate_ratio};
use crate::view::cost_change::{ChangeView, FailureRow, KindRow};

/// Failures, and the usage they came in.
type Counted = (u64, f64);
/// A machine before and after.
type Machine = (String, Counted, Counted);

pub(super) fn change(
    frame: &Frame<'_>,
    before: &Span,
    confidence: f64,
) -> Result<ChangeView, CommandError> {
    let after = &frame.span;
    let last = day(frame.store.as_of(), frame.zone);
    if before.from > last {
        return Err(CommandError::wrong_use(
            format!(
                "--against begins on {}, and the record ends on {last}",
                before.from
            ),
            "give it a period within the record",
        ));
    }
    let spans = [before, after];
    let [whole_before, whole_after] = spans.map(|s| breakdown(frame.of(s), &[], &frame.usage(s)));
    let usage = (whole_before.total.usage, whole_after.total.usage);
    let kinds = CostKind::ALL
        .into_iter()
        .map(|kind| {
            let spent = |span: &Span, usage: Option<f64>| Spent {
                usage: usage.unwrap_or(f64::NAN),
                events: events(frame.of(span), kind),
                money: frame
                    .of(span)
                    .filter(|item| item.kind == kind)
                    .filter_map(|item| item.amount)
                    .sum(),
            };
            let (before, after) = (spent(before, usage.0), spent(after, usage.1));
            KindRow {
                kind: kind.word(),
                before,
                after,
                split: split(before, after, frame.currency.decimals()),
            }
        })
        .filter(|row| row.before.events + row.after.events > 0)
        .collect();
    let (failures, left) = failures(frame, spans, confidence);
    let mut notes = frame.notes.clone();
    if !left.is_empty() {
        notes.push(format!(
            "{}: usage is known in one of the periods only, so its failures are left out of the \
             rates",
            left.join(", ")
        ));
    }
    for (span, word) in [(before, "before"), (after, "after")] {
        let said = frame.usage_notes(span).into_iter();
        notes.extend(said.map(|note| format!("{word}: {note}")));
    }
    if before.to >= after.from && after.to >= before.from {
        notes.push(
            "the periods overlap: what lies in both counts in both, and the limits of the ratio \
             are too narrow"
                .into(),
        );
    }
    notes.push(
        "a change of cost is split into usage run, events for each unit of it, and money for each \
         event; an event is a job, a renewal outside jobs, or an expense"
            .into(),
    );
    notes.push(
        "failures are corrective jobs, and renewals a failure forced outside jobs, taken to come by \
         chance at a steady rate in each period; limits by Garwood (1936), the comparison by \
         Przyborowski & Wilenski (1940). What else changed between the periods, a comparison of \
         before and after cannot tell"
            .into(),
    );
    Ok(ChangeView {
        as_of: format_utc(frame.store.as_of()),
        currency: frame.currency,
        unit: frame.per.unit.clone(),
        before: before.clone(),
        after: after.clone(),
        usage,
        confidence,
        kinds,
        failures,
        notes,
    })
}

/// Failures of each machine, and what it ran; machines without usage are not among them.
fn counted(frame: &Frame<'_>, span: &Span) -> BTreeMap<String, (u64, f64)> {
    let mut items: BTreeMap<&str, Vec<&CostItem>> = BTreeMap::new();
    for item in frame.of(span) {
        if let Some(machine) = item.machine.as_deref() {
            items.entry(machine).or_default().push(item);
        }
    }
    let ran = frame.usage(span).into_iter();
    ran.filter_map(|(machine, ran)| Some((machine, ran.filter(|ran| *ran > 0.0)?)))
        .map(|(machine, ran)| {
            let own = items.remove(machine.as_str()).unwrap_or_default();
            let failures = events(own, CostKind::Corrective);
            (machine, (failures, ran))
        })
        .collect()
}

/// All machines with usage in both periods first, then each; and those that have it in one only.
fn failures(
    frame: &Frame<'_>,
    [before, after]: [&Span; 2],
    confidence: f64,
) -> (Vec<FailureRow>, Vec<String>) {
    let (one, mut two) = (counted(frame, before), counted(frame, after));
    let mut left = Vec::new();
    let mut machines = Vec::new();
    for (machine, before) in one {
        match two.remove(&machine) {
            Some(after) => machines.push((machine, before, after)),
            None => left.push(machine),
        }
    }
    left.extend(two.into_keys());
    left.sort();
    let limits = |(count, ran): (u64, f64)| (count, ran, rate_limits(count, ran, confidence));
    let row = |machine: Option<String>, before: (u64, f64), after: (u64, f64)| FailureRow {
        machine,
        before: limits(before),
        after: limits(after),
        ratio: rate_ratio(before, after, confidence),
    };
    let sum = |of: fn(&Machine) -> Counted| {
        let each = machines.iter().map(of);
        each.fold((0, 0.0), |(n, ran), (m, more)| (n + m, ran + more))
    };
    let mut rows = vec![row(None, sum(|m| m.1), sum(|m| m.2))];
    if machines.len() > 1 {
        let each = machines.into_iter();
        rows.extend(each.map(|(name, before, after)| row(Some(name), before, after)));
    }
    (rows, left)
}
