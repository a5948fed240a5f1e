//! A seal as table, JSON and CSV; `check --seal` reads table and JSON back, so both are
//! a contract.

use serde::Serialize;

use super::table::csv_text;
use crate::book::{Seal, SealedBook};
use crate::quantity::counted;
use crate::quantity::text::one_line;

/// A seal to be shown.
#[derive(Debug, Serialize)]
pub struct SealView {
    /// Version of the layout.
    seal: u32,
    books: Vec<SealedView>,
}

#[derive(Debug, Serialize)]
struct SealedView {
    book: String,
    lines: usize,
    /// Name of the last line: its SHA-256; zeros for a book without lines.
    head: String,
    /// Name of the first line.
    first: String,
    /// The first 12 digits of the name of every line.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    line_names: Vec<String>,
}

/// Names of lines in one row of the table.
const A_ROW: usize = 8;

impl SealView {
    pub fn new(seal: &Seal) -> SealView {
        let books = seal.books.iter().map(|book| {
            let SealedBook {
                book,
                lines,
                head,
                first,
                names,
                ..
            } = book.clone();
            SealedView {
                book,
                lines,
                head,
                first,
                line_names: names,
            }
        });
        SealView {
            seal: 1,
            books: books.collect(),
        }
    }

    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a book; names of lines are parted by blanks.
    pub fn csv(&self) -> Result<String, csv::Error> {
        csv_text(
            &["book", "lines", "head", "first", "line_names"],
            self.books.iter().map(|book| {
                vec![
                    book.book.clone(),
                    book.lines.to_string(),
                    book.head.clone(),
                    book.first.clone(),
                    book.line_names.join(" "),
                ]
            }),
        )
    }

    /// The text to note elsewhere.
    pub fn text(&self) -> String {
        let short = |name: &str| name.get(..12).unwrap_or(name).to_owned();
        let width = |of: fn(&SealedView) -> usize, heading: &str| {
            let widest = self.books.iter().map(of).max().unwrap_or_default();
            widest.max(heading.len())
        };
        let book_width = width(|book| one_line(&book.book).chars().count(), "book");
        let lines_width = width(|book| book.lines.to_string().len(), "lines");
        let mut text = format!("wearbook seal {}\n", self.seal);
        text.push_str(&format!(
            "{:book_width$}  {:>lines_width$}  {:12}  {:12}  SHA-256 of the last line\n",
            "book", "lines", "last line", "first line",
        ));
        for book in &self.books {
            text.push_str(&format!(
                "{:book_width$}  {:>lines_width$}  {}  {}  {}\n",
                one_line(&book.book),
                book.lines,
                short(&book.head),
                short(&book.first),
                book.head
            ));
            for (n, names) in book.line_names.chunks(A_ROW).enumerate() {
                let from = n * A_ROW + 1;
                text.push_str(&format!("{from:>10}  {}\n", names.join(" ")));
            }
        }
        let lines: usize = self.books.iter().map(|book| book.lines).sum();
        let word = if lines == 1 { "line" } else { "lines" };
        text.push_str(&format!(
            "{}, {lines} {word}\n",
            counted(self.books.len() as u64, "book", "books"),
        ));
        text
    }
}
