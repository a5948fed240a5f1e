//! The cumulative hazard as a sum of failures over items at risk (Nelson-Aalen).
//!
//! In: a [`Sample`] without windows. Out: [`HazardSum`]. Never: limits below 0.
//!
//! `H(t) = Σ d/n`, variance `Σ d/n²`, limits `H·exp(± z·se/H)`.
//! Sources: Nelson, *Journal of Quality Technology* 1 (1969) 27-52; Aalen, *Annals of
//! Statistics* 6 (1978) 701-726; limits on the log scale: Bie, Borgan & Liestøl,
//! *Scandinavian Journal of Statistics* 14 (1987) 221-233.

use super::{NonparametricError, RiskTable, Step, Watch, in_force, two_sided};
use crate::life::Sample;

/// A cumulative-hazard estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct HazardSum {
    /// One a usage at which something failed, in order.
    pub steps: Vec<Step>,
    pub watch: Watch,
}

impl HazardSum {
    /// Cumulative hazard up to and including usage `t`.
    pub fn cumulative_hazard(&self, t: f64) -> f64 {
        in_force(&self.steps, |step| step.time, t).map_or(0.0, |step| step.estimate)
    }
}

/// The cumulative-hazard estimate with two-sided limits at `confidence` in (0, 1).
///
/// Errors: [`NonparametricError::Windows`] where a failure is known only within a window,
/// [`NonparametricError::Empty`].
/// Accuracy: 1e-9 relative (`tests/numbers/nonparametric.rs`).
pub fn hazard_sum(sample: &Sample, confidence: f64) -> Result<HazardSum, NonparametricError> {
    let table = RiskTable::new(sample.lives())?;
    let z = two_sided(confidence);
    let (mut sum, mut variance) = (0.0, 0.0);
    let steps = table
        .rows
        .into_iter()
        .map(|(time, at_risk, events)| {
            let (n, d) = (at_risk as f64, events as f64);
            sum += d / n;
            variance += d / (n * n);
            let se = f64::sqrt(variance);
            let reach = (z * se / sum).exp();
            Step {
                time,
                at_risk,
                events,
                estimate: sum,
                standard_error: Some(se),
                lower: Some(sum / reach),
                upper: Some(sum * reach),
            }
        })
        .collect();
    Ok(HazardSum {
        steps,
        watch: table.watch,
    })
}
