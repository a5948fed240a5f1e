//! Why a row is not taken: its place, what stands there, the reason, and the cure.

use std::collections::HashMap;

use super::cell::Row;
use super::sheet::{Sheet, SheetError};
use crate::quantity::trouble::{Place, Trouble};

/// One reason against one row; a row may have several.
#[derive(Debug, Clone, PartialEq)]
pub struct Rejection {
    /// Row of the file, from 1.
    pub row: u64,
    /// Column of the file, from 0.
    pub place: Option<usize>,
    /// What that column is called.
    pub column: Option<String>,
    /// What the cell holds, as the file shows it.
    pub value: String,
    /// A short fixed name, for programs.
    pub kind: &'static str,
    /// One line, without full stop.
    pub reason: String,
    pub evidence: Vec<String>,
    pub cure: Vec<String>,
}

impl Rejection {
    /// The reason with its column and evidence, in one line.
    pub fn in_one_line(&self) -> String {
        let mut text = match &self.column {
            Some(column) => format!("{column}: {}", self.reason),
            None => self.reason.clone(),
        };
        for sentence in &self.evidence {
            text.push_str(&format!(" ({})", sentence.trim_end_matches('.')));
        }
        text
    }

    /// As a trouble in its file; `excerpt` is the row as text, and where its cells lie.
    pub fn trouble(&self, file: &str, excerpt: Option<&Excerpt>) -> Trouble {
        let what = match &self.column {
            Some(column) => format!("column {column}: {}", self.reason),
            None => self.reason.clone(),
        };
        let span = self.place.zip(excerpt).map(|(place, excerpt)| {
            let spans = &excerpt.spans;
            // Beyond the cells a row has, its end is meant.
            let end = excerpt.text.len();
            spans.get(place).cloned().unwrap_or(end..end)
        });
        let mut trouble = Trouble::error(self.kind, what).placed(Place {
            file: file.to_owned(),
            line: usize::try_from(self.row).ok(),
            excerpt: excerpt.map(|excerpt| excerpt.text.clone()),
            span,
        });
        trouble.evidence.clone_from(&self.evidence);
        trouble.cure.clone_from(&self.cure);
        trouble
    }
}

/// A row as text, with the bytes of each cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Excerpt {
    pub text: String,
    pub spans: Vec<std::ops::Range<usize>>,
}

impl Excerpt {
    fn of(row: &Row, decimal: char, between: &str) -> Excerpt {
        let mut text = String::new();
        let mut spans = Vec::with_capacity(row.cells.len());
        for (n, cell) in row.cells.iter().enumerate() {
            if n > 0 {
                text.push_str(between);
            }
            let from = text.len();
            text.push_str(&cell.text(decimal));
            spans.push(from..text.len());
        }
        Excerpt { text, spans }
    }
}

/// The rows of a file that are rejected, as text, by their number.
///
/// Errors: as the rows themselves.
pub fn excerpts(
    sheet: &Sheet,
    rejected: &[Rejection],
    decimal: char,
) -> Result<HashMap<u64, Excerpt>, SheetError> {
    let between = sheet.between();
    let mut numbers: Vec<u64> = rejected.iter().map(|rejection| rejection.row).collect();
    numbers.sort_unstable();
    let mut found = HashMap::new();
    let (mut rows, mut row) = (sheet.rows(), Row::default());
    while rows.next(&mut row)? {
        if numbers.binary_search(&row.number).is_ok() {
            found.insert(row.number, Excerpt::of(&row, decimal, &between));
        }
    }
    Ok(found)
}
