//! A line read back is the entry that was written, for every kind and any content.

use chrono::{DateTime, Utc};
use proptest::prelude::*;
use rust_decimal::Decimal;
use wearbook::book::{
    Age, Ending, Entry, Event, Finding, Found, Item, JobKind, Kind, LineFaultKind, Reason, Sha,
    SlotName, Source, parse_line,
};
use wearbook::quantity::Number;

/// Any tidy text: no blanks at the ends, no control characters, quotes and all else.
fn text() -> impl Strategy<Value = String> {
    "[^\\p{C}\\s]([^\\p{C}]{0,12}[^\\p{C}\\s])?"
}

fn note() -> impl Strategy<Value = String> {
    (text(), text()).prop_map(|(a, b)| format!("{a}\n{b}"))
}

fn time() -> impl Strategy<Value = DateTime<Utc>> {
    // The years 1 to 9999: those with four digits.
    (-62_135_596_800i64..=253_402_300_799)
        .prop_map(|s| DateTime::from_timestamp(s, 0).expect("in range"))
}

fn number() -> impl Strategy<Value = Number> {
    prop_oneof![
        (0u64..1_000_000_000_000, 0u32..6).prop_map(|(digits, point)| {
            let text = Decimal::from_i128_with_scale(i128::from(digits), point).to_string();
            Number::parse(&text).expect("a decimal")
        }),
        (0.0..1e12f64).prop_map(|value| Number::new(value).expect("finite")),
    ]
}

fn money() -> impl Strategy<Value = Decimal> {
    (-100_000_000i64..100_000_000, 0u32..4).prop_map(|(digits, scale)| Decimal::new(digits, scale))
}

fn slot() -> impl Strategy<Value = SlotName> {
    (text(), text()).prop_map(|(component, position)| SlotName {
        component,
        position,
    })
}

fn maybe<T: std::fmt::Debug>(inner: impl Strategy<Value = T>) -> impl Strategy<Value = Option<T>> {
    proptest::option::of(inner)
}

fn item() -> impl Strategy<Value = Item> {
    let age = prop_oneof![
        Just(Age::New),
        Just(Age::Unknown),
        number().prop_map(Age::Known)
    ];
    (
        maybe(text()),
        maybe(1u32..1000),
        maybe(text()),
        maybe(text()),
        age,
    )
        .prop_map(|(part, pieces, batch, serial, age)| Item {
            part,
            pieces,
            batch,
            serial,
            age,
        })
}

fn word<T: std::fmt::Debug>(
    words: &'static [&'static str],
    from_word: fn(&str) -> Option<T>,
) -> impl Strategy<Value = T> {
    proptest::sample::select(words).prop_map(move |word| from_word(word).expect("a known word"))
}

fn ending() -> impl Strategy<Value = Ending> {
    let reason = word(Reason::WORDS, Reason::from_word);
    (
        reason,
        maybe(text()),
        word(Found::WORDS, Found::from_word),
        any::<bool>(),
    )
        .prop_map(|(reason, mode, found, told)| Ending {
            found: (told || matches!(reason, Reason::Failed | Reason::Worn)).then_some(found),
            reason,
            mode,
        })
}

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        text().prop_map(|book| Event::Opened { book, format: 1 }),
        (text(), number(), any::<bool>()).prop_map(|(meter, value, reset)| Event::Reading {
            meter,
            value,
            reset
        }),
        (slot(), item()).prop_map(|(slot, item)| Event::Installed { slot, item }),
        (slot(), item(), ending()).prop_map(|(slot, item, end)| Event::Replaced {
            slot,
            item,
            end
        }),
        (slot(), ending()).prop_map(|(slot, end)| Event::Removed { slot, end }),
        (
            slot(),
            word(Finding::WORDS, Finding::from_word),
            maybe(text())
        )
            .prop_map(|(slot, finding, mode)| Event::Inspected {
                slot,
                finding,
                mode
            }),
        (
            slot(),
            text(),
            number(),
            text(),
            maybe(text()),
            maybe(1i32..50),
            maybe(number())
        )
            .prop_map(|(slot, quantity, value, unit, zone, span, new_value)| {
                Event::Measured {
                    slot,
                    quantity,
                    value,
                    unit,
                    zone,
                    span: span.map(Number::from),
                    new_value,
                }
            }),
        (
            time(),
            0i64..1_000_000,
            word(JobKind::WORDS, JobKind::from_word),
            number(),
            number(),
            maybe(money())
        )
            .prop_map(|(start, seconds, kind, labour_h, downtime_h, cost)| {
                let stop = start + chrono::TimeDelta::seconds(seconds);
                // A stop past the year 9999 would have five digits.
                let stop = if stop.timestamp() > 253_402_300_799 {
                    start
                } else {
                    stop
                };
                Event::Job {
                    start,
                    stop,
                    kind,
                    labour_h,
                    downtime_h,
                    cost,
                }
            }),
        (money(), note()).prop_map(|(cost, what)| Event::Expense { cost, what }),
        ("[0-9a-f]{12,64}", text())
            .prop_map(|(entry_sha, why)| Event::Withdrawn { entry_sha, why }),
    ]
}

fn source() -> impl Strategy<Value = Source> {
    (text(), 1..u64::MAX, "[0-9a-f]{12,64}").prop_map(|(file, row, digest)| Source {
        file,
        row,
        digest,
    })
}

fn entry() -> impl Strategy<Value = Entry> {
    (
        time(),
        time(),
        text(),
        text(),
        any::<bool>(),
        event(),
        maybe(text()),
        maybe(note()),
        maybe(source()),
    )
        .prop_map(
            |(time, logged, who, machine, with, event, job, note, source)| {
                let kind = event.kind();
                let bare = matches!(kind, Kind::Opened | Kind::Withdrawn);
                let machine = match kind {
                    Kind::Opened | Kind::Withdrawn => None,
                    Kind::Expense => with.then_some(machine),
                    _ => Some(machine),
                };
                let job = match kind {
                    Kind::Job => Some(job.unwrap_or_else(|| "J".into())),
                    _ => job.filter(|_| !bare),
                };
                Entry {
                    time,
                    logged,
                    who,
                    machine,
                    event,
                    job,
                    note,
                    source: source.filter(|_| !bare),
                }
            },
        )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn parse_of_print_is_the_entry(entry in entry(), prev in any::<[u8; 32]>()) {
        let prev = Sha(prev);
        let line = entry.line(prev);
        prop_assert!(!line.contains('\n'));
        let (prev_back, back) = parse_line(line.as_bytes()).expect("a line just written");
        prop_assert_eq!(prev_back, prev);
        prop_assert_eq!(&back, &entry);
        // And the other way round: the line is the entry's only writing.
        prop_assert_eq!(back.line(prev), line.clone());
        // Any JSON reader agrees on the first key and the number of keys.
        let value: serde_json::Value = serde_json::from_str(&line).expect("JSON");
        let first = prev.to_string();
        prop_assert_eq!(value["prev"].as_str(), Some(first.as_str()));
    }

    /// No bytes make the reader panic, and a line that is cut is never an entry.
    #[test]
    fn a_cut_line_is_no_entry(entry in entry(), cut in any::<proptest::sample::Index>()) {
        let line = entry.line(Sha::ZERO);
        let cut = cut.index(line.len());
        prop_assert!(parse_line(&line.as_bytes()[..cut]).is_err());
    }

    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let _ = parse_line(&bytes);
    }
}

fn faults(line: &str) -> Vec<String> {
    let faults = parse_line(line.as_bytes()).expect_err("faulty");
    let told = |span: std::ops::Range<usize>| line.get(span).unwrap_or("?").to_owned();
    faults
        .iter()
        .map(|fault| format!("{} [{}]", fault.kind, told(fault.span.clone())))
        .collect()
}

#[test]
fn every_fault_of_a_line_is_told_where_it_stands() {
    let zero = "0".repeat(64);
    let line = format!(
        r#"{{"entry":"removed","prev":"{zero}","time":"2025-01-06T08:00:00+00:00","logged":"2025-13-06T08:00:00Z","who":" A","machine":7,"component":"p","component":"q","reason":"fialed","found":"running","mod":"x"}}"#
    );
    assert_eq!(
        faults(&line),
        [
            "`prev` is not the first key [\"prev\"]",
            "`time`: not a UTC time of the form 2026-03-01T14:30:00Z [\"2025-01-06T08:00:00+00:00\"]",
            "`logged`: not a UTC time of the form 2026-03-01T14:30:00Z [\"2025-13-06T08:00:00Z\"]",
            "`who` is empty, begins or ends with a blank, or holds a control character [\" A\"]",
            "`machine` should be a text, not a number [7]",
            "key `component` is stated twice [\"component\"]",
            "`reason` is `fialed`: it should be one of failed, worn, planned, opportunity, \
             damaged, changed-type [\"fialed\"]",
            "unknown key `mod` in a `removed` entry [\"mod\"]",
            "a `removed` entry lacks `position` [}]",
        ]
    );
}

#[test]
fn failed_and_worn_need_to_say_how_they_were_found() {
    let zero = "0".repeat(64);
    let line = |reason: &str| {
        format!(
            r#"{{"prev":"{zero}","entry":"removed","time":"2025-01-06T08:00:00Z","logged":"2025-01-06T08:00:00Z","who":"A","machine":"H","component":"p","position":"q","reason":"{reason}"}}"#
        )
    };
    for reason in Reason::WORDS {
        let read = parse_line(line(reason).as_bytes());
        let needs = matches!(*reason, "failed" | "worn");
        assert_eq!(read.is_err(), needs, "{reason}");
        if let Err(faults) = read {
            assert!(matches!(
                faults[0].kind,
                LineFaultKind::MissingKey { key: "found", .. }
            ));
        }
    }
}
