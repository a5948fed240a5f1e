//! Recommended intervals as JSON, CSV and a table. The JSON keys are a contract.
//!
//! In: policies and recommendations. Out: text. Never: statistics.

use serde::Serialize;

use super::interval_merge::merged;
pub use super::interval_merge::share_words;
pub use super::interval_modes::{ModeRoleView, mode_notes};
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
    /// Usage since renewal at which to look, and from then on as often; null unless the
    /// verdict is `inspect`, as the two below.
    pub look_at: Option<f64>,
    /// Chance to be beyond the limit before the look.
    pub risk: Option<f64>,
    /// Expected cost per usage of looking and renewing on what is found.
    pub inspect_cost_rate: Option<f64>,
    pub unit: Option<String>,
    /// Failure modes among its lives; empty where none was stated.
    pub modes: Vec<ModeRoleView>,
    pub basis: String,
    pub notes: Vec<String>,
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
            look_at: None,
            risk: None,
            inspect_cost_rate: None,
            unit: facts.unit,
            modes: facts.modes.iter().map(Into::into).collect(),
            basis: facts.basis,
            notes,
        }
    }
}

/// A look that is cheaper than renewal by age and than running to failure.
#[derive(Debug, Clone, PartialEq)]
pub struct LookView {
    pub look_at: f64,
    pub risk: f64,
    /// Expected cost per usage of looking.
    pub cost_rate: f64,
    /// The lesser of renewal by age and running to failure.
    pub rival_rate: f64,
    /// Of one look.
    pub look_cost: f64,
    /// What is measured.
    pub quantity: String,
    /// Share of failures it foretold.
    pub foretold: f64,
}

impl RecommendationView {
    /// The same with the verdict to look; an interval is then no longer recommended.
    pub fn looked_at(mut self, look: &LookView) -> Self {
        let unit = self.unit.clone().unwrap_or_default();
        self.verdict = "inspect";
        self.interval = None;
        self.look_at = Some(look.look_at);
        self.risk = Some(look.risk);
        self.inspect_cost_rate = Some(look.cost_rate);
        let also = self
            .optimum
            .map(|optimum| format!("; renewal by age would be at {} {unit}", figure(optimum, 3)))
            .unwrap_or_default();
        self.notes.insert(
            0,
            format!(
                "measure {} at {} {unit} since renewal and from then on as often; renew what \
                 would not stay within its limit to the next look. The chance to be beyond it \
                 before the first look is at most {}; a look costs {}; in all {} per {} {unit} \
                 against {}{also}",
                look.quantity,
                usage(look.look_at),
                percent(look.risk),
                figure(look.look_cost, 3),
                figure(1_000.0 * look.cost_rate, 3),
                usage(1_000.0),
                figure(1_000.0 * look.rival_rate, 3),
            ),
        );
        self.notes.insert(
            1,
            format!(
                "{} says nothing of failures that come another way: {} of those on record came \
                 near its limit or beyond",
                look.quantity,
                percent(look.foretold),
            ),
        );
        self
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
        Ground::NothingFromNew { first_entry } => format!(
            "every item came under watch with {} or more on it, which leaves the shape open under \
             the prior 1/shape: it takes items watched from new, or a stated prior for the shape, \
             to close it",
            usage(*first_entry)
        ),
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
            "look_at",
            "risk",
            "inspect_cost_rate",
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
                cell(r.look_at),
                cell(r.risk),
                cell(r.inspect_cost_rate),
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
