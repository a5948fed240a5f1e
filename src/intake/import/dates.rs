//! Days and times as files write them, by patterns such as `DD.MM.YYYY hh:mm`.
//!
//! In: a pattern, a text. Out: a day and, where written, a time of day.
//! Never: a guess which of two numbers is the month.
//!
//! The letters are those of ISO 8601: `YYYY` year (`YY` its last two digits), `MM` month,
//! `DD` day, `hh` hour, `mm` minute, `ss` second; and `MON` for a month's English name,
//! `AM` for am or pm. Anything else stands for itself, letters in single quotes.

use std::fmt::Write;

use chrono::{Datelike, NaiveDate, NaiveTime, Timelike};

/// A pattern, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    text: String,
    parts: Vec<Part>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    Year,
    ShortYear,
    Month,
    MonthName,
    Day,
    Hour,
    Minute,
    Second,
    HalfDay,
    Literal(char),
}

const LETTERS: [(&str, Part); 9] = [
    ("YYYY", Part::Year),
    ("YY", Part::ShortYear),
    ("MON", Part::MonthName),
    ("MM", Part::Month),
    ("DD", Part::Day),
    ("hh", Part::Hour),
    ("mm", Part::Minute),
    ("ss", Part::Second),
    ("AM", Part::HalfDay),
];

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

/// A day, and a time of day where one was written.
pub type DayAndTime = (NaiveDate, Option<NaiveTime>);

/// What a pattern reads in a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    At(DayAndTime),
    /// Of its form, but there is no such day or time: `31.02.2025`.
    NoSuch,
    /// Of another form.
    Other,
}

impl Pattern {
    /// Reads a pattern.
    ///
    /// Errors: the reason.
    pub fn parse(text: &str) -> Result<Pattern, String> {
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some(first) = rest.chars().next() {
            if let Some((letters, part)) = LETTERS.iter().find(|(l, _)| rest.starts_with(l)) {
                if parts.contains(part) {
                    return Err(format!("`{letters}` stands twice"));
                }
                parts.push(part.clone());
                rest = &rest[letters.len()..];
            } else if let Some(quoted) = rest.strip_prefix('\'') {
                let Some((inner, after)) = quoted.split_once('\'') else {
                    return Err("a single quote is not closed".to_owned());
                };
                parts.extend(inner.chars().map(Part::Literal));
                rest = after;
            } else if first.is_alphabetic() && first != 'T' {
                return Err(format!("`{first}` is none of its letters"));
            } else {
                parts.push(Part::Literal(first));
                rest = &rest[first.len_utf8()..];
            }
        }
        let has = |part: &Part| parts.contains(part);
        let year = has(&Part::Year) != has(&Part::ShortYear);
        let month = has(&Part::Month) != has(&Part::MonthName);
        if !year || !month || !has(&Part::Day) {
            return Err("it needs one year, one month and one day".to_owned());
        }
        let clock = has(&Part::Hour) == has(&Part::Minute);
        let fits = has(&Part::Hour) || !(has(&Part::Second) || has(&Part::HalfDay));
        if !clock || !fits {
            return Err("a time of day needs `hh` and `mm`".to_owned());
        }
        Ok(Pattern {
            text: text.to_owned(),
            parts,
        })
    }

    /// The pattern as it was written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether it would read the days of ISO 8601 with day and month exchanged.
    pub fn belies_iso(&self) -> bool {
        let place = |part| self.parts.iter().position(|other| *other == part);
        let (year, month, day) = (place(Part::Year), place(Part::Month), place(Part::Day));
        year < day && day < month
    }

    pub fn has_time(&self) -> bool {
        self.parts.contains(&Part::Hour)
    }

    /// Reads a text.
    pub fn read(&self, text: &str) -> Reading {
        match self.parts(text) {
            None => Reading::Other,
            Some(None) => Reading::NoSuch,
            Some(Some(read)) => Reading::At(read),
        }
    }

    /// `None` for another form; `Some(None)` where there is no such day or time.
    fn parts(&self, text: &str) -> Option<Option<DayAndTime>> {
        let mut rest = text.trim();
        let (mut year, mut month, mut day) = (0, 0, 0);
        let (mut hour, mut minute, mut second, mut afternoon) = (None, 0, 0, None);
        for (n, part) in self.parts.iter().enumerate() {
            // Digits that follow on each other's heels have their full number.
            let least = match self.parts.get(n + 1) {
                None | Some(Part::Literal(_) | Part::MonthName | Part::HalfDay) => 1,
                Some(_) => 2,
            };
            match part {
                Part::Year => year = digits(&mut rest, 4, 4)? as i32,
                // Which century two digits mean follows POSIX (strptime).
                Part::ShortYear => {
                    let short = digits(&mut rest, 2, 2)? as i32;
                    year = if short < 69 {
                        2000 + short
                    } else {
                        1900 + short
                    };
                }
                Part::Month => month = digits(&mut rest, least, 2)?,
                Part::MonthName => month = month_name(&mut rest)?,
                Part::Day => day = digits(&mut rest, least, 2)?,
                Part::Hour => hour = Some(digits(&mut rest, least, 2)?),
                Part::Minute => minute = digits(&mut rest, 2, 2)?,
                Part::Second => second = seconds(&mut rest)?,
                Part::HalfDay => afternoon = Some(half_day(&mut rest)?),
                Part::Literal(c) if c.is_whitespace() => {
                    let trimmed = rest.trim_start();
                    if trimmed.len() == rest.len() {
                        return None;
                    }
                    rest = trimmed;
                }
                Part::Literal(c) => rest = rest.strip_prefix(*c)?,
            }
        }
        if !rest.is_empty() {
            return None;
        }
        let day = NaiveDate::from_ymd_opt(year, month, day);
        Some(match hour {
            None => day.map(|day| (day, None)),
            Some(hour) => {
                let time = time_of(hour, minute, second, afternoon);
                day.zip(time).map(|(day, time)| (day, Some(time)))
            }
        })
    }

    /// Writes a day and time in this form; without a time where it has none.
    pub fn write(&self, day: NaiveDate, time: NaiveTime) -> String {
        let mut text = String::new();
        let twelve = self.parts.contains(&Part::HalfDay);
        for part in &self.parts {
            // Writing to a String cannot fail.
            let _ = match part {
                Part::Year => write!(text, "{:04}", day.year()),
                Part::ShortYear => write!(text, "{:02}", day.year().rem_euclid(100)),
                Part::Month => write!(text, "{:02}", day.month()),
                Part::MonthName => write!(text, "{}", day.format("%b")),
                Part::Day => write!(text, "{:02}", day.day()),
                Part::Hour if twelve => write!(text, "{:02}", time.hour12().1),
                Part::Hour => write!(text, "{:02}", time.hour()),
                Part::Minute => write!(text, "{:02}", time.minute()),
                Part::Second => write!(text, "{:02}", time.second()),
                Part::HalfDay => write!(text, "{}", if time.hour12().0 { "PM" } else { "AM" }),
                Part::Literal(c) => write!(text, "{c}"),
            };
        }
        text
    }
}

/// Reads a time of day: `14:30`, `14:30:05`, `2:30 pm`.
pub fn clock(text: &str) -> Option<NaiveTime> {
    let mut rest = text.trim();
    let hour = digits(&mut rest, 1, 2)?;
    rest = rest.strip_prefix(':')?;
    let minute = digits(&mut rest, 2, 2)?;
    let mut second = 0;
    if let Some(after) = rest.strip_prefix(':') {
        rest = after;
        second = seconds(&mut rest)?;
    }
    rest = rest.trim_start();
    let afternoon = match rest {
        "" => None,
        _ => Some(half_day(&mut rest)?),
    };
    rest.is_empty()
        .then(|| time_of(hour, minute, second, afternoon))?
}

fn time_of(hour: u32, minute: u32, second: u32, afternoon: Option<bool>) -> Option<NaiveTime> {
    let hour = match afternoon {
        None => hour,
        Some(_) if !(1..=12).contains(&hour) => return None,
        Some(afternoon) => hour % 12 + if afternoon { 12 } else { 0 },
    };
    NaiveTime::from_hms_opt(hour, minute, second)
}

fn digits(rest: &mut &str, least: usize, most: usize) -> Option<u32> {
    let count = rest
        .bytes()
        .take(most)
        .take_while(u8::is_ascii_digit)
        .count();
    if count < least {
        return None;
    }
    let (number, after) = rest.split_at(count);
    *rest = after;
    number.parse().ok()
}

/// Seconds; a fraction is dropped, as books count whole ones.
fn seconds(rest: &mut &str) -> Option<u32> {
    let whole = digits(rest, 2, 2)?;
    if let Some(fraction) = rest.strip_prefix(['.', ',']) {
        let count = fraction.bytes().take_while(u8::is_ascii_digit).count();
        if count > 0 {
            *rest = &fraction[count..];
        }
    }
    Some(whole)
}

fn month_name(rest: &mut &str) -> Option<u32> {
    let count = rest.bytes().take_while(u8::is_ascii_alphabetic).count();
    let (name, after) = rest.split_at(count);
    let name = name.to_ascii_lowercase();
    if count < 3 {
        return None;
    }
    let month = MONTHS.iter().position(|month| month.starts_with(&name))?;
    *rest = after;
    u32::try_from(month + 1).ok()
}

fn half_day(rest: &mut &str) -> Option<bool> {
    let lower = rest.to_ascii_lowercase();
    for (word, afternoon) in [("a.m.", false), ("p.m.", true), ("am", false), ("pm", true)] {
        if lower.starts_with(word) {
            *rest = &rest[word.len()..];
            return Some(afternoon);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(pattern: &str, text: &str) -> Option<String> {
        let pattern = Pattern::parse(pattern).expect(pattern);
        Some(match pattern.read(text) {
            Reading::At((day, Some(time))) => format!("{day} {time}"),
            Reading::At((day, None)) => day.to_string(),
            Reading::NoSuch => "no such".to_owned(),
            Reading::Other => return None,
        })
    }

    #[test]
    fn patterns_read_what_they_say() {
        for (pattern, text, want) in [
            (
                "DD.MM.YYYY hh:mm",
                "30.03.2025 01:30",
                "2025-03-30 01:30:00",
            ),
            ("DD.MM.YYYY hh:mm", "3.4.2025  9:05", "2025-04-03 09:05:00"),
            ("DD.MM.YY", "03.04.25", "2025-04-03"),
            (
                "MM/DD/YYYY hh:mm AM",
                "4/3/2025 12:05 am",
                "2025-04-03 00:05:00",
            ),
            (
                "MM/DD/YYYY hh:mmAM",
                "4/3/2025 12:05PM",
                "2025-04-03 12:05:00",
            ),
            ("DD MON YYYY", "3 Sept 2025", "2025-09-03"),
            ("DD-MON-YY", "03-APR-99", "1999-04-03"),
            ("YYYYMMDD", "20250403", "2025-04-03"),
            (
                "YYYY-MM-DDThh:mm:ss",
                "2025-04-03T01:02:03.456",
                "2025-04-03 01:02:03",
            ),
            (
                "DD.MM.YYYY, hh:mm 'Uhr'",
                "03.04.2025, 14:30 Uhr",
                "2025-04-03 14:30:00",
            ),
        ] {
            assert_eq!(read(pattern, text).as_deref(), Some(want), "{pattern}");
        }
    }

    #[test]
    fn what_has_another_form_is_not_read() {
        for (pattern, text) in [
            ("DD.MM.YYYY", "2025-04-03"),
            ("DD.MM.YYYY", "03.04.25"),
            ("DD.MM.YYYY", "03.04.2025 10:00"),
            ("DD.MM.YYYY hh:mm", "03.04.2025"),
            ("DD MON YYYY", "3 Ma 2025"),
        ] {
            assert_eq!(read(pattern, text), None, "{pattern} {text}");
        }
        for bad in [
            "DD.MM",
            "DD.MM.YYYY hh",
            "DD.MM.YYYY YY",
            "DD.DD.YYYY",
            "D.M.YYYY",
            "'x",
        ] {
            assert!(Pattern::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let day = NaiveDate::from_ymd_opt(2025, 9, 3).expect("day");
        let time = NaiveTime::from_hms_opt(14, 5, 0).expect("time");
        for text in [
            "DD.MM.YYYY hh:mm",
            "MM/DD/YY hh:mm AM",
            "YYYYMMDD'T'hhmm",
            "DD MON YYYY hh:mm",
        ] {
            let pattern = Pattern::parse(text).expect(text);
            let written = pattern.write(day, time);
            let read = pattern.read(&written);
            assert_eq!(read, Reading::At((day, Some(time))), "{written}");
        }
    }

    #[test]
    fn times_of_day() {
        let at = |h, m, s| NaiveTime::from_hms_opt(h, m, s);
        assert_eq!(clock("14:30"), at(14, 30, 0));
        assert_eq!(clock("2:30:05 p.m."), at(14, 30, 5));
        assert_eq!(clock("14.30"), None);
        assert_eq!(clock("14:30 Uhr"), None);
    }
}
