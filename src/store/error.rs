//! Why a ledger could not be loaded or a question not answered.
//!
//! In: errors of the rooms below, of DuckDB and of the disk. Out: [`StoreError`], data
//! only, and its [`Trouble`]s. Never: exit codes, printing.

use std::path::{Path, PathBuf};
use std::time::Duration;

use thiserror::Error;

use crate::quantity::size::size_words;
use crate::quantity::trouble::{Place, Trouble};
use crate::register::RegisterError;

/// Why a ledger could not be loaded, or a question not answered.
#[derive(Debug, Error)]
pub enum StoreError {
    /// A register could not be read or has faults.
    #[error(transparent)]
    Register(#[from] RegisterError),
    /// Books whose chain is broken or whose lines are no entries: all that was found.
    #[error("{} fault(s) in the books", .0.len())]
    Books(Vec<Trouble>),
    /// One book in two files: its entries would count twice.
    #[error("{first} and {second} hold the same book")]
    SameBook { first: String, second: String },
    /// Registers that use one word differently: all such words.
    #[error("the registers differ in {} word(s)", .0.len())]
    Clashes(Vec<Trouble>),
    /// A file or folder could not be read or written.
    #[error("could not {doing} {}: {reason}", path.display())]
    Io {
        path: PathBuf,
        doing: &'static str,
        reason: String,
    },
    /// A file that would be overwritten is not one of ours.
    #[error("{} is not a store of wearbook", .0.display())]
    NotAStore(PathBuf),
    /// DuckDB refused what wearbook itself asked for.
    #[error("{doing}: {message}")]
    Engine { doing: String, message: String },
    /// A query's columns are not what its struct expects.
    #[error("query {query}, column {column}: expected {expected}, found {found}")]
    Shape {
        query: &'static str,
        column: String,
        expected: String,
        found: String,
    },
    /// A statement of the user's that does more than read.
    #[error("the statement does more than read")]
    NotReading,
    /// More than one statement.
    #[error("{statements} statements where one is asked")]
    Several { statements: usize },
    /// The tables, or a question about them, need more memory than there is for them.
    #[error("out of memory")]
    Memory { bytes: Option<u64> },
    /// An answer that takes more memory than there is for it.
    #[error("the answer takes more than {most} bytes")]
    TooLong { most: u64 },
    /// A question that took too long.
    #[error("the question took longer than {time:?}")]
    Time { time: Duration },
    /// A statement of the user's that DuckDB does not understand or may not run.
    #[error("{message}")]
    Statement { message: String },
    /// A statement of the user's that failed while it ran.
    #[error("{message}")]
    Run { message: String },
    /// A query or table name that does not exist.
    #[error("no query or table named {name}")]
    NoSuchQuery {
        name: String,
        nearest: Option<String>,
    },
}

/// What kind of fault it is; `command` makes exit codes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoreFault {
    Use,
    Data,
    Io,
    /// There is an answer, but not within the bounds.
    NoAnswer,
}

impl StoreError {
    pub(crate) fn io(path: &Path, doing: &'static str, error: &std::io::Error) -> Self {
        StoreError::Io {
            path: path.to_path_buf(),
            doing,
            reason: error.to_string(),
        }
    }

    pub(crate) fn engine(doing: impl Into<String>, error: &duckdb::Error) -> Self {
        let message = message_of(error);
        if out_of_memory(&message) {
            return StoreError::Memory { bytes: None };
        }
        StoreError::Engine {
            doing: doing.into(),
            message,
        }
    }

    /// The kind of fault.
    pub fn fault(&self) -> StoreFault {
        match self {
            StoreError::Register(error) if error.is_io() => StoreFault::Io,
            StoreError::Io { .. } => StoreFault::Io,
            StoreError::Memory { .. } | StoreError::TooLong { .. } | StoreError::Time { .. } => {
                StoreFault::NoAnswer
            }
            StoreError::NotReading
            | StoreError::Several { .. }
            | StoreError::Statement { .. }
            | StoreError::NoSuchQuery { .. }
            | StoreError::NotAStore(_) => StoreFault::Use,
            _ => StoreFault::Data,
        }
    }

    /// All that is wrong, for showing.
    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            StoreError::Register(error) => error.troubles(),
            StoreError::Books(troubles) | StoreError::Clashes(troubles) => troubles.clone(),
            StoreError::SameBook { first, second } => vec![
                Trouble::error("same-book", "holds the same book as another file")
                    .in_file(second.clone())
                    .because(format!("Its first lines are those of {first}."))
                    .because("Both together would count every entry twice.")
                    .cured_by("keep the longer of the two in the folder, and move the other out"),
            ],
            StoreError::Io {
                path,
                doing,
                reason,
            } => vec![
                Trouble::error("io", format!("could not {doing}: {reason}"))
                    .in_file(path.display().to_string()),
            ],
            StoreError::NotAStore(path) => vec![
                Trouble::error("not-a-store", "exists and is not a store made by wearbook")
                    .in_file(path.display().to_string())
                    .cured_by("name another file, or move this one away"),
            ],
            StoreError::Engine { doing, message } => vec![
                Trouble::error("engine", format!("the database could not {doing}"))
                    .because(message.clone()),
            ],
            StoreError::Shape {
                query,
                column,
                expected,
                found,
            } => vec![
                Trouble::error(
                    "query-shape",
                    format!("query {query} gave column {column} in another shape"),
                )
                .because(format!("Expected {expected}, found {found}.")),
            ],
            StoreError::NotReading => vec![
                Trouble::error(
                    "statement",
                    "a question only reads: it cannot change anything",
                )
                .because(
                    "It begins with SELECT, FROM, WITH, VALUES, DESCRIBE, SUMMARIZE or EXPLAIN.",
                )
                .cured_by(LISTED),
            ],
            StoreError::Several { statements } => vec![
                Trouble::error(
                    "statement",
                    format!("a question is one statement, and these are {statements}"),
                )
                .cured_by("ask them one at a time"),
            ],
            StoreError::Memory { bytes } => {
                let what = match bytes {
                    Some(bytes) => {
                        format!("the question needs more memory than {}", size_words(*bytes))
                    }
                    None => "the tables need more memory than there is for them".to_owned(),
                };
                vec![
                    Trouble::error("memory", what)
                        .cured_by("ask for fewer rows or columns, or in smaller steps;")
                        .cured_by("a question is given more with: wearbook query --memory"),
                ]
            }
            StoreError::TooLong { most } => vec![
                Trouble::error(
                    "memory",
                    format!("the answer takes more memory than {}", size_words(*most)),
                )
                .because("An answer may take a quarter of what the question may.")
                .cured_by("ask for fewer rows or columns (LIMIT, WHERE), or sum them up;")
                .cured_by("whole tables are written to files by: wearbook export;")
                .cured_by("a question is given more with: wearbook query --memory"),
            ],
            StoreError::Time { time } => vec![
                Trouble::error(
                    "time",
                    format!("the question took longer than {} s", time.as_secs()),
                )
                .cured_by("ask for less, or give it longer with --time-limit"),
            ],
            StoreError::Statement { message } => vec![
                Trouble::error("statement", headline(message))
                    .because_all(rest(message))
                    .cured_by(LISTED),
            ],
            StoreError::Run { message } => {
                vec![Trouble::error("statement", headline(message)).because_all(rest(message))]
            }
            StoreError::NoSuchQuery { name, nearest } => {
                let trouble =
                    Trouble::error("no-such-query", format!("no query or table named {name}"));
                vec![
                    match nearest {
                        Some(nearest) => trouble.cured_by(format!("did you mean {nearest}?")),
                        None => trouble,
                    }
                    .cured_by("all are listed by: wearbook query --list"),
                ]
            }
        }
    }
}

const LISTED: &str = "tables and columns are listed by: wearbook query --list";

trait BecauseAll {
    fn because_all(self, text: String) -> Self;
}

impl BecauseAll for Trouble {
    fn because_all(self, text: String) -> Self {
        if text.is_empty() {
            self
        } else {
            self.because(text)
        }
    }
}

/// The first line, in plain words where DuckDB speaks of its own inside.
fn headline(message: &str) -> String {
    let first = message.lines().next().unwrap_or_default();
    if first.contains("read-only mode") {
        return "a question only reads: it cannot change the tables".to_owned();
    }
    if first.contains("disabled by configuration") {
        return "a question sees the tables only: it cannot read or write files".to_owned();
    }
    if first.contains("configuration has been locked") {
        return "a question cannot change settings".to_owned();
    }
    match first.split_once(" Error: ") {
        Some((kind, rest)) if kind.split_whitespace().count() <= 2 => rest.to_owned(),
        _ => first.to_owned(),
    }
}

fn rest(message: &str) -> String {
    message
        .lines()
        .skip(1)
        .filter(|line| !line.trim().is_empty())
        .collect::<Vec<_>>()
        .join("\n")
}

/// DuckDB's own words, without the wrapper's.
pub(crate) fn message_of(error: &duckdb::Error) -> String {
    match error {
        duckdb::Error::DuckDBFailure(_, Some(message)) => message.clone(),
        other => other.to_string(),
    }
}

/// Whether DuckDB's message says that its memory did not suffice.
pub(crate) fn out_of_memory(message: &str) -> bool {
    message.starts_with("Out of Memory Error")
}

/// Why a file could not be written, without the name it had while it was written.
pub(crate) fn disk_reason(message: &str) -> String {
    [
        "No space left on device",
        "File too large",
        "Disk quota exceeded",
        "Permission denied",
        "Read-only file system",
    ]
    .into_iter()
    .find(|reason| message.contains(reason))
    .map_or_else(|| message.to_owned(), str::to_owned)
}

/// Whether DuckDB's message says that it would not run the statement at all.
pub(crate) fn refused(message: &str) -> bool {
    [
        "Parser Error",
        "Binder Error",
        "Catalog Error",
        "Syntax Error",
        "Permission Error",
        "TransactionContext Error",
        "Not implemented Error",
        "Invalid Input Error: Cannot",
    ]
    .iter()
    .any(|start| message.starts_with(start))
}

/// A place in a book, with the line's text.
pub(crate) fn line_of(book: &str, line: usize, text: &[u8]) -> Place {
    Place {
        file: book.to_owned(),
        line: Some(line),
        excerpt: Some(String::from_utf8_lossy(text).into_owned()),
        span: None,
    }
}
