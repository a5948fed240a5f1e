//! Gathers what planned renewal saved or cost in a period, against run to failure.
//!
//! In: a frame, the evidence behind the recommendations. Out: [`SavedView`].
//! Never: printing; fits of its own.
//!
//! What was spent on the slots of a component is exact. Had they all run to failure, the same
//! usage would cost `U·Cf/mean life` in the long run (renewal reward theorem: S. M. Ross,
//! *Stochastic Processes*, 2nd ed. 1996, ch. 3); the limits are those of the mean life under the
//! decision's posterior. Chance in what happened to fail is part of what was spent.
//!
//! Slots of one component that are weighed apart are taken to be high and low together (their
//! quantiles add up: never too sure); components to tell nothing of each other, as each is
//! estimated from lives of its own (see `policy::uncertain`).

use std::collections::BTreeMap;

use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::CommandError;
use super::cost_frame::Frame;
use super::evidence::{Ask, ComponentEvidence, Group, gather};
use super::select::Select;
use crate::life::{CostClass, CostItem, CostKind, RenewalKind};
use crate::policy::Uncertain;
use crate::policy::decide::Saving;
use crate::policy::practice::practice_cost;
use crate::policy::uncertain::{all_along, all_beside};
use crate::quantity::time::format_utc;
use crate::view::cost_saved::{Between, SavedRow, SavedTotal, SavedView};

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
    let evidence = gather(frame.store, &ask)?;
    Ok(saved_by(frame, &evidence, confidence))
}

/// The same with evidence at hand.
pub(super) fn saved_by(
    frame: &Frame<'_>,
    evidence: &[ComponentEvidence],
    confidence: f64,
) -> SavedView {
    let mut items: BTreeMap<&str, Vec<&CostItem>> = BTreeMap::new();
    for item in frame.of(&frame.span) {
        if let Some(component) = &item.component {
            items.entry(component).or_default().push(item);
        }
    }
    let mut left: Vec<&str> = Vec::new();
    let mut several = false;
    let mut asked = Vec::new();
    for evidence in evidence {
        let id = evidence.component.id.as_str();
        let Some(items) = items.remove(id) else {
            continue;
        };
        let planned = items.iter().any(|item| {
            item.kind == CostKind::Preventive && item.cause == Some(RenewalKind::Planned)
        });
        if planned {
            let groups = evidence.groups.iter().filter(|g| !g.slots.is_empty());
            several |= groups.count() > 1;
            let ran = frame.on_meter(&evidence.usage.id, &frame.span);
            asked.push((evidence, items, ran));
        } else {
            left.push(id);
        }
    }
    let found: Vec<(SavedRow, Option<Uncertain>)> = asked
        .into_par_iter()
        .map(|(evidence, items, ran)| row(evidence, &items, &ran, confidence))
        .collect();
    let total = total(&found, confidence);
    let rows: Vec<SavedRow> = found.into_iter().map(|(row, _)| row).collect();
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
    if let Some(total) = &total {
        notes.push(format!(
            "the total is of the {} components with a figure, each estimated from lives of its own \
             and so taken to tell nothing of the others: its limits are narrower than the sum of \
             theirs, and its middle need not be the sum of theirs",
            total.components
        ));
    }
    SavedView {
        as_of: format_utc(frame.store.as_of()),
        currency: frame.currency,
        span: frame.span.clone(),
        confidence,
        rows,
        total,
        notes,
    }
}

fn row(
    evidence: &ComponentEvidence,
    items: &[&CostItem],
    ran: &BTreeMap<String, Option<f64>>,
    confidence: f64,
) -> (SavedRow, Option<Uncertain>) {
    let parts = || items.iter().filter(|item| item.class == CostClass::Parts);
    let spent: Decimal = items.iter().filter_map(|item| item.amount).sum();
    let (usage, whole, note) = match run_to_failure(evidence, ran) {
        Ok((usage, whole)) => (Some(usage), Some(whole), None),
        Err(note) => (None, None, Some(note)),
    };
    let cost = whole.as_ref().map(|whole| whole.limits(confidence));
    let row = SavedRow {
        component: evidence.component.id.clone(),
        renewals: parts().count() as u64,
        failures: parts()
            .filter(|item| item.cause == Some(RenewalKind::Failed))
            .count() as u64,
        usage,
        unit: evidence.usage.unit.clone(),
        spent,
        run_to_failure: cost.map(between),
        saved: cost.and_then(|cost| less(cost, spent)),
        note,
    };
    (row, whole)
}

/// All components that have a figure; `None` with fewer than two.
fn total(found: &[(SavedRow, Option<Uncertain>)], confidence: f64) -> Option<SavedTotal> {
    let known: Vec<(&SavedRow, &Uncertain)> = found
        .iter()
        .filter_map(|(row, whole)| Some((row, whole.as_ref()?)))
        .collect();
    if known.len() < 2 {
        return None;
    }
    let spent: Decimal = known.iter().map(|(row, _)| row.spent).sum();
    let whole = all_beside(known.iter().map(|(_, whole)| *whole))?;
    let cost = whole.limits(confidence);
    Some(SavedTotal {
        components: known.len(),
        renewals: known.iter().map(|(row, _)| row.renewals).sum(),
        failures: known.iter().map(|(row, _)| row.failures).sum(),
        spent,
        run_to_failure: between(cost),
        saved: less(cost, spent)?,
    })
}

fn between(found: Saving) -> Between {
    Between {
        median: Some(found.median),
        lower: Some(found.lower),
        upper: Some(found.upper),
    }
}

fn less(cost: Saving, spent: Decimal) -> Option<Between> {
    let spent = spent.to_f64()?;
    Some(Between {
        median: Some(cost.median - spent),
        lower: Some(cost.lower - spent),
        upper: Some(cost.upper - spent),
    })
}

/// Usage of all slots, and what it costs in the long run where they run to failure; or why
/// that is not known.
fn run_to_failure(
    evidence: &ComponentEvidence,
    ran: &BTreeMap<String, Option<f64>>,
) -> Result<(f64, Uncertain), String> {
    let mut usage = 0.0;
    let mut each = Vec::new();
    for group in evidence.groups.iter().filter(|g| !g.slots.is_empty()) {
        let slots = group.slots.iter();
        let run: Option<f64> = slots
            .map(|(machine, _)| ran.get(machine).copied().flatten())
            .sum();
        let run = run.ok_or("a machine's meter tells no usage for it")?;
        usage += run;
        each.push(cost_of_failures(evidence, group)?.times_plus(run, 0.0));
    }
    let whole = all_along(&each).ok_or("it has no slot")?;
    Ok((usage, whole))
}

/// What a unit of usage costs where items run to failure.
fn cost_of_failures(evidence: &ComponentEvidence, group: &Group) -> Result<Uncertain, String> {
    if group.leaning.is_none() && group.sample.failures() == 0 {
        return Err(
            "no failure on record, so what run to failure would cost cannot be said".into(),
        );
    }
    group
        .posterior(evidence.terms.prior)
        .and_then(|posterior| practice_cost(&posterior, group.costs, None))
        .ok_or_else(|| "no estimate of the life can be had from its record".into())
}
