//! The report in a real browser: no console message, and printed pages that are whole.

use std::path::Path;

use wearbook::report::{Rendered, render};

#[path = "support/browser.rs"]
mod browser;
#[path = "support/quillmoor.rs"]
mod quillmoor;

/// Every sheet numbered, every heading there, and each picture whole on one sheet: its number,
/// its title and each of its other labels.
fn assert_whole(page: &Rendered, sheets: &[String], paper: &str) {
    browser::assert_numbered(sheets);
    let all = sheets.join(" ");
    for heading in [
        "Quillmoor Oat Works",
        "Contents",
        "1 Plunger packing set",
        "2 Drive belt",
        "3 Discharge valve seat, hard-faced, long pattern",
        "4 Head gasket",
        "Quality of the data",
        "Method and sources",
        "Words used here",
        "Before opening a machine",
        "What this rests on",
    ] {
        assert!(all.contains(heading), "{paper}: {heading}");
    }
    for (i, chart) in page.charts.iter().enumerate() {
        browser::assert_figure_whole(sheets, i + 1, &chart.svg);
    }
    // A table that runs over several sheets repeats its head on each.
    let rows: Vec<_> = sheets
        .iter()
        .filter(|s| s.contains("(0) not enough evidence"))
        .collect();
    assert!(!rows.is_empty());
    for sheet in rows {
        assert!(
            sheet.contains("Machine Position Lives"),
            "{paper}: a table without its head"
        );
    }
}

#[test]
fn the_report_prints_whole_pages_on_a4_and_letter() {
    let Some(tools) = browser::tools() else {
        return;
    };
    let page = render(&quillmoor::report()).expect("the fixture can be set");
    for paper in ["A4", "Letter"] {
        let (sheets, said) = browser::print(&tools, &page.html, paper);
        assert!(!said.contains("CONSOLE"), "{paper}: {said}");
        assert!(
            (8..=24).contains(&sheets.len()),
            "{paper}: {} sheets",
            sheets.len()
        );
        assert_whole(&page, &sheets, paper);
    }
}

/// The look for console messages must be able to find one.
#[test]
fn a_console_message_would_be_seen() {
    let Some(tools) = browser::tools() else {
        return;
    };
    let page = render(&quillmoor::report()).expect("the fixture can be set");
    let broken = page.html.replacen(
        "</body>",
        "<img src=\"http://127.0.0.1:9/x.png\" alt=\"\"></body>",
        1,
    );
    let (_, said) = browser::print(&tools, &broken, "A4");
    assert!(said.contains("CONSOLE"), "{said}");
}

/// The work sheets of the sample: cautions first, no more than two sheets of A4, nothing cut.
#[test]
fn work_sheets_print_on_two_pages() {
    let Some(tools) = browser::tools() else {
        return;
    };
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-ledger");
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (machine, stop, most) in [
        ("H-01", "2026-06-22", 2),
        ("H-02", "2026-06-22", 2),
        ("H-03", "2026-06-22", 2),
        // Stops of the plan.
        ("H-03", "2026-09-07", 2),
        ("H-03", "2027-02-22", 2),
        // Nothing done for a year: nearly everything is due.
        ("H-03", "2027-06-21", 3),
    ] {
        for (paper, word) in [("A4", "a4"), ("Letter", "letter")] {
            let page = folder.path().join("sheet.html");
            let done = std::process::Command::new(env!("CARGO_BIN_EXE_wearbook"))
                .env_clear()
                .arg("sheet")
                .arg(machine)
                .arg(&sample)
                .args(["--stop", stop, "--paper", word, "--replace", "--to"])
                .arg(&page)
                .output()
                .expect("wearbook runs");
            assert!(done.status.success(), "{done:?}");
            let html = std::fs::read_to_string(&page).expect("a page");
            let (sheets, said) = browser::print(&tools, &html, paper);
            assert!(!said.contains("CONSOLE"), "{said}");
            assert!(
                sheets.len() <= most || paper == "Letter" && sheets.len() == 3,
                "{machine} {stop} {paper}: {} sheets",
                sheets.len()
            );
            let all = sheets.join(" ");
            let at = |text: &str| {
                all.find(text)
                    .unwrap_or_else(|| panic!("no `{text}`: {all}"))
            };
            assert!(at("Prove that the pressure is gone") < at("Parts to take"));
            at("Dry ice burns skin");
            at("Notes (each with its key");
            for (n, sheet) in sheets.iter().enumerate() {
                let foot = format!("Page {} of {}", n + 1, sheets.len());
                assert!(sheet.contains(&foot), "{foot}");
            }
            // Every key of the twin stands on the paper.
            let twin = std::fs::read_to_string(page.with_extension("csv")).expect("its twin");
            let words: std::collections::BTreeSet<&str> = all.split(' ').collect();
            for row in twin.lines().skip(1) {
                let key = row.split(',').next().unwrap_or_default();
                assert!(words.contains(key), "no {key} in {all}");
            }
            let wide = browser::overflow(&tools, &html, 192);
            assert!(wide.is_empty(), "{machine}: {wide:?}");
        }
    }
}
