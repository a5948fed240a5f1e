//! What limits can be asked for: shape, scale, a quantile, the mean, a reliability, a hazard.
//!
//! In: parameters. Out: the quantity and how it ties ln scale to ln shape.
//! Never: data.
//!
//! Each quantity `q` but shape, reliability and hazard is scale times a function of the shape,
//! so fixing it fixes `a = ln q − f(b)`; fixing a reliability at `t` fixes `a = ln t − z/k`
//! with `z` where the family's reliability is `R`, and fixing a hazard `h(t) = (k/t)·g(z)` does
//! so with the `z` where `ln g = ln h + ln t − b`. That one fact serves likelihood-ratio,
//! Wald and posterior limits, for the Weibull and the lognormal alike. The lognormal's shape
//! is here `k = 1/sigma`.

use super::family::Family;
use super::weibull::Weibull;

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
    /// Failures per unit of usage among items that have reached this usage (> 0). Weibull:
    /// `(shape/scale)·(t/scale)^(shape − 1)`.
    Hazard(f64),
}

impl Target {
    /// Its value for given Weibull parameters.
    pub fn of(self, life: &Weibull) -> f64 {
        match self {
            Target::Shape => life.shape,
            Target::Scale => life.scale,
            Target::LifeAt(share) => life.life_at(share),
            Target::Mean => life.mean(),
            Target::Reliability(t) => life.reliability(t),
            Target::Hazard(t) => life.hazard(t),
        }
    }

    /// Its value on the scale where it is searched, at `a = ln scale` and `b = ln shape`: the
    /// log, or `z` for a reliability.
    pub(super) fn search_at(self, family: Family, a: f64, b: f64) -> f64 {
        match self {
            Target::Shape => b,
            Target::Scale => a,
            Target::LifeAt(share) => a + family.z_at(share) / b.exp(),
            Target::Mean => a + family.ln_mean_factor(b)[0],
            Target::Reliability(t) => b.exp() * (t.ln() - a),
            Target::Hazard(t) => b - t.ln() + family.ln_hazard(b.exp() * (t.ln() - a))[0],
        }
    }

    /// Back from the search scale.
    pub(super) fn value_at(self, family: Family, x: f64) -> f64 {
        match self {
            Target::Reliability(_) => family.reliability(x),
            _ => x.exp(),
        }
    }

    /// True where a larger search value means a smaller quantity.
    pub(super) fn falls(self) -> bool {
        matches!(self, Target::Reliability(_))
    }

    /// True where a larger scale means a smaller search value.
    pub(super) fn falls_with_scale(self) -> bool {
        matches!(self, Target::Reliability(_) | Target::Hazard(_))
    }

    /// With the quantity held at search value `x`, ln scale as a function of `b`:
    /// value, first and second derivative. `None` for the shape, which fixes `b` itself.
    pub(super) fn tie(self, family: Family, x: f64, b: f64) -> Option<[f64; 3]> {
        let k = b.exp();
        // a = x − c/k has derivatives c/k and −c/k in b.
        let over_shape = |x: f64, c: f64| [x - c / k, c / k, -c / k];
        match self {
            Target::Shape => None,
            Target::Scale => Some([x, 0.0, 0.0]),
            Target::LifeAt(share) => Some(over_shape(x, family.z_at(share))),
            Target::Reliability(t) => Some(over_shape(t.ln(), x)),
            Target::Hazard(t) => {
                let c = family.z_at_ln_hazard(x + t.ln() - b);
                // c falls with b, the slower the steeper ln g is.
                let [_, slope, bend] = family.ln_hazard(c);
                let first = -1.0 / slope;
                let second = -bend / slope.powi(3);
                Some([
                    t.ln() - c / k,
                    (c - first) / k,
                    (2.0 * first - second - c) / k,
                ])
            }
            Target::Mean => {
                let [factor, first] = family.ln_mean_factor(b);
                // A central difference is exact enough for a Newton step, which only needs
                // a slope.
                let h = 1e-4;
                let second = |b: f64| family.ln_mean_factor(b)[1];
                Some([
                    x - factor,
                    -first,
                    -(second(b + h) - second(b - h)) / (2.0 * h),
                ])
            }
        }
    }

    /// Gradient of the search value in `(a, b) = (ln scale, ln shape)`.
    pub(super) fn gradient(self, family: Family, a: f64, b: f64) -> [f64; 2] {
        let k = b.exp();
        match self {
            Target::Shape => [0.0, 1.0],
            Target::Scale => [1.0, 0.0],
            Target::LifeAt(share) => [1.0, -family.z_at(share) / k],
            Target::Mean => [1.0, family.ln_mean_factor(b)[1]],
            Target::Reliability(t) => [-k, k * (t.ln() - a)],
            Target::Hazard(t) => {
                let z = k * (t.ln() - a);
                let slope = family.ln_hazard(z)[1];
                [-k * slope, 1.0 + z * slope]
            }
        }
    }
}
