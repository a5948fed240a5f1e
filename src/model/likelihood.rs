//! The likelihood of a sample under either family, with its first and second derivatives.
//!
//! In: a [`Sample`] and a [`Family`]. Out: [`Likelihood`], which is evaluated at
//! `(a, b) = (ln scale, ln shape)`; for the lognormal `a = mu`, `b = −ln sigma`.
//! Never: searching (see `fit`).
//!
//! Per life, with `z = k(ln t − a)` and the family's cumulative hazard `H(z)`:
//! failure at `t`: `b − ln t + ln h(z) − H`; suspension at `t`: `−H`;
//! window `(lo, hi]`: `−H(lo) + ln(1 − e^(−(H(hi) − H(lo))))`;
//! watched only from entry age `e` on: `+ H(e)` (left truncation).
//! Densities are on the original usage scale, constants kept.
//! Source: W. Q. Meeker & L. A. Escobar, *Statistical Methods for Reliability Data*
//! (1998), chapters 2, 8 and 11.

use super::family::{Family, LN_SQRT_2PI, normal_cumulative_hazard, normal_hazard};
use super::slice::Powers;
use crate::life::{End, Sample};

/// Value and derivatives of a log-likelihood at a point `(a, b)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    pub value: f64,
    /// First derivatives in `a = ln scale` and `b = ln shape`.
    pub gradient: [f64; 2],
    /// Second derivatives `aa`, `ab`, `bb`.
    pub curvature: [f64; 3],
}

/// A hazard term: `weight · H(t)` is taken off the log-likelihood.
#[derive(Debug, Clone, Copy)]
struct Term {
    ln_t: f64,
    weight: f64,
}

/// A failure known only to lie between two usages; `ln_lo` is −∞ for a window from 0.
#[derive(Debug, Clone, Copy)]
struct Window {
    ln_lo: f64,
    ln_hi: f64,
    count: f64,
}

/// A sample made ready for repeated evaluation.
///
/// Usages are held as logs less `shift` (log of the longest usage), so that powers
/// neither overflow nor lose digits whatever the unit.
#[derive(Debug, Clone)]
pub struct Likelihood {
    family: Family,
    terms: Vec<Term>,
    windows: Vec<Window>,
    exact: f64,
    sum_ln_failures: f64,
    /// Squared distances of the exact failures' logs from their mean.
    spread_ln_failures: f64,
    shift: f64,
    ln_middle: f64,
    has_entries: bool,
}

/// Sums over the closed-form terms at one shape: `S = Σ w t^k`, `Σ w t^k ln t`, `Σ w t^k ln² t`.
#[derive(Debug, Clone, Copy)]
pub struct PowerSums {
    pub s0: f64,
    pub s1: f64,
    pub s2: f64,
}

impl Likelihood {
    /// The Weibull likelihood.
    pub fn new(sample: &Sample) -> Self {
        Self::of(sample, Family::Weibull)
    }

    /// The likelihood under a family.
    pub fn of(sample: &Sample, family: Family) -> Self {
        let longest = sample
            .lives()
            .iter()
            .map(|l| l.last_usage())
            .fold(0.0, f64::max);
        let shift = if longest > 0.0 { longest.ln() } else { 0.0 };
        let mut terms = Vec::with_capacity(sample.lives().len());
        let mut windows = Vec::new();
        let mut exact = 0.0;
        let mut sum_ln_failures = 0.0;
        let mut has_entries = false;
        for life in sample.lives() {
            let count = f64::from(life.count);
            let entered = life.entry > 0.0;
            has_entries |= entered;
            let mut take = |t: f64, weight: f64| {
                if t > 0.0 {
                    terms.push(Term {
                        ln_t: t.ln() - shift,
                        weight,
                    });
                }
            };
            match life.end {
                End::Failure { at } => {
                    exact += count;
                    sum_ln_failures += count * (at.ln() - shift);
                    // A Weibull density is hazard times reliability; a normal one is not split.
                    if family == Family::Weibull {
                        take(at, count);
                    }
                    take(life.entry, -count);
                }
                End::Suspension { at } => {
                    take(at, count);
                    take(life.entry, -count);
                }
                End::Interval { lo, hi } => {
                    take(lo, count);
                    take(life.entry, -count);
                    windows.push(Window {
                        ln_lo: lo.ln() - shift,
                        ln_hi: hi.ln() - shift,
                        count,
                    });
                }
                End::Left { hi } => {
                    // From the entry age on: −H(entry) + H(entry) cancels.
                    windows.push(Window {
                        ln_lo: life.entry.ln() - shift,
                        ln_hi: hi.ln() - shift,
                        count,
                    });
                }
            }
        }
        let weighted: f64 = sample
            .lives()
            .iter()
            .map(|l| f64::from(l.count) * (l.last_usage().ln() - shift))
            .sum();
        let mean_ln = if exact > 0.0 {
            sum_ln_failures / exact
        } else {
            0.0
        };
        let spread_ln_failures = sample
            .lives()
            .iter()
            .filter_map(|l| match l.end {
                End::Failure { at } => {
                    Some(f64::from(l.count) * (at.ln() - shift - mean_ln).powi(2))
                }
                _ => None,
            })
            .sum();
        Likelihood {
            family,
            spread_ln_failures,
            ln_middle: weighted / sample.count().max(1) as f64,
            terms: merge_ties(terms),
            windows,
            exact,
            sum_ln_failures,
            shift,
            has_entries,
        }
    }

    pub fn family(&self) -> Family {
        self.family
    }

    /// True where the scale integrates and maximises out in closed form: Weibull, no windows.
    pub fn is_closed(&self) -> bool {
        self.family == Family::Weibull && self.windows.is_empty()
    }

    pub fn has_entries(&self) -> bool {
        self.has_entries
    }

    /// Failures known exactly.
    pub fn exact_failures(&self) -> f64 {
        self.exact
    }

    /// Log of the longest usage; internal logs are less this.
    pub fn shift(&self) -> f64 {
        self.shift
    }

    /// Internal log of the geometric mean of the lives' last usages.
    pub fn ln_middle(&self) -> f64 {
        self.ln_middle
    }

    /// Sum of internal logs of the exact failures.
    pub fn sum_ln_failures(&self) -> f64 {
        self.sum_ln_failures
    }

    /// The power sums at shape `k`, over internal usages.
    pub fn power_sums(&self, k: f64) -> PowerSums {
        let mut sums = PowerSums {
            s0: 0.0,
            s1: 0.0,
            s2: 0.0,
        };
        for term in &self.terms {
            let p = term.weight * (k * term.ln_t).exp();
            let p1 = p * term.ln_t;
            sums.s0 += p;
            sums.s1 += p1;
            sums.s2 += p1 * term.ln_t;
        }
        sums
    }

    /// `Σ w t^k` alone.
    pub fn power_sum(&self, k: f64) -> f64 {
        self.terms
            .iter()
            .map(|term| term.weight * (k * term.ln_t).exp())
            .sum()
    }

    /// Log-likelihood at `a` (internal log scale: true log less [`Self::shift`]) and `b`.
    pub fn value(&self, a: f64, b: f64) -> f64 {
        let k = b.exp();
        let mut value = self.failures_value(a, b, k);
        match self.family {
            Family::Weibull => {
                for term in &self.terms {
                    value -= term.weight * (k * (term.ln_t - a)).exp();
                }
            }
            Family::Lognormal => {
                for term in &self.terms {
                    value -= term.weight * normal_cumulative_hazard(k * (term.ln_t - a));
                }
            }
        }
        for window in &self.windows {
            value += window.count * ln_one_less_exp(window.gap(self.family, a, k));
        }
        value
    }

    /// The likelihood at one `b` as powers of the usages; `None` where the family has no such
    /// form, or where the powers would leave the reach of doubles.
    pub(super) fn powers(&self, b: f64) -> Option<Powers> {
        let k = b.exp();
        let shortest = self
            .terms
            .iter()
            .map(|term| term.ln_t)
            .chain(self.windows.iter().map(|window| window.ln_hi))
            .fold(0.0, f64::min);
        if self.family != Family::Weibull || -k * shortest > 300.0 {
            return None;
        }
        Some(Powers {
            base: self.failures_value(0.0, b, k),
            exact: self.exact,
            power: self.power_sum(k),
            gaps: self
                .windows
                .iter()
                .map(|window| (window.gap(self.family, 0.0, k), window.count))
                .collect(),
        })
    }

    /// What the exact failures bring beside their hazard terms.
    fn failures_value(&self, a: f64, b: f64, k: f64) -> f64 {
        match self.family {
            Family::Weibull => {
                self.exact * (b - k * a) + (k - 1.0) * self.sum_ln_failures
                    - self.exact * self.shift
            }
            Family::Lognormal => {
                self.exact * (b - self.shift - LN_SQRT_2PI)
                    - self.sum_ln_failures
                    - 0.5 * k * k * self.squares(a).0
            }
        }
    }

    /// `Σ (ln t − a)²` and `Σ (ln t − a)` over the exact failures.
    fn squares(&self, a: f64) -> (f64, f64) {
        if self.exact == 0.0 {
            return (0.0, 0.0);
        }
        let gap = self.sum_ln_failures / self.exact - a;
        (
            self.spread_ln_failures + self.exact * gap * gap,
            self.exact * gap,
        )
    }

    /// Log-likelihood with gradient and curvature, at internal log scale `a` and `b`.
    pub fn slope(&self, a: f64, b: f64) -> Slope {
        match self.family {
            Family::Weibull => self.slope_with(a, b, |z| {
                let h = z.exp();
                [h, h, h]
            }),
            Family::Lognormal => self.slope_with(a, b, |z| {
                let rate = normal_hazard(z);
                [normal_cumulative_hazard(z), rate, rate * (rate - z)]
            }),
        }
    }

    /// `hazard` gives `H(z)`, `H'(z)` and `H''(z)`.
    #[inline]
    fn slope_with(&self, a: f64, b: f64, hazard: impl Fn(f64) -> [f64; 3]) -> Slope {
        let k = b.exp();
        let mut value = self.failures_value(a, b, k);
        let (mut ga, mut gb, mut haa, mut hab, mut hbb);
        match self.family {
            Family::Weibull => {
                let sum_z = k * (self.sum_ln_failures - self.exact * a);
                (ga, gb) = (-k * self.exact, self.exact + sum_z);
                (haa, hab, hbb) = (0.0, -k * self.exact, sum_z);
            }
            Family::Lognormal => {
                let (squares, sum) = self.squares(a);
                (ga, gb) = (k * k * sum, self.exact - k * k * squares);
                haa = -k * k * self.exact;
                (hab, hbb) = (2.0 * ga, -2.0 * k * k * squares);
            }
        }
        for term in &self.terms {
            let z = k * (term.ln_t - a);
            let [h, h1, h2] = hazard(z).map(|x| term.weight * x);
            value -= h;
            ga += k * h1;
            gb -= z * h1;
            haa -= k * k * h2;
            hab += k * (z * h2 + h1);
            hbb -= z * (z * h2 + h1);
        }
        for window in &self.windows {
            let gap = window.gap(self.family, a, k);
            let lo = edge(&hazard, window.ln_lo, a, k);
            let hi = edge(&hazard, window.ln_hi, a, k);
            let [da, db] = [hi.0[0] - lo.0[0], hi.0[1] - lo.0[1]];
            let [daa, dab, dbb] = [hi.1[0] - lo.1[0], hi.1[1] - lo.1[1], hi.1[2] - lo.1[2]];
            // g(D) = ln(1 − e^(−D)): g' = 1/(e^D − 1), g'' = −g'(1 + g').
            let g1 = 1.0 / gap.exp_m1();
            let g2 = -g1 * (1.0 + g1);
            let c = window.count;
            value += c * ln_one_less_exp(gap);
            if g1 == 0.0 {
                continue;
            }
            ga += c * g1 * da;
            gb += c * g1 * db;
            haa += c * (g1 * daa + g2 * da * da);
            hab += c * (g1 * dab + g2 * da * db);
            hbb += c * (g1 * dbb + g2 * db * db);
        }
        Slope {
            value,
            gradient: [ga, gb],
            curvature: [haa, hab, hbb],
        }
    }
}

impl Window {
    /// `H(hi) − H(lo)`, without cancellation where the two are close.
    fn gap(&self, family: Family, a: f64, k: f64) -> f64 {
        let z_hi = k * (self.ln_hi - a);
        let z_lo = k * (self.ln_lo - a);
        let narrow = z_hi - z_lo;
        let from_new = self.ln_lo == f64::NEG_INFINITY;
        match family {
            Family::Weibull if from_new => z_hi.exp(),
            Family::Weibull if narrow < 1.0 => z_lo.exp() * narrow.exp_m1(),
            Family::Weibull => z_hi.exp() - z_lo.exp(),
            Family::Lognormal if from_new => normal_cumulative_hazard(z_hi),
            // Simpson's rule over the hazard, of fourth order in so short a stretch.
            Family::Lognormal if narrow < 1e-3 => {
                narrow / 6.0
                    * (normal_hazard(z_lo)
                        + 4.0 * normal_hazard(0.5 * (z_lo + z_hi))
                        + normal_hazard(z_hi))
            }
            Family::Lognormal => normal_cumulative_hazard(z_hi) - normal_cumulative_hazard(z_lo),
        }
    }
}

/// Derivatives of `H` at one edge of a window, in `a` and `b`: first and second.
#[inline]
fn edge(hazard: &impl Fn(f64) -> [f64; 3], ln_t: f64, a: f64, k: f64) -> ([f64; 2], [f64; 3]) {
    if ln_t == f64::NEG_INFINITY {
        return ([0.0; 2], [0.0; 3]);
    }
    let z = k * (ln_t - a);
    let [h, h1, h2] = hazard(z);
    if h == f64::INFINITY {
        // Beyond the reach of doubles; the window's own weight is 0 there.
        return ([0.0; 2], [0.0; 3]);
    }
    (
        [-k * h1, z * h1],
        [k * k * h2, -k * (z * h2 + h1), z * (z * h2 + h1)],
    )
}

/// `ln(1 − e^(−d))` for `d > 0`; −∞ at 0.
pub(super) fn ln_one_less_exp(d: f64) -> f64 {
    if d > std::f64::consts::LN_2 {
        (-(-d).exp()).ln_1p()
    } else {
        (-(-d).exp_m1()).ln()
    }
}

/// Adds the weights of equal usages together: tied ages cost one power, not many.
fn merge_ties(mut terms: Vec<Term>) -> Vec<Term> {
    terms.sort_by(|x, y| x.ln_t.total_cmp(&y.ln_t));
    terms.dedup_by(|next, kept| {
        let same = next.ln_t == kept.ln_t;
        if same {
            kept.weight += next.weight;
        }
        same
    });
    terms.retain(|term| term.weight != 0.0);
    terms
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::Life;

    fn mixed(family: Family) -> Likelihood {
        let lives = vec![
            Life {
                entry: 100.0,
                end: End::Failure { at: 900.0 },
                count: 2,
            },
            Life::failure(410.0),
            Life::suspension(1_500.0),
            Life {
                entry: 300.0,
                end: End::Interval {
                    lo: 700.0,
                    hi: 1_200.0,
                },
                count: 1,
            },
            Life {
                entry: 0.0,
                end: End::Left { hi: 500.0 },
                count: 3,
            },
            Life {
                entry: 250.0,
                end: End::Left { hi: 600.0 },
                count: 1,
            },
        ];
        Likelihood::of(&Sample::new(lives).unwrap(), family)
    }

    /// Central differences of the value judge the gradient, those of the gradient the curvature.
    #[test]
    fn derivatives_agree_with_differences() {
        let step = 1e-5;
        for (family, a, b) in [Family::Weibull, Family::Lognormal]
            .into_iter()
            .flat_map(|f| [(f, 0.0, 0.3), (f, -0.6, 1.2), (f, 0.9, -0.7)])
        {
            let likelihood = mixed(family);
            let here = likelihood.slope(a, b);
            assert!((here.value - likelihood.value(a, b)).abs() < 1e-12);
            for (n, (da, db)) in [(step, 0.0), (0.0, step)].into_iter().enumerate() {
                let ahead = likelihood.slope(a + da, b + db);
                let behind = likelihood.slope(a - da, b - db);
                let slope = (ahead.value - behind.value) / (2.0 * step);
                assert!((slope - here.gradient[n]).abs() < 1e-6 * (1.0 + slope.abs()));
                for m in 0..2 {
                    let bend = (ahead.gradient[m] - behind.gradient[m]) / (2.0 * step);
                    let got = here.curvature[n + m];
                    assert!(
                        (bend - got).abs() < 1e-6 * (1.0 + bend.abs()),
                        "{n}{m} {bend} {got}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_change_of_unit_shifts_the_scale_and_nothing_else() {
        let hours = [
            Life::failure(50.0),
            Life::failure(80.0),
            Life::suspension(120.0),
        ];
        let seconds: Vec<Life> = [50.0, 80.0]
            .iter()
            .map(|t| Life::failure(t * 3600.0))
            .chain([Life::suspension(120.0 * 3600.0)])
            .collect();
        let one = Likelihood::new(&Sample::new(hours.to_vec()).unwrap());
        let other = Likelihood::new(&Sample::new(seconds).unwrap());
        let drop = 2.0 * 3600.0_f64.ln();
        assert!((one.value(0.1, 0.5) - other.value(0.1, 0.5) - drop).abs() < 1e-10);
    }
}
