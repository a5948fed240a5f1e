//! The commands on a ledger, through the binary.

use std::process::Output;

use wearbook::book::Ledger;
use wearbook::register::Register;

use crate::bench::Bench;

fn run(bench: &Bench, args: &[&str]) -> Output {
    bench.command(args).output().expect("wearbook")
}

fn done(bench: &Bench, args: &[&str]) -> String {
    let output = run(bench, args);
    assert!(output.status.success(), "{args:?}: {output:?}");
    String::from_utf8(output.stdout).expect("text")
}

#[test]
fn the_template_is_a_register_without_fault() {
    let register = Register::parse(wearbook::command::TEMPLATE).expect("no fault");
    assert_eq!(register.machines.len(), 1);
    // Every table a register may have is explained in it.
    for table in [
        "[plant]",
        "[[usage]]",
        "[[component]]",
        "[[access]]",
        "[[layout]]",
        "[[machine]]",
        "[[measurement]]",
        "[[part]]",
    ] {
        assert!(wearbook::command::TEMPLATE.contains(table), "{table}");
    }
}

/// The lines of the template that are put out of use by `# ` are sound as well.
#[test]
fn the_template_with_everything_in_use_is_without_fault() {
    let mut text = String::new();
    for line in wearbook::command::TEMPLATE.lines() {
        let inner = line.strip_prefix("# ").unwrap_or_default();
        let key = inner
            .split_once(" = ")
            .map(|(key, _)| key)
            .unwrap_or_default();
        let word = !key.is_empty() && key.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
        let used = word || inner.starts_with('[');
        text.push_str(if used { inner } else { line });
        text.push('\n');
    }
    let register = Register::parse(&text).unwrap_or_else(|faults| panic!("{faults:#?}"));
    assert_eq!(register.parts.len(), 1);
    assert!(register.components[0].ceiling.is_some());
    assert!(register.components[0].shape_prior.is_some());
}

#[test]
fn start_then_record_then_check() {
    let bench = Bench::new();
    let new = bench.folder().join("new");
    let told = done(&bench, &["start", "new"]);
    assert!(told.contains("new is ready"), "{told}");
    assert!(new.join("books").is_dir());
    let before = std::fs::read(new.join("plant.toml")).expect("register");
    let again = run(&bench, &["start", "new"]);
    assert_eq!(again.status.code(), Some(2));
    assert_eq!(
        std::fs::read(new.join("plant.toml")).expect("register"),
        before
    );
    let told = done(
        &bench,
        &[
            "record",
            "--ledger",
            "new",
            "--who",
            "Me",
            "reading",
            "--machine",
            "H-01",
            "--meter",
            "hours",
            "--value",
            "12.50",
        ],
    );
    assert!(told.contains("reading H-01 hours 12.50 h"), "{told}");
    let told = done(&bench, &["check", "new"]);
    assert!(told.contains("0 errors, 0 warnings"), "{told}");
}

/// One line of flags for each kind, and the entry it becomes.
#[test]
fn every_kind_by_flags() {
    let bench = Bench::new();
    let time = |clock| ["--time", clock];
    let slot = [
        "--machine",
        "H-01",
        "--component",
        "packing-set",
        "--position",
        "P1",
    ];
    let plunger = [
        "--machine",
        "H-01",
        "--component",
        "plunger",
        "--position",
        "P1",
    ];
    let record = |kind: &[&str], rest: &[&[&str]]| {
        let mut args = vec!["record", "--who", "Me"];
        args.extend(kind);
        args.extend(rest.iter().copied().flatten());
        done(&bench, &args)
    };
    record(&["opened"], &[]);
    record(
        &["reading"],
        &[
            &["--machine", "H-01", "--meter", "hours", "--value", "100"],
            &time("2025-07-01 08:00"),
        ],
    );
    record(
        &["installed", "--age", "unknown"],
        &[&slot, &time("2025-07-01 08:10")],
    );
    record(
        &[
            "installed",
            "--age",
            "120.5",
            "--serial",
            "S-1",
            "--batch",
            "B-1",
            "--pieces",
            "1",
        ],
        &[&plunger, &time("2025-07-01 08:20")],
    );
    record(
        &[
            "inspected",
            "--finding",
            "worn",
            "--mode",
            "leaking",
            "--note",
            "wet",
        ],
        &[&slot, &time("2025-07-02 08:00")],
    );
    record(
        &[
            "replaced", "--part", "PK-1", "--reason", "worn", "--mode", "leaking", "--found",
        ],
        &[
            &["inspection", "--job", "J-1"],
            &slot,
            &time("2025-07-02 09:00"),
        ],
    );
    record(
        &[
            "measured",
            "--quantity",
            "diameter",
            "--value",
            "2.360",
            "--unit",
            "in",
            "--new-value",
        ],
        &[&["2.362"], &plunger, &time("2025-07-02 09:30")],
    );
    record(
        &["removed", "--reason", "planned"],
        &[&plunger, &time("2025-07-02 10:00")],
    );
    record(
        &[
            "job",
            "--machine",
            "H-01",
            "--job",
            "J-1",
            "--kind",
            "corrective",
            "--labour-h",
            "2",
        ],
        &[
            &[
                "--downtime-h",
                "1.5",
                "--start",
                "2025-07-02 08:30",
                "--stop",
                "2025-07-02 10:30",
            ],
            &time("2025-07-02 10:30"),
        ],
    );
    record(
        &["expense", "--cost", "86.50", "--what", "oil"],
        &[&time("2025-07-03T00:00:00Z")],
    );
    let wrong = record(
        &["reading"],
        &[
            &["--machine", "H-01", "--meter", "hours", "--value", "999"],
            &time("2025-07-04 08:00"),
        ],
    );
    done(
        &bench,
        &["withdraw", &wrong[..12], "--why", "misread", "--who", "Me"],
    );

    let text = String::from_utf8(bench.bytes()).expect("text");
    let bodies: Vec<String> = text
        .lines()
        .map(|line| {
            // Without the chain and the clock.
            let entry = line.find("\"entry\"").expect("entry");
            let logged = line.find("\"logged\"").expect("logged");
            let who = line.find("\"who\"").expect("who");
            format!("{}{}", &line[entry..logged], &line[who..line.len() - 1])
        })
        .skip(1)
        .collect();
    let expected = [
        r#""entry":"reading","time":"2025-07-01T07:00:00Z","who":"Me","machine":"H-01","meter":"hours","value":100"#,
        r#""entry":"installed","time":"2025-07-01T07:10:00Z","who":"Me","machine":"H-01","component":"packing-set","position":"P1","age":null"#,
        r#""entry":"installed","time":"2025-07-01T07:20:00Z","who":"Me","machine":"H-01","component":"plunger","position":"P1","pieces":1,"batch":"B-1","serial":"S-1","age":120.5"#,
        r#""entry":"inspected","time":"2025-07-02T07:00:00Z","who":"Me","machine":"H-01","component":"packing-set","position":"P1","finding":"worn","mode":"leaking","note":"wet""#,
        r#""entry":"replaced","time":"2025-07-02T08:00:00Z","who":"Me","machine":"H-01","component":"packing-set","position":"P1","part":"PK-1","reason":"worn","mode":"leaking","found":"inspection","job":"J-1""#,
        r#""entry":"measured","time":"2025-07-02T08:30:00Z","who":"Me","machine":"H-01","component":"plunger","position":"P1","quantity":"diameter","value":2.360,"unit":"in","new_value":2.362"#,
        r#""entry":"removed","time":"2025-07-02T09:00:00Z","who":"Me","machine":"H-01","component":"plunger","position":"P1","reason":"planned""#,
        r#""entry":"job","time":"2025-07-02T09:30:00Z","who":"Me","machine":"H-01","job":"J-1","start":"2025-07-02T07:30:00Z","stop":"2025-07-02T09:30:00Z","kind":"corrective","labour_h":2,"downtime_h":1.5"#,
        r#""entry":"expense","time":"2025-07-03T00:00:00Z","who":"Me","cost":86.50,"what":"oil""#,
        r#""entry":"reading","time":"2025-07-04T07:00:00Z","who":"Me","machine":"H-01","meter":"hours","value":999"#,
    ];
    for (body, expected) in bodies.iter().zip(expected) {
        assert_eq!(body, expected);
    }
    assert_eq!(bodies.len(), expected.len() + 1);
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert_eq!(ledger.entries().len(), 9, "the withdrawn reading is gone");
}

#[test]
fn a_dry_run_writes_nothing() {
    let bench = Bench::new();
    let args = [
        "record",
        "--who",
        "Me",
        "--dry-run",
        "reading",
        "--machine",
        "H-01",
        "--meter",
        "hours",
        "--value",
        "5",
        "--time",
        "2025-02-01 08:00",
    ];
    let told = done(&bench, &args);
    assert_eq!(
        told,
        "could be recorded: reading H-01 hours 5 h 2025-02-01 08:00 (dry run, nothing written)\n"
    );
    assert!(!bench.folder().join("books").exists());
    assert!(!bench.folder().join(".lock").exists());
}

#[test]
fn a_file_of_lines_is_recorded_whole_or_not_at_all() {
    let bench = Bench::new();
    let good = "{\"entry\":\"reading\",\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":1,\"time\":\"2025-02-01 08:00\"}\n";
    let bad = good.replace("H-01", "H-09");
    let file = bench.folder().join("lines.jsonl");
    std::fs::write(&file, format!("{good}\n{bad}")).expect("lines");
    let whole = ["record", "--who", "Me", "--from", "lines.jsonl"];
    assert_eq!(run(&bench, &whole).status.code(), Some(3));
    assert!(!bench.book().exists());
    let by_one = [
        "record",
        "--who",
        "Me",
        "--from",
        "lines.jsonl",
        "--one-by-one",
    ];
    let output = run(&bench, &by_one);
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stdout).expect("text");
    assert_eq!(told.lines().count(), 1, "the first line is told and kept");
    std::fs::write(
        &file,
        good.replace("\"value\":1", "\"value\":2")
            .replace("08:00", "09:00"),
    )
    .expect("lines");
    done(&bench, &whole);
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert_eq!(ledger.entries().len(), 2);
}

#[test]
fn the_default_book_is_the_users() {
    let bench = Bench::new();
    let args = [
        "record",
        "reading",
        "--machine",
        "H-01",
        "--meter",
        "hours",
        "--value",
        "5",
    ];
    let output = bench
        .command(&args)
        .env("USER", "anna k")
        .output()
        .expect("run");
    assert!(output.status.success(), "{output:?}");
    let path = bench.folder().join("books/annak.jsonl");
    let text = std::fs::read_to_string(path).expect("book");
    assert!(text.contains("\"who\":\"anna k\""), "{text}");
}

#[test]
fn check_speaks_json_and_csv() {
    let bench = Bench::new();
    let args = [
        "record",
        "--who",
        "Me",
        "installed",
        "--machine",
        "H-01",
        "--component",
        "packing-set",
        "--position",
        "P1",
        "--time",
        "2025-02-01 08:00",
    ];
    done(&bench, &args);
    let output = run(&bench, &["check", "--format", "json"]);
    assert_eq!(output.status.code(), Some(1), "a machine without readings");
    let view: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(view["errors"], 0);
    assert_eq!(view["warnings"], 1);
    assert_eq!(view["books"][0]["book"], "books/main.jsonl");
    assert_eq!(view["books"][0]["lines"], 2);
    let kinds: Vec<&str> = view["findings"]
        .as_array()
        .expect("list")
        .iter()
        .filter_map(|finding| finding["kind"].as_str())
        .collect();
    assert!(kinds.contains(&"meter-never-read"), "{kinds:?}");
    let output = run(&bench, &["check", "--format", "csv"]);
    let mut rows = csv::Reader::from_reader(output.stdout.as_slice());
    assert_eq!(rows.headers().expect("head").len(), 7);
    assert_eq!(rows.records().count(), kinds.len());
}

/// On a terminal, what the flags leave out is asked for. `script` lends the terminal;
/// where there is none, there is nothing to test.
#[test]
#[cfg(target_os = "linux")]
fn on_a_terminal_what_is_missing_is_asked_for() {
    use std::io::{Read, Write};
    use std::process::{Command, Stdio};
    let bench = Bench::new();
    let line = format!(
        "{} record --who Me reading --machine H-02",
        env!("CARGO_BIN_EXE_wearbook")
    );
    let script = Command::new("script")
        .args(["--quiet", "--return", "--command", &line, "/dev/null"])
        .current_dir(bench.folder())
        .env("TERM", "xterm")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut child) = script else {
        eprintln!("no `script` here: not tried");
        return;
    };
    let mut stdin = child.stdin.take().expect("stdin");
    let mut stdout = child.stdout.take().expect("stdout");
    // The one meter of the plant needs no question; the reading does.
    let mut asked = Vec::new();
    let mut byte = [0];
    while !String::from_utf8_lossy(&asked).contains("Reading") {
        match stdout.read(&mut byte) {
            Ok(1) => asked.push(byte[0]),
            _ => panic!("not asked: {}", String::from_utf8_lossy(&asked)),
        }
    }
    stdin.write_all(b"1234\r").expect("answer");
    let mut rest = String::new();
    stdout.read_to_string(&mut rest).expect("rest");
    assert!(child.wait().expect("script").success(), "{rest}");
    assert!(rest.contains("reading H-02 hours 1234 h"), "{rest}");
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert_eq!(ledger.entries().len(), 1);
}
