//! `lives --nonparametric` and `lives --incidence`: the contract, the reference values, the flags.

use serde_json::Value;

use super::common::{Case, Expected, lives_of};
use super::{case, file_of, json, wearbook};
use wearbook::life::End;

fn csv_file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

/// A case of known usages with its modes.
fn file_with_modes(case: &Case) -> tempfile::NamedTempFile {
    let mut text = String::from("mode,hi,lo\n");
    let rows = case.data["lives"].as_array().unwrap();
    for (life, row) in lives_of(case).iter().zip(rows) {
        let at = life.last_usage();
        let hi = match life.end {
            End::Failure { .. } => at.to_string(),
            _ => String::new(),
        };
        text.push_str(&format!(
            "{},{hi},{at}\n",
            row["mode"].as_str().unwrap_or("")
        ));
    }
    csv_file(&text)
}

fn keys(value: &Value) -> Vec<&str> {
    value
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect()
}

/// Judges a key of every step against a list.
fn judge_steps(case: &Case, quantity: &str, curve: &Value, key: &str) {
    let expected = case.expected(quantity).unwrap();
    let steps = curve["steps"].as_array().unwrap();
    let want = expected.value.as_array().unwrap();
    assert_eq!(steps.len(), want.len());
    for (step, want) in steps.iter().zip(want) {
        let one = Expected {
            value: want.clone(),
            ..expected.clone()
        };
        one.judge(case, step[key].as_f64().unwrap());
    }
}

#[test]
fn known_usages_give_the_product_limit_and_the_cumulative_hazard() {
    let case = case("nonparametric", "km-delayed-entry");
    let file = file_of(&case);
    let path = file.path().to_str().unwrap();
    let found = json(&["lives", "--lives", path, "--nonparametric"]);
    let curves = found["curves"].as_array().unwrap();
    assert_eq!(curves.len(), 2);
    assert_eq!(curves[0]["kind"], "kaplan-meier");
    assert_eq!(curves[1]["kind"], "nelson-aalen");
    assert!(curves[0]["group"].is_null() && curves[0]["notes"].is_array());
    for key in ["time", "at_risk", "events", "estimate", "lower", "upper"] {
        assert!(keys(&curves[0]["steps"][0]).contains(&key), "{key}");
    }
    judge_steps(&case, "failure_times", &curves[0], "time");
    judge_steps(&case, "at_risk", &curves[0], "at_risk");
    judge_steps(&case, "km", &curves[0], "estimate");
    judge_steps(&case, "nelson_aalen", &curves[1], "estimate");
    judge_steps(&case, "nelson_aalen_se", &curves[1], "standard_error");
    assert!(curves[0]["steps"][0]["events"].is_u64());
    // The last item at risk failed: no limits of a share of 0.
    assert!(curves[0]["steps"][13]["upper"].is_null());
    // 90 % limits unless asked.
    let at = |found: &Value, usage: f64, side: &str| -> f64 {
        let steps = found["curves"][0]["steps"].as_array().unwrap();
        let last = steps
            .iter()
            .rfind(|s| s["time"].as_f64().unwrap() <= usage)
            .unwrap();
        last[side].as_f64().unwrap()
    };
    let asked = json(&[
        "lives",
        "--lives",
        path,
        "--nonparametric",
        "--confidence",
        "0.95",
    ]);
    for side in ["lower", "upper"] {
        for (found, level) in [(&found, 90), (&asked, 95)] {
            let name = format!("km(2500).loglog{level}.{side}");
            case.expected(&name)
                .unwrap()
                .judge(&case, at(found, 2_500.0, side));
        }
    }
}

#[test]
fn windows_give_turnbull_and_say_why_nothing_else() {
    let case = case("nonparametric", "turnbull-inspections");
    let file = file_of(&case);
    let found = json(&[
        "lives",
        "--lives",
        file.path().to_str().unwrap(),
        "--nonparametric",
    ]);
    let curves = found["curves"].as_array().unwrap();
    assert_eq!(curves.len(), 1);
    assert_eq!(curves[0]["kind"], "turnbull");
    judge_steps(&case, "turnbull.survival_after", &curves[0], "estimate");
    let step = &curves[0]["steps"][2];
    assert_eq!((&step["from"], &step["time"]), (&1e3.into(), &1.1e3.into()));
    for key in ["at_risk", "lower", "upper"] {
        assert!(step[key].is_null(), "{key}");
    }
    let steps = curves[0]["steps"].as_array().unwrap();
    let events: f64 = steps.iter().map(|s| s["events"].as_f64().unwrap()).sum();
    assert!((events - 10.0).abs() < 1e-8);
    let notes = curves[0]["notes"].to_string();
    assert!(notes.contains("no nelson-aalen estimate"), "{notes}");
}

#[test]
fn incidence_gives_a_curve_a_mode_and_refuses_windows() {
    let case = case("competing-modes", "modes-seal-bearing");
    let file = file_with_modes(&case);
    let path = file.path().to_str().unwrap();
    let found = json(&["lives", "--lives", path, "--incidence"]);
    let curves = found["curves"].as_array().unwrap();
    let modes: Vec<_> = curves.iter().map(|c| c["mode"].as_str().unwrap()).collect();
    assert_eq!(modes, ["seal", "bearing"]);
    for curve in curves {
        assert_eq!(curve["kind"], "cumulative-incidence");
        for usage in [1_500.0, 2_500.0] {
            let steps = curve["steps"].as_array().unwrap();
            let last = steps
                .iter()
                .rfind(|s| s["time"].as_f64().unwrap() <= usage)
                .unwrap();
            let name = format!("cif[{}]({usage})", curve["mode"].as_str().unwrap());
            case.expected(&name)
                .unwrap()
                .judge(&case, last["estimate"].as_f64().unwrap());
            let [lower, upper] = ["lower", "upper"].map(|side| last[side].as_f64().unwrap());
            assert!(lower < upper);
        }
    }
    let one = json(&["lives", "--lives", path, "--incidence", "--mode", "bearing"]);
    assert_eq!(one["curves"].as_array().unwrap().len(), 1);
    assert_eq!(one["curves"][0], curves[1]);
    // Windows have no answer here; the result says what to do, and the code is 5.
    let file = csv_file("lo,hi,mode\n100,200,seal\n300,300,ring\n400,,\n");
    let output = wearbook(&["lives", "--lives", file.path().to_str().unwrap()])
        .args(["--incidence", "--format", "json"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(5));
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["curves"][0]["steps"], Value::Array(Vec::new()));
    let notes = found["curves"][0]["notes"].to_string();
    assert!(notes.contains("fit --mode MODE"), "{notes}");
}

#[test]
fn groups_come_in_the_order_of_the_file_and_modes_count_alone() {
    let file = csv_file(
        "lo,hi,group,mode,entry\n100,100,west,leak,\n160,160,west,,\n210,210,east,leak,50\n300,,west,,\n90,,dry,,\n",
    );
    let path = file.path().to_str().unwrap();
    let found = json(&["lives", "--lives", path, "--nonparametric", "--by", "group"]);
    let curves = found["curves"].as_array().unwrap();
    let groups: Vec<_> = curves
        .iter()
        .map(|c| c["group"].as_str().unwrap())
        .collect();
    assert_eq!(groups, ["west", "west", "east", "east", "dry", "dry"]);
    assert!(curves[2]["notes"].to_string().contains("before 50"));
    assert!(
        curves[4]["notes"]
            .to_string()
            .contains("no failure in 1 life")
    );
    assert_eq!(curves[4]["steps"], Value::Array(Vec::new()));
    let leaks = json(&[
        "lives",
        "--lives",
        path,
        "--nonparametric",
        "--mode",
        "leak",
    ]);
    assert_eq!(leaks["curves"][0]["steps"].as_array().unwrap().len(), 2);
    assert_eq!(leaks["curves"][0]["mode"], "leak");
    // Failures without a mode are a curve of their own, named only where people read.
    let found = json(&["lives", "--lives", path, "--incidence"]);
    let curves = found["curves"].as_array().unwrap();
    assert_eq!(curves.len(), 2);
    assert!(curves[1]["mode"].is_null() && curves[1]["steps"].as_array().unwrap().len() == 1);
    let output = wearbook(&["lives", "--lives", path, "--incidence"])
        .output()
        .unwrap();
    let table = String::from_utf8(output.stdout).unwrap();
    assert!(
        table.contains("mode not stated: share failed by mode"),
        "{table}"
    );
}

#[test]
fn layouts_say_the_same() {
    let file = csv_file("lo,hi,count\n1150,1150,2\n1600.5,1600.5,1\n2000,,7\n");
    let path = file.path().to_str().unwrap();
    let text = |format: &str| {
        let output = wearbook(&[
            "lives",
            "--lives",
            path,
            "--nonparametric",
            "--format",
            format,
        ])
        .output()
        .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    let csv = text("csv");
    let first: Vec<&str> = csv.lines().nth(1).unwrap().split(',').collect();
    assert_eq!(
        &first[..11],
        [
            "",
            "",
            "",
            "",
            "",
            "kaplan-meier",
            "",
            "1150",
            "10",
            "2",
            "0.8"
        ]
    );
    assert_eq!(csv.lines().count(), 5);
    let table = text("table");
    assert!(
        table.contains("10 lives, 3 failures, 7 suspensions"),
        "{table}"
    );
    assert!(
        table.contains("1,150") && table.contains("80.0 %"),
        "{table}"
    );
}

#[test]
fn a_ledger_is_looked_at_by_component_position_or_machine() {
    let by = |by: &[&str]| {
        let args = ["lives", "sample-ledger", "--nonparametric"];
        json(&[&args[..], by].concat())["curves"]
            .as_array()
            .unwrap()
            .clone()
    };
    let whole = by(&["--by", "component"]);
    assert!(
        whole
            .iter()
            .all(|c| c["component"].is_string() && c["position"].is_null())
    );
    assert!(whole.iter().any(|c| c["kind"] == "turnbull"));
    assert!(whole.iter().any(|c| c["kind"] == "kaplan-meier"));
    let apart = by(&[]);
    assert!(apart.len() > whole.len() && apart.iter().all(|c| c["position"].is_string()));
    let machines = by(&["--by", "machine"]);
    assert!(
        machines
            .iter()
            .all(|c| c["machine"].is_string() && c["position"].is_null())
    );
    // Every life of the ledger stands in one group.
    let lives = |curves: &[Value]| -> u64 {
        let of = |c: &&Value| c["kind"] != "nelson-aalen";
        let count = |c: &Value| c["lives"].as_u64().unwrap() + c["excluded"].as_u64().unwrap();
        curves.iter().filter(of).map(count).sum()
    };
    assert_eq!(lives(&whole), lives(&apart));
    assert_eq!(lives(&whole), lives(&machines));
}

#[test]
fn what_an_estimate_needs_is_asked_for() {
    let file = csv_file("lo,hi\n100,100\n");
    let path = file.path().to_str().unwrap();
    for args in [
        &["lives", "--lives", path][..],
        &["lives", "sample-ledger", "--by", "component"],
        &["lives", "sample-ledger", "--mode", "worn"],
        &["lives", "sample-ledger", "--confidence", "0.8"],
        &["lives", "sample-ledger", "--nonparametric", "--incidence"],
        &["lives", "sample-ledger", "--nonparametric", "--by", "group"],
        &[
            "lives",
            "sample-ledger",
            "--nonparametric",
            "--mode",
            "nonesuch",
        ],
        &[
            "lives",
            "--lives",
            path,
            "--nonparametric",
            "--by",
            "machine",
        ],
        &[
            "lives",
            "--lives",
            path,
            "--nonparametric",
            "--mode",
            "leak",
        ],
        &[
            "lives",
            "--lives",
            path,
            "--nonparametric",
            "--machine",
            "H-01",
        ],
        &[
            "lives",
            "--lives",
            path,
            "--nonparametric",
            "--confidence",
            "90",
        ],
    ] {
        let output = wearbook(args).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(output.stdout.is_empty() && !output.stderr.is_empty());
    }
}
