//! Estimates without a model against computed cases, an outside program, and each other.

use proptest::prelude::*;
use wearbook::life::{End, Life, Sample};
use wearbook::model::fit_weibull;
use wearbook::model::nonparametric::{
    Incidence, LimitsScale, NonparametricError, Turnbull, hazard_sum, incidence, largest_distance,
    product_limit, turnbull,
};

use crate::common::{Case, Expected, cases, lives_of, sample_of};

/// Judges a list element by element.
fn judge_all(expected: &Expected, case: &Case, got: &[f64]) {
    let want = expected.value.as_array().unwrap();
    assert_eq!(got.len(), want.len(), "{}: {}", case.id, expected.quantity);
    for (got, want) in got.iter().zip(want) {
        Expected {
            value: want.clone(),
            ..expected.clone()
        }
        .judge(case, *got);
    }
}

/// `km(2000).loglog90.lower` → (2000, loglog, 0.9, true).
fn parse_limit(name: &str) -> Option<(f64, LimitsScale, f64, bool)> {
    let (usage, rest) = name.strip_prefix("km(")?.split_once(").")?;
    let (kind, side) = rest.split_once('.')?;
    let (scale, level) = kind.split_at(kind.len() - 2);
    let scale = match scale {
        "plain" => LimitsScale::Plain,
        "log" => LimitsScale::Log,
        "loglog" => LimitsScale::LogLog,
        _ => return None,
    };
    let level = level.parse::<f64>().ok()? / 100.0;
    Some((usage.parse().ok()?, scale, level, side == "lower"))
}

fn at(name: &str, of: &str) -> Option<f64> {
    name.strip_prefix(of)?
        .strip_prefix('(')?
        .strip_suffix(')')?
        .parse()
        .ok()
}

fn judge_product_limit(case: &Case) -> usize {
    let sample = sample_of(case);
    let km = product_limit(&sample, 0.9, LimitsScale::LogLog).unwrap();
    let hazard = hazard_sum(&sample, 0.9).unwrap();
    let mut judged = 0;
    for expected in &case.expect {
        let name = expected.quantity.as_str();
        judged += 1;
        let list: Vec<f64> = match name {
            "failure_times" => km.steps.iter().map(|s| s.time).collect(),
            "at_risk" => km.steps.iter().map(|s| s.at_risk as f64).collect(),
            "km" => km.steps.iter().map(|s| s.estimate).collect(),
            "km_se" => km.steps.iter().filter_map(|s| s.standard_error).collect(),
            "nelson_aalen" => hazard.steps.iter().map(|s| s.estimate).collect(),
            "nelson_aalen_se" => hazard
                .steps
                .iter()
                .filter_map(|s| s.standard_error)
                .collect(),
            "median" => {
                match expected.value.as_f64() {
                    Some(_) => expected.judge(case, km.life_at(0.5).unwrap()),
                    None => assert_eq!(km.life_at(0.5), None, "{}", case.id),
                }
                continue;
            }
            _ if at(name, "km").is_some() => {
                expected.judge(case, km.reliability(at(name, "km").unwrap()));
                continue;
            }
            _ if at(name, "nelson_aalen").is_some() => {
                let usage = at(name, "nelson_aalen").unwrap();
                expected.judge(case, hazard.cumulative_hazard(usage));
                continue;
            }
            _ => {
                let (usage, scale, level, lower) =
                    parse_limit(name).unwrap_or_else(|| panic!("{}: {name}", case.id));
                let curve = product_limit(&sample, level, scale).unwrap();
                let step = curve.at(usage).unwrap();
                let got = if lower { step.lower } else { step.upper };
                expected.judge(case, got.unwrap());
                continue;
            }
        };
        judge_all(expected, case, &list);
    }
    judged
}

fn judge_turnbull(case: &Case) -> usize {
    let found = turnbull(&sample_of(case)).unwrap();
    assert!(found.miss < 1e-8);
    let intervals: Vec<f64> = found.steps.iter().flat_map(|s| [s.from, s.to]).collect();
    for expected in &case.expect {
        match expected.quantity.as_str() {
            "turnbull.intervals" => {
                let flat = Expected {
                    value: expected
                        .value
                        .as_array()
                        .unwrap()
                        .iter()
                        .flat_map(|pair| pair.as_array().unwrap().clone())
                        .collect(),
                    ..expected.clone()
                };
                judge_all(&flat, case, &intervals);
            }
            "turnbull.mass" => {
                let mass: Vec<f64> = found.steps.iter().map(|s| s.mass).collect();
                judge_all(expected, case, &mass);
            }
            "turnbull.survival_after" => {
                let share: Vec<f64> = found.steps.iter().map(|s| s.estimate).collect();
                judge_all(expected, case, &share);
            }
            "turnbull.loglik" => expected.judge(case, found.log_likelihood),
            other => panic!("{}: {other}", case.id),
        }
    }
    case.expect.len()
}

#[test]
fn estimates_agree_with_the_reference_cases() {
    let mut judged = 0;
    for case in cases("nonparametric") {
        judged += match case.id.as_str() {
            id if id.starts_with("km-") => judge_product_limit(&case),
            id if id.starts_with("turnbull-") => judge_turnbull(&case),
            id if id.starts_with("incidence-") => judge_incidence(&case),
            other => panic!("{other}: no test looks at it"),
        };
    }
    assert!(judged > 100, "only {judged} values were judged");
}

fn incidence_of(case: &Case, confidence: f64) -> Incidence {
    let modes: Vec<Option<&str>> = case.data["lives"]
        .as_array()
        .unwrap()
        .iter()
        .map(|life| life["mode"].as_str())
        .collect();
    let lives: Vec<(Life, Option<&str>)> = lives_of(case).into_iter().zip(modes).collect();
    incidence(&lives, confidence).unwrap()
}

/// `cif[seal](500)`, `cif_se[seal]`, `cif[seal].loglog90.lower`, `times[seal]`.
fn judge_incidence(case: &Case) -> usize {
    let found = incidence_of(case, 0.9);
    for expected in &case.expect {
        let (what, rest) = expected.quantity.split_once('[').unwrap();
        let (mode, tail) = rest.split_once(']').unwrap();
        let wanted = (mode != "not stated").then_some(mode);
        let curve = found
            .modes
            .iter()
            .find(|m| m.mode.as_deref() == wanted)
            .unwrap();
        let list: Vec<f64> = curve
            .steps
            .iter()
            .map(|step| match (what, tail) {
                ("times", "") => step.time,
                ("events", "") => step.events as f64,
                ("at_risk", "") => step.at_risk as f64,
                ("cif", "") => step.estimate,
                ("cif_se", "") => step.standard_error,
                ("cif", ".loglog90.lower") => step.lower.unwrap(),
                ("cif", ".loglog90.upper") => step.upper.unwrap(),
                other => panic!("{}: {other:?}", case.id),
            })
            .collect();
        judge_all(expected, case, &list);
    }
    case.expect.len()
}

#[test]
fn incidence_agrees_with_the_case_of_two_modes() {
    let case = cases("competing-modes").into_iter().next().unwrap();
    let found = incidence_of(&case, 0.9);
    let km = product_limit(&sample_of(&case), 0.9, LimitsScale::LogLog).unwrap();
    let mut judged = 0;
    for expected in &case.expect {
        let name = &expected.quantity;
        let got = if let Some(usage) = at(name, "km_all") {
            km.reliability(usage)
        } else if let Some(rest) = name.strip_prefix("cif[") {
            let (mode, usage) = rest.split_once(']').unwrap();
            let curve = found
                .modes
                .iter()
                .find(|m| m.mode.as_deref() == Some(mode))
                .unwrap();
            curve.failed_by(at(usage, "").unwrap())
        } else {
            continue;
        };
        expected.judge(&case, got);
        judged += 1;
    }
    assert_eq!(judged, 9);
}

#[test]
fn the_distance_from_a_fitted_weibull_agrees_with_the_reference_case() {
    let case = cases("gof")
        .into_iter()
        .find(|c| c.id == "gof-km-fans")
        .unwrap();
    let sample = sample_of(&case);
    let km = product_limit(&sample, 0.9, LimitsScale::LogLog).unwrap();
    let weibull = fit_weibull(&sample).unwrap().weibull;
    let steps = km.steps.iter().map(|s| (s.time, s.estimate));
    let distance = largest_distance(steps, |t| weibull.reliability(t));
    case.expected("km_distance").unwrap().judge(&case, distance);
}

/// Worked by hand: both items watched first fail (2 of 2 at 100 and 2 of 2 by 200) before the
/// others come under watch at 300, so the share is 0 from 200 on and tells nothing of those.
#[test]
fn a_risk_set_that_empties_early_is_told() {
    let late = |entry, at| Life {
        entry,
        ..Life::failure(at)
    };
    let lives = vec![
        Life::failure(100.0),
        Life::failure(200.0),
        late(300.0, 500.0),
        late(300.0, 700.0),
    ];
    let sample = Sample::new(lives).unwrap();
    let km = product_limit(&sample, 0.9, LimitsScale::LogLog).unwrap();
    assert_eq!(km.emptied, Some(200.0));
    assert_eq!(km.watch.gaps, [(200.0, 300.0)]);
    let shares: Vec<f64> = km.steps.iter().map(|s| s.estimate).collect();
    assert_eq!(shares, [0.5, 0.0, 0.0, 0.0]);
    let found = turnbull(&sample).unwrap();
    assert_eq!(found.emptied, Some(200.0));
    let shares: Vec<f64> = found.steps.iter().map(|s| s.estimate).collect();
    assert_eq!(shares, [0.5, 0.0, 0.0, 0.0]);
}

#[test]
fn windows_are_refused_where_a_known_usage_is_needed() {
    let sample = Sample::new(vec![Life::interval(10.0, 20.0), Life::failure(30.0)]).unwrap();
    let refused = NonparametricError::Windows { windows: 1 };
    assert_eq!(
        product_limit(&sample, 0.9, LimitsScale::LogLog),
        Err(refused.clone())
    );
    assert_eq!(hazard_sum(&sample, 0.9), Err(refused.clone()));
    let lives: Vec<_> = sample.lives().iter().map(|l| (*l, None)).collect();
    assert_eq!(incidence(&lives, 0.9), Err(refused));
    assert_eq!(turnbull(&Sample::default()), Err(NonparametricError::Empty));
}

/// Without failures nothing steps; the share surviving is 1 as far as anyone looked.
#[test]
fn no_failure_is_no_step() {
    let sample = Sample::new(vec![Life::suspension(10.0), Life::suspension(40.0)]).unwrap();
    assert!(turnbull(&sample).unwrap().steps.is_empty());
    let km = product_limit(&sample, 0.9, LimitsScale::LogLog).unwrap();
    assert!(km.steps.is_empty());
    assert_eq!((km.reliability(30.0), km.watch.until), (1.0, 40.0));
}

/// Failures and suspensions on a coarse grid, so that ties are common.
fn known_life() -> impl Strategy<Value = Life> {
    let entry = prop_oneof![3 => Just(0_u32), 1 => 1_u32..30];
    (entry, 1_u32..40, any::<bool>(), 1_u32..4).prop_map(|(entry, length, failed, count)| {
        let at = f64::from(entry + length);
        Life {
            entry: f64::from(entry),
            end: if failed {
                End::Failure { at }
            } else {
                End::Suspension { at }
            },
            count,
        }
    })
}

/// As above with windows and left-censored lives among them.
fn any_life() -> impl Strategy<Value = Life> {
    (known_life(), 0..4, 1_u32..12).prop_map(|(life, kind, width)| {
        let at = life.last_usage();
        let end = match kind {
            0 => End::Interval {
                lo: at,
                hi: at + f64::from(width),
            },
            1 => End::Left { hi: at },
            _ => life.end,
        };
        Life { end, ..life }
    })
}

fn close(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance * (1.0 + a.abs().max(b.abs()))
}

/// The Kuhn-Tucker conditions in the masses themselves, at every place where a failure could
/// lie: moving a hair of mass there must not make the lives likelier. Written from the
/// likelihood, without innermost intervals or hazards.
fn worst_gain(sample: &Sample, found: &Turnbull) -> (f64, f64) {
    let span = |life: &Life| match life.end {
        End::Failure { at } => (at, at),
        End::Suspension { at } => (at, f64::INFINITY),
        End::Interval { lo, hi } => (lo, hi),
        End::Left { hi } => (life.entry, hi),
    };
    let holds = |life: &Life, t: f64| {
        let (lo, hi) = span(life);
        if lo == hi { t == lo } else { t > lo && t <= hi }
    };
    let mut points: Vec<f64> = found
        .steps
        .iter()
        .map(|s| (s.to, s.mass))
        .map(|p| p.0)
        .collect();
    let mut masses: Vec<f64> = found.steps.iter().map(|s| s.mass).collect();
    let beyond = 1.0 - masses.iter().sum::<f64>();
    points.push(f64::MAX);
    masses.push(beyond.max(0.0));
    let share = |inside: &dyn Fn(f64) -> bool| -> f64 {
        let kept = points.iter().zip(&masses).filter(|(t, _)| inside(**t));
        kept.map(|(_, m)| m).sum()
    };
    let known: Vec<(Life, f64, f64)> = sample
        .lives()
        .iter()
        .map(|life| {
            let a = share(&|t| holds(life, t));
            let b = share(&|t| t > life.entry);
            (*life, a, b)
        })
        .collect();
    let gain = |t: f64| -> f64 {
        let sum: f64 = known
            .iter()
            .map(|(life, a, b)| {
                let mut one = 0.0;
                if holds(life, t) {
                    one += 1.0 / a;
                }
                if t > life.entry {
                    one -= 1.0 / b;
                }
                f64::from(life.count) * one
            })
            .sum();
        sum / sample.count() as f64
    };
    let mut ends: Vec<f64> = sample
        .lives()
        .iter()
        .flat_map(|l| [l.entry, span(l).0, span(l).1])
        .filter(|t| t.is_finite())
        .collect();
    ends.sort_by(f64::total_cmp);
    ends.dedup();
    let between = ends.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
    let candidates: Vec<f64> = ends
        .iter()
        .copied()
        .chain(between)
        .chain([f64::MAX])
        .collect();
    let most = candidates
        .iter()
        .map(|t| gain(*t))
        .fold(f64::NEG_INFINITY, f64::max);
    let held = points
        .iter()
        .zip(&masses)
        .filter(|(_, m)| **m > 1e-9)
        .map(|(t, _)| gain(*t).abs())
        .fold(0.0, f64::max);
    (most, held)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..Default::default() })]

    /// With every life watched to failure the product limit is the share still above.
    #[test]
    fn without_suspensions_it_is_the_empirical_share(ends in prop::collection::vec(1_u32..60, 1..40)) {
        let lives = ends.iter().map(|t| Life::failure(f64::from(*t))).collect();
        let km = product_limit(&Sample::new(lives).unwrap(), 0.9, LimitsScale::LogLog).unwrap();
        for step in &km.steps {
            let above = ends.iter().filter(|t| f64::from(**t) > step.time).count() as f64;
            prop_assert!(close(step.estimate, above / ends.len() as f64, 1e-12));
        }
    }

    /// On lives of known usage Turnbull's estimate is the product limit, late entry and all.
    #[test]
    fn without_windows_both_estimates_are_one(lives in prop::collection::vec(known_life(), 1..40)) {
        let sample = Sample::new(lives).unwrap();
        let km = product_limit(&sample, 0.9, LimitsScale::LogLog).unwrap();
        let found = turnbull(&sample).unwrap();
        prop_assert_eq!(km.steps.len(), found.steps.len());
        prop_assert_eq!(km.emptied, found.emptied);
        for (a, b) in km.steps.iter().zip(&found.steps) {
            prop_assert_eq!((a.time, a.time), (b.from, b.to));
            prop_assert!(close(a.estimate, b.estimate, 1e-9), "{a:?} {b:?}");
            prop_assert!(close(a.events as f64, b.events, 1e-9));
        }
    }

    /// No distribution makes the lives likelier.
    #[test]
    fn no_mass_moved_anywhere_gains(lives in prop::collection::vec(any_life(), 1..60)) {
        let sample = Sample::new(lives).unwrap();
        let found = turnbull(&sample).unwrap();
        prop_assert!(found.miss <= 1e-8);
        // Where the share falls to 0 early, no distribution reaches the bound: it is a limit.
        if found.emptied.is_none() {
            let (most, held) = worst_gain(&sample, &found);
            prop_assert!(most < 1e-7 && held < 1e-7, "gains {most:e}, held {held:e}");
        }
        let events: f64 = found.steps.iter().map(|s| s.events).sum();
        prop_assert!(close(events, sample.failures() as f64, 1e-9));
    }

    /// Order, counts and units do not matter.
    #[test]
    fn the_estimate_is_of_the_lives_and_nothing_else(
        lives in prop::collection::vec(any_life(), 1..30), turn in 0_usize..30, factor in 0.01..100.0_f64,
    ) {
        let mut turned = lives.clone();
        turned.rotate_left(turn % lives.len());
        let single: Vec<Life> = lives
            .iter()
            .flat_map(|l| std::iter::repeat_n(Life { count: 1, ..*l }, l.count as usize))
            .collect();
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
        let [one, other, apart, scaled] = [lives, turned, single, scaled]
            .map(|lives| turnbull(&Sample::new(lives).unwrap()).unwrap());
        for (found, factor) in [(other, 1.0), (apart, 1.0), (scaled, factor)] {
            prop_assert!(close(one.log_likelihood, found.log_likelihood, 1e-9));
            for t in 0..80 {
                let t = f64::from(t) + 0.5;
                let (a, b) = (one.reliability(t), found.reliability(t * factor));
                // Where the likelihood is flat the share may wander by the root of its tolerance.
                prop_assert!(close(a, b, 1e-5), "{t}: {a} {b}");
            }
        }
    }

    /// Failures by all modes and what survives make up the whole; each only grows.
    #[test]
    fn incidences_and_the_product_limit_add_up(
        lives in prop::collection::vec((known_life(), 0_usize..4), 1..40),
    ) {
        let names = [Some("seal"), Some("spring"), Some("ring"), None];
        let tagged: Vec<(Life, Option<&str>)> = lives.iter().map(|(l, m)| (*l, names[*m])).collect();
        let found = incidence(&tagged, 0.9).unwrap();
        let sample = Sample::new(lives.iter().map(|(l, _)| *l).collect()).unwrap();
        let km = product_limit(&sample, 0.9, LimitsScale::LogLog).unwrap();
        for step in &km.steps {
            let failed: f64 = found.modes.iter().map(|m| m.failed_by(step.time)).sum();
            prop_assert!(close(failed, 1.0 - step.estimate, 1e-12));
        }
        prop_assert_eq!(found.emptied, km.emptied);
        for mode in &found.modes {
            for step in &mode.steps {
                let fine = match (step.lower, step.upper) {
                    (Some(l), Some(u)) => 0.0 <= l && l <= step.estimate && step.estimate <= u && u <= 1.0,
                    _ => step.estimate == 0.0 || step.estimate >= 1.0 - 1e-12,
                };
                prop_assert!(fine, "{step:?}");
            }
        }
        // One mode alone is one minus the product limit, and so is its variance.
        let alone: Vec<(Life, Option<&str>)> = lives.iter().map(|(l, _)| (*l, Some("seal"))).collect();
        if let [mode] = incidence(&alone, 0.9).unwrap().modes.as_slice() {
            for (a, b) in mode.steps.iter().zip(&km.steps) {
                let (a, b) = (a.standard_error, b.standard_error.unwrap_or(0.0));
                prop_assert!(close(a * a, b * b, 1e-12));
            }
        }
    }

    /// With nothing cut short, a mode's share is a plain share: `F(1 − F)/n`.
    #[test]
    fn without_suspensions_incidence_is_a_plain_share(ends in prop::collection::vec((1_u32..30, any::<bool>()), 2..40)) {
        let lives: Vec<(Life, Option<&str>)> = ends
            .iter()
            .map(|(t, seal)| (Life::failure(f64::from(*t)), Some(if *seal { "seal" } else { "ring" })))
            .collect();
        let n = ends.len() as f64;
        for mode in &incidence(&lives, 0.9).unwrap().modes {
            for step in &mode.steps {
                let seal = mode.mode.as_deref() == Some("seal");
                let by = ends.iter().filter(|(t, s)| *s == seal && f64::from(*t) <= step.time).count() as f64 / n;
                prop_assert!(close(step.estimate, by, 1e-12));
                prop_assert!(close(step.standard_error, (by * (1.0 - by) / n).sqrt(), 1e-8));
            }
        }
    }
}
