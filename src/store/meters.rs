//! Usage of a machine at any moment, read off the straight lines between meter readings.
//!
//! In: rows of `meter_segments`. Out: [`Meters`]. Never: a line of its own making.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::cursor::{Cursor, Kind, QueryRow};
use super::error::StoreError;

/// One straight line of usage against time.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterSegment {
    pub machine: String,
    pub meter: String,
    /// Where the line begins to hold; it holds up to the next one's beginning.
    pub from_time: DateTime<Utc>,
    pub base_time: DateTime<Utc>,
    pub base_usage: f64,
    /// Usage per second.
    pub rate: f64,
    /// Whether it lies before the first reading or after the last.
    pub outside: bool,
}

impl QueryRow for MeterSegment {
    const QUERY: &'static str = "meter_segments";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("machine", Kind::Text),
        ("meter", Kind::Text),
        ("from_time", Kind::Time),
        ("base_time", Kind::Time),
        ("base_usage", Kind::Float),
        ("rate", Kind::Float),
        ("kind", Kind::Text),
    ];
    const ORDER: &'static str = "machine, meter, from_time, ledger";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(MeterSegment {
            machine: row.need_text()?,
            meter: row.need_text()?,
            from_time: row.need_time()?,
            base_time: row.need_time()?,
            base_usage: row.need_float()?,
            rate: row.need_float()?,
            outside: matches!(row.need_text()?.as_str(), "before" | "after"),
        })
    }
}

/// All meters of all machines.
#[derive(Debug, Clone, Default)]
pub struct Meters(BTreeMap<(String, String), Vec<MeterSegment>>);

impl Meters {
    /// Of rows in the order of machine, meter, beginning.
    pub(crate) fn new(rows: Vec<MeterSegment>) -> Self {
        let mut meters: BTreeMap<(String, String), Vec<MeterSegment>> = BTreeMap::new();
        for row in rows {
            let key = (row.machine.clone(), row.meter.clone());
            meters.entry(key).or_default().push(row);
        }
        Meters(meters)
    }

    /// Usage of the machine on this meter at a moment, exchanges of the meter removed, as the
    /// queries reckon it; `None` without usable readings.
    pub fn usage(&self, machine: &str, meter: &str, time: DateTime<Utc>) -> Option<f64> {
        let line = self.line(machine, meter, time)?;
        Some(line.base_usage + line.rate * seconds(line, time) as f64)
    }

    /// Whether that usage lies more than a day beyond the meter's readings.
    pub fn extrapolated(&self, machine: &str, meter: &str, time: DateTime<Utc>) -> bool {
        self.line(machine, meter, time)
            .is_some_and(|line| line.outside && seconds(line, time).abs() > 86_400)
    }

    fn line(&self, machine: &str, meter: &str, time: DateTime<Utc>) -> Option<&MeterSegment> {
        let lines = self.0.get(&(machine.to_owned(), meter.to_owned()))?;
        let after = lines.partition_point(|line| line.from_time <= time);
        lines.get(after.checked_sub(1)?)
    }
}

/// Whole seconds since the line's base, as the queries count them.
fn seconds(line: &MeterSegment, time: DateTime<Utc>) -> i64 {
    time.timestamp() - line.base_time.timestamp()
}
