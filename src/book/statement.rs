//! What an entry states, whoever wrote it down, when, and from where.
//!
//! In: entries. Out: the name of what they state, and how often it stands in a ledger.
//! Never: whether they hold (what was withdrawn was stated all the same).

use std::collections::HashMap;

use rayon::prelude::*;

use super::entry::Entry;
use super::ledger::Ledger;
use super::sha::Sha;

/// The name of what an entry states: the SHA-256 of its line without `prev`, `logged`,
/// `who`, `note` and `source`. Two entries of the same name say the same twice.
pub fn statement(entry: &Entry) -> Sha {
    let bare = Entry {
        time: entry.time,
        logged: entry.time,
        who: String::new(),
        machine: entry.machine.clone(),
        event: entry.event.clone(),
        job: entry.job.clone(),
        note: None,
        source: None,
    };
    Sha::of(bare.line(Sha::ZERO).as_bytes())
}

/// How often each statement stands in the books of a ledger; withdrawn ones count too.
#[derive(Debug, Default)]
pub(super) struct Stated(HashMap<Sha, u32>);

impl Stated {
    pub(super) fn of(ledger: &Ledger) -> Stated {
        let entries: Vec<&Entry> = ledger.lines().map(|placed| placed.entry).collect();
        let names: Vec<Sha> = entries.par_iter().map(|entry| statement(entry)).collect();
        let mut stated = Stated::default();
        for name in names {
            stated.add(name);
        }
        stated
    }

    pub(super) fn add(&mut self, name: Sha) {
        *self.0.entry(name).or_default() += 1;
    }

    pub(super) fn times(&self, name: Sha) -> usize {
        self.0.get(&name).map_or(0, |times| *times as usize)
    }
}
