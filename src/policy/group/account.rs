//! The account of a plan: what it costs by kind, by slot, and who bears what is shared.
//!
//! In: a machine, a base interval, a multiple for each slot. Out: [`Account`], by walking
//! through one whole cycle of stops. Never: the search, which it also checks.
//!
//! What is shared is split as those who share it need it: an opening in equal parts among the
//! slots renewed in it; the hours of a stop rung by rung, each rung in equal parts among
//! those who need it (S. C. Littlechild & G. Owen, *Management Science* 20 (1973), 370–372,
//! for landing fees; from memory).

use super::inputs::Machine;
use super::pattern::cycle;

/// Cost per unit of usage, by kind.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CostRate {
    /// The machine standing for what stops share.
    pub stops: f64,
    /// Opening accesses, with the parts renewed because they are disturbed.
    pub openings: f64,
    /// Planned renewals themselves: parts, hands-on labour, hours they add to a stop.
    pub renewals: f64,
    pub failures: f64,
}

impl CostRate {
    pub fn total(&self) -> f64 {
        self.stops + self.openings + self.renewals + self.failures
    }
}

/// One slot's part in the cost, per unit of usage.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Share {
    pub renewals: f64,
    pub failures: f64,
    /// Its share of openings and stops.
    pub shared: f64,
}

/// A plan's cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Account {
    pub cost: CostRate,
    pub slots: Vec<Share>,
    /// For each access: failures of what is renewed when it is opened, and what no slot bears.
    pub accesses: Vec<f64>,
    /// For each access, openings per unit of usage.
    pub openings: Vec<f64>,
    /// Stops per unit of usage.
    pub stops: f64,
}

/// Adds up a plan over one cycle.
///
/// `base` in steps; `opened` holds for each access the multiples at which it is opened, of
/// which the multiples of its slots are multiples.
pub fn account(
    machine: &Machine,
    base: usize,
    multiples: &[Option<u32>],
    opened: &[Vec<u32>],
) -> Account {
    let all: Vec<u32> = multiples
        .iter()
        .flatten()
        .chain(opened.iter().flatten())
        .copied()
        .collect();
    let cycle = cycle(&all);
    let run = machine.step * base as f64 * f64::from(cycle);
    let mut slots = vec![Share::default(); machine.slots.len()];
    let mut accesses = vec![0.0; machine.accesses.len()];
    let mut openings = vec![0.0; machine.accesses.len()];
    let mut last = vec![0; machine.accesses.len()];
    let mut cost = CostRate::default();
    let mut stops = 0.0;
    for k in 1..=cycle {
        let due: Vec<usize> = (0..multiples.len())
            .filter(|n| multiples[*n].is_some_and(|m| k % m == 0))
            .collect();
        let open: Vec<usize> = (0..opened.len())
            .filter(|a| opened[*a].iter().any(|m| k % m == 0))
            .collect();
        if due.is_empty() && open.is_empty() {
            continue;
        }
        stops += 1.0;
        for n in &due {
            let own = machine.slots[*n].item.own_cost(machine.downtime_cost);
            slots[*n].renewals += own / run;
            cost.renewals += own / run;
        }
        // Who needs how long a stop: slots by their place, accesses after them.
        let mut needs: Vec<(f64, usize)> = due
            .iter()
            .map(|n| (machine.slots[*n].item.shared_h, *n))
            .collect();
        for a in open {
            let access = &machine.accesses[a];
            let opening = access.cost(machine.downtime_cost);
            let behind: Vec<usize> = due
                .iter()
                .copied()
                .filter(|n| machine.slots[*n].access == Some(a))
                .collect();
            cost.openings += opening / run;
            openings[a] += 1.0 / run;
            for n in &behind {
                slots[*n].shared += opening / run / behind.len() as f64;
            }
            if behind.is_empty() {
                accesses[a] += opening / run;
            }
            let gap = (k - last[a]) as usize * base;
            last[a] = k;
            for disturbed in &access.disturbed {
                let failures = disturbed.item.failures_over(gap) / run;
                cost.failures += failures;
                accesses[a] += failures;
                needs.push((disturbed.item.shared_h, machine.slots.len() + a));
            }
        }
        needs.sort_by(|x, y| x.0.total_cmp(&y.0));
        let mut below = 0.0;
        for n in 0..needs.len() {
            let rung = (needs[n].0 - below) * machine.downtime_cost / run;
            below = needs[n].0;
            cost.stops += rung;
            let sharers = &needs[n..];
            for (_, who) in sharers {
                let share = rung / sharers.len() as f64;
                match who.checked_sub(machine.slots.len()) {
                    Some(a) => accesses[a] += share,
                    None => slots[*who].shared += share,
                }
            }
        }
    }
    for (n, slot) in machine.slots.iter().enumerate() {
        let failures = match multiples[n] {
            Some(m) => {
                let k = m as usize * base;
                slot.item.failures_over(k) / (machine.step * k as f64)
            }
            None => slot.item.failures_forever(),
        };
        slots[n].failures = failures;
        cost.failures += failures;
    }
    for (a, access) in machine.accesses.iter().enumerate() {
        if opened[a].is_empty() {
            let failures: f64 = access
                .disturbed
                .iter()
                .map(|d| d.item.failures_forever())
                .sum();
            accesses[a] += failures;
            cost.failures += failures;
        }
    }
    Account {
        cost,
        slots,
        accesses,
        openings,
        stops: stops / run,
    }
}
