//! Rules a machine keeps: who may use whom, who may print, read a clock or a file.
//!
//! Reads the sources as text; a rule repeated in review belongs here.

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms from the lowest up, each with the lower rooms it may use.
const ROOMS: [(&str, &[&str]); 18] = [
    ("quantity", &[]),
    ("life", &["quantity"]),
    ("model", &["life", "quantity"]),
    ("recurrence", &["model", "life", "quantity"]),
    ("wear", &["quantity", "model"]),
    ("cost", &["life", "quantity"]),
    ("policy", &["model", "life", "wear", "cost", "quantity"]),
    ("register", &["quantity", "wear"]),
    ("book", &["register", "quantity", "wear"]),
    ("intake", &["book", "register", "life", "quantity"]),
    ("store", &["book", "register", "life", "quantity"]),
    ("simulate", &["model", "book", "register", "quantity"]),
    ("plan", &["policy", "wear", "cost", "register", "quantity"]),
    ("chart", &["quantity"]),
    (
        "view",
        &[
            "quantity",
            "life",
            "model",
            "recurrence",
            "wear",
            "cost",
            "policy",
            "plan",
            "register",
            "book",
            "store",
        ],
    ),
    (
        "report",
        &[
            "view",
            "chart",
            "plan",
            "quantity",
            "life",
            "model",
            "recurrence",
            "wear",
            "cost",
            "policy",
            "register",
        ],
    ),
    (
        "command",
        &[
            "quantity",
            "life",
            "model",
            "recurrence",
            "wear",
            "cost",
            "policy",
            "plan",
            "register",
            "book",
            "intake",
            "store",
            "simulate",
            "chart",
            "view",
            "report",
        ],
    ),
    ("main", &["command"]),
];

/// Rooms that do no I/O, read no clock, know no SQL.
const PURE: [&str; 9] = [
    "quantity",
    "life",
    "model",
    "recurrence",
    "wear",
    "cost",
    "policy",
    "plan",
    "chart",
];

struct Source {
    room: String,
    name: String,
    /// Code without comments and without its unit tests.
    code: String,
    whole: String,
}

fn sources() -> Vec<Source> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    walk(&root, &mut files);
    files.sort();
    files
        .into_iter()
        .map(|path| {
            let inside = path.strip_prefix(&root).unwrap();
            let first = inside
                .components()
                .next()
                .unwrap()
                .as_os_str()
                .to_str()
                .unwrap();
            let whole = fs::read_to_string(&path).unwrap();
            let tested = whole.split("#[cfg(test)]\nmod ").next().unwrap();
            let code = tested
                .lines()
                .map(|line| {
                    if line.trim_start().starts_with("//") {
                        ""
                    } else {
                        line
                    }
                })
                .collect::<Vec<_>>()
                .join("\n");
            Source {
                room: first.trim_end_matches(".rs").to_owned(),
                name: inside.display().to_string(),
                code,
                whole,
            }
        })
        .collect()
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            walk(&path, files);
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            files.push(path);
        }
    }
}

/// Fails with every breach, not only the first.
fn none(breaches: Vec<String>) {
    assert!(breaches.is_empty(), "\n{}", breaches.join("\n"));
}

/// The rooms named in `crate::room` or `crate::{room, …}`.
fn used_rooms(code: &str) -> Vec<String> {
    let mut rooms = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        // `$crate`, `wearbook_crate` and the like are other words.
        if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '$') {
            continue;
        }
        let rest = &code[at + "crate::".len()..];
        let names: Vec<&str> = match rest.strip_prefix('{') {
            Some(list) => {
                let mut depth = 0;
                let end = list
                    .find(|c| {
                        depth += match c {
                            '{' => 1,
                            '}' => -1,
                            _ => 0,
                        };
                        depth < 0
                    })
                    .unwrap();
                let mut depth = 0;
                list[..end]
                    .split(|c| {
                        depth += match c {
                            '{' => 1,
                            '}' => -1,
                            _ => 0,
                        };
                        c == ',' && depth == 0
                    })
                    .collect()
            }
            None => vec![rest],
        };
        for name in names {
            let name: String = name
                .trim()
                .chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect();
            rooms.push(name);
        }
    }
    rooms
}

#[test]
fn the_reader_of_rooms_reads_both_ways_of_writing_them() {
    let code = "use crate::life::Life;\nuse crate::{model::{a, b}, policy};\n$crate::nothing!()";
    assert_eq!(used_rooms(code), ["life", "model", "policy"]);
}

#[test]
fn no_room_uses_one_that_stands_higher() {
    let mut breaches = Vec::new();
    for source in sources() {
        if source.room == "lib" {
            continue;
        }
        let Some((_, allowed)) = ROOMS.iter().find(|(room, _)| *room == source.room) else {
            breaches.push(format!(
                "src/{}: a room that the map does not know",
                source.name
            ));
            continue;
        };
        for used in used_rooms(&source.code) {
            if used != source.room && !allowed.contains(&used.as_str()) {
                breaches.push(format!(
                    "src/{}: uses {used}, which it may not",
                    source.name
                ));
            }
        }
    }
    none(breaches);
}

fn word(code: &str, word: &str) -> bool {
    code.match_indices(word).any(|(at, _)| {
        let edge = |c: Option<char>| !c.is_some_and(|c| c.is_alphanumeric() || c == '_');
        edge(code[..at].chars().next_back()) && edge(code[at + word.len()..].chars().next())
    })
}

#[test]
fn only_the_store_names_its_engine_and_only_the_charts_their_library() {
    let mut breaches = Vec::new();
    for source in sources() {
        for (library, home) in [
            ("duckdb", "store"),
            ("arrow", "store"),
            ("plotters", "chart"),
            ("resvg", "chart"),
        ] {
            let named = source.code.contains(&format!("{library}::"))
                || word(&source.code, &format!("use {library}"));
            if named && source.room != home {
                breaches.push(format!(
                    "src/{}: names {library}, which only {home} may",
                    source.name
                ));
            }
        }
    }
    none(breaches);
}

#[test]
fn only_commands_print() {
    let mut breaches = Vec::new();
    for source in sources().iter().filter(|s| s.room != "command") {
        for call in [
            "print!(",
            "println!(",
            "eprint!(",
            "eprintln!(",
            "dbg!(",
            "stdout()",
            "stderr()",
        ] {
            if source.code.contains(call) {
                breaches.push(format!("src/{}: {call} outside command", source.name));
            }
        }
    }
    none(breaches);
}

#[test]
fn pure_rooms_read_no_clock_and_no_file() {
    let mut breaches = Vec::new();
    for source in sources().iter().filter(|s| PURE.contains(&s.room.as_str())) {
        for call in [
            "std::fs",
            "File::",
            "std::env",
            "Utc::now",
            "SystemTime",
            "Instant::now",
            "std::net",
        ] {
            if source.code.contains(call) {
                breaches.push(format!("src/{}: {call} in a pure room", source.name));
            }
        }
    }
    // Elsewhere too, the clock is the caller's: only commands read it.
    for source in sources().iter().filter(|s| s.room != "command") {
        for call in ["Utc::now", "Local::now", "SystemTime::now", "Instant::now"] {
            if source.code.contains(call) {
                breaches.push(format!(
                    "src/{}: reads the clock; take the time as an argument",
                    source.name
                ));
            }
        }
    }
    none(breaches);
}

#[test]
fn every_file_says_what_it_is_for_and_the_map_knows_every_room() {
    let mut breaches = Vec::new();
    let map = sources()
        .into_iter()
        .find(|s| s.name == "lib.rs")
        .unwrap()
        .whole;
    for source in sources() {
        if !source.whole.starts_with("//!") {
            breaches.push(format!(
                "src/{}: no header that says what it is for",
                source.name
            ));
        }
        let known = ["lib", "main"].contains(&source.room.as_str())
            || map.contains(&format!("[`{}`]", source.room));
        if !known {
            breaches.push(format!("src/lib.rs: its map does not show {}", source.room));
        }
    }
    none(breaches);
}

/// A panic must never reach a user: where a call cannot fail, the reason stands beside it.
#[test]
fn every_unwrap_has_its_reason_beside_it() {
    let mut breaches = Vec::new();
    for source in sources() {
        let lines: Vec<&str> = source
            .whole
            .split("#[cfg(test)]\nmod ")
            .next()
            .unwrap()
            .lines()
            .collect();
        for (n, line) in lines.iter().enumerate() {
            let code = line.split("//").next().unwrap();
            let bare = [
                ".unwrap()",
                ".expect(",
                "panic!(",
                "unreachable!(",
                "todo!(",
                "unimplemented!(",
            ]
            .iter()
            .any(|call| code.contains(call));
            let reason =
                line.contains("//") || (n > 0 && lines[n - 1].trim_start().starts_with("//"));
            if bare && !reason {
                breaches.push(format!("src/{}:{}: {}", source.name, n + 1, line.trim()));
            }
        }
    }
    none(breaches);
}

/// Queries are deterministic: no clock in SQL.
#[test]
fn no_query_reads_a_clock() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("queries");
    let mut breaches = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let text = fs::read_to_string(&path).unwrap().to_lowercase();
        for call in [
            "now()",
            "current_timestamp",
            "current_date",
            "today()",
            "random()",
        ] {
            let used = text
                .lines()
                .any(|l| l.split("--").next().unwrap().contains(call));
            if used {
                breaches.push(format!("{}: {call}", path.display()));
            }
        }
    }
    none(breaches);
}
