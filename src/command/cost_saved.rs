//! Gathers what planned renewal saved or cost in a period, against run to failure.
//!
//! In: a frame, the evidence behind the recommendations. Out: [`SavedView`].
//! Never: printing; fits of its own.
//!
//! What was spent on the slots of a component is exact. Had they all run to failure, the same
//! usage would cost `U·Cf/mean life` in the long run (renewal reward theorem: S. M. Ross,
//! *Stochastic Processes*, 2nd ed. 1996, ch. 3); the limits are those of the mean life under the
//! decision's posterior. Chance in what happened to fail is part of what was spent.

use std::collections::BTreeMap;

use rust_decimal::prelude::ToPrimitive;

use super::CommandError;
use super::cost_frame::Frame;
use super::evidence::{Ask, ComponentEvidence, Group, gather};
use super::select::Select;
use crate::life::{CostClass, CostItem, CostKind, RenewalKind};
use crate::model::Target;
use crate::model::posterior::Posterior;
use crate::quantity::time::format_utc;
use crate::view::cost_saved::{Between, SavedRow, SavedView};

pub(super) fn saved(
    frame: &Frame<'_>,
    select: &Select,
    confidence: f64,
) -> Result<SavedView, CommandError> {
    let ask = Ask {
        select: select.clone(),
        confidence,
        ..Ask::default()
    };
    let mut rows = Vec::new();
    let mut left: Vec<String> = Vec::new();
    let mut several = false;
    for evidence in gather(frame.store, &ask)? {
        let id = &evidence.component.id;
        let items: Vec<&CostItem> = frame
            .of(&frame.span)
            .filter(|item| item.component.as_ref() == Some(id))
            .collect();
        let planned = items.iter().any(|item| {
            item.kind == CostKind::Preventive && item.cause == Some(RenewalKind::Planned)
        });
        if planned {
            let groups = evidence.groups.iter().filter(|g| !g.slots.is_empty());
            several |= groups.count() > 1;
            rows.push(row(frame, &evidence, &items, confidence));
        } else if !items.is_empty() {
            left.push(id.clone());
        }
    }
    let mut notes = frame.notes.clone();
    notes.extend(frame.usage_notes(&frame.span));
    if !left.is_empty() {
        notes.push(format!(
            "{}: not renewed as planned in the period, so nothing is said of it",
            left.join(", ")
        ));
    }
    notes.push(
        "spent is what the books tell, chance included; run to failure is the long run's cost of \
         the same usage by the fits, at the present failure cost; the limits are those of the mean \
         life, not of chance in a period"
            .into(),
    );
    if several {
        notes.push(
            "where slots are weighed apart, their limits are added end by end: wider than need be"
                .into(),
        );
    }
    Ok(SavedView {
        as_of: format_utc(frame.store.as_of()),
        currency: frame.currency,
        span: frame.span.clone(),
        confidence,
        rows,
        notes,
    })
}

fn row(
    frame: &Frame<'_>,
    evidence: &ComponentEvidence,
    items: &[&CostItem],
    confidence: f64,
) -> SavedRow {
    let ran = frame.on_meter(&evidence.usage.id, &frame.span);
    let parts = || items.iter().filter(|item| item.class == CostClass::Parts);
    let spent = items.iter().filter_map(|item| item.amount).sum();
    let (usage, found, note) = match run_to_failure(evidence, &ran, confidence) {
        Ok((usage, between)) => (Some(usage), Some(between), None),
        Err(note) => (None, None, Some(note)),
    };
    let less = |value: Option<f64>| Some(value? - rust_decimal::Decimal::to_f64(&spent)?);
    SavedRow {
        component: evidence.component.id.clone(),
        renewals: parts().count() as u64,
        failures: parts()
            .filter(|item| item.cause == Some(RenewalKind::Failed))
            .count() as u64,
        usage,
        unit: evidence.usage.unit.clone(),
        spent,
        run_to_failure: found,
        saved: found.map(|between| Between {
            median: less(between.median),
            lower: less(between.lower),
            upper: less(between.upper),
        }),
        note,
    }
}

/// Usage of all slots, and what it costs in the long run where they run to failure; or why
/// that is not known.
fn run_to_failure(
    evidence: &ComponentEvidence,
    ran: &BTreeMap<String, Option<f64>>,
    confidence: f64,
) -> Result<(f64, Between), String> {
    let (mut usage, mut whole) = (0.0, [Some(0.0); 3]);
    for group in evidence.groups.iter().filter(|g| !g.slots.is_empty()) {
        let slots = group.slots.iter();
        let run: Option<f64> = slots
            .map(|(machine, _)| ran.get(machine).copied().flatten())
            .sum();
        let run = run.ok_or("a machine's meter tells no usage for it")?;
        let posterior = posterior(evidence, group)?;
        let cost = |mean: Option<f64>| mean.map(|mean| run / mean * group.costs.failed);
        let limits = posterior.limits(Target::Mean, confidence);
        // A long mean life is a low cost.
        let found = [
            cost(posterior.quantile(Target::Mean, 0.5)),
            limits.upper.map_or(Some(0.0), |mean| cost(Some(mean))),
            cost(limits.lower.filter(|mean| *mean > 0.0)),
        ];
        usage += run;
        for (sum, one) in whole.iter_mut().zip(found) {
            *sum = sum.zip(one).map(|(sum, one)| sum + one);
        }
    }
    let [median, lower, upper] = whole;
    Ok((
        usage,
        Between {
            median,
            lower,
            upper,
        },
    ))
}

fn posterior(evidence: &ComponentEvidence, group: &Group) -> Result<Posterior, String> {
    if let Some(leaning) = &group.leaning {
        return Ok(leaning.posterior.clone());
    }
    if group.sample.failures() == 0 {
        return Err(
            "no failure on record, so what run to failure would cost cannot be said".into(),
        );
    }
    Posterior::new(&group.sample, evidence.terms.prior)
        .map_err(|error| format!("no estimate of the life: {error}"))
}
