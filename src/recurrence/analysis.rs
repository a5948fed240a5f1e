//! Everything this room can say of some units, together.
//!
//! In: [`Units`]. Out: [`Analysis`]. Never: anything the single files do not compute.

use super::fit_test::cramer_von_mises_p;
use super::{PowerLaw, PowerLawError, Step, Trend, Units, fit_power_law, mean_cumulative, trend};

/// Mean cumulative function, trend tests, power law and its fit.
#[derive(Debug, Clone)]
pub struct Analysis {
    pub steps: Vec<Step>,
    pub trend: Trend,
    pub power_law: Result<PowerLaw, PowerLawError>,
    /// Cramér-von Mises distance and p-value, where the windows allow the test.
    pub fit_test: Option<(f64, Option<f64>)>,
}

/// Samples behind the p-value of the test of fit: standard error below 0.004 at 0.05.
const REPLICATES: u32 = 4_000;
/// So that the same events always give the same p-value.
const SEED: u64 = 189;

impl Analysis {
    pub fn of(units: &Units) -> Analysis {
        let power_law = fit_power_law(units);
        let fit_test = power_law.as_ref().ok().and_then(|law| {
            let distance = law.cramer_von_mises(units)?;
            let p = cramer_von_mises_p(distance, law.telling_events()?, REPLICATES, SEED);
            Some((distance, p))
        });
        Analysis {
            steps: mean_cumulative(units),
            trend: trend(units),
            power_law,
            fit_test,
        }
    }
}
