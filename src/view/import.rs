//! What an import would write or wrote: tables, JSON, CSV. The keys are a contract.
//!
//! In: plain figures and texts that `command` fills in. Out: text. Never: computation.

use serde::Serialize;

use super::table::{Align, Table, csv_text};
use crate::quantity::counted;
use crate::quantity::text::one_line;

/// The outcome of one import.
#[derive(Debug, Default, Serialize)]
pub struct ImportView {
    /// With a workbook's sheet after a `/`.
    pub file: String,
    pub map: String,
    /// The book written in, within its ledger.
    pub book: String,
    /// False for a dry run.
    pub written: bool,
    /// Rows under the headings that hold anything.
    pub rows: u64,
    pub skipped: Vec<Skipped>,
    pub rejected_rows: usize,
    pub counts: Vec<Count>,
    pub entries: Vec<EntryRow>,
    /// How many there are where not all are shown.
    #[serde(skip)]
    pub entries_in_all: usize,
    pub rejected: Vec<RejectedRow>,
    pub unknown: Vec<UnknownValue>,
    /// Where the rejected rows were put.
    pub rejected_file: Option<String>,
}

/// Rows passed over for one reason.
#[derive(Debug, Serialize)]
pub struct Skipped {
    pub why: String,
    pub rows: u64,
}

/// Entries of one kind.
#[derive(Debug, Serialize)]
pub struct Count {
    pub kind: &'static str,
    pub new: usize,
    /// Among the new: in no row, but in place before the first renewal.
    pub in_place: usize,
    /// Stated in the ledger already.
    pub known: usize,
    /// Stated by an earlier row of the file already.
    pub repeated: usize,
}

/// One entry that is new.
#[derive(Debug, Serialize)]
pub struct EntryRow {
    pub row: u64,
    pub in_place: bool,
    /// The name of its line, once written.
    pub sha: Option<String>,
    pub kind: &'static str,
    /// UTC.
    pub time: String,
    /// On the plant's clock.
    #[serde(skip)]
    pub shown: String,
    pub machine: Option<String>,
    pub component: Option<String>,
    pub position: Option<String>,
    pub what: String,
    pub job: Option<String>,
    pub who: String,
}

/// One reason against one row.
#[derive(Debug, Serialize)]
pub struct RejectedRow {
    pub row: u64,
    pub column: Option<String>,
    pub value: String,
    pub kind: &'static str,
    pub reason: String,
    pub evidence: Vec<String>,
    pub cure: Vec<String>,
}

/// A value that a table of the map does not know.
#[derive(Debug, Serialize)]
pub struct UnknownValue {
    pub column: String,
    pub value: String,
    pub table: String,
    /// Line of the map on which that table begins.
    pub line: usize,
    pub rows: u64,
}

impl ImportView {
    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row for each new entry and for each reason against a row.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "row",
            "outcome",
            "kind",
            "time",
            "machine",
            "component",
            "position",
            "what",
            "job",
            "who",
            "sha",
            "column",
            "value",
            "reason",
            "cure",
        ];
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let outcome = match self.written {
            true => ("written", "written, in place before"),
            false => ("new", "new, in place before"),
        };
        let entries = self.entries.iter().map(|entry| {
            let outcome = if entry.in_place { outcome.1 } else { outcome.0 };
            let mut cells = vec![entry.row.to_string(), outcome.to_owned()];
            cells.extend([entry.kind.to_owned(), entry.time.clone()]);
            cells.extend([&entry.machine, &entry.component, &entry.position].map(text));
            cells.extend([entry.what.clone(), text(&entry.job), entry.who.clone()]);
            cells.extend([text(&entry.sha), String::new(), String::new()]);
            cells.extend([String::new(), String::new()]);
            cells
        });
        let rejected = self.rejected.iter().map(|row| {
            let mut cells = vec![row.row.to_string(), "rejected".to_owned()];
            cells.extend(std::iter::repeat_n(String::new(), 9));
            cells.extend([text(&row.column), row.value.clone(), row.told()]);
            cells.push(row.cure.join(" "));
            cells
        });
        csv_text(&headings, entries.chain(rejected))
    }

    /// For reading.
    pub fn table(&self) -> String {
        let mut text = self.headline();
        if !self.counts.is_empty() {
            text.push('\n');
            text.push_str(&self.counts_table());
        }
        if !self.entries.is_empty() {
            let what = if self.written {
                "Written"
            } else {
                "Would be written"
            };
            let of = match self.entries_in_all - self.entries.len() {
                0 => String::new(),
                _ => format!(
                    " (the first {} of {}; --all shows them all)",
                    self.entries.len(),
                    self.entries_in_all
                ),
            };
            text.push_str(&format!("\n{what}{of}:\n{}", self.entries_table()));
        }
        if !self.rejected.is_empty() {
            text.push_str(&format!("\nRejected:\n{}", self.rejected_table()));
        }
        for unknown in &self.unknown {
            let rows = counted(unknown.rows, "row holds", "rows hold");
            text.push_str(&format!(
                "{rows} `{}` in column {}, which [tables.{}] does not know ({}:{})\n",
                one_line(&unknown.value),
                one_line(&unknown.column),
                unknown.table,
                self.map,
                unknown.line
            ));
        }
        text.push('\n');
        text.push_str(&self.ending());
        text
    }

    fn headline(&self) -> String {
        let skipped: u64 = self.skipped.iter().map(|skip| skip.rows).sum();
        let good = self.rows - skipped - self.rejected_rows as u64;
        let file = one_line(&self.file);
        let mut text = format!("{file}: {}", counted(self.rows, "row", "rows"));
        if skipped > 0 {
            let each = self.skipped.iter().filter(|skip| skip.rows > 0);
            let each: Vec<String> = each.map(|s| format!("{} {}", s.why, s.rows)).collect();
            text.push_str(&format!(", {skipped} passed over ({})", each.join(", ")));
        }
        text.push_str(&format!(", {good} good, {} rejected\n", self.rejected_rows));
        text
    }

    fn counts_table(&self) -> String {
        let mut table = Table::new([
            ("kind", Align::Left),
            ("new", Align::Right),
            ("in the ledger already", Align::Right),
            ("stated by an earlier row", Align::Right),
            ("", Align::Left),
        ]);
        for count in &self.counts {
            table.row([
                count.kind.to_owned(),
                count.new.to_string(),
                count.known.to_string(),
                count.repeated.to_string(),
                match count.in_place {
                    0 => String::new(),
                    n => format!("{n} of the new in no row: in place before the first renewal"),
                },
            ]);
        }
        table.text()
    }

    fn entries_table(&self) -> String {
        let mut table = Table::new([
            ("row", Align::Right),
            ("time", Align::Left),
            ("kind", Align::Left),
            ("machine", Align::Left),
            ("slot", Align::Left),
            ("what", Align::Left),
        ]);
        for entry in &self.entries {
            let slot = entry.component.iter().chain(&entry.position);
            let slot: Vec<&str> = slot.map(String::as_str).collect();
            table.row([
                entry.row.to_string(),
                entry.shown.clone(),
                entry.kind.to_owned(),
                entry.machine.clone().unwrap_or_default(),
                slot.join(" "),
                entry.what.clone(),
            ]);
        }
        table.text()
    }

    fn rejected_table(&self) -> String {
        let mut table = Table::new([
            ("row", Align::Right),
            ("column", Align::Left),
            ("value", Align::Left),
            ("reason", Align::Left),
        ]);
        for row in &self.rejected {
            table.row([
                row.row.to_string(),
                row.column.clone().unwrap_or_default(),
                row.value.clone(),
                row.told(),
            ]);
        }
        table.text()
    }

    fn ending(&self) -> String {
        let new: usize = self.counts.iter().map(|count| count.new).sum();
        let entries = counted(new as u64, "entry", "entries");
        let mut text = match (self.written, new) {
            (true, 0) => "Nothing was new, so nothing was written.\n".to_owned(),
            (true, _) => format!("{entries} written to {}.\n", self.book),
            (false, 0) => "Dry run: nothing would be written.\n".to_owned(),
            (false, _) if self.rejected_rows == 0 => {
                format!("Dry run: nothing was written. To write {entries}: --write\n")
            }
            (false, _) => format!(
                "Dry run: nothing was written. Mend the rejected rows or the map; or write \
                 {entries} and put\nthe rejected rows in a file: --write --keep-good\n"
            ),
        };
        if let Some(file) = &self.rejected_file {
            text.push_str(&format!(
                "The rejected rows are in {file}. Mend them there, and import it with the same \
                 map.\n"
            ));
        }
        text
    }
}

impl RejectedRow {
    fn told(&self) -> String {
        let mut text = self.reason.clone();
        for sentence in &self.evidence {
            text.push_str(&format!(". {}", sentence.trim_end_matches('.')));
        }
        text
    }
}
