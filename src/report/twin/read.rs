//! Reading a twin back: what is no twin is told with its line and its cure.
//!
//! In: text. Out: [`Twin`] or [`Unreadable`]. Never: files.

use serde_json::Value;

use super::{Twin, VERSION};
use crate::quantity::trouble::{Place, Trouble};

/// Why a text is no twin that can be read here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unreadable {
    /// It is no JSON.
    NotJson { at: At, what: String },
    /// It is JSON, and no report.
    NoReport,
    /// It is a report of another version of the contract.
    OtherVersion { found: String },
    /// It says that it is a report, and a key is missing or holds something else.
    Key { at: At, what: String },
}

/// A place in the text: line and column from 1, and the line itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct At {
    pub line: usize,
    pub column: usize,
    pub text: String,
}

/// Reads a twin.
///
/// Keys that are not known here are passed over: later programs may add some.
pub fn read(text: &str) -> Result<Twin, Unreadable> {
    let value: Value = serde_json::from_str(text).map_err(|error| Unreadable::NotJson {
        at: place(text, &error),
        what: plain(&error),
    })?;
    match value.get("report") {
        None => return Err(Unreadable::NoReport),
        Some(version) if version.as_u64() == Some(VERSION) => {}
        Some(other) => {
            return Err(Unreadable::OtherVersion {
                found: other.to_string(),
            });
        }
    }
    // From the text again: so that a fault has its line.
    serde_json::from_str(text).map_err(|error| Unreadable::Key {
        at: place(text, &error),
        what: plain(&error),
    })
}

fn place(text: &str, error: &serde_json::Error) -> At {
    let line = text.lines().nth(error.line().saturating_sub(1));
    At {
        line: error.line(),
        column: error.column(),
        text: line.unwrap_or_default().to_owned(),
    }
}

/// The parser's words without the place, which is told apart.
fn plain(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let end = text.find(" at line ").unwrap_or(text.len());
    text[..end].to_owned()
}

impl Unreadable {
    /// What to tell of the file named.
    pub fn told(&self, file: &str) -> Trouble {
        let placed = |at: &At| Place {
            file: file.to_owned(),
            line: (at.line > 0).then_some(at.line),
            excerpt: (!at.text.is_empty()).then(|| at.text.clone()),
            span: span(at),
        };
        let give = "give the report.json that stands beside an earlier report.html";
        match self {
            Unreadable::NotJson { at, what } => {
                Trouble::error("since-not-json", format!("no JSON: {what}"))
                    .placed(placed(at))
                    .cured_by(give)
            }
            Unreadable::NoReport => Trouble::error(
                "since-no-report",
                "not the JSON of a report: no key `report`",
            )
            .in_file(file)
            .cured_by(give),
            Unreadable::OtherVersion { found } => Trouble::error(
                "since-other-version",
                format!("version {found} of a report’s JSON; this program reads version {VERSION}"),
            )
            .in_file(file)
            .cured_by(
                "write the earlier report anew: report --as-of its day, --out another folder",
            ),
            Unreadable::Key { at, what } => Trouble::error(
                "since-bad-key",
                format!("not as a report writes it: {what}"),
            )
            .placed(placed(at))
            .cured_by(
                "write the earlier report anew: report --as-of its day, --out another folder",
            ),
        }
    }
}

/// The byte pointed at, where it is a character of its own.
fn span(at: &At) -> Option<std::ops::Range<usize>> {
    let from = at.column.saturating_sub(1);
    let whole = at.text.is_char_boundary(from) && at.text.is_char_boundary(from + 1);
    whole.then(|| from..from + 1)
}
