//! `forecast`, `backtest`, `interval --policy`: the contract, the reference values, the sample.

use serde_json::Value;

use super::common::cases;
use super::{case, json, wearbook};

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("no number: {value}"))
}

#[test]
fn a_stated_life_is_forecast_as_the_reference_says() {
    for case in cases("spares") {
        let data = &case.data;
        let mut ages = Vec::new();
        for group in data["fleet"].as_array().unwrap() {
            let count = group["count"].as_u64().unwrap() as usize;
            ages.resize(ages.len() + count, group["age"].to_string());
        }
        let found = json(&[
            "forecast",
            "--shape",
            &data["shape"].to_string(),
            "--scale",
            &data["scale"].to_string(),
            "--ages",
            &ages.join(","),
            "--usage",
            &data["horizon"].to_string(),
            "--service",
            "0.5,0.8",
            "--service",
            "0.9,0.95",
        ]);
        let expected = case.expected("fleet.expected_failures").unwrap();
        expected.judge(&case, number(&found["expected"]));
        let probabilities = found["probabilities"].as_array().unwrap();
        let total: f64 = probabilities.iter().map(number).sum();
        assert!((total - 1.0).abs() < 1e-12);
        for held in found["stock"].as_array().unwrap() {
            let percent = (100.0 * number(&held["service"])).round();
            let name = format!("fleet.spares_{percent}");
            if let Some(expected) = case.expected(&name) {
                expected.judge(&case, number(&held["pieces"]));
            }
            assert!(number(&held["attained"]) >= number(&held["service"]));
        }
        assert_eq!(found["stock"].as_array().unwrap().len(), 4);
    }
}

#[test]
fn services_have_defaults_and_planned_renewals_take_items_too() {
    let ask = |more: &[&str]| {
        let mut args = vec![
            "forecast", "--shape", "3", "--scale", "1000", "--ages", "0,400", "--usage", "900",
        ];
        args.extend(more);
        json(&args)
    };
    let plain = ask(&[]);
    let services: Vec<f64> = plain["stock"]
        .as_array()
        .unwrap()
        .iter()
        .map(|held| number(&held["service"]))
        .collect();
    assert_eq!(services, [0.8, 0.9, 0.95]);
    assert_eq!(number(&plain["expected_planned"]), 0.0);
    let renewed = ask(&["--renew-at", "500"]);
    assert!(number(&renewed["expected"]) < number(&plain["expected"]));
    assert!(number(&renewed["expected_planned"]) > 1.5);
    let sum = number(&renewed["expected"]) + number(&renewed["expected_planned"]);
    assert!((number(&renewed["renewals"]["expected"]) - sum).abs() < 1e-9);
}

#[test]
fn the_sample_is_forecast_by_component_machine_and_part() {
    let found = json(&[
        "forecast",
        "sample-ledger",
        "--weeks",
        "13",
        "--by",
        "machine",
    ]);
    let rows = found["outlook"].as_array().unwrap();
    let all: Vec<&Value> = rows.iter().filter(|r| r["machine"].is_null()).collect();
    assert_eq!(all.len(), 11);
    for row in &all {
        let own: Vec<&Value> = rows
            .iter()
            .filter(|r| r["component"] == row["component"] && !r["machine"].is_null())
            .collect();
        let slots: u64 = own.iter().map(|r| r["slots"].as_u64().unwrap()).sum();
        assert_eq!(row["slots"].as_u64().unwrap(), slots);
        if row["failures"].is_null() {
            assert!(number(&row["failures_at_most"]) > 0.0);
            continue;
        }
        // Machines add up to the whole: means do, whatever moves together.
        let sum: f64 = own.iter().map(|r| number(&r["failures"]["expected"])).sum();
        let whole = number(&row["failures"]["expected"]);
        assert!(
            (sum / whole - 1.0).abs() < 0.02,
            "{}: {sum} {whole}",
            row["component"]
        );
    }
    let parts = found["parts"].as_array().unwrap();
    assert_eq!(parts.len(), 11);
    for part in parts {
        let hold = part["hold"].as_array().unwrap();
        assert_eq!(hold.len(), 1);
        assert!(number(&hold[0]["attained"]) >= 0.95);
        assert!(number(&hold[0]["pieces"]) + 1e-9 >= number(&part["expected"]).floor());
    }
    // Three rings to a packing set: pieces come by threes.
    let rings = parts
        .iter()
        .find(|p| p["components"][0] == "packing-set")
        .unwrap();
    assert_eq!(rings["hold"][0]["pieces"].as_u64().unwrap() % 3, 0);
}

#[test]
fn policies_of_the_sample_change_what_is_renewed() {
    let ask = |policy: &str| {
        let found = json(&[
            "forecast",
            "sample-ledger",
            "--component",
            "packing-set",
            "--policy",
            policy,
            "--usage",
            "2000",
        ]);
        let row = &found["outlook"][0];
        (
            number(&row["failures"]["expected"]),
            number(&row["planned"]),
        )
    };
    let (recommended, present, never) = (ask("recommended"), ask("present"), ask("run-to-failure"));
    assert!(recommended.0 < present.0 && present.0 < never.0);
    assert!(recommended.1 > present.1 && present.1 > never.1);
    assert_eq!(never.1, 0.0);
}

#[test]
fn forecasts_are_tables_and_csv_too() {
    let text = |args: &[&str]| {
        let output = wearbook(args).output().unwrap();
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8(output.stdout).unwrap()
    };
    let table = text(&["forecast", "sample-ledger"]);
    assert!(table.starts_with("the next 13 weeks, renewed at the recommended intervals"));
    assert!(table.contains("hold for 95 %"));
    let parts = text(&["forecast", "sample-ledger", "--parts"]);
    assert!(!parts.contains("failures  90 %") && parts.contains("pieces expected"));
    let csv = text(&["forecast", "sample-ledger", "--format", "csv"]);
    assert_eq!(csv.lines().count(), 12);
    assert!(csv.starts_with("component,machine,slots,"));
    let csv = text(&[
        "forecast",
        "sample-ledger",
        "--parts",
        "--format",
        "csv",
        "--service",
        "0.8,0.9",
    ]);
    assert_eq!(csv.lines().count(), 23);
    let stated = text(&[
        "forecast", "--shape", "2", "--scale", "900", "--ages", "0,0", "--usage", "500",
        "--format", "csv",
    ]);
    assert!(stated.starts_with("failures,probability,at_most\n0,"));
    let again = text(&["forecast", "sample-ledger"]);
    assert_eq!(table, again);
}

#[test]
fn stated_policies_agree_with_the_reference() {
    let block = case("block-replacement", "block-replacement-grid");
    for (shape, ratio) in [("1.5", 8), ("2", 3), ("3", 20)] {
        let failed = (100 * ratio).to_string();
        let found = json(&[
            "interval",
            "--shape",
            shape,
            "--scale",
            "1000",
            "--planned-cost",
            "100",
            "--failed-cost",
            &failed,
            "--policy",
            "block",
        ]);
        assert_eq!(found["policy"], "block");
        for (name, key) in [("T_opt", "interval"), ("cost_rate", "cost_rate")] {
            let name = format!("{name}[shape={shape},ratio={ratio}]");
            block
                .expected(&name)
                .unwrap()
                .judge(&block, number(&found[key]));
        }
    }
    let never = json(&[
        "interval",
        "--shape",
        "1.5",
        "--scale",
        "1000",
        "--planned-cost",
        "100",
        "--failed-cost",
        "300",
        "--policy",
        "block",
    ]);
    assert!(never["interval"].is_null());
    assert_eq!(never["verdict"], "run to failure");
    let minimal = case("block-replacement", "minimal-repair");
    let found = json(&[
        "interval",
        "--shape",
        "3",
        "--scale",
        "2000",
        "--planned-cost",
        "1200",
        "--failed-cost",
        "80",
        "--policy",
        "minimal-repair",
    ]);
    for (name, key) in [
        ("T_opt[1]", "interval"),
        ("cost_rate[1]", "cost_rate"),
        ("expected_repairs[1]", "repairs"),
    ] {
        minimal
            .expected(name)
            .unwrap()
            .judge(&minimal, number(&found[key]));
    }
    assert!(found["run_to_failure_cost_rate"].is_null());
}

/// Holds when: on the sample, 90 % limits of the forecasts hold what came in about 90 % of the
/// quarters. As failures are whole the forecasts give their limits more (97 %), which the sample does
/// not keep quite: its failures found at inspections come in bunches, and it has a bad batch.
#[test]
fn forecasts_of_the_past_held_on_the_sample() {
    let found = json(&["backtest", "sample-ledger"]);
    let all = found["components"]
        .as_array()
        .unwrap()
        .last()
        .unwrap()
        .clone();
    assert!(all["component"].is_null());
    let periods = number(&all["periods"]);
    assert!(periods > 80.0, "{periods}");
    let (inside, promised) = (number(&all["inside"]), number(&all["promised"]));
    // Two standard errors of a share of 0.9 among so many.
    let allowed = 2.0 * (0.9 * 0.1 / periods).sqrt();
    assert!((inside - 0.9).abs() < allowed, "inside {inside}");
    assert!(promised > 0.9 && promised < 1.0);
    let (forecast, came) = (number(&all["expected"]), number(&all["came"]));
    assert!(
        (forecast / came - 1.0).abs() < 0.15,
        "{forecast} forecast, {came} came"
    );
    let heights: Vec<f64> = found["calibration"]
        .as_array()
        .unwrap()
        .iter()
        .map(number)
        .collect();
    assert!((heights.iter().sum::<f64>() - 1.0).abs() < 1e-9);
    assert!(number(&all["score"]) < 1.02 * number(&all["rival_score"]));
    for row in found["components"].as_array().unwrap() {
        let Some(judged) = row["recommended"].as_object() else {
            continue;
        };
        let of = |key: &str| judged[key].as_u64().unwrap();
        assert_eq!(
            of("lives"),
            of("without_interval") + of("known") + of("cut_before") + of("failed_around")
        );
    }
}

/// What one machine's parts cost is not held against what all of them were forecast to.
#[test]
fn a_backtest_of_one_machine_counts_its_own_renewals_only() {
    let ask = ["--component", "drive-belts", "--machine", "H-01"];
    let found = json(
        &[
            &["backtest", "sample-ledger", "--every", "half-year"],
            &ask[..],
        ]
        .concat(),
    );
    let booked = found["components"][0].clone();
    let spent = json(&[&["cost", "sample-ledger", "--by", "component"], &ask[..]].concat());
    let whole = &spent["periods"][0]["groups"][0];
    assert_eq!(whole["component"], "drive-belts");
    assert!(number(&booked["cost_came"]) > 0.0);
    assert!(
        number(&booked["cost_came"]) <= number(&whole["total"]),
        "{booked} {whole}"
    );
    let renewals = number(&booked["planned_came"]) + number(&booked["along_came"]);
    assert!(renewals <= number(&whole["renewals"]), "{booked} {whole}");
}

#[test]
fn backtests_draw_their_calibration_and_tell_their_periods() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    let output = wearbook(&[
        "backtest",
        "sample-ledger",
        "--component",
        "packing-set",
        "--every",
        "half-year",
        "--charts",
        path,
        "--format",
        "csv",
    ])
    .output()
    .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let csv = String::from_utf8(output.stdout).unwrap();
    assert!(csv.starts_with("component,from,to,usage,"));
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(cells[0], "packing-set");
        assert!(
            cells[1].ends_with("-01-01") || cells[1].ends_with("-07-01"),
            "{line}"
        );
    }
    let svg = std::fs::read_to_string(folder.path().join("calibration.svg")).unwrap();
    assert!(svg.contains("<title") && !svg.contains("NaN"));
}
