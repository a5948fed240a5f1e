//! `cost`: where the money went; what is kept apart adds up to the whole.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use serde_json::Value;

use super::{json, wearbook};

fn list<'a>(value: &'a Value, key: &str) -> &'a Vec<Value> {
    value[key].as_array().unwrap()
}

/// Money as it was written: JSON holds its shortest digits.
fn money(value: &Value, key: &str) -> Decimal {
    Decimal::from_f64(value[key].as_f64().unwrap())
        .unwrap()
        .round_dp(4)
}

fn sum(rows: &[Value], key: &str) -> Decimal {
    rows.iter().map(|row| money(row, key)).sum()
}

const CLASSES: [&str; 5] = ["parts", "labour", "downtime", "extra", "expense"];

#[test]
fn whatever_is_kept_apart_adds_up_to_the_whole() {
    let whole = json(&["cost", "sample-ledger"]);
    let total = &list(&whole, "periods")[0]["total"];
    assert_eq!(money(total, "total"), Decimal::new(7_534_555, 1));
    for by in [
        "machine",
        "component",
        "position",
        "part",
        "mode",
        "kind",
        "machine,component,kind",
    ] {
        let found = json(&["cost", "sample-ledger", "--by", by]);
        let period = &list(&found, "periods")[0];
        let groups = list(period, "groups");
        for key in CLASSES.iter().chain(&["total"]) {
            assert_eq!(sum(groups, key), money(total, key), "{by} {key}");
        }
        for group in groups {
            let classes: Decimal = CLASSES.iter().map(|key| money(group, key)).sum();
            assert_eq!(classes, money(group, "total"));
            for key in by.split(',') {
                assert!(group.get(key).is_some(), "{key}");
            }
        }
    }
}

#[test]
fn stretches_add_up_to_the_period_in_money_and_in_usage() {
    let period = ["--from", "2022-03-15", "--to", "2024-10-10"];
    let ask = |more: &[&str]| {
        let mut args = vec!["cost", "sample-ledger"];
        args.extend(period);
        args.extend(more);
        json(&args)
    };
    let whole = ask(&[]);
    let total = &list(&whole, "periods")[0]["total"];
    for (every, count) in [("month", 32), ("quarter", 12), ("year", 3)] {
        let found = ask(&["--every", every]);
        let periods = list(&found, "periods");
        assert_eq!(periods.len(), count, "{every}");
        let cost: Decimal = periods.iter().map(|p| money(&p["total"], "total")).sum();
        assert_eq!(cost, money(total, "total"), "{every}");
        let usage: f64 = periods
            .iter()
            .map(|p| p["total"]["usage"].as_f64().unwrap())
            .sum();
        assert!((usage - total["usage"].as_f64().unwrap()).abs() < 1e-6);
    }
}

/// The rows of the table add up as they are printed, not only in full precision.
#[test]
fn the_table_adds_up_as_printed() {
    let output = wearbook(&["cost", "sample-ledger", "--by", "component"])
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let rows: Vec<Vec<&str>> = text
        .lines()
        .skip(2)
        .take_while(|line| !line.is_empty())
        .map(|line| {
            line.split("  ")
                .map(str::trim)
                .filter(|c| !c.is_empty())
                .collect()
        })
        .collect();
    let at = rows[0].iter().position(|c| *c == "total").unwrap();
    let cell = |row: &Vec<&str>| row[at].replace(',', "").parse::<Decimal>().unwrap();
    let (last, groups) = rows[1..].split_last().unwrap();
    assert_eq!(last[0], "total");
    assert!(groups.len() >= 10, "{text}");
    assert_eq!(groups.iter().map(cell).sum::<Decimal>(), cell(last));
}

#[test]
fn a_job_is_explained_to_its_last_cent() {
    let found = json(&["cost", "sample-ledger", "--explain", "J-0005"]);
    let [job] = &list(&found, "jobs")[..] else {
        panic!("{found}");
    };
    assert_eq!(job["machine"], "H-03");
    assert_eq!(job["kind"], "corrective");
    // 2.25 h at 52; 7.5 h at 650; 200 as the line says.
    assert_eq!(money(job, "labour"), Decimal::from(117));
    assert_eq!(money(job, "downtime"), Decimal::from(4_875));
    assert_eq!(money(job, "extra"), Decimal::from(200));
    let lines = list(job, "lines");
    assert_eq!(sum(lines, "amount"), money(job, "total"));
    assert!(
        lines
            .iter()
            .all(|line| !line["why"].as_str().unwrap().is_empty())
    );
}

#[test]
fn indicators_have_values_or_reasons() {
    let found = json(&[
        "cost",
        "sample-ledger",
        "--indicators",
        "--repeat-within",
        "500",
    ]);
    let groups = list(&found, "groups");
    assert_eq!(groups[0]["machine"], Value::Null);
    assert_eq!(groups.len(), 4);
    let of = |group: &Value, id: &str| -> Value {
        let all = list(group, "indicators");
        all.iter().find(|one| one["id"] == id).unwrap().clone()
    };
    for group in groups {
        for one in list(group, "indicators") {
            assert!(!one["value"].is_null() || !one["note"].is_null(), "{one}");
            assert!(!one["source"].as_str().unwrap().is_empty());
        }
        let between = of(group, "mean-operating-time-between-failures");
        let at = |key: &str| between[key].as_f64().unwrap();
        assert!(at("lower") < at("value") && at("value") < at("upper"));
        assert!(of(group, "waiting-for-parts")["value"].is_null());
        let repeats = of(group, "repeat-failures");
        assert!(repeats["value"].as_f64().unwrap() > 0.0, "{repeats}");
    }
    // 224 corrective jobs in the books.
    let cost = json(&["cost", "sample-ledger"]);
    let usage = list(&cost, "periods")[0]["total"]["usage"]
        .as_f64()
        .unwrap();
    let between = of(&groups[0], "mean-operating-time-between-failures");
    assert!((between["value"].as_f64().unwrap() - usage / 224.0).abs() < 1e-9);
}

#[test]
fn a_change_is_split_into_parts_that_add_up() {
    let found = json(&[
        "cost",
        "sample-ledger",
        "--from",
        "2024-06-01",
        "--to",
        "2025-05-31",
        "--against",
        "2022-06-01..2023-05-31",
    ]);
    let mut rows = list(&found, "kinds").clone();
    rows.push(found["total"].clone());
    assert!(rows.len() >= 4);
    for row in &rows {
        let change = money(row, "change");
        let parts = ["volume", "rate", "price"].map(|key| money(row, key));
        assert_eq!(parts.iter().sum::<Decimal>(), change, "{row}");
        assert_eq!(
            money(&row["after"], "cost") - money(&row["before"], "cost"),
            change
        );
    }
    let alone = json(&[
        "cost",
        "sample-ledger",
        "--from",
        "2024-06-01",
        "--to",
        "2025-05-31",
    ]);
    assert_eq!(
        money(&found["total"]["after"], "cost"),
        money(&list(&alone, "periods")[0]["total"], "total")
    );
    let failures = list(&found, "failures");
    assert_eq!(failures.len(), 4);
    for row in failures {
        for period in ["before", "after"] {
            let at = |key: &str| row[period][key].as_f64().unwrap();
            assert!(at("lower") <= at("rate") && at("rate") <= at("upper"));
        }
        assert!(row["p"].as_f64().unwrap() <= 1.0);
    }
}

/// H-02 came in June 2021: before its first reading it ran nothing that is known.
#[test]
fn a_machine_with_usage_in_one_period_only_is_left_out_of_the_rates_and_named() {
    let room = tempfile::tempdir().unwrap();
    let ledger = room.path().join("one");
    std::fs::create_dir_all(ledger.join("books")).unwrap();
    std::fs::copy("sample-ledger/plant.toml", ledger.join("plant.toml")).unwrap();
    let text = |machine: &str, day: &str, hours: u32| {
        format!(
            "{{\"entry\":\"reading\",\"time\":\"{day}T08:00:00Z\",\"machine\":\"{machine}\",\
             \"meter\":\"hours\",\"value\":{hours}}}\n"
        )
    };
    let mut lines = String::new();
    for (n, month) in ["01", "03", "05", "07"].into_iter().enumerate() {
        let day = format!("2025-{month}-01");
        lines.push_str(&text("H-01", &day, 1_000 * n as u32));
        if n > 1 {
            lines.push_str(&text("H-02", &day, 1_000 * n as u32));
        }
    }
    let file = room.path().join("lines.jsonl");
    std::fs::write(&file, lines).unwrap();
    let path = ledger.to_str().unwrap();
    let file = file.to_str().unwrap();
    let args = [
        "record", "--ledger", path, "--book", "one", "--who", "ann", "--from", file,
    ];
    let output = wearbook(&args).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let found = json(&[
        "cost",
        path,
        "--from",
        "2025-05-01",
        "--to",
        "2025-06-30",
        "--against",
        "2025-01-01..2025-04-30",
    ]);
    let failures = list(&found, "failures");
    assert_eq!(failures.len(), 1);
    let notes = list(&found, "notes");
    let named = |note: &Value| {
        note.as_str()
            .unwrap()
            .starts_with("H-02: usage is known in one of the periods only")
    };
    assert!(notes.iter().any(named), "{notes:?}");
}

#[test]
fn a_narrower_question_leaves_out_the_rest() {
    let found = json(&[
        "cost",
        "sample-ledger",
        "--component",
        "packing-set",
        "--by",
        "position",
    ]);
    let groups = list(&list(&found, "periods")[0], "groups");
    assert!(groups.iter().all(|group| !group["position"].is_null()));
    let by = json(&["cost", "sample-ledger", "--by", "component"]);
    let all = list(&list(&by, "periods")[0], "groups").clone();
    let packing = all
        .iter()
        .find(|g| g["component"] == "packing-set")
        .unwrap();
    assert_eq!(sum(groups, "total"), money(packing, "total"));
}

#[test]
fn csv_has_a_row_a_group_and_no_totals() {
    let output = wearbook(&[
        "cost",
        "sample-ledger",
        "--by",
        "kind",
        "--every",
        "year",
        "--format",
        "csv",
    ])
    .output()
    .unwrap();
    let mut reader = csv::Reader::from_reader(&output.stdout[..]);
    let heads = reader.headers().unwrap().clone();
    assert_eq!(&heads[0], "period");
    let at = heads.iter().position(|head| head == "total").unwrap();
    let total: Decimal = reader
        .records()
        .map(|row| row.unwrap()[at].parse::<Decimal>().unwrap())
        .sum();
    assert_eq!(total, Decimal::new(7_534_555, 1));
}

/// The sample beside itself in another currency, one of which is worth two, later three.
#[test]
fn several_currencies_need_rates_and_are_told_in_the_first() {
    let room = tempfile::tempdir().unwrap();
    let other = room.path().join("other");
    std::fs::create_dir_all(other.join("books")).unwrap();
    let text = std::fs::read_to_string("sample-ledger/plant.toml").unwrap();
    let text = text.replacen("\"EUR\"", "\"CHF\"", 1);
    std::fs::write(other.join("plant.toml"), text).unwrap();
    for book in ["line", "workshop"] {
        let from = format!("sample-ledger/books/{book}.jsonl");
        let text = std::fs::read_to_string(from).unwrap();
        // A book is known by its first line: this is another one.
        std::fs::write(other.join(format!("books/{book}-2.jsonl")), renamed(&text)).unwrap();
    }
    let other = other.to_str().unwrap();
    let refused = wearbook(&["cost", "sample-ledger", other])
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(3));
    let rates = room.path().join("rates.csv");
    std::fs::write(
        &rates,
        "currency,date,rate\nCHF,2021-01-01,2\nCHF,2024-01-01,3\n",
    )
    .unwrap();
    let args = ["sample-ledger", other, "--rates", rates.to_str().unwrap()];
    let ask = |more: &[&str]| {
        let all: Vec<&str> = ["cost"].iter().chain(&args).chain(more).copied().collect();
        let found = json(&all);
        assert_eq!(found["currency"], "EUR");
        money(&list(&found, "periods")[0]["total"], "total")
    };
    let alone = |more: &[&str]| {
        let all: Vec<&str> = ["cost", "sample-ledger"]
            .iter()
            .chain(more)
            .copied()
            .collect();
        money(&list(&json(&all), "periods")[0]["total"], "total")
    };
    let (early, late) = (["--to", "2023-12-31"], ["--from", "2024-01-01"]);
    assert_eq!(ask(&early), alone(&early) * Decimal::from(3));
    assert_eq!(ask(&late), alone(&late) * Decimal::from(4));
}

/// The same entries by other hands, chained anew; what was withdrawn stays so.
fn renamed(text: &str) -> String {
    let sha = |line: &str| wearbook::book::Sha::of(line.as_bytes()).to_string();
    let mut names = vec![["0".repeat(64), "0".repeat(64)]];
    let mut out = String::new();
    for old in text.lines() {
        let mut line = old.replacen("\"who\":\"", "\"who\":\"other ", 1);
        // The line before; a withdrawal names another as well.
        let from = match old.contains("entry_sha") {
            true => 0,
            false => names.len() - 1,
        };
        for [old, new] in &names[from..] {
            if line.contains(old) {
                line = line.replace(old, new);
            }
        }
        names.push([sha(old), sha(&line)]);
        out.push_str(&line);
        out.push('\n');
    }
    out
}

/// What was spent is exact; the rest has limits around it, or a reason.
#[test]
fn what_planned_renewal_saved_has_limits_or_a_reason() {
    let found = json(&["cost", "sample-ledger", "--saved"]);
    let by = json(&["cost", "sample-ledger", "--by", "component"]);
    let groups = list(&list(&by, "periods")[0], "groups").clone();
    let rows = list(&found, "components");
    assert!(rows.len() >= 8, "{found}");
    for row in rows {
        let group = groups.iter().find(|g| g["component"] == row["component"]);
        assert_eq!(money(row, "spent"), money(group.unwrap(), "total"));
        if row["run_to_failure"].is_null() {
            assert!(row["note"].as_str().unwrap().contains("no failure"));
            continue;
        }
        let at = |of: &str, key: &str| row[of][key].as_f64().unwrap();
        for key in ["median", "lower", "upper"] {
            let less = at("run_to_failure", key) - row["spent"].as_f64().unwrap();
            assert!((at("saved", key) - less).abs() < 1e-6);
        }
        assert!(at("saved", "lower") < at("saved", "median"));
        assert!(at("saved", "median") < at("saved", "upper"));
    }
    // The total is of those with a figure, its limits narrower than theirs end to end.
    let known = || rows.iter().filter(|row| !row["saved"].is_null());
    let total = &found["total"];
    assert_eq!(total["components"], known().count());
    let spent: Decimal = known().map(|row| money(row, "spent")).sum();
    assert_eq!(money(total, "spent"), spent);
    let end_to_end =
        |key: &str| -> f64 { known().map(|row| row["saved"][key].as_f64().unwrap()).sum() };
    let at = |key: &str| total["saved"][key].as_f64().unwrap();
    let width = end_to_end("upper") - end_to_end("lower");
    assert!(at("upper") - at("lower") < 0.8 * width);
    assert!((at("median") - end_to_end("median")).abs() < 0.05 * width);
    // Packing sets wear out: their planned renewal pays in the sample beyond doubt.
    let packing = rows.iter().find(|row| row["component"] == "packing-set");
    assert!(packing.unwrap()["saved"]["lower"].as_f64().unwrap() > 0.0);
}
