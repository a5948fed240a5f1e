//! `interval --grouped`: the stops of each machine.

use serde_json::Value;

use super::{json, wearbook};

fn list<'a>(value: &'a Value, key: &str) -> &'a Vec<Value> {
    value[key].as_array().unwrap()
}

fn rate(value: &Value) -> f64 {
    value["total"].as_f64().unwrap()
}

/// On the sample every machine's plan costs less than either alternative; its figures hang
/// together and keep what the register asks.
#[test]
fn grouped_stops_of_the_sample_beat_both_alternatives() {
    let found = json(&["interval", "sample-ledger", "--grouped"]);
    assert_eq!(found["currency"], "EUR");
    let machines = list(&found, "machines");
    let tags: Vec<&str> = machines
        .iter()
        .map(|m| m["machine"].as_str().unwrap())
        .collect();
    assert_eq!(tags, ["H-01", "H-02", "H-03"]);
    for machine in machines {
        let grouped = rate(&machine["cost_rate"]);
        let own = rate(&machine["own_intervals"]);
        let failure = rate(&machine["run_to_failure"]);
        assert!(grouped < own && own < failure, "{machine}");
        let saving = machine["saving_against_own_intervals"].as_f64().unwrap();
        assert!((saving - (1.0 - grouped / own)).abs() < 1e-12);
        let kinds = ["stops", "openings", "renewals", "failures"];
        let sum: f64 = kinds
            .iter()
            .map(|k| machine["cost_rate"][k].as_f64().unwrap())
            .sum();
        assert!((sum - grouped).abs() < 1e-9);
        let slots: f64 = list(machine, "slots")
            .iter()
            .flat_map(|s| ["renewals", "failures", "shared"].map(|k| s["cost_rate"][k].as_f64()))
            .flatten()
            .sum();
        let rest = list(machine, "openings")
            .iter()
            .map(|o| o["cost_rate"].as_f64().unwrap());
        assert!((slots + rest.sum::<f64>() - grouped).abs() < 1e-9);

        let base = machine["base_interval"].as_f64().unwrap();
        assert_eq!(base % 250.0, 0.0);
        let near = &machine["near_optimal"];
        assert!(near["from"].as_f64().unwrap() <= base && base <= near["to"].as_f64().unwrap());
        for slot in list(machine, "slots") {
            let interval = slot["interval"].as_f64();
            let multiple = slot["multiple"].as_f64();
            assert_eq!(interval, multiple.map(|m| m * base));
            let component = slot["component"].as_str().unwrap();
            match component {
                // No failure on record: what the crew does today is the limit.
                "plunger" => {
                    assert!(interval.unwrap() <= 10_000.0);
                    let note = list(slot, "notes")[0].as_str().unwrap();
                    assert!(note.starts_with("no failure on record"), "{note}");
                }
                // Infant mortality: nothing is gained by a new one.
                "valve-spring" => {
                    assert_eq!((interval, slot["take_exposed_from"].as_f64()), (None, None))
                }
                _ => assert!(interval.is_some(), "{slot}"),
            }
            if let Some(exposed) = slot["take_exposed_from"].as_f64() {
                assert!(exposed <= interval.unwrap());
                let down = slot["take_down_from"].as_f64();
                assert!(down.is_none_or(|d| d >= exposed && d <= interval.unwrap()));
            }
            // An access is opened where a slot behind it is due.
            if let (Some(m), Some(access)) = (slot["multiple"].as_u64(), slot["access"].as_str()) {
                let opening = list(machine, "openings")
                    .iter()
                    .find(|o| o["access"] == access && o["cylinder"] == slot["cylinder"])
                    .unwrap();
                let mut every = list(opening, "every").iter();
                assert!(every.any(|e| m % e.as_u64().unwrap() == 0));
            }
        }
        let gasket = |access: &str| match access {
            "cylinder" => "cap-gasket",
            _ => "head-gasket",
        };
        for opening in list(machine, "openings") {
            let access = opening["access"].as_str().unwrap();
            assert_eq!(list(opening, "always_renewed"), &[gasket(access)]);
        }
        assert!(list(machine, "left_out").is_empty());
    }
    // The packing that wears fast is renewed more often than the others of its machine.
    let packing = |position: &str| {
        let slots = list(&machines[1], "slots").iter();
        let mut found = slots.filter(|s| s["component"] == "packing-set");
        let slot = found.find(|s| s["position"] == position).unwrap();
        slot["interval"].as_f64().unwrap()
    };
    assert!(packing("P2") < packing("P1"));
    assert_eq!(packing("P1"), packing("P3"));
}

#[test]
fn one_machine_is_planned_as_among_the_others() {
    let all = json(&["interval", "sample-ledger", "--grouped"]);
    let one = json(&[
        "interval",
        "sample-ledger",
        "--grouped",
        "--machine",
        "H-02",
    ]);
    assert_eq!(list(&one, "machines").len(), 1);
    assert_eq!(list(&one, "machines")[0], list(&all, "machines")[1]);
    let run = |format: &str| {
        let args = ["interval", "sample-ledger", "--grouped", "--format", format];
        wearbook(&args).output().unwrap().stdout
    };
    for format in ["table", "json", "csv"] {
        assert_eq!(run(format), run(format), "{format}");
    }
    let csv = String::from_utf8(run("csv")).unwrap();
    let slots: usize = list(&all, "machines")
        .iter()
        .map(|m| list(m, "slots").len())
        .sum();
    assert_eq!(csv.lines().count(), 1 + slots);
    assert!(csv.starts_with("machine,component,position,access,cylinder,base_interval,multiple,"));
    let table = String::from_utf8(run("table")).unwrap();
    for words in [
        "H-02: a stop every",
        "opened at every",
        "each at its own interval",
        "run to failure",
        "never lengthen a maker's",
    ] {
        assert!(table.contains(words), "{words} in\n{table}");
    }
}

/// A ceiling holds in the plan, also one shorter than a step of the planning grid; a slot that
/// ages by another usage is planned where the register says how both grow, else told.
#[test]
fn ceilings_and_other_usages_are_kept() {
    let room = tempfile::tempdir().unwrap();
    let copy = |from: &str, to: &std::path::Path| {
        std::fs::create_dir_all(to).unwrap();
        for file in std::fs::read_dir(from).unwrap() {
            let file = file.unwrap();
            if file.file_type().unwrap().is_file() {
                std::fs::copy(file.path(), to.join(file.file_name())).unwrap();
            }
        }
    };
    copy("sample-ledger", room.path());
    copy("sample-ledger/books", &room.path().join("books"));
    let register = room.path().join("plant.toml");
    let text = std::fs::read_to_string(&register).unwrap();
    let ledger = room.path().to_str().unwrap();
    let with = |ceiling: f64| {
        let stated = format!(
            "id = \"valve-seat\"\nceiling = {{ value = {ceiling:.1}, source = \"maker's manual\" }}"
        );
        std::fs::write(&register, text.replace("id = \"valve-seat\"", &stated)).unwrap();
        let found = json(&["interval", ledger, "--grouped"]);
        for machine in list(&found, "machines") {
            let seats = list(machine, "slots").iter();
            for seat in seats.filter(|s| s["component"] == "valve-seat") {
                let interval = seat["interval"].as_f64().unwrap();
                assert!(interval > 0.0 && interval <= ceiling, "{seat}");
                let note = list(seat, "notes")[0].as_str().unwrap();
                assert!(note.starts_with("never beyond the ceiling of"), "{note}");
            }
        }
    };
    with(3_100.0);
    with(200.0);

    let other = text
        .replace(
            "unit = \"h\"\n",
            "unit = \"h\"\n\n[[usage]]\nid = \"starts\"\nname = \"Starts\"\nunit = \"starts\"\n",
        )
        .replacen(
            "id = \"drive-belts\"\nname = \"Drive belt set\"\nusage = \"hours\"",
            "id = \"drive-belts\"\nname = \"Drive belt set\"\nusage = \"starts\"",
            1,
        )
        .replace("hours = 98 }", "hours = 98, starts = 49 }");
    std::fs::write(&register, other).unwrap();
    let found = json(&["interval", ledger, "--grouped"]);
    let machines = list(&found, "machines");
    let left = &list(&machines[0], "left_out")[0];
    assert_eq!(left["component"], "drive-belts");
    assert!(
        left["why"].as_str().unwrap().contains("usage_per_week"),
        "{left}"
    );
    let mut slots = list(&machines[1], "slots").iter();
    let belts = slots.find(|s| s["component"] == "drive-belts").unwrap();
    assert_eq!(belts["unit"], "starts");
}

#[test]
fn what_cannot_go_together_is_refused() {
    for more in [
        ["--component", "plunger"],
        ["--planned-cost", "100"],
        ["--shape", "2"],
    ] {
        let args = [&["interval", "sample-ledger", "--grouped"][..], &more].concat();
        let output = wearbook(&args).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{more:?}");
    }
}
