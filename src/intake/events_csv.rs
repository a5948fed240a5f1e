//! Events of repairable units from a CSV file.
//!
//! In: a file with the columns `unit, time, event` and, for late entry, `start`, in any order.
//! `event` is `event` or `end`; one `end` row a unit says how long it was watched, and a unit
//! without one was watched up to its last event. `start` may stand in any row of its unit and
//! is 0 where it stands in none. Out: [`FileUnit`]s, in the order in which the file names them.
//! Never: skipping a row.

use std::io::Read;
use std::path::Path;

use thiserror::Error;

use super::lives_csv::CellFault;
use crate::quantity::nearest;
use crate::quantity::trouble::{Place, Trouble};

/// One unit of the file: `0 <= start < events <= end`, all finite.
#[derive(Debug, Clone, PartialEq)]
pub struct FileUnit {
    pub name: String,
    pub start: f64,
    /// `None` where the file has no `end` row: the watch ended with the last event.
    pub end: Option<f64>,
    /// In the order of the file.
    pub events: Vec<f64>,
}

const COLUMNS: [&str; 4] = ["unit", "time", "event", "start"];
const WORDS: [&str; 2] = ["event", "end"];

/// What is wrong with a file of events.
#[derive(Debug, Error)]
pub enum EventsFileError {
    #[error("{file}: {error}")]
    Io { file: String, error: std::io::Error },
    #[error("{file}: {} fault(s)", faults.len())]
    Faults {
        file: String,
        faults: Vec<CellFault>,
    },
}

impl EventsFileError {
    pub fn is_io(&self) -> bool {
        matches!(self, EventsFileError::Io { .. })
    }

    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            EventsFileError::Io { file, error } => {
                vec![Trouble::error("io", format!("could not read: {error}")).in_file(file)]
            }
            EventsFileError::Faults { file, faults } => faults
                .iter()
                .map(|fault| {
                    let what = match &fault.column {
                        Some(column) => format!("column {column}: {}", fault.what),
                        None => fault.what.clone(),
                    };
                    Trouble::error("events-file", what)
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

/// Reads and checks a whole file; every fault is told, not only the first.
pub fn read(path: &Path) -> Result<Vec<FileUnit>, EventsFileError> {
    let name = path.display().to_string();
    let file = std::fs::File::open(path).map_err(|error| EventsFileError::Io {
        file: name.clone(),
        error,
    })?;
    parse(&name, file)
}

/// As [`read`], from any source; `name` stands in for the file in errors.
pub fn parse(name: &str, source: impl Read) -> Result<Vec<FileUnit>, EventsFileError> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(source);
    let mut faults = Vec::new();
    let headings = match reader.headers() {
        Ok(headings) => headings.clone(),
        Err(error) => return Err(csv_error(name, error)),
    };
    let places = place_columns(&headings, &mut faults);
    let complete = places[..3].iter().all(Option::is_some);
    let mut units: Vec<Gathered> = Vec::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => return Err(csv_error(name, error)),
        };
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() != headings.len() {
            faults.push(CellFault {
                line,
                column: None,
                what: format!("{} cells under {} headings", record.len(), headings.len()),
                cure: "a row needs one cell a heading".into(),
            });
        } else if complete && !record.iter().all(str::is_empty) {
            match row(&record, &places, line) {
                Ok(row) => gather(&mut units, row),
                Err(mut found) => faults.append(&mut found),
            }
        }
    }
    if faults.is_empty() && units.is_empty() {
        faults.push(CellFault {
            line: 1,
            column: None,
            what: "no units in the file".into(),
            cure: "one row an event and one row a unit's end under the headings unit,time,event"
                .into(),
        });
    }
    let mut checked = Vec::with_capacity(units.len());
    for unit in units {
        match unit.check() {
            Ok(unit) => checked.push(unit),
            Err(mut found) => faults.append(&mut found),
        }
    }
    if faults.is_empty() {
        return Ok(checked);
    }
    faults.sort_by_key(|fault| fault.line);
    Err(EventsFileError::Faults {
        file: name.into(),
        faults,
    })
}

fn csv_error(name: &str, error: csv::Error) -> EventsFileError {
    let line = error.position().map_or(1, csv::Position::line);
    let what = error.to_string();
    match error.into_kind() {
        csv::ErrorKind::Io(error) => EventsFileError::Io {
            file: name.into(),
            error,
        },
        _ => EventsFileError::Faults {
            file: name.into(),
            faults: vec![CellFault {
                line,
                column: None,
                what,
                cure: "save the file as comma-separated values in UTF-8".into(),
            }],
        },
    }
}

fn place_columns(headings: &csv::StringRecord, faults: &mut Vec<CellFault>) -> [Option<usize>; 4] {
    let mut places = [None; 4];
    for (n, heading) in headings.iter().enumerate() {
        // A byte-order mark sticks to the first heading.
        let heading = heading.trim_start_matches('\u{feff}');
        match COLUMNS.iter().position(|c| *c == heading) {
            Some(which) if places[which].is_some() => faults.push(fault(
                1,
                heading,
                "stands twice among the headings",
                "keep one of them",
            )),
            Some(which) => places[which] = Some(n),
            None => {
                let cure = match nearest(heading, COLUMNS) {
                    Some(near) => format!("did you mean {near}?"),
                    None => format!("known columns: {}", COLUMNS.join(", ")),
                };
                faults.push(fault(
                    1,
                    heading,
                    "is not a column of a file of events",
                    &cure,
                ));
            }
        }
    }
    for which in 0..3 {
        if places[which].is_none() {
            faults.push(fault(
                1,
                COLUMNS[which],
                "is missing",
                "unit, time and event are needed; start only where a unit was not watched from new",
            ));
        }
    }
    places
}

fn fault(line: u64, column: &str, what: impl Into<String>, cure: &str) -> CellFault {
    CellFault {
        line,
        column: Some(column.into()),
        what: what.into(),
        cure: cure.into(),
    }
}

/// A row, read on its own.
struct Row {
    line: u64,
    unit: String,
    time: f64,
    is_end: bool,
    start: Option<f64>,
}

fn row(
    record: &csv::StringRecord,
    places: &[Option<usize>; 4],
    line: u64,
) -> Result<Row, Vec<CellFault>> {
    let cell = |which: usize| {
        places[which]
            .and_then(|n| record.get(n))
            .filter(|text| !text.is_empty())
    };
    let mut faults = Vec::new();
    let mut usage = |which: usize, needed: bool| -> Option<f64> {
        let Some(text) = cell(which) else {
            if needed {
                let cure = "every row needs the usage at which it happened";
                faults.push(fault(line, COLUMNS[which], "is empty", cure));
            }
            return None;
        };
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() && value >= 0.0 => Some(value),
            Ok(value) if value.is_finite() => {
                let cure = "usage counts from new, upward from 0";
                let what = format!("{value} is below 0");
                faults.push(fault(line, COLUMNS[which], what, cure));
                None
            }
            _ => {
                let comma = text.contains(',') && !text.contains('.');
                let cure = if comma {
                    "use a point for decimals and no separator for thousands"
                } else {
                    "write a plain number"
                };
                let what = format!("\"{text}\" is not a number");
                faults.push(fault(line, COLUMNS[which], what, cure));
                None
            }
        }
    };
    let time = usage(1, true);
    let start = usage(3, false);
    if cell(0).is_none() {
        let cure = "name the unit in every row; one name will do if there is only one unit";
        faults.push(fault(line, "unit", "is empty", cure));
    }
    let word = cell(2).unwrap_or_default();
    if !WORDS.contains(&word) {
        let what = format!("\"{word}\" is neither event nor end");
        let cure = "write event for each event, end for the usage up to which the unit was watched";
        faults.push(fault(line, "event", what, cure));
    }
    match (cell(0), time, faults.is_empty()) {
        (Some(unit), Some(time), true) => Ok(Row {
            line,
            unit: unit.into(),
            time,
            is_end: word == WORDS[1],
            start,
        }),
        _ => Err(faults),
    }
}

/// The rows of one unit, each with its line.
struct Gathered {
    name: String,
    starts: Vec<(u64, f64)>,
    ends: Vec<(u64, f64)>,
    events: Vec<(u64, f64)>,
}

fn gather(units: &mut Vec<Gathered>, row: Row) {
    let place = units.iter().position(|u| u.name == row.unit);
    let place = place.unwrap_or_else(|| {
        units.push(Gathered {
            name: row.unit.clone(),
            starts: Vec::new(),
            ends: Vec::new(),
            events: Vec::new(),
        });
        units.len() - 1
    });
    let unit = &mut units[place];
    let list = if row.is_end {
        &mut unit.ends
    } else {
        &mut unit.events
    };
    list.push((row.line, row.time));
    unit.starts.extend(row.start.map(|start| (row.line, start)));
}

impl Gathered {
    /// The unit as a whole; every row that does not fit the others is told.
    fn check(self) -> Result<FileUnit, Vec<CellFault>> {
        let mut faults = Vec::new();
        let name = &self.name;
        let start = self.starts.first().map_or(0.0, |(_, start)| *start);
        for (line, other) in self.starts.iter().filter(|(_, other)| *other != start) {
            let what = format!("{other} for unit {name}, where another row says {start}");
            let cure = "a unit comes under watch once: state one start for it";
            faults.push(fault(*line, "start", what, cure));
        }
        for (line, _) in self.ends.iter().skip(1) {
            let what = format!("a second end of unit {name}");
            let cure = "keep one end row a unit; two watches of one unit are two units";
            faults.push(fault(*line, "event", what, cure));
        }
        let end = self.ends.first().copied();
        if let Some((line, end)) = end.filter(|(_, end)| *end <= start) {
            let what = format!("unit {name} ends at {end}, not beyond its start at {start}");
            faults.push(fault(line, "time", what, "an end lies beyond the start"));
        }
        for (line, at) in &self.events {
            if *at <= start {
                let what =
                    format!("unit {name} has an event at {at}, not beyond its start at {start}");
                let cure =
                    "leave out what came before the watch began; usage counts upward from new";
                faults.push(fault(*line, "time", what, cure));
            }
            if let Some((_, end)) = end.filter(|(_, end)| at > end) {
                let what = format!("unit {name} has an event at {at}, beyond its end at {end}");
                let cure =
                    "an end row says how long the unit was watched: move it, or leave it out";
                faults.push(fault(*line, "time", what, cure));
            }
        }
        if faults.is_empty() {
            Ok(FileUnit {
                start,
                end: end.map(|(_, end)| end),
                events: self.events.into_iter().map(|(_, at)| at).collect(),
                name: self.name,
            })
        } else {
            Err(faults)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str) -> Vec<(u64, String)> {
        match parse("events.csv", text.as_bytes()) {
            Err(EventsFileError::Faults { faults, .. }) => faults
                .into_iter()
                .map(|f| (f.line, f.column.unwrap_or_default()))
                .collect(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn units_are_gathered_from_rows_in_any_order() {
        let units = parse(
            "e.csv",
            "event,unit,time,start\nend,A,90,\nevent,B,40,10\nevent,A,70,\nevent,A,30,\nend,C,5,\n"
                .as_bytes(),
        )
        .unwrap();
        let rows: Vec<(&str, f64, Option<f64>, &[f64])> = units
            .iter()
            .map(|u| (u.name.as_str(), u.start, u.end, u.events.as_slice()))
            .collect();
        assert_eq!(
            rows,
            [
                ("A", 0.0, Some(90.0), &[70.0, 30.0][..]),
                ("B", 10.0, None, &[40.0][..]),
                ("C", 0.0, Some(5.0), &[][..]),
            ]
        );
    }

    #[test]
    fn every_fault_is_told_with_line_and_column() {
        assert_eq!(
            faults(
                "unit,time,event,start\nA,x,event,\nA,-5,event,\n,7,event,\nA,,end,\nA,9,fault,\n\
                 B,5,event,9\nB,20,end,8\nB,21,event,\nB,30,end,\nC,4,end,5\nA,1\n"
            ),
            [
                (2, "time"),
                (3, "time"),
                (4, "unit"),
                (5, "time"),
                (6, "event"),
                (7, "time"),
                (8, "start"),
                (9, "time"),
                (10, "event"),
                (11, "time"),
                (12, ""),
            ]
            .map(|(line, column)| (line, column.to_string()))
        );
        assert_eq!(
            faults("unit,tiem\nA,1\n"),
            [(1, "tiem"), (1, "time"), (1, "event")].map(|(l, c)| (l, c.to_string()))
        );
        assert_eq!(faults("unit,time,event\n"), [(1, String::new())]);
    }
}
