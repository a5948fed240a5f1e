//! What is left of a life that has run some usage already, at unit scale.
//!
//! In: a shape, an age. Out: [`Residual`]: its density, the share failed, and stretches on which
//! a rule may integrate it. Never: what comes after.

/// The rest of a life that has reached `age`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Residual {
    shape: f64,
    age: f64,
    /// Cumulative hazard at the age.
    hazard: f64,
}

/// Cumulative hazard beyond which an item has failed for all that a double can tell.
const SPENT: f64 = 1e12;

/// Shares smaller than e to this power are left out.
const NEGLIGIBLE: f64 = -45.0;

impl Residual {
    pub fn new(shape: f64, age: f64) -> Self {
        Residual {
            shape,
            age,
            hazard: age.max(0.0).powf(shape),
        }
    }

    /// True for an item so old that it cannot be expected to run at all.
    pub fn is_spent(&self) -> bool {
        self.hazard.is_nan() || self.hazard > SPENT
    }

    /// Log of the share that runs `s` more.
    fn ln_left(&self, s: f64) -> f64 {
        if s < self.age {
            // The difference of two powers, without cancellation.
            -self.hazard * (self.shape * (s / self.age).ln_1p()).exp_m1()
        } else {
            self.hazard - (self.age + s).powf(self.shape)
        }
    }

    /// Density of the remaining life at `s`.
    pub fn density(&self, s: f64) -> f64 {
        let rate = self.shape * (self.age + s).powf(self.shape - 1.0);
        rate * self.ln_left(s).exp()
    }

    /// Share that fails within `s` more.
    pub fn failed(&self, s: f64) -> f64 {
        -self.ln_left(s).exp_m1()
    }

    /// Stretches of `(0, end)` on each of which this density and `g(t − s)` are smooth, where
    /// `g(u)` is a polynomial on panels of `width` and, if `powers`, goes as a power of `u`
    /// near 0.
    pub fn stretches(&self, t: f64, end: f64, width: f64, powers: bool) -> Vec<(f64, f64)> {
        let mut marks = vec![0.0, end];
        // Panels counted back from t, as far as anything is left.
        let mut u = (t / width).floor() * width;
        while u > 0.5 * width {
            let s = t - u;
            if s > end || self.ln_left(s) < NEGLIGIBLE {
                break;
            }
            marks.push(s);
            u -= width;
        }
        let mut u = width / 3.0;
        while powers && u > 1e-9 * width {
            marks.push(t - u);
            u /= 3.0;
        }
        // A young age's singularity lies just before 0; a high hazard ends it all soon.
        let hazard_rate = self.shape * self.age.powf(self.shape - 1.0);
        for first in [self.age, hazard_rate.recip()] {
            let mut s = first;
            while s > 0.0 && s < width {
                marks.push(s);
                s *= 3.0;
            }
        }
        marks.retain(|m| *m >= 0.0 && *m <= end);
        marks.sort_by(f64::total_cmp);
        marks.dedup();
        let pairs = marks.windows(2).map(|w| (w[0], w[1]));
        pairs
            .filter(|(from, _)| self.ln_left(*from) > NEGLIGIBLE)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::mesh::{Rule, smooth};
    use super::*;

    #[test]
    fn the_density_adds_up_to_the_share_failed() {
        for shape in [0.3, 1.0, 2.5, 20.0] {
            for age in [1e-6, 0.2, 1.0, 4.0] {
                let residual = Residual::new(shape, age);
                if residual.is_spent() {
                    continue;
                }
                let width = (1.0_f64 / shape).min(0.25);
                for end in [0.01, 0.4, 1.7] {
                    let mut sum = 0.0;
                    for (a, b) in residual.stretches(2.0, end, width, true) {
                        smooth(Rule::Fine, a, b, |s, w| sum += w * residual.density(s));
                    }
                    let want = residual.failed(end);
                    assert!(
                        (sum - want).abs() < 1e-11,
                        "{shape} {age} {end}: {sum} {want}"
                    );
                }
            }
        }
    }
}
