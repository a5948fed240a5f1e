//! What `check` found: JSON and CSV. The keys are a contract.

use serde::Serialize;

use super::table::csv_text;
use crate::book::Proof;
use crate::quantity::counted;
use crate::quantity::text::one_line;
use crate::quantity::trouble::{Severity, Trouble};

/// All findings of one or more ledgers.
#[derive(Debug, Serialize)]
pub struct FindingsView {
    pub findings: Vec<FindingRow>,
    pub books: Vec<BookRow>,
    /// How seals fare, where any were asked about.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub seals: Vec<SealRow>,
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

/// One seal, held against the books.
#[derive(Debug, Serialize)]
pub struct SealRow {
    pub file: String,
    /// The line it begins on.
    pub line: usize,
    pub books: Vec<SealedRow>,
    /// Books that were not there when it was made.
    pub newer: usize,
}

/// One sealed book.
#[derive(Debug, Serialize)]
pub struct SealedRow {
    pub book: String,
    pub lines: usize,
    pub head: String,
    /// The file it is in now; null where it is gone.
    pub now: Option<String>,
    /// Lines it has more now.
    pub added: usize,
    pub holds: bool,
}

impl SealRow {
    fn new(proof: &Proof) -> SealRow {
        let books = proof.books.iter().map(|book| SealedRow {
            book: book.book.clone(),
            lines: book.lines,
            head: book.head.clone(),
            now: book.now.clone(),
            added: book.added,
            holds: book.holds(),
        });
        SealRow {
            file: proof.file.clone(),
            line: proof.line,
            books: books.collect(),
            newer: proof.newer,
        }
    }

    /// One line, for reading.
    pub fn text(&self) -> String {
        let held: Vec<&SealedRow> = self.books.iter().filter(|book| book.holds).collect();
        let failed = self.books.len() - held.len();
        let added: usize = held.iter().map(|book| book.added).sum();
        let mut text = format!("seal {}:{}: ", one_line(&self.file), self.line);
        text.push_str(&match (held.len(), failed) {
            (held, 0) => format!("holds for {}", counted(held as u64, "book", "books")),
            (0, _) => "holds for no book".to_owned(),
            (held, failed) => format!(
                "holds for {}, not for {failed}",
                counted(held as u64, "book", "books")
            ),
        });
        if added > 0 {
            let lines = counted(added as u64, "line", "lines");
            text.push_str(&format!(", with {lines} added since"));
        }
        if self.newer > 0 {
            let books = counted(self.newer as u64, "newer book", "newer books");
            text.push_str(&format!("; {books} beside it"));
        }
        text.push('\n');
        text
    }
}

impl FindingsView {
    /// The same, with how seals fare.
    pub fn with_seals(mut self, proofs: &[Proof]) -> Self {
        self.seals = proofs.iter().map(SealRow::new).collect();
        self
    }

    pub fn new(troubles: &[Trouble], books: Vec<BookRow>) -> Self {
        let count = |severity| troubles.iter().filter(|t| t.severity == severity).count();
        FindingsView {
            findings: troubles.iter().map(FindingRow::new).collect(),
            books,
            seals: Vec::new(),
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
