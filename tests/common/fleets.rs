//! One row of the pooling study: how near ln B10 comes to the truth, position by position,
//! when lives are pooled, kept apart, or partially pooled.

use std::fmt;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::numeric::normal_quantile;
use wearbook::model::partial::{SpreadPrior, pool_partially};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{FitError, Target, Weibull, fit_weibull};

const B10: Target = Target::LifeAt(0.1);

/// One kind of fleet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fleet {
    pub shape: f64,
    /// Standard deviation of ln scale between positions.
    pub spread: f64,
    pub positions: usize,
}

/// Mean squared error of ln B10 over positions and fleets, by estimator.
#[derive(Debug, Clone, Copy, Default)]
pub struct Row {
    /// Maximum likelihood of all lives together.
    pub pooled: f64,
    /// Maximum likelihood, each position on its own lives.
    pub separate: f64,
    /// Posterior means of ln B10 under the decision's prior: together, apart, partial.
    pub pooled_mean: f64,
    pub separate_mean: f64,
    pub partial: f64,
    /// The partial pool's posterior median of B10.
    pub partial_median: f64,
    /// Pooled where no difference is at least as likely as not, else partial.
    pub chosen: f64,
    /// Share of fleets in which it is.
    pub told_alike: f64,
    /// Mean share borrowed.
    pub borrowed: f64,
    /// How often the 90 % limits of the partial pool hold the truth.
    pub held: f64,
}

impl Row {
    pub fn add(&mut self, other: &Row, share: f64) {
        let parts = |row: &Row| {
            [
                row.pooled,
                row.separate,
                row.pooled_mean,
                row.separate_mean,
                row.partial,
                row.partial_median,
                row.chosen,
                row.told_alike,
                row.borrowed,
                row.held,
            ]
        };
        let (mine, theirs) = (parts(self), parts(other));
        let sum: Vec<f64> = mine
            .iter()
            .zip(theirs)
            .map(|(m, t)| m + share * t)
            .collect();
        [
            self.pooled,
            self.separate,
            self.pooled_mean,
            self.separate_mean,
            self.partial,
            self.partial_median,
            self.chosen,
            self.told_alike,
            self.borrowed,
            self.held,
        ] = [
            sum[0], sum[1], sum[2], sum[3], sum[4], sum[5], sum[6], sum[7], sum[8], sum[9],
        ];
    }
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.0} % | {:.0} % | {:.1} % |",
            self.pooled,
            self.separate,
            self.partial,
            self.partial_median,
            self.pooled_mean,
            self.separate_mean,
            self.chosen,
            100.0 * self.told_alike,
            100.0 * self.borrowed,
            100.0 * self.held,
        )
    }
}

/// Headings of a row.
pub const HEADINGS: &str = "pooled ML | separate ML | partial | partial, median | pooled, mean | \
     separate, mean | as chosen | told alike | borrowed | held |";

/// A position's lives: drawn until it has its failures, with a removal half as likely as a
/// failure in the way of each, so that about a third are cut short. At least two usages
/// differ, so that every position has an estimate of its own.
fn position(life: &Weibull, failures: usize, rng: &mut impl Rng) -> Sample {
    // A removal with the same shape and a scale 2^(1/k) times as long comes first one time
    // in three, whatever the life it cuts.
    let removal = Weibull {
        shape: life.shape,
        scale: life.scale * 2f64.powf(1.0 / life.shape),
    };
    let mut lives = Vec::new();
    let mut failed = 0;
    while failed < failures {
        let (fails, out) = (draw(life, rng), draw(&removal, rng));
        if fails <= out {
            failed += 1;
            lives.push(Life::failure(fails));
        } else {
            lives.push(Life::suspension(out));
        }
    }
    Sample::new(lives).expect("positive usages")
}

fn draw(life: &Weibull, rng: &mut impl Rng) -> f64 {
    let u: f64 = rng.random();
    life.scale * (-(1.0 - u).ln()).max(1e-300).powf(1.0 / life.shape)
}

/// Simulates fleets with 2 to 6 failures a position.
pub fn row(fleet: Fleet, prior: SpreadPrior, replicates: u64, seed: u64) -> Row {
    let rows: Vec<Row> = (0..replicates)
        .into_par_iter()
        .map(|n| one(fleet, prior, seed.wrapping_mul(1_000_003).wrapping_add(n)))
        .collect();
    let mut mean = Row::default();
    for row in &rows {
        mean.add(row, 1.0 / replicates as f64);
    }
    mean
}

fn one(fleet: Fleet, prior: SpreadPrior, seed: u64) -> Row {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut truths = Vec::new();
    let mut samples = Vec::new();
    for _ in 0..fleet.positions {
        let u: f64 = rng.random();
        let z = normal_quantile(u.clamp(1e-12, 1.0 - 1e-12));
        let life = Weibull {
            shape: fleet.shape,
            scale: (fleet.spread * z).exp(),
        };
        let failures = rng.random_range(2..=6);
        samples.push(position(&life, failures, &mut rng));
        truths.push(B10.of(&life).ln());
    }
    let all: Vec<Life> = samples.iter().flat_map(|s| s.lives().to_vec()).collect();
    let all = Sample::new(all).expect("checked");
    let ml = |sample: &Sample| -> Result<f64, FitError> {
        Ok(B10.of(&fit_weibull(sample)?.weibull).ln())
    };
    let mean = |sample: &Sample| {
        Posterior::new(sample, ShapePrior::DECISION)
            .expect("two failures")
            .mean_ln(B10)
            .expect("a life")
    };
    let partial = pool_partially(&samples, ShapePrior::DECISION, prior).expect("failures");
    let (pooled, pooled_mean) = (ml(&all).expect("failures"), mean(&all));
    let alike = partial.no_difference >= 0.5;
    let share = 1.0 / fleet.positions as f64;
    let mut row = Row {
        told_alike: f64::from(u8::from(alike)),
        ..Row::default()
    };
    for ((truth, sample), group) in truths.iter().zip(&samples).zip(&partial.groups) {
        let error = |estimate: f64| share * (estimate - truth).powi(2);
        let own = group.posterior.mean_ln(B10).expect("a life");
        let limits = group.posterior.limits(B10, 0.9);
        let held = limits.lower.is_some_and(|l| l.ln() <= *truth)
            && limits.upper.is_some_and(|u| u.ln() >= *truth);
        row.pooled += error(pooled);
        row.separate += error(ml(sample).expect("two failures at two usages"));
        row.pooled_mean += error(pooled_mean);
        row.separate_mean += error(mean(sample));
        row.partial += error(own);
        row.partial_median += error(limits.median.expect("a life").ln());
        row.chosen += error(if alike { pooled_mean } else { own });
        row.borrowed += share * group.borrowed;
        row.held += share * f64::from(u8::from(held));
    }
    row
}
