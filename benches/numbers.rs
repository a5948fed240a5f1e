//! How long the numbers take: one fit, its limits, one decision.
//!
//! Each bench asserts its answer inside the loop, so that a fast wrong one fails.

use criterion::{Criterion, criterion_group, criterion_main};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::hint::black_box;
use wearbook::life::{End, Life, Sample};
use wearbook::model::group::fit_group;
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{LimitsKind, Target, fit_weibull};
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

/// Lives of every kind: half cut short; of the failures `windows` found at inspections, of all
/// lives `late` watched only from an entry age on.
fn mixed(count: usize, windows: f64, late: f64, seed: u64) -> Sample {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut lives = Vec::with_capacity(count);
    while lives.len() < count {
        let mut draw = || -(1.0 - rng.random::<f64>()).ln();
        let (fails, cut) = [draw(), draw()].map(|e| 3_000.0 * e.powf(1.0 / 2.2)).into();
        let entry = match rng.random::<f64>() < late {
            true => 1_500.0 * rng.random::<f64>(),
            false => 0.0,
        };
        if fails.min(cut) <= entry {
            continue;
        }
        let look = (fails / 400.0).floor() * 400.0;
        let end = match (fails <= cut, rng.random::<f64>() < windows) {
            (false, _) => End::Suspension { at: cut },
            (true, false) => End::Failure { at: fails },
            (true, true) => End::Interval {
                lo: look,
                hi: look + 400.0,
            },
        };
        lives.push(Life {
            entry,
            end,
            count: 1,
        });
    }
    Sample::new(lives).unwrap()
}

/// The aims: ten thousand lives of every kind in 30 ms; ten thousand groups of fifty in 20 s on
/// two cores with posterior limits, in 0.5 s without.
fn many(c: &mut Criterion) {
    let large = mixed(10_000, 0.4, 0.3, 1);
    c.bench_function("fit of 10,000 lives of every kind", |b| {
        b.iter(|| {
            let fit = fit_weibull(black_box(&large)).unwrap();
            assert!((fit.weibull.shape - 2.2).abs() < 0.2);
            fit
        });
    });
    for (name, windows, late) in [
        ("exact failures and suspensions", 0.0, 0.0),
        ("every kind of life", 0.4, 0.3),
    ] {
        let groups: Vec<Sample> = (0..10_000)
            .map(|n| mixed(50, windows, late, 100 + n))
            .collect();
        let mut batch = c.benchmark_group(format!("10,000 groups of 50, {name}"));
        batch.sample_size(10);
        for kind in [LimitsKind::None, LimitsKind::Posterior] {
            batch.bench_function(format!("limits: {}", kind.word()), |b| {
                b.iter(|| {
                    let fitted = groups
                        .par_iter()
                        .filter(|sample| fit_group(sample, kind, 0.9).is_ok())
                        .count();
                    assert_eq!(fitted, groups.len());
                });
            });
        }
        batch.finish();
    }
}

criterion_group!(benches, numbers, many);
criterion_main!(benches);
