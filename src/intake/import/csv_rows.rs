//! Rows of separated values, counted as a spreadsheet counts them.
//!
//! In: text and its delimiter. Out: rows of cells. Never: what a cell means.

use super::cell::{Cell, Row};
use crate::quantity::text::unguarded;

/// A text of separated values.
#[derive(Debug, Clone, PartialEq)]
pub struct CsvText {
    pub text: String,
    pub delimiter: u8,
}

/// Why a text is not of that kind: a quote that is opened and never closed takes the rest
/// of the file into one cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenQuote {
    /// Row of the cell.
    pub row: u64,
    /// Rows the cell runs over.
    pub lines: u64,
}

/// The rows under way.
pub struct CsvRows<'a> {
    text: &'a [u8],
    reader: csv::Reader<&'a [u8]>,
    record: csv::ByteRecord,
    /// Line ends before the place reached.
    lines: u64,
    /// Line ends inside cells so far: the spreadsheet shows them as no rows.
    inside: u64,
    byte: usize,
}

impl CsvText {
    pub fn rows(&self) -> CsvRows<'_> {
        let text = self.text.as_bytes();
        CsvRows {
            text,
            reader: csv::ReaderBuilder::new()
                .delimiter(self.delimiter)
                .has_headers(false)
                .flexible(true)
                .from_reader(text),
            record: csv::ByteRecord::new(),
            lines: 0,
            inside: 0,
            byte: 0,
        }
    }
}

impl CsvRows<'_> {
    /// How much of the text has been read, in bytes.
    pub fn done(&self) -> u64 {
        self.byte as u64
    }

    /// Reads the next row into `row`; false at the end. Blank lines are passed over and
    /// counted.
    ///
    /// Errors: a quote that is never closed.
    pub fn next(&mut self, row: &mut Row) -> Result<bool, OpenQuote> {
        // Reading from memory cannot fail, and any bytes are some record.
        if !self
            .reader
            .read_byte_record(&mut self.record)
            .unwrap_or(false)
        {
            return Ok(false);
        }
        let from = self.byte;
        self.byte = usize::try_from(self.reader.position().byte())
            .unwrap_or(usize::MAX)
            .min(self.text.len());
        let read = &self.text[from..self.byte];
        // What lies before the record's own bytes is the end of the line before, and
        // blank lines.
        let blanks = read.iter().take_while(|b| matches!(b, b'\r' | b'\n'));
        let start = blanks.count();
        self.lines += line_ends(&read[..start], from.checked_sub(1).map(|at| self.text[at]));
        row.number = 1 + self.lines - self.inside;
        let own = &read[start..];
        let inside: u64 = self.record.iter().map(|cell| line_ends(cell, None)).sum();
        if inside > 0 && self.byte == self.text.len() && odd_quotes(own) {
            let row = row.number;
            let lines = inside + 1;
            return Err(OpenQuote { row, lines });
        }
        self.lines += line_ends(own, None);
        self.inside += inside;
        row.cells.clear();
        row.cells.extend(self.record.iter().map(|cell| {
            // The text is UTF-8, and is cut at ASCII bytes only.
            // Our own files guard what a spreadsheet would run; it is read as it was.
            Cell::of_text(unguarded(std::str::from_utf8(cell).unwrap_or_default()))
        }));
        Ok(true)
    }
}

/// Ends of lines, be they LF, CR LF or CR; `before` is the byte in front.
fn line_ends(bytes: &[u8], mut before: Option<u8>) -> u64 {
    let mut ends = 0;
    for at in memchr::memchr2_iter(b'\r', b'\n', bytes) {
        let in_front = at.checked_sub(1).map_or(before, |at| Some(bytes[at]));
        if bytes[at] == b'\r' || in_front != Some(b'\r') {
            ends += 1;
        }
        before = None;
    }
    ends
}

fn odd_quotes(bytes: &[u8]) -> bool {
    memchr::memchr_iter(b'"', bytes).count() % 2 == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str, delimiter: u8) -> Vec<(u64, Vec<String>)> {
        let text = CsvText {
            text: text.into(),
            delimiter,
        };
        let (mut rows, mut row, mut all) = (text.rows(), Row::default(), Vec::new());
        while rows.next(&mut row).expect("rows") {
            let cells = row.cells.iter().map(|c| c.text('.').into_owned());
            all.push((row.number, cells.collect()));
        }
        all
    }

    fn of(all: &[(u64, &[&str])]) -> Vec<(u64, Vec<String>)> {
        all.iter()
            .map(|(n, cells)| (*n, cells.iter().map(|c| (*c).to_owned()).collect()))
            .collect()
    }

    #[test]
    fn rows_are_counted_as_a_spreadsheet_counts_them() {
        for ends in ["\n", "\r\n", "\r"] {
            let text = "a;b\n\n\n\"two\nlines\";x\ny;z\n\nlast;\"q\"\"q\"".replace('\n', ends);
            let two = format!("two{ends}lines");
            let want: &[(u64, &[&str])] = &[
                (1, &["a", "b"]),
                (4, &[&two, "x"]),
                (5, &["y", "z"]),
                (7, &["last", "q\"q"]),
            ];
            assert_eq!(rows(&text, b';'), of(want), "{ends:?}");
            assert_eq!(rows(&format!("{text}{ends}"), b';'), of(want), "{ends:?}");
        }
        assert_eq!(rows("\n\na\tb\n", b'\t'), of(&[(3, &["a", "b"])]));
        assert_eq!(rows("", b','), []);
    }

    #[test]
    fn a_quote_never_closed_is_told_with_its_row() {
        let text = CsvText {
            text: "a,b\n1,\"x\n2,y\n3,z\n".into(),
            delimiter: b',',
        };
        let (mut rows, mut row) = (text.rows(), Row::default());
        assert_eq!(rows.next(&mut row), Ok(true));
        assert_eq!(rows.next(&mut row), Err(OpenQuote { row: 2, lines: 4 }));
    }
}
