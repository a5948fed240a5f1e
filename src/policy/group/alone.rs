//! What the same machine costs where nothing is grouped.
//!
//! In: a machine. Out: [`CostRate`]s. Never: the search.
//!
//! Each slot by itself: age replacement at its own interval, in a stop and an opening of its own
//! (`[Cp·R(T) + Cf·F(T)] / ∫₀ᵀR`, see `policy::age`). What is renewed when an access is opened
//! then meets openings that come as if by chance; at `λ` of them per unit of usage it fails
//! `1/∫₀^∞ e^(−λt)·R(t) dt − λ` times per unit of usage, exact where they come by chance
//! altogether (a Poisson stream), as superposed streams nearly do.

use super::account::CostRate;
use super::inputs::{Allowed, Bound, BoundFrom, Item, Machine};
use super::lives::LifeTable;
use crate::model::Weibull;

/// Cost per unit of usage with every slot at its own interval.
pub fn own_intervals(machine: &Machine) -> CostRate {
    ungrouped(machine, |slot| slot.alone)
}

/// Cost per unit of usage with everything run to failure, but for ceilings and for slots of
/// which no failure is known: those keep their bounds.
pub fn run_to_failure(machine: &Machine) -> CostRate {
    ungrouped(machine, |slot| match slot.allowed {
        Allowed::AtMost(bound) => kept(&slot.item, bound),
        Allowed::Free | Allowed::AtFailure => None,
    })
}

/// The usage at which a bounded slot is renewed where all else runs to failure.
pub fn kept(item: &Item, bound: Bound) -> Option<f64> {
    (bound.from == BoundFrom::Ceiling || item.life.is_none()).then_some(bound.usage)
}

fn ungrouped(
    machine: &Machine,
    interval: impl Fn(&super::inputs::Slot) -> Option<f64>,
) -> CostRate {
    let mut cost = CostRate::default();
    let mut opened = vec![0.0; machine.accesses.len()];
    let opening = |access: usize| machine.accesses[access].cost(machine.downtime_cost);
    // A stop takes as long as the one that needs it longest.
    let stop = |item: &Item, access: Option<usize>| {
        let parts = access
            .iter()
            .flat_map(|a| &machine.accesses[*a].disturbed)
            .map(|d| d.item.shared_h);
        parts.fold(item.shared_h, f64::max) * machine.downtime_cost
    };
    for slot in &machine.slots {
        let rates = rates(&slot.item, interval(slot));
        cost.failures += slot.item.failed * rates.failed;
        cost.renewals += slot.item.own_cost(machine.downtime_cost) * rates.planned;
        cost.stops += stop(&slot.item, slot.access) * rates.planned;
        if let Some(access) = slot.access {
            cost.openings += opening(access) * rates.planned;
            opened[access] += rates.planned;
        }
    }
    for (n, access) in machine.accesses.iter().enumerate() {
        // A part with a bound of its own is opened for as a slot would be.
        for disturbed in access.disturbed.iter() {
            if let Some(bound) = disturbed.bound
                && kept(&disturbed.item, bound).is_some()
                && opened[n] * bound.usage < 1.0
            {
                let planned = rates(&disturbed.item, Some(bound.usage)).planned;
                cost.openings += opening(n) * planned;
                cost.stops += stop(&disturbed.item, Some(n)) * planned;
                opened[n] += planned;
            }
        }
        for disturbed in &access.disturbed {
            if let Some(life) = &disturbed.item.life {
                cost.failures += disturbed.item.failed * failures_between(life, opened[n]);
            }
        }
    }
    cost
}

/// Planned renewals and failures per unit of usage.
struct Rates {
    planned: f64,
    failed: f64,
}

/// Rates under age replacement, averaged over the lives.
fn rates(item: &Item, interval: Option<f64>) -> Rates {
    let one = |life: &Weibull| match interval {
        Some(at) => {
            let lived = life.mean_to(at);
            (life.reliability(at) / lived, life.failed_by(at) / lived)
        }
        None => (0.0, 1.0 / life.mean()),
    };
    let mut rates = Rates {
        planned: 0.0,
        failed: 0.0,
    };
    match &item.life {
        Some(life) => {
            for (weight, life) in life.lives() {
                let (planned, failed) = one(life);
                rates.planned += weight * planned;
                rates.failed += weight * failed;
            }
        }
        None => rates.planned = interval.map_or(0.0, |at| 1.0 / at),
    }
    rates
}

/// Failures per unit of usage of a part renewed at failure and by chance at `opened` per usage.
fn failures_between(life: &LifeTable, opened: f64) -> f64 {
    if opened <= 0.0 {
        return life.forever();
    }
    let step = life.step();
    life.each()
        .map(|(weight, mean, survivors, lived)| {
            // ∫ e^(−λt) R dt, the weight of each step's usage taken at its middle.
            let mut sum = 0.0;
            for k in 1..survivors.len() {
                let middle = step * (k as f64 - 0.5);
                sum += (lived[k] - lived[k - 1]) * (-opened * middle).exp();
            }
            let last = lived.len() - 1;
            sum += (mean - lived[last]) * (-opened * step * last as f64).exp();
            weight * (1.0 / sum - opened)
        })
        .sum()
}
