//! What it is worth to do another thing than is done today.
//!
//! In: a posterior, costs, the usage at which items are renewed today and would be instead.
//! Out: [`Uncertain`] cost rates and their difference. Never: which to choose (see `decide`);
//! years, money of a fleet.
//!
//! For a life θ the cost per unit of usage under age replacement is `C(T; θ)` of `age`, `C(∞; θ)`
//! that of running to failure. A change from `T₁` to `T₂` saves `C(T₁; θ) − C(T₂; θ)` at one and
//! the same θ: what is not known of the life is common to both, so that the difference is known
//! better than either. Its distribution is the posterior's, by quadrature over shape and scale.
//! Source of the rate: R. E. Barlow & F. Proschan, *Mathematical Theory of Reliability* (1965).

use super::age::{Costs, ln_unit_cost};
use super::uncertain::Uncertain;
use crate::model::posterior::Posterior;

/// Scale nodes per standard deviation, and the weight below which a shape is left out: as fine as
/// a decision's saving is taken.
const PER_SD: f64 = 8.0;
const LEAST_WEIGHT: f64 = 1e-8;

/// The cost per unit of usage when items are renewed at usage `every` or at failure, whichever is
/// first; `None` runs them to failure.
///
/// Units: the costs' currency per unit of usage. Domain: `every` finite and above 0; `None`
/// otherwise. Accuracy: 1 % of the width of the limits.
pub fn practice_cost(posterior: &Posterior, costs: Costs, every: Option<f64>) -> Option<Uncertain> {
    Uncertain::of(over_lives(posterior, |rate| rate(every), costs)?)
}

/// What a unit of usage costs less when items are renewed at `instead` and no longer at `today`;
/// `None` stands for running to failure. Below 0: it costs more.
///
/// Units, domain and accuracy as of [`practice_cost`].
pub fn change_saves(
    posterior: &Posterior,
    costs: Costs,
    today: Option<f64>,
    instead: Option<f64>,
) -> Option<Uncertain> {
    let saved = |rate: &dyn Fn(Option<f64>) -> Option<f64>| Some(rate(today)? - rate(instead)?);
    Uncertain::of(over_lives(posterior, saved, costs)?)
}

/// A value for every life of the posterior with its weight; `value` is told the cost rate of an
/// interval for that life.
fn over_lives(
    posterior: &Posterior,
    value: impl Fn(&dyn Fn(Option<f64>) -> Option<f64>) -> Option<f64>,
    costs: Costs,
) -> Option<Vec<(f64, f64)>> {
    let shift = posterior.shift();
    let nodes = posterior.nodes().iter();
    let mut values = Vec::new();
    for node in nodes.filter(|node| node.weight > LEAST_WEIGHT) {
        let shape = node.shape;
        let forever = ln_unit_cost(shape, costs, f64::INFINITY);
        for (ka, weight) in node.scale.hazard_nodes(shape, PER_SD) {
            let ln_scale = ka / shape + shift;
            let rate = |every: Option<f64>| match every {
                None => Some((forever - ln_scale).exp()),
                Some(every) if every.is_finite() && every > 0.0 => {
                    Some((ln_unit_cost(shape, costs, every.ln() - ln_scale) - ln_scale).exp())
                }
                Some(_) => None,
            };
            values.push((value(&rate)?, node.weight * weight));
        }
    }
    Some(values)
}

#[cfg(test)]
mod tests {
    use statrs::distribution::{ContinuousCDF, Gamma};

    use super::*;
    use crate::life::{Life, Sample};
    use crate::model::Target;
    use crate::model::posterior::ShapePrior;
    use crate::policy::decide::DecisionMaker;

    fn sample() -> Sample {
        let mut lives: Vec<Life> = [1_900.0, 2_400.0, 2_900.0, 3_300.0, 2_700.0]
            .map(Life::failure)
            .to_vec();
        lives.extend([2_000.0, 1_200.0, 2_000.0].map(Life::suspension));
        Sample::new(lives).unwrap()
    }

    fn near(found: f64, expected: f64, by: f64) {
        assert!((found - expected).abs() < by, "{found} is not {expected}");
    }

    /// By hand, at a shape of 1: with failures at a rate `λ` the cost is
    /// `λ·[Cf + Cp/(e^{λT} − 1)]`, so a change from `T₁` to `T₂` saves
    /// `λ·Cp·[1/(e^{λT₁} − 1) − 1/(e^{λT₂} − 1)]`, and `λ` given `r` failures in `S` hours is gamma
    /// of order `r` and rate `S`. A later renewal saves the more the smaller `λ` is.
    #[test]
    fn a_constant_rate_is_worth_what_it_is_by_hand() {
        let sample = sample();
        let posterior = Posterior::at_shape(&sample, 1.0).unwrap();
        let costs = Costs::new(300.0, 2_000.0).unwrap();
        let (r, hours) = (sample.failures() as f64, sample.usage());
        assert_eq!((r, hours), (5.0, 18_400.0));
        let rate = Gamma::new(r, hours).unwrap();
        let planned = |lambda: f64, every: f64| lambda * 300.0 / (lambda * every).exp_m1();
        let found = change_saves(&posterior, costs, Some(1_000.0), Some(2_500.0)).unwrap();
        let limits = found.limits(0.9);
        let forever = change_saves(&posterior, costs, Some(1_000.0), None).unwrap();
        let never = forever.limits(0.9);
        for (value, at_infinity, p) in [
            (limits.lower, never.lower, 0.95),
            (limits.median, never.median, 0.5),
            (limits.upper, never.upper, 0.05),
        ] {
            let lambda = rate.inverse_cdf(p);
            let by_hand = planned(lambda, 1_000.0) - planned(lambda, 2_500.0);
            near(value, by_hand, 1e-3 * by_hand);
            near(at_infinity, planned(lambda, 1_000.0), 1e-3 * by_hand);
        }
        near(found.above(0.0), 1.0, 1e-9);
    }

    /// Against run to failure it is the decision's own saving, and the cost of running to failure
    /// is that of the mean life.
    #[test]
    fn it_agrees_with_the_decision_and_the_mean_life() {
        let posterior = Posterior::new(&sample(), ShapePrior::DECISION).unwrap();
        let costs = Costs::new(300.0, 2_000.0).unwrap();
        let decision = DecisionMaker::new(&posterior, costs).decide(0.9);
        let found = change_saves(&posterior, costs, None, decision.optimum).unwrap();
        let limits = found.limits(0.9);
        let width = limits.upper - limits.lower;
        for (value, expected) in [
            (limits.lower, decision.saving_rate.lower),
            (limits.median, decision.saving_rate.median),
            (limits.upper, decision.saving_rate.upper),
        ] {
            near(value, expected, 0.01 * width);
        }
        near(found.above(0.0), decision.chance_it_pays, 0.01);
        let cost = practice_cost(&posterior, costs, None).unwrap().limits(0.9);
        for (value, p) in [(cost.lower, 0.95), (cost.median, 0.5), (cost.upper, 0.05)] {
            let mean = posterior.quantile(Target::Mean, p).unwrap();
            near(value, 2_000.0 / mean, 0.01 * (cost.upper - cost.lower));
        }
        // Doing the same saves nothing, whatever the life; and there is no renewal at 0.
        let same = change_saves(&posterior, costs, Some(900.0), Some(900.0)).unwrap();
        assert_eq!((same.limits(0.9).lower, same.limits(0.9).upper), (0.0, 0.0));
        assert_eq!(change_saves(&posterior, costs, Some(0.0), None), None);
    }
}
