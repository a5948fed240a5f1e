//! How figures and days are written in the report.
//!
//! In: plain numbers and dates. Out: strings with units. Never: deciding what is said.

use chrono::NaiveDate;

use crate::chart::{number, significant};
use crate::quantity::language::spoken;
use crate::quantity::text::one_line;

/// A usage with its unit: whole from 100 on, else one decimal. "1,750 h".
pub fn usage(value: f64, unit: &str) -> String {
    let decimals = usize::from(value.abs() < 100.0 && value.fract() != 0.0);
    format!("{} {unit}", number(value, decimals))
}

/// Money without its currency: whole from 10 on, else two decimals.
pub fn money(value: f64) -> String {
    let decimals = if value.abs() >= 10.0 || value == 0.0 {
        0
    } else {
        2
    };
    number(value, decimals)
}

/// A sum with its limits, all with the decimals the middle one asks for.
pub fn money_with_limits(middle: f64, lower: f64, upper: f64) -> [String; 3] {
    let decimals = if middle.abs() >= 10.0 || middle == 0.0 {
        0
    } else {
        2
    };
    [middle, lower, upper].map(|value| number(value, decimals))
}

/// A probability in per cent; never 0 or 100, which no record can show.
///
/// Domain: 0 to 1; anything else gives an empty string.
pub fn chance(probability: f64) -> String {
    if !(0.0..=1.0).contains(&probability) {
        String::new()
    } else if probability > 0.99 {
        "over 99 %".to_owned()
    } else if probability < 0.01 {
        "under 1 %".to_owned()
    } else {
        format!("{} %", number(probability * 100.0, 0))
    }
}

/// A figure to three digits, e.g. a shape or a scale.
pub fn three_digits(value: f64) -> String {
    significant(value, 3)
}

/// "24 November 2026", as the language spoken writes it.
pub fn day(date: NaiveDate) -> String {
    spoken().day(date)
}

/// "P1, P2 and P3".
pub fn list<S: AsRef<str>>(items: &[S]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [many @ .., last] => {
            let many: Vec<&str> = many.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", many.join(", "), last.as_ref())
        }
    }
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

/// With a small first letter, for a name or sentence that continues another; an abbreviation
/// ("PTFE ring", "O ring") keeps its capitals.
pub fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    match (chars.next(), text.chars().nth(1)) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(chars).collect()
        }
        _ => text.to_owned(),
    }
}

/// "1 life", "3 lives".
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!(
        "{} {}",
        number(n as f64, 0),
        if n == 1 { one } else { many }
    )
}

/// The same words with the spaces that must not end a line made unbreakable: between a number and
/// a short unit or per cent sign, and between a currency code and its sum.
pub fn glue(text: &str) -> String {
    let words: Vec<&str> = text.split(' ').collect();
    let mut out = String::with_capacity(text.len() + 16);
    for (i, word) in words.iter().enumerate() {
        out.push_str(word);
        let Some(next) = words.get(i + 1) else { break };
        let number = |w: &str| {
            let bare = w.trim_start_matches(['(', '+', '−']);
            bare.starts_with(|c: char| c.is_ascii_digit())
        };
        let unit = |w: &str| {
            let bare = w.trim_end_matches(['.', ',', ';', ':', ')']);
            !bare.is_empty() && bare.chars().count() <= 2
        };
        let code = word.len() == 3 && word.chars().all(|c| c.is_ascii_uppercase());
        let glued = (number(word) && unit(next)) || (code && number(next));
        out.push(if glued { '\u{a0}' } else { ' ' });
    }
    out
}

/// Letters of the longest word that stays whole.
const LONGEST: usize = 24;

/// Whether a text is longer than any name should be, so that a cell must be let wrap.
pub fn is_long(text: &str) -> bool {
    text.chars().count() > LONGEST
}

/// Text from a ledger as a page can take it: in one line, nothing that turns the direction of
/// writing, and very long words breakable every eight letters (by U+200B, which has no width).
pub fn tame(text: &str) -> String {
    let text = one_line(text);
    let mut out = String::with_capacity(text.len());
    for word in text.split_inclusive(char::is_whitespace) {
        if !is_long(word) {
            out.push_str(word);
            continue;
        }
        for (n, c) in word.chars().enumerate() {
            if n > 0 && n % 8 == 0 {
                out.push('\u{200b}');
            }
            out.push(c);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ledgers_text_cannot_spoil_the_page() {
        assert_eq!(tame("a\u{202e}b\nc\u{0}"), "a b c ");
        assert_eq!(tame("books/line-2.jsonl:41"), "books/line-2.jsonl:41");
        let long = "x".repeat(27);
        let parts: Vec<usize> = tame(&long).split('\u{200b}').map(str::len).collect();
        assert_eq!(parts, [8, 8, 8, 3]);
    }

    #[test]
    fn figures_are_written_for_reading() {
        assert_eq!(usage(12_480.0, "h"), "12,480 h");
        assert_eq!(usage(7.25, "h"), "7.2 h");
        assert_eq!(usage(8.0, "cycles"), "8 cycles");
        assert_eq!(money(1_234.4), "1,234");
        assert_eq!(money(2.5), "2.50");
        assert_eq!(money_with_limits(70.4, 7.08, 121.0), ["70", "7", "121"]);
        assert_eq!(
            money_with_limits(4.0, -0.5, 11.0),
            ["4.00", "−0.50", "11.00"]
        );
        assert_eq!(chance(0.968), "97 %");
        assert_eq!(chance(0.999), "over 99 %");
        assert_eq!(chance(0.0), "under 1 %");
        assert_eq!(chance(f64::NAN), "");
        assert_eq!(list(&["P1", "P2", "P3"]), "P1, P2 and P3");
        assert_eq!(list(&["P1"]), "P1");
        assert_eq!(count(1, "life", "lives"), "1 life");
    }

    #[test]
    fn abbreviations_keep_their_capitals() {
        assert_eq!(lower_first("Valve seat"), "valve seat");
        assert_eq!(lower_first("PTFE ring"), "PTFE ring");
        assert_eq!(lower_first("O ring"), "O ring");
        assert_eq!(lower_first(""), "");
        assert_eq!(capital("élan"), "Élan");
    }

    #[test]
    fn a_number_keeps_its_unit_on_the_line() {
        assert_eq!(
            glue("Every 1,750 h, about EUR 412 for 5 % of 466 lives"),
            "Every 1,750\u{a0}h, about EUR\u{a0}412 for 5\u{a0}% of\u{20}466 lives"
        );
        assert_eq!(glue("a third (33 %)"), "a third (33\u{a0}%)");
        assert_eq!(glue(""), "");
    }

    #[test]
    fn a_day_is_written_out() {
        let date = NaiveDate::from_ymd_opt(2026, 11, 24).unwrap();
        assert_eq!(day(date), "24 November 2026");
    }
}
