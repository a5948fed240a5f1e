//! `report.json` beside the page, and `--since`.

use std::path::Path;

use serde_json::Value;

use super::{report, sample, wearbook};

fn twin(folder: &Path, out: &str) -> Value {
    let text = std::fs::read_to_string(folder.join(out).join("report.json")).expect("a twin");
    serde_json::from_str(&text).expect("JSON")
}

fn page(folder: &Path, out: &str) -> String {
    std::fs::read_to_string(folder.join(out).join("report.html")).expect("a page")
}

fn keys(value: &Value) -> Vec<&str> {
    let object = value.as_object().expect("an object");
    object.keys().map(String::as_str).collect()
}

fn list<'a>(value: &'a Value, key: &str) -> &'a Vec<Value> {
    value[key].as_array().expect("a list")
}

/// Another command's JSON about the same ledger.
fn told(folder: &Path, command: &str) -> Value {
    let ledger = sample().display().to_string();
    let output = wearbook(folder, &[command, &ledger, "--format", "json"]);
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn the_twin_keeps_its_contract_and_says_what_the_commands_say() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &["--for", "engineer"]);
    let twin = twin(folder.path(), "report");
    let mut top = keys(&twin);
    top.sort_unstable();
    assert_eq!(
        top,
        [
            "as_of",
            "asked",
            "components",
            "confidence",
            "cost",
            "currency",
            "heads",
            "orders",
            "overdue",
            "plan_to",
            "plant",
            "quality",
            "recommendations",
            "report",
            "stops",
            "version"
        ]
    );
    assert_eq!(twin["report"], 1);
    assert_eq!(twin["plant"], "Quillmoor Oat Works");
    for head in list(&twin, "heads") {
        assert_eq!(head["sha"].as_str().expect("a SHA").len(), 64);
    }
    // Plans: the same stops, overdue items and orders as the command tells.
    let plan = told(folder.path(), "plan");
    let plan = &plan["plans"][0];
    for (list_of, keys) in [
        (
            "stops",
            ["machine", "date", "earliest", "latest", "hours", "cost"].as_slice(),
        ),
        (
            "overdue",
            ["machine", "component", "position", "age", "interval"].as_slice(),
        ),
        (
            "orders",
            ["part", "pieces", "machine", "stop", "order_by", "late_days"].as_slice(),
        ),
    ] {
        let (ours, theirs) = (list(&twin, list_of), list(plan, list_of));
        assert!(!ours.is_empty() && ours.len() == theirs.len(), "{list_of}");
        for (one, other) in ours.iter().zip(theirs) {
            for key in keys {
                assert_eq!(one[key], other[key], "{list_of} {key}");
            }
        }
    }
    let cost = &twin["cost"];
    let machines = cost["machines"].as_object().expect("machines");
    let sum: f64 = machines
        .values()
        .map(|m| m["total"].as_f64().expect("money"))
        .sum();
    let all = cost["all"]["total"].as_f64().expect("money");
    assert!(
        sum <= all * (1.0 + 1e-9) && sum > 0.5 * all,
        "{sum} of {all}"
    );
    let rate = cost["all"]["per_usage"].as_f64().expect("a rate");
    let usage = cost["all"]["usage"].as_f64().expect("usage");
    assert!((rate * usage - all).abs() < 1e-6 * all);
    assert!(machines.keys().is_sorted());
    // Intervals: every row of the command has its slot here, with the same answer.
    let intervals = told(folder.path(), "interval");
    for row in list(&intervals, "recommendations") {
        if row["verdict"] == "inspect" {
            continue;
        }
        let machine = row["machine"]
            .as_str()
            .map(|m| m.split(", ").next().expect("one"));
        let holds = |answer: &&Value| {
            answer["component"] == row["component"]
                && list(answer, "slots").iter().any(|slots| {
                    machine.is_none_or(|m| slots["machine"] == m)
                        && list(slots, "positions").contains(&row["position"])
                })
        };
        let found: Vec<&Value> = list(&twin, "recommendations")
            .iter()
            .filter(holds)
            .collect();
        assert!(
            found.iter().any(
                |one| ["verdict", "interval", "chance_it_pays", "lives", "failures"]
                    .iter()
                    .all(|key| one[key] == row[key])
            ),
            "{row}"
        );
    }
}

#[test]
fn against_itself_nothing_has_changed() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &["--for", "engineer"]);
    report(
        folder.path(),
        &[
            "--for",
            "manager",
            "--since",
            "report/report.json",
            "--out",
            "b",
        ],
    );
    let page = page(folder.path(), "b");
    assert!(page.contains("nothing has changed"), "no such sentence");
    assert!(!page.contains("Answers that changed"));
    assert_eq!(twin(folder.path(), "report"), twin(folder.path(), "b"));
}

#[test]
fn what_changed_in_half_a_year_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    report(
        folder.path(),
        &["--for", "planner", "--as-of", "2025-12-31", "--out", "a"],
    );
    report(
        folder.path(),
        &["--for", "planner", "--since", "a/report.json", "--out", "b"],
    );
    let (then, now) = (twin(folder.path(), "a"), twin(folder.path(), "b"));
    let page = page(folder.path(), "b");
    let at = page
        .find(">What changed since 31 December 2025</h")
        .expect("a heading");
    let part = &page[at..];
    let part = &part[..part.find("</section>").expect("its end")];
    let sum = |twin: &Value, key: &str| -> u64 {
        let each = list(twin, "components").iter();
        each.map(|c| c[key].as_u64().expect("a count")).sum()
    };
    let failures = sum(&now, "failures") - sum(&then, "failures");
    assert!(
        failures > 0 && part.contains(&format!("{failures} more failures")),
        "{part}"
    );
    // Every answer that differs has its row, with both intervals.
    let of = |twin: &Value, component: &str| -> Vec<Value> {
        let own = list(twin, "recommendations").iter();
        own.filter(|r| r["component"] == component)
            .cloned()
            .collect()
    };
    let mut changed = 0;
    for component in list(&now, "components") {
        let id = component["component"].as_str().expect("an id");
        if let ([was], [is]) = (of(&then, id).as_slice(), of(&now, id).as_slice())
            && was["interval"] != is["interval"]
        {
            changed += 1;
            let name = component["name"].as_str().expect("a name");
            assert!(
                part.contains(&format!("<th scope=\"row\">{name}")),
                "{name}"
            );
        }
    }
    assert!(changed > 0);
    let overdue = list(&now, "overdue").len();
    assert!(
        part.contains(&format!("{overdue} are overdue now")),
        "{part}"
    );
}

#[test]
fn a_report_of_another_plant_is_taken_with_a_warning() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &["--for", "engineer"]);
    let file = folder.path().join("other.json");
    let text = std::fs::read_to_string(folder.path().join("report/report.json")).expect("a twin");
    std::fs::write(&file, text.replace("Quillmoor Oat Works", "Other Works")).expect("written");
    let (_, said) = report(
        folder.path(),
        &["--for", "engineer", "--since", "other.json"],
    );
    assert!(
        said.contains("warning: other.json: that report is of “Other Works”"),
        "{said}"
    );
}

/// What machines are asked for is what is planned and compared; a stop is of a whole machine.
#[test]
fn a_report_of_one_machine_plans_for_it_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &["--for", "planner", "--out", "all"]);
    report(
        folder.path(),
        &[
            "--for",
            "planner",
            "--machine",
            "H-02",
            "--component",
            "packing-set",
            "--out",
            "one",
        ],
    );
    let (all, one) = (twin(folder.path(), "all"), twin(folder.path(), "one"));
    let stops = |twin: &Value| -> Vec<Value> {
        let own = list(twin, "stops").iter();
        own.filter(|s| s["machine"] == "H-02").cloned().collect()
    };
    assert_eq!(stops(&all), stops(&one));
    assert_eq!(list(&one, "stops").len(), stops(&one).len());
    assert!(page(folder.path(), "one").contains("A stop is one of a whole machine"));
}
