//! Ledgers for the tests: small books with a true chain, from the cases or from text.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use serde_json::{Map, Value};
use tempfile::TempDir;
use wearbook::book::Sha;
use wearbook::store::{Cell, Options, Store, StoreError};

pub fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/queries")
        .join(path)
}

/// Names of lines by the short forms the expected tables use.
pub type Names = BTreeMap<String, String>;

/// Chains entries into the text of a book; `names` takes `BOOK#LINE` for every SHA.
pub fn chain(book: &str, entries: &[Map<String, Value>], names: &mut Names) -> String {
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

pub fn entries(text: &str) -> Vec<Map<String, Value>> {
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
        .collect()
}

pub fn jsonl_files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("case folder")
        .map(|item| item.expect("item").path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "jsonl"))
        .collect();
    files.sort();
    files
}

/// A ledger (or a fleet of them) on disk.
pub struct Plant {
    _folder: TempDir,
    pub ledgers: Vec<PathBuf>,
    pub names: Names,
    pub as_of: Option<NaiveDate>,
}

impl Plant {
    pub fn of_case(case: &str) -> Plant {
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
    pub fn with(text: &str) -> Plant {
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

    pub fn book(&self) -> PathBuf {
        self.ledgers[0].join("books/line-1.jsonl")
    }

    pub fn open(&self) -> Result<Store, StoreError> {
        Store::open(&self.ledgers, self.as_of, &Options::default())
    }

    pub fn store(&self) -> Store {
        self.open().unwrap_or_else(|error| {
            panic!("{error}: {:#?}", error.troubles());
        })
    }
}

pub fn shown(cell: &Cell, names: &Names) -> String {
    match cell {
        Cell::Text(text) => names.get(text).cloned().unwrap_or_else(|| text.clone()),
        other => other.to_string(),
    }
}

pub fn same(expected: &str, found: &str) -> bool {
    if expected == found {
        return true;
    }
    match (expected.parse::<f64>(), found.parse::<f64>()) {
        (Ok(a), Ok(b)) => (a - b).abs() <= 1e-9 * a.abs().max(1e-3),
        _ => false,
    }
}

/// Where a column stands.
pub fn at(columns: &[String], name: &str) -> usize {
    columns
        .iter()
        .position(|column| column == name)
        .unwrap_or_else(|| panic!("no column {name} in {columns:?}"))
}
