//! `docs/import.md` is kept true: every command in it is run, and answers as it says there.
//!
//! In a block marked `console`, a line that begins with `$ ` is a command, and what follows
//! is its answer: stdout, then stderr. A line `…` stands for any lines, a `…` in a line for
//! any text.

use std::process::Command;

use crate::desk::{Desk, root};

const GUIDE: &str = "docs/import.md";

/// Commands and their answers, in the order of the page; of blocks with this mark.
fn steps(mark: &str) -> Vec<(String, Vec<String>)> {
    let text = std::fs::read_to_string(root().join(GUIDE)).expect(GUIDE);
    let mut steps: Vec<(String, Vec<String>)> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        match line.strip_prefix("```") {
            Some(info) => inside = !inside && info == mark,
            None if !inside => {}
            None => match line.strip_prefix("$ ") {
                Some(command) => steps.push((command.to_owned(), Vec::new())),
                None => steps.last_mut().expect("a command").1.push(line.to_owned()),
            },
        }
    }
    steps
}

/// Whether a line is as the guide has it.
fn same(expected: &str, found: &str) -> bool {
    let mut rest = found;
    for (n, part) in expected.split('…').enumerate() {
        let Some(at) = rest.find(part) else {
            return false;
        };
        if n == 0 && at > 0 {
            return false;
        }
        rest = &rest[at + part.len()..];
    }
    rest.is_empty() || expected.ends_with('…')
}

/// Whether lines are as the guide has them.
fn fits(expected: &[String], found: &[&str]) -> bool {
    match expected.split_first() {
        None => found.is_empty(),
        Some((first, rest)) if first == "…" => {
            (0..=found.len()).any(|skipped| fits(rest, &found[skipped..]))
        }
        Some((first, rest)) => {
            found.first().is_some_and(|line| same(first, line)) && fits(rest, &found[1..])
        }
    }
}

#[test]
fn the_reader_of_answers_reads() {
    let text = |lines: &[&str]| lines.iter().map(|l| (*l).to_owned()).collect::<Vec<_>>();
    assert!(fits(
        &text(&["a", "…", "d…f", "…"]),
        &["a", "b", "c", "d e f"]
    ));
    assert!(!fits(&text(&["a", "b"]), &["a", "b", "c"]));
    assert!(!fits(&text(&["…b"]), &["abc"]));
    assert!(!fits(&text(&["b…"]), &["abc"]));
}

/// A folder like the project's own, as far as the guide uses it.
fn room() -> Desk {
    let desk = Desk::bare();
    for folder in ["tests/import", "sample-ledger"] {
        std::fs::create_dir_all(desk.path(folder)).expect("folder");
    }
    for item in std::fs::read_dir(root().join("tests/import")).expect("examples") {
        let path = item.expect("item").path();
        let name = path.file_name().expect("name");
        std::fs::copy(&path, desk.path("tests/import").join(name)).expect("copy");
    }
    let register = "sample-ledger/plant.toml";
    std::fs::copy(root().join(register), desk.path(register)).expect("copy");
    desk
}

fn answer(desk: &Desk, command: &str) -> String {
    let words: Vec<&str> = command.split_whitespace().collect();
    let output = match words.split_first() {
        Some((&"wearbook", args)) => desk.run(args),
        // What else the guide does is done by the system's own tools.
        Some((tool @ (&"cp" | &"tail"), args)) => Command::new(tool)
            .args(args)
            .current_dir(desk.folder())
            .output()
            .expect("tool"),
        _ => panic!("the guide may not run {command}"),
    };
    let mut text = String::from_utf8(output.stdout).expect("text");
    text.push_str(&String::from_utf8(output.stderr).expect("text"));
    text
}

#[test]
fn the_guide_is_true() {
    let desk = room();
    for (command, expected) in steps("console") {
        let found = answer(&desk, &command);
        let lines: Vec<&str> = found.lines().collect();
        assert!(
            fits(&expected, &lines),
            "$ {command}\n--- the guide says\n{}\n--- found\n{found}",
            expected.join("\n")
        );
    }
}

/// The report needs the query engine, and some seconds.
#[test]
fn the_report_of_what_was_imported_runs() {
    let desk = room();
    for (command, _) in steps("console") {
        answer(&desk, &command);
    }
    for (command, _) in steps("console report") {
        let args: Vec<&str> = command.split_whitespace().skip(1).collect();
        let output = desk.run(&args);
        assert!(output.status.success(), "{output:?}");
    }
    let page = std::fs::read_to_string(desk.path("report/report.html")).expect("report");
    assert!(page.contains("packing-set") || page.contains("Plunger packing set"));
    let output = desk.run(&["lives", "oat-works", "--format", "json"]);
    let lives: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert!(lives.to_string().contains("\"failure\""));
}

/// What a map may say is all on the page.
#[test]
fn the_guide_names_every_key_of_a_map() {
    let text = std::fs::read_to_string(root().join(GUIDE)).expect(GUIDE);
    let keys = wearbook::intake::import::map::KEYS.iter().copied();
    let own = [
        "sheet",
        "headings",
        "delimiter",
        "encoding",
        "decimal",
        "thousands",
        "fill_down",
        "newest_first",
        "zone",
        "dates",
        "time_of_day",
        "when",
        "why",
        "column",
        "table",
        "if_empty",
        "split",
        "clock",
        "unit",
        "join",
        "is",
        "is_not",
        "holds",
        "begins",
        "age",
        "since",
        "component",
        "[common]",
        "[[entry]]",
        "[[skip]]",
        "[[in_place]]",
        "[tables.NAME]",
    ];
    for key in keys.chain(own) {
        assert!(
            text.contains(&format!("`{key}`")) || text.contains(&format!("`{key} =")),
            "{key}"
        );
    }
}
