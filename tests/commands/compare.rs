//! `compare`: the JSON contract against a reference case, each flag, what is refused.

use super::{json, wearbook};
use crate::common::{Case, cases};
use serde_json::Value;

/// A reference case as a CSV file of lives with their groups.
fn grouped(case: &Case) -> tempfile::NamedTempFile {
    let mut text = String::from("lo,hi,count,group\n");
    for life in case.data["lives"].as_array().unwrap() {
        let cell = |key: &str| match &life[key] {
            Value::Null => String::new(),
            value => value.to_string(),
        };
        let group = life["group"].as_str().unwrap();
        let (lo, hi, count) = (cell("lo"), cell("hi"), cell("count"));
        text.push_str(&format!("{lo},{hi},{count},{group}\n"));
    }
    file(&text)
}

fn file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

fn gehan() -> Case {
    let mut all = cases("regression").into_iter();
    all.find(|c| c.id == "regression-gehan").unwrap()
}

fn compare(path: &tempfile::NamedTempFile, more: &[&str]) -> Value {
    let path = path.path().to_str().unwrap();
    let mut args = vec!["compare", "--lives", path, "--by", "group"];
    args.extend(more);
    json(&args)
}

#[test]
fn a_comparison_has_every_key_of_the_contract_and_the_right_values() {
    let case = gehan();
    let found = compare(&grouped(&case), &["--limits", "wald"]);
    let judge = |name: &str, value: &Value| {
        let expected = case.expected(name).unwrap();
        expected.judge(&case, value.as_f64().unwrap());
    };
    let names = |list: &str| -> Vec<String> {
        let rows = found[list].as_array().unwrap().iter();
        rows.map(|r| r["name"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(names("models"), ["pooled", "common-shape", "separate"]);
    assert_eq!(
        names("tests"),
        ["equal shapes", "equal scales", "equal both"]
    );
    judge("pooled.loglik", &found["models"][0]["log_likelihood"]);
    judge("common.loglik", &found["models"][1]["log_likelihood"]);
    for (n, name) in ["shapes", "scales", "all"].into_iter().enumerate() {
        judge(&format!("lr_{name}"), &found["tests"][n]["statistic"]);
        judge(&format!("p_{name}"), &found["tests"][n]["p"]);
    }
    judge("common.shape", &found["common_shape"]);
    let ratio = &found["life_ratios"][0];
    assert_eq!(
        (&ratio["group"], &ratio["to"]),
        (&"6-MP".into(), &"control".into())
    );
    judge("life_ratio[6-MP/control]", &ratio["estimate"]);
    judge("life_ratio.wald90.lower[6-MP/control]", &ratio["lower"]);
    judge("life_ratio.wald90.upper[6-MP/control]", &ratio["upper"]);
    let chosen: Vec<bool> = found["models"]
        .as_array()
        .unwrap()
        .iter()
        .map(|m| m["chosen"].as_bool().unwrap())
        .collect();
    assert_eq!(chosen, [false, true, false]);
    for key in ["parameters", "aicc"] {
        assert!(found["models"][1][key].is_number());
    }
    assert_eq!(found["tests"][2]["df"], 2);
    assert_eq!(found["limits"]["kind"], "wald");
    assert_eq!(found["groups"][1]["suspensions"], 12);
    judge(
        "separate.scale[6-MP]",
        &found["groups"][1]["separate"]["scale"],
    );
}

#[test]
fn limits_confidence_and_base_reach_the_comparison() {
    let case = gehan();
    let lives = grouped(&case);
    let wald = compare(&lives, &["--limits", "wald", "--confidence", "0.95"]);
    case.expected("life_ratio.wald95.upper[6-MP/control]")
        .unwrap()
        .judge(&case, wald["life_ratios"][0]["upper"].as_f64().unwrap());
    let number = |v: &Value| v.as_f64().unwrap();
    // Posterior by default: a median between limits, and the ratio turned round with the base.
    let one = compare(&lives, &[]);
    let turned = compare(&lives, &["--base", "6-MP"]);
    let (there, back) = (&one["life_ratios"][0], &turned["life_ratios"][0]);
    assert_eq!(there["kind"], "posterior");
    assert_eq!(back["to"], "6-MP");
    assert!((number(&there["median"]) * number(&back["median"]) - 1.0).abs() < 1e-6);
    assert!((number(&there["lower"]) * number(&back["upper"]) - 1.0).abs() < 1e-6);
    let ratio = compare(&lives, &["--limits", "likelihood-ratio"]);
    assert_eq!(ratio["life_ratios"][0]["kind"], "likelihood-ratio");
    assert!(ratio["life_ratios"][0]["median"].is_null());
}

#[test]
fn costs_tell_what_the_difference_is_worth() {
    let lives = grouped(&gehan());
    let without = compare(&lives, &[]);
    assert_eq!(without["worth"].as_array().unwrap().len(), 0);
    let found = compare(&lives, &["--planned-cost", "100", "--failed-cost", "900"]);
    let worth = &found["worth"][0];
    assert_eq!(found["planned_cost"]["from"], "given");
    let number = |key: &str, part: &str| worth[key][part].as_f64().unwrap();
    // Lives in 6-MP are longer, so they cost less.
    assert!(number("difference_per_1000", "upper") < 0.0);
    assert!(number("cost_per_1000", "median") < number("cost_per_1000_to", "median"));
    assert!(worth["chance_dearer"].as_f64().unwrap() < 0.01);
}

#[test]
fn modes_of_a_file_are_compared_apart() {
    let lives = file(
        "lo,hi,group,mode\n100,100,A,leak\n160,160,A,crack\n210,210,A,leak\n300,,A,\n\
         90,90,B,leak\n120,120,B,leak\n180,180,B,crack\n,50,,leak\n",
    );
    let all = compare(&lives, &[]);
    assert_eq!(all["groups"][0]["failures"], 3);
    assert!(all["notes"][0].as_str().unwrap().contains("1 life without"));
    let leaks = compare(&lives, &["--mode", "leak"]);
    assert_eq!(leaks["groups"][0]["failures"], 2);
    assert_eq!(leaks["groups"][0]["suspensions"], 2);
}

#[test]
fn a_group_without_a_failure_is_open_on_one_side() {
    let lives = file("lo,hi,group\n100,100,A\n160,160,A\n210,210,A\n300,,A\n900,,B\n800,,B\n");
    let found = compare(&lives, &[]);
    let ratio = &found["life_ratios"][0];
    assert!(ratio["estimate"].is_null() && ratio["upper"].is_null());
    assert!(ratio["lower"].as_f64().unwrap() > 1.0);
    assert!(found["groups"][1]["separate"].is_null());
    assert!(found["models"][2]["log_likelihood"].is_null());
    assert!(found["tests"][0]["p"].is_null());
    let note = ratio["notes"][0].as_str().unwrap();
    assert!(note.contains("no failure in B"), "{note}");
}

#[test]
fn what_cannot_be_compared_is_refused_with_a_reason() {
    let plain = file("lo,hi\n100,100\n200,200\n");
    let single = file("lo,hi,group\n100,100,A\n200,200,A\n");
    let idle = file("lo,hi,group\n100,,A\n200,,B\n");
    let two = file("lo,hi,group\n100,100,A\n200,200,A\n150,150,B\n190,190,B\n");
    let path = |f: &tempfile::NamedTempFile| f.path().to_str().unwrap().to_owned();
    let sample = "sample-ledger".to_owned();
    for (args, code, words) in [
        (vec!["--lives".into(), path(&plain)], 3, "names its group"),
        (vec!["--lives".into(), path(&single)], 3, "one group: A"),
        (
            vec!["--lives".into(), path(&idle)],
            5,
            "no model has an estimate",
        ),
        (
            vec!["--lives".into(), path(&two), "--base".into(), "C".into()],
            2,
            "no group \"C\"",
        ),
        (
            vec!["--lives".into(), path(&two), "--by".into(), "batch".into()],
            2,
            "needs a ledger",
        ),
        (
            vec!["--lives".into(), path(&two), "--mode".into(), "x".into()],
            2,
            "mode \"x\"",
        ),
        (vec![sample.clone()], 2, "what is to be compared"),
        (
            vec![sample.clone(), "--by".into(), "group".into()],
            2,
            "--lives",
        ),
        (
            vec![sample.clone(), "--by".into(), "machine".into()],
            2,
            "several components",
        ),
        (
            vec![
                sample,
                "--by".into(),
                "position".into(),
                "--component".into(),
                "packing-set".into(),
                "--position".into(),
                "P1".into(),
            ],
            3,
            "one group: P1",
        ),
    ] {
        let mut all = vec!["compare"];
        all.extend(args.iter().map(String::as_str));
        let output = wearbook(&all).output().unwrap();
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{args:?}: {errors}");
        assert!(errors.contains(words), "{args:?}: {errors}");
    }
}

fn sample(more: &[&str]) -> Value {
    let mut args = vec!["compare", "sample-ledger", "--component"];
    args.extend(more);
    json(&args)
}

/// The sample's truth: packing on H-02 wears 2.2 times as fast at P2; elsewhere all alike.
#[test]
fn the_sample_ledger_is_compared_right() {
    let fast = sample(&["packing-set", "--machine", "H-02", "--by", "position"]);
    let ratios = fast["life_ratios"].as_array().unwrap();
    let of = |group: &str| ratios.iter().find(|r| r["group"] == group).unwrap();
    let number = |v: &Value| v.as_f64().unwrap();
    let truth = 1.0 / 2.2;
    assert!(number(&of("P2")["lower"]) < truth && truth < number(&of("P2")["upper"]));
    assert!(number(&of("P2")["upper"]) < 0.8);
    assert!(number(&of("P3")["lower"]) < 1.0 && 1.0 < number(&of("P3")["upper"]));
    assert!(number(&fast["tests"][1]["p"]) < 0.001);
    let worth = fast["worth"].as_array().unwrap();
    let dearer = worth.iter().find(|w| w["group"] == "P2").unwrap();
    assert!(number(&dearer["difference_per_1000"]["lower"]) > 0.0);
    let like = sample(&["packing-set", "--machine", "H-01", "--by", "position"]);
    assert!(number(&like["tests"][1]["p"]) > 0.05);
    assert_eq!(like["models"][0]["chosen"], true);
}

#[test]
fn a_ledger_is_parted_by_machine_part_supplier_batch_and_date() {
    let names = |found: &Value| -> Vec<String> {
        let groups = found["groups"].as_array().unwrap().iter();
        groups
            .map(|g| g["group"].as_str().unwrap().to_owned())
            .collect()
    };
    let machines = sample(&["packing-set", "--by", "machine"]);
    assert_eq!(names(&machines), ["H-01", "H-02", "H-03"]);
    for by in ["part", "batch"] {
        let found = sample(&["packing-set", "--by", by]);
        assert!(names(&found).len() >= 2, "{by}: {:?}", names(&found));
        assert!(names(&found).is_sorted(), "{by}: {:?}", names(&found));
        assert_eq!(found["by"], by);
    }
    // All packing comes from one supplier, which the refusal names.
    let one = ["packing-set", "--by", "supplier"];
    let mut args = vec!["compare", "sample-ledger", "--component"];
    args.extend(one);
    let output = wearbook(&args).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&output.stderr).contains("Lindmoor Seals"));
    let dated = sample(&["packing-set", "--before", "2024-01-01"]);
    assert_eq!(names(&dated), ["before 2024-01-01", "from 2024-01-01"]);
    let total = |found: &Value| -> u64 {
        let groups = found["groups"].as_array().unwrap().iter();
        groups.map(|g| g["lives"].as_u64().unwrap()).sum()
    };
    assert_eq!(total(&dated), total(&machines));
    let earlier = sample(&[
        "packing-set",
        "--by",
        "machine",
        "--as-of",
        "2023-06-30",
        "--mode",
        "leaking",
    ]);
    assert!(total(&earlier) < total(&machines));
    assert_eq!(earlier["mode"], "leaking");
    // Costs are of failures of any mode, so that of one mode has no worth.
    assert_eq!(earlier["worth"].as_array().unwrap().len(), 0);
}

#[test]
fn the_layouts_say_the_same() {
    let args = [
        "compare",
        "sample-ledger",
        "--component",
        "packing-set",
        "--by",
        "machine",
    ];
    let with = |format: &str| {
        let mut all = args.to_vec();
        all.extend(["--format", format]);
        let first = wearbook(&all).output().unwrap().stdout;
        assert_eq!(first, wearbook(&all).output().unwrap().stdout);
        String::from_utf8(first).unwrap()
    };
    let table = with("table");
    assert!(table.contains("lives in H-02 are"), "{table}");
    assert!(table.contains("per 1,000 h"), "{table}");
    let mut rows = csv::Reader::from_reader(std::io::Cursor::new(with("csv")));
    let headings = rows.headers().unwrap().clone();
    assert!(headings.iter().any(|h| h == "life_ratio_estimate"));
    assert_eq!(rows.records().count(), 3);
}
