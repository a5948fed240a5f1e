//! What went wrong, as data: place, what, evidence, cure.
//!
//! In: facts from the room that found the trouble. Out: [`Trouble`], which
//! `command` lays out for a person and `view` for a program.
//! Never: exit codes, colours, printing.

use std::ops::Range;
use std::path::Path;

/// A path as a user would write it: without the `./` of the present folder.
pub fn shown(path: &Path) -> String {
    path.strip_prefix(".").unwrap_or(path).display().to_string()
}

/// Where a trouble lies: a file, and in it a line (1-based) and the bytes to point at.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// The file as the user would name it (relative to the ledger where it can be).
    pub file: String,
    /// Line number, counted from 1; `None` where the whole file is meant.
    pub line: Option<usize>,
    /// The text of that line, whole; the renderer shortens it around `span`.
    pub excerpt: Option<String>,
    /// Byte range within `excerpt` to underline.
    pub span: Option<Range<usize>>,
}

/// How much a trouble matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; no result is affected.
    Note,
    /// A result may be affected; the record should be looked at.
    Warning,
    /// The record or the file cannot be used as it stands.
    Error,
}

impl Severity {
    /// The word shown to people and programs.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::Warning => "warning",
            Severity::Error => "error",
        }
    }
}

/// One finding or error: what, where, on what evidence, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    pub severity: Severity,
    /// A short fixed name of the kind of trouble, for programs (`meter-backwards`).
    pub kind: &'static str,
    pub place: Option<Place>,
    /// One line: what is wrong. No full stop.
    pub what: String,
    /// Sentences of evidence, in the order to read them.
    pub evidence: Vec<String>,
    /// What to do about it, one line each.
    pub cure: Vec<String>,
}

impl Trouble {
    /// An error without a place yet.
    pub fn error(kind: &'static str, what: impl Into<String>) -> Self {
        Trouble {
            severity: Severity::Error,
            kind,
            place: None,
            what: what.into(),
            evidence: Vec::new(),
            cure: Vec::new(),
        }
    }

    /// The same trouble with another weight.
    pub fn with_severity(mut self, severity: Severity) -> Self {
        self.severity = severity;
        self
    }

    /// The same trouble, placed in a file as a whole.
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.place = Some(Place {
            file: file.into(),
            ..Place::default()
        });
        self
    }

    /// The same trouble, placed.
    pub fn placed(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }

    /// Adds a sentence of evidence.
    pub fn because(mut self, sentence: impl Into<String>) -> Self {
        self.evidence.push(sentence.into());
        self
    }

    /// Adds a way to mend it.
    pub fn cured_by(mut self, cure: impl Into<String>) -> Self {
        self.cure.push(cure.into());
        self
    }
}
