//! Where the events of a power law lie in one window: mean and variance of `ln t`.
//!
//! In: a shape, the log of a window's length. Out: moments. Never: events.
//!
//! In a window with `L = ln(e/s)` and density ∝ `t^(b−1)`, `ln(e/t)` is an exponential of rate
//! `b` cut off at `L`; its moments by elementary integrals, checked by quadrature below.

/// Below this `b·L` the closed forms lose digits and their series are exact.
const SERIES: f64 = 1e-2;

/// Mean of `ln(t/e)` in a window: `1/(e^u − 1)·L − 1/b` with `u = b·L`; `−1/b` from 0 on.
///
/// Domain: `b > 0`, `length > 0`, infinite for a window from 0. Result in `(−L, 0)`.
pub(super) fn log_mean_offset(b: f64, length: f64) -> f64 {
    if length == f64::INFINITY {
        return -1.0 / b;
    }
    let u = b * length;
    let factor = if u < SERIES {
        -0.5 + u / 12.0 - u.powi(3) / 720.0
    } else {
        1.0 / u.exp_m1() - 1.0 / u
    };
    length * factor
}

/// Variance of `ln t` in a window: `1/b² − L²·e^u/(e^u − 1)²`; `1/b²` from 0 on.
pub(super) fn log_spread(b: f64, length: f64) -> f64 {
    if length == f64::INFINITY {
        return b.powi(-2);
    }
    let u = b * length;
    let factor = if u < SERIES {
        1.0 / 12.0 - u * u / 240.0
    } else {
        // e^u/(e^u − 1)² = 1/(2 sinh(u/2))².
        u.powi(-2) - (2.0 * (0.5 * u).sinh()).powi(-2)
    };
    length * length * factor
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against Simpson's rule, on both sides of the switch to the series.
    #[test]
    fn moments_of_a_window_are_those_of_its_density() {
        for (b, length) in [
            (0.7, 1e-3),
            (2.0, 4.9e-3),
            (2.0, 5.1e-3),
            (1.3, 0.8),
            (3.0, 9.0),
        ] {
            let n = 20_000;
            let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
            for i in 0..=n {
                let y = length * f64::from(i) / f64::from(n);
                let rule = if i == 0 || i == n {
                    1.0
                } else if i % 2 == 1 {
                    4.0
                } else {
                    2.0
                };
                let w = rule * (-b * y).exp();
                weight += w;
                first -= w * y;
                second += w * y * y;
            }
            let mean = first / weight;
            let spread = second / weight - mean * mean;
            let off = (log_mean_offset(b, length) / mean - 1.0).abs();
            assert!(off < 1e-10, "{b} {length}: mean off by {off:e}");
            let off = (log_spread(b, length) / spread - 1.0).abs();
            assert!(off < 1e-9, "{b} {length}: variance off by {off:e}");
        }
    }
}
