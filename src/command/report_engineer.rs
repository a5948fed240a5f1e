//! `report`: what the engineer's part is built from.
//!
//! In: the store, its evidence. Out: a [`Subject`] a component. Never: printing; words;
//! statistics of its own.

use std::collections::HashMap;

use rayon::prelude::*;

use super::CommandError;
use super::evidence::{ComponentEvidence, Group};
use super::histories::of_component;
use super::interval_ledger::mode_roles;
use super::interval_look::Looks;
use super::trend_note::trend_of;
use crate::cost::CostFrom;
use crate::life::{LifeRow, Sample};
use crate::policy::evidence::Scope;
use crate::quantity::time::day;
use crate::recurrence::trend;
use crate::report::subject::{self, Kept, Slot, Stay, Subject};
use crate::store::{Meters, SlotStay, Store};
use crate::view::interval::LookView;

/// Weeks in a year, as usage is expected by the week.
const WEEKS: f64 = 365.25 / 7.0;

/// A subject a component, in the order of the evidence.
///
/// `tested`: with what only engineers read, trends and looks.
pub(super) fn subjects(
    store: &Store,
    evidence: Vec<ComponentEvidence>,
    stays: &[SlotStay],
    looks: &Looks,
    tested: bool,
) -> Result<Vec<Subject>, CommandError> {
    let mut own: HashMap<&str, Vec<&SlotStay>> = HashMap::new();
    for stay in stays {
        own.entry(&stay.component).or_default().push(stay);
    }
    let more = match tested {
        true => Some((store.meters()?, looks)),
        false => None,
    };
    // A store answers one question at a time, so what needs it is asked for in turn.
    let mut asked = Vec::with_capacity(evidence.len());
    for evidence in evidence {
        let stays = own.remove(evidence.component.id.as_str());
        let stays = stays.unwrap_or_default();
        let rate = more.as_ref().map(|(meters, _)| {
            let rows: Vec<&LifeRow> = evidence.rows.iter().collect();
            rate_of(store, &evidence, &stays, &rows, meters)
        });
        let looks = match &more {
            Some((_, looks)) => {
                let of = |group: &Group| looks.better(store, &evidence, group);
                evidence.groups.par_iter().map(of).collect()
            }
            None => vec![None; evidence.groups.len()],
        };
        let usage: Vec<Option<f64>> = evidence
            .slots
            .iter()
            .map(|(machine, _)| usage_a_year(store, machine, &evidence.usage.id))
            .collect();
        asked.push((evidence, stays, rate, looks, usage));
    }
    let (zone, as_of) = (store.zone(), store.as_of());
    let subjects = asked
        .into_par_iter()
        .map(|(evidence, stays, rate, looks, usage)| {
            let rows: Vec<&LifeRow> = evidence.rows.iter().collect();
            let successive = tested.then(|| trend_of(&rows, None, as_of));
            let mut in_slot: HashMap<[&str; 2], Vec<Stay>> = HashMap::new();
            for stay in stays {
                let told = Stay {
                    start: day(stay.start_time, zone),
                    end: stay.end_time.map(|end| day(end, zone)),
                    reason: stay.reason.clone(),
                    found: stay.found.clone(),
                    age_unknown: stay.age_unknown,
                };
                let slot = [stay.machine.as_str(), stay.position.as_str()];
                in_slot.entry(slot).or_default().push(told);
            }
            let slots = evidence
                .slots
                .iter()
                .zip(usage)
                .map(|((machine, position), usage_a_year)| Slot {
                    stays: in_slot
                        .remove(&[machine.as_str(), position.as_str()])
                        .unwrap_or_default(),
                    machine: machine.clone(),
                    position: position.clone(),
                    usage_a_year,
                })
                .collect();
            let apart: Vec<String> = evidence
                .groups
                .iter()
                .filter(|group| group.apart.is_some())
                .filter_map(|group| group.scope.name())
                .collect();
            let component = &evidence.component;
            Subject {
                id: component.id.clone(),
                name: component.name.clone(),
                usage: evidence.usage.name.clone(),
                unit: evidence.usage.unit.clone(),
                since: evidence.rows.iter().map(|r| day(r.start_time, zone)).min(),
                slots,
                groups: groups(&evidence, &looks, &apart),
                present: component.present_interval,
                ceiling: component
                    .ceiling
                    .as_ref()
                    .map(|c| (c.value, c.source.clone())),
                prior: component
                    .shape_prior
                    .as_ref()
                    .map(|p| (p.low, p.high, p.source.clone())),
                grid: evidence.terms.grid,
                successive,
                rate,
                tried: evidence.tried,
                alike: evidence.alike,
                excluded: evidence.excluded,
                rows: evidence.rows,
            }
        })
        .collect();
    Ok(subjects)
}

/// Whether failures come faster as the slots of a component run on.
fn rate_of(
    store: &Store,
    evidence: &ComponentEvidence,
    stays: &[&SlotStay],
    rows: &[&LifeRow],
    meters: &Meters,
) -> trend::Trend {
    let history = of_component(store, &evidence.component.id, stays, rows, meters);
    trend::trend(&history.units)
}

/// Usage a machine is expected to see in a year; `None` where its register tells of none.
fn usage_a_year(store: &Store, machine: &str, usage: &str) -> Option<f64> {
    let (ledger, tag) = store.home_of(machine)?;
    let week = ledger.register.machine(tag)?.usage_per_week.get(usage);
    week.map(|week| week * WEEKS)
}

/// The groups as the page tells of them: siblings that settle on the same are one, and where
/// all of them do, they are the pool.
fn groups(
    evidence: &ComponentEvidence,
    looks: &[Option<LookView>],
    apart: &[String],
) -> Vec<subject::Group> {
    let look = |group: &Group| {
        let place = evidence.groups.iter().position(|g| std::ptr::eq(g, group));
        place.and_then(|n| looks.get(n).cloned().flatten())
    };
    let plain = |group: &Group, scope: subject::Scope| subject::Group {
        scope,
        slots: group.slots.clone(),
        sample: group.sample.clone(),
        costs: group.costs,
        planned_from: cost_words(evidence.planned.from),
        failed_from: cost_words(evidence.failed.from),
        terms: evidence.terms,
        recommendation: group.recommendation.clone(),
        modes: mode_roles(evidence, group),
        apart: group.apart.map(|a| (a.p_adjusted, a.life_ratio)),
        leaning: None,
        look: look(group),
        kept: Kept::default(),
    };
    let mut sets: Vec<Vec<&Group>> = Vec::new();
    for group in evidence.groups.iter().filter(|g| g.leaning.is_some()) {
        let same = |set: &&mut Vec<&Group>| {
            let (one, other) = (&set[0].recommendation, &group.recommendation);
            one.verdict == other.verdict && one.interval == other.interval
        };
        match sets.iter_mut().find(same) {
            Some(set) => set.push(group),
            None => sets.push(vec![group]),
        }
    }
    let joined: Vec<subject::Group> = sets.iter().filter_map(|set| together(set, plain)).collect();
    let mut out = Vec::new();
    for (n, group) in evidence.groups.iter().enumerate() {
        let told = plain(group, scope(&group.scope, apart));
        match (n, joined.as_slice()) {
            (0, [one]) => out.push(subject::Group {
                slots: one.slots.clone(),
                recommendation: one.recommendation.clone(),
                leaning: one.leaning.clone(),
                look: one.look.clone(),
                ..told
            }),
            (0, several) => {
                out.push(told);
                out.extend_from_slice(several);
            }
            _ if group.leaning.is_none() => out.push(told),
            _ => {}
        }
    }
    out
}

/// Siblings that settle on the same as one group: the recommendation of the least sure.
fn together(
    set: &[&Group],
    plain: impl Fn(&Group, subject::Scope) -> subject::Group,
) -> Option<subject::Group> {
    let doubt = |group: &Group| {
        let decision = group.recommendation.decision.as_ref();
        decision.map_or(1.0, |d| (d.chance_it_pays - 0.5).abs())
    };
    let least_sure = set
        .iter()
        .copied()
        .min_by(|x, y| doubt(x).total_cmp(&doubt(y)))?;
    let names: Vec<String> = set.iter().map(|g| g.scope.place()).collect();
    let what = match (&least_sure.scope, set.len()) {
        (Scope::Machine { .. }, 1) => "machine",
        (Scope::Machine { .. }, _) => "machines",
        (_, 1) => "position",
        _ => "positions",
    };
    let lives = set.iter().flat_map(|g| g.sample.lives().iter().copied());
    let mut group = plain(
        least_sure,
        subject::Scope::Place(format!("{what} {}", names.join(", "))),
    );
    // Each life was checked in its own sample.
    group.sample = Sample::new(lives.collect()).unwrap_or_default();
    group.slots = set.iter().flat_map(|g| g.slots.iter().cloned()).collect();
    group.leaning = Some(subject::Leaning {
        posterior: least_sure.leaning.as_ref()?.posterior.clone(),
        borrowed: set
            .iter()
            .filter_map(|g| Some(g.leaning.as_ref()?.borrowed))
            .collect(),
    });
    Some(group)
}

/// The scope as the page tells of it; `apart` names what the pool leaves out.
fn scope(scope: &Scope, apart: &[String]) -> subject::Scope {
    match (scope, scope.name()) {
        (Scope::Batch { batch }, _) => subject::Scope::Batch(batch.clone()),
        (_, Some(name)) => subject::Scope::Place(name),
        (_, None) => subject::Scope::Pool(apart.to_vec()),
    }
}

fn cost_words(from: CostFrom) -> String {
    match from {
        CostFrom::Ledger { renewals } => format!("mean of {renewals} renewals in the ledger"),
        CostFrom::Register => "register: parts, labour, stop and extra cost".to_owned(),
        CostFrom::Given => "given for this report".to_owned(),
    }
}
