//! Names that mean harm: what a spreadsheet or a terminal is given must not act on them.

use super::{json, wearbook};

const FORMULAS: [&str; 5] = [
    "=HYPERLINK(\"http://127.0.0.1\",\"x\")",
    "+1+cmd|' /C calc'!A0",
    "@SUM(1,2)",
    "-2-3",
    "＝1+1",
];

fn file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

/// Lives of five groups with these names.
fn lives(names: &[String]) -> tempfile::NamedTempFile {
    let mut text = csv::Writer::from_writer(Vec::new());
    text.write_record(["lo", "hi", "group"]).unwrap();
    for name in names {
        for life in ["400", "700", "900"] {
            text.write_record([life, life, name]).unwrap();
        }
    }
    file(&String::from_utf8(text.into_inner().unwrap()).unwrap())
}

fn csv_cells(text: &[u8]) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text);
    reader.records().map(Result::unwrap).collect()
}

#[test]
fn csv_never_holds_a_formula_and_reads_back_as_it_was() {
    let names: Vec<String> = FORMULAS.map(str::to_owned).to_vec();
    let written = lives(&names);
    let args = |path: &str| ["fit", "--lives", path, "--by", "group", "--plain"].map(str::to_owned);
    let groups = |path: &str| -> Vec<String> {
        let args = args(path);
        let found = json(&args.each_ref().map(String::as_str));
        let groups = found["fits"].as_array().unwrap().iter();
        groups
            .map(|fit| fit["group"].as_str().unwrap().to_owned())
            .collect()
    };
    let path = written.path().to_str().unwrap();
    assert_eq!(groups(path), names, "JSON holds the names as they are");

    let args = args(path);
    let output = wearbook(&args.each_ref().map(String::as_str))
        .args(["--format", "csv"])
        .output()
        .unwrap();
    let rows = csv_cells(&output.stdout);
    assert!(rows.len() > FORMULAS.len(), "{rows:?}");
    for cell in rows.iter().flatten() {
        let runs = cell.starts_with(['=', '+', '@', '\t', '\r', '\n', '＝']);
        let minus = cell.starts_with('-') && cell.parse::<f64>().is_err();
        assert!(!runs && !minus, "{cell}");
    }
    // What a guarded file says is read as what was guarded.
    let at = rows[0].iter().position(|head| head == "group").unwrap();
    let guarded: Vec<String> = rows[1..].iter().map(|row| row[at].to_owned()).collect();
    assert!(
        guarded.iter().all(|name| name.starts_with('\'')),
        "{guarded:?}"
    );
    let again = lives(&guarded);
    assert_eq!(groups(again.path().to_str().unwrap()), names);
}

/// A finding's own words are cells too: the file's name begins as a formula does.
#[test]
fn findings_as_csv_are_guarded() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["=1+1", "=1+1-1"] {
        let ledger = folder.path().join(name);
        std::fs::create_dir_all(ledger.join("books")).unwrap();
        std::fs::write(ledger.join("plant.toml"), "nonsense").unwrap();
    }
    let output = wearbook(&["check", "=1+1", "=1+1-1", "--format", "csv"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let rows = csv_cells(&output.stdout);
    let files: Vec<&str> = rows[1..].iter().map(|row| &row[2]).collect();
    assert!(!files.is_empty());
    assert!(
        files.iter().all(|file| file.starts_with("'=1+1")),
        "{files:?}"
    );
}

/// Neither a table nor an error hands a terminal what would move its cursor, clear it, or turn
/// a line round.
#[test]
fn a_terminal_is_given_text_and_nothing_else() {
    let name = "a\u{1b}[2J\u{202e}b\u{7}";
    let written = lives(&[name.to_owned()]);
    let path = written.path().to_str().unwrap();
    let table = wearbook(&["fit", "--lives", path, "--by", "group"])
        .output()
        .unwrap();
    let bad = file(&format!("lo,hi,{name}\n1,1,1\n"));
    let error = wearbook(&["fit", "--lives", bad.path().to_str().unwrap()])
        .output()
        .unwrap();
    assert_eq!(error.status.code(), Some(3));
    for text in [table.stdout, table.stderr, error.stdout, error.stderr] {
        let text = String::from_utf8(text).unwrap();
        let strange = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
        assert!(!text.contains(strange), "{text:?}");
    }
}
