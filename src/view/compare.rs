//! A comparison of groups as JSON, CSV and tables. The JSON keys are a contract.
//!
//! In: a [`Comparison`] with the groups' names and counts. Out: text. Never: statistics.

use serde::Serialize;

use super::fit::LimitsView;
use super::interval::{CostView, SavingView};
use super::table::{Align, Notes, Table, cell, csv_text, figure, figure_or_dash, percent};
use crate::life::{Sample, counted_lives};
use crate::model::Weibull;
use crate::model::compare::{ChosenBy, Comparison, Nested, Question};
use crate::model::life_ratio::{LifeRatio, RatioNote};
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

    /// The verdict: one population or not, then how the lives compare, then what it is worth.
    fn words(&self, found: &Comparison) -> Vec<String> {
        let p = |question| found.test(question).map(|(_, p)| p_words(p));
        let mut lines = Vec::new();
        let (scales, shapes) = (p(Question::EqualScales), p(Question::EqualShapes));
        match found.chosen.map(|(model, _)| model) {
            None => {
                lines.push("nothing can be compared: no model has an estimate".into());
                return lines;
            }
            Some(Nested::Pooled) => lines.push(match scales {
                Some(p) if differ(found, Question::EqualScales) == DIFFER => format!(
                    "equal lives are unlikely ({p}), but by AICc so few lives bear no scale for \
                     each group"
                ),
                Some(p) => format!("nothing tells the groups apart (equal lives: {p})"),
                None => "nothing tells the groups apart".into(),
            }),
            Some(Nested::CommonShape) => lines.push(match scales {
                Some(p) => format!(
                    "the groups' lives {} in length (equal lives: {p})",
                    differ(found, Question::EqualScales)
                ),
                None => "the groups' lives differ in length".into(),
            }),
            Some(Nested::Separate) => lines.push(format!(
                "the groups' shapes {} (equal shapes: {}): where they do, a single ratio of lives \
                 says only part of it",
                differ(found, Question::EqualShapes),
                shapes.unwrap_or_else(|| "no test".into())
            )),
        }
        lines.extend(
            self.life_ratios
                .iter()
                .zip(&found.ratios)
                .map(|(view, ratio)| self.ratio_words(view, ratio)),
        );
        lines.extend(self.worth.iter().map(|worth| self.worth_words(worth)));
        lines
    }

    fn ratio_words(&self, view: &RatioView, ratio: &LifeRatio) -> String {
        let (group, to) = (&view.group, &view.to);
        let share = percent(self.limits.confidence);
        let Some(estimate) = ratio.estimate else {
            let (side, limit) = match (view.lower, view.upper) {
                (Some(limit), _) => ("at least", limit),
                (None, Some(limit)) => ("at most", limit),
                (None, None) => return format!("how lives in {group} compare with {to} is open"),
            };
            return format!(
                "lives in {group} are {side} {} times those in {to} ({} limit, {share})",
                figure(limit, 2),
                view.kind,
            );
        };
        // The median is the middle of the limits shown with it.
        let middle = figure(view.median.unwrap_or(estimate), 2);
        match (view.lower, view.upper) {
            (None, None) => format!("lives in {group} are {middle} times those in {to}"),
            (lower, upper) => format!(
                "lives in {group} are {middle} times those in {to} ({} to {}, {share})",
                lower.map_or_else(|| "0".into(), |v| figure(v, 2)),
                upper.map_or_else(|| "no upper end".into(), |v| figure(v, 2)),
            ),
        }
    }

    fn worth_words(&self, worth: &WorthView) -> String {
        let difference = &worth.difference_per_1000;
        let (word, other, sign) = if difference.median < 0.0 {
            ("less", "more", -1.0)
        } else {
            ("more", "less", 1.0)
        };
        let mut ends = [sign * difference.lower, sign * difference.upper];
        ends.sort_by(f64::total_cmp);
        let ends = if ends[0] < 0.0 {
            format!(
                "{} {other} to {} {word}",
                figure(-ends[0], 3),
                figure(ends[1], 3)
            )
        } else {
            format!("{} to {}", figure(ends[0], 3), figure(ends[1], 3))
        };
        format!(
            "at its own best age, or run to failure, {} costs {} per 1,000 {} and {} {}: {} {word} \
             ({ends}, {})",
            worth.group,
            self.amount(worth.cost_per_1000.median),
            if self.unit.is_empty() {
                "units"
            } else {
                &self.unit
            },
            worth.to,
            self.amount(worth.cost_per_1000_to.median),
            figure(sign * difference.median, 3),
            percent(self.limits.confidence),
        )
    }

    fn amount(&self, value: f64) -> String {
        format!("{} {}", figure(value, 3), self.currency)
            .trim_end()
            .into()
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

    /// Rounded: groups, models, tests, and what it comes to; notes beneath.
    pub fn table(&self) -> String {
        let mut notes = Notes::default();
        let mut text = self.groups_table(&mut notes);
        text.push('\n');
        text.push_str(&self.models_table(&mut notes));
        text.push('\n');
        text.push_str(&self.tests_table());
        text.push('\n');
        for line in &self.verdict {
            text.push_str(line);
            text.push('\n');
        }
        if let (Some(planned), Some(failed)) = (&self.planned_cost, &self.failed_cost)
            && !self.worth.is_empty()
        {
            text.push_str(&format!(
                "costs: planned {} ({}), failed {} ({})\n",
                self.amount(planned.value),
                planned.from,
                self.amount(failed.value),
                failed.from,
            ));
        }
        text.push_str(&format!(
            "\nWeibull by maximum likelihood; limits of ratios: {}, {} two-sided.\n",
            self.limits.kind,
            percent(self.limits.confidence),
        ));
        let about: Vec<String> = self
            .life_ratios
            .iter()
            .flat_map(|ratio| ratio.notes.iter().cloned())
            .chain(self.notes.iter().cloned())
            .collect();
        notes.marks(&about);
        text.push_str(&notes.text());
        text
    }

    fn groups_table(&self, notes: &mut Notes) -> String {
        let mut table = Table::new([
            (self.by.as_str(), Align::Left),
            ("lives", Align::Right),
            ("failed", Align::Right),
            ("windows", Align::Right),
            ("cut short", Align::Right),
            ("scale, common shape", Align::Right),
            ("own shape", Align::Right),
            ("own scale", Align::Right),
            ("unit", Align::Left),
            ("", Align::Left),
        ]);
        for group in &self.groups {
            let mut row = vec![group.group.clone()];
            let counts = [
                group.lives,
                group.failures,
                group.intervals,
                group.suspensions,
            ];
            row.extend(counts.map(|n| n.to_string()));
            row.push(figure_or_dash(group.common_shape.map(|l| l.scale), 4));
            row.push(figure_or_dash(group.separate.map(|l| l.shape), 3));
            row.push(figure_or_dash(group.separate.map(|l| l.scale), 4));
            row.push(self.unit.clone());
            row.push(notes.marks(&group.notes));
            table.row(row);
        }
        table.text()
    }

    fn models_table(&self, notes: &mut Notes) -> String {
        let mut table = Table::new([
            ("model", Align::Left),
            ("parameters", Align::Right),
            ("ln likelihood", Align::Right),
            ("AICc", Align::Right),
            ("", Align::Left),
            ("", Align::Left),
        ]);
        let fixed = |value: Option<f64>| value.map_or_else(|| "–".into(), |v| format!("{v:.2}"));
        for model in &self.models {
            let shape = match model.name {
                "pooled" => self.groups.first().and_then(|g| g.pooled).map(|l| l.shape),
                "common-shape" => self.common_shape,
                _ => None,
            };
            let name = match shape {
                Some(shape) => format!("{}, shape {}", model.name, figure(shape, 3)),
                None => model.name.to_owned(),
            };
            table.row([
                name,
                model.parameters.to_string(),
                fixed(model.log_likelihood),
                fixed(model.aicc),
                if model.chosen {
                    "kept".into()
                } else {
                    String::new()
                },
                notes.marks(&model.notes),
            ]);
        }
        table.text()
    }

    fn tests_table(&self) -> String {
        let mut table = Table::new([
            ("test", Align::Left),
            ("chi-square", Align::Right),
            ("degrees of freedom", Align::Right),
            ("p", Align::Right),
        ]);
        for test in &self.tests {
            table.row([
                test.name.to_owned(),
                figure_or_dash(test.statistic, 3),
                test.df.to_string(),
                test.p.map_or_else(|| "–".into(), bare_p),
            ]);
        }
        table.text()
    }
}

const DIFFER: &str = "differ";

/// The least criterion alone is no finding: the test says how sure the difference is.
fn differ(found: &Comparison, question: Question) -> &'static str {
    if found.test(question).is_some_and(|(_, p)| p < 0.05) {
        DIFFER
    } else {
        "may differ"
    }
}

fn per_1000(saving: Saving) -> SavingView {
    SavingView {
        median: 1_000.0 * saving.median,
        lower: 1_000.0 * saving.lower,
        upper: 1_000.0 * saving.upper,
    }
}

/// "p 0.031", "p < 0.001".
fn p_words(p: f64) -> String {
    format!("p {}", bare_p(p))
}

fn bare_p(p: f64) -> String {
    if p < 0.001 {
        "< 0.001".into()
    } else {
        format!("{p:.3}")
    }
}

/// Why a model has no estimate, if it has none.
fn why_not(found: &Comparison, model: Nested) -> Option<String> {
    let reason = match model {
        Nested::Pooled => found.pooled.as_ref().err().map(ToString::to_string),
        Nested::CommonShape => found.common.as_ref().err().map(ToString::to_string),
        Nested::Separate => {
            let without = found.separate.iter().filter(|fit| fit.is_err()).count();
            (without > 0).then(|| {
                format!(
                    "{without} of {} groups have no life of their own",
                    found.separate.len()
                )
            })
        }
    }?;
    Some(format!("no estimate ({}): {reason}", model.word()))
}

fn ratio_note(note: RatioNote, group: &str, to: &str) -> String {
    let no_failure = |name: &str| {
        format!(
            "no failure in {name}: its scale has no upper end, and likelihood-ratio limits close \
             the other side"
        )
    };
    let no_survivor = |name: &str| {
        format!(
            "nothing in {name} is known to have survived: its scale has no lower end, and \
             likelihood-ratio limits close the other side"
        )
    };
    match note {
        RatioNote::GroupWithoutFailure => no_failure(group),
        RatioNote::BaseWithoutFailure => no_failure(to),
        RatioNote::GroupWithoutSurvivor => no_survivor(group),
        RatioNote::BaseWithoutSurvivor => no_survivor(to),
        RatioNote::NoPosterior(reason) => {
            format!("no posterior limits, likelihood-ratio limits instead: {reason}")
        }
    }
}

/// "12 lives without a batch are left out", for notes.
pub fn left_out(lives: u64, what: &str) -> String {
    let verb = if lives == 1 { "is" } else { "are" };
    format!("{} without a {what} {verb} left out", counted_lives(lives))
}
