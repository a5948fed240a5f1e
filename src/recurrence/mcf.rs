//! Mean cumulative function: expected events of one unit up to a usage, without a model.
//!
//! In: [`Units`]. Out: one [`Step`] a usage at which anything happened, with its variance.
//! Never: an assumption on how events follow one another.
//!
//! `d` events of all units at `t`, `n` units under watch at `t`, `d_i` those of unit `i`:
//! `M(t) = Σ d/n` over event usages up to `t`. Units may come under watch late and leave
//! early, as long as neither has to do with their events.
//! Sources: W. Nelson, "Confidence limits for recurrence data – applied to costs or numbers of
//! product repairs", *Technometrics* 37 (1995) 147–157 (the estimate and limits by a normal
//! approximation); J. F. Lawless & C. Nadeau, "Some simple robust methods for the analysis of
//! recurrent events", *Technometrics* 37 (1995) 158–168 (the variance, which holds whatever
//! the process). Where all units are watched over one window it is `(n − 1)/n` times the
//! unbiased variance of a mean, which Nelson uses; his estimate for other windows can fall
//! below 0, this one cannot.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::Units;
use crate::model::numeric::normal_quantile;

/// One step of the mean cumulative function.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Usage at which events came.
    pub time: f64,
    /// Units under watch there.
    pub at_risk: usize,
    /// Least number of units under watch here and at the steps before.
    pub least_at_risk: usize,
    /// Events there.
    pub events: usize,
    /// Expected events of one unit up to and with this usage.
    pub estimate: f64,
    /// Robust variance of the estimate; `None` once a step had a single unit under watch,
    /// which shows no spread between units.
    pub variance: Option<f64>,
    /// Variance under a Poisson process, `Σ d/n²`: right only where events come by chance.
    pub poisson_variance: f64,
}

/// A standard error so small against its estimate that it is nothing but rounding.
const NO_SPREAD: f64 = 1e-7;

impl Step {
    /// Standard error; `None` without one, or where all units had the same events so far.
    pub fn standard_error(&self) -> Option<f64> {
        let error = self.variance?.sqrt();
        (error > NO_SPREAD * self.estimate).then_some(error)
    }

    /// Two-sided limits on the log scale, `M·exp(∓ z·se/M)`: above 0 by construction, and the
    /// default.
    pub fn limits(&self, confidence: f64) -> Option<(f64, f64)> {
        let factor = (z(confidence) * self.standard_error()? / self.estimate).exp();
        Some((self.estimate / factor, self.estimate * factor))
    }

    /// As [`Step::limits`], widened for few units: Student's quantile with `m − 1` degrees of
    /// freedom instead of the normal one, `se·√(m/(m − 1))` instead of `se`, where `m` is the
    /// least number of units under watch at any step so far.
    pub fn wide_limits(&self, confidence: f64) -> Option<(f64, f64)> {
        let m = self.least_at_risk as f64;
        let student = StudentsT::new(0.0, 1.0, m - 1.0).ok()?;
        let error = self.standard_error()? * (m / (m - 1.0)).sqrt();
        let half = student.inverse_cdf(0.5 * (1.0 + confidence)) * error / self.estimate;
        let factor = half.exp();
        Some((self.estimate / factor, self.estimate * factor))
    }

    /// Two-sided limits `M ∓ z·se`; the lower one can fall below 0.
    pub fn plain_limits(&self, confidence: f64) -> Option<(f64, f64)> {
        let half = z(confidence) * self.standard_error()?;
        Some((self.estimate - half, self.estimate + half))
    }
}

fn z(confidence: f64) -> f64 {
    normal_quantile(0.5 * (1.0 + confidence))
}

/// The mean cumulative function with its variance.
///
/// Formula of the variance: `Σ_i W_i²`, where each unit's `W_i = Σ (d_i − d/n)/n` runs over
/// the event usages at which it is under watch.
/// Units: usages as given; estimate in events a unit. Domain: any [`Units`]; without events
/// there is no step. Units not watched from 0 count from the first usage watched.
pub fn mean_cumulative(units: &Units) -> Vec<Step> {
    let units = units.units();
    let mut times: Vec<f64> = units.iter().flat_map(|u| u.events()).copied().collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    // Events of each unit already passed, and its W.
    let mut passed = vec![0_usize; units.len()];
    let mut drift = vec![0.0_f64; units.len()];
    let mut own = vec![0_usize; units.len()];
    let (mut estimate, mut poisson_variance, mut least_at_risk) = (0.0, 0.0, usize::MAX);
    let mut steps = Vec::with_capacity(times.len());
    for time in times {
        let (mut at_risk, mut events) = (0_usize, 0_usize);
        for (i, unit) in units.iter().enumerate() {
            let here = unit.events()[passed[i]..]
                .iter()
                .take_while(|t| **t == time)
                .count();
            own[i] = here;
            passed[i] += here;
            events += here;
            at_risk += usize::from(unit.at_risk(time));
        }
        let n = at_risk as f64;
        let mean = events as f64 / n;
        estimate += mean;
        poisson_variance += mean / n;
        least_at_risk = least_at_risk.min(at_risk);
        for (i, unit) in units.iter().enumerate() {
            if unit.at_risk(time) {
                drift[i] += (own[i] as f64 - mean) / n;
            }
        }
        steps.push(Step {
            time,
            at_risk,
            least_at_risk,
            events,
            estimate,
            variance: (least_at_risk > 1).then(|| drift.iter().map(|w| w * w).sum()),
            poisson_variance,
        });
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recurrence::Unit;

    fn units(list: &[(f64, f64, &[f64])]) -> Units {
        Units::new(
            list.iter()
                .map(|(s, e, t)| Unit::new(*s, Some(*e), t.to_vec()).unwrap())
                .collect(),
        )
    }

    /// By hand: at 3 one of two units, at 5 one of three, at 8 one of two.
    #[test]
    fn units_come_and_go() {
        let steps = mean_cumulative(&units(&[
            (0.0, 10.0, &[3.0]),
            (0.0, 6.0, &[5.0]),
            (4.0, 9.0, &[8.0]),
        ]));
        let rows: Vec<(f64, usize)> = steps.iter().map(|s| (s.time, s.at_risk)).collect();
        assert_eq!(rows, [(3.0, 2), (5.0, 3), (8.0, 2)]);
        let last = steps[2];
        assert!((last.estimate - (0.5 + 1.0 / 3.0 + 0.5)).abs() < 1e-15);
        // W: unit 1 +1/4 −1/9 −1/4, unit 2 −1/4 +2/9, unit 3 −1/9 +1/4.
        let by_hand = (1.0_f64 / 9.0).powi(2) + (1.0_f64 / 36.0).powi(2) + (5.0_f64 / 36.0).powi(2);
        assert!((last.variance.unwrap() - by_hand).abs() < 1e-15);
    }

    #[test]
    fn one_unit_alone_shows_no_spread() {
        let steps = mean_cumulative(&units(&[(0.0, 10.0, &[3.0, 7.0]), (0.0, 5.0, &[])]));
        assert!(steps[0].limits(0.9).is_some());
        assert_eq!((steps[1].variance, steps[1].limits(0.9)), (None, None));
        assert_eq!(steps[1].estimate, 1.5);
    }

    #[test]
    fn alike_units_have_no_limits() {
        let steps = mean_cumulative(&units(&[(0.0, 10.0, &[3.0]), (0.0, 10.0, &[3.0])]));
        assert_eq!((steps[0].estimate, steps[0].limits(0.9)), (1.0, None));
    }
}
