//! Faults of a register, as data.

use thiserror::Error;

use crate::quantity::Unit;
use crate::quantity::form_fault::{self, FormFault, Told};
use crate::quantity::trouble::{Place, Trouble};
use crate::quantity::walk;

/// Why a register cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum RegisterError {
    /// The file could not be read; `missing` if there is none.
    #[error("could not read {file}: {reason}")]
    Unreadable {
        file: String,
        missing: bool,
        reason: String,
    },
    /// Not a text in UTF-8; the first such line.
    #[error("{file}:{line}: not UTF-8 text")]
    NotUtf8 { file: String, line: usize },
    /// It was read and has faults.
    #[error("{file} has {} fault(s)", faults.len())]
    Faults { file: String, faults: Vec<Fault> },
}

impl RegisterError {
    /// All that is wrong, for showing.
    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            RegisterError::Unreadable {
                file,
                missing,
                reason,
            } => {
                let mut trouble = Trouble::error(
                    "register-unreadable",
                    format!("could not be read: {reason}"),
                )
                .in_file(file.clone());
                if *missing {
                    trouble = trouble
                        .cured_by("name the ledger folder, the one that holds plant.toml;")
                        .cured_by("a new ledger is made by: wearbook start FOLDER");
                }
                vec![trouble]
            }
            RegisterError::NotUtf8 { file, line } => {
                let place = Place {
                    file: file.clone(),
                    line: Some(*line),
                    ..Place::default()
                };
                vec![
                    Trouble::error("register-not-utf8", "not UTF-8 text")
                        .placed(place)
                        .cured_by("save the file as UTF-8"),
                ]
            }
            RegisterError::Faults { file, faults } => {
                faults.iter().map(|fault| fault.trouble(file)).collect()
            }
        }
    }

    /// Whether the cause is the disk rather than what is on it: a folder without a
    /// register is no ledger, which is bad data.
    pub fn is_io(&self) -> bool {
        matches!(self, RegisterError::Unreadable { missing: false, .. })
    }
}

/// One fault, and where in the text it lies.
pub type Fault = form_fault::Fault<FaultKind>;

/// The walk over the text of a register.
pub(super) type Walk<'t> = walk::Walk<'t, FaultKind>;

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FaultKind {
    #[error(transparent)]
    Form(#[from] FormFault),
    #[error("{what} `{value}` is stated twice (first on line {first})")]
    Duplicate {
        what: &'static str,
        value: String,
        first: usize,
    },
    #[error("no {what} `{value}` in the register")]
    UnknownReference {
        what: &'static str,
        value: String,
        nearest: Option<String>,
    },
    #[error("no time zone `{value}`")]
    UnknownZone {
        value: String,
        nearest: Option<String>,
    },
    #[error("no language `{value}`")]
    UnknownLanguage { value: String },
    #[error("no paper `{value}`")]
    UnknownPaper { value: String },
    #[error("`{value}` leads out of the ledger's folder")]
    OutsideLedger { value: String },
    #[error("`{value}` is no picture a page can show")]
    NoPicture { value: String },
    #[error("no currency `{value}`")]
    UnknownCurrency {
        value: String,
        nearest: Option<String>,
    },
    #[error("no unit `{value}`")]
    UnknownUnit {
        value: String,
        nearest: Option<String>,
    },
    #[error("`limit` names {found} rules: it should name exactly one")]
    LimitRules { found: usize },
    #[error("`low` ({low}) is not below `high` ({high})")]
    LowNotBelowHigh { low: f64, high: f64 },
    #[error("a paired limit takes its zones by itself: leave `zone` out")]
    PairedWithZone,
    #[error("the register has no {table}")]
    NoTable { table: &'static str },
}

impl Told for FaultKind {
    fn name(&self) -> &'static str {
        match self {
            FaultKind::Form(form) => match form {
                FormFault::Syntax { .. } => "register-syntax",
                FormFault::UnknownKey { .. } => "register-unknown-key",
                FormFault::MissingKey { .. } => "register-missing-key",
                FormFault::WrongType { .. } => "register-wrong-type",
                FormFault::Empty { .. } | FormFault::Untidy { .. } => "register-bad-text",
                FormFault::OutOfDomain { .. } => "register-out-of-domain",
            },
            FaultKind::Duplicate { .. } => "register-duplicate",
            FaultKind::UnknownReference { .. } => "register-unknown-reference",
            FaultKind::UnknownZone { .. } => "register-unknown-zone",
            FaultKind::UnknownLanguage { .. } => "register-unknown-language",
            FaultKind::UnknownPaper { .. } => "register-unknown-paper",
            FaultKind::OutsideLedger { .. } => "register-outside-ledger",
            FaultKind::NoPicture { .. } => "register-no-picture",
            FaultKind::UnknownCurrency { .. } => "register-unknown-currency",
            FaultKind::UnknownUnit { .. } => "register-unknown-unit",
            FaultKind::LimitRules { .. } => "register-limit-rules",
            FaultKind::LowNotBelowHigh { .. } => "register-low-not-below-high",
            FaultKind::PairedWithZone => "register-paired-with-zone",
            FaultKind::NoTable { .. } => "register-no-table",
        }
    }

    fn cure(&self) -> Option<String> {
        let meant = |near: &String| format!("did you mean `{near}`?");
        Some(match self {
            FaultKind::Form(form) => return form.cure(),
            FaultKind::Duplicate { .. } => "rename or remove one of the two".to_owned(),
            FaultKind::UnknownReference { what, nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => format!("state it in a [[{what}]] table, or mend the name"),
            },
            FaultKind::UnknownZone { nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => "write an IANA name such as \"Europe/London\"".to_owned(),
            },
            FaultKind::UnknownLanguage { .. } => {
                "write a language and where it is spoken, such as \"de-AT\" or \"fr\"".to_owned()
            }
            FaultKind::UnknownPaper { .. } => "write \"A4\" or \"letter\"".to_owned(),
            FaultKind::OutsideLedger { .. } => {
                "put the file into the ledger's folder and name it from there, such as \
                 \"reports/logo.svg\""
                    .to_owned()
            }
            FaultKind::NoPicture { .. } => "use a file .svg, .png or .jpg".to_owned(),
            FaultKind::UnknownCurrency { nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => "write an ISO 4217 code such as \"EUR\"".to_owned(),
            },
            FaultKind::UnknownUnit { nearest, .. } => match nearest {
                Some(near) => meant(near),
                None => {
                    let known: Vec<&str> = Unit::symbols().collect();
                    format!("units known: {}", known.join(", "))
                }
            },
            FaultKind::LimitRules { .. } => {
                "one of at_most, at_least, loss_from_new_at_most, per_metre_at_most, paired"
                    .to_owned()
            }
            FaultKind::LowNotBelowHigh { .. } => {
                "they are the 5 % and 95 % points of the shape".to_owned()
            }
            FaultKind::PairedWithZone => {
                "readings are then recorded in the zones `working` and `unworn`".to_owned()
            }
            FaultKind::NoTable { table } => format!("add {table}"),
        })
    }
}
