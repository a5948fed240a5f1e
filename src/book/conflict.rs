//! Why an entry cannot stand: it contradicts the register or other entries.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use thiserror::Error;

use super::sha::Sha;
use crate::quantity::time::show;

/// Another entry that a conflict rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Witness {
    /// Its index among the entries given together with the one refused, if it is one
    /// of those and not in a book yet.
    pub given: Option<usize>,
    /// The book's file name in its ledger (`books/main.jsonl`).
    pub file: String,
    pub line: usize,
    pub sha: Sha,
    pub time: DateTime<Utc>,
}

/// What stands against an entry.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Conflict {
    #[error("no machine `{machine}` in the register")]
    UnknownMachine {
        machine: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("no meter `{meter}` in the register")]
    UnknownMeter {
        meter: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("no component `{component}` in the register")]
    UnknownComponent {
        component: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("{machine} has no slot `{position}` for `{component}`")]
    UnknownSlot {
        machine: String,
        component: String,
        position: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("`{component}` has no failure mode `{mode}`")]
    UnknownMode {
        component: String,
        mode: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("no part `{part}` for `{component}` in the register")]
    UnknownPart {
        component: String,
        part: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("part `{part}` fits `{fits}`, not `{component}`")]
    PartFitsAnother {
        component: String,
        part: String,
        fits: String,
    },
    #[error("the register measures no `{quantity}` on `{component}`")]
    UnknownQuantity {
        component: String,
        quantity: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("`{quantity}` of `{component}` is not measured in zone `{zone}`")]
    UnknownZone {
        component: String,
        quantity: String,
        zone: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("`{quantity}` of `{component}` needs its `zone`")]
    ZoneMissing {
        component: String,
        quantity: String,
        known: Vec<String>,
    },
    #[error("`{quantity}` of `{component}` needs `span`, the length it was taken over in metres")]
    SpanMissing { component: String, quantity: String },
    #[error("no unit `{unit}`")]
    UnknownUnit {
        unit: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("`{unit}` is a unit of {found}, and `{quantity}` is a {expected}")]
    WrongUnit {
        quantity: String,
        unit: String,
        found: &'static str,
        expected: &'static str,
        known: Vec<String>,
    },
    #[error("the time lies more than a day ahead")]
    Future {
        time: DateTime<Utc>,
        now: DateTime<Utc>,
    },
    #[error("written down before it happened")]
    LoggedBeforeTime {
        time: DateTime<Utc>,
        logged: DateTime<Utc>,
    },
    #[error("meter `{meter}` of {machine} runs backwards")]
    MeterBackwards {
        machine: String,
        meter: String,
        value: String,
        time: DateTime<Utc>,
        other: String,
        witness: Witness,
    },
    #[error("{machine} {component} {position} is already filled")]
    SlotFilled {
        machine: String,
        component: String,
        position: String,
        witness: Witness,
    },
    #[error("{machine} {component} {position} is empty")]
    SlotEmpty {
        machine: String,
        component: String,
        position: String,
        time: DateTime<Utc>,
        /// The removal that emptied it; `None` if nothing was ever put in by then.
        witness: Option<Witness>,
        /// The first time something was put in later, if ever.
        later: Option<Witness>,
    },
    #[error("{machine} {component} {position} would be empty at a later entry")]
    EmptiesLater {
        machine: String,
        component: String,
        position: String,
        witness: Witness,
    },
    #[error("{machine} {component} {position} is filled again by a later entry")]
    FilledLater {
        machine: String,
        component: String,
        position: String,
        witness: Witness,
    },
    #[error("job `{job}` is stated already")]
    JobTwice { job: String, witness: Witness },
    #[error("no entry `{sha}` in this ledger")]
    NoSuchEntry { sha: String },
    #[error("`{sha}` is the name of several entries")]
    SeveralEntries {
        sha: String,
        witnesses: Vec<Witness>,
    },
    #[error("entry {} is withdrawn already", witness.sha.short())]
    WithdrawnTwice { witness: Witness, by: Witness },
    #[error("entries of kind `{kind}` cannot be withdrawn")]
    NotWithdrawable {
        kind: &'static str,
        witness: Witness,
    },
    #[error("`opened` is the first line of a book and stands nowhere else")]
    OpenedAgain,
    #[error("the book does not begin with `opened`")]
    NotOpened,
}

impl Conflict {
    /// A short fixed name, for programs.
    pub fn name(&self) -> &'static str {
        match self {
            Conflict::UnknownMachine { .. } => "unknown-machine",
            Conflict::UnknownMeter { .. } => "unknown-meter",
            Conflict::UnknownComponent { .. } => "unknown-component",
            Conflict::UnknownSlot { .. } => "unknown-slot",
            Conflict::UnknownMode { .. } => "unknown-mode",
            Conflict::UnknownPart { .. } => "unknown-part",
            Conflict::PartFitsAnother { .. } => "part-fits-another",
            Conflict::UnknownQuantity { .. } => "unknown-quantity",
            Conflict::UnknownZone { .. } => "unknown-zone",
            Conflict::ZoneMissing { .. } => "zone-missing",
            Conflict::SpanMissing { .. } => "span-missing",
            Conflict::UnknownUnit { .. } => "unknown-unit",
            Conflict::WrongUnit { .. } => "wrong-unit",
            Conflict::Future { .. } => "future-time",
            Conflict::LoggedBeforeTime { .. } => "logged-before-time",
            Conflict::MeterBackwards { .. } => "meter-backwards",
            Conflict::SlotFilled { .. } => "slot-filled",
            Conflict::SlotEmpty { .. } => "slot-empty",
            Conflict::EmptiesLater { .. } => "slot-empty-later",
            Conflict::FilledLater { .. } => "slot-filled-later",
            Conflict::JobTwice { .. } => "job-twice",
            Conflict::NoSuchEntry { .. } => "no-such-entry",
            Conflict::SeveralEntries { .. } => "several-entries",
            Conflict::WithdrawnTwice { .. } => "withdrawn-twice",
            Conflict::NotWithdrawable { .. } => "not-withdrawable",
            Conflict::OpenedAgain => "opened-again",
            Conflict::NotOpened => "not-opened",
        }
    }

    /// The key of the entry to point at.
    pub fn key(&self) -> &'static str {
        match self {
            Conflict::UnknownMachine { .. } => "machine",
            Conflict::UnknownMeter { .. } => "meter",
            Conflict::UnknownComponent { .. } => "component",
            Conflict::UnknownSlot { .. }
            | Conflict::SlotFilled { .. }
            | Conflict::SlotEmpty { .. }
            | Conflict::EmptiesLater { .. }
            | Conflict::FilledLater { .. } => "position",
            Conflict::UnknownMode { .. } => "mode",
            Conflict::UnknownPart { .. } | Conflict::PartFitsAnother { .. } => "part",
            Conflict::UnknownQuantity { .. }
            | Conflict::ZoneMissing { .. }
            | Conflict::SpanMissing { .. } => "quantity",
            Conflict::UnknownZone { .. } => "zone",
            Conflict::UnknownUnit { .. } | Conflict::WrongUnit { .. } => "unit",
            Conflict::Future { .. } | Conflict::LoggedBeforeTime { .. } => "time",
            Conflict::MeterBackwards { .. } => "value",
            Conflict::JobTwice { .. } => "job",
            Conflict::NoSuchEntry { .. }
            | Conflict::SeveralEntries { .. }
            | Conflict::WithdrawnTwice { .. }
            | Conflict::NotWithdrawable { .. } => "entry_sha",
            Conflict::OpenedAgain | Conflict::NotOpened => "entry",
        }
    }

    /// The entries it rests on, to be told by other names.
    pub fn witnesses_mut(&mut self) -> Vec<&mut Witness> {
        match self {
            Conflict::MeterBackwards { witness, .. }
            | Conflict::SlotFilled { witness, .. }
            | Conflict::EmptiesLater { witness, .. }
            | Conflict::FilledLater { witness, .. }
            | Conflict::JobTwice { witness, .. }
            | Conflict::NotWithdrawable { witness, .. } => vec![witness],
            Conflict::SlotEmpty { witness, later, .. } => {
                witness.iter_mut().chain(later.iter_mut()).collect()
            }
            Conflict::WithdrawnTwice { witness, by } => vec![witness, by],
            Conflict::SeveralEntries { witnesses, .. } => witnesses.iter_mut().collect(),
            _ => Vec::new(),
        }
    }

    /// Sentences of evidence; times on the plant's clock.
    pub fn evidence(&self, zone: Tz) -> Vec<String> {
        let at = |w: &Witness| format!("{}:{}", w.file, w.line);
        let one = |text: String| vec![text];
        match self {
            Conflict::MeterBackwards {
                value,
                time,
                other,
                witness,
                ..
            } => {
                let order = if witness.time > *time {
                    "later, on"
                } else {
                    "on"
                };
                one(format!(
                    "{value} here; {} read {other} {order} {}.",
                    at(witness),
                    show(witness.time, zone)
                ))
            }
            Conflict::Future { time, now } => one(format!(
                "{} is more than a day after now, {}.",
                show(*time, zone),
                show(*now, zone)
            )),
            Conflict::LoggedBeforeTime { time, logged } => one(format!(
                "It is to have happened on {}, and was written down on {}.",
                show(*time, zone),
                show(*logged, zone)
            )),
            Conflict::SlotFilled { witness, .. } => one(format!(
                "{} filled it on {}, and nothing took that item out.",
                at(witness),
                show(witness.time, zone)
            )),
            Conflict::SlotEmpty {
                time,
                witness,
                later,
                ..
            } => {
                let mut all = Vec::new();
                match witness {
                    Some(w) => all.push(format!(
                        "{} took the item out on {}.",
                        at(w),
                        show(w.time, zone)
                    )),
                    None => all.push(format!("Nothing was put in up to {}.", show(*time, zone))),
                }
                if let Some(w) = later {
                    all.push(format!(
                        "{} put an item in later, on {}.",
                        at(w),
                        show(w.time, zone)
                    ));
                }
                all
            }
            Conflict::EmptiesLater { witness, .. } => one(format!(
                "{} is about the item in it on {}.",
                at(witness),
                show(witness.time, zone)
            )),
            Conflict::FilledLater { witness, .. } => one(format!(
                "{} put an item into the empty slot on {}.",
                at(witness),
                show(witness.time, zone)
            )),
            Conflict::JobTwice { witness, .. } => one(format!("{} states it.", at(witness))),
            Conflict::SeveralEntries { witnesses, .. } => witnesses
                .iter()
                .map(|w| format!("{} is {}.", at(w), w.sha))
                .collect(),
            Conflict::WithdrawnTwice { witness, by } => {
                one(format!("{} was withdrawn by {}.", at(witness), at(by)))
            }
            Conflict::NotWithdrawable { witness, .. } => {
                one(format!("It stands at {}.", at(witness)))
            }
            _ => Vec::new(),
        }
    }

    /// How to mend it.
    pub fn cure(&self) -> Vec<String> {
        let one = |text: &str| vec![text.to_owned()];
        match self {
            Conflict::UnknownMachine { nearest, known, .. }
            | Conflict::UnknownMeter { nearest, known, .. }
            | Conflict::UnknownComponent { nearest, known, .. }
            | Conflict::UnknownSlot { nearest, known, .. }
            | Conflict::UnknownMode { nearest, known, .. }
            | Conflict::UnknownPart { nearest, known, .. }
            | Conflict::UnknownQuantity { nearest, known, .. }
            | Conflict::UnknownZone { nearest, known, .. }
            | Conflict::UnknownUnit { nearest, known, .. } => vec![suggestion(nearest, known)],
            Conflict::ZoneMissing { known, .. } => vec![format!("zones: {}", known.join(", "))],
            Conflict::WrongUnit { known, .. } => {
                vec![format!("units that fit: {}", known.join(", "))]
            }
            Conflict::PartFitsAnother { .. } => {
                one("mend the part number, or its component in the register")
            }
            Conflict::SpanMissing { .. } => Vec::new(),
            Conflict::Future { .. } => one("mend the time; check this computer's clock"),
            Conflict::LoggedBeforeTime { .. } => one("check the clock of the recording computer"),
            Conflict::MeterBackwards { witness, .. } => vec![
                "meter exchanged? record the reading with --reset (in JSON lines: \"reset\": true).".to_owned(),
                match witness.given {
                    None => format!(
                        "misread? withdraw {}, then record it again.",
                        witness.sha.short()
                    ),
                    Some(_) => "misread? mend the one that is wrong.".to_owned(),
                },
            ],
            Conflict::SlotFilled { .. } => {
                one("an item that takes another's place is recorded as `replaced`")
            }
            Conflict::SlotEmpty { .. } => vec![
                "an item put into an empty slot is recorded as `installed`;".to_owned(),
                "one that was in place when the record began: `installed` with \"age\": null"
                    .to_owned(),
            ],
            Conflict::EmptiesLater { witness, .. } | Conflict::FilledLater { witness, .. } => {
                vec![match witness.given {
                    None => format!(
                        "mend the time, or withdraw {} and record it anew",
                        witness.sha.short()
                    ),
                    Some(_) => "mend the time of one of the two".to_owned(),
                }]
            }
            Conflict::JobTwice { .. } => one("give the job another id"),
            Conflict::NoSuchEntry { .. } => {
                one("`wearbook check` and the books show the names of entries")
            }
            Conflict::SeveralEntries { .. } => one("give more digits"),
            Conflict::WithdrawnTwice { .. } => Vec::new(),
            Conflict::NotWithdrawable { .. } => one("state what holds as a new entry"),
            Conflict::OpenedAgain | Conflict::NotOpened => {
                one("books are copied whole, never joined or cut")
            }
        }
    }
}

fn suggestion(nearest: &Option<String>, known: &[String]) -> String {
    match nearest {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "none are known here; see plant.toml".to_owned(),
        None => format!("known: {}", known.join(", ")),
    }
}
