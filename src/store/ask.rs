//! A user's own question: a named query, or SQL over the documented tables.
//!
//! In: a name or a statement. Out: [`Answer`], plain cells. Never: a change to the
//! tables, a look at the machine's files, more memory or time than its bounds: only one
//! statement that reads is run, in a read-only transaction, with DuckDB's access to the
//! outside and to its settings switched off for good.

use std::fmt;
use std::sync::atomic::Ordering;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::datatypes::{
    DataType, Decimal128Type, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type,
    TimeUnit, TimestampMicrosecondType, UInt8Type, UInt16Type, UInt32Type, UInt64Type,
};
use arrow::error::ArrowError;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use serde::Deserialize;
use serde::de::IgnoredAny;

use super::bounds::within;
use super::catalogue::{QUERIES, Query, tables};
use super::error::{StoreError, message_of, out_of_memory, refused};
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
    ///
    /// Errors: as [`Store::ask`], as far as they apply.
    pub fn table(&self, name: &str) -> Result<Answer, StoreError> {
        let order = order_of(name).ok_or_else(|| no_such(name))?;
        let mut inner = self.inner();
        inner.make(name)?;
        let sql = format!("SELECT * FROM {name} ORDER BY {order}");
        inner.answer(&sql, |error| {
            StoreError::engine(format!("read {name}"), error)
        })
    }

    /// Answers a statement over the documented tables, or a table's or query's name.
    ///
    /// Errors: [`StoreError::NoSuchQuery`] for one word that names nothing;
    /// [`StoreError::NotReading`] and [`StoreError::Several`] for what is not one statement that
    /// reads; [`StoreError::Statement`] for SQL that cannot be understood or is not allowed;
    /// [`StoreError::Run`] for SQL that fails while it runs; [`StoreError::Memory`],
    /// [`StoreError::TooLong`] and [`StoreError::Time`] for one that takes more than its bounds.
    pub fn ask(&self, question: &str) -> Result<Answer, StoreError> {
        let question = question.trim();
        if order_of(question).is_some() {
            return self.table(question);
        }
        let unfit = |message: &str| {
            let message = message.to_owned();
            Err(StoreError::Statement { message })
        };
        if question.is_empty() {
            return unfit("the question is empty");
        }
        if question.contains('\0') {
            return unfit("a question cannot hold the character NUL");
        }
        let one_word = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-');
        if question.chars().all(one_word) {
            return Err(no_such(question));
        }
        let mut inner = self.inner();
        inner.make_all()?;
        inner.shut_off()?;
        inner.only_reads(question)?;
        inner
            .conn
            .execute_batch("BEGIN TRANSACTION READ ONLY")
            .map_err(|error| StoreError::engine("begin", &error))?;
        let bytes = inner.memory;
        let answer = inner.answer(question, |error| {
            let message = message_of(error);
            if out_of_memory(&message) {
                StoreError::Memory { bytes }
            } else if refused(&message) {
                StoreError::Statement { message }
            } else {
                StoreError::Run { message }
            }
        });
        // The transaction may have been ended by an error.
        let _ = inner.conn.execute_batch("ROLLBACK");
        answer
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
            .execute_batch(
                "SET allow_persistent_secrets = false;
                 SET allow_community_extensions = false;
                 SET autoinstall_known_extensions = false;
                 SET enable_external_access = false;
                 SET lock_configuration = true",
            )
            .map_err(|error| StoreError::engine("shut off access to files", &error))
    }

    /// Refuses all but one statement that reads. DuckDB's own parser decides: it writes down
    /// statements that read, and no others.
    fn only_reads(&self, question: &str) -> Result<(), StoreError> {
        #[derive(Deserialize)]
        struct Parsed {
            error: bool,
            error_type: Option<String>,
            statements: Option<Vec<IgnoredAny>>,
        }
        let failed = |message| StoreError::Engine {
            doing: "read the question".to_owned(),
            message,
        };
        let explained = explained(question);
        let told: String = self
            .conn
            .query_row(
                "SELECT CAST(json_serialize_sql($1) AS VARCHAR)",
                [explained.unwrap_or(question)],
                |row| row.get(0),
            )
            .map_err(|error| failed(message_of(&error)))?;
        let parsed: Parsed = serde_json::from_str(&told).map_err(|e| failed(e.to_string()))?;
        let no_sql = matches!(parsed.error_type.as_deref(), Some("parser" | "syntax"));
        match parsed.statements.map(|all| all.len()) {
            Some(1) => Ok(()),
            Some(statements) if statements > 1 => Err(StoreError::Several { statements }),
            Some(_) => Err(StoreError::NotReading),
            // What is no SQL is told best when it is prepared, which does not run it.
            None if parsed.error && no_sql && explained.is_none() => Ok(()),
            None => Err(StoreError::NotReading),
        }
    }

    /// Runs a statement that reads, within the bounds.
    fn answer(
        &self,
        sql: &str,
        told: impl Fn(&duckdb::Error) -> StoreError,
    ) -> Result<Answer, StoreError> {
        let most = self.memory.map(|bytes| bytes / 4);
        let (found, over) = within(&self.conn, self.time, |over| {
            let mut statement = self.conn.prepare(sql).map_err(|error| told(&error))?;
            if statement.parameter_count() > 0 {
                let message = "a question has no parameters: write the values into it".to_owned();
                return Err(StoreError::Statement { message });
            }
            let schema = statement
                .stream_arrow([])
                .map_err(|error| told(&error))?
                .get_schema();
            let columns = schema.fields().iter().map(|f| f.name().clone()).collect();
            let mut taken = Taken {
                answer: Answer {
                    columns,
                    rows: Vec::new(),
                },
                bytes: 0,
            };
            while let Some(array) = statement.step().map_err(|error| told(&error))? {
                taken.take(&RecordBatch::from(&array))?;
                if let Some(most) = most.filter(|most| taken.bytes > *most) {
                    return Err(StoreError::TooLong { most });
                }
                if over.load(Ordering::Relaxed) {
                    break;
                }
            }
            Ok(taken.answer)
        });
        match self.time {
            Some(time) if over => Err(StoreError::Time { time }),
            _ => found,
        }
    }
}

/// The statement that an EXPLAIN explains.
fn explained(question: &str) -> Option<&str> {
    let word = |text: &'_ str, word: &str| -> bool {
        text.get(..word.len())
            .is_some_and(|start| start.eq_ignore_ascii_case(word))
            && text[word.len()..].starts_with(char::is_whitespace)
    };
    if !word(question, "explain") {
        return None;
    }
    let rest = question["explain".len()..].trim_start();
    if word(rest, "analyze") {
        return Some(rest["analyze".len()..].trim_start());
    }
    Some(rest)
}

/// Rows taken so far, and about how much room they take.
struct Taken {
    answer: Answer,
    bytes: u64,
}

impl Taken {
    fn take(&mut self, batch: &RecordBatch) -> Result<(), StoreError> {
        for row in 0..batch.num_rows() {
            let cells = batch
                .columns()
                .iter()
                .zip(&self.answer.columns)
                .map(|(array, name)| {
                    cell(array, row).map_err(|error| StoreError::Run {
                        message: format!(
                            "column {name} cannot be shown as it is; cast it to VARCHAR\n{error}"
                        ),
                    })
                })
                .collect::<Result<Vec<_>, _>>()?;
            self.bytes += size_of::<Vec<Cell>>() as u64;
            for cell in &cells {
                let text = match cell {
                    Cell::Text(text) => text.len(),
                    _ => 0,
                };
                self.bytes += (size_of::<Cell>() + text) as u64;
            }
            self.answer.rows.push(cells);
        }
        Ok(())
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
