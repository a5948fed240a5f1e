//! What is loaded, what is told, and what is refused.

use std::fs;
use std::io::Write;

use wearbook::store::{Options, Store, StoreError, StoreFault};

use crate::plants::{Names, Plant, chain, here};

/// A line cut short by a crash is told and never counted, wherever it was cut.
#[test]
fn a_torn_last_line_is_never_counted() {
    let plant = Plant::of_case("one-life");
    let whole = fs::read(plant.book()).expect("book");
    let lines: Vec<&[u8]> = whole.split_inclusive(|byte| *byte == b'\n').collect();
    let kept: usize = lines[..4].iter().map(|line| line.len()).sum();
    for cut in [1, 20, lines[4].len() / 2, lines[4].len() - 1] {
        fs::write(plant.book(), &whole[..kept + cut]).expect("write");
        let store = plant.store();
        assert_eq!(store.heads()[0].lines, 4, "cut at {cut}");
        assert_eq!(store.troubles().len(), 1);
        assert_eq!(store.troubles()[0].kind, "torn-tail");
        assert_eq!(store.table("entries").expect("entries").rows.len(), 4);
    }
    fs::write(plant.book(), &whole[..kept]).expect("write");
    assert!(plant.store().troubles().is_empty());
    // A book of nothing but a torn line, and an empty one.
    fs::write(plant.book(), b"{\"prev\":\"00").expect("write");
    assert!(plant.store().is_empty());
    fs::write(plant.book(), b"").expect("write");
    assert!(plant.store().lives().expect("lives").is_empty());
}

/// A changed byte anywhere is refused, and the first bad line is named.
#[test]
fn a_broken_chain_is_refused_with_its_line() {
    let plant = Plant::of_case("one-life");
    let whole = String::from_utf8(fs::read(plant.book()).expect("book")).expect("text");
    fs::write(
        plant.book(),
        whole.replace("\"value\":1000", "\"value\":1001"),
    )
    .expect("write");
    let error = plant.open().err().expect("refused");
    assert_eq!(error.fault(), StoreFault::Data);
    let troubles = error.troubles();
    assert_eq!(troubles.len(), 1);
    let place = troubles[0].place.as_ref().expect("place");
    assert_eq!(
        (place.file.as_str(), place.line),
        ("books/line-1.jsonl", Some(2))
    );
}

/// One book under two names would count twice.
#[test]
fn the_same_book_twice_is_refused() {
    let plant = Plant::of_case("one-life");
    fs::copy(plant.book(), plant.ledgers[0].join("books/copy.jsonl")).expect("copy");
    let error = plant.open().err().expect("refused");
    assert!(matches!(error, StoreError::SameBook { .. }), "{error}");
}

/// A whole line that is no entry stops the loading, with its place; once it is
/// withdrawn the ledger can be used again.
#[test]
fn a_line_that_is_no_entry_is_told_until_it_is_withdrawn() {
    // DuckDB reads the first as a line of no known kind; the second it cannot read.
    for bad in [
        r#"{"entry":"replcaed","time":"2025-01-02T00:00:00Z","machine":"H-01"}"#,
        r#"{"entry":"reading","time":"2025-01-02T00:00:00+02:00","machine":"H-01","meter":"hours","value":5}"#,
        r#"{"entry":"reading","time":"2025-01-02T00:00:00Z","machine":"H-01","meter":"hours","value":[5]}"#,
        r#"{"entry":"reading","time":"2025-01-02T00:00:00Z","machine":"H-01","meter":"hours","value":-5}"#,
    ] {
        let reading = r#"{"entry":"reading","time":"2025-01-01T00:00:00Z","machine":"H-01","meter":"hours","value":0}"#;
        let error = Plant::with(&format!("{reading}\n{bad}\n")).open().err();
        let error = error.unwrap_or_else(|| panic!("taken: {bad}"));
        assert_eq!(error.fault(), StoreFault::Data);
        let place = error.troubles()[0].place.clone().expect("place");
        assert_eq!(place.line, Some(3), "{bad}: {:?}", error.troubles());
        let gone = r#"{"entry":"withdrawn","time":"2025-01-03T00:00:00Z","entry_sha":"@3","why":"no entry"}"#;
        let store = Plant::with(&format!("{reading}\n{bad}\n{gone}\n")).store();
        let live = store.table("entries_live").expect("live");
        assert_eq!(live.rows.len(), 1, "{bad}");
        assert_eq!(store.table("entries").expect("entries").rows.len(), 4);
    }
}

/// Names that DuckDB would take for a pattern, or for the end of a text, are just names.
#[test]
fn odd_names_of_folders_and_books_are_just_names() {
    let plant = Plant::of_case("one-life");
    let from = &plant.ledgers[0];
    let odd = from.parent().expect("parent").join("Ol'd [1]* \u{f6}l");
    fs::rename(from, &odd).expect("rename");
    fs::rename(
        odd.join("books/line-1.jsonl"),
        odd.join("books/l[a-z]*'1.jsonl"),
    )
    .expect("rename");
    let other = chain("other", &[], &mut Names::new());
    fs::write(odd.join("books/la'1.jsonl"), other).expect("write");
    let store = Store::open(&[odd], None, &Options::default()).expect("opened");
    assert_eq!(store.heads().iter().map(|head| head.lines).sum::<u64>(), 6);
    assert_eq!(store.lives().expect("lives").len(), 2);
}

/// The folder that holds them stands for them, and a ledger named twice is read once.
#[test]
fn a_folder_of_ledgers_is_those_in_it() {
    let plant = Plant::of_case("fleet");
    let parent = plant.ledgers[0].parent().expect("parent").to_owned();
    let named = plant.store();
    let given = [parent, plant.ledgers[1].clone()];
    let found = Store::open(&given, None, &Options::default()).expect("opened");
    assert_eq!(found.heads(), named.heads());
    assert_eq!(found.machines(), named.machines());
    assert_eq!(found.lives().expect("lives"), named.lives().expect("lives"));
}

#[test]
fn ledgers_that_do_not_fit_together_are_refused() {
    let plant = Plant::of_case("fleet");
    let register = plant.ledgers[1].join("plant.toml");
    let text = fs::read_to_string(&register).expect("register");
    fs::write(&register, text.replace("EUR", "CHF")).expect("write");
    let told = || {
        let error = plant.open().err().expect("refused");
        let troubles = error.troubles().into_iter();
        let told = troubles.map(|trouble| (trouble.kind, trouble.place.and_then(|p| p.line)));
        told.collect::<Vec<_>>()
    };
    let line = |start: &str| {
        text.lines()
            .position(|l| l.starts_with(start))
            .map(|n| n + 1)
    };
    assert_eq!(told(), [("currencies-differ", line("currency"))]);
    let other = text
        .replace("id = \"hours\"", "id = \"starts\"")
        .replace("usage = \"hours\"", "usage = \"starts\"")
        .replace("hours = ", "starts = ");
    fs::write(&register, other).expect("write");
    let told = told();
    assert!(!told.is_empty());
    assert!(
        told.iter()
            .all(|(kind, line)| *kind == "usages-differ" && line.is_some())
    );
}

/// The answer for a past day does not change as the books grow.
#[test]
fn a_past_day_stays_as_it_was() {
    let day = "2025-01-20".parse().ok();
    let text = fs::read_to_string(here("ledgers/inspections/line-1.jsonl")).expect("case");
    let lines: Vec<&str> = text.lines().collect();
    let until = lines
        .iter()
        .position(|line| line.contains("2025-01-21"))
        .expect("later");
    let mut answers = Vec::new();
    for count in until..=lines.len() {
        let plant = Plant::with(&format!("{}\n", lines[..count].join("\n")));
        let store = Store::open(&plant.ledgers, day, &Options::default()).expect("opened");
        answers.push((store.as_of(), store.lives().expect("lives")));
    }
    assert!(answers.len() > 3);
    assert_eq!(answers[0].1.len(), 6);
    assert!(answers.iter().all(|answer| *answer == answers[0]));
}

/// A book that grows while it is read gives what it held at one moment: never half a
/// line, never a line without its name.
#[test]
fn a_book_that_grows_meanwhile_is_taken_at_one_moment() {
    let entries: Vec<String> = (0..6_000)
        .map(|n| format!("{{\"entry\":\"reading\",\"time\":\"2025-01-01T00:00:00Z\",\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":{n}}}"))
        .collect();
    let plant = Plant::with(&entries.join("\n"));
    let whole = fs::read(plant.book()).expect("book");
    let start = whole.len() / 3;
    fs::write(plant.book(), &whole[..start]).expect("write");
    let path = plant.book();
    let writer = std::thread::spawn(move || {
        let mut file = fs::OpenOptions::new()
            .append(true)
            .open(path)
            .expect("open");
        for piece in whole[start..].chunks(997) {
            file.write_all(piece).expect("append");
            std::thread::sleep(std::time::Duration::from_micros(700));
        }
    });
    let mut before = 0;
    let mut grew = 0;
    while !writer.is_finished() {
        let store = plant.store();
        let lines = store.heads()[0].lines;
        assert!(lines >= before);
        grew += usize::from(lines > before);
        before = lines;
        let answer = store
            .ask("SELECT count(*), count(sha), max(value) FROM entries")
            .expect("answer");
        let counts = answer.rows[0]
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>();
        // The opened line has no value; the readings count from 0.
        assert_eq!(
            counts,
            [
                lines.to_string(),
                lines.to_string(),
                (lines - 2).to_string()
            ]
        );
    }
    writer.join().expect("written");
    assert!(grew > 1, "it never grew while it was read");
    assert_eq!(plant.store().heads()[0].lines, 6_001);
}

/// A changed byte anywhere in a book, a sample of them: the loading is refused with the line, or
/// tells of a line cut short; nothing panics. What the last line says has no witness inside the
/// book: it is loaded as it is, or told to be no entry.
#[test]
fn no_changed_byte_is_loaded_unseen() {
    let plant = Plant::of_case("jobs");
    let whole = fs::read(plant.book()).expect("book");
    let starts: Vec<usize> = std::iter::once(0)
        .chain(
            whole
                .iter()
                .enumerate()
                .filter(|(_, b)| **b == b'\n')
                .map(|(i, _)| i + 1),
        )
        .collect();
    let lines = starts.len() - 1;
    let (mut refused, mut unseen) = (0, 0);
    for (turn, at) in (0..whole.len()).step_by(whole.len() / 120).enumerate() {
        let mask = [0x01, 0x20, 0x80, 0xff][turn % 4];
        let mut bytes = whole.clone();
        bytes[at] ^= mask;
        fs::write(plant.book(), &bytes).expect("flip");
        let line = starts.partition_point(|start| *start <= at);
        match plant.open() {
            Err(error) => {
                assert_eq!(error.fault(), StoreFault::Data, "{error}");
                let named: Vec<_> = error
                    .troubles()
                    .iter()
                    .filter_map(|trouble| trouble.place.as_ref()?.line)
                    .collect();
                assert!(named.contains(&line), "byte {at} of line {line}: {named:?}");
                refused += 1;
            }
            Ok(store) => {
                assert_eq!(line, lines, "byte {at} changed by {mask:#x} went unseen");
                unseen += usize::from(store.troubles().is_empty());
            }
        }
    }
    assert!(refused > 100, "only {refused} were refused");
    assert!(unseen < 20, "{unseen} went unseen");
}
