//! Grouped plans from a ledger's evidence.
//!
//! In: a store and the evidence of its components. Out: [`GroupedMachine`], one a machine.
//! Never: the search, printing.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use rayon::prelude::*;

use super::evidence::{ComponentEvidence, Group, places};
use super::group_machine::{Known, LeftOut, Tables, assemble};
use super::{CommandError, Fault};
use crate::policy::Verdict;
use crate::policy::group::{
    Allowed, Bound, BoundFrom, GroupPlan, Machine, WeightedLife, plan_group, thinned,
};
use crate::quantity::trouble::Trouble;
use crate::register::{Component, UsageKind};
use crate::store::Store;

/// What decided how a slot is planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ground {
    /// The interval with the least cost, or none where none pays.
    Cost,
    /// Held at or below the ceiling.
    Ceiling(f64),
    /// The record does not settle it: the crew's present interval is kept as an upper limit.
    KeepsPresent { usage: f64, failures: bool },
    /// The record does not settle it and no interval is stated: only at failure.
    Unsettled { failures: bool },
}

/// One slot's usage and grounds, in the order of the plan's slots.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotFacts {
    /// Usage that ages it, by id and unit, and how much of it goes to one of the machine's.
    pub usage: String,
    pub unit: String,
    pub per_usage: f64,
    pub ground: Ground,
}

/// A machine with its grouped plan.
#[derive(Debug, Clone)]
pub struct GroupedMachine {
    /// As tables name it.
    pub machine: String,
    /// The usage its base interval counts in.
    pub usage: UsageKind,
    pub inputs: Machine,
    pub plan: GroupPlan,
    pub slots: Vec<SlotFacts>,
    pub left_out: Vec<(String, String, LeftOut)>,
}

impl GroupedMachine {
    /// A usage of the plan as slot `n` counts it.
    pub fn own(&self, n: usize, usage: f64) -> f64 {
        usage * self.slots[n].per_usage
    }
}

/// Lives of every group of the evidence, thinned once; by component and group.
pub struct Grouping<'a> {
    store: &'a Store,
    evidence: &'a [ComponentEvidence],
    places: HashMap<[&'a str; 3], (usize, usize)>,
    lives: HashMap<(usize, usize), Arc<[WeightedLife]>>,
    tables: Mutex<Tables>,
}

/// Plans every machine of the ledgers that has slots, in their order.
pub fn grouped(
    store: &Store,
    evidence: &[ComponentEvidence],
    machines: &[String],
) -> Result<Vec<GroupedMachine>, CommandError> {
    let grouping = Grouping::new(store, evidence);
    let plans: Result<Vec<_>, _> = machines
        .par_iter()
        .map(|machine| grouping.machine(machine))
        .collect();
    Ok(plans?.into_iter().flatten().collect())
}

impl<'a> Grouping<'a> {
    /// Prepares the lives; the evidence should be that of all components.
    pub fn new(store: &'a Store, evidence: &'a [ComponentEvidence]) -> Self {
        let groups: Vec<(usize, usize)> = evidence
            .iter()
            .enumerate()
            .flat_map(|(c, e)| (0..e.groups.len()).map(move |g| (c, g)))
            .filter(|(c, g)| !evidence[*c].groups[*g].slots.is_empty())
            .collect();
        let lives = groups
            .into_par_iter()
            .map(|(c, g)| ((c, g), lives(&evidence[c], &evidence[c].groups[g])))
            .collect();
        Grouping {
            store,
            evidence,
            places: places(evidence),
            lives,
            tables: Mutex::new(Tables::default()),
        }
    }

    /// Plans one machine; `None` where the ledger has none of that name or it has no slots.
    pub fn machine(&self, machine: &str) -> Result<Option<GroupedMachine>, CommandError> {
        let Some((ledger, tag)) = self.store.home_of(machine) else {
            return Ok(None);
        };
        let register = &ledger.register;
        let assembled = {
            // A table half made by a thread that panicked is not in the map at all.
            let mut tables = self.tables.lock().unwrap_or_else(|held| held.into_inner());
            let known = |component: &Component, position: &str| {
                let slot = [machine, component.id.as_str(), position];
                let (c, g) = *self.places.get(&slot)?;
                let lives = self.lives.get(&(c, g))?.clone();
                Some(known(&self.evidence[c], g, lives))
            };
            assemble(register, tag, known, &mut tables)
        };
        let Some(assembled) = assembled.filter(|a| !a.machine.slots.is_empty()) else {
            return Ok(None);
        };
        let plan = plan_group(&assembled.machine).map_err(|error| {
            CommandError::new(
                Fault::Data,
                Trouble::error("no-group-plan", format!("machine {machine}: {error}"))
                    .in_file(crate::register::FILE_NAME)
                    .cured_by("correct the prices, hours or limits in the register"),
            )
        })?;
        let slots = assembled
            .machine
            .slots
            .iter()
            .zip(&assembled.per_usage)
            .map(|(slot, per_usage)| {
                let item = &slot.item;
                let slot = [machine, item.component.as_str(), item.position.as_str()];
                // Every slot of the machine was put there by its group.
                let (c, g) = self.places.get(&slot).copied().unwrap_or((0, 0));
                SlotFacts {
                    usage: self.evidence[c].usage.id.clone(),
                    unit: self.evidence[c].usage.unit.clone(),
                    per_usage: *per_usage,
                    ground: ground(&self.evidence[c], g),
                }
            })
            .collect();
        let usage = register.usage(&assembled.usage).cloned();
        Ok(Some(GroupedMachine {
            machine: machine.to_owned(),
            usage: usage.unwrap_or(UsageKind {
                id: assembled.usage.clone(),
                name: assembled.usage.clone(),
                unit: String::new(),
            }),
            inputs: assembled.machine,
            plan,
            slots,
            left_out: assembled.left_out,
        }))
    }
}

/// The lives of a group; none where nothing has failed.
fn lives(evidence: &ComponentEvidence, group: &Group) -> Arc<[WeightedLife]> {
    let posterior = group.posterior(evidence.terms.prior);
    let thin = posterior.map(|posterior| thinned(&posterior));
    thin.unwrap_or_default().into()
}

fn ground(evidence: &ComponentEvidence, group: usize) -> Ground {
    let recommendation = &evidence.groups[group].recommendation;
    let failures = recommendation.decision.is_some();
    let ceiling = evidence.terms.ceiling;
    match (recommendation.verdict, evidence.component.present_interval) {
        (Verdict::NotEnoughEvidence, Some(usage)) if ceiling.is_none_or(|c| usage <= c) => {
            Ground::KeepsPresent { usage, failures }
        }
        (_, _) if ceiling.is_some() => Ground::Ceiling(ceiling.unwrap_or(f64::INFINITY)),
        (Verdict::NotEnoughEvidence, _) => Ground::Unsettled { failures },
        _ => Ground::Cost,
    }
}

fn known(evidence: &ComponentEvidence, group: usize, lives: Arc<[WeightedLife]>) -> Known {
    let ground = ground(evidence, group);
    let group = &evidence.groups[group];
    let at_most = |usage, from| Allowed::AtMost(Bound { usage, from });
    let allowed = match ground {
        Ground::Cost => Allowed::Free,
        Ground::Ceiling(usage) => at_most(usage, BoundFrom::Ceiling),
        // Where there is a ceiling as well, the bound holds in every policy compared.
        Ground::KeepsPresent { usage, .. } if evidence.terms.ceiling.is_some() => {
            at_most(usage, BoundFrom::Ceiling)
        }
        Ground::KeepsPresent { usage, .. } => at_most(usage, BoundFrom::Present),
        Ground::Unsettled { .. } => Allowed::AtFailure,
    };
    let bound = allowed.bound().map(|b| b.usage);
    Known {
        lives,
        failed: group.costs.failed,
        allowed,
        alone: match (group.recommendation.interval, bound) {
            (Some(interval), Some(bound)) => Some(interval.min(bound)),
            (interval, bound) => interval.or(bound),
        },
    }
}
