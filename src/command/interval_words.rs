//! What a recommendation rests on, in words.
//!
//! In: a group of lives, how it stands apart, what it leans on. Out: phrases for the basis and
//! the notes of its row. Never: statistics; printing.

use super::evidence::{ComponentEvidence, Group};
use crate::life::{Sample, counted_lives};
use crate::model::posterior::ShapePrior;
use crate::policy::evidence::Scope;
use crate::view::table::{figure, p_value, percent};

/// How a group stands apart, in a sentence.
pub(super) fn apart_words(scope: &Scope, ratio: f64, p: f64) -> String {
    let what = scope.name().unwrap_or_else(|| "these lives".into());
    format!(
        "{what} stands apart: items last {} as long there as elsewhere (p {})",
        ratio_words(ratio),
        p_value(p)
    )
}

/// That a batch which stands apart is not among a group's lives, in a sentence.
pub(super) fn batch_left_out(lives: u64, batch: &str, ratio: f64, p: f64) -> String {
    format!(
        "{} of batch {batch} are left out: they last {} as long (p {})",
        counted_lives(lives),
        ratio_words(ratio),
        p_value(p),
    )
}

fn ratio_words(ratio: f64) -> String {
    if ratio < 10.0 {
        format!("{} times", figure(ratio, 2))
    } else {
        "more than ten times".into()
    }
}

pub(super) fn scope_words(evidence: &ComponentEvidence, group: &Group) -> String {
    match group.scope.name() {
        Some(name) => format!("{name} alone"),
        None if evidence.groups.len() == 1 => "all positions and machines pooled".into(),
        None => "all positions and machines that do not stand apart, pooled".into(),
    }
}

/// Names in a row; many of them cut short.
pub(super) fn listed(names: &[String]) -> String {
    const SHOWN: usize = 4;
    match names.len().checked_sub(SHOWN) {
        Some(more) if more > 1 => format!("{} and {more} more", names[..SHOWN].join(", ")),
        _ => names.join(", "),
    }
}

/// As [`basis_words`], for a group that leans on its siblings.
pub(super) fn leaning_words(
    sample: &Sample,
    scope: &str,
    borrowed: f64,
    prior: ShapePrior,
) -> String {
    format!(
        "{}; {} borrowed from its siblings",
        basis_words(sample, scope, prior),
        percent(borrowed)
    )
}

/// What a recommendation rests on, in a phrase.
pub(super) fn basis_words(sample: &Sample, scope: &str, prior: ShapePrior) -> String {
    let prior = match prior {
        ShapePrior::Flat => "prior 1/shape".into(),
        p if p == ShapePrior::DECISION => "weak prior for the shape (0.75 to 5.4)".into(),
        ShapePrior::LogNormal { mean, sd } => format!(
            "prior for the shape {} to {}",
            figure((mean - 1.645 * sd).exp(), 2),
            figure((mean + 1.645 * sd).exp(), 2)
        ),
    };
    let lives = sample.count();
    let share = if lives == 0 {
        0.0
    } else {
        sample.suspensions() as f64 / lives as f64
    };
    format!(
        "{scope}: {}, {} failed, {} cut short; Weibull posterior, {prior}",
        counted_lives(lives),
        sample.failures(),
        percent(share),
    )
}
