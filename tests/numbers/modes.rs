//! Competing failure modes against a computed case and identities.

use proptest::prelude::*;
use wearbook::life::Life;
use wearbook::model::modes::{Combined, ModeFits};
use wearbook::model::{FitError, Weibull};

use crate::common::{cases, lives_of};

/// `R_all(500)` → 500.
fn between(name: &str, open: char, close: char) -> Option<&str> {
    name.split_once(open)?.1.split_once(close).map(|p| p.0)
}

#[test]
fn modes_agree_with_the_reference_case() {
    let case = cases("competing-modes").into_iter().next().unwrap();
    let modes = case.data["lives"].as_array().unwrap().iter();
    let lives: Vec<(Life, Option<&str>)> = lives_of(&case)
        .into_iter()
        .zip(modes.map(|life| life["mode"].as_str()))
        .collect();
    let fits = ModeFits::new(&lives);
    assert_eq!(fits.unfitted().count(), 0);
    let (kept, combined) = fits.combined().unwrap();
    let shares = combined.shares();
    let mut judged = 0;
    for expected in &case.expect {
        let name = expected.quantity.as_str();
        let place = between(name, '[', ']').map(|mode| {
            let found = kept.iter().position(|m| m.mode.as_deref() == Some(mode));
            found.unwrap()
        });
        let fit = place.map(|place| kept[place].fit.as_ref().unwrap());
        let got = match (name.split(['[', '(']).next().unwrap(), fit, place) {
            ("shape", Some(fit), _) => fit.weibull.shape,
            ("scale", Some(fit), _) => fit.weibull.scale,
            ("loglik", Some(fit), _) => fit.log_likelihood,
            ("share", _, Some(place)) => shares[place],
            ("R_all", ..) => {
                combined.reliability(between(name, '(', ')').unwrap().parse().unwrap())
            }
            ("b10_all", ..) => combined.life_at(0.1),
            ("b50_all", ..) => combined.life_at(0.5),
            ("mttf_all", ..) => combined.mean(),
            // Without a model: judged with the nonparametric estimates.
            ("cif" | "km_all", ..) => continue,
            other => panic!("{other:?}"),
        };
        expected.judge(&case, got);
        judged += 1;
    }
    assert_eq!(judged, 14);
    // The seal's shape is below 1: only the bearing's failures become rarer by renewal.
    let drive = combined.drive(1_500.0);
    let driver = kept[drive.driver.unwrap()];
    assert_eq!(driver.mode.as_deref(), Some("bearing"));
    let seal = kept.iter().position(|m| m.mode.as_deref() == Some("seal"));
    assert!(drive.rates[seal.unwrap()].fall() < 0.0);
}

/// Two exponential modes have closed forms: rates 1/100 and 1/300, mean 75, shares 3/4 and 1/4.
#[test]
fn constant_hazards_have_closed_forms_and_no_driver() {
    let lives = [100.0, 300.0].map(|scale| Weibull::new(1.0, scale).unwrap());
    let both = Combined::new(&lives).unwrap();
    assert!((both.mean() / 75.0 - 1.0).abs() < 1e-10);
    let shares = both.shares();
    assert!((shares[0] - 0.75).abs() < 1e-10 && (shares[1] - 0.25).abs() < 1e-10);
    let by = both.failures_by(75.0);
    assert!((by[0] - 0.75 * (1.0 - (-1.0_f64).exp())).abs() < 1e-10);
    assert!((both.life_at(0.5) - 75.0 * 2.0_f64.ln()).abs() < 1e-9);
    let drive = both.drive(40.0);
    assert_eq!(drive.driver, None);
    assert!((drive.rates[1].renewed * 300.0 - 1.0).abs() < 1e-9);
}

#[test]
fn a_mode_that_cannot_be_fitted_keeps_its_reason_and_the_unstated_count_as_a_mode() {
    let lives = [
        (Life::failure(500.0), Some("seal")),
        (Life::failure(800.0), Some("seal")),
        (Life::failure(300.0), None),
        (Life::failure(450.0), None),
        (Life::failure(900.0), Some("spring")),
        (Life::suspension(850.0), None),
    ];
    let fits = ModeFits::new(&lives);
    let names: Vec<_> = fits.modes.iter().map(|m| m.mode.as_deref()).collect();
    assert_eq!(names, [Some("seal"), Some("spring"), None]);
    let spring = &fits.modes[1];
    assert_eq!(spring.failures, 1);
    assert!(matches!(spring.fit, Err(FitError::OneFailure { .. })));
    assert_eq!(fits.unfitted().count(), 1);
    let (kept, combined) = fits.combined().unwrap();
    assert_eq!((kept.len(), combined.lives().len()), (2, 2));
    assert!(
        ModeFits::new(&[(Life::suspension(5.0), None)])
            .combined()
            .is_none()
    );
}

fn weibulls() -> impl Strategy<Value = Vec<Weibull>> {
    let one = (-1.2_f64..3.5, 1.0_f64..9.0);
    prop::collection::vec(
        one.prop_map(|(b, a)| Weibull::new(b.exp(), a.exp()).unwrap()),
        1..5,
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]

    /// Shares add up to 1, failures by any age to what has failed; one mode is a plain Weibull;
    /// other units change usages only; planned renewal lowers the rate of wear alone.
    #[test]
    fn what_the_modes_make_together_adds_up(lives in weibulls(), at in 0.05..3.0_f64, factor in 0.01..100.0_f64) {
        let all = Combined::new(&lives).unwrap();
        let near = |a: f64, b: f64, tolerance: f64| (a - b).abs() <= tolerance * (1.0 + b.abs());
        prop_assert!(near(all.shares().iter().sum(), 1.0, 1e-9));
        let t = all.life_at(0.5) * at;
        let by: f64 = all.failures_by(t).iter().sum();
        prop_assert!(near(by, -(-all.cumulative_hazard(t)).exp_m1(), 1e-9));
        prop_assert!(near(all.reliability(all.life_at(0.1)), 0.9, 1e-11));
        for life in &lives {
            let alone = Combined::new(&[*life]).unwrap();
            prop_assert!((alone.mean() / life.mean() - 1.0).abs() < 1e-8);
            prop_assert!((alone.mean_to(t) / life.mean_to(t) - 1.0).abs() < 1e-8);
            // Ten equal modes are one of ten times the hazard.
            let ten = Combined::new(&[*life; 10]).unwrap();
            prop_assert!((ten.mean() / life.mean() * 10.0_f64.powf(1.0 / life.shape) - 1.0).abs() < 1e-8);
        }
        let scaled: Vec<Weibull> = lives.iter().map(|l| Weibull { scale: l.scale * factor, ..*l }).collect();
        let scaled = Combined::new(&scaled).unwrap();
        prop_assert!((scaled.mean_to(t * factor) / all.mean_to(t) / factor - 1.0).abs() < 1e-8);
        let drive = all.drive(t);
        for (rate, life) in drive.rates.iter().zip(&lives) {
            let fall = rate.fall() / (rate.run_to_failure + rate.renewed);
            prop_assert!(fall * (life.shape - 1.0) > -1e-8, "{rate:?} {life:?}");
        }
        prop_assert_eq!(drive.driver.is_some(), lives.iter().zip(&drive.rates).any(|(l, r)| {
            l.shape > 1.0 && r.fall() > 1e-9 * r.run_to_failure
        }));
    }
}
