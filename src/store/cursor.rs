//! Arrow batches read row by row: columns checked once, values taken in order.
//!
//! In: a connection, a struct's columns. Out: its rows. Never: a guess: another name,
//! type or word than the struct expects is an error that tells query, column, expected
//! and found.

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
    pub(super) fn error(
        &self,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) -> StoreError {
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

    pub(super) fn text(&mut self) -> Result<Option<String>, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Text(array) => Ok(array.is_valid(row).then(|| array.value(row).to_owned())),
            _ => Err(self.error("text", "another type")),
        }
    }

    pub(super) fn float(&mut self) -> Result<Option<f64>, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Float(array) => Ok(array.is_valid(row).then(|| array.value(row))),
            _ => Err(self.error("a number", "another type")),
        }
    }

    pub(super) fn truth(&mut self) -> Result<bool, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Truth(array) if array.is_valid(row) => Ok(array.value(row)),
            _ => Err(self.error("true or false", "NULL")),
        }
    }

    pub(super) fn count(&mut self) -> Result<u64, StoreError> {
        let row = self.row;
        match self.column()? {
            Column::Whole(array) if array.is_valid(row) => {
                let value = array.value(row);
                u64::try_from(value).map_err(|_| self.error("a count", value.to_string()))
            }
            _ => Err(self.error("a count", "NULL")),
        }
    }

    pub(super) fn time(&mut self) -> Result<Option<DateTime<Utc>>, StoreError> {
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

    pub(super) fn money(&mut self) -> Result<Option<Decimal>, StoreError> {
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

    pub(super) fn need_text(&mut self) -> Result<String, StoreError> {
        let value = self.text()?;
        self.need(value)
    }

    pub(super) fn need_float(&mut self) -> Result<f64, StoreError> {
        let value = self.float()?;
        self.need(value)
    }

    pub(super) fn need_time(&mut self) -> Result<DateTime<Utc>, StoreError> {
        let value = self.time()?;
        self.need(value)
    }

    pub(super) fn need_money(&mut self) -> Result<Decimal, StoreError> {
        let value = self.money()?;
        self.need(value)
    }

    pub(super) fn word<T>(
        &mut self,
        from_word: impl Fn(&str) -> Option<T>,
    ) -> Result<T, StoreError> {
        let word = self.need_text()?;
        from_word(&word).ok_or_else(|| self.error("a known word", format!("`{word}`")))
    }
}
