//! The two families of life distributions whose logarithm has a place and a spread.
//!
//! In: `z = k(ln t − a)`. Out: cumulative hazard `H(z)` with derivatives, quantiles.
//! Never: data.
//!
//! Weibull: `H = e^z`. Lognormal with `k = 1/sigma`, `a = mu`: `H = −ln Φ(−z)`. In both
//! `ln t = a + z/k`, which is all that limits and posteriors need to know.
//! Source: Meeker & Escobar, *Statistical Methods for Reliability Data* (1998), chapter 4.

use statrs::function::erf::erfc;

use super::numeric::normal_quantile;

/// Which family.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Family {
    #[default]
    Weibull,
    Lognormal,
}

const SQRT_2: f64 = std::f64::consts::SQRT_2;
/// `ln √(2π)`.
pub(super) const LN_SQRT_2PI: f64 = 0.918_938_533_204_672_7;

impl Family {
    /// `z` by which a share `p` has failed, 0 < p < 1.
    pub fn z_at(self, p: f64) -> f64 {
        match self {
            Family::Weibull => (-(-p).ln_1p()).ln(),
            Family::Lognormal => normal_quantile(p),
        }
    }

    /// Share that survives `z`.
    pub fn reliability(self, z: f64) -> f64 {
        match self {
            Family::Weibull => (-z.exp()).exp(),
            Family::Lognormal => 0.5 * erfc(z / SQRT_2),
        }
    }

    /// Log of the hazard of `z` itself, `ln g(z)`, and its first and second derivative: the hazard
    /// of usage is `(k/t)·g(z)`. Weibull: `z`; lognormal: that of the standard normal.
    pub fn ln_hazard(self, z: f64) -> [f64; 3] {
        match self {
            Family::Weibull => [z, 1.0, 0.0],
            Family::Lognormal => {
                let hazard = normal_hazard(z);
                // Far right both are nearly equal; there it is 1/z, as of z + 1/z − z.
                let slope = if z < 1e5 { hazard - z } else { 1.0 / z };
                [ln_normal_hazard(z), slope, hazard * slope - 1.0]
            }
        }
    }

    /// The `z` at which `ln g` has this value: the inverse of [`Family::ln_hazard`].
    pub fn z_at_ln_hazard(self, value: f64) -> f64 {
        match self {
            Family::Weibull => value,
            Family::Lognormal => {
                // ln g is concave and rises, so Newton's steps come from the left from the
                // second on, and cannot pass the root.
                let mut z = if value < 0.0 {
                    -(-2.0 * value).sqrt()
                } else {
                    value.exp()
                };
                for _ in 0..100 {
                    let [here, slope, _] = self.ln_hazard(z);
                    let step = (value - here) / slope;
                    z += step;
                    if step.abs() <= 1e-13 * (1.0 + z.abs()) {
                        break;
                    }
                }
                z
            }
        }
    }

    /// Log of mean life over `e^a` at `b = ln k`, and its first derivative in `b`.
    pub fn ln_mean_factor(self, b: f64) -> [f64; 2] {
        let s = (-b).exp();
        match self {
            Family::Weibull => [
                super::weibull::ln_mean_factor(b.exp()),
                -s * statrs::function::gamma::digamma(1.0 + s),
            ],
            Family::Lognormal => [0.5 * s * s, -s * s],
        }
    }
}

/// `−ln Φ(−z)`: the cumulative hazard of the standard normal, to full precision in both tails.
///
/// Below 0 by `ln(1 − Φ(z))`; above 5 by the continued fraction of Mills' ratio
/// (Abramowitz & Stegun, 26.2.14).
pub fn normal_cumulative_hazard(z: f64) -> f64 {
    if z < 0.0 {
        -(-0.5 * erfc(-z / SQRT_2)).ln_1p()
    } else if z < 5.0 {
        -(0.5 * erfc(z / SQRT_2)).ln()
    } else {
        0.5 * z * z + LN_SQRT_2PI - mills(z).ln()
    }
}

/// Hazard of the standard normal, `φ(z)/Φ(−z)`.
pub fn normal_hazard(z: f64) -> f64 {
    if z < 5.0 {
        (-0.5 * z * z - LN_SQRT_2PI + normal_cumulative_hazard(z)).exp()
    } else {
        1.0 / mills(z)
    }
}

/// Log of [`normal_hazard`], also where that is too small for a double.
fn ln_normal_hazard(z: f64) -> f64 {
    if z < 5.0 {
        -0.5 * z * z - LN_SQRT_2PI + normal_cumulative_hazard(z)
    } else {
        -mills(z).ln()
    }
}

/// Mills' ratio `Φ(−z)/φ(z)` for `z >= 5`: `1/(z + 1/(z + 2/(z + 3/(z + …))))`.
fn mills(z: f64) -> f64 {
    let mut tail = z;
    for n in (1..=60).rev() {
        tail = z + f64::from(n) / tail;
    }
    1.0 / tail
}
