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

/// A ledger every free text of which means harm, made as its users would make it.
fn hostile_ledger(dirt: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let text = serde_json::to_string(dirt).unwrap();
    let register = include_str!("../ledger/plant.toml")
        .replace("\"Test bench\"", &text)
        .replace("\"Plunger packing set\"", &text)
        .replace("\"Homogeniser 1\"", &text)
        .replace("\"Running hours\"", &text)
        .replace("\"leaking\"", &text)
        .replace("\"P1\"", &text)
        .replace("tag = \"H-01\"", &format!("tag = {text}"));
    std::fs::write(folder.path().join("plant.toml"), register).unwrap();
    let mut lines = String::new();
    let mut hours = 0;
    for life in [0, 400, 700, 650, 900, 500, 820] {
        hours += life;
        let day = format!("2025-{:02}-01 08:00", 1 + hours / 400);
        let (entry, end) = match life {
            0 => ("installed", String::new()),
            _ => (
                "replaced",
                format!(",\"reason\":\"failed\",\"found\":\"running\",\"mode\":{text}"),
            ),
        };
        lines.push_str(&format!(
            "{{\"entry\":\"reading\",\"time\":\"{day}\",\"machine\":{text},\"meter\":\"hours\",\
             \"value\":{hours},\"note\":{text}}}\n\
             {{\"entry\":\"{entry}\",\"time\":\"{day}\",\"machine\":{text},\
             \"component\":\"packing-set\",\"position\":{text},\"batch\":{text},\
             \"serial\":{text}{end},\"note\":{text}}}\n"
        ));
    }
    let file = folder.path().join("lines.jsonl");
    std::fs::write(&file, lines).unwrap();
    let ledger = folder.path().to_str().unwrap();
    let output = wearbook(&["record", "--ledger", ledger, "--who", dirt, "--from"])
        .arg(&file)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{dirt}: {told}");
    folder
}

/// The same names through the commands: nothing of them becomes markup in the report and its
/// charts, a formula in CSV, or a command to the terminal.
#[test]
fn a_hostile_ledger_is_read_and_reported() {
    for dirt in [
        "<script>alert(1)</script>",
        "=1+cmd|' /C calc'!A0 \"><img src=x onerror=alert(1)>",
        "@x]]></style></svg>\u{202e}{{ 7 * 7 }} javascript:alert(1)",
        "O'Hara's \"plant\" & Söhne \\",
    ] {
        let folder = hostile_ledger(dirt);
        let ledger = folder.path().to_str().unwrap();
        for command in [
            &["check"][..],
            &["lives"],
            &["fit"],
            &["interval"],
            &["recur"],
            &["compare", "--by", "position"],
            &["query", "SELECT * FROM entries"],
        ] {
            for format in ["table", "csv"] {
                let (first, rest) = command.split_first().unwrap();
                let output = wearbook(&[first, ledger])
                    .args(rest)
                    .args(["--format", format])
                    .output()
                    .unwrap();
                let told = String::from_utf8_lossy(&output.stderr).into_owned();
                let code = output.status.code().unwrap_or(-1);
                // `compare` has one group only, `check` findings.
                assert!(
                    (0..=5).contains(&code),
                    "{command:?} {format}: {code}: {told}"
                );
                let text = String::from_utf8(output.stdout).unwrap();
                let strange = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
                match format {
                    "csv" => {
                        for cell in csv_cells(text.as_bytes()).iter().flatten() {
                            let runs = cell.starts_with(['=', '+', '@', '\t', '\r']);
                            assert!(!runs, "{command:?}: {cell}");
                        }
                    }
                    _ => assert!(!text.contains(strange), "{command:?}: {text:?}"),
                }
                assert!(!told.contains(strange), "{command:?}: {told:?}");
            }
        }
        let out = folder.path().join("out");
        let output = wearbook(&["report", ledger, "--out"])
            .arg(&out)
            .output()
            .unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{dirt}: {told}");
        let mut pictures = 0;
        for item in std::fs::read_dir(&out).unwrap() {
            let path = item.unwrap().path();
            let text = std::fs::read_to_string(&path).unwrap();
            // Data is no page: nothing in it is taken for markup.
            let data = path.extension().is_some_and(|e| e == "json");
            for markup in [
                "<script",
                "<img",
                "onerror=\"",
                "</style></svg>",
                "]]>",
                "\u{202e}",
            ] {
                assert!(
                    data || !text.contains(markup),
                    "{markup} in {}",
                    path.display()
                );
            }
            assert!(!text.contains("49 javascript"), "the templates ran a name");
            if path.extension().is_some_and(|e| e == "svg") {
                roxmltree::Document::parse(&text).unwrap();
                pictures += 1;
            }
        }
        assert!(pictures > 0);
        let csv = folder.path().join("csv");
        let output = wearbook(&["export", ledger, "--as", "csv", "--out"])
            .arg(&csv)
            .output()
            .unwrap();
        assert!(output.status.success());
        for item in std::fs::read_dir(&csv).unwrap() {
            let text = std::fs::read(item.unwrap().path()).unwrap();
            for cell in csv_cells(&text).iter().flatten() {
                assert!(!cell.starts_with(['=', '+', '@', '\t', '\r']), "{cell}");
            }
        }
    }
}

/// What the database itself cannot bound takes down the work on the question, not the program:
/// an answer in words, the exit code for no answer, soon.
#[test]
#[cfg(target_os = "linux")]
fn a_question_beyond_all_memory_ends_in_words() {
    let folder = hostile_ledger("plain");
    let ledger = folder.path().to_str().unwrap();
    for question in [
        "SELECT repeat('x', 3000000000)",
        "SELECT len(range(2000000000))",
        "SELECT count(DISTINCT hash(i)) FROM range(200000000) AS t(i)",
    ] {
        let start = std::time::Instant::now();
        let output = wearbook(&["query", ledger, question, "--memory", "100MB"])
            .output()
            .unwrap();
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(5), "{question}: {told}");
        assert!(told.starts_with("error: "), "{question}: {told}");
        assert!(told.contains("--memory"), "{question}: {told}");
        assert!(!told.contains("panicked"), "{question}: {told}");
        assert!(output.stdout.is_empty());
        let taken = start.elapsed();
        assert!(taken.as_secs() < 60, "{question}: {taken:?}");
    }
    // With the memory it needs, it is answered.
    let output = wearbook(&["query", ledger, "SELECT length(repeat('x', 3000000)) AS n"])
        .args(["--memory", "200MB", "--threads", "2", "--format", "csv"])
        .output()
        .unwrap();
    assert_eq!(output.stdout, b"n\n3000000\n");
}
