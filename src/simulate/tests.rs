//! What a simulated ledger has to be: repeatable, honest, and as awkward as stated.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use super::truth::{ComponentTruth, Seen};
use super::*;
use crate::book::{Age, Event, Finding, Found, Kind, Ledger, Reason};

const REGISTER: &str = include_str!("../../sample-ledger/plant.toml");
const TRUTH: &str = include_str!("../../sample-ledger/truth.toml");
/// The seed of the sample ledger, as its README states it.
const SEED: u64 = 2028;

fn register() -> Register {
    Register::parse(REGISTER).expect("the sample's register is sound")
}

fn truth() -> Truth {
    parse_truth(TRUTH).expect("the sample's truth is sound")
}

fn entries(truth: &Truth, seed: u64, size: Size) -> Vec<SimEntry> {
    simulate(&register(), truth, seed, size)
        .expect("it fits")
        .entries
}

fn place<'a>(folder: &'a Path, register: &'a str, truth: &'a Truth) -> Place<'a> {
    Place {
        folder,
        register,
        job_book: &truth.record.job_book,
        reading_book: &truth.record.reading_book,
    }
}

#[test]
fn the_sample_ledger_regenerates_byte_for_byte() {
    let truth = truth();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("again");
    let told = entries(&truth, SEED, Size::default());
    write(&place(&out, REGISTER, &truth), &told).expect("written");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-ledger");
    for file in ["plant.toml", "books/workshop.jsonl", "books/line.jsonl"] {
        let made = std::fs::read(out.join(file)).expect("made");
        let kept = std::fs::read(sample.join(file)).expect("kept");
        assert!(made == kept, "{file} differs from sample-ledger/{file}");
    }
}

#[test]
fn a_seed_tells_one_story_and_another_seed_another() {
    let truth = truth();
    let one = entries(&truth, 7, Size::default());
    assert_eq!(one, entries(&truth, 7, Size::default()));
    assert_ne!(one, entries(&truth, 8, Size::default()));
}

#[test]
fn another_machine_does_not_change_the_story_of_the_first() {
    let truth = truth();
    let told = |machines| {
        let size = Size {
            machines: Some(machines),
            ..Size::default()
        };
        let mut events = Vec::new();
        for told in entries(&truth, 7, size) {
            if told.entry.machine.as_deref() == Some("H-02") {
                // Who writes when, and under which job number, hangs on the whole plant.
                events.push((told.entry.time, told.entry.event));
            }
        }
        events.sort_by_key(|(time, _)| *time);
        events.retain(|(_, event)| !matches!(event.kind(), Kind::Measured | Kind::Job));
        events
    };
    let three = told(3);
    let five = told(5);
    assert!(three.len() > 500);
    // Mistakes fall on the first fitting entry of the plant, so a handful may differ.
    let differing = three.iter().filter(|event| !five.contains(event)).count();
    assert!(differing <= 2 * truth.mistakes.len(), "{differing}");
}

#[test]
fn sizes_are_as_asked_and_the_larger_register_holds() {
    let truth = truth();
    let size = Size {
        entries: Some(9_000),
        ..Size::default()
    };
    let made = simulate(&register(), &truth, 3, size).expect("it fits");
    assert_eq!(made.entries.len(), 9_000);
    assert!(!made.more.is_empty());
    let text = register_text(REGISTER, &register(), &made.more);
    let larger = Register::parse(&text).expect("still sound");
    assert_eq!(larger.machines.len(), 3 + made.more.len());
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("large");
    write(&place(&out, &text, &truth), &made.entries).expect("the append path takes it");
    let ledger = Ledger::read_sound(&out).expect("a sound ledger");
    assert_eq!(ledger.lines().count(), 9_000 + 2);

    let size = Size {
        years: Some(2),
        ..Size::default()
    };
    let made = simulate(&register(), &truth, 3, size).expect("it fits");
    let last = made
        .entries
        .iter()
        .map(|t| t.entry.time)
        .max()
        .expect("entries");
    assert_eq!(last.date_naive().to_string(), "2023-06-12");

    let size = Size {
        machines: Some(2),
        ..Size::default()
    };
    let refused = simulate(&register(), &truth, 3, size);
    assert_eq!(
        refused,
        Err(SimulateError::TooFewMachines { wanted: 2, own: 3 })
    );
}

#[test]
fn a_ledger_is_never_written_over_another() {
    let truth = truth();
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("plant.toml"), "mine").expect("written");
    let told = entries(
        &truth,
        1,
        Size {
            entries: Some(200),
            ..Size::default()
        },
    );
    let refused = write(&place(folder.path(), REGISTER, &truth), &told);
    assert!(matches!(refused, Err(WriteError::Taken { .. })));
    let kept = std::fs::read_to_string(folder.path().join("plant.toml")).expect("there");
    assert_eq!(kept, "mine");
    assert_eq!(std::fs::read_dir(folder.path()).expect("there").count(), 1);
}

/// One stretch of a part under watch, from one look at it to the next.
struct Stretch {
    from: f64,
    to: f64,
    failed: bool,
}

/// Rebuilds from the entries alone what was seen of each component's parts.
///
/// Parts of unknown age are left out. Meters must not have been exchanged.
fn stretches(truth: &Truth, told: &[SimEntry]) -> BTreeMap<String, Vec<Stretch>> {
    let mut usage: HashMap<String, f64> = HashMap::new();
    // Per slot: machine usage at birth (of a part at age 0), and age at the last look.
    let mut parts: HashMap<(String, String, String), Option<(f64, f64)>> = HashMap::new();
    let mut seen: BTreeMap<String, Vec<Stretch>> = BTreeMap::new();
    for entry in told.iter().map(|told| &told.entry) {
        let Some(machine) = entry.machine.clone() else {
            continue;
        };
        if let Event::Reading { value, .. } = &entry.event {
            usage.insert(machine, value.get());
            continue;
        }
        let Some(slot) = entry.event.slot() else {
            continue;
        };
        let now = usage.get(&machine).copied().unwrap_or(0.0);
        let key = (machine, slot.component.clone(), slot.position.clone());
        let failed = match &entry.event {
            Event::Inspected { finding, .. } => Some(*finding != Finding::Sound),
            Event::Replaced { end, .. } => {
                Some(matches!(end.reason, Reason::Failed | Reason::Worn))
            }
            _ => None,
        };
        if let (Some(failed), Some(Some((born, looked)))) = (failed, parts.get_mut(&key)) {
            let age = now - *born;
            let list = seen.entry(slot.component.clone()).or_default();
            list.push(Stretch {
                from: *looked,
                to: age,
                failed,
            });
            *looked = age;
            if failed {
                // What is done with it after that tells nothing more.
                parts.insert(key.clone(), None);
            }
        }
        if let Some(item) = entry.event.item() {
            let age = item.age.usage();
            parts.insert(key, age.map(|age| (now - age, age)));
        }
    }
    // What would have stopped the machine has not happened to the parts still in.
    for ((machine, component, _), part) in parts {
        let told = truth.components.iter().find(|c| c.id == component);
        if let (Some((born, from)), Some(true)) = (part, told.map(at_once)) {
            let to = usage[&machine] - born;
            let failed = false;
            let list = seen.entry(component).or_default();
            list.push(Stretch { from, to, failed });
        }
    }
    seen
}

fn at_once(component: &ComponentTruth) -> bool {
    component
        .modes
        .iter()
        .all(|mode| mode.seen == Seen::Running)
}

/// Failures seen, less those the truth lets expect over the same stretches, in standard
/// deviations: for failures seen at once the cumulative hazard run through, else the sum
/// of the chances to fail within a stretch. Both differences have mean 0 for any way of
/// cutting lives short that does not look at them.
/// Source: Andersen, Borgan, Gill & Keiding, *Statistical Models Based on Counting
/// Processes* (1993), II.4: failures less compensator are a martingale.
fn surplus(component: &ComponentTruth, stretches: &[&Stretch]) -> (f64, usize) {
    let hazard = |t: f64| (t.max(0.0) / component.scale).powf(component.shape);
    let (mut expected, mut variance) = (0.0, 0.0);
    for stretch in stretches {
        let run = hazard(stretch.to) - hazard(stretch.from);
        if at_once(component) {
            expected += run;
            variance += run;
        } else {
            let chance = -(-run).exp_m1();
            expected += chance;
            variance += chance * (1.0 - chance);
        }
    }
    let failures = stretches.iter().filter(|s| s.failed).count();
    ((failures as f64 - expected) / variance.sqrt(), failures)
}

#[test]
fn renewals_and_inspections_do_not_bend_the_truth() {
    let mut truth = truth();
    truth.slots.clear();
    truth.bad_batches.clear();
    truth.meter_exchanges.clear();
    truth.sent_away.clear();
    truth.moves.clear();
    truth.mistakes.clear();
    for component in &mut truth.components {
        component.position_factor.clear();
    }
    let size = Size {
        machines: Some(90),
        ..Size::default()
    };
    let seen = stretches(&truth, &entries(&truth, 12, size));
    let mut checked = 0;
    for component in &truth.components {
        let mixed = component
            .modes
            .iter()
            .any(|m| m.seen != component.modes[0].seen);
        if mixed {
            // A part that would have failed in the open may be taken for sound and the
            // other way round: no such simple balance.
            continue;
        }
        let all: Vec<&Stretch> = seen[&component.id].iter().collect();
        let (young, old): (Vec<&Stretch>, Vec<&Stretch>) =
            all.iter().partition(|s| s.from < 0.4 * component.scale);
        for part in [all, young, old] {
            if part.is_empty() {
                continue;
            }
            let (surplus, failures) = surplus(component, &part);
            if failures >= 10 {
                checked += 1;
                assert!(
                    surplus.abs() < 4.0,
                    "{}: {surplus:.2} at {failures}",
                    component.id
                );
            }
        }
    }
    assert!(checked >= 12, "{checked}");
}

#[test]
fn the_sample_is_as_awkward_as_its_truth_says() {
    let told = entries(&truth(), SEED, Size::default());
    let count = |wanted: &dyn Fn(&SimEntry) -> bool| told.iter().filter(|t| wanted(t)).count();
    assert!((1_500..=4_000).contains(&told.len()), "{}", told.len());
    assert!(told.iter().all(|t| t.entry.logged >= t.entry.time));
    let late = count(&|t| (t.entry.logged - t.entry.time).num_hours() > 20);
    assert!(late > 20, "{late}");
    assert_eq!(count(&|t| t.entry.event.kind() == Kind::Withdrawn), 4);
    assert_eq!(
        count(&|t| matches!(t.entry.event, Event::Reading { reset: true, .. })),
        1
    );
    let age = |t: &SimEntry| t.entry.event.item().map(|item| item.age);
    assert!(count(&|t| age(t) == Some(Age::Unknown)) > 50);
    assert!(count(&|t| matches!(age(t), Some(Age::Known(_)))) > 30);
    let ended = |t: &SimEntry, reason| t.entry.event.ending().is_some_and(|e| e.reason == reason);
    assert_eq!(count(&|t| ended(t, Reason::Damaged)), 2);
    assert!(count(&|t| ended(t, Reason::ChangedType)) >= 4);
    let found = |t: &SimEntry| t.entry.event.ending().and_then(|e| e.found);
    assert!(count(&|t| found(t) == Some(Found::Inspection)) > 40);
    let failures = |component: &str, machine: &str, position: &str| {
        count(&|t| {
            t.entry.machine.as_deref() == Some(machine)
                && t.entry
                    .event
                    .slot()
                    .is_some_and(|s| s.component == component && s.position == position)
                && ended(t, Reason::Failed)
        })
    };
    let at_p2 = failures("packing-set", "H-02", "P2");
    for (machine, position) in [
        ("H-01", "P2"),
        ("H-02", "P1"),
        ("H-02", "P3"),
        ("H-03", "P2"),
    ] {
        let there = failures("packing-set", machine, position);
        assert!(
            2 * at_p2 > 3 * there,
            "{at_p2} against {there} at {machine} {position}"
        );
    }
    let no_failure = |component: &str| {
        count(&|t| {
            t.entry
                .event
                .slot()
                .is_some_and(|s| s.component == component)
                && (ended(t, Reason::Failed) || ended(t, Reason::Worn))
        }) == 0
    };
    assert!(no_failure("plunger"));
    let bad = |t: &SimEntry| {
        let item = t.entry.event.item();
        item.is_some_and(|i| i.batch.as_deref() == Some("VS23Q4-B"))
    };
    assert!(count(&bad) >= 4, "{}", count(&bad));
    // A plunger that came back under its own serial number.
    let mut serials: BTreeMap<&str, usize> = BTreeMap::new();
    for told in &told {
        if let Some(serial) = told.entry.event.item().and_then(|i| i.serial.as_deref()) {
            *serials.entry(serial).or_default() += 1;
        }
    }
    assert_eq!(serials.values().filter(|times| **times == 2).count(), 2);
}

#[test]
fn every_misfit_of_a_truth_is_told() {
    let mut truth = truth();
    truth.components[0].shape = 0.0;
    truth.components[1].modes[0].name = "scord".to_owned();
    truth.components.pop();
    truth.slots[0].position = "P9".to_owned();
    truth.meter_exchanges[0].machine = "H-1".to_owned();
    truth.moves[0].back = truth.moves[0].out;
    let Err(SimulateError::Misfits(found)) = simulate(&register(), &truth, 1, Size::default())
    else {
        panic!("a truth with faults was taken");
    };
    let told: Vec<String> = found
        .iter()
        .map(|misfit| {
            let trouble = misfit.trouble("truth.toml");
            format!("{} ({})", trouble.what, trouble.cure.join("; "))
        })
        .collect();
    assert_eq!(
        told,
        [
            "[[component]] packing-set: shape = 0 cannot be (shape has to be above 0)",
            "[[component]] plunger: no mode scord in the register (did you mean scored?)",
            "nothing said of component drive-belts, which the register has \
             (add a [[component]] table for drive-belts)",
            "[[meter_exchange]]: no machine H-1 in the register (did you mean H-01?)",
            "[[slot]]: H-02 has no packing-set at P9 \
             (see the machine's layout in plant.toml for its positions)",
            "[[move]]: 2022-05-10 is not before 2022-05-10 (put the days in order)",
        ]
    );
}

#[test]
fn a_truth_that_cannot_be_read_names_its_line() {
    let text = TRUTH.replace("renew_scatter = 0.12\nbatch", "renew_scater = 0.12\nbatch");
    let Err(SimulateError::Syntax {
        line,
        excerpt,
        reason,
    }) = parse_truth(&text)
    else {
        panic!("an unknown key was taken");
    };
    assert_eq!(excerpt, "renew_scater = 0.12");
    assert_eq!(text.lines().nth(line - 1), Some("renew_scater = 0.12"));
    assert!(reason.contains("renew_scater"), "{reason}");
    let text = TRUTH.replace("first_day = 2021-06-07", "first_day = 2021-06-07T08:00:00");
    let Err(SimulateError::Syntax { line, .. }) = parse_truth(&text) else {
        panic!("a day with a time was taken");
    };
    assert!(
        text.lines()
            .nth(line - 1)
            .is_some_and(|l| l.contains("first_day"))
    );
}
