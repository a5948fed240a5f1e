//! The rejected rows as a CSV that can be mended and imported again with the same map.
//!
//! In: a sheet and what was rejected. Out: the bytes of a file in the form the map
//! expects: its delimiter, its encoding, the same rows above the same headings, and the
//! reasons in one more column, which the map passes over. Never: writing it.

use std::collections::HashMap;

use encoding_rs::UTF_8;

use super::cell::{Cell, Row};
use super::encoding::encode;
use super::map::{Map, Places};
use super::plan::FillDown;
use super::reject::Rejection;
use super::sheet::{Sheet, SheetError};
use super::times::written;
use crate::quantity::text::guarded;

/// The heading of the reasons.
pub const REASONS: &str = "why rejected";

/// Writes the rejected rows.
///
/// Errors: the sheet cannot be read on.
pub fn mend(
    sheet: &Sheet,
    map: &Map,
    places: &Places,
    rejected: &[Rejection],
) -> Result<Vec<u8>, SheetError> {
    let mut reasons: HashMap<u64, Vec<String>> = HashMap::new();
    for rejection in rejected {
        let told = reasons.entry(rejection.row).or_default();
        told.push(rejection.in_one_line());
    }
    let mut out = Out {
        writer: csv::WriterBuilder::new()
            .delimiter(map.file.delimiter)
            .flexible(true)
            .from_writer(Vec::new()),
        map,
        width: places.width(),
        // A file that was mended before has the column already.
        place: (0..places.width()).find(|place| places.heading(*place) == REASONS),
        rows: 0,
    };
    let headings = u64::from(map.file.headings.value);
    let mut fill = FillDown::new(map, places);
    let (mut rows, mut row) = (sheet.rows(), Row::default());
    while rows.next(&mut row)? {
        if row.number < headings {
            out.blank_to(row.number);
            out.row(&row, None);
        } else if row.number == headings {
            out.blank_to(row.number);
            out.row(&row, Some(REASONS));
        } else if !row.is_empty() {
            let filled = fill.fill(&row);
            if let Some(reasons) = reasons.get(&row.number) {
                out.row(filled.as_ref().unwrap_or(&row), Some(&reasons.join("; ")));
            }
        }
    }
    // Writing to memory cannot fail, and what was written is text.
    let bytes = out.writer.into_inner().unwrap_or_default();
    let text = String::from_utf8(bytes).unwrap_or_default();
    Ok(in_its_encoding(text, sheet))
}

/// In the encoding the map reads; where that lacks a sign, in UTF-8 with a byte-order
/// mark, which any map reads.
fn in_its_encoding(text: String, sheet: &Sheet) -> Vec<u8> {
    let (encoding, marked) = sheet.encoding;
    match encode(&text, encoding) {
        Some(bytes) if !(marked && encoding == UTF_8) => bytes,
        _ => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
    }
}

struct Out<'a> {
    writer: csv::Writer<Vec<u8>>,
    map: &'a Map,
    width: usize,
    place: Option<usize>,
    rows: u64,
}

impl Out<'_> {
    /// Blank rows up to this one: the map states the headings by their row.
    fn blank_to(&mut self, number: u64) {
        while self.rows + 1 < number {
            self.write(&[String::new()]);
        }
    }

    fn row(&mut self, row: &Row, reason: Option<&str>) {
        let cells = row.cells.iter().map(|cell| self.text(cell));
        let mut cells: Vec<String> = cells.collect();
        if let Some(reason) = reason {
            let width = if self.width == 0 {
                cells.len()
            } else {
                self.width
            };
            let place = self.place.unwrap_or(width);
            if cells.len() < place {
                cells.resize(place, String::new());
            }
            if self.place.is_some() && place < cells.len() {
                reason.clone_into(&mut cells[place]);
            } else {
                // Cells beyond the headings stay beyond them.
                cells.insert(place, reason.to_owned());
            }
        }
        self.write(&cells);
    }

    fn text(&self, cell: &Cell) -> String {
        written(cell, &self.map.times.patterns)
            .unwrap_or_else(|| cell.text(self.map.file.numbers.decimal).into_owned())
    }

    fn write(&mut self, cells: &[String]) {
        let cells = cells.iter().map(|cell| guarded(cell).into_owned());
        // Writing to memory cannot fail.
        let _ = self.writer.write_record(cells.map(String::into_bytes));
        self.rows += 1;
    }
}
