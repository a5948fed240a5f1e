//! One row of the decision study: what rules cost on average when the truth is known.

use std::fmt;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{Weibull, fit_weibull};
use wearbook::policy::recommend::{Terms, judge};
use wearbook::policy::{Costs, Verdict, age_policy, cost_rate, decide};

/// A life drawn by inversion.
pub fn draw(life: &Weibull, rng: &mut impl Rng) -> f64 {
    let u: f64 = rng.random();
    // 1 − u lies in (0, 1], so its log is finite.
    life.scale * (-(1.0 - u).ln()).max(1e-300).powf(1.0 / life.shape)
}

/// True cost over the best possible, averaged; 1 is perfect.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    pub shape: f64,
    pub lives: usize,
    pub ratio: f64,
    /// Interval of the fitted life, run to failure where there is no fit.
    pub plug_in: f64,
    /// Interval of least expected ln cost.
    pub rule: f64,
    /// Only a verdict to renew is followed; else run to failure.
    pub verdict: f64,
    /// Never renewing.
    pub run_to_failure: f64,
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "| {:.1} | {:>2} | {:>2.0} | {:.3} | {:.3} | {:.3} | {:.3} |",
            self.shape,
            self.lives,
            self.ratio,
            self.plug_in,
            self.rule,
            self.verdict,
            self.run_to_failure
        )
    }
}

/// How lives are cut short before they fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// A removal that comes first half of the time and knows nothing of the life it cuts.
    AtRandom,
    /// A crew that renews at a fixed age by which half have failed.
    AtFixedAge,
}

/// Simulates `replicates` plants of `lives` lives, about half of them cut short.
pub fn decision_row(
    shape: f64,
    lives: usize,
    ratio: f64,
    cut: Cut,
    replicates: u64,
    seed: u64,
) -> Row {
    let life = Weibull::new(shape, 1.0).unwrap();
    let costs = Costs::new(1.0, ratio).unwrap();
    let best = age_policy(&life, costs);
    let least = best.cost_rate.min(best.run_to_failure_cost_rate);
    let forever = best.run_to_failure_cost_rate / least;
    let paid = |interval: Option<f64>| match interval {
        Some(at) => cost_rate(&life, costs, at).unwrap() / least,
        None => forever,
    };
    let sums = (0..replicates)
        .into_par_iter()
        .map(|replicate| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003) + replicate);
            let sample = (0..lives)
                .map(|_| {
                    let fails = draw(&life, &mut rng);
                    let out = match cut {
                        Cut::AtRandom => draw(&life, &mut rng),
                        Cut::AtFixedAge => life.life_at(0.5),
                    };
                    if fails <= out {
                        Life::failure(fails)
                    } else {
                        Life::suspension(out)
                    }
                })
                .collect();
            let sample = Sample::new(sample).unwrap();
            let plug_in = fit_weibull(&sample)
                .ok()
                .and_then(|fit| age_policy(&fit.weibull, costs).interval);
            let decided = Posterior::new(&sample, ShapePrior::DECISION)
                .ok()
                .map(|posterior| decide(&posterior, costs, 0.9));
            let rule = decided.as_ref().and_then(|d| d.optimum);
            let verdict = decided.and_then(|d| {
                let judged = judge(&sample, d, costs, &Terms::default());
                (judged.verdict == Verdict::Renew)
                    .then_some(judged.interval)
                    .flatten()
            });
            [paid(plug_in), paid(rule), paid(verdict)]
        })
        .collect::<Vec<_>>();
    let mean = |n: usize| sums.iter().map(|s| s[n]).sum::<f64>() / replicates as f64;
    Row {
        shape,
        lives,
        ratio,
        plug_in: mean(0),
        rule: mean(1),
        verdict: mean(2),
        run_to_failure: forever,
    }
}
