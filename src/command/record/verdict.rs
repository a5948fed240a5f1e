//! `record measured`: the verdict on the reading just recorded.
//!
//! In: the entry, the ledger's books. Out: a line of words. Never: a failure: the entry is on
//! disk, and a verdict that cannot be given says why.

use std::path::Path;

use chrono::{DateTime, Utc};

use crate::book::{BookError, Entry, Event, SlotName, Survey, slot_entries};
use crate::command::wear_ledger::{measurement_of, standard};
use crate::register::Register;
use crate::view::wear::verdict_words;
use crate::wear::{Given, LimitRule, Taken};

/// A reading of the slot's or the component's record, with the stay it belongs to.
struct Owned {
    entry: Entry,
    item: String,
}

/// The verdicts on the readings among entries, in their order, the books read once; each with
/// its place among the entries. Entries that are no reading or have no limit have none.
pub fn verdicts_on<'a>(
    entries: impl Iterator<Item = &'a Entry>,
    ledger: &Path,
    register: &Register,
) -> Vec<(usize, String)> {
    let readings: Vec<(usize, &Entry)> = entries
        .enumerate()
        .filter(|(_, entry)| matches!(entry.event, Event::Measured { .. }))
        .collect();
    if readings.is_empty() {
        return Vec::new();
    }
    let survey = Survey::read(ledger);
    readings
        .into_iter()
        .filter_map(|(n, entry)| {
            let verdict = match &survey {
                Ok(survey) => verdict_on(entry, survey, register)?,
                Err(_) => NOT_READ.to_owned(),
            };
            Some((n, verdict))
        })
        .collect()
}

const NOT_READ: &str = "no verdict: the books could not be read again";

/// The verdict in words; `None` where the entry is no reading or has no limit.
fn verdict_on(entry: &Entry, survey: &Survey, register: &Register) -> Option<String> {
    let Event::Measured {
        slot,
        quantity,
        zone,
        new_value,
        ..
    } = &entry.event
    else {
        return None;
    };
    let measurement = measurement_of(register, &slot.component, quantity, zone.as_deref())?;
    let standard = standard(measurement);
    let machine = entry.machine.as_deref()?;
    // A new value not stated may be known from readings of others of the kind.
    let alone = new_value.is_some() || matches!(standard.rule, LimitRule::LossFromNewAtMost { .. });
    let slots: Vec<(&str, SlotName)> = if alone {
        vec![(machine, slot.clone())]
    } else {
        slots_of(register, &slot.component)
    };
    let mut all = match readings(survey, &slots, quantity) {
        Ok(all) => all,
        Err(_) => return Some(NOT_READ.to_owned()),
    };
    // Not there yet in a dry run.
    let here = |owned: &Owned| {
        owned.entry.machine == entry.machine
            && owned.entry.event == entry.event
            && owned.entry.time == entry.time
    };
    let place = match all.iter().rposition(here) {
        Some(place) => place,
        None => {
            let item = item_of(&all, entry);
            all.push(Owned {
                entry: entry.clone(),
                item,
            });
            all.len() - 1
        }
    };
    let kept: Vec<usize> = (0..all.len())
        .filter(|n| *n == place || is_alike(&all[*n].entry, zone.as_deref(), &standard.rule))
        .collect();
    let taken: Vec<Taken<'_>> = kept.iter().filter_map(|n| taken(&all[*n])).collect();
    let mine = kept.iter().position(|n| *n == place)?;
    Some(verdict_words(
        &standard,
        standard.verdicts(&taken).get(mine)?,
    ))
}

/// The item that the latest reading of the entry's slot was taken on.
fn item_of(all: &[Owned], entry: &Entry) -> String {
    all.iter()
        .rev()
        .find(|owned| {
            owned.entry.machine == entry.machine && owned.entry.event.slot() == entry.event.slot()
        })
        .map(|owned| owned.item.clone())
        .unwrap_or_default()
}

/// Of the same zone, or of either zone of a pair.
fn is_alike(entry: &Entry, zone: Option<&str>, rule: &LimitRule) -> bool {
    let Event::Measured { zone: its, .. } = &entry.event else {
        return false;
    };
    matches!(rule, LimitRule::Paired { .. }) || its.as_deref() == zone
}

fn taken(owned: &Owned) -> Option<Taken<'_>> {
    let Event::Measured {
        value,
        unit,
        zone,
        span,
        new_value,
        ..
    } = &owned.entry.event
    else {
        return None;
    };
    Some(Taken {
        given: Given {
            value: value.get(),
            unit,
            zone: zone.as_deref(),
            span: span.map(|span| span.get()),
            new_value: new_value.map(|new| new.get()),
        },
        time: owned.entry.time.timestamp(),
        item: Some(&owned.item),
    })
}

/// Every slot of a component, over all machines.
fn slots_of<'a>(register: &'a Register, component: &str) -> Vec<(&'a str, SlotName)> {
    let of_machine = |tag: &'a str| {
        register
            .slots(tag)
            .filter(|slot| slot.component == component)
            .map(move |slot| {
                let name = SlotName {
                    component: slot.component.to_owned(),
                    position: slot.position.to_owned(),
                };
                (tag, name)
            })
    };
    let tags = register.machines.iter().map(|machine| machine.tag.as_str());
    tags.flat_map(of_machine).collect()
}

/// What stands measured of a quantity in these slots, each with its item.
fn readings(
    survey: &Survey,
    slots: &[(&str, SlotName)],
    quantity: &str,
) -> Result<Vec<Owned>, BookError> {
    let mut all = Vec::new();
    for (machine, slot) in slots {
        let mut item = format!("{machine} {} -", slot.position);
        for told in slot_entries(survey, machine, slot, DateTime::<Utc>::MAX_UTC)? {
            if told.withdrawn.is_some() {
                continue;
            }
            let entry = told.told.entry;
            match &entry.event {
                Event::Installed { .. } | Event::Replaced { .. } | Event::Removed { .. } => {
                    item = told.told.sha.to_string();
                }
                Event::Measured { quantity: its, .. } if its == quantity => {
                    let item = item.clone();
                    all.push(Owned { entry, item });
                }
                _ => {}
            }
        }
    }
    Ok(all)
}
