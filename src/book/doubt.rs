//! Doubts about a record: entries that can stand, and yet hardly be right or whole.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use thiserror::Error;

use super::conflict::Witness;
use crate::quantity::time::show;
use crate::quantity::trouble::Severity;

/// One doubt.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Doubt {
    #[error("{machine} ran more than 24 h a day by meter `{meter}`")]
    TooFast {
        machine: String,
        meter: String,
        hours: f64,
        elapsed_h: f64,
        since: Witness,
    },
    #[error("meter `{meter}` of {machine} was not read for {days} days")]
    Unread {
        machine: String,
        meter: String,
        days: i64,
        since: Witness,
    },
    #[error("meter `{meter}` of {machine} was not read in the last {days} days of the record")]
    UnreadLately {
        machine: String,
        meter: String,
        days: i64,
    },
    #[error("meter `{meter}` of {machine} was never read")]
    NeverRead { machine: String, meter: String },
    #[error("the item in {slot} was taken out without having run")]
    NoLength { slot: String, put_in: Witness },
    #[error("{slot}: a renewal without a job")]
    NoJob { slot: String },
    #[error("{slot}: {word} without a failure mode")]
    NoMode { slot: String, word: &'static str },
    #[error("items put in with unknown age: {count}")]
    UnknownAges { count: usize, slots: String },
    #[error("{slot}: found sound after it was found {word}")]
    SoundAgain {
        slot: String,
        word: &'static str,
        before: Witness,
    },
    #[error("{slot}: taken out as `{reason}` after it was found {word}")]
    ReasonDiffers {
        slot: String,
        reason: &'static str,
        word: &'static str,
        before: Witness,
    },
    #[error("{slot}: a used item was fitted, and `{component}` is never to be refitted")]
    Refitted {
        slot: String,
        component: String,
        before: Option<Witness>,
    },
    #[error("serial `{serial}` sits in two slots at once")]
    SerialTwice { serial: String, other: Witness },
    #[error("the same entry stands twice")]
    Twice { first: Witness },
    #[error("job `{job}` has no entries")]
    JobWithoutEntries { job: String },
    #[error("job `{job}` is never stated")]
    JobNotStated { job: String, entries: usize },
    #[error("job `{job}` is one of {stated}, and this entry is of {machine}")]
    JobOfAnother {
        job: String,
        stated: String,
        machine: String,
        first: Witness,
    },
    #[error("{machine}: `{component}` was never put in at {positions}")]
    NeverFilled {
        machine: String,
        component: String,
        positions: String,
    },
    #[error("{slot} has been empty since {days} days before the end of the record")]
    LeftEmpty { slot: String, days: i64 },
    #[error("{machine} was not in service yet")]
    BeforeService {
        machine: String,
        in_service: NaiveDate,
    },
    #[error("{slot}: {pieces} pieces put in where the register says {expected}")]
    Pieces {
        slot: String,
        pieces: u32,
        expected: u32,
    },
    #[error("`{quantity}` of `{component}` is {factor:.0} times {} than its like", if *larger { "larger" } else { "smaller" })]
    FarOff {
        component: String,
        quantity: String,
        factor: f64,
        larger: bool,
        siblings: usize,
    },
    #[error("written down before the line above it")]
    LoggedBackwards {
        logged: DateTime<Utc>,
        above: DateTime<Utc>,
    },
    #[error("the ledger has no entries yet")]
    NoEntries,
}

impl Doubt {
    /// A short fixed name, for programs.
    pub fn name(&self) -> &'static str {
        match self {
            Doubt::TooFast { .. } => "usage-too-fast",
            Doubt::Unread { .. } => "meter-unread",
            Doubt::UnreadLately { .. } => "meter-unread-lately",
            Doubt::NeverRead { .. } => "meter-never-read",
            Doubt::NoLength { .. } => "life-without-length",
            Doubt::NoJob { .. } => "renewal-without-job",
            Doubt::NoMode { .. } => "no-mode",
            Doubt::UnknownAges { .. } => "unknown-age",
            Doubt::SoundAgain { .. } => "sound-again",
            Doubt::ReasonDiffers { .. } => "reason-differs",
            Doubt::Refitted { .. } => "never-refit",
            Doubt::SerialTwice { .. } => "serial-twice",
            Doubt::Twice { .. } => "entry-twice",
            Doubt::JobWithoutEntries { .. } => "job-without-entries",
            Doubt::JobNotStated { .. } => "job-not-stated",
            Doubt::JobOfAnother { .. } => "job-of-another",
            Doubt::NeverFilled { .. } => "slot-never-filled",
            Doubt::LeftEmpty { .. } => "slot-left-empty",
            Doubt::BeforeService { .. } => "before-service",
            Doubt::Pieces { .. } => "pieces-differ",
            Doubt::FarOff { .. } => "far-off",
            Doubt::LoggedBackwards { .. } => "logged-backwards",
            Doubt::NoEntries => "no-entries",
        }
    }

    /// How much it matters: a warning may change a result.
    pub fn severity(&self) -> Severity {
        match self {
            Doubt::NoJob { .. }
            | Doubt::UnknownAges { .. }
            | Doubt::ReasonDiffers { .. }
            | Doubt::JobWithoutEntries { .. }
            | Doubt::NeverFilled { .. }
            | Doubt::LeftEmpty { .. }
            | Doubt::Pieces { .. }
            | Doubt::LoggedBackwards { .. }
            | Doubt::NoEntries => Severity::Note,
            _ => Severity::Warning,
        }
    }

    /// The key of the entry to point at.
    pub fn key(&self) -> &'static str {
        match self {
            Doubt::TooFast { .. }
            | Doubt::Unread { .. }
            | Doubt::UnreadLately { .. }
            | Doubt::FarOff { .. } => "value",
            Doubt::NoLength { .. } | Doubt::BeforeService { .. } => "time",
            Doubt::NoMode { .. } | Doubt::ReasonDiffers { .. } => "reason",
            Doubt::UnknownAges { .. } | Doubt::Refitted { .. } => "age",
            Doubt::SoundAgain { .. } => "finding",
            Doubt::SerialTwice { .. } => "serial",
            Doubt::JobWithoutEntries { .. }
            | Doubt::JobNotStated { .. }
            | Doubt::JobOfAnother { .. } => "job",
            Doubt::LeftEmpty { .. } => "position",
            Doubt::Pieces { .. } => "pieces",
            Doubt::LoggedBackwards { .. } => "logged",
            _ => "entry",
        }
    }

    /// Sentences of evidence; times on the plant's clock.
    pub fn evidence(&self, zone: Tz) -> Vec<String> {
        let at = |w: &Witness| format!("{}:{} ({})", w.file, w.line, show(w.time, zone));
        let text = match self {
            Doubt::TooFast {
                hours,
                elapsed_h,
                since,
                ..
            } => format!(
                "{hours:.1} h on the meter in {elapsed_h:.1} h since {}.",
                at(since)
            ),
            Doubt::Unread { since, .. } => format!("The reading before is {}.", at(since)),
            Doubt::NoLength { put_in, .. } => format!("It was put in by {}.", at(put_in)),
            Doubt::UnknownAges { slots, .. } => {
                format!("Their first lives are left out of fits: {slots}.")
            }
            Doubt::SoundAgain { before, .. } | Doubt::ReasonDiffers { before, .. } => {
                format!("See {}.", at(before))
            }
            Doubt::Refitted {
                before: Some(before),
                ..
            } => format!("The same serial was put in by {}.", at(before)),
            Doubt::SerialTwice { other, .. } => {
                format!("{} put it in, and nothing took it out.", at(other))
            }
            Doubt::Twice { first } | Doubt::JobOfAnother { first, .. } => {
                format!("See {}.", at(first))
            }
            Doubt::JobNotStated { entries, .. } => {
                format!("{entries} entries carry it, and no `job` entry says what it cost.")
            }
            Doubt::BeforeService { in_service, .. } => {
                format!("plant.toml says in service since {in_service}.")
            }
            Doubt::FarOff { siblings, .. } => {
                format!("Held against the median of {siblings} other readings of the ledger.")
            }
            Doubt::LoggedBackwards { logged, above } => format!(
                "{} here, {} above.",
                show(*logged, zone),
                show(*above, zone)
            ),
            _ => return Vec::new(),
        };
        vec![text]
    }

    /// How to mend it.
    pub fn cure(&self) -> Vec<String> {
        let text = match self {
            Doubt::TooFast { .. } => {
                "misread, or the meter exchanged? withdraw it and record it again"
            }
            Doubt::Unread { .. } | Doubt::UnreadLately { .. } => {
                "read meters weekly: usage in between is a straight-line guess"
            }
            Doubt::NeverRead { .. } => {
                "record readings: without them no life of this machine has a usage"
            }
            Doubt::NoLength { .. } => {
                "mend the time of one of the two: withdraw it and record it again"
            }
            Doubt::NoJob { .. } => "state a job, so that its labour and downtime count",
            Doubt::NoMode { .. } => {
                "withdraw it and record it again with its mode, if that is known"
            }
            Doubt::SoundAgain { .. } => "withdraw the one that is wrong",
            Doubt::ReasonDiffers { .. } => "the life counts as ended at that inspection",
            Doubt::Refitted { .. } => "check the item, and its component's `never_refit`",
            Doubt::SerialTwice { .. } => "record where the item was taken out, or mend the serial",
            Doubt::Twice { .. } => "withdraw one of the two, unless it did happen twice",
            Doubt::JobWithoutEntries { .. } => "carry the job's id on the entries done in it",
            Doubt::JobNotStated { .. } => "record a `job` entry of this id",
            Doubt::JobOfAnother { .. } => "mend the job or the machine of one of the two",
            Doubt::NeverFilled { .. } => {
                "in place since before the record? record `installed` with --age unknown"
            }
            Doubt::LeftEmpty { .. } => "record what was put in",
            Doubt::BeforeService { .. } => "mend the time, or `in_service` in plant.toml",
            Doubt::Pieces { .. } => "mend the entry, or `pieces` in plant.toml",
            Doubt::FarOff { .. } => {
                "a slipped point, or another unit? withdraw it and record it again"
            }
            Doubt::LoggedBackwards { .. } => "check the clock of the recording computer",
            Doubt::UnknownAges { .. } | Doubt::NoEntries => return Vec::new(),
        };
        vec![text.to_owned()]
    }
}
