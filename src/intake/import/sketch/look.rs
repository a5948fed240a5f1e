//! What a file looks like before any map is there: encoding, delimiter, sheet, headings,
//! and what stands in each column.
//!
//! In: a file. Out: [`Profile`], each finding with its reason. Never: what a column means.

use std::collections::HashMap;
use std::path::Path;

use encoding_rs::{Encoding, UTF_8, WINDOWS_1252};

use crate::intake::import::cell::{Cell, Row};
use crate::intake::import::csv_rows::CsvText;
use crate::intake::import::encoding::decode;
use crate::intake::import::map::normal;
use crate::intake::import::sheet::{SheetError, read};
use crate::intake::import::workbook::{Workbook, is_workbook};
use crate::quantity::trouble::shown;

/// Distinct values kept of a column.
const KEPT: usize = 400;

/// Rows at the top among which the headings are sought.
const TOP: usize = 30;

/// What was found, and why it is taken for so.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found<T> {
    pub value: T,
    pub why: String,
}

#[derive(Debug)]
pub(super) struct Profile {
    pub file: String,
    pub sheet: Option<Found<String>>,
    /// Name of the encoding, where a map must state it.
    pub encoding: Option<Found<&'static str>>,
    pub delimiter: Option<Found<u8>>,
    /// Row of the headings.
    pub headings: Found<u64>,
    pub columns: Vec<Column>,
    /// Rows under the headings.
    pub rows: u64,
    pub under: Vec<Row>,
}

/// What stands under a heading.
#[derive(Debug, Default)]
pub(super) struct Column {
    pub heading: String,
    /// From 1.
    pub number: usize,
    /// Whether another column has the same heading, or this has none.
    pub by_number: bool,
    /// Cells that are not empty.
    pub filled: u64,
    /// Whether the first row under the headings is filled and most others are not.
    pub once_for_many: bool,
    /// Cells that a workbook knows as numbers, and as days or times.
    pub typed_numbers: u64,
    pub typed_days: u64,
    pub typed_hours: u64,
    /// Distinct values as texts, each with the number of rows, most first; values that
    /// differ in case and blanks only count as one.
    pub values: Vec<(String, u64)>,
    /// The same of the cells that are texts, letter for letter.
    pub written: Vec<(String, u64)>,
    /// Whether there are more than are kept.
    pub more: bool,
    /// In the order of rows, as far as kept: to see whether days rise or fall.
    pub first_and_last: Option<(String, String)>,
}

impl Column {
    /// How a map names it.
    pub fn name(&self) -> String {
        if self.by_number {
            self.number.to_string()
        } else {
            super::write::quoted(&self.heading)
        }
    }

    /// Cells that are texts.
    pub fn texts(&self) -> u64 {
        self.filled - self.typed_numbers - self.typed_days - self.typed_hours
    }
}

pub(super) fn look(path: &Path) -> Result<Profile, SheetError> {
    let file = shown(path);
    let bytes = read(path, &file)?;
    let mut profile = Profile {
        file: file.clone(),
        sheet: None,
        encoding: None,
        delimiter: None,
        headings: Found {
            value: 1,
            why: String::new(),
        },
        columns: Vec::new(),
        rows: 0,
        under: Vec::new(),
    };
    let rows = if is_workbook(&bytes) {
        let damaged = |reason| SheetError::Workbook {
            file: file.clone(),
            reason,
        };
        let mut book = Workbook::open(&bytes).map_err(damaged)?;
        let (rows, sheet) = largest(&mut book).map_err(damaged)?;
        profile.sheet = sheet;
        rows
    } else {
        let (text, encoding) = as_text(bytes, &file)?;
        profile.encoding = encoding;
        let delimiter = delimiter(&text);
        let csv = CsvText {
            text,
            delimiter: delimiter.value,
        };
        profile.delimiter = Some(delimiter);
        let (mut all, mut rows, mut row) = (Vec::new(), csv.rows(), Row::default());
        loop {
            let more = rows.next(&mut row);
            let file = file.clone();
            if !more.map_err(|fault| SheetError::OpenQuote { file, fault })? {
                break;
            }
            if !row.is_empty() {
                all.push(row.clone());
            }
        }
        all
    };
    profile.headings = headings(&rows);
    columns(&rows, &mut profile);
    let number = profile.headings.value;
    profile.under = rows.into_iter().filter(|row| row.number > number).collect();
    Ok(profile)
}

/// The sheet with the most rows.
fn largest(book: &mut Workbook<'_>) -> Result<(Vec<Row>, Option<Found<String>>), String> {
    let names = book.names();
    let (mut best, mut chosen) = (Vec::new(), String::new());
    for name in &names {
        let rows = book.rows(name)?;
        if chosen.is_empty() || rows.len() > best.len() {
            (best, chosen) = (rows, name.clone());
        }
    }
    let others = names.iter().filter(|name| **name != chosen);
    let others: Vec<&str> = others.map(String::as_str).collect();
    let why = match others.as_slice() {
        [] => "the only sheet".to_owned(),
        others => format!(
            "the one with the most rows; there are also {}",
            others.join(", ")
        ),
    };
    Ok((best, Some(Found { value: chosen, why })))
}

/// The text, and the encoding a map must state for it.
fn as_text(
    bytes: Vec<u8>,
    file: &str,
) -> Result<(String, Option<Found<&'static str>>), SheetError> {
    if Encoding::for_bom(&bytes).is_some() || std::str::from_utf8(&bytes).is_ok() {
        let text = decode(bytes, None).map_err(|fault| SheetError::NotText {
            file: file.to_owned(),
            fault,
        })?;
        return Ok((text, None));
    }
    let (text, _) = WINDOWS_1252.decode_without_bom_handling(&bytes);
    let sign = text.chars().find(|c| !c.is_ascii()).unwrap_or(' ');
    let why = format!(
        "it is not {}; so read it has the sign `{sign}`: see that accents and signs look right",
        UTF_8.name()
    );
    let text = text.into_owned();
    let value = "windows-1252";
    Ok((text, Some(Found { value, why })))
}

/// The sign that parts most rows into the same number of cells.
fn delimiter(text: &str) -> Found<u8> {
    let signs = [b',', b';', b'\t', b'|'];
    let head: String = text.lines().take(60).collect::<Vec<_>>().join("\n");
    let mut best = (0, 0, b',');
    for delimiter in signs {
        let csv = CsvText {
            text: head.clone(),
            delimiter,
        };
        let (mut widths, mut rows, mut row) = (HashMap::new(), csv.rows(), Row::default());
        while rows.next(&mut row).unwrap_or(false) {
            if row.cells.len() > 1 {
                *widths.entry(row.cells.len()).or_insert(0_usize) += 1;
            }
        }
        let most = widths
            .into_iter()
            .max_by_key(|(width, rows)| (*rows, *width));
        let (width, rows) = most.unwrap_or_default();
        if (rows, width) > (best.0, best.1) {
            best = (rows, width, delimiter);
        }
    }
    let (rows, width, value) = best;
    let why = match rows {
        0 => "no sign parts its rows: it has one column".to_owned(),
        _ => format!("it parts {rows} of the first rows into {width} cells each"),
    };
    Found { value, why }
}

/// The first row whose cells are all words, about as many as the rows below have cells.
fn headings(rows: &[Row]) -> Found<u64> {
    let filled = |row: &Row| row.cells.iter().filter(|cell| !cell.is_empty()).count();
    let mut counts: Vec<usize> = rows.iter().skip(1).take(200).map(filled).collect();
    counts.sort_unstable();
    let usual = counts.get(counts.len() / 2).copied().unwrap_or(1);
    let heads = |row: &&Row| {
        let mut texts: Vec<String> = Vec::new();
        for cell in row.cells.iter().filter(|cell| !cell.is_empty()) {
            match cell {
                Cell::Text(text) if text.chars().any(char::is_alphabetic) => {
                    texts.push(normal(text));
                }
                _ => return false,
            }
        }
        let count = texts.len();
        texts.sort_unstable();
        texts.dedup();
        count * 10 >= usual * 7 && texts.len() * 10 >= count * 8 && count > 0
    };
    let row = rows.iter().take(TOP).find(heads);
    match row.or(rows.first()) {
        Some(row) => Found {
            value: row.number,
            why: format!(
                "the first row of {} words, as rows below have {usual} cells",
                filled(row)
            ),
        },
        None => Found {
            value: 1,
            why: "the file is empty".to_owned(),
        },
    }
}

fn columns(rows: &[Row], profile: &mut Profile) {
    let number = profile.headings.value;
    let Some(head) = rows.iter().find(|row| row.number == number) else {
        return;
    };
    let under: Vec<&Row> = rows.iter().filter(|row| row.number > number).collect();
    profile.rows = under.len() as u64;
    let width = under.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    let width = width.max(head.cells.len());
    let names: Vec<String> = (0..width)
        .map(|place| {
            let text = head.cell(place).text('.');
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        })
        .collect();
    for (place, heading) in names.iter().enumerate() {
        let same = names.iter().filter(|name| *name == heading).count();
        let mut column = Column {
            heading: heading.clone(),
            number: place + 1,
            by_number: same > 1 || heading.is_empty(),
            ..Column::default()
        };
        column.fill(&under, place);
        // A column without heading and without cells is none.
        if !(heading.is_empty() && column.filled == 0) {
            profile.columns.push(column);
        }
    }
}

impl Column {
    fn fill(&mut self, rows: &[&Row], place: usize) {
        let mut counts: HashMap<String, (String, u64)> = HashMap::new();
        let mut written: HashMap<String, u64> = HashMap::new();
        for row in rows {
            let cell = row.cell(place);
            match cell {
                Cell::Empty => continue,
                Cell::Number(_) => self.typed_numbers += 1,
                Cell::Day(_) | Cell::Moment(_) => self.typed_days += 1,
                Cell::Hours(_) => self.typed_hours += 1,
                _ => {}
            }
            self.filled += 1;
            if let Cell::Text(text) = cell
                && (written.len() < KEPT || written.contains_key(text))
            {
                *written.entry(text.clone()).or_insert(0) += 1;
            }
            let text = cell.text('.').into_owned();
            match &mut self.first_and_last {
                Some((_, last)) => last.clone_from(&text),
                None => self.first_and_last = Some((text.clone(), text.clone())),
            }
            let known = counts.len();
            match counts.get_mut(&normal(&text)) {
                Some((_, count)) => *count += 1,
                None if known >= KEPT => self.more = true,
                None => {
                    counts.insert(normal(&text), (text, 1));
                }
            }
        }
        let first = rows.first().is_some_and(|row| !row.cell(place).is_empty());
        let rows = rows.len() as u64;
        self.once_for_many = first && rows >= 4 && self.filled * 2 < rows && !counts.is_empty();
        self.values = most_first(counts.into_values());
        self.written = most_first(written);
    }
}

fn most_first(counts: impl IntoIterator<Item = (String, u64)>) -> Vec<(String, u64)> {
    let mut all: Vec<(String, u64)> = counts.into_iter().collect();
    all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    all
}
