//! The repairable view against published and computed cases, identities, and simulation.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::recurrence::fit_test::cramer_von_mises_p;
use wearbook::recurrence::intensity::handbook_mtbf_limits;
use wearbook::recurrence::{
    PowerLaw, Step, Trend, Truncation, Unit, Units, fit_power_law, mean_cumulative, trend,
};

use crate::common::{Case, Expected, cases};

fn units_of(case: &Case) -> Units {
    let numbers = |value: &serde_json::Value| -> Vec<f64> {
        let list = value.as_array().unwrap();
        list.iter().map(|v| v.as_f64().unwrap()).collect()
    };
    let list = case.data.get("units").unwrap_or(&case.data["systems"]);
    let unit = |u: &serde_json::Value| {
        let unit = Unit::new(
            u["start"].as_f64().unwrap_or(0.0),
            u["end"].as_f64(),
            numbers(&u["events"]),
        )
        .unwrap();
        if let Some(how) = u["truncation"].as_str() {
            assert_eq!(how == "failure", unit.ended_by_event(), "{}", case.id);
        }
        unit
    };
    Units::new(list.as_array().unwrap().iter().map(unit).collect())
}

/// Judges a list element by element.
fn judge_list(case: &Case, expected: &Expected, got: &[f64]) {
    let want = expected.value.as_array().unwrap();
    assert_eq!(want.len(), got.len(), "{}", expected.quantity);
    for (n, (want, got)) in want.iter().zip(got).enumerate() {
        let one = Expected {
            quantity: format!("{}[{n}]", expected.quantity),
            value: want.clone(),
            ..expected.clone()
        };
        one.judge(case, *got);
    }
}

/// `log90.lower` → which limits, at which confidence, on which side.
fn limit(step: &Step, kind: &str, side: &str) -> Option<f64> {
    let (name, confidence) = kind.split_at(kind.len() - 2);
    let confidence = confidence.parse::<f64>().ok()? / 100.0;
    let (lower, upper) = match name {
        "log" => step.limits(confidence)?,
        "plain" => step.plain_limits(confidence)?,
        _ => return None,
    };
    match side {
        "lower" => Some(lower),
        "upper" => Some(upper),
        _ => None,
    }
}

fn mcf_answer(units: &Units, steps: &[Step], quantity: &str) -> Option<f64> {
    Some(match quantity {
        "units" => units.units().len() as f64,
        "events" => units.events() as f64,
        "total_exposure" => units.usage(),
        _ => {
            let (name, rest) = quantity.split_once('(')?;
            let (t, rest) = rest.split_once(')')?;
            let t: f64 = t.parse().ok()?;
            let step = steps.iter().rev().find(|s| s.time <= t)?;
            match (name, rest.trim_start_matches('.').split_once('.')) {
                ("mcf", None) => step.estimate,
                ("mcf_se", None) => step.standard_error()?,
                ("mcf", Some((kind, side))) => limit(step, kind, side)?,
                _ => return None,
            }
        }
    })
}

/// Every quantity of the case is judged: none may be passed over.
#[test]
fn the_mean_cumulative_function_agrees_with_the_reference() {
    for case in cases("recurrence") {
        let units = units_of(&case);
        let steps = mean_cumulative(&units);
        let list = |of: fn(&Step) -> f64| -> Vec<f64> { steps.iter().map(of).collect() };
        for expected in &case.expect {
            match expected.quantity.as_str() {
                "event_times" => judge_list(&case, expected, &list(|s| s.time)),
                "at_risk" => judge_list(&case, expected, &list(|s| s.at_risk as f64)),
                "mcf" => judge_list(&case, expected, &list(|s| s.estimate)),
                "mcf_var" => judge_list(&case, expected, &list(|s| s.variance.unwrap())),
                "mcf_var_poisson" => judge_list(&case, expected, &list(|s| s.poisson_variance)),
                other => expected.judge(
                    &case,
                    mcf_answer(&units, &steps, other).unwrap_or_else(|| panic!("{other}")),
                ),
            }
        }
    }
}

fn trend_answer(units: &Units, trend: &Trend, law: &PowerLaw, quantity: &str) -> Option<f64> {
    let (laplace, chi_square) = trend.tests?;
    let exact = |kind: &str, side: &str| {
        let confidence = kind.strip_prefix("exact")?.parse::<f64>().ok()? / 100.0;
        let limits = law.shape_limits(confidence);
        match side {
            "lower" => limits.lower,
            "upper" => limits.upper,
            _ => None,
        }
    };
    let unbiased = law.shape_unbiased()?;
    let mtbf_unbiased = law.mtbf_unbiased()?;
    let handbook = || handbook_mtbf_limits(mtbf_unbiased, law.events, 0.8);
    Some(match quantity {
        "laplace_u" => laplace.statistic,
        "laplace_p_two_sided" => laplace.p(),
        "mil189_chi2" => chi_square.statistic,
        "mil189_df" => chi_square.df? as f64,
        "mil189_p_lower" => chi_square.p_faster,
        "mil189_p_two_sided" => chi_square.p(),
        "power_law.shape" => law.shape,
        "power_law.a" => law.ln_a().exp(),
        "power_law.scale" => law.scale,
        "power_law.shape_unbiased" | "nist.shape_unbiased" => unbiased,
        "power_law.rate_at_end" => law.intensity(),
        "power_law.mtbf_at_end" => law.mtbf(),
        "power_law.mtbf_at_end_unbiased" | "nist.mtbf_at_end" => mtbf_unbiased,
        "power_law.cramer_von_mises" => law.cramer_von_mises(units)?,
        "hpp.rate" => units.events() as f64 / units.usage(),
        "nist.a" => law.events as f64 / law.end.powf(unbiased),
        "nist.mtbf80.lower" => handbook().0,
        "nist.mtbf80.upper" => handbook().1?,
        _ => {
            let (kind, side) = quantity.strip_prefix("power_law.shape.")?.split_once('.')?;
            exact(kind, side)?
        }
    })
}

#[test]
fn trend_tests_and_the_power_law_agree_with_the_reference() {
    for case in cases("trend-test") {
        let units = units_of(&case);
        let (trend, law) = (trend(&units), fit_power_law(&units).unwrap());
        for expected in &case.expect {
            let got = trend_answer(&units, &trend, &law, &expected.quantity);
            expected.judge(
                &case,
                got.unwrap_or_else(|| panic!("{}", expected.quantity)),
            );
        }
    }
}

/// The general search meets the closed form: the reference's only unit, cut in two windows
/// that together are the one, and beside units that end elsewhere.
#[test]
fn the_search_for_a_shape_meets_the_closed_form() {
    let case = cases("trend-test")
        .into_iter()
        .find(|c| c.id == "trend-nist-8452")
        .unwrap();
    let whole = units_of(&case);
    let unit = &whole.units()[0];
    let (before, after): (Vec<f64>, Vec<f64>) = unit.events().iter().partition(|t| **t <= 500.0);
    let cut = Units::new(vec![
        Unit::new(0.0, Some(500.0), before).unwrap(),
        Unit::new(500.0, Some(1500.0), after).unwrap(),
    ]);
    let law = fit_power_law(&cut).unwrap();
    for name in [
        "power_law.shape",
        "power_law.scale",
        "power_law.rate_at_end",
    ] {
        let got = match name {
            "power_law.shape" => law.shape,
            "power_law.scale" => law.scale,
            _ => law.intensity(),
        };
        case.expected(name).unwrap().judge(&case, got);
    }
    // Without the windows' likeness the limits are approximate, yet near the exact ones.
    let exact = fit_power_law(&whole).unwrap();
    for (near, exact, within) in [
        (law.shape_limits(0.9), exact.shape_limits(0.9), 0.15),
        (law.intensity_limits(0.9), exact.intensity_limits(0.9), 0.3),
    ] {
        assert!(
            (near.lower.unwrap() / exact.lower.unwrap() - 1.0).abs() < within,
            "{near:?} {exact:?}"
        );
        assert!(
            (near.upper.unwrap() / exact.upper.unwrap() - 1.0).abs() < within,
            "{near:?} {exact:?}"
        );
    }
}

/// Crow's exact limits lie outside the handbook's approximation, and not far: 80 %, ten events,
/// time truncation (NIST 8.4.5.2 prints 157.7 and 548.6 h). A count goes by steps, so the exact
/// ones are a little wide.
#[test]
fn exact_limits_of_the_intensity_lie_near_the_printed_approximation() {
    let case = cases("trend-test")
        .into_iter()
        .find(|c| c.id == "trend-nist-8452")
        .unwrap();
    let law = fit_power_law(&units_of(&case)).unwrap();
    let limits = law.intensity_limits(0.8);
    let printed = |side: &str| {
        case.expected(&format!("nist.mtbf80.{side}"))
            .unwrap()
            .value
            .as_f64()
            .unwrap()
    };
    let (low, high) = (1.0 / limits.upper.unwrap(), 1.0 / limits.lower.unwrap());
    assert!((low / printed("lower") - 1.0).abs() < 0.1, "{low}");
    assert!((high / printed("upper") - 1.0).abs() < 0.1, "{high}");
}

fn any_unit() -> impl Strategy<Value = Unit> {
    let start = prop_oneof![2 => Just(0.0), 1 => 1.0..2_000.0];
    (
        start,
        10.0..3_000.0,
        prop::collection::vec(0.001..0.999, 0..8),
        any::<bool>(),
    )
        .prop_map(|(start, width, places, by_time)| {
            let start: f64 = start;
            let at: Vec<f64> = places.iter().map(|p| start + p * width).collect();
            let end = (by_time || at.is_empty()).then_some(start + width);
            Unit::new(start, end, at).unwrap()
        })
}

fn any_units() -> impl Strategy<Value = Units> {
    prop::collection::vec(any_unit(), 1..8).prop_map(Units::new)
}

fn rebuilt(units: &Units, usage: impl Fn(f64) -> f64) -> Units {
    let unit = |u: &Unit| {
        let events = u.events().iter().map(|t| usage(*t)).collect();
        Unit::new(usage(u.start()), Some(usage(u.end())), events).unwrap()
    };
    Units::new(units.units().iter().map(unit).collect())
}

fn near(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance * a.abs().max(b.abs()).max(1e-12)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]

    /// Usage × c: same curve and variance at c times the usage, same tests, same shape.
    #[test]
    fn usage_times_c_changes_only_usages(units in any_units(), c in 0.001..1_000.0) {
        let scaled = rebuilt(&units, |t| t * c);
        // A product can round two usages together or apart; such cases tell nothing.
        prop_assume!(scaled.ties() == units.ties() && scaled.telling() == units.telling());
        let (one, other) = (mean_cumulative(&units), mean_cumulative(&scaled));
        prop_assume!(one.len() == other.len());
        for (a, b) in one.iter().zip(&other) {
            prop_assert!(near(a.time * c, b.time, 1e-12));
            prop_assert_eq!((a.at_risk, a.events), (b.at_risk, b.events));
            prop_assert_eq!(a.estimate, b.estimate);
            prop_assert_eq!(a.variance, b.variance);
        }
        if let (Some((u, x)), Some((v, y))) = (trend(&units).tests, trend(&scaled).tests) {
            prop_assert!((u.statistic - v.statistic).abs() < 1e-9);
            prop_assert!(near(x.statistic, y.statistic, 1e-9));
        }
        match (fit_power_law(&units), fit_power_law(&scaled)) {
            (Ok(a), Ok(b)) => {
                prop_assert!(near(a.shape, b.shape, 1e-8), "{} {}", a.shape, b.shape);
                prop_assert!(near(a.intensity(), b.intensity() * c, 1e-7));
            }
            (a, b) => prop_assert_eq!(a.is_err(), b.is_err()),
        }
    }

    /// Units in another order are the same units.
    #[test]
    fn the_order_of_units_plays_no_part(units in any_units()) {
        let mut turned = units.units().to_vec();
        turned.reverse();
        let turned = Units::new(turned);
        for (a, b) in mean_cumulative(&units).iter().zip(&mean_cumulative(&turned)) {
            prop_assert_eq!((a.time, a.estimate, a.at_risk), (b.time, b.estimate, b.at_risk));
            match (a.variance, b.variance) {
                (Some(v), Some(w)) => prop_assert!(near(v, w, 1e-9) || v.max(w) < 1e-20),
                (v, w) => prop_assert_eq!(v.is_some(), w.is_some()),
            }
        }
        match (fit_power_law(&units), fit_power_law(&turned)) {
            (Ok(a), Ok(b)) => prop_assert!(near(a.shape, b.shape, 1e-9)),
            (a, b) => prop_assert_eq!(a.is_err(), b.is_err()),
        }
    }

    /// A unit seen in two windows, one after the other, is seen as well: the curve, the number
    /// at risk and the power law are the same. (Its robust variance is not: the second window
    /// counts as a unit of its own.)
    #[test]
    fn a_watch_can_be_cut_in_two(units in any_units(), share in 0.05..0.95) {
        let mut parts = Vec::new();
        for unit in units.units() {
            let cut = unit.start() + share * (unit.end() - unit.start());
            let (first, second) = unit.events().iter().partition(|t| **t <= cut);
            parts.push(Unit::new(unit.start(), Some(cut), first).unwrap());
            parts.push(Unit::new(cut, Some(unit.end()), second).unwrap());
        }
        let parts = Units::new(parts);
        for (a, b) in mean_cumulative(&units).iter().zip(&mean_cumulative(&parts)) {
            prop_assert_eq!((a.time, a.estimate, a.at_risk), (b.time, b.estimate, b.at_risk));
        }
        match (fit_power_law(&units), fit_power_law(&parts)) {
            (Ok(a), Ok(b)) => {
                prop_assert!(near(a.shape, b.shape, 1e-7), "{} {}", a.shape, b.shape);
                prop_assert!(near(a.expected(a.end), b.expected(b.end), 1e-6));
            }
            (a, b) => prop_assert_eq!(a.is_err(), b.is_err()),
        }
    }

    /// Doubling every unit leaves the estimates and halves the variance.
    #[test]
    fn twice_the_units_is_half_the_variance(units in any_units()) {
        let list = units.units();
        let double = Units::new(list.iter().chain(list).cloned().collect());
        for (a, b) in mean_cumulative(&units).iter().zip(&mean_cumulative(&double)) {
            prop_assert!(near(a.estimate, b.estimate, 1e-12));
            if let (Some(v), Some(w)) = (a.variance, b.variance) {
                prop_assert!(near(v, 2.0 * w, 1e-9) || v < 1e-20);
            }
        }
        if let (Ok(a), Ok(b)) = (fit_power_law(&units), fit_power_law(&double)) {
            prop_assert!(near(a.shape, b.shape, 1e-9));
            prop_assert!(near(a.intensity(), b.intensity(), 1e-9));
        }
    }

    /// Over one common window the variance is the plain one of a mean, and the law expects
    /// the events there were.
    #[test]
    fn over_one_window_it_is_the_mean_of_counts(
        counts in prop::collection::vec(prop::collection::vec(0.01..99.0, 0..9), 2..9)
    ) {
        let n = counts.len() as f64;
        let list = counts.iter().map(|t| Unit::new(0.0, Some(100.0), t.clone()).unwrap());
        let units = Units::new(list.collect());
        prop_assume!(units.events() > 0);
        let steps = mean_cumulative(&units);
        let last = steps.last().unwrap();
        let mean = counts.iter().map(Vec::len).sum::<usize>() as f64 / n;
        let spread: f64 = counts.iter().map(|c| (c.len() as f64 - mean).powi(2)).sum();
        prop_assert!(near(last.estimate, mean, 1e-12));
        prop_assert!((last.variance.unwrap() - spread / n / n).abs() < 1e-10);
        let law = fit_power_law(&units).unwrap();
        prop_assert!(near(law.expected(100.0), mean, 1e-9));
    }

    /// At the estimate the likelihood is at its highest; written out anew, not with the room's
    /// own pieces: `Σ ln λ(t) − Σ (M(e) − M(s))`.
    #[test]
    fn a_power_law_is_a_maximum(units in any_units()) {
        let Ok(law) = fit_power_law(&units) else { return Ok(()) };
        prop_assume!(law.shape < 30.0 && law.scale > 0.0);
        let value = |b: f64, ln_a: f64| -> f64 {
            let of = |u: &Unit| -> f64 {
                let m = |t: f64| if t > 0.0 { (ln_a + b * t.ln()).exp() } else { 0.0 };
                let logs = u.events().iter().map(|t| ln_a + b.ln() + (b - 1.0) * t.ln());
                logs.sum::<f64>() - (m(u.end()) - m(u.start()))
            };
            units.units().iter().map(of).sum()
        };
        let best = value(law.shape, law.ln_a());
        for (up, turn) in [(0.01, 0.0), (-0.01, 0.0), (0.0, 0.003), (0.0, -0.003), (0.01, 0.003), (-0.01, 0.003)] {
            let b = law.shape * (1.0 + turn);
            // Turning about the end keeps the change small.
            let ln_a = law.ln_a() + up - (b - law.shape) * law.end.ln();
            prop_assert!(value(b, ln_a) <= best + 1e-9 * best.abs().max(1.0));
        }
    }
}

/// A power law over `(start, end]` by inversion of its mean, rate 1 at time 1 of a unit process.
fn power_unit(rng: &mut ChaCha8Rng, shape: f64, scale: f64, start: f64, end: f64) -> Unit {
    let mut mean = (start / scale).powf(shape);
    let mut events = Vec::new();
    loop {
        mean -= (1.0 - rng.random::<f64>()).ln();
        let t = scale * mean.powf(1.0 / shape);
        if t > end {
            return Unit::new(start, Some(end), events).unwrap();
        }
        events.push(t);
    }
}

fn replicates() -> u64 {
    std::env::var("WEARBOOK_REPLICATES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(2_500)
}

/// Draws units of a design.
type Draw = fn(&mut ChaCha8Rng) -> Units;

/// Share of seeds for which something holds.
fn share(of: impl Fn(&mut ChaCha8Rng) -> Option<bool> + Sync) -> f64 {
    let held: Vec<bool> = (0..replicates())
        .into_par_iter()
        .filter_map(|seed| of(&mut ChaCha8Rng::seed_from_u64(seed)))
        .collect();
    held.iter().filter(|held| **held).count() as f64 / held.len() as f64
}

/// Without a trend each test is significant in 5 % of cases, with late entry and both ways of
/// ending too. Standard error 0.44 % at 2,500; the Laplace test is only nearly normal.
#[test]
fn without_a_trend_the_tests_find_one_in_twenty() {
    let designs: [(&str, Draw); 4] = [
        ("one unit, 10 events expected", |rng| {
            Units::new(vec![power_unit(rng, 1.0, 10.0, 0.0, 100.0)])
        }),
        ("five units of own rates, late entry", |rng| {
            let of = |n: i32| (5.0 + 5.0 * f64::from(n), 40.0 * f64::from(n));
            Units::new(
                (0..5)
                    .map(of)
                    .map(|(scale, start)| power_unit(rng, 1.0, scale, start, start + 60.0))
                    .collect(),
            )
        }),
        ("one unit up to its eighth event", |rng| {
            let unit = power_unit(rng, 1.0, 1.0, 0.0, 60.0);
            Units::new(vec![
                Unit::new(0.0, None, unit.events()[..8].to_vec()).unwrap(),
            ])
        }),
        ("one unit, 3 events expected", |rng| {
            Units::new(vec![power_unit(rng, 1.0, 10.0, 0.0, 30.0)])
        }),
    ];
    for (name, draw) in designs {
        let rejected = |which: fn(&Trend) -> f64| {
            share(|rng| {
                let found = trend(&draw(rng));
                found.tests.map(|_| which(&found) < 0.05)
            })
        };
        let laplace = rejected(|t| t.laplace().unwrap().p());
        let chi_square = rejected(|t| t.chi_square().unwrap().p());
        println!("{name}: Laplace {laplace:.4}, chi-square {chi_square:.4}");
        assert!(
            (chi_square - 0.05).abs() < 0.012,
            "{name}: chi-square {chi_square}"
        );
        // The normal tails of Laplace's test lie beyond what few even values can reach.
        let low = if name.contains("3 events") {
            0.025
        } else {
            0.038
        };
        assert!((low..0.062).contains(&laplace), "{name}: Laplace {laplace}");
    }
}

/// With a clear trend they find it.
#[test]
fn a_clear_trend_is_found() {
    let draw = |rng: &mut ChaCha8Rng| Units::new(vec![power_unit(rng, 2.5, 40.0, 0.0, 120.0)]);
    let found = share(|rng| Some(trend(&draw(rng)).laplace()?.p() < 0.05));
    assert!(found > 0.75, "{found}");
}

/// Limits of shape and intensity hold the truth as often as they say: exactly for the shape and
/// under failure truncation, no less often under time truncation (a count goes by steps), and
/// nearly so where windows differ.
#[test]
fn limits_of_a_power_law_hold_what_they_promise() {
    let truth = (1.6, 30.0, 100.0);
    let (shape, scale, end) = truth;
    let rate = |t: f64| shape / scale * (t / scale).powf(shape - 1.0);
    let single = |rng: &mut ChaCha8Rng| power_unit(rng, shape, scale, 0.0, end);
    let holds = |limits: wearbook::recurrence::power_law::Bounds, value: f64| {
        limits.lower.is_none_or(|l| l <= value) && limits.upper.is_none_or(|u| value <= u)
    };
    let by_time = |which: fn(&PowerLaw) -> (wearbook::recurrence::power_law::Bounds, bool)| {
        share(|rng| {
            let law = fit_power_law(&Units::new(vec![single(rng)])).ok()?;
            let (limits, of_shape) = which(&law);
            Some(holds(limits, if of_shape { shape } else { rate(end) }))
        })
    };
    let time_shape = by_time(|law| (law.shape_limits(0.9), true));
    let time_rate = by_time(|law| (law.intensity_limits(0.9), false));
    let to_sixth = |rng: &mut ChaCha8Rng| {
        let unit = power_unit(rng, shape, scale, 0.0, 900.0);
        Units::new(vec![
            Unit::new(0.0, None, unit.events()[..6].to_vec()).unwrap(),
        ])
    };
    let failure_shape = share(|rng| {
        let law = fit_power_law(&to_sixth(rng)).ok()?;
        Some(holds(law.shape_limits(0.9), shape))
    });
    let failure_rate = share(|rng| {
        let units = to_sixth(rng);
        let law = fit_power_law(&units).ok()?;
        assert_eq!(law.truncation, Truncation::Failure);
        Some(holds(law.intensity_limits(0.9), rate(units.last_end()?)))
    });
    let several = |rng: &mut ChaCha8Rng| {
        Units::new(vec![
            power_unit(rng, shape, scale, 0.0, 60.0),
            power_unit(rng, shape, scale, 20.0, 80.0),
            power_unit(rng, shape, scale, 0.0, 100.0),
        ])
    };
    let several_shape = share(|rng| {
        Some(holds(
            fit_power_law(&several(rng)).ok()?.shape_limits(0.9),
            shape,
        ))
    });
    let several_rate = share(|rng| {
        Some(holds(
            fit_power_law(&several(rng)).ok()?.intensity_limits(0.9),
            rate(end),
        ))
    });
    println!("time: shape {time_shape:.4}, intensity {time_rate:.4}");
    println!("failure: shape {failure_shape:.4}, intensity {failure_rate:.4}");
    println!("windows differ: shape {several_shape:.4}, intensity {several_rate:.4}");
    for exact in [time_shape, failure_shape, failure_rate] {
        assert!((exact - 0.9).abs() < 0.018, "{exact}");
    }
    assert!((0.89..0.96).contains(&time_rate), "{time_rate}");
    for nearly in [several_shape, several_rate] {
        assert!((nearly - 0.9).abs() < 0.03, "{nearly}");
    }
}

/// How often the 90 % limits of the mean cumulative function hold the truth, by number of
/// units: with few units the normal ones are too narrow, and the notes of the view say so.
#[test]
fn limits_of_the_mean_cumulative_function_need_some_units() {
    let coverage = |n: usize, uneven: bool, of: fn(&Step, f64) -> Option<(f64, f64)>| {
        share(|rng| {
            let unit = |k: usize, rng: &mut ChaCha8Rng| {
                let part = k as f64 / n as f64;
                let end = if uneven { 60.0 + 40.0 * part } else { 100.0 };
                // Units of their own rates, mean 1 in 20: a Poisson process would be too tame.
                let rate: f64 = 0.05 * (0.5 + rng.random::<f64>());
                power_unit(rng, 1.0, 1.0 / rate, 0.0, end)
            };
            let units = Units::new((0..n).map(|k| unit(k, rng)).collect());
            let steps = mean_cumulative(&units);
            let step = steps.iter().rev().find(|s| s.time <= 80.0)?;
            let (lower, upper) = of(step, 0.9)?;
            Some(lower <= 4.0 && 4.0 <= upper)
        })
    };
    for n in [3, 5, 10, 20, 40] {
        let normal = coverage(n, false, Step::limits);
        let apart = coverage(n, true, Step::limits);
        let wide = coverage(n, false, Step::wide_limits);
        let wide_apart = coverage(n, true, Step::wide_limits);
        println!(
            "{n} units: normal {normal:.4}, windows differ {apart:.4}; \
             widened {wide:.4}, windows differ {wide_apart:.4}"
        );
        match n {
            3 | 5 => assert!(normal < 0.85, "{n}: {normal}"),
            10 => {}
            _ => assert!((normal - 0.885).abs() < 0.03, "{n}: {normal}"),
        }
        for wide in [wide, wide_apart] {
            assert!((0.87..0.975).contains(&wide), "{n}: {wide}");
        }
    }
}

/// Under a power law the test of fit finds a misfit in 5 % of cases, whatever the shape.
#[test]
fn the_test_of_fit_keeps_its_level() {
    // The critical value by one seed serves other seeds: the distance has one distribution.
    let mut found = 0;
    let mut all = 0;
    for seed in 0..replicates().min(1_500) {
        let mut rng = ChaCha8Rng::seed_from_u64(1_000_000 + seed);
        let units = Units::new(vec![power_unit(&mut rng, 0.7, 3.0, 0.0, 60.0)]);
        let Ok(law) = fit_power_law(&units) else {
            continue;
        };
        let (Some(distance), Some(events)) = (law.cramer_von_mises(&units), law.telling_events())
        else {
            continue;
        };
        let Some(p) = cramer_von_mises_p(distance, events, 400, 11) else {
            continue;
        };
        all += 1;
        found += u32::from(p < 0.05);
    }
    let rate = f64::from(found) / f64::from(all);
    assert!((rate - 0.05).abs() < 0.02, "{rate}");
}
