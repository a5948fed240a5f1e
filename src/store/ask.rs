//! A user's own question: a named query, or SQL over the documented tables.
//!
//! In: a name or a statement. Out: [`Answer`], plain cells. Never: a change to the
//! tables, a look at the machine's files: the statement runs in a read-only
//! transaction, with DuckDB's access to the outside switched off for good.

use std::fmt;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::datatypes::{
    DataType, Decimal128Type, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type,
    SchemaRef, TimeUnit, TimestampMicrosecondType, UInt8Type, UInt16Type, UInt32Type, UInt64Type,
};
use arrow::error::ArrowError;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;

use super::catalogue::{QUERIES, Query, tables};
use super::cursor::fetch;
use super::error::{StoreError, message_of, refused};
use super::{Inner, Store};
use crate::quantity::nearest;
use crate::quantity::time::format_utc;

/// One value of an answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Unknown.
    Null,
    Truth(bool),
    Whole(i128),
    Float(f64),
    /// `units / 10^scale`, exact.
    Decimal {
        units: i128,
        scale: u32,
    },
    Time(DateTime<Utc>),
    Text(String),
}

/// The rows that answer a question.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    pub columns: Vec<String>,
    pub rows: Vec<Vec<Cell>>,
}

impl Store {
    /// All rows of a documented table or named query, in the order of its key.
    pub fn table(&self, name: &str) -> Result<Answer, StoreError> {
        let order = order_of(name).ok_or_else(|| no_such(name))?;
        let mut inner = self.inner();
        inner.make(name)?;
        let sql = format!("SELECT * FROM {name} ORDER BY {order}");
        let answer = fetch(&inner.conn, &sql)
            .map_err(|error| StoreError::engine(format!("read {name}"), &error))?;
        answer_of(&answer.0, &answer.1)
    }

    /// Answers a statement over the documented tables, or a table's or query's name.
    ///
    /// Errors: [`StoreError::NoSuchQuery`] for one word that names nothing;
    /// [`StoreError::Statement`] for SQL that cannot be understood or is not allowed;
    /// [`StoreError::Run`] for SQL that fails while it runs.
    pub fn ask(&self, question: &str) -> Result<Answer, StoreError> {
        let question = question.trim();
        if order_of(question).is_some() {
            return self.table(question);
        }
        if question.is_empty() {
            return Err(StoreError::Statement {
                message: "the question is empty".to_owned(),
            });
        }
        let one_word = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-');
        if question.chars().all(one_word) {
            return Err(no_such(question));
        }
        let mut inner = self.inner();
        inner.make_all()?;
        inner.shut_off()?;
        let told = |error: &duckdb::Error| {
            let message = message_of(error);
            if refused(&message) {
                StoreError::Statement { message }
            } else {
                StoreError::Run { message }
            }
        };
        inner
            .conn
            .execute_batch("BEGIN TRANSACTION READ ONLY")
            .map_err(|error| StoreError::engine("begin", &error))?;
        let answer = fetch(&inner.conn, question);
        // The transaction may have been ended by an error or by the statement itself.
        let _ = inner.conn.execute_batch("ROLLBACK");
        let (schema, batches) = answer.map_err(|error| told(&error))?;
        answer_of(&schema, &batches)
    }
}

impl Inner {
    /// Takes DuckDB's access to files and settings away for the life of this store.
    fn shut_off(&mut self) -> Result<(), StoreError> {
        if self.shut {
            return Ok(());
        }
        self.shut = true;
        self.conn
            .execute_batch("SET enable_external_access = false; SET lock_configuration = true")
            .map_err(|error| StoreError::engine("shut off access to files", &error))
    }
}

/// The key columns of a table or query; `None` if there is none of that name.
pub(crate) fn order_of(name: &str) -> Option<String> {
    if let Some(table) = tables().find(|table| table.name == name) {
        return Some(quoted(table.key.split(',')));
    }
    let header = Query::named(name)?.header()?;
    Some(quoted(header.order.iter().map(String::as_str)))
}

fn quoted<'a>(columns: impl Iterator<Item = &'a str>) -> String {
    columns
        .map(|column| format!("\"{}\"", column.trim()))
        .collect::<Vec<_>>()
        .join(", ")
}

pub(crate) fn no_such(name: &str) -> StoreError {
    let known = QUERIES
        .iter()
        .map(|query| query.name)
        .chain(tables().map(|table| table.name));
    StoreError::NoSuchQuery {
        name: name.to_owned(),
        nearest: nearest(name, known).map(str::to_owned),
    }
}

fn answer_of(schema: &SchemaRef, batches: &[RecordBatch]) -> Result<Answer, StoreError> {
    let columns: Vec<String> = schema.fields().iter().map(|f| f.name().clone()).collect();
    let mut rows = Vec::new();
    for batch in batches {
        for row in 0..batch.num_rows() {
            let cells = batch.columns().iter().zip(&columns).map(|(array, name)| {
                cell(array, row).map_err(|error| StoreError::Run {
                    message: format!(
                        "column {name} cannot be shown as it is; cast it to VARCHAR\n{error}"
                    ),
                })
            });
            rows.push(cells.collect::<Result<_, _>>()?);
        }
    }
    Ok(Answer { columns, rows })
}

fn cell(array: &ArrayRef, row: usize) -> Result<Cell, ArrowError> {
    if array.is_null(row) {
        return Ok(Cell::Null);
    }
    macro_rules! whole {
        ($kind:ty) => {
            array
                .as_primitive_opt::<$kind>()
                .map(|values| Cell::Whole(i128::from(values.value(row))))
        };
    }
    let known = match array.data_type() {
        DataType::Boolean => array.as_boolean_opt().map(|v| Cell::Truth(v.value(row))),
        DataType::Int8 => whole!(Int8Type),
        DataType::Int16 => whole!(Int16Type),
        DataType::Int32 => whole!(Int32Type),
        DataType::Int64 => whole!(Int64Type),
        DataType::UInt8 => whole!(UInt8Type),
        DataType::UInt16 => whole!(UInt16Type),
        DataType::UInt32 => whole!(UInt32Type),
        DataType::UInt64 => whole!(UInt64Type),
        DataType::Float32 => array
            .as_primitive_opt::<Float32Type>()
            .map(|v| Cell::Float(f64::from(v.value(row)))),
        DataType::Float64 => array
            .as_primitive_opt::<Float64Type>()
            .map(|v| Cell::Float(v.value(row))),
        DataType::Decimal128(_, 0) => array
            .as_primitive_opt::<Decimal128Type>()
            .map(|v| Cell::Whole(v.value(row))),
        DataType::Decimal128(_, scale) => array
            .as_primitive_opt::<Decimal128Type>()
            .zip(u32::try_from(*scale).ok())
            .map(|(v, scale)| Cell::Decimal {
                units: v.value(row),
                scale,
            }),
        // With a zone or without, it counts from the epoch in UTC.
        DataType::Timestamp(TimeUnit::Microsecond, _) => array
            .as_primitive_opt::<TimestampMicrosecondType>()
            .and_then(|v| DateTime::from_timestamp_micros(v.value(row)))
            .map(Cell::Time),
        DataType::Utf8 => array
            .as_string_opt::<i32>()
            .map(|v| Cell::Text(v.value(row).to_owned())),
        _ => None,
    };
    if let Some(cell) = known {
        return Ok(cell);
    }
    ArrayFormatter::try_new(array.as_ref(), &FormatOptions::default())?
        .value(row)
        .try_to_string()
        .map(Cell::Text)
}

/// Full precision; unknown is empty, a time is UTC as the books write it.
impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Cell::Null => Ok(()),
            Cell::Truth(truth) => write!(f, "{truth}"),
            Cell::Whole(number) => write!(f, "{number}"),
            Cell::Float(number) => write!(f, "{number}"),
            Cell::Decimal { units, scale } => {
                match Decimal::try_from_i128_with_scale(*units, *scale) {
                    Ok(amount) => write!(f, "{}", amount.normalize()),
                    // Beyond 96 bits: digits and scale, still exact.
                    Err(_) => write!(f, "{units}e-{scale}"),
                }
            }
            Cell::Time(time) if time.timestamp_subsec_nanos() == 0 => {
                f.write_str(&format_utc(*time))
            }
            Cell::Time(time) => write!(f, "{}", time.format("%Y-%m-%dT%H:%M:%S%.6fZ")),
            Cell::Text(text) => f.write_str(text),
        }
    }
}
