//! How a plant dresses its pages: templates and styles of its own, a logo, a paper.
//!
//! In: texts and a picture's bytes. Out: [`Dress`], which every page is set with.
//! Never: files; what a page says.

use super::render::ReportError;
use crate::quantity::Paper;

/// Every template and style sheet that a plant can have its own of.
pub const BUILT_IN: [(&str, &str); 15] = [
    ("report.html", include_str!("../../reports/report.html")),
    ("macros.html", include_str!("../../reports/macros.html")),
    (
        "first-page.html",
        include_str!("../../reports/first-page.html"),
    ),
    ("money.html", include_str!("../../reports/money.html")),
    ("stops.html", include_str!("../../reports/stops.html")),
    (
        "component.html",
        include_str!("../../reports/component.html"),
    ),
    ("since.html", include_str!("../../reports/since.html")),
    (
        "other-components.html",
        include_str!("../../reports/other-components.html"),
    ),
    ("quality.html", include_str!("../../reports/quality.html")),
    ("method.html", include_str!("../../reports/method.html")),
    ("safety.html", include_str!("../../reports/safety.html")),
    ("ledger.html", include_str!("../../reports/ledger.html")),
    ("report.css", include_str!("../../reports/report.css")),
    ("sheet.html", include_str!("../../reports/sheet.html")),
    ("sheet.css", include_str!("../../reports/sheet.css")),
];

/// What differs from the pages as built in.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Dress {
    /// Name, as in [`BUILT_IN`], and text.
    pub own: Vec<(String, String)>,
    /// A picture as a `data:` address; see [`picture`].
    pub logo: Option<String>,
    /// None: as the reader's printer has it.
    pub paper: Option<Paper>,
}

impl Dress {
    /// The text of a template or style sheet: the plant's own, else the one built in.
    pub(super) fn text(&self, name: &str) -> String {
        let own = self.own.iter().find(|(known, _)| known == name);
        let built_in = || BUILT_IN.iter().find(|(known, _)| *known == name);
        match own {
            Some((_, text)) => text.clone(),
            None => built_in().map_or_else(String::new, |(_, text)| (*text).to_owned()),
        }
    }

    /// All templates of pages.
    pub(super) fn templates(&self) -> Vec<(&'static str, String)> {
        let pages = BUILT_IN.iter().filter(|(name, _)| name.ends_with(".html"));
        pages.map(|(name, _)| (*name, self.text(name))).collect()
    }

    /// True where the plant has its own of this name: a fault in it is the plant's to mend.
    pub fn is_own(&self, name: &str) -> bool {
        self.own.iter().any(|(own, _)| own == name)
    }
}

/// Largest logo, in bytes: a page that is sent about should stay small.
pub const LARGEST_LOGO: usize = 500_000;

/// A picture's bytes as an address that stands in the page itself. What kind it is, its first
/// bytes say, not its name. An SVG shown so runs no script and fetches nothing.
///
/// Errors: neither SVG, PNG nor JPEG; larger than [`LARGEST_LOGO`].
pub fn picture(bytes: &[u8]) -> Result<String, PictureError> {
    if bytes.len() > LARGEST_LOGO {
        return Err(PictureError::Large { bytes: bytes.len() });
    }
    let kind = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        "image/png"
    } else if bytes.starts_with(b"\xff\xd8\xff") {
        "image/jpeg"
    } else if is_svg(bytes) {
        "image/svg+xml"
    } else {
        return Err(PictureError::Unknown);
    };
    Ok(format!("data:{kind};base64,{}", base64(bytes)))
}

/// Why a file cannot be a logo.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    #[error("it holds no SVG, PNG or JPEG picture")]
    Unknown,
    #[error("it is too large: {bytes} bytes, where {LARGEST_LOGO} are the most")]
    Large { bytes: usize },
}

fn is_svg(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let text = text.trim_start_matches('\u{feff}').trim_start();
    (text.starts_with("<svg") || text.starts_with("<?xml") || text.starts_with("<!--"))
        && text.contains("<svg")
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let byte = |n: usize| u32::from(three.get(n).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for n in 0..4 {
            if n <= three.len() {
                out.push(char::from(LETTERS[(bits >> (18 - 6 * n) & 63) as usize]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

impl From<minijinja::Error> for ReportError {
    fn from(error: minijinja::Error) -> Self {
        // The innermost cause names the template that holds the fault.
        let mut at = &error;
        while let Some(cause) =
            std::error::Error::source(at).and_then(|cause| cause.downcast_ref::<minijinja::Error>())
        {
            at = cause;
        }
        let what = match at.detail() {
            Some(detail) => format!("{}: {detail}", at.kind()),
            None => at.kind().to_string(),
        };
        ReportError::Template {
            name: at
                .name()
                .or(error.name())
                .unwrap_or("report.html")
                .to_owned(),
            line: at.line().or(error.line()),
            what,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn bytes_are_written_as_the_standard_shows() {
        for (text, written) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(text.as_bytes()), written);
        }
    }

    #[test]
    fn a_picture_is_known_by_its_bytes() {
        let of = |bytes: &[u8]| picture(bytes).map(|data| data[..15].to_owned());
        assert_eq!(of(b"\x89PNG\r\n\x1a\n...").unwrap(), "data:image/png;");
        assert_eq!(of(b"\xff\xd8\xff\xe0...").unwrap(), "data:image/jpeg");
        assert_eq!(
            of(b"<?xml version='1.0'?><svg/>").unwrap(),
            "data:image/svg+"
        );
        assert_eq!(of(b"<html></html>"), Err(PictureError::Unknown));
        assert_eq!(of(b""), Err(PictureError::Unknown));
        assert!(matches!(
            of(&vec![0; 500_001]),
            Err(PictureError::Large { .. })
        ));
    }

    #[test]
    fn what_is_built_in_has_each_name_once() {
        let mut names: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), BUILT_IN.len());
    }
}
