//! What a comparison comes to, in sentences.
//!
//! In: a [`CompareView`] with its [`Comparison`]. Out: the verdict's lines and the notes.
//! Never: statistics; layout.

use super::compare::{CompareView, RatioView, WorthView};
use super::table::{figure, p_value, percent};
use crate::life::counted_lives;
use crate::model::compare::{Comparison, Nested, Question};
use crate::model::life_ratio::{LifeRatio, RatioNote};

impl CompareView {
    /// The verdict: one population or not, then how the lives compare, then what it is worth.
    pub(super) fn words(&self, found: &Comparison) -> Vec<String> {
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

    pub(super) fn amount(&self, value: f64) -> String {
        format!("{} {}", figure(value, 3), self.currency)
            .trim_end()
            .into()
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

/// "p 0.031", "p < 0.001".
fn p_words(p: f64) -> String {
    format!("p {}", p_value(p))
}

/// Why a model has no estimate, if it has none.
pub(super) fn why_not(found: &Comparison, model: Nested) -> Option<String> {
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

pub(super) fn ratio_note(note: RatioNote, group: &str, to: &str) -> String {
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
