//! Policies against published and computed cases, and against identities.

use crate::common::{Case, Expected, sample_of};
use wearbook::model::Weibull;
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::policy::{AgePolicy, Costs, age_policy, cost_rate, decide};

fn field(data: &serde_json::Value, key: &str) -> f64 {
    data[key].as_f64().unwrap()
}

fn policy_of(row: &serde_json::Value) -> (Weibull, Costs, AgePolicy) {
    let life = Weibull::new(field(row, "shape"), field(row, "scale")).unwrap();
    let costs = Costs::new(field(row, "planned_cost"), field(row, "failure_cost")).unwrap();
    (life, costs, age_policy(&life, costs))
}

fn case(id: &str) -> Case {
    crate::common::cases("age-replacement")
        .into_iter()
        .find(|c| c.id == id)
        .unwrap()
}

#[test]
fn the_cost_curve_agrees_with_the_reference() {
    let case = case("age-replacement-curve");
    let (life, costs, policy) = policy_of(&case.data);
    for expected in &case.expect {
        let name = expected.quantity.as_str();
        let got = match name {
            "cost_rate_run_to_failure" => policy.run_to_failure_cost_rate,
            "T_opt" => policy.interval.unwrap(),
            "cost_rate" => policy.cost_rate,
            "cost_ratio" => 1.0 - policy.saving,
            "T_within_5pct.lower" => policy.near.unwrap().0,
            "T_within_5pct.upper" => policy.near.unwrap().1.unwrap(),
            _ => {
                let at = name
                    .strip_prefix("cost_rate(T=")
                    .unwrap()
                    .trim_end_matches(')');
                cost_rate(&life, costs, at.parse().unwrap()).unwrap()
            }
        };
        expected.judge(&case, got);
    }
}

#[test]
fn the_grid_of_shapes_and_cost_ratios_agrees_with_the_reference() {
    let case = case("age-replacement-grid");
    let (scale, planned) = (
        field(&case.data, "scale"),
        field(&case.data, "planned_cost"),
    );
    let mut judged = 0;
    for expected in &case.expect {
        let (name, key) = expected
            .quantity
            .trim_end_matches(']')
            .split_once('[')
            .unwrap();
        let mut numbers = key
            .split(',')
            .map(|part| part.split_once('=').unwrap().1.parse::<f64>().unwrap());
        let (shape, ratio) = (numbers.next().unwrap(), numbers.next().unwrap());
        let life = Weibull::new(shape, scale).unwrap();
        let policy = age_policy(&life, Costs::new(planned, planned * ratio).unwrap());
        let at = policy.interval.unwrap();
        let got = match name {
            "T_opt" => at,
            "cost_rate" => policy.cost_rate,
            "cost_rate_run_to_failure" => policy.run_to_failure_cost_rate,
            "cost_ratio" => 1.0 - policy.saving,
            "mttf" => policy.mean_life,
            "R(T_opt)" => life.reliability(at),
            "mean_time_between_failures" => life.mean_to(at) / life.failed_by(at),
            "mean_time_between_replacements" => life.mean_to(at),
            other => panic!("unknown quantity {other}"),
        };
        expected.judge(&case, got);
        judged += 1;
    }
    assert!(judged >= 150);
}

#[test]
fn no_interior_optimum_is_told_as_run_to_failure() {
    let case = case("age-replacement-no-optimum");
    for expected in &case.expect {
        let (name, n) = expected
            .quantity
            .trim_end_matches(']')
            .split_once('[')
            .unwrap();
        let row = &case.data["rows"][n.parse::<usize>().unwrap()];
        let (life, _, policy) = policy_of(row);
        match name {
            "interior_optimum" => {
                assert_eq!(
                    policy.interval.is_some(),
                    expected.value.as_bool().unwrap(),
                    "{n}"
                );
            }
            "best_policy" => assert!(policy.interval.is_none() && policy.saving == 0.0),
            "cost_rate" => expected.judge(&case, policy.cost_rate),
            "T_opt_over_scale" => expected.judge(&case, policy.interval.unwrap() / life.scale),
            "saving_fraction" => assert!(policy.saving.abs() <= 1e-3),
            "R(T_opt)" => assert!(life.reliability(policy.interval.unwrap()) < 1e-9),
            other => panic!("unknown quantity {other}"),
        }
    }
}

/// The two costs as hours out of service: with `D` the least expected downtime per hour of
/// running, availability is `1/(1 + D)`.
#[test]
fn hours_out_of_service_in_place_of_money_give_least_downtime() {
    let case = case("age-replacement-availability");
    for expected in &case.expect {
        let (name, n) = expected
            .quantity
            .trim_end_matches(']')
            .split_once('[')
            .unwrap();
        let row = &case.data["rows"][n.parse::<usize>().unwrap()];
        let life = Weibull::new(field(row, "shape"), field(row, "scale")).unwrap();
        let hours = Costs::new(
            field(row, "planned_downtime"),
            field(row, "failure_downtime"),
        )
        .unwrap();
        let policy = age_policy(&life, hours);
        match name {
            "T_opt" => expected.judge(&case, policy.interval.unwrap()),
            "availability" => expected.judge(&case, 1.0 / (1.0 + policy.cost_rate)),
            "availability_run_to_failure" => {
                expected.judge(&case, 1.0 / (1.0 + policy.run_to_failure_cost_rate));
            }
            "interior_optimum" => {
                assert_eq!(policy.interval.is_some(), expected.value.as_bool().unwrap())
            }
            other => panic!("unknown quantity {other}"),
        }
    }
}

/// DIFFERS: the cases take expectations over 800 equal-probability points of the scale,
/// whose mean of ln G is off by about 0.15/(800·r): up to 1e-4 in ln cost here (the exact mean,
/// (ln S − ψ(r))/k averaged over the shape, gives −0.439318 where open-3 states −0.439222), which is
/// allowed for beside the stated tolerance. Interval, chance, saving and range need no more
/// than stated.
#[test]
fn decisions_agree_with_the_reference_cases() {
    let mut judged = 0;
    for case in crate::common::cases("posterior") {
        let sample = sample_of(&case);
        let posterior = Posterior::new(&sample, ShapePrior::DECISION).unwrap();
        // The cases state cost rates per geometric mean of the lives, not per hour.
        let unit = sample
            .lives()
            .iter()
            .map(|l| l.last_usage().ln())
            .sum::<f64>()
            / sample.lives().len() as f64;
        for expected in case
            .expect
            .iter()
            .filter(|e| e.quantity.starts_with("decision["))
        {
            let (costs, name) = expected.quantity["decision[".len()..]
                .split_once("].")
                .unwrap();
            let (planned, failed) = costs.split_once(',').unwrap();
            let costs = Costs::new(planned.parse().unwrap(), failed.parse().unwrap()).unwrap();
            let decision = decide(&posterior, costs, 0.9);
            judged += 1;
            let got = match name {
                "interval" if expected.value.is_null() => {
                    assert_eq!(decision.optimum, None, "{}: {}", case.id, expected.quantity);
                    continue;
                }
                "interval" => decision.optimum.unwrap(),
                "chance_it_pays" => decision.chance_it_pays,
                "saving.median" => decision.saving.median,
                "ln_cost" => decision.ln_cost + unit,
                "ln_cost_run_to_failure" => decision.ln_cost_run_to_failure + unit,
                "near.from" => decision.near.unwrap().0,
                "near.to" => decision.near.unwrap().1.unwrap(),
                other => panic!("unknown quantity {other}"),
            };
            let absolute = match name {
                // The notes of the cases: absolute tolerance 0.01.
                "chance_it_pays" | "saving.median" => Some(0.01),
                "ln_cost" | "ln_cost_run_to_failure" => Some(1.2e-4),
                _ => None,
            };
            let expected = Expected {
                abs_tol: absolute.or(expected.abs_tol),
                ..expected.clone()
            };
            expected.judge(&case, got);
        }
    }
    assert!(judged >= 60, "only {judged} values were judged");
}
