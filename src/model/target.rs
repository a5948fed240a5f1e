//! What limits can be asked for: shape, scale, a quantile, the mean, a reliability.
//!
//! In: parameters. Out: the quantity and how it ties ln scale to ln shape.
//! Never: data.
//!
//! Each quantity `q` but shape and reliability is scale times a function of the shape, so
//! fixing it fixes `a = ln q − f(b)`; fixing a reliability at `t` fixes `a = ln t − ζ/k`
//! with `ζ = ln(−ln R)`. That one fact serves likelihood-ratio, Wald and posterior limits.

use statrs::function::gamma::digamma;

use super::weibull::{Weibull, ln_mean_factor};

/// A quantity of the life distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Target {
    Shape,
    Scale,
    /// Usage by which this share has failed, 0 < share < 1.
    LifeAt(f64),
    Mean,
    /// Share that survives this usage.
    Reliability(f64),
}

impl Target {
    /// Its value for given parameters.
    pub fn of(self, life: &Weibull) -> f64 {
        match self {
            Target::Shape => life.shape,
            Target::Scale => life.scale,
            Target::LifeAt(share) => life.life_at(share),
            Target::Mean => life.mean(),
            Target::Reliability(t) => life.reliability(t),
        }
    }

    /// The value on the scale where it is searched: ln, or ln(−ln R) for a reliability.
    pub(super) fn to_search(self, value: f64) -> f64 {
        match self {
            Target::Reliability(_) => (-value.ln()).ln(),
            _ => value.ln(),
        }
    }

    /// Back from the search scale.
    pub(super) fn value_at(self, x: f64) -> f64 {
        match self {
            Target::Reliability(_) => (-x.exp()).exp(),
            _ => x.exp(),
        }
    }

    /// True where a larger search value means a smaller quantity.
    pub(super) fn falls(self) -> bool {
        matches!(self, Target::Reliability(_))
    }

    /// With the quantity held at search value `x`, ln scale as a function of `b`:
    /// value, first and second derivative. `None` for the shape, which fixes `b` itself.
    pub(super) fn tie(self, x: f64, b: f64) -> Option<[f64; 3]> {
        let k = b.exp();
        // a = x − c/k has derivatives c/k and −c/k in b.
        let over_shape = |x: f64, c: f64| [x - c / k, c / k, -c / k];
        match self {
            Target::Shape => None,
            Target::Scale => Some([x, 0.0, 0.0]),
            Target::LifeAt(share) => Some(over_shape(x, (-(-share).ln_1p()).ln())),
            Target::Reliability(t) => Some(over_shape(t.ln(), x)),
            Target::Mean => {
                let s = 1.0 / k;
                let psi = digamma(1.0 + s);
                // d/db lnΓ(1 + e^(−b)) = −s·ψ(1+s); the second by a central difference of
                // the first is exact enough for a Newton step, which only needs a slope.
                let h = 1e-4;
                let first = |b: f64| {
                    let s = (-b).exp();
                    s * digamma(1.0 + s)
                };
                Some([
                    x - ln_mean_factor(k),
                    s * psi,
                    (first(b + h) - first(b - h)) / (2.0 * h),
                ])
            }
        }
    }

    /// Gradient of the search value in `(ln scale, ln shape)` at given parameters.
    pub(super) fn gradient(self, life: &Weibull) -> [f64; 2] {
        let k = life.shape;
        match self {
            Target::Shape => [0.0, 1.0],
            Target::Scale => [1.0, 0.0],
            Target::LifeAt(share) => [1.0, -(-(-share).ln_1p()).ln() / k],
            Target::Mean => [1.0, -digamma(1.0 + 1.0 / k) / k],
            Target::Reliability(t) => [-k, k * (t / life.scale).ln()],
        }
    }
}
