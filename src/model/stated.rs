//! One-parameter fits: a Weibull whose shape is stated; the exponential at shape 1.
//!
//! In: a [`Sample`] and a shape. Out: [`StatedFit`], limits on the scale.
//! Never: judging whether the shape is right.
//!
//! With `r` failures and `S = Σ t^k − Σ entry^k` over all lives, the scale's estimate is
//! `(S/r)^(1/k)`. Limits: `2S/scale^k` is chi-square with `2r` degrees of freedom where
//! watching stops with the `r`-th failure; where it stops at set usages, `2r + 2` on the lower
//! side keeps the limit from being too high, and holds without any failure too.
//! Source: Lawless (2003), section 4.1 (exponential, in `t^k`); Meeker & Escobar (1998),
//! section 8.5 (stated shape, few or no failures); NIST/SEMATECH e-Handbook 8.4.5.1.

use super::fit::{FitError, best_scale};
use super::likelihood::Likelihood;
use super::limits::Limits;
use super::numeric::ln_gamma_quantile;
use super::weibull::Weibull;
use crate::life::Sample;

/// A Weibull with a stated shape, fitted to data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StatedFit {
    pub shape: f64,
    /// `None` without a failure: the likelihood rises with the scale without end.
    pub scale: Option<f64>,
    /// `None` without a failure.
    pub log_likelihood: Option<f64>,
    /// Standard error of ln scale from the observed information; `None` without a failure.
    pub error_ln_scale: Option<f64>,
    pub lives: u64,
    pub failures: u64,
}

impl StatedFit {
    /// The distribution; `None` without a failure.
    pub fn weibull(&self) -> Option<Weibull> {
        Weibull::new(self.shape, self.scale?)
    }
}

/// Fits the scale where the shape is stated.
///
/// Domain: `shape` finite and above 0. Units: scale in the sample's usage unit.
/// Errors: [`FitError::Empty`]; [`FitError::NotConverged`] where windows leave the search
/// without an end. No failure is no error: the fit then has no estimate, but lower limits.
/// Accuracy: 1e-10 relative (`tests/numbers/models.rs`).
pub fn fit_stated(sample: &Sample, shape: f64) -> Result<StatedFit, FitError> {
    if sample.count() == 0 {
        return Err(FitError::Empty);
    }
    let (lives, failures) = (sample.count(), sample.failures());
    let mut fit = StatedFit {
        shape,
        scale: None,
        log_likelihood: None,
        error_ln_scale: None,
        lives,
        failures,
    };
    if failures == 0 {
        return Ok(fit);
    }
    let likelihood = Likelihood::new(sample);
    let b = shape.ln();
    let a = best_scale(&likelihood, b);
    let top = likelihood.slope(a, b);
    let scale = (a + likelihood.shift()).exp();
    let gradient = top.gradient[0].abs();
    let steep = gradient > 1e-8 * shape.max(1.0) * failures as f64;
    if !scale.is_finite() || top.curvature[0] >= 0.0 || steep {
        return Err(FitError::NotConverged {
            shape,
            scale,
            gradient,
        });
    }
    fit.scale = Some(scale);
    fit.log_likelihood = Some(top.value);
    fit.error_ln_scale = Some((-top.curvature[0]).recip().sqrt());
    Ok(fit)
}

/// Two-sided chi-square limits on the scale; `None` where windows leave no closed form.
///
/// Formula: `(2S/χ²(1 − α/2; 2r + 2))^(1/k)` and `(2S/χ²(α/2; 2r))^(1/k)`, `α = 1 − confidence`.
/// Without a failure there is no upper limit, and the lower one is one-sided with confidence
/// `(1 + confidence)/2`. Never too narrow where lives were cut short at set usages.
/// Domain: `0 < confidence < 1`.
pub fn chi_square_limits(sample: &Sample, shape: f64, confidence: f64) -> Option<Limits> {
    let likelihood = Likelihood::new(sample);
    if !likelihood.is_closed() || sample.count() == 0 {
        return None;
    }
    let r = sample.failures();
    let tail = 0.5 * (1.0 - confidence);
    let ln_sum = likelihood.power_sum(shape).ln();
    // Half a chi-square quantile with 2m degrees of freedom is a gamma quantile of order m.
    let limit = |order: u64, above: f64| {
        ((ln_sum - ln_gamma_quantile(order, above)) / shape + likelihood.shift()).exp()
    };
    Some(Limits {
        median: None,
        lower: Some(limit(r + 1, tail)),
        upper: (r > 0).then(|| limit(r, 1.0 - tail)),
    })
}
