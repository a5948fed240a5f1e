//! The binary: the JSON contract, agreement with reference cases, help, exit codes.

mod common;
#[path = "commands/compare.rs"]
mod compare;
#[path = "commands/cost.rs"]
mod cost;
#[path = "commands/curves.rs"]
mod curves;
#[path = "commands/fits.rs"]
mod fits;
#[path = "commands/fleet.rs"]
mod fleet;
#[path = "commands/forecast.rs"]
mod forecast;
#[path = "commands/grouped.rs"]
mod grouped;
#[path = "commands/guide.rs"]
mod guide;
#[path = "commands/hostile.rs"]
mod hostile;
#[path = "commands/manuals.rs"]
mod manuals;
#[path = "commands/plan.rs"]
mod plan;
#[path = "commands/sheet.rs"]
mod sheet;
#[path = "commands/wear.rs"]
mod wear;

use assert_cmd::Command;
use common::{Case, cases};
use serde_json::Value;

fn wearbook(args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("wearbook").unwrap();
    command
        .env_clear()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args);
    command
}

fn json(args: &[&str]) -> Value {
    let output = wearbook(args).arg("--format").arg("json").output().unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{args:?}: {errors}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A reference case as a CSV file of lives.
fn file_of(case: &Case) -> tempfile::NamedTempFile {
    let mut text = String::from("entry,lo,hi,count\n");
    for life in case.data["lives"].as_array().unwrap() {
        let cell = |key: &str| match &life[key] {
            Value::Null => String::new(),
            value => value.to_string(),
        };
        text.push_str(&format!(
            "{},{},{},{}\n",
            cell("entry"),
            cell("lo"),
            cell("hi"),
            cell("count")
        ));
    }
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

fn case(topic: &str, id: &str) -> Case {
    cases(topic).into_iter().find(|c| c.id == id).unwrap()
}

#[test]
fn a_fit_from_a_file_has_every_key_of_the_contract_and_the_right_values() {
    let case = case("posterior", "posterior-open-2");
    let file = file_of(&case);
    let fits = json(&["fit", "--lives", file.path().to_str().unwrap()]);
    let fit = &fits["fits"][0];
    let keys: Vec<&str> = [
        "component",
        "position",
        "machine",
        "mode",
        "group",
        "lives",
        "failures",
        "suspensions",
        "intervals",
        "excluded",
        "model",
        "method",
        "shape",
        "scale",
        "location",
        "log_likelihood",
        "aicc",
        "life_at",
        "mean",
        "limits",
        "fit_test",
        "r_squared",
        "r_squared_critical",
        "models",
        "notes",
    ]
    .to_vec();
    for key in &keys {
        assert!(fit.get(key).is_some(), "{key} is missing");
    }
    assert_eq!(fit.as_object().unwrap().len(), keys.len());
    assert_eq!((&fit["lives"], &fit["failures"]), (&12.into(), &7.into()));
    assert_eq!(fit["limits"]["kind"], "posterior");
    let judge = |name: &str, value: &Value| {
        case.expected(name)
            .unwrap()
            .judge(&case, value.as_f64().unwrap());
    };
    judge("shape.post90.lower", &fit["shape"]["lower"]);
    judge("shape.post90.upper", &fit["shape"]["upper"]);
    judge("scale.post.median", &fit["scale"]["median"]);
    judge("b1.post90.lower", &fit["life_at"][0]["lower"]);
    judge("b10.post90.upper", &fit["life_at"][1]["upper"]);
    assert_eq!(fit["life_at"][1]["fraction"], 0.1);
}

#[test]
fn other_limits_and_other_confidence_reach_the_models() {
    let case = case("bounds", "bounds-five-failures");
    let file = file_of(&case);
    let path = file.path().to_str().unwrap();
    for (kind, short) in [("wald", "wald"), ("likelihood-ratio", "lr")] {
        let fits = json(&[
            "fit",
            "--lives",
            path,
            "--limits",
            kind,
            "--confidence",
            "0.95",
        ]);
        for (place, name) in [
            (&fits["fits"][0]["shape"], "shape"),
            (&fits["fits"][0]["scale"], "scale"),
        ] {
            for side in ["lower", "upper"] {
                let expected = case.expected(&format!("{name}.{short}95.{side}")).unwrap();
                expected.judge(&case, place[side].as_f64().unwrap());
            }
            assert!(place["median"].is_null());
        }
    }
    let bare = json(&["fit", "--lives", path, "--limits", "none"]);
    assert!(bare["fits"][0]["shape"]["lower"].is_null());
    assert!(bare["fits"][0]["shape"]["estimate"].is_f64());
}

#[test]
fn groups_and_modes_of_a_file_are_fitted_apart() {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(
        file.path(),
        "lo,hi,group,mode\n100,100,A,leak\n160,160,A,crack\n210,210,A,leak\n300,,A,\n90,,B,\n",
    )
    .unwrap();
    let path = file.path().to_str().unwrap();
    let fits = json(&["fit", "--lives", path, "--by", "group"]);
    assert_eq!(fits["fits"].as_array().unwrap().len(), 2);
    assert_eq!(fits["fits"][0]["group"], "A");
    // A group that cannot be fitted still has its object, with the reason.
    let none = &fits["fits"][1];
    assert!(none["shape"].is_null());
    assert!(
        none["notes"][0]
            .as_str()
            .unwrap()
            .contains("no failure in 1 life")
    );
    let leaks = json(&["fit", "--lives", path, "--mode", "leak"]);
    assert_eq!(leaks["fits"][0]["failures"], 2);
    assert_eq!(leaks["fits"][0]["suspensions"], 3);
}

#[test]
fn a_stated_life_gives_the_interval_of_the_reference() {
    let case = case("age-replacement", "age-replacement-curve");
    let found = json(&[
        "interval",
        "--shape",
        "2.5",
        "--scale",
        "5000",
        "--planned-cost",
        "400",
        "--failed-cost",
        "3200",
    ]);
    let judge = |name: &str, value: &Value| {
        case.expected(name)
            .unwrap()
            .judge(&case, value.as_f64().unwrap());
    };
    judge("T_opt", &found["interval"]);
    judge("cost_rate", &found["cost_rate"]);
    judge(
        "cost_rate_run_to_failure",
        &found["run_to_failure_cost_rate"],
    );
    judge("T_within_5pct.lower", &found["near_optimal"]["from"]);
    judge("T_within_5pct.upper", &found["near_optimal"]["to"]);
    assert_eq!(found["policy"], "age");
    let never = json(&[
        "interval",
        "--shape",
        "0.8",
        "--scale",
        "1000",
        "--planned-cost",
        "100",
        "--failed-cost",
        "2000",
    ]);
    assert!(never["interval"].is_null());
    assert_eq!(never["verdict"], "run to failure");
}

#[test]
fn a_decision_from_a_file_agrees_with_the_reference() {
    let case = case("posterior", "posterior-open-1");
    let file = file_of(&case);
    let path = file.path().to_str().unwrap();
    let ask = |planned: &str, failed: &str| {
        let found = json(&[
            "interval",
            "--lives",
            path,
            "--planned-cost",
            planned,
            "--failed-cost",
            failed,
        ]);
        found["recommendations"][0].clone()
    };
    let renew = ask("1", "5");
    assert_eq!(renew["verdict"], "renew");
    case.expected("decision[1,5].interval")
        .unwrap()
        .judge(&case, renew["optimum"].as_f64().unwrap());
    let chance = case
        .expected("decision[1,5].chance_it_pays")
        .unwrap()
        .value
        .as_f64()
        .unwrap();
    assert!((renew["chance_it_pays"].as_f64().unwrap() - chance).abs() < 0.01);
    assert_eq!(renew["planned_cost"]["from"], "given");
    let run = ask("1", "1.5");
    assert_eq!(
        (&run["verdict"], &run["optimum"]),
        (&"run to failure".into(), &Value::Null)
    );
    // Grid and ceiling: rounded down, never passed.
    let bound = json(&[
        "interval",
        "--lives",
        path,
        "--planned-cost",
        "1",
        "--failed-cost",
        "5",
        "--grid",
        "100",
        "--ceiling",
        "250",
    ]);
    assert_eq!(bound["recommendations"][0]["interval"], 200.0);
}

/// Groups of a file stand alone unless asked to lean; then the thin one is drawn to its
/// siblings, and how far is told.
#[test]
fn groups_of_a_file_lean_on_each_other_when_asked() {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    let mut text = String::from("lo,hi,group\n");
    for (group, lives) in [
        ("P1", &[1_900.0, 2_400.0, 2_100.0, 2_700.0][..]),
        ("P2", &[600.0, 750.0]),
        ("P3", &[1_300.0, 1_500.0, 1_150.0]),
    ] {
        for at in lives {
            text.push_str(&format!("{at},{at},{group}\n"));
        }
    }
    text.push_str("900,,P4\n");
    std::fs::write(file.path(), text).unwrap();
    let path = file.path().to_str().unwrap();
    let ask = |pool: &[&str]| -> Vec<Value> {
        let mut args = vec!["interval", "--lives", path, "--by", "group"];
        args.extend(["--planned-cost", "1", "--failed-cost", "10"]);
        args.extend(pool);
        json(&args)["recommendations"].as_array().unwrap().clone()
    };
    let optimum = |row: &Value| row["optimum"].as_f64().unwrap();
    let alone = ask(&[]);
    assert!(alone.iter().all(|row| row["borrowed"].is_null()));
    assert_eq!(alone[3]["verdict"], "not enough evidence");
    assert_eq!(alone, ask(&["--pool", "none"]));
    let lean = ask(&["--pool", "partial"]);
    assert_eq!(lean[1]["lives"], 2);
    let borrowed: Vec<f64> = lean
        .iter()
        .map(|r| r["borrowed"].as_f64().unwrap())
        .collect();
    assert!(
        borrowed[1] > borrowed[0] && borrowed[3] == 1.0,
        "{borrowed:?}"
    );
    let basis = lean[1]["basis"].as_str().unwrap();
    assert!(
        basis.starts_with("P2 on P1, P3, P4: 2 lives, 2 failed")
            && basis.ends_with("% borrowed from its siblings"),
        "{basis}"
    );
    assert!(optimum(&lean[1]) < optimum(&lean[2]) && optimum(&lean[2]) < optimum(&lean[0]));
    let all = ask(&["--pool", "all"]);
    assert!(all.iter().all(|row| optimum(row) == optimum(&all[0])));
    assert!(all[0]["borrowed"].is_null() && all[0]["lives"] == 10);
    let lost = wearbook(&["interval", "--lives", path, "--pool", "all"])
        .args(["--planned-cost", "1", "--failed-cost", "10"])
        .output()
        .unwrap();
    assert_eq!(lost.status.code(), Some(2));
}

/// Every way of pooling answers for every slot of the sample ledger; on its own, a position
/// knows less than together.
#[test]
fn a_ledger_is_pooled_as_asked() {
    let ask = |how: &str| -> Vec<Value> {
        let args = [
            "interval",
            "sample-ledger",
            "--component",
            "valve-seat",
            "--pool",
            how,
        ];
        json(&args)["recommendations"].as_array().unwrap().clone()
    };
    let lives = |rows: &[Value]| rows[0]["lives"].as_u64().unwrap();
    let (none, all) = (ask("none"), ask("all"));
    assert!(none.len() <= all.len());
    assert!(lives(&none) < lives(&all));
    assert!(none.iter().all(|row| row["borrowed"].is_null()));
    let default = json(&["interval", "sample-ledger", "--component", "valve-seat"]);
    assert_eq!(
        default["recommendations"].as_array().unwrap(),
        &ask("partial")
    );
}

/// The oddities of the sample's truth are called right.
#[test]
fn the_sample_ledger_is_called_right() {
    let found = json(&["interval", "sample-ledger"]);
    let rows = found["recommendations"].as_array().unwrap();
    let of = |component: &str| -> Vec<&Value> {
        rows.iter()
            .filter(|r| r["component"] == component)
            .collect()
    };
    // Packing: renewed, and far sooner where it wears fast.
    let packing = of("packing-set");
    let fast: Vec<&&Value> = packing.iter().filter(|r| r["machine"] == "H-02").collect();
    assert_eq!(fast.len(), 1, "{packing:?}");
    assert_eq!(fast[0]["position"], "P2");
    for row in &packing {
        assert_eq!(row["verdict"], "renew");
        if row["machine"] != "H-02" {
            assert!(fast[0]["interval"].as_f64() < row["interval"].as_f64());
        }
    }
    // Infant mortality: an old spring is no worse than a new one.
    assert!(
        of("valve-spring")
            .iter()
            .all(|r| r["verdict"] == "run to failure")
    );
    // No failure in five years: nothing is claimed.
    let plungers = of("plunger");
    assert!(!plungers.is_empty());
    for row in plungers {
        assert_eq!(row["verdict"], "not enough evidence");
        assert!(row["interval"].is_null());
    }
    // Every interval keeps the planning grid.
    for row in rows {
        if let Some(interval) = row["interval"].as_f64() {
            assert_eq!(interval % 250.0, 0.0, "{row}");
        }
    }
}

#[test]
fn the_same_ledger_and_date_give_the_same_bytes() {
    let run = |args: &[&str]| wearbook(args).output().unwrap().stdout;
    for format in ["table", "json", "csv"] {
        for command in ["fit", "interval"] {
            let args = [
                command,
                "sample-ledger",
                "--as-of",
                "2025-03-31",
                "--format",
                format,
            ];
            let first = run(&args);
            assert!(!first.is_empty());
            assert_eq!(first, run(&args), "{command} {format}");
        }
    }
}

#[test]
fn an_earlier_date_knows_less() {
    let lives = |date: &str| -> u64 {
        let found = json(&["fit", "sample-ledger", "--by", "component", "--as-of", date]);
        found["fits"]
            .as_array()
            .unwrap()
            .iter()
            .map(|f| f["lives"].as_u64().unwrap())
            .sum()
    };
    assert!(lives("2023-06-30") < lives("2024-06-30"));
}

#[test]
fn every_command_has_help_that_says_what_it_does() {
    let text = |args: &[&str]| String::from_utf8(wearbook(args).output().unwrap().stdout).unwrap();
    let overview = text(&["--help"]);
    insta::assert_snapshot!("help", overview);
    let commands: Vec<&str> = overview
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() >= 8, "{commands:?}");
    for command in commands {
        insta::assert_snapshot!(format!("help-{command}"), text(&[command, "--help"]));
    }
}

#[test]
fn wrong_use_is_exit_code_2_and_says_how() {
    for args in [
        &["interval", "--shape", "2"][..],
        &["fit", "--confidence", "1.5"],
        &["interval", "sample-ledger", "--planned-cost", "3"],
        &["nonsense"],
    ] {
        let output = wearbook(args).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(output.stdout.is_empty());
        assert!(!output.stderr.is_empty());
    }
}

/// A case of recurrences as a CSV file of events.
fn events_of(case: &Case) -> tempfile::NamedTempFile {
    let list = case.data.get("units").unwrap_or(&case.data["systems"]);
    let mut text = String::from("unit,time,event\n");
    for (n, unit) in list.as_array().unwrap().iter().enumerate() {
        for at in unit["events"].as_array().unwrap() {
            text.push_str(&format!("{n},{at},event\n"));
        }
        if unit["truncation"] != "failure" {
            text.push_str(&format!("{n},{},end\n", unit["end"]));
        }
    }
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

#[test]
fn events_of_a_file_give_the_curve_of_the_reference() {
    let case = case("recurrence", "mcf-valve-seats");
    let file = events_of(&case);
    let path = file.path().to_str().unwrap();
    let found = json(&["recur", "--events", path]);
    for (key, value) in [("units", 41), ("events", 48)] {
        assert_eq!(found[key], value, "{key}");
    }
    let steps = found["mcf"].as_array().unwrap();
    let step = steps
        .iter()
        .rev()
        .find(|s| s["time"].as_f64() <= Some(200.0))
        .unwrap();
    for key in [
        "time",
        "at_risk",
        "events",
        "estimate",
        "standard_error",
        "lower",
        "upper",
    ] {
        assert!(step[key].is_number(), "{key}");
    }
    let judge = |name: &str, value: &Value| {
        case.expected(name)
            .unwrap()
            .judge(&case, value.as_f64().unwrap());
    };
    judge("mcf(200)", &step["estimate"]);
    judge("mcf(200).log90.lower", &step["lower"]);
    judge("mcf(200).log90.upper", &step["upper"]);
    let wider = json(&["recur", "--events", path, "--confidence", "0.95"]);
    let last = wider["mcf"].as_array().unwrap().last().unwrap();
    judge("mcf(653).log95.lower", &last["lower"]);
    judge("mcf(653).log95.upper", &last["upper"]);
    let student = json(&["recur", "--events", path, "--limits", "student"]);
    assert_eq!(student["limits"]["mcf"], "student");
    let last = &student["mcf"].as_array().unwrap().last().unwrap()["lower"];
    assert!(last.as_f64() < steps.last().unwrap()["lower"].as_f64());
}

#[test]
fn trend_and_power_law_of_a_file_agree_with_the_reference() {
    for (id, truncation) in [
        ("trend-nist-8452", "time"),
        ("trend-failure-truncated", "failure"),
    ] {
        let case = case("trend-test", id);
        let file = events_of(&case);
        let found = json(&["recur", "--events", file.path().to_str().unwrap()]);
        let judge = |name: &str, value: &Value| {
            case.expected(name)
                .unwrap()
                .judge(&case, value.as_f64().unwrap());
        };
        let trend = found["trend"].as_array().unwrap();
        assert_eq!(
            (&trend[0]["test"], &trend[1]["test"]),
            (&"laplace".into(), &"chi-square".into())
        );
        judge("laplace_u", &trend[0]["statistic"]);
        judge("laplace_p_two_sided", &trend[0]["p"]);
        judge("mil189_chi2", &trend[1]["statistic"]);
        judge("mil189_df", &trend[1]["df"]);
        judge("mil189_p_two_sided", &trend[1]["p"]);
        let law = &found["power_law"];
        assert_eq!(law["truncation"], truncation);
        judge("power_law.shape", &law["shape"]);
        judge("power_law.scale", &law["scale"]);
        judge("power_law.rate_at_end", &law["intensity"]);
        judge("power_law.shape_unbiased", &law["shape_unbiased"]);
        judge(
            "power_law.shape.exact90.lower",
            &law["shape_limits"]["lower"],
        );
        judge(
            "power_law.shape.exact90.upper",
            &law["shape_limits"]["upper"],
        );
        judge("power_law.cramer_von_mises", &law["fit_test"]["statistic"]);
        let notes = found["notes"].to_string();
        assert_eq!(
            notes.contains("failure truncation"),
            truncation == "failure",
            "{notes}"
        );
    }
}

/// Late entry, a unit without an end, and a file in which nothing happened.
#[test]
fn events_with_late_entry_and_without_events_are_told() {
    let run = |text: &str| {
        let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
        std::fs::write(file.path(), text).unwrap();
        json(&["recur", "--events", file.path().to_str().unwrap()])
    };
    let late = run(
        "unit,time,event,start\nA,300,event,\nA,900,end,\nB,500,event,400\nB,800,end,\n\
         C,450,event,\n",
    );
    let at_risk: Vec<&Value> = late["mcf"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| &s["at_risk"])
        .collect();
    assert_eq!(at_risk, [2, 3, 2]);
    assert_eq!(late["power_law"]["truncation"], "mixed");
    assert_eq!(late["power_law"]["shape_limits"]["kind"], "approximate");
    let notes = late["notes"].to_string();
    assert!(
        notes.contains("unit C: no end row") && notes.contains("fewer than four"),
        "{notes}"
    );
    let quiet = run("unit,time,event\nA,300,end\n");
    assert_eq!(quiet["mcf"].as_array().unwrap().len(), 0);
    assert!(quiet["power_law"].is_null() && quiet["trend"][0]["p"].is_null());
}

/// A ledger by machine, slot, component and as a whole: every failure of the life table counts.
#[test]
fn the_sample_ledger_is_seen_as_repairable() {
    let lives = json(&["lives", "sample-ledger"]);
    let failures = lives["lives"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|l| l["outcome"] != "suspension")
        .count() as u64;
    let groups = |by: &str| -> Vec<Value> {
        let found = json(&["recur", "sample-ledger", "--by", by]);
        found["groups"].as_array().unwrap().clone()
    };
    let events =
        |groups: &[Value]| -> u64 { groups.iter().map(|g| g["events"].as_u64().unwrap()).sum() };
    let machines = groups("machine");
    let tags: Vec<&Value> = machines.iter().map(|g| &g["machine"]).collect();
    assert_eq!(tags, ["H-01", "H-02", "H-03"]);
    assert_eq!(events(&machines), failures);
    let components = groups("component");
    assert_eq!(events(&components), failures);
    let fleet = groups("fleet");
    assert_eq!((fleet.len(), events(&fleet)), (1, failures));
    assert_eq!(fleet[0]["units"], 3);
    // Slots of unknown age begin later, and what failed before is left out, and said to be.
    let slots = groups("slot");
    assert!(events(&slots) <= failures && events(&slots) > failures * 8 / 10);
    let packing = slots
        .iter()
        .find(|g| g["component"] == "packing-set")
        .unwrap();
    assert_eq!(packing["units"], 11);
    assert_eq!(packing["limits"]["mcf"], "student");
    for group in slots.iter().chain(&machines).chain(&fleet) {
        let mut before = 0.0;
        for step in group["mcf"].as_array().unwrap() {
            let estimate = step["estimate"].as_f64().unwrap();
            assert!(estimate > before, "{group}");
            before = estimate;
        }
    }
}

#[test]
fn the_repairable_view_has_filters_and_layouts() {
    let one = json(&[
        "recur",
        "sample-ledger",
        "--machine",
        "H-02",
        "--component",
        "packing-set",
        "--position",
        "P2",
    ]);
    let groups = one["groups"].as_array().unwrap();
    assert_eq!((groups.len(), &groups[0]["machine"]), (1, &"H-02".into()));
    let earlier = json(&[
        "recur",
        "sample-ledger",
        "--machine",
        "H-02",
        "--as-of",
        "2023-06-30",
    ]);
    let later = json(&["recur", "sample-ledger", "--machine", "H-02"]);
    assert!(earlier["groups"][0]["events"].as_u64() < later["groups"][0]["events"].as_u64());
    let text = |format: &str| {
        let output =
            wearbook(&["recur", "sample-ledger", "--by", "slot", "--format", format]).output();
        String::from_utf8(output.unwrap().stdout).unwrap()
    };
    let csv = text("csv");
    assert!(csv.starts_with(
        "group,machine,component,figure,time,at_risk,events,estimate,lower,upper,p\n"
    ));
    for figure in [
        ",mcf,",
        ",laplace,",
        ",chi-square,",
        ",shape,",
        ",intensity,",
        ",mtbf,",
    ] {
        assert!(csv.contains(figure), "{figure}");
    }
    let table = text("table");
    for words in [
        "packing-set",
        "none seen",
        "parts are renewed in a slot",
        "Mean events a unit",
    ] {
        assert!(table.contains(words), "{words}\n{table}");
    }
    let refused = wearbook(&["recur", "--events", "x.csv", "--by", "slot"])
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(2));
}
