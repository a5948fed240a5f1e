//! A cell as its file holds it: a text, or what a workbook knows it to be.
//!
//! In: text of a CSV, values of a workbook. Out: [`Cell`]. Never: what a cell means.

use std::borrow::Cow;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};

/// One cell.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Cell {
    #[default]
    Empty,
    /// Without blanks at its ends, never empty.
    Text(String),
    Number(f64),
    Flag(bool),
    /// A day without a time of day (in a workbook: or its midnight, which looks the same).
    Day(NaiveDate),
    Moment(NaiveDateTime),
    /// A time of day or a duration, in hours.
    Hours(f64),
    /// What a formula left that could not be worked out, such as `#N/A`.
    Error(String),
}

/// One row of a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// Counted from 1 as a spreadsheet counts, headings and blank rows included.
    pub number: u64,
    pub cells: Vec<Cell>,
}

impl Row {
    /// The cell in a column (from 0); empty where the row is shorter.
    pub fn cell(&self, column: usize) -> &Cell {
        self.cells.get(column).unwrap_or(&Cell::Empty)
    }

    /// Whether nothing is in it.
    pub fn is_empty(&self) -> bool {
        self.cells.iter().all(Cell::is_empty)
    }
}

impl Cell {
    /// A cell of text; blanks at its ends (also those that do not break) are dropped.
    pub fn of_text(text: &str) -> Cell {
        let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}');
        if text.is_empty() {
            Cell::Empty
        } else {
            Cell::Text(text.to_owned())
        }
    }

    pub fn is_empty(&self) -> bool {
        matches!(self, Cell::Empty)
    }

    /// The cell as text; numbers with this decimal mark, times as ISO 8601 writes them
    /// with a blank for the `T`.
    pub fn text(&self, decimal: char) -> Cow<'_, str> {
        Cow::Owned(match self {
            Cell::Empty => return Cow::Borrowed(""),
            Cell::Text(text) | Cell::Error(text) => return Cow::Borrowed(text),
            Cell::Number(value) => plain(*value).replace('.', decimal.encode_utf8(&mut [0; 4])),
            Cell::Flag(flag) => flag.to_string(),
            Cell::Day(day) => day.format("%Y-%m-%d").to_string(),
            Cell::Moment(moment) if moment.second() == 0 => {
                moment.format("%Y-%m-%d %H:%M").to_string()
            }
            Cell::Moment(moment) => moment.format("%Y-%m-%d %H:%M:%S").to_string(),
            Cell::Hours(hours) => clock(*hours),
        })
    }

    /// A moment of a workbook: midnight stands for the day.
    pub fn of_moment(moment: NaiveDateTime) -> Cell {
        // Serial times are shares of a day: half a second of rounding is theirs.
        let moment = moment + TimeDelta::milliseconds(500);
        let moment = moment.with_nanosecond(0).unwrap_or(moment);
        if moment.time() == NaiveTime::MIN {
            Cell::Day(moment.date())
        } else {
            Cell::Moment(moment)
        }
    }
}

/// A number to the 15 digits a spreadsheet shows: what lies beyond them is left over from
/// its arithmetic.
pub(super) fn plain(value: f64) -> String {
    let rounded: f64 = format!("{value:.14e}").parse().unwrap_or(value);
    format!("{rounded}")
}

/// Hours as `h:mm`, with seconds where there are any.
fn clock(hours: f64) -> String {
    let seconds = (hours * 3600.0).round();
    let sign = if seconds < 0.0 { "-" } else { "" };
    // A number of seconds that a workbook can hold fits easily.
    let seconds = seconds.abs() as u64;
    let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if s == 0 {
        format!("{sign}{h}:{m:02}")
    } else {
        format!("{sign}{h}:{m:02}:{s:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_read_as_their_spreadsheet_shows_them() {
        let text = |cell: &Cell, decimal| cell.text(decimal).into_owned();
        assert_eq!(text(&Cell::Number(0.1 + 0.2), ','), "0,3");
        assert_eq!(text(&Cell::Number(12_480.0), ','), "12480");
        assert_eq!(text(&Cell::Number(-1e-7), '.'), "-0.0000001");
        assert_eq!(text(&Cell::Hours(1.5), '.'), "1:30");
        assert_eq!(text(&Cell::Hours(26.0 + 1.0 / 3600.0), '.'), "26:00:01");
        assert_eq!(Cell::of_text("\u{a0} \t"), Cell::Empty);
        assert_eq!(Cell::of_text(" H-01\u{a0}"), Cell::Text("H-01".into()));
    }

    #[test]
    fn midnight_is_a_day_and_serial_rounding_is_dropped() {
        let day = NaiveDate::from_ymd_opt(2025, 3, 30).expect("day");
        let almost = day.and_hms_milli_opt(13, 29, 59, 999).expect("time");
        assert_eq!(Cell::of_moment(almost).text('.'), "2025-03-30 13:30");
        let midnight = day.and_hms_opt(0, 0, 0).expect("time");
        assert_eq!(Cell::of_moment(midnight), Cell::Day(day));
    }
}
