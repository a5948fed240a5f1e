//! How long the numbers take: one fit, its limits, one decision.
//!
//! Each bench asserts its answer inside the loop, so that a fast wrong one fails.

use criterion::{Criterion, criterion_group, criterion_main};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::hint::black_box;
use wearbook::life::{Life, Sample};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{Target, fit_weibull};
use wearbook::policy::{Costs, decide};

/// Fifty lives of a Weibull with shape 2.2 and scale 3,000 h, about half cut short.
fn fifty() -> Sample {
    let mut rng = ChaCha8Rng::seed_from_u64(50);
    let mut draw = || {
        let u: f64 = rng.random();
        3_000.0 * (-(1.0 - u).ln()).powf(1.0 / 2.2)
    };
    let lives = (0..50)
        .map(|_| {
            let (fails, cut) = (draw(), draw());
            if fails <= cut {
                Life::failure(fails)
            } else {
                Life::suspension(cut)
            }
        })
        .collect();
    Sample::new(lives).unwrap()
}

fn numbers(c: &mut Criterion) {
    let sample = fifty();
    let shape = fit_weibull(&sample).unwrap().weibull.shape;
    c.bench_function("fit of 50 lives, half suspended", |b| {
        b.iter(|| {
            let fit = fit_weibull(black_box(&sample)).unwrap();
            assert_eq!(fit.weibull.shape, shape);
            fit
        });
    });
    c.bench_function("posterior limits of shape, scale, B1, B10, B50", |b| {
        b.iter(|| {
            let posterior = Posterior::new(black_box(&sample), ShapePrior::Flat).unwrap();
            let limits = [
                Target::Shape,
                Target::Scale,
                Target::LifeAt(0.01),
                Target::LifeAt(0.1),
                Target::LifeAt(0.5),
            ]
            .map(|target| posterior.limits(target, 0.9));
            assert!(limits.iter().all(|l| l.lower < l.upper));
            limits
        });
    });
    let costs = Costs::new(1.0, 6.0).unwrap();
    c.bench_function("decision, posterior included", |b| {
        b.iter(|| {
            let posterior = Posterior::new(black_box(&sample), ShapePrior::DECISION).unwrap();
            let decision = decide(&posterior, costs, 0.9);
            assert!(decision.optimum.is_some());
            decision
        });
    });
    let windows = sample
        .lives()
        .iter()
        .map(|life| match life.failed() {
            true => Life::interval((life.last_usage() - 400.0).max(0.0), life.last_usage()),
            false => *life,
        })
        .collect();
    let windows = Sample::new(windows).unwrap();
    c.bench_function("decision where every failure is a window", |b| {
        b.iter(|| {
            let posterior = Posterior::new(black_box(&windows), ShapePrior::DECISION).unwrap();
            let decision = decide(&posterior, costs, 0.9);
            assert!(decision.optimum.is_some());
            decision
        });
    });
}

criterion_group!(benches, numbers);
criterion_main!(benches);
