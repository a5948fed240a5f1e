//! Lives from a CSV file, for engineers with a spreadsheet and for checks against handbooks.
//!
//! In: a file with the columns `entry, lo, hi, count, group, mode` in any order, of which only
//! `lo` and `hi` must be there. Out: [`FileLife`]s, every number checked.
//! `hi` empty is a suspension at `lo`; `lo` empty a failure before `hi`; both equal an exact
//! failure; else a failure in `(lo, hi]`. Never: skipping a row.

use std::io::Read;
use std::path::Path;

pub use super::cells::{CellFault, FileError as LivesFileError};
use super::cells::{Cells, Layout, open};
use crate::life::{End, Life, LifeError, Sample};

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

const LIVES: Layout<6> = Layout {
    what: "a file of lives",
    code: "lives-file",
    columns: ["entry", "lo", "hi", "count", "group", "mode"],
    needed: &[1, 2],
    needed_cure: "lo and hi are needed: equal for an exact failure, hi empty for a suspension",
    width_cure: "a row needs one cell a heading; leave unknown cells empty",
    number_cure: "write a plain number, or leave the cell empty where it is unknown",
};

/// Reads and checks a whole file; every fault is told, not only the first.
pub fn read(path: &Path) -> Result<Vec<FileLife>, LivesFileError> {
    let (name, file) = open(path)?;
    parse(&name, file)
}

/// As [`read`], from any source; `name` stands in for the file in errors.
pub fn parse(name: &str, source: impl Read) -> Result<Vec<FileLife>, LivesFileError> {
    let mut lives = Vec::new();
    let mut faults = LIVES.rows(name, source, |cells| {
        lives.push(life(cells)?);
        Ok(())
    })?;
    if faults.is_empty() && lives.is_empty() {
        let cure = "one row a life under the headings lo,hi";
        faults.push(CellFault::of_line(1, "no lives in the file", cure));
    }
    if faults.is_empty() {
        Ok(lives)
    } else {
        Err(LIVES.error(name, faults))
    }
}

fn life(cells: &Cells<'_, 6>) -> Result<FileLife, Vec<CellFault>> {
    let mut faults = Vec::new();
    let [entry, lo, hi, count] = [0, 1, 2, 3].map(|which| {
        cells.number(which).unwrap_or_else(|fault| {
            faults.push(fault);
            None
        })
    });
    if !faults.is_empty() {
        return Err(faults);
    }
    let fault = |column: &str, what: String, cure: &str| vec![cells.fault(column, what, cure)];
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
        group: cells.text(4).map(str::to_owned),
        mode: cells.text(5).map(str::to_owned),
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
