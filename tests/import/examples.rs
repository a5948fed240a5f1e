//! The example exports: what comes of them, and that nothing of them is lost on the way.

use wearbook::intake::import::cell::Row;
use wearbook::intake::import::map::Map;
use wearbook::intake::import::sheet::Sheet;

use crate::desk::{Desk, root};

const ALL: [&str; 5] = [
    "work-orders.csv",
    "work-orders.toml",
    "work-orders-mended.csv",
    "packing-log.xlsx",
    "packing-log.toml",
];

fn import<'a>(file: &'a str, map: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut args = vec!["import", file, "--map", map, "oat-works"];
    args.extend(more);
    args
}

#[test]
fn nothing_is_written_while_a_row_is_rejected() {
    let desk = Desk::new();
    desk.lay(&ALL);
    for (file, map) in [
        ("work-orders.csv", "work-orders.toml"),
        ("packing-log.xlsx", "packing-log.toml"),
    ] {
        let (code, _) = desk.told(&import(file, map, &[]));
        assert_eq!(code, 1, "a dry run with findings");
        let (code, told) = desk.told(&import(file, map, &["--write"]));
        assert_eq!(code, 3);
        assert!(told.contains("nothing was written"), "{told}");
        assert!(!desk.path("oat-works/books").exists());
    }
}

#[test]
fn good_rows_come_in_rejected_ones_are_put_aside_mended_and_imported() {
    let desk = Desk::new();
    desk.lay(&ALL);
    let keep = ["--write", "--keep-good"];
    let (code, told) = desk.told(&import("work-orders.csv", "work-orders.toml", &keep));
    assert_eq!(code, 1, "{told}");
    // The mended file is the one put aside, with five cells mended.
    let cells = |name: &str| -> Vec<String> {
        let bytes = desk.read(name);
        let (text, _, _) = encoding_rs::WINDOWS_1252.decode(&bytes);
        text.split([';', '\n']).map(str::to_owned).collect()
    };
    let (aside, mended) = (
        cells("work-orders-rejected.csv"),
        cells("work-orders-mended.csv"),
    );
    let differ = aside.iter().zip(&mended).filter(|(a, b)| a != b).count();
    assert_eq!((aside.len(), differ), (mended.len(), 5));
    // Unmended it is rejected again, for the same reasons; mended it comes in.
    let again = "work-orders-rejected.csv";
    let (code, told) = desk.told(&import(again, "work-orders.toml", &["--format", "json"]));
    assert_eq!(code, 1);
    let json: serde_json::Value = serde_json::from_str(&told).expect("JSON");
    let kinds: Vec<&str> = json["rejected"]
        .as_array()
        .expect("list")
        .iter()
        .map(|row| row["kind"].as_str().expect("kind"))
        .collect();
    assert_eq!(
        kinds,
        [
            "import-skipped-time",
            "import-repeated-time",
            "import-unknown-value",
            "meter-backwards",
            "import-unknown-value"
        ]
    );
    let before = desk.lines().len();
    let mended = import("work-orders-mended.csv", "work-orders.toml", &["--write"]);
    let (code, told) = desk.told(&mended);
    assert_eq!(code, 0, "{told}");
    assert_eq!(desk.lines().len(), before + 15);
    // The whole list once more: what was good is known, what was mended is still wrong in it.
    let (code, told) = desk.told(&import("work-orders.csv", "work-orders.toml", &[]));
    assert_eq!(code, 1);
    assert!(told.contains("nothing would be written"), "{told}");
}

#[test]
fn the_workbook_comes_in_and_its_rejected_rows_fit_the_same_map_as_csv() {
    let desk = Desk::new();
    desk.lay(&ALL);
    let keep = ["--write", "--keep-good", "--rejected", "aside.csv"];
    let (code, told) = desk.told(&import("packing-log.xlsx", "packing-log.toml", &keep));
    assert_eq!(code, 1, "{told}");
    let aside = String::from_utf8(desk.read("aside.csv")).expect("UTF-8");
    // The machine is written once for all rows in the workbook, and on each row here.
    let rows: Vec<&str> = aside.lines().skip(4).collect();
    assert_eq!(rows.len(), 3, "{aside}");
    assert!(rows.iter().all(|row| row.contains(",H-03,")), "{aside}");
    let (code, told) = desk.told(&import("aside.csv", "packing-log.toml", &[]));
    assert_eq!(code, 1);
    assert!(told.contains("3 rows, 0 good, 3 rejected"), "{told}");
    // The row with another cylinder, mended.
    desk.write("aside.csv", aside.replace(",6,", ",3,"));
    let (code, told) = desk.told(&import("aside.csv", "packing-log.toml", &[]));
    assert_eq!(code, 1);
    assert!(told.contains("3 rows, 1 good, 2 rejected"), "{told}");
}

#[test]
fn every_format_tells_the_same() {
    let desk = Desk::new();
    desk.lay(&ALL);
    let (_, json) = desk.told(&import(
        "packing-log.xlsx",
        "packing-log.toml",
        &["--format", "json"],
    ));
    let (_, csv) = desk.told(&import(
        "packing-log.xlsx",
        "packing-log.toml",
        &["--format", "csv"],
    ));
    let (_, table) = desk.told(&import("packing-log.xlsx", "packing-log.toml", &["--all"]));
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["written"], false);
    assert_eq!(json["rows"], 62);
    assert_eq!(json["rejected_rows"], 3);
    let new: u64 = json["counts"]
        .as_array()
        .expect("counts")
        .iter()
        .map(|count| count["new"].as_u64().expect("number"))
        .sum();
    let entries = json["entries"].as_array().expect("entries");
    let rejected = json["rejected"].as_array().expect("rejected");
    assert_eq!(entries.len() as u64, new);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("row")).collect();
    assert_eq!(rows.len(), entries.len() + rejected.len());
    let shown = table
        .lines()
        .filter(|line| line.contains("  H-03  "))
        .count();
    assert_eq!(shown, entries.len());
    assert_eq!(json["unknown"][0]["value"], "6");
}

/// One cell of each kind. DIFFERS: a formula that failed leaves no trace in an open document
/// that the library reads, so that its cell is empty.
#[test]
fn workbooks_of_either_kind_read_alike() {
    let map = "[[entry]]\nentry = \"reading\"\ntime = { column = \"day\" }\nmachine = \"H-01\"\n\
        meter = \"hours\"\nvalue = 1\n";
    let map = Map::parse("map.toml", map.to_owned()).expect("map");
    let read = |name: &str| -> Vec<(u64, Vec<String>)> {
        let path = root().join("tests/import").join(name);
        let sheet = Sheet::open(&path, &map.file).expect(name);
        assert_eq!(sheet.source, format!("{name}/Cells"));
        let (mut rows, mut row, mut all) = (sheet.rows(), Row::default(), Vec::new());
        while rows.next(&mut row).expect("row") {
            let cells = row.cells.iter().map(|cell| cell.text('.').into_owned());
            all.push((row.number, cells.collect()));
        }
        all
    };
    let (xlsx, mut ods) = (read("cells.xlsx"), read("cells.ods"));
    let values = [
        "H-01",
        "12480",
        "0.3",
        "2025-03-30",
        "2025-03-30 01:30",
        "14:30",
        "26:15",
        "true",
        "2",
        "#N/A",
        "",
        "two\nlines",
    ];
    assert_eq!(xlsx[1].0, 5);
    assert_eq!(xlsx[1].1, values);
    assert_eq!(ods[1].1[9], "");
    "#N/A".clone_into(&mut ods[1].1[9]);
    assert_eq!(ods, xlsx);
}
