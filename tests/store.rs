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
use wearbook::store::{Cell, Options, QUERIES, Store, StoreError, StoreFault};

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
