//! Gathers the report's part on where the money goes.
//!
//! In: a store and its evidence. Out: [`MoneyPart`]; `None` without a record.
//! Never: printing, words.

use chrono::{Days, Months, NaiveDate};
use rust_decimal::prelude::ToPrimitive;

use super::CommandError;
use super::cost_change::change;
use super::cost_frame::{Asked, Frame};
use super::cost_indicators::overall;
use super::cost_saved::saved_by;
use super::evidence::ComponentEvidence;
use super::select::Select;
use crate::cost::{Breakdown, By, Every, Group, Span, breakdown};
use crate::quantity::time::day;
use crate::report::money::{
    MoneyFacts, MoneyPart, OnOffer, Stretch, Stretches, money_part, no_cost,
};
use crate::report::twin;
use crate::store::Store;
use crate::view::cost_change::ChangeView;

/// Most stretches shown over time.
const SHOWN: usize = 24;
/// Most stretches in a table.
const ROWS: usize = 12;
/// Days from which a record is shown by quarters: two years and some weeks.
const LONG: i64 = 760;
/// Fewest days that are cut in half to be compared.
const HALVED: i64 = 120;

/// What was spent on what was asked for; `None` where the record cannot tell of any cost.
pub(super) fn spent<'a>(
    store: &'a Store,
    select: &Select,
) -> Result<Option<Frame<'a>>, CommandError> {
    // A register without a usage has no component, so nothing could be said of any.
    if store.is_empty() || store.register().usages.is_empty() {
        return Ok(None);
    }
    Frame::new(store, select, Asked::default()).map(Some)
}

pub(super) fn money(
    frame: Frame<'_>,
    evidence: &[ComponentEvidence],
    offer: &OnOffer,
    confidence: f64,
) -> Result<MoneyPart, CommandError> {
    if frame.items.is_empty() {
        return Ok(no_cost());
    }
    let facts = facts(frame, evidence, offer, confidence)?;
    Ok(money_part(&facts))
}

/// What the last 12 months cost, for the report's twin; `None` where nothing was ever spent.
pub(super) fn yearly(frame: &Frame<'_>) -> Option<twin::Cost> {
    if frame.items.is_empty() {
        return None;
    }
    let span = recent(&frame.span);
    let usage = frame.usage(&span);
    let by = |by: By| breakdown(frame.of(&span), &[by], &usage);
    let of = |group: &Group| twin::CostOf {
        // A decimal of money size is within a double's range.
        total: group.amounts.total().to_f64().unwrap_or(0.0),
        usage: group.usage,
        per_usage: group.rate(),
    };
    let named = |found: &Breakdown| {
        let groups = found.groups.iter();
        groups
            .filter_map(|group| Some((group.keys.first()?.clone()?, of(group))))
            .collect()
    };
    let machines = by(By::Machine);
    Some(twin::Cost {
        from: span.from,
        to: span.to,
        unit: frame.per.unit.clone(),
        all: of(&machines.total),
        machines: named(&machines),
        components: named(&by(By::Component)),
    })
}

fn facts(
    mut frame: Frame<'_>,
    evidence: &[ComponentEvidence],
    offer: &OnOffer,
    confidence: f64,
) -> Result<MoneyFacts, CommandError> {
    let store = frame.store;
    let span = frame.span.clone();
    let days = (span.to - span.from).num_days() + 1;
    let by = |span: &Span, by: &[By]| breakdown(frame.of(span), by, &frame.usage(span));
    let cut = |spans: Vec<Span>, every: Every, kept: &[By]| Stretches {
        every,
        each: spans
            .into_iter()
            .map(|span| {
                let usage = frame.usage(&span);
                Stretch {
                    found: breakdown(frame.of(&span), kept, &usage),
                    usage,
                    span,
                }
            })
            .collect(),
    };
    let every = match days > LONG {
        true => Every::Quarter,
        false => Every::Month,
    };
    let mut spans = span.cut(every);
    spans.drain(..spans.len().saturating_sub(SHOWN));
    let over_time = cut(spans, every, &[By::Machine, By::Component]);
    let every = match days {
        0..=100 => Every::Month,
        101..=400 => Every::Quarter,
        _ => Every::Year,
    };
    let by_kind = cut(last_of(span.cut(every)), every, &[By::Kind]);
    let whole = by(&span, &[By::Machine, By::Component]);
    let kinds = by(&span, &[By::Kind]);
    let recent = recent(&span);
    let causes: Breakdown = by(&recent, &[By::Component, By::Mode, By::Kind]);
    let saved = saved_by(&frame, evidence, confidence);
    let change = changed(&mut frame, &span, confidence)?;
    frame.span = recent.clone();
    let indicators = overall(&frame, confidence)?;
    let mut notes = frame.notes.clone();
    notes.extend(frame.usage_notes(&span));
    Ok(MoneyFacts {
        currency: frame.currency,
        usage: frame.per.name.clone(),
        unit: frame.per.unit.clone(),
        confidence,
        as_of: day(store.as_of(), frame.zone),
        names: evidence
            .iter()
            .map(|e| (e.component.id.clone(), e.component.name.clone()))
            .collect(),
        span,
        whole,
        over_time,
        kinds,
        by_kind,
        recent,
        causes,
        change,
        saved,
        offer: offer.clone(),
        indicators,
        notes,
    })
}

/// The last stretches; those before are one.
fn last_of(mut spans: Vec<Span>) -> Vec<Span> {
    let Some(more) = spans.len().checked_sub(ROWS).filter(|more| *more > 0) else {
        return spans;
    };
    let first: Vec<Span> = spans.drain(..=more).collect();
    if let (Some(from), Some(to)) = (first.first(), first.last()) {
        let label = format!("up to {}", to.label);
        let whole = Span::new(from.from, to.to);
        spans.insert(0, Span { label, ..whole });
    }
    spans
}

/// The last 12 months, or the whole of a shorter record.
fn recent(span: &Span) -> Span {
    Span::new(a_year_to(span.to).max(span.from), span.to)
}

/// The first of the 12 months that end on a day.
fn a_year_to(to: NaiveDate) -> NaiveDate {
    let next = to.checked_add_days(Days::new(1));
    next.and_then(|next| next.checked_sub_months(Months::new(12)))
        .unwrap_or(to)
}

/// The last 12 months against those before; of a shorter record its halves, where they are
/// long enough to tell anything.
fn changed(
    frame: &mut Frame<'_>,
    span: &Span,
    confidence: f64,
) -> Result<Option<ChangeView>, CommandError> {
    let from = a_year_to(span.to);
    let before = |from: NaiveDate| from.pred_opt().unwrap_or(from);
    let earlier = a_year_to(before(from));
    let days = (span.to - span.from).num_days() + 1;
    let (first, second) = if earlier >= span.from {
        (Span::new(earlier, before(from)), Span::new(from, span.to))
    } else if days >= HALVED {
        let half = Days::new((days / 2) as u64);
        let from = span
            .to
            .checked_sub_days(half)
            .and_then(|day| day.succ_opt());
        let from = from.unwrap_or(span.to);
        // An odd day at the beginning is left out.
        let first = before(from)
            .checked_sub_days(half)
            .and_then(|day| day.succ_opt());
        (
            Span::new(first.unwrap_or(span.from), before(from)),
            Span::new(from, span.to),
        )
    } else {
        return Ok(None);
    };
    frame.span = second;
    change(frame, &first, confidence).map(Some)
}
