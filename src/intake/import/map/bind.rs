//! The columns a map names, found among the headings of a file.

use super::{ColumnId, ColumnName, Map, MapError, MapFault};
use crate::intake::import::cell::Row;
use crate::quantity::nearest;

/// Where the columns of a map stand in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Places {
    /// By [`ColumnId`]; counted from 0.
    columns: Vec<usize>,
    /// What each column of the file is called, by its place.
    headings: Vec<String>,
}

impl Places {
    /// The place of a column in a row.
    pub fn of(&self, column: ColumnId) -> usize {
        self.columns[column]
    }

    /// What a column of the file is called: its heading, else its number.
    pub fn heading(&self, place: usize) -> String {
        match self.headings.get(place) {
            Some(heading) if !heading.is_empty() => heading.clone(),
            _ => (place + 1).to_string(),
        }
    }

    /// How many columns the headings have.
    pub fn width(&self) -> usize {
        self.headings.len()
    }
}

impl Map {
    /// Finds the columns in a file by its row of headings; `None` where it has none.
    ///
    /// Errors: every column that is missing or stands twice.
    pub fn bind(&self, file: &str, headings: Option<&Row>) -> Result<Places, MapError> {
        let names: Vec<String> = headings.map_or_else(Vec::new, |row| {
            let cells = row.cells.iter();
            // Headings may be broken over lines in their cell.
            cells.map(|cell| tidy(&cell.text('.'))).collect()
        });
        let first = headings.map_or(String::new(), |row| row.cell(0).text('.').into_owned());
        let mut faults = Vec::new();
        if names.iter().all(String::is_empty) && headings.is_some() {
            let row = u64::from(self.file.headings.value);
            let file = file.to_owned();
            let fault = MapFault::HeadingsEmpty { row, file };
            return Err(self.faulty(vec![(self.file.headings.span.clone(), fault)]));
        }
        let mut columns = Vec::with_capacity(self.columns.len());
        for at in &self.columns {
            let place = match &at.value {
                ColumnName::Number(number) => self.numbered(*number, file, &names),
                ColumnName::Heading(heading) => self.headed(heading, file, &names, &first),
            };
            columns.push(place.unwrap_or_else(|fault| {
                faults.push((at.span.clone(), fault));
                0
            }));
        }
        if !faults.is_empty() {
            return Err(self.faulty(faults));
        }
        Ok(Places {
            columns,
            headings: names,
        })
    }

    fn numbered(&self, number: usize, file: &str, names: &[String]) -> Result<usize, MapFault> {
        if names.is_empty() || number <= names.len() {
            return Ok(number - 1);
        }
        Err(MapFault::NoSuchColumn {
            number,
            file: file.to_owned(),
            width: names.len(),
        })
    }

    fn headed(
        &self,
        heading: &str,
        file: &str,
        names: &[String],
        first: &str,
    ) -> Result<usize, MapFault> {
        let heading = tidy(heading);
        let places: Vec<usize> = names
            .iter()
            .enumerate()
            .filter(|(_, name)| **name == heading)
            .map(|(place, _)| place)
            .collect();
        match places[..] {
            [place] => Ok(place),
            [] => {
                let known: Vec<String> = names.iter().filter(|n| !n.is_empty()).cloned().collect();
                // All headings in one cell: they are set apart by another sign.
                let marks = [';', '\t', '|', ','].into_iter();
                let mut marks = marks.filter(|mark| known.len() == 1 && first.contains(*mark));
                let delimiter = marks.next();
                Err(MapFault::UnknownColumn {
                    nearest: nearest(&heading, known.iter().map(String::as_str)).map(str::to_owned),
                    column: heading,
                    file: file.to_owned(),
                    known,
                    delimiter,
                })
            }
            _ => Err(MapFault::ColumnTwice {
                column: heading,
                file: file.to_owned(),
                places: places.iter().map(|place| place + 1).collect(),
            }),
        }
    }
}

fn tidy(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
