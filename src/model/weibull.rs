//! The two-parameter Weibull distribution.
//!
//! In: shape and scale. Out: reliability, quantiles, moments, the mean life up to a usage.
//! Never: data.
//!
//! Source: IEC 61649:2008 for the form; NIST/SEMATECH e-Handbook 8.1.6.2.

use statrs::function::gamma::ln_gamma;

/// Weibull life: `R(t) = exp(−(t/scale)^shape)`, usage and scale in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    pub shape: f64,
    pub scale: f64,
}

impl Weibull {
    /// Both parameters finite and above 0, else `None`.
    pub fn new(shape: f64, scale: f64) -> Option<Self> {
        let fine = |x: f64| x.is_finite() && x > 0.0;
        (fine(shape) && fine(scale)).then_some(Weibull { shape, scale })
    }

    /// Cumulative hazard `(t/scale)^shape`; 0 at or below 0.
    pub fn cumulative_hazard(&self, t: f64) -> f64 {
        if t <= 0.0 {
            0.0
        } else {
            (t / self.scale).powf(self.shape)
        }
    }

    /// Share that survives usage `t`.
    pub fn reliability(&self, t: f64) -> f64 {
        (-self.cumulative_hazard(t)).exp()
    }

    /// Share that has failed by usage `t`, exact for small shares.
    pub fn failed_by(&self, t: f64) -> f64 {
        -(-self.cumulative_hazard(t)).exp_m1()
    }

    /// Hazard rate per unit of usage at `t > 0`.
    pub fn hazard(&self, t: f64) -> f64 {
        self.shape / self.scale * (t / self.scale).powf(self.shape - 1.0)
    }

    /// Usage by which a share `p` in (0, 1) has failed: `scale·(−ln(1−p))^(1/shape)`.
    pub fn life_at(&self, p: f64) -> f64 {
        self.scale * (-(-p).ln_1p()).powf(1.0 / self.shape)
    }

    /// Mean life `scale·Γ(1 + 1/shape)`.
    pub fn mean(&self) -> f64 {
        self.scale * ln_mean_factor(self.shape).exp()
    }

    /// Mean usage per item when each is taken out at `t` or at failure: `∫₀ᵗ R(u) du`.
    ///
    /// Domain: `t >= 0`; infinite `t` gives the mean. Accuracy: 1e-12 relative
    /// (`tests/numbers/policy.rs` holds it to values of arbitrary precision).
    pub fn mean_to(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 0.0;
        }
        self.scale * unit_mean_to(self.shape, (t / self.scale).ln())
    }
}

/// `ln Γ(1 + 1/shape)`: log of mean life over scale.
pub fn ln_mean_factor(shape: f64) -> f64 {
    ln_gamma(1.0 + 1.0 / shape)
}

/// `∫₀ᵘ exp(−x^k) dx` for `u = e^ln_u` and scale 1: the lower incomplete gamma function
/// `γ(1/k, u^k)/k`.
///
/// Series `u·e^(−z) Σ zⁿ / ((1+s)(2+s)…(n+s))` with `s = 1/k`, `z = u^k` while z is
/// small, else `Γ(1+s)` less the tail by its continued fraction
/// (DLMF 8.7.1 and 8.9.2).
pub fn unit_mean_to(shape: f64, ln_u: f64) -> f64 {
    let s = 1.0 / shape;
    let z = (shape * ln_u).exp();
    if z < s + 2.0 {
        let mut term = 1.0;
        let mut sum = 1.0;
        let mut n = 1.0;
        loop {
            term *= z / (n + s);
            sum += term;
            if term < sum * 1e-17 {
                break;
            }
            n += 1.0;
        }
        // For very small u the exponential is 1 and the sum is 1: the mean is u itself.
        return (ln_u - z).exp() * sum;
    }
    ln_mean_factor(shape).exp() - unit_mean_beyond(shape, ln_u)
}

/// `∫ᵤ^∞ exp(−x^k) dx = Γ(1/k, u^k)/k` for `u = e^ln_u` and scale 1, by the continued
/// fraction `e^(−z) z^s / (z+1−s − 1(1−s)/(z+3−s − …))` (DLMF 8.9.2, Lentz's method).
///
/// Domain: `z = u^k` of at least about 2, where the fraction converges fast.
pub(crate) fn unit_mean_beyond(shape: f64, ln_u: f64) -> f64 {
    let s = 1.0 / shape;
    let z = (shape * ln_u).exp();
    if z > 745.0 {
        return 0.0;
    }
    let tiny = 1e-300;
    let mut b = z + 1.0 - s;
    let mut c = 1.0 / tiny;
    let mut d = 1.0 / b;
    let mut h = d;
    for i in 1..500 {
        let i = f64::from(i);
        let an = -i * (i - s);
        b += 2.0;
        d = an * d + b;
        if d.abs() < tiny {
            d = tiny;
        }
        c = b + an / c;
        if c.abs() < tiny {
            c = tiny;
        }
        d = 1.0 / d;
        let step = d * c;
        h *= step;
        if (step - 1.0).abs() < 1e-16 {
            break;
        }
    }
    s * (s * z.ln() - z).exp() * h
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_to_a_usage_is_known_for_the_exponential() {
        let life = Weibull::new(1.0, 100.0).unwrap();
        for t in [1e-6, 0.5, 10.0, 100.0, 300.0, 900.0, 1e5] {
            let want = -100.0 * (-t / 100.0_f64).exp_m1();
            assert!((life.mean_to(t) / want - 1.0).abs() < 1e-13, "{t}");
        }
        assert!((life.mean_to(f64::INFINITY) - life.mean()).abs() < 1e-10);
    }

    #[test]
    fn the_mean_to_a_usage_joins_where_series_and_fraction_meet() {
        for shape in [0.3, 0.7, 1.3, 2.0, 5.0, 50.0] {
            let life = Weibull::new(shape, 1.0).unwrap();
            let seam = (1.0 / shape + 2.0).powf(1.0 / shape);
            let (below, above) = (
                life.mean_to(seam * (1.0 - 1e-9)),
                life.mean_to(seam * (1.0 + 1e-9)),
            );
            let slope = life.reliability(seam) * seam * 2e-9;
            assert!((above - below - slope).abs() < 1e-12 * above, "{shape}");
        }
    }

    #[test]
    fn quantile_and_share_undo_each_other() {
        let life = Weibull::new(80.0, 20_000.0).unwrap();
        for p in [1e-9, 0.01, 0.5, 0.999] {
            assert!((life.failed_by(life.life_at(p)) / p - 1.0).abs() < 1e-12);
        }
    }
}
