//! Limits on the intensity of a power-law process at the end of the watch.
//!
//! In: numbers of events. Out: factors that the data's own figures multiply.
//! Never: units, usages.
//!
//! One window from 0 to `T`, `N` events, `S = Σ ln(T/t)`, `θ = M(T)`, `μ = b·θ = T·λ(T)`.
//! Sources: L. H. Crow, "Confidence interval procedures for the Weibull process with
//! applications to reliability growth", *Technometrics* 24 (1982) 67–72 (both truncations; his
//! tables stand in MIL-HDBK-189); L. Lee & S. K. Lee, "Some results on inference for the
//! Weibull process", *Technometrics* 20 (1978) 41–45 (failure truncation);
//! NIST/SEMATECH e-Handbook of Statistical Methods 8.4.5.2 (the approximation).

use statrs::function::gamma::{gamma_lr, gamma_ur, ln_gamma};

use crate::model::numeric::{ln_gamma_log_density, ln_sum_exp, normal_quantile, root_outward};

/// How far from its middle the search for a limit goes, in logs.
const REACH: f64 = 20.0;

/// A side that is not bounded is `None`.
type Sides = (Option<f64>, Option<f64>);

/// Limits of `μ·S` with time truncation.
///
/// Given `S`, the number of events has probabilities ∝ `(μS)^k/(k!(k − 1)!)`, whatever the
/// shape. The limits are those `μS` under which as many events, or as few, have half the
/// probability left over; as a count goes by steps they hold the truth no less often than
/// stated. One event has no lower limit.
/// Domain: `events >= 1`, confidence in (0, 1).
pub fn given_logs(events: usize, confidence: f64) -> Sides {
    let tail = 0.5 * (1.0 - confidence);
    let n = events as f64;
    // ln c, with c = μS near n².
    let start = 2.0 * n.ln();
    let low = |v: f64| at_least(events, v) - tail;
    let high = |v: f64| tail - (1.0 - at_least(events + 1, v));
    let step = 2.0 / n.sqrt();
    let lower = (events > 1)
        .then(|| root_outward(low, start, -step, REACH, 1e-13))
        .flatten();
    let upper = root_outward(high, start, step, REACH, 1e-13);
    (lower.map(f64::exp), upper.map(f64::exp))
}

/// `P(K >= n)` where `K` has probabilities ∝ `e^(vk)/(k!(k − 1)!)`, `k = 1, 2, …`.
fn at_least(n: usize, v: f64) -> f64 {
    let middle = (0.5 * v).exp();
    let last = (middle + 12.0 * middle.sqrt() + 40.0).max(n as f64 + 40.0) as usize;
    let ln_weight = |k: usize| {
        let k = k as f64;
        k * v - ln_gamma(k + 1.0) - ln_gamma(k)
    };
    let all = ln_sum_exp((1..=last).map(ln_weight));
    let upper = ln_sum_exp((n..=last).map(ln_weight));
    (upper - all).exp().min(1.0)
}

/// Limits of the product of two independent gammas of whole orders `n` and `m`.
///
/// With failure truncation `λ(T)` over its estimate is such a product over `n²`, with `m = n − 1`:
/// `θ` is gamma of order `n`, `b·S` of order `n − 1`, and the two are independent.
/// Accuracy: 1e-9 relative. Domain: `n, m >= 1`, confidence in (0, 1).
pub fn product_of_gammas(n: usize, m: usize, confidence: f64) -> Sides {
    let tail = 0.5 * (1.0 - confidence);
    let nodes = nodes(n as u64);
    let order = m as f64;
    // P(G_n·G_m <= x) = E[P(G_m <= x/G_n)]; the trapezoid rule in ln G_n, smooth and falling
    // off on both sides, is good to rounding.
    let mean = |x: f64, tail_of: fn(f64, f64) -> f64| -> f64 {
        nodes
            .iter()
            .map(|(v, weight)| weight * tail_of(order, (x - v).exp().max(1e-300)))
            .sum()
    };
    let start = (n as f64).ln() + order.ln();
    let step = 1.5 / order.sqrt();
    let low = |x: f64| mean(x, gamma_lr) - tail;
    let high = |x: f64| mean(x, gamma_ur) - tail;
    (
        root_outward(low, start, -step, 200.0, 1e-12).map(f64::exp),
        root_outward(high, start, step, 200.0, 1e-12).map(f64::exp),
    )
}

/// Points of `ln G` with weights that sum to 1, for `G` gamma of order `r`.
fn nodes(r: u64) -> Vec<(f64, f64)> {
    const EACH_SIDE: i32 = 160;
    // Density falls below e^−38 of its top beyond: fast upward, at rate r downward.
    let top = (r as f64).ln();
    let spread = 1.0 / (r as f64).sqrt();
    let (down, up) = (9.0 * spread + 38.0 / r as f64, 9.0 * spread);
    let step = (down + up) / f64::from(2 * EACH_SIDE);
    let mut nodes: Vec<(f64, f64)> = (0..=2 * EACH_SIDE)
        .map(|i| {
            let v = top - down + step * f64::from(i);
            (v, ln_gamma_log_density(r, v).exp())
        })
        .collect();
    let sum: f64 = nodes.iter().map(|(_, w)| w).sum();
    for (_, weight) in &mut nodes {
        *weight /= sum;
    }
    nodes
}

/// Limits on the usage between events at the end, by the handbook's approximation for time
/// truncation: `MTBF·n(n − 1)/(n + z²/4 + √(n·z²/2 + z⁴/16))²` and `MTBF·n(n − 1)/(n − z√(n/2))²`,
/// where `MTBF` rests on the unbiased shape.
///
/// The exact limits of [`given_logs`] are used everywhere else; this one is for checks against
/// the handbook. The upper one is `None` for so few events that its denominator is not above 0.
/// Domain: `events >= 2`, `mtbf_unbiased > 0`, confidence in (0, 1).
pub fn handbook_mtbf_limits(
    mtbf_unbiased: f64,
    events: usize,
    confidence: f64,
) -> (f64, Option<f64>) {
    let n = events as f64;
    let z = normal_quantile(0.5 * (1.0 + confidence));
    let top = mtbf_unbiased * n * (n - 1.0);
    let long = n + z * z / 4.0 + (n * z * z / 2.0 + z.powi(4) / 16.0).sqrt();
    let short = n - z * (n / 2.0).sqrt();
    (
        top / long.powi(2),
        (short > 0.0).then(|| top / short.powi(2)),
    )
}

/// One Newton step on a chi-square quantile with `2·order` degrees of freedom, which the
/// library gives to about 1e-9.
pub(super) fn polish_chi_square(quantile: f64, order: usize, p: f64) -> f64 {
    let (r, x) = (order as f64, 0.5 * quantile);
    if x <= 0.0 || x.is_nan() {
        return quantile;
    }
    // The density is the one of ln G over x; twice the step in x is the step in the quantile.
    let density = ln_gamma_log_density(order as u64, x.ln()).exp() / x;
    let miss = if p < 0.5 {
        gamma_lr(r, x) - p
    } else {
        (1.0 - p) - gamma_ur(r, x)
    };
    let next = quantile - 2.0 * miss / density;
    if next.is_finite() && next > 0.0 {
        next
    } else {
        quantile
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One gamma of order 1 times one of order 1: `P(XY > x) = 2√x·K₁(2√x)`; with
    /// K₁(2) = 0.139 865 881 8 (Abramowitz & Stegun, table 9.8) the tail beyond 1 is 0.2797.
    #[test]
    fn the_product_of_two_exponentials_is_a_bessel_function() {
        let tail = 2.0 * 0.139_865_881_8;
        let (_, upper) = product_of_gammas(1, 1, 1.0 - 2.0 * tail);
        assert!((upper.unwrap() - 1.0).abs() < 1e-8, "{upper:?}");
    }

    /// Weights `c^k/(k!(k − 1)!)` sum to `√c·I₁(2√c)`; at c = 1 with I₁(2) = 1.590 636 854 6
    /// (Abramowitz & Stegun, table 9.8), one event has 1/1.5906 of the probability.
    #[test]
    fn the_count_given_the_logs_is_a_bessel_distribution() {
        assert!((1.0 - at_least(2, 0.0) - 1.0 / 1.590_636_854_6).abs() < 1e-10);
    }

    #[test]
    fn quantiles_are_polished() {
        // Chi-square with 2 degrees of freedom: −2 ln(1 − p).
        let rough = -2.0 * 0.05_f64.ln() * (1.0 + 1e-6);
        let fine = polish_chi_square(rough, 1, 0.95);
        assert!((fine + 2.0 * 0.05_f64.ln()).abs() < 1e-10);
    }

    #[test]
    fn one_event_leaves_the_intensity_open_below() {
        let (lower, upper) = given_logs(1, 0.9);
        assert_eq!(lower, None);
        assert!(upper.unwrap() > 1.0);
    }

    #[test]
    fn many_events_are_not_too_many() {
        for n in [200, 1_000] {
            for (lower, upper) in [given_logs(n, 0.9), product_of_gammas(n, n - 1, 0.9)] {
                let half = 1.645 * (2.0 / n as f64).sqrt();
                let square = (n as f64).powi(2);
                assert!(((lower.unwrap() / square).ln() / -half - 1.0).abs() < 0.2);
                assert!(((upper.unwrap() / square).ln() / half - 1.0).abs() < 0.2);
            }
        }
    }
}
