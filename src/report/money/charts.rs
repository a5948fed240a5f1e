//! The part's pictures as numbers.
//!
//! In: [`MoneyFacts`]. Out: chart structs with an empty id. Never: drawing.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::facts::{MoneyFacts, Stretch};
use crate::chart::{ChangeBars, OTHERS, Panel, RankedBars, RankedRow, Series, StackedColumns};
use crate::cost::{Breakdown, Group, Split};
use crate::life::CostKind;

/// Components shown by themselves, and machines.
const SERIES: usize = 6;
const MACHINES: usize = 8;
/// Rows of the ranking; what is less is added up.
const ROWS: usize = 9;
/// A column in which a machine ran less than this share of its usual is left empty: what it cost
/// for each hour would say nothing.
const LEAST_RUN: f64 = 0.1;

/// Looks that no component has.
const UNPLANNED: usize = 6;
const PLANNED: usize = 7;

/// What the picture over time leaves to be said of it.
pub(super) struct OverTime {
    pub chart: StackedColumns,
    /// Whether some machines share the last panel.
    pub together: bool,
    /// Whether any column is left empty as its machine hardly ran.
    pub empty: bool,
}

/// Components of the whole record, the dearest first; what belongs to none is left out.
pub(super) fn ranked(whole: &Breakdown) -> Vec<(&str, Decimal)> {
    added(whole, 1)
}

/// What belongs to each key of one kind, the dearest first.
fn added(found: &Breakdown, key: usize) -> Vec<(&str, Decimal)> {
    let mut sums: BTreeMap<&str, Decimal> = BTreeMap::new();
    for group in &found.groups {
        if let Some(name) = &group.keys[key] {
            *sums.entry(name).or_default() += group.amounts.total();
        }
    }
    let mut sums: Vec<(&str, Decimal)> = sums.into_iter().collect();
    sums.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(b.0)));
    sums
}

/// Cost for each unit of usage over time; none where no usage is known.
pub(super) fn over_time(facts: &MoneyFacts) -> Option<OverTime> {
    let shown: Vec<&str> = ranked(&facts.whole)
        .into_iter()
        .map(|(id, _)| id)
        .take(SERIES)
        .collect();
    let all_components = ranked(&facts.whole).len();
    let mut series: Vec<Series> = shown
        .iter()
        .enumerate()
        .map(|(look, id)| Series {
            name: facts.name(id).to_owned(),
            look,
        })
        .collect();
    let others = all_components > SERIES
        || facts
            .whole
            .groups
            .iter()
            .any(|group| group.keys[1].is_none());
    if others {
        series.push(Series {
            name: "all others".to_owned(),
            look: OTHERS,
        });
    }
    let series_of: BTreeMap<&str, usize> =
        shown.iter().enumerate().map(|(n, id)| (*id, n)).collect();
    let machines: Vec<&str> = added(&facts.whole, 0)
        .into_iter()
        .map(|(name, _)| name)
        .collect();
    let apart = match machines.len() {
        n if n > MACHINES + 1 => MACHINES,
        n => n,
    };
    let periods: Vec<Period<'_>> = facts
        .over_time
        .each
        .iter()
        .map(|stretch| Period::new(stretch, &series_of, series.len()))
        .collect();
    let mut empty = false;
    let mut panel = |name: String, columns: Vec<Column>| {
        let (panel, left_empty) = rates(name, columns)?;
        empty |= left_empty;
        Some(panel)
    };
    let mut panels = Vec::new();
    if machines.len() > 1 {
        let all = periods.iter().map(Period::all).collect();
        panels.extend(panel("all machines".to_owned(), all));
    }
    for machine in &machines[..apart] {
        let own = periods.iter().map(|period| period.of(&[machine]));
        panels.extend(panel((*machine).to_owned(), own.collect()));
    }
    let rest = &machines[apart..];
    if !rest.is_empty() {
        let together = periods.iter().map(|period| period.of(rest));
        let name = format!("the other {} machines", rest.len());
        panels.extend(panel(name, together.collect()));
    }
    if panels.is_empty() {
        return None;
    }
    let every = facts.over_time.every.word();
    Some(OverTime {
        together: !rest.is_empty(),
        empty,
        chart: StackedColumns {
            id: String::new(),
            title: format!(
                "Cost per {} by component, {every} by {every}",
                unit_words(facts)
            ),
            y_title: format!("{} per {}", facts.currency.code(), facts.unit),
            periods: facts
                .over_time
                .each
                .iter()
                .map(|s| s.span.label.clone())
                .collect(),
            series,
            panels,
        },
    })
}

/// "running hour" where the usage is hours, else "unit" of what it is.
pub(super) fn unit_words(facts: &MoneyFacts) -> String {
    match facts.unit.as_str() {
        "h" => "running hour".to_owned(),
        other => other.to_owned(),
    }
}

/// Money of each series and the usage it stands against; `None`: no usage is known.
type Column = Option<(Vec<Decimal>, f64)>;

/// Columns of rates, and whether any was left empty; none where all are.
fn rates(name: String, columns: Vec<Column>) -> Option<(Panel, bool)> {
    let mut ran: Vec<f64> = columns.iter().flatten().map(|(_, ran)| *ran).collect();
    ran.retain(|ran| *ran > 0.0);
    ran.sort_by(f64::total_cmp);
    let usual = ran.get(ran.len() / 2).copied()?;
    let mut left_empty = false;
    let columns = columns
        .into_iter()
        .map(|column| {
            let (sums, ran) = column?;
            if ran < LEAST_RUN * usual {
                left_empty |= sums.iter().any(|sum| !sum.is_zero());
                return None;
            }
            let rate = |sum: Decimal| Some((sum.to_f64()? / ran).max(0.0));
            sums.into_iter().map(rate).collect()
        })
        .collect();
    Some((Panel { name, columns }, left_empty))
}

/// Sums of one stretch by series.
struct Period<'a> {
    all: Vec<Decimal>,
    machines: BTreeMap<&'a str, Vec<Decimal>>,
    stretch: &'a Stretch,
}

impl<'a> Period<'a> {
    fn new(stretch: &'a Stretch, series_of: &BTreeMap<&str, usize>, count: usize) -> Period<'a> {
        let mut all = vec![Decimal::ZERO; count];
        let mut machines: BTreeMap<&str, Vec<Decimal>> = BTreeMap::new();
        for group in &stretch.found.groups {
            let component = group.keys[1].as_deref();
            let place = component.and_then(|id| series_of.get(id)).copied();
            // Without a series of its own it is one of the others, who come last.
            let place = place.unwrap_or(count - 1);
            all[place] += group.amounts.total();
            if let Some(machine) = group.keys[0].as_deref() {
                let own = machines.entry(machine);
                own.or_insert_with(|| vec![Decimal::ZERO; count])[place] += group.amounts.total();
            }
        }
        Period {
            all,
            machines,
            stretch,
        }
    }

    /// All machines, and the plant's own expenses.
    fn all(&self) -> Column {
        Some((self.all.clone(), self.stretch.found.total.usage?))
    }

    /// These machines together; `None` where what one of them ran is not known.
    fn of(&self, names: &[&str]) -> Column {
        let (mut sums, mut ran) = (vec![Decimal::ZERO; self.all.len()], 0.0);
        for name in names {
            if let Some(own) = self.machines.get(name) {
                sums.iter_mut()
                    .zip(own)
                    .for_each(|(sum, more)| *sum += more);
            }
            ran += self.stretch.usage.get(*name).copied().flatten()?;
        }
        Some((sums, ran))
    }
}

/// Cost by component and failure mode, the dearest first; none where nothing was spent.
pub(super) fn causes(facts: &MoneyFacts) -> Option<RankedBars> {
    struct Cause {
        name: String,
        detail: Option<String>,
        /// Unplanned, planned, neither.
        parts: [Decimal; 3],
    }
    /// Component, failure mode, whether an expense.
    type Key<'a> = (Option<&'a str>, Option<&'a str>, bool);
    let mut keyed: BTreeMap<Key<'_>, (Cause, u64)> = BTreeMap::new();
    for group in &facts.causes.groups {
        let (component, mode) = (group.keys[0].as_deref(), group.keys[1].as_deref());
        let kind = kind(group);
        let expense = component.is_none() && kind == Some(CostKind::Expense);
        let (cause, failures) = keyed.entry((component, mode, expense)).or_insert_with(|| {
            let name = match (component, expense) {
                (Some(id), _) => facts.name(id).to_owned(),
                (None, true) => "Expenses".to_owned(),
                (None, false) => "Machines as a whole".to_owned(),
            };
            let cause = Cause {
                name,
                detail: mode.map(str::to_owned),
                parts: [Decimal::ZERO; 3],
            };
            (cause, 0)
        });
        let part = match kind {
            Some(CostKind::Corrective) => 0,
            Some(CostKind::Preventive) => 1,
            _ => 2,
        };
        cause.parts[part] += group.amounts.total();
        *failures += group.failures;
    }
    let mut causes: Vec<Cause> = keyed
        .into_iter()
        .map(|((component, mode, _), (mut cause, failures))| {
            if let (Some(_), None) = (component, mode) {
                let words = match failures {
                    0 => "renewed before failure",
                    _ => "no mode stated",
                };
                cause.detail = Some(words.to_owned());
            }
            cause
        })
        .filter(|cause| cause.parts.iter().any(|part| !part.is_zero()))
        .collect();
    let sum = |cause: &Cause| cause.parts.iter().sum::<Decimal>();
    // Stable: equal ones keep the order of their names.
    causes.sort_by_key(|cause| std::cmp::Reverse(sum(cause)));
    let whole: Decimal = causes.iter().map(sum).sum();
    if whole <= Decimal::ZERO {
        return None;
    }
    if causes.len() > ROWS + 1 {
        let rest = causes.split_off(ROWS);
        let mut parts = [Decimal::ZERO; 3];
        for cause in &rest {
            parts
                .iter_mut()
                .zip(cause.parts)
                .for_each(|(sum, part)| *sum += part);
        }
        causes.push(Cause {
            name: format!("{} others", rest.len()),
            detail: None,
            parts,
        });
    }
    let kept: Vec<usize> = (0..3)
        .filter(|n| causes.iter().any(|cause| !cause.parts[*n].is_zero()))
        .collect();
    let mut so_far = Decimal::ZERO;
    let rows = causes
        .into_iter()
        .map(|cause| {
            so_far += sum(&cause);
            let value = |part: &usize| cause.parts[*part].to_f64().unwrap_or(0.0).max(0.0);
            RankedRow {
                parts: kept.iter().map(value).collect(),
                share_so_far: (so_far / whole).to_f64().unwrap_or(1.0).clamp(0.0, 1.0),
                name: cause.name,
                detail: cause.detail,
            }
        })
        .collect();
    let series = |n: &usize| {
        let (name, look) = [
            ("unplanned", UNPLANNED),
            ("planned", PLANNED),
            ("neither", OTHERS),
        ][*n];
        Series {
            name: name.to_owned(),
            look,
        }
    };
    Some(RankedBars {
        id: String::new(),
        title: "Cost by component and failure mode".to_owned(),
        x_title: facts.currency.code().to_owned(),
        rows,
        parts: kept.iter().map(series).collect(),
    })
}

/// The kind of a group kept apart by it last.
pub(super) fn kind(group: &Group) -> Option<CostKind> {
    CostKind::from_word(group.keys.last()?.as_deref()?)
}

/// From the earlier stretch's cost to the later one's in three steps; none where usage is not
/// known.
pub(super) fn steps(facts: &MoneyFacts) -> Option<ChangeBars> {
    let change = facts.change.as_ref()?;
    let total = change.total();
    let Split {
        volume,
        rate,
        price,
    } = total.split?;
    let number = |amount: Decimal| amount.to_f64();
    Some(ChangeBars {
        id: String::new(),
        title: "What changed the cost".to_owned(),
        x_title: facts.currency.code().to_owned(),
        before: ("before".to_owned(), number(total.before.money)?),
        steps: vec![
            ("by running".to_owned(), number(volume)?),
            ("by how often".to_owned(), number(rate)?),
            ("by price".to_owned(), number(price)?),
        ],
        after: ("after".to_owned(), number(total.after.money)?),
    })
}
