//! A file of rows, opened: a CSV text or one sheet of a workbook.
//!
//! In: a file, and the form a map states. Out: [`Sheet`], whose rows are counted as a
//! spreadsheet counts them. Never: what a cell means.

use std::path::Path;

use encoding_rs::{Encoding, UTF_8};
use thiserror::Error;

use super::cell::Row;
use super::csv_rows::{CsvRows, CsvText, OpenQuote};
use super::encoding::{NotText, decode};
use super::map::{FileForm, MapFault};
use super::workbook::{Workbook, is_workbook};
use crate::quantity::nearest;
use crate::quantity::trouble::{Place, Trouble, shown};

/// A file of rows.
#[derive(Debug)]
pub struct Sheet {
    /// The file as the user names it, with a workbook's sheet after a `/`.
    pub name: String,
    /// The same without folders, for the `source` of entries.
    pub source: String,
    /// How a CSV was encoded, and whether it began with a byte-order mark.
    pub encoding: (&'static Encoding, bool),
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Text(CsvText),
    Rows(Vec<Row>),
}

/// Why a file could not be opened, read on, or is not of the form stated.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SheetError {
    #[error("could not read {file}: {reason}")]
    Unreadable { file: String, reason: String },
    #[error("{file}: not text in {}", fault.encoding)]
    NotText { file: String, fault: NotText },
    #[error("{file}: could not be read as a workbook: {reason}")]
    Workbook { file: String, reason: String },
    #[error("{file}:{}: a quote is opened and never closed", fault.row)]
    OpenQuote { file: String, fault: OpenQuote },
    /// The map is at fault, at these bytes of its text.
    #[error("{fault}")]
    Map {
        span: std::ops::Range<usize>,
        fault: Box<MapFault>,
    },
}

impl SheetError {
    pub fn is_io(&self) -> bool {
        matches!(self, SheetError::Unreadable { .. })
    }

    /// The trouble, where it is the file's.
    pub fn trouble(&self) -> Trouble {
        let line = |file: &String, line: u64| Place {
            file: file.clone(),
            line: usize::try_from(line).ok(),
            ..Place::default()
        };
        match self {
            SheetError::Unreadable { file, reason } => {
                Trouble::error("io", format!("could not be read: {reason}")).in_file(file)
            }
            SheetError::NotText { file, fault } => {
                let what = match fault.byte {
                    Some(byte) => format!("not {} text: byte 0x{byte:02X}", fault.encoding),
                    None => format!("not {} text", fault.encoding),
                };
                let trouble = Trouble::error("import-encoding", what);
                let trouble = trouble.placed(line(file, fault.line as u64));
                if fault.encoding == UTF_8.name() {
                    trouble
                        .cured_by("state what it is in the map's [file], such as")
                        .cured_by("encoding = \"windows-1252\"")
                } else {
                    trouble.cured_by("mend `encoding` in the map's [file]")
                }
            }
            SheetError::Workbook { file, reason } => {
                Trouble::error("import-workbook", format!("no workbook to read: {reason}"))
                    .in_file(file)
                    .cured_by("open it in a spreadsheet program and save it as .xlsx, .ods or CSV,")
                    .cured_by("without a password")
            }
            SheetError::OpenQuote { file, fault } => {
                Trouble::error("import-open-quote", "a quote is opened and never closed")
                    .placed(line(file, fault.row))
                    .because(format!(
                        "The cell would run over {} lines, to the end of the file.",
                        fault.lines
                    ))
                    .cured_by("close the quote, or write it twice where it is part of the text")
            }
            SheetError::Map { fault, .. } => Trouble::error("map", fault.to_string()),
        }
    }
}

impl Sheet {
    /// Opens a file as a map's `[file]` says; a workbook is known by its content.
    pub fn open(path: &Path, form: &FileForm) -> Result<Sheet, SheetError> {
        let file = shown(path);
        let bytes = read(path, &file)?;
        let source = path.file_name().unwrap_or(path.as_os_str());
        let source = tidy(&source.to_string_lossy());
        if !is_workbook(&bytes) {
            let encoding = Encoding::for_bom(&bytes).map(|(encoding, _)| encoding);
            let encoding = match encoding {
                Some(encoding) => (encoding, true),
                None => (form.encoding.unwrap_or(UTF_8), false),
            };
            let text = decode(bytes, form.encoding);
            let text = text.map_err(|fault| SheetError::NotText {
                file: file.clone(),
                fault,
            })?;
            return Ok(Sheet {
                name: file,
                source,
                encoding,
                kind: Kind::Text(CsvText {
                    text,
                    delimiter: form.delimiter,
                }),
            });
        }
        let damaged = |reason| SheetError::Workbook {
            file: file.clone(),
            reason,
        };
        let mut book = Workbook::open(&bytes).map_err(damaged)?;
        let sheet = choose(&book.names(), &file, form)?;
        let rows = book.rows(&sheet).map_err(damaged)?;
        Ok(Sheet {
            name: format!("{file}/{sheet}"),
            source: format!("{source}/{}", tidy(&sheet)),
            encoding: (form.encoding.unwrap_or(UTF_8), false),
            kind: Kind::Rows(rows),
        })
    }

    /// A sheet of text already in memory; `name` stands for the file.
    pub fn of_text(name: &str, text: String, delimiter: u8) -> Sheet {
        Sheet {
            name: name.to_owned(),
            source: tidy(name),
            encoding: (UTF_8, false),
            kind: Kind::Text(CsvText { text, delimiter }),
        }
    }

    /// All rows that are not blank, those above the headings among them.
    pub fn rows(&self) -> Rows<'_> {
        Rows {
            sheet: self,
            at: match &self.kind {
                Kind::Text(text) => At::Text(Box::new(text.rows())),
                Kind::Rows(rows) => At::Rows(rows.iter(), 0),
            },
        }
    }

    /// How much there is to read, in the measure of [`Rows::done`].
    pub fn size(&self) -> u64 {
        match &self.kind {
            Kind::Text(text) => text.text.len() as u64,
            Kind::Rows(rows) => rows.len() as u64,
        }
    }

    /// What stands between two cells of a row shown as text.
    pub(super) fn between(&self) -> String {
        match &self.kind {
            Kind::Text(text) if text.delimiter == b'\t' => "    ".to_owned(),
            Kind::Text(text) => char::from(text.delimiter).to_string(),
            Kind::Rows(_) => " | ".to_owned(),
        }
    }

    /// Whether cells that stand beyond the headings are a slip: in a CSV a delimiter too
    /// many has moved them, in a workbook they stand where they were put.
    pub fn moves_cells(&self) -> bool {
        matches!(self.kind, Kind::Text(_))
    }
}

/// Rows under way.
pub struct Rows<'a> {
    sheet: &'a Sheet,
    at: At<'a>,
}

enum At<'a> {
    Text(Box<CsvRows<'a>>),
    Rows(std::slice::Iter<'a, Row>, u64),
}

impl Rows<'_> {
    /// Reads the next row into `row`; false at the end.
    ///
    /// Errors: a quote that is never closed.
    pub fn next(&mut self, row: &mut Row) -> Result<bool, SheetError> {
        match &mut self.at {
            At::Text(rows) => rows.next(row).map_err(|fault| SheetError::OpenQuote {
                file: self.sheet.name.clone(),
                fault,
            }),
            At::Rows(rows, done) => {
                let Some(next) = rows.next() else {
                    return Ok(false);
                };
                *done += 1;
                row.clone_from(next);
                Ok(true)
            }
        }
    }

    /// How much has been read, of [`Sheet::size`].
    pub fn done(&self) -> u64 {
        match &self.at {
            At::Text(rows) => rows.done(),
            At::Rows(_, done) => *done,
        }
    }
}

pub(super) fn read(path: &Path, file: &str) -> Result<Vec<u8>, SheetError> {
    std::fs::read(path).map_err(|error| SheetError::Unreadable {
        file: file.to_owned(),
        reason: error.to_string(),
    })
}

/// The sheet the map names; where it names none, the only one.
fn choose(names: &[String], file: &str, form: &FileForm) -> Result<String, SheetError> {
    let fault = |span: &std::ops::Range<usize>, fault| SheetError::Map {
        span: span.clone(),
        fault: Box::new(fault),
    };
    let (file, known) = (file.to_owned(), names.to_vec());
    match (&form.sheet, names) {
        (Some(sheet), names) if names.contains(&sheet.value) => Ok(sheet.value.clone()),
        (Some(sheet), names) => {
            let near = nearest(&sheet.value, names.iter().map(String::as_str));
            let unknown = MapFault::UnknownSheet {
                nearest: near.map(str::to_owned),
                sheet: sheet.value.clone(),
                file,
                known,
            };
            Err(fault(&sheet.span, unknown))
        }
        (None, [only]) => Ok(only.clone()),
        (None, _) => Err(fault(&form.span, MapFault::SheetNeeded { file, known })),
    }
}

/// A name that can stand in a book: no control characters, no blanks at its ends.
fn tidy(name: &str) -> String {
    let name: String = name
        .chars()
        .map(|c| if c.is_control() { '_' } else { c })
        .collect();
    match name.trim() {
        "" => "_".to_owned(),
        name => name.to_owned(),
    }
}
