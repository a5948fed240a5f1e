//! The report in a real browser: no console message, and printed pages that are whole.

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
