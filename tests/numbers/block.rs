//! Block replacement, minimal repair and remaining life against the reference and identities.

use crate::common::{Case, cases};
use wearbook::model::Weibull;
use wearbook::policy::block::{block_cost_rate, block_policy};
use wearbook::policy::minimal::{minimal_repair, minimal_repair_cost_rate};
use wearbook::policy::remaining::{availability, chance_to_fail, mean_remaining_life};
use wearbook::policy::{Costs, RenewalTable, age_policy};

fn case(topic: &str, id: &str) -> Case {
    cases(topic).into_iter().find(|c| c.id == id).unwrap()
}

fn number(data: &serde_json::Value, key: &str) -> f64 {
    data[key].as_f64().unwrap()
}

#[test]
fn block_replacement_agrees_with_the_reference() {
    let case = case("block-replacement", "block-replacement-grid");
    let (scale, planned) = (
        number(&case.data, "scale"),
        number(&case.data, "planned_cost"),
    );
    for expect in &case.expect {
        let (name, key) = expect.quantity.split_once("[shape=").unwrap();
        let (shape, ratio) = key.trim_end_matches(']').split_once(",ratio=").unwrap();
        let life = Weibull::new(shape.parse().unwrap(), scale).unwrap();
        let costs = Costs::new(planned, planned * ratio.parse::<f64>().unwrap()).unwrap();
        let policy = block_policy(&life, costs).unwrap();
        match name {
            "better_than_run_to_failure" => {
                assert_eq!(expect.value.as_bool().unwrap(), policy.interval.is_some());
            }
            "T_opt" => expect.judge(&case, policy.interval.unwrap()),
            "cost_rate" => {
                expect.judge(&case, policy.cost_rate);
                let at = policy.interval.unwrap();
                expect.judge(&case, block_cost_rate(&life, costs, at).unwrap());
            }
            "cost_ratio" => expect.judge(&case, 1.0 - policy.saving),
            "expected_failures_per_interval" => {
                let t = policy.interval.unwrap() / scale;
                expect.judge(&case, RenewalTable::new(life.shape, t).unwrap().failures(t));
            }
            other => panic!("{other}"),
        }
    }
}

#[test]
fn block_replacement_never_costs_less_than_age_replacement() {
    for shape in [1.2, 1.5, 2.0, 3.0, 6.0, 15.0] {
        for ratio in [1.5, 4.0, 20.0, 300.0] {
            let life = Weibull::new(shape, 640.0).unwrap();
            let costs = Costs::new(10.0, 10.0 * ratio).unwrap();
            let block = block_policy(&life, costs).unwrap();
            let age = age_policy(&life, costs);
            // Barlow & Proschan (1965), chapter 4: age replacement wastes no young item.
            assert!(
                block.cost_rate >= age.cost_rate * (1.0 - 1e-12),
                "{shape} {ratio}"
            );
            assert!(block.cost_rate <= block.run_to_failure_cost_rate);
            let Some(at) = block.interval else { continue };
            let (from, to) = block.near.unwrap();
            assert!(from < at && to.is_none_or(|to| to > at));
            for (edge, factor) in [(Some(from), 1.05), (to, 1.05), (Some(at), 1.0)] {
                let Some(edge) = edge else { continue };
                let got = block_cost_rate(&life, costs, edge).unwrap() / block.cost_rate;
                assert!((got - factor).abs() < 1e-7, "{shape} {ratio}: {got}");
            }
            for step in [0.999, 1.001] {
                assert!(block_cost_rate(&life, costs, at * step).unwrap() >= block.cost_rate);
            }
            // Usage × 3 gives the interval × 3.
            let long = block_policy(&Weibull::new(shape, 1_920.0).unwrap(), costs).unwrap();
            assert!((long.interval.unwrap() / at / 3.0 - 1.0).abs() < 1e-12);
        }
    }
    let life = Weibull::new(0.9, 100.0).unwrap();
    let costs = Costs::new(1.0, 50.0).unwrap();
    assert_eq!(block_policy(&life, costs).unwrap().interval, None);
}

#[test]
fn minimal_repair_agrees_with_the_reference() {
    let case = case("block-replacement", "minimal-repair");
    for expect in &case.expect {
        let (name, row) = expect.quantity.split_once('[').unwrap();
        let row: usize = row.trim_end_matches(']').parse().unwrap();
        let row = &case.data["rows"][row];
        let life = Weibull::new(number(row, "shape"), number(row, "scale")).unwrap();
        let costs = Costs::new(
            number(row, "replacement_cost"),
            number(row, "minimal_repair_cost"),
        )
        .unwrap();
        let found = minimal_repair(&life, costs);
        match name {
            "T_opt" => expect.judge(&case, found.interval.unwrap()),
            "cost_rate" => {
                expect.judge(&case, found.cost_rate);
                let at = found.interval.unwrap();
                expect.judge(&case, minimal_repair_cost_rate(&life, costs, at).unwrap());
            }
            "expected_repairs" => expect.judge(&case, found.repairs.unwrap()),
            "interior_optimum" => {
                assert_eq!(expect.value.as_bool().unwrap(), found.interval.is_some());
                assert_eq!(found.cost_rate, costs.failed / life.scale);
            }
            other => panic!("{other}"),
        }
        if let Some((from, to)) = found.near {
            for edge in [from, to] {
                let rate = minimal_repair_cost_rate(&life, costs, edge).unwrap();
                assert!((rate / found.cost_rate - 1.05).abs() < 1e-10);
            }
        }
    }
}

#[test]
fn availability_agrees_with_the_reference() {
    let case = case("age-replacement", "age-replacement-availability");
    for expect in &case.expect {
        let (name, row) = expect.quantity.split_once('[').unwrap();
        let row: usize = row.trim_end_matches(']').parse().unwrap();
        let row = &case.data["rows"][row];
        let life = Weibull::new(number(row, "shape"), number(row, "scale")).unwrap();
        let hours = Costs::new(
            number(row, "planned_downtime"),
            number(row, "failure_downtime"),
        )
        .unwrap();
        match name {
            "availability_run_to_failure" => {
                expect.judge(&case, availability(&life, hours, f64::INFINITY).unwrap());
            }
            "availability" => {
                let at = age_policy(&life, hours).interval.unwrap();
                expect.judge(&case, availability(&life, hours, at).unwrap());
            }
            _ => {}
        }
    }
}

#[test]
fn what_is_left_of_a_life_agrees_with_the_reference() {
    let mut judged = 0;
    for case in cases("spares") {
        let life = Weibull::new(number(&case.data, "shape"), number(&case.data, "scale")).unwrap();
        let horizon = number(&case.data, "horizon");
        for expect in &case.expect {
            let Some((name, age)) = expect.quantity.split_once("[age=") else {
                continue;
            };
            let age: f64 = age.trim_end_matches(']').parse().unwrap();
            match name {
                "p_fail_in_H" => expect.judge(&case, chance_to_fail(&life, age, horizon)),
                "mean_residual_life" => expect.judge(&case, mean_remaining_life(&life, age)),
                _ => continue,
            }
            judged += 1;
        }
    }
    assert_eq!(judged, 10);
}

/// `mean = ∫₀ᵃ R + R(a)·remaining(a)` at every age, and the three forms join.
#[test]
fn remaining_life_joins_over_all_ages() {
    for shape in [0.4, 0.9, 1.0, 2.5, 8.0] {
        let life = Weibull::new(shape, 50.0).unwrap();
        for z in [0.0_f64, 0.1, 2.9, 3.1, 20.0, 699.0, 701.0, 5_000.0] {
            let age = 50.0 * z.powf(1.0 / shape);
            let here = mean_remaining_life(&life, age);
            // d/da remaining = h·remaining − 1.
            let h = 1e-5 * here.min(age.max(1.0));
            let slope = (mean_remaining_life(&life, age + h) - here) / h;
            if z > 0.0 {
                let want = life.hazard(age) * here - 1.0;
                assert!((slope - want).abs() < 1e-3, "{shape} {z}: {slope} {want}");
            } else {
                assert!((here / life.mean() - 1.0).abs() < 1e-12);
            }
        }
        assert_eq!(chance_to_fail(&life, 1e300, 1.0).fract(), 0.0);
    }
}
