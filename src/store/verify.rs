//! Books verified: chains followed, torn tails and unknown ages found, copies refused.
//!
//! In: book files. Out: [`Checked`], or every broken chain. Never: SQL.

use std::collections::BTreeMap;

use memchr::memmem;

use super::error::{StoreError, line_of};
use super::load::Source;
use crate::book::{Sha, chain_trouble, read_chain};
use crate::quantity::trouble::{Severity, Trouble};

/// What the verification found of one book.
#[derive(Debug)]
pub(crate) struct Checked {
    pub lines: u64,
    pub head: Sha,
    /// The first line's name; `None` for a book without lines.
    pub first: Option<Sha>,
    /// Lines (from 0) whose `age` is stated as unknown. DuckDB's reader cannot tell
    /// a `null` from a key that is not there.
    pub unknown_ages: Vec<usize>,
    /// Why the chain is broken.
    fault: Option<Trouble>,
    /// A last line cut short.
    pub torn: Option<Trouble>,
}

/// Reads a book once: its chain, and the ages stated as unknown.
pub(super) fn verify(source: &Source) -> Result<Checked, StoreError> {
    let bytes = std::fs::read(&source.path)
        .map_err(|error| StoreError::io(&source.path, "read it", &error))?;
    Ok(check(source, &bytes))
}

pub(super) fn check(source: &Source, bytes: &[u8]) -> Checked {
    let chain = read_chain(bytes);
    let text = |line: usize| {
        let name = line.checked_sub(1).and_then(|i| chain.lines.get(i));
        name.map_or(&[][..], |name| &bytes[name.bytes.clone()])
    };
    let fault = chain.fault.as_ref().map(|fault| {
        let excerpt = String::from_utf8_lossy(text(fault.line()));
        chain_trouble(&source.shown, fault, &excerpt)
    });
    let torn = &bytes[chain.torn.clone()];
    let torn = (!torn.is_empty()).then(|| {
        Trouble::error(
            "torn-tail",
            "the last line was cut short and does not count",
        )
        .with_severity(Severity::Warning)
        .placed(line_of(&source.shown, chain.lines.len() + 1, torn))
        .because(format!("{} bytes without a line feed.", torn.len()))
        .cured_by("the next recording in this book sets it aside; record it again")
    });
    let mut unknown_ages = Vec::new();
    for at in memmem::find_iter(&bytes[..chain.torn.start], b"\"age\"") {
        let line = chain.lines.partition_point(|name| name.bytes.end <= at);
        if unknown_ages.last() == Some(&line) {
            continue;
        }
        let stated: Option<serde_json::Value> = serde_json::from_slice(text(line + 1)).ok();
        if stated.is_some_and(|object| object.get("age").is_some_and(|age| age.is_null())) {
            unknown_ages.push(line);
        }
    }
    Checked {
        lines: chain.lines.len() as u64,
        head: chain.head(),
        first: chain.lines.first().map(|line| line.sha),
        unknown_ages,
        fault,
        torn,
    }
}

pub(super) fn refuse_broken(checked: &[Checked]) -> Result<(), StoreError> {
    let faults: Vec<Trouble> = checked.iter().filter_map(|b| b.fault.clone()).collect();
    if faults.is_empty() {
        Ok(())
    } else {
        Err(StoreError::Books(faults))
    }
}

/// A book in two files would count every entry twice.
pub(super) fn refuse_twins(sources: &[Source], checked: &[Checked]) -> Result<(), StoreError> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for (n, book) in checked.iter().enumerate() {
        let Some(first) = book.first else { continue };
        if let Some(other) = seen.insert(first.to_string(), n) {
            return Err(StoreError::SameBook {
                first: sources[other].shown.clone(),
                second: sources[n].shown.clone(),
            });
        }
    }
    Ok(())
}
