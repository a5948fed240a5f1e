//! The manager's part as the binary writes it: its tables against the answers of other commands,
//! and records that hold little.

use std::path::Path;

use roxmltree::{Document, Node};
use serde_json::Value;

use super::{sample, wearbook};

/// The manager's report of a ledger.
fn page(ledger: &Path, more: &[&str]) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = ledger.display().to_string();
    let mut all = vec!["report", &ledger, "--for", "manager"];
    all.extend(more);
    let output = wearbook(folder.path(), &all);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    std::fs::read_to_string(folder.path().join("report/report.html")).expect("a page")
}

fn part(page: &str) -> &str {
    let from = page
        .find("<section class=\"part\" aria-labelledby=\"money\">")
        .expect("the part");
    let end = page[from..].find("</section>").expect("its end");
    &page[from..from + end + "</section>".len()]
}

fn json(args: &[&str]) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    let mut all = args.to_vec();
    all.extend(["--format", "json"]);
    let output = wearbook(folder.path(), &all);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn text(node: Node<'_, '_>) -> String {
    let own = node
        .descendants()
        .filter(|n| n.is_text())
        .filter_map(|n| n.text());
    own.flat_map(str::split_whitespace)
        .collect::<Vec<_>>()
        .join(" ")
}

/// Rows of the table with this title: the text of each cell, what stands beneath left out.
fn table(part: &str, title: &str) -> Vec<Vec<String>> {
    let tree = Document::parse(part).expect("a well-formed part");
    let table = tree
        .descendants()
        .filter(|n| n.has_tag_name("table"))
        .find(|t| {
            t.descendants()
                .any(|n| n.has_tag_name("b") && n.text() == Some(title))
        })
        .unwrap_or_else(|| panic!("no table {title}"));
    let body = table
        .descendants()
        .find(|n| n.has_tag_name("tbody"))
        .expect("a body");
    body.descendants()
        .filter(|n| n.has_tag_name("tr"))
        .map(|row| {
            let cells = row.children().filter(|n| n.is_element());
            cells
                .map(|cell| {
                    let whole = text(cell);
                    let sub = cell
                        .descendants()
                        .find(|n| n.attribute("class") == Some("sub"));
                    match sub.map(text) {
                        Some(sub) => whole.trim_end_matches(&sub).trim().to_owned(),
                        None => whole,
                    }
                })
                .collect()
        })
        .collect()
}

fn number(text: &str) -> f64 {
    text.replace(',', "")
        .replace('−', "-")
        .parse()
        .unwrap_or_else(|_| panic!("{text}"))
}

#[test]
fn the_money_adds_up_to_the_cent_and_to_what_cost_says() {
    let page = page(&sample(), &[]);
    let part = part(&page);
    let rows = table(part, "What the money went for.");
    let cents = |text: &str| (number(text) * 100.0).round() as i64;
    let (total, years) = rows.split_last().expect("rows");
    assert_eq!(years.len(), 6);
    for column in 1..total.len() {
        let sum: i64 = years.iter().map(|row| cents(&row[column])).sum();
        assert_eq!(sum, cents(&total[column]), "column {column}");
    }
    for row in &rows {
        let (whole, parts) = row[1..].split_last().expect("columns");
        let sum: i64 = parts.iter().map(|cell| cents(cell)).sum();
        assert_eq!(sum, cents(whole), "{row:?}");
    }
    let ledger = sample().display().to_string();
    let cost = json(&["cost", &ledger, "--by", "kind", "--every", "year"]);
    let periods = cost["periods"].as_array().expect("periods");
    let rates = table(part, "Planned against unplanned.");
    for ((year, rate), period) in years.iter().zip(&rates).zip(periods) {
        let told = &period["total"];
        assert_eq!(year[0], period["period"].as_str().expect("a label"));
        assert_eq!(
            number(year.last().expect("a total")),
            told["total"].as_f64().expect("money")
        );
        assert!((number(&rate[2]) - told["rate"].as_f64().expect("a rate")).abs() < 0.005);
        let count = |key: &str| told[key].as_u64().expect("a count") as f64;
        assert_eq!(number(&rate[rate.len() - 2]), count("renewals"));
        assert_eq!(number(&rate[rate.len() - 1]), count("failures"));
    }
    for chart in ["cost-over-time", "cost-by-cause", "cost-change"] {
        assert!(part.contains(&format!("id=\"{chart}\"")), "{chart}");
    }
}

#[test]
fn the_year_before_is_what_cost_against_says() {
    let page = page(&sample(), &[]);
    let rows = table(part(&page), "Failures before and after.");
    let ledger = sample().display().to_string();
    let asked = [
        "cost",
        &ledger,
        "--from",
        "2025-06-16",
        "--against",
        "2024-06-16..2025-06-15",
    ];
    let found = json(&asked);
    let all = &found["failures"][0];
    let last = rows.last().expect("all machines");
    assert_eq!(last[0], "All machines");
    for (cell, period) in [(1, "before"), (2, "after")] {
        assert_eq!(
            number(&last[cell]),
            all[period]["failures"].as_f64().expect("a count")
        );
        let rate = 1e3 * all[period]["rate"].as_f64().expect("a rate");
        assert!((number(&last[cell + 2]) - rate).abs() < 0.005);
    }
    let change = table(part(&page), "What changed.");
    let total = change.last().expect("a total");
    let told = found["total"]["change"].as_f64().expect("money");
    assert!((number(total[5].trim_start_matches('+')) - told).abs() <= 0.5);
}

/// Where nothing is done today but to wait for failures, what is on offer is the saving of the
/// recommendation itself.
#[test]
fn without_an_interval_today_the_offer_is_the_saving_against_run_to_failure() {
    let room = tempfile::tempdir().expect("a folder");
    let ledger = room.path().join("ledger");
    std::fs::create_dir_all(ledger.join("books")).expect("a folder");
    let text = std::fs::read_to_string(sample().join("plant.toml")).expect("a register");
    let text = text.replacen("present_interval = 2000\n", "", 1);
    // Without a grid the interval is the optimum, for which the saving is told.
    let lines = text
        .lines()
        .filter(|line| !line.starts_with("planning_grid"));
    let text: String = lines.map(|line| format!("{line}\n")).collect();
    std::fs::write(ledger.join("plant.toml"), text).expect("a register");
    for book in std::fs::read_dir(sample().join("books")).expect("books") {
        let book = book.expect("a book").path();
        let name = book.file_name().expect("a name").to_owned();
        std::fs::copy(&book, ledger.join("books").join(name)).expect("a copy");
    }
    let rows = table(
        part(&page(&ledger, &["--component", "packing-set"])),
        "What is still on offer.",
    );
    let path = ledger.display().to_string();
    let found = json(&["interval", &path, "--component", "packing-set"]);
    let all = found["recommendations"].as_array().expect("rows");
    let fast = |row: &&Value| row["machine"] == "H-02" && row["position"] == "P2";
    let per = |row: &Value| row["saving_per_1000"].as_f64();
    let saving = per(all.iter().find(fast).expect("the fast slot")).expect("a saving");
    assert!(
        rows.iter()
            .all(|row| row[0] == "In all" || row[1] == "at failure")
    );
    // H-02 runs 98 h a week.
    let year = 98.0 * 365.2425 / 7.0;
    let hours = |row: &&Vec<String>| row[3] == format!("5,{:.0} h", year - 5_000.0);
    let fast = rows.iter().find(hours).expect("the fast slot");
    let expected = saving * year / 1e3;
    assert!(
        (number(&fast[4]) - expected).abs() < 0.02 * expected,
        "{fast:?} {expected}"
    );
}

/// A record of any length gives a part without an empty chart or a figure that is none.
#[test]
fn a_young_record_is_told_as_far_as_it_goes() {
    for (day, said) in [
        ("2021-06-25", "too short"),
        ("2021-08-15", "too short"),
        ("2021-12-31", "the first half of the record"),
        ("2022-10-31", "the first half of the record"),
        ("2023-07-01", "the 12 months before"),
    ] {
        let page = page(&sample(), &["--as-of", day]);
        let part = part(&page);
        assert!(part.contains(said), "{day}: {said}");
        let words = text(Document::parse(part).expect("well-formed").root_element());
        for none in ["NaN", "inf", "None", "EUR per running hour:"] {
            assert!(!words.contains(none), "{day}: {none}");
        }
        for figure in part.split("<figure>").skip(1) {
            assert!(
                figure.contains("<path") || figure.contains("<rect"),
                "{day}"
            );
        }
    }
}

/// The engineer is not told of money, and a component asked for has its own.
#[test]
fn the_part_is_the_managers_and_of_what_was_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = sample().display().to_string();
    let output = wearbook(folder.path(), &["report", &ledger, "--for", "engineer"]);
    assert!(output.status.success());
    let page_of = |folder: &Path| std::fs::read_to_string(folder.join("report/report.html"));
    assert!(
        !page_of(folder.path())
            .expect("a page")
            .contains("id=\"money\"")
    );
    let page = page(&sample(), &["--component", "valve-ball"]);
    let cost = json(&["cost", &ledger, "--component", "valve-ball"]);
    let total = cost["periods"][0]["total"]["total"]
        .as_f64()
        .expect("money");
    let rows = table(part(&page), "What the money went for.");
    let last = rows.last().and_then(|row| row.last()).expect("a total");
    assert!((number(last) - total).abs() < 1e-9);
}

/// Meters that were never read: money is told, rates are not.
#[test]
fn a_ledger_without_readings_or_costs_is_told_so() {
    let room = tempfile::tempdir().expect("a folder");
    let ledger = room.path().join("plant");
    std::fs::create_dir_all(&ledger).expect("a folder");
    let register = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/queries/plant.toml");
    std::fs::copy(register, ledger.join("plant.toml")).expect("a register");
    let path = ledger.display().to_string();
    let record = |lines: &str| {
        let file = room.path().join("lines.jsonl");
        std::fs::write(&file, lines).expect("lines");
        let file = file.display().to_string();
        let args = [
            "record", "--ledger", &path, "--book", "one", "--who", "ann", "--from", &file,
        ];
        let output = wearbook(room.path(), &args);
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
    };
    record(
        "{\"entry\":\"installed\",\"time\":\"2025-01-01T08:00:00Z\",\"machine\":\"H-01\",\
         \"component\":\"packing-set\",\"position\":\"P1\",\"age\":0}\n",
    );
    let first = page(&ledger, &[]);
    assert!(part(&first).contains("tells of no cost yet"));
    record(
        "{\"entry\":\"replaced\",\"time\":\"2025-03-01T08:00:00Z\",\"machine\":\"H-01\",\
         \"component\":\"packing-set\",\"position\":\"P1\",\"age\":0,\"reason\":\"failed\",\
         \"mode\":\"leaking\",\"found\":\"running\"}\n",
    );
    let later = page(&ledger, &[]);
    assert!(part(&later).contains("Nothing was spent in"), "{later}");
    let second = page(&ledger, &["--as-of", "2025-03-31"]);
    let said = part(&second);
    assert!(said.contains("cannot be said, as no meter tells"), "{said}");
    assert!(!said.contains("id=\"cost-over-time\""));
    assert!(!said.contains("NaN"));
}
