//! What a merge did, as table, JSON and CSV. The keys are a contract.

use std::collections::BTreeMap;

use serde::Serialize;

use super::table::{Align, Table, csv_text};
use crate::book::{Merge, Merging};
use crate::quantity::counted;

#[derive(Debug, Serialize)]
pub struct MergeView {
    dry_run: bool,
    books: Vec<MergedView>,
    /// Entries that do not fit the register or other entries since, by kind.
    misfits: BTreeMap<&'static str, usize>,
}

#[derive(Debug, Serialize)]
struct MergedView {
    from: String,
    book: String,
    /// `copied`, `extended`, `same` or `ahead`.
    outcome: &'static str,
    /// Lines that were added here.
    added: usize,
    /// Lines of the book now, and the name of the last one.
    lines: usize,
    head: String,
    #[serde(skip)]
    words: String,
}

impl MergeView {
    pub fn new(merge: &Merge, dry_run: bool) -> MergeView {
        let lines = |count: usize| counted(count as u64, "line", "lines");
        let books = merge.books.iter().map(|book| {
            let (outcome, added, words) = match book.outcome {
                Merging::Copied => ("copied", book.lines, "copied".to_owned()),
                Merging::Extended(more) => {
                    ("extended", more, format!("extended by {}", lines(more)))
                }
                Merging::Same => ("same", 0, "same".to_owned()),
                Merging::Ahead(more) => ("ahead", 0, format!("ahead by {}", lines(more))),
            };
            MergedView {
                from: book.from.clone(),
                book: book.book.clone(),
                outcome,
                added,
                lines: book.lines,
                head: book.head.to_string(),
                words,
            }
        });
        MergeView {
            dry_run,
            books: books.collect(),
            misfits: merge.misfits.clone(),
        }
    }

    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a book that was to be merged.
    pub fn csv(&self) -> Result<String, csv::Error> {
        csv_text(
            &["from", "book", "outcome", "added", "lines", "head"],
            self.books.iter().map(|book| {
                vec![
                    book.from.clone(),
                    book.book.clone(),
                    book.outcome.to_owned(),
                    book.added.to_string(),
                    book.lines.to_string(),
                    book.head.clone(),
                ]
            }),
        )
    }

    /// For reading.
    pub fn text(&self) -> String {
        if self.books.is_empty() {
            return "no books to merge\n".to_owned();
        }
        let mut table = Table::new([
            ("from", Align::Left),
            ("book", Align::Left),
            ("here", Align::Left),
            ("lines", Align::Right),
            ("last line", Align::Left),
        ]);
        for book in &self.books {
            table.row([
                book.from.clone(),
                book.book.clone(),
                book.words.clone(),
                book.lines.to_string(),
                book.head.get(..12).unwrap_or_default().to_owned(),
            ]);
        }
        let mut text = table.text();
        let added: usize = self.books.iter().map(|book| book.added).sum();
        text.push_str(&match added {
            0 => "nothing was missing".to_owned(),
            added => format!(
                "{} {}",
                counted(added as u64, "line", "lines"),
                if self.dry_run {
                    "would be added"
                } else {
                    "added"
                }
            ),
        });
        if self.dry_run {
            text.push_str(" (dry run, nothing written)");
        }
        text.push('\n');
        text
    }
}
