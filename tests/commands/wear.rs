//! `wear`: the contract of a file, verdicts and lines of a ledger, flags, exit codes.

use serde_json::Value;

use super::common::{Case, cases};
use super::{json, wearbook};

fn csv_file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

fn file_of(case: &Case) -> tempfile::NamedTempFile {
    let mut text = String::from("value,item,usage\n");
    for reading in case.data["readings"].as_array().unwrap() {
        let unit = reading["unit"].as_str().unwrap();
        text.push_str(&format!(
            "{},{unit},{}\n",
            reading["value"], reading["hours"]
        ));
    }
    csv_file(&text)
}

fn case(id: &str) -> Case {
    let found = cases("degradation").into_iter().find(|c| c.id == id);
    found.unwrap()
}

#[test]
fn a_file_of_readings_gives_the_contract_and_the_reference_values() {
    let one = case("wear-one-unit");
    let file = file_of(&one);
    let path = file.path().to_str().unwrap();
    let found = json(&["wear", "--readings", path, "--at-most", "0.3"]);
    let line = &found["lines"][0];
    for (key, quantity) in [
        ("slope", "slope"),
        ("intercept", "intercept"),
        ("usage_left", "remaining"),
    ] {
        let expected = one.expected(quantity).unwrap();
        expected.judge(&one, line[key].as_f64().unwrap());
    }
    for (end, quantity) in [
        ("estimate", "crossing"),
        ("lower", "crossing.fieller90.lower"),
        ("upper", "crossing.fieller90.upper"),
    ] {
        let expected = one.expected(quantity).unwrap();
        expected.judge(&one, line["usage_at_limit"][end].as_f64().unwrap());
    }
    assert_eq!(line["item"], "1");
    assert_eq!(found["population"]["slope_sd"], Value::Null);

    let eight = case("wear-eight-units");
    let file = file_of(&eight);
    let found = json(&[
        "wear",
        "--readings",
        file.path().to_str().unwrap(),
        "--at-most",
        "0.3",
    ]);
    assert_eq!(found["lines"].as_array().unwrap().len(), 8);
    for (key, quantity) in [
        ("slope", "ml.slope"),
        ("slope_sd", "ml.sd_slope"),
        ("residual_sd", "ml.sd_residual"),
    ] {
        let expected = eight.expected(quantity).unwrap();
        expected.judge(&eight, found["population"][key].as_f64().unwrap());
    }
}

#[test]
fn a_limit_from_above_and_one_never_reached() {
    let file = csv_file(
        "item,usage,value\nA,0,52\nA,1000,51\nA,2000,50.1\nB,0,52\nB,1500,52\nB,3000,52.1\n",
    );
    let path = file.path().to_str().unwrap();
    let found = json(&[
        "wear",
        "--readings",
        path,
        "--at-least",
        "47",
        "--before",
        "500",
    ]);
    let (a, b) = (&found["lines"][0], &found["lines"][1]);
    assert!(a["slope"].as_f64().unwrap() < 0.0);
    assert!(a["usage_at_limit"]["estimate"].as_f64().unwrap() > 2_000.0);
    assert_eq!(b["usage_at_limit"]["estimate"], Value::Null);
    assert_eq!(b["usage_left"], Value::Null);
    assert!(a["chance_before"].as_f64().unwrap() < 0.2);
    let table = wearbook(&["wear", "--readings", path, "--at-least", "47"])
        .output()
        .unwrap();
    let table = String::from_utf8(table.stdout).unwrap();
    let row = table.lines().find(|line| line.starts_with('B')).unwrap();
    assert!(row.contains("never"), "{row}");
}

#[test]
fn the_sample_ledger_has_verdicts_by_every_rule() {
    let found = json(&["wear", "sample-ledger", "--before", "500"]);
    let items = found["items"].as_array().unwrap();
    let rules: std::collections::BTreeSet<&str> = items
        .iter()
        .map(|item| item["rule"].as_str().unwrap())
        .collect();
    let all = [
        "at_least",
        "at_most",
        "loss_from_new_at_most",
        "paired",
        "per_metre_at_most",
    ];
    assert_eq!(rules.into_iter().collect::<Vec<_>>(), all);
    for item in items {
        assert_eq!(item["verdict"], "within", "{item}");
        assert!(item["usage_left_limits"]["lower"].as_f64() <= item["usage_left"].as_f64());
    }
    let table = wearbook(&["wear", "sample-ledger", "--component", "packing-spring"])
        .output()
        .unwrap();
    insta::assert_snapshot!("wear-sample", String::from_utf8(table.stdout).unwrap());
    let csv = wearbook(&[
        "wear",
        "sample-ledger",
        "--machine",
        "H-02",
        "--quantity",
        "free-length",
        "--format",
        "csv",
    ])
    .output()
    .unwrap();
    let csv = String::from_utf8(csv.stdout).unwrap();
    assert_eq!(csv.lines().count(), 2, "{csv}");
}

const PLANT: &str = r#"
[plant]
name = "Quillmoor Oat Works"
currency = "EUR"
time_zone = "Europe/London"
labour_rate = 50.0
[[usage]]
id = "hours"
name = "Running hours"
unit = "h"
[[component]]
id = "ring"
name = "Adjusting ring"
usage = "hours"
modes = ["worn"]
price = 100.0
[[layout]]
id = "triplex"
slots = [{ component = "ring", positions = ["P1", "P2"] }]
[[machine]]
tag = "H-01"
name = "Homogeniser 1"
layout = "triplex"
in_service = 2025-01-01
downtime_cost = 400.0
[[measurement]]
component = "ring"
quantity = "clearance"
unit = "mm"
limit = { paired = { limit = 0.30, small = 0.02 } }
[[measurement]]
component = "ring"
quantity = "bore"
unit = "mm"
limit = { at_most = 61.0 }
"#;

/// A ledger recorded by the binary; what `record measured` said, in order.
fn recorded(lines: &[&str]) -> (tempfile::TempDir, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("plant.toml"), PLANT).unwrap();
    let ledger = folder.path().to_str().unwrap().to_owned();
    let mut said = Vec::new();
    for line in lines {
        let mut args = vec![
            "record", "--ledger", &ledger, "--who", "crew", "--book", "crew",
        ];
        args.extend(line.split_whitespace());
        let output = wearbook(&args).output().unwrap();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{line}: {errors}");
        let text = String::from_utf8(output.stdout).unwrap();
        if let Some((_, verdict)) = text.trim_end().split_once('\n') {
            said.push(verdict.to_owned());
        }
    }
    (folder, said)
}

#[test]
fn recording_a_reading_tells_the_verdict_and_wear_finds_what_is_beyond() {
    let slot = "--machine H-01 --component ring --position P1";
    let measured = |rest: &str| format!("measured {slot} --quantity {rest}");
    let lines = [
        "reading --machine H-01 --meter hours --value 0 --time 2025-01-01T00:00:00Z".to_owned(),
        format!("installed {slot} --time 2025-01-01T08:00:00Z"),
        "reading --machine H-01 --meter hours --value 1000 --time 2025-03-01T00:00:00Z".to_owned(),
        measured(
            "clearance --zone working --value 12.5 --unit thou --new-value 3 --time 2025-03-01T08:00:00Z",
        ),
        measured("clearance --zone unworn --value 3.5 --unit thou --time 2025-03-01T08:05:00Z"),
        measured("bore --value 60.9 --unit mm --new-value 60 --time 2025-03-01T08:10:00Z"),
        measured("bore --value 60.95 --unit mm --time 2025-03-01T08:20:00Z"),
    ];
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let (folder, said) = recorded(&lines);
    assert_eq!(
        said,
        [
            "no verdict: no reading in zone `unworn` within a day of it",
            "beyond its limit: 0.3175 mm, in both zones at most 0.3 mm; large only where it works: the long part (plunger) is worn",
            "within its limit: 60.90 mm, at most 61 mm",
            "near its limit: 60.95 mm, at most 61 mm",
        ]
    );
    let output = wearbook(&["wear", folder.path().to_str().unwrap(), "--format", "json"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "beyond is a finding");
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    let clearance = found["items"]
        .as_array()
        .unwrap()
        .iter()
        .find(|i| i["quantity"] == "clearance")
        .unwrap();
    assert_eq!(
        (&clearance["verdict"], &clearance["worn"]),
        (&"beyond".into(), &"long part".into())
    );
    assert_eq!(clearance["value"], 12.5, "as it was given");
    let output = wearbook(&[
        "wear",
        folder.path().to_str().unwrap(),
        "--quantity",
        "bore",
    ])
    .output()
    .unwrap();
    assert_eq!(
        output.status.code(),
        Some(0),
        "what was not asked for is no finding"
    );
}

#[test]
fn charts_are_written_one_a_quantity() {
    let folder = tempfile::tempdir().unwrap();
    let plots = folder.path().join("plots");
    let output = wearbook(&["wear", "sample-ledger", "--charts", plots.to_str().unwrap()])
        .output()
        .unwrap();
    assert!(output.status.success());
    let mut names: Vec<String> = std::fs::read_dir(&plots)
        .unwrap()
        .map(|file| file.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names.len(), 5, "{names:?}");
    let svg = std::fs::read_to_string(plots.join("packing-spring-free-length-wear.svg")).unwrap();
    assert!(
        svg.contains("limit: at least 47 mm") && svg.contains("Running hours since renewal (h)")
    );
}

/// A plant whose rings all fail at the limit of their bore, at usages far apart: 18 lives in
/// six slots, three readings each.
fn rings() -> tempfile::TempDir {
    const LIVES: [[f64; 3]; 6] = [
        [3_200.0, 8_000.0, 5_200.0],
        [9_000.0, 4_200.0, 3_000.0],
        [6_000.0, 7_200.0, 2_500.0],
        [3_600.0, 10_000.0, 4_000.0],
        [7_600.0, 4_800.0, 5_000.0],
        [5_400.0, 6_600.0, 4_400.0],
    ];
    let start = chrono::DateTime::from_timestamp(1_577_836_800, 0).unwrap();
    let time = |hours: f64| {
        let at = start + chrono::Duration::seconds((hours * 3_600.0) as i64);
        at.format("%Y-%m-%dT%H:%M:%SZ").to_string()
    };
    let mut lines: Vec<(f64, String)> = Vec::new();
    let mut add = |at: f64, kind: &str, rest: String| {
        let line = format!(
            r#"{{"entry":"{kind}","time":"{}","machine":"H-01",{rest}}}"#,
            time(at)
        );
        lines.push((at, line));
    };
    let meter = |value: f64| format!(r#""meter":"hours","value":{value}"#);
    add(0.0, "reading", meter(0.0));
    for (p, lives) in LIVES.iter().enumerate() {
        let slot = format!(r#""component":"ring","position":"P{}""#, p + 1);
        add(1.0, "installed", slot.clone());
        let mut at = 0.0;
        for (k, life) in lives.iter().enumerate() {
            for share in [0.35, 0.6, 0.85] {
                let off = 0.01 * ((p + k) % 3) as f64 - 0.01;
                let read = format!(
                    r#"{slot},"quantity":"bore","value":{:.2},"unit":"mm""#,
                    60.0 + share + off
                );
                add(at + share * life, "measured", read);
            }
            at += life;
            if k < 2 {
                let end = r#""reason":"failed","mode":"worn","found":"running""#;
                add(at + 1.0, "replaced", format!("{slot},{end}"));
            }
        }
    }
    add(18_000.0, "reading", meter(18_000.0));
    for p in 1..=6 {
        let end = format!(r#""component":"ring","position":"P{p}","reason":"planned""#);
        add(18_001.0, "removed", end);
    }
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    let folder = tempfile::tempdir().unwrap();
    let plant = PLANT
        .replace(r#"["P1", "P2"]"#, r#"["P1", "P2", "P3", "P4", "P5", "P6"]"#)
        .replace(
            "price = 100.0",
            "price = 2000.0\nplanned_stop_h = 0.5\nfailed_stop_h = 20\nfailed_extra_cost = 3000",
        )
        .replace(
            "labour_rate = 50.0",
            "labour_rate = 50.0\nplanning_grid = 250",
        );
    std::fs::write(folder.path().join("plant.toml"), plant).unwrap();
    let text: String = lines.into_iter().map(|line| line.1 + "\n").collect();
    let file = csv_file(&text);
    wearbook(&["record", "--who", "crew", "--book", "crew", "--ledger"])
        .arg(folder.path())
        .arg("--from")
        .arg(file.path())
        .assert()
        .success();
    folder
}

/// Where what is measured foretells failures and a look is cheap, the verdict is to look.
#[test]
fn intervals_answer_to_look_where_looking_is_cheaper() {
    let folder = rings();
    let ledger = folder.path().to_str().unwrap();
    let found = json(&["interval", ledger]);
    let row = &found["recommendations"][0];
    assert_eq!(row["verdict"], "inspect", "{row}");
    assert_eq!(
        (&row["interval"], &row["risk"]),
        (&Value::Null, &0.05.into())
    );
    let look_at = row["look_at"].as_f64().unwrap();
    assert_eq!(look_at % 250.0, 0.0, "on the planning grid");
    assert!(
        (2_000.0..=3_000.0).contains(&look_at),
        "the shortest life is 3,200 h: {look_at}"
    );
    let notes = row["notes"].to_string();
    assert!(
        notes.contains("says nothing of failures that come another way"),
        "{notes}"
    );
    let bolder = json(&["interval", ledger, "--risk", "0.2"]);
    assert!(bolder["recommendations"][0]["look_at"].as_f64().unwrap() > look_at);

    // Elsewhere the keys are there, and empty: in the sample a look costs nearly a renewal.
    let found = json(&["interval", "sample-ledger"]);
    for row in found["recommendations"].as_array().unwrap() {
        assert_ne!(row["verdict"], "inspect");
        for key in ["look_at", "risk", "inspect_cost_rate"] {
            assert_eq!(row[key], Value::Null, "{key}");
        }
    }
}
