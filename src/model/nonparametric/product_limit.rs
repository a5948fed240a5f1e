//! The product-limit estimate of the share surviving (Kaplan-Meier), with late entry.
//!
//! In: a [`Sample`] without windows. Out: [`ProductLimit`]. Never: a curve that hides that
//! nobody was under watch.
//!
//! `S(t) = Π (1 − d/n)`, standard error `S·√Σ d/(n(n − d))`.
//! Sources: Kaplan & Meier, *JASA* 53 (1958) 457-481; Greenwood (1926) for the variance;
//! Tsai, Jewell & Wang, *Biometrika* 74 (1987) 883-886 for late entry.

use super::{LimitsScale, NonparametricError, RiskTable, Step, Watch, in_force, two_sided};
use crate::life::Sample;

/// A product-limit estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductLimit {
    /// One a usage at which something failed, in order.
    pub steps: Vec<Step>,
    pub watch: Watch,
    /// Usage at which all that were then under watch had failed although others were watched
    /// beyond it, having come later. The share is 0 from there on and says nothing of them.
    pub emptied: Option<f64>,
}

impl ProductLimit {
    /// Share surviving usage `t`, just after it. Beyond the last usage watched it is only
    /// known to be no more than this.
    pub fn reliability(&self, t: f64) -> f64 {
        self.at(t).map_or(1.0, |step| step.estimate)
    }

    /// The step in force at `t`; `None` before the first failure.
    pub fn at(&self, t: f64) -> Option<&Step> {
        in_force(&self.steps, |step| step.time, t)
    }

    /// Lowest usage by which at least a share `p` has failed; `None` where it was not reached.
    pub fn life_at(&self, p: f64) -> Option<f64> {
        // A product of fractions that is 1 − p on paper may miss it by rounding.
        let step = self.steps.iter().find(|s| s.estimate <= 1.0 - p + 1e-12)?;
        Some(step.time)
    }
}

/// The product-limit estimate with two-sided limits at `confidence` in (0, 1).
///
/// Units: usages as in the sample. A life counts as at risk at `t` where entry < t <= end.
/// Errors: [`NonparametricError::Windows`] where a failure is known only within a window,
/// [`NonparametricError::Empty`].
/// Accuracy: 1e-9 relative (`tests/numbers/nonparametric.rs`).
pub fn product_limit(
    sample: &Sample,
    confidence: f64,
    scale: LimitsScale,
) -> Result<ProductLimit, NonparametricError> {
    let table = RiskTable::new(sample.lives())?;
    let z = two_sided(confidence);
    let (mut share, mut sum) = (1.0, 0.0);
    let mut emptied = None;
    let mut steps = Vec::with_capacity(table.rows.len());
    for (time, at_risk, events) in table.rows {
        let (n, d) = (at_risk as f64, events as f64);
        share *= (n - d) / n;
        sum += d / (n * (n - d));
        let standard_error = (share > 0.0).then(|| share * sum.sqrt());
        let limits = standard_error.and_then(|se| scale.limits(share, se, z));
        if share == 0.0 && emptied.is_none() && time < table.watch.until {
            emptied = Some(time);
        }
        steps.push(Step {
            time,
            at_risk,
            events,
            estimate: share,
            standard_error,
            lower: limits.map(|l| l.0),
            upper: limits.map(|l| l.1),
        });
    }
    Ok(ProductLimit {
        steps,
        watch: table.watch,
        emptied,
    })
}

/// Largest distance between a stepped share surviving and a smooth one, looked at just before
/// and just after every step.
///
/// `curve`: usage and share just after, in order, beginning from 1; `reliability` the smooth
/// share. 0 for no steps. Source: Kolmogorov's distance, with the product-limit estimate in
/// the empirical distribution's place: D'Agostino & Stephens, *Goodness-of-Fit Techniques*
/// (1986), section 4.7.
pub fn largest_distance(
    curve: impl IntoIterator<Item = (f64, f64)>,
    reliability: impl Fn(f64) -> f64,
) -> f64 {
    let mut before = 1.0;
    let mut largest = 0.0_f64;
    for (usage, after) in curve {
        let smooth = reliability(usage);
        largest = largest
            .max((before - smooth).abs())
            .max((after - smooth).abs());
        before = after;
    }
    largest
}
