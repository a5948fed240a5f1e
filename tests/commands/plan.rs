//! `plan`: stops, kits, orders and the calendar file.

use std::collections::BTreeMap;

use serde_json::Value;

use super::{json, wearbook};

fn list<'a>(value: &'a Value, key: &str) -> &'a Vec<Value> {
    value[key].as_array().unwrap()
}

fn text<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap()
}

fn sample() -> Value {
    json(&["plan", "sample-ledger", "--to", "2027-06-14"])
}

/// Pieces of each part number over all kits and over all orders.
fn pieces(lines: impl Iterator<Item = (String, u64)>) -> BTreeMap<String, u64> {
    let mut sums = BTreeMap::new();
    for (part, pieces) in lines {
        *sums.entry(part).or_default() += pieces;
    }
    sums
}

#[test]
fn a_year_of_the_sample_hangs_together() {
    let found = sample();
    let plan = &list(&found, "plans")[0];
    assert_eq!(text(plan, "plant"), "Quillmoor Oat Works");
    let stops = list(plan, "stops");
    let dates: Vec<&str> = stops.iter().map(|stop| text(stop, "date")).collect();
    assert!(dates.is_sorted());
    assert!(
        dates
            .iter()
            .all(|d| (text(plan, "from")..=text(plan, "to")).contains(d))
    );
    for machine in ["H-01", "H-02", "H-03"] {
        assert!(stops.iter().any(|stop| text(stop, "machine") == machine));
    }
    for stop in stops {
        assert!(text(stop, "earliest") <= text(stop, "date"));
        assert!(text(stop, "date") <= text(stop, "latest"));
        assert!(number(stop, "cost") > 0.0 && number(stop, "hours") > 0.0);
        // The kit holds the pieces of what is renewed, no more.
        let wanted = pieces(list(stop, "renew").iter().map(|task| {
            (
                text(task, "part").to_owned(),
                task["pieces"].as_u64().unwrap(),
            )
        }));
        let kit = pieces(list(stop, "kit").iter().map(|line| {
            (
                text(line, "part").to_owned(),
                line["pieces"].as_u64().unwrap(),
            )
        }));
        assert_eq!(wanted, kit);
        // An opening brings its gaskets: cap off, cap gasket.
        for (opens, gasket) in [
            ("Cylinder cap off", "cap-gasket"),
            ("Valve head off", "head-gasket"),
        ] {
            let opened = list(stop, "opens")
                .iter()
                .find_map(|o| o.as_str().unwrap().strip_prefix(opens));
            let cylinders: Vec<&str> =
                opened.map_or_else(Vec::new, |c| c.split_whitespace().collect());
            let gaskets: Vec<&str> = list(stop, "renew")
                .iter()
                .filter(|task| text(task, "component") == gasket)
                .map(|task| text(task, "position"))
                .collect();
            assert_eq!(cylinders, gaskets, "{stop}");
        }
    }
    // What the shelf cannot give is ordered, and nothing else.
    let short = pieces(
        stops
            .iter()
            .flat_map(|stop| list(stop, "kit"))
            .filter_map(|line| {
                let short = line["to_order"].as_u64().unwrap();
                (short > 0).then(|| (text(line, "part").to_owned(), short))
            }),
    );
    let ordered = pieces(list(plan, "orders").iter().map(|order| {
        (
            text(order, "part").to_owned(),
            order["pieces"].as_u64().unwrap(),
        )
    }));
    assert_eq!(short, ordered);
    // No more is drawn than lies there: the register states 4 springs.
    let drawn: u64 = stops
        .iter()
        .flat_map(|stop| list(stop, "kit"))
        .filter(|line| line["part"] == "PS-52")
        .map(|line| line["from_stock"].as_u64().unwrap())
        .sum();
    let stock = std::fs::read_to_string("sample-ledger/plant.toml").unwrap();
    let spring = &stock[stock.find("number = \"PS-52\"").unwrap()..];
    let stated = spring
        .lines()
        .find_map(|line| line.strip_prefix("stock = "))
        .unwrap();
    assert!(drawn <= stated.parse().unwrap());
    assert!(list(&found, "cautions").len() >= 4);
}

#[test]
fn what_is_overdue_stands_first_and_in_the_first_stops() {
    let found = sample();
    let plan = &list(&found, "plans")[0];
    let stops = list(plan, "stops");
    for late in list(plan, "overdue") {
        let stop = stops
            .iter()
            .find(|stop| stop["machine"] == late["machine"])
            .unwrap();
        assert_eq!(stop["date"], plan["as_of"]);
        let task = list(stop, "renew")
            .iter()
            .find(|task| {
                task["component"] == late["component"] && task["position"] == late["position"]
            })
            .unwrap();
        assert!(["overdue", "condemned"].contains(&text(task, "why")));
    }
    let output = wearbook(&["plan", "sample-ledger"]).output().unwrap();
    let told = String::from_utf8(output.stdout).unwrap();
    assert!(told.starts_with("Overdue\n"), "{told}");
    assert!(told.contains("Before anything is opened"));
}

/// A machine alone, a shorter time and fewer crews change what they should and nothing else.
#[test]
fn machine_period_and_crews_are_the_users() {
    let all = sample();
    let one = json(&[
        "plan",
        "sample-ledger",
        "--to",
        "2027-06-14",
        "--machine",
        "H-02",
    ]);
    let of = |found: &Value| -> Vec<String> {
        list(&list(found, "plans")[0], "stops")
            .iter()
            .filter(|stop| stop["machine"] == "H-02")
            .map(|stop| text(stop, "date").to_owned())
            .collect()
    };
    assert_eq!(of(&all), of(&one));
    // The shelf is everyone's: what others take first is gone for it too.
    let kits = |found: &Value| -> Vec<Value> {
        let stops = list(&list(found, "plans")[0], "stops").iter();
        let own = stops.filter(|stop| stop["machine"] == "H-02");
        own.map(|stop| stop["kit"].clone()).collect()
    };
    assert_eq!(kits(&all), kits(&one));
    assert_eq!(list(&list(&one, "plans")[0], "machines").len(), 1);
    let short = json(&[
        "plan",
        "sample-ledger",
        "--from",
        "2026-10-01",
        "--to",
        "2026-12-31",
    ]);
    let within: Vec<&Value> = list(&list(&all, "plans")[0], "stops")
        .iter()
        .filter(|stop| ("2026-10-01"..="2026-12-31").contains(&text(stop, "date")))
        .collect();
    let dates = |stops: Vec<&Value>| -> Vec<String> {
        stops
            .into_iter()
            .map(|s| text(s, "date").to_owned())
            .collect()
    };
    assert_eq!(
        dates(list(&list(&short, "plans")[0], "stops").iter().collect()),
        dates(within)
    );
    let many = json(&["plan", "sample-ledger", "--crews", "3"]);
    assert!(list(&list(&many, "plans")[0], "conflicts").is_empty());
    let few = json(&["plan", "sample-ledger", "--crews", "1"]);
    let clash = &list(&list(&few, "plans")[0], "conflicts")[0];
    assert_eq!(
        list(clash, "machines").len(),
        list(clash, "instead").len() + 1
    );
}

#[test]
fn a_plan_that_ends_before_it_begins_or_names_nobody_is_refused() {
    for (args, words) in [
        (vec!["--to", "2020-01-01"], "before it begins"),
        (vec!["--machine", "H-09"], "no machine \"H-09\""),
    ] {
        let output = wearbook(&["plan", "sample-ledger"])
            .args(args)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2));
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(words), "{told}");
    }
}

/// The calendar file as an independent parser reads it (the `ical` crate): every stop and
/// every order with a date, an event each, named once, the same bytes twice.
#[test]
fn the_calendar_is_what_an_independent_parser_reads() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("stops.ics");
    let path = file.to_str().unwrap();
    let found = json(&["plan", "sample-ledger", "--ics", path]);
    let first = std::fs::read(&file).unwrap();
    json(&["plan", "sample-ledger", "--ics", path]);
    assert_eq!(first, std::fs::read(&file).unwrap());

    // RFC 5545, 3.1: lines end with CRLF and hold at most 75 octets.
    let whole = String::from_utf8(first.clone()).unwrap();
    assert!(
        whole
            .split_terminator("\r\n")
            .all(|line| line.len() <= 75 && !line.contains('\n'))
    );

    // Folds are undone here: the parser drops all blanks after one, where RFC 5545 drops one.
    let unfolded = whole.replace("\r\n ", "");
    let calendars: Vec<_> = ical::IcalParser::new(unfolded.as_bytes())
        .collect::<Result<_, _>>()
        .unwrap();
    let [calendar] = &calendars[..] else {
        panic!("{} calendars", calendars.len());
    };
    let property = |properties: &[ical::property::Property], name: &str| {
        let found: Vec<_> = properties.iter().filter(|p| p.name == name).collect();
        assert_eq!(found.len(), 1, "{name}");
        found[0].value.clone().unwrap()
    };
    assert_eq!(property(&calendar.properties, "VERSION"), "2.0");
    assert_eq!(
        property(&calendar.properties, "PRODID"),
        "-//wearbook//plan//EN"
    );
    let plan = &list(&found, "plans")[0];
    let mut wanted: Vec<String> = list(plan, "stops")
        .iter()
        .map(|stop| text(stop, "date").replace('-', ""))
        .chain(list(plan, "orders").iter().filter_map(|order| {
            let day = order["order_by"].as_str()?.max(text(plan, "as_of"));
            Some(day.replace('-', ""))
        }))
        .collect();
    let mut told: Vec<String> = calendar
        .events
        .iter()
        .map(|event| property(&event.properties, "DTSTART"))
        .collect();
    wanted.sort();
    told.sort();
    assert_eq!(wanted, told);
    let mut names: Vec<String> = calendar
        .events
        .iter()
        .map(|event| property(&event.properties, "UID"))
        .collect();
    names.sort();
    let count = names.len();
    names.dedup();
    assert_eq!(names.len(), count);
    for event in &calendar.events {
        assert_eq!(
            property(&event.properties, "DTSTAMP").len(),
            "20260615T055724Z".len()
        );
        let title = property(&event.properties, "SUMMARY");
        let words = property(&event.properties, "DESCRIPTION");
        assert!(
            title.starts_with("Order ") || words.contains("isolate and lock out"),
            "{words}"
        );
    }
}

/// Three rings on the triplex machines, four on the quintuplex one: the kit and its orders
/// count them, and the costs follow.
#[test]
fn a_type_of_machine_may_take_another_number_of_pieces() {
    let folder = tempfile::tempdir().unwrap();
    let books = folder.path().join("books");
    std::fs::create_dir(&books).unwrap();
    for book in std::fs::read_dir("sample-ledger/books").unwrap() {
        let book = book.unwrap();
        std::fs::copy(book.path(), books.join(book.file_name())).unwrap();
    }
    let register = std::fs::read_to_string("sample-ledger/plant.toml").unwrap();
    let five = "positions = [\"P1\", \"P2\", \"P3\", \"P4\", \"P5\"], access = \"cylinder\" }";
    let slot = format!("component = \"packing-set\", {five}");
    assert!(register.contains(&slot));
    let four = slot.replace(" }", ", pieces = 4 }");
    std::fs::write(
        folder.path().join("plant.toml"),
        register.replace(&slot, &four),
    )
    .unwrap();
    let path = folder.path().to_str().unwrap();
    let changed = json(&["plan", path, "--to", "2026-12-31"]);
    let mut seen = [false; 2];
    for stop in list(&list(&changed, "plans")[0], "stops") {
        let packing = list(stop, "renew")
            .iter()
            .filter(|t| t["component"] == "packing-set");
        let each = match text(stop, "machine") {
            "H-03" => 4,
            _ => 3,
        };
        for task in packing {
            assert_eq!(task["pieces"], each, "{stop}");
            seen[usize::from(each == 4)] = true;
        }
    }
    assert_eq!(seen, [true, true]);
    // What the books say of three rings is then another number than the register's.
    let output = wearbook(&["check", path]).output().unwrap();
    let told = String::from_utf8(output.stdout).unwrap();
    assert!(
        told.contains("3 pieces put in where the register says 4"),
        "{told}"
    );
}
