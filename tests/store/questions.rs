//! A user's own questions: what they may do, every way out that is shut, and what they may take.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use wearbook::store::{Bounds, Cell, Options, Store, StoreError, StoreFault};

use crate::plants::Plant;

fn bounded(plant: &Plant, bounds: Bounds) -> Store {
    let options = Options {
        bounds,
        ..Options::default()
    };
    Store::open(&plant.ledgers, None, &options).expect("a store")
}

fn lines(store: &Store) -> Vec<Vec<Cell>> {
    store
        .ask("SELECT * FROM entries ORDER BY book, line")
        .expect("entries")
        .rows
}

/// Every file of a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for item in fs::read_dir(next).expect("folder") {
            let path = item.expect("item").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                all.insert(path.clone(), fs::read(&path).expect("file"));
            }
        }
    }
    all
}

#[test]
fn what_reads_is_answered() {
    let plant = Plant::of_case("one-life");
    let store = plant.store();
    let answer = store
        .ask("SELECT count(*) AS n, sum(value) FROM entries WHERE kind = 'reading';")
        .expect("answer");
    assert_eq!(answer.columns[0], "n");
    assert_eq!(answer.rows, [[Cell::Whole(2), Cell::Float(2360.0)]]);
    for (question, rows) in [
        ("FROM lives", 2),
        ("VALUES (1), (2), (3)", 3),
        ("(SELECT 1) UNION ALL (SELECT 2)", 2),
        ("SELECT ';' AS \"a;b\" -- ; no second statement", 1),
        ("/* ; */ SELECT 1;;", 1),
        (
            "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n WHERE i < 9) FROM n",
            9,
        ),
        (
            "SELECT * FROM (PIVOT entries ON kind IN ('reading') USING count(*) GROUP BY book)",
            1,
        ),
        (
            "SELECT name FROM duckdb_settings() WHERE name = 'threads'",
            1,
        ),
        (
            "SELECT * FROM lives ASOF JOIN lives AS l ON lives.start_time >= l.start_time LIMIT 1",
            1,
        ),
    ] {
        let answer = store.ask(question).unwrap_or_else(|error| {
            panic!("{question}: {error:?}");
        });
        assert_eq!(answer.rows.len(), rows, "{question}");
    }
    for question in [
        "DESCRIBE lives",
        "DESCRIBE SELECT 1 AS x",
        "SUMMARIZE lives",
        "EXPLAIN SELECT 1",
        "explain analyze SELECT 1",
        "SHOW TABLES",
    ] {
        let answer = store.ask(question).unwrap_or_else(|error| {
            panic!("{question}: {error:?}");
        });
        assert!(!answer.rows.is_empty(), "{question}");
    }
    let error = store.ask("SELECT CAST('x' AS INTEGER)").expect_err("cast");
    assert!(matches!(error, StoreError::Run { .. }), "{error:?}");
    let error = store.ask("livs").expect_err("no such");
    assert!(
        matches!(&error, StoreError::NoSuchQuery { nearest: Some(near), .. } if near == "lives")
    );
}

/// Every way out that anyone has thought of. Each is refused as wrong use, with words of ours or
/// of the parser, and neither the tables nor the disk are touched.
#[test]
fn no_way_leads_out_of_the_tables() {
    let plant = Plant::of_case("one-life");
    let ledger = plant.ledgers[0].clone();
    let canary = tempfile::tempdir().expect("temp");
    let secret = canary.path().join("secret.csv");
    fs::write(&secret, "word\nxyzzy-secret\n").expect("secret");
    let book = plant.book().display().to_string();
    let file = secret.display().to_string();
    let out = canary.path().join("out").display().to_string();
    let store = bounded(
        &plant,
        Bounds {
            memory: Some(500_000_000),
            ..Bounds::default()
        },
    );
    let entries = lines(&store);
    let before = (files(&ledger), files(canary.path()));
    let mut questions: Vec<String> = [
        // Out to the disk.
        "COPY lives TO '{out}'",
        "COPY (SELECT * FROM lives) TO '{out}.csv' (FORMAT csv)",
        "COPY lives TO '{out}.parquet' (FORMAT parquet)",
        "COPY lives TO '/dev/stdout'",
        "COPY lives FROM '{file}'",
        "COPY FROM DATABASE memory TO other",
        "EXPORT DATABASE '{out}'",
        "IMPORT DATABASE '{out}'",
        "CHECKPOINT",
        "FORCE CHECKPOINT",
        "VACUUM",
        // In from the disk.
        "SELECT * FROM '{file}'",
        "SELECT * FROM read_csv('{file}')",
        "SELECT * FROM read_csv_auto('{file}')",
        "SELECT * FROM sniff_csv('{file}')",
        "SELECT * FROM read_json('{book}')",
        "SELECT * FROM read_json_auto('{book}')",
        "SELECT * FROM read_json_objects('{book}')",
        "SELECT * FROM read_ndjson('{book}')",
        "SELECT * FROM read_parquet('{file}')",
        "SELECT * FROM parquet_metadata('{file}')",
        "SELECT * FROM parquet_schema('{file}')",
        "SELECT * FROM read_text('{file}')",
        "SELECT * FROM read_blob('{file}')",
        "SELECT * FROM glob('/*')",
        "SELECT * FROM read_text('/proc/self/environ')",
        "SELECT (SELECT content FROM read_text('{file}'))",
        "SELECT * FROM query('SELECT * FROM read_text(''{file}'')')",
        "SELECT * FROM query_table('{file}')",
        "SELECT * FROM json_execute_serialized_sql(json_serialize_sql('SELECT * FROM read_text(''{file}'')'))",
        "SELECT * FROM read_csv('https://127.0.0.1:9/x.csv')",
        "SELECT * FROM read_parquet('s3://bucket/x.parquet')",
        // Other databases and code.
        "ATTACH '{out}.db'",
        "ATTACH ':memory:' AS other",
        "ATTACH 'host=127.0.0.1' AS pg (TYPE postgres)",
        "DETACH memory",
        "USE memory",
        "INSTALL httpfs",
        "INSTALL '{file}'",
        "FORCE INSTALL httpfs",
        "LOAD httpfs",
        "LOAD '{file}'",
        "UPDATE EXTENSIONS",
        "CREATE SECRET s (TYPE s3, KEY_ID 'x', SECRET 'y')",
        "CREATE PERSISTENT SECRET s (TYPE s3, KEY_ID 'x', SECRET 'y')",
        "DROP SECRET s",
        // Settings.
        "SET enable_external_access = true",
        "SET GLOBAL enable_external_access = true",
        "SET SESSION threads = 64",
        "SET memory_limit = '100GB'",
        "SET temp_directory = '{out}'",
        "SET home_directory = '{out}'",
        "SET lock_configuration = false",
        "SET VARIABLE x = 1",
        "RESET lock_configuration",
        "RESET memory_limit",
        "PRAGMA threads = 64",
        "PRAGMA enable_profiling = 'json'",
        "PRAGMA profiling_output = '{out}'",
        "PRAGMA enable_external_access = true",
        "PRAGMA database_list",
        "PRAGMA import_database('{out}')",
        "CALL enable_logging(storage = 'file', storage_path = '{out}')",
        "SELECT * FROM enable_logging(storage = 'file', storage_path = '{out}')",
        "SELECT * FROM enable_profiling(save_location = '{out}.json', format = 'json')",
        "CALL pragma_version()",
        // Changes to the tables.
        "CREATE TABLE mine (x INTEGER)",
        "CREATE TEMP TABLE mine AS SELECT 1",
        "CREATE OR REPLACE TABLE lives AS SELECT 1",
        "CREATE VIEW mine AS SELECT 1",
        "CREATE SCHEMA mine",
        "CREATE SEQUENCE mine",
        "CREATE TYPE mine AS ENUM ('a')",
        "CREATE INDEX mine ON lives (machine)",
        "CREATE MACRO mine(x) AS x + 1",
        "CREATE MACRO mine() AS TABLE SELECT * FROM read_text('{file}')",
        "CREATE FUNCTION mine(x) AS x + 1",
        "INSERT INTO lives SELECT * FROM lives",
        "INSERT INTO raw.lines (book_no) VALUES (1)",
        "UPDATE lives SET machine = 'x'",
        "UPDATE raw.lines SET value = 0 RETURNING *",
        "DELETE FROM lives",
        "TRUNCATE raw.lines",
        "MERGE INTO lives USING lives AS l ON true WHEN MATCHED THEN DELETE",
        "DROP TABLE lives",
        "DROP VIEW entries",
        "DROP SCHEMA raw CASCADE",
        "ALTER TABLE lives RENAME TO dead",
        "ALTER TABLE lives DROP COLUMN machine",
        "COMMENT ON TABLE lives IS 'mine'",
        "ANALYZE",
        "WITH x AS (DELETE FROM lives RETURNING *) SELECT * FROM x",
        "SELECT * FROM (DELETE FROM lives RETURNING *)",
        // Transactions, and statements after others.
        "BEGIN",
        "BEGIN TRANSACTION READ WRITE",
        "COMMIT",
        "ROLLBACK",
        "ABORT",
        "COMMIT; CREATE TABLE mine (x INTEGER)",
        "ROLLBACK; DELETE FROM raw.lines; SELECT 1",
        "SELECT 1; SELECT 2",
        "SELECT 1; COMMIT; DROP TABLE lives; SELECT 1",
        "SELECT 1;\n-- so\nDROP TABLE lives",
        "SELECT 1) ; DROP TABLE lives; SELECT (1",
        "EXPLAIN SELECT 1; DROP TABLE lives",
        "EXPLAIN ANALYZE DELETE FROM raw.lines",
        "EXPLAIN ANALYZE CREATE TABLE mine AS SELECT 1",
        "EXPLAIN (FORMAT json) SELECT 1; DROP TABLE lives",
        "EXPLAIN ANALYZE COPY lives TO '{out}'",
        "PREPARE mine AS DELETE FROM raw.lines",
        "EXECUTE mine",
        "DEALLOCATE mine",
        "PREPARE mine AS SELECT 1; EXECUTE mine",
        // What is not there.
        "SELECT getenv('HOME')",
        "SELECT * FROM duckdb_nothing()",
        "SELECT system('id')",
        "SELECT shell('id')",
        ".shell id",
        "\\! id",
        "SELECT $1",
        "SELECT ?",
        "SELECT nosuch FROM lives",
        "SELEC 1",
        ";",
        "-- nothing",
        "SELECT '\u{0}'",
    ]
    .map(|question| {
        question
            .replace("{file}", &file)
            .replace("{book}", &book)
            .replace("{out}", &out)
    })
    .to_vec();
    questions.push(format!(
        "SELECT {}1{}",
        "(".repeat(30_000),
        ")".repeat(30_000)
    ));
    questions.push(format!("SELECT 1{}", " + 1".repeat(30_000)));
    questions.push(format!("SELECT {}1", "NOT ".repeat(30_000)));
    let mut wrong = Vec::new();
    for question in &questions {
        let short: String = question.chars().take(90).collect();
        match store.ask(question) {
            Ok(answer) => wrong.push(format!("answered: {short}: {:?}", answer.rows)),
            Err(error) => {
                let text = format!("{:?}", error.troubles());
                if error.fault() != StoreFault::Use {
                    wrong.push(format!("{short}: {error:?}"));
                }
                if text.contains("xyzzy-secret") {
                    wrong.push(format!("told the secret: {short}: {text}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!((files(&ledger), files(canary.path())), before);
    assert!(!Path::new(".tmp").exists(), "the database left files here");
    // After all that it still answers, and everything is as it was.
    assert_eq!(lines(&store), entries);
    assert_eq!(store.ask("lives").expect("lives").rows.len(), 2);
    assert_eq!(store.lives().expect("lives").len(), 2);
    let settings = store
        .ask("SELECT value FROM duckdb_settings() WHERE name IN ('enable_external_access', 'lock_configuration') ORDER BY name")
        .expect("settings");
    assert_eq!(
        settings.rows,
        [[Cell::Text("false".into())], [Cell::Text("true".into())]]
    );
}

/// A question that would need more than its memory ends with a clear error, soon, and the store
/// goes on answering; the disk is no way out.
#[test]
fn memory_is_bounded() {
    let plant = Plant::of_case("one-life");
    let store = bounded(
        &plant,
        Bounds {
            memory: Some(100_000_000),
            threads: Some(2),
            ..Bounds::default()
        },
    );
    for question in [
        // Held in the database.
        "SELECT count(*) FROM (SELECT a.i, hash(a.i) FROM range(100000000) AS a(i) ORDER BY hash(a.i) DESC) WHERE i > 3",
        "SELECT count(DISTINCT hash(i)) FROM range(200000000) AS t(i)",
        "SELECT length(string_agg(repeat('x', 1000000), '')) FROM range(1000)",
        "SELECT list(i) FROM range(100000000) AS t(i)",
        "SELECT list(i) FROM range(3000000) AS t(i)",
        // Held in the answer.
        "SELECT i, i, i, i FROM range(1000000000) AS t(i)",
        "SELECT repeat('x', 100000) FROM range(1000000000) AS t(i)",
    ] {
        let start = Instant::now();
        let error = store.ask(question).err();
        let error = error.unwrap_or_else(|| panic!("answered: {question}"));
        let taken = start.elapsed();
        assert!(
            matches!(
                error,
                StoreError::Memory { .. } | StoreError::TooLong { .. }
            ),
            "{question}: {error:?}"
        );
        assert_eq!(error.fault(), StoreFault::NoAnswer);
        assert!(taken < Duration::from_secs(30), "{question}: {taken:?}");
        let told = &error.troubles()[0];
        assert!(told.what.contains(" MB"), "{told:?}");
        assert!(!told.cure.is_empty());
    }
    assert_eq!(store.ask("FROM lives").expect("lives").rows.len(), 2);
    assert!(!Path::new(".tmp").exists());
}

#[test]
fn threads_and_memory_are_what_was_asked_for() {
    let plant = Plant::of_case("one-life");
    let store = bounded(
        &plant,
        Bounds {
            memory: Some(300_000_000),
            threads: Some(3),
            ..Bounds::default()
        },
    );
    let settings = store
        .ask("SELECT current_setting('threads'), current_setting('memory_limit'), current_setting('temp_directory')")
        .expect("settings");
    assert_eq!(
        settings.rows[0]
            .iter()
            .map(Cell::to_string)
            .collect::<Vec<_>>(),
        ["3", "286.1 MiB", ""]
    );
    // Nobody has so much memory: four fifths of the machine's are taken instead.
    let store = bounded(
        &plant,
        Bounds {
            memory: Some(1 << 60),
            ..Bounds::default()
        },
    );
    let most = store
        .ask("SELECT current_setting('memory_limit')")
        .expect("setting");
    assert!(!most.rows[0][0].to_string().contains("EiB"), "{most:?}");
}

#[test]
fn a_question_without_end_is_ended() {
    let plant = Plant::of_case("one-life");
    let store = bounded(
        &plant,
        Bounds {
            time: Some(Duration::from_millis(300)),
            ..Bounds::default()
        },
    );
    for question in [
        "SELECT count(*) FROM range(10000000000) AS a(i), range(10000000000) AS b(i) WHERE a.i * b.i = 7",
        "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i % 7 + 1 FROM n) SELECT count(*) FROM n",
    ] {
        let start = Instant::now();
        let error = store.ask(question).expect_err(question);
        assert!(matches!(error, StoreError::Time { .. }), "{error:?}");
        assert_eq!(error.fault(), StoreFault::NoAnswer);
        assert!(
            start.elapsed() < Duration::from_secs(20),
            "{:?}",
            start.elapsed()
        );
    }
    assert_eq!(store.ask("FROM lives").expect("lives").rows.len(), 2);
}

/// Every type the database knows is shown, or told to be beyond showing.
#[test]
fn values_of_every_type_are_answered() {
    let plant = Plant::of_case("one-life");
    let store = plant.store();
    let columns = store
        .ask("SELECT column_name FROM (DESCRIBE SELECT * FROM test_all_types())")
        .expect("types");
    assert!(columns.rows.len() > 40);
    let mut untold = Vec::new();
    for row in &columns.rows {
        let name = row[0].to_string();
        match store.ask(&format!("SELECT \"{name}\" FROM test_all_types()")) {
            Ok(answer) => {
                let shown: Vec<String> = answer.rows.iter().map(|r| r[0].to_string()).collect();
                assert_eq!(shown.len(), 3, "{name}: {shown:?}");
                // A union holds its NULL in a member, whose name is shown.
                let null = if name == "union" { "{name=}" } else { "" };
                assert_eq!(shown[2], null, "{name}: NULL");
            }
            // Days beyond any calendar, and the like.
            Err(error) => {
                let told = error.troubles()[0].what.clone();
                assert!(told.contains("cast it to VARCHAR"), "{name}: {error:?}");
                untold.push(name.clone());
                let cast = format!("SELECT CAST(\"{name}\" AS VARCHAR) FROM test_all_types()");
                let shown = store.ask(&cast).unwrap_or_else(|e| panic!("{name}: {e}"));
                assert_eq!(shown.rows.len(), 3, "{name}");
            }
        }
    }
    assert!(untold.len() < columns.rows.len() / 3, "{untold:?}");
}
