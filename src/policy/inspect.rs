//! Looking instead of renewing: when to measure an item so that it is renewed before it passes
//! its limit, and what that costs beside renewal by age.
//!
//! In: the posterior of wear lines, a limit, failures, costs. Out: [`Inspection`].
//! Never: clock, files, SQL, printing.
//!
//! `Δ` usage at which to look: a new item is beyond its limit by then with chance `risk`.
//! `U` usage at the limit of a new item, by the posterior. An item is looked at every `Δ` and
//! renewed at the last look at which it would not stay within its limit to the next, so at
//! `R = Δ·max(1, ⌊U/Δ⌋)`; beyond its limit at the first look (`U < Δ`) it counts as failed.
//! `h` failures per usage that the measured quantity did not foretell: they come whatever is
//! looked at, and a life is `X ~ Exp(h)` for them. Expected cost per usage
//!
//! `E[ Cp·P(X>R, U≥Δ) + Cf·(1 − P(X>R, U≥Δ)) + Ci·Σ_j P(X > jΔ) ] / E[ ∫₀ᴿ P(X>t) dt ]`
//!
//! (renewal reward; `Ci` the cost of a look, `j` the looks up to `R`). A failure was foretold as
//! far as the item's line was, at its end, in the last tenth before its limit or beyond.
//! Source of the argument: Barlow & Proschan, *Mathematical Theory of Reliability* (1965), on
//! renewal reward; the rule of looks is our own.

use super::age::Costs;
use crate::wear::{Barrier, Belief, NEAR as LAST_TENTH};

/// Readings and items a wear line needs before it may settle a policy.
pub const READINGS: usize = 6;
/// See [`READINGS`].
pub const ITEMS: usize = 3;
/// Share of failures that must have been foretold.
pub const FORETOLD: f64 = 0.5;
/// An item that would stay within its limit for longer than so many looks is renewed then.
const LOOKS: f64 = 20.0;
/// Points of the distribution of `U`.
const POINTS: u32 = 40;

/// A life that ended by failure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Failed {
    /// Its place among the lines; `None` where nothing was read of it.
    pub item: Option<usize>,
    /// Usage at its end.
    pub usage: f64,
}

/// What is known of the lives beside their wear.
#[derive(Debug, Clone, Copy)]
pub struct Lived<'a> {
    pub failures: &'a [Failed],
    /// Usage of all lives together.
    pub usage: f64,
}

/// What a policy of looking is asked to keep and what it costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LookTerms {
    pub costs: Costs,
    /// Whole cost of one look: access and stop.
    pub look_cost: f64,
    /// Chance to be beyond the limit before the first look.
    pub risk: f64,
    /// Usages to look at are rounded down to a multiple of this.
    pub grid: Option<f64>,
    pub ceiling: Option<f64>,
}

/// When to look, and what it costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inspection {
    /// Usage since renewal at which to look, and from then on as often.
    pub look_at: f64,
    /// Expected cost per usage.
    pub cost_rate: f64,
    /// Share of failures that the measured quantity foretold.
    pub foretold: f64,
}

/// Weighs looking; `None` where lines are too thin, the limit is never reached, nothing failed,
/// or fewer than half of the failures were foretold.
///
/// Units: usages as the lines have them, costs in one currency. Domain: `risk` in (0, 1),
/// costs above 0, `lived.usage` above 0.
pub fn weigh(
    belief: &Belief<'_>,
    barrier: Barrier,
    lived: Lived<'_>,
    terms: &LookTerms,
) -> Option<Inspection> {
    let lines = belief.lines();
    if lines.readings() < READINGS || lines.items_read() < ITEMS || lived.failures.is_empty() {
        return None;
    }
    let earliest = belief.usage_with_chance(None, barrier, terms.risk)?;
    let capped = terms.ceiling.map_or(earliest, |c| c.min(earliest));
    let look_at = match terms.grid {
        Some(grid) if capped >= grid => (capped / grid + 1e-9).floor() * grid,
        _ => capped,
    };
    if look_at <= 0.0 || lived.usage <= 0.0 {
        return None;
    }
    let (intercept, _) = lines.line(None);
    let near = Barrier {
        limit: barrier.limit - LAST_TENTH * (barrier.limit - intercept),
        ..barrier
    };
    let told: f64 = lived
        .failures
        .iter()
        .map(|failed| belief.chance_beyond(failed.item, near, failed.usage))
        .sum();
    let count = lived.failures.len() as f64;
    let foretold = told / count;
    if foretold < FORETOLD {
        return None;
    }
    let others = (count - told) / lived.usage;
    let reached: Vec<Option<f64>> = (0..POINTS)
        .map(|k| (f64::from(k) + 0.5) / f64::from(POINTS))
        .map(|p| belief.usage_with_chance(None, barrier, p))
        .collect();
    Some(Inspection {
        look_at,
        cost_rate: cost_rate(look_at, &reached, others, terms.costs, terms.look_cost),
        foretold,
    })
}

/// Expected cost per usage of looking every `look_at`; see the head of this file.
///
/// `reached`: equally likely usages at the limit, `None` for never.
pub fn cost_rate(
    look_at: f64,
    reached: &[Option<f64>],
    others: f64,
    costs: Costs,
    look_cost: f64,
) -> f64 {
    let (mut cost, mut run) = (0.0, 0.0);
    for usage in reached {
        let looks = usage.map_or(LOOKS, |u| (u / look_at).floor().min(LOOKS));
        let in_time = looks >= 1.0;
        let looks = looks.max(1.0);
        let until = looks * look_at;
        let alive = (-others * until).exp();
        let planned = if in_time { alive } else { 0.0 };
        // Σ_{j=1..n} e^(−h j Δ), a geometric sum; n where nothing else fails.
        let q = (-others * look_at).exp();
        let expected_looks = if others > 0.0 {
            q * -(-others * until).exp_m1() / -(-others * look_at).exp_m1()
        } else {
            looks
        };
        cost +=
            costs.planned * planned + costs.failed * (1.0 - planned) + look_cost * expected_looks;
        run += if others > 0.0 {
            -(-others * until).exp_m1() / others
        } else {
            until
        };
    }
    cost / run
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wear::{ItemReadings, WearLines};

    fn costs() -> Costs {
        Costs::new(1_000.0, 6_000.0).expect("costs")
    }

    /// Worked by hand: U of 2,500 and 900 with looks every 1,000. The first is renewed at 2,000
    /// after two looks, the second is beyond at the first look: (1000 + 2·50) + (6000 + 50) over
    /// 2,000 + 1,000.
    #[test]
    fn the_cost_of_looking_by_hand() {
        let rate = cost_rate(1_000.0, &[Some(2_500.0), Some(900.0)], 0.0, costs(), 50.0);
        assert!((rate - 7_150.0 / 3_000.0).abs() < 1e-12, "{rate}");
        // One item never there: 20 looks, then renewed. Failures of another kind at 1e-4:
        // alive e^-2, run (1 − e^-2)/1e-4, looks q(1 − e^-2)/(1 − q) with q = e^-0.1.
        let rate = cost_rate(1_000.0, &[None], 1e-4, costs(), 50.0);
        let (alive, q) = ((-2.0_f64).exp(), (-0.1_f64).exp());
        let looks = q * (1.0 - alive) / (1.0 - q);
        let cost = 1_000.0 * alive + 6_000.0 * (1.0 - alive) + 50.0 * looks;
        assert!(
            (rate - cost / ((1.0 - alive) / 1e-4)).abs() < 1e-9,
            "{rate}"
        );
    }

    fn items() -> Vec<ItemReadings> {
        (0..6_u32)
            .map(|n| {
                let slope = 4e-5 * (1.0 + 0.1 * (f64::from(n) - 2.5));
                let at = |usage: f64, off: f64| (usage, 0.08 + slope * usage + off);
                ItemReadings {
                    item: n.to_string(),
                    readings: vec![at(1_000.0, 0.002), at(2_500.0, -0.002), at(4_000.0, 0.001)],
                }
            })
            .collect()
    }

    #[test]
    fn looking_is_weighed_only_where_the_limit_ends_lives() {
        let items = items();
        let lines = WearLines::fit(&items).expect("lines");
        let belief = lines.belief().expect("belief");
        let barrier = Barrier {
            limit: 0.30,
            rises: true,
        };
        let terms = LookTerms {
            costs: costs(),
            look_cost: 50.0,
            risk: 0.05,
            grid: Some(250.0),
            ceiling: None,
        };
        let failed = |usage: f64| {
            [Failed {
                item: Some(2),
                usage,
            }; 3]
        };
        let lived = |failures| Lived {
            failures,
            usage: 40_000.0,
        };
        let at_limit = failed(5_800.0);
        let found = weigh(&belief, barrier, lived(&at_limit), &terms).expect("looked at");
        assert!(found.foretold > 0.9, "{found:?}");
        assert_eq!(found.look_at % 250.0, 0.0);
        assert!(belief.chance_beyond(None, barrier, found.look_at) <= 0.05);
        assert!(found.cost_rate > 1_000.0 / 5_500.0);
        // The same failures long before the limit are of another kind.
        let early = failed(1_000.0);
        assert_eq!(weigh(&belief, barrier, lived(&early), &terms), None);
        // A lower risk looks sooner.
        let careful = LookTerms {
            risk: 0.01,
            ..terms
        };
        let sooner = weigh(&belief, barrier, lived(&at_limit), &careful).expect("looked at");
        assert!(sooner.look_at < found.look_at);
        assert_eq!(weigh(&belief, barrier, lived(&[]), &terms), None);
    }
}
