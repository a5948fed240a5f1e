//! Pieces of a register's tables that stand for themselves: limits, priors, sources.

use super::fault::FaultKind;
use super::fault::Walk;
use super::types::ShapePrior;
use crate::quantity::walk::{At, Domain, Table};
use crate::quantity::{Unit, nearest};
use crate::wear::LimitRule;

pub(super) fn value_or(at: Option<At<String>>, otherwise: &str) -> String {
    at.map_or_else(|| otherwise.to_owned(), |at| at.value)
}

pub(super) fn values(all: Vec<At<String>>) -> Vec<String> {
    all.into_iter().map(|at| at.value).collect()
}

pub(super) fn duplicate(walk: &mut Walk<'_>, what: &'static str, at: &At<String>, first: usize) {
    let value = at.value.clone();
    walk.fault(at.span.clone(), FaultKind::Duplicate { what, value, first });
}

/// Every text stated twice in one list is a fault.
pub(super) fn once_each(walk: &mut Walk<'_>, what: &'static str, texts: &[At<String>]) {
    for (n, text) in texts.iter().enumerate() {
        if let Some(first) = texts[..n].iter().find(|other| other.value == text.value) {
            let first = walk.line(first.span.start);
            duplicate(walk, what, text, first);
        }
    }
}

/// An optional list of texts; none where it is not stated.
pub(super) fn texts(walk: &mut Walk<'_>, table: &Table<'_, '_>, key: &'static str) -> Vec<String> {
    values(table.texts_if(walk, key).unwrap_or_default())
}

/// As [`texts`], each `what` stated once.
pub(super) fn listed(
    walk: &mut Walk<'_>,
    table: &Table<'_, '_>,
    key: &'static str,
    what: &'static str,
) -> Vec<String> {
    let texts = table.texts_if(walk, key).unwrap_or_default();
    once_each(walk, what, &texts);
    values(texts)
}

/// A table such as `{ value = 4000, source = "…" }`, value above 0.
pub(super) fn sourced(
    walk: &mut Walk<'_>,
    table: &Table<'_, '_>,
    key: &'static str,
    number: &'static str,
) -> Option<(f64, String)> {
    let inner = table.table_if(walk, key, &format!("`{key}`"), &[number, "source"])?;
    let value = inner.number(walk, number, Domain::Positive);
    let source = inner.text(walk, "source");
    Some((value?.value, source?.value))
}

pub(super) fn shape_prior(walk: &mut Walk<'_>, table: &Table<'_, '_>) -> Option<ShapePrior> {
    let known = &["low", "high", "source"];
    let inner = table.table_if(walk, "shape_prior", "`shape_prior`", known)?;
    let low = inner.number(walk, "low", Domain::Positive);
    let high = inner.number(walk, "high", Domain::Positive);
    let source = inner.text(walk, "source");
    let (low, high) = (low?, high?);
    if low.value >= high.value {
        let kind = FaultKind::LowNotBelowHigh {
            low: low.value,
            high: high.value,
        };
        walk.fault(low.span, kind);
        return None;
    }
    Some(ShapePrior {
        low: low.value,
        high: high.value,
        source: source?.value,
    })
}

pub(super) fn unit(walk: &mut Walk<'_>, table: &Table<'_, '_>) -> Option<Unit> {
    let at = table.text(walk, "unit")?;
    let unit = Unit::parse(&at.value);
    if unit.is_none() {
        let nearest = nearest(&at.value, Unit::symbols()).map(str::to_owned);
        let value = at.value;
        walk.fault(at.span, FaultKind::UnknownUnit { value, nearest });
    }
    unit
}

pub(super) fn limit_rule(walk: &mut Walk<'_>, table: &Table<'_, '_>) -> Option<LimitRule> {
    let known = &[
        "at_most",
        "at_least",
        "loss_from_new_at_most",
        "per_metre_at_most",
        "paired",
    ];
    table.must(walk, "limit");
    let inner = table.table_if(walk, "limit", "`limit`", known)?;
    let rules: Vec<&str> = known
        .iter()
        .copied()
        .filter(|key| inner.raw(key).is_some())
        .collect();
    let [rule] = rules[..] else {
        let found = rules.len();
        walk.fault(inner.span.clone(), FaultKind::LimitRules { found });
        return None;
    };
    let number = |walk: &mut Walk<'_>, domain: Domain| -> Option<f64> {
        inner.number_if(walk, rule, domain).map(|at| at.value)
    };
    Some(match rule {
        "at_most" => LimitRule::AtMost {
            limit: number(walk, Domain::Finite)?,
        },
        "at_least" => LimitRule::AtLeast {
            limit: number(walk, Domain::Finite)?,
        },
        "loss_from_new_at_most" => LimitRule::LossFromNewAtMost {
            limit: number(walk, Domain::Positive)?,
        },
        "per_metre_at_most" => LimitRule::PerMetreAtMost {
            limit: number(walk, Domain::Positive)?,
        },
        _ => {
            let paired = inner.table_if(walk, "paired", "`paired`", &["limit", "small"])?;
            // Registers written before `limit` was a key have none.
            let stated = paired.raw("limit").is_some();
            let limit = paired.number_if(walk, "limit", Domain::Positive);
            let small = paired.number(walk, "small", Domain::Positive);
            if stated && limit.is_none() {
                return None;
            }
            LimitRule::Paired {
                limit: limit.map(|at| at.value),
                small: small?.value,
            }
        }
    })
}
