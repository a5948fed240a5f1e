//! What was recorded about one slot: what holds, and what was withdrawn.
//!
//! In: a ledger, surveyed; a slot; a moment. Out: entries in the order of happening. Never:
//! usage (that is the store's).

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::entry::{Entry, SlotName};
use super::error::BookError;
use super::fact::Fact;
use super::parse::parse_line;
use super::sha::Sha;
use super::survey::Survey;

/// An entry and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    pub entry: Entry,
    pub sha: Sha,
    /// The book within its ledger: `books/NAME.jsonl`.
    pub file: String,
    pub line: usize,
}

/// One entry about a slot.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotEntry {
    pub told: Told,
    /// The line that withdrew it.
    pub withdrawn: Option<Told>,
}

/// Every entry about a slot, withdrawn or not, in the order of happening, as the ledger
/// stood at a moment: entries and withdrawals count by `time` and by `logged`.
///
/// Errors: a book that can no longer be read as it was surveyed.
pub fn slot_entries(
    survey: &Survey,
    machine: &str,
    slot: &SlotName,
    as_of: DateTime<Utc>,
) -> Result<Vec<SlotEntry>, BookError> {
    let as_of = as_of.timestamp();
    let counts = |fact: &Fact| fact.time <= as_of && fact.logged <= as_of;
    let known = |text: &str| survey.names.known(text);
    let key = (
        known(machine),
        known(&slot.component),
        known(&slot.position),
    );
    let (Some(machine), Some(component), Some(position)) = key else {
        return Ok(Vec::new());
    };
    let Some(slot) = survey.names.known_slot((machine, component, position)) else {
        return Ok(Vec::new());
    };
    let mut places: Vec<usize> = survey
        .facts
        .iter()
        .enumerate()
        .filter(|(_, fact)| fact.slot() == Some(slot) && counts(fact))
        .map(|(place, _)| place)
        .collect();
    places.sort_by_key(|place| {
        let fact = &survey.facts[*place];
        (fact.time, fact.logged, *place)
    });
    let gone = survey.withdrawn_by_those(counts);
    let entry = |place: usize| {
        let by = gone.get(&place).map(|by| told(survey, *by)).transpose()?;
        Ok(SlotEntry {
            told: told(survey, place)?,
            withdrawn: by,
        })
    };
    places.into_iter().map(entry).collect()
}

fn told(survey: &Survey, place: usize) -> Result<Told, BookError> {
    let fact = &survey.facts[place];
    let file = survey.books[fact.book as usize].file.clone();
    let text = survey.text(fact);
    let sha = survey.shas[place];
    match parse_line(&text) {
        Ok((_, entry)) if Sha::of(&text) == sha => Ok(Told {
            entry,
            sha,
            file,
            line: fact.line as usize,
        }),
        _ => Err(BookError::ChangedMeanwhile { file }),
    }
}

/// Slots (machine, component, position) that entries are about and the register does not
/// know, by name.
pub fn slots_beside_register(survey: &Survey) -> BTreeSet<(String, String, String)> {
    let text = |id| survey.names.text(id).to_owned();
    let slots = survey.names.slots.iter();
    slots
        .map(|(machine, component, position)| (text(*machine), text(*component), text(*position)))
        .filter(|(machine, component, position)| {
            survey.register.slot(machine, component, position).is_none()
        })
        .collect()
}
