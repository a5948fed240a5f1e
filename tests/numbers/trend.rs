//! Successive lives: the regression against R, its limits, and how often it cries wolf.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::trend::{NoTrend, Record, Successive, fit_slope, trend};
use wearbook::model::{LimitsKind, Weibull, fit_weibull};

use crate::common::{cases, lives_of, study::draw};

#[test]
fn the_regression_agrees_with_the_reference_case() {
    let case = &cases("successive")[0];
    let numbers = case.data["lives"].as_array().unwrap();
    let placed: Vec<(f64, Life)> = lives_of(case)
        .into_iter()
        .zip(numbers)
        .map(|(life, raw)| (raw["covariate"].as_f64().unwrap(), life))
        .collect();
    let fit = fit_slope(&placed).unwrap();
    let level = fit_weibull(&Sample::new(lives_of(case)).unwrap()).unwrap();
    // The same lives as slots in which one item takes one unit of the record: x as it stands.
    let slots: Vec<Successive> = placed
        .iter()
        .enumerate()
        .map(|(n, (x, life))| Successive {
            slot: n / 5,
            begun: x + 2.5,
            life: *life,
        })
        .collect();
    let records = [Record {
        from: 0.0,
        until: 5.0,
    }; 4];
    let found = trend(&slots, &records, (LimitsKind::LikelihoodRatio, 0.9)).unwrap();
    assert!((found.slope.slope / fit.slope - 1.0).abs() < 1e-10);
    for expected in &case.expect {
        let got = match expected.quantity.as_str() {
            "shape" => fit.shape,
            "ln_scale" => fit.ln_scale,
            "slope" => fit.slope,
            "se_slope" => fit.error,
            "loglik" => fit.log_likelihood,
            "level.loglik" => fit.level_log_likelihood,
            "level.shape" => level.weibull.shape,
            "level.scale" => level.weibull.scale,
            "lr" => fit.statistic,
            "p" => fit.p,
            "slope.lr90.lower" => found.limits.lower.unwrap().ln(),
            "slope.lr90.upper" => found.limits.upper.unwrap().ln(),
            other => panic!("no answer for {other}"),
        };
        expected.judge(case, got);
    }
    // Wald limits from the same standard error.
    let wald = trend(&slots, &records, (LimitsKind::Wald, 0.9)).unwrap();
    let upper = fit.slope + 1.644_853_626_951_472_2 * fit.error;
    assert!((wald.limits.upper.unwrap().ln() - upper).abs() < 1e-9);
}

/// Entry ages: a life first watched at an age says the same as its likelihood given survival.
#[test]
fn entry_ages_and_counts_enter_the_regression() {
    let watched = |entry: f64, at: f64, count| Life {
        entry,
        end: wearbook::life::End::Failure { at },
        count,
    };
    let lives = [
        (-1.0, watched(400.0, 900.0, 2)),
        (-1.0, watched(0.0, 1_400.0, 1)),
        (0.0, watched(0.0, 1_100.0, 1)),
        (1.0, watched(250.0, 700.0, 1)),
        (1.0, Life::suspension(650.0)),
    ];
    let fit = fit_slope(&lives).unwrap();
    let ln_likelihood = |a: f64, slope: f64, b: f64| -> f64 {
        let k = b.exp();
        lives
            .iter()
            .map(|(x, life)| {
                let scale = (a + slope * x).exp();
                let h = |t: f64| (t / scale).powf(k);
                let at = life.last_usage();
                let density = if life.failed() {
                    (k / at).ln() + k * (at / scale).ln()
                } else {
                    0.0
                };
                f64::from(life.count) * (density - h(at) + h(life.entry))
            })
            .sum()
    };
    let (a, s, b) = (fit.ln_scale, fit.slope, fit.shape.ln());
    let top = ln_likelihood(a, s, b);
    assert!((top - fit.log_likelihood).abs() < 1e-9);
    for (da, ds, db) in [(1e-3, 0.0, 0.0), (0.0, 1e-3, 0.0), (0.0, 0.0, 1e-3)] {
        for sign in [-1.0, 1.0] {
            assert!(ln_likelihood(a + sign * da, s + sign * ds, b + sign * db) < top);
        }
    }
}

/// Mean usage of an item of shape 2 and scale 1, half of which are cut short by a removal of the
/// same law: `Γ(1.5)/√2`.
const AN_ITEM: f64 = 0.626_657;

/// A plant of like slots watched for `window` scales: items renewed at failure or, half of the
/// time, before. Lives change by `factor` over the time one item takes at first; a slot as a
/// whole lasts `e^(spread·u)` times as long as others, `u` even between −1 and 1.
fn plant(
    rng: &mut ChaCha8Rng,
    (slots, window): (usize, f64),
    factor: f64,
    spread: f64,
) -> (Vec<Successive>, Vec<Record>) {
    let life = Weibull::new(2.0, 1.0).unwrap();
    let mut lives = Vec::new();
    for slot in 0..slots {
        let place = if slots > 1 {
            2.0 * slot as f64 / (slots - 1) as f64 - 1.0
        } else {
            0.0
        };
        let mut begun = 0.0;
        while begun < window {
            let scale = (spread * place).exp() * factor.powf(begun / AN_ITEM);
            let (fails, out) = (scale * draw(&life, rng), scale * draw(&life, rng));
            let left = window - begun;
            let end = match fails.min(out) {
                first if first >= left => Life::suspension(left),
                first if fails <= out => Life::failure(first),
                first => Life::suspension(first),
            };
            lives.push(Successive {
                slot,
                begun,
                life: end,
            });
            begun += end.last_usage();
        }
    }
    let record = Record {
        from: 0.0,
        until: window,
    };
    (lives, vec![record; slots])
}

/// Of plants: the share tested at all, and of those the share warned of, and with p < 0.05.
fn shares(size: (usize, f64), factor: f64, spread: f64, seed: u64) -> [f64; 4] {
    let replicates = std::env::var("WEARBOOK_REPLICATES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(2_000_u64);
    let found: Vec<Option<(bool, bool, f64)>> = (0..replicates)
        .into_par_iter()
        .map(|replicate| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed * 10_000_000 + replicate);
            let (lives, records) = plant(&mut rng, size, factor, spread);
            let found = trend(&lives, &records, (LimitsKind::None, 0.9)).ok()?;
            Some((found.warns(), found.slope.p < 0.01, found.lives as f64))
        })
        .collect();
    let tested = found.iter().flatten().count() as f64;
    let share = |hit: &dyn Fn(&(bool, bool, f64)) -> bool| {
        found.iter().flatten().filter(|f| hit(f)).count() as f64 / tested
    };
    [
        tested / replicates as f64,
        share(&|f| f.0),
        share(&|f| f.1),
        found.iter().flatten().map(|f| f.2).sum::<f64>() / tested,
    ]
}

/// Where successive lives do not change, a warning is as rare as it says, however thin the data
/// and whether or not some slots are worse than others. Standard error at 1 % of 2,000: 0.2 %.
#[test]
fn a_warning_is_rare_where_nothing_changes() {
    for (n, (size, spread)) in [
        ((1, 4.0), 0.0),
        ((1, 6.0), 0.0),
        ((2, 2.5), 0.0),
        ((3, 2.0), 0.0),
        ((3, 3.0), 0.0),
        ((3, 3.0), 0.5),
        ((11, 5.0), 0.0),
        ((11, 5.0), 0.5),
    ]
    .into_iter()
    .enumerate()
    {
        let [tested, warned, chi, lives] = shares(size, 1.0, spread, 40 + n as u64);
        println!(
            "{} slots, {:>4.1} lives, spread {spread}: tested {:.0} %, warned {:.2} %, chi-square p < 0.01 {:.2} %",
            size.0,
            lives,
            100.0 * tested,
            100.0 * warned,
            100.0 * chi,
        );
        assert!(warned < 0.016, "{size:?} {spread}: {warned}");
    }
}

/// Where each item lasts four fifths as long as the one before, it shows in enough lives.
#[test]
fn a_decline_is_found_where_there_are_lives_enough() {
    for (size, least) in [((3, 4.0), 0.0), ((6, 5.0), 0.6), ((11, 5.0), 0.9)] {
        let [_, warned, _, lives] = shares(size, 0.8, 0.0, 70 + size.0 as u64);
        println!(
            "{} slots, {lives:.1} lives, each 0.8 of the last: warned {:.1} %",
            size.0,
            100.0 * warned
        );
        assert!(warned >= least, "{size:?}: {warned}");
    }
}

#[test]
fn thin_data_say_why_there_is_no_trend() {
    let limits = (LimitsKind::Wald, 0.9);
    let at = |slot: usize, begun: f64, life: Life| Successive { slot, begun, life };
    let record = Record {
        from: 0.0,
        until: 1_000.0,
    };
    let few: Vec<Successive> = (0..3)
        .map(|n| at(0, 100.0 * f64::from(n), Life::failure(100.0 + f64::from(n))))
        .collect();
    assert_eq!(
        trend(&few, &[record], limits),
        Err(NoTrend::FewFailures { failures: 3 })
    );
    let apart: Vec<Successive> = (0..4)
        .map(|n| at(n, 0.0, Life::failure(100.0 + n as f64)))
        .collect();
    assert_eq!(
        trend(&apart, &[record; 4], limits),
        Err(NoTrend::FewSuccessive { longest: 1 })
    );
    assert_eq!(
        trend(&apart, &[record; 2], limits),
        Err(NoTrend::NoRecord { slot: 2 })
    );
    // The first item of each slot failed, later ones never did: the slope has no end.
    let parted: Vec<Successive> = (0..4)
        .flat_map(|n| {
            [
                at(n, 0.0, Life::failure(100.0 + 10.0 * n as f64)),
                at(n, 300.0, Life::suspension(150.0)),
                at(n, 500.0, Life::suspension(200.0)),
            ]
        })
        .collect();
    let found = trend(&parted, &[record; 4], limits);
    assert!(matches!(found, Err(NoTrend::SlopeOpen { .. })), "{found:?}");
}
