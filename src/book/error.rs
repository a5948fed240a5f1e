//! What can go wrong with a ledger on disk, as data.

use std::time::Duration;

use chrono_tz::Tz;
use thiserror::Error;

use super::chain::ChainFault;
use super::conflict::Conflict;
use super::line_fault::LineFault;
use super::parse::value_span;
use crate::quantity::trouble::{Place, Severity, Trouble};
use crate::register::RegisterError;

/// Why a ledger could not be read or written.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum BookError {
    /// The folder is not there, or is no folder.
    #[error("no ledger folder {folder}: {reason}")]
    NoFolder { folder: String, reason: String },
    /// A file could not be read or written; nothing was recorded.
    #[error("could not {doing} {file}: {reason}")]
    Io {
        file: String,
        doing: &'static str,
        reason: String,
    },
    /// The register cannot be used.
    #[error(transparent)]
    Register(#[from] RegisterError),
    /// The name of a book holds other than letters, digits, `-`, `_` and `.`.
    #[error("`{name}` cannot be the name of a book")]
    BookName { name: String },
    /// The book's chain is broken.
    #[error("{file}: {fault}")]
    Chain {
        file: String,
        fault: Box<ChainFault>,
        /// The first bad line's text.
        excerpt: String,
    },
    /// A book that was read before is shorter now, or its lines have changed.
    #[error("{file} was changed by another program while it was in use")]
    ChangedMeanwhile { file: String },
    /// Another program recorded in the ledger for longer than patience lasted.
    #[error("{file} was held by another program for {waited:?}")]
    Busy { file: String, waited: Duration },
    /// A write failed, and so did undoing it.
    #[error("{file}: {reason}, and it could not be undone: {undoing}")]
    Unsure {
        file: String,
        reason: String,
        undoing: String,
    },
    /// Books that cannot be sealed or merged as they are: all that stands against it.
    #[error("{} trouble(s) with the books", troubles.len())]
    Unfit { troubles: Vec<Trouble> },
    /// Entries that cannot stand; nothing was recorded.
    #[error("{} entries refused", refusals.len())]
    Refused { refusals: Vec<Refusal>, zone: Tz },
}

/// One entry that cannot stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Which of the entries given, from 0.
    pub index: usize,
    pub conflicts: Vec<Conflict>,
}

impl BookError {
    /// Whether the cause is a file or folder rather than what is in it.
    pub fn is_io(&self) -> bool {
        match self {
            BookError::NoFolder { .. }
            | BookError::Io { .. }
            | BookError::Busy { .. }
            | BookError::Unsure { .. } => true,
            BookError::Register(error) => error.is_io(),
            _ => false,
        }
    }

    /// All that is wrong, for showing.
    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            BookError::NoFolder { folder, reason } => vec![
                Trouble::error("no-ledger", format!("no ledger folder here: {reason}"))
                    .in_file(folder.clone())
                    .cured_by("name the folder that holds plant.toml;")
                    .cured_by("a new ledger is made by: wearbook start FOLDER"),
            ],
            BookError::Io {
                file,
                doing,
                reason,
            } => {
                let trouble = Trouble::error("io", format!("could not {doing}: {reason}"))
                    .in_file(file.clone());
                vec![if doing.starts_with("read") {
                    trouble
                } else {
                    trouble
                        .because("Nothing was recorded; the book is as it was.")
                        .cured_by("see that the folder can be written and the disk has room")
                }]
            }
            BookError::Register(error) => error.troubles(),
            BookError::BookName { name } => vec![
                Trouble::error(
                    "book-name",
                    format!("`{name}` cannot be the name of a book"),
                )
                .cured_by(
                    "use letters, digits, `-`, `_` and `.`, beginning with a letter or digit",
                ),
            ],
            BookError::Chain {
                file,
                fault,
                excerpt,
            } => vec![chain_trouble(file, fault, excerpt)],
            BookError::Unfit { troubles } => troubles.clone(),
            BookError::ChangedMeanwhile { file } => vec![
                Trouble::error(
                    "changed-meanwhile",
                    "changed by another program while in use",
                )
                .in_file(file.clone())
                .cured_by("look the ledger over with: wearbook check"),
            ],
            BookError::Busy { file, waited } => vec![
                Trouble::error("busy", "another program is recording in this ledger")
                    .in_file(file.clone())
                    .because(match waited.as_secs_f64() {
                        0.0 => "Its lock is held.".to_owned(),
                        seconds => format!("Its lock was held for {seconds:.0} s."),
                    })
                    .because("Nothing was recorded.")
                    .cured_by("try again, or wait longer with --wait SECONDS"),
            ],
            BookError::Unsure {
                file,
                reason,
                undoing,
            } => vec![
                Trouble::error("unsure", format!("could not write: {reason}"))
                    .in_file(file.clone())
                    .because(format!("Nor could it be undone: {undoing}."))
                    .because("Whether the entries were recorded is not known.")
                    .cured_by("look at the end of the book: wearbook check"),
            ],
            BookError::Refused { refusals, zone } => refusals
                .iter()
                .flat_map(|refusal| &refusal.conflicts)
                .map(|conflict| conflict_trouble(conflict, *zone))
                .collect(),
        }
    }
}

/// A conflict as a trouble, not placed yet.
pub fn conflict_trouble(conflict: &Conflict, zone: Tz) -> Trouble {
    let mut trouble = Trouble::error(conflict.name(), conflict.to_string());
    trouble.evidence = conflict.evidence(zone);
    trouble.cure = conflict.cure();
    trouble
}

/// The place of a key's value in a line; the whole line if it has no such key.
pub fn place_of(file: &str, line: usize, text: &[u8], key: &str) -> Place {
    Place {
        file: file.to_owned(),
        line: Some(line),
        excerpt: Some(String::from_utf8_lossy(text).into_owned()),
        span: value_span(text, key).or_else(|| value_span(text, "entry")),
    }
}

/// A fault of a line as a trouble.
pub fn line_trouble(file: &str, line: usize, text: &[u8], fault: &LineFault) -> Trouble {
    let excerpt = String::from_utf8_lossy(text).into_owned();
    let place = Place {
        file: file.to_owned(),
        line: Some(line),
        span: Some(fault.span.clone()),
        excerpt: Some(excerpt),
    };
    let mut trouble = Trouble::error(fault.kind.name(), fault.kind.to_string()).placed(place);
    trouble.cure.extend(fault.kind.cure());
    trouble
}

/// A broken chain as a trouble.
pub fn chain_trouble(file: &str, fault: &ChainFault, excerpt: &str) -> Trouble {
    let line = fault.line();
    let text = excerpt.as_bytes();
    let span = match fault {
        ChainFault::PrevChanged { .. } => value_span(text, "prev"),
        _ => None,
    };
    let place = Place {
        file: file.to_owned(),
        line: Some(line),
        excerpt: Some(excerpt.to_owned()),
        span,
    };
    let trouble = match fault {
        ChainFault::NotALine { .. } => {
            Trouble::error("chain-not-a-line", "the chain breaks: not a line of a book")
                .because("A line begins with {\"prev\":\"…64 hex digits…\" and ends with }.")
        }
        ChainFault::Changed { now, then, .. } => Trouble::error(
            "chain-changed",
            "the chain breaks: changed after it was written, or lines after it are missing",
        )
        .because(format!(
            "Its SHA-256 is {} now; line {} names {} before it.",
            now.short(),
            line + 1,
            then.short()
        )),
        ChainFault::PrevChanged {
            expected, found, ..
        } => Trouble::error(
            "chain-prev-changed",
            "the chain breaks: `prev` does not name the line before",
        )
        .because(match line {
            1 => "The first line of a book names 64 zeros.".to_owned(),
            _ => format!(
                "Line {} is {}; this line names {}.",
                line - 1,
                expected.short(),
                found.short()
            ),
        }),
    };
    trouble
        .with_severity(Severity::Error)
        .placed(place)
        .cured_by("a book is never edited: put back the file from a copy,")
        .cured_by("or keep it aside and go on in a new book")
}
