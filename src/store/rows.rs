//! Typed rows: one struct a query.
//!
//! In: Arrow batches of DuckDB. Out: [`LifeRow`], [`RenewalCost`], [`SlotStay`],
//! [`UsageNow`], [`Reading`], [`EntryCount`]. Never: a word or type it does not know taken as another.

use chrono::{DateTime, Utc};

use super::cursor::{Cursor, Kind, QueryRow};
use super::error::StoreError;
use crate::life::{Flag, LifeRow, Outcome, RenewalCost, RenewalKind};

/// One item's stay in one slot; a refitted item has several.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotStay {
    pub machine: String,
    pub component: String,
    pub position: String,
    pub start_time: DateTime<Utc>,
    /// `None` where it is still in.
    pub end_time: Option<DateTime<Utc>>,
    pub part: Option<String>,
    pub batch: Option<String>,
    pub serial: Option<String>,
    /// Whether the usage on it when it was put in is unknown.
    pub age_unknown: bool,
    /// Why it left; `None` where it is still in.
    pub reason: Option<String>,
    /// `running` or `inspection`.
    pub found: Option<String>,
    pub mode: Option<String>,
    /// Usage run in this stay, in the component's usage unit; `None` where the machine
    /// has no usable readings.
    pub usage: Option<f64>,
    pub start_sha: String,
    pub end_sha: Option<String>,
}

/// Where one meter of one machine stands.
#[derive(Debug, Clone, PartialEq)]
pub struct UsageNow {
    pub machine: String,
    pub meter: String,
    pub readings: u64,
    /// Readings that mark an exchanged or zeroed meter.
    pub resets: u64,
    pub first_time: DateTime<Utc>,
    pub last_time: DateTime<Utc>,
    /// As the meter shows it.
    pub last_value: f64,
    /// At the as-of moment, exchanges removed; `None` without usable readings.
    pub usage: Option<f64>,
    /// Recent rate, usage per week.
    pub per_week: Option<f64>,
    /// Longest time between two readings.
    pub longest_gap_days: f64,
}

/// One measured entry that stands, and the item it was taken on.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Where it was taken.
    pub machine: String,
    pub component: String,
    pub position: String,
    pub time: DateTime<Utc>,
    pub quantity: String,
    pub zone: Option<String>,
    /// As it was given, in `unit`.
    pub value: f64,
    pub unit: String,
    /// Length it was taken over, m.
    pub span: Option<f64>,
    /// The same quantity on a new part, in `unit`.
    pub new_value: Option<f64>,
    /// Usage on the item since new, in the component's usage unit; `None`: unknown.
    pub usage: Option<f64>,
    /// Whether that usage lies more than a day beyond the meter readings.
    pub extrapolated: bool,
    /// The line that began the item's life; `None`: no item was in the slot.
    pub life_sha: Option<String>,
    pub serial: Option<String>,
    pub start_time: Option<DateTime<Utc>>,
    /// Where the item is, or last was.
    pub item_machine: Option<String>,
    pub item_position: Option<String>,
    /// Whether the item is in a slot now.
    pub still_in: bool,
    /// Usage on it now, or when it last left; `None`: unknown.
    pub usage_now: Option<f64>,
    pub job: Option<String>,
    pub sha: String,
}

/// How many entries of one kind there are.
#[derive(Debug, Clone, PartialEq)]
pub struct EntryCount {
    pub ledger: String,
    pub kind: String,
    pub entries: u64,
    pub withdrawn: u64,
    /// Of those that stand.
    pub first_time: Option<DateTime<Utc>>,
    pub last_time: Option<DateTime<Utc>>,
}

impl QueryRow for LifeRow {
    const QUERY: &'static str = "lives";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("machine", Kind::Text),
        ("component", Kind::Text),
        ("position", Kind::Text),
        ("part", Kind::Text),
        ("batch", Kind::Text),
        ("serial", Kind::Text),
        ("start_time", Kind::Time),
        ("end_time", Kind::Time),
        ("entry", Kind::Float),
        ("lo", Kind::Float),
        ("hi", Kind::Float),
        ("outcome", Kind::Text),
        ("mode", Kind::Text),
        ("reason", Kind::Text),
        ("start_sha", Kind::Text),
        ("end_sha", Kind::Text),
        ("flags", Kind::Text),
    ];
    const ORDER: &'static str = "machine, component, \"position\", start_time, start_sha";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(LifeRow {
            machine: row.need_text()?,
            component: row.need_text()?,
            position: row.need_text()?,
            part: row.text()?,
            batch: row.text()?,
            serial: row.text()?,
            start_time: row.need_time()?,
            end_time: row.time()?,
            entry: row.float()?,
            lo: row.float()?,
            hi: row.float()?,
            outcome: row.word(Outcome::from_word)?,
            mode: row.text()?,
            reason: row.text()?,
            start_sha: row.need_text()?,
            end_sha: row.text()?,
            flags: {
                let words = row.need_text()?;
                words
                    .split_whitespace()
                    .map(|word| {
                        Flag::from_word(word)
                            .ok_or_else(|| row.error("a known flag", format!("`{word}`")))
                    })
                    .collect::<Result<_, _>>()?
            },
        })
    }
}

impl QueryRow for RenewalCost {
    const QUERY: &'static str = "renewal_costs";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("machine", Kind::Text),
        ("component", Kind::Text),
        ("position", Kind::Text),
        ("job", Kind::Text),
        ("time", Kind::Time),
        ("reason", Kind::Text),
        ("kind", Kind::Text),
        ("parts", Kind::Money),
        ("labour", Kind::Money),
        ("downtime", Kind::Money),
        ("extra", Kind::Money),
        ("total", Kind::Money),
        ("sha", Kind::Text),
    ];
    const ORDER: &'static str = "ledger, job, machine, component, \"position\", \"time\", sha";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(RenewalCost {
            machine: row.need_text()?,
            component: row.need_text()?,
            position: row.need_text()?,
            job: row.need_text()?,
            time: row.need_time()?,
            reason: row.text()?,
            kind: row.word(RenewalKind::from_word)?,
            parts: row.money()?,
            labour: row.need_money()?,
            downtime: row.need_money()?,
            extra: row.need_money()?,
            total: row.money()?,
            sha: row.need_text()?,
        })
    }
}

impl QueryRow for SlotStay {
    const QUERY: &'static str = "slot_stays";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("machine", Kind::Text),
        ("component", Kind::Text),
        ("position", Kind::Text),
        ("start_time", Kind::Time),
        ("end_time", Kind::Time),
        ("part", Kind::Text),
        ("batch", Kind::Text),
        ("serial", Kind::Text),
        ("age_unknown", Kind::Truth),
        ("reason", Kind::Text),
        ("found", Kind::Text),
        ("mode", Kind::Text),
        ("usage", Kind::Float),
        ("start_sha", Kind::Text),
        ("end_sha", Kind::Text),
    ];
    const ORDER: &'static str = "machine, component, \"position\", start_time, start_sha";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(SlotStay {
            machine: row.need_text()?,
            component: row.need_text()?,
            position: row.need_text()?,
            start_time: row.need_time()?,
            end_time: row.time()?,
            part: row.text()?,
            batch: row.text()?,
            serial: row.text()?,
            age_unknown: row.truth()?,
            reason: row.text()?,
            found: row.text()?,
            mode: row.text()?,
            usage: row.float()?,
            start_sha: row.need_text()?,
            end_sha: row.text()?,
        })
    }
}

impl QueryRow for UsageNow {
    const QUERY: &'static str = "usage_now";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("machine", Kind::Text),
        ("meter", Kind::Text),
        ("readings", Kind::Whole),
        ("resets", Kind::Whole),
        ("first_time", Kind::Time),
        ("last_time", Kind::Time),
        ("last_value", Kind::Float),
        ("usage", Kind::Float),
        ("per_week", Kind::Float),
        ("longest_gap_days", Kind::Float),
    ];
    const ORDER: &'static str = "machine, meter, ledger";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(UsageNow {
            machine: row.need_text()?,
            meter: row.need_text()?,
            readings: row.count()?,
            resets: row.count()?,
            first_time: row.need_time()?,
            last_time: row.need_time()?,
            last_value: row.need_float()?,
            usage: row.float()?,
            per_week: row.float()?,
            longest_gap_days: row.need_float()?,
        })
    }
}

impl QueryRow for EntryCount {
    const QUERY: &'static str = "entry_counts";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("ledger", Kind::Text),
        ("kind", Kind::Text),
        ("entries", Kind::Whole),
        ("withdrawn", Kind::Whole),
        ("first_time", Kind::Time),
        ("last_time", Kind::Time),
    ];
    const ORDER: &'static str = "ledger, kind";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(EntryCount {
            ledger: row.need_text()?,
            kind: row.need_text()?,
            entries: row.count()?,
            withdrawn: row.count()?,
            first_time: row.time()?,
            last_time: row.time()?,
        })
    }
}

impl QueryRow for Reading {
    const QUERY: &'static str = "readings";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("machine", Kind::Text),
        ("component", Kind::Text),
        ("position", Kind::Text),
        ("time", Kind::Time),
        ("quantity", Kind::Text),
        ("zone", Kind::Text),
        ("value", Kind::Float),
        ("unit", Kind::Text),
        ("span", Kind::Float),
        ("new_value", Kind::Float),
        ("usage", Kind::Float),
        ("extrapolated", Kind::Truth),
        ("life_sha", Kind::Text),
        ("serial", Kind::Text),
        ("start_time", Kind::Time),
        ("item_machine", Kind::Text),
        ("item_position", Kind::Text),
        ("still_in", Kind::Truth),
        ("usage_now", Kind::Float),
        ("job", Kind::Text),
        ("sha", Kind::Text),
    ];
    const ORDER: &'static str = "machine, component, \"position\", \"time\", sha";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(Reading {
            machine: row.need_text()?,
            component: row.need_text()?,
            position: row.need_text()?,
            time: row.need_time()?,
            quantity: row.need_text()?,
            zone: row.text()?,
            value: row.need_float()?,
            unit: row.need_text()?,
            span: row.float()?,
            new_value: row.float()?,
            usage: row.float()?,
            extrapolated: row.truth()?,
            life_sha: row.text()?,
            serial: row.text()?,
            start_time: row.time()?,
            item_machine: row.text()?,
            item_position: row.text()?,
            still_in: row.truth()?,
            usage_now: row.float()?,
            job: row.text()?,
            sha: row.need_text()?,
        })
    }
}
