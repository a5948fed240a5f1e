//! A fitted life distribution of any model.
//!
//! In: parameters. Out: reliability, quantiles, hazard, mean. Never: data.
//!
//! Sources: IEC 61649:2008 (Weibull); NIST/SEMATECH e-Handbook 8.1.6.2 (Weibull, with
//! location), 8.1.6.4 (lognormal).

use statrs::function::erf::erfc;

use super::numeric::normal_quantile;
use super::weibull::Weibull;

/// A life whose logarithm is normal with mean `mu` and standard deviation `sigma`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lognormal {
    pub mu: f64,
    pub sigma: f64,
}

impl Lognormal {
    fn z(&self, t: f64) -> f64 {
        (t.ln() - self.mu) / self.sigma
    }

    /// Share that survives usage `t`: `Φ(−(ln t − mu)/sigma)`; 1 at or below 0.
    pub fn reliability(&self, t: f64) -> f64 {
        if t <= 0.0 {
            1.0
        } else {
            0.5 * erfc(self.z(t) / std::f64::consts::SQRT_2)
        }
    }

    /// Share that has failed by usage `t`, exact for small shares.
    pub fn failed_by(&self, t: f64) -> f64 {
        if t <= 0.0 {
            0.0
        } else {
            0.5 * erfc(-self.z(t) / std::f64::consts::SQRT_2)
        }
    }

    /// Hazard rate per unit of usage at `t > 0`.
    pub fn hazard(&self, t: f64) -> f64 {
        let z = self.z(t);
        (super::family::normal_hazard(z).ln() - (self.sigma * t).ln()).exp()
    }

    /// Usage by which a share `p` in (0, 1) has failed: `exp(mu + sigma·Φ⁻¹(p))`.
    pub fn life_at(&self, p: f64) -> f64 {
        (self.mu + self.sigma * normal_quantile(p)).exp()
    }

    /// Mean life `exp(mu + sigma²/2)`.
    pub fn mean(&self) -> f64 {
        (self.mu + 0.5 * self.sigma * self.sigma).exp()
    }
}

/// A life distribution of any model; usage in the sample's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    Weibull(Weibull),
    /// Nothing fails before `location`; the usage beyond it is Weibull.
    Weibull3 {
        location: f64,
        beyond: Weibull,
    },
    Lognormal(Lognormal),
}

impl Distribution {
    /// Share that survives usage `t`.
    pub fn reliability(&self, t: f64) -> f64 {
        match self {
            Distribution::Weibull(life) => life.reliability(t),
            Distribution::Weibull3 { location, beyond } => beyond.reliability(t - location),
            Distribution::Lognormal(life) => life.reliability(t),
        }
    }

    /// Share that has failed by usage `t`, exact for small shares.
    pub fn failed_by(&self, t: f64) -> f64 {
        match self {
            Distribution::Weibull(life) => life.failed_by(t),
            Distribution::Weibull3 { location, beyond } => beyond.failed_by(t - location),
            Distribution::Lognormal(life) => life.failed_by(t),
        }
    }

    /// Hazard rate per unit of usage at `t > 0`.
    pub fn hazard(&self, t: f64) -> f64 {
        match self {
            Distribution::Weibull(life) => life.hazard(t),
            Distribution::Weibull3 { location, .. } if t <= *location => 0.0,
            Distribution::Weibull3 { location, beyond } => beyond.hazard(t - location),
            Distribution::Lognormal(life) => life.hazard(t),
        }
    }

    /// Usage by which a share `p` in (0, 1) has failed.
    pub fn life_at(&self, p: f64) -> f64 {
        match self {
            Distribution::Weibull(life) => life.life_at(p),
            Distribution::Weibull3 { location, beyond } => location + beyond.life_at(p),
            Distribution::Lognormal(life) => life.life_at(p),
        }
    }

    /// Mean life.
    pub fn mean(&self) -> f64 {
        match self {
            Distribution::Weibull(life) => life.mean(),
            Distribution::Weibull3 { location, beyond } => location + beyond.mean(),
            Distribution::Lognormal(life) => life.mean(),
        }
    }
}
