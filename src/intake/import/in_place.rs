//! What was in a slot before its first renewal in the file: real records seldom hold the
//! first `installed`.
//!
//! In: entries of a row that found their slot empty, and the map's `[[in_place]]`. Out:
//! the `installed` entries that must stand before them. Never: where the map says nothing.

use chrono::NaiveDate;

use super::map::{InPlace, Map};
use crate::book::{Conflict, Entry, Event, Item, Refusal};
use crate::quantity::time::start_of_day;
use crate::register::Register;

/// What must stand before the entries of a row.
pub(super) enum Before {
    /// Nothing that would help.
    Nothing,
    Made(Vec<Entry>),
    /// The row lies before the day on which the map puts the first item in.
    TooLate(NaiveDate),
}

/// The `installed` entries for slots in which nothing was ever put by then; they carry
/// the source of the row.
pub(super) fn entries(
    map: &Map,
    register: &Register,
    fresh: &[&Entry],
    refusals: &[Refusal],
    row: u64,
) -> Before {
    let mut made: Vec<Entry> = Vec::new();
    for refusal in refusals {
        let Some(entry) = fresh.get(refusal.index) else {
            continue;
        };
        let never =
            |conflict: &&Conflict| matches!(conflict, Conflict::SlotEmpty { witness: None, .. });
        let (Some(_), Some(slot)) = (refusal.conflicts.iter().find(never), entry.event.slot())
        else {
            continue;
        };
        let fits = |place: &&InPlace| {
            let named = &place.components;
            named.is_empty() || named.iter().any(|name| name.value == slot.component)
        };
        let machine = entry.machine.as_deref().unwrap_or_default();
        let (Some(place), Some(machine)) =
            (map.in_place.iter().find(fits), register.machine(machine))
        else {
            continue;
        };
        let day = place.since.unwrap_or(machine.in_service);
        let time = start_of_day(day, register.plant.time_zone);
        if time > entry.time {
            return Before::TooLate(day);
        }
        let event = Event::Installed {
            slot: slot.clone(),
            item: Item {
                age: place.age,
                ..Item::default()
            },
        };
        if made
            .iter()
            .any(|other| other.event == event && other.machine == entry.machine)
        {
            continue;
        }
        made.push(Entry {
            time,
            logged: entry.logged,
            who: entry.who.clone(),
            machine: entry.machine.clone(),
            event,
            job: None,
            note: Some(format!(
                "In place before row {row}; put down by the import."
            )),
            source: entry.source.clone(),
        });
    }
    if made.is_empty() {
        Before::Nothing
    } else {
        Before::Made(made)
    }
}
