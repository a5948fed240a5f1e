//! How often limits hold the truth, by simulation: one cell of the coverage study.
//!
//! In: a true shape, how lives are cut short or found failed, the size of a sample.
//! Out: shares of samples whose limits hold the truth, side by side for each kind of limits.
//! Never: a sample left out without being counted.
//!
//! Everything is seeded. A side the data do not bound counts as holding on that side.
#![allow(dead_code)] // the example and the tests each use their own part

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::likelihood::Likelihood;
use wearbook::model::limits::{likelihood_ratio, wald};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{Limits, Target, Weibull, fit_weibull};

/// A life drawn by inversion.
pub fn draw(life: &Weibull, rng: &mut impl Rng) -> f64 {
    let u: f64 = rng.random();
    life.scale * (-(1.0 - u).ln()).max(1e-300).powf(1.0 / life.shape)
}

/// How lives end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scheme {
    /// A removal that knows nothing of the item comes first in this share of lives. Its age
    /// is Weibull of the same shape, so that shape and scale stay pivotal and one shape
    /// stands for all.
    Random { suspended: f64 },
    /// As `Random` with 30 % suspended, and failures are only found when the item is looked
    /// at: every `every` median lives from a random first look on, and at its removal.
    Inspected { every: f64 },
    /// Items put in at even moments of a stretch of time, all cut at its end: about this share
    /// is still running.
    Staggered { suspended: f64 },
}

impl Scheme {
    pub fn words(self) -> String {
        match self {
            Scheme::Random { suspended } => format!("{:.0} % removed at random", 100.0 * suspended),
            Scheme::Inspected { every } => format!("looked at every {every} median lives"),
            Scheme::Staggered { suspended } => {
                format!(
                    "put in one by one, {:.0} % still running",
                    100.0 * suspended
                )
            }
        }
    }
}

/// Quantities judged.
pub const TARGETS: [(&str, Target); 3] = [
    ("shape", Target::Shape),
    ("B10", Target::LifeAt(0.1)),
    ("median life", Target::LifeAt(0.5)),
];

/// Kinds of limits judged, in this order.
pub const KINDS: [&str; 3] = ["posterior", "likelihood ratio", "Wald"];

/// Two-sided confidence of all limits judged.
pub const CONFIDENCE: f64 = 0.9;

/// One cell of the study.
#[derive(Debug, Clone)]
pub struct Cell {
    pub scheme: Scheme,
    pub lives: usize,
    /// Samples drawn, and those of them with an estimate and all limits.
    pub drawn: u64,
    pub used: u64,
    /// Mean number of failures in a used sample.
    pub failures: f64,
    /// Share that holds the truth: `[target][kind]`.
    pub holds: [[f64; 3]; 3],
    /// Share with the truth below the lower limit: `[target][kind]`.
    pub misses_low: [[f64; 3]; 3],
}

impl Cell {
    /// Kind nearest to the confidence asked for.
    pub fn nearest(&self, target: usize) -> usize {
        let miss = |kind: usize| (self.holds[target][kind] - CONFIDENCE).abs();
        (1..3).fold(
            0,
            |best, kind| if miss(kind) < miss(best) { kind } else { best },
        )
    }

    /// Standard error of a share in this cell, at the confidence asked for.
    pub fn error(&self) -> f64 {
        (CONFIDENCE * (1.0 - CONFIDENCE) / self.used as f64).sqrt()
    }
}

/// Simulates one cell; the true life has the shape given, and scale 1.
pub fn cell(shape: f64, scheme: Scheme, lives: usize, replicates: u64, seed: u64) -> Cell {
    let life = Weibull::new(shape, 1.0).unwrap();
    let used: Vec<(u64, [[[bool; 2]; 3]; 3])> = (0..replicates)
        .into_par_iter()
        .filter_map(|replicate| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003) + replicate);
            judge(&sample(&life, scheme, lives, &mut rng), &life)
        })
        .collect();
    let count = used.len() as f64;
    let share = |target: usize, kind: usize, which: usize| {
        used.iter().filter(|u| u.1[target][kind][which]).count() as f64 / count
    };
    let table = |which: usize| [0, 1, 2].map(|t| [0, 1, 2].map(|k| share(t, k, which)));
    Cell {
        scheme,
        lives,
        drawn: replicates,
        used: used.len() as u64,
        failures: used.iter().map(|u| u.0 as f64).sum::<f64>() / count,
        holds: table(0),
        misses_low: table(1),
    }
}

/// Failures in the sample, and for each target and kind whether the limits hold the truth and
/// whether the truth lies below them. `None` where there is no estimate or no limits.
fn judge(sample: &Sample, life: &Weibull) -> Option<(u64, [[[bool; 2]; 3]; 3])> {
    let posterior = Posterior::new(sample, ShapePrior::Flat).ok()?;
    let fit = fit_weibull(sample).ok()?;
    let likelihood = Likelihood::new(sample);
    let judged = TARGETS.map(|(_, target)| {
        let truth = target.of(life);
        let seen = |limits: Limits| {
            let low = limits.lower.is_some_and(|lower| truth < lower);
            let high = limits.upper.is_some_and(|upper| truth > upper);
            [!low && !high, low]
        };
        [
            seen(posterior.limits(target, CONFIDENCE)),
            seen(likelihood_ratio(&likelihood, &fit, target, CONFIDENCE)),
            seen(wald(&fit, target, CONFIDENCE)),
        ]
    });
    Some((sample.failures(), judged))
}

/// Draws one sample.
pub fn sample(life: &Weibull, scheme: Scheme, lives: usize, rng: &mut impl Rng) -> Sample {
    // P(removal first) = q where the removal's scale to the shape is (1 − q)/q.
    let removal = |q: f64| Weibull {
        shape: life.shape,
        scale: life.scale * ((1.0 - q) / q).powf(1.0 / life.shape),
    };
    let stretch = match scheme {
        Scheme::Staggered { suspended } => stretch(life, suspended),
        _ => 0.0,
    };
    let drawn = (0..lives)
        .map(|n| {
            let fails = draw(life, rng);
            let out = match scheme {
                Scheme::Random { suspended } => draw(&removal(suspended), rng),
                Scheme::Inspected { .. } => draw(&removal(0.3), rng),
                Scheme::Staggered { .. } => stretch * (n as f64 + 0.5) / lives as f64,
            };
            if fails > out {
                return Life::suspension(out);
            }
            let Scheme::Inspected { every } = scheme else {
                return Life::failure(fails);
            };
            let every = every * life.life_at(0.5);
            let first = every * rng.random::<f64>();
            let looks = ((fails - first) / every).floor();
            let last = (first + looks * every).max(0.0);
            Life::interval(last, (first + (looks + 1.0) * every).min(out))
        })
        .collect();
    Sample::new(drawn).unwrap()
}

/// The stretch of time over which items are put in so that `suspended` of them still run at
/// its end: `∫₀¹ R(L·u) du = suspended`, by bisection.
fn stretch(life: &Weibull, suspended: f64) -> f64 {
    let (mut low, mut high) = (1e-3 * life.scale, 1e3 * life.scale);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if life.mean_to(middle) / middle > suspended {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low * high).sqrt()
}
