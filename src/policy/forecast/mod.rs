//! Forecast: how many failures and renewals the next stretch of usage brings, with the
//! probability of each number.
//!
//! In: a life or a posterior, the items' ages, the usage each is about to run, where lives are
//! cut by planned renewal. Out: [`Counts`] for each tally and set of slots asked for.
//! Never: simulation; money; dates.
//!
//! Given the life, slots are independent and each number's probability follows from renewal
//! equations (`slot`). Where the life is known from data only, the whole is averaged over the
//! posterior: the same shape and scale hold for all slots at once, so that their numbers move
//! together and the sum spreads wider than independent slots would. Sums are taken by
//! characteristic functions, which average as probabilities do.

mod counts;
mod slot;

use rayon::prelude::*;

pub use self::counts::Counts;
use self::counts::{Circle, Complex};
use self::slot::{MOST_EVENTS, Tables, kernel_for};
use super::age::PolicyError;
use crate::model::Weibull;
use crate::model::posterior::{Node, Posterior};
use crate::model::target::Target;

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tally {
    Failures,
    /// Renewals at the planned usage.
    Planned,
    /// Both: every renewal takes a new item.
    Renewals,
}

impl Tally {
    /// Whether a failure counts, and whether a planned renewal does.
    fn marks(self) -> (bool, bool) {
        match self {
            Tally::Failures => (true, false),
            Tally::Planned => (false, true),
            Tally::Renewals => (true, true),
        }
    }
}

/// One slot: usage on its item, and the usage it is about to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotAhead {
    pub age: f64,
    pub usage: f64,
}

/// Most scales looked ahead. Lives of the posterior so short that more of them fit in count as
/// if that many did.
pub const MOST_SCALES: f64 = 60.0;

/// Pairs of age and usage that are computed each by itself; more are drawn together.
const MOST_BINS: usize = 48;

/// Lightest pair of shape and scale that is looked at.
const LEAST_WEIGHT: f64 = 1e-5;

/// Shapes this close, in standard deviations of ln shape, are drawn together.
const CLOSE: f64 = 0.9;

/// One shape of a posterior (or the only one) with its scales and their weights.
struct Shape {
    shape: f64,
    scales: Vec<(f64, f64)>,
}

/// Number of events over each set of slots for a known life, renewed at failure and, where `at`
/// is given, at that usage.
///
/// Answers by tally, then by set. An item at or beyond `at` is renewed at once.
/// Domain: ages finite and at least 0, usages finite and at least 0, at most 60 scales.
/// Errors: [`PolicyError::Usage`], [`PolicyError::Reach`], [`PolicyError::Shape`].
/// Accuracy: 1e-7 in each probability without planned renewal, 1e-5 with it, 1e-3 for shapes
/// below 1 (`tests/numbers/forecast.rs`).
pub fn of_life(
    life: &Weibull,
    at: Option<f64>,
    sets: &[Vec<SlotAhead>],
    tallies: &[Tally],
) -> Result<Vec<Vec<Counts>>, PolicyError> {
    let reach = check(at, sets)?;
    if reach > MOST_SCALES * life.scale {
        return Err(PolicyError::Reach {
            usage: reach / life.scale,
            most: MOST_SCALES,
        });
    }
    if !(0.1..=200.0).contains(&life.shape) {
        return Err(PolicyError::Shape {
            shape: life.shape,
            from: 0.1,
            to: 200.0,
        });
    }
    let shapes = [Shape {
        shape: life.shape,
        scales: vec![(life.scale, 1.0)],
    }];
    let bins = Bins::new(sets, at, MOST_BINS);
    Ok(mix(&shapes, at, &bins, reach, tallies))
}

/// As [`of_life`], averaged over a posterior.
///
/// Accuracy: 3e-3 in each probability (`tests/numbers/forecast.rs`, against a finer rule and
/// simulation); where more than 48 slots of different age or usage are counted, neighbours are
/// drawn together at their mean, which moves no probability by more than 1e-2 (unit test).
pub fn of_posterior(
    posterior: &Posterior,
    at: Option<f64>,
    sets: &[Vec<SlotAhead>],
    tallies: &[Tally],
) -> Result<Vec<Vec<Counts>>, PolicyError> {
    let reach = check(at, sets)?;
    let total: f64 = sets
        .iter()
        .map(|set| set.iter().map(|slot| slot.usage).sum::<f64>())
        .fold(0.0, f64::max);
    // Where many events tell a scale apart from the next, the scales must stand closer.
    let mean = posterior.mean_ln(Target::Mean).unwrap_or(0.0).exp();
    let events = total / at.map_or(mean, |at| at.min(mean));
    let failures = posterior.failures().max(1) as f64;
    let per_sd = (1.25 * (events / failures).sqrt()).clamp(1.25, 8.0);
    let shapes = shapes(posterior, reach, per_sd, LEAST_WEIGHT, CLOSE);
    let bins = Bins::new(sets, at, MOST_BINS);
    Ok(mix(&shapes, at, &bins, reach, tallies))
}

/// The pairs of shape and scale to average over.
fn shapes(posterior: &Posterior, reach: f64, per_sd: f64, least: f64, close: f64) -> Vec<Shape> {
    let shift = posterior.shift();
    let mut shapes = Vec::new();
    for (node, weight) in thinned(posterior, close) {
        let shape = node.shape.clamp(0.1, 200.0);
        let scales: Vec<(f64, f64)> = node
            .scale
            .hazard_nodes(node.shape, per_sd)
            .into_iter()
            .map(|(ka, w)| {
                let scale = (ka / node.shape + shift).exp();
                (scale.max(reach / MOST_SCALES), w * weight)
            })
            .filter(|(_, w)| *w > least)
            .collect();
        if !scales.is_empty() {
            shapes.push(Shape { shape, scales });
        }
    }
    shapes
}

/// Nodes that stand close together drawn into two of them.
fn thinned(posterior: &Posterior, close: f64) -> Vec<(&Node, f64)> {
    let nodes = posterior.nodes();
    let mean = |nodes: &[Node]| {
        let total: f64 = nodes.iter().map(|n| n.weight).sum();
        nodes.iter().map(|n| n.weight * n.shape.ln()).sum::<f64>() / total
    };
    let middle = mean(nodes);
    let variance: f64 = nodes
        .iter()
        .map(|n| n.weight * (n.shape.ln() - middle).powi(2))
        .sum();
    let width = close * variance.sqrt();
    let mut out = Vec::new();
    let mut from = 0;
    while from < nodes.len() {
        let start = nodes[from].shape.ln();
        let count = nodes[from..]
            .iter()
            .take_while(|n| n.shape.ln() - start <= width)
            .count()
            .max(1);
        let group = &nodes[from..from + count];
        let centre = mean(group);
        let total: f64 = group.iter().map(|n| n.weight).sum();
        let second = group
            .iter()
            .map(|n| n.weight * (n.shape.ln() - centre).powi(2));
        let spread = (second.sum::<f64>() / total).sqrt();
        let nearest = |wanted: f64| {
            let off = |n: &Node| (n.shape.ln() - wanted).abs();
            let mut best = &group[0];
            for node in group {
                if off(node) < off(best) {
                    best = node;
                }
            }
            best
        };
        // Two that keep mean and, nearly, spread.
        let (low, high) = (nearest(centre - spread), nearest(centre + spread));
        let apart = high.shape.ln() - low.shape.ln();
        if apart > 0.0 {
            let share = ((centre - low.shape.ln()) / apart).clamp(0.0, 1.0);
            out.push((low, total * (1.0 - share)));
            out.push((high, total * share));
        } else {
            out.push((low, total));
        }
        from += count;
    }
    out
}

/// The longest usage ahead.
fn check(at: Option<f64>, sets: &[Vec<SlotAhead>]) -> Result<f64, PolicyError> {
    if let Some(value) = at.filter(|at| at.is_nan() || *at <= 0.0) {
        return Err(PolicyError::Usage { value });
    }
    let mut reach = 0.0_f64;
    for slot in sets.iter().flatten() {
        for value in [slot.age, slot.usage] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(PolicyError::Usage { value });
            }
        }
        reach = reach.max(slot.usage);
    }
    Ok(reach)
}

/// Slots drawn together: each bin's age and usage, and how many of them every set holds.
struct Bins {
    slots: Vec<SlotAhead>,
    sets: Vec<Vec<(usize, u32)>>,
}

impl Bins {
    /// Slots that stand still bring nothing and are left out.
    fn new(sets: &[Vec<SlotAhead>], at: Option<f64>, most: usize) -> Self {
        let mut order: Vec<(SlotAhead, usize)> = Vec::new();
        for (n, set) in sets.iter().enumerate() {
            order.extend(set.iter().filter(|s| s.usage > 0.0).map(|s| (*s, n)));
        }
        order.sort_by(|(a, _), (b, _)| a.usage.total_cmp(&b.usage).then(a.age.total_cmp(&b.age)));
        let distinct = order.chunk_by(|a, b| a.0 == b.0).count();
        let groups: Vec<Vec<(SlotAhead, usize)>> = if distinct <= most {
            order
                .chunk_by(|a, b| a.0 == b.0)
                .map(<[_]>::to_vec)
                .collect()
        } else {
            drawn_together(order, at, most)
        };
        let mut bins = Bins {
            slots: Vec::new(),
            sets: vec![Vec::new(); sets.len()],
        };
        for group in groups {
            let count = group.len() as f64;
            let mean = |of: fn(&SlotAhead) -> f64| {
                group.iter().map(|(slot, _)| of(slot)).sum::<f64>() / count
            };
            let bin = bins.slots.len();
            // Slots all alike keep their age and usage to the last digit.
            bins.slots.push(if group.iter().all(|g| g.0 == group[0].0) {
                group[0].0
            } else {
                SlotAhead {
                    age: mean(|s| s.age),
                    usage: mean(|s| s.usage),
                }
            });
            for (_, set) in group {
                match bins.sets[set].iter_mut().find(|(b, _)| *b == bin) {
                    Some((_, n)) => *n += 1,
                    None => bins.sets[set].push((bin, 1)),
                }
            }
        }
        bins
    }
}

/// Classes of slots that pass as many planned intervals, each cut by usage and by age.
fn drawn_together(
    order: Vec<(SlotAhead, usize)>,
    at: Option<f64>,
    most: usize,
) -> Vec<Vec<(SlotAhead, usize)>> {
    // Whether a renewal falls due is a step: nothing may be drawn together across it.
    let due = |slot: &SlotAhead| at.map_or(0.0, |at| ((slot.age + slot.usage) / at).floor());
    let all = order.len();
    let mut order = order;
    order.sort_by(|a, b| due(&a.0).total_cmp(&due(&b.0)));
    let mut groups = Vec::new();
    for alike in order.chunk_by(|a, b| due(&a.0) == due(&b.0)) {
        let share = (most * alike.len()).div_ceil(all).max(4);
        groups.extend(by_usage_and_age(alike, share));
    }
    groups
}

/// About `most` groups; as many classes of usage as of age within each, or fewer where usages
/// are few.
fn by_usage_and_age(order: &[(SlotAhead, usize)], most: usize) -> Vec<Vec<(SlotAhead, usize)>> {
    let side = most.isqrt();
    let usages = order.chunk_by(|a, b| a.0.usage == b.0.usage).count();
    let classes: Vec<Vec<(SlotAhead, usize)>> = if usages <= side {
        order
            .chunk_by(|a, b| a.0.usage == b.0.usage)
            .map(<[_]>::to_vec)
            .collect()
    } else {
        let size = order.len().div_ceil(side);
        order.chunks(size).map(<[_]>::to_vec).collect()
    };
    let cuts = most / classes.len();
    let mut groups = Vec::new();
    for mut class in classes {
        class.sort_by(|a, b| a.0.age.total_cmp(&b.0.age));
        let size = class.len().div_ceil(cuts);
        groups.extend(class.chunks(size).map(<[_]>::to_vec));
    }
    groups
}

/// Given shape and scale: the probabilities of each bin, by tally.
struct AtPair {
    weight: f64,
    bins: Vec<Vec<Vec<f64>>>,
}

fn mix(
    shapes: &[Shape],
    at: Option<f64>,
    bins: &Bins,
    reach: f64,
    tallies: &[Tally],
) -> Vec<Vec<Counts>> {
    if reach <= 0.0 || shapes.is_empty() {
        return vec![vec![Counts::always(0); bins.sets.len()]; tallies.len()];
    }
    let pairs: Vec<AtPair> = shapes
        .par_iter()
        .flat_map_iter(|shape| at_shape(shape, at, &bins.slots, reach, tallies))
        .collect();
    let total: f64 = pairs.iter().map(|pair| pair.weight).sum();
    let one = |tally: usize, members: &Vec<(usize, u32)>| {
        let circle = Circle::new(size(&pairs, tally, members));
        let mut values = vec![Complex::ZERO; circle.half()];
        for pair in &pairs {
            for (at, value) in values.iter_mut().enumerate() {
                let mut product = Complex::ONE;
                for (bin, count) in members {
                    let one = circle.value(&pair.bins[tally][*bin], at);
                    product = product.times(one.to_the(*count));
                }
                value.re += pair.weight / total * product.re;
                value.im += pair.weight / total * product.im;
            }
        }
        Counts::new(circle.probabilities(&values))
    };
    (0..tallies.len())
        .map(|tally| {
            let sets = bins.sets.par_iter();
            sets.map(|members| one(tally, members)).collect()
        })
        .collect()
}

fn at_shape(
    shape: &Shape,
    at: Option<f64>,
    slots: &[SlotAhead],
    reach: f64,
    tallies: &[Tally],
) -> Vec<AtPair> {
    let pair = |tables: &[Tables<'_>], scale: f64, weight: f64| {
        let of = |tables: &Tables<'_>| {
            let slots = slots.iter();
            slots
                .map(|slot| tables.at_age(slot.age / scale, slot.usage / scale))
                .collect()
        };
        AtPair {
            weight,
            bins: tables.iter().map(of).collect(),
        }
    };
    let Some(at) = at else {
        // Without a cut one table serves every scale.
        let scales = shape.scales.iter();
        let least = scales.map(|s| s.0).fold(f64::INFINITY, f64::min);
        let reach = reach / least;
        let kernel = kernel_for(shape.shape, None, reach);
        let tables: Vec<Tables<'_>> = tallies
            .iter()
            .map(|tally| Tables::new(&kernel, None, reach, *tally))
            .collect();
        let scales = shape.scales.iter();
        return scales.map(|(scale, w)| pair(&tables, *scale, *w)).collect();
    };
    shape
        .scales
        .iter()
        .map(|(scale, weight)| {
            let (at, reach) = (at / scale, reach / scale);
            let kernel = kernel_for(shape.shape, Some(at), reach);
            let tables: Vec<Tables<'_>> = tallies
                .iter()
                .map(|tally| Tables::new(&kernel, Some(at), reach, *tally))
                .collect();
            pair(&tables, *scale, *weight)
        })
        .collect()
}

/// Numbers that a set's circle must tell apart: beyond it probabilities would fold back.
fn size(pairs: &[AtPair], tally: usize, members: &[(usize, u32)]) -> usize {
    let mut most = 1.0_f64;
    for pair in pairs {
        let (mut mean, mut variance, mut top) = (0.0, 0.0, 0.0);
        for (bin, count) in members {
            let (mut first, mut second) = (0.0, 0.0);
            for (n, p) in pair.bins[tally][*bin].iter().enumerate() {
                first += n as f64 * p;
                second += (n * n) as f64 * p;
            }
            mean += f64::from(*count) * first;
            variance += f64::from(*count) * (second - first * first).max(0.0);
            top += f64::from(*count) * (pair.bins[tally][*bin].len() - 1) as f64;
        }
        most = most.max((mean + 9.0 * variance.sqrt() + 12.0).min(top));
    }
    (most as usize + 1)
        .next_power_of_two()
        .clamp(2, 64 * MOST_EVENTS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::{Life, Sample};
    use crate::model::posterior::ShapePrior;

    fn posterior(failures: u32) -> Posterior {
        let mut lives = Vec::new();
        for n in 0..failures {
            let share = (f64::from(n) + 0.5) / f64::from(failures);
            lives.push(Life::failure(1_000.0 * (-(-share).ln_1p()).powf(0.4)));
            lives.push(Life::suspension(500.0));
        }
        Posterior::new(&Sample::new(lives).unwrap(), ShapePrior::DECISION).unwrap()
    }

    fn worst(a: &Counts, b: &Counts) -> f64 {
        let count = a.probabilities().len().max(b.probabilities().len());
        (0..count)
            .map(|n| (a.at_most(n) - b.at_most(n)).abs())
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_finer_rule_moves_no_probability_by_much() {
        for (failures, slots) in [(1, 4), (3, 12), (40, 10)] {
            let posterior = posterior(failures);
            let set: Vec<SlotAhead> = (0..slots)
                .map(|n| SlotAhead {
                    age: 40.0 * f64::from(n % 16),
                    usage: 700.0,
                })
                .collect();
            let all = [Tally::Failures, Tally::Planned, Tally::Renewals];
            for (at, tallies) in [(None, &all[..1]), (Some(650.0), &all[..])] {
                let sets = [set.clone()];
                let got = of_posterior(&posterior, at, &sets, tallies).unwrap();
                let fine = shapes(&posterior, 700.0, 4.0, 1e-7, 0.0);
                let fine = mix(&fine, at, &Bins::new(&sets, at, MOST_BINS), 700.0, tallies);
                for (tally, (got, fine)) in tallies.iter().zip(got.iter().zip(&fine)) {
                    let miss = worst(&got[0], &fine[0]);
                    assert!(miss < 3e-3, "{failures} {slots} {tally:?}: {miss}");
                }
            }
        }
    }

    #[test]
    fn slots_drawn_together_count_as_each_by_itself() {
        let posterior = posterior(5);
        let spread: Vec<SlotAhead> = (0..150)
            .map(|n| SlotAhead {
                age: f64::from(n * 7919 % 640),
                usage: 300.0 + f64::from(n * 104_729 % 97),
            })
            .collect();
        for (at, tally) in [(None, Tally::Failures), (Some(650.0), Tally::Renewals)] {
            let sets = [spread.clone(), spread[..9].to_vec()];
            let shapes = shapes(&posterior, 400.0, 1.5, 1e-4, 1.0);
            let drawn = mix(
                &shapes,
                at,
                &Bins::new(&sets, at, MOST_BINS),
                400.0,
                &[tally],
            )
            .remove(0);
            let each = mix(&shapes, at, &Bins::new(&sets, at, 1_000), 400.0, &[tally]).remove(0);
            let relative = drawn[0].mean() / each[0].mean() - 1.0;
            assert!(relative.abs() < 5e-3, "{tally:?}: mean off by {relative}");
            let miss = worst(&drawn[0], &each[0]);
            assert!(miss < 1e-2, "{tally:?}: {miss}");
        }
    }
}
