//! A small plant to test with.

use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use wearbook::book::{Age, Ending, Entry, Event, Finding, Found, Item, JobKind, Reason, SlotName};
use wearbook::quantity::Number;

/// Two machines of two cylinders, one usage, a measurement, a part.
pub const PLANT: &str = include_str!("plant.toml");

/// A ledger folder that goes away with the value.
pub struct Bench {
    room: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Bench {
        let room = tempfile::tempdir().expect("temporary folder");
        std::fs::write(room.path().join("plant.toml"), PLANT).expect("register");
        Bench { room }
    }

    pub fn folder(&self) -> &Path {
        self.room.path()
    }

    pub fn book(&self) -> PathBuf {
        self.room.path().join("books/main.jsonl")
    }

    pub fn bytes(&self) -> Vec<u8> {
        std::fs::read(self.book()).unwrap_or_default()
    }

    /// The binary, in this folder, with an empty environment.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_wearbook"));
        command.args(args).env_clear().current_dir(self.folder());
        command
    }
}

/// Eight in the morning of the first day of the record, some hours later.
pub fn at(hours: i64) -> DateTime<Utc> {
    let start = Utc.with_ymd_and_hms(2025, 1, 6, 8, 0, 0);
    start.single().expect("one time") + TimeDelta::hours(hours)
}

/// A clock long after everything that tests record.
pub fn now() -> DateTime<Utc> {
    at(24 * 365 * 20)
}

pub fn entry(hours: i64, event: Event) -> Entry {
    Entry {
        time: at(hours),
        logged: at(hours),
        who: "A. Example".into(),
        machine: Some("H-01".into()),
        event,
        job: None,
        note: None,
        source: None,
    }
}

pub fn reading(hours: i64, value: i32) -> Entry {
    entry(
        hours,
        Event::Reading {
            meter: "hours".into(),
            value: Number::from(value),
            reset: false,
        },
    )
}

pub fn slot(component: &str, position: &str) -> SlotName {
    SlotName {
        component: component.into(),
        position: position.into(),
    }
}

pub fn installed(hours: i64, position: &str) -> Entry {
    entry(
        hours,
        Event::Installed {
            slot: slot("packing-set", position),
            item: Item::default(),
        },
    )
}

pub fn failed() -> Ending {
    Ending {
        reason: Reason::Failed,
        mode: Some("leaking".into()),
        found: Some(Found::Running),
    }
}

pub fn replaced(hours: i64, position: &str) -> Entry {
    entry(
        hours,
        Event::Replaced {
            slot: slot("packing-set", position),
            item: Item::default(),
            end: failed(),
        },
    )
}

pub fn removed(hours: i64, position: &str) -> Entry {
    entry(
        hours,
        Event::Removed {
            slot: slot("packing-set", position),
            end: failed(),
        },
    )
}

pub fn inspected(hours: i64, position: &str) -> Entry {
    entry(
        hours,
        Event::Inspected {
            slot: slot("packing-set", position),
            finding: Finding::Sound,
            mode: None,
        },
    )
}

/// A plunger of unknown age.
pub fn plunger(hours: i64) -> Entry {
    entry(
        hours,
        Event::Installed {
            slot: slot("plunger", "P1"),
            item: Item {
                age: Age::Unknown,
                serial: Some("S-1".into()),
                ..Item::default()
            },
        },
    )
}

pub fn measured(hours: i64) -> Entry {
    entry(
        hours,
        Event::Measured {
            slot: slot("plunger", "P1"),
            quantity: "diameter".into(),
            value: Number::parse("2.3600").expect("number"),
            unit: "in".into(),
            zone: None,
            span: None,
            new_value: Some(Number::parse("2.3622").expect("number")),
        },
    )
}

/// A job of two hours that stops then.
pub fn job(hours: i64, name: &str) -> Entry {
    Entry {
        job: Some(name.into()),
        ..entry(
            hours,
            Event::Job {
                start: at(hours - 2),
                stop: at(hours),
                kind: JobKind::Corrective,
                labour_h: Number::parse("1.50").expect("number"),
                downtime_h: Number::from(2),
                cost: Some("12.50".parse().expect("money")),
            },
        )
    }
}

pub fn expense(hours: i64) -> Entry {
    entry(
        hours,
        Event::Expense {
            cost: "-3.20".parse().expect("money"),
            what: "rebate".into(),
        },
    )
}
