//! Estimates without a model: what the lives themselves say, step by step.
//!
//! In: a [`Sample`], or lives with their failure modes. Out: [`ProductLimit`], [`HazardSum`],
//! [`Turnbull`], [`Incidence`], each with how far its data carry.
//! Never: a distribution, machines, layout.
//!
//! Symbols: at usage `t`, `n` items at risk (entry < t <= end), `d` of them failed, of which
//! `d_m` by mode `m`; `S` the share surviving just after `t`. At equal usages failures
//! precede suspensions. Limits are two-sided, at each usage by itself.
//! Sources: Kaplan & Meier, *JASA* 53 (1958) 457-481; Kalbfleisch & Prentice, *The Statistical
//! Analysis of Failure Time Data* (2002), chapter 1; Andersen, Borgan, Gill & Keiding,
//! *Statistical Models Based on Counting Processes* (1993), chapter IV.

mod active_set;
mod hazard_sum;
mod incidence;
mod innermost;
mod product_limit;
mod turnbull;

use thiserror::Error;

pub use hazard_sum::{HazardSum, hazard_sum};
pub use incidence::{Incidence, IncidenceStep, ModeIncidence, incidence};
pub use product_limit::{ProductLimit, largest_distance, product_limit};
pub use turnbull::{Turnbull, TurnbullStep, turnbull};

use super::numeric::normal_quantile;
use crate::life::{End, Life, Sample};

/// Why there is no estimate of the kind asked for.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NonparametricError {
    /// The sample holds no life at all.
    #[error("no lives")]
    Empty,
    /// The estimate needs every failure at a known usage.
    #[error("the usage of {windows} of the failures is known only within a window")]
    Windows { windows: u64 },
    /// The search for the maximum did not come close enough to it.
    #[error(
        "the search for the estimate did not converge: after {rounds} rounds its conditions \
         still miss by {miss:e}"
    )]
    NotConverged { rounds: usize, miss: f64 },
}

/// The scale on which limits are symmetric.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum LimitsScale {
    /// The share itself; cut to 0 and 1.
    Plain,
    /// Its logarithm; cut to 1.
    Log,
    /// `ln(−ln share)`: always within 0 and 1, and best for few failures.
    /// Source: Borgan & Liestøl, *Scandinavian Journal of Statistics* 17 (1990) 35-41.
    #[default]
    LogLog,
}

impl LimitsScale {
    /// Limits of a share `p` with standard error `se` at normal quantile `z`.
    ///
    /// Plain `p ∓ z·se`; log `p·exp(∓ z·se/p)`; log-log `p^exp(± z·se/(p ln p))`.
    /// `None` where `p` is 0 or 1: such a share has no standard error to speak of.
    fn limits(self, p: f64, se: f64, z: f64) -> Option<(f64, f64)> {
        // Shares that add up to 1 on paper may miss it by rounding.
        if !(p > 0.0 && p < 1.0 - 1e-12 && se.is_finite()) {
            return None;
        }
        Some(match self {
            LimitsScale::Plain => ((p - z * se).max(0.0), (p + z * se).min(1.0)),
            LimitsScale::Log => {
                let reach = z * se / p;
                (p * (-reach).exp(), (p * reach.exp()).min(1.0))
            }
            LimitsScale::LogLog => {
                // p·ln p is below 0: the larger power is the lower limit.
                let reach = z * se / -(p * p.ln());
                (p.powf(reach.exp()), p.powf((-reach).exp()))
            }
        })
    }
}

/// One usage at which an estimate steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub time: f64,
    /// Items under watch just before.
    pub at_risk: u64,
    /// Failures then.
    pub events: u64,
    /// The estimate just after.
    pub estimate: f64,
    /// Its standard error; `None` where the share has come to 0.
    pub standard_error: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// The stretch of usage over which items were under watch.
#[derive(Debug, Clone, PartialEq)]
pub struct Watch {
    /// Lowest entry age. Above 0 the estimate holds only for items that reached it.
    pub from: f64,
    /// Highest usage watched.
    pub until: f64,
    /// Stretches between, in which no item was under watch.
    pub gaps: Vec<(f64, f64)>,
}

impl Watch {
    /// `None` for no lives.
    fn of(lives: &[Life]) -> Option<Watch> {
        let mut spans: Vec<(f64, f64)> = lives.iter().map(|l| (l.entry, l.last_usage())).collect();
        spans.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (from, mut until) = *spans.first()?;
        let mut gaps = Vec::new();
        for (entry, end) in spans {
            if entry > until {
                gaps.push((until, entry));
            }
            until = until.max(end);
        }
        Some(Watch { from, until, gaps })
    }
}

/// Numbers at risk at each usage at which something failed.
struct RiskTable {
    /// Usage, at risk just before, failures.
    rows: Vec<(f64, u64, u64)>,
    watch: Watch,
}

impl RiskTable {
    fn new(lives: &[Life]) -> Result<RiskTable, NonparametricError> {
        let windows = lives
            .iter()
            .filter(|l| matches!(l.end, End::Interval { .. } | End::Left { .. }))
            .map(|l| u64::from(l.count))
            .sum();
        if windows > 0 {
            return Err(NonparametricError::Windows { windows });
        }
        let watch = Watch::of(lives).ok_or(NonparametricError::Empty)?;
        let mut entries: Vec<(f64, u64)> = Vec::with_capacity(lives.len());
        let mut ends: Vec<(f64, u64)> = Vec::with_capacity(lives.len());
        let mut failures: Vec<(f64, u64)> = Vec::new();
        for life in lives {
            let count = u64::from(life.count);
            entries.push((life.entry, count));
            ends.push((life.last_usage(), count));
            if let End::Failure { at } = life.end {
                failures.push((at, count));
            }
        }
        for list in [&mut entries, &mut ends, &mut failures] {
            list.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        let mut rows: Vec<(f64, u64, u64)> = Vec::new();
        for (at, count) in failures {
            match rows.last_mut() {
                Some(row) if row.0 == at => row.2 += count,
                _ => rows.push((at, 0, count)),
            }
        }
        let (mut entered, mut ended) =
            (entries.into_iter().peekable(), ends.into_iter().peekable());
        let (mut came, mut gone) = (0, 0);
        for row in &mut rows {
            while let Some((_, count)) = entered.next_if(|e| e.0 < row.0) {
                came += count;
            }
            while let Some((_, count)) = ended.next_if(|e| e.0 < row.0) {
                gone += count;
            }
            row.1 = came - gone;
        }
        Ok(RiskTable { rows, watch })
    }
}

/// The step in force at `t`: the last at or before it.
fn in_force<T>(steps: &[T], time: impl Fn(&T) -> f64, t: f64) -> Option<&T> {
    let after = steps.partition_point(|step| time(step) <= t);
    after.checked_sub(1).map(|place| &steps[place])
}

/// Normal quantile of a two-sided confidence.
fn two_sided(confidence: f64) -> f64 {
    normal_quantile(0.5 * (1.0 + confidence))
}

/// True where some failure is known only within a window, so that only [`turnbull`] will do.
pub fn has_windows(sample: &Sample) -> bool {
    sample.intervals() > 0
}
