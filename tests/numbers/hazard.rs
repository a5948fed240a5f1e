//! Limits of the hazard at an age. Against quadrature over the plane and Monte Carlo they stand
//! in `posterior_routes`; here against a table, in the lognormal, and by simulation.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::family::Family;
use wearbook::model::fit::fit_family;
use wearbook::model::likelihood::Likelihood;
use wearbook::model::limits::{likelihood_ratio_at, wald_at};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{Target, Weibull};

use crate::common::study::draw;

/// Shape 1 is a constant rate: with r failures in a total usage T its limits are chi-square
/// over 2T, on 2r degrees of freedom.
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1 (limits of the rate of a
/// Poisson process for a test ended by its last failure) and 1.3.6.7.4, table of critical
/// values: 31.410 and 10.851 for 20 degrees of freedom at 95 % and 5 %.
#[test]
fn a_constant_hazard_has_the_limits_of_the_table() {
    let mut lives: Vec<Life> = (1..=10)
        .map(|n| Life::failure(40.0 * f64::from(n)))
        .collect();
    lives.extend([Life::suspension(400.0); 2]);
    let total = 40.0 * 55.0 + 800.0;
    let sample = Sample::new(lives).unwrap();
    let posterior = Posterior::at_shape(&sample, 1.0).unwrap();
    for age in [1.0, 150.0, 9_000.0] {
        let limits = posterior.limits(Target::Hazard(age), 0.9);
        let (lower, upper) = (limits.lower.unwrap(), limits.upper.unwrap());
        // Half the last printed digit.
        assert!((2.0 * total * lower - 10.851).abs() < 5e-4, "{lower}");
        assert!((2.0 * total * upper - 31.410).abs() < 5e-4, "{upper}");
    }
}

/// A hazard is failures per unit of usage: usage in thousands makes it a thousandfold. Its
/// quantiles give back their own probability, and the estimate lies within its limits.
#[test]
fn a_hazard_scales_with_usage_and_its_quantiles_are_its_own() {
    let usages = [420.0, 760.0, 1_130.0, 1_350.0, 1_900.0, 2_450.0];
    let of = |scale: f64| {
        let mut lives: Vec<Life> = usages.map(|t| Life::failure(t * scale)).to_vec();
        lives.push(Life::suspension(2_000.0 * scale));
        Sample::new(lives).unwrap()
    };
    for family in [Family::Weibull, Family::Lognormal] {
        let (hours, thousands) = (of(1.0), of(1e-3));
        let fit = fit_family(&hours, family).unwrap().peak.distribution();
        let small = Posterior::of(&hours, family, ShapePrior::Flat).unwrap();
        let large = Posterior::of(&thousands, family, ShapePrior::Flat).unwrap();
        for age in [100.0, 900.0, 3_000.0] {
            let target = Target::Hazard(age);
            let limits = small.limits(target, 0.9);
            let (lower, upper) = (limits.lower.unwrap(), limits.upper.unwrap());
            assert!(lower < fit.hazard(age) && fit.hazard(age) < upper);
            let scaled = large.quantile(Target::Hazard(age / 1_000.0), 0.95).unwrap();
            assert!(
                (scaled / (1_000.0 * upper) - 1.0).abs() < 1e-6,
                "{scaled} {upper}"
            );
            for p in [0.05, 0.5, 0.95] {
                let at = small.quantile(target, p).unwrap();
                assert!((small.below(target, at) - p).abs() < 1e-6, "{family:?} {p}");
            }
        }
    }
}

/// With 600 lives the three kinds of limits all but agree, for both families: three routes that
/// share only the definition of the hazard, here told by the distribution itself.
#[test]
fn with_many_lives_all_limits_of_a_hazard_agree() {
    let truth = Weibull::new(1.8, 2_000.0).unwrap();
    let lives = (0..600).map(|n| Life::failure(truth.life_at((f64::from(n) + 0.5) / 600.0)));
    let sample = Sample::new(lives.collect()).unwrap();
    for family in [Family::Weibull, Family::Lognormal] {
        let peak = fit_family(&sample, family).unwrap().peak;
        let likelihood = Likelihood::of(&sample, family);
        let posterior = Posterior::of(&sample, family, ShapePrior::Flat).unwrap();
        for age in [300.0, 1_500.0, 4_000.0] {
            let target = Target::Hazard(age);
            let found = [
                wald_at(&peak, target, 0.9),
                likelihood_ratio_at(&likelihood, &peak, target, 0.9),
                posterior.limits(target, 0.9),
            ];
            let middle = peak.distribution().hazard(age);
            let [wald, ratio, posterior] = found.map(|limits| {
                let side = |side: Option<f64>| (side.unwrap() / middle).ln();
                (side(limits.lower), side(limits.upper))
            });
            assert!(wald.0 < 0.0 && wald.1 > 0.0);
            assert!((wald.0 + wald.1).abs() < 1e-9, "even on the log scale");
            let width = wald.1 - wald.0;
            for other in [ratio, posterior] {
                let off = (wald.0 - other.0).abs().max((wald.1 - other.1).abs());
                assert!(
                    off < 0.05 * width,
                    "{family:?} at {age}: {wald:?} {other:?}"
                );
            }
        }
    }
}

/// The inverse undoes the hazard in both families, far out in either tail.
#[test]
fn the_place_of_a_hazard_is_found_again() {
    for family in [Family::Weibull, Family::Lognormal] {
        for z in [
            -38.0, -9.0, -2.0, -0.3, 0.0, 0.4, 3.0, 4.999, 5.001, 40.0, 3e4,
        ] {
            let [value, slope, bend] = family.ln_hazard(z);
            let found = family.z_at_ln_hazard(value);
            assert!(
                (found - z).abs() < 1e-9 * (1.0 + z.abs()),
                "{family:?} {z} {found}"
            );
            let step = 1e-4 * (1.0 + f64::abs(z));
            let [up, up_slope, _] = family.ln_hazard(z + step);
            let [down, down_slope, _] = family.ln_hazard(z - step);
            let by_steps = (up - down) / (2.0 * step);
            assert!(
                (slope - by_steps).abs() < 1e-4 * slope,
                "{family:?} {z}: {slope} {by_steps}"
            );
            if z < 100.0 {
                let by_steps = (up_slope - down_slope) / (2.0 * step);
                assert!(
                    (bend - by_steps).abs() < 1e-4,
                    "{family:?} {z}: {bend} {by_steps}"
                );
            }
        }
    }
}

/// Limits of the hazard at the true B10 and median life hold the truth near nine times in ten:
/// ten lives of shape 2, complete, and with those above the seventh cut short there.
#[test]
fn limits_of_a_hazard_hold_the_truth_as_often_as_they_say() {
    let truth = Weibull::new(2.0, 1_000.0).unwrap();
    // `WEARBOOK_REPLICATES=40000` makes it a long study.
    let count: u64 = std::env::var("WEARBOOK_REPLICATES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(2_000);
    for kept in [10, 7] {
        for share in [0.1, 0.5] {
            let target = Target::Hazard(truth.life_at(share));
            let held = (0..count)
                .into_par_iter()
                .filter(|n| {
                    let mut rng = ChaCha8Rng::seed_from_u64(51_000 + *n);
                    let mut usages: Vec<f64> = (0..10).map(|_| draw(&truth, &mut rng)).collect();
                    usages.sort_by(f64::total_cmp);
                    let lives = usages.iter().enumerate().map(|(n, t)| {
                        if n < kept {
                            Life::failure(*t)
                        } else {
                            Life::suspension(usages[kept - 1])
                        }
                    });
                    let sample = Sample::new(lives.collect()).unwrap();
                    let posterior = Posterior::new(&sample, ShapePrior::Flat).unwrap();
                    let below = posterior.below(target, target.of(&truth));
                    (0.05..=0.95).contains(&below)
                })
                .count();
            let held = held as f64 / count as f64;
            println!(
                "{kept} of 10 failed, hazard at {share}: held in {:.1} %",
                100.0 * held
            );
            assert!((0.86..=0.94).contains(&held), "{kept} {share}: {held}");
        }
    }
}
