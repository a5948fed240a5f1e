//! Programs killed at any moment of their work: what they told is there, what they wrote
//! is whole, what they should do at once is done or not done.
//!
//! `WEARBOOK_KILLS=1000` for a thousand of them.

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use wearbook::book::{Appender, Entry, Event, Ledger, Sha, read_chain};

use crate::bench::{Bench, entry, installed, now, reading};

/// How many of each kind.
fn kills() -> u64 {
    let all = std::env::var("WEARBOOK_KILLS").ok();
    all.and_then(|n| n.parse::<u64>().ok()).unwrap_or(120) / 4
}

/// Runs a command again and again, each time killed at another moment up to the end of
/// its work. `round` sets the stage and gives the command; `look` judges what is left,
/// told whether the command came to its end, and what it told.
fn kill_at_random<S>(
    seed: u64,
    mut round: impl FnMut(u64) -> (Command, S),
    mut look: impl FnMut(u64, bool, &str, S),
) {
    let mut chance = ChaCha12Rng::seed_from_u64(seed);
    let (mut whole, _) = round(u64::MAX);
    let started = Instant::now();
    assert!(whole.output().expect("wearbook").status.success());
    let mut takes = started.elapsed();
    let mut killed = 0;
    for n in 0..kills() {
        let (mut command, stage) = round(n);
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .stdin(Stdio::null())
            .spawn()
            .expect("wearbook");
        let moment = takes.mul_f64(chance.random_range(0.0..1.2));
        let began = Instant::now();
        // A sleep of less than a scheduler's tick is longer than asked for.
        while began.elapsed() < moment {
            std::thread::sleep(Duration::from_micros(200));
        }
        child.kill().expect("kill");
        let output = child.wait_with_output().expect("output");
        let done = output.status.success();
        killed += u64::from(!done);
        // A busy machine takes longer at one time than at another: about half are to end
        // their work.
        takes = takes.mul_f64(if done { 0.85 } else { 1.1 });
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        look(n, done, &told, stage);
    }
    assert!(
        killed * 5 > kills(),
        "only {killed} of {} were killed at work",
        kills()
    );
}

/// The entries of a book, whose chain holds and whose lines are whole.
fn whole(bench: &Bench, round: u64) -> Vec<Entry> {
    let chain = read_chain(&bench.bytes());
    assert_eq!(chain.fault, None, "round {round}");
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert!(ledger.broken().is_empty(), "round {round}");
    ledger.lines().map(|placed| placed.entry.clone()).collect()
}

/// A ledger with this many readings and an item in place.
fn begun(readings: i64) -> Bench {
    let bench = Bench::new();
    let mut appender = Appender::open(bench.folder(), "main").expect("open");
    let mut entries = vec![installed(0, "P1")];
    entries.extend((1..=readings).map(|n| reading(n, n as i32)));
    appender.append_all(&entries, now()).expect("append");
    bench
}

#[test]
fn an_import_killed_is_an_import_done_or_not_begun() {
    const ROWS: usize = 400;
    let bench = begun(50);
    let map = "[file]\n[times]\ndates = \"YYYY-MM-DD hh:mm\"\n[common]\ntime = { column = \"when\" }\n\
               [[entry]]\nentry = \"expense\"\nmachine = \"H-01\"\ncost = { column = \"cost\" }\n\
               what = { column = \"what\" }\n";
    std::fs::write(bench.folder().join("map.toml"), map).expect("map");
    let mut before = 51 + 1;
    kill_at_random(
        41,
        |round| {
            let mut rows = String::from("when,cost,what\n");
            for n in 0..ROWS {
                rows.push_str(&format!("2025-03-01 08:00,{n}.5,grease {round}\n"));
            }
            std::fs::write(bench.folder().join("rows.csv"), rows).expect("rows");
            let args = ["import", "rows.csv", "--map", "map.toml", "--write"];
            let who = ["--who", "A. Example", "--book", "main"];
            (bench.command(&[&args[..], &who[..]].concat()), ())
        },
        |round, done, told, ()| {
            if round == 0 {
                before += ROWS; // the trial run, which was not killed
            }
            let now = whole(&bench, round).len();
            let all = now == before + ROWS;
            assert!(all || now == before, "round {round}: {now} after {before}");
            assert!(
                all || !(done || told.contains("written to")),
                "round {round}: {told}"
            );
            before = now;
        },
    );
}

#[test]
fn an_amendment_killed_is_done_whole_or_not_at_all() {
    let bench = begun(2000);
    let readings: Vec<String> = {
        let ledger = Ledger::read(bench.folder()).expect("read");
        let names = ledger.lines().filter(|placed| placed.line > 2);
        names.map(|placed| placed.sha.short()).collect()
    };
    kill_at_random(
        42,
        |round| {
            let n = if round == u64::MAX {
                0
            } else {
                round as usize + 1
            };
            let name = readings[n].clone();
            let args = [
                "amend",
                &name,
                "note=read again",
                "--why",
                "no note",
                "--who",
                "B",
            ];
            (
                bench.command(&[&args[..], &["--book", "main"]].concat()),
                name,
            )
        },
        |round, done, _, name| {
            let entries = whole(&bench, round);
            let withdrawn = entries.iter().filter(|entry| {
                matches!(&entry.event, Event::Withdrawn { entry_sha, .. } if entry_sha.starts_with(&name))
            });
            let withdrawn = withdrawn.count();
            let gone = entries
                .iter()
                .filter(|entry| matches!(entry.event, Event::Withdrawn { .. }))
                .count();
            let anew = entries.iter().filter(|entry| entry.note.is_some()).count();
            assert_eq!(gone, anew, "round {round}: half an amendment");
            assert!(withdrawn == 1 || !done, "round {round}: told, and not done");
        },
    );
}

#[test]
fn a_merge_killed_leaves_every_book_as_it_was_or_as_it_shall_be() {
    let (from, into) = (begun(300), Bench::new());
    let mut appender = Appender::open(from.folder(), "second").expect("open");
    let mut grow = |n: i64| {
        let cost = rust_decimal::Decimal::from(n);
        let event = Event::Expense {
            cost,
            what: "oil".to_owned(),
        };
        appender
            .append(&entry(400 + n, event), now())
            .expect("append");
        let mut main = Appender::open(from.folder(), "main").expect("open");
        let entries: Vec<Entry> = (0..40)
            .map(|k| reading(400 + 40 * (n + 1) + k, (400 + 40 * (n + 1) + k) as i32))
            .collect();
        main.append_all(&entries, now()).expect("append");
    };
    let read = |bench: &Bench, name: &str| {
        std::fs::read(bench.folder().join("books").join(name)).unwrap_or_default()
    };
    kill_at_random(
        43,
        |round| {
            grow(if round == u64::MAX {
                0
            } else {
                round as i64 + 1
            });
            let from = from.folder().to_str().expect("path");
            let before = ["main.jsonl", "second.jsonl"].map(|name| read(&into, name));
            (into.command(&["merge", from, "--into", "."]), before)
        },
        |round, done, _, before| {
            for (name, before) in ["main.jsonl", "second.jsonl"].iter().zip(before) {
                let (now, aim) = (read(&into, name), read(&from, name));
                assert!(
                    now == before || now == aim,
                    "round {round}: {name} is half merged"
                );
                assert!(
                    now == aim || !done,
                    "round {round}: {name} told, and not merged"
                );
            }
        },
    );
    let strange = std::fs::read_dir(into.folder().join("books")).expect("books");
    let names: Vec<String> = strange
        .map(|item| {
            item.expect("item")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .filter(|name| name.ends_with(".jsonl"))
        .collect();
    assert_eq!(names.len(), 2, "{names:?}");
}

#[test]
fn a_recording_killed_is_there_if_it_was_told() {
    let bench = begun(10);
    kill_at_random(
        44,
        |round| {
            let cost = if round == u64::MAX { 1 } else { round + 2 };
            let args = [
                "record",
                "expense",
                "--cost",
                &cost.to_string(),
                "--what",
                "oil",
            ]
            .map(str::to_owned);
            let mut command = bench.command(&[]);
            command.args(args).args(["--who", "A", "--book", "main"]);
            (command, ())
        },
        |round, done, told, ()| {
            whole(&bench, round);
            let chain = read_chain(&bench.bytes());
            let names: Vec<String> = chain.lines.iter().map(|line| line.sha.short()).collect();
            if done {
                let name = told.get(..12).expect("the name of the line");
                assert!(
                    names.iter().any(|known| known == name),
                    "round {round}: {told}"
                );
            }
            assert_ne!(chain.head(), Sha::ZERO);
        },
    );
}
