//! What an item of some age still has before it: its chance to fail soon, its mean remaining
//! life; and what hours out of service leave of the time.
//!
//! In: a Weibull life, an age. Out: plain numbers. Never: renewals (see `renewal`).
//!
//! Source: R. E. Barlow & F. Proschan, *Mathematical Theory of Reliability* (1965), chapters 2
//! (residual life) and 4 (availability).

use super::age::{Costs, PolicyError, cost_rate};
use super::renewal::residual::Residual;
use crate::model::Weibull;
use crate::model::weibull::unit_mean_beyond;

/// Probability that an item of this age fails within `usage` more.
///
/// Formula: `1 − R(age + usage)/R(age)`, without cancellation. Domain: both at least 0.
pub fn chance_to_fail(life: &Weibull, age: f64, usage: f64) -> f64 {
    let residual = Residual::new(life.shape, age / life.scale);
    if residual.is_spent() {
        return if usage > 0.0 { 1.0 } else { 0.0 };
    }
    residual.failed(usage / life.scale)
}

/// Usage that an item of this age runs on average before it fails.
///
/// Formula: `∫_age^∞ R(t) dt / R(age)`. Domain: `age >= 0`. Units: the life's.
/// Accuracy: 1e-9 relative (`tests/numbers/block.rs`).
pub fn mean_remaining_life(life: &Weibull, age: f64) -> f64 {
    let z = life.cumulative_hazard(age);
    if z < 3.0 {
        return (life.mean() - life.mean_to(age)) / life.reliability(age);
    }
    if z < 700.0 {
        return life.scale * unit_mean_beyond(life.shape, (age / life.scale).ln()) * z.exp();
    }
    // Γ(s, z) e^z z^(1−s) = 1 + (s−1)/z + (s−1)(s−2)/z² + … (DLMF 8.11.2), s = 1/shape.
    let s = life.shape.recip();
    let (a, b) = ((s - 1.0) / z, (s - 2.0) / z);
    (1.0 + a * (1.0 + b * (1.0 + (s - 3.0) / z))) / life.hazard(age)
}

/// Share of the time in service when items are renewed at `at` (infinite: run to failure).
///
/// Formula: `1/(1 + D)`, `D` the hours out of service per hour of running, `hours` being those of
/// one planned renewal and of one failure. Errors: as [`cost_rate`].
pub fn availability(life: &Weibull, hours: Costs, at: f64) -> Result<f64, PolicyError> {
    Ok(1.0 / (1.0 + cost_rate(life, hours, at)?))
}
