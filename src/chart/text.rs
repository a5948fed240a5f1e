//! Words and figures inside a chart: how wide a label will be, how a number is written.
//!
//! In: text and plain numbers. Out: widths in pixels, formatted strings.
//! Never: plotters types, files, clock.
//!
//! plotters without a font engine cannot measure text, so widths come from a table: for each
//! printable ASCII character the wider of DejaVu Sans and Liberation Sans (two open fonts a
//! browser falls back to), in thousandths of the font size, measured in a browser. A reader with
//! a narrower font sees a little more air, never an overlap.

use crate::quantity::language::spoken;

/// Advance widths of U+0020 to U+007E in thousandths of an em, regular weight.
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636,
    636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 556, 1015, 684, 686, 722, 770, 667,
    611, 778, 752, 295, 500, 667, 557, 863, 748, 787, 667, 787, 722, 667, 611, 732, 684, 989, 685,
    667, 685, 390, 337, 390, 838, 556, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579,
    278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];

/// The same in bold.
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696,
    696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 611, 1000, 774, 762, 734, 830, 683,
    683, 821, 837, 372, 556, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771,
    724, 725, 457, 365, 457, 838, 556, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665,
    343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];

/// Returns the width a line of text needs at most, in pixels.
///
/// Units: `size_px` is the font size in pixels. Domain: any text; a size that is not finite and
/// positive counts as 0. Characters outside ASCII count as two thirds of an em, those from
/// U+1100 on (wide scripts, symbols) as a whole em, a few common marks as measured.
pub fn text_width_px(text: &str, size_px: f64, bold: bool) -> f64 {
    if !(size_px.is_finite() && size_px > 0.0) {
        return 0.0;
    }
    let table = if bold { &BOLD } else { &REGULAR };
    let thousandths: u32 = text
        .chars()
        .map(|c| match c {
            ' '..='~' => u32::from(table[c as usize - 32]),
            '–' => 556,
            '·' | '’' | '‘' => 380,
            '°' => 500,
            '\u{202f}' => 320,
            '−' | '×' | '≤' | '≥' => 838,
            '…' | '→' | '←' => 1000,
            // Drawn as U+FFFD, see `clean`.
            c if c.is_control() => 1000,
            c if (c as u32) < 0x1100 => 720,
            _ => 1000,
        })
        .sum();
    f64::from(thousandths) * size_px / 1000.0
}

/// Returns `text` without characters that XML forbids or that turn the direction of writing
/// (Unicode Standard Annex 9), and on one line.
pub(super) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => ' ',
            '\u{61c}' | '\u{200e}' | '\u{200f}' => ' ',
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => ' ',
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => '\u{FFFD}',
            c => c,
        })
        .collect()
}

/// Returns `text` cut to at most `width_px`, with an ellipsis where something was left out.
pub(super) fn fit(text: &str, size_px: f64, bold: bool, width_px: f64) -> String {
    if text_width_px(text, size_px, bold) <= width_px {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        let mut next = kept.clone();
        next.push(c);
        next.push('…');
        if text_width_px(&next, size_px, bold) > width_px {
            break;
        }
        kept.push(c);
    }
    format!("{}…", kept.trim_end())
}

/// Returns the lines of `text` broken at spaces so that none is wider than `width_px`, unless a
/// single word is (which is then cut with an ellipsis).
pub(super) fn wrap(text: &str, size_px: f64, bold: bool, width_px: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let joined = match lines.last() {
            Some(line) => format!("{line} {word}"),
            None => word.to_owned(),
        };
        if lines.is_empty() {
            lines.push(fit(&joined, size_px, bold, width_px));
        } else if text_width_px(&joined, size_px, bold) <= width_px {
            if let Some(line) = lines.last_mut() {
                *line = joined;
            }
        } else {
            lines.push(fit(word, size_px, bold, width_px));
        }
    }
    lines
}

/// Writes a number with marks between thousands, as the language spoken has them, and a fixed
/// count of decimals.
///
/// Domain: finite; anything else is written as an empty string, so that it can never reach a
/// drawing as `NaN`. A result that rounds to zero carries no minus sign.
pub fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let plain = format!("{:.*}", decimals, value.abs());
    let zero = plain.bytes().all(|b| b == b'0' || b == b'.');
    let sign = if value < 0.0 && !zero { "−" } else { "" };
    format!("{sign}{}", spoken().marked(&plain))
}

/// Writes a number with about `digits` significant figures, whole from there on.
pub fn significant(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return String::new();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let size = value.abs().log10().floor() as i32;
    let decimals = (digits - 1 - size).clamp(0, 12);
    let step = 10f64.powi(size + 1 - digits);
    let rounded = if size >= digits {
        (value / step).round() * step
    } else {
        value
    };
    number(rounded, decimals as usize)
}

/// The count of decimals with which numbers up to `largest` have about three figures.
pub(super) fn decimals_for(largest: f64) -> usize {
    if !(largest.is_finite() && largest > 0.0) {
        return 0;
    }
    (2 - largest.log10().floor() as i32).clamp(0, 12) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_set_apart_and_zero_has_no_sign() {
        assert_eq!(number(1_234_567.0, 0), "1,234,567");
        assert_eq!(number(999.5, 1), "999.5");
        assert_eq!(number(-1_000.25, 2), "−1,000.25");
        assert_eq!(number(-0.001, 2), "0.00");
        assert_eq!(number(f64::NAN, 2), "");
    }

    #[test]
    fn significant_figures_round_large_and_keep_small() {
        assert_eq!(significant(12_345.0, 3), "12,300");
        assert_eq!(significant(2_138.4, 3), "2,140");
        assert_eq!(significant(0.012_34, 3), "0.0123");
        assert_eq!(significant(9.999, 3), "10.00");
        assert_eq!(significant(0.0, 3), "0");
    }

    #[test]
    fn cut_text_stays_within_its_width() {
        let long = "Homogeniser number three, plunger five, suction side";
        for width in [30.0, 60.0, 120.0] {
            let cut = fit(long, 12.0, false, width);
            assert!(text_width_px(&cut, 12.0, false) <= width);
            assert!(cut.ends_with('…'));
        }
        assert_eq!(fit("P1", 12.0, false, 50.0), "P1");
    }

    #[test]
    fn wrapped_lines_keep_every_word() {
        let text = "one two three four five six seven";
        let lines = wrap(text, 12.0, false, 70.0);
        assert!(lines.len() > 1);
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().all(|l| text_width_px(l, 12.0, false) <= 70.0));
    }
}
