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
use crate::life::{End, Life, Sample};

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

/// How a rank becomes a plotting position.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum RankRule {
    /// [`median_rank`].
    #[default]
    Exact,
    /// [`benard`].
    Benard,
}

impl RankRule {
    pub fn word(self) -> &'static str {
        match self {
            RankRule::Exact => "exact",
            RankRule::Benard => "benard",
        }
    }

    /// Estimated share failed by the `rank`-th of `n`.
    pub fn share(self, rank: f64, n: f64) -> f64 {
        match self {
            RankRule::Exact => median_rank(rank, n),
            RankRule::Benard => benard(rank, n),
        }
    }
}

/// A failure with its place among all items.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankedFailure {
    /// Usage of the failure; for a window, its end.
    pub usage: f64,
    /// Start of the window, for a failure known only to lie in one.
    pub window_from: Option<f64>,
    /// Items not yet passed, this one included.
    pub at_risk: u64,
    /// Rank with suspensions allowed for; whole numbers where there are none before.
    pub rank: f64,
}

/// Adjusted ranks of all failures, in order of usage; equal failures take successive ranks.
///
/// Formula: `rank = previous + (n + 1 − previous)/(1 + items not yet passed)`, with
/// failures before suspensions at equal usages. Entry ages are not looked at.
/// Source: IEC 61649:2008, clause 7.
pub fn adjusted_ranks(sample: &Sample) -> Vec<RankedFailure> {
    let mut lives: Vec<&Life> = sample.lives().iter().collect();
    lives.sort_by(|x, y| {
        (x.last_usage().total_cmp(&y.last_usage())).then(y.failed().cmp(&x.failed()))
    });
    let n = sample.count();
    let (mut passed, mut rank) = (0_u64, 0.0);
    let mut ranked = Vec::new();
    for life in lives {
        if !life.failed() {
            passed += u64::from(life.count);
            continue;
        }
        for _ in 0..life.count {
            let at_risk = n - passed;
            rank += (n as f64 + 1.0 - rank) / (1.0 + at_risk as f64);
            ranked.push(RankedFailure {
                usage: life.last_usage(),
                window_from: window_from(life),
                at_risk,
                rank,
            });
            passed += 1;
        }
    }
    ranked
}

fn window_from(life: &Life) -> Option<f64> {
    match life.end {
        End::Interval { lo, .. } => Some(lo),
        End::Left { .. } => Some(life.entry),
        End::Failure { .. } | End::Suspension { .. } => None,
    }
}

/// Plotting positions of all failures, in order of usage.
///
/// A failure known only within a window is ranked at the window's end, where it was found.
pub fn plot_points(sample: &Sample) -> Vec<PlotPoint> {
    thinned_plot_points(sample, usize::MAX)
}

/// As [`plot_points`], for drawing: of more than `most` failures, so many and the first and last
/// [`EXTREMES`] of them, even in `ln(−ln(1 − share))`, as probability paper has it. Ranks are
/// those among all.
pub fn thinned_plot_points(sample: &Sample, most: usize) -> Vec<PlotPoint> {
    if sample.has_entry_ages() {
        let points = product_limit_points(sample);
        let shares: Vec<f64> = points.iter().map(|point| point.share).collect();
        let kept = thinned(&shares, most);
        return kept.into_iter().map(|n| points[n]).collect();
    }
    let n = sample.count() as f64;
    let ranked = adjusted_ranks(sample);
    let shares: Vec<f64> = ranked.iter().map(|f| benard(f.rank, n)).collect();
    thinned(&shares, most)
        .into_iter()
        .map(|place| &ranked[place])
        .map(|failure| PlotPoint {
            usage: failure.usage,
            window_from: failure.window_from,
            share: median_rank(failure.rank, n),
        })
        .collect()
}

/// Failures at either end that thinning keeps.
pub const EXTREMES: usize = 25;

/// Which of many rising shares to draw.
fn thinned(shares: &[f64], most: usize) -> Vec<usize> {
    let count = shares.len();
    if count <= most.max(2 * EXTREMES) {
        return (0..count).collect();
    }
    let up = |share: f64| (-(-share).ln_1p()).ln();
    let (first, last) = (up(shares[0]), up(shares[count - 1]));
    let step = (last - first) / (most - 2 * EXTREMES).max(1) as f64;
    let mut next = f64::NEG_INFINITY;
    (0..count)
        .filter(|n| {
            if *n < EXTREMES || *n + EXTREMES >= count {
                return true;
            }
            let here = up(shares[*n]);
            let take = here >= next;
            if take {
                next = here + step;
            }
            take
        })
        .collect()
}

/// With late entry: the middle of each step of the product-limit estimate.
fn product_limit_points(sample: &Sample) -> Vec<PlotPoint> {
    let mut items: Vec<(f64, bool, Option<f64>, f64)> = Vec::new();
    for life in sample.lives() {
        for _ in 0..life.count {
            items.push((
                life.last_usage(),
                life.failed(),
                window_from(life),
                life.entry,
            ));
        }
    }
    items.sort_by(|x, y| x.0.total_cmp(&y.0).then(y.1.cmp(&x.1)));
    let mut entries: Vec<f64> = items.iter().map(|item| item.3).collect();
    entries.sort_by(f64::total_cmp);
    let mut reliability = 1.0_f64;
    let mut points = Vec::new();
    for (passed, &(usage, failed, window_from, _)) in items.iter().enumerate() {
        if !failed {
            continue;
        }
        // All that are passed had come under watch before this usage, as they ended by then.
        let entered = entries.partition_point(|entry| *entry < usage);
        let at_risk = entered.saturating_sub(passed).max(1) as f64;
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
