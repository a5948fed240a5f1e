//! The life table as text, JSON and CSV. The JSON keys and CSV columns are a contract.
//!
//! In: [`LifeRow`]s. Out: text. Never: statistics.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;

use super::table::{Align, Table, cell, csv_text};
use crate::life::{Flag, LifeRow, Outcome};
use crate::quantity::time::{day, format_utc};
use crate::quantity::{counted, thousands};

/// Lives, as they stood at a moment.
#[derive(Debug, Clone, Serialize)]
pub struct LivesView {
    /// Null where the ledger has no entries.
    pub as_of: Option<String>,
    pub lives: Vec<LifeView>,
    /// Dates in the table are the plant's.
    #[serde(skip)]
    pub zone: Tz,
    #[serde(skip)]
    moment: Option<DateTime<Utc>>,
}

/// One life. Usages count from new, in `unit`; unknown is null.
#[derive(Debug, Clone, Serialize)]
pub struct LifeView {
    pub machine: String,
    pub component: String,
    pub position: String,
    pub part: Option<String>,
    pub batch: Option<String>,
    pub serial: Option<String>,
    pub start_time: String,
    pub end_time: Option<String>,
    pub unit: String,
    pub entry: Option<f64>,
    pub lo: Option<f64>,
    pub hi: Option<f64>,
    pub outcome: &'static str,
    pub mode: Option<String>,
    pub reason: Option<String>,
    pub start_sha: String,
    pub end_sha: Option<String>,
    pub flags: Vec<&'static str>,
    #[serde(skip)]
    start: DateTime<Utc>,
    #[serde(skip)]
    end: Option<DateTime<Utc>>,
    #[serde(skip)]
    kept: bool,
}

const CSV_COLUMNS: [&str; 18] = [
    "machine",
    "component",
    "position",
    "part",
    "batch",
    "serial",
    "start_time",
    "end_time",
    "entry",
    "lo",
    "hi",
    "outcome",
    "mode",
    "start_sha",
    "end_sha",
    "flags",
    "reason",
    "unit",
];

impl LivesView {
    /// `unit` tells the usage unit of a component.
    pub fn new(
        rows: &[LifeRow],
        as_of: Option<DateTime<Utc>>,
        zone: Tz,
        unit: impl Fn(&str) -> String,
    ) -> Self {
        LivesView {
            as_of: as_of.map(format_utc),
            moment: as_of,
            lives: rows
                .iter()
                .map(|row| LifeView::new(row, unit(&row.component)))
                .collect(),
            zone,
        }
    }

    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a life; flags are parted by blanks.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        csv_text(
            &CSV_COLUMNS,
            self.lives.iter().map(|life| {
                vec![
                    life.machine.clone(),
                    life.component.clone(),
                    life.position.clone(),
                    text(&life.part),
                    text(&life.batch),
                    text(&life.serial),
                    life.start_time.clone(),
                    text(&life.end_time),
                    cell(life.entry),
                    cell(life.lo),
                    cell(life.hi),
                    life.outcome.to_owned(),
                    text(&life.mode),
                    life.start_sha.clone(),
                    text(&life.end_sha),
                    life.flags.join(" "),
                    text(&life.reason),
                    life.unit.clone(),
                ]
            }),
        )
    }

    /// For reading: rounded, with units, days of the plant's calendar.
    pub fn text(&self) -> String {
        let mut table = Table::new([
            ("machine", Align::Left),
            ("component", Align::Left),
            ("position", Align::Left),
            ("in", Align::Left),
            ("out", Align::Left),
            ("on it", Align::Right),
            ("life", Align::Right),
            ("outcome", Align::Left),
            ("mode", Align::Left),
            ("flags", Align::Left),
        ]);
        for life in &self.lives {
            table.row([
                life.machine.clone(),
                life.component.clone(),
                life.position.clone(),
                day(life.start, self.zone).to_string(),
                life.end
                    .map_or_else(|| "runs".into(), |end| day(end, self.zone).to_string()),
                life.entry
                    .map_or_else(|| "–".into(), |entry| thousands(entry, 0)),
                life.length(),
                life.outcome_words(),
                life.mode.clone().unwrap_or_default(),
                life.flags.join(", "),
            ]);
        }
        let Some(moment) = self.moment else {
            return "no lives: the ledger has no entries yet\n".to_owned();
        };
        let mut text = if self.lives.is_empty() {
            String::new()
        } else {
            table.text()
        };
        let count = |outcome: Outcome| {
            let word = outcome.word();
            self.lives.iter().filter(|l| l.outcome == word).count()
        };
        let apart = self.lives.iter().filter(|life| !life.kept).count();
        text.push_str(&format!(
            "{} as of {}: {}, {}, {}",
            counted(self.lives.len() as u64, "life", "lives"),
            day(moment, self.zone),
            counted(count(Outcome::Failure) as u64, "failure", "failures"),
            counted(count(Outcome::Interval) as u64, "interval", "intervals"),
            counted(
                count(Outcome::Suspension) as u64,
                "suspension",
                "suspensions"
            ),
        ));
        if apart > 0 {
            text.push_str(&format!("; {apart} of no use to a fit"));
        }
        text.push('\n');
        text
    }
}

impl LifeView {
    fn new(row: &LifeRow, unit: String) -> Self {
        LifeView {
            machine: row.machine.clone(),
            component: row.component.clone(),
            position: row.position.clone(),
            part: row.part.clone(),
            batch: row.batch.clone(),
            serial: row.serial.clone(),
            start_time: format_utc(row.start_time),
            end_time: row.end_time.map(format_utc),
            unit,
            entry: row.entry,
            lo: row.lo,
            hi: row.hi,
            outcome: row.outcome.word(),
            mode: row.mode.clone(),
            reason: row.reason.clone(),
            start_sha: row.start_sha.clone(),
            end_sha: row.end_sha.clone(),
            flags: row.flags.iter().map(|flag| Flag::word(*flag)).collect(),
            start: row.start_time,
            end: row.end_time,
            kept: row.life(None).is_ok(),
        }
    }

    /// `1,240 h`, `800 to 1,240 h`, `over 600 h`, or a dash where it is unknown.
    fn length(&self) -> String {
        let unit = if self.unit.is_empty() {
            String::new()
        } else {
            format!(" {}", self.unit)
        };
        let suspended = self.outcome == Outcome::Suspension.word();
        match (self.lo, self.hi) {
            (Some(lo), None) if suspended => format!("over {}{unit}", thousands(lo, 0)),
            (Some(lo), Some(hi)) if hi > lo => {
                format!("{} to {}{unit}", thousands(lo, 0), thousands(hi, 0))
            }
            (_, Some(hi)) => format!("{}{unit}", thousands(hi, 0)),
            _ => "–".into(),
        }
    }

    fn outcome_words(&self) -> String {
        match &self.reason {
            Some(reason) => format!("{} ({reason})", self.outcome),
            None => self.outcome.to_owned(),
        }
    }
}
