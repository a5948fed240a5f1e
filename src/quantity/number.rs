//! Numbers as they were given, and numbers as people read them.

use super::language::spoken;
use std::fmt;

/// A number that keeps the digits it was written with: `12480` stays `12480`,
/// `9.50` stays `9.50`, and both compute as ordinary floats.
///
/// Domain: finite. Up to 15 significant digits keep their writing exactly; longer
/// ones, and those with an exponent, are written in their shortest plain form that
/// reads back to the same float.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    value: f64,
    decimals: u16,
}

impl Number {
    /// Takes a float; it will be written in its shortest form, whole numbers
    /// without a point. `None` if it is not finite.
    pub fn new(value: f64) -> Option<Number> {
        if !value.is_finite() {
            return None;
        }
        let shortest = format!("{value}");
        Some(Number {
            value,
            decimals: fraction_digits(&shortest),
        })
    }

    /// Takes a float rounded to this many decimals, and writes all of them.
    /// `None` if it is not finite.
    pub fn rounded(value: f64, decimals: u16) -> Option<Number> {
        let value = format!("{value:.0$}", usize::from(decimals))
            .parse::<f64>()
            .ok()?;
        value.is_finite().then_some(Number { value, decimals })
    }

    /// Reads a decimal number: digits, an optional sign, fraction and exponent
    /// (the grammar of JSON). `None` for anything else, or if it is not finite.
    pub fn parse(text: &str) -> Option<Number> {
        if !is_json_number(text) {
            return None;
        }
        let value: f64 = text.parse().ok()?;
        let given = Number {
            value,
            decimals: fraction_digits(text),
        };
        // So few digits come back as they were; more must be seen to.
        let plain = text.len() <= 15 && !text.bytes().any(|b| matches!(b, b'e' | b'E'));
        if value.is_finite() && (plain || given.to_string() == text) {
            return Some(given);
        }
        Number::new(value)
    }

    /// The value as a float.
    pub fn get(self) -> f64 {
        self.value
    }

    /// How many digits follow the point when written.
    pub fn decimals(self) -> u16 {
        self.decimals
    }
}

impl From<i32> for Number {
    fn from(value: i32) -> Number {
        Number {
            value: f64::from(value),
            decimals: 0,
        }
    }
}

impl From<u32> for Number {
    fn from(value: u32) -> Number {
        Number {
            value: f64::from(value),
            decimals: 0,
        }
    }
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.*}", usize::from(self.decimals), self.value)
    }
}

fn fraction_digits(text: &str) -> u16 {
    let fraction = text.split_once('.').map_or(0, |(_, rest)| {
        rest.bytes().take_while(u8::is_ascii_digit).count()
    });
    u16::try_from(fraction).unwrap_or(u16::MAX)
}

/// Whether a text is a number by the grammar of JSON (RFC 8259, section 6).
pub fn is_json_number(text: &str) -> bool {
    let rest = text.strip_prefix('-').unwrap_or(text).as_bytes();
    let digits = |from: usize| {
        rest[from..]
            .iter()
            .take_while(|b| b.is_ascii_digit())
            .count()
    };
    let whole = digits(0);
    if whole == 0 || (whole > 1 && rest[0] == b'0') {
        return false;
    }
    let mut end = whole;
    if rest.get(end) == Some(&b'.') {
        let n = digits(end + 1);
        if n == 0 {
            return false;
        }
        end += 1 + n;
    }
    if matches!(rest.get(end), Some(b'e' | b'E')) {
        end += 1;
        if matches!(rest.get(end), Some(b'+' | b'-')) {
            end += 1;
        }
        let n = if end <= rest.len() { digits(end) } else { 0 };
        if n == 0 {
            return false;
        }
        end += n;
    }
    end == rest.len()
}

/// "1 life", "34 lives".
pub fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// Writes a number for people: rounded to `decimals`, groups of three digits set
/// apart by a comma, a true minus sign left as `-`.
///
/// Anything that is not finite is written as `–`.
pub fn thousands(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    group(&format!("{value:.decimals$}"))
}

/// Whether two figures are one: within a billionth of the larger.
pub fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// As [`same`], of figures that may be missing: both are, or neither and they are one.
pub fn same_or_none(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => same(a, b),
        (a, b) => a == b,
    }
}

/// Sets apart groups of three digits in a plain decimal text such as `-12480.50`, with the marks
/// of the language spoken.
pub fn group(plain: &str) -> String {
    let (sign, rest) = match plain.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", plain),
    };
    let zero = rest.bytes().all(|b| matches!(b, b'0' | b'.'));
    format!("{}{}", if zero { "" } else { sign }, spoken().marked(rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_keeps_its_writing() {
        for text in [
            "0",
            "12480",
            "9.50",
            "-0.05",
            "0.000001",
            "123456789012345",
            "-0",
        ] {
            assert_eq!(Number::parse(text).expect(text).to_string(), text);
        }
    }

    #[test]
    fn long_and_exponent_forms_become_plain() {
        let long = Number::parse("0.30000000000000004000").expect("long");
        assert_eq!(long.to_string(), "0.30000000000000004");
        assert_eq!(Number::parse("1e3").expect("exponent").to_string(), "1000");
        assert_eq!(
            Number::parse("1.5E-2").expect("exponent").to_string(),
            "0.015"
        );
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in [
            "", "-", "01", "1.", ".5", "1e", "1e+", "NaN", "inf", "1e999", " 1", "1,5", "+1",
        ] {
            assert_eq!(Number::parse(text), None, "{text}");
        }
    }

    #[test]
    fn floats_take_their_shortest_form() {
        assert_eq!(Number::new(12480.0).expect("finite").to_string(), "12480");
        assert_eq!(Number::new(0.1).expect("finite").to_string(), "0.1");
        assert_eq!(Number::new(f64::NAN), None);
        assert_eq!(
            Number::rounded(2.0 / 3.0, 2).expect("finite").to_string(),
            "0.67"
        );
    }

    #[test]
    fn groups_of_three() {
        assert_eq!(thousands(1_234_567.891, 1), "1,234,567.9");
        assert_eq!(thousands(-999.6, 0), "-1,000");
        assert_eq!(thousands(-0.2, 0), "0");
        assert_eq!(thousands(100.0, 0), "100");
        assert_eq!(thousands(f64::INFINITY, 0), "–");
    }
}
