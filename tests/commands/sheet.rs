//! Work sheets: the page and its CSV twin, and the twin filled in and entered.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde_json::Value;
use wearbook::book::{Sha, parse_given_line};

use super::wearbook;

const PLANT: &str = r#"
[plant]
name = "Quillmoor Oat Works"
currency = "EUR"
time_zone = "Europe/Dublin"
labour_rate = 50
cautions = ["Tell the control room."]

[[usage]]
id = "hours"
name = "Running hours"
unit = "h"

[[component]]
id = "packing-set"
name = "Plunger packing set"
usage = "hours"
modes = ["leaking", "extruded"]
price = 80
pieces = 3
present_interval = 2000
checks = ["Lips whole."]

[[component]]
id = "cap-gasket"
name = "Cylinder cap gasket"
usage = "hours"
modes = ["leaking"]
price = 9

[[component]]
id = "plunger"
name = "Plunger"
usage = "hours"
modes = ["scored"]
price = 300

[[component]]
id = "belts"
name = "Drive belts"
usage = "hours"
modes = ["slipping"]
price = 40

[[access]]
id = "cylinder"
name = "Cylinder cap off"
labour_h = 1.5
always_renew = ["cap-gasket"]
steps = ["Slacken the nuts crosswise."]
tools = ["torque wrench"]

[[layout]]
id = "duplex"
slots = [
  { component = "packing-set", positions = ["P1", "P2"], access = "cylinder" },
  { component = "cap-gasket", positions = ["P1"], access = "cylinder" },
  { component = "plunger", positions = ["P1", "P2"], access = "cylinder" },
  { component = "belts", positions = ["drive"] },
]
before = ["Lock out."]
after = ["Covers on."]

[[machine]]
tag = "H-01"
name = "Homogeniser 1"
layout = "duplex"
in_service = 2024-01-01
downtime_cost = 400
usage_per_week = { hours = 100 }

[[measurement]]
component = "plunger"
quantity = "diameter"
unit = "mm"
limit = { loss_from_new_at_most = 0.05 }

[[measurement]]
component = "plunger"
quantity = "clearance"
unit = "mm"
limit = { paired = { small = 0.02 } }

[[measurement]]
component = "belts"
quantity = "deflection"
unit = "mm"
limit = { per_metre_at_most = 15 }

[[part]]
number = "PK-1"
component = "packing-set"
stock = 1
"#;

/// In place: packing in P1 from new at 10,000 h, P2 later; a gasket; a plunger in P1 only.
const BEFORE: &str = r#"
{"entry":"reading","time":"2024-03-04T08:00:00Z","machine":"H-01","meter":"hours","value":10000}
{"entry":"installed","time":"2024-03-04T08:00:00Z","machine":"H-01","component":"packing-set","position":"P1","part":"PK-1"}
{"entry":"installed","time":"2024-03-04T08:00:00Z","machine":"H-01","component":"cap-gasket","position":"P1"}
{"entry":"installed","time":"2024-03-04T08:00:00Z","machine":"H-01","component":"plunger","position":"P1"}
{"entry":"installed","time":"2024-03-04T08:00:00Z","machine":"H-01","component":"belts","position":"drive"}
{"entry":"installed","time":"2024-06-03T07:00:00Z","machine":"H-01","component":"packing-set","position":"P2","part":"PK-1"}
{"entry":"reading","time":"2024-06-03T07:00:00Z","machine":"H-01","meter":"hours","value":11300}
{"entry":"measured","time":"2024-06-03T07:00:00Z","machine":"H-01","component":"plunger","position":"P1","quantity":"diameter","value":59.98,"unit":"mm","new_value":60}
{"entry":"reading","time":"2024-08-05T07:00:00Z","machine":"H-01","meter":"hours","value":12200}
"#;

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let bench = Bench { folder };
        fs::create_dir_all(bench.path("ledger/books")).unwrap();
        bench.fill(PLANT, BEFORE);
        bench
    }

    /// Writes the ledger anew: each entry was written down when it happened.
    fn fill(&self, plant: &str, entries: &str) {
        fs::write(self.path("ledger/plant.toml"), plant).unwrap();
        let opened = r#"{"entry":"opened","time":"2024-03-04T08:00:00Z","book":"main","format":1}"#;
        let entries = entries.lines().filter(|line| !line.is_empty());
        let (mut prev, mut book) = (Sha::ZERO, String::new());
        for line in [opened].into_iter().chain(entries) {
            let value: Value = serde_json::from_str(line).unwrap();
            let time: DateTime<Utc> = value["time"].as_str().unwrap().parse().unwrap();
            let entry = parse_given_line(line.as_bytes(), Tz::UTC, time, Some("A")).unwrap();
            let text = entry.line(prev);
            prev = Sha::of(text.as_bytes());
            book.push_str(&text);
            book.push('\n');
        }
        fs::write(self.path("ledger/books/main.jsonl"), book).unwrap();
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, args: &[&str]) -> Output {
        let mut command = wearbook(args);
        command.current_dir(self.folder.path());
        if args[0] == "record" {
            command.args(["--ledger", "ledger", "--book", "main"]);
        }
        command.output().unwrap()
    }

    fn done(&self, args: &[&str]) -> String {
        let output = self.run(args);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(0), "{args:?}: {errors}");
        String::from_utf8(output.stdout).unwrap() + &errors
    }

    fn refused(&self, args: &[&str], code: i32) -> String {
        let output = self.run(args);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(code), "{args:?}: {errors}");
        errors
    }

    fn book(&self) -> String {
        fs::read_to_string(self.path("ledger/books/main.jsonl")).unwrap()
    }

    /// The sheet of 12 August 2024; the file of its twin.
    fn sheet(&self) -> PathBuf {
        self.done(&[
            "sheet",
            "H-01",
            "ledger",
            "--all",
            "--stop",
            "2024-08-12",
            "--to",
            "s.html",
        ]);
        self.path("s.csv")
    }

    /// The twin with these cells filled: key, column, text.
    fn filled(&self, cells: &[(&str, &str, &str)]) {
        self.sheet_filled_as(cells, b',');
    }

    fn sheet_filled_as(&self, cells: &[(&str, &str, &str)], delimiter: u8) {
        if !self.path("s.csv").exists() {
            self.sheet();
        }
        let mut reader = csv::Reader::from_path(self.path("s.csv")).unwrap();
        let headings = reader.headers().unwrap().clone();
        let mut rows: Vec<Vec<String>> = reader
            .records()
            .map(|row| row.unwrap().iter().map(str::to_owned).collect())
            .collect();
        for (key, column, text) in cells {
            let place = headings.iter().position(|h| h == *column).unwrap();
            let row = rows.iter_mut().find(|row| row[0] == *key);
            row.unwrap_or_else(|| panic!("no {key}"))[place] = (*text).to_owned();
        }
        let mut writer = csv::WriterBuilder::new()
            .delimiter(delimiter)
            .from_path(self.path("filled.csv"))
            .unwrap();
        writer.write_record(&headings).unwrap();
        rows.iter()
            .for_each(|row| writer.write_record(row).unwrap());
        writer.flush().unwrap();
    }

    fn enter(&self) -> String {
        self.done(&["record", "--sheet", "filled.csv", "--who", "B"])
    }

    /// Lines of the book after the first `lines`, without what differs from run to run.
    fn new_lines(&self, lines: usize) -> Vec<String> {
        self.book()
            .lines()
            .skip(lines)
            .map(|line| {
                let mut value: Value = serde_json::from_str(line).unwrap();
                let map = value.as_object_mut().unwrap();
                let at = map.remove("time").unwrap();
                for key in ["prev", "logged", "machine"] {
                    map.remove(key);
                }
                format!("{} {value}", at.as_str().unwrap())
            })
            .collect()
    }
}

/// What stands in every test below: when it began, and the meter.
const BEGAN: [(&str, &str, &str); 2] =
    [("S", "value", "2024-08-12 06:30"), ("M1", "value", "12300")];

fn with_began<'a>(cells: &[(&'a str, &'a str, &'a str)]) -> Vec<(&'a str, &'a str, &'a str)> {
    BEGAN.iter().chain(cells).copied().collect()
}

#[test]
fn the_twin_has_the_columns_its_reader_knows() {
    assert_eq!(
        wearbook::view::sheet::COLUMNS.as_slice(),
        wearbook::intake::work_sheet::columns()
    );
}

#[test]
fn a_sheet_has_a_page_and_a_row_for_each_box() {
    let bench = Bench::new();
    let twin = fs::read_to_string(bench.sheet()).unwrap();
    let page = fs::read_to_string(bench.path("s.html")).unwrap();
    for text in [
        "Tell the control room.",
        "Prove that the pressure is gone",
        "Lips whole.",
        "Slacken the nuts crosswise.",
        "Lock out.",
        "Covers on.",
        "torque wrench",
        "3 × PK-1",
        "(only 1 on the shelf)",
        "about 12,295",
        "2,295 h",
        "planned: due at 2,000 h",
        "opportunity: whenever opened",
        "59.98, 2024-06-03",
        "diameter at most 0.05 mm less than when new",
        "no item",
    ] {
        assert!(page.contains(text), "{text} is not in the page");
    }
    let mut reader = csv::Reader::from_reader(twin.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    for row in &rows {
        let key = format!("<span class=\"k\">{}</span>", &row[0]);
        let slot = format!("<td class=\"key\">{}</td>", &row[0]);
        assert!(page.contains(&key) || page.contains(&slot), "{row:?}");
    }
    // Seven boxes of the stop; six slots; three readings a plunger, one of the belts.
    assert_eq!(rows.len(), 7 + 6 + 2 * 3 + 1);
    assert_eq!(
        page.matches("class=\"key\">").count() - page.matches("<th class=\"key\">").count(),
        6
    );
}

#[test]
fn a_blank_sheet_enters_nothing() {
    let bench = Bench::new();
    let before = bench.book();
    bench.filled(&[]);
    assert!(bench.enter().contains("nothing is filled in"));
    // When it began alone says nothing of the machine.
    bench.filled(&[("S", "value", "2024-08-12 06:30")]);
    assert!(bench.enter().contains("nothing is filled in"));
    assert_eq!(bench.book(), before);
}

#[test]
fn what_is_filled_in_is_entered_once() {
    let bench = Bench::new();
    let lines = bench.book().lines().count();
    let cells = with_began(&[
        ("E", "value", "2024-08-12 10:00"),
        ("L", "value", "3.5"),
        ("D", "value", "3"),
        ("W", "value", "C. Example"),
        // Packing: P1 as planned, P2 found worn.
        ("1", "renew", "yes"),
        ("1", "batch", "B-7"),
        ("2", "finding", "Worn"),
        ("2", "mode", "extruded"),
        ("2", "renew", "x"),
        ("3", "renew", "yes"),
        ("3", "part", ""),
        // Plungers: P1 measured and sound, P2 new in an empty slot.
        ("4", "finding", "sound"),
        ("4a", "value", "59.97"),
        ("4a", "new_value", "60"),
        ("4b", "value", ".12"),
        ("4c", "value", "0.10"),
        ("5", "renew", "yes"),
        ("5", "serial", "S-9"),
        ("6a", "value", "14"),
        ("6a", "span_m", "1.2"),
        ("6a", "note", "debris under the guard"),
    ]);
    bench.filled(&cells);
    let told = bench.enter();
    // Each reading against its limit, as where it is recorded by hand.
    assert!(
        told.contains("H-01 plunger P1 diameter: within its limit"),
        "{told}"
    );
    insta::assert_snapshot!("sheet-entered", bench.new_lines(lines).join("\n"));
    // What it makes of the lives: P1 cut short, P2 found worn.
    let lives = bench.done(&[
        "lives",
        "ledger",
        "--component",
        "packing-set",
        "--format",
        "csv",
    ]);
    assert!(lives.contains("interval,extruded"), "{lives}");
    // Again: nothing twice.
    let before = bench.book();
    let told = bench.enter();
    assert!(told.contains("0 entries recorded"), "{told}");
    assert_eq!(bench.book(), before);
    // More of it: that alone.
    let mut more = cells;
    more.push(("6", "finding", "sound"));
    bench.filled(&more);
    bench.enter();
    assert_eq!(bench.new_lines(before.lines().count()).len(), 1);
    // The one warning is of the months without a reading at the start.
    let check = bench.run(&["check", "ledger"]);
    let told = String::from_utf8(check.stdout).unwrap();
    assert!(told.contains("was not read for 90 days"), "{told}");
    assert!(told.contains("0 errors, 1 warning, 0 notes"), "{told}");
}

#[test]
fn a_spreadsheet_may_use_semicolons_and_decimal_commas() {
    let bench = Bench::new();
    let cells = with_began(&[("4a", "value", "59,975")]);
    bench.sheet_filled_as(&cells, b';');
    bench.enter();
    assert!(bench.book().contains("\"value\":59.975"));
    // In a file of commas a comma in a number is nothing we can read.
    bench.filled(&with_began(&[("4a", "value", "59,97")]));
    let told = bench.refused(&["record", "--sheet", "filled.csv", "--who", "B"], 3);
    assert!(told.contains("use a point for decimals"), "{told}");
}

#[test]
fn one_bad_cell_keeps_the_whole_sheet_out() {
    let bench = Bench::new();
    let before = bench.book();
    bench.filled(&with_began(&[
        ("1", "renew", "yes"),
        ("2", "renew", "perhaps"),
        ("4", "finding", "fine"),
        ("4a", "value", "thin"),
        ("6", "note", "squeals"),
        ("6a", "span_m", "1.2"),
        ("L", "value", "3"),
    ]));
    let told = bench.refused(&["record", "--sheet", "filled.csv", "--who", "B"], 3);
    insta::assert_snapshot!("sheet-bad-cells", told);
    assert_eq!(bench.book(), before);
}

#[test]
fn what_contradicts_the_ledger_is_told_by_its_row() {
    let bench = Bench::new();
    let before = bench.book();
    bench.filled(&[
        ("S", "value", "2024-08-12 06:30"),
        ("M1", "value", "12100"),
        ("1", "renew", "yes"),
        ("1", "part", "PK-9"),
        ("4", "finding", "worn"),
        ("4", "mode", "leaking"),
        ("5", "renew", "yes"),
        ("5", "reason", "planned"),
    ]);
    for dry in [&[][..], &["--dry-run"]] {
        let args = [&["record", "--sheet", "filled.csv", "--who", "B"], dry].concat();
        let told = bench.refused(&args, 3);
        insta::allow_duplicates! { insta::assert_snapshot!("sheet-conflicts", told); }
    }
    assert_eq!(bench.book(), before);
}

#[test]
fn a_dry_run_writes_nothing() {
    let bench = Bench::new();
    let before = bench.book();
    bench.filled(&with_began(&[("1", "renew", "yes")]));
    let told = bench.done(&["record", "--sheet", "filled.csv", "--who", "B", "--dry-run"]);
    assert!(told.contains("2 entries could be recorded"), "{told}");
    assert_eq!(bench.book(), before);
}

#[test]
fn a_filled_twin_is_not_written_over() {
    let bench = Bench::new();
    let twin = bench.sheet();
    // Unchanged it may be made again.
    bench.sheet();
    let mut text = fs::read_to_string(&twin).unwrap();
    text.push('\n');
    fs::write(&twin, &text).unwrap();
    let args = [
        "sheet",
        "H-01",
        "ledger",
        "--all",
        "--stop",
        "2024-08-12",
        "--to",
        "s.html",
    ];
    let told = bench.refused(&args, 2);
    assert!(told.contains("perhaps filled in"), "{told}");
    assert_eq!(fs::read_to_string(&twin).unwrap(), text);
    bench.done(&[&args[..], &["--replace"]].concat());
    assert_ne!(fs::read_to_string(&twin).unwrap(), text);
}

#[test]
fn the_same_ledger_and_day_give_the_same_bytes() {
    let bench = Bench::new();
    let made = |name: &str| {
        let to = format!("{name}.html");
        bench.done(&[
            "sheet",
            "H-01",
            "ledger",
            "--all",
            "--stop",
            "2024-08-12",
            "--to",
            &to,
        ]);
        let read = |ending: &str| fs::read(bench.path(&format!("{name}.{ending}"))).unwrap();
        (read("html"), read("csv"))
    };
    assert_eq!(made("a"), made("b"));
}

#[test]
fn wrong_use_of_sheet_is_told() {
    let bench = Bench::new();
    for (args, part) in [
        (&["sheet", "H-1", "ledger"][..], "did you mean H-01?"),
        (
            &["sheet", "H-01", "ledger", "--stop", "2024-01-01"],
            "before the ledger's last entry, 2024-08-05",
        ),
        (
            &["sheet", "H-01", "ledger", "--to", "x.csv"],
            "names a CSV file",
        ),
        (
            &["record", "reading", "--sheet", "x.csv"],
            "unexpected argument",
        ),
    ] {
        let told = bench.refused(args, 2);
        assert!(told.contains(part), "{args:?}: {told}");
    }
    let told = bench.refused(&["record", "--sheet", "gone.csv"], 4);
    assert!(told.contains("gone.csv"), "{told}");
    assert!(!Path::new("x.csv").exists());
}

/// Names that a spreadsheet would run are guarded in the twin, and read back as they are.
#[test]
fn names_that_are_formulas_come_back_as_they_were() {
    let bench = Bench::new();
    let plant = PLANT
        .replace("\"drive\"", "\"=1+1\"")
        .replace("\"belts\"", "\"@belts\"");
    let before = BEFORE
        .replace("\"drive\"", "\"=1+1\"")
        .replace("\"belts\"", "\"@belts\"");
    bench.fill(&plant, &before);
    let twin = fs::read_to_string(bench.sheet()).unwrap();
    assert!(twin.contains(",'@belts,'=1+1,"), "{twin}");
    bench.filled(&with_began(&[
        ("6", "finding", "sound"),
        ("6", "note", "'=2+2"),
    ]));
    bench.enter();
    let last = bench.book().lines().last().unwrap().to_owned();
    assert!(
        last.contains("\"component\":\"@belts\",\"position\":\"=1+1\""),
        "{last}"
    );
    assert!(last.contains("\"note\":\"=2+2\""), "{last}");
}

/// A sheet holds the renewals of the planned stop, no others, and every box of what is opened;
/// on a day between stops it holds what would be due by then.
#[test]
fn a_sheet_holds_what_the_plan_says() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("s.html");
    let planned = super::json(&["plan", "sample-ledger", "--machine", "H-02"]);
    let stops = planned["plans"][0]["stops"].as_array().unwrap();
    let renewals = |args: &[&str]| -> Vec<(String, String)> {
        let output = wearbook(&["sheet", "H-02", "sample-ledger", "--replace", "--to"])
            .arg(&page)
            .args(args)
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        let twin = fs::read_to_string(page.with_extension("csv")).unwrap();
        let mut rows = csv::Reader::from_reader(twin.as_bytes());
        let heads = rows.headers().unwrap().clone();
        let at = |name: &str| heads.iter().position(|head| head == name).unwrap();
        let (component, position, planned) = (at("component"), at("position"), at("planned"));
        rows.records()
            .map(Result::unwrap)
            .filter(|row| !row[planned].is_empty())
            .map(|row| (row[component].to_owned(), row[position].to_owned()))
            .collect()
    };
    let of = |stop: &Value| -> Vec<(String, String)> {
        let tasks = stop["renew"].as_array().unwrap().iter();
        let word = |task: &Value, key: &str| task[key].as_str().unwrap().to_owned();
        tasks
            .map(|task| (word(task, "component"), word(task, "position")))
            .collect()
    };
    let sorted = |mut all: Vec<(String, String)>| {
        all.sort();
        all
    };
    let first = sorted(of(&stops[0]));
    assert!(!first.is_empty());
    assert_eq!(sorted(renewals(&[])), first);
    let second = stops[1]["date"].as_str().unwrap();
    assert_eq!(sorted(renewals(&["--stop", second])), sorted(of(&stops[1])));
    // A fortnight on nothing of it has been done: at least the same is due.
    let later = sorted(renewals(&["--stop", "2026-06-29"]));
    assert!(first.iter().all(|slot| later.contains(slot)));
    // With --all every slot has its line, though no more is planned than is due.
    renewals(&["--all"]);
    let twin = fs::read_to_string(page.with_extension("csv")).unwrap();
    assert!(twin.contains("valve-seat") && twin.lines().count() > 60);
}
