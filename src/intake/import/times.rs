//! From the cells of a row to a moment in time.
//!
//! In: a cell with a day (and its time, or another cell with that), the patterns and the
//! time zone of the file. Out: a moment. Never: a guess where the clocks were changed.

use std::sync::LazyLock;

use chrono::{DateTime, NaiveDateTime, NaiveTime, SubsecRound, TimeDelta, Utc};
use chrono_tz::Tz;

use super::cell::Cell;
use super::dates::{Pattern, Reading, clock};
use super::map::TimeForm;
use crate::quantity::time::{TimeError, from_local};

/// The forms of ISO 8601, which are read beside those a map states.
static ISO: LazyLock<Vec<Pattern>> = LazyLock::new(|| {
    let texts = [
        "YYYY-MM-DD hh:mm:ss",
        "YYYY-MM-DD hh:mm",
        "YYYY-MM-DDThh:mm:ss",
        "YYYY-MM-DDThh:mm",
        "YYYY-MM-DD",
    ];
    let patterns = texts
        .into_iter()
        .filter_map(|text| Pattern::parse(text).ok());
    patterns.collect()
});

/// Why cells give no moment.
#[derive(Debug, Clone, PartialEq)]
pub enum NoMoment {
    /// The text has none of the forms.
    Form,
    /// The text has one, but there is no such day or time.
    NoSuch,
    /// The cell for the time of day holds none.
    Clock,
    /// No text and no day: a number, say, or the error of a formula.
    NotADay,
    /// The clocks were changed.
    Change(TimeError),
}

/// Reads a day and, if there, its time, by the first pattern that fits.
fn day_and_time(text: &str, patterns: &[Pattern]) -> Reading {
    let iso = !patterns.iter().any(Pattern::belies_iso);
    let iso = ISO.iter().filter(|_| iso);
    let mut reading = Reading::Other;
    for pattern in patterns.iter().chain(iso) {
        match pattern.read(text) {
            Reading::Other => {}
            Reading::NoSuch => reading = Reading::NoSuch,
            found => return found,
        }
    }
    reading
}

/// A time with its own offset, as RFC 3339 writes it: it is one moment in any zone.
fn with_offset(text: &str) -> Option<DateTime<Utc>> {
    let time = DateTime::parse_from_rfc3339(text).ok()?;
    Some(time.with_timezone(&Utc).trunc_subsecs(0))
}

/// Whether a text stated in a map is a day or a time.
pub(super) fn read_constant(text: &str, patterns: &[Pattern]) -> Option<()> {
    let read = || matches!(day_and_time(text, patterns), Reading::At(_));
    (with_offset(text).is_some() || read()).then_some(())
}

/// The moment of a cell; where another holds the time of day, at that.
pub fn moment(
    day: &Cell,
    time: &Cell,
    form: &TimeForm,
    zone: Tz,
) -> Result<DateTime<Utc>, NoMoment> {
    let of_day = time_of_day(time)?;
    let (date, own) = match day {
        Cell::Day(day) => (*day, None),
        Cell::Moment(moment) => (moment.date(), Some(moment.time())),
        Cell::Text(text) => {
            if let (Some(time), None) = (with_offset(text), of_day) {
                return Ok(time);
            }
            match day_and_time(text, &form.patterns) {
                Reading::At(read) => read,
                Reading::NoSuch => return Err(NoMoment::NoSuch),
                Reading::Other => return Err(NoMoment::Form),
            }
        }
        _ => return Err(NoMoment::NotADay),
    };
    let time = of_day.or(own).unwrap_or(form.time_of_day);
    from_local(NaiveDateTime::new(date, time), zone).map_err(NoMoment::Change)
}

fn time_of_day(cell: &Cell) -> Result<Option<NaiveTime>, NoMoment> {
    match cell {
        Cell::Empty => Ok(None),
        Cell::Text(text) => clock(text).map(Some).ok_or(NoMoment::Clock),
        Cell::Moment(moment) => Ok(Some(moment.time())),
        Cell::Hours(hours) if (0.0..24.0).contains(hours) => {
            let seconds = (hours * 3600.0).round() as i64;
            let (time, _) = NaiveTime::MIN.overflowing_add_signed(TimeDelta::seconds(seconds));
            Ok(Some(time))
        }
        _ => Err(NoMoment::Clock),
    }
}

/// A workbook's day or moment as text that a map reads back as the same.
pub fn written(cell: &Cell, patterns: &[Pattern]) -> Option<String> {
    let (day, time) = match cell {
        Cell::Day(day) => (*day, None),
        Cell::Moment(moment) => (moment.date(), Some(moment.time())),
        _ => return None,
    };
    let same = |text: &str| day_and_time(text, patterns) == Reading::At((day, time));
    patterns
        .iter()
        .chain(ISO.iter())
        .map(|pattern| pattern.write(day, time.unwrap_or_default()))
        .find(|text| same(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::time::format_utc;

    const ZONE: Tz = Tz::Europe__Dublin;

    fn form(patterns: &[&str]) -> TimeForm {
        TimeForm {
            zone: None,
            patterns: patterns
                .iter()
                .map(|p| Pattern::parse(p).expect("pattern"))
                .collect(),
            time_of_day: NaiveTime::from_hms_opt(6, 0, 0).expect("time"),
        }
    }

    fn at(day: &str, time: &str) -> Result<String, NoMoment> {
        let form = form(&["DD.MM.YYYY hh:mm", "DD.MM.YYYY"]);
        moment(&Cell::of_text(day), &Cell::of_text(time), &form, ZONE).map(format_utc)
    }

    #[test]
    fn days_take_their_time_from_where_it_is_written() {
        assert_eq!(
            at("01.07.2025 14:30", "").as_deref(),
            Ok("2025-07-01T13:30:00Z")
        );
        assert_eq!(
            at("01.07.2025", "14:30").as_deref(),
            Ok("2025-07-01T13:30:00Z")
        );
        assert_eq!(at("01.07.2025", "").as_deref(), Ok("2025-07-01T05:00:00Z"));
        assert_eq!(
            at("2025-01-01", "2:30 pm").as_deref(),
            Ok("2025-01-01T14:30:00Z")
        );
        assert_eq!(
            at("2025-07-01T14:30:00+02:00", "").as_deref(),
            Ok("2025-07-01T12:30:00Z")
        );
        let typed = moment(
            &Cell::Day(chrono::NaiveDate::from_ymd_opt(2025, 1, 1).expect("day")),
            &Cell::Hours(14.5),
            &form(&[]),
            ZONE,
        );
        assert_eq!(typed.map(format_utc).as_deref(), Ok("2025-01-01T14:30:00Z"));
    }

    #[test]
    fn clock_changes_and_other_forms_are_told() {
        assert!(matches!(
            at("30.03.2025 01:30", ""),
            Err(NoMoment::Change(TimeError::Skipped { .. }))
        ));
        assert!(matches!(
            at("26.10.2025", "01:30"),
            Err(NoMoment::Change(TimeError::Twice { .. }))
        ));
        assert_eq!(at("07/01/2025", ""), Err(NoMoment::Form));
        assert_eq!(at("01.07.2025", "noon"), Err(NoMoment::Clock));
        let number = moment(&Cell::Number(45_000.0), &Cell::Empty, &form(&[]), ZONE);
        assert_eq!(number, Err(NoMoment::NotADay));
    }

    #[test]
    fn iso_days_are_not_read_beside_a_pattern_that_belies_them() {
        let odd = form(&["YYYY-DD-MM"]);
        let read = moment(&Cell::of_text("2025-04-03"), &Cell::Empty, &odd, ZONE);
        assert_eq!(read.map(format_utc).as_deref(), Ok("2025-03-04T06:00:00Z"));
        let beyond = moment(&Cell::of_text("2025-03-30"), &Cell::Empty, &odd, ZONE);
        assert_eq!(beyond, Err(NoMoment::NoSuch));
    }

    #[test]
    fn what_is_written_is_read_back() {
        let moment = Cell::of_moment(
            NaiveDateTime::parse_from_str("2025-07-01 14:30:15", "%Y-%m-%d %H:%M:%S")
                .expect("moment"),
        );
        let patterns = form(&["DD.MM.YYYY hh:mm"]).patterns;
        // The stated pattern has no seconds, so it would not be the same.
        assert_eq!(
            written(&moment, &patterns).as_deref(),
            Some("2025-07-01 14:30:15")
        );
        let day = Cell::of_moment(
            NaiveDateTime::parse_from_str("2025-07-01 00:00", "%Y-%m-%d %H:%M").expect("day"),
        );
        assert_eq!(written(&day, &patterns).as_deref(), Some("2025-07-01"));
    }
}
