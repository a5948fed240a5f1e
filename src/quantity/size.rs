//! Amounts of memory, as people write them.

use thiserror::Error;

/// Why a text is no amount of memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SizeError {
    #[error("write a number and a unit, as in 500MB or 2GB (or MiB, GiB)")]
    NotASize,
    #[error("give it at least {}", size_words(*least))]
    TooLittle { least: u64 },
}

const UNITS: [(&str, u64); 9] = [
    ("KB", 1_000),
    ("MB", 1_000_000),
    ("GB", 1_000_000_000),
    ("TB", 1_000_000_000_000),
    ("KiB", 1 << 10),
    ("MiB", 1 << 20),
    ("GiB", 1 << 30),
    ("TiB", 1 << 40),
    ("bytes", 1),
];

/// Reads an amount of memory: a number above 0 and a unit, with or without a blank between;
/// large and small letters are one.
///
/// Units: bytes. Errors: [`SizeError::NotASize`] for anything else, and beyond 2⁶³ bytes.
pub fn parse_size(text: &str) -> Result<u64, SizeError> {
    let text = text.trim();
    let at = text
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .ok_or(SizeError::NotASize)?;
    let (number, unit) = text.split_at(at);
    let unit = unit.trim();
    let (_, factor) = UNITS
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case(unit))
        .ok_or(SizeError::NotASize)?;
    let number: f64 = number.parse().map_err(|_| SizeError::NotASize)?;
    let bytes = (number * *factor as f64).floor();
    if (1.0..9.2e18).contains(&bytes) {
        Ok(bytes as u64)
    } else {
        Err(SizeError::NotASize)
    }
}

/// `2 GB`, `1.5 GB`, `640 KB`, `17 bytes`: at most one decimal.
pub fn size_words(bytes: u64) -> String {
    let unit = UNITS[..4]
        .iter()
        .rev()
        .find(|(_, factor)| bytes >= *factor)
        .unwrap_or(&UNITS[8]);
    let number = format!("{:.1}", bytes as f64 / unit.1 as f64);
    format!("{} {}", number.trim_end_matches(".0"), unit.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_as_written_and_nonsense_is_refused() {
        for (text, bytes) in [
            ("2GB", 2_000_000_000),
            ("500 mb", 500_000_000),
            ("1.5GiB", 1_610_612_736),
            (" 12.5 GiB ", 13_421_772_800),
            ("0.5KB", 500),
            ("7 bytes", 7),
        ] {
            assert_eq!(parse_size(text), Ok(bytes), "{text}");
        }
        for text in [
            "",
            "2",
            "GB",
            "-2GB",
            "2 bananas",
            "0GB",
            "0.0001KB",
            "1e9GB",
            "1.2.3GB",
            "2GBB",
            "99999999999TB",
            "NaNGB",
            "infGB",
            "٣GB",
        ] {
            assert_eq!(parse_size(text), Err(SizeError::NotASize), "{text}");
        }
        assert_eq!(size_words(2_000_000_000), "2 GB");
        assert_eq!(size_words(1_610_612_736), "1.6 GB");
        assert_eq!(size_words(640_000), "640 KB");
        assert_eq!(size_words(17), "17 bytes");
    }
}
