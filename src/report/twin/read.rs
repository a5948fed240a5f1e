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
    NotJson { line: usize, what: String },
    /// It is JSON, and no report.
    NoReport,
    /// It is a report of another version of the contract.
    OtherVersion { found: String },
    /// It says that it is a report, and a key is missing or holds something else.
    Key { line: usize, what: String },
}

/// Reads a twin.
///
/// Keys that are not known here are passed over: later programs may add some.
pub fn read(text: &str) -> Result<Twin, Unreadable> {
    let value: Value = serde_json::from_str(text).map_err(|error| Unreadable::NotJson {
        line: error.line(),
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
        line: error.line(),
        what: plain(&error),
    })
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
        let at = |line: usize| Place {
            file: file.to_owned(),
            line: (line > 0).then_some(line),
            ..Place::default()
        };
        let give = "give the report.json that stands beside an earlier report.html";
        match self {
            Unreadable::NotJson { line, what } => {
                Trouble::error("since-not-json", format!("no JSON: {what}"))
                    .placed(at(*line))
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
            Unreadable::Key { line, what } => Trouble::error(
                "since-bad-key",
                format!("not as a report writes it: {what}"),
            )
            .placed(at(*line))
            .cured_by(
                "write the earlier report anew: report --as-of its day, --out another folder",
            ),
        }
    }
}
