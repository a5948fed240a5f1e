//! How long a ledger takes to load and verify, and to check line by line, against
//! DuckDB's bare read of the same file into a table by the same statement.
//!
//! 100,000 entries; with `WEARBOOK_BENCH_LARGE=1` 1,000,000 too. All sides take turns,
//! each opening its own DuckDB if it needs one, so that a busy machine slows them alike;
//! the ratios of their medians are printed at the end. Each round asserts its answer.

use std::fmt::Write as _;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use duckdb::Connection;
use tempfile::TempDir;
use wearbook::book::{Depth, Sha, look_over};
use wearbook::store::{Options, Store, read_statement};

const REGISTER: &str = r#"
[plant]
name = "Quillmoor Oat Works"
currency = "EUR"
time_zone = "Europe/London"
labour_rate = 50.0

[[usage]]
id = "hours"
name = "Running hours"
unit = "h"

[[component]]
id = "packing-set"
name = "Plunger packing set"
usage = "hours"
modes = ["leaking"]
price = 80.0
pieces = 3

[[layout]]
id = "triplex"
slots = [{ component = "packing-set", positions = ["P1", "P2", "P3"] }]

[[machine]]
tag = "H-01"
name = "Homogeniser 1"
layout = "triplex"
in_service = 2000-01-01
downtime_cost = 400.0
"#;

/// A ledger of one book with a true chain: seven readings in ten entries, two renewals
/// and an inspection.
fn ledger(folder: &Path, entries: usize) -> PathBuf {
    fs::create_dir_all(folder.join("books")).expect("folder");
    fs::write(folder.join("plant.toml"), REGISTER).expect("register");
    let start = chrono::DateTime::from_timestamp(946_684_800, 0).expect("2000-01-01");
    let mut text = String::with_capacity(entries * 240);
    let mut prev = Sha::ZERO;
    for n in 0..entries {
        let time = start + chrono::TimeDelta::minutes(10 * n as i64);
        let time = time.format("%Y-%m-%dT%H:%M:%SZ");
        let from = text.len();
        let _ = write!(text, "{{\"prev\":\"{prev}\",");
        let common = format!("\"time\":\"{time}\",\"logged\":\"{time}\",\"who\":\"operator 1\"");
        let slot = format!(
            "\"machine\":\"H-01\",\"component\":\"packing-set\",\"position\":\"P{}\"",
            1 + n / 10 % 3
        );
        let _ = match n % 10 {
            _ if n == 0 => write!(
                text,
                "\"entry\":\"opened\",{common},\"book\":\"big\",\"format\":1}}"
            ),
            2 | 6 => write!(
                text,
                "\"entry\":\"replaced\",{common},{slot},\"part\":\"PK-3040\",\"pieces\":3,\
                 \"batch\":\"B{}\",\"reason\":\"planned\"}}",
                n / 1000
            ),
            4 => write!(
                text,
                "\"entry\":\"inspected\",{common},{slot},\"finding\":\"sound\"}}"
            ),
            _ => write!(
                text,
                "\"entry\":\"reading\",{common},\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":{:.1}}}",
                n as f64 / 6.0
            ),
        };
        prev = Sha::of(&text.as_bytes()[from..]);
        text.push('\n');
    }
    let book = folder.join("books/big.jsonl");
    fs::write(&book, text).expect("book");
    book
}

fn bare(book: &Path, entries: usize) -> Duration {
    let started = Instant::now();
    let conn = Connection::open_in_memory().expect("DuckDB");
    let file = book.display().to_string();
    conn.execute_batch(&format!(
        "CREATE TABLE t AS SELECT * {}",
        read_statement(&file)
    ))
    .expect("read");
    let took = started.elapsed();
    let rows: i64 = conn
        .query_row("SELECT count(*) FROM t", [], |row| row.get(0))
        .expect("count");
    assert_eq!(rows, entries as i64);
    took
}

fn loaded(folder: &Path, entries: usize) -> Duration {
    let folders = [folder.to_path_buf()];
    let started = Instant::now();
    let store = Store::open(&folders, None, &Options::default()).expect("loaded");
    let took = started.elapsed();
    assert_eq!(store.heads()[0].lines, entries as u64);
    took
}

/// Chains, register, every line read strictly, and what recording would doubt.
fn checked(folder: &Path, entries: usize, depth: Depth) -> Duration {
    let started = Instant::now();
    let survey = depth.survey(folder).expect("read");
    assert_eq!(survey.books[0].lines, entries);
    let now = chrono::DateTime::from_timestamp(4_102_444_800, 0).expect("2100-01-01");
    let found = look_over(survey, now, depth);
    let took = started.elapsed();
    assert!(found.len() < 10, "{found:?}");
    took
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn load(c: &mut Criterion) {
    let mut sizes = vec![100_000];
    if std::env::var_os("WEARBOOK_BENCH_LARGE").is_some() {
        sizes.push(1_000_000);
    }
    for entries in sizes {
        let folder = TempDir::new().expect("temp");
        let book = ledger(folder.path(), entries);
        let rounds = 7;
        let mut times = [const { Vec::new() }; 4];
        for _ in 0..rounds {
            times[0].push(bare(&book, entries));
            times[1].push(loaded(folder.path(), entries));
            times[2].push(checked(folder.path(), entries, Depth::Plain));
            times[3].push(checked(folder.path(), entries, Depth::Deep));
        }
        let mut group = c.benchmark_group(format!("{entries} entries"));
        group.sample_size(10);
        group.warm_up_time(Duration::from_millis(500));
        group.measurement_time(Duration::from_secs(5));
        group.bench_function("DuckDB's bare read", |b| {
            b.iter_custom(|n| (0..n).map(|_| bare(black_box(&book), entries)).sum());
        });
        group.bench_function("load and verify", |b| {
            b.iter_custom(|n| {
                (0..n)
                    .map(|_| loaded(black_box(folder.path()), entries))
                    .sum()
            });
        });
        group.finish();
        let [bare, others @ ..] = times.map(|times| median(times).as_secs_f64());
        println!("{entries} entries, medians of {rounds}: bare read {bare:.3} s");
        for (what, took) in ["load and verify", "check", "check --deep"]
            .iter()
            .zip(others)
        {
            println!("  {what} {took:.3} s, ratio {:.2}", took / bare);
        }
    }
}

criterion_group!(benches, load);
criterion_main!(benches);
