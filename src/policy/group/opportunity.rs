//! From which age on a slot is renewed along when the machine is down for something else.
//!
//! In: a life, what a renewal and a failure cost, the interval planned. Out: an age.
//! Never: plans.
//!
//! With `g` the cost per usage of the slot under its own plan, an item of age `a` costs, from now
//! to its next renewal at `T`, `W(a) = Cp·R(T|a) + Cf·F(T|a) − g·∫ₐᵀ R(u|a) du` more than an
//! item just renewed, whose `W(0)` is 0. It is renewed along where `W(a)` is at least what that
//! costs now. Sources: R. Dekker & M. C. Dijkstra, *Naval Research Logistics* 39 (1992),
//! 175–190, opportunity-based age replacement; R. Dekker, R. E. Wildeman & F. A. van der Duyn
//! Schouten, *Mathematical Methods of Operations Research* 45 (1997), 411–435, on what parts
//! have to do with each other in cost (both from memory). Over a posterior both sides are
//! means over the lives that an item of that age may have: each weighs by its survivors.
//!
//! The same age tells at a stop which items due are too young to be worth renewing. The two go
//! together: what was taken along and is renewed again at the next stop costs more than it
//! saves (`examples/group_study.rs`).

use super::lives::LifeTable;

/// What decides about one slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stakes {
    /// Whole cost of one planned renewal under its plan, shared costs included.
    pub planned: f64,
    pub failed: f64,
    /// Steps to its planned renewal; `None` is only at failure.
    pub interval: Option<usize>,
}

/// The smallest age from which renewing for `now` pays, in usage; `None` where it never does
/// before the planned renewal.
///
/// Without a life nothing is known of failures: the share of the planned cost that an item of
/// age `a` has used up, `a/T`, is weighed alone.
pub fn age(life: Option<&LifeTable>, stakes: Stakes, now: f64, step: f64) -> Option<f64> {
    let Some(life) = life else {
        let interval = step * stakes.interval? as f64;
        return (now <= stakes.planned && stakes.planned > 0.0)
            .then(|| interval * now / stakes.planned);
    };
    let last = stakes
        .interval
        .map_or(life.last(), |k| k.min(life.last()))
        .max(1);
    let worth = |k: usize| -> f64 {
        life.each()
            .map(|(weight, mean, survivors, lived)| {
                // Beyond the table an item planned for later is as good as run to failure.
                let (end, lived_to) = match stakes.interval {
                    Some(to) if to <= life.last() => (survivors[to], lived[to]),
                    _ => (0.0, mean),
                };
                let failed = 1.0 - end;
                let g = (stakes.planned * end + stakes.failed * failed) / lived_to;
                let to_go = stakes.planned * end + stakes.failed * (survivors[k] - end)
                    - g * (lived_to - lived[k]);
                weight * (to_go - now * survivors[k])
            })
            .sum()
    };
    let mut before = worth(0);
    for k in 1..=last {
        let here = worth(k);
        // What costs now as much as later is worth it when it is due: not a digit sooner.
        if here >= -1e-9 * now {
            // Straight between steps.
            let share = if here > before {
                before / (before - here)
            } else {
                1.0
            };
            return Some(step * ((k - 1) as f64 + share.clamp(0.0, 1.0)));
        }
        before = here;
    }
    None
}
