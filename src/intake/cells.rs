//! Files of comma-separated values: headings, rows, cells, and what may be wrong with them.
//!
//! In: a source of text and the [`Layout`] it should have. Out: each row's cells, by column;
//! [`FileError`] with every fault, each with its line, column and cure.
//! Never: skipping a row; what a cell means.

use std::io::Read;
use std::path::Path;

use thiserror::Error;

use crate::quantity::nearest;
use crate::quantity::text::unguarded;
use crate::quantity::trouble::{Place, Trouble};

/// What a kind of file looks like.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout<const N: usize> {
    /// "a file of lives".
    pub what: &'static str,
    /// Code of its troubles.
    pub code: &'static str,
    pub columns: [&'static str; N],
    /// Columns that must be there, by place.
    pub needed: &'static [usize],
    /// The cure where one of them is not.
    pub needed_cure: &'static str,
    /// The cure for a row of another length than the headings.
    pub width_cure: &'static str,
    /// The cure for a cell that holds no number.
    pub number_cure: &'static str,
}

/// What is wrong with a file.
#[derive(Debug, Error)]
pub enum FileError {
    #[error("{file}: {error}")]
    Io { file: String, error: std::io::Error },
    #[error("{file}: {} fault(s)", faults.len())]
    Faults {
        file: String,
        /// Code of the troubles of this kind of file.
        code: &'static str,
        faults: Vec<CellFault>,
    },
}

/// One fault in a file.
#[derive(Debug, Clone, PartialEq)]
pub struct CellFault {
    /// Line of the file, counted from 1.
    pub line: u64,
    pub column: Option<String>,
    pub what: String,
    pub cure: String,
}

impl CellFault {
    pub(super) fn of_cell(line: u64, column: &str, what: impl Into<String>, cure: &str) -> Self {
        CellFault {
            line,
            column: Some(column.into()),
            what: what.into(),
            cure: cure.into(),
        }
    }

    pub(super) fn of_line(line: u64, what: impl Into<String>, cure: &str) -> Self {
        CellFault {
            line,
            column: None,
            what: what.into(),
            cure: cure.into(),
        }
    }
}

impl FileError {
    pub fn is_io(&self) -> bool {
        matches!(self, FileError::Io { .. })
    }

    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            FileError::Io { file, error } => {
                vec![Trouble::error("io", format!("could not read: {error}")).in_file(file)]
            }
            FileError::Faults { file, code, faults } => faults
                .iter()
                .map(|fault| {
                    let what = match &fault.column {
                        Some(column) => format!("column {column}: {}", fault.what),
                        None => fault.what.clone(),
                    };
                    Trouble::error(code, what)
                        .placed(Place {
                            file: file.clone(),
                            line: usize::try_from(fault.line).ok(),
                            ..Place::default()
                        })
                        .cured_by(&fault.cure)
                })
                .collect(),
        }
    }
}

/// The cells of one row.
pub(super) struct Cells<'a, const N: usize> {
    layout: &'a Layout<N>,
    record: &'a csv::StringRecord,
    places: &'a [Option<usize>; N],
    pub line: u64,
}

impl<'a, const N: usize> Cells<'a, N> {
    /// The cell in a column; `None` where it is empty or the file lacks the column. Our own
    /// files guard what a spreadsheet would run; it is read as it was.
    pub fn text(&self, which: usize) -> Option<&'a str> {
        self.places[which]
            .and_then(|n| self.record.get(n))
            .map(unguarded)
            .filter(|text| !text.is_empty())
    }

    /// The same as a finite number.
    pub fn number(&self, which: usize) -> Result<Option<f64>, CellFault> {
        let Some(text) = self.text(which) else {
            return Ok(None);
        };
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => {
                let comma = text.contains(',') && !text.contains('.');
                let cure = if comma {
                    "use a point for decimals and no separator for thousands"
                } else {
                    self.layout.number_cure
                };
                let what = format!("\"{text}\" is not a number");
                Err(self.fault(self.layout.columns[which], what, cure))
            }
        }
    }

    /// A fault in this row.
    pub fn fault(&self, column: &str, what: impl Into<String>, cure: &str) -> CellFault {
        CellFault::of_cell(self.line, column, what, cure)
    }
}

/// Opens a file for [`Layout::rows`]; with its name for errors.
pub(super) fn open(path: &Path) -> Result<(String, std::fs::File), FileError> {
    let name = path.display().to_string();
    match std::fs::File::open(path) {
        Ok(file) => Ok((name, file)),
        Err(error) => Err(FileError::Io { file: name, error }),
    }
}

impl<const N: usize> Layout<N> {
    /// Hands every row that has its columns to `take` and gives all faults found, in the order
    /// of the file. Rows of empty cells are passed over.
    ///
    /// Errors: the source cannot be read on, or is no CSV.
    pub fn rows(
        &self,
        name: &str,
        source: impl Read,
        take: impl FnMut(&Cells<'_, N>) -> Result<(), Vec<CellFault>>,
    ) -> Result<Vec<CellFault>, FileError> {
        self.rows_between(b',', name, source, take)
    }

    /// The same with another mark between cells.
    pub fn rows_between(
        &self,
        delimiter: u8,
        name: &str,
        source: impl Read,
        mut take: impl FnMut(&Cells<'_, N>) -> Result<(), Vec<CellFault>>,
    ) -> Result<Vec<CellFault>, FileError> {
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(source);
        let mut faults = Vec::new();
        let headings = match reader.headers() {
            Ok(headings) => headings.clone(),
            Err(error) => return Err(self.csv_error(name, error)),
        };
        let places = self.place_columns(&headings, &mut faults);
        let complete = self.needed.iter().all(|which| places[*which].is_some());
        for record in reader.records() {
            let record = match record {
                Ok(record) => record,
                Err(error) => return Err(self.csv_error(name, error)),
            };
            let line = record.position().map_or(0, csv::Position::line);
            if record.len() != headings.len() {
                let what = format!("{} cells under {} headings", record.len(), headings.len());
                faults.push(CellFault::of_line(line, what, self.width_cure));
            } else if complete && !record.iter().all(str::is_empty) {
                let cells = Cells {
                    layout: self,
                    record: &record,
                    places: &places,
                    line,
                };
                if let Err(mut found) = take(&cells) {
                    faults.append(&mut found);
                }
            }
        }
        Ok(faults)
    }

    /// The error that tells these faults.
    pub fn error(&self, name: &str, faults: Vec<CellFault>) -> FileError {
        FileError::Faults {
            file: name.into(),
            code: self.code,
            faults,
        }
    }

    fn csv_error(&self, name: &str, error: csv::Error) -> FileError {
        let line = error.position().map_or(1, csv::Position::line);
        let what = error.to_string();
        match error.into_kind() {
            csv::ErrorKind::Io(error) => FileError::Io {
                file: name.into(),
                error,
            },
            _ => {
                let cure = "save the file as comma-separated values in UTF-8";
                self.error(name, vec![CellFault::of_line(line, what, cure)])
            }
        }
    }

    /// Where each column stands among the headings.
    fn place_columns(
        &self,
        headings: &csv::StringRecord,
        faults: &mut Vec<CellFault>,
    ) -> [Option<usize>; N] {
        let mut places = [None; N];
        let mut fault = |column: &str, what: String, cure: &str| {
            faults.push(CellFault::of_cell(1, column, what, cure));
        };
        for (n, heading) in headings.iter().enumerate() {
            // A byte-order mark sticks to the first heading.
            let heading = heading.trim_start_matches('\u{feff}');
            match self.columns.iter().position(|c| *c == heading) {
                Some(which) if places[which].is_some() => fault(
                    heading,
                    "stands twice among the headings".into(),
                    "keep one of them",
                ),
                Some(which) => places[which] = Some(n),
                None => {
                    let cure = match nearest(heading, self.columns) {
                        Some(near) => format!("did you mean {near}?"),
                        None => format!("known columns: {}", self.columns.join(", ")),
                    };
                    fault(heading, format!("is not a column of {}", self.what), &cure);
                }
            }
        }
        for which in self.needed {
            if places[*which].is_none() {
                fault(self.columns[*which], "is missing".into(), self.needed_cure);
            }
        }
        places
    }
}
