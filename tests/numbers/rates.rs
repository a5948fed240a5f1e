//! Exact Poisson limits against the reference, and how often they hold.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearbook::recurrence::{rate_limits, rate_ratio};

use crate::common::cases;

#[test]
fn rates_and_ratios_agree_with_the_reference() {
    let cases = cases("poisson-rates");
    let [case] = &cases[..] else {
        panic!("{} cases", cases.len());
    };
    let number = |row: &serde_json::Value, key: &str| row[key].as_f64().unwrap();
    let mut judged = 0;
    for expected in &case.expect {
        let (what, rest) = expected.quantity.split_once('[').unwrap();
        let at: usize = rest.trim_end_matches(']').parse().unwrap();
        let got = if what.starts_with("rate") {
            let row = &case.data["rates"][at];
            let events = row["events"].as_u64().unwrap();
            let found = rate_limits(events, number(row, "usage"), number(row, "confidence"));
            let found = found.unwrap();
            match what {
                "rate_lower" => found.lower,
                _ => found.upper,
            }
        } else {
            let row = &case.data["ratios"][at];
            let side = |n: &str| {
                (
                    row[format!("events_{n}")].as_u64().unwrap(),
                    number(row, &format!("usage_{n}")),
                )
            };
            let found = rate_ratio(side("1"), side("2"), number(row, "confidence")).unwrap();
            match what {
                "ratio_lower" => found.lower,
                "ratio_upper" => found.upper.unwrap(),
                _ => found.p,
            }
        };
        expected.judge(case, got);
        judged += 1;
    }
    assert!(judged >= 25, "{judged}");
}

/// Limits of a count that goes by steps hold the truth at least as often as they say.
#[test]
fn limits_hold_at_least_as_often_as_they_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(1936);
    let poisson = |mean: f64, rng: &mut ChaCha8Rng| {
        // Arrivals one by one until the time is up.
        let (mut at, mut n) = (0.0, 0);
        loop {
            at -= (1.0 - rng.random::<f64>()).ln();
            if at > mean {
                return n;
            }
            n += 1;
        }
    };
    for (first, second) in [(2.0, 2.0), (5.0, 12.0), (20.0, 14.0)] {
        let (mut rate, mut ratio, runs) = (0, 0, 4_000);
        for _ in 0..runs {
            let (a, b) = (poisson(first, &mut rng), poisson(second, &mut rng));
            let one = rate_limits(a, 1.0, 0.9).unwrap();
            rate += u64::from(one.lower <= first && first <= one.upper);
            ratio += u64::from(rate_ratio((a, 1.0), (b, 1.0), 0.9).is_none_or(|found| {
                let truth = second / first;
                found.lower <= truth && found.upper.is_none_or(|upper| truth <= upper)
            }));
        }
        // 0.9 less three standard errors.
        let least = 0.9 - 3.0 * (0.09 / f64::from(runs)).sqrt();
        for held in [rate, ratio] {
            assert!(
                held as f64 / f64::from(runs) > least,
                "{first} {second} {held}"
            );
        }
    }
}
