//! Numbers as people write them in cells.
//!
//! In: a cell and how its file writes numbers. Out: a plain number (the grammar of JSON),
//! its digits kept. Never: a guess whether a comma is a decimal mark.

use super::cell::{Cell, plain};
use crate::quantity::number::is_json_number;

/// How a file writes numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NumberForm {
    /// `.` or `,`.
    pub decimal: char,
    /// What sets groups of three apart; blanks always may.
    pub thousands: Option<char>,
}

impl Default for NumberForm {
    fn default() -> Self {
        NumberForm {
            decimal: '.',
            thousands: None,
        }
    }
}

/// Why a cell is no number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotANumber {
    pub cure: String,
}

/// Signs of money that may stand beside an amount, with the ISO 4217 code they are taken
/// for (common practice; a sign that several currencies share is not among them).
const SIGNS: [(&str, &str); 3] = [("€", "EUR"), ("£", "GBP"), ("₹", "INR")];

/// Reads a number; `beside` are words that may stand before or after it (a unit, a
/// currency code).
///
/// Errors: anything else, with the cure.
pub fn number(cell: &Cell, form: NumberForm, beside: &[&str]) -> Result<String, NotANumber> {
    match cell {
        Cell::Number(value) => Ok(plain(*value)),
        Cell::Hours(hours) => Ok(plain(*hours)),
        Cell::Text(text) => of_text(text, form, beside),
        Cell::Error(_) => Err(cure("mend the formula in the file, and save it again")),
        _ => Err(cure("write a plain number")),
    }
}

fn cure(text: impl Into<String>) -> NotANumber {
    NotANumber { cure: text.into() }
}

fn of_text(text: &str, form: NumberForm, beside: &[&str]) -> Result<String, NotANumber> {
    let bare = without(text, beside).replace('−', "-");
    let (sign, rest) = match bare.strip_prefix(['-', '+']) {
        Some(rest) => (if bare.starts_with('-') { "-" } else { "" }, rest.trim()),
        None => ("", bare.as_str()),
    };
    if let Some(number) = digits(sign, rest, form) {
        return Ok(number);
    }
    Err(cure(advice(rest, form)))
}

/// The text without the words that may stand beside a number.
fn without<'a>(text: &'a str, beside: &[&str]) -> &'a str {
    let mut text = text.trim();
    for word in beside {
        let signs = SIGNS.iter().filter(|(_, code)| code == word);
        for word in signs.map(|(sign, _)| *sign).chain([*word]) {
            text = text.strip_suffix(word).unwrap_or(text).trim_end();
            text = text.strip_prefix(word).unwrap_or(text).trim_start();
        }
    }
    text
}

fn digits(sign: &str, text: &str, form: NumberForm) -> Option<String> {
    let (mantissa, exponent) = match text.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent)),
        None => (text, None),
    };
    let (whole, fraction) = match mantissa.split_once(form.decimal) {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (mantissa, None),
    };
    let whole = match (whole, fraction) {
        ("", Some(_)) => "0".to_owned(),
        _ => groups(whole, form.thousands)?,
    };
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        digits => digits,
    };
    let number = match fraction {
        Some(fraction) => format!("{sign}{whole}.{fraction}"),
        None => format!("{sign}{whole}"),
    };
    let Some(exponent) = exponent else {
        return is_json_number(&number).then_some(number);
    };
    let number = format!("{number}e{exponent}");
    let value: f64 = is_json_number(&number).then(|| number.parse().ok())??;
    value.is_finite().then(|| plain(value))
}

fn blank(c: char) -> bool {
    c.is_whitespace()
}

/// The digits of a whole number, its groups of three joined.
fn groups(text: &str, thousands: Option<char>) -> Option<String> {
    let mark = text.chars().find(|c| !c.is_ascii_digit());
    let Some(mark) = mark.filter(|mark| Some(*mark) == thousands || blank(*mark)) else {
        let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        return plain.then(|| text.to_owned());
    };
    let mut joined = String::with_capacity(text.len());
    for (n, group) in text.split(mark).enumerate() {
        let fits = if n == 0 {
            (1..=3).contains(&group.len())
        } else {
            group.len() == 3
        };
        if !fits || !group.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        joined.push_str(group);
    }
    Some(joined)
}

/// What to do about a text that is no number in this form but may be in another.
fn advice(text: &str, form: NumberForm) -> String {
    let other = if form.decimal == '.' { ',' } else { '.' };
    let swapped = NumberForm {
        decimal: other,
        thousands: None,
    };
    let grouped = NumberForm {
        thousands: Some(other),
        ..form
    };
    let mut ways = Vec::new();
    if digits("", text, grouped).is_some() {
        ways.push(format!("thousands = \"{other}\""));
    }
    if digits("", text, swapped).is_some() {
        ways.push(format!("decimal = \"{other}\""));
    }
    match ways.as_slice() {
        [] => "write a plain number, or give the column a table of values".to_owned(),
        ways => format!(
            "say how the file writes numbers, in the map's [file]: {}",
            ways.join(" or ")
        ),
    }
}

/// Hours written as `1:30` or `1:30:00`.
pub fn hours(text: &str) -> Option<f64> {
    let mut parts = text.trim().split(':');
    let whole = |part: Option<&str>| -> Option<f64> {
        let part = part.filter(|p| !p.is_empty() && p.bytes().all(|b| b.is_ascii_digit()))?;
        part.parse().ok()
    };
    let sixtieth = |part: &str| -> Option<f64> {
        let value: f64 = whole(Some(part).filter(|p| p.len() == 2))?;
        (value < 60.0).then_some(value)
    };
    let h = whole(parts.next())?;
    let m = sixtieth(parts.next()?)?;
    let s = parts.next().map_or(Some(0.0), sixtieth)?;
    parts.next().is_none().then_some(h + m / 60.0 + s / 3600.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const COMMA: NumberForm = NumberForm {
        decimal: ',',
        thousands: Some('.'),
    };

    fn read(text: &str, form: NumberForm) -> Result<String, String> {
        number(&Cell::of_text(text), form, &["h", "EUR"]).map_err(|e| e.cure)
    }

    #[test]
    fn numbers_keep_their_digits_in_either_writing() {
        let point = NumberForm::default();
        for (text, form, plain) in [
            ("12480", point, "12480"),
            ("012.50", point, "12.50"),
            ("12 480,5 h", COMMA, "12480.5"),
            ("12.480,50", COMMA, "12480.50"),
            ("-1.234.567", COMMA, "-1234567"),
            ("€ 1.234,50", COMMA, "1234.50"),
            ("1.234,50 EUR", COMMA, "1234.50"),
            ("−,5", COMMA, "-0.5"),
            ("1\u{a0}234", point, "1234"),
            ("1,2E+05", COMMA, "120000"),
            ("+3", point, "3"),
        ] {
            assert_eq!(read(text, form).as_deref(), Ok(plain), "{text}");
        }
    }

    #[test]
    fn what_could_be_two_numbers_is_none() {
        let point = NumberForm::default();
        let told = read("12,480", point).expect_err("two ways");
        assert!(
            told.ends_with("thousands = \",\" or decimal = \",\""),
            "{told}"
        );
        let told = read("12,5", point).expect_err("one way");
        assert!(told.ends_with("[file]: decimal = \",\""), "{told}");
        for text in [
            "1.23.456", "12.48", "1,2,3", "--1", "1-2", "abc", "5,", "1 23", "NaN", "inf",
        ] {
            assert!(read(text, COMMA).is_err(), "{text}");
        }
    }

    #[test]
    fn typed_cells_are_numbers_by_themselves() {
        let n = |cell| number(&cell, COMMA, &[]);
        assert_eq!(
            n(Cell::Number(1_234.560_000_000_000_1)).as_deref(),
            Ok("1234.56")
        );
        assert_eq!(n(Cell::Hours(1.5)).as_deref(), Ok("1.5"));
        assert!(n(Cell::Error("#N/A".into())).is_err());
        assert!(n(Cell::Flag(true)).is_err());
    }

    #[test]
    fn hours_and_minutes() {
        assert_eq!(hours("1:30"), Some(1.5));
        assert_eq!(hours("0:00:36"), Some(0.01));
        for bad in ["1:60", "1:3", ":30", "1", "1:30:00:00", "-1:30", "a:30"] {
            assert_eq!(hours(bad), None, "{bad}");
        }
    }
}
