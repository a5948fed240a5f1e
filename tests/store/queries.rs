//! Every query over its cases.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use wearbook::store::QUERIES;

use crate::plants::{Plant, at, here, same, shown};

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
