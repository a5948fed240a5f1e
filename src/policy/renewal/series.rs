//! The Weibull renewal function near 0, as a power series in `t^shape`.
//!
//! In: a shape at unit scale. Out: [`Series`]. Never: usages beyond about one scale.
//!
//! `M(t) = Σ (−1)^(n−1) b_n t^(n·shape)` with `b_n = 1/n! − Σ_{j<n} B(n, j) b_{n−j} / j!` and
//! `B(n, j) = Γ(j·shape + 1) Γ((n−j)·shape + 1) / Γ(n·shape + 1)`.
//! Source: W. L. Smith & M. R. Leadbetter, *Technometrics* 5 (1963) 393-396, whose `A_n` is
//! `b_n Γ(n·shape + 1)`.

use statrs::function::gamma::ln_gamma;

const TERMS: usize = 40;

#[derive(Debug, Clone)]
pub(super) struct Series {
    shape: f64,
    /// Signs included.
    terms: [f64; TERMS],
}

impl Series {
    pub fn new(shape: f64) -> Self {
        let ln: Vec<f64> = (0..=TERMS)
            .map(|n| ln_gamma(n as f64 * shape + 1.0))
            .collect();
        let mut inverse = vec![1.0; TERMS + 1];
        for n in 1..=TERMS {
            inverse[n] = inverse[n - 1] / n as f64;
        }
        let mut b = vec![0.0; TERMS + 1];
        for n in 1..=TERMS {
            let taken: f64 = (1..n)
                .map(|j| inverse[j] * b[n - j] * (ln[j] + ln[n - j] - ln[n]).exp())
                .sum();
            b[n] = inverse[n] - taken;
        }
        Series {
            shape,
            terms: std::array::from_fn(|n| if n % 2 == 0 { b[n + 1] } else { -b[n + 1] }),
        }
    }

    /// `M(t)`. Domain: `0 <= t`, `t^shape` at most about 1.
    pub fn value(&self, t: f64) -> f64 {
        let z = t.powf(self.shape);
        let mut sum = 0.0;
        let mut power = z;
        for term in self.terms {
            let part = term * power;
            sum += part;
            if part.abs() < 1e-18 * sum {
                break;
            }
            power *= z;
        }
        sum
    }

    /// `dM/dt` at `t > 0`.
    pub fn slope(&self, t: f64) -> f64 {
        let z = t.powf(self.shape);
        let mut sum = 0.0;
        let mut power = z;
        for (n, term) in self.terms.iter().enumerate() {
            sum += (n + 1) as f64 * term * power;
            power *= z;
        }
        sum * self.shape / t
    }
}
