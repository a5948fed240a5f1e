//! Faults of a line, as data.

use std::ops::Range;

use thiserror::Error;

use super::entry::Kind;
use crate::quantity::time::TimeError;

/// One fault of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct LineFault {
    pub kind: LineFaultKind,
    /// Bytes of the line to point at.
    pub span: Range<usize>,
}

/// What is wrong with a line.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LineFaultKind {
    #[error("not UTF-8 text")]
    NotUtf8,
    #[error("not a JSON object: {expected} expected here")]
    NotJson { expected: &'static str },
    #[error("key `{key}` is stated twice")]
    KeyTwice { key: String },
    #[error("unknown key `{key}` in a `{entry}` entry")]
    UnknownKey {
        key: String,
        entry: &'static str,
        nearest: Option<&'static str>,
        known: Vec<&'static str>,
    },
    #[error("a `{entry}` entry lacks `{key}`")]
    MissingKey {
        entry: &'static str,
        key: &'static str,
    },
    #[error("the line lacks `entry`, its kind")]
    NoKind,
    #[error("no kind of entry `{found}`")]
    UnknownKind {
        found: String,
        nearest: Option<&'static str>,
    },
    #[error("`prev` is not the first key")]
    PrevNotFirst,
    #[error("`{key}` should be {expected}, not {found}")]
    WrongType {
        key: &'static str,
        expected: &'static str,
        found: &'static str,
    },
    #[error("`{key}` is empty, begins or ends with a blank, or holds a control character")]
    Untidy { key: &'static str },
    #[error("`{key}` is `{found}`: it should be one of {}", words.join(", "))]
    NotAWord {
        key: &'static str,
        found: String,
        words: &'static [&'static str],
        nearest: Option<&'static str>,
    },
    #[error("`{key}` is {found}: it should be {domain}")]
    OutOfDomain {
        key: &'static str,
        found: String,
        domain: &'static str,
    },
    #[error("`{key}`: {reason}")]
    Time {
        key: &'static str,
        reason: TimeError,
    },
    #[error("`stop` is before `start`")]
    StopsBeforeStart,
    #[error("book format {found} is not known to this version")]
    Format { found: u32 },
}

impl LineFaultKind {
    /// A short fixed name, for programs.
    pub fn name(&self) -> &'static str {
        match self {
            LineFaultKind::NotUtf8 => "entry-not-utf8",
            LineFaultKind::NotJson { .. } => "entry-not-json",
            LineFaultKind::KeyTwice { .. } => "entry-key-twice",
            LineFaultKind::UnknownKey { .. } => "entry-unknown-key",
            LineFaultKind::MissingKey { .. } | LineFaultKind::NoKind => "entry-missing-key",
            LineFaultKind::UnknownKind { .. } => "entry-unknown-kind",
            LineFaultKind::PrevNotFirst => "entry-prev-not-first",
            LineFaultKind::WrongType { .. } => "entry-wrong-type",
            LineFaultKind::Untidy { .. } => "entry-bad-text",
            LineFaultKind::NotAWord { .. } => "entry-not-a-word",
            LineFaultKind::OutOfDomain { .. } => "entry-out-of-domain",
            LineFaultKind::Time { .. } => "entry-bad-time",
            LineFaultKind::StopsBeforeStart => "job-stops-before-start",
            LineFaultKind::Format { .. } => "book-format",
        }
    }

    /// The key it is about, if it is about one that may be there.
    pub fn key(&self) -> Option<&'static str> {
        match self {
            LineFaultKind::MissingKey { key, .. }
            | LineFaultKind::WrongType { key, .. }
            | LineFaultKind::Untidy { key }
            | LineFaultKind::NotAWord { key, .. }
            | LineFaultKind::OutOfDomain { key, .. }
            | LineFaultKind::Time { key, .. } => Some(key),
            LineFaultKind::StopsBeforeStart => Some("stop"),
            _ => None,
        }
    }

    /// How to mend it, where that is not plain from what is wrong.
    pub fn cure(&self) -> Option<String> {
        match self {
            LineFaultKind::UnknownKey { nearest, known, .. } => Some(match nearest {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("keys known here: {}", known.join(", ")),
            }),
            LineFaultKind::UnknownKind { nearest, .. } => Some(match nearest {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("kinds: {}", Kind::WORDS.join(", ")),
            }),
            LineFaultKind::NotAWord { nearest, .. } => {
                nearest.map(|near| format!("did you mean `{near}`?"))
            }
            LineFaultKind::Time {
                reason: TimeError::Skipped { .. } | TimeError::Twice { .. },
                ..
            } => Some("write the time with its offset, or in UTC with a `Z`".to_owned()),
            LineFaultKind::Format { .. } => Some("read it with a newer wearbook".to_owned()),
            _ => None,
        }
    }
}
