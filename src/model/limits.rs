//! Limits on a quantity from the likelihood: Wald and profile likelihood ratio.
//!
//! In: a fit, its likelihood, a [`Target`], a confidence. Out: [`Limits`].
//! Never: priors (see `posterior`).
//!
//! Source: Meeker & Escobar (1998), chapter 8: Wald on the log scale (8.3), profile
//! likelihood ratio (8.2). A reliability is treated on the scale of `z`, ln(−ln R) for the Weibull.

use std::cell::Cell;

use super::family::Family;
use super::fit::{Peak, WeibullFit, best_scale};
use super::likelihood::Likelihood;
use super::numeric::{chi_square_1_quantile, normal_quantile, root_outward};
use super::target::Target;

/// How limits are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LimitsKind {
    /// Posterior under the prior 1/(scale·shape).
    Posterior,
    /// Profile likelihood ratio.
    LikelihoodRatio,
    /// Normal approximation on the log scale.
    Wald,
    /// Chi-square, for a single parameter.
    ChiSquare,
    None,
}

impl LimitsKind {
    pub fn word(self) -> &'static str {
        match self {
            LimitsKind::Posterior => "posterior",
            LimitsKind::LikelihoodRatio => "likelihood-ratio",
            LimitsKind::Wald => "wald",
            LimitsKind::ChiSquare => "chi-square",
            LimitsKind::None => "none",
        }
    }
}

/// Two-sided limits; a side the data do not bound is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Posterior median; `None` for limits of another kind.
    pub median: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Wald limits: `exp(ln q ∓ z·se(ln q))`; for a reliability the same on the family's `z`.
///
/// Domain: `0 < confidence < 1`, two-sided.
pub fn wald(fit: &WeibullFit, target: Target, confidence: f64) -> Limits {
    wald_at(&fit.peak(), target, confidence)
}

/// As [`wald`], for either family.
pub fn wald_at(peak: &Peak, target: Target, confidence: f64) -> Limits {
    let middle = target.search_at(peak.family, peak.a, peak.b);
    let reach = normal_quantile(0.5 * (1.0 + confidence)) * error_of(peak, target);
    order(
        target,
        peak.family,
        Some(middle - reach),
        Some(middle + reach),
    )
}

/// Standard error of the target's search value, by the delta method.
fn error_of(peak: &Peak, target: Target) -> f64 {
    let [da, db] = target.gradient(peak.family, peak.a, peak.b);
    let [aa, ab, bb] = peak.covariance;
    (da * da * aa + 2.0 * da * db * ab + db * db * bb).sqrt()
}

/// Profile likelihood-ratio limits: the values `q` with
/// `2(ln L_max − ln L_profile(q)) <= χ²₁(confidence)`.
///
/// Domain: `0 < confidence < 1`, two-sided.
pub fn likelihood_ratio(
    likelihood: &Likelihood,
    fit: &WeibullFit,
    target: Target,
    confidence: f64,
) -> Limits {
    likelihood_ratio_at(likelihood, &fit.peak(), target, confidence)
}

/// As [`likelihood_ratio`], for either family; the likelihood must be of the peak's.
pub fn likelihood_ratio_at(
    likelihood: &Likelihood,
    peak: &Peak,
    target: Target,
    confidence: f64,
) -> Limits {
    let drop = 0.5 * chi_square_1_quantile(confidence);
    let warm = Cell::new(peak.b);
    let excess = |x: f64| {
        let (value, b) = profile(likelihood, target, x, warm.get());
        warm.set(b);
        peak.log_likelihood - value - drop
    };
    let middle = target.search_at(peak.family, peak.a, peak.b);
    let step = error_of(peak, target).max(1e-9);
    let side = |sign: f64| {
        warm.set(peak.b);
        root_outward(excess, middle, sign * step, REACH.max(50.0 * step), 1e-13)
    };
    order(target, peak.family, side(-1.0), side(1.0))
}

/// How far from the estimate, in ln units, a limit is looked for before it counts as absent.
const REACH: f64 = 60.0;

fn order(target: Target, family: Family, low: Option<f64>, high: Option<f64>) -> Limits {
    let (low, high) = if target.falls() {
        (high, low)
    } else {
        (low, high)
    };
    Limits {
        median: None,
        lower: low.map(|x| target.value_at(family, x)),
        upper: high.map(|x| target.value_at(family, x)),
    }
}

/// The highest log-likelihood with the target held at search value `x`, and its `b`.
fn profile(likelihood: &Likelihood, target: Target, x: f64, from: f64) -> (f64, f64) {
    let (family, shift) = (likelihood.family(), likelihood.shift());
    if target == Target::Shape {
        return (likelihood.value(best_scale(likelihood, x), x), x);
    }
    // Not the shape, so the tie exists; falling back to a free scale would be wrong.
    let Some(mut tie) = target.tie(family, x, from) else {
        return (f64::NAN, from);
    };
    let mut b = from;
    let mut here = likelihood.slope(tie[0] - shift, b);
    for _ in 0..200 {
        let [a1, a2] = [tie[1], tie[2]];
        let [ga, gb] = here.gradient;
        let [haa, hab, hbb] = here.curvature;
        let slope = gb + ga * a1;
        let bend = hbb + 2.0 * hab * a1 + haa * a1 * a1 + ga * a2;
        let mut step = if bend < 0.0 {
            -slope / bend
        } else {
            slope.signum() * 0.3
        };
        step = step.clamp(-1.0, 1.0);
        if !step.is_finite() {
            return (f64::NAN, b);
        }
        loop {
            if let Some(next_tie) = target.tie(family, x, b + step) {
                let next = likelihood.slope(next_tie[0] - shift, b + step);
                if next.value >= here.value - 1e-13 * (1.0 + here.value.abs()) {
                    (tie, here) = (next_tie, next);
                    b += step;
                    break;
                }
            }
            step *= 0.3;
            if step.abs() < 1e-15 {
                return (here.value, b);
            }
        }
        if step.abs() < 1e-10 {
            break;
        }
    }
    (here.value, b)
}
