//! Block replacement: every item is renewed at fixed intervals, whatever its age, and at each
//! failure in between.
//!
//! In: a Weibull life and two costs. Out: an [`AgePolicy`] whose interval is between renewals.
//! Never: data.
//!
//! `T` usage between renewals, `M` renewal function, `m` its slope, `Cp`/`Cf` cost of a planned
//! renewal and of a failure. Cost rate `[Cp + Cf·M(T)]/T`; its minima solve
//! `T·m(T) − M(T) = Cp/Cf`.
//! Source: R. E. Barlow & F. Proschan, *Mathematical Theory of Reliability* (1965), chapter 4,
//! block replacement.

use super::age::{AgePolicy, Costs, NEAR, PolicyError};
use super::renewal::RenewalTable;
use crate::model::Weibull;
use crate::model::numeric::root;

/// How far a minimum is looked for, in mean lives: later ones cost as good as run to failure.
const REACH: f64 = 6.0;

/// Steps of the walk, to a mean life and as a share of how fast wear sets in.
const STEPS: f64 = 60.0;

/// Long-run cost per unit of usage when all is renewed every `every`, and at failures.
///
/// Formula: `[Cp + Cf·M(T)]/T`. Units: currency per unit of usage. Domain: `every > 0`, finite.
/// Errors: [`PolicyError::Usage`], [`PolicyError::Shape`], [`PolicyError::Reach`].
/// Accuracy: 1e-9 relative (`tests/numbers/block.rs`).
pub fn block_cost_rate(life: &Weibull, costs: Costs, every: f64) -> Result<f64, PolicyError> {
    if !(every.is_finite() && every > 0.0) {
        return Err(PolicyError::Usage { value: every });
    }
    let t = every / life.scale;
    let table = RenewalTable::new(life.shape, t)?;
    Ok((costs.planned + costs.failed * table.failures(t)) / every)
}

/// The first interval between renewals of least cost.
///
/// `interval` is `None` where no first minimum costs less than running to failure: always for
/// shapes up to 1, and wherever `Cp/Cf` is not below `(1 − (σ/μ)²)/2` by far (σ, μ of the life).
/// Units: usage in the life's unit. `near` ends where the cost first leaves the band.
/// Errors: [`PolicyError::Shape`]: shapes from 0.1 to 200.
/// Accuracy: 1e-7 relative in T, 1e-9 in cost (`tests/numbers/block.rs`).
pub fn block_policy(life: &Weibull, costs: Costs) -> Result<AgePolicy, PolicyError> {
    let unit = Weibull {
        shape: life.shape,
        scale: 1.0,
    };
    let mean = unit.mean();
    let forever = costs.failed / mean;
    let mut policy = AgePolicy {
        interval: None,
        cost_rate: forever / life.scale,
        run_to_failure_cost_rate: forever / life.scale,
        saving: 0.0,
        near: None,
        mean_life: life.mean(),
    };
    if life.shape <= 1.0 {
        // Refuses the same shapes, though the answer is known.
        RenewalTable::new(life.shape, 1.0)?;
        return Ok(policy);
    }
    let reach = REACH * mean;
    let table = RenewalTable::new(life.shape, reach)?;
    let cost = |t: f64| (costs.planned + costs.failed * table.failures(t)) / t;
    let balance = |t: f64| t * table.rate(t) - table.failures(t) - costs.planned / costs.failed;
    // The first rise of the balance through 0: the least usages by far are cheap to walk.
    let step = mean / (STEPS * life.shape.max(1.0).sqrt());
    let count = (reach / step) as usize;
    let Some(n) = (1..count).find(|n| balance(step * *n as f64) > 0.0) else {
        return Ok(policy);
    };
    let low = step * (n - 1) as f64;
    let low = if n == 1 { step * 1e-12 } else { low };
    let Ok(best) = root(balance, low, step * n as f64, 1e-13) else {
        return Ok(policy);
    };
    let least = cost(best);
    if least >= forever {
        return Ok(policy);
    }
    let limit = least * (1.0 + NEAR);
    let excess = |t: f64| cost(t) - limit;
    let mut near = 0.9 * best;
    while excess(near) < 0.0 {
        near *= 0.9;
    }
    let from = root(excess, near, best, 1e-12).unwrap_or(best);
    let mut far = best;
    while far < reach && excess(far) < 0.0 {
        far += step;
    }
    let to = (far < reach)
        .then(|| root(excess, far - step, far, 1e-12).ok())
        .flatten();
    policy.interval = Some(best * life.scale);
    policy.cost_rate = least / life.scale;
    policy.saving = 1.0 - least / forever;
    policy.near = Some((from * life.scale, to.map(|t| t * life.scale)));
    Ok(policy)
}
