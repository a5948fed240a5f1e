//! What the recommendations are worth a year against what is done today.
//!
//! In: a store and its evidence. Out: [`OnOffer`]. Never: printing; estimates of its own.
//!
//! Today's practice is the register's present interval, or running to failure where it states
//! none. What a change saves for each unit of usage is the posterior's (`policy::practice`); a
//! year's usage is what the register expects a week, else the recent rate. A component that is
//! renewed whenever its access is opened, and by no interval, has no practice of its own to set
//! a recommendation against, and is left out.

use std::collections::BTreeSet;

use rayon::prelude::*;

use super::CommandError;
use super::evidence::{ComponentEvidence, Group};
use super::forecast_ledger::Rates;
use crate::policy::evidence::Scope;
use crate::policy::practice::change_saves;
use crate::policy::uncertain::{all_along, all_beside};
use crate::policy::{Uncertain, Verdict};
use crate::quantity::same_or_none;
use crate::report::money::{OfferRow, OnOffer};
use crate::report::words::list;
use crate::store::Store;

/// Weeks in a mean year of the calendar.
const WEEKS_A_YEAR: f64 = 365.2425 / 7.0;

/// Works out what is on offer.
///
/// Errors: the store cannot tell usages.
pub(super) fn on_offer(
    store: &Store,
    evidence: &[ComponentEvidence],
    confidence: f64,
) -> Result<OnOffer, CommandError> {
    let rates = Rates::expected(store)?;
    let mut offer = OnOffer::default();
    let mut asked = Vec::new();
    let mut mute = BTreeSet::new();
    for component in evidence {
        let changes = changes(component);
        if changes.is_empty() {
            continue;
        }
        if component.component.present_interval.is_none() && spent_at_openings(store, component) {
            offer.at_openings.push(component.component.name.clone());
            continue;
        }
        for change in changes {
            let mut usage = Vec::new();
            for group in &change.groups {
                let mut year = 0.0;
                for (machine, _) in &group.slots {
                    match rates.per_week(machine, &component.usage.id) {
                        Some(week) => year += week * WEEKS_A_YEAR,
                        None => {
                            mute.insert(machine.clone());
                        }
                    }
                }
                usage.push(year);
            }
            asked.push((component, change, usage));
        }
    }
    let found: Vec<Option<(OfferRow, Uncertain)>> = asked
        .into_par_iter()
        .map(|(component, change, usage)| row(component, &change, &usage, confidence))
        .collect();
    let mut found: Vec<(OfferRow, Uncertain)> = found.into_iter().flatten().collect();
    offer.without_usage = mute.into_iter().collect();
    offer.total = total(&found).map(|total| total.limits(confidence));
    // Stable: equal ones keep the order of the register.
    found.sort_by(|a, b| b.0.per_year.median.total_cmp(&a.0.per_year.median));
    offer.rows = found.into_iter().map(|(row, _)| row).collect();
    Ok(offer)
}

/// Groups of a component that are to change from one practice to one other.
struct Change<'a> {
    groups: Vec<&'a Group>,
    today: Option<f64>,
    instead: Option<f64>,
    place: String,
}

fn changes(evidence: &ComponentEvidence) -> Vec<Change<'_>> {
    let today = evidence.component.present_interval;
    let mut sets: Vec<(Option<f64>, Vec<&Group>)> = Vec::new();
    for group in evidence.groups.iter().filter(|g| !g.slots.is_empty()) {
        let instead = match group.recommendation.verdict {
            Verdict::Renew => group.recommendation.interval,
            // A ceiling holds whatever the verdict; where no interval is kept, nothing changes.
            Verdict::RunToFailure if today.is_some() => evidence.terms.ceiling,
            Verdict::RunToFailure | Verdict::NotEnoughEvidence => continue,
        };
        let renews = group.recommendation.verdict == Verdict::Renew;
        if same_or_none(today, instead) || renews && instead.is_none() {
            continue;
        }
        match sets
            .iter_mut()
            .find(|(known, _)| same_or_none(*known, instead))
        {
            Some((_, groups)) => groups.push(group),
            None => sets.push((instead, vec![group])),
        }
    }
    sets.into_iter()
        .map(|(instead, groups)| Change {
            place: place(evidence, &groups),
            groups,
            today,
            instead,
        })
        .collect()
}

fn place(evidence: &ComponentEvidence, groups: &[&Group]) -> String {
    let slots: usize = groups.iter().map(|g| g.slots.len()).sum();
    if slots == evidence.slots.len() {
        return "all positions".to_owned();
    }
    if let [pool] = groups
        && pool.scope.name().is_none()
    {
        let set_apart = evidence.groups.iter().filter(|g| g.apart.is_some());
        let with_slots = set_apart.filter(|g| !g.slots.is_empty());
        let but: Vec<String> = with_slots.filter_map(|g| g.scope.name()).collect();
        return match but.as_slice() {
            [] => "all positions".to_owned(),
            few if few.len() <= 3 => format!("all positions but {}", list(few)),
            many => format!("all positions but {} set apart", many.len()),
        };
    }
    let names: Vec<String> = groups.iter().map(|g| name(&g.scope)).collect();
    match names.as_slice() {
        few if few.len() <= 4 => list(few),
        many => format!("{} positions", many.len()),
    }
}

fn name(scope: &Scope) -> String {
    scope.name().unwrap_or_else(|| scope.place())
}

/// Whether a strip-down of any machine it sits in spends it.
fn spent_at_openings(store: &Store, evidence: &ComponentEvidence) -> bool {
    let id = &evidence.component.id;
    store.ledgers().iter().any(|ledger| {
        let mut accesses = ledger.register.accesses.iter();
        accesses.any(|access| access.always_renew.contains(id))
    })
}

fn row(
    evidence: &ComponentEvidence,
    change: &Change<'_>,
    usage: &[f64],
    confidence: f64,
) -> Option<(OfferRow, Uncertain)> {
    let each: Option<Vec<Uncertain>> = change
        .groups
        .iter()
        .zip(usage)
        .map(|(group, usage)| {
            let posterior = group.posterior(evidence.terms.prior)?;
            let saved = change_saves(&posterior, group.costs, change.today, change.instead)?;
            Some(saved.times_plus(*usage, 0.0))
        })
        .collect();
    let year = all_along(&each?)?;
    let row = OfferRow {
        component: evidence.component.id.clone(),
        name: evidence.component.name.clone(),
        place: change.place.clone(),
        today: change.today,
        instead: change.instead,
        unit: evidence.usage.unit.clone(),
        slots: change.groups.iter().map(|g| g.slots.len()).sum(),
        usage: usage.iter().sum(),
        per_year: year.limits(confidence),
        chance: year.above(0.0),
    };
    // Nothing runs, so nothing is saved.
    (row.usage > 0.0).then_some((row, year))
}

fn total(found: &[(OfferRow, Uncertain)]) -> Option<Uncertain> {
    let mut components: Vec<(&str, Vec<&Uncertain>)> = Vec::new();
    for (row, year) in found {
        match components.iter_mut().find(|(id, _)| *id == row.component) {
            Some((_, years)) => years.push(year),
            None => components.push((&row.component, vec![year])),
        }
    }
    let each: Vec<Uncertain> = components
        .iter()
        .filter_map(|(_, years)| all_along(years.iter().copied()))
        .collect();
    all_beside(&each)
}
