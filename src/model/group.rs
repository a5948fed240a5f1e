//! One group's fit with everything asked of it.
//!
//! In: a sample, the kind of limits, the confidence. Out: [`GroupFit`].
//! Never: what the group stands for; layout.

use super::fit::{FitError, WeibullFit, fit_weibull};
use super::likelihood::Likelihood;
use super::limits::{Limits, LimitsKind, likelihood_ratio, wald};
use super::posterior::{Posterior, PosteriorError, ShapePrior};
use super::target::Target;
use crate::life::Sample;

/// A quantity: maximum-likelihood estimate and limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    pub estimate: f64,
    pub limits: Limits,
}

/// Shares for which the life is always given: B1, B10, B50.
pub const SHARES: [f64; 3] = [0.01, 0.1, 0.5];

/// A fitted group.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupFigures {
    pub fit: WeibullFit,
    pub shape: Figure,
    pub scale: Figure,
    pub mean: Figure,
    /// Usage by which a share has failed, for each of [`SHARES`].
    pub life_at: [Figure; 3],
    /// Why limits of the kind asked for could not be had.
    pub no_limits: Option<PosteriorError>,
}

/// The outcome of fitting a group.
pub type GroupFit = Result<GroupFigures, FitError>;

/// Fits a group and puts limits on shape, scale, mean, B1, B10 and B50.
///
/// `confidence` is two-sided, in (0, 1). Where posterior limits cannot be had the estimate
/// stands without, and `no_limits` says why.
/// Errors: [`FitError`] where there is no estimate.
pub fn fit_group(sample: &Sample, kind: LimitsKind, confidence: f64) -> GroupFit {
    let fit = fit_weibull(sample)?;
    let likelihood = Likelihood::new(sample);
    let (posterior, no_limits) = match kind {
        LimitsKind::Posterior => match Posterior::new(sample, ShapePrior::Flat) {
            Ok(posterior) => (Some(posterior), None),
            Err(error) => (None, Some(error)),
        },
        _ => (None, None),
    };
    let figure = |target: Target| Figure {
        estimate: target.of(&fit.weibull),
        limits: match (kind, &posterior) {
            (LimitsKind::Posterior, Some(posterior)) => posterior.limits(target, confidence),
            (LimitsKind::LikelihoodRatio, _) => {
                likelihood_ratio(&likelihood, &fit, target, confidence)
            }
            (LimitsKind::Wald, _) => wald(&fit, target, confidence),
            _ => Limits::default(),
        },
    };
    Ok(GroupFigures {
        shape: figure(Target::Shape),
        scale: figure(Target::Scale),
        mean: figure(Target::Mean),
        life_at: SHARES.map(|share| figure(Target::LifeAt(share))),
        no_limits,
        fit,
    })
}
