//! A comparison of groups as JSON and CSV. The JSON keys are a contract.
//!
//! In: a [`Comparison`] with the groups' names and counts. Out: text. Never: statistics, nor
//! sentences (see `compare_words`) or tables (see `compare_table`).

use serde::Serialize;

pub use super::compare_words::left_out;
use super::compare_words::{ratio_note, why_not};
use super::fit::LimitsView;
use super::interval::{CostView, SavingView};
use super::table::{cell, csv_text};
use crate::life::Sample;
use crate::model::Weibull;
use crate::model::compare::{ChosenBy, Comparison, Nested};
use crate::model::limits::LimitsKind;
use crate::policy::decide::Saving;
use crate::policy::worth::Worth;

/// Groups of lives compared.
#[derive(Debug, Clone, Serialize)]
pub struct CompareView {
    pub component: Option<String>,
    pub mode: Option<String>,
    /// What keeps the groups apart.
    pub by: String,
    pub groups: Vec<GroupView>,
    pub models: Vec<ModelView>,
    pub tests: Vec<TestView>,
    /// The shape of the common-shape model.
    pub common_shape: Option<f64>,
    pub life_ratios: Vec<RatioView>,
    pub worth: Vec<WorthView>,
    pub planned_cost: Option<CostView>,
    pub failed_cost: Option<CostView>,
    pub limits: LimitsView,
    /// What it comes to, in plain words.
    pub verdict: Vec<String>,
    pub notes: Vec<String>,
    /// Unit of usage and currency, for the tables.
    #[serde(skip)]
    pub unit: String,
    #[serde(skip)]
    pub currency: String,
}

/// One group: its lives, and its life under each model; null where there is none.
#[derive(Debug, Clone, Serialize)]
pub struct GroupView {
    pub group: String,
    pub lives: u64,
    pub failures: u64,
    pub suspensions: u64,
    pub intervals: u64,
    pub excluded: u64,
    pub pooled: Option<LifeView>,
    pub common_shape: Option<LifeView>,
    pub separate: Option<LifeView>,
    pub notes: Vec<String>,
}

/// A Weibull life.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct LifeView {
    pub shape: f64,
    pub scale: f64,
}

/// One model over all groups.
#[derive(Debug, Clone, Serialize)]
pub struct ModelView {
    pub name: &'static str,
    pub parameters: u64,
    pub log_likelihood: Option<f64>,
    pub aicc: Option<f64>,
    pub chosen: bool,
    /// Why it has no estimate.
    pub notes: Vec<String>,
}

/// One likelihood-ratio test.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct TestView {
    pub name: &'static str,
    pub statistic: Option<f64>,
    pub df: u64,
    pub p: Option<f64>,
}

/// Life of a group over life of the base; a side the data do not bound is null.
#[derive(Debug, Clone, Serialize)]
pub struct RatioView {
    pub group: String,
    pub to: String,
    pub estimate: Option<f64>,
    /// Posterior median; null with other limits.
    pub median: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    /// The kind these limits are of.
    pub kind: &'static str,
    pub notes: Vec<String>,
}

/// What the difference in lives is worth, per 1,000 units of usage.
#[derive(Debug, Clone, Serialize)]
pub struct WorthView {
    pub group: String,
    pub to: String,
    pub cost_per_1000: SavingView,
    pub cost_per_1000_to: SavingView,
    /// Cost of the group less cost of the one it is compared with.
    pub difference_per_1000: SavingView,
    /// Probability that the group costs more.
    pub chance_dearer: f64,
}

/// What a comparison is about, beside its figures.
#[derive(Debug, Clone, Default)]
pub struct CompareFacts {
    pub component: Option<String>,
    pub mode: Option<String>,
    pub by: String,
    pub names: Vec<String>,
    /// Lives that stay out, one number a group.
    pub excluded: Vec<u64>,
    pub unit: String,
    pub currency: String,
    pub planned: Option<CostView>,
    pub failed: Option<CostView>,
    pub notes: Vec<String>,
}

impl From<Weibull> for LifeView {
    fn from(life: Weibull) -> Self {
        LifeView {
            shape: life.shape,
            scale: life.scale,
        }
    }
}

impl CompareView {
    /// `worths` holds what was weighed, each with the two groups it is about.
    pub fn new(
        facts: CompareFacts,
        samples: &[Sample],
        found: &Comparison,
        worths: &[(usize, usize, Worth)],
        (kind, confidence): (LimitsKind, f64),
    ) -> Self {
        let name = |group: usize| facts.names.get(group).cloned().unwrap_or_default();
        let groups = samples
            .iter()
            .enumerate()
            .map(|(n, sample)| {
                let life = |model| found.life(model, n).map(LifeView::from);
                let separate = found.separate.get(n).and_then(|fit| fit.as_ref().err());
                GroupView {
                    group: name(n),
                    lives: sample.count(),
                    failures: sample.exact_failures(),
                    suspensions: sample.suspensions(),
                    intervals: sample.intervals(),
                    excluded: facts.excluded.get(n).copied().unwrap_or_default(),
                    pooled: life(Nested::Pooled),
                    common_shape: life(Nested::CommonShape),
                    separate: life(Nested::Separate),
                    notes: separate
                        .map(|reason| format!("no life of its own: {reason}"))
                        .into_iter()
                        .collect(),
                }
            })
            .collect();
        let models = found
            .models
            .iter()
            .map(|model| ModelView {
                name: model.name.word(),
                parameters: model.parameters,
                log_likelihood: model.log_likelihood,
                aicc: model.aicc,
                chosen: found.chosen.is_some_and(|(chosen, _)| chosen == model.name),
                notes: why_not(found, model.name).into_iter().collect(),
            })
            .collect();
        let tests = found
            .tests
            .iter()
            .map(|test| TestView {
                name: test.question.word(),
                statistic: test.found.map(|(statistic, _)| statistic),
                df: test.df,
                p: test.found.map(|(_, p)| p),
            })
            .collect();
        let ratios = found.ratios.iter().map(|ratio| RatioView {
            group: name(ratio.of),
            to: name(ratio.to),
            estimate: ratio.estimate,
            median: ratio.limits.median,
            lower: ratio.limits.lower,
            upper: ratio.limits.upper,
            kind: ratio.kind.word(),
            notes: ratio
                .notes
                .iter()
                .map(|note| ratio_note(*note, &name(ratio.of), &name(ratio.to)))
                .collect(),
        });
        let worth = worths.iter().map(|(of, to, worth)| WorthView {
            group: name(*of),
            to: name(*to),
            cost_per_1000: per_1000(worth.of),
            cost_per_1000_to: per_1000(worth.to),
            difference_per_1000: per_1000(worth.difference),
            chance_dearer: worth.chance_dearer,
        });
        let mut view = CompareView {
            groups,
            models,
            tests,
            common_shape: found.common.as_ref().ok().map(|common| common.shape),
            life_ratios: ratios.collect(),
            worth: worth.collect(),
            planned_cost: facts.planned.clone(),
            failed_cost: facts.failed.clone(),
            limits: LimitsView {
                kind: kind.word(),
                confidence,
            },
            verdict: Vec::new(),
            notes: facts.notes.clone(),
            component: facts.component.clone(),
            mode: facts.mode.clone(),
            by: facts.by.clone(),
            unit: facts.unit.clone(),
            currency: facts.currency.clone(),
        };
        view.verdict = view.words(found);
        if let Some((_, ChosenBy::FewLives)) = found.chosen {
            view.notes.push(
                "too few lives for the small-sample criterion: the simplest model that has an \
                 estimate is kept"
                    .into(),
            );
        }
        view
    }

    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a group, every figure in full; what holds for all groups stands in every row.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "component",
            "mode",
            "by",
            "group",
            "lives",
            "failures",
            "suspensions",
            "intervals",
            "excluded",
            "pooled_shape",
            "pooled_scale",
            "common_shape",
            "common_scale",
            "separate_shape",
            "separate_scale",
            "to",
            "life_ratio_estimate",
            "life_ratio_median",
            "life_ratio_lower",
            "life_ratio_upper",
            "limits",
            "confidence",
            "chosen",
            "p_equal_shapes",
            "p_equal_scales",
            "p_equal_both",
            "difference_per_1000_median",
            "difference_per_1000_lower",
            "difference_per_1000_upper",
            "notes",
        ];
        let chosen = self.models.iter().find(|m| m.chosen).map(|m| m.name);
        let rows = self.groups.iter().map(|group| {
            let ratio = self.life_ratios.iter().find(|r| r.group == group.group);
            let worth = self.worth.iter().find(|w| w.group == group.group);
            let mut row = vec![
                self.component.clone().unwrap_or_default(),
                self.mode.clone().unwrap_or_default(),
                self.by.clone(),
                group.group.clone(),
            ];
            let counts = [
                group.lives,
                group.failures,
                group.suspensions,
                group.intervals,
                group.excluded,
            ];
            row.extend(counts.map(|n| n.to_string()));
            for life in [group.pooled, group.common_shape, group.separate] {
                row.push(cell(life.map(|l| l.shape)));
                row.push(cell(life.map(|l| l.scale)));
            }
            row.push(ratio.map(|r| r.to.clone()).unwrap_or_default());
            for figure in [
                ratio.and_then(|r| r.estimate),
                ratio.and_then(|r| r.median),
                ratio.and_then(|r| r.lower),
                ratio.and_then(|r| r.upper),
            ] {
                row.push(cell(figure));
            }
            row.push(ratio.map_or(self.limits.kind, |r| r.kind).into());
            row.push(self.limits.confidence.to_string());
            row.push(chosen.unwrap_or_default().into());
            row.extend(self.tests.iter().map(|test| cell(test.p)));
            let difference = worth.map(|w| w.difference_per_1000);
            for figure in [
                difference.map(|d| d.median),
                difference.map(|d| d.lower),
                difference.map(|d| d.upper),
            ] {
                row.push(cell(figure));
            }
            let mut notes = group.notes.clone();
            notes.extend(ratio.iter().flat_map(|r| r.notes.iter().cloned()));
            row.push(notes.join("; "));
            row
        });
        csv_text(&headings, rows)
    }
}

fn per_1000(saving: Saving) -> SavingView {
    SavingView {
        median: 1_000.0 * saving.median,
        lower: 1_000.0 * saving.lower,
        upper: 1_000.0 * saving.upper,
    }
}
