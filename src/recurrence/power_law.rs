//! Power-law process: a Poisson process whose events come at `λ(t) = a·b·t^(b−1)`.
//!
//! In: [`Units`] that follow one and the same process from usage 0. Out: [`PowerLaw`]: shape,
//! scale, intensity at the end of the watch, with limits. Never: a shape at or below 0.
//!
//! `b` shape (above 1: events come faster and faster), `a = scale^(−b)`, so that
//! `M(t) = a·t^b = (t/scale)^b`; `N` events in all, `T` the longest end.
//! Given `N`, events lie in the windows with density ∝ `Y(t)·t^(b−1)`, `Y` units under watch:
//! an exponential family in `ln t`. So the score `Σ ln t − N·E_b[ln t]` falls steadily in `b`
//! and has one root at most.
//! Sources: L. H. Crow, "Reliability analysis for complex, repairable systems", in *Reliability
//! and Biometry* (SIAM, 1974); MIL-HDBK-189 (1981); IEC 61164 and IEC 61710 (power law model).

use thiserror::Error;

use super::fit_test::distance;
use super::window::{log_mean_offset, log_spread};
use super::{Truncation, Units, intensity};
use crate::model::numeric::{chi_square_1_quantile, normal_quantile, root_outward};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Why there is no power law.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PowerLawError {
    #[error("no event in {usage} of usage watched")]
    NoEvents { usage: f64 },
    #[error("every event came at the longest end, {end}: the shape has no upper end")]
    ShapeUnbounded { end: f64 },
    #[error("the events thin out so fast after their start at {start} that no shape above 0 fits")]
    ShapeNotAboveZero { start: f64 },
    #[error("the search for the shape stopped at {shape}, where the score is still {score}")]
    NotConverged { shape: f64, score: f64 },
}

/// What kind of limits a quantity has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LimitsKind {
    /// Hold the truth as often as they say (shape; intensity with failure truncation), or
    /// no less often (intensity with time truncation, as a count goes by steps).
    Exact,
    /// Likelihood ratio (shape) and normal on the log scale (intensity).
    Approximate,
}

impl LimitsKind {
    pub fn word(self) -> &'static str {
        match self {
            LimitsKind::Exact => "exact",
            LimitsKind::Approximate => "approximate",
        }
    }
}

/// Two-sided limits; a side the data leave open is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    pub kind: LimitsKind,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// A fitted power-law process.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerLaw {
    /// Maximum-likelihood `b`.
    pub shape: f64,
    /// Maximum-likelihood scale, `(t/scale)^b` expected events; 0 where it is below the range
    /// of numbers.
    pub scale: f64,
    pub events: usize,
    /// `T`, the longest end, where the intensity is told.
    pub end: f64,
    pub truncation: Truncation,
    /// Units watched over one window from 0; `None` where windows differ.
    alike: Option<usize>,
    windows: Windows,
}

/// Logs of the windows, measured against the longest end so that powers stay in range.
#[derive(Debug, Clone, PartialEq)]
struct Windows {
    /// `(ln(e/T), ln(e/s))`; the second infinite for units watched from 0.
    logs: Vec<(f64, f64)>,
    /// `Σ ln(t/T)` over the events, at or below 0.
    sum: f64,
    events: f64,
}

/// Total weight of the windows, and mean and variance of `ln(t/T)`, at a shape.
struct Moments {
    ln_weight: f64,
    mean: f64,
    variance: f64,
}

impl Windows {
    fn new(units: &Units, longest: f64) -> Self {
        let all = units.units();
        Windows {
            logs: all
                .iter()
                .map(|u| ((u.end() / longest).ln(), (u.end() / u.start()).ln()))
                .collect(),
            sum: all
                .iter()
                .flat_map(|u| u.events())
                .map(|t| (t / longest).ln())
                .sum(),
            events: units.events() as f64,
        }
    }

    /// A window weighs `(e^b − s^b)/T^b`; the mixture's moments follow from those of each.
    fn moments(&self, b: f64) -> Moments {
        let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
        for (end, length) in &self.logs {
            let share = (b * end).exp() * -(-b * length).exp_m1();
            let mean = end + log_mean_offset(b, *length);
            weight += share;
            first += share * mean;
            second += share * (mean * mean + log_spread(b, *length));
        }
        let mean = first / weight;
        Moments {
            ln_weight: weight.ln(),
            mean,
            variance: (second / weight - mean * mean).max(0.0),
        }
    }

    /// Slope of the profile log-likelihood in `b`.
    fn score(&self, b: f64) -> f64 {
        self.sum - self.events * self.moments(b).mean
    }

    /// Profile log-likelihood, without what does not depend on `b`.
    fn profile(&self, b: f64) -> f64 {
        self.events * (b.ln() - self.moments(b).ln_weight) + b * self.sum
    }
}

/// Events beyond which the approximate limits of the intensity are those of the exact ones, to
/// less than one part in a hundred of their width.
const MANY: usize = 1_000;

/// How far from 1 the search for a shape goes, in `ln b`: far beyond any real process.
const REACH: f64 = 25.0;

/// Fits the power law by maximum likelihood, all units together.
///
/// Closed form `b = N/Σ ln(T/t)` where all units are watched over one window from 0; else the
/// root of the score, which is unique. `a = N/Σ(e^b − s^b)`.
/// Units: shape has none; scale in usage. Domain: any [`Units`]. Errors: [`PowerLawError`].
/// Accuracy: 1e-12 relative for windows that differ, rounding for the closed form.
pub fn fit_power_law(units: &Units) -> Result<PowerLaw, PowerLawError> {
    let events = units.events();
    let (Some(end), true) = (units.last_end(), events > 0) else {
        return Err(PowerLawError::NoEvents {
            usage: units.usage(),
        });
    };
    let windows = Windows::new(units, end);
    if windows.sum >= 0.0 {
        return Err(PowerLawError::ShapeUnbounded { end });
    }
    let one_window = units
        .units()
        .iter()
        .all(|u| u.start() == 0.0 && u.end() == end);
    let shape = if one_window {
        -windows.events / windows.sum
    } else {
        search(units, &windows, end)?
    };
    // a = N/(W·T^b), so the scale is T·(W/N)^(1/b).
    let ln_scale = (windows.moments(shape).ln_weight - windows.events.ln()) / shape;
    Ok(PowerLaw {
        shape,
        scale: end * ln_scale.exp(),
        events,
        end,
        truncation: units.truncation(),
        alike: one_window.then(|| units.units().len()),
        windows,
    })
}

fn search(units: &Units, windows: &Windows, end: f64) -> Result<f64, PowerLawError> {
    let score = |v: f64| windows.score(v.exp());
    // The score falls, so it points to its root.
    let step = if score(0.0) > 0.0 { 0.5 } else { -0.5 };
    match root_outward(score, 0.0, step, REACH, 1e-15) {
        Some(v) => Ok(v.exp()),
        None if step > 0.0 => Err(PowerLawError::ShapeUnbounded { end }),
        None => {
            let starts = units.units().iter().map(|u| u.start());
            match starts.reduce(f64::min) {
                Some(start) if start > 0.0 => Err(PowerLawError::ShapeNotAboveZero { start }),
                // From 0 on the score rises without end as the shape falls: not reached.
                _ => Err(PowerLawError::NotConverged {
                    shape: (-REACH).exp(),
                    score: score(-REACH),
                }),
            }
        }
    }
}

impl PowerLaw {
    /// `ln a`, in powers of usage.
    pub fn ln_a(&self) -> f64 {
        self.windows.events.ln()
            - self.windows.moments(self.shape).ln_weight
            - self.shape * self.end.ln()
    }

    /// Expected events of one unit from usage 0 to `t`: `a·t^b`. Domain: `t >= 0`.
    pub fn expected(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 0.0;
        }
        (self.ln_a() + self.shape * t.ln()).exp()
    }

    /// Events per usage of one unit at the end of the watch, `λ(T) = a·b·T^(b−1)`.
    pub fn intensity(&self) -> f64 {
        let weight = self.windows.moments(self.shape).ln_weight;
        self.windows.events * self.shape * (-weight).exp() / self.end
    }

    /// Usage between events at the end of the watch, `1/λ(T)`.
    pub fn mtbf(&self) -> f64 {
        1.0 / self.intensity()
    }

    /// Events that carry the shape, and how many times over the scale is known: for windows
    /// in which exact results hold.
    fn telling(&self) -> Option<(usize, usize)> {
        let units = self.alike?;
        match (self.truncation, units) {
            (Truncation::Time, _) => Some((self.events, units)),
            (Truncation::Failure, 1) => Some((self.events - 1, 1)),
            _ => None,
        }
    }

    /// Shape without bias: `(N − 1)/N·b` with time, `(N − 2)/N·b` with failure truncation.
    ///
    /// `None` where the windows differ or several units ended with an event (no such factor is
    /// known), and where the factor is 0.
    pub fn shape_unbiased(&self) -> Option<f64> {
        let (telling, _) = self.telling()?;
        (telling > 1).then(|| (telling - 1) as f64 / self.events as f64 * self.shape)
    }

    /// [`PowerLaw::mtbf`] with the unbiased shape, `T/(N·b)` for one unit.
    pub fn mtbf_unbiased(&self) -> Option<f64> {
        Some(self.mtbf() * self.shape / self.shape_unbiased()?)
    }

    /// Limits on the shape.
    ///
    /// Exact where the windows allow it: `Σ ln(T/t)` over `M` telling events is gamma of order
    /// `M` and rate `b`, which gives `b·χ²(·; 2M)/(2N)`. Else by likelihood ratio.
    /// Domain: confidence in (0, 1).
    pub fn shape_limits(&self, confidence: f64) -> Bounds {
        let tail = 0.5 * (1.0 - confidence);
        if let Some((telling, _)) = self.telling()
            && let Ok(chi) = ChiSquared::new(2.0 * telling as f64)
        {
            let side = |p: f64| {
                let quantile = intensity::polish_chi_square(chi.inverse_cdf(p), telling, p);
                Some(self.shape * quantile / (2.0 * self.events as f64))
            };
            return Bounds {
                kind: LimitsKind::Exact,
                lower: side(tail),
                upper: side(1.0 - tail),
            };
        }
        let best = self.windows.profile(self.shape);
        let fall = 0.5 * chi_square_1_quantile(confidence);
        let from = self.shape.ln();
        let off = |v: f64| self.windows.profile(v.exp()) - best + fall;
        let side = |step: f64| root_outward(off, from, step, REACH, 1e-13).map(f64::exp);
        Bounds {
            kind: LimitsKind::Approximate,
            lower: side(-0.2),
            upper: side(0.2),
        }
    }

    /// Limits on the intensity at the end of the watch.
    ///
    /// Exact for one window from 0 and up to 1,000 events (see [`intensity`]). Else normal on the log scale with
    /// `se² = 1/N + (ln T − E[ln t])²/(N·Var[ln t])`, by the delta method.
    /// Domain: confidence in (0, 1).
    pub fn intensity_limits(&self, confidence: f64) -> Bounds {
        let n = self.events;
        match (self.telling(), self.truncation) {
            (Some((_, units)), Truncation::Time) if n <= MANY => {
                let (lower, upper) = intensity::given_logs(n, confidence);
                let per = self.shape / (n as f64 * units as f64 * self.end);
                Bounds {
                    kind: LimitsKind::Exact,
                    lower: lower.map(|c| c * per),
                    upper: upper.map(|c| c * per),
                }
            }
            (Some((telling, _)), Truncation::Failure) if telling > 0 && n <= MANY => {
                let scale = self.intensity() / (n as f64).powi(2);
                let (lower, upper) = intensity::product_of_gammas(n, telling, confidence);
                Bounds {
                    kind: LimitsKind::Exact,
                    lower: lower.map(|q| q * scale),
                    upper: upper.map(|q| q * scale),
                }
            }
            _ => {
                let moments = self.windows.moments(self.shape);
                let count = self.windows.events;
                let variance = (1.0 + moments.mean.powi(2) / moments.variance) / count;
                let z = normal_quantile(0.5 * (1.0 + confidence));
                let factor = (z * variance.sqrt()).exp();
                let known = factor.is_finite();
                Bounds {
                    kind: LimitsKind::Approximate,
                    lower: known.then(|| self.intensity() / factor),
                    upper: known.then(|| self.intensity() * factor),
                }
            }
        }
    }

    /// Cramér-von Mises distance between the events and the fitted law, with the unbiased
    /// shape `b`: `1/(12M) + Σ ((t/T)^b − (2i − 1)/(2M))²` over the `M` telling events.
    ///
    /// `None` where there is no unbiased shape.
    pub fn cramer_von_mises(&self, units: &Units) -> Option<f64> {
        let b = self.shape_unbiased()?;
        let mut ratios: Vec<f64> = units
            .units()
            .iter()
            .flat_map(|u| u.telling())
            .map(|t| t / self.end)
            .collect();
        ratios.sort_by(f64::total_cmp);
        Some(distance(
            ratios.iter().map(|ratio| ratio.powf(b)),
            ratios.len(),
        ))
    }

    /// Events that [`PowerLaw::cramer_von_mises`] rests on.
    pub fn telling_events(&self) -> Option<usize> {
        self.telling().map(|(events, _)| events)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recurrence::Unit;

    fn of(list: &[(f64, Option<f64>, &[f64])]) -> Units {
        let unit = |(s, e, t): &(f64, Option<f64>, &[f64])| Unit::new(*s, *e, t.to_vec()).unwrap();
        Units::new(list.iter().map(unit).collect())
    }

    #[test]
    fn what_has_no_shape_says_why() {
        let why = |list: &[(f64, Option<f64>, &[f64])]| fit_power_law(&of(list)).unwrap_err();
        assert_eq!(
            why(&[(0.0, Some(7.0), &[])]),
            PowerLawError::NoEvents { usage: 7.0 }
        );
        assert_eq!(
            why(&[(0.0, None, &[7.0]), (0.0, Some(3.0), &[])]),
            PowerLawError::ShapeUnbounded { end: 7.0 }
        );
        // All events at the very start of a late window: the intensity would have to fall
        // faster than 1/t.
        assert_eq!(
            why(&[(100.0, Some(1000.0), &[100.5, 101.0, 102.0])]),
            PowerLawError::ShapeNotAboveZero { start: 100.0 }
        );
    }

    #[test]
    fn exact_results_are_kept_to_where_they_hold() {
        let fit = |list: &[(f64, Option<f64>, &[f64])]| fit_power_law(&of(list)).unwrap();
        let kind = |law: &PowerLaw| law.shape_limits(0.9).kind;
        let one = fit(&[(0.0, Some(9.0), &[2.0, 5.0, 8.0])]);
        assert_eq!(kind(&one), LimitsKind::Exact);
        let alike = fit(&[(0.0, Some(9.0), &[2.0, 5.0, 8.0]), (0.0, Some(9.0), &[])]);
        assert_eq!(kind(&alike), LimitsKind::Exact);
        assert!((alike.intensity() - one.intensity() / 2.0).abs() < 1e-15);
        for other in [
            fit(&[(0.0, Some(9.0), &[2.0, 5.0]), (0.0, Some(8.0), &[3.0])]),
            fit(&[(1.0, Some(9.0), &[2.0, 5.0, 8.0])]),
            fit(&[(0.0, None, &[2.0, 9.0]), (0.0, None, &[3.0, 9.0])]),
        ] {
            assert_eq!(kind(&other), LimitsKind::Approximate);
            assert_eq!(other.shape_unbiased(), None);
        }
        // Two events, the second the end: the factor (N − 2)/N is 0.
        assert_eq!(fit(&[(0.0, None, &[2.0, 9.0])]).shape_unbiased(), None);
    }
}
