//! The SHA-256 of a line: its name.

use std::fmt;

use sha2::{Digest, Sha256};

/// A SHA-256, written as 64 lower-case hex digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Sha(pub [u8; 32]);

impl Sha {
    /// What stands before the first line of a book: 64 zeros.
    pub const ZERO: Sha = Sha([0; 32]);

    /// The name of these bytes.
    pub fn of(bytes: &[u8]) -> Sha {
        Sha(Sha256::digest(bytes).into())
    }

    /// Reads 64 lower-case hex digits.
    pub fn parse(hex: &[u8]) -> Option<Sha> {
        if hex.len() != 64 {
            return None;
        }
        let mut sha = [0u8; 32];
        // No digit has these bits; they gather whatever is none.
        let mut strange = 0;
        for (byte, pair) in sha.iter_mut().zip(hex.chunks_exact(2)) {
            let (high, low) = (NIBBLES[usize::from(pair[0])], NIBBLES[usize::from(pair[1])]);
            strange |= high | low;
            *byte = high << 4 | low & 15;
        }
        (strange < 16).then_some(Sha(sha))
    }

    /// The first 12 hex digits, enough where unique.
    pub fn short(&self) -> String {
        let mut hex = self.to_string();
        hex.truncate(12);
        hex
    }

    /// The first 12 hex digits as a number.
    pub(super) fn head(&self) -> u64 {
        self.0[..6]
            .iter()
            .fold(0, |n, byte| n << 8 | u64::from(*byte))
    }

    /// What [`Sha::head`] is for a name that begins with these 12 lower-case hex digits.
    pub(super) fn head_of(digits: &str) -> Option<u64> {
        digits
            .bytes()
            .try_fold(0, |n, digit| Some(n << 4 | u64::from(nibble(digit)?)))
    }

    /// Whether the hex form begins with these digits.
    pub fn begins_with(&self, digits: &str) -> bool {
        self.to_string().starts_with(digits)
    }
}

/// What each byte is as a hex digit; 255 for those that are none.
const NIBBLES: [u8; 256] = {
    let mut table = [255; 256];
    let mut digit = 0;
    while digit < 16 {
        table[b"0123456789abcdef"[digit] as usize] = digit as u8;
        digit += 1;
    }
    table
};

fn nibble(digit: u8) -> Option<u8> {
    Some(NIBBLES[usize::from(digit)]).filter(|nibble| *nibble < 16)
}

impl fmt::Display for Sha {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut hex = [0u8; 64];
        for (pair, byte) in hex.chunks_exact_mut(2).zip(self.0) {
            pair[0] = b"0123456789abcdef"[usize::from(byte >> 4)];
            pair[1] = b"0123456789abcdef"[usize::from(byte & 15)];
        }
        // Only ASCII digits and letters were written.
        f.write_str(std::str::from_utf8(&hex).unwrap_or_default())
    }
}

impl fmt::Debug for Sha {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: FIPS 180-2, appendix B.1, the message "abc".
    #[test]
    fn agrees_with_fips_180_2() {
        let sha = Sha::of(b"abc");
        let hex = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha.to_string(), hex);
        assert_eq!(Sha::parse(hex.as_bytes()), Some(sha));
        assert_eq!(sha.short(), "ba7816bf8f01");
        assert_eq!(Sha::parse(hex.to_uppercase().as_bytes()), None);
    }
}
