//! Sketched maps: a guess has its reason, and what comes out is a map.

use wearbook::intake::import::map::Map;

use crate::desk::Desk;

fn sketch(desk: &Desk, file: &str, ledger: Option<&str>) -> String {
    let mut args = vec!["import", "--sketch", file];
    args.extend(ledger);
    let (code, told) = desk.told(&args);
    assert_eq!(code, 0, "{told}");
    told
}

/// With the register at hand, both examples import by the map as it was sketched, but for
/// the rows that are wrong in them.
#[test]
fn the_examples_import_by_their_sketches() {
    for (file, rejected) in [("work-orders.csv", 4), ("packing-log.xlsx", 3)] {
        let desk = Desk::new();
        desk.lay(&[file]);
        let args = ["import", "--sketch", file, "oat-works", "--out", "map.toml"];
        let (code, told) = desk.told(&args);
        assert_eq!(code, 0, "{told}");
        let args = ["import", file, "--map", "map.toml", "oat-works"];
        let (code, told) = desk.told(&args);
        assert_eq!(code, 1, "{told}");
        assert!(told.contains(&format!(" {rejected} rejected")), "{told}");
    }
}

/// Without a register there is less to go by; what is not known is put out of use.
#[test]
fn without_a_ledger_the_map_says_itself_what_is_left_to_do() {
    let desk = Desk::new();
    desk.lay(&["work-orders.csv"]);
    let text = sketch(&desk, "work-orders.csv", None);
    assert!(text.contains("no ledger was at hand"), "{text}");
    Map::parse("map.toml", text).unwrap_or_else(|e| panic!("{:#?}", e.troubles()));
}

#[test]
fn every_guess_has_its_reason_and_every_doubt_is_marked() {
    let desk = Desk::new();
    let csv = "Date,Machine,Meter,Where\n\
        03/04/2025,H-01,12.480,1\n05/06/2025,H-02,12.590,2\n07/08/2025,H-1,12.610,\n";
    desk.write("log.csv", csv);
    let text = sketch(&desk, "log.csv", Some("oat-works"));
    for said in [
        "dates = \"DD/MM/YYYY\"",
        "CHECK: MM/DD/YYYY reads them as well",
        "CHECK: `12.480` could be two numbers",
        "\"H-1\" = \"H-01\"",
        "CHECK: may be",
        "# component = { column = \"…\" }",
    ] {
        assert!(text.contains(said), "{said} in\n{text}");
    }
    let own = |line: &&str| line.contains(" = ") && !line.starts_with('#');
    for line in text.lines().filter(own) {
        let kind = line.starts_with("entry = ") || line.starts_with("why = ");
        assert!(line.contains("  # ") || kind, "a reason: {line}");
    }
}

/// Meters and quantities one below the other, named in columns of their own.
#[test]
fn columns_that_name_meters_and_quantities_are_taken_for_it() {
    let desk = Desk::new();
    desk.write(
        "meters.csv",
        "When;Asset;Meter;Reading\n2025-04-03 08:00;H-01;hours;12480\n2025-04-10 08:00;H-01;hours;12575\n",
    );
    let args = [
        "import",
        "--sketch",
        "meters.csv",
        "oat-works",
        "--out",
        "m.toml",
    ];
    assert_eq!(desk.told(&args).0, 0);
    let (code, told) = desk.told(&[
        "import",
        "meters.csv",
        "--map",
        "m.toml",
        "oat-works",
        "--who",
        "Me",
    ]);
    assert_eq!(code, 0, "{told}");
    assert!(told.contains("2 rows, 2 good, 0 rejected"), "{told}");
    desk.write(
        "gauges.csv",
        "Date,Machine,Component,Position,Quantity,Value,Unit\n2025-04-03,H-01,packing-spring,P1,free-length,48.2,mm\n",
    );
    let args = [
        "import",
        "--sketch",
        "gauges.csv",
        "oat-works",
        "--out",
        "g.toml",
    ];
    assert_eq!(desk.told(&args).0, 0);
    let (code, told) = desk.told(&[
        "import",
        "gauges.csv",
        "--map",
        "g.toml",
        "oat-works",
        "--who",
        "Me",
    ]);
    assert_eq!(code, 0, "{told}");
    assert!(told.contains("measured"), "{told}");
}

/// Files that are hardly any: nothing but a text comes of them, and never a panic.
#[test]
fn odd_files_are_sketched_or_told() {
    let desk = Desk::new();
    for (name, bytes) in [
        ("empty.csv", &b""[..]),
        ("blank.csv", b"\n\n\n"),
        ("heading.csv", b"Date;Hours\n"),
        ("one.csv", b"x"),
        ("wide.csv", b"a,b\n1,2,3,4,5,6\n"),
        ("numbers.csv", b"1,2,3\n4,5,6\n"),
        ("odd.csv", b"\xff\xfe\x00\xd8"),
        ("win.csv", b"Datum;Stunden\n1.2.2024;3\xb5\n"),
        ("zip.xlsx", b"PK\x03\x04 not really"),
    ] {
        desk.write(name, bytes);
        let output = desk.run(&["import", "--sketch", name]);
        let code = output.status.code().expect("exit code");
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(matches!(code, 0 | 3), "{name}: {code} {errors}");
        assert!(!errors.contains("panicked"), "{name}: {errors}");
    }
}
