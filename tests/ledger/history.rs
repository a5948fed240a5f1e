//! The history of a slot: what counts, in what order, and how it is told.

use chrono::{DateTime, Utc};
use wearbook::book::{
    Age, Appender, Entry, Event, Finding, Item, SlotEntry, SlotName, Source, Survey, slot_entries,
    slots_beside_register,
};
use wearbook::quantity::Number;
use wearbook::store::SlotStay;
use wearbook::view::history::{Facts, HistoryView};

use crate::bench::{Bench, at, entry, failed, inspected, installed, now, reading, replaced, slot};

fn record(bench: &Bench, book: &str, entries: &[Entry]) -> Vec<String> {
    let mut appender = Appender::open(bench.folder(), book).expect("open");
    let recorded = appender.append_all(entries, now()).expect("append");
    recorded.into_iter().map(|r| r.sha.to_string()).collect()
}

fn withdrawn(hours: i64, sha: &str, why: &str) -> Entry {
    Entry {
        machine: None,
        who: "B. Example".into(),
        ..entry(
            hours,
            Event::Withdrawn {
                entry_sha: sha.into(),
                why: why.into(),
            },
        )
    }
}

/// Two items in P1, an inspection that was withdrawn from another terminal, and entries
/// about other slots.
fn story() -> (Bench, Vec<String>) {
    let bench = Bench::new();
    let first = Entry {
        event: Event::Installed {
            slot: slot("packing-set", "P1"),
            item: Item {
                part: Some("PK-1".into()),
                pieces: Some(3),
                age: Age::Known(Number::parse("500.5").expect("number")),
                ..Item::default()
            },
        },
        note: Some("from the\nshelf".into()),
        source: Source::parse("list.csv:3:0123456789ab"),
        ..installed(0, "P1")
    };
    let shas = record(
        &bench,
        "main",
        &[
            first,
            installed(0, "P2"),
            reading(1, 100),
            inspected(100, "P1"),
            Entry {
                job: Some("J-7".into()),
                logged: at(202),
                ..replaced(200, "P1")
            },
            inspected(300, "P2"),
        ],
    );
    record(
        &bench,
        "office",
        &[withdrawn(250, &shas[3], "another machine")],
    );
    (bench, shas)
}

fn told(survey: &Survey, machine: &str, name: &SlotName, as_of: DateTime<Utc>) -> Vec<SlotEntry> {
    slot_entries(survey, machine, name, as_of).expect("read")
}

fn lines(entries: &[SlotEntry]) -> Vec<(usize, bool)> {
    let line = |one: &SlotEntry| (one.told.line, one.withdrawn.is_some());
    entries.iter().map(line).collect()
}

fn as_of(survey: &Survey, time: DateTime<Utc>) -> Vec<(usize, bool)> {
    lines(&told(survey, "H-01", &slot("packing-set", "P1"), time))
}

#[test]
fn entries_count_as_the_ledger_stood() {
    let (bench, _) = story();
    let ledger = Survey::read(bench.folder()).expect("read");
    // The first line opens the book.
    assert_eq!(as_of(&ledger, now()), [(2, false), (5, true), (6, false)]);
    // Before the withdrawal the inspection held.
    assert_eq!(
        as_of(&ledger, at(249)),
        [(2, false), (5, false), (6, false)]
    );
    // Done, and not written down yet.
    assert_eq!(as_of(&ledger, at(201)), [(2, false), (5, false)]);
    assert_eq!(as_of(&ledger, at(-1)), []);
    assert!(slots_beside_register(&ledger).is_empty());
}

#[test]
fn late_entries_stand_where_they_happened() {
    let (bench, _) = story();
    let late = Entry {
        logged: at(400),
        ..inspected(50, "P1")
    };
    record(&bench, "office", &[late]);
    let ledger = Survey::read(bench.folder()).expect("read");
    let found = told(&ledger, "H-01", &slot("packing-set", "P1"), now());
    let hours: Vec<i64> = found
        .iter()
        .map(|one| (one.told.entry.time - at(0)).num_hours())
        .collect();
    assert_eq!(hours, [0, 50, 100, 200]);
    assert!(told(&ledger, "H-02", &slot("packing-set", "P1"), now()).is_empty());
}

fn stay(shas: &[String], from: usize, to: Option<usize>, usage: Option<f64>) -> SlotStay {
    SlotStay {
        machine: "H-01".into(),
        component: "packing-set".into(),
        position: "P1".into(),
        start_time: at(0),
        end_time: to.map(|_| at(200)),
        part: None,
        batch: None,
        serial: None,
        age_unknown: false,
        reason: to.map(|_| failed().reason.word().into()),
        found: None,
        mode: None,
        usage,
        start_sha: shas[from].clone(),
        end_sha: to.map(|n| shas[n].clone()),
    }
}

fn view(bench: &Bench, shas: &[String]) -> HistoryView {
    let ledger = Survey::read(bench.folder()).expect("read");
    let name = slot("packing-set", "P1");
    let entries = told(&ledger, "H-01", &name, now());
    let hours = |time: DateTime<Utc>| (time - at(0)).num_hours() as f64;
    HistoryView::new(&Facts {
        machine: "H-01",
        slot: &name,
        name: Some("Plunger packing set"),
        unit: Some("h"),
        as_of: Some(at(300)),
        zone: chrono_tz::Europe::London,
        entries: &entries,
        stays: &[
            stay(shas, 0, Some(4), Some(1200.4)),
            stay(shas, 4, None, Some(90.0)),
        ],
        usage: &|time| (time >= at(1)).then(|| 100.0 + hours(time)),
        extrapolated: &|time| time > at(150),
        prefix: "",
    })
}

#[test]
fn a_story_in_words() {
    let (bench, shas) = story();
    let view = view(&bench, &shas);
    let plain = view.text(false);
    let names: Vec<&str> = [0, 3, 4].iter().map(|n| &shas[*n][..12]).collect();
    let expected = format!(
        "H-01 packing-set P1 (Plunger packing set), as of 2025-01-18\n\
         \n\
         time               usage  entry      what                                                                       job  who         logged            line          in                  withdrawn\n\
         2025-01-06 08:00       –  installed  part PK-1; 3 pieces; 500.5 h on it; “from the shelf”; from list.csv row 3       A. Example  2025-01-06 08:00  {}  books/main.jsonl:2\n\
         2025-01-10 12:00   200 h  inspected  sound                                                                           A. Example  2025-01-10 12:00  {}  books/main.jsonl:5  withdrawn by B. Example on 2025-01-16 18:00: another machine\n\
         \u{20}                         life       ran 1,200 h, 1,701 h in all\n\
         2025-01-14 16:00  ~300 h  replaced   failed, leaking, found running                                             J-7  A. Example  2025-01-14 18:00  {}  books/main.jsonl:6\n\
         \u{20}                         life       ran 90 h, and runs on\n\
         \n\
         ~ more than a day beyond the readings of the meter\n\
         3 entries, 1 withdrawn; 2 lives, 1 still running\n",
        names[0], names[1], names[2]
    );
    assert_eq!(plain, expected, "\n{plain}");
    // On a terminal the withdrawn row, and no other, is struck through.
    let struck = view.text(true);
    assert_ne!(struck, plain);
    let rows: Vec<&str> = struck
        .lines()
        .filter(|line| line.contains('\u{1b}'))
        .collect();
    assert_eq!(rows.len(), 1);
    assert!(rows[0].starts_with("\u{1b}[9m2025-01-10") && rows[0].ends_with("\u{1b}[0m"));
    assert_eq!(
        struck.replace("\u{1b}[9m", "").replace("\u{1b}[0m", ""),
        plain
    );
}

#[test]
fn a_story_for_programs() {
    let (bench, shas) = story();
    let view = view(&bench, &shas);
    let json: serde_json::Value = serde_json::from_str(&view.json().expect("json")).expect("json");
    assert_eq!(json["unit"], "h");
    assert_eq!(json["as_of"], "2025-01-18T20:00:00Z");
    let entries = json["entries"].as_array().expect("entries");
    assert_eq!(entries.len(), 3);
    assert_eq!(entries[0]["usage"], serde_json::Value::Null);
    assert_eq!(entries[0]["age"], 500.5);
    assert_eq!(entries[0]["note"], "from the\nshelf");
    assert_eq!(entries[0]["source"], "list.csv:3:0123456789ab");
    assert_eq!(entries[0]["withdrawn"], serde_json::Value::Null);
    assert_eq!(entries[1]["finding"], Finding::Sound.word());
    assert_eq!(entries[1]["withdrawn"]["who"], "B. Example");
    assert_eq!(entries[1]["withdrawn"]["why"], "another machine");
    assert_eq!(entries[1]["withdrawn"]["book"], "books/office.jsonl");
    assert_eq!(entries[1]["withdrawn"]["line"], 2);
    assert_eq!(entries[2]["job"], "J-7");
    assert_eq!(entries[2]["extrapolated"], true);
    assert_eq!(entries[2]["sha"], shas[4].as_str());
    let lives = json["lives"].as_array().expect("lives");
    assert_eq!(lives[0]["usage"], 1200.4);
    assert_eq!(lives[0]["usage_in_all"], 1700.9);
    assert_eq!(lives[1]["end_time"], serde_json::Value::Null);
    let csv = view.csv().expect("csv");
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let headings = reader.headers().expect("headings").clone();
    let rows: Vec<_> = reader.records().map(|row| row.expect("row")).collect();
    let cell = |row: usize, name: &str| {
        let at = headings.iter().position(|h| h == name).expect("column");
        rows[row][at].to_owned()
    };
    assert_eq!(rows.len(), 3);
    assert_eq!(cell(1, "withdrawn_who"), "B. Example");
    assert_eq!(cell(2, "life_ended"), "1200.4");
    assert_eq!(cell(0, "life_ended"), "");
    assert_eq!(
        cell(0, "age"),
        Number::parse("500.5").expect("number").get().to_string()
    );
}
