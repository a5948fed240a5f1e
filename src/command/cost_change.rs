//! Gathers what changed between two periods: money by kind, and how often failures came.
//!
//! In: a frame whose period is the later one, and the earlier one. Out: [`ChangeView`].
//! Never: printing; the splitting of a change, limits.

use super::CommandError;
use super::cost_frame::Frame;
use crate::cost::{Span, Spent, breakdown, events, split};
use crate::life::{CostItem, CostKind};
use crate::quantity::time::{day, format_utc};
use crate::recurrence::{rate_limits, rate_ratio};
use crate::view::cost_change::{ChangeView, FailureRow, KindRow};

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
    let mut notes = frame.notes.clone();
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
        failures: failures(frame, spans, confidence),
        notes,
    })
}

/// All machines with usage in both periods first, then each.
fn failures(frame: &Frame<'_>, spans: [&Span; 2], confidence: f64) -> Vec<FailureRow> {
    let [before, after] = spans.map(|span| frame.usage(span));
    let machines: Vec<&String> = before
        .keys()
        .filter(|name| {
            let ran = |usage: Option<&Option<f64>>| usage.copied().flatten().unwrap_or(0.0) > 0.0;
            ran(before.get(*name)) && ran(after.get(*name))
        })
        .collect();
    let row = |of: &[&String]| {
        let counted = |span: &Span, usage: &std::collections::BTreeMap<String, Option<f64>>| {
            let items: Vec<&CostItem> = frame
                .of(span)
                .filter(|item| of.iter().any(|m| item.machine.as_ref() == Some(*m)))
                .collect();
            let count = events(items, CostKind::Corrective);
            let ran = of.iter().filter_map(|m| usage.get(*m).copied().flatten());
            (count, ran.sum::<f64>())
        };
        let (one, two) = (counted(spans[0], &before), counted(spans[1], &after));
        let limits = |(count, ran): (u64, f64)| (count, ran, rate_limits(count, ran, confidence));
        FailureRow {
            machine: None,
            before: limits(one),
            after: limits(two),
            ratio: rate_ratio(one, two, confidence),
        }
    };
    let mut rows = vec![row(&machines)];
    if machines.len() > 1 {
        rows.extend(machines.iter().map(|machine| FailureRow {
            machine: Some((*machine).clone()),
            ..row(&[machine])
        }));
    }
    rows
}
