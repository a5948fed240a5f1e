//! One group's fit with everything asked of it.
//!
//! In: a sample and an [`Ask`]. Out: [`GroupFigures`]: estimates and limits of one model.
//! Never: what the group stands for; tests of the fit (see `goodness`); layout.

use super::distribution::Distribution;
use super::family::Family;
use super::fit::{FitError, Peak, fit_family};
use super::likelihood::Likelihood;
use super::limits::{Limits, LimitsKind, likelihood_ratio_at, wald_at};
use super::location::{LocationFit, LocationPosterior, fit_location};
use super::models::Model;
use super::numeric::{chi_square_1_quantile, normal_quantile, root_outward};
use super::posterior::{Posterior, PosteriorError, ShapePrior};
use super::rank_regression::{RankFit, RankMethod, fit_ranks};
use super::stated::{StatedFit, chi_square_limits, fit_stated};
use super::target::Target;
use super::weibull::Weibull;
use crate::life::Sample;

/// What to fit, and with which limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ask {
    pub model: Model,
    /// A Weibull shape taken from elsewhere: only the scale is fitted.
    pub stated_shape: Option<f64>,
    /// Fit by ranks instead of likelihood.
    pub ranks: Option<RankMethod>,
    /// Kind of limits; `None` takes the one that suits: chi-square for one parameter, none for
    /// ranks, else the posterior.
    pub limits: Option<LimitsKind>,
    /// Two-sided, in (0, 1).
    pub confidence: f64,
    /// Prior for the shape behind posterior limits.
    pub prior: ShapePrior,
}

impl Default for Ask {
    fn default() -> Self {
        Ask {
            model: Model::Weibull,
            stated_shape: None,
            ranks: None,
            limits: None,
            confidence: 0.9,
            prior: ShapePrior::Flat,
        }
    }
}

impl Ask {
    /// The kind of limits that will be given.
    pub fn kind(&self) -> LimitsKind {
        let one_parameter = self.stated_shape.is_some() || self.model == Model::Exponential;
        match (self.ranks, self.limits) {
            (Some(_), _) => LimitsKind::None,
            (None, Some(kind)) => kind,
            (None, None) if one_parameter => LimitsKind::ChiSquare,
            (None, None) => LimitsKind::Posterior,
        }
    }
}

/// A quantity: its estimate and limits. Without a failure a stated shape gives limits only.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Figure {
    pub estimate: Option<f64>,
    pub limits: Limits,
}

/// Shares for which the life is always given: B1, B10, B50.
pub const SHARES: [f64; 3] = [0.01, 0.1, 0.5];

/// Why limits of the kind asked for are not there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoLimits {
    Posterior(PosteriorError),
    /// The kind has no formula for this model or method.
    NotForThis,
    /// A location at its bound, or an information matrix that is not positive definite.
    NoCovariance,
}

/// A fitted group.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupFigures {
    pub model: Model,
    pub stated_shape: Option<f64>,
    /// `None` without a failure at a stated shape.
    pub distribution: Option<Distribution>,
    /// Estimated parameters.
    pub parameters: u64,
    /// `None` for ranks, and without a failure.
    pub log_likelihood: Option<f64>,
    /// Weibull shape; for the lognormal sigma.
    pub shape: Figure,
    /// Weibull scale; for the lognormal `exp(mu)`.
    pub scale: Figure,
    /// Three-parameter Weibull only.
    pub location: Option<Figure>,
    pub mean: Figure,
    /// Usage by which a share has failed, for each of [`SHARES`].
    pub life_at: [Figure; 3],
    /// The kind of limits given.
    pub limits: LimitsKind,
    pub no_limits: Option<NoLimits>,
    /// The line behind a fit by ranks.
    pub line: Option<RankFit>,
    pub lives: u64,
    pub failures: u64,
}

impl GroupFigures {
    /// Second-order Akaike criterion; `None` for too few lives or without a likelihood.
    pub fn aicc(&self) -> Option<f64> {
        super::fit::aicc(self.log_likelihood?, self.parameters, self.lives)
    }
}

/// The outcome of fitting a group.
pub type GroupFit = Result<GroupFigures, FitError>;

/// Fits a Weibull with limits of one kind: see [`fit_group_as`].
pub fn fit_group(sample: &Sample, kind: LimitsKind, confidence: f64) -> GroupFit {
    fit_group_as(
        sample,
        &Ask {
            limits: Some(kind),
            confidence,
            ..Ask::default()
        },
    )
}

/// Fits a group and puts limits on shape, scale, mean, B1, B10 and B50.
///
/// Where limits of the kind asked for cannot be had the estimate stands without, and
/// `no_limits` says why.
/// Errors: [`FitError`] where there is no estimate.
pub fn fit_group_as(sample: &Sample, ask: &Ask) -> GroupFit {
    fit_with_lives(sample, ask, &[]).map(|(figures, _)| figures)
}

/// Limits of the usage by which each share in (0, 1) has failed, as [`fit_group_as`] gives them
/// for its own few shares: one a share, in the order asked.
///
/// Empty sides where the kind of limits cannot be had, as for a fit by ranks.
/// Errors: [`FitError`] where there is no estimate.
pub fn life_limits(sample: &Sample, ask: &Ask, shares: &[f64]) -> Result<Vec<Limits>, FitError> {
    fit_with_lives(sample, ask, shares).map(|(_, limits)| limits)
}

/// A group's figures, and limits of life at more shares.
type WithLives = Result<(GroupFigures, Vec<Limits>), FitError>;

fn fit_with_lives(sample: &Sample, ask: &Ask, shares: &[f64]) -> WithLives {
    if let Some(method) = ask.ranks {
        let none = vec![Limits::default(); shares.len()];
        return by_ranks(sample, method).map(|figures| (figures, none));
    }
    match (ask.stated_shape, ask.model) {
        (Some(shape), _) => by_stated_shape(sample, shape, Model::Weibull, ask, shares),
        (None, Model::Exponential) => by_stated_shape(sample, 1.0, Model::Exponential, ask, shares),
        (None, Model::Weibull) => by_family(sample, Family::Weibull, ask, shares),
        (None, Model::Lognormal) => by_family(sample, Family::Lognormal, ask, shares),
        (None, Model::Weibull3) => by_location(sample, ask, shares),
    }
}

/// Every figure from one function of the target.
fn figures(
    figure: &impl Fn(Target) -> Figure,
    family: Family,
) -> (Figure, Figure, Figure, [Figure; 3]) {
    let mut shape = figure(Target::Shape);
    if family == Family::Lognormal {
        shape = reciprocal(shape);
    }
    (
        shape,
        figure(Target::Scale),
        figure(Target::Mean),
        SHARES.map(|share| figure(Target::LifeAt(share))),
    )
}

/// The limits of life at each share, from the same function.
fn lives_at(figure: &impl Fn(Target) -> Figure, shares: &[f64]) -> Vec<Limits> {
    let limits = |share: &f64| figure(Target::LifeAt(*share)).limits;
    shares.iter().map(limits).collect()
}

/// One over a figure: the limits change places.
fn reciprocal(figure: Figure) -> Figure {
    let over = |x: Option<f64>| x.map(f64::recip);
    Figure {
        estimate: over(figure.estimate),
        limits: Limits {
            median: over(figure.limits.median),
            lower: over(figure.limits.upper),
            upper: over(figure.limits.lower),
        },
    }
}

/// The target's value at a peak.
fn value(peak: &Peak, target: Target) -> f64 {
    target.value_at(peak.family, target.search_at(peak.family, peak.a, peak.b))
}

fn by_family(sample: &Sample, family: Family, ask: &Ask, shares: &[f64]) -> WithLives {
    let fit = fit_family(sample, family)?;
    let peak = fit.peak;
    let kind = ask.kind();
    let mut no_limits = None;
    let posterior = match kind {
        LimitsKind::Posterior => Posterior::of(sample, family, ask.prior)
            .map_err(|error| no_limits = Some(NoLimits::Posterior(error)))
            .ok(),
        _ => None,
    };
    let likelihood = match kind {
        LimitsKind::LikelihoodRatio => Some(Likelihood::of(sample, family)),
        _ => None,
    };
    if kind == LimitsKind::ChiSquare {
        no_limits = Some(NoLimits::NotForThis);
    }
    let figure = |target: Target| Figure {
        estimate: Some(value(&peak, target)),
        limits: match (kind, &posterior, &likelihood) {
            (LimitsKind::Posterior, Some(posterior), _) => posterior.limits(target, ask.confidence),
            (LimitsKind::LikelihoodRatio, _, Some(likelihood)) => {
                likelihood_ratio_at(likelihood, &peak, target, ask.confidence)
            }
            (LimitsKind::Wald, ..) => wald_at(&peak, target, ask.confidence),
            _ => Limits::default(),
        },
    };
    let (shape, scale, mean, life_at) = figures(&figure, family);
    let found = GroupFigures {
        model: ask.model,
        stated_shape: None,
        distribution: Some(peak.distribution()),
        parameters: 2,
        log_likelihood: Some(peak.log_likelihood),
        shape,
        scale,
        location: None,
        mean,
        life_at,
        limits: kind,
        no_limits,
        line: None,
        lives: fit.lives,
        failures: fit.failures,
    };
    Ok((found, lives_at(&figure, shares)))
}

fn by_stated_shape(
    sample: &Sample,
    shape: f64,
    model: Model,
    ask: &Ask,
    shares: &[f64],
) -> WithLives {
    let fit = fit_stated(sample, shape)?;
    let kind = ask.kind();
    let (scale_limits, no_limits) = match one_parameter_limits(sample, &fit, kind, ask.confidence) {
        Ok(limits) => (limits, None),
        Err(reason) => (Limits::default(), Some(reason)),
    };
    // All else is the scale times a constant.
    let figure = |target: Target| {
        let at = |scale: Option<f64>| Some(target.of(&Weibull::new(shape, scale?)?));
        match target {
            Target::Shape => Figure {
                estimate: Some(shape),
                limits: Limits::default(),
            },
            _ => Figure {
                estimate: at(fit.scale),
                limits: Limits {
                    median: at(scale_limits.median),
                    lower: at(scale_limits.lower),
                    upper: at(scale_limits.upper),
                },
            },
        }
    };
    let (shape_figure, scale, mean, life_at) = figures(&figure, Family::Weibull);
    let found = GroupFigures {
        model,
        stated_shape: (model == Model::Weibull).then_some(shape),
        distribution: fit.weibull().map(Distribution::Weibull),
        parameters: 1,
        log_likelihood: fit.log_likelihood,
        shape: shape_figure,
        scale,
        location: None,
        mean,
        life_at,
        limits: kind,
        no_limits,
        line: None,
        lives: fit.lives,
        failures: fit.failures,
    };
    Ok((found, lives_at(&figure, shares)))
}

/// Limits on the scale of a one-parameter fit.
fn one_parameter_limits(
    sample: &Sample,
    fit: &StatedFit,
    kind: LimitsKind,
    confidence: f64,
) -> Result<Limits, NoLimits> {
    let posterior = || {
        Posterior::at_shape(sample, fit.shape)
            .map(|posterior| posterior.limits(Target::Scale, confidence))
            .map_err(NoLimits::Posterior)
    };
    let (Some(scale), Some(top), Some(error)) = (fit.scale, fit.log_likelihood, fit.error_ln_scale)
    else {
        // Only chi-square limits speak without a failure.
        return chi_square_limits(sample, fit.shape, confidence)
            .filter(|_| kind == LimitsKind::ChiSquare)
            .ok_or(NoLimits::Posterior(PosteriorError::NoFailures));
    };
    let both = |lower: Option<f64>, upper: Option<f64>| Limits {
        median: None,
        lower: lower.map(f64::exp),
        upper: upper.map(f64::exp),
    };
    match kind {
        LimitsKind::None => Ok(Limits::default()),
        // Windows have no closed form: the posterior stands in.
        LimitsKind::ChiSquare => {
            chi_square_limits(sample, fit.shape, confidence).map_or_else(posterior, Ok)
        }
        LimitsKind::Posterior => posterior(),
        LimitsKind::Wald => {
            let reach = normal_quantile(0.5 * (1.0 + confidence)) * error;
            Ok(both(Some(scale.ln() - reach), Some(scale.ln() + reach)))
        }
        LimitsKind::LikelihoodRatio => {
            let likelihood = Likelihood::new(sample);
            let drop = 0.5 * chi_square_1_quantile(confidence);
            let b = fit.shape.ln();
            let excess = |a: f64| top - likelihood.value(a - likelihood.shift(), b) - drop;
            let side = |sign: f64| root_outward(excess, scale.ln(), sign * error, 60.0, 1e-12);
            Ok(both(side(-1.0), side(1.0)))
        }
    }
}

fn by_location(sample: &Sample, ask: &Ask, shares: &[f64]) -> WithLives {
    let fit: LocationFit = fit_location(sample)?;
    let kind = ask.kind();
    // The flat prior leaves mass without end where the location nears the first failure.
    let prior = match ask.prior {
        ShapePrior::Flat => ShapePrior::DECISION,
        stated => stated,
    };
    let mut no_limits = None;
    let posterior = match kind {
        LimitsKind::Posterior => LocationPosterior::new(sample, prior)
            .map_err(|error| no_limits = Some(NoLimits::Posterior(error)))
            .ok(),
        LimitsKind::Wald if fit.covariance.is_none() => {
            no_limits = Some(NoLimits::NoCovariance);
            None
        }
        LimitsKind::LikelihoodRatio | LimitsKind::ChiSquare => {
            no_limits = Some(NoLimits::NotForThis);
            None
        }
        _ => None,
    };
    let limits = |target: Option<Target>| match (kind, &posterior) {
        (LimitsKind::Posterior, Some(posterior)) => posterior.limits(target, ask.confidence),
        (LimitsKind::Wald, _) => fit.wald(target, ask.confidence).unwrap_or_default(),
        _ => Limits::default(),
    };
    let figure = |target: Target| Figure {
        estimate: Some(fit.value(target)),
        limits: limits(Some(target)),
    };
    let (shape, scale, mean, life_at) = figures(&figure, Family::Weibull);
    let found = GroupFigures {
        model: Model::Weibull3,
        stated_shape: None,
        distribution: Some(Distribution::Weibull3 {
            location: fit.location,
            beyond: fit.beyond.weibull,
        }),
        parameters: 3,
        log_likelihood: Some(fit.log_likelihood()),
        shape,
        scale,
        location: Some(Figure {
            estimate: Some(fit.location),
            limits: limits(None),
        }),
        mean,
        life_at,
        limits: kind,
        no_limits,
        line: None,
        lives: fit.lives,
        failures: sample.failures(),
    };
    Ok((found, lives_at(&figure, shares)))
}

fn by_ranks(sample: &Sample, method: RankMethod) -> GroupFit {
    let line = fit_ranks(sample, method)?;
    let known = |estimate: f64| Figure {
        estimate: Some(estimate),
        limits: Limits::default(),
    };
    let life = line.distribution;
    Ok(GroupFigures {
        model: match method.family {
            Family::Weibull => Model::Weibull,
            Family::Lognormal => Model::Lognormal,
        },
        stated_shape: None,
        distribution: Some(life),
        parameters: 2,
        log_likelihood: None,
        shape: known(line.shape),
        scale: known(line.scale),
        location: None,
        mean: known(life.mean()),
        life_at: SHARES.map(|share| known(life.life_at(share))),
        limits: LimitsKind::None,
        no_limits: None,
        lives: line.lives,
        failures: line.failures,
        line: Some(line),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::Life;

    /// On lives for which every model has an estimate: Lockhart & Stephens (1994), as in
    /// `tests/reference/three-parameter-lockhart-stephens.json`.
    #[test]
    fn limits_at_any_share_are_those_of_the_figures() {
        let known = [
            117.0, 135.0, 135.0, 162.0, 162.0, 171.0, 189.0, 189.0, 198.0, 225.0,
        ]
        .map(Life::failure);
        let sample = Sample::new(known.to_vec()).unwrap();
        let asks = Model::ALL.map(|model| Ask {
            model,
            ..Ask::default()
        });
        let stated = Ask {
            stated_shape: Some(2.0),
            ..Ask::default()
        };
        for ask in asks.into_iter().chain([stated]) {
            let found = fit_group_as(&sample, &ask).unwrap();
            let limits = life_limits(&sample, &ask, &SHARES).unwrap();
            assert_eq!(limits, found.life_at.map(|figure| figure.limits));
            assert!(limits[1].lower < limits[1].upper, "{ask:?}");
        }
        let ranks = Ask {
            ranks: Some(RankMethod::default()),
            ..Ask::default()
        };
        let none = life_limits(&sample, &ranks, &[0.1, 0.2]).unwrap();
        assert_eq!(none, [Limits::default(); 2]);
    }
}
