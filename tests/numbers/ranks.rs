//! Rank regression against the reference cases, and what a low r² is worth.

use proptest::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::family::Family;
use wearbook::model::rank_regression::{RankFit, RankMethod, Regress, fit_ranks};
use wearbook::model::ranks::{RankRule, adjusted_ranks, benard};

use crate::common::{Case, Expected, cases, sample_of};

fn method(words: &str) -> Option<RankMethod> {
    let (ranks, regress) = words.split_once('.')?;
    Some(RankMethod {
        family: Family::Weibull,
        ranks: match ranks {
            "exact" => RankRule::Exact,
            "benard" => RankRule::Benard,
            _ => return None,
        },
        regress: match regress {
            "xy" | "r2" => Regress::XOnY,
            "yx" => Regress::YOnX,
            _ => return None,
        },
    })
}

/// Judges a list value by value.
fn judge_list(case: &Case, expected: &Expected, got: &[f64]) {
    let want = expected.value.as_array().unwrap();
    assert_eq!(want.len(), got.len(), "{}: {}", case.id, expected.quantity);
    for (value, got) in want.iter().zip(got) {
        let one = Expected {
            value: value.clone(),
            ..expected.clone()
        };
        one.judge(case, *got);
    }
}

fn number(fit: &RankFit, name: &str) -> f64 {
    match name {
        "shape" => fit.shape,
        "scale" => fit.scale,
        _ => fit.r_squared,
    }
}

/// Ranks, plotting positions, both lines and r² of every case; NIST's printed values too.
#[test]
fn ranks_and_lines_agree_with_the_reference_cases() {
    let mut judged = 0;
    for case in cases("rank-regression") {
        let sample = sample_of(&case);
        let n = sample.count() as f64;
        let ranked = adjusted_ranks(&sample);
        for expected in &case.expect {
            let name = expected.quantity.trim_start_matches("published.");
            let shares = |rule: RankRule| -> Vec<f64> {
                ranked.iter().map(|f| rule.share(f.rank, n)).collect()
            };
            match name {
                "n" => expected.judge(&case, n),
                "adjusted_ranks" => {
                    let ranks: Vec<f64> = ranked.iter().map(|f| f.rank).collect();
                    judge_list(&case, expected, &ranks);
                }
                "median_ranks.exact" => judge_list(&case, expected, &shares(RankRule::Exact)),
                "median_ranks.benard" => judge_list(&case, expected, &shares(RankRule::Benard)),
                _ => {
                    let (words, last) = name.rsplit_once('.').unwrap();
                    let asked = method(name).or_else(|| method(words)).unwrap();
                    let fit = fit_ranks(&sample, asked).unwrap();
                    expected.judge(&case, number(&fit, last));
                }
            }
            judged += 1;
        }
    }
    assert!(judged >= 40, "only {judged} values were judged");
}

/// The 5 % and 95 % ranks are for limits on paper; the median ranks and Benard's are ours.
#[test]
fn median_ranks_agree_with_the_open_table() {
    let mut judged = 0;
    for case in cases("median-ranks") {
        for expected in &case.expect {
            let (name, n) = expected.quantity.split_once("[n=").unwrap();
            let n: u32 = n.trim_end_matches(']').parse().unwrap();
            let rule = match name {
                "median_ranks.exact" => RankRule::Exact,
                "median_ranks.benard" => RankRule::Benard,
                _ => continue,
            };
            let got: Vec<f64> = (1..=n)
                .map(|i| rule.share(f64::from(i), f64::from(n)))
                .collect();
            judge_list(&case, expected, &got);
            judged += 1;
        }
    }
    assert_eq!(judged, 10);
}

/// The critical r² against numpy with other random numbers, within Monte Carlo error
/// (`tests/reference/scripts/critical_r_squared.py`).
#[test]
fn the_critical_r_squared_agrees_with_an_outside_simulation() {
    let mut judged = 0;
    for case in cases("critical-r-squared") {
        for expected in &case.expect {
            let (family, pattern) = expected.quantity.split_once('.').unwrap();
            let ends = case.data["patterns"][pattern].as_str().unwrap();
            // Any usages in this order have this critical value.
            let lives = ends.chars().zip(1..).map(|(end, at)| match end {
                'f' => Life::failure(f64::from(at)),
                _ => Life::suspension(f64::from(at)),
            });
            let method = RankMethod {
                family: match family {
                    "weibull" => Family::Weibull,
                    _ => Family::Lognormal,
                },
                ..RankMethod::default()
            };
            let fit = fit_ranks(&Sample::new(lives.collect()).unwrap(), method).unwrap();
            expected.judge(&case, fit.judge_r_squared().unwrap().critical);
            judged += 1;
        }
    }
    assert_eq!(judged, 8);
}

fn ends() -> impl Strategy<Value = Vec<(f64, bool, u32)>> {
    prop::collection::vec((1.0..5_000.0_f64, any::<bool>(), 1_u32..3), 3..25)
}

fn sample(ends: &[(f64, bool, u32)], factor: f64) -> Sample {
    let lives = ends.iter().map(|&(at, failed, count)| Life {
        count,
        ..if failed {
            Life::failure(at * factor)
        } else {
            Life::suspension(at * factor)
        }
    });
    Sample::new(lives.collect()).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]

    /// Usage × c gives scale × c; counts stand for repeated rows; the order of rows plays no part.
    #[test]
    fn units_counts_and_order_do_not_matter(ends in ends(), factor in 0.001..1000.0_f64) {
        for family in [Family::Weibull, Family::Lognormal] {
            let method = RankMethod { family, ..RankMethod::default() };
            let Ok(fit) = fit_ranks(&sample(&ends, 1.0), method) else { continue };
            let scaled = fit_ranks(&sample(&ends, factor), method).unwrap();
            prop_assert!((scaled.shape / fit.shape - 1.0).abs() < 1e-7);
            prop_assert!((scaled.scale / (fit.scale * factor) - 1.0).abs() < 1e-6);
            let mut rows: Vec<(f64, bool, u32)> = ends.iter()
                .flat_map(|&(at, failed, count)| vec![(at, failed, 1); count as usize])
                .collect();
            rows.reverse();
            let unrolled = fit_ranks(&sample(&rows, 1.0), method).unwrap();
            prop_assert_eq!(&unrolled.points, &fit.points);
            prop_assert_eq!(unrolled.shape, fit.shape);
        }
    }

    /// Regressing the other way gives the lower shape by the factor r².
    #[test]
    fn the_two_lines_differ_by_r_squared(ends in ends()) {
        let line = |regress| fit_ranks(&sample(&ends, 1.0), RankMethod { regress, ..RankMethod::default() });
        if let (Ok(xy), Ok(yx)) = (line(Regress::XOnY), line(Regress::YOnX)) {
            prop_assert!((yx.shape / (xy.shape * xy.r_squared) - 1.0).abs() < 1e-9);
            prop_assert!(xy.r_squared > 0.0 && xy.r_squared <= 1.0);
        }
    }

    /// Ranks rise, stay below n + 1, and without suspensions count 1, 2, 3.
    #[test]
    fn ranks_rise_within_the_number_of_items(ends in ends()) {
        let sample = sample(&ends, 1.0);
        let (n, ranked) = (sample.count() as f64, adjusted_ranks(&sample));
        prop_assert_eq!(ranked.len() as u64, sample.failures());
        for pair in ranked.windows(2) {
            prop_assert!(pair[0].rank < pair[1].rank && pair[0].at_risk > pair[1].at_risk);
        }
        if let Some(last) = ranked.last() {
            prop_assert!(last.rank <= n + 1e-9);
            let share = RankRule::Exact.share(last.rank, n);
            prop_assert!((share - benard(last.rank, n)).abs() < 0.02);
            if sample.suspensions() == 0 {
                prop_assert!((last.rank - n).abs() < 1e-9);
            }
        }
    }
}
