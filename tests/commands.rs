//! The binary: the JSON contract, agreement with reference cases, help, exit codes.

mod common;

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

fn lives_file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

#[test]
fn every_model_can_be_asked_for_and_stands_beside_the_others() {
    let nist = case("lognormal", "lognormal-nist-105c");
    let file = file_of(&nist);
    let path = file.path().to_str().unwrap();
    let fit = |more: &[&str]| -> Value {
        let mut args = vec!["fit", "--lives", path];
        args.extend(more);
        json(&args)["fits"][0].clone()
    };
    let lognormal = fit(&["--model", "lognormal", "--limits", "wald"]);
    let judge = |name: &str, value: f64| nist.expected(name).unwrap().judge(&nist, value);
    let number = |value: &Value| value.as_f64().unwrap();
    judge("sigma", number(&lognormal["shape"]["estimate"]));
    judge("mu", number(&lognormal["scale"]["estimate"]).ln());
    judge("mu.wald90.lower", number(&lognormal["scale"]["lower"]).ln());
    judge("sigma.wald90.upper", number(&lognormal["shape"]["upper"]));
    judge("b10", number(&lognormal["life_at"][1]["estimate"]));
    judge("loglik", number(&lognormal["log_likelihood"]));
    judge("aicc.lognormal", number(&lognormal["aicc"]));
    let exponential = fit(&["--model", "exponential"]);
    judge("exponential.mean", number(&exponential["mean"]["estimate"]));
    assert_eq!(exponential["limits"]["kind"], "chi-square");
    assert_eq!(exponential["shape"]["estimate"], 1.0);
    // The plain Weibull tells that another model is better, and best takes it.
    let weibull = fit(&[]);
    judge("aicc.weibull", number(&weibull["aicc"]));
    let models = weibull["models"].as_array().unwrap();
    assert_eq!(models.len(), 4);
    assert_eq!(models[3]["model"], "lognormal");
    assert_eq!(models[3]["chosen"], true);
    assert!(notes(&weibull).contains("--model lognormal shows it"));
    let best = fit(&["--model", "best"]);
    assert_eq!(best["model"], "lognormal");
    assert!(notes(&best).contains("by AICc the lognormal is chosen"));
    let plain = fit(&["--plain"]);
    assert!(plain["fit_test"].is_null() && plain["models"].as_array().unwrap().is_empty());
}

fn notes(fit: &Value) -> String {
    fit["notes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_str().unwrap())
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn a_location_is_fitted_with_limits_and_its_absence_is_told() {
    let three = case("three-parameter", "three-parameter-lockhart-stephens");
    let file = file_of(&three);
    let path = file.path().to_str().unwrap();
    for kind in ["posterior", "wald"] {
        let found = json(&[
            "fit", "--lives", path, "--model", "weibull3", "--limits", kind,
        ]);
        let fit = &found["fits"][0];
        for (name, value) in [
            ("shape", &fit["shape"]),
            ("scale", &fit["scale"]),
            ("threshold", &fit["location"]),
            ("mttf", &fit["mean"]),
            ("b10", &fit["life_at"][1]),
        ] {
            let number = |key: &str| value[key].as_f64().unwrap();
            three
                .expected(name)
                .unwrap()
                .judge(&three, number("estimate"));
            assert!(number("lower") < number("upper"), "{kind} {name}");
        }
        three
            .expected("aicc.weibull3")
            .unwrap()
            .judge(&three, fit["aicc"].as_f64().unwrap());
    }
    let early = lives_file("lo,hi\n1,1\n2,2\n3,3\n9,9\n40,40\n200,200\n");
    let none = json(&[
        "fit",
        "--lives",
        early.path().to_str().unwrap(),
        "--model",
        "weibull3",
    ]);
    assert!(none["fits"][0]["shape"].is_null());
    assert!(notes(&none["fits"][0]).contains("has no maximum"));
}

#[test]
fn a_stated_shape_speaks_without_any_failure() {
    let zero = case("one-parameter", "one-parameter-zero-failures");
    let file = file_of(&zero);
    let path = file.path().to_str().unwrap();
    let found = json(&["fit", "--lives", path, "--shape", "2"]);
    let fit = &found["fits"][0];
    assert!(fit["scale"]["estimate"].is_null() && fit["scale"]["upper"].is_null());
    // Two-sided 90 % has a lower limit of one-sided 95 %.
    zero.expected("scale.lower95")
        .unwrap()
        .judge(&zero, fit["scale"]["lower"].as_f64().unwrap());
    zero.expected("b10.lower95")
        .unwrap()
        .judge(&zero, fit["life_at"][1]["lower"].as_f64().unwrap());
    assert!(notes(fit).contains("one-sided with 95 % confidence"));
    let three = case("one-parameter", "one-parameter-three-failures");
    let file = file_of(&three);
    let path = file.path().to_str().unwrap();
    let found = json(&["fit", "--lives", path, "--shape", "1.5"]);
    let scale = &found["fits"][0]["scale"];
    for (name, key) in [
        ("scale", "estimate"),
        ("scale.two_sided90.lower", "lower"),
        ("scale.two_sided90.upper", "upper"),
    ] {
        three
            .expected(name)
            .unwrap()
            .judge(&three, scale[key].as_f64().unwrap());
    }
    let posterior = json(&[
        "fit",
        "--lives",
        path,
        "--shape",
        "1.5",
        "--limits",
        "posterior",
    ]);
    let lower = posterior["fits"][0]["scale"]["lower"].as_f64().unwrap();
    assert!(lower > scale["lower"].as_f64().unwrap());
}

#[test]
fn ranks_are_reached_from_the_command_line() {
    let rank = case("rank-regression", "rank-ball-bearings");
    let file = file_of(&rank);
    let path = file.path().to_str().unwrap();
    let ask = |more: &[&str]| {
        let mut args = vec!["fit", "--lives", path, "--method", "ranks"];
        args.extend(more);
        json(&args)["fits"][0].clone()
    };
    let exact = ask(&[]);
    let benard = ask(&["--ranks", "benard", "--regress", "y-on-x"]);
    assert_eq!(exact["method"], "ranks");
    assert_eq!(exact["limits"]["kind"], "none");
    assert!(exact["log_likelihood"].is_null());
    let number = |value: &Value| value.as_f64().unwrap();
    assert!(number(&exact["r_squared"]) > 0.9);
    assert!(number(&exact["r_squared_critical"]) > 0.8);
    assert!(number(&exact["shape"]["estimate"]) != number(&benard["shape"]["estimate"]));
    let lognormal = ask(&["--model", "lognormal"]);
    assert_eq!(lognormal["model"], "lognormal");
}

#[test]
fn a_prior_for_the_shape_narrows_the_limits_and_says_so() {
    let file = lives_file("lo,hi\n500,500\n800,\n900,\n");
    let path = file.path().to_str().unwrap();
    // One failure: the flat prior leaves the shape open, a stated one closes it.
    let flat = json(&["fit", "--lives", path]);
    assert!(flat["fits"][0]["shape"]["lower"].is_null());
    let stated = json(&["fit", "--lives", path, "--shape-prior", "1.5,4"]);
    let shape = &stated["fits"][0]["shape"];
    assert!(shape["lower"].as_f64().unwrap() > 1.0 && shape["upper"].as_f64().unwrap() < 6.0);
    assert!(notes(&stated["fits"][0]).contains("prior for the shape, 1.5 to 4"));
}

/// What does not go together is refused in words, with the exit code of wrong use.
#[test]
fn options_of_fit_that_contradict_each_other_are_refused() {
    let file = lives_file("lo,hi\n500,500\n800,\n900,900\n");
    let path = file.path().to_str().unwrap();
    for (args, words) in [
        (&["--ranks", "benard"][..], "add --method ranks"),
        (
            &["--method", "ranks", "--model", "weibull3"],
            "a line through ranks",
        ),
        (
            &["--method", "ranks", "--limits", "wald"],
            "comes without limits",
        ),
        (&["--shape", "2", "--model", "lognormal"], "beside --shape"),
        (&["--limits", "chi-square"], "single parameter"),
        (
            &["--model", "weibull3", "--limits", "likelihood-ratio"],
            "posterior or wald",
        ),
        (&["--shape-prior", "register"], "has no register"),
    ] {
        let mut all = vec!["fit", "--lives", path];
        all.extend(args);
        let output = wearbook(&all).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {said}");
        assert!(said.contains(words), "{args:?}: {said}");
    }
}
