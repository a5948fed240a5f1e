//! The recommendation: a decision rounded to what a plant can keep, with its verdict.
//!
//! In: a sample, costs, the plant's grid, a ceiling. Out: [`Recommendation`].
//! Never: money's currency, texts for people beyond short notes.

use super::age::Costs;
use super::decide::{Decision, decide};
use crate::life::Sample;
use crate::model::posterior::{Posterior, PosteriorError, ShapePrior};

/// What to do about a component.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Renew at the interval.
    Renew,
    /// Run to failure.
    RunToFailure,
    /// The data do not settle it.
    NotEnoughEvidence,
}

impl Verdict {
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Renew => "renew",
            Verdict::RunToFailure => "run to failure",
            Verdict::NotEnoughEvidence => "not enough evidence",
        }
    }
}

/// What a plant asks of a recommendation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terms {
    /// Chance that planned renewal pays from which it is recommended; below 1 less this, run
    /// to failure is.
    pub sure: f64,
    /// Two-sided confidence of the limits on the saving.
    pub confidence: f64,
    /// Intervals are rounded down to a multiple of this usage.
    pub grid: Option<f64>,
    /// An interval that may never be exceeded.
    pub ceiling: Option<f64>,
    pub prior: ShapePrior,
}

impl Default for Terms {
    fn default() -> Self {
        Terms {
            sure: 0.8,
            confidence: 0.9,
            grid: None,
            ceiling: None,
            prior: ShapePrior::DECISION,
        }
    }
}

/// Why a verdict fell as it did, for notes in any wording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ground {
    /// No failure at all.
    NoFailure { lives: u64, usage: f64 },
    /// Every life had failed when first looked at: nothing tells how early.
    AllFailedAtFirstLook { lives: u64 },
    /// One failure: the shape rests on the prior.
    OneFailure,
    /// The prior leaves the shape open.
    OpenShape,
    /// Nothing was watched from new: the prior leaves the shape open downwards.
    NothingFromNew { first_entry: f64 },
    /// No finite interval has less expected ln cost than run to failure.
    NothingBeatsRunToFailure,
    /// A failure costs no more than a planned renewal.
    FailureIsNotDearer,
    /// The chance lies between the bounds for either verdict.
    Undecided { chance: f64 },
    /// The ceiling cut the interval.
    Ceiling { optimum: f64, ceiling: f64 },
    /// The optimum is below one step of the grid; it stands unrounded.
    BelowGrid { optimum: f64, grid: f64 },
    /// The interval lies beyond the longest life on record.
    BeyondExperience { longest: f64 },
}

/// A recommended interval with how sure it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Recommendation {
    pub verdict: Verdict,
    /// The usage found; `None` where there is none.
    pub optimum: Option<f64>,
    /// After grid and ceiling; `None` unless the verdict is to renew or a ceiling binds.
    pub interval: Option<f64>,
    /// `None` without a failure.
    pub decision: Option<Decision>,
    pub grounds: Vec<Ground>,
}

/// Recommends from a sample.
///
/// `renew` where the chance that it pays is at least `sure`; `run to failure` where no finite
/// interval beats it or the chance is at most `1 − sure`; `not enough evidence` between, or
/// without a failure. A ceiling holds whatever the verdict.
pub fn recommend(sample: &Sample, costs: Costs, terms: &Terms) -> Recommendation {
    match Posterior::new(sample, terms.prior) {
        Ok(posterior) => judge(
            sample,
            decide(&posterior, costs, terms.confidence),
            costs,
            terms,
        ),
        Err(error) => {
            let ground = match error {
                PosteriorError::NoFailures => Ground::NoFailure {
                    lives: sample.count(),
                    usage: sample.usage(),
                },
                PosteriorError::AllFailedAtFirstLook { lives } => {
                    Ground::AllFailedAtFirstLook { lives }
                }
                PosteriorError::Improper { .. } => Ground::OpenShape,
                PosteriorError::NothingFromNew { first_entry } => {
                    Ground::NothingFromNew { first_entry }
                }
            };
            Recommendation {
                verdict: Verdict::NotEnoughEvidence,
                optimum: None,
                interval: None,
                decision: None,
                grounds: vec![ground],
            }
        }
    }
}

/// Turns a decision into a verdict.
pub fn judge(sample: &Sample, decision: Decision, costs: Costs, terms: &Terms) -> Recommendation {
    let mut grounds = Vec::new();
    if sample.failures() == 1 {
        grounds.push(Ground::OneFailure);
    }
    let chance = decision.chance_it_pays;
    let verdict = if costs.failed <= costs.planned {
        grounds.push(Ground::FailureIsNotDearer);
        Verdict::RunToFailure
    } else if decision.optimum.is_none() {
        grounds.push(Ground::NothingBeatsRunToFailure);
        Verdict::RunToFailure
    } else if chance <= 1.0 - terms.sure {
        Verdict::RunToFailure
    } else if chance >= terms.sure {
        Verdict::Renew
    } else {
        grounds.push(Ground::Undecided { chance });
        Verdict::NotEnoughEvidence
    };
    let interval = match (verdict, decision.optimum) {
        (Verdict::Renew, Some(optimum)) => Some(settle(optimum, terms, &mut grounds)),
        _ => None,
    };
    if let Some(interval) = interval {
        let longest = sample
            .lives()
            .iter()
            .map(|l| l.last_usage())
            .fold(0.0, f64::max);
        if interval > longest {
            grounds.push(Ground::BeyondExperience { longest });
        }
    }
    Recommendation {
        verdict,
        optimum: decision.optimum,
        interval,
        decision: Some(decision),
        grounds,
    }
}

/// The optimum under the ceiling and rounded down to the grid.
fn settle(optimum: f64, terms: &Terms, grounds: &mut Vec<Ground>) -> f64 {
    let capped = match terms.ceiling {
        Some(ceiling) if ceiling < optimum => {
            grounds.push(Ground::Ceiling { optimum, ceiling });
            ceiling
        }
        _ => optimum,
    };
    match terms.grid {
        Some(grid) if capped >= grid => (capped / grid + 1e-9).floor() * grid,
        Some(grid) => {
            grounds.push(Ground::BelowGrid {
                optimum: capped,
                grid,
            });
            capped
        }
        None => capped,
    }
}
