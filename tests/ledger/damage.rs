//! Torn and altered books: what went before survives, and the finding names the line.

use wearbook::book::{Appender, BookError, Depth, Ledger, Survey, look_over};
use wearbook::quantity::trouble::Severity;

use crate::bench::{Bench, installed, now, reading, replaced};

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

/// Flips bits of every byte in turn. All of it is found by the chain but what cannot
/// be: the last line's own content, which no later line vouches for.
#[test]
fn flip_each_byte_of_a_book() {
    let bench = small();
    let whole = bench.bytes();
    let starts = line_starts(&whole);
    let lines = starts.len() - 1;
    let mut unseen = 0;
    for at in 0..whole.len() {
        let line = starts.partition_point(|start| *start <= at);
        for mask in [0x01, 0x20, 0x80] {
            let mut bytes = whole.clone();
            bytes[at] ^= mask;
            std::fs::write(bench.book(), &bytes).expect("flip");
            let ledger = Ledger::read(bench.folder()).expect("read");
            let mut found = ledger.broken();
            found.extend(ledger.torn());
            if found.is_empty() {
                // Only the last line may pass, or a blank that means nothing to JSON.
                assert_eq!(line, lines, "byte {at} flipped by {mask:#x} went unseen");
                unseen += 1;
                continue;
            }
            let named: Vec<usize> = found
                .iter()
                .filter_map(|trouble| trouble.place.as_ref()?.line)
                .collect();
            assert!(
                named.contains(&line),
                "byte {at} of line {line} flipped by {mask:#x}: named {named:?}"
            );
            assert!(named.iter().all(|n| *n >= line), "{named:?} before {line}");
            // What went before still stands.
            let read = ledger.lines().filter(|placed| placed.line < line).count();
            assert_eq!(read, line - 1);
        }
    }
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
