//! Books verified: chains followed, torn tails and unknown ages found, copies refused.
//!
//! In: book files. Out: [`Checked`], or every broken chain. Never: SQL.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;

use memchr::memmem;

use super::error::{StoreError, line_of};
use super::load::Source;
use crate::book::{Chain, Sha, chain_trouble, follow, read_chain};
use crate::quantity::trouble::{Severity, Trouble};

/// What the verification found of one book.
#[derive(Debug, Clone, PartialEq)]
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

/// Bytes read at a time: little memory, and enough lines for all threads.
const BLOCK: u64 = 4 << 20;

/// Reads a book once: its chain, and the ages stated as unknown.
pub(super) fn verify(source: &Source) -> Result<Checked, StoreError> {
    let io = |error| StoreError::io(&source.path, "read it", &error);
    let file = File::open(&source.path).map_err(io)?;
    if let Some(checked) = by_blocks(source, file, BLOCK).map_err(io)? {
        return Ok(checked);
    }
    // Which line broke the chain is told by the lines around it, so all are needed.
    let bytes = std::fs::read(&source.path).map_err(io)?;
    Ok(check(source, &bytes))
}

/// Follows the chain block by block; `None` where it is broken.
fn by_blocks(source: &Source, mut file: impl Read, block: u64) -> std::io::Result<Option<Checked>> {
    let mut checked = Checked::empty();
    let mut bytes = Vec::new();
    while file.by_ref().take(block).read_to_end(&mut bytes)? > 0 {
        let Some(last) = memchr::memrchr(b'\n', &bytes) else {
            continue;
        };
        let chain = follow(&bytes[..=last], checked.head);
        if chain.fault.is_some() {
            return Ok(None);
        }
        checked.take(&bytes, &chain);
        bytes.drain(..=last);
    }
    checked.torn = torn(source, checked.lines, &bytes);
    Ok(Some(checked))
}

/// The same of a book that was read as a whole.
pub(super) fn check(source: &Source, bytes: &[u8]) -> Checked {
    let chain = read_chain(bytes);
    let mut checked = Checked::empty();
    checked.take(bytes, &chain);
    checked.torn = torn(source, checked.lines, &bytes[chain.torn.clone()]);
    checked.fault = chain.fault.as_ref().map(|fault| {
        let name = fault.line().checked_sub(1).and_then(|n| chain.lines.get(n));
        let text = name.map_or(&[][..], |name| &bytes[name.bytes.clone()]);
        chain_trouble(&source.shown, fault, &String::from_utf8_lossy(text))
    });
    checked
}

impl Checked {
    fn empty() -> Checked {
        Checked {
            lines: 0,
            head: Sha::ZERO,
            first: None,
            unknown_ages: Vec::new(),
            fault: None,
            torn: None,
        }
    }

    /// Takes in the next lines of the book.
    fn take(&mut self, bytes: &[u8], chain: &Chain) {
        let Some(last) = chain.lines.last() else {
            return;
        };
        let before = self.lines as usize;
        for at in memmem::find_iter(&bytes[..last.bytes.end], b"\"age\"") {
            let line = chain.lines.partition_point(|name| name.bytes.end <= at);
            if self.unknown_ages.last() == Some(&(before + line)) {
                continue;
            }
            let text = &bytes[chain.lines[line].bytes.clone()];
            let stated: Option<serde_json::Value> = serde_json::from_slice(text).ok();
            if stated.is_some_and(|object| object.get("age").is_some_and(|age| age.is_null())) {
                self.unknown_ages.push(before + line);
            }
        }
        self.first = self.first.or(chain.lines.first().map(|line| line.sha));
        self.head = last.sha;
        self.lines += chain.lines.len() as u64;
    }
}

fn torn(source: &Source, lines: u64, rest: &[u8]) -> Option<Trouble> {
    if rest.is_empty() {
        return None;
    }
    let trouble = Trouble::error(
        "torn-tail",
        "the last line was cut short and does not count",
    );
    Some(
        trouble
            .with_severity(Severity::Warning)
            .placed(line_of(&source.shown, lines as usize + 1, rest))
            .because(format!("{} bytes without a line feed.", rest.len()))
            .cured_by("the next recording in this book sets it aside; record it again"),
    )
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_of_any_size_find_what_the_whole_tells() {
        let source = Source {
            ledger: "plant".into(),
            book: "books/a.jsonl".into(),
            shown: "books/a.jsonl".into(),
            path: "books/a.jsonl".into(),
        };
        let mut text = String::new();
        let mut prev = Sha::ZERO;
        for n in 0..40 {
            let age = [
                "",
                ",\"age\":null",
                ",\"age\" : null",
                ",\"note\":\"\\\"age\\\":null\"",
            ][n % 4];
            let line = format!("{{\"prev\":\"{prev}\",\"n\":{n}{age}}}");
            prev = Sha::of(line.as_bytes());
            text.push_str(&line);
            text.push('\n');
        }
        for end in [text.len(), text.len() - 30, 0, 5] {
            let bytes = &text.as_bytes()[..end];
            let whole = check(&source, bytes);
            for block in [1, 7, 90, 1000, 1 << 20] {
                let found = by_blocks(&source, bytes, block)
                    .expect("read")
                    .expect("whole");
                assert_eq!(found, whole, "blocks of {block}");
            }
        }
        let whole = check(&source, text.as_bytes());
        assert_eq!((whole.lines, whole.head), (40, prev));
        assert_eq!(whole.unknown_ages.len(), 20);
        let broken = text.replace("\"n\":17", "\"n\":71");
        for block in [1, 90, 1 << 20] {
            assert_eq!(
                by_blocks(&source, broken.as_bytes(), block).expect("read"),
                None
            );
        }
        assert!(check(&source, broken.as_bytes()).fault.is_some());
    }
}
