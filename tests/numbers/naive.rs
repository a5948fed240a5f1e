//! The likelihood and the fit against a second, plain implementation, on random samples.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{End, Life, Sample};
use wearbook::model::likelihood::Likelihood;
use wearbook::model::{FitError, Weibull, fit_weibull};

use crate::common::naive::{self, Found};
use crate::common::study::draw;

/// A thin or thick sample of every kind of life: exact, windows, first looks, suspensions,
/// entry ages, counts and, in every third sample, usages rounded so that they tie.
pub fn mixed_lives(rng: &mut impl Rng) -> Vec<Life> {
    let shape = (rng.random::<f64>() * 2.8 - 0.8).exp();
    let scale = (rng.random::<f64>() * 10.0).exp();
    let life = Weibull::new(shape, scale).unwrap();
    let count = [1, 2, 3, 5, 8, 13, 20, 40][rng.random_range(0..8)];
    let (cut, seen, late) = (
        rng.random::<f64>() * 1.2,
        rng.random::<f64>(),
        rng.random::<f64>() * 0.8,
    );
    let rounded = rng.random_range(0..3) == 0;
    let grid = scale / 12.0;
    let place = |t: f64| if rounded { (t / grid).ceil() * grid } else { t };
    let mut lives = Vec::new();
    while lives.len() < count {
        let entry = if rng.random::<f64>() < late {
            place(0.4 * draw(&life, rng))
        } else {
            0.0
        };
        let failure = draw(&life, rng);
        let out = draw(&life, rng) / (cut + 1e-3);
        // An item is only seen where it was still sound when the watch began.
        if failure.min(out) <= entry {
            continue;
        }
        let every = scale * (0.2 + rng.random::<f64>());
        let look = (failure / every).floor() * every;
        let end = match (failure <= out, rng.random::<f64>() < seen) {
            (false, _) => End::Suspension { at: place(out) },
            (true, true) => End::Failure { at: place(failure) },
            (true, false) => End::Interval {
                lo: look,
                hi: look + every,
            },
        };
        let life = Life {
            entry,
            end,
            count: if rng.random::<f64>() < 0.2 { 3 } else { 1 },
        };
        if life.last_usage() > entry {
            lives.push(life);
        }
    }
    lives
}

const SAMPLES: u64 = 2_000;

fn sample(seed: u64) -> Sample {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    Sample::new(mixed_lives(&mut rng)).unwrap()
}

/// What the two routes made of one sample.
struct Outcome {
    seed: u64,
    estimate: bool,
    /// Too flat for numeric derivatives to place the peak to 1e-6.
    flat: bool,
    trouble: Option<String>,
    shape_miss: f64,
    scale_miss: f64,
}

fn compare(seed: u64) -> Outcome {
    let sample = sample(seed);
    let lives = sample.lives();
    let likelihood = Likelihood::new(&sample);
    let mut outcome = Outcome {
        seed,
        estimate: false,
        flat: false,
        trouble: None,
        shape_miss: 0.0,
        scale_miss: 0.0,
    };
    // At random points, far and near: the surface itself.
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0xfeed);
    let middle = likelihood.shift() - rng.random::<f64>();
    for _ in 0..8 {
        let a = middle + 1.5 * (rng.random::<f64>() - 0.5);
        let b = 3.0 * rng.random::<f64>() - 1.2;
        let plain = naive::ln_likelihood(lives, b.exp(), a);
        let used = likelihood.value(a - likelihood.shift(), b);
        if plain.is_finite() && (used - plain).abs() > 1e-9 * (1.0 + plain.abs()) {
            outcome.trouble = Some(format!("at ln scale {a}, ln shape {b}: {used} for {plain}"));
        }
    }
    match (fit_weibull(&sample), naive::fit(lives)) {
        (
            Ok(fit),
            Found::Maximum {
                shape,
                scale,
                log_likelihood,
                flatness,
            },
        ) => {
            outcome.estimate = true;
            let own = naive::ln_likelihood(lives, fit.weibull.shape, fit.weibull.scale.ln());
            let (a, b) = (fit.weibull.scale.ln(), fit.weibull.shape.ln());
            let (score, bends) = naive::differences(lives, a, b);
            outcome.flat = flatness < 1e-3;
            outcome.shape_miss = (fit.weibull.shape / shape - 1.0).abs();
            outcome.scale_miss = (fit.weibull.scale / scale - 1.0).abs();
            let close = 1e-6 * (1.0 + own.abs());
            if (fit.log_likelihood - own).abs() > close {
                outcome.trouble = Some(format!("ln L {} for {own}", fit.log_likelihood));
            } else if fit.log_likelihood < log_likelihood - close {
                outcome.trouble = Some(format!("a higher peak at shape {shape}, scale {scale}"));
            } else if (0..2).any(|n| score[n].abs() > 1e-6 * (1.0 + bends[2 * n].abs())) {
                outcome.trouble = Some(format!("score {score:?}, bends {bends:?}"));
            } else if !outcome.flat && outcome.shape_miss.max(outcome.scale_miss) > 1e-6 {
                outcome.trouble = Some(format!(
                    "shape {} for {shape}, scale {} for {scale}, flatness {flatness}",
                    fit.weibull.shape, fit.weibull.scale
                ));
            }
        }
        (Err(error), found) => {
            let agreed = match error {
                FitError::NoFailures { .. } => found == Found::NoFailure,
                FitError::OneFailure { .. }
                | FitError::AllTied { .. }
                | FitError::WindowsOverlap { .. }
                | FitError::AllFailedAtFirstLook { .. }
                | FitError::ShapeAtEdge { .. } => found == Found::RunsUp,
                FitError::ShapeTowardsZero | FitError::HazardFallsTooFast { .. } => {
                    found == Found::RunsDown
                }
                _ => false,
            };
            if !agreed {
                outcome.trouble = Some(format!("{error}, but {found:?}"));
            }
        }
        (Ok(fit), found) => outcome.trouble = Some(format!("{fit:?}, but {found:?}")),
    }
    outcome
}

/// Both routes find the same surface, the same peak, and the same samples without one.
#[test]
fn the_fit_agrees_with_a_plain_second_route() {
    let outcomes: Vec<Outcome> = (0..SAMPLES).into_par_iter().map(compare).collect();
    let count = |which: fn(&Outcome) -> bool| outcomes.iter().filter(|o| which(o)).count();
    let worst = |which: fn(&Outcome) -> f64| {
        outcomes
            .iter()
            .filter(|o| !o.flat)
            .map(which)
            .fold(0.0, f64::max)
    };
    println!(
        "{SAMPLES} samples: {} with an estimate by both routes ({} of them too flat to compare), {} with none by either; largest relative difference: shape {:.1e}, scale {:.1e}",
        count(|o| o.estimate),
        count(|o| o.flat),
        count(|o| !o.estimate && o.trouble.is_none()),
        worst(|o| o.shape_miss),
        worst(|o| o.scale_miss),
    );
    let troubles: Vec<String> = outcomes
        .iter()
        .filter_map(|o| o.trouble.as_ref().map(|t| format!("seed {}: {t}", o.seed)))
        .collect();
    assert!(troubles.is_empty(), "{}", troubles.join("\n"));
    // The study must have met both kinds, or it has judged nothing.
    assert!(count(|o| o.estimate) > 1_200 && count(|o| !o.estimate) > 200);
    assert!(count(|o| o.flat) < 20);
}
