//! Exported tables, and the kept store.

use std::fs;
use std::path::PathBuf;

use tempfile::TempDir;
use wearbook::store::{Cell, ExportKind, Options, QUERIES, Store, StoreError, StoreFault};

use crate::plants::Plant;

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
        ..Options::default()
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

/// Names that a spreadsheet would run (OWASP, "CSV Injection") are guarded in CSV and in no
/// other kind of file; numbers never are, and the order of the rows is that of the table.
#[test]
fn exported_csv_guards_what_a_spreadsheet_would_run() {
    let plant = Plant::with(
        r#"{"entry":"reading","time":"2025-01-01T00:00:00Z","machine":"H-01","meter":"hours","value":0,"note":"=1+1"}
{"entry":"installed","time":"2025-01-01T00:00:00Z","machine":"H-01","component":"packing-set","position":"P1","batch":"@SUM(A1)","serial":"-5"}
{"entry":"expense","time":"2025-01-02T00:00:00Z","cost":-12.5,"what":"-2+3|' /C calc'!A0","note":"+plain"}
{"entry":"reading","time":"2025-01-03T00:00:00Z","machine":"H-01","meter":"hours","value":20,"who":"'=quoted"}"#,
    );
    let store = plant.store();
    let out = TempDir::new().expect("temp");
    let names = ["entries".to_owned()];
    store
        .export(out.path(), ExportKind::Csv, &names)
        .expect("csv");
    let mut reader = csv::Reader::from_path(out.path().join("entries.csv")).expect("csv");
    let heads = reader.headers().expect("heads").clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("row")).collect();
    let cell = |row: usize, name: &str| {
        let at = heads.iter().position(|head| head == name).expect(name);
        rows[row][at].to_owned()
    };
    assert_eq!(cell(1, "note"), "'=1+1");
    assert_eq!(cell(2, "batch"), "'@SUM(A1)");
    assert_eq!(cell(2, "serial"), "-5");
    assert_eq!(cell(3, "what"), "'-2+3|' /C calc'!A0");
    assert_eq!(cell(3, "note"), "'+plain");
    assert_eq!(cell(3, "cost"), "-12.5000");
    assert_eq!(cell(4, "who"), "''=quoted");
    let lines: Vec<String> = (0..rows.len()).map(|row| cell(row, "line")).collect();
    assert_eq!(lines, ["1", "2", "3", "4", "5"]);
    // What the store itself answers is as it was written.
    let answer = store.table("entries").expect("entries");
    let at = answer
        .columns
        .iter()
        .position(|c| c == "note")
        .expect("note");
    assert_eq!(answer.rows[1][at], Cell::Text("=1+1".to_owned()));
}
