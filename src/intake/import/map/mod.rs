//! The map: how the rows of a file become entries (`MAP.toml`).
//!
//! In: the text of a map. Out: a checked [`Map`], or every fault found in it with its
//! line. Never: rows.

mod bind;
mod check;
mod fault;
mod form;
mod read;
mod read_entries;

use std::collections::HashMap;
use std::path::Path;

use chrono::{NaiveDate, NaiveTime};
use chrono_tz::Tz;
use encoding_rs::Encoding;

pub use bind::Places;
pub use fault::{Fault, MapError, MapFault};
pub use form::{KEYS, KINDS, Kept, KeyType, kept, key_type};

use super::dates::Pattern;
use super::figures::NumberForm;
use crate::book::{Age, Kind};
use crate::quantity::Unit;
use crate::quantity::text::utf8;
use crate::quantity::trouble::shown;
use crate::quantity::walk::At;

/// A map, read and sound in itself. Columns are named by their place in
/// [`Map::columns`] until [`Map::bind`] finds them in a file.
#[derive(Debug, Clone)]
pub struct Map {
    /// The file as the user names it.
    pub name: String,
    text: String,
    pub file: FileForm,
    pub times: TimeForm,
    pub tables: Vec<ValueTable>,
    pub columns: Vec<At<ColumnName>>,
    pub skips: Vec<Skip>,
    pub entries: Vec<EntryForm>,
    pub in_place: Vec<InPlace>,
}

/// A column, by its place in [`Map::columns`].
pub type ColumnId = usize;

/// How a map names a column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ColumnName {
    Heading(String),
    /// Counted from 1.
    Number(usize),
}

/// `[file]`: what the file looks like.
#[derive(Debug, Clone)]
pub struct FileForm {
    pub sheet: Option<At<String>>,
    /// Row of the headings, from 1; 0 where there are none.
    pub headings: At<u32>,
    pub delimiter: u8,
    pub encoding: Option<&'static Encoding>,
    pub numbers: NumberForm,
    /// Columns in which an empty cell means the same as the one above.
    pub fill_down: Vec<ColumnId>,
    pub newest_first: bool,
    /// Bytes of the table; where it is left out, the first of the map.
    pub span: std::ops::Range<usize>,
}

/// `[times]`: how the file writes days and times.
#[derive(Debug, Clone)]
pub struct TimeForm {
    /// The plant's own where none is stated.
    pub zone: Option<Tz>,
    pub patterns: Vec<Pattern>,
    /// For days written without a time.
    pub time_of_day: NaiveTime,
}

/// `[tables.NAME]`: what values of the file mean.
#[derive(Debug, Clone)]
pub struct ValueTable {
    pub name: String,
    pub line: usize,
    /// By [`normal`] form.
    pub values: HashMap<String, Meaning>,
}

/// What a value of the file means: one value, or several that make one entry each. An
/// empty text is no value.
#[derive(Debug, Clone)]
pub enum Meaning {
    /// The same for every key that asks.
    Same(Vec<At<String>>),
    /// Its own for each key; none for the others.
    ByKey(Vec<(&'static str, Vec<At<String>>)>),
}

impl Meaning {
    /// What it means for a key.
    pub fn for_key(&self, key: &str) -> &[At<String>] {
        match self {
            Meaning::Same(values) => values,
            Meaning::ByKey(all) => {
                let own = all.iter().find(|(other, _)| *other == key);
                own.map_or(&[], |(_, values)| values)
            }
        }
    }
}

/// `[[skip]]`: rows that are passed over.
#[derive(Debug, Clone)]
pub struct Skip {
    pub when: Vec<Condition>,
    /// How such rows are called in the outcome.
    pub why: String,
}

/// What a cell must be; several tests of one condition must all hold.
#[derive(Debug, Clone)]
pub struct Condition {
    pub column: ColumnId,
    pub tests: Vec<Test>,
}

/// Texts in their [`normal`] form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Test {
    Is(Vec<String>),
    IsNot(Vec<String>),
    Holds(Vec<String>),
    Begins(Vec<String>),
    Empty(bool),
}

/// `[[entry]]`: one entry that a row makes.
#[derive(Debug, Clone)]
pub struct EntryForm {
    pub kind: Kind,
    /// Line of the map, from 1.
    pub line: usize,
    /// All must hold.
    pub when: Vec<Condition>,
    pub keys: Vec<KeyForm>,
}

impl EntryForm {
    /// How a key is filled.
    pub fn key(&self, key: &str) -> Option<&KeyForm> {
        self.keys.iter().find(|form| form.key == key)
    }
}

/// Where the value of a key comes from.
#[derive(Debug, Clone)]
pub struct KeyForm {
    pub key: &'static str,
    pub from: From,
    /// Place in [`Map::tables`].
    pub table: Option<usize>,
    /// The value where all its cells are empty.
    pub if_empty: Option<At<String>>,
    /// The unit its cells are in, where that is not the key's own.
    pub unit: Option<At<Unit>>,
    /// What parts the cell into one entry a piece.
    pub split: Option<String>,
    /// The column that holds the time of day.
    pub clock: Option<ColumnId>,
    /// What stands between the cells of several columns.
    pub join: String,
}

#[derive(Debug, Clone)]
pub enum From {
    Constant(At<String>),
    Columns(Vec<ColumnId>),
}

/// `[[in_place]]`: what was in a slot before its first renewal in the file.
#[derive(Debug, Clone)]
pub struct InPlace {
    /// All where none is named.
    pub components: Vec<At<String>>,
    pub age: Age,
    /// The machine's in-service day where none is stated.
    pub since: Option<NaiveDate>,
}

/// A text as tables and conditions compare it: case and runs of blanks passed over.
pub fn normal(text: &str) -> String {
    let mut normal = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !normal.is_empty() {
            normal.push(' ');
        }
        normal.extend(word.chars().flat_map(char::to_lowercase));
    }
    normal
}

impl Map {
    /// Reads and checks a map.
    ///
    /// Errors: the file cannot be read, or has faults: all of them are told.
    pub fn load(path: &Path) -> Result<Map, MapError> {
        let file = shown(path);
        let bytes = std::fs::read(path).map_err(|error| MapError::Unreadable {
            file: file.clone(),
            reason: error.to_string(),
        })?;
        match utf8(&bytes) {
            Ok(text) => Map::parse(&file, text.to_owned()),
            Err(line) => Err(MapError::NotUtf8 { file, line }),
        }
    }

    /// Reads and checks the text of a map; `name` stands in for the file in errors.
    ///
    /// Errors: [`MapError::Faults`], all of them in the order of the text.
    pub fn parse(name: &str, text: String) -> Result<Map, MapError> {
        let (map, faults) = read::read(name, &text);
        if faults.is_empty() {
            Ok(Map { text, ..map })
        } else {
            Err(MapError::Faults {
                file: name.to_owned(),
                faults,
            })
        }
    }

    /// The error that tells faults found after reading: where the map does not fit a file
    /// or a register.
    pub fn faulty(&self, faults: Vec<(std::ops::Range<usize>, MapFault)>) -> MapError {
        let mut walk = fault::Walk::new(&self.text);
        for (span, fault) in faults {
            walk.fault(span, fault);
        }
        MapError::Faults {
            file: self.name.clone(),
            faults: walk.finish(),
        }
    }
}
