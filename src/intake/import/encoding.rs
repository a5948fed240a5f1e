//! From bytes to text: what a file says of itself, what the map says, else UTF-8.
//!
//! In: bytes, and the encoding a map states. Out: text. Never: a guess that can be wrong
//! unseen (an encoding that fits anything is only taken where it is stated).

use encoding_rs::{Encoding, UTF_8};

/// Bytes that are no text in the encoding they should have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotText {
    /// Line of the first such byte, from 1.
    pub line: usize,
    pub encoding: &'static str,
    /// The byte, where it alone is at fault.
    pub byte: Option<u8>,
}

/// The encoding of a name such as `windows-1252`.
///
/// Names: WHATWG Encoding Standard, which the library follows.
pub fn by_name(name: &str) -> Option<&'static Encoding> {
    // It holds names that stand for no text at all.
    Encoding::for_label(name.as_bytes()).filter(|e| *e != encoding_rs::REPLACEMENT)
}

/// Names to suggest where one is not known.
pub const NAMES: &[&str] = &[
    "utf-8",
    "utf-16le",
    "utf-16be",
    "windows-1250",
    "windows-1251",
    "windows-1252",
    "windows-1253",
    "windows-1254",
    "windows-1257",
    "iso-8859-1",
    "iso-8859-2",
    "iso-8859-15",
    "ibm866",
    "macintosh",
    "shift_jis",
    "gb18030",
];

/// Reads bytes as text. A byte-order mark decides; then what is stated; else UTF-8.
///
/// Errors: a byte that the encoding does not have.
pub fn decode(bytes: Vec<u8>, stated: Option<&'static Encoding>) -> Result<String, NotText> {
    let (encoding, mark) = match Encoding::for_bom(&bytes) {
        Some((encoding, mark)) => (encoding, mark),
        None => (stated.unwrap_or(UTF_8), 0),
    };
    if encoding == UTF_8 {
        return match String::from_utf8(bytes) {
            Ok(text) if mark == 0 => Ok(text),
            Ok(mut text) => {
                text.drain(..mark);
                Ok(text)
            }
            Err(error) => {
                let at = error.utf8_error().valid_up_to();
                let bytes = error.into_bytes();
                Err(NotText {
                    line: 1 + memchr::memchr_iter(b'\n', &bytes[..at]).count(),
                    encoding: encoding.name(),
                    byte: bytes.get(at).copied(),
                })
            }
        };
    }
    let (text, bad) = encoding.decode_without_bom_handling(&bytes[mark..]);
    if !bad {
        return Ok(text.into_owned());
    }
    let good = text.split('\u{fffd}').next().unwrap_or_default();
    Err(NotText {
        line: 1 + good.matches('\n').count(),
        encoding: encoding.name(),
        byte: None,
    })
}

/// Text as bytes of an encoding; `None` where it holds what the encoding does not have.
pub fn encode(text: &str, encoding: &'static Encoding) -> Option<Vec<u8>> {
    let (bytes, used, bad) = encoding.encode(text);
    (!bad && used == encoding).then(|| bytes.into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_decides_then_the_map_then_utf_8() {
        let win = by_name("Windows-1252");
        assert_eq!(
            decode(b"caf\xe9 \x80".to_vec(), win).as_deref(),
            Ok("café €")
        );
        assert_eq!(decode("é".into(), None).as_deref(), Ok("é"));
        let marked = b"\xef\xbb\xbf\xc3\xa9".to_vec();
        assert_eq!(decode(marked, win).as_deref(), Ok("é"));
        let wide = b"\xff\xfeH\0\xe9\0".to_vec();
        assert_eq!(decode(wide, None).as_deref(), Ok("Hé"));
        let wide = b"\xfe\xff\0H\0\xe9".to_vec();
        assert_eq!(decode(wide, win).as_deref(), Ok("Hé"));
    }

    #[test]
    fn what_is_no_text_is_placed() {
        let error = decode(b"a\nb\ncaf\xe9\n".to_vec(), None).expect_err("not UTF-8");
        assert_eq!((error.line, error.byte), (3, Some(0xe9)));
        // Half a character at the end of UTF-16.
        assert!(decode(b"\xff\xfeH\0\xe9".to_vec(), None).is_err());
        assert_eq!(by_name("windows-9999"), None);
    }

    #[test]
    fn every_name_suggested_is_known() {
        for name in NAMES {
            assert!(by_name(name).is_some(), "{name}");
        }
    }
}
