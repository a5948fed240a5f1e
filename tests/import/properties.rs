//! Whatever the rows: imported twice is imported once, the order of rows does not matter,
//! a part and then the whole is the whole, and the ledger stays sound.

use chrono::TimeDelta;
use proptest::prelude::*;
use wearbook::book::{Depth, Survey, look_over};
use wearbook::intake::import::map::Map;
use wearbook::quantity::trouble::Severity;

use crate::desk::{Desk, imported, now};

const MAP: &str = r#"
[common]
time = { column = "Date" }
machine = { column = "Machine" }
who = "Me"

[[entry]]
entry = "reading"
when = { column = "What", is = "read" }
meter = "hours"
value = { column = "Number" }

[[entry]]
entry = "replaced"
when = { column = "What", is = ["changed", "job"] }
component = "packing-set"
position = { column = "Where" }
reason = "planned"
job = { column = "Job" }

[[entry]]
entry = "removed"
when = { column = "What", is = "out" }
component = "packing-set"
position = { column = "Where" }
reason = "planned"

[[entry]]
entry = "installed"
when = { column = "What", is = "in" }
component = "packing-set"
position = { column = "Where" }
age = 0

[[entry]]
entry = "inspected"
when = { column = "What", is = "looked" }
component = "packing-set"
position = { column = "Where" }
finding = "sound"

[[entry]]
entry = "job"
when = { column = "What", is = "job" }
job = { column = "Job" }
start = { column = "Date" }
stop = { column = "Date" }
kind = "preventive"
labour_h = { column = "Number" }
downtime_h = 1

[[entry]]
entry = "expense"
when = { column = "What", is = "spent" }
cost = { column = "Number" }
what = "gland water"
"#;

fn map(in_place: bool) -> Map {
    let more = if in_place {
        "\n[[in_place]]\nage = \"unknown\"\n"
    } else {
        ""
    };
    Map::parse("map.toml", format!("{MAP}{more}")).unwrap_or_else(|e| panic!("{e:?}"))
}

/// A row: when (in hours), what, and figures few enough to meet often.
#[derive(Debug, Clone)]
struct Case {
    hour: u32,
    machine: &'static str,
    what: &'static str,
    position: &'static str,
    number: u32,
    job: u32,
}

const WHATS: [&str; 7] = ["read", "changed", "out", "in", "looked", "job", "spent"];

fn row(hours: u32) -> impl Strategy<Value = Case> {
    (
        0..hours,
        prop::sample::select(&["H-01", "H-02"][..]),
        prop::sample::select(&WHATS[..]),
        // One that the machines do not have.
        prop::sample::select(&["P1", "P2", "P9"][..]),
        0..6_u32,
        1..4_u32,
    )
        .prop_map(|(hour, machine, what, position, number, job)| Case {
            hour,
            machine,
            what,
            position,
            number,
            job,
        })
}

fn csv(rows: &[Case]) -> String {
    let mut text = String::from("Date,Machine,What,Where,Number,Job\n");
    let start = now() - TimeDelta::days(400);
    for case in rows {
        let time = start + TimeDelta::hours(case.hour.into());
        text.push_str(&format!(
            "{},{},{},{},{},J-{}\n",
            time.format("%Y-%m-%dT%H:%M:%SZ"),
            case.machine,
            case.what,
            case.position,
            1000 + 10 * case.number + case.hour / 8,
            case.job,
        ));
    }
    text
}

/// The ledger's lines without the row they came from, sorted.
fn stated(desk: &Desk) -> Vec<String> {
    let mut lines: Vec<String> = desk
        .lines()
        .iter()
        .map(|line| {
            let mut line: serde_json::Value = serde_json::from_str(line).expect("line");
            let object = line.as_object_mut().expect("object");
            object.remove("source");
            object.remove("note");
            line.to_string()
        })
        .collect();
    lines.sort();
    lines
}

fn sound(desk: &Desk) {
    let survey = Survey::read(&desk.ledger()).expect("ledger");
    let found = look_over(survey, now(), Depth::Plain);
    let errors = found.iter().filter(|t| t.severity == Severity::Error);
    let errors: Vec<_> = errors.collect();
    assert!(errors.is_empty(), "{errors:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn imported_twice_is_imported_once(
        rows in prop::collection::vec(row(40), 1..40),
        in_place: bool,
    ) {
        let (desk, map, csv) = (Desk::new(), map(in_place), csv(&rows));
        let (first, _) = imported(&desk.ledger(), &map, &csv);
        let book = desk.path("oat-works/books/main.jsonl");
        let once = std::fs::read(&book).unwrap_or_default();
        let (second, written) = imported(&desk.ledger(), &map, &csv);
        prop_assert_eq!(written, 0);
        prop_assert_eq!(std::fs::read(&book).unwrap_or_default(), once);
        let rows = |plan: &wearbook::intake::import::plan::Plan| -> Vec<u64> {
            plan.rejected.iter().map(|r| r.row).collect()
        };
        prop_assert_eq!(rows(&first), rows(&second));
        sound(&desk);
    }

    /// Times are all different here: of two rows at one time the file's order tells which
    /// came first.
    #[test]
    fn the_order_of_rows_does_not_matter(
        rows in prop::collection::vec(row(1), 1..40),
        order in Just((0..40_u32).collect::<Vec<_>>()).prop_shuffle(),
        in_place: bool,
    ) {
        let rows: Vec<Case> = rows
            .iter()
            .enumerate()
            .map(|(n, case)| Case { hour: n as u32, ..case.clone() })
            .collect();
        let mut shuffled: Vec<Case> = rows.clone();
        shuffled.sort_by_key(|case| order[case.hour as usize]);
        let map = map(in_place);
        let (one, other) = (Desk::new(), Desk::new());
        imported(&one.ledger(), &map, &csv(&rows));
        imported(&other.ledger(), &map, &csv(&shuffled));
        prop_assert_eq!(stated(&one), stated(&other));
    }

    /// An export up to some day, and later one of everything.
    #[test]
    fn a_part_and_then_the_whole_is_the_whole(
        rows in prop::collection::vec(row(1), 1..40),
        cut in 0..40_usize,
        in_place: bool,
    ) {
        let rows: Vec<Case> = rows
            .iter()
            .enumerate()
            .map(|(n, case)| Case { hour: n as u32, ..case.clone() })
            .collect();
        let map = map(in_place);
        let (one, other) = (Desk::new(), Desk::new());
        imported(&one.ledger(), &map, &csv(&rows[..cut.min(rows.len())]));
        imported(&one.ledger(), &map, &csv(&rows));
        imported(&other.ledger(), &map, &csv(&rows));
        prop_assert_eq!(stated(&one), stated(&other));
    }
}
