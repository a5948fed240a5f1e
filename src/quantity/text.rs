//! Text that others wrote, made safe where it is shown.
//!
//! In: names, notes, cells. Out: the same, so that a spreadsheet does not run it as a
//! formula, and that a terminal or a page shows it where it stands.
//! Never: what the text means.
//!
//! Source for formulas: OWASP, "CSV Injection": a cell that begins with `=`, `+`, `-`, `@`,
//! tab or carriage return gets a single quote before it. The line feed and the full-width
//! forms of the four signs are added here (from memory: some spreadsheets take them too).

use std::borrow::Cow;

/// What a cell that a spreadsheet would run begins with.
pub const FORMULA_STARTS: [char; 11] =
    ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// The bytes as text.
///
/// Errors: not UTF-8; the line, from 1, on which the first such byte stands.
pub fn utf8(bytes: &[u8]) -> Result<&str, usize> {
    std::str::from_utf8(bytes).map_err(|error| {
        let good = &bytes[..error.valid_up_to()];
        1 + memchr::memchr_iter(b'\n', good).count()
    })
}

/// A cell as it may stand in a file that a spreadsheet opens: a text it would run as a formula
/// gets a single quote before it. Numbers stay as they are.
///
/// A text that begins with quotes before such a sign gets one more, so that
/// [`unguarded`] gives back exactly what was written.
pub fn guarded(cell: &str) -> Cow<'_, str> {
    if runs(cell.trim_start_matches('\'')) && !is_plain_number(cell) {
        Cow::Owned(format!("'{cell}"))
    } else {
        Cow::Borrowed(cell)
    }
}

/// A cell as it was before [`guarded`].
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if runs(rest.trim_start_matches('\'')) => rest,
        _ => cell,
    }
}

fn runs(text: &str) -> bool {
    text.starts_with(FORMULA_STARTS)
}

/// A sign, digits with a point, an exponent; or an infinity: nothing that could run.
fn is_plain_number(cell: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let unsigned = cell.strip_prefix(['+', '-']).unwrap_or(cell);
    if unsigned == "inf" {
        return true;
    }
    let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent)),
        None => (unsigned, None),
    };
    let (whole, fraction) = match mantissa.split_once('.') {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (mantissa, None),
    };
    digits(whole)
        && fraction.is_none_or(digits)
        && exponent.is_none_or(|e| digits(e.strip_prefix(['+', '-']).unwrap_or(e)))
}

/// Whether a character would move, hide or turn round what stands beside it: control
/// characters, those that set the direction of writing (Unicode Standard Annex 9), and the two
/// that no XML may hold (XML 1.0, Char).
pub fn is_unruly(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{2028}' | '\u{2029}'
            | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
                | '\u{fffe}'
                | '\u{ffff}')
}

/// A text in one line, every unruly character a blank.
pub fn one_line(text: &str) -> Cow<'_, str> {
    if text.contains(is_unruly) {
        Cow::Owned(text.replace(is_unruly, " "))
    } else {
        Cow::Borrowed(text)
    }
}

/// A text of lines, each as [`one_line`] leaves it.
pub fn lines(text: &str) -> Cow<'_, str> {
    if text.contains(|c| c != '\n' && is_unruly(c)) {
        Cow::Owned(text.replace(|c| c != '\n' && is_unruly(c), " "))
    } else {
        Cow::Borrowed(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::TestRunner;

    #[test]
    fn what_a_spreadsheet_would_run_is_guarded_and_numbers_are_not() {
        for start in FORMULA_STARTS {
            let cell = format!("{start}HYPERLINK(\"x\")");
            assert_eq!(guarded(&cell), format!("'{cell}"));
        }
        for cell in [
            "-1-2",
            "-",
            "+",
            "-1e",
            "-.5",
            "-1.",
            "-1.5.2",
            "-e5",
            "+cmd|' /C calc'!A0",
        ] {
            assert_eq!(guarded(cell), format!("'{cell}"));
        }
        for cell in [
            "", "H-01", "-5", "-0.001", "-1.5e-7", "-1e300", "-inf", "+5", "5", "O'Hara",
            "'quoted'", " =1", "a=b",
        ] {
            assert_eq!(guarded(cell), cell);
        }
        assert_eq!(guarded("'=1"), "''=1");
    }

    /// Rust's own words for a number pass, whatever the number.
    #[test]
    fn every_number_rust_writes_is_plain() {
        let told = TestRunner::deterministic().run(&any::<f64>(), |value| {
            for text in [value.to_string(), format!("{value:e}")] {
                prop_assert_eq!(guarded(&text), text.as_str());
            }
            Ok(())
        });
        told.unwrap();
    }

    #[test]
    fn a_guarded_cell_comes_back_as_it_was() {
        let cells = "['=+@\t\r\n＝0-9a-e.-]{0,8}";
        let told = TestRunner::deterministic().run(&cells, |cell| {
            let shown = guarded(&cell);
            prop_assert!(!runs(&shown) || is_plain_number(&shown), "{shown}");
            prop_assert_eq!(unguarded(&shown), cell.as_str());
            Ok(())
        });
        told.unwrap();
    }

    #[test]
    fn what_turns_a_line_round_becomes_a_blank() {
        assert_eq!(one_line("a\u{202e}b\u{1b}[31mc\nd"), "a b [31mc d");
        assert_eq!(one_line("Größe 5 µm – ü"), "Größe 5 µm – ü");
    }
}
