//! Gathers, for each component, the lives weighed together, their costs and what follows.
//!
//! In: a store. Out: [`ComponentEvidence`]: what `interval` and `report` both show.
//! Never: printing; statistics of its own.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::CommandError;
use super::select::Select;
use crate::cost::{CostBasis, CostFrom, basis};
use crate::life::{Flag, Life, LifeRow, RenewalCost, RenewalKind, Sample};
use crate::model::posterior::{Posterior, ShapePrior};
use crate::policy::evidence::{Apart, Evidence, Placed, Scope, Tried, split_and_tell};
use crate::policy::recommend::{Recommendation, Terms, judge, recommend};
use crate::policy::siblings::{Found, Pooling, Sibling, Siblings, siblings};
use crate::policy::{Costs, PolicyError, decide};
use crate::register::{Component, Register, UsageKind};
use crate::store::Store;

/// What is asked of the recommendations.
#[derive(Debug, Clone)]
pub struct Ask {
    pub select: Select,
    pub sure: f64,
    pub confidence: f64,
    /// Replaces the register's priors and the decision's own.
    pub prior: Option<ShapePrior>,
    /// Replaces what ledger and register say.
    pub planned_cost: Option<Decimal>,
    pub failed_cost: Option<Decimal>,
    /// How far positions lean on each other.
    pub pooling: Pooling,
}

impl Default for Ask {
    fn default() -> Self {
        let terms = Terms::default();
        Ask {
            select: Select::default(),
            sure: terms.sure,
            confidence: terms.confidence,
            prior: None,
            planned_cost: None,
            failed_cost: None,
            pooling: Pooling::default(),
        }
    }
}

/// One component's lives and groups.
#[derive(Debug, Clone)]
pub struct ComponentEvidence {
    pub component: Component,
    pub usage: UsageKind,
    /// Every slot of it (machine, position): those of the layouts in their order, then any
    /// other in which a life was recorded.
    pub slots: Vec<(String, String)>,
    /// All its lives that were asked for.
    pub rows: Vec<LifeRow>,
    /// How many rows stay out of the fits, by reason.
    pub excluded: Vec<(Flag, usize)>,
    pub planned: CostBasis,
    pub failed: CostBasis,
    pub terms: Terms,
    /// What was compared to set groups apart; `None` where nothing was to be.
    pub tried: Option<Tried>,
    /// How far the pool's positions (or machines) differ, where that was looked at.
    pub alike: Option<Found>,
    /// The pool first, then its siblings where each has an answer of its own (the pool then
    /// answers for no slot), then what is set apart.
    pub groups: Vec<Group>,
}

/// Lives weighed together, and what follows from them.
#[derive(Debug, Clone)]
pub struct Group {
    pub scope: Scope,
    /// Slots (machine, position) whose interval rests on this group; none for a batch.
    pub slots: Vec<(String, String)>,
    /// Indices into the component's rows.
    pub rows: Vec<usize>,
    pub sample: Sample,
    pub apart: Option<Apart>,
    pub costs: Costs,
    pub recommendation: Recommendation,
    /// Set where it is one of the pool's siblings.
    pub leaning: Option<Leaning>,
}

/// How a sibling leans on the others.
#[derive(Debug, Clone)]
pub struct Leaning {
    /// What its recommendation rests on.
    pub posterior: Posterior,
    /// Share of its estimate that is its siblings'.
    pub borrowed: f64,
    /// The others' names: "P1", "H-02".
    pub on: Vec<String>,
}

impl Group {
    /// What its forecasts and plans rest on; `None` where nothing has failed.
    pub fn posterior(&self, prior: ShapePrior) -> Option<Cow<'_, Posterior>> {
        match &self.leaning {
            Some(leaning) => Some(Cow::Borrowed(&leaning.posterior)),
            None => Posterior::new(&self.sample, prior).ok().map(Cow::Owned),
        }
    }
}

impl ComponentEvidence {
    /// For every slot (machine, position) the group that its interval rests on.
    pub fn owners(&self) -> HashMap<[&str; 2], usize> {
        let mut owners = HashMap::new();
        for (n, group) in self.groups.iter().enumerate() {
            for (machine, position) in &group.slots {
                owners.entry([machine.as_str(), position]).or_insert(n);
            }
        }
        owners
    }
}

/// For every slot (machine, component, position) the component of the evidence and its group.
pub fn places(evidence: &[ComponentEvidence]) -> HashMap<[&str; 3], (usize, usize)> {
    let mut places = HashMap::new();
    for (c, component) in evidence.iter().enumerate() {
        for ([machine, position], g) in component.owners() {
            places.insert([machine, &component.component.id, position], (c, g));
        }
    }
    places
}

/// Gathers the evidence of every component asked for, in the register's order.
pub fn gather(store: &Store, ask: &Ask) -> Result<Vec<ComponentEvidence>, CommandError> {
    gather_telling(store, ask, &|_, _| ())
}

/// As [`gather`]; `told` hears, from any thread, how many components are done of how many.
pub fn gather_telling(
    store: &Store,
    ask: &Ask,
    told: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<ComponentEvidence>, CommandError> {
    ask.select.check(store)?;
    let rows = store.lives()?;
    let renewals = store.renewal_costs()?;
    let mut components: Vec<(&Register, Component)> = Vec::new();
    for ledger in store.ledgers() {
        for component in &ledger.register.components {
            match components.iter_mut().find(|(_, c)| c.id == component.id) {
                Some((_, known)) => keep_lowest_ceiling(known, component),
                None if ask.select.takes_component(&component.id) => {
                    components.push((&ledger.register, component.clone()));
                }
                None => {}
            }
        }
    }
    let machines = store.machines();
    let jobs: Vec<_> = components
        .into_iter()
        .map(|(register, component)| {
            let own: Vec<LifeRow> = rows
                .iter()
                .filter(|row| row.component == component.id && ask.select.takes(row))
                .cloned()
                .collect();
            let slots = slots_of(store, &machines, &component, &own);
            (register, component, own, slots)
        })
        .collect();
    let (done, all) = (AtomicUsize::new(0), jobs.len());
    told(0, all);
    jobs.into_par_iter()
        .map(|(register, component, own, slots)| {
            let found = component_evidence(register, &component, own, slots, &renewals, ask);
            told(done.fetch_add(1, Ordering::Relaxed) + 1, all);
            found
        })
        .collect()
}

/// An interval that serves machines of several registers passes none of their ceilings.
fn keep_lowest_ceiling(known: &mut Component, other: &Component) {
    let value = |component: &Component| component.ceiling.as_ref().map(|c| c.value);
    if let Some(ceiling) = value(other)
        && value(known).is_none_or(|lowest| ceiling < lowest)
    {
        known.ceiling = other.ceiling.clone();
    }
}

/// Every slot of the component: those of the layouts, and any a life was recorded in.
fn slots_of(
    store: &Store,
    machines: &[String],
    component: &Component,
    rows: &[LifeRow],
) -> Vec<(String, String)> {
    let mut slots: Vec<(String, String)> = Vec::new();
    for machine in machines {
        let Some((ledger, tag)) = store.home_of(machine) else {
            continue;
        };
        for slot in ledger
            .register
            .slots(tag)
            .filter(|slot| slot.component == component.id)
        {
            slots.push((machine.clone(), slot.position.to_owned()));
        }
    }
    let known: HashSet<(&str, &str)> = slots.iter().map(|(m, p)| (&**m, &**p)).collect();
    let mut others: Vec<(String, String)> = Vec::new();
    for row in rows {
        if !known.contains(&(&*row.machine, &*row.position)) {
            let slot = (row.machine.clone(), row.position.clone());
            if !others.contains(&slot) {
                others.push(slot);
            }
        }
    }
    slots.extend(others);
    slots
}

fn component_evidence(
    register: &Register,
    component: &Component,
    rows: Vec<LifeRow>,
    slots: Vec<(String, String)>,
    renewals: &[RenewalCost],
    ask: &Ask,
) -> Result<ComponentEvidence, CommandError> {
    let (planned, failed) = costs(register, component, renewals, ask);
    let number = |cost: CostBasis| cost.value.to_f64().unwrap_or(f64::NAN);
    let costs = Costs::new(number(planned), number(failed))
        .map_err(|error| cost_fault(component, error))?;
    let terms = Terms {
        sure: ask.sure,
        confidence: ask.confidence,
        // The grid is one of the plant's main usage; another meter has another step.
        grid: register.plant.planning_grid.filter(|_| {
            register
                .usages
                .first()
                .is_some_and(|u| u.id == component.usage)
        }),
        ceiling: component.ceiling.as_ref().map(|c| c.value),
        prior: prior(component, ask),
    };

    let mut placed = Vec::new();
    let mut place_of = Vec::new();
    let mut excluded: Vec<(Flag, usize)> = Vec::new();
    for (n, row) in rows.iter().enumerate() {
        match row.life(None) {
            Ok(life) => {
                place_of.push(n);
                placed.push(Placed {
                    machine: row.machine.clone(),
                    position: row.position.clone(),
                    batch: row.batch.clone(),
                    life,
                });
            }
            Err(flag) => match excluded.iter_mut().find(|(f, _)| *f == flag) {
                Some((_, count)) => *count += 1,
                None => excluded.push((flag, 1)),
            },
        }
    }
    excluded.sort();

    let (found, tried) = match ask.pooling {
        // What clearly differs is set apart before anything leans on anything.
        Pooling::Partial | Pooling::All => {
            let (found, tried) = split_and_tell(&placed);
            (found, Some(tried))
        }
        Pooling::None => {
            let all = Evidence {
                scope: Scope::Pool,
                members: (0..placed.len()).collect(),
                apart: None,
            };
            (vec![all], None)
        }
    };
    let mut alike = None;
    let scopes: Vec<Scope> = found.iter().map(|e| e.scope.clone()).collect();
    let mut groups = Vec::new();
    for (n, evidence) in found.into_iter().enumerate() {
        let lives: Vec<Life> = evidence.members.iter().map(|m| placed[*m].life).collect();
        // Each life was checked when its row was turned into one.
        let sample = Sample::new(lives).unwrap_or_default();
        let own: Vec<(String, String)> = slots
            .iter()
            .filter(|(machine, position)| owner(&scopes, machine, position) == n)
            .cloned()
            .collect();
        let mut leaning = Vec::new();
        if n == 0 {
            leaning = match ask.pooling {
                Pooling::All => Vec::new(),
                Pooling::Partial => {
                    let looked = siblings(&placed, &evidence.members, &own, terms.prior);
                    let (found, each) = match looked {
                        Siblings::Alike { found } => (found, Vec::new()),
                        Siblings::Differ { found, each } => (Some(found), each),
                    };
                    alike = found;
                    leaners(&placed, &evidence.members, each, &own, costs, &terms)
                }
                Pooling::None => loners(&placed, &own, costs, &terms),
            };
        }
        groups.push(Group {
            slots: if leaning.is_empty() {
                own.clone()
            } else {
                Vec::new()
            },
            rows: evidence.members.iter().map(|m| place_of[*m]).collect(),
            scope: evidence.scope,
            recommendation: recommend(&sample, costs, &terms),
            sample,
            apart: evidence.apart,
            costs,
            leaning: None,
        });
        for mut group in leaning {
            group.rows.iter_mut().for_each(|row| *row = place_of[*row]);
            groups.push(group);
        }
    }
    let usage = register
        .usage(&component.usage)
        .cloned()
        .unwrap_or(UsageKind {
            id: component.usage.clone(),
            name: component.usage.clone(),
            unit: String::new(),
        });
    Ok(ComponentEvidence {
        component: component.clone(),
        usage,
        slots,
        rows,
        excluded,
        planned,
        failed,
        terms,
        tried,
        alike,
        groups,
    })
}

/// A group for each position of the pool that has an answer of its own; none where one
/// answer serves all. Rows are indices into the lives given.
fn leaners(
    lives: &[Placed],
    pool: &[usize],
    each: Vec<Sibling>,
    slots: &[(String, String)],
    costs: Costs,
    terms: &Terms,
) -> Vec<Group> {
    if each.is_empty() {
        return Vec::new();
    }
    let all = pool.iter().map(|n| lives[*n].life).collect();
    let all = Sample::new(all).unwrap_or_default();
    let names: Vec<String> = each.iter().map(|s| s.scope.place()).collect();
    each.into_iter()
        .enumerate()
        .map(|(n, sibling)| {
            let decision = decide(&sibling.posterior, costs, terms.confidence);
            Group {
                slots: covered(&sibling.scope, slots),
                rows: sibling.members,
                scope: sibling.scope,
                // How steeply wear sets in, and how long items ran, all siblings tell.
                recommendation: judge(&all, decision, costs, terms),
                sample: sibling.sample,
                apart: None,
                costs,
                leaning: Some(Leaning {
                    posterior: sibling.posterior,
                    borrowed: sibling.borrowed,
                    on: without(&names, n),
                }),
            }
        })
        .collect()
}

/// A group for each position on its own lives, as asked for by hand.
fn loners(lives: &[Placed], slots: &[(String, String)], costs: Costs, terms: &Terms) -> Vec<Group> {
    let mut positions: Vec<&String> = Vec::new();
    for (_, position) in slots {
        if !positions.contains(&position) {
            positions.push(position);
        }
    }
    positions
        .into_iter()
        .map(|position| {
            let scope = Scope::Position {
                position: position.clone(),
            };
            let rows: Vec<usize> = (0..lives.len())
                .filter(|n| lives[*n].position == *position)
                .collect();
            let own = rows.iter().map(|n| lives[*n].life).collect();
            let sample = Sample::new(own).unwrap_or_default();
            Group {
                slots: covered(&scope, slots),
                scope,
                rows,
                recommendation: recommend(&sample, costs, terms),
                sample,
                apart: None,
                costs,
                leaning: None,
            }
        })
        .collect()
}

fn covered(scope: &Scope, slots: &[(String, String)]) -> Vec<(String, String)> {
    slots
        .iter()
        .filter(|(machine, position)| scope.covers(machine, position))
        .cloned()
        .collect()
}

fn without(names: &[String], n: usize) -> Vec<String> {
    let others = names.iter().enumerate().filter(|(m, _)| *m != n);
    others.map(|(_, name)| name.clone()).collect()
}

/// The group a slot belongs to: the first exception that covers it, else the pool.
fn owner(scopes: &[Scope], machine: &str, position: &str) -> usize {
    (1..scopes.len())
        .find(|n| scopes[*n].covers(machine, position))
        .unwrap_or(0)
}

pub(super) fn prior(component: &Component, ask: &Ask) -> ShapePrior {
    let stated = || {
        let prior = component.shape_prior.as_ref()?;
        ShapePrior::from_points(prior.low, prior.high)
    };
    ask.prior.or_else(stated).unwrap_or(ShapePrior::DECISION)
}

/// Planned and failed cost: given, from the ledger's jobs, or from the register.
pub(super) fn costs(
    register: &Register,
    component: &Component,
    renewals: &[RenewalCost],
    ask: &Ask,
) -> (CostBasis, CostBasis) {
    let own = register.renewal_costs(&component.id);
    let one = |given: Option<Decimal>, kind: RenewalKind, fallback: Option<Decimal>| match given {
        Some(value) => CostBasis {
            value,
            from: CostFrom::Given,
        },
        None => {
            let past: Vec<Decimal> = renewals
                .iter()
                .filter(|r| r.component == component.id && r.kind == kind)
                .filter_map(|r| r.total)
                .collect();
            basis(&past, fallback.unwrap_or_default())
        }
    };
    (
        one(
            ask.planned_cost,
            RenewalKind::Planned,
            own.map(|o| o.planned),
        ),
        one(ask.failed_cost, RenewalKind::Failed, own.map(|o| o.failed)),
    )
}

fn cost_fault(component: &Component, error: PolicyError) -> CommandError {
    use crate::quantity::trouble::Trouble;
    CommandError::new(
        super::Fault::Data,
        Trouble::error("no-cost", format!("component {}: {error}", component.id))
            .in_file(crate::register::FILE_NAME)
            .cured_by(
                "state its price, hours and stops in the register, or record jobs with costs",
            ),
    )
}
