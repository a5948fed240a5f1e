//! Partial pooling against an independent integration, against its two limits, against a
//! random walk, and against what must hold whatever the data.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearbook::life::{Life, Sample};
use wearbook::model::Target;
use wearbook::model::likelihood::Likelihood;
use wearbook::model::numeric::normal_quantile;
use wearbook::model::partial::{Partial, SpreadPrior, pool_partially};
use wearbook::model::posterior::{Posterior, PosteriorError, ShapePrior};

use crate::common::{cases, lives_in};

const B10: Target = Target::LifeAt(0.1);
const NONE: SpreadPrior = SpreadPrior {
    none: 1.0,
    scale: 0.5,
};
/// The prior of the reference values.
const REFERENCE: SpreadPrior = SpreadPrior {
    none: 0.5,
    scale: 0.5,
};

fn samples(groups: &[&[Life]]) -> Vec<Sample> {
    groups
        .iter()
        .map(|lives| Sample::new(lives.to_vec()).unwrap())
        .collect()
}

fn thin() -> Vec<Sample> {
    let (f, s) = (Life::failure, Life::suspension);
    samples(&[
        &[f(900.0), f(2_100.0), s(1_500.0)],
        &[f(700.0), s(800.0), f(1_300.0), f(1_750.0)],
        &[f(2_600.0), s(3_100.0), f(1_900.0)],
    ])
}

fn together(samples: &[Sample]) -> Sample {
    Sample::new(samples.iter().flat_map(|s| s.lives().to_vec()).collect()).unwrap()
}

fn pool(samples: &[Sample], spread: SpreadPrior) -> Partial {
    pool_partially(samples, ShapePrior::DECISION, spread).unwrap()
}

/// Brute force in another language, with other rules: `tests/reference/scripts`.
#[test]
fn the_quadrature_agrees_with_an_independent_one() {
    let mut judged = 0;
    for case in cases("partial-pooling") {
        let groups: Vec<Sample> = case.data["groups"]
            .as_array()
            .unwrap()
            .iter()
            .map(|group| Sample::new(lives_in(&case.id, group)).unwrap())
            .collect();
        let found = pool(&groups, REFERENCE);
        for expected in &case.expect {
            let mut parts = expected.quantity.split('.');
            let first = parts.next().unwrap();
            let rest: Vec<&str> = parts.collect();
            let got = match (first, rest.join(".").as_str()) {
                ("no_difference", _) => found.no_difference,
                ("spread", _) => found.spread_mean(),
                ("shape", _) => found.groups[0].posterior.mean_ln(Target::Shape).unwrap(),
                (group, what) => {
                    let group = &found.groups[group[5..].parse::<usize>().unwrap()];
                    let at = |p| group.posterior.quantile(B10, p).unwrap();
                    match what {
                        "borrowed" => group.borrowed,
                        "b10.mean_ln" => group.posterior.mean_ln(B10).unwrap(),
                        "b10.lower" => at(0.05),
                        "b10.median" => at(0.5),
                        "b10.upper" => at(0.95),
                        other => panic!("{other}"),
                    }
                }
            };
            expected.judge(&case, got);
            judged += 1;
        }
    }
    assert!(judged > 38, "only {judged} values were judged");
}

/// Without spread every group has the posterior of all lives together, which another file
/// integrates in another way.
#[test]
fn without_spread_all_lives_are_one() {
    let groups = thin();
    let found = pool(&groups, NONE);
    let all = Posterior::new(&together(&groups), ShapePrior::DECISION).unwrap();
    assert_eq!((found.no_difference, found.spread_mean()), (1.0, 0.0));
    for group in &found.groups {
        for target in [Target::Shape, Target::Scale, Target::Mean, B10] {
            for p in [0.01, 0.05, 0.5, 0.95, 0.99] {
                let (got, want) = (
                    group.posterior.quantile(target, p).unwrap(),
                    all.quantile(target, p).unwrap(),
                );
                assert!(
                    (got / want - 1.0).abs() < 2e-4,
                    "{target:?} {p}: {got} {want}"
                );
            }
        }
    }
    // Three of seven failures are its own.
    assert!((found.groups[1].borrowed - 4.0 / 7.0).abs() < 1e-9);
}

/// Far apart, each scale rests on its own lives, at the shape that all agree on:
/// shape ∝ prior · Π_g k^(r_g − 1) Π t^k S_g^(−r_g), scale^(−k) given it gamma.
#[test]
fn with_a_wide_spread_each_scale_stands_alone() {
    let mut groups = thin();
    for (group, factor) in groups.iter_mut().zip([1.0, 60.0, 3_600.0]) {
        let lives = group.lives().iter().map(|life| match life.end {
            wearbook::life::End::Failure { at } => Life::failure(factor * at),
            _ => Life::suspension(factor * life.last_usage()),
        });
        *group = Sample::new(lives.collect()).unwrap();
    }
    let wide = SpreadPrior {
        none: 0.0,
        scale: 5.0,
    };
    let found = pool(&groups, wide);
    let parts: Vec<Likelihood> = groups.iter().map(Likelihood::new).collect();
    for (j, group) in found.groups.iter().enumerate() {
        let (mut total, mut mean) = (0.0, 0.0);
        for n in -400..=400 {
            let b = std::f64::consts::LN_2 + 0.6 * f64::from(n) / 80.0;
            let k = b.exp();
            let ln: f64 = parts
                .iter()
                .map(|p| {
                    let r = p.exact_failures();
                    (r - 1.0) * b + k * p.sum_ln_failures() - r * p.power_sum(k).ln()
                })
                .sum();
            let weight = (ln - 0.5 * (f64::from(n) / 80.0).powi(2)).exp();
            let own = &parts[j];
            // E ln G for G gamma of order r is digamma(r).
            let ln_scale = (own.power_sum(k).ln()
                - statrs::function::gamma::digamma(own.exact_failures()))
                / k
                + own.shift();
            total += weight;
            mean += weight * (ln_scale + (-(0.9_f64.ln())).ln() / k);
        }
        let (got, want) = (group.posterior.mean_ln(B10).unwrap(), mean / total);
        // The centre is four ln units away and still draws a little; together all would be
        // that far off.
        assert!((got - want).abs() < 0.06, "group {j}: {got} for {want}");
        assert!(group.borrowed < 0.02, "{}", group.borrowed);
    }
    assert!(found.no_difference < 0.01);
}

/// A random walk over shape, centre, spread and every scale, which shares nothing with the
/// quadrature but the likelihood. Tolerance: about four standard errors of the walk.
#[test]
fn a_random_walk_finds_the_same() {
    let groups = thin();
    let prior = SpreadPrior {
        none: 0.0,
        scale: 0.5,
    };
    let found = pool(&groups, prior);
    let parts: Vec<Likelihood> = groups.iter().map(Likelihood::new).collect();
    let ln_density = |at: &[f64; 6]| -> f64 {
        let [b, m, tau] = [at[0], at[1], at[2]];
        if tau <= 0.0 {
            return f64::NEG_INFINITY;
        }
        let scales = parts.iter().zip(&at[3..]).map(|(part, x)| {
            part.value(x - part.shift(), b) - tau.ln() - 0.5 * ((x - m) / tau).powi(2)
        });
        scales.sum::<f64>()
            - 0.5 * ((b - std::f64::consts::LN_2) / 0.6).powi(2)
            - 0.5 * (tau / 0.5).powi(2)
    };
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let mut at = [0.7, 7.5, 0.3, 7.5, 7.4, 7.8];
    let mut here = ln_density(&at);
    let steps = 1_500_000;
    let mut sums = [0.0; 6];
    for n in 0..steps {
        let mut next = at;
        let mut normal = || normal_quantile(rng.random::<f64>().clamp(1e-12, 1.0 - 1e-12));
        match n % 4 {
            // All scales and the centre together: the direction in which they are free.
            0 => {
                let by = 0.3 * normal();
                [1, 3, 4, 5].into_iter().for_each(|i| next[i] += by);
            }
            // The spread with the scales drawn along, so that small spreads are reached.
            1 => next[2] += 0.3 * normal(),
            2 => {
                next[0] += 0.25 * normal();
                next[1] += 0.2 * normal();
            }
            _ => (3..6).for_each(|i| next[i] += 0.2 * normal()),
        }
        let there = ln_density(&next);
        if rng.random::<f64>().ln() < there - here {
            (at, here) = (next, there);
        }
        for (sum, x) in sums.iter_mut().zip(at) {
            *sum += x / f64::from(steps);
        }
    }
    let near = |what: &str, got: f64, want: f64, tolerance: f64| {
        println!("{what}: {got} {want}");
        assert!((got - want).abs() < tolerance, "{what}: {got}, walk {want}");
    };
    near("spread", found.spread_mean(), sums[2], 0.02);
    for (n, group) in found.groups.iter().enumerate() {
        let mean = |target| group.posterior.mean_ln(target).unwrap();
        near("shape", mean(Target::Shape), sums[0], 0.015);
        near("scale", mean(Target::Scale), sums[3 + n], 0.015);
    }
}

/// A position that never failed leans on its siblings alone, and its running without
/// failure still counts for it.
#[test]
fn a_group_without_failure_leans_on_its_siblings() {
    let mut groups = thin();
    let long = [Life::suspension(6_000.0), Life::suspension(5_000.0)];
    groups.push(Sample::new(long.to_vec()).unwrap());
    groups.push(Sample::default());
    let found = pool(&groups, SpreadPrior::DECISION);
    let b10 = |n: usize| found.groups[n].posterior.quantile(B10, 0.5).unwrap();
    assert_eq!(found.groups[3].borrowed, 1.0);
    assert_eq!(found.groups[4].borrowed, 1.0);
    assert!(b10(3) > b10(4), "{} {}", b10(3), b10(4));
    let none = [Sample::new(long.to_vec()).unwrap(), Sample::default()];
    assert_eq!(
        pool_partially(&none, ShapePrior::DECISION, SpreadPrior::DECISION).err(),
        Some(PosteriorError::NoFailures)
    );
    // Each with one failure: under the prior 1/shape nothing bounds the shape.
    let ones = samples(&[&[Life::failure(500.0)], &[Life::failure(900.0)]]);
    assert_eq!(
        pool_partially(&ones, ShapePrior::Flat, SpreadPrior::DECISION).err(),
        Some(PosteriorError::Improper { failures: 2 })
    );
    assert!(pool_partially(&ones, ShapePrior::DECISION, SpreadPrior::DECISION).is_ok());
}

/// Narrow windows tell what exact failures tell.
#[test]
fn narrow_windows_are_as_good_as_exact() {
    let exact = thin();
    let windows: Vec<Sample> = exact
        .iter()
        .map(|s| {
            let lives = s.lives().iter().map(|life| match life.end {
                wearbook::life::End::Failure { at } => Life::interval(at - 0.5, at + 0.5),
                _ => *life,
            });
            Sample::new(lives.collect()).unwrap()
        })
        .collect();
    let (one, other) = (
        pool(&exact, SpreadPrior::DECISION),
        pool(&windows, SpreadPrior::DECISION),
    );
    assert!((one.no_difference - other.no_difference).abs() < 1e-5);
    for (x, y) in one.groups.iter().zip(&other.groups) {
        for p in [0.05, 0.5, 0.95] {
            let (x, y) = (x.posterior.quantile(B10, p), y.posterior.quantile(B10, p));
            assert!((x.unwrap() / y.unwrap() - 1.0).abs() < 1e-4);
        }
        assert!((x.borrowed - y.borrowed).abs() < 1e-4);
    }
}

fn group() -> impl Strategy<Value = Vec<Life>> {
    let life = (50.0..5_000.0_f64, 0..3_u8).prop_map(|(t, kind)| match kind {
        0 => Life::suspension(t),
        1 => Life::interval(0.8 * t, 1.3 * t),
        _ => Life::failure(t),
    });
    prop::collection::vec(life, 1..6)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Order and unit do not matter; shares are shares; limits are in order.
    #[test]
    fn order_and_unit_do_not_matter(groups in prop::collection::vec(group(), 2..5)) {
        let here: Vec<Sample> = groups.iter().map(|g| Sample::new(g.clone()).unwrap()).collect();
        prop_assume!(here.iter().map(Sample::failures).sum::<u64>() > 0);
        let seconds = |life: &Life| {
            use wearbook::life::End;
            let end = match life.end {
                End::Failure { at } => End::Failure { at: 3_600.0 * at },
                End::Suspension { at } => End::Suspension { at: 3_600.0 * at },
                End::Interval { lo, hi } => End::Interval { lo: 3_600.0 * lo, hi: 3_600.0 * hi },
                End::Left { hi } => End::Left { hi: 3_600.0 * hi },
            };
            Life { end, ..*life }
        };
        let mut there: Vec<Sample> = here
            .iter()
            .map(|s| Sample::new(s.lives().iter().map(seconds).collect()).unwrap())
            .collect();
        there.reverse();
        let (one, mut other) = (
            pool(&here, SpreadPrior::DECISION),
            pool(&there, SpreadPrior::DECISION),
        );
        other.groups.reverse();
        prop_assert!((one.no_difference - other.no_difference).abs() < 1e-4);
        prop_assert!((0.0..=1.0).contains(&one.no_difference));
        for (x, y) in one.groups.iter().zip(&other.groups) {
            prop_assert!((0.0..=1.0).contains(&x.borrowed));
            prop_assert!((x.borrowed - y.borrowed).abs() < 1e-4);
            let at = |p| (x.posterior.quantile(B10, p).unwrap(), y.posterior.quantile(B10, p).unwrap());
            let mut last = 0.0;
            for p in [0.05, 0.5, 0.95] {
                let (hours, seconds) = at(p);
                prop_assert!(hours > last);
                prop_assert!((3_600.0 * hours / seconds - 1.0).abs() < 1e-3, "{hours} {seconds}");
                last = hours;
            }
        }
    }
}
