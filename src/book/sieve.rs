//! Which groups of entries can stand: each as a whole, upon the ledger and the groups
//! taken before it.
//!
//! In: groups of entries, in turn. Out: what stands against each. Never: writing.

use std::borrow::Borrow;

use chrono::{DateTime, Utc};

use super::append::Appender;
use super::conflict::Conflict;
use super::entry::{Entry, Event};
use super::error::Refusal;
use super::sha::Sha;
use super::state::Stand;
use crate::register::Register;

/// Takes groups of entries in; when it goes, the ledger is known again as it is.
#[derive(Debug)]
pub struct Sieve<'a> {
    appender: &'a mut Appender,
    now: DateTime<Utc>,
    file: String,
    /// The book's place among the files known.
    book: usize,
    /// Lines of the book on disk.
    lines: usize,
    start: usize,
    index: usize,
}

impl Sieve<'_> {
    /// Takes a group in if all of it can stand; returns what stands against it, nothing
    /// where it was taken.
    ///
    /// The index of a [`Refusal`] and of a witness given along counts the entries of all
    /// groups tried so far.
    pub fn take<E: Borrow<Entry>>(&mut self, group: &[E]) -> Vec<Refusal> {
        let before = self.appender.state.len();
        let mut refusals = Vec::new();
        for entry in group {
            let entry: &Entry = entry.borrow();
            let (state, register) = (&mut self.appender.state, &self.appender.register);
            let mut conflicts = state.conflicts(register, entry, self.now);
            if matches!(entry.event, Event::Opened { .. }) {
                conflicts.push(Conflict::OpenedAgain);
            }
            for witness in conflicts.iter_mut().flat_map(Conflict::witnesses_mut) {
                if witness.file == self.file && witness.line > self.lines {
                    witness.given = Some(witness.line - self.lines - 1);
                }
            }
            let index = self.index;
            if !conflicts.is_empty() {
                refusals.push(Refusal { index, conflicts });
            }
            self.index += 1;
            // It is in no book, so it has no name; its line tells which it is.
            let stand = Stand {
                sha: Sha::ZERO,
                file: self.book,
                line: self.lines + self.index,
            };
            self.appender.state.insert(stand, entry);
        }
        if !refusals.is_empty() {
            self.appender.roll_back(before);
        }
        refusals
    }

    /// The register entries are checked against.
    pub fn register(&self) -> &Register {
        &self.appender.register
    }

    /// How often the ledger states what has this name; what was taken does not count.
    pub fn stated_as(&self, name: Sha) -> usize {
        self.appender.stated_as(name)
    }
}

impl Drop for Sieve<'_> {
    fn drop(&mut self) {
        self.appender.roll_back(self.start);
    }
}

impl Appender {
    /// Begins to try which groups of entries can stand. Writes nothing.
    pub fn sieve(&mut self, now: DateTime<Utc>) -> Sieve<'_> {
        let file = self.file();
        Sieve {
            book: self.state.file(&file),
            lines: self.own_lines(),
            start: self.state.len(),
            index: 0,
            file,
            now,
            appender: self,
        }
    }

    /// Tries groups of entries in turn, each of which stands or falls as a whole, upon
    /// the ledger and the groups before it that can stand. Writes nothing.
    ///
    /// Returns what stands against each group, as [`Sieve::take`] does.
    pub fn sift(&mut self, groups: &[Vec<Entry>], now: DateTime<Utc>) -> Vec<Vec<Refusal>> {
        let mut sieve = self.sieve(now);
        groups.iter().map(|group| sieve.take(group)).collect()
    }
}
