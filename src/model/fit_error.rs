//! Why a sample has no estimate, and how that is seen before a search begins.
//!
//! In: a [`Sample`]. Out: [`FitError`], each with the numbers that made it.
//! Never: searching (see `fit`).

use thiserror::Error;

use crate::life::{End, Life, Sample, counted_lives};

/// Why a sample has no Weibull maximum-likelihood estimate.
///
/// `tests/reference/hard/` keeps data for each, with the story of why they are hard.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FitError {
    /// The sample holds no life at all.
    #[error("no lives to fit")]
    Empty,
    /// The likelihood keeps rising with the scale.
    #[error("no failure in {}: the scale has no upper end", counted_lives(*lives))]
    NoFailures { lives: u64 },
    /// Every life is a failure found at its first look: the sooner they all failed the better.
    #[error(
        "every life ({}) had already failed at its first look: the scale has no lower end",
        counted_lives(*lives)
    )]
    AllFailedAtFirstLook { lives: u64 },
    /// One failure, and nothing ran longer: the steeper the shape the better it fits.
    #[error(
        "one failure, {}, and no item ran beyond it: the shape has no upper end",
        when(*from, *to)
    )]
    OneFailure { from: f64, to: f64 },
    /// Every failure is known to have come at one usage, and nothing ran longer.
    #[error(
        "all {failures} failures came at {at} and no item ran beyond it: the shape has no upper end"
    )]
    AllTied { at: f64, failures: u64 },
    /// One usage lies in every failure's window, and nothing ran longer.
    #[error(
        "all {failures} failures may have come at one usage, {}, and no item ran beyond it: the shape has no upper end",
        place(*from, *to)
    )]
    WindowsOverlap { from: f64, to: f64, failures: u64 },
    /// Every failure was found at a first look, as likely on young items as on old ones:
    /// they could as well have failed as soon as they were put in.
    #[error(
        "every failure was found at a first look, and the failed items were on the whole no older than the sound ones: the likelihood rises towards shape 0"
    )]
    ShapeTowardsZero,
    /// Nothing was watched from new, and the hazard falls faster than 1/usage, the limit of
    /// the Weibull hazard as the shape goes to 0.
    #[error(
        "every life came under watch with usage already on it (at least {first_entry}), and failures thin out with age faster than any Weibull allows: the likelihood rises towards shape 0"
    )]
    HazardFallsTooFast { first_entry: f64 },
    /// The likelihood rises with the shape as far as it is looked at.
    #[error(
        "the likelihood still rises at shape {shape:.0}, where the search ends: the failures lie too close together"
    )]
    ShapeAtEdge { shape: f64 },
    /// A location just below the first failure makes the likelihood as high as one likes.
    #[error(
        "the likelihood with a location has no maximum: it keeps rising as the location nears the first failure at {first}"
    )]
    LocationTowardsFirst { first: f64 },
    /// A line needs two points that stand apart.
    #[error(
        "rank regression needs failures at two usages or more, and there {}; a fit with a stated shape needs fewer",
        if *distinct == 1 { "is only one" } else { "is none" }
    )]
    RanksNeedTwoFailures { distinct: u64 },
    /// Ranks need to know which failure came first.
    #[error(
        "rank regression needs the usage of every failure, and {windows} of {failures} are known only within a window, so their order is not; use the likelihood method"
    )]
    RanksNeedExactFailures { windows: u64, failures: u64 },
    /// Ranks count from new: an item that came late says nothing of those that failed before.
    #[error(
        "rank regression needs items watched from new, and {entered} of {} came under watch with usage already on; use the likelihood method, which allows for entry ages",
        counted_lives(*lives)
    )]
    RanksNeedNewItems { entered: u64, lives: u64 },
    /// The gradient stayed above tolerance; the last point is for diagnosis, not for use.
    #[error("the search did not converge (last shape {shape}, scale {scale}, gradient {gradient})")]
    NotConverged {
        shape: f64,
        scale: f64,
        gradient: f64,
    },
}

/// "500", "from 250 to 400".
fn place(from: f64, to: f64) -> String {
    if from == to {
        format!("{from}")
    } else {
        format!("from {from} to {to}")
    }
}

/// "at 500", "somewhere from 250 to 400".
fn when(from: f64, to: f64) -> String {
    if from == to {
        format!("at {from}")
    } else {
        format!("somewhere from {from} to {to}")
    }
}

/// Tells data apart that leave the likelihood without a maximum.
///
/// If one usage lies in every failure's window and no suspension ran beyond it, a
/// distribution that puts all failures there fits perfectly, and the shape has no end.
/// That is the only way for the shape to run off upwards: as it grows, any other failure or
/// longer run drives the likelihood to 0. What runs off downwards is left to the search.
pub(super) fn check_bounded(sample: &Sample) -> Result<(), FitError> {
    if sample.count() == 0 {
        return Err(FitError::Empty);
    }
    let failures = sample.failures();
    if failures == 0 {
        return Err(FitError::NoFailures {
            lives: sample.count(),
        });
    }
    // As the scale falls to 0 such lives fit perfectly, whatever their entry ages.
    let at_first_look = |life: &Life| matches!(life.end, End::Left { .. });
    if sample.lives().iter().all(at_first_look) {
        return Err(FitError::AllFailedAtFirstLook { lives: failures });
    }
    let Some((from, to)) = one_usage(sample) else {
        return Ok(());
    };
    Err(if failures == 1 {
        FitError::OneFailure { from, to }
    } else if sample.intervals() == 0 {
        FitError::AllTied { at: to, failures }
    } else {
        FitError::WindowsOverlap { from, to, failures }
    })
}

/// The stretch of usages that lies in every failure's window and that no suspension ran
/// beyond, where there is one.
pub(super) fn one_usage(sample: &Sample) -> Option<(f64, f64)> {
    let (mut from, mut to) = (0.0_f64, f64::INFINITY);
    for life in sample.lives() {
        match life.end {
            End::Failure { at } => {
                from = from.max(at);
                to = to.min(at);
            }
            End::Suspension { at } => from = from.max(at),
            End::Interval { lo, hi } => {
                from = from.max(lo);
                to = to.min(hi);
            }
            End::Left { hi } => {
                from = from.max(life.entry);
                to = to.min(hi);
            }
        }
    }
    (from <= to).then_some((from, to))
}

/// The two ways in which a likelihood can rise towards shape 0, told apart.
///
/// Either no failure brings a factor of the shape, being in windows that open at 0; or
/// nothing was watched from new, so that the hazard may be as high as it likes near 0.
pub(super) fn told_apart(error: FitError, sample: &Sample) -> FitError {
    let first_entry = sample
        .lives()
        .iter()
        .map(|life| life.entry)
        .fold(f64::INFINITY, f64::min);
    match error {
        FitError::ShapeTowardsZero if first_entry > 0.0 => {
            FitError::HazardFallsTooFast { first_entry }
        }
        other => other,
    }
}
