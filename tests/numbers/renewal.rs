//! Renewals to expect against the reference, a naive solution, and identities.

use crate::common::{Case, cases};
use wearbook::model::Weibull;
use wearbook::policy::renewal::{Expected, RenewalTable, expected};

fn renewal_case() -> Case {
    cases("renewal").remove(0)
}

/// `M(0.5)[shape=2.0]` → (0.5, 2.0).
fn parse(name: &str) -> (f64, f64) {
    let rest = name.strip_prefix("M(").unwrap();
    let (t, rest) = rest.split_once(")[shape=").unwrap();
    (
        t.parse().unwrap(),
        rest.trim_end_matches(']').parse().unwrap(),
    )
}

#[test]
fn the_renewal_function_agrees_with_the_reference() {
    let case = renewal_case();
    for expect in &case.expect {
        if let Some(shape) = expect.quantity.strip_prefix("asymptote_constant[shape=") {
            let shape: f64 = shape.trim_end_matches(']').parse().unwrap();
            let table = RenewalTable::new(shape, 200.0).unwrap();
            let got = table.failures(200.0) - 200.0 / table.mean_life();
            let want = expect.value.as_f64().unwrap();
            assert!((got - want).abs() < 1e-8, "{shape}: {got} {want}");
            continue;
        }
        let (t, shape) = parse(&expect.quantity);
        let table = RenewalTable::new(shape, 4.0).unwrap();
        expect.judge(&case, table.failures(t));
        // Looked up through a table of another reach and another scale, too.
        let life = Weibull::new(shape, 730.0).unwrap();
        expect.judge(
            &case,
            expected(&life, None, 0.0, 730.0 * t).unwrap().failures,
        );
    }
    assert_eq!(case.expect.len(), 45);
}

/// The reference values are held to 1e-8; what the tables reach is finer.
#[test]
fn the_reference_is_met_to_ten_digits() {
    let case = renewal_case();
    for expect in case.expect.iter().filter(|e| e.quantity.starts_with("M(")) {
        let (t, shape) = parse(&expect.quantity);
        let got = RenewalTable::new(shape, 4.0).unwrap().failures(t);
        let want = expect.value.as_f64().unwrap();
        assert!(
            (got / want - 1.0).abs() < 1e-10,
            "{}: {got} {want}",
            expect.quantity
        );
    }
}

/// Trapezoidal sums on a grid, as a textbook would do it; halving the step and extrapolating
/// takes out the error of second order.
fn naive(shape: f64, at: f64, t: f64, steps: usize) -> (f64, f64) {
    let h = t / steps as f64;
    let survivors = |s: f64| (-s.powf(shape)).exp();
    let failed: Vec<f64> = (0..=steps)
        .map(|n| 1.0 - survivors((n as f64 * h).min(at)))
        .collect();
    let cut = (at / h).round() as usize;
    let (mut m, mut p) = (vec![0.0; steps + 1], vec![0.0; steps + 1]);
    for n in 1..=steps {
        let (mut sum_m, mut sum_p) = (failed[n], 0.0);
        let mut own = 0.0;
        for j in 1..=n {
            let mass = failed[j] - failed[j - 1];
            // The new item's share of the half step it is put in.
            if j == 1 {
                own = 0.5 * mass;
                sum_m += 0.5 * mass * m[n - 1];
                sum_p += 0.5 * mass * p[n - 1];
            } else {
                sum_m += 0.5 * mass * (m[n - j] + m[n - j + 1]);
                sum_p += 0.5 * mass * (p[n - j] + p[n - j + 1]);
            }
        }
        if n >= cut {
            sum_m += survivors(at) * m[n - cut];
            sum_p += survivors(at) * (1.0 + p[n - cut]);
        }
        m[n] = sum_m / (1.0 - own);
        p[n] = sum_p / (1.0 - own);
    }
    (m[steps], p[steps])
}

#[test]
fn tables_agree_with_naive_sums() {
    for (shape, t, loose) in [
        (1.0, 6.0, 1e-6),
        (2.0, 6.0, 1e-6),
        (5.0, 4.0, 1e-5),
        (12.0, 3.0, 1e-4),
    ] {
        let table = RenewalTable::new(shape, t).unwrap();
        let (a, b) = (
            naive(shape, f64::INFINITY, t, 1_000).0,
            naive(shape, f64::INFINITY, t, 2_000).0,
        );
        let want = b + (b - a) / 3.0;
        let got = table.failures(t);
        assert!((got / want - 1.0).abs() < loose, "{shape}: {got} {want}");
    }
}

#[test]
fn tables_of_lives_cut_at_an_age_agree_with_naive_sums() {
    for (shape, at, t) in [
        (1.0, 0.5, 3.25),
        (2.0, 0.5, 3.25),
        (3.0, 0.75, 3.25),
        (1.5, 1.0, 2.5),
    ] {
        let table = RenewalTable::cut(shape, at, 6.0).unwrap();
        let (a, b) = (naive(shape, at, t, 1_040), naive(shape, at, t, 2_080));
        // Planned renewals jump at whole intervals, where such sums are of first order only.
        for (got, a, b, part, loose) in [
            (table.failures(t), a.0, b.0, 1.0 / 3.0, 2e-5),
            (table.planned(t), a.1, b.1, 1.0, 2e-5),
        ] {
            let want = b + (b - a) * part;
            assert!(
                (got / want - 1.0).abs() < loose,
                "{shape} {at}: {got} {want}"
            );
        }
    }
}

#[test]
fn without_wear_age_and_cuts_change_no_failure() {
    for at in [0.07, 0.5, 1.3] {
        let table = RenewalTable::cut(1.0, at, 20.0).unwrap();
        for t in [0.01, 0.5, 1.3, 7.77, 20.0] {
            assert!((table.failures(t) / t - 1.0).abs() < 1e-8, "{at} {t}");
            let aged = table.from_age(0.5 * at, t).failures;
            assert!((aged / t - 1.0).abs() < 1e-8, "{at} {t}: {aged}");
        }
    }
    let table = RenewalTable::new(1.0, 50.0).unwrap();
    for t in [1e-6, 0.3, 2.0, 50.0] {
        assert!((table.failures(t) / t - 1.0).abs() < 1e-11, "{t}");
        assert!((table.rate(t) - 1.0).abs() < 1e-7, "{t}");
        for age in [1e-9, 0.4, 30.0] {
            assert!(
                (table.from_age(age, t).failures / t - 1.0).abs() < 1e-10,
                "{age} {t}"
            );
        }
    }
}

/// Over the stated range a table does not change when its panels are others: with a reach a
/// little larger nothing moves, and with a cut far beyond (other panels) it is the same curve.
#[test]
fn the_answer_does_not_hang_on_the_panels() {
    for shape in [0.3, 0.5, 0.8, 1.3, 2.5, 4.0, 7.0, 12.0, 20.0] {
        let table = RenewalTable::new(shape, 50.0).unwrap();
        // A cut at a usage that nothing reaches moves the panels and not the answer.
        let never = 60.0_f64.powf(1.0 / shape);
        for t in [0.05, 0.4, 0.9, 1.37, 3.3, 11.1, 29.0, 50.0] {
            let got = table.failures(t);
            assert!(got.is_finite() && got >= 0.0);
            if never < 50.0 {
                let other = RenewalTable::cut(shape, never, 50.0).unwrap().failures(t);
                assert!(
                    (got / other - 1.0).abs() < 1e-9,
                    "{shape} {t}: {got} {other}"
                );
            }
        }
    }
}

/// In the long run `M(t) = t/μ + (σ² − μ²)/(2μ²)` (Smith & Leadbetter 1963; Cox, *Renewal
/// Theory*, 1962, section 4.2), and an item in equilibrium fails at rate 1/μ from the start.
#[test]
fn the_long_run_is_the_one_of_renewal_theory() {
    for shape in [0.5_f64, 0.8, 1.5, 2.0, 3.0, 4.0] {
        let moment = |n: f64| statrs::function::gamma::gamma(1.0 + n / shape);
        let (mean, square) = (moment(1.0), moment(2.0));
        let t = 50.0;
        let want = t / mean + square / (2.0 * mean * mean) - 1.0;
        let got = RenewalTable::new(shape, t).unwrap().failures(t);
        // Heavy tails settle slowly: at shape 0.5, √50 relaxation times have passed.
        let loose = if shape < 0.7 { 3e-3 } else { 1e-8 };
        assert!((got / want - 1.0).abs() < loose, "{shape}: {got} {want}");
    }
}

#[test]
fn an_age_just_after_new_is_new_and_the_rate_is_the_slope() {
    for shape in [0.3, 0.8, 1.5, 2.5, 6.0, 20.0] {
        let table = RenewalTable::new(shape, 5.0).unwrap();
        for t in [0.02, 0.6, 1.0, 2.2, 4.9] {
            let new = table.failures(t);
            let young = table
                .from_age(1e-15_f64.powf(1.0 / shape.min(1.0)), t)
                .failures;
            assert!(
                (young / new - 1.0).abs() < 1e-7,
                "{shape} {t}: {young} {new}"
            );
            let h = 1e-4 * t;
            let slope = (table.failures(t + h) - table.failures(t - h)) / (2.0 * h);
            assert!((table.rate(t) / slope - 1.0).abs() < 1e-4, "{shape} {t}");
        }
    }
}

/// The cost of renewals to expect per usage settles at the cost rate of age replacement.
#[test]
fn renewals_of_cut_lives_come_at_the_rates_of_age_replacement() {
    for (shape, at) in [(1.5, 0.4), (2.5, 0.7), (4.0, 0.6), (8.0, 0.9)] {
        let life = Weibull::new(shape, 1.0).unwrap();
        let table = RenewalTable::cut(shape, at, 40.0).unwrap();
        // Wald: E[renewals + 1]·mean cycle = t + E[what is left of the last cycle].
        let t = 40.0;
        let cycle = life.mean_to(at);
        let all = table.failures(t) + table.planned(t);
        let left = (all + 1.0) * cycle - t;
        assert!(left > 0.0 && left < at, "{shape}");
        let share = life.failed_by(at);
        // Failures are their share of all renewals, save in the last cycle.
        assert!((table.failures(t) - share * all).abs() < 0.6, "{shape}");
    }
}

#[test]
fn an_overdue_item_is_renewed_at_once() {
    let table = RenewalTable::cut(2.0, 0.5, 3.0).unwrap();
    for age in [0.5, 0.8, 40.0] {
        let got = table.from_age(age, 3.0);
        let then = Expected {
            failures: table.failures(3.0),
            planned: 1.0 + table.planned(3.0),
        };
        assert!((got.failures - then.failures).abs() < 1e-12);
        assert!((got.planned - then.planned).abs() < 1e-12);
    }
    // Due within the look ahead although no whole interval fits into it.
    let life = Weibull::new(2.0, 1_000.0).unwrap();
    let got = expected(&life, Some(800.0), 700.0, 100.0).unwrap();
    let reached = life.reliability(800.0) / life.reliability(700.0);
    assert!((got.planned - reached).abs() < 1e-12);
    let got = expected(&life, Some(800.0), 700.0, 99.0).unwrap();
    assert_eq!(got.planned, 0.0);
}

#[test]
fn what_cannot_be_answered_is_an_error() {
    assert!(RenewalTable::new(0.05, 1.0).is_err());
    assert!(RenewalTable::new(f64::NAN, 1.0).is_err());
    assert!(RenewalTable::new(2.0, 1e9).is_err());
    assert!(RenewalTable::new(2.0, f64::NAN).is_err());
    assert!(RenewalTable::cut(2.0, 0.0, 1.0).is_err());
    let life = Weibull::new(2.0, 1.0).unwrap();
    assert!(expected(&life, None, -1.0, 1.0).is_err());
    assert!(expected(&life, None, 0.0, 0.0).is_err());
}
