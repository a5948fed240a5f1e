//! The likelihood along ln scale at one shape, made ready for many evaluations.
//!
//! In: a likelihood and a `b = ln shape`. Out: [`Slice`]: values, slopes and the peak in `a`.
//! Never: another shape.
//!
//! With the shape held, `H(t) = t^k·e^(−ka)`: every power is taken once, hazard terms add up to
//! one sum, and what is left at each `a` is one exponential and two functions a window. Posteriors
//! ask for some hundred values of `a` at some hundred shapes. The lognormal has no such form.

use super::likelihood::{Likelihood, ln_one_less_exp};

/// The log-likelihood as a function of `a` alone.
pub(super) struct Slice<'a> {
    k: f64,
    form: Form<'a>,
}

enum Form<'a> {
    Powers(Powers),
    Whole { likelihood: &'a Likelihood, b: f64 },
}

/// `base − exact·k·a − power·E + Σ count·ln(1 − e^(−gap·E))` with `E = e^(−ka)`.
pub(super) struct Powers {
    pub base: f64,
    pub exact: f64,
    /// `Σ w t^k` over the hazard terms.
    pub power: f64,
    /// `hi^k − lo^k` of each window, and its count.
    pub gaps: Vec<(f64, f64)>,
}

impl<'a> Slice<'a> {
    /// The slice at `b`.
    pub fn new(likelihood: &'a Likelihood, b: f64) -> Self {
        let k = b.exp();
        let form = match likelihood.powers(b) {
            Some(powers) => Form::Powers(powers),
            None => Form::Whole { likelihood, b },
        };
        Slice { k, form }
    }

    /// How far `a` has to go for a cumulative hazard to change by the factor e.
    pub fn unit(&self) -> f64 {
        1.0 / self.k
    }

    /// Log-likelihood at `a`.
    pub fn value(&self, a: f64) -> f64 {
        let powers = match &self.form {
            Form::Whole { likelihood, b } => return likelihood.value(a, *b),
            Form::Powers(powers) => powers,
        };
        let e = (-self.k * a).exp();
        let mut value = powers.hazard_free(self.k * a) - powers.taken(e);
        for (gap, count) in &powers.gaps {
            value += count * ln_one_less_exp(gap * e);
        }
        value
    }

    /// Log-likelihood at `a` with its first and second derivative.
    pub fn slope(&self, a: f64) -> [f64; 3] {
        let powers = match &self.form {
            Form::Whole { likelihood, b } => {
                let slope = likelihood.slope(a, *b);
                return [slope.value, slope.gradient[0], slope.curvature[0]];
            }
            Form::Powers(powers) => powers,
        };
        let e = (-self.k * a).exp();
        let taken = powers.taken(e);
        let mut value = powers.hazard_free(self.k * a) - taken;
        // In z = −ka, by which every hazard grows as e^z.
        let (mut first, mut second) = (powers.exact - taken, -taken);
        for (gap, count) in &powers.gaps {
            let d = gap * e;
            value += count * ln_one_less_exp(d);
            let g1 = 1.0 / d.exp_m1();
            if g1 > 0.0 {
                first += count * d * g1;
                second += count * d * g1 * (1.0 - d * (1.0 + g1));
            }
        }
        [value, -self.k * first, self.k * self.k * second]
    }

    /// The `a` of the peak, by Newton on a concave function: the damped step always rises.
    pub fn best(&self) -> f64 {
        let mut a = 0.0;
        let mut here = self.slope(a);
        // 1e-13 of a log scale is past use.
        for _ in 0..200 {
            let mut step = -here[1] / here[2];
            if !step.is_finite() || here[2] >= 0.0 {
                step = here[1].signum() / self.k;
            }
            step = step.clamp(-2.0, 2.0);
            let mut next = self.slope(a + step);
            while (next[0].is_nan() || next[0] < here[0] - 1e-12 * here[0].abs())
                && step.abs() > 1e-14
            {
                step *= 0.25;
                next = self.slope(a + step);
            }
            a += step;
            here = next;
            if step.abs() < 1e-12 {
                break;
            }
        }
        a
    }
}

impl Powers {
    fn hazard_free(&self, ka: f64) -> f64 {
        self.base - self.exact * ka
    }

    /// `power·E`; without hazard terms 0, though E be infinite.
    fn taken(&self, e: f64) -> f64 {
        if self.power == 0.0 {
            0.0
        } else {
            self.power * e
        }
    }
}
