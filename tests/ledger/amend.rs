//! Amending: two lines, both or neither; what is not named stays.

use std::process::Output;

use wearbook::book::{Ledger, read_chain};

use crate::bench::Bench;

fn run(bench: &Bench, args: &[&str]) -> Output {
    bench.command(args).output().expect("wearbook")
}

fn done(bench: &Bench, args: &[&str]) -> String {
    let output = run(bench, args);
    assert!(output.status.success(), "{args:?}: {output:?}");
    String::from_utf8(output.stdout).expect("text")
}

/// A measurement, a job's entry, a reading; the names of their lines.
fn recorded(bench: &Bench) -> [String; 3] {
    let record = |args: &[&str]| {
        let mut all = vec!["record", "--who", "A. Example", "--book", "main"];
        all.extend(args);
        done(bench, &all)[..12].to_owned()
    };
    let slot = [
        "--machine",
        "H-01",
        "--component",
        "plunger",
        "--position",
        "P1",
    ];
    let with = |args: &[&'static str]| [args, &slot].concat();
    let installed = record(&with(&[
        "installed",
        "--age",
        "120.50",
        "--serial",
        "S-1",
        "--job",
        "J-1",
        "--time",
        "2025-07-01 08:00",
    ]));
    let measured = record(&with(&[
        "measured",
        "--quantity",
        "diameter",
        "--value",
        "2.360",
        "--unit",
        "in",
        "--new-value",
        "2.362",
        "--note",
        "by torch",
        "--time",
        "2025-07-02 09:30",
    ]));
    let reading = record(&[
        "reading",
        "--machine",
        "H-01",
        "--meter",
        "hours",
        "--value",
        "100",
        "--time",
        "2025-07-01 08:00",
    ]);
    [installed, measured, reading]
}

/// The last two lines without the chain and the clock.
fn last_two(bench: &Bench) -> [String; 2] {
    let text = String::from_utf8(bench.bytes()).expect("text");
    assert_eq!(read_chain(text.as_bytes()).fault, None);
    let mut bodies: Vec<String> = text
        .lines()
        .map(|line| {
            let at = |key: &str| line.find(&format!("\"{key}\":")).expect("key");
            let withdrawn = line.contains("\"entry\":\"withdrawn\"");
            let from = if withdrawn { at("who") } else { at("entry") };
            let (head, tail) = (&line[from..at("logged").max(from)], &line[at("who")..]);
            format!("{head}{tail}")
        })
        .collect();
    let last = bodies.pop().expect("last");
    [bodies.pop().expect("one before"), last]
}

#[test]
fn named_keys_change_and_the_others_stay_as_written() {
    let bench = Bench::new();
    let [installed, measured, reading] = recorded(&bench);
    let amend = |name: &str, rest: &[&str]| {
        let mut args = vec![
            "amend", name, "--why", "misread", "--who", "Me", "--book", "main",
        ];
        args.extend(rest);
        done(&bench, &args)
    };
    let told = amend(
        &measured,
        &["value=2.3590", "note=", "zone=front", "--dry-run"],
    );
    assert!(told.contains("value: 2.360 → 2.3590"), "{told}");
    assert!(told.contains("note: \"by torch\" → (not stated)"), "{told}");
    assert!(told.contains("zone: (not stated) → \"front\""), "{told}");

    let told = amend(&measured, &["value=2.3590", "note=", "new-value=2.3620"]);
    assert_eq!(told.lines().count(), 2);
    let [gone, anew] = last_two(&bench);
    assert!(
        gone.starts_with("\"who\":\"Me\",\"entry_sha\":\""),
        "{gone}"
    );
    assert!(gone.contains(&measured) && gone.ends_with("\"why\":\"misread\"}"));
    assert_eq!(
        anew,
        r#""entry":"measured","time":"2025-07-02T08:30:00Z","who":"A. Example","machine":"H-01","component":"plunger","position":"P1","quantity":"diameter","value":2.3590,"unit":"in","new_value":2.3620}"#
    );

    amend(
        &installed,
        &[
            "age=unknown",
            "serial=",
            "time=2025-07-01 07:30",
            "who=B. Example",
        ],
    );
    assert_eq!(
        last_two(&bench)[1],
        r#""entry":"installed","time":"2025-07-01T06:30:00Z","who":"B. Example","machine":"H-01","component":"plunger","position":"P1","age":null,"job":"J-1"}"#
    );

    amend(&reading, &["reset=true", "value=12.0"]);
    let [_, anew] = last_two(&bench);
    assert!(
        anew.ends_with(r#""meter":"hours","value":12.0,"reset":true}"#),
        "{anew}"
    );

    let ledger = Ledger::read(bench.folder()).expect("read");
    assert_eq!(ledger.broken(), []);
    assert_eq!(ledger.entries().len(), 3);
    assert_eq!(ledger.withdrawn().len(), 3);
}

#[test]
fn what_cannot_stand_anew_leaves_the_old_standing() {
    let bench = Bench::new();
    let [installed, _, reading] = recorded(&bench);
    let before = bench.bytes();
    for (name, change, code) in [
        (&installed, "position=P9", 3),
        (&installed, "age=much", 2),
        (&installed, "machine=", 2),
        (&installed, "age=120.50", 2),
        (&reading, "finding=sound", 2),
        (&reading, "entry=expense", 2),
        (&reading, "value", 2),
    ] {
        let args = ["amend", name, change, "--why", "x", "--who", "Me"];
        for book in ["main", "other"] {
            let mut args = args.to_vec();
            args.extend(["--book", book]);
            let output = run(&bench, &args);
            assert_eq!(output.status.code(), Some(code), "{change}: {output:?}");
            assert_eq!(bench.bytes(), before, "{change}");
        }
    }
    assert!(!bench.folder().join("books/other.jsonl").exists());
}

/// From another terminal: the book is new, and its first line is the amender's.
#[test]
fn an_entry_of_another_book_can_be_amended() {
    let bench = Bench::new();
    let [_, _, reading] = recorded(&bench);
    let before = bench.bytes();
    let args = [
        "amend", &reading, "value=90", "--why", "x", "--who", "Me", "--book", "office",
    ];
    let told = done(&bench, &args);
    assert!(told.contains("books/office.jsonl:2") && told.contains("books/office.jsonl:3"));
    assert_eq!(bench.bytes(), before);
    let ledger = Ledger::read(bench.folder()).expect("read");
    let who: Vec<&str> = ledger
        .lines()
        .filter(|placed| placed.book == 1)
        .map(|placed| placed.entry.who.as_str())
        .collect();
    assert_eq!(who, ["Me", "Me", "A. Example"]);
    // A second time it is withdrawn already.
    assert_eq!(run(&bench, &args).status.code(), Some(3));
}

#[test]
fn where_it_was_imported_from_stays() {
    let bench = Bench::new();
    let given = bench.folder().join("given.jsonl");
    let line = r#"{"entry":"expense","time":"2025-07-01T00:00:00Z","who":"Me","cost":86.50,"what":"oil","source":"list.csv:3:0123456789ab"}"#;
    std::fs::write(&given, line).expect("given");
    let from = ["record", "--from", "given.jsonl", "--book", "main"];
    let name = done(&bench, &from)[..12].to_owned();
    let args = [
        "amend",
        &name,
        "cost=68.50",
        "--why",
        "swapped",
        "--who",
        "Me",
        "--book",
        "main",
    ];
    done(&bench, &args);
    let [_, anew] = last_two(&bench);
    assert!(
        anew.ends_with(r#""cost":68.50,"what":"oil","source":"list.csv:3:0123456789ab"}"#),
        "{anew}"
    );
}
