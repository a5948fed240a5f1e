//! Moments in time: always UTC in the books, shown in the plant's time zone.

use std::fmt::Write;

use chrono::{
    DateTime, Datelike, LocalResult, NaiveDate, NaiveDateTime, SubsecRound, TimeZone, Timelike, Utc,
};
use chrono_tz::Tz;
use thiserror::Error;

/// Why a text is not a moment in time.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TimeError {
    /// Not of the form `2026-03-01T14:30:00Z`.
    #[error("not a UTC time of the form 2026-03-01T14:30:00Z")]
    NotUtc,
    /// Neither a plant time nor a time with an offset.
    #[error("not a time: write 2026-03-01 14:30 (plant time) or 2026-03-01T14:30:00Z")]
    NotATime,
    /// The clocks went forward over it.
    #[error("{local} did not exist in {zone}: the clocks went forward over it")]
    Skipped { local: NaiveDateTime, zone: Tz },
    /// The clocks went back over it, so it happened twice.
    #[error("{local} happened twice in {zone}: {first} and {second}")]
    Twice {
        local: NaiveDateTime,
        zone: Tz,
        first: String,
        second: String,
    },
}

/// Reads a book time: `YYYY-MM-DDTHH:MM:SSZ`, exactly that form.
pub fn parse_utc(text: &str) -> Result<DateTime<Utc>, TimeError> {
    let b = text.as_bytes();
    if b.len() != 20 || b[19] != b'Z' {
        return Err(TimeError::NotUtc);
    }
    let shape = b"0000-00-00T00:00:00Z";
    for (found, expected) in b.iter().zip(shape) {
        let fits = match expected {
            b'0' => found.is_ascii_digit(),
            other => found == other,
        };
        if !fits {
            return Err(TimeError::NotUtc);
        }
    }
    let number = |from: usize, to: usize| {
        b[from..to]
            .iter()
            .fold(0u32, |n, digit| n * 10 + u32::from(digit - b'0'))
    };
    // At most 9999, so the year fits.
    let year = number(0, 4) as i32;
    NaiveDate::from_ymd_opt(year, number(5, 7), number(8, 10))
        .and_then(|day| day.and_hms_opt(number(11, 13), number(14, 16), number(17, 19)))
        .map(|naive| naive.and_utc())
        .ok_or(TimeError::NotUtc)
}

/// Writes a moment as the books do: `YYYY-MM-DDTHH:MM:SSZ`.
pub fn format_utc(time: DateTime<Utc>) -> String {
    let mut text = String::with_capacity(20);
    // By hand, as a book has many; writing to a String cannot fail.
    let (year, month, day) = (time.year(), time.month(), time.day());
    let (hour, minute, second) = (time.hour(), time.minute(), time.second());
    let _ = write!(
        text,
        "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z"
    );
    text
}

/// Reads what a person typed: a plant time (`2026-03-01 14:30`, seconds optional,
/// `T` for the blank allowed), or a time that carries its own offset
/// (`2026-03-01T14:30:00Z`, `…+02:00`).
///
/// Errors: a plant time that the clock change skipped or repeated is refused,
/// never guessed. Fractions of a second are dropped.
pub fn parse_given(text: &str, zone: Tz) -> Result<DateTime<Utc>, TimeError> {
    let text = text.trim();
    if let Ok(time) = DateTime::parse_from_rfc3339(text) {
        return Ok(time.with_timezone(&Utc).trunc_subsecs(0));
    }
    let local = [
        "%Y-%m-%d %H:%M",
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M",
        "%Y-%m-%dT%H:%M:%S",
    ]
    .iter()
    .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
    .ok_or(TimeError::NotATime)?;
    from_local(local, zone)
}

/// The moment of a plant time.
///
/// Errors: the clock change skipped or repeated it.
pub fn from_local(local: NaiveDateTime, zone: Tz) -> Result<DateTime<Utc>, TimeError> {
    match zone.from_local_datetime(&local) {
        LocalResult::Single(time) => Ok(time.with_timezone(&Utc)),
        LocalResult::None => Err(TimeError::Skipped { local, zone }),
        LocalResult::Ambiguous(first, second) => Err(TimeError::Twice {
            local,
            zone,
            first: first.to_rfc3339(),
            second: second.to_rfc3339(),
        }),
    }
}

/// Shows a moment as the plant's clock would: `2026-03-01 14:30`.
pub fn show(time: DateTime<Utc>, zone: Tz) -> String {
    time.with_timezone(&zone)
        .format("%Y-%m-%d %H:%M")
        .to_string()
}

/// The plant's calendar day of a moment.
pub fn day(time: DateTime<Utc>, zone: Tz) -> NaiveDate {
    time.with_timezone(&zone).date_naive()
}

/// The last second of a plant's calendar day, in UTC.
pub fn end_of_day(day: NaiveDate, zone: Tz) -> DateTime<Utc> {
    let next = day.succ_opt().unwrap_or(day);
    start_of_day(next, zone) - chrono::TimeDelta::seconds(1)
}

/// The first moment of a plant's calendar day, in UTC. Where the clocks skip
/// midnight the day begins at the first minute that exists.
pub fn start_of_day(day: NaiveDate, zone: Tz) -> DateTime<Utc> {
    let mut local = day.and_time(chrono::NaiveTime::MIN);
    // A clock change skips a few hours at most; one skipped a whole day (the date
    // line moved), hence the bound of 25 hours in steps of 15 minutes.
    for _ in 0..100 {
        match zone.from_local_datetime(&local) {
            LocalResult::Single(time) => return time.with_timezone(&Utc),
            LocalResult::Ambiguous(first, _) => return first.with_timezone(&Utc),
            LocalResult::None => local += chrono::TimeDelta::minutes(15),
        }
    }
    day.and_time(chrono::NaiveTime::MIN).and_utc()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LONDON: Tz = Tz::Europe__London;

    #[test]
    fn book_times_have_one_form() {
        let text = "2026-03-01T14:30:05Z";
        assert_eq!(format_utc(parse_utc(text).expect("utc")), text);
        for bad in [
            "2026-03-01T14:30:05+00:00",
            "2026-03-01T14:30:05.0Z",
            "2026-03-01 14:30:05Z",
            "2026-02-30T00:00:00Z",
            "2026-03-01T24:00:00Z",
            "2026-03-01T14:30:60Z",
            "2026-03-01T14:30:0éZ",
        ] {
            assert_eq!(parse_utc(bad), Err(TimeError::NotUtc), "{bad}");
        }
    }

    #[test]
    fn plant_time_becomes_utc() {
        let summer = parse_given("2026-07-01 14:30", LONDON).expect("summer");
        assert_eq!(format_utc(summer), "2026-07-01T13:30:00Z");
        let offset = parse_given("2026-07-01T14:30:00+02:00", LONDON).expect("offset");
        assert_eq!(format_utc(offset), "2026-07-01T12:30:00Z");
        assert_eq!(show(summer, LONDON), "2026-07-01 14:30");
    }

    #[test]
    fn a_clock_change_is_never_guessed() {
        assert!(matches!(
            parse_given("2026-03-29 01:30", LONDON),
            Err(TimeError::Skipped { .. })
        ));
        let twice = parse_given("2026-10-25 01:30", LONDON).expect_err("twice");
        assert_eq!(
            twice.to_string(),
            "2026-10-25 01:30:00 happened twice in Europe/London: \
             2026-10-25T01:30:00+01:00 and 2026-10-25T01:30:00+00:00"
        );
    }

    #[test]
    fn days_follow_the_plants_clock() {
        let day = NaiveDate::from_ymd_opt(2026, 7, 1).expect("date");
        assert_eq!(
            format_utc(start_of_day(day, LONDON)),
            "2026-06-30T23:00:00Z"
        );
        assert_eq!(format_utc(end_of_day(day, LONDON)), "2026-07-01T22:59:59Z");
        // Beirut's clocks skipped midnight on this day.
        let skipped = NaiveDate::from_ymd_opt(2022, 3, 27).expect("date");
        assert_eq!(
            format_utc(start_of_day(skipped, Tz::Asia__Beirut)),
            "2022-03-26T22:00:00Z"
        );
    }
}
