//! Faults any TOML text may have, as data; and a fault with its place in the text.

use std::fmt::Display;
use std::ops::Range;

use thiserror::Error;

use super::trouble::{Place, Trouble};

/// What may be wrong with the form of a text: its keys, their types and domains.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FormFault {
    #[error("not TOML: {message}")]
    Syntax { message: String },
    #[error("unknown key `{key}` in {table}")]
    UnknownKey {
        table: String,
        key: String,
        nearest: Option<String>,
        known: Vec<&'static str>,
    },
    #[error("{table} lacks `{key}`")]
    MissingKey { table: String, key: &'static str },
    #[error("`{key}` should be {expected}, not {found}")]
    WrongType {
        key: String,
        expected: &'static str,
        found: &'static str,
    },
    #[error("`{key}` is empty")]
    Empty { key: String },
    #[error("`{key}` begins or ends with a blank, or holds a control character")]
    Untidy { key: String },
    #[error("`{key}` is {value}: it should be {domain}")]
    OutOfDomain {
        key: String,
        value: String,
        domain: &'static str,
    },
}

impl FormFault {
    /// How to mend it, where that is not plain from what is wrong.
    pub fn cure(&self) -> Option<String> {
        match self {
            FormFault::UnknownKey { nearest, known, .. } => Some(match nearest {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("keys known here: {}", known.join(", ")),
            }),
            FormFault::MissingKey { key, .. } => Some(format!("add `{key} = …`")),
            _ => None,
        }
    }
}

/// What is wrong with a text, for programs and for people.
pub trait Told: Display {
    /// A short fixed name, for programs.
    fn name(&self) -> &'static str;
    /// How to mend it, where that is not plain from what is wrong.
    fn cure(&self) -> Option<String>;
}

/// One fault, and where in the text it lies.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault<K> {
    pub kind: K,
    /// Line, from 1.
    pub line: usize,
    /// That line's text.
    pub excerpt: String,
    /// Bytes of the excerpt to point at.
    pub span: Range<usize>,
}

impl<K: Told> Fault<K> {
    /// The fault as a trouble in this file.
    pub fn trouble(&self, file: &str) -> Trouble {
        let place = Place {
            file: file.to_owned(),
            line: Some(self.line),
            excerpt: Some(self.excerpt.clone()),
            span: Some(self.span.clone()),
        };
        let mut trouble = Trouble::error(self.kind.name(), self.kind.to_string()).placed(place);
        trouble.cure.extend(self.kind.cure());
        trouble
    }
}
