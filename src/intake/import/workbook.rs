//! Sheets of a workbook (XLSX, ODS, XLS, XLSB).
//!
//! In: a workbook's bytes. Out: names of its sheets; the rows of one. Formulas give the
//! value they had when the workbook was saved. Never: what a cell means.

use std::io::Cursor;

use calamine::{
    CellErrorType, Data, DataRef, ExcelDateTime, Reader, Sheets, open_workbook_auto_from_rs,
};
use chrono::{NaiveDate, NaiveDateTime};

use super::cell::{Cell, Row};

/// A workbook, opened.
pub struct Workbook<'a> {
    sheets: Sheets<Cursor<&'a [u8]>>,
}

/// Whether bytes begin as a workbook does: a ZIP archive, or a compound file (XLS).
pub fn is_workbook(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
}

impl<'a> Workbook<'a> {
    /// Errors: the reason, where it is no workbook or a locked one.
    pub fn open(bytes: &'a [u8]) -> Result<Workbook<'a>, String> {
        calmly(|| {
            let sheets = open_workbook_auto_from_rs(Cursor::new(bytes));
            let sheets = sheets.map_err(|error| error.to_string())?;
            Ok(Workbook { sheets })
        })
    }

    pub fn names(&self) -> Vec<String> {
        self.sheets.sheet_names()
    }

    /// The rows of a sheet that have anything in them.
    ///
    /// Errors: the reason, where the sheet is damaged.
    pub fn rows(&mut self, sheet: &str) -> Result<Vec<Row>, String> {
        calmly(|| self.read(sheet))
    }

    fn read(&mut self, sheet: &str) -> Result<Vec<Row>, String> {
        let mut rows = Rows::default();
        if let Sheets::Xlsx(book) = &mut self.sheets {
            // Cell by cell: a forgotten cell far down would else fill the memory.
            let cells = book.worksheet_cells_reader(sheet);
            let mut cells = cells.map_err(|error| error.to_string())?;
            while let Some(cell) = cells.next_cell().map_err(|error| error.to_string())? {
                rows.put(cell.get_position(), of_ref(cell.get_value()))?;
            }
        } else {
            let range = self.sheets.worksheet_range(sheet);
            let range = range.map_err(|error| error.to_string())?;
            let (top, left) = range.start().unwrap_or_default();
            for (row, column, value) in range.used_cells() {
                // A sheet's rows and columns are far fewer.
                let place = (top + row as u32, left + column as u32);
                rows.put(place, of_data(value))?;
            }
        }
        // In a sound sheet they are in order already.
        rows.rows.sort_by_key(|row| row.number);
        Ok(rows.rows)
    }
}

/// Runs the library on bytes that anybody may have written: should it panic over them, that
/// is one more way to say that they are no workbook.
fn calmly<T>(read: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    let told = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(read));
    std::panic::set_hook(told);
    outcome.unwrap_or_else(|_| Err("it is damaged".to_owned()))
}

/// The most rows and columns of a sheet (ECMA-376; from memory): a cell beyond them is none.
const MOST_ROWS: u32 = 1_048_576;
const MOST_COLUMNS: u32 = 16_384;

/// The most cells that are held, those between filled ones among them: a million rows of 50.
/// A few cells far to the right in every row would else fill the memory.
const MOST_CELLS: usize = 50_000_000;

/// Rows being filled, cell by cell in the order of the sheet.
#[derive(Default)]
struct Rows {
    rows: Vec<Row>,
    cells: usize,
}

impl Rows {
    fn put(&mut self, (row, column): (u32, u32), cell: Cell) -> Result<(), String> {
        if cell.is_empty() {
            return Ok(());
        }
        if row >= MOST_ROWS || column >= MOST_COLUMNS {
            return Err("it has a cell beyond the last row or column of a sheet".to_owned());
        }
        let number = u64::from(row) + 1;
        if self.rows.last().is_none_or(|last| last.number != number) {
            self.rows.push(Row {
                number,
                cells: Vec::new(),
            });
        }
        // One was just put there if there was none.
        if let Some(last) = self.rows.last_mut() {
            let column = column as usize;
            if last.cells.len() <= column {
                self.cells += column + 1 - last.cells.len();
                if self.cells > MOST_CELLS {
                    return Err(format!(
                        "it takes {} million cells and more, empty ones between filled ones \
                         among them",
                        MOST_CELLS / 1_000_000
                    ));
                }
                last.cells.resize(column + 1, Cell::Empty);
            }
            last.cells[column] = cell;
        }
        Ok(())
    }
}

fn of_ref(value: &DataRef<'_>) -> Cell {
    match value {
        DataRef::Int(whole) => Cell::Number(*whole as f64),
        DataRef::Float(value) => Cell::Number(*value),
        DataRef::String(text) => Cell::of_text(text),
        DataRef::SharedString(text) => Cell::of_text(text),
        DataRef::Bool(flag) => Cell::Flag(*flag),
        DataRef::DateTime(moment) => of_serial(*moment),
        DataRef::DateTimeIso(text) => of_iso(text),
        DataRef::DurationIso(text) => of_duration(text),
        DataRef::Error(error) => of_error(error),
        DataRef::Empty => Cell::Empty,
    }
}

fn of_data(value: &Data) -> Cell {
    match value {
        Data::Int(whole) => Cell::Number(*whole as f64),
        Data::Float(value) => Cell::Number(*value),
        Data::String(text) => Cell::of_text(text),
        Data::Bool(flag) => Cell::Flag(*flag),
        Data::DateTime(moment) => of_serial(*moment),
        Data::DateTimeIso(text) => of_iso(text),
        Data::DurationIso(text) => of_duration(text),
        Data::Error(error) => of_error(error),
        Data::Empty => Cell::Empty,
    }
}

fn of_error(error: &CellErrorType) -> Cell {
    Cell::Error(error.to_string())
}

/// Serial numbers count days; below one they are a time of day alone.
fn of_serial(moment: ExcelDateTime) -> Cell {
    let days = moment.as_f64();
    if moment.is_duration() || days.abs() < 1.0 {
        return Cell::Hours(days * 24.0);
    }
    match moment.as_datetime() {
        Some(moment) => Cell::of_moment(moment),
        None => Cell::Number(days),
    }
}

fn of_iso(text: &str) -> Cell {
    if let Ok(day) = text.parse::<NaiveDate>() {
        return Cell::Day(day);
    }
    match text.parse::<NaiveDateTime>() {
        Ok(moment) => Cell::of_moment(moment),
        Err(_) => Cell::of_text(text),
    }
}

/// Reads `PT01H30M00S`, the form of an open document.
fn of_duration(text: &str) -> Cell {
    let hours = || -> Option<f64> {
        let mut rest = text.strip_prefix("PT")?;
        let mut hours = 0.0;
        for (letter, share) in [('H', 1.0), ('M', 60.0), ('S', 3600.0)] {
            if let Some((number, after)) = rest.split_once(letter) {
                hours += number.parse::<f64>().ok()? / share;
                rest = after;
            }
        }
        rest.is_empty().then_some(hours)
    };
    hours().map_or_else(|| Cell::of_text(text), Cell::Hours)
}

#[cfg(test)]
mod tests {
    use super::*;
    use calamine::ExcelDateTimeType;

    /// Serial 45 943.5 is noon of 2025-10-13 (the library's own example), and 45 746.0625
    /// is 01:30 of 2025-03-30, which is 197.4375 days before.
    #[test]
    fn serials_become_days_moments_and_hours() {
        let cell = |days, kind| of_serial(ExcelDateTime::new(days, kind, false));
        let text = |days, kind| cell(days, kind).text('.').into_owned();
        use ExcelDateTimeType::{DateTime, TimeDelta};
        assert_eq!(text(45_943.5, DateTime), "2025-10-13 12:00");
        assert_eq!(text(45_746.062_5, DateTime), "2025-03-30 01:30");
        assert_eq!(text(45_943.0, DateTime), "2025-10-13");
        assert_eq!(cell(0.25, DateTime), Cell::Hours(6.0));
        assert_eq!(cell(1.25, TimeDelta), Cell::Hours(30.0));
        let old = ExcelDateTime::new(45_943.0 - 1_462.0, DateTime, true);
        assert_eq!(of_serial(old).text('.'), "2025-10-13");
    }

    #[test]
    fn cells_far_to_the_right_cannot_fill_the_memory() {
        let mut rows = Rows {
            rows: Vec::new(),
            cells: MOST_CELLS - 20_000,
        };
        let far = |rows: &mut Rows, row| rows.put((row, MOST_COLUMNS - 1), Cell::Flag(true));
        assert_eq!(far(&mut rows, 0), Ok(()));
        assert_eq!(
            far(&mut rows, 0),
            Ok(()),
            "the same cell again takes no more"
        );
        let told = far(&mut rows, 1).unwrap_err();
        assert!(told.contains("50 million cells"), "{told}");
        assert!(rows.put((2, MOST_COLUMNS), Cell::Flag(true)).is_err());
    }

    #[test]
    fn times_of_open_documents_are_read() {
        assert_eq!(of_iso("2025-03-30T01:30:00").text('.'), "2025-03-30 01:30");
        assert_eq!(of_iso("2025-03-30").text('.'), "2025-03-30");
        assert_eq!(of_duration("PT01H30M00S"), Cell::Hours(1.5));
        assert_eq!(of_duration("P1D"), Cell::Text("P1D".into()));
    }
}
