//! One row of the life table, as the life query gives it.
//!
//! In: typed columns. Out: [`LifeRow`], and from it a [`Life`] for any failure mode.
//! Never: SQL, files, clock.

use chrono::{DateTime, Utc};

use super::{End, Life};

/// How a life ended, in the words of the life table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    Failure,
    Interval,
    Suspension,
}

impl Outcome {
    pub fn word(self) -> &'static str {
        match self {
            Outcome::Failure => "failure",
            Outcome::Interval => "interval",
            Outcome::Suspension => "suspension",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        [Outcome::Failure, Outcome::Interval, Outcome::Suspension]
            .into_iter()
            .find(|o| o.word() == word)
    }
}

/// Something to know about a life before trusting its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flag {
    /// Usage at its start or end lies more than a day beyond the meter readings.
    Extrapolated,
    /// The meter was exchanged or zeroed while it ran; that stretch is estimated.
    MeterReset,
    /// Removed and refitted under the same serial; usage added up.
    Refitted,
    /// Usage on it when it came under watch is unknown; left out of fits.
    UnknownAge,
    /// Started and ended at the same usage; left out of fits.
    NoLength,
    /// Its machine has no usable readings of this meter; left out of fits.
    NoUsage,
}

impl Flag {
    pub const ALL: [Flag; 6] = [
        Flag::Extrapolated,
        Flag::MeterReset,
        Flag::Refitted,
        Flag::UnknownAge,
        Flag::NoLength,
        Flag::NoUsage,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Flag::Extrapolated => "extrapolated",
            Flag::MeterReset => "meter-reset",
            Flag::Refitted => "refitted",
            Flag::UnknownAge => "unknown-age",
            Flag::NoLength => "no-length",
            Flag::NoUsage => "no-usage",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Flag::ALL.into_iter().find(|f| f.word() == word)
    }
}

/// Why a row stays out of a fit.
pub type Excluded = Flag;

/// One life of one item in one slot. Usages count from new, in the component's usage unit.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeRow {
    pub machine: String,
    pub component: String,
    pub position: String,
    pub part: Option<String>,
    pub batch: Option<String>,
    pub serial: Option<String>,
    pub start_time: DateTime<Utc>,
    /// When it left the slot, or was found failed; `None` where it still runs.
    pub end_time: Option<DateTime<Utc>>,
    /// Usage already on it when it came under watch; `None` where unknown.
    pub entry: Option<f64>,
    /// Last usage at which it was known not to have failed (failure: where it failed).
    pub lo: Option<f64>,
    /// Usage by which it had failed; `None` for a suspension.
    pub hi: Option<f64>,
    pub outcome: Outcome,
    /// Failure mode, where one was stated.
    pub mode: Option<String>,
    /// Why it ended (`failed`, `planned`, …); `None` where it still runs.
    pub reason: Option<String>,
    pub start_sha: String,
    pub end_sha: Option<String>,
    pub flags: Vec<Flag>,
}

impl LifeRow {
    pub fn has(&self, flag: Flag) -> bool {
        self.flags.contains(&flag)
    }

    /// The life for a fit of `mode` (`None`: any failure counts).
    ///
    /// A life that ended by another mode is a suspension at `lo`, the last usage at
    /// which the item is known to have been free of this one.
    /// Errors: the flag for which the row stays out.
    pub fn life(&self, mode: Option<&str>) -> Result<Life, Excluded> {
        for flag in [Flag::UnknownAge, Flag::NoUsage, Flag::NoLength] {
            if self.has(flag) {
                return Err(flag);
            }
        }
        let (Some(entry), Some(lo)) = (self.entry, self.lo) else {
            return Err(Flag::UnknownAge);
        };
        let other_mode = mode.is_some_and(|m| self.mode.as_deref() != Some(m));
        let end = match (self.outcome, self.hi) {
            (Outcome::Suspension, _) | (_, None) => End::Suspension { at: lo },
            _ if other_mode => End::Suspension { at: lo },
            (Outcome::Failure, Some(hi)) => End::Failure { at: hi },
            (Outcome::Interval, Some(hi)) if hi > lo => End::Interval { lo, hi },
            (Outcome::Interval, Some(hi)) => End::Failure { at: hi },
        };
        let life = Life {
            entry,
            end,
            count: 1,
        };
        if life.last_usage() <= entry {
            return Err(Flag::NoLength);
        }
        Ok(life)
    }
}
