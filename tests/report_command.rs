//! `report` as a user runs it: files, exit codes, the same bytes again, and the sample ledger's
//! pages in a browser.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

use assert_cmd::Command;
use roxmltree::Document;

#[path = "support/browser.rs"]
mod browser;
#[path = "report/twin.rs"]
mod twin;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-ledger")
}

/// The binary with an empty environment in a folder of its own.
fn wearbook(folder: &Path, arguments: &[&str]) -> std::process::Output {
    Command::cargo_bin("wearbook")
        .expect("the binary")
        .env_clear()
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("runs")
}

fn report(folder: &Path, arguments: &[&str]) -> (String, String) {
    let ledger = sample().display().to_string();
    let mut all = vec!["report", &ledger];
    all.extend(arguments);
    let output = wearbook(folder, &all);
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    let said = text(output.stderr);
    assert!(output.status.success(), "{said}");
    (text(output.stdout), said)
}

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    std::fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| {
            let entry = entry.expect("an entry");
            let name = entry.file_name().to_string_lossy().into_owned();
            (name, std::fs::read(entry.path()).expect("a file"))
        })
        .collect()
}

#[test]
fn the_report_and_its_charts_are_written_and_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let (stdout, stderr) = report(folder.path(), &[]);
    assert_eq!(stdout.trim_end(), "report/report.html");
    let written = files(&folder.path().join("report"));
    let charts = written.keys().filter(|n| n.ends_with(".svg")).count();
    assert!(
        stderr.contains(&format!("{charts} charts beside it in report")),
        "{stderr}"
    );
    assert_eq!(charts + 2, written.len(), "{:?}", written.keys());
    for (name, bytes) in &written {
        if name.ends_with(".svg") {
            let text = std::str::from_utf8(bytes).expect("UTF-8");
            Document::parse(text).unwrap_or_else(|e| panic!("{name}: {e}"));
        }
    }
    for name in [
        "packing-set-probability.svg",
        "packing-set-cost.svg",
        "packing-set-history.svg",
        "stops.svg",
        "report.json",
    ] {
        assert!(written.contains_key(name), "{name}");
    }
}

/// The day the report is made on must not show, nor the folder it is made in.
#[test]
fn the_same_ledger_gives_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &["--out", "one"]);
    report(folder.path(), &["--out", "two/deep"]);
    assert!(files(&folder.path().join("one")) == files(&folder.path().join("two/deep")));
}

#[test]
fn an_older_date_gives_the_ledger_as_it_stood() {
    let folder = tempfile::tempdir().expect("a folder");
    // A plan looks ahead; the other parts must know of nothing later.
    report(
        folder.path(),
        &["--as-of", "2024-03-31", "--for", "engineer"],
    );
    let page = std::fs::read_to_string(folder.path().join("report/report.html")).expect("a page");
    assert!(page.contains("as it stood on 31 March 2024"));
    for later in [
        "\n2025\n",
        "\n2026\n",
        " 2025.",
        " 2026.",
        "2025-",
        "2026-",
        "April 2024",
        "May 2024",
        "January 2025",
        "June 2026",
    ] {
        assert!(!page.contains(later), "{later:?} is later than the date");
    }
}

#[test]
fn one_component_can_be_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &["--component", "packing-set"]);
    let written = files(&folder.path().join("report"));
    assert!(written.keys().all(|n| n.starts_with("packing-set-")
        || ["report.html", "report.json", "stops.svg"].contains(&n.as_str())));
}

/// What the sample's truth says must be what the page says.
#[test]
fn the_page_calls_the_sample_right() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &[]);
    let page = std::fs::read_to_string(folder.path().join("report/report.html")).expect("a page");
    assert!(
        page.contains("all positions but H-02 P2"),
        "the fast slot is not set apart"
    );
    let section = |id: &str| {
        let from = page
            .find(&format!("id=\"section-{id}\""))
            .expect("a section");
        let rest = &page[from..];
        rest[..rest.find("</section>").expect("its end")].to_owned()
    };
    assert!(section("valve-spring").contains("Failures come early in life"));
    assert!(section("cap-gasket").contains("Not enough evidence: no failure in"));
    assert!(section("packing-set").contains("It wears out"));
}

/// `reports/sample/` is what the sample ledger gives; it is renewed with
/// `WEARBOOK_BLESS=1 cargo test --release --test report_command`. What must agree is what a
/// reader would check: the books' heads, the date, the table of recommendations.
#[test]
fn the_rendered_sample_is_of_the_sample_ledger() {
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &[]);
    let made = std::fs::read_to_string(folder.path().join("report/report.html")).expect("a page");
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("reports/sample");
    if std::env::var_os("WEARBOOK_BLESS").is_some() {
        for name in [
            "report.html",
            "packing-set-probability.svg",
            "packing-set-cost.svg",
        ] {
            std::fs::copy(folder.path().join("report").join(name), kept.join(name))
                .expect("the sample is written");
        }
    }
    let kept = std::fs::read_to_string(kept.join("report.html")).expect("a rendered sample");
    let part = |page: &str, from: &str, to: &str| {
        let start = page.find(from).unwrap_or_else(|| panic!("{from}"));
        let end = page[start..].find(to).unwrap_or_else(|| panic!("{to}"));
        page[start..start + end].to_owned()
    };
    for (from, to) in [
        ("<header>", "</header>"),
        ("id=\"recommendations\"", "</table>"),
        ("id=\"ledger\"", "</section>"),
    ] {
        assert!(
            part(&made, from, to) == part(&kept, from, to),
            "reports/sample is stale at {from}: renew it (see above)"
        );
    }
}

/// A ceiling on the time, wide enough for a busy machine; the aim is under 2 s.
#[test]
fn the_sample_takes_no_more_than_a_few_seconds() {
    let folder = tempfile::tempdir().expect("a folder");
    let start = Instant::now();
    report(folder.path(), &[]);
    let taken = start.elapsed();
    assert!(taken.as_secs_f64() < 20.0, "{taken:?}");
}

#[test]
fn a_folder_that_cannot_be_made_leaves_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("taken"), "a file").expect("a file");
    let ledger = sample().display().to_string();
    let output = wearbook(folder.path(), &["report", &ledger, "--out", "taken"]);
    assert_eq!(output.status.code(), Some(4));
    assert!(output.stdout.is_empty());
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.starts_with("error: taken: could not make the folder"),
        "{said}"
    );
    assert_eq!(
        std::fs::read_to_string(folder.path().join("taken")).expect("still"),
        "a file"
    );
}

#[test]
fn the_sample_prints_whole_pages_without_a_console_message() {
    let Some(tools) = browser::tools() else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    report(folder.path(), &[]);
    let out = folder.path().join("report");
    let page = std::fs::read_to_string(out.join("report.html")).expect("a page");
    let (sheets, said) = browser::print(&tools, &page, "A4");
    assert!(!said.contains("CONSOLE"), "{said}");
    assert!((15..=45).contains(&sheets.len()), "{} sheets", sheets.len());
    browser::assert_numbered(&sheets);
    // Figures stand in the page in the order of their numbers; their files lie beside it.
    let mut charts: Vec<(usize, String)> = files(&out)
        .into_iter()
        .filter(|(name, _)| name.ends_with(".svg"))
        .map(|(_, bytes)| String::from_utf8(bytes).expect("UTF-8"))
        .map(|svg| {
            (
                page.find(svg.trim_end()).expect("the chart is in the page"),
                svg,
            )
        })
        .collect();
    charts.sort();
    for (i, (_, svg)) in charts.iter().enumerate() {
        browser::assert_figure_whole(&sheets, i + 1, svg);
    }
}
