//! Several ledgers read as one, and the history of a slot.

use std::path::Path;

use serde_json::Value;

use super::{json, wearbook};

/// Two invented plants of one kind side by side; their machines have the same tags.
fn fleet() -> tempfile::TempDir {
    let room = tempfile::tempdir().unwrap();
    for (site, seed) in [("north", "11"), ("south", "12")] {
        let out = room.path().join(site);
        let output = wearbook(&[
            "simulate",
            "--truth",
            "sample-ledger/truth.toml",
            "--register",
            "sample-ledger/plant.toml",
            "--seed",
            seed,
            "--years",
            "2",
            "--out",
            out.to_str().unwrap(),
        ])
        .output()
        .unwrap();
        assert!(output.status.success(), "{output:?}");
    }
    room
}

fn path(folder: &Path) -> &str {
    folder.to_str().unwrap()
}

fn list<'a>(value: &'a Value, key: &str) -> &'a Vec<Value> {
    value[key].as_array().unwrap()
}

#[test]
fn a_folder_of_ledgers_is_read_as_one_fleet() {
    let room = fleet();
    let whole = path(room.path());
    let (north, south) = (room.path().join("north"), room.path().join("south"));
    let (north, south) = (path(&north), path(&south));
    let lives = json(&["lives", whole]);
    assert_eq!(lives, json(&["lives", north, south]));
    let alone = [json(&["lives", north]), json(&["lives", south])];
    let count = |value: &Value| list(value, "lives").len();
    assert_eq!(count(&lives), count(&alone[0]) + count(&alone[1]));
    assert!(list(&lives, "lives").iter().all(|life| {
        let machine = life["machine"].as_str().unwrap();
        machine.starts_with("north/H-") || machine.starts_with("south/H-")
    }));

    // Equal components pool.
    let pooled = |ledger: &str| -> u64 {
        let fits = json(&["fit", ledger, "--by", "component", "--plain"]);
        let packing = list(&fits, "fits")
            .iter()
            .find(|fit| fit["component"] == "packing-set");
        packing.unwrap()["lives"].as_u64().unwrap()
    };
    assert_eq!(pooled(whole), pooled(north) + pooled(south));
    let recommended = json(&["interval", whole]);
    assert!(!list(&recommended, "recommendations").is_empty());
    let counted = |ledger: &str| -> u64 {
        let answer = json(&["query", ledger, "SELECT count(*) AS n FROM entries"]);
        answer["rows"][0]["n"].as_u64().unwrap()
    };
    assert_eq!(counted(whole), counted(north) + counted(south));

    let checked = wearbook(&["check", whole, "--format", "json"])
        .output()
        .unwrap();
    let checked: Value = serde_json::from_slice(&checked.stdout).unwrap();
    assert_eq!(checked["errors"], 0);
    let sealed = json(&["seal", whole]);
    assert_eq!(list(&sealed, "books").len(), list(&checked, "books").len());
    let machines = json(&["recur", whole, "--by", "machine"]);
    assert!(machines.to_string().contains("south/H-01"), "{machines}");
}

/// A ceiling is the maker's or the law's: an interval for a fleet passes none of them.
#[test]
fn the_lowest_ceiling_of_a_fleet_holds() {
    let room = fleet();
    let register = room.path().join("south/plant.toml");
    let text = std::fs::read_to_string(&register).unwrap();
    let lower = text.replacen(
        "id = \"packing-set\"",
        "ceiling = { value = 777, source = \"the maker's manual\" }\nid = \"packing-set\"",
        1,
    );
    assert_ne!(text, lower);
    std::fs::write(&register, lower).unwrap();
    let found = json(&["interval", path(room.path()), "--component", "packing-set"]);
    for row in list(&found, "recommendations") {
        assert_eq!(row["ceiling"], 777.0, "{row}");
        assert!(row["interval"].as_f64().is_none_or(|usage| usage <= 777.0));
    }
}

/// What each item ran in the slot is what its life says, on every slot of the sample.
#[test]
fn a_history_agrees_with_the_life_table() {
    let lives = json(&["lives", "sample-ledger"]);
    let lives = list(&lives, "lives");
    let slots: std::collections::BTreeSet<[&str; 3]> = lives
        .iter()
        .map(|life| ["machine", "component", "position"].map(|key| life[key].as_str().unwrap()))
        .collect();
    let mut compared = 0;
    for slot in slots.iter().step_by(7) {
        let name = slot.join("/");
        let history = json(&["history", &name, "sample-ledger"]);
        assert_eq!(
            history,
            json(&["history", &slot.join("  "), "sample-ledger"])
        );
        let entries = list(&history, "entries");
        assert!(!entries.is_empty());
        let times: Vec<&str> = entries
            .iter()
            .map(|e| e["time"].as_str().unwrap())
            .collect();
        assert!(times.is_sorted(), "{name}");
        for stay in list(&history, "lives") {
            let sha = &stay["start_sha"];
            assert!(entries.iter().any(|entry| &entry["sha"] == sha));
            // An item that was refitted has one life in several stays.
            let Some(life) = lives
                .iter()
                .find(|life| &life["start_sha"] == sha && life["end_sha"] == stay["end_sha"])
            else {
                continue;
            };
            let (Some(ran), Some(entry)) = (stay["usage"].as_f64(), life["entry"].as_f64()) else {
                continue;
            };
            let end = life["hi"].as_f64().or(life["lo"].as_f64()).unwrap();
            // A life's ends are rounded to a tenth of an hour.
            assert!((end - entry - ran).abs() < 0.11, "{name}: {life} {stay}");
            compared += 1;
        }
    }
    assert!(compared > 50, "only {compared} stays were compared");
}

#[test]
fn a_history_of_a_past_day_knows_less() {
    let lives = json(&["lives", "sample-ledger"]);
    let life = &list(&lives, "lives")[0];
    let slot = ["machine", "component", "position"]
        .map(|key| life[key].as_str().unwrap())
        .join("/");
    let day = &life["end_time"].as_str().unwrap()[..10];
    let whole = json(&["history", &slot, "sample-ledger"]);
    let then = json(&["history", &slot, "sample-ledger", "--as-of", day]);
    let (whole, before) = (list(&whole, "entries"), list(&then, "entries"));
    assert!(before.len() < whole.len());
    assert!(
        before
            .iter()
            .all(|entry| entry["time"].as_str().unwrap()[..10] <= *day)
    );
    let text = wearbook(&["history", &slot, "sample-ledger"])
        .output()
        .unwrap();
    let text = String::from_utf8(text.stdout).unwrap();
    // No terminal, so nothing but text.
    assert!(!text.contains('\u{1b}'));
    assert!(text.contains("still running") || text.contains("lives"));
}

/// In a fleet a machine that shares its tag is named with its ledger.
#[test]
fn a_slot_of_a_fleet_is_named_with_its_ledger() {
    let room = fleet();
    let whole = path(room.path());
    let north = room.path().join("north");
    let lives = json(&["lives", path(&north)]);
    let life = &list(&lives, "lives")[0];
    let slot = ["machine", "component", "position"]
        .map(|key| life[key].as_str().unwrap())
        .join("/");
    let alone = json(&["history", &slot, path(&north)]);
    let named = json(&["history", &format!("north/{slot}"), whole]);
    let shas = |value: &Value| -> Vec<String> {
        let entries = list(value, "entries").iter();
        entries.map(|entry| entry["sha"].to_string()).collect()
    };
    assert_eq!(shas(&alone), shas(&named));
    assert!(!shas(&alone).is_empty());
    let usage = |value: &Value| -> Vec<Value> {
        let entries = list(value, "entries").iter();
        entries.map(|entry| entry["usage"].clone()).collect()
    };
    assert_eq!(usage(&alone), usage(&named));
    let book = named["entries"][0]["book"].as_str().unwrap();
    assert!(book.starts_with("north/books/"), "{book}");
    // With the ledger's name also where the tag alone would do.
    let output = wearbook(&["history", &format!("north/{slot}"), path(&north)])
        .output()
        .unwrap();
    assert!(output.status.success());
}

/// Whoever holds a report can tell whether a book was changed since.
#[test]
fn a_report_carries_the_heads_of_all_books_of_a_fleet() {
    let room = fleet();
    let out = room.path().join("report");
    let output = wearbook(&["report", path(room.path()), "--out", path(&out)])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let page = std::fs::read_to_string(out.join("report.html")).unwrap();
    // As a reader sees it: escapes undone, and the marks where a long name may break.
    let page = page.replace("&#x2f;", "/").replace('\u{200b}', "");
    let ledger = page.split("id=\"ledger\"").nth(1).unwrap();
    let sealed = json(&["seal", path(room.path())]);
    let books = list(&sealed, "books");
    assert!(books.len() > 2);
    for book in books {
        let name = book["book"].as_str().unwrap();
        let row = ledger
            .split("<tr>")
            .find(|row| row.contains(&format!("<td>{name}</td>")))
            .unwrap_or_else(|| panic!("{name} is missing"));
        assert!(row.contains(&format!(
            "<code>{}</code>",
            &book["head"].as_str().unwrap()[..12]
        )));
        let lines = book["lines"].as_u64().unwrap();
        let figure = wearbook::quantity::thousands(lines as f64, 0);
        assert!(row.contains(&format!(">{figure}<")), "{row}");
    }
}
