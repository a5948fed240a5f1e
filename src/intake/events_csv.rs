//! Events of repairable units from a CSV file.
//!
//! In: a file with the columns `unit, time, event` and, for late entry, `start`, in any order.
//! `event` is `event` or `end`; one `end` row a unit says how long it was watched, and a unit
//! without one was watched up to its last event. `start` may stand in any row of its unit and
//! is 0 where it stands in none. Out: [`FileUnit`]s, in the order in which the file names them.
//! Never: skipping a row.

use std::io::Read;
use std::path::Path;

pub use super::cells::FileError as EventsFileError;
use super::cells::{CellFault, Cells, Layout, open};

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

const EVENTS: Layout<4> = Layout {
    what: "a file of events",
    code: "events-file",
    columns: ["unit", "time", "event", "start"],
    needed: &[0, 1, 2],
    needed_cure: "unit, time and event are needed; start only where a unit was not watched from new",
    width_cure: "a row needs one cell a heading",
    number_cure: "write a plain number",
};
const WORDS: [&str; 2] = ["event", "end"];

/// Reads and checks a whole file; every fault is told, not only the first.
pub fn read(path: &Path) -> Result<Vec<FileUnit>, EventsFileError> {
    let (name, file) = open(path)?;
    parse(&name, file)
}

/// As [`read`], from any source; `name` stands in for the file in errors.
pub fn parse(name: &str, source: impl Read) -> Result<Vec<FileUnit>, EventsFileError> {
    let mut units: Vec<Gathered> = Vec::new();
    let mut faults = EVENTS.rows(name, source, |cells| {
        gather(&mut units, row(cells)?);
        Ok(())
    })?;
    if faults.is_empty() && units.is_empty() {
        let cure = "one row an event and one row a unit's end under the headings unit,time,event";
        faults.push(CellFault::of_line(1, "no units in the file", cure));
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
    Err(EVENTS.error(name, faults))
}

/// A row, read on its own.
struct Row {
    line: u64,
    unit: String,
    time: f64,
    is_end: bool,
    start: Option<f64>,
}

fn row(cells: &Cells<'_, 4>) -> Result<Row, Vec<CellFault>> {
    let mut faults = Vec::new();
    let mut usage = |which: usize, needed: bool| -> Option<f64> {
        let column = EVENTS.columns[which];
        let fault = match cells.number(which) {
            Ok(Some(value)) if value >= 0.0 => return Some(value),
            Ok(Some(value)) => {
                let cure = "usage counts from new, upward from 0";
                cells.fault(column, format!("{value} is below 0"), cure)
            }
            Ok(None) if needed => {
                let cure = "every row needs the usage at which it happened";
                cells.fault(column, "is empty", cure)
            }
            Ok(None) => return None,
            Err(fault) => fault,
        };
        faults.push(fault);
        None
    };
    let time = usage(1, true);
    let start = usage(3, false);
    let unit = cells.text(0);
    if unit.is_none() {
        let cure = "name the unit in every row; one name will do if there is only one unit";
        faults.push(cells.fault("unit", "is empty", cure));
    }
    let word = cells.text(2).unwrap_or_default();
    if !WORDS.contains(&word) {
        let what = format!("\"{word}\" is neither event nor end");
        let cure = "write event for each event, end for the usage up to which the unit was watched";
        faults.push(cells.fault("event", what, cure));
    }
    match (unit, time, faults.is_empty()) {
        (Some(unit), Some(time), true) => Ok(Row {
            line: cells.line,
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
            faults.push(CellFault::of_cell(*line, "start", what, cure));
        }
        for (line, _) in self.ends.iter().skip(1) {
            let what = format!("a second end of unit {name}");
            let cure = "keep one end row a unit; two watches of one unit are two units";
            faults.push(CellFault::of_cell(*line, "event", what, cure));
        }
        let end = self.ends.first().copied();
        if let Some((line, end)) = end.filter(|(_, end)| *end <= start) {
            let what = format!("unit {name} ends at {end}, not beyond its start at {start}");
            faults.push(CellFault::of_cell(
                line,
                "time",
                what,
                "an end lies beyond the start",
            ));
        }
        for (line, at) in &self.events {
            if *at <= start {
                let what =
                    format!("unit {name} has an event at {at}, not beyond its start at {start}");
                let cure =
                    "leave out what came before the watch began; usage counts upward from new";
                faults.push(CellFault::of_cell(*line, "time", what, cure));
            }
            if let Some((_, end)) = end.filter(|(_, end)| at > end) {
                let what = format!("unit {name} has an event at {at}, beyond its end at {end}");
                let cure =
                    "an end row says how long the unit was watched: move it, or leave it out";
                faults.push(CellFault::of_cell(*line, "time", what, cure));
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
