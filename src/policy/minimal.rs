//! Minimal repair: a failure is mended and the item is as old as before; it is replaced at
//! fixed intervals.
//!
//! In: a Weibull life and two costs. Out: [`MinimalRepair`]. Never: data; a power law fitted to
//! repairs (see `recurrence`), though its intensity is the one meant here.
//!
//! `T` usage between replacements, `Cp` cost of a replacement, `Cm` of one repair. Repairs come
//! at the life's hazard rate, `(T/scale)^shape` of them to expect by `T`, so the cost rate is
//! `[Cp + Cm (T/scale)^shape]/T`, least at `T = scale·(Cp/(Cm (shape − 1)))^(1/shape)`.
//! Source: R. E. Barlow & L. C. Hunter, "Optimum preventive maintenance policies", *Operations
//! Research* 8 (1960) 90-100, policy II.

use super::age::{Costs, NEAR, PolicyError};
use crate::model::Weibull;
use crate::model::numeric::root;

/// The best interval between replacements, repairs in between.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MinimalRepair {
    /// `None` where repairs do not come faster with age (shape at most 1): never replace.
    pub interval: Option<f64>,
    /// Cost per unit of usage at the interval; without one, of repairs alone in the long run
    /// (`Cm/scale` at shape 1, 0 below).
    pub cost_rate: f64,
    /// Repairs to expect in an interval: `Cp/(Cm (shape − 1))`.
    pub repairs: Option<f64>,
    /// The usages between which the cost rate stays within [`NEAR`] of the least.
    pub near: Option<(f64, f64)>,
}

/// Long-run cost per unit of usage when an item is replaced at `at` and repaired before.
///
/// Domain: `at` finite and above 0. Errors: [`PolicyError::Usage`].
pub fn minimal_repair_cost_rate(life: &Weibull, costs: Costs, at: f64) -> Result<f64, PolicyError> {
    if !(at.is_finite() && at > 0.0) {
        return Err(PolicyError::Usage { value: at });
    }
    Ok((costs.planned + costs.failed * life.cumulative_hazard(at)) / at)
}

/// The interval of least cost; `costs.failed` is the cost of one repair.
///
/// Units: usage in the life's unit. Accuracy: 1e-12 relative (`tests/numbers/block.rs`).
pub fn minimal_repair(life: &Weibull, costs: Costs) -> MinimalRepair {
    let over = life.shape - 1.0;
    if over <= 0.0 {
        let rate = if over == 0.0 {
            costs.failed / life.scale
        } else {
            0.0
        };
        return MinimalRepair {
            interval: None,
            cost_rate: rate,
            repairs: None,
            near: None,
        };
    }
    let repairs = costs.planned / (costs.failed * over);
    let interval = life.scale * repairs.powf(life.shape.recip());
    // The cost over the least at x intervals: (shape − 1)/shape/x + x^(shape−1)/shape.
    let excess =
        |ln_x: f64| ((over * (-ln_x).exp() + (over * ln_x).exp()) / life.shape - 1.0) - NEAR;
    let edge = |sign: f64| {
        let mut far = sign * 0.1;
        while excess(far) < 0.0 {
            far *= 1.5;
        }
        root(excess, 0.0, far, 1e-14).unwrap_or(0.0).exp() * interval
    };
    MinimalRepair {
        interval: Some(interval),
        cost_rate: costs.planned * life.shape / (over * interval),
        repairs: Some(repairs),
        near: Some((edge(-1.0), edge(1.0))),
    }
}
