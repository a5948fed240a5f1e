//! Recording on a disk that fails: at every operation in turn, in every way. What was told as
//! recorded is there, nothing else counts, the chain is whole, and a retry works.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{BufRead, BufReader, ErrorKind};
use std::path::Path;
use std::process::Stdio;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use rayon::prelude::*;
use wearbook::book::{
    Appender, BookError, Depth, Entry, LOCK_FILE, Ledger, Patience, Recorded, Survey, look_over,
    read_chain,
};

use crate::bench::{Bench, installed, now, reading, removed, replaced};
use crate::faulty::{Faulty, How};

const HOWS: [How; 9] = [
    How::Once(ErrorKind::StorageFull),
    How::Once(ErrorKind::Other),
    How::Once(ErrorKind::Interrupted),
    How::FromThen(ErrorKind::StorageFull),
    How::FromThen(ErrorKind::ReadOnlyFilesystem),
    How::FromThen(ErrorKind::PermissionDenied),
    How::Half,
    How::HalfFromThen,
    How::ShortWrites,
];

/// What is recorded, upon what.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Scene {
    /// One entry in a book that is there: written in place.
    One,
    /// One entry in a book that is not: its first line comes along.
    New,
    /// Several at once.
    Batch,
    /// One entry after a line that was cut short.
    Torn,
    /// Several after a line that was cut short.
    TornBatch,
    /// Several of which one is known already.
    Import,
    /// A new book, and nothing in it.
    Open,
}

const SCENES: [Scene; 7] = [
    Scene::One,
    Scene::New,
    Scene::Batch,
    Scene::Torn,
    Scene::TornBatch,
    Scene::Import,
    Scene::Open,
];

impl Scene {
    fn prepare(self) -> Bench {
        let bench = Bench::new();
        if !matches!(self, Scene::New | Scene::Open) {
            let mut appender = Appender::open(bench.folder(), "main").expect("open");
            let first = [installed(0, "P1"), reading(1, 100)];
            appender.append_all(&first, now()).expect("append");
        }
        if matches!(self, Scene::Torn | Scene::TornBatch) {
            let mut bytes = bench.bytes();
            bytes.extend_from_slice(b"{\"prev\":\"torn by a crash");
            fs::write(bench.book(), bytes).expect("tear");
        }
        bench
    }

    fn entries(self) -> Vec<Entry> {
        match self {
            Scene::One | Scene::Torn | Scene::New => vec![installed(2, "P2")],
            Scene::Batch | Scene::TornBatch => {
                vec![installed(2, "P2"), reading(3, 200), replaced(4, "P2")]
            }
            Scene::Import => vec![reading(1, 100), installed(2, "P2"), removed(3, "P2")],
            Scene::Open => Vec::new(),
        }
    }

    fn open(self, bench: &Bench) -> Appender {
        let opened = match self {
            Scene::Import => Appender::open_for_import(bench.folder(), "main"),
            _ => Appender::open(bench.folder(), "main"),
        };
        opened.expect("open")
    }

    fn record(self, appender: &mut Appender) -> Result<Vec<Recorded>, BookError> {
        match self {
            Scene::Import => appender
                .append_new(&self.entries(), now())
                .map(|all| all.into_iter().flatten().collect()),
            Scene::Open => appender.open_book("A. Example", now()).map(|r| vec![r]),
            _ => appender.append_all(&self.entries(), now()),
        }
    }
}

/// The whole lines of the book: what counts.
fn counted(bench: &Bench) -> Vec<u8> {
    let bytes = bench.bytes();
    let chain = read_chain(&bytes);
    assert_eq!(chain.fault, None);
    bytes[..chain.torn.start].to_vec()
}

/// Names beside the book that no later recording would clear away, in order.
fn strange_names(folder: &Path) -> Vec<String> {
    let Ok(items) = fs::read_dir(folder.join("books")) else {
        return Vec::new();
    };
    let names = items.map(|item| item.expect("item").file_name());
    let names = names.map(|name| name.into_string().expect("name"));
    let mut strange: Vec<String> = names
        .filter(|name| name != "main.jsonl" && name != "main.jsonl.new")
        .filter(|name| !name.starts_with("main.jsonl.torn-"))
        .collect();
    strange.sort();
    strange
}

/// Fails the `k`th operation; tells whether there was one to fail.
fn fail(scene: Scene, how: How, k: usize) -> bool {
    let place = format!("{scene:?}, {how:?}, operation {k}");
    let bench = scene.prepare();
    let before = counted(&bench);
    let torn = bench.bytes()[before.len()..].to_vec();
    let disk = Faulty::new(how, k);
    let mut appender = scene.open(&bench).on_disk(disk.clone());
    let outcome = scene.record(&mut appender);
    let log = disk.script(|script| script.done.clone());
    let place = format!("{place}: {:?}", log.last());
    assert!(strange_names(bench.folder()).is_empty(), "{place}");
    // What was cut off the book, or is to be, is kept whole.
    let kept = fs::read_dir(bench.folder().join("books"))
        .into_iter()
        .flatten()
        .map(|item| fs::read(item.expect("item").path()).expect("file"))
        .any(|bytes| bytes.ends_with(&torn));
    assert!(kept || torn.is_empty(), "{place}: the torn line is lost");
    let after = counted(&bench);
    assert!(after.starts_with(&before), "{place}: something was lost");
    let added = after[before.len()..]
        .split_inclusive(|b| *b == b'\n')
        .count();
    let whole = match scene {
        Scene::New => 2,
        Scene::One | Scene::Torn | Scene::Open => 1,
        Scene::Import => 2,
        Scene::Batch | Scene::TornBatch => 3,
    };
    match &outcome {
        Ok(recorded) => {
            assert_eq!(added, whole, "{place}");
            let names: Vec<_> = read_chain(&after).lines.iter().map(|l| l.sha).collect();
            for one in recorded {
                assert_eq!(names[one.line - 1], one.sha, "{place}");
            }
        }
        // All or none; which of the two is not known, and is told so.
        Err(BookError::Unsure { .. }) => {
            assert!(added == 0 || added == whole, "{place}: {added} of {whole}");
        }
        Err(error) => {
            assert!(error.is_io(), "{place}: {error}");
            assert_eq!(added, 0, "{place}: {error}, and yet recorded");
            assert!(!error.troubles()[0].what.is_empty());
        }
    }
    // The same appender goes on once the disk works.
    disk.mend();
    match (scene.record(&mut appender), &outcome) {
        (Ok(recorded), _) => assert!(!recorded.is_empty() || added == whole, "{place}"),
        // It is there already, and cannot stand twice.
        (Err(BookError::Refused { .. }), Ok(_) | Err(BookError::Unsure { .. })) => {
            assert_eq!(added, whole, "{place}");
        }
        (Err(error), _) => panic!("{place}: no retry: {error}: {:?}", error.troubles()),
    }
    // So does another, and what there is hangs together.
    let mut other = Appender::open(bench.folder(), "main").expect("open");
    other.append(&reading(50, 900), now()).expect("append");
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert!(
        ledger.broken().is_empty() && ledger.torn().is_empty(),
        "{place}"
    );
    let survey = Survey::read(bench.folder()).expect("survey");
    let found = look_over(survey, now(), Depth::Plain);
    let rules = ["slot-filled", "slot-empty", "opened-again", "not-opened"];
    assert!(
        !found.iter().any(|t| rules.contains(&t.kind)),
        "{place}: {found:?}"
    );
    if how == How::ShortWrites {
        assert!(outcome.is_ok(), "{place}: a short write is no failure");
        return false;
    }
    let tripped = disk.script(|script| script.tripped) || k <= log.len();
    assert!(tripped || outcome.is_ok(), "{place}: failed for no reason");
    tripped
}

#[test]
fn every_operation_may_fail_in_every_way() {
    let tried = AtomicUsize::new(0);
    let cases: Vec<(Scene, How)> = SCENES
        .iter()
        .flat_map(|scene| HOWS.map(|how| (*scene, how)))
        .collect();
    cases.into_par_iter().for_each(|(scene, how)| {
        let mut k = 1;
        while fail(scene, how, k) {
            k += 1;
            assert!(k < 200, "{scene:?}, {how:?} has no end");
        }
        tried.fetch_add(k, Ordering::Relaxed);
    });
    let tried = tried.into_inner();
    assert!(tried > 300, "only {tried} failures were tried");
}

/// The power is cut at every operation of a sequence of recordings, and what was not synced is
/// lost in one of many ways: what was told as recorded is there all the same.
#[test]
fn what_was_told_survives_a_power_cut_at_any_moment() {
    let steps = || -> Vec<Vec<Entry>> {
        vec![
            vec![installed(0, "P1")],
            vec![reading(1, 100)],
            vec![reading(2, 200), replaced(3, "P1"), installed(3, "P2")],
            vec![reading(4, 300)],
            vec![reading(5, 400), removed(6, "P2")],
        ]
    };
    let cut = |k: usize, seed: u64| -> bool {
        let bench = Bench::new();
        let disk = Faulty::new(How::PowerCut { seed }, k);
        let mut appender = Appender::open(bench.folder(), "main")
            .expect("open")
            .on_disk(disk.clone());
        let mut told = BTreeSet::new();
        for step in steps() {
            match appender.append_all(&step, now()) {
                Ok(recorded) => told.extend(recorded.into_iter().map(|r| r.sha.to_string())),
                Err(_) => break,
            }
        }
        drop(appender);
        let place = disk.script(|script| {
            let at = script.done.get(k.saturating_sub(1)).cloned();
            format!("operation {k} ({at:?}), seed {seed}")
        });
        let ledger = Ledger::read(bench.folder()).expect("read");
        assert!(ledger.broken().is_empty(), "{place}: {:?}", ledger.broken());
        let there: BTreeSet<String> = ledger.lines().map(|p| p.sha.to_string()).collect();
        let lost = told.difference(&there).count();
        assert_eq!(lost, 0, "{place}: told and lost");
        // Batches are whole: what stands is some number of steps, or one more than was told.
        let entries = ledger.entries().len();
        let sums: Vec<usize> = steps()
            .iter()
            .scan(0, |sum, step| {
                *sum += step.len();
                Some(*sum)
            })
            .collect();
        assert!(
            entries == 0 || sums.contains(&entries),
            "{place}: {entries} stand"
        );
        // And on it goes.
        let mut appender = Appender::open(bench.folder(), "main").expect("open");
        appender.append(&reading(50, 900), now()).expect(&place);
        assert_eq!(read_chain(&bench.bytes()).fault, None, "{place}");
        disk.script(|script| script.tripped)
    };
    let operations = {
        let mut k = 1;
        while cut(k, 0) {
            k += 1;
        }
        k
    };
    assert!(operations > 25, "only {operations} operations");
    (1..operations).into_par_iter().for_each(|k| {
        for seed in 1..30 {
            assert!(cut(k, seed));
        }
    });
}

/// A lock another holds: waited for, told of, given up, and taken when it is free.
#[test]
fn a_held_lock_is_told_of_and_given_up_by_the_program() {
    let bench = Bench::new();
    let command = |wait: &str| {
        bench.command(&[
            "record",
            "--who",
            "A",
            "--wait",
            wait,
            "reading",
            "--machine",
            "H-01",
            "--meter",
            "hours",
            "--value",
            "1",
            "--time",
            "2025-03-01T10:00:00Z",
        ])
    };
    let record = |wait: &str| {
        let start = Instant::now();
        let output = command(wait).output().expect("run");
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code(), text, start.elapsed())
    };
    let held = File::create(bench.folder().join(LOCK_FILE)).expect("lock file");
    held.lock().expect("lock");
    let (code, text, taken) = record("0");
    assert_eq!(code, Some(4), "{text}");
    assert!(text.contains("another program is recording"), "{text}");
    assert!(taken < Duration::from_secs(5));
    let (code, text, taken) = record("1");
    assert_eq!(code, Some(4), "{text}");
    assert!(text.contains("--wait"), "{text}");
    assert!(taken >= Duration::from_secs(1), "{taken:?}");
    assert!(bench.bytes().is_empty(), "written without the lock");
    // A long wait is told of while it lasts; once the lock is free, the entry is recorded.
    let mut child = command("120")
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("run");
    let mut said = BufReader::new(child.stderr.take().expect("stderr")).lines();
    let first = said.next().expect("a word").expect("text");
    assert!(first.starts_with("waiting for another program"), "{first}");
    assert!(bench.bytes().is_empty(), "written without the lock");
    held.unlock().expect("unlock");
    let rest: Vec<String> = said.map_while(Result::ok).collect();
    assert!(child.wait().expect("wait").success(), "{rest:?}");
    assert_eq!(read_chain(&bench.bytes()).lines.len(), 2);
    let error = Appender::open(bench.folder(), "main")
        .expect("open")
        .with_patience(Patience::silent(Duration::ZERO))
        .append(&reading(1, 1), now());
    assert!(error.is_ok(), "{error:?}");
}
