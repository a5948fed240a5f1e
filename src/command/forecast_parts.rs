//! The parts that a forecast takes: one line a part number, over its lead time.
//!
//! In: a group's items, what is known of their lives, when they are renewed. Out: [`PartView`].
//! Never: printing; statistics.

use super::CommandError;
use super::evidence::ComponentEvidence;
use super::forecast_ledger::{Rates, Seated, numbers};
use crate::model::posterior::Posterior;
use crate::policy::forecast::{Counts, SlotAhead};
use crate::policy::stock::holding;
use crate::store::Store;
use crate::view::forecast::{HoldingView, PartView};

/// A part number's demand as it adds up.
pub(super) struct Demand {
    components: Vec<String>,
    supplier: Option<String>,
    lead_time_days: Option<u32>,
    slots: usize,
    pieces: Option<Counts>,
    notes: Vec<String>,
}

/// Adds what the group's slots take of each part number in its lead time.
pub(super) fn demand(
    store: &Store,
    evidence: &ComponentEvidence,
    own: &[&Seated],
    posterior: Option<&Posterior>,
    at: Option<f64>,
    rates: &Rates,
    parts: &mut Vec<(Option<String>, Demand)>,
) -> Result<(), CommandError> {
    let component = &evidence.component;
    let mut by_part: Vec<((Option<String>, u32), Vec<&Seated>)> = Vec::new();
    for item in own {
        let key = (
            part_of(store, &component.id, item),
            pieces_of(store, evidence, item),
        );
        match by_part.iter_mut().find(|(known, _)| *known == key) {
            Some((_, items)) => items.push(item),
            None => by_part.push((key, vec![item])),
        }
    }
    for ((number, pieces), items) in by_part {
        let known = number.as_deref().and_then(|number| {
            store
                .ledgers()
                .iter()
                .find_map(|ledger| ledger.register.part(number))
        });
        let n = parts
            .iter()
            .position(|(part, demand)| {
                *part == number && (number.is_some() || demand.components.contains(&component.id))
            })
            .unwrap_or_else(|| {
                let demand = Demand {
                    components: Vec::new(),
                    supplier: known.and_then(|p| p.supplier.clone()),
                    lead_time_days: known.and_then(|p| p.lead_time_days),
                    slots: 0,
                    pieces: None,
                    notes: Vec::new(),
                };
                parts.push((number.clone(), demand));
                parts.len() - 1
            });
        let demand = &mut parts[n].1;
        demand.slots += items.len();
        if !demand.components.contains(&component.id) {
            demand.components.push(component.id.clone());
        }
        let Some(days) = demand.lead_time_days else {
            continue;
        };
        let slots: Vec<SlotAhead> = items
            .iter()
            .filter_map(|item| {
                let rate = rates.per_week(&item.machine, &component.usage)?;
                Some(SlotAhead {
                    age: item.age,
                    usage: rate * f64::from(days) / 7.0,
                })
            })
            .collect();
        let Some((_, renewals)) = numbers(posterior, at, &[slots])?.into_iter().next() else {
            continue;
        };
        let pieces = renewals.times(pieces as usize);
        demand.pieces = Some(match &demand.pieces {
            Some(sum) => sum.plus(&pieces),
            None => pieces,
        });
        let mut note = |words: &str| {
            let note = format!("{}: {words}", component.id);
            if !demand.notes.contains(&note) {
                demand.notes.push(note);
            }
        };
        if posterior.is_none() {
            note("no failure on record, planned renewals alone are counted");
        }
        let opened = store.ledgers().iter().any(|ledger| {
            let accesses = &ledger.register.accesses;
            accesses
                .iter()
                .any(|a| a.always_renew.contains(&component.id))
        });
        if opened {
            note("also renewed whenever its access is opened; those are not counted here");
        }
    }
    Ok(())
}

/// Pieces that an item in this slot is made of.
fn pieces_of(store: &Store, evidence: &ComponentEvidence, item: &Seated) -> u32 {
    let component = &evidence.component;
    store
        .home_of(&item.machine)
        .and_then(|(ledger, tag)| ledger.register.slot(tag, &component.id, &item.position))
        .map_or(component.pieces, |slot| slot.pieces)
}

/// The part number in a slot, else the only one that fits the component.
fn part_of(store: &Store, component: &str, item: &Seated) -> Option<String> {
    if item.part.is_some() {
        return item.part.clone();
    }
    let register = store.register_of(&item.machine)?;
    let mut fit = register.parts_of(component);
    match (fit.next(), fit.next()) {
        (Some(only), None) => Some(only.number.clone()),
        _ => None,
    }
}

pub(super) fn part_view(
    store: &Store,
    part: Option<String>,
    demand: Demand,
    services: &[f64],
) -> PartView {
    let mut notes = demand.notes;
    if demand.lead_time_days.is_none() {
        notes.push(match &part {
            Some(_) => "the register states no lead time for this part: add lead_time_days".into(),
            None => "no part number is on record here: state it with the next renewal".into(),
        });
    }
    let hold: Vec<HoldingView> = demand
        .pieces
        .iter()
        .flat_map(|pieces| services.iter().map(|s| holding(pieces, *s).into()))
        .collect();
    let stock = on_the_shelf(store, part.as_deref());
    let most = hold.iter().map(|h| h.pieces as u64).max();
    PartView {
        part,
        components: demand.components,
        supplier: demand.supplier,
        lead_time_days: demand.lead_time_days,
        slots: demand.slots,
        expected: demand.pieces.as_ref().map(Counts::mean),
        hold,
        stock,
        to_order: stock
            .zip(most)
            .map(|(stock, most)| most.saturating_sub(stock)),
        notes,
    }
}

/// Pieces on the shelf, all plants together; `None` where no register says.
fn on_the_shelf(store: &Store, part: Option<&str>) -> Option<u64> {
    let part = part?;
    let ledgers = store.ledgers().iter();
    let stated: Vec<u64> = ledgers
        .filter_map(|ledger| ledger.register.part(part)?.stock)
        .map(u64::from)
        .collect();
    (!stated.is_empty()).then(|| stated.iter().sum())
}
