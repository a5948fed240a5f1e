//! The keys of entries as a map fills them: of which type, needed or not, in which unit.
//!
//! In: a key. Out: what may be written for it. Never: files.

use std::sync::LazyLock;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::book::{
    Finding, Found, JobKind, Kind, LineFaultKind, Reason, given_keys, parse_given_line,
};
use crate::quantity::Dimension;

/// Kinds of entry that rows can make.
pub const KINDS: &[&str] = &[
    "reading",
    "installed",
    "replaced",
    "removed",
    "inspected",
    "measured",
    "job",
    "expense",
];

/// What a key holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyType {
    Text,
    /// One of these words.
    Word(&'static [&'static str]),
    Number,
    Time,
    Flag,
}

/// Every key that a row can fill, in the order of a book's line.
pub static KEYS: LazyLock<Vec<&'static str>> = LazyLock::new(|| {
    let mut keys = Vec::new();
    for kind in KINDS.iter().filter_map(|word| Kind::from_word(word)) {
        for key in keys_of(kind) {
            if !keys.contains(&key) {
                keys.push(key);
            }
        }
    }
    keys
});

/// The keys of a kind that a row can fill.
pub fn keys_of(kind: Kind) -> impl Iterator<Item = &'static str> {
    // The kind is the map's own; the source is written by the import itself.
    given_keys(kind).filter(|key| !matches!(*key, "entry" | "source"))
}

/// The keys a kind cannot do without; `who` may come from the command line.
pub fn needed(kind: Kind) -> Vec<&'static str> {
    let line = format!("{{\"entry\":\"{}\"}}", kind.word());
    let now = DateTime::<Utc>::UNIX_EPOCH;
    let faults = parse_given_line(line.as_bytes(), Tz::UTC, now, Some("nobody"));
    let lacking = faults.err().unwrap_or_default().into_iter();
    let lacking = lacking.filter_map(|fault| match fault.kind {
        LineFaultKind::MissingKey { key, .. } => Some(key),
        _ => None,
    });
    // A line recorded by hand happened now; a row did not.
    std::iter::once("time").chain(lacking).collect()
}

pub fn key_type(key: &str) -> KeyType {
    match key {
        "time" | "start" | "stop" => KeyType::Time,
        "value" | "pieces" | "age" | "span" | "new_value" | "labour_h" | "downtime_h" | "cost" => {
            KeyType::Number
        }
        "reset" => KeyType::Flag,
        "reason" => KeyType::Word(Reason::WORDS),
        "found" => KeyType::Word(Found::WORDS),
        "finding" => KeyType::Word(Finding::WORDS),
        "kind" => KeyType::Word(JobKind::WORDS),
        _ => KeyType::Text,
    }
}

/// In which unit a key is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// This one, of this kind of quantity.
    In(&'static str, Dimension),
    /// That of the usage a meter counts, or a component ages by.
    UsageUnit,
    /// As it was given, beside the entry's own `unit`.
    AsGiven,
    /// A number without unit.
    Bare,
}

pub fn kept(kind: Option<Kind>, key: &str) -> Kept {
    match key {
        "labour_h" | "downtime_h" => Kept::In("h", Dimension::Duration),
        "span" => Kept::In("m", Dimension::Length),
        "age" => Kept::UsageUnit,
        "value" if kind == Some(Kind::Reading) => Kept::UsageUnit,
        "value" | "new_value" => Kept::AsGiven,
        _ => Kept::Bare,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_kind_needs_is_asked_of_the_book() {
        assert_eq!(needed(Kind::Reading), ["time", "machine", "meter", "value"]);
        assert!(needed(Kind::Replaced).contains(&"reason"));
        assert_eq!(needed(Kind::Expense), ["time", "cost", "what"]);
    }

    #[test]
    fn every_key_of_a_book_can_be_filled() {
        for key in [
            "serial",
            "new_value",
            "downtime_h",
            "kind",
            "what",
            "reset",
            "note",
            "who",
        ] {
            assert!(KEYS.contains(&key), "{key}");
        }
        assert!(!KEYS.contains(&"entry") && !KEYS.contains(&"source"));
    }
}
