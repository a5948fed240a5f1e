//! Typed rows over Arrow: one struct a query, columns checked once.
//!
//! In: Arrow batches of DuckDB. Out: [`LifeRow`], [`RenewalCost`], [`SlotStay`],
//! [`UsageNow`], [`EntryCount`]. Never: a guess: another name, type or word than the
//! struct expects is an error that tells query, column, expected and found.

use std::fmt;

use arrow::array::{
    Array, ArrayRef, BooleanArray, Decimal128Array, Float64Array, Int64Array, RecordBatch,
    StringArray, TimestampMicrosecondArray,
};
use arrow::datatypes::{DataType, SchemaRef, TimeUnit};
use chrono::{DateTime, Utc};
use duckdb::Connection;
use rust_decimal::Decimal;

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

/// The types a column can have here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Text,
    Float,
    Whole,
    Truth,
    Time,
    Money,
}

impl Kind {
    fn data_type(self) -> DataType {
        match self {
            Kind::Text => DataType::Utf8,
            Kind::Float => DataType::Float64,
            Kind::Whole => DataType::Int64,
            Kind::Truth => DataType::Boolean,
            Kind::Time => DataType::Timestamp(TimeUnit::Microsecond, None),
            Kind::Money => DataType::Decimal128(38, 4),
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.data_type())
    }
}

/// A struct that a query's rows become.
pub(crate) trait QueryRow: Sized {
    /// The query (and table) it reads.
    const QUERY: &'static str;
    /// Columns it takes, in the order it takes them.
    const COLUMNS: &'static [(&'static str, Kind)];
    /// The unique key the rows come in the order of.
    const ORDER: &'static str;

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError>;
}

/// Reads all rows of a query's table.
pub(crate) fn read<T: QueryRow>(conn: &Connection) -> Result<Vec<T>, StoreError> {
    let names: Vec<String> = T::COLUMNS
        .iter()
        .map(|(name, _)| format!("\"{name}\""))
        .collect();
    let sql = format!(
        "SELECT {} FROM {} ORDER BY {}",
        names.join(", "),
        T::QUERY,
        T::ORDER
    );
    let (_, batches) = fetch(conn, &sql)
        .map_err(|error| StoreError::engine(format!("read {}", T::QUERY), &error))?;
    let mut rows = Vec::with_capacity(batches.iter().map(RecordBatch::num_rows).sum());
    for batch in batches {
        let arrays = columns::<T>(&batch)?;
        for row in 0..batch.num_rows() {
            let mut cursor = Cursor {
                query: T::QUERY,
                columns: T::COLUMNS,
                arrays: &arrays,
                row,
                next: 0,
            };
            rows.push(T::take(&mut cursor)?);
        }
    }
    Ok(rows)
}

/// Runs a statement and fetches its schema and batches; a chunk that fails is an
/// error, where the iterator of `query_arrow` would panic.
pub(crate) fn fetch(
    conn: &Connection,
    sql: &str,
) -> Result<(SchemaRef, Vec<RecordBatch>), duckdb::Error> {
    let mut statement = conn.prepare(sql)?;
    let schema = statement.query_arrow([])?.get_schema();
    let mut batches = Vec::new();
    while let Some(array) = statement.step()? {
        batches.push(RecordBatch::from(&array));
    }
    Ok((schema, batches))
}

/// A column, downcast once.
enum Column<'a> {
    Text(&'a StringArray),
    Float(&'a Float64Array),
    Whole(&'a Int64Array),
    Truth(&'a BooleanArray),
    Time(&'a TimestampMicrosecondArray),
    Money(&'a Decimal128Array),
}

fn columns<T: QueryRow>(batch: &RecordBatch) -> Result<Vec<Column<'_>>, StoreError> {
    let schema = batch.schema();
    T::COLUMNS
        .iter()
        .enumerate()
        .map(|(i, (name, kind))| {
            let shape = |expected: String, found: String| StoreError::Shape {
                query: T::QUERY,
                column: (*name).to_owned(),
                expected,
                found,
            };
            let Some(field) = schema.fields().get(i) else {
                return Err(shape(kind.to_string(), "no such column".to_owned()));
            };
            if field.name() != name {
                return Err(shape(
                    format!("column {name}"),
                    format!("column {}", field.name()),
                ));
            }
            downcast(*kind, batch.column(i))
                .ok_or_else(|| shape(kind.to_string(), field.data_type().to_string()))
        })
        .collect()
}

fn downcast(kind: Kind, array: &ArrayRef) -> Option<Column<'_>> {
    if *array.data_type() != kind.data_type() {
        return None;
    }
    let any = array.as_any();
    match kind {
        Kind::Text => any.downcast_ref().map(Column::Text),
        Kind::Float => any.downcast_ref().map(Column::Float),
        Kind::Whole => any.downcast_ref().map(Column::Whole),
        Kind::Truth => any.downcast_ref().map(Column::Truth),
        Kind::Time => any.downcast_ref().map(Column::Time),
        Kind::Money => any.downcast_ref().map(Column::Money),
    }
}

/// One row, taken column by column.
pub(crate) struct Cursor<'a> {
    query: &'static str,
    columns: &'static [(&'static str, Kind)],
    arrays: &'a [Column<'a>],
    row: usize,
    next: usize,
}

impl Cursor<'_> {
    fn error(&self, expected: impl Into<String>, found: impl Into<String>) -> StoreError {
        let column = self.columns.get(self.next.saturating_sub(1));
        StoreError::Shape {
            query: self.query,
            column: column.map_or("?", |(name, _)| name).to_owned(),
            expected: expected.into(),
            found: found.into(),
        }
    }

    fn column(&mut self) -> Result<&Column<'_>, StoreError> {
        self.next += 1;
        match self.arrays.get(self.next - 1) {
            Some(column) => Ok(column),
            None => Err(self.error("a column", "the end of the row")),
        }
    }

    fn text(&mut self) -> Result<Option<String>, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Text(array) => Ok(array.is_valid(row).then(|| array.value(row).to_owned())),
            _ => Err(self.error("text", "another type")),
        }
    }

    fn float(&mut self) -> Result<Option<f64>, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Float(array) => Ok(array.is_valid(row).then(|| array.value(row))),
            _ => Err(self.error("a number", "another type")),
        }
    }

    fn truth(&mut self) -> Result<bool, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Truth(array) if array.is_valid(row) => Ok(array.value(row)),
            _ => Err(self.error("true or false", "NULL")),
        }
    }

    fn count(&mut self) -> Result<u64, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Whole(array) if array.is_valid(row) => {
                let value = array.value(row);
                u64::try_from(value).map_err(|_| self.error("a count", value.to_string()))
            }
            _ => Err(self.error("a count", "NULL")),
        }
    }

    fn time(&mut self) -> Result<Option<DateTime<Utc>>, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Time(array) if array.is_valid(row) => {
                let micros = array.value(row);
                match DateTime::from_timestamp_micros(micros) {
                    Some(time) => Ok(Some(time)),
                    None => Err(self.error("a time", format!("{micros} µs"))),
                }
            }
            Column::Time(_) => Ok(None),
            _ => Err(self.error("a time", "another type")),
        }
    }

    fn money(&mut self) -> Result<Option<Decimal>, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Money(array) if array.is_valid(row) => {
                let units = array.value(row);
                match Decimal::try_from_i128_with_scale(units, 4) {
                    Ok(amount) => Ok(Some(amount.normalize())),
                    Err(_) => Err(self.error("an amount", units.to_string())),
                }
            }
            Column::Money(_) => Ok(None),
            _ => Err(self.error("an amount", "another type")),
        }
    }

    fn need<T>(&self, value: Option<T>) -> Result<T, StoreError> {
        value.ok_or_else(|| self.error("a value", "NULL"))
    }

    fn need_text(&mut self) -> Result<String, StoreError> {
        let value = self.text()?;
        self.need(value)
    }

    fn need_float(&mut self) -> Result<f64, StoreError> {
        let value = self.float()?;
        self.need(value)
    }

    fn need_time(&mut self) -> Result<DateTime<Utc>, StoreError> {
        let value = self.time()?;
        self.need(value)
    }

    fn need_money(&mut self) -> Result<Decimal, StoreError> {
        let value = self.money()?;
        self.need(value)
    }

    fn word<T>(&mut self, from_word: impl Fn(&str) -> Option<T>) -> Result<T, StoreError> {
        let word = self.need_text()?;
        from_word(&word).ok_or_else(|| self.error("a known word", format!("`{word}`")))
    }
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
