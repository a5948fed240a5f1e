//! Grouped stops: one base interval for a machine, and a whole multiple of it for every slot.
//!
//! In: a [`Machine`]: slots with lives, costs and limits, and the accesses they lie behind.
//! Out: [`GroupPlan`]. Never: data, registers, dates, words for people.
//!
//! Every `multiple` of the base interval a slot is renewed whatever its age; between stops at
//! failure (block replacement: R. E. Barlow & F. Proschan, *Mathematical Theory of
//! Reliability*, 1965, chapter 4). A stop costs the greatest shared hours of what is done in
//! it and the own hours of all; an access is opened once for all that lies behind it. What is
//! renewed whenever an access is opened runs from planned opening to planned opening; that
//! failures open it too is left out, in every policy compared.
//! Source: R. Dekker, R. E. Wildeman & F. A. van der Duyn Schouten, "A review of
//! multi-component maintenance models with economic dependence", *Mathematical Methods of
//! Operations Research* 45 (1997), 411–435 (from memory).

mod account;
mod alone;
mod inputs;
pub mod lives;
mod opportunity;
mod pattern;
mod search;
mod step;
#[cfg(test)]
mod tests;

pub use account::{Account, CostRate, Share, account};
pub use alone::{own_intervals, run_to_failure};
pub use inputs::{Access, Allowed, Bound, BoundFrom, Disturbed, GroupError, Item, Machine, Slot};
pub use lives::{LifeTable, WeightedLife, thinned};
pub use opportunity::{Stakes, age as opportunity_age};
pub use pattern::MOST as MOST_MULTIPLE;
pub use search::search;
pub use step::step_for;

/// What is planned for one slot, in the order of [`Machine::slots`].
#[derive(Debug, Clone, PartialEq)]
pub struct SlotPlan {
    /// Of the base interval; `None` is only at failure.
    pub multiple: Option<u32>,
    pub interval: Option<f64>,
    /// Its part in the cost.
    pub share: Share,
    /// Age from which it is renewed along where it lies exposed anyway.
    pub exposed_from: Option<f64>,
    /// Age from which it is renewed along where the machine is down and its access must be
    /// opened for it.
    pub down_from: Option<f64>,
}

/// What is planned for one access, in the order of [`Machine::accesses`].
#[derive(Debug, Clone, PartialEq)]
pub struct AccessPlan {
    /// It is opened at every multiple of each of these; never by plan where there is none.
    pub every: Vec<u32>,
    /// Openings per unit of usage.
    pub openings: f64,
    /// Cost per unit of usage that no slot bears: failures of what is renewed when it is opened,
    /// and openings for its sake alone.
    pub cost_rate: f64,
}

/// The plan of least expected cost for one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupPlan {
    /// `None` where nothing is renewed by plan.
    pub base: Option<f64>,
    /// Base intervals between which the cost stays within [`NEAR`](super::age::NEAR) of the
    /// least, the multiples being chosen anew.
    pub near: Option<(f64, f64)>,
    pub cost: CostRate,
    /// Stops per unit of usage.
    pub stops: f64,
    pub slots: Vec<SlotPlan>,
    pub accesses: Vec<AccessPlan>,
    /// Every slot at its own interval, in stops of its own.
    pub own_intervals: CostRate,
    /// Everything run to failure, but for ceilings and slots of which no failure is known.
    pub run_to_failure: CostRate,
}

impl GroupPlan {
    /// Share of the cost saved against every slot at its own interval.
    pub fn saving_on_own(&self) -> f64 {
        1.0 - self.cost.total() / self.own_intervals.total()
    }

    /// Share of the cost saved against running to failure.
    pub fn saving_on_failure(&self) -> f64 {
        1.0 - self.cost.total() / self.run_to_failure.total()
    }
}

/// Plans the stops of a machine at least expected cost per unit of usage.
///
/// Exact over base intervals that are multiples of [`Machine::step`] and multiples up to
/// [`MOST_MULTIPLE`] (unit tests against all plans of small machines).
/// Units: usage as the lives'; costs per unit of usage. Errors: [`GroupError`].
pub fn plan_group(machine: &Machine) -> Result<GroupPlan, GroupError> {
    machine.check()?;
    // A base interval of one step keeps every bound, as each is at least a step.
    let found = search(machine).unwrap_or_else(|| search::Found::nothing(machine));
    let account = account(machine, found.base, &found.multiples, &found.opened);
    let planned = found.opened.iter().any(|every| !every.is_empty())
        || found.multiples.iter().any(Option::is_some);
    let usage = |steps: usize| machine.step * steps as f64;
    let slots = found
        .multiples
        .iter()
        .enumerate()
        .map(|(n, multiple)| slot_plan(machine, n, *multiple, found.base, account.slots[n]))
        .collect();
    let accesses = found
        .opened
        .iter()
        .zip(account.openings.iter().zip(&account.accesses))
        .map(|(every, (openings, cost_rate))| AccessPlan {
            every: every.clone(),
            openings: *openings,
            cost_rate: *cost_rate,
        })
        .collect();
    Ok(GroupPlan {
        base: planned.then(|| usage(found.base)),
        near: planned.then(|| (usage(found.near.0), usage(found.near.1))),
        cost: account.cost,
        stops: account.stops,
        slots,
        accesses,
        own_intervals: own_intervals(machine),
        run_to_failure: run_to_failure(machine),
    })
}

fn slot_plan(
    machine: &Machine,
    n: usize,
    multiple: Option<u32>,
    base: usize,
    share: Share,
) -> SlotPlan {
    let slot = &machine.slots[n];
    let steps = multiple.map(|m| m as usize * base);
    let interval = steps.map(|k| machine.step * k as f64);
    let own = slot.item.own_cost(machine.downtime_cost);
    let stakes = Stakes {
        planned: interval.map_or(own, |at| (share.renewals + share.shared) * at),
        failed: slot.item.failed,
        interval: steps,
    };
    let opening = slot
        .access
        .map_or(0.0, |a| machine.accesses[a].cost(machine.downtime_cost));
    // Where nothing justifies an interval, nothing justifies renewing along.
    let age = |now: f64| match slot.allowed {
        Allowed::AtFailure => None,
        _ => opportunity_age(slot.item.life.as_deref(), stakes, now, machine.step),
    };
    SlotPlan {
        multiple,
        interval,
        share,
        exposed_from: age(own),
        down_from: age(own + opening),
    }
}
