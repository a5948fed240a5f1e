//! What `check` found: JSON and CSV. The keys are a contract.

use serde::Serialize;

use super::table::csv_text;
use crate::quantity::trouble::{Severity, Trouble};

/// All findings of one or more ledgers.
#[derive(Debug, Serialize)]
pub struct FindingsView {
    pub findings: Vec<FindingRow>,
    pub books: Vec<BookRow>,
    pub errors: usize,
    pub warnings: usize,
    pub notes: usize,
}

/// One finding.
#[derive(Debug, Serialize)]
pub struct FindingRow {
    pub severity: &'static str,
    pub kind: &'static str,
    pub file: Option<String>,
    pub line: Option<usize>,
    pub what: String,
    pub evidence: Vec<String>,
    pub cure: Vec<String>,
}

/// One book, and the name of its last line.
#[derive(Debug, Serialize)]
pub struct BookRow {
    pub book: String,
    pub lines: usize,
    pub head: String,
}

impl FindingsView {
    pub fn new(troubles: &[Trouble], books: Vec<BookRow>) -> Self {
        let count = |severity| troubles.iter().filter(|t| t.severity == severity).count();
        FindingsView {
            findings: troubles.iter().map(FindingRow::new).collect(),
            books,
            errors: count(Severity::Error),
            warnings: count(Severity::Warning),
            notes: count(Severity::Note),
        }
    }

    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a finding; sentences of evidence and cure are joined by a blank.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "severity", "kind", "file", "line", "what", "evidence", "cure",
        ];
        csv_text(
            &headings,
            self.findings.iter().map(|row| {
                vec![
                    row.severity.to_owned(),
                    row.kind.to_owned(),
                    row.file.clone().unwrap_or_default(),
                    row.line.map(|line| line.to_string()).unwrap_or_default(),
                    row.what.clone(),
                    row.evidence.join(" "),
                    row.cure.join(" "),
                ]
            }),
        )
    }
}

impl FindingRow {
    fn new(trouble: &Trouble) -> Self {
        let place = trouble.place.as_ref();
        FindingRow {
            severity: trouble.severity.word(),
            kind: trouble.kind,
            file: place.map(|place| place.file.clone()),
            line: place.and_then(|place| place.line),
            what: trouble.what.clone(),
            evidence: trouble.evidence.clone(),
            cure: trouble.cure.clone(),
        }
    }
}
