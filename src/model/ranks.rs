//! Plotting positions: where each failure stands on probability paper.
//!
//! In: a [`Sample`]. Out: [`PlotPoint`]s. Never: a fit (rank regression has its own room).
//!
//! Adjusted ranks for suspensions: increment `(n + 1 − previous)/(1 + items not yet passed)`;
//! at equal usages failures precede suspensions. Median rank: the `x` with
//! `I_x(j, n − j + 1) = 1/2`. Source: IEC 61649:2008, clause 7; NIST/SEMATECH e-Handbook 8.2.2.1.
//! With entry ages ranks have no meaning and the product-limit estimate stands in.

use statrs::function::beta::beta_reg;

use super::numeric::root;
use crate::life::{End, Sample};

/// One failure on probability paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlotPoint {
    /// Usage of the failure; for a window, its end.
    pub usage: f64,
    /// Start of the window, for a failure known only to lie in one.
    pub window_from: Option<f64>,
    /// Estimated share failed by then, in (0, 1).
    pub share: f64,
}

/// Exact median rank of the `j`-th of `n`; `j` may be fractional.
///
/// Domain: `0 < j <= n`. Accuracy: 1e-12.
pub fn median_rank(j: f64, n: f64) -> f64 {
    let miss = |x: f64| beta_reg(j, n - j + 1.0, x) - 0.5;
    // The regularised beta function runs from 0 to 1 on the unit interval.
    root(miss, 0.0, 1.0, 1e-14).unwrap_or(benard(j, n))
}

/// Benard's approximation `(j − 0.3)/(n + 0.4)`.
pub fn benard(j: f64, n: f64) -> f64 {
    (j - 0.3) / (n + 0.4)
}

/// Plotting positions of all failures, in order of usage.
///
/// A failure known only within a window is ranked at the window's end, where it was found.
pub fn plot_points(sample: &Sample) -> Vec<PlotPoint> {
    let mut items: Vec<(f64, bool, Option<f64>, f64)> = Vec::new();
    for life in sample.lives() {
        let (usage, failed, from) = match life.end {
            End::Failure { at } => (at, true, None),
            End::Suspension { at } => (at, false, None),
            End::Interval { lo, hi } => (hi, true, Some(lo)),
            End::Left { hi } => (hi, true, Some(life.entry)),
        };
        for _ in 0..life.count {
            items.push((usage, failed, from, life.entry));
        }
    }
    items.sort_by(|x, y| x.0.total_cmp(&y.0).then(y.1.cmp(&x.1)));
    if sample.has_entry_ages() {
        return product_limit_points(&items);
    }
    let n = items.len() as f64;
    let mut rank = 0.0;
    let mut points = Vec::new();
    for (passed, &(usage, failed, window_from, _)) in items.iter().enumerate() {
        if failed {
            rank += (n + 1.0 - rank) / (1.0 + n - passed as f64);
            points.push(PlotPoint {
                usage,
                window_from,
                share: median_rank(rank, n),
            });
        }
    }
    points
}

/// With late entry: the middle of each step of the product-limit estimate.
fn product_limit_points(items: &[(f64, bool, Option<f64>, f64)]) -> Vec<PlotPoint> {
    let mut reliability = 1.0_f64;
    let mut points = Vec::new();
    for (passed, &(usage, failed, window_from, _)) in items.iter().enumerate() {
        if !failed {
            continue;
        }
        let at_risk = items[passed..]
            .iter()
            .filter(|item| item.3 < usage)
            .count()
            .max(1) as f64;
        let next = reliability * (1.0 - 1.0 / at_risk);
        let share = 1.0 - 0.5 * (reliability + next);
        points.push(PlotPoint {
            usage,
            window_from,
            share,
        });
        // A risk set of one would end the curve although others entered later.
        reliability = if next > 0.0 { next } else { reliability * 0.5 };
    }
    points
}
