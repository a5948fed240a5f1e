//! Calibration: whether forecasts of counts were as sure as they should have been.
//!
//! In: forecasts with what came. Out: scores, a histogram of where the outcomes fell, shares
//! inside limits. Never: forecasting.
//!
//! Counts are whole, so that limits hold more than they are asked to: the share inside is judged
//! against what each forecast itself gave its limits. The histogram is the nonrandomised one of
//! C. Czado, T. Gneiting & L. Held, "Predictive model assessment for count data", *Biometrics* 65
//! (2009) 1254-1261: flat where forecasts are right; humped where they are too wide, hollow where
//! too narrow, sloping where too high or too low.

use statrs::function::gamma::ln_gamma;

use super::forecast::Counts;

/// A forecast and what came.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    pub forecast: Counts,
    pub came: usize,
}

impl Outcome {
    /// Whether it came within the two-sided limits.
    pub fn inside(&self, confidence: f64) -> bool {
        let (lower, upper) = self.forecast.limits(confidence);
        (lower..=upper).contains(&self.came)
    }

    /// Probability that the forecast itself gave to its limits.
    pub fn promised(&self, confidence: f64) -> f64 {
        let (lower, upper) = self.forecast.limits(confidence);
        let below = lower
            .checked_sub(1)
            .map_or(0.0, |n| self.forecast.at_most(n));
        self.forecast.at_most(upper) - below
    }

    /// Ranked probability score `Σ_k (P(k) − 1[came <= k])²`: 0 is perfect, less is better.
    ///
    /// Proper: no forecaster gains by telling anything but what it believes.
    pub fn ranked_score(&self) -> f64 {
        let last = self.forecast.probabilities().len().max(self.came + 1);
        let mut below = 0.0;
        let mut sum = 0.0;
        for k in 0..last {
            below += self.forecast.probabilities().get(k).copied().unwrap_or(0.0);
            let step = if self.came <= k { 1.0 } else { 0.0 };
            sum += (below - step) * (below - step);
        }
        sum
    }

    /// `F(u)`: share of the outcome's own step that lies below `u`.
    fn below(&self, u: f64) -> f64 {
        let upto = self.forecast.at_most(self.came);
        let before = self
            .came
            .checked_sub(1)
            .map_or(0.0, |n| self.forecast.at_most(n));
        if u <= before {
            0.0
        } else if u >= upto || upto <= before {
            1.0
        } else {
            (u - before) / (upto - before)
        }
    }
}

/// Heights of the histogram in so many equal classes of (0, 1): they add up to 1.
pub fn histogram(outcomes: &[Outcome], classes: usize) -> Vec<f64> {
    let at = |class: usize| -> f64 {
        if class == classes {
            return outcomes.len() as f64;
        }
        let u = class as f64 / classes as f64;
        outcomes.iter().map(|o| o.below(u)).sum()
    };
    let count = outcomes.len().max(1) as f64;
    (0..classes).map(|n| (at(n + 1) - at(n)) / count).collect()
}

/// The simple rival: events at a constant rate per unit of usage, known from `events` in `past`
/// usage only, over `ahead` more.
///
/// Negative binomial: Poisson averaged over the rate's posterior under Jeffreys' prior
/// (gamma, `events + 1/2` and `past`). Domain: `past > 0`, `ahead >= 0`.
/// Source: A. Gelman et al., *Bayesian Data Analysis*, 3rd ed. (2013), sections 2.6 and 2.8.
pub fn constant_rate(events: u64, past: f64, ahead: f64) -> Counts {
    let order = events as f64 + 0.5;
    let share = ahead / (past + ahead);
    let mean = order * ahead / past;
    let last = (mean + 12.0 * (mean / (1.0 - share)).sqrt() + 20.0) as usize;
    let weights = (0..=last)
        .map(|n| {
            let n = n as f64;
            let ln = ln_gamma(order + n) - ln_gamma(order) - ln_gamma(n + 1.0)
                + order * (1.0 - share).ln();
            if share > 0.0 {
                (ln + n * share.ln()).exp()
            } else if n == 0.0 {
                1.0
            } else {
                0.0
            }
        })
        .collect();
    Counts::new(weights)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcome(came: usize) -> Outcome {
        Outcome {
            forecast: Counts::new(vec![0.2, 0.5, 0.2, 0.1]),
            came,
        }
    }

    /// Outcomes exactly as often as forecast fall evenly.
    #[test]
    fn the_histogram_is_flat_for_a_right_forecast() {
        let came = [0, 0, 1, 1, 1, 1, 1, 2, 2, 3];
        let outcomes: Vec<Outcome> = came.into_iter().map(outcome).collect();
        for height in histogram(&outcomes, 10) {
            assert!((height - 0.1).abs() < 1e-12);
        }
        let low: Vec<Outcome> = vec![outcome(0); 4];
        let heights = histogram(&low, 10);
        assert!((heights[0] - 0.5).abs() < 1e-12 && heights[9] == 0.0);
    }

    #[test]
    fn limits_promise_what_lies_between_them() {
        let o = outcome(3);
        assert_eq!(o.forecast.limits(0.8), (0, 2));
        assert!((o.promised(0.8) - 0.9).abs() < 1e-12);
        assert!(!o.inside(0.8) && outcome(2).inside(0.8));
        // By hand: (0.2)² + (0.7)² + (0.9)² + 0.
        assert!((o.ranked_score() - (0.04 + 0.49 + 0.81)).abs() < 1e-12);
        assert!((outcome(9).ranked_score() - (0.04 + 0.49 + 0.81 + 6.0)).abs() < 1e-12);
    }

    #[test]
    fn a_constant_rate_has_the_mean_and_spread_of_its_gamma() {
        let counts = constant_rate(4, 1_000.0, 500.0);
        let (order, ratio) = (4.5, 0.5);
        assert!((counts.mean() / (order * ratio) - 1.0).abs() < 1e-9);
        assert!((counts.variance() / (order * ratio * (1.0 + ratio)) - 1.0).abs() < 1e-8);
        assert_eq!(constant_rate(4, 1_000.0, 0.0), Counts::always(0));
    }
}
