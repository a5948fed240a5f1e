//! `docs/import.md` is kept true: every command in it is run, and answers as it says there
//! (`tests/support/guide.rs` says how).

use crate::desk::{Desk, root};

#[path = "../support/guide.rs"]
mod pages;

const GUIDE: &str = "docs/import.md";

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

#[test]
fn the_guide_is_true() {
    pages::hold(GUIDE, "console", room().folder());
}

/// The report needs the query engine, and some seconds.
#[test]
fn the_report_of_what_was_imported_runs() {
    let desk = room();
    for step in pages::steps(GUIDE, "console") {
        pages::answer(desk.folder(), &step.command);
    }
    for step in pages::steps(GUIDE, "console report") {
        let (text, code) = pages::answer(desk.folder(), &step.command);
        assert_eq!(code, 0, "{text}");
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
