//! Entries that come in by the thousand: which groups of them can stand, each as a whole,
//! and which are new.
//!
//! In: groups of entries, in turn. Out: what stands against each; the new ones recorded.

use std::borrow::Borrow;

use chrono::{DateTime, Utc};

use super::append::{Appender, Recorded};
use super::conflict::Conflict;
use super::disk::lock;
use super::entry::Entry;
use super::error::{BookError, Refusal};
use super::sha::Sha;
use super::state::Stand;
use super::statement::{Stated, statement};
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
            let (file, lines) = (&self.file, self.lines);
            let conflicts = self.appender.against(entry, file, lines, self.now);
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

    /// Records those of these entries that the ledger does not state yet, all or none, as
    /// [`Appender::append_all`] does: the second of two equal ones only where the ledger
    /// states it less than twice, and so on. Tells for each what was recorded.
    ///
    /// The appender must be [opened for import](Appender::open_for_import). Errors: as
    /// [`Appender::append_all`]; the index of a refusal counts the entries given.
    pub fn append_new<E: Borrow<Entry>>(
        &mut self,
        entries: &[E],
        now: DateTime<Utc>,
    ) -> Result<Vec<Option<Recorded>>, BookError> {
        let _lock = lock(self.disk.as_ref(), &self.folder, &mut self.patience)?;
        self.make_ready()?;
        let mut given = Stated::default();
        let mut places = Vec::new();
        let mut new = Vec::new();
        for (place, entry) in entries.iter().enumerate() {
            let entry: &Entry = entry.borrow();
            let name = statement(entry);
            given.add(name);
            let known = self.stated.as_ref().map_or(0, |s| s.times(name));
            if given.times(name) > known {
                places.push(place);
                new.push(entry);
            }
        }
        drop(given);
        let mut outcome = vec![None; entries.len()];
        let Some(first) = new.first() else {
            return Ok(outcome);
        };
        let (who, logged) = (first.who.clone(), first.logged);
        let recorded = self.write_down(&who, logged, &new, now);
        let recorded = recorded.map_err(|error| in_terms_of(error, &places))?;
        let given = recorded.into_iter().filter(|(_, given)| *given);
        for ((recorded, _), place) in given.zip(places) {
            outcome[place] = Some(recorded);
        }
        Ok(outcome)
    }
}

/// A refusal of some entries, told in terms of the list they were taken from.
fn in_terms_of(error: BookError, places: &[usize]) -> BookError {
    let BookError::Refused { mut refusals, zone } = error else {
        return error;
    };
    let place = |index: usize| places.get(index).copied().unwrap_or(index);
    for refusal in &mut refusals {
        refusal.index = place(refusal.index);
        let witnesses = refusal.conflicts.iter_mut();
        for witness in witnesses.flat_map(Conflict::witnesses_mut) {
            witness.given = witness.given.map(place);
        }
    }
    BookError::Refused { refusals, zone }
}
