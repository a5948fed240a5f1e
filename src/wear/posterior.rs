//! How sure a wear line is: the usage at its limit with limits, the chance to be beyond it.
//!
//! In: [`WearLines`], a limit. Out: [`AtLimit`], chances, a band. Never: clock, files, SQL.
//!
//! Given `λ = τ·U/σ` (`U` the largest usage of a reading), the line `a + b_i·u` is Student-t
//! with `n − 2` degrees of freedom under flat priors for `a`, `β` and `ln σ`; what is unknown
//! of `λ` is integrated numerically under a half-Cauchy prior of scale 1: at the largest
//! usage seen, items scatter about as much as readings do, or less, or several times that.
//! It was chosen among six by simulation for limits that hold the truth as often as they
//! promise with 3 to 8 items of 1 to 4 readings (`examples/wear_study.rs`).
//! The limit is passed by usage `u` where the line is beyond it there, so limits on the usage
//! at the limit are those `u` where the chance to be beyond is the tail and its complement.
//! For one item alone these are Fieller's. Sources: Gelman, "Prior distributions for variance
//! parameters in hierarchical models", Bayesian Analysis 1 (2006); Fieller, "Some problems in
//! interval estimation", J. R. Statist. Soc. B 16 (1954).

use statrs::function::beta::beta_reg;

use super::lines::{WearLines, leaning};
use crate::model::numeric::root;

/// Usages beyond this many times the largest seen count as never.
const NEVER: f64 = 1e4;

/// The limit a line runs into.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Barrier {
    pub limit: f64,
    /// Reached from below.
    pub rises: bool,
}

/// Usage since renewal at which a line meets its limit; `None`: never (or not within 10,000
/// times the usage seen).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtLimit {
    /// Of the line of greatest likelihood.
    pub estimate: Option<f64>,
    pub limits: Option<UsageLimits>,
}

/// Two-sided limits; an end that is never reached is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsageLimits {
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// A value of `λ` with its weight, and what follows from it.
#[derive(Debug, Clone, Copy)]
struct Node {
    weight: f64,
    theta: f64,
    a: f64,
    b: f64,
    cov: [f64; 3],
    /// Squared scale of the Student-t.
    scale2: f64,
}

/// The posterior of the lines.
#[derive(Debug, Clone)]
pub struct Belief<'a> {
    lines: &'a WearLines,
    nodes: Vec<Node>,
    free: f64,
}

impl WearLines {
    /// The posterior; `None` with fewer than three readings, which leave no scatter to judge by.
    pub fn belief(&self) -> Option<Belief<'_>> {
        if self.readings < 3 {
            return None;
        }
        Some(Belief {
            lines: self,
            nodes: self.nodes(),
            free: self.readings as f64 - 2.0,
        })
    }

    fn nodes(&self) -> Vec<Node> {
        let free = self.readings as f64 - 2.0;
        let ln_density = |z: f64| {
            let s = self.solve((2.0 * z).exp());
            let prior = z - (2.0 * z).exp().ln_1p();
            -0.5 * (s.ln_v + s.ln_det + free * s.squares.ln()) + prior
        };
        let zs: Vec<(f64, f64)> = if self.items_read() < 2 {
            vec![(f64::NEG_INFINITY, 0.0)]
        } else {
            spread(ln_density)
        };
        let top = zs.iter().map(|z| z.1).fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = zs.iter().map(|z| (z.1 - top).exp()).sum();
        zs.into_iter()
            .map(|(z, ln)| {
                let theta = (2.0 * z).exp();
                let s = self.solve(theta);
                Node {
                    weight: (ln - top).exp() / total,
                    theta,
                    a: s.a,
                    b: s.b,
                    cov: s.cov,
                    scale2: s.squares / free,
                }
            })
            .collect()
    }

    /// The median of `θ`; needs three readings.
    pub(super) fn median_theta(&self) -> f64 {
        let mut below = 0.0;
        for node in self.nodes() {
            below += node.weight;
            if below >= 0.5 {
                return node.theta;
            }
        }
        0.0
    }

    /// Usage at which the line of greatest likelihood meets the limit; 0 where it begins
    /// beyond it; `None`: it never does. For `item` see [`WearLines::line`].
    pub fn meets(&self, item: Option<usize>, barrier: Barrier) -> Option<f64> {
        let (intercept, slope) = self.line(item);
        let sign = barrier.sign();
        let way = sign * (barrier.limit - intercept);
        if way <= 0.0 {
            return Some(0.0);
        }
        let usage = way / (sign * slope);
        (usage > 0.0 && usage <= NEVER * self.reach).then_some(usage)
    }
}

/// Points of `z = ln λ` an even step apart over where the density is, with their log density.
fn spread(ln_density: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    const CUT: f64 = 16.0;
    const POINTS: u32 = 120;
    let coarse: Vec<(f64, f64)> = (0..=180)
        .map(|k| -15.0 + 0.25 * f64::from(k))
        .map(|z| (z, ln_density(z)))
        .collect();
    let top = coarse.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let inside = |p: &&(f64, f64)| p.1 > top - CUT;
    let first = coarse.iter().find(inside).map_or(-15.0, |p| p.0) - 0.25;
    let last = coarse.iter().rev().find(inside).map_or(30.0, |p| p.0) + 0.25;
    let step = (last - first) / f64::from(POINTS);
    (0..=POINTS)
        .map(|k| first + step * f64::from(k))
        .map(|z| (z, ln_density(z)))
        .collect()
}

impl Barrier {
    fn sign(self) -> f64 {
        if self.rises { 1.0 } else { -1.0 }
    }
}

impl<'a> Belief<'a> {
    /// The lines it is about.
    pub fn lines(&self) -> &'a WearLines {
        self.lines
    }

    /// Mean and squared scale of an item's line at a usage, at one node.
    fn at(&self, node: &Node, item: Option<usize>, usage: f64) -> (f64, f64) {
        let x = usage / self.lines.reach;
        let sums = item
            .and_then(|n| self.lines.items.get(n))
            .copied()
            .unwrap_or_default();
        let own = if self.nodes.len() == 1 {
            0.0
        } else {
            leaning(node.theta, &sums)
        };
        let left = if self.nodes.len() == 1 {
            1.0
        } else {
            1.0 / (1.0 + node.theta * sums.xx)
        };
        let (c1, c2) = (1.0 - x * own * sums.x, x * left);
        let [v11, v12, v22] = node.cov;
        let mean = self.lines.base.0
            + self.lines.base.1 * x
            + c1 * node.a
            + c2 * node.b
            + x * own * sums.xy;
        let variance = c1 * c1 * v11 + 2.0 * c1 * c2 * v12 + c2 * c2 * v22 + x * x * own;
        (mean, node.scale2 * variance)
    }

    /// The probability that an item's line is beyond the limit at a usage since its renewal.
    ///
    /// `item`: its place among those fitted; `None` for one of which nothing was read. One
    /// item alone says nothing of others: `None` then means another like it, which is that
    /// one. Domain: `usage` 0 or more.
    pub fn chance_beyond(&self, item: Option<usize>, barrier: Barrier, usage: f64) -> f64 {
        let sign = barrier.sign();
        self.nodes
            .iter()
            .map(|node| {
                let (mean, scale2) = self.at(node, item, usage);
                let past = sign * (mean - barrier.limit) / scale2.sqrt();
                node.weight * student_below(past, self.free)
            })
            .sum()
    }

    /// The usage before which the line is beyond its limit with this probability; `None`:
    /// never.
    pub fn usage_with_chance(
        &self,
        item: Option<usize>,
        barrier: Barrier,
        chance: f64,
    ) -> Option<f64> {
        let miss = |usage: f64| self.chance_beyond(item, barrier, usage) - chance;
        if miss(0.0) >= 0.0 {
            return Some(0.0);
        }
        let mut low = 0.0;
        let mut high = self.lines.reach / 16.0;
        while miss(high) < 0.0 {
            low = high;
            high *= 2.0;
            if high > NEVER * self.lines.reach {
                return None;
            }
        }
        root(miss, low, high, 1e-12 * high).ok()
    }

    /// Two-sided limits of the usage at the limit.
    pub fn usage_limits(
        &self,
        item: Option<usize>,
        barrier: Barrier,
        confidence: f64,
    ) -> UsageLimits {
        let tail = 0.5 * (1.0 - confidence);
        UsageLimits {
            lower: self.usage_with_chance(item, barrier, tail),
            upper: self.usage_with_chance(item, barrier, 1.0 - tail),
        }
    }

    /// Estimate and limits together.
    pub fn at_limit(&self, item: Option<usize>, barrier: Barrier, confidence: f64) -> AtLimit {
        AtLimit {
            estimate: self.lines.meets(item, barrier),
            limits: Some(self.usage_limits(item, barrier, confidence)),
        }
    }

    /// Two-sided limits of an item's line at a usage.
    pub fn band(&self, item: Option<usize>, usage: f64, confidence: f64) -> (f64, f64) {
        let tail = 0.5 * (1.0 - confidence);
        let value = |p: f64| {
            let points = self.nodes.iter().map(|node| self.at(node, item, usage));
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for (mean, scale2) in points {
                let far = 1e3 * scale2.sqrt();
                low = low.min(mean - far);
                high = high.max(mean + far);
            }
            let below = |y: f64| {
                let barrier = Barrier {
                    limit: y,
                    rises: false,
                };
                self.chance_beyond(item, barrier, usage) - p
            };
            root(below, low, high, 1e-9 * (high - low).abs()).unwrap_or(f64::NAN)
        };
        (value(tail), value(1.0 - tail))
    }
}

/// Student's t: the probability of at most `t` with `free` degrees of freedom.
///
/// Formula: `½ I(free/(free + t²); free/2, ½)` below 0 (DLMF 8.17), mirrored above.
fn student_below(t: f64, free: f64) -> f64 {
    if t.is_nan() {
        return f64::NAN;
    }
    let tail = 0.5 * beta_reg(0.5 * free, 0.5, free / (free + t * t));
    if t > 0.0 { 1.0 - tail } else { tail }
}
