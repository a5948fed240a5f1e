//! The search for the plan of least expected cost: exact for any number of slots.
//!
//! In: a checked [`Machine`]. Out: [`Found`]: base interval, a multiple for each slot, which
//! stops each access is opened at. Never: what the costs are made of (`account`).
//!
//! Once it is settled at which stops the machine stands how long, and at which of them an
//! access is opened, its slots have nothing to do with each other: each takes the best of the
//! multiples whose stops lie there. So all patterns of stops (`pattern`) are gone through, for
//! each the best pattern of every access, for each of those the best multiple of every slot.
//! How long a stop takes for the sake of what is done in it is a ladder of hours; the patterns
//! of its rungs lie within each other. What a bound shows to be dearer than the best is left
//! out; nothing else is.

use std::sync::Arc;

use super::inputs::{Allowed, Disturbed, Machine, Slot};
use super::pattern::{FULL, MOST, Patterns};
use crate::policy::age::NEAR;

/// The best plan found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Base interval, in steps.
    pub base: usize,
    pub cost_rate: f64,
    /// Base intervals between which, in steps, the cost stays near the least.
    pub near: (usize, usize),
    /// A multiple for each slot; `None` is only at failure.
    pub multiples: Vec<Option<u32>>,
    /// For each access the multiples at which it is opened.
    pub opened: Vec<Vec<u32>>,
}

impl Found {
    /// Everything at failure: for a machine without slots.
    pub fn nothing(machine: &Machine) -> Found {
        Found {
            base: 1,
            cost_rate: 0.0,
            near: (1, 1),
            multiples: vec![None; machine.slots.len()],
            opened: vec![Vec::new(); machine.accesses.len()],
        }
    }
}

/// A slot as the search sees it.
struct Choice<'a> {
    slot: &'a Slot,
    own: f64,
    /// Longest interval, in steps; 0 where none may be planned.
    last: usize,
    /// Cost per usage of running to failure; `None` where a bound forbids it.
    never: Option<f64>,
    /// Rung of the ladder of shared hours.
    rung: usize,
}

impl Choice<'_> {
    /// Cost per unit of usage when renewed every `k` steps and at failure.
    fn rate(&self, k: usize, step: f64) -> f64 {
        (self.own + self.slot.item.failures_over(k)) / (step * k as f64)
    }

    /// Cost per unit of usage at each multiple of a base of `j` steps, infinite where it may not.
    fn rates(&self, j: usize, step: f64) -> [f64; MOST as usize] {
        let mut rates = [f64::INFINITY; MOST as usize];
        for (m, rate) in (1..).zip(rates.iter_mut()) {
            if m * j <= self.last {
                *rate = self.rate(m * j, step);
            }
        }
        rates
    }

    fn least(&self, j: usize, step: f64) -> f64 {
        let rates = self.rates(j, step);
        rates
            .into_iter()
            .fold(self.never.unwrap_or(f64::INFINITY), f64::min)
    }
}

/// Accesses that are alike in every figure, or one slot without any.
struct Kind<'a> {
    /// Cost of one opening with what it disturbs.
    opening: f64,
    /// Rung of the ladder that what it disturbs needs.
    rung: usize,
    disturbed: Vec<&'a Disturbed>,
    choices: Vec<Choice<'a>>,
    /// The access and the slots of each, in the order of `choices`.
    members: Vec<(Option<usize>, Vec<usize>)>,
}

/// What can be told apart of two slots: all but their names.
type Figures = (u64, u64, u64, u64, usize, Option<(u64, bool)>, bool);

fn figures(slot: &Slot) -> Figures {
    let item = &slot.item;
    (
        item.work.to_bits(),
        item.own_h.to_bits(),
        item.shared_h.to_bits(),
        item.failed.to_bits(),
        item.life.as_ref().map_or(0, |l| Arc::as_ptr(l) as usize),
        slot.allowed.bound().map(|b| (b.usage.to_bits(), true)),
        slot.allowed == Allowed::AtFailure,
    )
}

struct Search<'a> {
    machine: &'a Machine,
    patterns: &'static Patterns,
    kinds: Vec<Kind<'a>>,
    /// Shared hours above 0, ascending; rung 0 needs none.
    ladder: Vec<f64>,
    longest: usize,
}

/// What one kind costs at one base interval, for every pattern.
struct Costs {
    count: f64,
    rung: usize,
    /// Openings and what they disturb.
    open: Vec<f64>,
    /// For each rung in use, the slots' least cost within a pattern.
    slots: Vec<(usize, Vec<f64>)>,
    /// Patterns by what they cost at least, cheapest first.
    order: Vec<(f64, usize)>,
}

/// A plan at one base interval.
struct AtBase {
    cost: f64,
    /// Pattern of each rung.
    rungs: Vec<usize>,
    /// Pattern of each kind.
    opened: Vec<usize>,
}

/// Finds the plan of least cost; `None` where no base interval keeps every bound.
///
/// Of plans that cost the same the one with the longer base interval is taken.
pub fn search(machine: &Machine) -> Option<Found> {
    let search = Search::new(machine);
    let step = machine.step;
    let mut bases: Vec<(f64, usize)> = (1..=search.longest)
        .map(|j| {
            let least = search.kinds.iter().map(|kind| {
                let one: f64 = kind.choices.iter().map(|c| c.least(j, step)).sum();
                one * kind.members.len() as f64
            });
            (least.sum::<f64>(), j)
        })
        .filter(|(least, _)| least.is_finite())
        .collect();
    bases.sort_by(|x, y| x.0.total_cmp(&y.0).then(y.1.cmp(&x.1)));
    let mut best: Option<(usize, AtBase)> = None;
    let mut known: Vec<Option<f64>> = vec![None; search.longest + 1];
    for (least, j) in bases {
        let limit = best
            .as_ref()
            .map_or(f64::INFINITY, |(_, b)| b.cost * (1.0 + NEAR) + 1e-12);
        if least > limit {
            break;
        }
        let Some(found) = search.at_base(j, limit) else {
            continue;
        };
        known[j] = Some(found.cost);
        let better = best.as_ref().is_none_or(|(at, b)| {
            let alike = 1e-10 * b.cost.abs();
            found.cost < b.cost - alike || (found.cost <= b.cost + alike && j > *at)
        });
        if better {
            best = Some((j, found));
        }
    }
    let (base, found) = best?;
    let limit = found.cost * (1.0 + NEAR);
    let near = |j: usize| known.get(j).copied().flatten().is_some_and(|c| c <= limit);
    let from = (1..=base).rev().take_while(|j| near(*j)).last();
    let to = (base..=search.longest).take_while(|j| near(*j)).last();
    Some(search.decode(base, found, (from.unwrap_or(base), to.unwrap_or(base))))
}

impl<'a> Search<'a> {
    fn new(machine: &'a Machine) -> Self {
        let items = machine.slots.iter().map(|s| &s.item);
        let disturbed = machine.accesses.iter().flat_map(|a| &a.disturbed);
        let mut ladder: Vec<f64> = items
            .chain(disturbed.map(|d| &d.item))
            .map(|item| item.shared_h)
            .filter(|h| *h > 0.0 && machine.downtime_cost > 0.0)
            .collect();
        ladder.sort_by(f64::total_cmp);
        ladder.dedup();
        let rung = |hours: f64| match ladder.iter().position(|h| *h >= hours) {
            Some(n) if hours > 0.0 => n + 1,
            _ => 0,
        };
        let mut kinds: Vec<Kind> = Vec::new();
        let mut keys: Vec<(Vec<u64>, Vec<Figures>)> = Vec::new();
        let of = |access: Option<usize>, places: Vec<usize>| {
            let own = access.map(|a| &machine.accesses[a]);
            let disturbed: Vec<_> = own.iter().flat_map(|a| &a.disturbed).collect();
            let mut key: Vec<u64> = own.iter().map(|a| a.labour.to_bits()).collect();
            for d in &disturbed {
                let item = &d.item;
                for figure in [item.work, item.own_h, item.shared_h, item.failed] {
                    key.push(figure.to_bits());
                }
                key.push(item.life.as_ref().map_or(0, |l| Arc::as_ptr(l) as u64));
                key.push(d.bound.map_or(0, |b| b.usage.to_bits()));
            }
            let slots: Vec<&Slot> = places.iter().map(|n| &machine.slots[*n]).collect();
            let kind = Kind {
                opening: own.map_or(0.0, |a| a.cost(machine.downtime_cost)),
                rung: disturbed
                    .iter()
                    .map(|d| rung(d.item.shared_h))
                    .max()
                    .unwrap_or(0),
                choices: slots.iter().map(|s| choice(s, machine, &rung)).collect(),
                disturbed,
                members: vec![(access, places)],
            };
            ((key, slots.into_iter().map(figures).collect()), kind)
        };
        let behind = |access: usize| -> Vec<usize> {
            let slots = machine.slots.iter().enumerate();
            let own = slots.filter(|(_, s)| s.access == Some(access));
            own.map(|(n, _)| n).collect()
        };
        let free = machine.slots.iter().enumerate();
        let free = free.filter(|(_, s)| s.access.is_none());
        let all = (0..machine.accesses.len())
            .map(|a| (Some(a), behind(a)))
            .chain(free.map(|(n, _)| (None, vec![n])));
        for (access, places) in all {
            let (key, kind) = of(access, places);
            match keys.iter().position(|k| *k == key) {
                Some(n) => kinds[n].members.extend(kind.members),
                None => {
                    keys.push(key);
                    kinds.push(kind);
                }
            }
        }
        let choices = kinds.iter().flat_map(|k| &k.choices);
        let mut longest = choices.clone().map(|c| c.last).max().unwrap_or(0);
        let bounds = kinds.iter().flat_map(|k| &k.disturbed);
        for bound in bounds.filter_map(|d| d.bound) {
            longest = longest.max(bound.steps(machine.step));
        }
        Search {
            machine,
            patterns: Patterns::table(),
            kinds,
            ladder,
            longest,
        }
    }

    fn costs(&self, kind: &Kind, j: usize) -> Costs {
        let step = self.machine.step;
        let base = step * j as f64;
        let all = self.patterns.all();
        let mut open: Vec<f64> = all.iter().map(|p| kind.opening * p.rate / base).collect();
        for disturbed in &kind.disturbed {
            let item = &disturbed.item;
            let last = disturbed.bound.map(|b| b.steps(step));
            for (pattern, cost) in all.iter().zip(&mut open) {
                *cost += match (pattern.every.first(), last) {
                    (None, Some(_)) => f64::INFINITY,
                    (Some(gap), Some(last)) if *gap as usize * j > last => f64::INFINITY,
                    (None, None) => item.failures_forever(),
                    _ => {
                        let of_gap =
                            |gap: usize| item.life.as_ref().map_or(0.0, |l| l.failures(gap * j));
                        let gaps = pattern.gaps.iter();
                        item.failed * gaps.map(|(g, often)| often * of_gap(*g)).sum::<f64>() / base
                    }
                };
            }
        }
        let mut slots: Vec<(usize, Vec<f64>)> = Vec::new();
        for choice in &kind.choices {
            let rates = choice.rates(j, step);
            let never = choice.never.unwrap_or(f64::INFINITY);
            let place = slots.iter().position(|(rung, _)| *rung == choice.rung);
            let place = place.unwrap_or_else(|| {
                slots.push((choice.rung, vec![0.0; all.len()]));
                slots.len() - 1
            });
            for (pattern, sum) in all.iter().zip(&mut slots[place].1) {
                let mut least = never;
                for (m, rate) in (1..).zip(rates) {
                    if pattern.holds(m) && rate < least {
                        least = rate;
                    }
                }
                *sum += least;
            }
        }
        let mut order: Vec<(f64, usize)> = (0..all.len())
            .map(|n| (open[n] + slots.iter().map(|(_, s)| s[n]).sum::<f64>(), n))
            .filter(|(cost, _)| cost.is_finite())
            .collect();
        // Of equal ones that with the fewest openings.
        order.sort_by(|x, y| {
            let rates = all[x.1].rate.total_cmp(&all[y.1].rate);
            x.0.total_cmp(&y.0).then(rates).then(x.1.cmp(&y.1))
        });
        Costs {
            count: kind.members.len() as f64,
            rung: kind.rung,
            open,
            slots,
            order,
        }
    }

    /// The best plan at a base of `j` steps, if it costs no more than `limit`.
    fn at_base(&self, j: usize, limit: f64) -> Option<AtBase> {
        let costs: Vec<Costs> = self.kinds.iter().map(|kind| self.costs(kind, j)).collect();
        let mut least = 0.0;
        for cost in &costs {
            least += cost.count * cost.order.first()?.0;
        }
        let mut walk = Walk {
            patterns: self.patterns,
            costs: &costs,
            // What each rung adds to the one below, per base interval with a stop.
            steps: (0..self.ladder.len())
                .map(|n| {
                    let below = if n > 0 { self.ladder[n - 1] } else { 0.0 };
                    let base = self.machine.step * j as f64;
                    (self.ladder[n] - below) * self.machine.downtime_cost / base
                })
                .collect(),
            least,
            best: None,
            limit,
        };
        let mut rungs = vec![FULL; self.ladder.len() + 1];
        if self.ladder.is_empty() {
            walk.settle(0.0, &rungs);
        } else {
            walk.climb(1, &mut rungs, 0.0);
        }
        walk.best
    }

    fn decode(&self, base: usize, found: AtBase, near: (usize, usize)) -> Found {
        let machine = self.machine;
        let mut multiples = vec![None; machine.slots.len()];
        let mut opened = vec![Vec::new(); machine.accesses.len()];
        for (kind, pattern) in self.kinds.iter().zip(&found.opened) {
            let own: Vec<Option<u32>> = kind
                .choices
                .iter()
                .map(|choice| {
                    let within = self.patterns.common(*pattern, found.rungs[choice.rung]);
                    let within = &self.patterns.all()[within];
                    let mut least = (choice.never.unwrap_or(f64::INFINITY), None);
                    for (m, rate) in (1..).zip(choice.rates(base, machine.step)) {
                        if within.holds(m) && rate < least.0 {
                            least = (rate, Some(m));
                        }
                    }
                    least.1
                })
                .collect();
            for (access, slots) in &kind.members {
                for (slot, multiple) in slots.iter().zip(&own) {
                    multiples[*slot] = *multiple;
                }
                if let Some(access) = access {
                    opened[*access] = self.patterns.all()[*pattern].every.clone();
                }
            }
        }
        Found {
            base,
            cost_rate: found.cost,
            near,
            multiples,
            opened,
        }
    }
}

fn choice<'a>(slot: &'a Slot, machine: &Machine, rung: &impl Fn(f64) -> usize) -> Choice<'a> {
    let (last, never) = match slot.allowed {
        // Without a life nothing speaks for an interval.
        Allowed::Free => (
            slot.item.life.as_ref().map_or(0, |life| life.last()),
            Some(slot.item.failures_forever()),
        ),
        Allowed::AtFailure => (0, Some(slot.item.failures_forever())),
        Allowed::AtMost(bound) => (bound.steps(machine.step), None),
    };
    Choice {
        slot,
        own: slot.item.own_cost(machine.downtime_cost),
        last,
        never,
        rung: rung(slot.item.shared_h),
    }
}

/// The walk over the patterns of the rungs at one base interval.
struct Walk<'a> {
    patterns: &'static Patterns,
    costs: &'a [Costs],
    steps: Vec<f64>,
    /// What all kinds cost at least, however the machine stands.
    least: f64,
    best: Option<AtBase>,
    limit: f64,
}

impl Walk<'_> {
    /// Tries every pattern for a rung within that of the rung below, cheapest bound first.
    ///
    /// The bound lets all higher rungs have this rung's stops for nothing.
    fn climb(&mut self, rung: usize, rungs: &mut Vec<usize>, below: f64) {
        let top = rungs.len() - 1;
        let mut tries: Vec<(f64, f64, usize)> = Vec::new();
        for pattern in 0..self.patterns.all().len() {
            if !self.patterns.within(pattern, rungs[rung - 1]) {
                continue;
            }
            let stops = below + self.steps[rung - 1] * self.patterns.all()[pattern].rate;
            if stops + self.least > self.limit {
                continue;
            }
            rungs[rung..].fill(pattern);
            let bound = stops + self.sum(rungs, None);
            if bound <= self.limit {
                tries.push((bound, stops, pattern));
            }
        }
        tries.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.2.cmp(&y.2)));
        for (bound, stops, pattern) in tries {
            if bound > self.limit {
                break;
            }
            rungs[rung..].fill(pattern);
            if rung == top {
                self.settle(stops, rungs);
                // The cheapest is the best: there is nothing above.
                break;
            }
            self.climb(rung + 1, rungs, stops);
        }
    }

    /// Keeps the plan if it is better than the best.
    fn settle(&mut self, stops: f64, rungs: &[usize]) {
        let mut opened = Vec::with_capacity(self.costs.len());
        let cost = stops + self.sum(rungs, Some(&mut opened));
        if cost < self.limit || (self.best.is_none() && cost.is_finite() && cost <= self.limit) {
            self.limit = cost;
            self.best = Some(AtBase {
                cost,
                rungs: rungs.to_vec(),
                opened,
            });
        }
    }

    /// Cost of all kinds, each at its best pattern.
    fn sum(&self, rungs: &[usize], mut opened: Option<&mut Vec<usize>>) -> f64 {
        let mut sum = 0.0;
        for costs in self.costs {
            let mut best = (f64::INFINITY, 0);
            for (least, pattern) in &costs.order {
                if *least >= best.0 {
                    break;
                }
                if !self.patterns.within(*pattern, rungs[costs.rung]) {
                    continue;
                }
                let slots = costs.slots.iter();
                let slots = slots.map(|(rung, s)| s[self.patterns.common(*pattern, rungs[*rung])]);
                let cost = costs.open[*pattern] + slots.sum::<f64>();
                if cost < best.0 {
                    best = (cost, *pattern);
                }
            }
            sum += costs.count * best.0;
            if let Some(opened) = opened.as_deref_mut() {
                opened.push(best.1);
            }
        }
        sum
    }
}
