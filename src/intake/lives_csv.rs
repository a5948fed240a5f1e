//! Lives from a CSV file, for engineers with a spreadsheet and for checks against handbooks.
//!
//! In: a file with the columns `entry, lo, hi, count, group, mode` in any order, of which only
//! `lo` and `hi` must be there. Out: [`FileLife`]s, every number checked.
//! `hi` empty is a suspension at `lo`; `lo` empty a failure before `hi`; both equal an exact
//! failure; else a failure in `(lo, hi]`. Never: skipping a row.

use std::io::Read;
use std::path::Path;

use thiserror::Error;

use crate::life::{End, Life, LifeError, Sample};
use crate::quantity::nearest;
use crate::quantity::trouble::{Place, Trouble};

/// One row of the file.
#[derive(Debug, Clone, PartialEq)]
pub struct FileLife {
    pub life: Life,
    pub group: Option<String>,
    pub mode: Option<String>,
    /// Last usage at which it was known to be sound: where another mode is fitted, the life
    /// is a suspension there.
    pub known_sound: f64,
}

impl FileLife {
    /// The life for a fit of `mode` (`None`: any failure counts). `None` where a failure of
    /// another mode leaves nothing watched.
    pub fn of_mode(&self, mode: Option<&str>) -> Option<Life> {
        let other = mode.is_some_and(|m| self.mode.as_deref() != Some(m));
        if !other || !self.life.failed() {
            return Some(self.life);
        }
        (self.known_sound > self.life.entry).then_some(Life {
            end: End::Suspension {
                at: self.known_sound,
            },
            ..self.life
        })
    }
}

const COLUMNS: [&str; 6] = ["entry", "lo", "hi", "count", "group", "mode"];

/// What is wrong with a file of lives.
#[derive(Debug, Error)]
pub enum LivesFileError {
    #[error("{file}: {error}")]
    Io { file: String, error: std::io::Error },
    #[error("{file}: {} fault(s)", faults.len())]
    Faults {
        file: String,
        faults: Vec<CellFault>,
    },
}

/// One fault in a file of lives.
#[derive(Debug, Clone, PartialEq)]
pub struct CellFault {
    /// Line of the file, counted from 1.
    pub line: u64,
    pub column: Option<String>,
    pub what: String,
    pub cure: String,
}

impl LivesFileError {
    pub fn is_io(&self) -> bool {
        matches!(self, LivesFileError::Io { .. })
    }

    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            LivesFileError::Io { file, error } => {
                vec![Trouble::error("io", format!("could not read: {error}")).in_file(file)]
            }
            LivesFileError::Faults { file, faults } => faults
                .iter()
                .map(|fault| {
                    let what = match &fault.column {
                        Some(column) => format!("column {column}: {}", fault.what),
                        None => fault.what.clone(),
                    };
                    Trouble::error("lives-file", what)
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
pub fn read(path: &Path) -> Result<Vec<FileLife>, LivesFileError> {
    let name = path.display().to_string();
    let file = std::fs::File::open(path).map_err(|error| LivesFileError::Io {
        file: name.clone(),
        error,
    })?;
    parse(&name, file)
}

/// As [`read`], from any source; `name` stands in for the file in errors.
pub fn parse(name: &str, source: impl Read) -> Result<Vec<FileLife>, LivesFileError> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(source);
    let mut faults = Vec::new();
    let headings = match reader.headers() {
        Ok(headings) => headings.clone(),
        Err(error) => return Err(csv_error(name, error)),
    };
    let width = headings.len();
    let places = place_columns(&headings, &mut faults);
    let mut lives = Vec::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => return Err(csv_error(name, error)),
        };
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() != width {
            faults.push(CellFault {
                line,
                column: None,
                what: format!("{} cells under {width} headings", record.len()),
                cure: "a row needs one cell a heading; leave unknown cells empty".into(),
            });
            continue;
        }
        if record.iter().all(str::is_empty) {
            continue;
        }
        if places[1].is_some() && places[2].is_some() {
            match row(&record, &places, line) {
                Ok(life) => lives.push(life),
                Err(mut found) => faults.append(&mut found),
            }
        }
    }
    if faults.is_empty() && lives.is_empty() {
        faults.push(CellFault {
            line: 1,
            column: None,
            what: "no lives in the file".into(),
            cure: "one row a life under the headings lo,hi".into(),
        });
    }
    if faults.is_empty() {
        Ok(lives)
    } else {
        Err(LivesFileError::Faults {
            file: name.into(),
            faults,
        })
    }
}

fn csv_error(name: &str, error: csv::Error) -> LivesFileError {
    let line = error.position().map_or(1, csv::Position::line);
    let what = error.to_string();
    match error.into_kind() {
        csv::ErrorKind::Io(error) => LivesFileError::Io {
            file: name.into(),
            error,
        },
        _ => LivesFileError::Faults {
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

fn place_columns(headings: &csv::StringRecord, faults: &mut Vec<CellFault>) -> [Option<usize>; 6] {
    let mut places = [None; 6];
    let mut fault = |column: &str, what: String, cure: String| {
        faults.push(CellFault {
            line: 1,
            column: Some(column.into()),
            what,
            cure,
        });
    };
    for (n, heading) in headings.iter().enumerate() {
        // A byte-order mark sticks to the first heading.
        let heading = heading.trim_start_matches('\u{feff}');
        match COLUMNS.iter().position(|c| *c == heading) {
            Some(which) if places[which].is_some() => fault(
                heading,
                "stands twice among the headings".into(),
                "keep one of them".into(),
            ),
            Some(which) => places[which] = Some(n),
            None => {
                let cure = match nearest(heading, COLUMNS) {
                    Some(near) => format!("did you mean {near}?"),
                    None => format!("known columns: {}", COLUMNS.join(", ")),
                };
                fault(heading, "is not a column of a file of lives".into(), cure);
            }
        }
    }
    for which in [1, 2] {
        if places[which].is_none() {
            fault(
                COLUMNS[which],
                "is missing".into(),
                "lo and hi are needed: equal for an exact failure, hi empty for a suspension"
                    .into(),
            );
        }
    }
    places
}

fn row(
    record: &csv::StringRecord,
    places: &[Option<usize>; 6],
    line: u64,
) -> Result<FileLife, Vec<CellFault>> {
    let cell = |which: usize| {
        places[which]
            .and_then(|n| record.get(n))
            .filter(|text| !text.is_empty())
    };
    let mut faults = Vec::new();
    let mut number = |which: usize| -> Option<f64> {
        let text = cell(which)?;
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Some(value),
            _ => {
                let comma = text.contains(',') && !text.contains('.');
                faults.push(CellFault {
                    line,
                    column: Some(COLUMNS[which].into()),
                    what: format!("\"{text}\" is not a number"),
                    cure: if comma {
                        "use a point for decimals and no separator for thousands".into()
                    } else {
                        "write a plain number, or leave the cell empty where it is unknown".into()
                    },
                });
                None
            }
        }
    };
    let (entry, lo, hi, count) = (number(0), number(1), number(2), number(3));
    if !faults.is_empty() {
        return Err(faults);
    }
    let fault = |column: &str, what: String, cure: &str| {
        vec![CellFault {
            line,
            column: Some(column.into()),
            what,
            cure: cure.into(),
        }]
    };
    let end = match (lo, hi) {
        (Some(lo), Some(hi)) if lo == hi => End::Failure { at: lo },
        (Some(lo), Some(hi)) if lo > hi => {
            let what = format!("{lo} lies beyond hi, {hi}");
            return Err(fault(
                "lo",
                what,
                "swap the two, or empty hi for a suspension",
            ));
        }
        (Some(lo), Some(hi)) => End::Interval { lo, hi },
        (Some(lo), None) => End::Suspension { at: lo },
        (None, Some(hi)) => End::Left { hi },
        (None, None) => {
            let cure = "a life needs lo, hi or both";
            return Err(fault("lo", "and hi are both empty".into(), cure));
        }
    };
    let count = match count {
        None => 1,
        Some(count) if count >= 1.0 && count.fract() == 0.0 && count <= f64::from(u32::MAX) => {
            count as u32
        }
        Some(count) => {
            let what = format!("{count} is not a whole number of lives");
            return Err(fault(
                "count",
                what,
                "write 1 or more, or leave it empty for 1",
            ));
        }
    };
    let life = Life {
        entry: entry.unwrap_or(0.0),
        end,
        count,
    };
    let checked = Sample::new(vec![life]).map_err(|error| {
        let (column, what) = match error {
            LifeError::Negative { what, value, .. } => {
                ("lo", format!("{what} is {value}, below 0"))
            }
            LifeError::EndsBeforeEntry { entry, end, .. } => (
                "entry",
                format!("the life ends at {end}, not beyond its entry age {entry}"),
            ),
            other => ("lo", other.to_string()),
        };
        fault(
            column,
            what,
            "usages count from new and a life has a length above 0",
        )
    })?;
    // The sample holds the one life just put in.
    let life = checked.lives().first().copied().unwrap_or(life);
    let known_sound = match life.end {
        End::Failure { at } | End::Suspension { at } => at,
        End::Interval { lo, .. } => lo,
        End::Left { .. } => life.entry,
    };
    Ok(FileLife {
        life,
        group: cell(4).map(str::to_owned),
        mode: cell(5).map(str::to_owned),
        known_sound,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str) -> Vec<(u64, String)> {
        match parse("lives.csv", text.as_bytes()) {
            Err(LivesFileError::Faults { faults, .. }) => faults
                .into_iter()
                .map(|f| (f.line, f.column.unwrap_or_default()))
                .collect(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn every_kind_of_life_is_read_in_any_order_of_columns() {
        let lives = parse(
            "lives.csv",
            "hi,lo,group,entry,count\n5,5,A,,\n,7,A,2,3\n9,6,B,,\n4,,B,1,\n".as_bytes(),
        )
        .unwrap();
        let ends: Vec<End> = lives.iter().map(|l| l.life.end).collect();
        assert_eq!(
            ends,
            [
                End::Failure { at: 5.0 },
                End::Suspension { at: 7.0 },
                End::Interval { lo: 6.0, hi: 9.0 },
                End::Left { hi: 4.0 },
            ]
        );
        assert_eq!((lives[1].life.entry, lives[1].life.count), (2.0, 3));
        assert_eq!(lives[3].group.as_deref(), Some("B"));
    }

    #[test]
    fn every_fault_is_told_with_line_and_column() {
        assert_eq!(
            faults("lo,hi,count\n5,x,1\n9,5,1\n5,5,0\n,,\n1,2,3,4\n-1,,1\n,,1\n"),
            [
                (2, "hi".into()),
                (3, "lo".into()),
                (4, "count".into()),
                (6, String::new()),
                (7, "lo".into()),
                (8, "lo".into()),
            ]
        );
        assert_eq!(
            faults("lo,high\n1,1\n"),
            [(1, "high".into()), (1, "hi".into())]
        );
        assert_eq!(faults("lo,hi\n"), [(1, String::new())]);
    }

    #[test]
    fn another_mode_is_a_suspension_where_the_item_was_last_known_sound() {
        let lives = parse(
            "l.csv",
            "lo,hi,mode\n5,5,leak\n6,9,crack\n,4,leak\n".as_bytes(),
        )
        .unwrap();
        let of = |n: usize| lives[n].of_mode(Some("crack"));
        assert_eq!(of(0).unwrap().end, End::Suspension { at: 5.0 });
        assert_eq!(of(1).unwrap().end, End::Interval { lo: 6.0, hi: 9.0 });
        assert_eq!(of(2), None);
    }
}
