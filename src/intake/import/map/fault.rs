//! Faults of a map, as data.

use thiserror::Error;

use crate::quantity::form_fault::{self, FormFault, Told};
use crate::quantity::trouble::{Place, Trouble};
use crate::quantity::walk;

/// Why a map cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MapError {
    #[error("could not read {file}: {reason}")]
    Unreadable { file: String, reason: String },
    /// Not a text in UTF-8; the first such line.
    #[error("{file}:{line}: not UTF-8 text")]
    NotUtf8 { file: String, line: usize },
    /// It was read and has faults, or does not fit the file or the register.
    #[error("{file} has {} fault(s)", faults.len())]
    Faults { file: String, faults: Vec<Fault> },
}

impl MapError {
    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            MapError::Unreadable { file, reason } => vec![
                Trouble::error("io", format!("could not be read: {reason}"))
                    .in_file(file.clone())
                    .cured_by("a first map is written by: wearbook import --sketch FILE"),
            ],
            MapError::NotUtf8 { file, line } => {
                let place = Place {
                    file: file.clone(),
                    line: Some(*line),
                    ..Place::default()
                };
                vec![
                    Trouble::error("map-not-utf8", "not UTF-8 text")
                        .placed(place)
                        .cured_by("save the map as UTF-8"),
                ]
            }
            MapError::Faults { file, faults } => {
                faults.iter().map(|fault| fault.trouble(file)).collect()
            }
        }
    }

    /// Whether the cause is the disk rather than what is on it.
    pub fn is_io(&self) -> bool {
        matches!(self, MapError::Unreadable { .. })
    }
}

/// One fault, and where in the map it lies.
pub type Fault = form_fault::Fault<MapFault>;

/// The walk over the text of a map.
pub(in crate::intake::import) type Walk<'t> = walk::Walk<'t, MapFault>;

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MapFault {
    #[error(transparent)]
    Form(#[from] FormFault),
    #[error("the map has no {table}")]
    NoTable { table: &'static str },
    #[error("`{key}` is `{value}`: it should be {}", one_of(words))]
    NotAWord {
        key: String,
        value: String,
        words: Vec<&'static str>,
        nearest: Option<&'static str>,
    },
    #[error("a `{kind}` entry needs `{key}`")]
    KeyNeeded {
        kind: &'static str,
        key: &'static str,
    },
    #[error("no kind of entry `{value}` to import")]
    UnknownKind {
        value: String,
        nearest: Option<&'static str>,
        known: Vec<&'static str>,
    },
    #[error("no table of values `{name}` in the map")]
    UnknownTable {
        name: String,
        nearest: Option<String>,
    },
    #[error("the table of values has `{value}` twice, once case and blanks are passed over")]
    ValueTwice { value: String },
    #[error("no time zone `{value}`")]
    UnknownZone {
        value: String,
        nearest: Option<String>,
    },
    #[error("no encoding `{value}`")]
    UnknownEncoding {
        value: String,
        nearest: Option<&'static str>,
    },
    #[error("`{value}` is no pattern of a date: {reason}")]
    BadPattern { value: String, reason: String },
    #[error("`{value}` is no time of day")]
    BadClock { value: String },
    #[error("`{key}` is `{value}`: it should be {expected}")]
    BadConstant {
        key: &'static str,
        value: String,
        expected: &'static str,
    },
    #[error("no unit `{value}`")]
    UnknownUnit {
        value: String,
        nearest: Option<&'static str>,
    },
    #[error("`{key}` takes no `unit` here: {reason}")]
    UnitMisplaced {
        key: &'static str,
        reason: &'static str,
    },
    #[error("{unit} cannot be turned into `{own}`, the unit of the usage")]
    UnitMisfit { unit: &'static str, own: String },
    #[error("`{key}` takes no `{option}`")]
    OptionMisplaced {
        key: &'static str,
        option: &'static str,
    },
    #[error("one key of an entry can be split, and `{first}` is already")]
    SplitTwice { first: &'static str },
    #[error("the condition has no test")]
    NoTest,
    #[error("column `{column}` is not in {file}")]
    UnknownColumn {
        column: String,
        file: String,
        nearest: Option<String>,
        known: Vec<String>,
        /// A delimiter that the one heading holds.
        delimiter: Option<char>,
    },
    #[error("column `{column}` stands {} times in {file}", places.len())]
    ColumnTwice {
        column: String,
        file: String,
        /// From 1.
        places: Vec<usize>,
    },
    #[error("{file} has no column {number}: it has {width}")]
    NoSuchColumn {
        number: usize,
        file: String,
        width: usize,
    },
    #[error("row {row} of {file} holds no headings: it is empty")]
    HeadingsEmpty { row: u64, file: String },
    #[error("{file} has no sheet `{sheet}`")]
    UnknownSheet {
        sheet: String,
        file: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    #[error("the map names no sheet, and {file} has {}", known.len())]
    SheetNeeded { file: String, known: Vec<String> },
    #[error("no {what} `{value}` in the register")]
    NotInRegister {
        what: &'static str,
        value: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
}

fn one_of(words: &[&'static str]) -> String {
    match words {
        [one] => (*one).to_owned(),
        several => format!("one of {}", several.join(", ")),
    }
}

impl Told for MapFault {
    fn name(&self) -> &'static str {
        match self {
            MapFault::Form(form) => match form {
                FormFault::Syntax { .. } => "map-syntax",
                FormFault::UnknownKey { .. } => "map-unknown-key",
                FormFault::MissingKey { .. } => "map-missing-key",
                FormFault::WrongType { .. } => "map-wrong-type",
                FormFault::Empty { .. } | FormFault::Untidy { .. } => "map-bad-text",
                FormFault::OutOfDomain { .. } => "map-out-of-domain",
            },
            MapFault::NoTable { .. } => "map-no-table",
            MapFault::NotAWord { .. } => "map-not-a-word",
            MapFault::KeyNeeded { .. } => "map-key-needed",
            MapFault::UnknownKind { .. } => "map-unknown-kind",
            MapFault::UnknownTable { .. } => "map-unknown-table",
            MapFault::ValueTwice { .. } => "map-value-twice",
            MapFault::UnknownZone { .. } => "map-unknown-zone",
            MapFault::UnknownEncoding { .. } => "map-unknown-encoding",
            MapFault::BadPattern { .. } => "map-bad-pattern",
            MapFault::BadClock { .. } => "map-bad-time",
            MapFault::BadConstant { .. } => "map-bad-constant",
            MapFault::UnknownUnit { .. } => "map-unknown-unit",
            MapFault::UnitMisplaced { .. } => "map-unit-misplaced",
            MapFault::UnitMisfit { .. } => "map-unit-misfit",
            MapFault::OptionMisplaced { .. } => "map-option-misplaced",
            MapFault::SplitTwice { .. } => "map-split-twice",
            MapFault::NoTest => "map-no-test",
            MapFault::UnknownColumn { .. } => "map-unknown-column",
            MapFault::ColumnTwice { .. } => "map-column-twice",
            MapFault::NoSuchColumn { .. } => "map-no-such-column",
            MapFault::HeadingsEmpty { .. } => "map-headings-empty",
            MapFault::UnknownSheet { .. } => "map-unknown-sheet",
            MapFault::SheetNeeded { .. } => "map-sheet-needed",
            MapFault::NotInRegister { .. } => "map-not-in-register",
        }
    }

    fn cure(&self) -> Option<String> {
        let meant = |near: &str| format!("did you mean `{near}`?");
        let known_or = |nearest: &Option<String>, what: &str, known: &[String]| match nearest {
            Some(near) => meant(near),
            None if known.is_empty() => "none are known here; see plant.toml".to_owned(),
            None => format!("{what}: {}", known.join(", ")),
        };
        Some(match self {
            MapFault::Form(form) => return form.cure(),
            MapFault::NoTable { table } => format!("add {table}"),
            MapFault::NotAWord { nearest, .. } => meant((*nearest)?),
            MapFault::KeyNeeded { key, .. } => {
                format!("add `{key} = {{ column = \"…\" }}`, or a constant")
            }
            MapFault::UnknownKind { nearest, known, .. } => match nearest {
                Some(near) => meant(near),
                None => format!("kinds: {}", known.join(", ")),
            },
            MapFault::UnknownTable { name, nearest } => match nearest {
                Some(near) => meant(near),
                None => format!("add [tables.{name}], or leave `table` out"),
            },
            MapFault::ValueTwice { .. } => "keep one of the two".to_owned(),
            MapFault::UnknownZone { nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => "write an IANA name such as \"Europe/London\"".to_owned(),
            },
            MapFault::UnknownEncoding { nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => "write utf-8, windows-1252, iso-8859-15 or another name".to_owned(),
            },
            MapFault::BadPattern { .. } => {
                "write it as \"DD.MM.YYYY hh:mm\", with YYYY or YY, MM or MON, DD, hh, mm, ss, AM"
                    .to_owned()
            }
            MapFault::BadClock { .. } => "write it as \"06:00\"".to_owned(),
            MapFault::UnknownUnit { nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => "units are written as in plant.toml".to_owned(),
            },
            MapFault::NoTest => "give one of is, is_not, holds, begins, empty".to_owned(),
            MapFault::UnknownColumn {
                nearest,
                known,
                delimiter,
                ..
            } => match (delimiter, nearest) {
                (Some('\t'), _) => "state delimiter = \"tab\" in [file]".to_owned(),
                (Some(delimiter), _) => format!("state delimiter = \"{delimiter}\" in [file]"),
                (None, Some(near)) => meant(near),
                (None, None) => format!("its headings: {}", known.join(", ")),
            },
            MapFault::ColumnTwice { places, .. } => {
                let numbers: Vec<String> = places.iter().map(usize::to_string).collect();
                format!(
                    "name it by its number: column = {}",
                    numbers.join(" or column = ")
                )
            }
            MapFault::HeadingsEmpty { .. } => {
                "state the row of the headings: headings = … in [file]".to_owned()
            }
            MapFault::UnknownSheet { nearest, known, .. } => known_or(nearest, "sheets", known),
            MapFault::SheetNeeded { known, .. } => format!(
                "add `sheet = \"…\"` to [file]; sheets: {}",
                known.join(", ")
            ),
            MapFault::NotInRegister { nearest, known, .. } => known_or(nearest, "known", known),
            MapFault::BadConstant { .. }
            | MapFault::UnitMisplaced { .. }
            | MapFault::UnitMisfit { .. }
            | MapFault::OptionMisplaced { .. }
            | MapFault::SplitTwice { .. }
            | MapFault::NoSuchColumn { .. } => return None,
        })
    }
}
