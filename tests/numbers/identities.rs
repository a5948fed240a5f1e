//! Identities that must hold on any data: score, scale, counts, balance at the optimum.

use proptest::prelude::*;
use wearbook::life::{End, Life, Sample};
use wearbook::model::Target;
use wearbook::model::likelihood::Likelihood;
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::ranks::{benard, median_rank, plot_points};
use wearbook::model::{Weibull, fit_weibull};
use wearbook::policy::{Costs, age_policy, cost_rate};

use crate::common::{cases, sample_of};

fn any_life() -> impl Strategy<Value = Life> {
    let entry = prop_oneof![4 => Just(0.0), 1 => 1.0..300.0];
    (entry, 1.0..5_000.0, 1.0..1_500.0, 0..4, 1_u32..4).prop_map(
        |(entry, length, width, kind, count)| {
            let at: f64 = entry + length;
            let end = match kind {
                0 => End::Suspension { at },
                1 => End::Interval {
                    lo: at,
                    hi: at + width,
                },
                2 if entry == 0.0 => End::Left { hi: at },
                _ => End::Failure { at },
            };
            Life { entry, end, count }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..Default::default() })]

    /// At an estimate the score is 0 and no neighbour is likelier; otherwise there is a reason.
    #[test]
    fn an_estimate_is_a_maximum(lives in prop::collection::vec(any_life(), 1..30)) {
        let sample = Sample::new(lives).unwrap();
        if let Ok(fit) = fit_weibull(&sample) {
            let likelihood = Likelihood::new(&sample);
            let (a, b) = (fit.weibull.scale.ln() - likelihood.shift(), fit.weibull.shape.ln());
            prop_assert!(fit.gradient < 1e-6 * fit.weibull.shape.max(1.0).powi(2));
            for (da, db) in [(0.01, 0.0), (-0.01, 0.0), (0.0, 0.01), (0.0, -0.01), (0.01, -0.01)] {
                let near = likelihood.value(a + da, b + db);
                prop_assert!(near <= fit.log_likelihood + 1e-9, "{near} {}", fit.log_likelihood);
            }
        }
    }

    /// Usage × c gives scale × c and the same shape; the count of a life is that many lives.
    #[test]
    fn units_and_counts_do_not_matter(
        lives in prop::collection::vec(any_life(), 3..20), factor in 0.001..1000.0_f64,
    ) {
        let scaled = lives.iter().map(|l| Life {
            entry: l.entry * factor,
            count: l.count,
            end: match l.end {
                End::Failure { at } => End::Failure { at: at * factor },
                End::Suspension { at } => End::Suspension { at: at * factor },
                End::Interval { lo, hi } => End::Interval { lo: lo * factor, hi: hi * factor },
                End::Left { hi } => End::Left { hi: hi * factor },
            },
        }).collect();
        let single: Vec<Life> = lives
            .iter()
            .flat_map(|l| std::iter::repeat_n(Life { count: 1, ..*l }, l.count as usize))
            .collect();
        let fits = [lives, scaled, single].map(|l| fit_weibull(&Sample::new(l).unwrap()));
        if let [Ok(one), Ok(other), Ok(apart)] = fits {
            prop_assert!((one.weibull.shape / other.weibull.shape - 1.0).abs() < 1e-6);
            prop_assert!((other.weibull.scale / one.weibull.scale / factor - 1.0).abs() < 1e-6);
            prop_assert!((one.weibull.shape / apart.weibull.shape - 1.0).abs() < 1e-6);
            prop_assert!((one.log_likelihood - apart.log_likelihood).abs() < 1e-6);
        }
    }

    /// Lives in any order are the same evidence; only rounding knows the difference.
    #[test]
    fn the_order_of_lives_does_not_matter(
        lives in prop::collection::vec(any_life(), 3..15), turn in 1_usize..14,
    ) {
        let mut other = lives.clone();
        other.reverse();
        let places = other.len();
        other.rotate_left(turn % places);
        let [one, two] = [lives, other].map(|l| Sample::new(l).unwrap());
        match (fit_weibull(&one), fit_weibull(&two)) {
            (Ok(x), Ok(y)) => {
                prop_assert!((x.weibull.shape / y.weibull.shape - 1.0).abs() < 1e-8);
                prop_assert!((x.weibull.scale / y.weibull.scale - 1.0).abs() < 1e-8);
                prop_assert!((x.log_likelihood - y.log_likelihood).abs() < 1e-9 * (1.0 + x.log_likelihood.abs()));
            }
            (x, y) => prop_assert_eq!(x.err(), y.err()),
        }
    }

    /// A suspension beyond all data can only raise the scale **at a given shape**: its term
    /// `−(t/scale)^shape` rises with the scale. The joint estimate moves the shape too, so that
    /// not every quantile rises (see the example below this block).
    #[test]
    fn a_run_beyond_all_data_raises_the_scale_at_any_given_shape(
        lives in prop::collection::vec(any_life(), 2..15),
        beyond in 1.0..5.0_f64,
        shape in 0.4..6.0_f64,
    ) {
        let sample = Sample::new(lives.clone()).unwrap();
        prop_assume!(sample.failures() > 0);
        let longest = lives.iter().map(Life::last_usage).fold(0.0, f64::max);
        let mut longer = lives;
        longer.push(Life::suspension(longest * beyond));
        let longer = Sample::new(longer).unwrap();
        let median = |sample: &Sample| {
            Posterior::at_shape(sample, shape)
                .ok()
                .and_then(|posterior| posterior.quantile(Target::LifeAt(0.5), 0.5))
        };
        if let (Some(before), Some(after)) = (median(&sample), median(&longer)) {
            prop_assert!(after > before * (1.0 - 1e-6), "{before} {after}");
        }
    }

    /// At the optimum `h(T)·∫R − F = Cp/(Cf − Cp)`, and both sides cost more.
    #[test]
    fn the_optimum_balances(shape in 1.05..20.0_f64, scale in 1.0..1e5_f64, ratio in 1.2..500.0_f64) {
        let life = Weibull::new(shape, scale).unwrap();
        let costs = Costs::new(1.0, ratio).unwrap();
        let policy = age_policy(&life, costs);
        if let Some(at) = policy.interval.filter(|at| at / scale < 50.0) {
            let balance = life.hazard(at) * life.mean_to(at) - life.failed_by(at);
            prop_assert!((balance * (ratio - 1.0) - 1.0).abs() < 1e-7 * (1.0 + ratio));
            for near in [0.97 * at, 1.03 * at] {
                prop_assert!(cost_rate(&life, costs, near).unwrap() >= policy.cost_rate * (1.0 - 1e-12));
            }
        }
    }

    #[test]
    fn a_falling_or_constant_hazard_has_no_optimum(shape in 0.1..1.0_f64, ratio in 0.1..100.0_f64) {
        let policy = age_policy(&Weibull::new(shape, 10.0).unwrap(), Costs::new(1.0, ratio).unwrap());
        prop_assert_eq!(policy.interval, None);
    }
}

/// Why the rule above holds the shape: after ten failures close together, one run ten times as
/// long makes the failures look like early ones. The shape falls from above 20 to below 3, and
/// with it the life that one in ten fails by, though scale and median life rise.
#[test]
fn a_long_run_may_shorten_early_lives_through_the_shape() {
    let fit = |failures: &[f64], run: Option<f64>| {
        let lives = failures.iter().map(|t| Life::failure(*t));
        let runs = run.into_iter().map(Life::suspension);
        fit_weibull(&Sample::new(lives.chain(runs).collect()).unwrap())
            .unwrap()
            .weibull
    };
    let close: Vec<f64> = (0..10).map(|n| 950.0 + 10.0 * f64::from(n)).collect();
    let (before, after) = (fit(&close, None), fit(&close, Some(10_000.0)));
    assert!(
        before.shape > 20.0 && after.shape < 3.0,
        "{before:?} {after:?}"
    );
    assert!(after.scale > before.scale, "{before:?} {after:?}");
    assert!(after.life_at(0.5) > before.life_at(0.5));
    // A run only just beyond the data steepens nothing and raises scale and median alike.
    let little = fit(&close, Some(1_050.0));
    assert!(little.scale > before.scale && little.life_at(0.5) > before.life_at(0.5));
    // Early quantiles pay for the lower shape.
    assert!(after.life_at(0.1) < before.life_at(0.1));
}

/// A window that shrinks to a point becomes the exact failure: the estimate, the posterior
/// limits, and the log-likelihood once ln width is taken off, for a window holds a probability
/// and an exact failure a density. The difference falls with the square of the width.
#[test]
fn a_window_that_shrinks_becomes_an_exact_failure() {
    let usages = [310.0, 640.0, 900.0, 1_240.0, 1_800.0];
    let runs = [500.0, 1_100.0, 2_000.0].map(Life::suspension);
    let sample = |width: Option<f64>| {
        let failures = usages.map(|t| match width {
            None => Life::failure(t),
            Some(w) => Life::interval(t - 0.5 * w, t + 0.5 * w),
        });
        Sample::new(failures.into_iter().chain(runs).collect()).unwrap()
    };
    let exact = sample(None);
    let (fit, posterior) = (
        fit_weibull(&exact).unwrap(),
        Posterior::new(&exact, ShapePrior::Flat).unwrap(),
    );
    let targets = [Target::Shape, Target::LifeAt(0.1), Target::LifeAt(0.5)];
    for width in [20.0, 2.0, 0.02] {
        let window = sample(Some(width));
        let near = fit_weibull(&window).unwrap();
        let allowed = 1e-6 * width * width + 1e-7;
        assert!((near.weibull.shape / fit.weibull.shape - 1.0).abs() < 10.0 * allowed);
        assert!((near.weibull.scale / fit.weibull.scale - 1.0).abs() < 10.0 * allowed);
        let density = near.log_likelihood - usages.len() as f64 * width.ln();
        assert!(
            (density - fit.log_likelihood).abs() < 10.0 * allowed,
            "{density}"
        );
        let other = Posterior::new(&window, ShapePrior::Flat).unwrap();
        for target in targets {
            let [x, y] = [&posterior, &other].map(|p| p.limits(target, 0.9));
            for (x, y) in [(x.lower, y.lower), (x.median, y.median), (x.upper, y.upper)] {
                let miss = (y.unwrap() / x.unwrap() - 1.0).abs();
                assert!(
                    miss < 10.0 * allowed + 1e-5,
                    "{target:?} at {width}: {miss:e}"
                );
            }
        }
    }
}

/// Median ranks and adjusted ranks against computed and published values.
#[test]
fn ranks_agree_with_the_reference_cases() {
    for case in cases("median-ranks") {
        for expected in &case.expect {
            let Some((name, n)) = expected.quantity.split_once("[n=") else {
                continue;
            };
            let n: f64 = n.trim_end_matches(']').parse().unwrap();
            let got: Box<dyn Fn(f64) -> f64> = match name {
                "median_ranks.exact" => Box::new(|j| median_rank(j, n)),
                "median_ranks.benard" => Box::new(|j| benard(j, n)),
                _ => continue,
            };
            for (j, want) in expected.value.as_array().unwrap().iter().enumerate() {
                let want = want.as_f64().unwrap();
                let miss = (got(j as f64 + 1.0) - want).abs();
                assert!(
                    miss <= expected.rel_tol * want.abs() + 1e-15,
                    "{n} {j}: {miss:e}"
                );
            }
        }
    }
    for case in cases("rank-regression") {
        let points = plot_points(&sample_of(&case));
        let want = case.expected("median_ranks.exact").unwrap();
        let want_values = want.value.as_array().unwrap();
        assert_eq!(points.len(), want_values.len(), "{}", case.id);
        for (point, value) in points.iter().zip(want_values) {
            let value = value.as_f64().unwrap();
            assert!(
                (point.share - value).abs() <= want.rel_tol * value + 1e-12,
                "{}",
                case.id
            );
        }
    }
}
