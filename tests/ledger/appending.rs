//! What an append lets in, what it refuses, and that a refusal leaves no trace.

use proptest::prelude::*;
use rust_decimal::Decimal;
use wearbook::book::{
    Age, Appender, BookError, Conflict, Depth, Entry, Event, Item, LOCK_FILE, Ledger, Patience,
    Recorded, Source, Survey, look_over, read_chain,
};
use wearbook::quantity::Number;

use crate::bench::{Bench, at, entry, inspected, installed, now, reading, removed, replaced, slot};

fn appender(bench: &Bench) -> Appender {
    Appender::open(bench.folder(), "main").expect("open")
}

fn refused(appender: &mut Appender, entries: &[Entry]) -> Vec<&'static str> {
    match appender.append_all(entries, now()) {
        Err(BookError::Refused { refusals, .. }) => refusals
            .iter()
            .flat_map(|refusal| &refusal.conflicts)
            .map(Conflict::name)
            .collect(),
        other => panic!("not refused: {other:?}"),
    }
}

fn append(appender: &mut Appender, entry: &Entry) -> Recorded {
    appender.append(entry, now()).expect("append")
}

#[test]
fn a_refused_entry_leaves_the_book_byte_for_byte() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    // Not even an empty book is made.
    assert_eq!(refused(&mut writer, &[replaced(0, "P1")]), ["slot-empty"]);
    assert!(!bench.book().exists());
    append(&mut writer, &installed(0, "P1"));
    append(&mut writer, &reading(1, 100));
    let before = bench.bytes();
    let mut unknown = reading(3, 120);
    unknown.machine = Some("H-03".into());
    for (bad, name) in [
        (installed(2, "P1"), "slot-filled"),
        (installed(2, "P7"), "unknown-slot"),
        (inspected(2, "P2"), "slot-empty"),
        (inspected(-1, "P1"), "slot-empty"),
        (reading(2, 99), "meter-backwards"),
        (reading(0, 101), "meter-backwards"),
        (reading(24 * 365 * 30, 120), "future-time"),
        (unknown, "unknown-machine"),
    ] {
        assert_eq!(refused(&mut writer, &[reading(2, 110), bad]), [name]);
        assert_eq!(bench.bytes(), before, "{name}");
    }
    // Nothing of the refused batches stayed in memory either.
    append(&mut writer, &reading(2, 105));
}

#[test]
fn all_refusals_of_a_batch_are_told() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    let batch = [
        installed(0, "P1"),
        reading(1, 100),
        reading(2, 90),
        removed(3, "P2"),
        reading(4, 95),
    ];
    assert_eq!(
        refused(&mut writer, &batch),
        ["meter-backwards", "slot-empty"]
    );
}

#[test]
fn a_meter_may_run_backwards_only_over_a_reset() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    append(&mut writer, &reading(0, 1000));
    let reset = |hours, value: i32| {
        let mut entry = reading(hours, value);
        if let Event::Reading { reset, .. } = &mut entry.event {
            *reset = true;
        }
        entry
    };
    append(&mut writer, &reset(10, 0));
    append(&mut writer, &reading(20, 10));
    // Late readings are held against both neighbours.
    append(&mut writer, &reading(5, 1005));
    append(&mut writer, &reading(15, 5));
    assert_eq!(refused(&mut writer, &[reading(16, 4)]), ["meter-backwards"]);
    assert_eq!(
        refused(&mut writer, &[reading(16, 11)]),
        ["meter-backwards"]
    );
    assert_eq!(
        refused(&mut writer, &[reading(6, 1004)]),
        ["meter-backwards"]
    );
    // Just before the reset anything above the reading before will do.
    append(&mut writer, &reading(9, 5000));
}

#[test]
fn late_entries_are_checked_in_the_order_of_time() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    append(&mut writer, &installed(10, "P1"));
    append(&mut writer, &inspected(30, "P1"));
    append(&mut writer, &removed(50, "P1"));
    assert_eq!(
        refused(&mut writer, &[removed(20, "P1")]),
        ["slot-empty-later"]
    );
    assert_eq!(
        refused(&mut writer, &[removed(40, "P1")]),
        ["slot-empty-later"]
    );
    assert_eq!(
        refused(&mut writer, &[installed(5, "P1")]),
        ["slot-filled-later"]
    );
    assert_eq!(refused(&mut writer, &[inspected(60, "P1")]), ["slot-empty"]);
    append(&mut writer, &replaced(40, "P1"));
    append(&mut writer, &inspected(45, "P1"));
    // Taking out and putting in at the very same time, in that order.
    append(&mut writer, &installed(50, "P1"));
}

#[test]
fn a_withdrawn_entry_makes_room_for_the_right_one() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    append(&mut writer, &installed(0, "P1"));
    append(&mut writer, &reading(1, 100));
    let wrong = append(&mut writer, &reading(2, 1000));
    assert_eq!(
        refused(&mut writer, &[reading(3, 120)]),
        ["meter-backwards"]
    );
    let withdraw = |digits: &str| Entry {
        machine: None,
        ..entry(
            4,
            Event::Withdrawn {
                entry_sha: digits.into(),
                why: "misread".into(),
            },
        )
    };
    // In one batch: withdraw, and state anew.
    let batch = [
        withdraw(&wrong.sha.short()),
        reading(2, 110),
        reading(3, 120),
    ];
    let recorded = writer.append_all(&batch, now()).expect("append");
    assert_eq!(recorded.len(), 3);
    assert_eq!(
        refused(&mut writer, &[withdraw(&wrong.sha.short())]),
        ["withdrawn-twice"]
    );
    let own = recorded[0].sha.to_string();
    assert_eq!(
        refused(&mut writer, &[withdraw(&own)]),
        ["not-withdrawable"]
    );
    assert_eq!(
        refused(&mut writer, &[withdraw(&"0".repeat(12))]),
        ["no-such-entry"]
    );

    let ledger = Ledger::read(bench.folder()).expect("read");
    assert_eq!(ledger.entries().len(), 4);
    assert!(ledger.withdrawn().contains(&wrong.sha));
    // The book names the line in full, and still holds it.
    let text = String::from_utf8(bench.bytes()).expect("text");
    assert!(text.contains(&format!("\"entry_sha\":\"{}\"", wrong.sha)));
    assert!(text.contains("\"value\":1000"));
}

#[test]
fn a_withdrawal_rolled_back_holds_no_more() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    let first = append(&mut writer, &reading(1, 100));
    let withdraw = Entry {
        machine: None,
        ..entry(
            2,
            Event::Withdrawn {
                entry_sha: first.sha.to_string(),
                why: "misread".into(),
            },
        )
    };
    assert_eq!(
        refused(&mut writer, &[withdraw, removed(3, "P1")]),
        ["slot-empty"]
    );
    assert_eq!(refused(&mut writer, &[reading(2, 50)]), ["meter-backwards"]);
}

#[test]
fn every_kind_is_recorded_and_read_back() {
    let bench = Bench::new();
    let mut writer = appender(&bench);
    let mut done = replaced(5, "P1");
    done.job = Some("J-1".into());
    done.note = Some("first line\nsecond line".into());
    let job = Entry {
        job: Some("J-1".into()),
        ..entry(
            6,
            Event::Job {
                start: crate::bench::at(4),
                stop: crate::bench::at(6),
                kind: wearbook::book::JobKind::Corrective,
                labour_h: Number::parse("1.50").expect("number"),
                downtime_h: Number::from(2),
                cost: Some("12.50".parse().expect("money")),
            },
        )
    };
    let measured = entry(
        7,
        Event::Measured {
            slot: slot("plunger", "P1"),
            quantity: "diameter".into(),
            value: Number::parse("2.3600").expect("number"),
            unit: "in".into(),
            zone: None,
            span: None,
            new_value: Some(Number::parse("2.3622").expect("number")),
        },
    );
    let old = entry(
        1,
        Event::Installed {
            slot: slot("plunger", "P1"),
            item: Item {
                age: Age::Unknown,
                serial: Some("S-1".into()),
                ..Item::default()
            },
        },
    );
    let expense = entry(
        8,
        Event::Expense {
            cost: "-3.20".parse().expect("money"),
            what: "rebate".into(),
        },
    );
    let entries = [
        installed(0, "P1"),
        old,
        reading(2, 100),
        inspected(3, "P1"),
        done,
        job,
        measured,
        expense,
        removed(9, "P1"),
    ];
    let recorded = writer.append_all(&entries, now()).expect("append");
    assert_eq!(recorded.len(), entries.len());
    assert_eq!(recorded[0].line, 2);
    let ledger = Ledger::read(bench.folder()).expect("read");
    let read: Vec<Entry> = ledger
        .lines()
        .skip(1)
        .map(|placed| placed.entry.clone())
        .collect();
    assert_eq!(read, entries);
    let bytes = bench.bytes();
    let chain = read_chain(&bytes);
    assert_eq!(chain.fault, None);
    let names: Vec<_> = chain.lines[1..].iter().map(|line| line.sha).collect();
    assert_eq!(names, recorded.iter().map(|r| r.sha).collect::<Vec<_>>());
}

/// The rules of recording are the rules of `check`: what was let in is never found
/// fault with, whatever the order it came in and the book it went to.
#[derive(Debug, Clone)]
struct Try {
    kind: u8,
    hours: i64,
    value: i32,
    position: bool,
    book: bool,
}

fn tries() -> impl Strategy<Value = Vec<Try>> {
    let one = (0u8..7, 0i64..40, 0i32..60, any::<bool>(), any::<bool>());
    let one = one.prop_map(|(kind, hours, value, position, book)| Try {
        kind,
        hours,
        value,
        position,
        book,
    });
    proptest::collection::vec(one, 1..60)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_was_let_in_stands_when_looked_over(tries in tries()) {
        let bench = Bench::new();
        let mut books = [
            Appender::open(bench.folder(), "main").expect("open"),
            Appender::open(bench.folder(), "second").expect("open"),
        ];
        let mut let_in = 0;
        for (turn, one) in tries.iter().enumerate() {
            let position = if one.position { "P1" } else { "P2" };
            let mut made = match one.kind {
                0 | 1 => reading(one.hours, one.value),
                2 => installed(one.hours, position),
                3 => replaced(one.hours, position),
                4 => removed(one.hours, position),
                5 => inspected(one.hours, position),
                _ => {
                    let mut reset = reading(one.hours, one.value);
                    if let Event::Reading { reset, .. } = &mut reset.event {
                        *reset = true;
                    }
                    reset
                }
            };
            // Written down one after the other, whenever it happened.
            made.logged = crate::bench::at(100 + turn as i64);
            if books[usize::from(one.book)].append(&made, now()).is_ok() {
                let_in += 1;
            }
        }
        let ledger = Ledger::read(bench.folder()).expect("read");
        prop_assert_eq!(ledger.entries().len(), let_in);
        let rules = ["meter-backwards", "slot-filled", "slot-empty", "slot-empty-later",
            "slot-filled-later", "opened-again", "not-opened"];
        let survey = Survey::read(bench.folder()).expect("survey");
        for trouble in look_over(survey, now(), Depth::Plain) {
            prop_assert!(!rules.contains(&trouble.kind), "{:?}", trouble);
            prop_assert!(!trouble.kind.starts_with("chain"), "{:?}", trouble);
        }
    }
}

/// The import's way in: what the ledger states is not recorded again.
#[test]
fn the_same_entries_are_new_only_once() {
    let bench = Bench::new();
    let expense = |hours| {
        let cost = Decimal::from(100);
        let what = "grease".to_owned();
        entry(hours, Event::Expense { cost, what })
    };
    let all = [
        installed(0, "P1"),
        reading(1, 100),
        expense(2),
        expense(2),
        replaced(3, "P1"),
    ];
    let mut appender = Appender::open_for_import(bench.folder(), "main").expect("open");
    let first = appender.append_new(&all, now()).expect("append");
    assert!(first.iter().all(Option::is_some), "{first:?}");
    let whole = bench.bytes();
    let again = appender.append_new(&all, now()).expect("append");
    assert!(again.iter().all(Option::is_none), "{again:?}");

    // Another hand, another hour of writing, another file: still the same statements.
    let mut other: Vec<Entry> = all.to_vec();
    for entry in &mut other {
        entry.who = "B. Example".into();
        entry.logged = at(500);
        entry.note = Some("from the other list".into());
        entry.source = Source::parse("list.csv:3:0123456789ab");
    }
    let mut appender = Appender::open_for_import(bench.folder(), "main").expect("open");
    assert_eq!(appender.stated(&other[2]), 2);
    let again = appender.append_new(&other, now()).expect("append");
    assert!(again.iter().all(Option::is_none));
    assert_eq!(bench.bytes(), whole);

    // A third equal expense is one more than the ledger has.
    other.insert(4, expense(2));
    let again = appender.append_new(&other, now()).expect("append");
    let new: Vec<bool> = again.iter().map(Option::is_some).collect();
    assert_eq!(new, [false, false, false, false, true, false]);
}

/// Two imports of one file at once: the second finds the first one's under the lock.
#[test]
fn what_another_recorded_meanwhile_is_not_new() {
    let bench = Bench::new();
    let all = [installed(0, "P1"), reading(1, 100)];
    let mut one = Appender::open_for_import(bench.folder(), "one").expect("open");
    let mut two = Appender::open_for_import(bench.folder(), "two").expect("open");
    one.append_new(&all, now()).expect("append");
    let late = two.append_new(&all, now()).expect("append");
    assert_eq!(late, [None, None]);
    assert!(!bench.folder().join("books/two.jsonl").exists());
}

#[test]
fn groups_stand_or_fall_as_a_whole() {
    let bench = Bench::new();
    let mut appender = Appender::open_for_import(bench.folder(), "main").expect("open");
    appender.append(&installed(0, "P1"), now()).expect("append");
    let before = bench.bytes();
    let groups = [
        vec![reading(1, 100), replaced(1, "P1")],
        // Its reading could stand; the group cannot.
        vec![reading(2, 900), installed(2, "P1")],
        // Would run backwards, had the group before been taken in.
        vec![reading(3, 200)],
        vec![reading(4, 150)],
    ];
    let found = appender.sift(&groups, now());
    let kinds: Vec<Vec<(usize, &str)>> = found
        .iter()
        .map(|group| {
            let one = |r: &wearbook::book::Refusal| (r.index, r.conflicts[0].name());
            group.iter().map(one).collect()
        })
        .collect();
    assert_eq!(
        kinds,
        [
            vec![],
            vec![(3, "slot-filled")],
            vec![],
            vec![(5, "meter-backwards")]
        ]
    );
    let Conflict::MeterBackwards { witness, .. } = &found[3][0].conflicts[0] else {
        panic!("{found:?}");
    };
    assert_eq!(witness.given, Some(4));
    assert_eq!(bench.bytes(), before);
    // Nothing of it is left in the appender.
    appender.append(&reading(5, 1), now()).expect("append");
}

#[test]
fn a_held_lock_is_waited_for_and_then_told() {
    let bench = Bench::new();
    let held = std::fs::File::create(bench.folder().join(LOCK_FILE)).expect("lock file");
    held.lock().expect("lock");
    let told = std::sync::Arc::new(std::sync::atomic::AtomicUsize::new(0));
    let patience = |millis| {
        let told = told.clone();
        Patience {
            limit: std::time::Duration::from_millis(millis),
            told: Box::new(move || {
                told.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            }),
        }
    };
    let count = || told.load(std::sync::atomic::Ordering::Relaxed);
    let appender = Appender::open(bench.folder(), "main").expect("open");
    let mut appender = appender.with_patience(patience(0));
    let error = appender.append(&reading(1, 1), now()).expect_err("held");
    assert!(matches!(error, BookError::Busy { .. }) && error.is_io());
    assert_eq!(count(), 0);
    let mut appender = appender.with_patience(patience(700));
    appender.append(&reading(1, 1), now()).expect_err("held");
    assert_eq!(count(), 1, "a long wait is told of once");
    assert!(bench.bytes().is_empty());
    let mut appender = appender.with_patience(patience(60_000));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            std::thread::sleep(std::time::Duration::from_millis(100));
            held.unlock().expect("unlock");
        });
        appender.append(&reading(1, 1), now()).expect("at last");
    });
}
