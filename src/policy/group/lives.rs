//! A life as tables over whole steps of usage: survivors, usage lived, expected failures.
//!
//! In: Weibull lives with weights (a posterior thinned, or one known life). Out: [`LifeTable`].
//! Never: costs.
//!
//! Expected failures are those of `renewal`. The mean over the posterior is arithmetic: what is
//! added up over slots is expected cost.

use statrs::function::erf::erfc;

use crate::model::Weibull;
use crate::model::posterior::Posterior;
use crate::model::weibull::ln_mean_factor;
use crate::policy::renewal::RenewalTable;

/// One way a slot's items may live, with its weight.
pub type WeightedLife = (f64, Weibull);

/// A life prepared for planning: every table is over `0, step, 2·step, …`.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeTable {
    step: f64,
    lives: Vec<WeightedLife>,
    /// Expected failures, averaged.
    failures: Vec<f64>,
    /// Failures per unit of usage in the long run, averaged: the mean of 1/mean life.
    forever: f64,
    /// For each life, the share that survives and the usage lived by an item up to there.
    survivors: Vec<Vec<f64>>,
    lived: Vec<Vec<f64>>,
}

/// Tables reach this many mean lives: beyond, a block interval is run to failure in all but name.
const REACH: f64 = 4.0;

/// Shapes into which a posterior is thinned, and the nodes of its scale at each: those of
/// Gauss and Hermite for a normal distribution (M. Abramowitz & I. Stegun, *Handbook of
/// Mathematical Functions*, table 25.10, scaled by √2 and 1/√π).
const SHAPE_BINS: f64 = 16.0;
const NORMAL_7: [(f64, f64); 7] = [
    (-3.750_439_717_725_742, 0.000_548_268_855_972),
    (-2.366_759_410_734_541, 0.030_757_123_967_586),
    (-1.154_405_394_739_968, 0.240_123_178_605_013),
    (0.0, 0.457_142_857_142_857),
    (1.154_405_394_739_968, 0.240_123_178_605_013),
    (2.366_759_410_734_541, 0.030_757_123_967_586),
    (3.750_439_717_725_742, 0.000_548_268_855_972),
];

/// Shapes that have a renewal table; others take the nearest.
const SHAPES: (f64, f64) = (0.1, 200.0);
/// Mean lives of the life at hand after which expected failures go straight on.
const STRAIGHT: f64 = 4.0;
/// The same in scales, for shapes so low that a mean life is many of them.
const FAR: f64 = 30.0;

/// Lightest share of a posterior that still counts.
const LEAST: f64 = 1e-4;

/// A posterior as few lives with weights that sum to 1.
pub fn thinned(posterior: &Posterior) -> Vec<WeightedLife> {
    let nodes: Vec<_> = posterior
        .nodes()
        .iter()
        .filter(|node| node.weight > LEAST)
        .collect();
    let total: f64 = nodes.iter().map(|node| node.weight).sum();
    let mut lives = Vec::new();
    let mut from = 0;
    while from < nodes.len() {
        let mut to = from;
        let mut weight = 0.0;
        while to < nodes.len() && weight < total / SHAPE_BINS {
            weight += nodes[to].weight;
            to += 1;
        }
        let bin = &nodes[from..to];
        let middle: f64 = bin.iter().map(|n| n.weight * n.shape.ln()).sum::<f64>() / weight;
        let off = |shape: f64| (shape.ln() - middle).abs();
        if let Some(node) = bin
            .iter()
            .min_by(|x, y| off(x.shape).total_cmp(&off(y.shape)))
        {
            for (x, share) in NORMAL_7 {
                let below = 0.5 * erfc(-x / std::f64::consts::SQRT_2);
                let a = node.scale.quantile(node.shape, below);
                if let Some(life) = Weibull::new(node.shape, (a + posterior.shift()).exp()) {
                    lives.push((share * weight / total, life));
                }
            }
        }
        from = to;
    }
    lives
}

impl LifeTable {
    /// Tabulates lives to [`REACH`] mean lives, at most to `most`.
    ///
    /// Weights are scaled to sum to 1. `None` without a life, or where `step` is not above 0.
    /// Units: usage as the lives' scales. Accuracy: that of `renewal` up to [`STRAIGHT`] mean lives.
    pub fn new(lives: &[WeightedLife], step: f64, most: f64) -> Option<LifeTable> {
        let total: f64 = lives.iter().map(|l| l.0).sum();
        if !(total > 0.0 && total.is_finite() && step > 0.0 && step.is_finite()) {
            return None;
        }
        let lives: Vec<WeightedLife> = lives.iter().map(|(w, life)| (w / total, *life)).collect();
        let forever: f64 = lives.iter().map(|(w, life)| w / life.mean()).sum();
        let count = ((REACH / forever).min(most) / step).floor().max(1.0) as usize + 1;
        let over = |f: &dyn Fn(f64) -> f64| (0..count).map(|k| f(step * k as f64)).collect();
        let mut failures = vec![0.0; count];
        // One table a shape, as far as the shortest of its lives needs it.
        for alike in lives.chunk_by(|x, y| x.1.shape == y.1.shape) {
            let shortest = alike
                .iter()
                .map(|l| l.1.scale)
                .fold(f64::INFINITY, f64::min);
            let x_most = step * count as f64 / shortest;
            let renewals = UnitRenewals::new(alike[0].1.shape, x_most);
            for (w, life) in alike {
                for (k, sum) in failures.iter_mut().enumerate() {
                    *sum += w * renewals.at(step * k as f64 / life.scale);
                }
            }
        }
        let survivors = lives
            .iter()
            .map(|(_, life)| over(&|t| life.reliability(t)))
            .collect();
        let lived = lives
            .iter()
            .map(|(_, life)| over(&|t| life.mean_to(t)))
            .collect();
        Some(LifeTable {
            step,
            lives,
            failures,
            forever,
            survivors,
            lived,
        })
    }

    /// The last step tabulated.
    pub fn last(&self) -> usize {
        self.failures.len() - 1
    }

    pub fn step(&self) -> f64 {
        self.step
    }

    pub fn lives(&self) -> &[WeightedLife] {
        &self.lives
    }

    /// Expected failures over `k` steps from new, renewed at each; beyond [`LifeTable::last`]
    /// straight on.
    pub fn failures(&self, k: usize) -> f64 {
        let last = self.last();
        let beyond = k.saturating_sub(last) as f64;
        self.failures[k.min(last)] + beyond * self.step * self.forever
    }

    /// Expected failures per unit of usage when renewed at failure only.
    pub fn forever(&self) -> f64 {
        self.forever
    }

    /// For each life: its weight, its mean, survivors and usage lived by step.
    pub(super) fn each(&self) -> impl Iterator<Item = (f64, f64, &[f64], &[f64])> {
        self.lives
            .iter()
            .zip(&self.survivors)
            .zip(&self.lived)
            .map(|(((w, life), r), lived)| (*w, life.mean(), r.as_slice(), lived.as_slice()))
    }
}

/// Expected failures at scale 1, straight on beyond the table.
#[derive(Debug, Clone)]
struct UnitRenewals {
    table: Option<RenewalTable>,
    end: f64,
    /// Failures per scale beyond the end.
    beyond: f64,
}

impl UnitRenewals {
    fn new(shape: f64, x_most: f64) -> Self {
        let shape = shape.clamp(SHAPES.0, SHAPES.1);
        let mean = ln_mean_factor(shape).exp();
        let end = x_most.min(STRAIGHT * mean).min(FAR);
        let table = RenewalTable::new(shape, end).ok();
        // Below shape 1 they fall slowly to one a mean life, without waves on the way.
        let falling = table.as_ref().filter(|_| shape < 1.0);
        UnitRenewals {
            end,
            beyond: falling.map_or(1.0 / mean, |table| table.rate(end)),
            table,
        }
    }

    fn at(&self, x: f64) -> f64 {
        let within = |table: &RenewalTable| table.failures(x.min(self.end));
        self.table.as_ref().map_or(0.0, within) + self.beyond * (x - self.end).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::{Life, Sample};
    use crate::model::posterior::ShapePrior;

    /// `M(t) = t/scale` exactly for shape 1; and with shape 50 an item fails about once a scale.
    #[test]
    fn expected_failures_are_right_where_they_are_known() {
        let table = |shape| {
            let life = Weibull::new(shape, 1_000.0).unwrap();
            LifeTable::new(&[(2.0, life)], 100.0, f64::INFINITY).unwrap()
        };
        let chance = table(1.0);
        for k in 0..=60 {
            let want = 0.1 * k as f64;
            assert!(
                (chance.failures(k) - want).abs() < 1e-3 * want.max(1e-9),
                "{k}"
            );
        }
        assert!((chance.forever() - 1e-3).abs() < 1e-12);
        let clock = table(50.0);
        assert!(clock.failures(8) < 0.02 && clock.failures(8) > 0.0);
        assert!((clock.failures(15) - 1.0).abs() < 3e-3);
        assert!((clock.failures(25) - 2.0).abs() < 3e-3);
    }

    /// Sums of draws, within four standard errors.
    #[test]
    fn expected_failures_agree_with_draws() {
        use rand::Rng;
        use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};
        for (seed, shape) in [(1, 0.7), (2, 1.6), (3, 3.5)] {
            let life = Weibull::new(shape, 1_000.0).unwrap();
            let table = LifeTable::new(&[(1.0, life)], 50.0, f64::INFINITY).unwrap();
            let mut rng = ChaCha12Rng::seed_from_u64(seed);
            let runs = 40_000;
            for steps in [4, 20, 60] {
                let (mut sum, mut squares) = (0.0, 0.0);
                for _ in 0..runs {
                    let (mut at, mut count) = (0.0, -1.0);
                    while at <= 50.0 * steps as f64 {
                        let u = ((rng.next_u64() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64;
                        at += life.life_at(u);
                        count += 1.0;
                    }
                    sum += count;
                    squares += count * count;
                }
                let mean = sum / f64::from(runs);
                let error = ((squares / f64::from(runs) - mean * mean) / f64::from(runs)).sqrt();
                assert!(
                    (mean - table.failures(steps)).abs() < 4.0 * error,
                    "{shape} {steps}"
                );
            }
        }
    }

    /// Few lives stand for the whole posterior: expected failures within 2 %.
    #[test]
    fn a_thinned_posterior_keeps_expected_failures() {
        for lives in [
            vec![
                Life::failure(900.0),
                Life::failure(1_500.0),
                Life::suspension(2_000.0),
            ],
            (1..30)
                .map(|n| Life::failure(400.0 + 55.0 * f64::from(n)))
                .collect(),
        ] {
            let sample = Sample::new(lives).unwrap();
            let posterior = Posterior::new(&sample, ShapePrior::DECISION).unwrap();
            let thin = thinned(&posterior);
            assert!(thin.len() <= 120, "{}", thin.len());
            let all: Vec<WeightedLife> = posterior
                .nodes()
                .iter()
                .filter(|node| node.weight > 1e-6)
                .flat_map(|node| {
                    let nodes = node.scale.hazard_nodes(node.shape, 2.2);
                    nodes.into_iter().map(|(ka, w)| {
                        let scale = (ka / node.shape + posterior.shift()).exp();
                        (node.weight * w, Weibull::new(node.shape, scale).unwrap())
                    })
                })
                .collect();
            let few = LifeTable::new(&thin, 100.0, 4_000.0).unwrap();
            let full = LifeTable::new(&all, 100.0, 4_000.0).unwrap();
            for k in [3, 6, 10, 20, 30] {
                let (a, b) = (few.failures(k), full.failures(k));
                assert!((a - b).abs() < 0.02 * b, "{k}: {a} {b}");
            }
        }
    }
}
