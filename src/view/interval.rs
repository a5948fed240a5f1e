//! Recommended intervals as JSON, CSV and a table. The JSON keys are a contract.
//!
//! In: policies and recommendations. Out: text. Never: statistics.

use serde::Serialize;

use super::table::{Align, Notes, Table, cell, csv_text, figure, percent, usage};
use crate::cost::{CostBasis, CostFrom};
use crate::life::counted_lives;
use crate::policy::age::NEAR;
use crate::policy::modes::ModeRole;
use crate::policy::recommend::{Ground, Recommendation};
use rust_decimal::prelude::ToPrimitive;

/// The range within which the cost stays near the least.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct NearView {
    pub from: f64,
    /// Null where even running to failure stays within the range.
    pub to: Option<f64>,
    pub within: f64,
}

impl NearView {
    pub(super) fn new((from, to): (f64, Option<f64>)) -> Self {
        NearView {
            from,
            to,
            within: NEAR,
        }
    }
}

/// A cost and where it comes from.
#[derive(Debug, Clone, Serialize)]
pub struct CostView {
    pub value: f64,
    pub from: String,
}

impl From<CostBasis> for CostView {
    fn from(basis: CostBasis) -> Self {
        CostView {
            // A decimal of money size is within a double's range.
            value: basis.value.to_f64().unwrap_or(f64::NAN),
            from: cost_words(basis.from),
        }
    }
}

/// Where a cost comes from, in words.
pub fn cost_words(from: CostFrom) -> String {
    match from {
        CostFrom::Ledger { renewals } => format!("ledger: mean of {renewals} renewals"),
        CostFrom::Register => "register".into(),
        CostFrom::Given => "given".into(),
    }
}

/// A saving with limits.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct SavingView {
    pub median: f64,
    pub lower: f64,
    pub upper: f64,
}

/// One recommendation.
#[derive(Debug, Clone, Serialize)]
pub struct RecommendationView {
    pub component: Option<String>,
    pub position: Option<String>,
    /// Null where it holds for every machine.
    pub machine: Option<String>,
    pub group: Option<String>,
    pub verdict: &'static str,
    pub optimum: Option<f64>,
    pub interval: Option<f64>,
    pub near_optimal: Option<NearView>,
    pub chance_it_pays: Option<f64>,
    pub saving: Option<SavingView>,
    pub saving_per_1000: Option<f64>,
    pub planned_cost: Option<CostView>,
    pub failed_cost: Option<CostView>,
    pub ceiling: Option<f64>,
    pub present_interval: Option<f64>,
    /// Its own lives, also where it leans on siblings.
    pub lives: u64,
    pub failures: u64,
    /// Share of its estimate that is its siblings'; null where it leans on none.
    pub borrowed: Option<f64>,
    pub unit: Option<String>,
    /// Failure modes among its lives; empty where none was stated.
    pub modes: Vec<ModeRoleView>,
    pub basis: String,
    pub notes: Vec<String>,
}

/// What a failure mode has to do with the interval.
#[derive(Debug, Clone, Serialize)]
pub struct ModeRoleView {
    /// Null for failures whose mode was not stated.
    pub mode: Option<String>,
    pub failures: u64,
    /// Null where the mode has no fit of its own.
    pub shape: Option<f64>,
    /// Failures per 1,000 of usage at the interval; null without one.
    pub failures_per_1000_renewed: Option<f64>,
    pub failures_per_1000_run_to_failure: Option<f64>,
    /// True for the mode whose failures the interval lowers most.
    pub drives: bool,
}

impl From<&ModeRole> for ModeRoleView {
    fn from(role: &ModeRole) -> Self {
        ModeRoleView {
            mode: role.mode.clone(),
            failures: role.failures,
            shape: role.life.map(|life| life.shape),
            failures_per_1000_renewed: role.rates.map(|r| 1_000.0 * r.0),
            failures_per_1000_run_to_failure: role.rates.map(|r| 1_000.0 * r.1),
            drives: role.drives,
        }
    }
}

/// What is worth saying of the modes: which drives the interval, and which renewal cannot help.
pub fn mode_notes(roles: &[ModeRole], interval: Option<f64>, unit: &str) -> Vec<String> {
    let name = |role: &ModeRole| {
        role.mode
            .clone()
            .unwrap_or_else(|| "mode not stated".into())
    };
    let per = format!("per 1,000 {unit}").trim_end().to_owned();
    let mut notes = Vec::new();
    let several = roles.len() > 1;
    if let (Some(at), Some(role), true) = (interval, roles.iter().find(|role| role.drives), several)
        && let Some((renewed, run)) = role.rates
    {
        notes.push(format!(
            "{} drives the interval: renewing at {} takes its failures from {} to {} {per}",
            name(role),
            format!("{} {unit}", usage(at)).trim_end(),
            figure(1_000.0 * run, 2),
            if renewed < 1e-3 * run {
                "next to none".into()
            } else {
                figure(1_000.0 * renewed, 2)
            },
        ));
    }
    for role in roles.iter().filter(|role| role.beyond_renewal()) {
        let shape = role.life.map_or(0.0, |life| life.shape);
        let limits = match (role.shape_limits.lower, role.shape_limits.upper) {
            (Some(lower), Some(upper)) => {
                format!(", {} to {}", figure(lower, 2), figure(upper, 2))
            }
            _ => String::new(),
        };
        notes.push(format!(
            "planned renewal does nothing for {}: its failures ({}) do not come with wear (shape \
             {}{limits})",
            name(role),
            role.failures,
            figure(shape, 2),
        ));
    }
    notes
}

/// What a row is about and what it rests on, beside the recommendation itself.
#[derive(Debug, Clone, Default)]
pub struct RowFacts {
    pub component: Option<String>,
    pub position: Option<String>,
    pub machine: Option<String>,
    pub group: Option<String>,
    pub planned: Option<CostBasis>,
    pub failed: Option<CostBasis>,
    pub ceiling: Option<f64>,
    pub present: Option<f64>,
    pub lives: u64,
    /// Exact and within windows together.
    pub failures: u64,
    pub borrowed: Option<f64>,
    pub unit: Option<String>,
    pub basis: String,
    /// Failure modes among its lives.
    pub modes: Vec<ModeRole>,
    pub notes: Vec<String>,
}

impl RecommendationView {
    pub fn new(facts: RowFacts, found: &Recommendation) -> Self {
        let decision = found.decision.as_ref();
        let unit = facts.unit.clone().unwrap_or_default();
        let mut notes: Vec<String> = found
            .grounds
            .iter()
            .map(|ground| ground_words(ground, &unit))
            .collect();
        notes.extend(mode_notes(&facts.modes, found.interval, &unit));
        notes.extend(facts.notes);
        RecommendationView {
            component: facts.component,
            position: facts.position,
            machine: facts.machine,
            group: facts.group,
            verdict: found.verdict.word(),
            optimum: found.optimum,
            interval: found.interval,
            near_optimal: decision.and_then(|d| d.near).map(NearView::new),
            chance_it_pays: decision.map(|d| d.chance_it_pays),
            saving: decision.map(|d| SavingView {
                median: d.saving.median,
                lower: d.saving.lower,
                upper: d.saving.upper,
            }),
            saving_per_1000: decision.map(|d| 1_000.0 * d.saving_rate.median),
            planned_cost: facts.planned.map(Into::into),
            failed_cost: facts.failed.map(Into::into),
            ceiling: facts.ceiling,
            present_interval: facts.present,
            lives: facts.lives,
            failures: facts.failures,
            borrowed: facts.borrowed,
            unit: facts.unit,
            modes: facts.modes.iter().map(Into::into).collect(),
            basis: facts.basis,
            notes,
        }
    }
}

/// Why a verdict fell as it did, in a sentence.
pub fn ground_words(ground: &Ground, unit: &str) -> String {
    let usage = |value: f64| format!("{} {unit}", figure(value, 4)).trim_end().to_owned();
    match ground {
        Ground::NoFailure { lives, usage: run } => format!(
            "no failure in {} and {} of running: a first failure, or longer runs \
             without one, would tell more",
            counted_lives(*lives),
            usage(*run)
        ),
        Ground::AllFailedAtFirstLook { lives } => format!(
            "every life ({}) had already failed at its first look, so nothing tells how early: \
             a look at younger items would",
            counted_lives(*lives)
        ),
        Ground::OneFailure => {
            "one failure only: how steeply wear sets in rests on the prior for the shape".into()
        }
        Ground::OpenShape => {
            "these failures leave the shape open under the prior 1/shape: a second failure at \
             another usage would close it"
                .into()
        }
        Ground::NothingBeatsRunToFailure => {
            "no interval has a lower expected cost than running to failure".into()
        }
        Ground::FailureIsNotDearer => {
            "a failure costs no more than a planned renewal, so there is nothing to prevent".into()
        }
        Ground::Undecided { chance } => format!(
            "planned renewal pays with a chance of {} only: more failures, or longer runs \
             without one, would settle it",
            percent(*chance)
        ),
        Ground::Ceiling { optimum, ceiling } => format!(
            "held at the ceiling of {}; cost alone would allow {}",
            usage(*ceiling),
            usage(*optimum)
        ),
        Ground::BelowGrid { optimum, grid } => format!(
            "{} is less than one step of the planning grid ({}); it stands unrounded",
            usage(*optimum),
            usage(*grid)
        ),
        Ground::BeyondExperience { longest } => format!(
            "no item on record ran longer than {}: approach the interval in steps",
            usage(*longest)
        ),
    }
}

/// All recommendations of one call.
#[derive(Debug, Clone, Serialize)]
pub struct RecommendationsView {
    pub recommendations: Vec<RecommendationView>,
    #[serde(skip)]
    pub currency: String,
}

impl RecommendationsView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "component",
            "position",
            "machine",
            "group",
            "verdict",
            "optimum",
            "interval",
            "near_optimal_from",
            "near_optimal_to",
            "near_optimal_within",
            "chance_it_pays",
            "saving_median",
            "saving_lower",
            "saving_upper",
            "saving_per_1000",
            "planned_cost",
            "planned_cost_from",
            "failed_cost",
            "failed_cost_from",
            "ceiling",
            "present_interval",
            "lives",
            "failures",
            "borrowed",
            "unit",
            "basis",
            "notes",
        ];
        let rows = self.recommendations.iter().map(|r| {
            let text = |part: &Option<String>| part.clone().unwrap_or_default();
            let cost = |view: &Option<CostView>| cell(view.as_ref().map(|c| c.value));
            let from =
                |view: &Option<CostView>| view.as_ref().map(|c| c.from.clone()).unwrap_or_default();
            vec![
                text(&r.component),
                text(&r.position),
                text(&r.machine),
                text(&r.group),
                r.verdict.into(),
                cell(r.optimum),
                cell(r.interval),
                cell(r.near_optimal.map(|n| n.from)),
                cell(r.near_optimal.and_then(|n| n.to)),
                cell(r.near_optimal.map(|n| n.within)),
                cell(r.chance_it_pays),
                cell(r.saving.map(|s| s.median)),
                cell(r.saving.map(|s| s.lower)),
                cell(r.saving.map(|s| s.upper)),
                cell(r.saving_per_1000),
                cost(&r.planned_cost),
                from(&r.planned_cost),
                cost(&r.failed_cost),
                from(&r.failed_cost),
                cell(r.ceiling),
                cell(r.present_interval),
                r.lives.to_string(),
                r.failures.to_string(),
                cell(r.borrowed),
                text(&r.unit),
                r.basis.clone(),
                r.notes.join("; "),
            ]
        });
        csv_text(&headings, rows)
    }

    /// Rounded; rows of a component that rest on the same evidence, or lean on each other, and
    /// say the same are one. Its figures are those of the least sure of them, its lives all.
    pub fn table(&self) -> String {
        let grouped = self.recommendations.iter().any(|r| r.component.is_none());
        let mut headings = if grouped {
            vec![("group", Align::Left)]
        } else {
            vec![("component", Align::Left), ("where", Align::Left)]
        };
        let money = format!("{} saved per 1,000", self.currency)
            .trim_start()
            .to_owned();
        headings.extend([
            ("verdict", Align::Left),
            ("interval", Align::Right),
            ("near the least", Align::Left),
            ("present", Align::Right),
            ("unit", Align::Left),
            ("chance", Align::Right),
            (money.as_str(), Align::Right),
            ("lives", Align::Right),
            ("failed", Align::Right),
            ("", Align::Left),
        ]);
        let mut table = Table::new(headings);
        let mut notes = Notes::default();
        for (row, place) in merged(&self.recommendations) {
            let mut cells = if grouped {
                vec![row.group.clone().unwrap_or_else(|| "all".into())]
            } else {
                vec![row.component.clone().unwrap_or_default(), place]
            };
            let renew = row.interval.is_some();
            let near = row
                .near_optimal
                .filter(|_| renew)
                .map_or_else(String::new, |n| {
                    let to = n.to.map_or_else(|| "…".into(), |to| figure(to, 3));
                    format!("{} to {to}", figure(n.from, 3))
                });
            cells.extend([
                row.verdict.to_owned(),
                row.interval.map_or_else(|| "–".into(), usage),
                near,
                row.present_interval.map_or_else(|| "–".into(), usage),
                row.unit.clone().unwrap_or_default(),
                row.chance_it_pays.map_or_else(|| "–".into(), percent),
                row.saving_per_1000
                    .filter(|_| renew)
                    .map_or_else(|| "–".into(), |s| figure(s, 3)),
                row.lives.to_string(),
                row.failures.to_string(),
                notes.marks(&row.notes),
            ]);
            table.row(cells);
        }
        let mut text = table.text();
        text.push_str(
            "\nSavings are against running to failure. A chance between the bounds is no verdict.\n\
             These intervals are advice for maintenance cost: they never lengthen a maker's, food \
             safety or legal limit.\n",
        );
        text.push_str(&notes.text());
        text
    }
}

/// Rows that rest on the same evidence, or on each other, and say the same, joined; with the
/// slots they hold for in words.
fn merged(rows: &[RecommendationView]) -> Vec<(RecommendationView, String)> {
    let mut joined: Vec<Vec<&RecommendationView>> = Vec::new();
    for row in rows {
        match joined.iter_mut().find(|members| alike(members[0], row)) {
            Some(members) => members.push(row),
            None => joined.push(vec![row]),
        }
    }
    let of = |row: &RecommendationView| -> Vec<usize> {
        let same = joined.iter().filter(|j| j[0].component == row.component);
        same.map(Vec::len).collect()
    };
    let mut named: Vec<(RecommendationView, String)> = joined
        .iter()
        .map(|members| {
            let sizes = of(members[0]);
            // The largest of several rows stands for the rest; of two as large both are named.
            let largest = sizes.iter().filter(|n| **n >= members.len()).count() == 1;
            let pool = members.iter().any(|member| member.machine.is_none());
            let place = if sizes.len() == 1 {
                "all positions".into()
            } else if pool && largest && members.len() > 1 {
                "all others".into()
            } else {
                let slots: Vec<String> = members
                    .iter()
                    .map(|member| {
                        let machine = member.machine.as_deref().unwrap_or_default();
                        let position = member.position.as_deref().unwrap_or_default();
                        format!("{machine} {position}").trim().to_owned()
                    })
                    .collect();
                slots.join(", ")
            };
            (one_row(members), place)
        })
        .collect();
    // What holds for most stands before its exceptions; components keep their order.
    let order: Vec<Option<&str>> = rows.iter().map(|row| row.component.as_deref()).collect();
    named.sort_by_key(|(row, place)| {
        let component = order.iter().position(|c| *c == row.component.as_deref());
        (component, place != "all others")
    });
    named
}

/// True where two rows may share one line.
fn alike(one: &RecommendationView, other: &RecommendationView) -> bool {
    let same_evidence =
        one.optimum == other.optimum && one.basis == other.basis && one.notes == other.notes;
    let siblings = one.borrowed.is_some() && other.borrowed.is_some();
    one.component.is_some()
        && one.component == other.component
        && one.verdict == other.verdict
        && one.interval == other.interval
        && (same_evidence || siblings)
}

/// The row for all members: the least sure of them, with the lives of all.
fn one_row(members: &[&RecommendationView]) -> RecommendationView {
    let doubt = |row: &RecommendationView| row.chance_it_pays.map_or(1.0, |c| (c - 0.5).abs());
    let mut row = members
        .iter()
        .copied()
        .min_by(|x, y| doubt(x).total_cmp(&doubt(y)))
        .unwrap_or(members[0])
        .clone();
    let shares: Vec<f64> = members.iter().filter_map(|m| m.borrowed).collect();
    if !shares.is_empty() {
        row.lives = members.iter().map(|m| m.lives).sum();
        row.failures = members.iter().map(|m| m.failures).sum();
        row.notes.push(lean_words(&shares, members.len() > 1));
    }
    row
}

/// How far a row's positions lean on their siblings, in a sentence.
fn lean_words(shares: &[f64], several: bool) -> String {
    let share = share_words(shares);
    if several {
        format!(
            "each of these leans on its siblings: {share} of an estimate is borrowed; the \
             figures are those of the least sure"
        )
    } else {
        format!("leans on its siblings: {share} of the estimate is borrowed")
    }
}

/// "64 %", or "40 to 64 %".
pub fn share_words(shares: &[f64]) -> String {
    let low = shares.iter().copied().fold(1.0, f64::min);
    let high = shares.iter().copied().fold(0.0, f64::max);
    let (low, high) = (percent(low), percent(high));
    if low == high {
        low
    } else {
        format!("{} to {high}", low.trim_end_matches(" %"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::{Life, Sample};
    use crate::policy::Costs;
    use crate::policy::recommend::{Terms, recommend};

    fn row(position: &str, interval: f64, borrowed: Option<f64>) -> RecommendationView {
        let lives = [900.0, 1_100.0, 1_300.0].map(Life::failure).to_vec();
        let sample = Sample::new(lives).expect("lives");
        let costs = Costs::new(1.0, 10.0).expect("costs");
        let facts = RowFacts {
            component: Some("ring".into()),
            position: Some(position.into()),
            lives: 3,
            failures: 2,
            borrowed,
            basis: position.into(),
            ..RowFacts::default()
        };
        let mut row = RecommendationView::new(facts, &recommend(&sample, costs, &Terms::default()));
        row.interval = Some(interval);
        row.notes.clear();
        row
    }

    #[test]
    fn siblings_that_settle_alike_share_a_row() {
        let mut rows = vec![
            row("P1", 500.0, Some(0.4)),
            row("P2", 250.0, Some(0.7)),
            row("P3", 500.0, Some(0.6)),
        ];
        rows[2].chance_it_pays = Some(0.85);
        rows[0].chance_it_pays = Some(0.95);
        let found = merged(&rows);
        let places: Vec<&str> = found.iter().map(|f| f.1.as_str()).collect();
        assert_eq!(places, ["all others", "P2"]);
        assert_eq!((found[0].0.lives, found[0].0.failures), (6, 4));
        assert_eq!(found[0].0.chance_it_pays, Some(0.85));
        assert!(found[0].0.notes[0].contains("40 to 60 % of an estimate"));
        assert!(found[1].0.notes[0].contains("70 % of the estimate"));
        // Without leaning, different evidence keeps its own row.
        let rows = [row("P1", 500.0, None), row("P2", 500.0, None)];
        assert_eq!(merged(&rows).len(), 2);
        // All alike: one row.
        let rows = [row("P1", 500.0, Some(0.4)), row("P2", 500.0, Some(0.3))];
        let found = merged(&rows);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].1, "all positions");
    }
}
