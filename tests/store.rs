//! The store: every query over its cases, loading, and what it refuses.
//!
//! Cases lie in `tests/queries/` (its README tells the layout).

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde_json::{Map, Value};
use tempfile::TempDir;
use wearbook::book::Sha;
use wearbook::life::{Flag, Outcome, RenewalKind};
use wearbook::store::{Cell, ExportKind, Options, QUERIES, Store, StoreError, StoreFault};

// ---------------------------------------------------------------- building ledgers

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/queries")
        .join(path)
}

/// Names of lines by the short forms the expected tables use.
type Names = BTreeMap<String, String>;

/// Chains entries into the text of a book; `names` takes `BOOK#LINE` for every SHA.
fn chain(book: &str, entries: &[Map<String, Value>], names: &mut Names) -> String {
    let first = entries.first().and_then(|entry| entry.get("time")).cloned();
    let time = first.unwrap_or_else(|| "2025-01-01T00:00:00Z".into());
    let mut opened = Map::new();
    opened.insert("entry".into(), "opened".into());
    opened.insert("time".into(), time);
    opened.insert("book".into(), book.into());
    opened.insert("format".into(), 1.into());
    let mut text = String::new();
    let mut shas = vec![Sha::ZERO.to_string()];
    for entry in std::iter::once(&opened).chain(entries) {
        let prev = shas.last().cloned().expect("one at least");
        let mut line = format!("{{\"prev\":\"{prev}\"");
        let mut entry = entry.clone();
        let time = entry["time"].clone();
        entry.entry("logged").or_insert(time);
        entry.entry("who").or_insert("crew".into());
        if let Some(Value::String(digits)) = entry.get("entry_sha").cloned()
            && let Some(at) = digits.strip_prefix('@')
        {
            let (line, length) = match at.split_once(':') {
                Some((line, length)) => (line, length.parse().expect("length")),
                None => (at, 64),
            };
            let sha = &shas[line.parse::<usize>().expect("line")];
            entry.insert("entry_sha".into(), sha[..length].into());
        }
        for (key, value) in &entry {
            line.push_str(&format!(",\"{key}\":{value}"));
        }
        line.push('}');
        let sha = Sha::of(line.as_bytes()).to_string();
        names.insert(sha.clone(), format!("{book}#{}", shas.len()));
        shas.push(sha);
        text.push_str(&line);
        text.push('\n');
    }
    text
}

fn entries(text: &str) -> Vec<Map<String, Value>> {
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
        .collect()
}

fn jsonl_files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("case folder")
        .map(|item| item.expect("item").path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "jsonl"))
        .collect();
    files.sort();
    files
}

/// A ledger (or a fleet of them) on disk.
struct Plant {
    _folder: TempDir,
    ledgers: Vec<PathBuf>,
    names: Names,
    as_of: Option<NaiveDate>,
}

impl Plant {
    fn of_case(case: &str) -> Plant {
        let from = here("ledgers").join(case);
        let folder = TempDir::new().expect("temp");
        let mut inner: Vec<PathBuf> = fs::read_dir(&from)
            .expect("case")
            .map(|item| item.expect("item").path())
            .filter(|path| path.is_dir())
            .collect();
        inner.sort();
        if inner.is_empty() {
            inner.push(from.clone());
        }
        let books = inner.iter().flat_map(|one| jsonl_files(one)).count();
        let mut names = Names::new();
        let mut ledgers = Vec::new();
        for one in inner {
            let ledger = folder.path().join(one.file_name().expect("name"));
            fs::create_dir_all(ledger.join("books")).expect("folder");
            let own = one.join("plant.toml");
            let register = if own.exists() {
                own
            } else {
                here("plant.toml")
            };
            fs::copy(register, ledger.join("plant.toml")).expect("register");
            for file in jsonl_files(&one) {
                let book = file
                    .file_stem()
                    .expect("stem")
                    .to_string_lossy()
                    .into_owned();
                let text = fs::read_to_string(&file).expect("book");
                let text = chain(&book, &entries(&text), &mut names);
                fs::write(ledger.join(format!("books/{book}.jsonl")), text).expect("write");
            }
            ledgers.push(ledger);
        }
        if books == 1 {
            for name in names.values_mut() {
                *name = format!("#{}", name.split('#').next_back().expect("line"));
            }
        }
        let as_of = fs::read_to_string(from.join("as_of")).ok();
        Plant {
            _folder: folder,
            ledgers,
            names,
            as_of: as_of.map(|day| day.trim().parse().expect("date")),
        }
    }

    /// One ledger with one book of these entries.
    fn with(text: &str) -> Plant {
        let folder = TempDir::new().expect("temp");
        let ledger = folder.path().join("plant");
        fs::create_dir_all(ledger.join("books")).expect("folder");
        fs::copy(here("plant.toml"), ledger.join("plant.toml")).expect("register");
        let mut names = Names::new();
        let text = chain("line-1", &entries(text), &mut names);
        fs::write(ledger.join("books/line-1.jsonl"), text).expect("write");
        Plant {
            _folder: folder,
            ledgers: vec![ledger],
            names,
            as_of: None,
        }
    }

    fn book(&self) -> PathBuf {
        self.ledgers[0].join("books/line-1.jsonl")
    }

    fn open(&self) -> Result<Store, StoreError> {
        Store::open(&self.ledgers, self.as_of, &Options::default())
    }

    fn store(&self) -> Store {
        self.open().unwrap_or_else(|error| {
            panic!("{error}: {:#?}", error.troubles());
        })
    }
}

fn shown(cell: &Cell, names: &Names) -> String {
    match cell {
        Cell::Text(text) => names.get(text).cloned().unwrap_or_else(|| text.clone()),
        other => other.to_string(),
    }
}

fn same(expected: &str, found: &str) -> bool {
    if expected == found {
        return true;
    }
    match (expected.parse::<f64>(), found.parse::<f64>()) {
        (Ok(a), Ok(b)) => (a - b).abs() <= 1e-9 * a.abs().max(1e-3),
        _ => false,
    }
}

// ---------------------------------------------------------------- the queries

/// Every file in `queries/` is compiled in, has its header and at least one case, and
/// the header's columns and order are the true ones.
#[test]
fn every_query_has_header_and_cases() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let files: BTreeSet<String> = fs::read_dir(root.join("queries"))
        .expect("queries")
        .map(|item| item.expect("item").path())
        .map(|path| {
            path.file_stem()
                .expect("stem")
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    let known: BTreeSet<String> = QUERIES.iter().map(|query| query.name.to_owned()).collect();
    assert_eq!(files, known, "files in queries/ and queries compiled in");
    let store = Plant::of_case("one-life").store();
    for query in QUERIES {
        let header = query
            .header()
            .unwrap_or_else(|| panic!("{}: no header", query.name));
        let cases = fs::read_dir(here(query.name)).map_or(0, Iterator::count);
        assert!(cases > 0, "{}: no case", query.name);
        let answer = store.table(query.name).expect(query.name);
        for column in &answer.columns {
            assert!(
                header
                    .columns
                    .split(|c: char| !(c.is_alphanumeric() || c == '_'))
                    .any(|word| word == column),
                "{}: the header does not tell of column {column}",
                query.name
            );
        }
        for column in &header.order {
            assert!(answer.columns.contains(column), "{}: {column}", query.name);
        }
        assert!(!query.sql.contains("now()"), "{}: a clock", query.name);
        assert!(!query.sql.contains("current_"), "{}: a clock", query.name);
    }
}

/// Every case of every query gives its expected table, in its order, by a unique key.
#[test]
fn every_case_gives_its_expected_table() {
    let mut wrong = Vec::new();
    let mut run = 0;
    for query in QUERIES {
        let mut cases: Vec<PathBuf> = fs::read_dir(here(query.name))
            .expect("cases")
            .map(|item| item.expect("item").path())
            .collect();
        cases.sort();
        for path in cases {
            let case = path
                .file_stem()
                .expect("stem")
                .to_string_lossy()
                .into_owned();
            let plant = Plant::of_case(&case);
            let answer = plant.store().table(query.name).expect(query.name);
            let order = query.header().expect("header").order;
            let key: Vec<usize> = order.iter().map(|name| at(&answer.columns, name)).collect();
            let keys: BTreeSet<String> = answer
                .rows
                .iter()
                .map(|row| key.iter().map(|i| format!("{}\u{1}", row[*i])).collect())
                .collect();
            assert_eq!(keys.len(), answer.rows.len(), "{} {case}: key", query.name);
            let text: String = fs::read_to_string(&path)
                .expect("expected")
                .lines()
                .filter(|line| !line.starts_with("# "))
                .map(|line| format!("{line}\n"))
                .collect();
            let mut reader = csv::Reader::from_reader(text.as_bytes());
            let columns: Vec<usize> = reader
                .headers()
                .expect("head")
                .iter()
                .map(|name| at(&answer.columns, name))
                .collect();
            let expected: Vec<Vec<String>> = reader
                .records()
                .map(|row| row.expect("row").iter().map(str::to_owned).collect())
                .collect();
            let mut found: Vec<Vec<String>> = answer
                .rows
                .iter()
                .map(|row| {
                    columns
                        .iter()
                        .map(|i| shown(&row[*i], &plant.names))
                        .collect()
                })
                .collect();
            if order.contains(&"sha".to_owned()) && order.len() == 2 {
                // Ordered by SHA, which says nothing to a reader: by line here.
                found.sort();
            }
            let alike = expected.len() == found.len()
                && expected
                    .iter()
                    .zip(&found)
                    .all(|(a, b)| a.iter().zip(b).all(|(a, b)| same(a, b)));
            if !alike {
                let lines = |rows: &[Vec<String>]| {
                    rows.iter()
                        .map(|row| row.join(","))
                        .collect::<Vec<_>>()
                        .join("\n")
                };
                wrong.push(format!(
                    "{} {case}\nexpected:\n{}\nfound:\n{}",
                    query.name,
                    lines(&expected),
                    lines(&found)
                ));
            }
            run += 1;
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    assert!(run >= 30, "only {run} cases ran");
}

fn at(columns: &[String], name: &str) -> usize {
    columns
        .iter()
        .position(|column| column == name)
        .unwrap_or_else(|| panic!("no column {name} in {columns:?}"))
}

// ---------------------------------------------------------------- typed rows

#[test]
fn lives_come_back_as_rows() {
    let lives = Plant::of_case("inspections")
        .store()
        .lives()
        .expect("lives");
    assert_eq!(lives.len(), 10);
    let first = &lives[0];
    assert_eq!(first.component, "packing-set");
    assert_eq!(first.outcome, Outcome::Interval);
    assert_eq!((first.lo, first.hi), (Some(120.0), Some(240.0)));
    assert_eq!(first.mode.as_deref(), Some("leaking"));
    assert_eq!(first.start_time.to_rfc3339(), "2025-01-01T00:00:00+00:00");
    let lives = Plant::of_case("beyond-readings")
        .store()
        .lives()
        .expect("lives");
    assert_eq!(lives[1].flags, [Flag::Extrapolated, Flag::NoLength]);
    assert_eq!(lives[4].flags, [Flag::NoUsage]);
    assert_eq!((lives[4].entry, lives[4].lo), (Some(0.0), None));
    let lives = Plant::of_case("unknown-age")
        .store()
        .lives()
        .expect("lives");
    assert_eq!(
        (lives[0].entry, lives[0].lo, lives[0].hi),
        (None, None, None)
    );
    assert!(lives[0].life(None).is_err());
}

#[test]
fn the_other_rows_come_back_typed() {
    let store = Plant::of_case("meter-reset").store();
    let usage = store.usage_now().expect("usage");
    assert_eq!(usage.len(), 1);
    assert_eq!((usage[0].readings, usage[0].resets), (6, 1));
    assert!((usage[0].usage.expect("usage") - 5480.0).abs() < 1e-9);
    assert!((usage[0].per_week.expect("rate") - 96.0).abs() < 1e-9);
    let stays = store.slot_history().expect("stays");
    assert_eq!(stays.len(), 2);
    assert_eq!(stays[0].reason.as_deref(), Some("failed"));
    assert_eq!(stays[1].end_time, None);
    let counts = store.entry_counts().expect("counts");
    assert_eq!(counts.iter().map(|count| count.entries).sum::<u64>(), 9);
    let head = &store.heads()[0];
    assert_eq!((head.book.as_str(), head.lines), ("books/line-1.jsonl", 9));
}

/// However a job's costs are shared, the shares are the whole: parts of every renewal,
/// labour, downtime and extra cost of the job.
#[test]
fn shares_of_a_job_add_up_to_its_whole() {
    let plant = Plant::of_case("jobs");
    let store = plant.store();
    let renewals = store.renewal_costs().expect("renewals");
    assert!(renewals.iter().any(|row| row.kind == RenewalKind::Failed));
    for (job, labour, downtime, extra, parts) in [
        ("J-1", "225", "1200", "100.01", "1000"),
        ("J-2", "100", "400", "0", "720"),
        ("J-3", "75", "0", "0", "1040"),
    ] {
        let amount = |text: &str| text.parse::<Decimal>().expect("amount");
        let rows = || renewals.iter().filter(move |row| row.job == job);
        assert_eq!(
            rows().map(|r| r.labour).sum::<Decimal>(),
            amount(labour),
            "{job}"
        );
        assert_eq!(
            rows().map(|r| r.downtime).sum::<Decimal>(),
            amount(downtime),
            "{job}"
        );
        assert_eq!(
            rows().map(|r| r.extra).sum::<Decimal>(),
            amount(extra),
            "{job}"
        );
        assert_eq!(
            rows().filter_map(|r| r.parts).sum::<Decimal>(),
            amount(parts),
            "{job}"
        );
        let whole = amount(labour) + amount(downtime) + amount(extra) + amount(parts);
        assert_eq!(
            rows().filter_map(|r| r.total).sum::<Decimal>(),
            whole,
            "{job}"
        );
    }
}

/// The same, for jobs of every size and odd amounts, made from a seed.
#[test]
fn shares_add_up_whatever_the_job() {
    let mut seed = 7u64;
    let mut draw = |below: u64| {
        // Numbers that look random enough: a linear congruential generator (Knuth, MMIX).
        seed = seed
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (seed >> 33) % below
    };
    let slots = [
        "packing-set P1",
        "packing-set P2",
        "packing-set P3",
        "plunger P1",
        "plunger P2",
        "plunger P3",
    ];
    let reasons = [
        "failed",
        "worn",
        "planned",
        "opportunity",
        "damaged",
        "changed-type",
    ];
    let mut lines = String::new();
    for slot in slots {
        let (component, position) = slot.split_once(' ').expect("slot");
        lines.push_str(&format!("{{\"entry\":\"installed\",\"time\":\"2020-01-01T00:00:00Z\",\"machine\":\"H-01\",\"component\":\"{component}\",\"position\":\"{position}\"}}\n"));
    }
    let mut wholes: BTreeMap<String, Decimal> = BTreeMap::new();
    for n in 0..120 {
        let day = format!("2021-{:02}-{:02}T00:00:00Z", n % 12 + 1, n / 12 + 1);
        let job = format!("J-{n}");
        let mut whole = Decimal::ZERO;
        let count = 1 + draw(6) as usize;
        for slot in &slots[..count] {
            let (component, position) = slot.split_once(' ').expect("slot");
            let reason = reasons[draw(6) as usize];
            let found = if draw(2) == 0 {
                "running"
            } else {
                "inspection"
            };
            let pieces = 1 + draw(4) as i64;
            whole += Decimal::from(pieces * if component == "plunger" { 400 } else { 80 });
            lines.push_str(&format!("{{\"entry\":\"replaced\",\"time\":\"{day}\",\"machine\":\"H-01\",\"component\":\"{component}\",\"position\":\"{position}\",\"pieces\":{pieces},\"reason\":\"{reason}\",\"found\":\"{found}\",\"job\":\"{job}\"}}\n"));
        }
        let labour = Decimal::new(draw(2000) as i64, 2);
        let downtime = Decimal::new(draw(3000) as i64, 2);
        let extra = Decimal::new(draw(100_000) as i64, 2);
        whole += labour * Decimal::from(50) + downtime * Decimal::from(400) + extra;
        let kind = if draw(2) == 0 {
            "corrective"
        } else {
            "preventive"
        };
        lines.push_str(&format!("{{\"entry\":\"job\",\"time\":\"{day}\",\"machine\":\"H-01\",\"start\":\"{day}\",\"stop\":\"{day}\",\"kind\":\"{kind}\",\"labour_h\":{labour},\"downtime_h\":{downtime},\"cost\":{extra},\"job\":\"{job}\"}}\n"));
        wholes.insert(job, whole);
    }
    let renewals = Plant::with(&lines)
        .store()
        .renewal_costs()
        .expect("renewals");
    for (job, whole) in wholes {
        let rows = renewals.iter().filter(|row| row.job == job);
        assert_eq!(
            rows.filter_map(|row| row.total).sum::<Decimal>(),
            whole,
            "{job}"
        );
        assert!(renewals.iter().all(|row| row.labour >= Decimal::ZERO));
    }
}

/// DuckDB works in vectors of 2,048 rows: none may be lost or doubled at the seam, and
/// the last line of a book must have its name.
#[test]
fn no_row_is_lost_at_a_vectors_end() {
    for rows in [2_047usize, 2_048, 2_049] {
        let mut lines = String::from(
            "{\"entry\":\"reading\",\"time\":\"2020-01-01T00:00:00Z\",\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":0}\n",
        );
        // The opened line, the reading, and the rest: `rows` lines in all, one renewal an hour.
        let start = "2020-01-01T00:00:00Z"
            .parse::<chrono::DateTime<chrono::Utc>>()
            .expect("time");
        let count = rows - 3;
        for n in 0..count {
            let time = start + chrono::TimeDelta::hours(n as i64 + 1);
            let time = time.format("%Y-%m-%dT%H:%M:%SZ");
            let (entry, reason) = if n == 0 {
                ("installed", "")
            } else {
                ("replaced", ",\"reason\":\"planned\"")
            };
            lines.push_str(&format!("{{\"entry\":\"{entry}\",\"time\":\"{time}\",\"machine\":\"H-01\",\"component\":\"packing-set\",\"position\":\"P1\"{reason}}}\n"));
        }
        let end = start + chrono::TimeDelta::hours(count as i64 + 1);
        lines.push_str(&format!(
            "{{\"entry\":\"reading\",\"time\":\"{}\",\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":{}}}\n",
            end.format("%Y-%m-%dT%H:%M:%SZ"),
            count + 1
        ));
        let plant = Plant::with(&lines);
        let store = plant.store();
        let entries = store.table("entries").expect("entries");
        assert_eq!(entries.rows.len(), rows);
        let sha = at(&entries.columns, "sha");
        for (n, row) in entries.rows.iter().enumerate() {
            assert_eq!(shown(&row[sha], &plant.names), format!("line-1#{}", n + 1));
        }
        // One hour of usage each, all alike; the last still runs.
        let lives = store.lives().expect("lives");
        assert_eq!(lives.len(), count);
        for life in &lives {
            assert_eq!(life.lo, Some(1.0));
        }
        assert_eq!(
            lives.iter().filter(|life| life.end_time.is_none()).count(),
            1
        );
    }
}

// ---------------------------------------------------------------- loading

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

#[test]
fn ledgers_that_do_not_fit_together_are_refused() {
    let plant = Plant::of_case("fleet");
    let register = plant.ledgers[1].join("plant.toml");
    let text = fs::read_to_string(&register).expect("register");
    fs::write(&register, text.replace("EUR", "CHF")).expect("write");
    let error = plant.open().err().expect("refused");
    assert!(matches!(error, StoreError::Currencies { .. }), "{error}");
    let other = text
        .replace("id = \"hours\"", "id = \"starts\"")
        .replace("usage = \"hours\"", "usage = \"starts\"")
        .replace("hours = ", "starts = ");
    fs::write(&register, other).expect("write");
    let error = plant.open().err().expect("refused");
    assert!(matches!(error, StoreError::Usages { .. }), "{error}");
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

// ---------------------------------------------------------------- questions and files

#[test]
fn a_users_sql_cannot_change_anything_or_reach_outside() {
    let plant = Plant::of_case("one-life");
    let store = plant.store();
    let answer = store
        .ask("SELECT count(*) AS n, sum(value) FROM entries WHERE kind = 'reading';")
        .expect("answer");
    assert_eq!(answer.columns[0], "n");
    assert_eq!(answer.rows, [[Cell::Whole(2), Cell::Float(2360.0)]]);
    let book = plant.book();
    let file = format!("SELECT * FROM read_json('{}')", book.display());
    for refused in [
        "DROP TABLE lives",
        "DELETE FROM lives",
        "COPY lives TO 'here.csv'",
        "ATTACH 'other.db'",
        "SET enable_external_access = true",
        "SELEC 1",
        "SELECT nosuch FROM lives",
        file.as_str(),
    ] {
        let error = store.ask(refused).expect_err(refused);
        assert!(
            matches!(error, StoreError::Statement { .. }),
            "{refused}: {error:?}"
        );
        assert_eq!(error.fault(), StoreFault::Use);
    }
    let error = store.ask("SELECT CAST('x' AS INTEGER)").expect_err("cast");
    assert!(matches!(error, StoreError::Run { .. }), "{error:?}");
    let error = store.ask("livs").expect_err("no such");
    assert!(
        matches!(&error, StoreError::NoSuchQuery { nearest: Some(near), .. } if near == "lives")
    );
    // After all that it still answers.
    assert_eq!(store.ask("lives").expect("lives").rows.len(), 2);
    assert_eq!(store.lives().expect("lives").len(), 2);
}

#[test]
fn tables_are_written_whole_and_read_back() {
    let plant = Plant::of_case("jobs");
    let store = plant.store();
    let out = TempDir::new().expect("temp");
    for kind in [ExportKind::Parquet, ExportKind::Csv, ExportKind::Arrow] {
        let written = store.export(out.path(), kind, &[]).expect("export");
        assert_eq!(
            written.len(),
            QUERIES.len() + wearbook::store::tables().count()
        );
        for (path, _) in &written {
            assert!(path.is_file(), "{}", path.display());
        }
    }
    let names: Vec<PathBuf> = fs::read_dir(out.path())
        .expect("out")
        .map(|item| item.expect("item").path())
        .collect();
    assert!(
        names
            .iter()
            .all(|path| !path.to_string_lossy().contains(".wearbook-")),
        "leftovers: {names:?}"
    );
    let mut reader = csv::Reader::from_path(out.path().join("renewal_costs.csv")).expect("csv");
    assert_eq!(reader.records().count(), 9);
    let mut reader = csv::Reader::from_path(out.path().join("lives.csv")).expect("csv");
    let lives = store.lives().expect("lives");
    let shas: Vec<String> = reader
        .records()
        .map(|row| row.expect("row")[15].to_owned())
        .collect();
    let expected: Vec<&str> = lives.iter().map(|life| life.start_sha.as_str()).collect();
    assert_eq!(shas, expected);
    for (file, magic) in [
        ("lives.parquet", &b"PAR1"[..]),
        ("lives.arrow", &b"ARROW1"[..]),
    ] {
        let bytes = fs::read(out.path().join(file)).expect("file");
        assert!(bytes.starts_with(magic) && bytes.ends_with(magic), "{file}");
    }
    let error = store
        .export(out.path(), ExportKind::Csv, &["livs".into()])
        .expect_err("no such");
    assert!(matches!(error, StoreError::NoSuchQuery { .. }));
    let blocked = out.path().join("lives.csv");
    let error = store
        .export(&blocked, ExportKind::Csv, &[])
        .expect_err("a file, no folder");
    assert_eq!(error.fault(), StoreFault::Io);
}

#[test]
fn a_kept_store_is_replaced_but_nothing_else_is() {
    let plant = Plant::of_case("one-life");
    let out = TempDir::new().expect("temp");
    let file = out.path().join("kept.duckdb");
    let keep = Options {
        keep: Some(file.clone()),
    };
    for _ in 0..2 {
        let store = Store::open(&plant.ledgers, None, &keep).expect("kept");
        assert_eq!(store.lives().expect("lives").len(), 2);
        assert!(file.is_file());
    }
    let bytes = fs::read(&file).expect("kept");
    assert_eq!(&bytes[8..12], b"DUCK");
    fs::write(&file, "somebody's notes").expect("write");
    let error = Store::open(&plant.ledgers, None, &keep)
        .err()
        .expect("refused");
    assert!(matches!(error, StoreError::NotAStore(_)), "{error:?}");
    assert_eq!(
        fs::read_to_string(&file).expect("still there"),
        "somebody's notes"
    );
    assert_eq!(fs::read_dir(out.path()).expect("out").count(), 1);
}

#[test]
fn a_store_can_be_shared_between_threads() {
    fn shared<T: Send + Sync>(_: &T) {}
    shared(&Plant::of_case("empty").store());
}
