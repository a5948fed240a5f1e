//! One stretch of the shape axis: the density at its ten quadrature nodes, and its integral
//! from the start to any point between, without another look at the likelihood.
//!
//! In: density at the nodes of [`GAUSS_10`]. Out: [`Panel`]. Never: a likelihood.
//!
//! The polynomial of degree 9 through the nodes, as a Legendre series: with
//! `c_n = (2n+1)/2 Σ w_j y_j P_n(x_j)` its integral from −1 to `x` is
//! `c_0(x + 1) + Σ c_n (P_{n+1}(x) − P_{n−1}(x))/(2n+1)` (DLMF 18.9.7 and 18.3).

use crate::model::numeric::GAUSS_10;

/// A stretch of ln shape with the density on it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Panel {
    pub from: f64,
    pub to: f64,
    /// Probability below `from`.
    pub below: f64,
    pub mass: f64,
    /// Legendre coefficients of the density, on (−1, 1).
    series: [f64; 10],
}

/// `P_0 … P_10` at `x`, by the three-term recurrence.
fn legendre(x: f64) -> [f64; 11] {
    let mut p = [1.0, x, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    for n in 1..10 {
        let m = n as f64;
        p[n + 1] = ((2.0 * m + 1.0) * x * p[n] - m * p[n - 1]) / (m + 1.0);
    }
    p
}

impl Panel {
    /// A panel with the density at its nodes, in their order; `below` is the mass before it.
    pub fn new(from: f64, to: f64, below: f64, density: &[f64; 10]) -> Self {
        let half = 0.5 * (to - from);
        let mut series = [0.0; 10];
        for ((x, w), y) in GAUSS_10.into_iter().zip(density) {
            let p = legendre(x);
            for (n, c) in series.iter_mut().enumerate() {
                *c += (n as f64 + 0.5) * w * y * p[n];
            }
        }
        Panel {
            from,
            to,
            below,
            mass: 2.0 * half * series[0],
            series,
        }
    }

    /// The same with all masses divided.
    pub fn over(mut self, total: f64) -> Self {
        self.below /= total;
        self.mass /= total;
        for c in &mut self.series {
            *c /= total;
        }
        self
    }

    /// Mass from the panel's start to `b`, which lies on it.
    pub fn mass_to(&self, b: f64) -> f64 {
        let half = 0.5 * (self.to - self.from);
        let x = (b - self.from) / half - 1.0;
        let p = legendre(x);
        let mut sum = self.series[0] * (x + 1.0);
        for n in 1..10 {
            sum += self.series[n] * (p[n + 1] - p[n - 1]) / (2.0 * n as f64 + 1.0);
        }
        half * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_integral_of_a_bell_is_right_at_every_point() {
        let (from, to) = (-0.4, 0.9);
        let half = 0.5 * (to - from);
        let bell = |b: f64| (-0.5 * b * b).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let density = GAUSS_10.map(|(x, _)| bell(from + half * (1.0 + x)));
        let panel = Panel::new(from, to, 0.0, &density);
        let normal = |b: f64| 0.5 * statrs::function::erf::erfc(-b / std::f64::consts::SQRT_2);
        for b in [-0.4, -0.2, 0.0, 0.33, 0.7, 0.9] {
            let want = normal(b) - normal(from);
            assert!((panel.mass_to(b) - want).abs() < 1e-10, "{b}");
        }
        assert!((panel.mass - (normal(to) - normal(from))).abs() < 1e-10);
    }
}
