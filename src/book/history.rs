//! What was recorded about one slot: what holds, and what was withdrawn.
//!
//! In: a ledger, a slot, a moment. Out: entries in the order of happening. Never: usage
//! (that is the store's).

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::entry::{Entry, SlotName};
use super::ledger::{Ledger, Placed, order};

/// One entry about a slot.
#[derive(Debug, Clone, Copy)]
pub struct SlotEntry<'a> {
    pub placed: Placed<'a>,
    /// The line that withdrew it.
    pub withdrawn: Option<Placed<'a>>,
}

/// Every entry about a slot, withdrawn or not, in the order of happening, as the ledger
/// stood at a moment: entries and withdrawals count by `time` and by `logged`.
pub fn slot_entries<'a>(
    ledger: &'a Ledger,
    machine: &str,
    slot: &SlotName,
    as_of: DateTime<Utc>,
) -> Vec<SlotEntry<'a>> {
    let counts = |entry: &Entry| entry.time <= as_of && entry.logged <= as_of;
    let about = |entry: &Entry| {
        entry.machine.as_deref() == Some(machine) && entry.event.slot() == Some(slot)
    };
    let mut found: Vec<SlotEntry<'a>> = ledger
        .lines()
        .filter(|placed| counts(placed.entry) && about(placed.entry))
        .map(|placed| SlotEntry {
            placed,
            withdrawn: None,
        })
        .collect();
    found.sort_by_key(|one| order(&one.placed));
    let by = ledger.withdrawals(counts);
    for one in &mut found {
        one.withdrawn = by.get(&one.placed.sha).copied();
    }
    found
}

/// Slots (machine, slot) that entries are about and the register does not know, by name.
pub fn slots_beside_register(ledger: &Ledger) -> BTreeSet<(String, String, String)> {
    let mut found = BTreeSet::new();
    for placed in ledger.lines() {
        let (Some(machine), Some(slot)) = (&placed.entry.machine, placed.entry.event.slot()) else {
            continue;
        };
        let (component, position) = (&slot.component, &slot.position);
        if ledger.register.slot(machine, component, position).is_none() {
            found.insert((machine.clone(), component.clone(), position.clone()));
        }
    }
    found
}
