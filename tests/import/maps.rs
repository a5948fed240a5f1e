//! What a map can say, and the entries that come of it.

use std::collections::BTreeSet;

use wearbook::book::{Appender, Sha};
use wearbook::intake::import::map::{KEYS, KINDS, Map};

use crate::desk::{Desk, imported, planned};

fn map_of(text: &str) -> Map {
    Map::parse("map.toml", text.to_owned()).unwrap_or_else(|e| panic!("{:#?}", e.troubles()))
}

/// The entries of rows as JSON, without what every one of them has.
fn entries(map: &str, csv: &str) -> Vec<String> {
    let (desk, map) = (Desk::new(), map_of(map));
    let mut appender = Appender::open_for_import(&desk.ledger(), "main").expect("ledger");
    let plan = planned(&mut appender, &map, csv);
    assert!(plan.rejected.is_empty(), "{:#?}", plan.rejected);
    let entries = plan.entries().map(|entry| {
        let line = entry.line(Sha::ZERO);
        let mut line: serde_json::Value = serde_json::from_str(&line).expect("line");
        let object = line.as_object_mut().expect("object");
        for key in ["prev", "logged", "source"] {
            object.remove(key);
        }
        line.to_string()
    });
    entries.collect()
}

/// Reasons against rows, as row and kind.
fn rejected(map: &str, csv: &str) -> Vec<(u64, &'static str)> {
    let (desk, map) = (Desk::new(), map_of(map));
    let mut appender = Appender::open_for_import(&desk.ledger(), "main").expect("ledger");
    let plan = planned(&mut appender, &map, csv);
    plan.rejected.iter().map(|r| (r.row, r.kind)).collect()
}

fn has(lines: &[String], parts: &[&str]) {
    let fits = |line: &String| parts.iter().all(|part| line.contains(part));
    assert!(lines.iter().any(fits), "{parts:?} in {lines:#?}");
}

const VALUES: [(&str, &str); 31] = [
    ("time", "2024-05-06 07:08"),
    ("who", "Me"),
    ("machine", "H-01"),
    ("job", "J-1"),
    ("note", "a note"),
    ("meter", "hours"),
    ("value", "15000"),
    ("reset", "yes"),
    ("component", "plunger"),
    ("position", "P1"),
    ("part", "PL-60C"),
    ("pieces", "1"),
    ("batch", "B-7"),
    ("serial", "S-7"),
    ("age", "120"),
    ("reason", "failed"),
    ("mode", "scored"),
    ("found", "running"),
    ("finding", "worn"),
    ("quantity", "runout"),
    ("unit", "mm"),
    ("zone", "working"),
    ("span", "0.4"),
    ("new_value", "0.01"),
    ("start", "2024-05-06 07:00"),
    ("stop", "2024-05-06 09:30"),
    ("kind", "corrective"),
    ("labour_h", "2.5"),
    ("downtime_h", "3"),
    ("cost", "12.50"),
    ("what", "gland water"),
];

/// A map of one entry of this kind, every key from the column of its name; the keys.
fn all_keys_of(kind: &str) -> (String, Vec<&'static str>) {
    let mut keys: Vec<&str> = KEYS.to_vec();
    loop {
        let lines = keys
            .iter()
            .map(|key| format!("{key} = {{ column = \"{key}\" }}\n"));
        let lines: String = lines.collect();
        let before = match kind {
            "installed" => "",
            _ => "\n[[in_place]]\nage = \"unknown\"\n",
        };
        let map = format!("[[entry]]\nentry = \"{kind}\"\n{lines}{before}");
        let Err(error) = Map::parse("map.toml", map.clone()) else {
            return (map, keys);
        };
        // Keys the kind does not have are told by name.
        let told: Vec<String> = error.troubles().iter().map(|t| t.what.clone()).collect();
        let known = keys.len();
        keys.retain(|key| {
            let unknown = format!("unknown key `{key}`");
            !told.iter().any(|told| told.contains(&unknown))
        });
        assert!(keys.len() < known, "{told:#?}");
    }
}

#[test]
fn every_key_of_every_kind_can_be_filled() {
    let known: BTreeSet<&str> = VALUES.iter().map(|(key, _)| *key).collect();
    let all: BTreeSet<&str> = KEYS.iter().copied().collect();
    assert_eq!(known, all, "a value for each key");
    let names: Vec<&str> = VALUES.iter().map(|(key, _)| *key).collect();
    let cells: Vec<&str> = VALUES.iter().map(|(_, value)| *value).collect();
    let csv = format!("{}\n{}\n", names.join(","), cells.join(","));
    let mut seen = BTreeSet::new();
    for kind in KINDS {
        let (map, keys) = all_keys_of(kind);
        let made = entries(&map, &csv);
        let word = format!("\"entry\":\"{kind}\"");
        let own = made.iter().find(|line| line.contains(&word));
        let own = own.unwrap_or_else(|| panic!("{kind}: {made:?}"));
        for key in keys {
            assert!(own.contains(&format!("\"{key}\":")), "{kind} {key}: {own}");
            seen.insert(key);
        }
    }
    assert_eq!(seen, all);
}

#[test]
fn numbers_units_times_and_constants() {
    let map = r#"
[file]
delimiter = ";"
decimal = ","
thousands = "."

[times]
zone = "Europe/London"
dates = ["DD.MM.YYYY", "DD.MM.YY hh:mm"]
time_of_day = "06:00"

[common]
time = { column = "Day", clock = "Clock" }
machine = "H-01"
who = { column = "By", if_empty = "unknown fitter" }

[[entry]]
entry = "reading"
when = { column = "Meter", empty = false }
meter = "hours"
value = { column = "Meter", unit = "min" }

[[entry]]
entry = "job"
when = { column = "Job", empty = false }
job = { column = "Job" }
start = { column = "Day" }
stop = { column = "Day", clock = "Clock" }
kind = "preventive"
labour_h = { column = "Labour", unit = "min" }
downtime_h = { column = "Stop" }
cost = { column = "Cost" }
"#;
    let csv = "Day;Clock;By;Meter;Job;Labour;Stop;Cost\n\
        01.07.2024;14:30;;900.120 min;;;;\n\
        02.07.24 08:15;;R. Tamm;;J-1;90;1:45;€ 1.234,50\n";
    let made = entries(map, csv);
    has(
        &made,
        &["2024-07-01T13:30:00Z", "\"value\":15002", "unknown fitter"],
    );
    has(
        &made,
        &[
            "\"start\":\"2024-07-02T07:15:00Z\"",
            "\"labour_h\":1.5",
            "\"downtime_h\":1.75",
            "\"cost\":1234.5",
            "R. Tamm",
        ],
    );
}

#[test]
fn tables_lists_pieces_and_joined_columns() {
    let map = r#"
[common]
time = { column = "Date" }
machine = { column = "Machine", table = "machines" }
who = "Me"

[[entry]]
entry = "replaced"
when = [{ column = "Action", is_not = ["look", "n/a"] }, { column = "Cause", empty = false }]
component = { column = ["Group", "Item"], join = " ", table = "items" }
position = { column = "Pos", split = "/", table = "where" }
reason = { column = "Cause", table = "cause" }
mode = { column = "Cause", table = "cause" }
found = { column = "Cause", table = "cause", if_empty = "running" }
note = { column = ["Note", 9], join = " | " }

[[skip]]
when = { column = "Action", holds = "cancel" }

[[skip]]
when = { column = "Action", begins = ["x-", "y-"] }
why = "marked"

[[in_place]]
age = "new"

[tables.machines]
"homogeniser 1" = "H-01"
1 = "H-01"

[tables.items]
"pump packing" = "packing-set"
"pump plunger" = "plunger"

[tables.where]
1 = "P1"
2 = "P2"
all = ["P1", "P2", "P3"]

[tables.cause]
"worn out" = { reason = "worn", found = "inspection" }
leak = { reason = "failed", mode = "leaking", found = "running" }
PM = { reason = "planned", mode = "" }
"#;
    let csv = "Date,Machine,Action,Group,Item,Pos,Cause,Note,\n\
        2024-05-06,Homogeniser  1,swap,pump,PACKING,1/2,Leak,one,two\n\
        2024-05-07,1,swap,pump,plunger,all,worn  out,,three\n\
        2024-05-08,1,was cancelled,,,,,,\n\
        2024-05-09,1,X-ray,,,,,,\n\
        2024-05-10,1,swap,pump,packing,2,pm,\"of two\nlines\",\n";
    let made = entries(map, csv);
    let replaced: Vec<&String> = made.iter().filter(|l| l.contains("replaced")).collect();
    assert_eq!(replaced.len(), 6, "{replaced:#?}");
    has(
        &made,
        &["\"position\":\"P2\"", "leaking", "one | two", "2024-05-06"],
    );
    has(
        &made,
        &[
            "plunger",
            "\"position\":\"P3\"",
            "\"reason\":\"worn\"",
            "inspection",
        ],
    );
    has(
        &made,
        &[
            "\"reason\":\"planned\"",
            "of two\\nlines",
            "2024-05-10T11:00:00Z",
        ],
    );
    let installed: Vec<&String> = made.iter().filter(|l| l.contains("installed")).collect();
    assert_eq!(installed.len(), 5, "{installed:#?}");
    // In service since 2018-04-09, from midnight on in Dublin.
    let since = |line: &&String| line.contains("2018-04-08T23:00:00Z");
    assert!(installed.iter().all(since), "{installed:#?}");
}

/// Cells that stand for those below, rows from the newest to the oldest, columns by number.
#[test]
fn rows_as_people_lay_them_out() {
    let map = r#"
[file]
headings = 0
fill_down = [1]
newest_first = true

[times]
dates = "DD/MM/YYYY"

[[entry]]
entry = "reading"
time = { column = 2 }
machine = { column = 1 }
who = "Me"
meter = "hours"
value = { column = 3 }
"#;
    // Two on one day: the upper one is the later one.
    let csv = "H-01,03/05/2024,15002\n,03/05/2024,15001\n\n,02/05/2024,15000\n";
    let values: Vec<String> = entries(map, csv)
        .iter()
        .map(|line| {
            let line: serde_json::Value = serde_json::from_str(line).expect("line");
            line["value"].to_string()
        })
        .collect();
    assert_eq!(values, ["15000", "15001", "15002"]);
    let upside_down = map.replace("newest_first = true", "");
    assert_eq!(rejected(&upside_down, csv), [(2, "meter-backwards")]);
}

#[test]
fn a_job_on_several_rows_is_one_and_differing_rows_are_told() {
    let map = r#"
[common]
time = { column = "Date" }
machine = "H-01"
who = "Me"
job = { column = "Job" }

[[entry]]
entry = "job"
start = { column = "Date" }
stop = { column = "Date" }
kind = "preventive"
labour_h = { column = "Labour" }
downtime_h = 1

[[entry]]
entry = "expense"
cost = { column = "Cost" }
what = "seal water"
"#;
    let csv = "Date,Job,Labour,Cost\n2024-05-06,J-1,2,5\n2024-05-06,J-1,2,5\n2024-05-06,J-1,3,5\n";
    assert_eq!(rejected(map, csv), [(4, "job-twice")]);
    let made = entries(map, &csv.replace("J-1,3", "J-2,3"));
    let count = |kind: &str| made.iter().filter(|l| l.contains(kind)).count();
    // Two equal expenses may both be real.
    let jobs = count("\"entry\":\"job\"");
    assert_eq!((jobs, count("\"entry\":\"expense\"")), (2, 3));
}

/// The row that brought a job may fall; the next one that states it brings it then.
#[test]
fn a_row_that_falls_takes_nothing_of_others_with_it() {
    let map = r#"
[common]
time = { column = "Date" }
machine = "H-01"
who = "Me"
job = "J-1"

[[entry]]
entry = "job"
time = "2024-05-06"
start = "2024-05-06"
stop = "2024-05-06"
kind = "preventive"
labour_h = 1
downtime_h = 1

[[entry]]
entry = "replaced"
component = { column = "What" }
position = "P1"
reason = "planned"

[[in_place]]
component = ["packing-set"]
age = "unknown"
"#;
    let csv = "Date,What\n2024-05-07,gasket\n2024-05-08,packing-set\n";
    let desk = Desk::new();
    let (plan, written) = imported(&desk.ledger(), &map_of(map), csv);
    assert_eq!(plan.rejected.iter().map(|r| r.row).collect::<Vec<_>>(), [2]);
    assert_eq!(written, 3);
    has(&desk.lines(), &["\"entry\":\"job\"", "rows.csv:3:"]);
}

/// A withdrawn entry was stated all the same: it does not come back.
#[test]
fn what_was_taken_back_is_not_imported_again() {
    let map = r#"
[[entry]]
entry = "reading"
time = { column = "Date" }
machine = "H-01"
who = "Me"
meter = "hours"
value = { column = "Hours" }
"#;
    let csv = "Date,Hours\n2024-05-06,15000\n2024-05-07,15010\n";
    let desk = Desk::new();
    desk.write("rows.csv", csv);
    desk.write("map.toml", map);
    let args = [
        "import",
        "rows.csv",
        "--map",
        "map.toml",
        "oat-works",
        "--write",
    ];
    let (code, json) = desk.told(&[&args[..], &["--format", "json"]].concat());
    assert_eq!(code, 0, "{json}");
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let sha = json["entries"][0]["sha"].as_str().expect("name");
    let (code, told) = desk.told(&[
        "withdraw",
        sha,
        "--why",
        "misread",
        "--ledger",
        "oat-works",
        "--who",
        "Me",
    ]);
    assert_eq!(code, 0, "{told}");
    let (code, told) = desk.told(&args);
    assert_eq!(code, 0, "{told}");
    assert!(told.contains("Nothing was new"), "{told}");
}
