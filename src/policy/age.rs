//! Age replacement: the usage at which a planned renewal costs least.
//!
//! In: a Weibull life and two costs. Out: [`AgePolicy`].
//! Never: data; a posterior (see `decide`).
//!
//! `T` usage at planned renewal, `R` reliability, `F = 1 − R`, `h` hazard,
//! `Cp`/`Cf` cost of a planned renewal and of a failure.
//! Source: R. E. Barlow & F. Proschan, *Mathematical Theory of Reliability* (1965),
//! chapter 4, age replacement.

use thiserror::Error;

use crate::model::Weibull;
use crate::model::numeric::root;
use crate::model::weibull::{ln_mean_factor, unit_mean_beyond, unit_mean_to};

/// Why a policy cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum PolicyError {
    #[error("{which} cost is {value}: a cost must be finite and above 0")]
    Cost { which: &'static str, value: f64 },
    #[error("a usage of {value} is outside the domain: it must be finite and above 0")]
    Usage { value: f64 },
    #[error("shape {shape} and scale {scale} must both be finite and above 0")]
    Life { shape: f64, scale: f64 },
    #[error("a shape of {shape} is outside the domain of renewals to expect: {from} to {to}")]
    Shape { shape: f64, from: f64, to: f64 },
    #[error("a usage of {usage} scales is too far to look ahead: {most} is the most here")]
    Reach { usage: f64, most: f64 },
}

/// What one renewal costs in all, planned and after failure, in one currency
/// (or both in hours out of service).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    pub planned: f64,
    pub failed: f64,
}

impl Costs {
    /// Both finite and above 0.
    pub fn new(planned: f64, failed: f64) -> Result<Self, PolicyError> {
        for (which, value) in [("planned", planned), ("failed", failed)] {
            if !(value.is_finite() && value > 0.0) {
                return Err(PolicyError::Cost { which, value });
            }
        }
        Ok(Costs { planned, failed })
    }
}

/// The best interval for a known life, and what it is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgePolicy {
    /// Usage at renewal; `None` where running to failure is never beaten.
    pub interval: Option<f64>,
    /// Cost per unit of usage at the interval, or run to failure where there is none.
    pub cost_rate: f64,
    pub run_to_failure_cost_rate: f64,
    /// `1 − cost_rate / run_to_failure_cost_rate`, 0 without an interval.
    pub saving: f64,
    /// The usages between which the cost rate stays within [`NEAR`] of the least; the upper
    /// end is `None` where even running to failure does.
    pub near: Option<(f64, Option<f64>)>,
    pub mean_life: f64,
}

/// How far above the least cost still counts as near: 5 %.
pub const NEAR: f64 = 0.05;

/// Long-run cost per unit of usage when an item is renewed at usage `at` or at failure,
/// whichever comes first.
///
/// Formula: `[Cp·R(T) + Cf·F(T)] / ∫₀ᵀ R(t) dt`. Infinite `at` is run to failure, `Cf/mean`.
/// Units: currency per unit of usage.
/// Domain: `at > 0`. Errors: [`PolicyError::Usage`] otherwise. Never NaN.
/// Accuracy: 1e-9 relative for shapes 0.3 to 50 (`tests/numbers/policy.rs`).
pub fn cost_rate(life: &Weibull, costs: Costs, at: f64) -> Result<f64, PolicyError> {
    if at.is_nan() || at <= 0.0 {
        return Err(PolicyError::Usage { value: at });
    }
    Ok((ln_unit_cost(life.shape, costs, (at / life.scale).ln()) - life.scale.ln()).exp())
}

/// `ln` of the cost rate for scale 1 at `T = e^x`: the one formula all policies use.
///
/// A change of scale only shifts it: `ln C(T; scale) = ln_unit_cost(ln T − ln scale) − ln scale`.
pub(crate) fn ln_unit_cost(shape: f64, costs: Costs, x: f64) -> f64 {
    if x == f64::INFINITY {
        return costs.failed.ln() - ln_mean_factor(shape);
    }
    let hazard = (shape * x).exp();
    let failed = -(-hazard).exp_m1();
    let numerator = costs.planned + (costs.failed - costs.planned) * failed;
    let mean = unit_mean_to(shape, x);
    if mean > 0.0 {
        numerator.ln() - mean.ln()
    } else {
        numerator.ln() - x
    }
}

/// `ln C(T) − ln C(∞)` at unit scale and `T = e^x` far beyond the mean life, where the two
/// agree to more digits than a double holds: taken from the tails, without cancellation.
pub(crate) fn ln_unit_gain_far(shape: f64, costs: Costs, x: f64) -> f64 {
    let survivors = (-(shape * x).exp()).exp() * (1.0 - costs.planned / costs.failed);
    let beyond = unit_mean_beyond(shape, x) / ln_mean_factor(shape).exp();
    (-survivors).ln_1p() - (-beyond).ln_1p()
}

/// The unit-scale balance `h(T)·∫R − F − Cp/(Cf − Cp)`, which rises through 0 at the optimum
/// for shapes above 1.
fn balance(shape: f64, costs: Costs, x: f64) -> f64 {
    let ln_hazard_rate = shape.ln() + (shape - 1.0) * x;
    let failed = -(-(shape * x).exp()).exp_m1();
    ln_hazard_rate.exp() * unit_mean_to(shape, x)
        - failed
        - costs.planned / (costs.failed - costs.planned)
}

/// Log of the best unit-scale interval, `None` where no finite one beats run to failure.
pub(crate) fn ln_unit_optimum(shape: f64, costs: Costs) -> Option<f64> {
    if shape <= 1.0 || costs.failed <= costs.planned {
        return None;
    }
    // h·mean − 1 > Cp/(Cf − Cp) in the end, as h has no upper bound: a root exists,
    // though for shapes near 1 it may lie beyond any use.
    let x = |x: f64| balance(shape, costs, x);
    let mut high = 0.0;
    while x(high) < 0.0 {
        high += 2.0;
        if high > 600.0 {
            return None;
        }
    }
    let mut low = high - 2.0;
    while x(low) > 0.0 {
        low -= 2.0;
        if low < -600.0 {
            return None;
        }
    }
    root(x, low, high, 1e-14).ok()
}

/// The least-cost age for a known Weibull life.
///
/// Formula: the root of `h(T)·∫₀ᵀR − F(T) = Cp/(Cf − Cp)`, unique for shape > 1 and
/// `Cf > Cp`; otherwise running to failure costs least and `interval` is `None`.
/// Units: usage in the life's unit; cost rates in the costs' unit per unit of usage.
/// Accuracy: 1e-7 relative in T, 1e-9 in cost (`tests/numbers/policy.rs`).
pub fn age_policy(life: &Weibull, costs: Costs) -> AgePolicy {
    let ln_scale = life.scale.ln();
    let forever = ln_unit_cost(life.shape, costs, f64::INFINITY);
    let mut policy = AgePolicy {
        interval: None,
        cost_rate: (forever - ln_scale).exp(),
        run_to_failure_cost_rate: (forever - ln_scale).exp(),
        saving: 0.0,
        near: None,
        mean_life: life.mean(),
    };
    let Some(best) = ln_unit_optimum(life.shape, costs) else {
        return policy;
    };
    let least = ln_unit_cost(life.shape, costs, best);
    let limit = least + NEAR.ln_1p();
    let excess = |x: f64| ln_unit_cost(life.shape, costs, x) - limit;
    let mut low = best - 0.5;
    while excess(low) < 0.0 {
        low -= 0.5;
    }
    let from = root(excess, low, best, 1e-13).unwrap_or(best);
    let to = (forever > limit).then(|| {
        let mut high = best + 0.5;
        while excess(high) < 0.0 && high < best + 600.0 {
            high += 0.5;
        }
        root(excess, best, high, 1e-13).unwrap_or(best)
    });
    policy.interval = Some((best + ln_scale).exp());
    policy.cost_rate = (least - ln_scale).exp();
    policy.saving = -(least - forever).exp_m1();
    policy.near = Some(((from + ln_scale).exp(), to.map(|x| (x + ln_scale).exp())));
    policy
}
