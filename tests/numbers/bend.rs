//! How often a straight plot is called bent, and a bent one by its right name.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::Weibull;
use wearbook::model::bend::{BendKind, bend};

use crate::common::study::draw;

fn life(shape: f64, scale: f64) -> Weibull {
    Weibull::new(shape, scale).unwrap()
}

/// How a study's failures come about, on a scale of about 1.
type Fails = fn(&mut ChaCha8Rng) -> f64;

fn straight(rng: &mut ChaCha8Rng) -> f64 {
    draw(&life(2.0, 1.0), rng)
}

/// Nothing fails before half of the scale.
fn with_location(rng: &mut ChaCha8Rng) -> f64 {
    0.5 + draw(&life(1.5, 1.0), rng)
}

/// Early and chance failures against wear-out: whichever comes first.
fn two_modes(rng: &mut ChaCha8Rng) -> f64 {
    draw(&life(0.7, 3.0), rng).min(draw(&life(5.0, 1.0), rng))
}

/// Two items in five of a batch that lasts a fifth.
fn two_batches(rng: &mut ChaCha8Rng) -> f64 {
    let scale = if rng.random::<f64>() < 0.4 { 0.2 } else { 1.0 };
    draw(&life(4.0, scale), rng)
}

/// One item in twenty fails soon after fitting.
fn fitted_badly(rng: &mut ChaCha8Rng) -> f64 {
    let early = rng.random::<f64>() < 0.05;
    draw(
        &if early {
            life(1.0, 0.01)
        } else {
            life(3.0, 1.0)
        },
        rng,
    )
}

fn samples(few: u64) -> u64 {
    std::env::var("WEARBOOK_REPLICATES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(few)
}

fn kinds(n: usize, cut: bool, seed: u64, samples: u64, fails: Fails) -> Vec<Option<BendKind>> {
    (0..samples)
        .into_par_iter()
        .filter_map(|number| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed * 1_000_003 + number);
            let lives = (0..n).map(|_| {
                let at = fails(&mut rng);
                let out = draw(&life(1.5, 1.8), &mut rng);
                if cut && out < at {
                    Life::suspension(out)
                } else {
                    Life::failure(at)
                }
            });
            let lives: Vec<Life> = lives.collect();
            Some(bend(&Sample::new(lives).ok()?).ok()?.kind)
        })
        .collect()
}

fn share(kinds: &[Option<BendKind>], what: impl Fn(BendKind) -> bool) -> f64 {
    let hits = kinds.iter().flatten().filter(|k| what(**k)).count();
    hits as f64 / kinds.len() as f64
}

/// Level 5 %: of 200 straight plots at most 5 % and 3 standard errors (0.015) are called bent;
/// the removals of the second half come at random, not at failures as the simulation has it.
#[test]
fn straight_plots_are_rarely_called_bent() {
    for (seed, (n, cut)) in (31..).zip([(8, false), (20, false), (20, true), (30, false)]) {
        let found = kinds(n, cut, seed, samples(200), straight);
        let alarms = share(&found, |_| true);
        println!(
            "n {n}, cut {cut}: {:.1} % of {} called bent",
            100.0 * alarms,
            found.len()
        );
        assert!(alarms <= 0.096, "n {n}, cut {cut}: {alarms}");
    }
}

/// What is named is mostly named rightly, and more lives find more.
#[test]
fn bends_are_called_by_their_names() {
    let is_early = |k| matches!(k, BendKind::EarlyFailures { .. });
    type Right = fn(BendKind) -> bool;
    let rows: [(&str, Fails, Right, usize, f64); 5] = [
        (
            "location",
            with_location,
            |k| k == BendKind::SteepThenFlat,
            40,
            0.35,
        ),
        (
            "location",
            with_location,
            |k| k == BendKind::SteepThenFlat,
            80,
            0.75,
        ),
        (
            "two modes",
            two_modes,
            |k| k == BendKind::FlatThenSteep,
            40,
            0.7,
        ),
        (
            "two batches",
            two_batches,
            |k| k == BendKind::FlatInTheMiddle,
            40,
            0.7,
        ),
        (
            "fitted badly",
            fitted_badly,
            |k| matches!(k, BendKind::EarlyFailures { .. } | BendKind::FlatThenSteep),
            40,
            0.6,
        ),
    ];
    for (seed, (name, fails, right, n, least)) in (41..).zip(rows) {
        let found = kinds(n, false, seed, samples(100), fails);
        let (rightly, named) = (share(&found, right), share(&found, |_| true));
        println!(
            "{name}, n {n}: named {:.0} %, rightly {:.0} %, early {:.0} %",
            100.0 * named,
            100.0 * rightly,
            100.0 * share(&found, is_early)
        );
        assert!(rightly >= least, "{name}: {rightly}");
        assert!(rightly >= 0.8 * named, "{name}: {rightly} of {named}");
    }
}

/// Units play no part, nor does the shape of a straight life.
#[test]
fn shifting_and_stretching_the_paper_changes_nothing() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let at: Vec<f64> = (0..15).map(|_| two_modes(&mut rng)).collect();
    let test = |to: &dyn Fn(f64) -> f64| {
        let lives = at.iter().map(|&t| Life::failure(to(t))).collect();
        bend(&Sample::new(lives).unwrap()).unwrap()
    };
    let once = test(&|t| t);
    for again in [test(&|t| t * 24.0), test(&|t| t.powf(0.4))] {
        assert!((again.curvature - once.curvature).abs() < 1e-9);
        assert_eq!((again.kind, again.p), (once.kind, once.p));
    }
}
