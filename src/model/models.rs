//! All models, fitted and compared side by side.
//!
//! In: a [`Sample`] and a [`Model`]. Out: [`ModelFit`]: distribution, likelihood, AICc; and which
//! model the data prefer.
//! Never: limits (see `group`).

use super::distribution::Distribution;
use super::family::Family;
use super::fit::{FitError, aicc, fit_family};
use super::location::fit_location;
use super::stated::fit_stated;
use crate::life::Sample;

/// A model that can be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Model {
    Weibull,
    /// With a location before which nothing fails.
    Weibull3,
    /// Constant hazard.
    Exponential,
    Lognormal,
}

impl Model {
    pub const ALL: [Model; 4] = [
        Model::Weibull,
        Model::Weibull3,
        Model::Exponential,
        Model::Lognormal,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Model::Weibull => "weibull",
            Model::Weibull3 => "weibull3",
            Model::Exponential => "exponential",
            Model::Lognormal => "lognormal",
        }
    }
}

/// A maximum-likelihood fit of any model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelFit {
    pub model: Model,
    pub distribution: Distribution,
    /// Natural log of the likelihood, densities on the usage scale, constants kept.
    pub log_likelihood: f64,
    /// Parameters estimated: 1 to 3.
    pub parameters: u64,
    pub lives: u64,
    pub failures: u64,
}

impl ModelFit {
    /// `−2 ln L + 2k + 2k(k+1)/(n−k−1)`; `None` for too few lives.
    /// Source: Hurvich & Tsai, *Biometrika* 76 (1989) 297-307.
    pub fn aicc(&self) -> Option<f64> {
        aicc(self.log_likelihood, self.parameters, self.lives)
    }
}

/// Fits one model by maximum likelihood.
///
/// Errors: [`FitError`] where the model has no estimate on these data.
pub fn fit_model(sample: &Sample, model: Model) -> Result<ModelFit, FitError> {
    let found = |distribution, log_likelihood, parameters| ModelFit {
        model,
        distribution,
        log_likelihood,
        parameters,
        lives: sample.count(),
        failures: sample.failures(),
    };
    match model {
        Model::Weibull | Model::Lognormal => {
            let family = match model {
                Model::Lognormal => Family::Lognormal,
                _ => Family::Weibull,
            };
            let peak = fit_family(sample, family)?.peak;
            Ok(found(peak.distribution(), peak.log_likelihood, 2))
        }
        Model::Weibull3 => {
            let fit = fit_location(sample)?;
            let life = Distribution::Weibull3 {
                location: fit.location,
                beyond: fit.beyond.weibull,
            };
            Ok(found(life, fit.log_likelihood(), 3))
        }
        Model::Exponential => {
            let fit = fit_stated(sample, 1.0)?;
            match (fit.weibull(), fit.log_likelihood) {
                (Some(life), Some(value)) => Ok(found(Distribution::Weibull(life), value, 1)),
                _ => Err(FitError::NoFailures { lives: fit.lives }),
            }
        }
    }
}

/// By how much another model's AICc must be below the Weibull's to be preferred.
/// Source: K. P. Burnham & D. R. Anderson, *Model Selection and Multimodel Inference*
/// (2002), section 2.6: differences up to 2 leave substantial support.
pub const BETTER_BY: f64 = 2.0;

/// All models that have an estimate, and the one to go by.
#[derive(Debug, Clone, PartialEq)]
pub struct SideBySide {
    pub fits: Vec<(Model, Result<ModelFit, FitError>)>,
    /// Least AICc, but the Weibull where no other is better by more than [`BETTER_BY`].
    pub chosen: Model,
    /// How far the chosen model's AICc lies below the Weibull's; 0 for the Weibull itself.
    pub ahead_by: f64,
}

/// Fits every model and chooses.
pub fn side_by_side(sample: &Sample) -> SideBySide {
    let fits: Vec<_> = Model::ALL
        .into_iter()
        .map(|model| (model, fit_model(sample, model)))
        .collect();
    let criterion = |model: Model| -> Option<f64> {
        fits.iter()
            .find(|(m, _)| *m == model)
            .and_then(|(_, fit)| fit.as_ref().ok()?.aicc())
    };
    let mut chosen = (Model::Weibull, 0.0);
    if let Some(weibull) = criterion(Model::Weibull) {
        for model in Model::ALL {
            let ahead = criterion(model).map_or(0.0, |other| weibull - other);
            if ahead > BETTER_BY && ahead > chosen.1 {
                chosen = (model, ahead);
            }
        }
    } else if matches!(fits.first(), Some((Model::Weibull, Err(_))))
        && let Some((model, _)) = fits.iter().find(|(_, fit)| fit.is_ok())
    {
        // Without a Weibull estimate the first model that has one stands in.
        chosen = (*model, 0.0);
    }
    SideBySide {
        fits,
        chosen: chosen.0,
        ahead_by: chosen.1,
    }
}
