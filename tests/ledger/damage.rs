//! Torn and altered books: what went before survives, and the finding names the line.

use rayon::prelude::*;
use wearbook::book::{
    Appender, BookError, Depth, Entry, Event, Ledger, Survey, look_over, parse_line, read_chain,
};
use wearbook::quantity::trouble::Severity;

use crate::bench::{
    Bench, entry, expense, inspected, installed, job, measured, now, plunger, reading, removed,
    replaced,
};

/// A book of an `opened` line and five entries.
fn small() -> Bench {
    let bench = Bench::new();
    let entries = [
        installed(0, "P1"),
        reading(1, 100),
        reading(170, 200),
        replaced(200, "P1"),
        reading(340, 300),
    ];
    let mut appender = Appender::open(bench.folder(), "main").expect("open");
    appender.append_all(&entries, now()).expect("append");
    bench
}

fn line_starts(bytes: &[u8]) -> Vec<usize> {
    let mut starts = vec![0];
    starts.extend(
        bytes
            .iter()
            .enumerate()
            .filter(|(_, b)| **b == b'\n')
            .map(|(i, _)| i + 1),
    );
    starts
}

#[test]
fn cut_after_every_byte_of_the_last_line() {
    let bench = small();
    let whole = bench.bytes();
    let starts = line_starts(&whole);
    let last = starts[starts.len() - 2];
    for cut in last..whole.len() {
        std::fs::write(bench.book(), &whole[..cut]).expect("cut");
        let ledger = Ledger::read(bench.folder()).expect("read");
        assert_eq!(ledger.entries().len(), 4, "cut at {cut}");
        assert!(ledger.broken().is_empty());
        assert_eq!(ledger.torn().len(), usize::from(cut > last));

        // Recording goes on: the torn bytes are kept beside, and never counted.
        let mut appender = Appender::open(bench.folder(), "main").expect("open");
        let recorded = appender.append(&reading(340, 300), now()).expect("append");
        assert_eq!(recorded.line, 6);
        let aside = appender.take_set_aside();
        assert_eq!(aside.len(), usize::from(cut > last));
        if let Some(aside) = aside.first() {
            let path = bench.folder().join(&aside.file);
            assert_eq!(std::fs::read(&path).expect("kept"), whole[last..cut]);
            std::fs::remove_file(path).expect("remove");
        }
        assert_eq!(bench.bytes(), whole, "cut at {cut}");
    }
}

/// Unoptimised, it would take minutes to try every byte.
const STEP: usize = if cfg!(debug_assertions) { 31 } else { 1 };

/// A book of 50 lines in which every kind of entry stands.
fn fifty() -> Bench {
    let bench = Bench::new();
    let mut entries = vec![installed(0, "P1"), plunger(1)];
    for n in 0..7 {
        let hours = 10 * (i64::from(n) + 1);
        let mut done = replaced(hours, "P1");
        done.job = Some(format!("J-{n}"));
        done.note = Some("Größe \"5\" µm\nsecond line".into());
        entries.extend([
            reading(hours - 5, 100 * n),
            done,
            job(hours + 1, &format!("J-{n}")),
            measured(hours + 2),
            expense(hours + 3),
            inspected(hours + 4, "P1"),
        ]);
    }
    entries.push(removed(90, "P1"));
    entries.push(installed(95, "P1"));
    let mut appender = Appender::open(bench.folder(), "main").expect("open");
    let recorded = appender.append_all(&entries, now()).expect("append");
    let gone = Event::Withdrawn {
        entry_sha: recorded[6].sha.to_string(),
        why: "twice".into(),
    };
    let withdrawn = Entry {
        machine: None,
        ..entry(100, gone)
    };
    appender.append(&withdrawn, now()).expect("append");
    appender
        .append_all(&[reading(101, 900), reading(102, 901)], now())
        .expect("append");
    let chain = read_chain(&bench.bytes());
    assert_eq!((chain.lines.len(), chain.fault), (50, None));
    bench
}

/// Every bit of every byte of a book, one at a time: the chain names the line, or the line
/// before, which then counts as changed; what went before it still stands. What the chain cannot
/// see is the last line's own content: no later line vouches for it. That is what a seal kept
/// outside the book is for.
#[test]
fn every_bit_of_a_book_has_its_witness() {
    let whole = fifty().bytes();
    let starts = line_starts(&whole);
    let last = starts[starts.len() - 2];
    let sound = read_chain(&whole);
    let unseen: usize = (0..whole.len())
        .into_par_iter()
        .step_by(STEP)
        .map(|at| {
            let line = starts.partition_point(|start| *start <= at);
            let mut unseen = 0;
            let mut bytes = whole.clone();
            for bit in 0..8 {
                bytes[at] = whole[at] ^ (1 << bit);
                let chain = read_chain(&bytes);
                let Some(fault) = &chain.fault else {
                    // A last line feed that is none leaves the last line torn: set aside. The
                    // last but one joins the last two lines into what is no entry.
                    let torn = at == whole.len() - 1 && chain.torn == (last..whole.len());
                    let joined = at == last - 1
                        && parse_line(&bytes[chain.lines[48].bytes.clone()]).is_err();
                    let told = torn || joined;
                    assert!(told || at >= last, "bit {bit} of byte {at} went unseen");
                    unseen += usize::from(!told);
                    continue;
                };
                // A stray line feed cuts the line in two.
                let named = fault.line();
                assert!(
                    named == line || named == line + 1,
                    "{fault}, not line {line}"
                );
                let before = chain.lines.iter().zip(&sound.lines).take(named - 1);
                for (n, (now, then)) in before.enumerate() {
                    assert!(n + 1 >= line || now == then, "line {} is another", n + 1);
                }
            }
            unseen
        })
        .sum();
    // A `prev` that is no other's, a brace, a quote: the last line has some witness of its form.
    assert!(unseen > 0 && unseen < 8 * (whole.len() - last), "{unseen}");
}

/// The same through a ledger on disk, one mask a byte: each damage is found and the finding
/// names the line, or the torn tail is set aside; nothing panics, whatever the line has become.
#[test]
fn a_ledger_tells_every_byte_that_was_changed() {
    let bench = fifty();
    let whole = bench.bytes();
    let starts = line_starts(&whole);
    let lines = starts.len() - 1;
    let masks = [0x01, 0x02, 0x10, 0x20, 0x80, 0xff];
    let benches = || {
        let bench = Bench::new();
        std::fs::create_dir(bench.folder().join("books")).expect("books");
        bench
    };
    let unseen: usize = (0..whole.len())
        .into_par_iter()
        .step_by(STEP)
        .map_init(benches, |bench, at| {
            let line = starts.partition_point(|start| *start <= at);
            let mask = masks[at % masks.len()];
            let mut bytes = whole.clone();
            bytes[at] ^= mask;
            std::fs::write(bench.book(), &bytes).expect("flip");
            let ledger = Ledger::read(bench.folder()).expect("read");
            let mut found = ledger.broken();
            found.extend(ledger.torn());
            // A survey finds the same, and all that is doubtful besides.
            if at % 5 == 0 {
                let survey = Depth::Deep.survey(bench.folder()).expect("survey");
                let mut surveyed = survey.broken();
                surveyed.extend(survey.torn());
                assert_eq!(surveyed, found, "byte {at} changed by {mask:#x}");
                let all = look_over(survey, now(), Depth::Deep);
                assert!(found.iter().all(|trouble| all.contains(trouble)));
            }
            if found.is_empty() {
                assert_eq!(line, lines, "byte {at} changed by {mask:#x} went unseen");
                return 1;
            }
            let named: Vec<usize> = found
                .iter()
                .filter_map(|trouble| trouble.place.as_ref()?.line)
                .collect();
            assert!(
                named.contains(&line),
                "byte {at} of line {line} changed by {mask:#x}: named {named:?}"
            );
            assert!(named.iter().all(|n| *n >= line), "{named:?} before {line}");
            // What went before still stands.
            let read = ledger.lines().filter(|placed| placed.line < line).count();
            assert_eq!(read, line - 1);
            0
        })
        .sum();
    assert!(unseen > 0, "the last line's own content has no witness");
}

#[test]
fn a_broken_book_is_not_written_to_and_others_are() {
    let bench = small();
    let text = String::from_utf8(bench.bytes()).expect("text");
    let edited = text.replace("\"value\":200", "\"value\":201");
    std::fs::write(bench.book(), &edited).expect("edit");
    let error = Appender::open(bench.folder(), "main").expect_err("broken");
    assert!(matches!(error, BookError::Chain { fault, .. } if fault.line() == 4));
    let mut other = Appender::open(bench.folder(), "second").expect("open");
    other.append(&reading(500, 400), now()).expect("append");
    assert_eq!(bench.bytes(), edited.as_bytes());
}

#[test]
fn a_book_broken_while_in_use_is_noticed() {
    let bench = small();
    let mut appender = Appender::open(bench.folder(), "main").expect("open");
    let whole = bench.bytes();
    // Another program appends a line that does not belong.
    let mut bytes = whole.clone();
    bytes.extend_from_slice(b"{\"prev\":\"stray\"}\n");
    std::fs::write(bench.book(), &bytes).expect("write");
    let error = appender
        .append(&reading(500, 400), now())
        .expect_err("stray");
    assert!(matches!(error, BookError::Chain { fault, .. } if fault.line() == 7));
    // Another program cuts the book.
    std::fs::write(bench.book(), &whole[..whole.len() / 2]).expect("write");
    let mut appender = Appender::open(bench.folder(), "main").expect("open");
    std::fs::write(bench.book(), b"").expect("write");
    let error = appender.append(&reading(500, 400), now()).expect_err("cut");
    assert!(matches!(error, BookError::ChangedMeanwhile { .. }));
}

#[test]
fn an_unreadable_line_can_be_withdrawn() {
    let bench = Bench::new();
    std::fs::create_dir(bench.folder().join("books")).expect("books");
    let zero = wearbook::book::Sha::ZERO;
    let opened = format!(
        "{{\"prev\":\"{zero}\",\"entry\":\"opened\",\"time\":\"2025-01-06T08:00:00Z\",\
         \"logged\":\"2025-01-06T08:00:00Z\",\"who\":\"A\",\"book\":\"main\",\"format\":1}}"
    );
    let first = wearbook::book::Sha::of(opened.as_bytes());
    let strange = format!("{{\"prev\":\"{first}\",\"entry\":\"strange\"}}");
    std::fs::write(bench.book(), format!("{opened}\n{strange}\n")).expect("book");
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert_eq!(ledger.broken().len(), 1);
    let name = wearbook::book::Sha::of(strange.as_bytes());
    let output = bench
        .command(&[
            "withdraw",
            &name.short(),
            "--why",
            "not an entry",
            "--who",
            "A",
        ])
        .output()
        .expect("run");
    assert!(output.status.success(), "{output:?}");
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert!(ledger.broken().is_empty());
    let survey = Survey::read(bench.folder()).expect("survey");
    let found = look_over(survey, now(), Depth::Plain);
    assert!(
        found
            .iter()
            .all(|trouble| trouble.severity == Severity::Note),
        "{found:?}"
    );
}
