//! Competing failure modes: a fit a mode, and what they make together.
//!
//! In: lives with the mode each failed by. Out: [`ModeFits`], [`Combined`], [`ModeRate`].
//! Never: a mode left out in silence; a verdict in words.
//!
//! Each mode has a life of its own; an item fails by the first that comes. Fitting one mode
//! makes failures by the others suspensions; with independent modes the likelihood falls into
//! one factor a mode. `R_all = Π R_m`, `F_m(T) = ∫₀ᵀ h_m R_all dt`.
//! Source: Meeker & Escobar, *Statistical Methods for Reliability Data* (1998), 15.4;
//! Nelson, *Applied Life Data Analysis* (1982), chapter 5; Barlow & Proschan, *Mathematical
//! Theory of Reliability* (1965), chapter 3 (age renewal).

use std::collections::HashMap;

use super::fit::{FitError, WeibullFit, fit_weibull};
use super::numeric::{GAUSS_10, root};
use super::weibull::Weibull;
use crate::life::{End, Life, Sample};

/// One mode's own life.
#[derive(Debug, Clone, PartialEq)]
pub struct ModeFit {
    /// `None`: failures whose mode was not stated, taken as a mode of their own, since leaving
    /// them out would make the whole too reliable.
    pub mode: Option<String>,
    /// Failures by this mode, exact or within a window.
    pub failures: u64,
    /// The fit with all other failures as suspensions, or why there is none.
    pub fit: Result<WeibullFit, FitError>,
}

/// A fit of every mode that occurs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ModeFits {
    /// In order of first appearance; failures without a mode last.
    pub modes: Vec<ModeFit>,
}

/// The life as a fit of `wanted` sees it: a failure by another mode is a suspension at the last
/// usage at which the item was sound. `None` where that leaves nothing watched.
pub fn life_of_mode(life: &Life, mode: Option<&str>, wanted: Option<&str>) -> Option<Life> {
    let at = match life.end {
        _ if !life.failed() || mode == wanted => return Some(*life),
        End::Failure { at } | End::Suspension { at } => at,
        End::Interval { lo, .. } => lo,
        End::Left { .. } => return None,
    };
    (at > life.entry).then_some(Life {
        end: End::Suspension { at },
        ..*life
    })
}

impl ModeFits {
    /// Fits every mode. `lives` with the mode of each; that of a suspension does not matter.
    ///
    /// Lives are checked as in [`Sample::new`]; one that fails the check leaves its mode with
    /// [`FitError::Empty`].
    pub fn new(lives: &[(Life, Option<&str>)]) -> ModeFits {
        let mut names: Vec<Option<&str>> = Vec::new();
        let mut failures: HashMap<Option<&str>, u64> = HashMap::new();
        for stated in [true, false] {
            for (life, mode) in lives.iter().filter(|(_, mode)| mode.is_some() == stated) {
                if life.failed() {
                    let count = failures.entry(*mode).or_insert_with(|| {
                        names.push(*mode);
                        0
                    });
                    *count += u64::from(life.count);
                }
            }
        }
        let modes = names
            .into_iter()
            .map(|wanted| {
                let own = lives
                    .iter()
                    .filter_map(|(life, mode)| life_of_mode(life, *mode, wanted))
                    .collect();
                let sample = Sample::new(own).unwrap_or_default();
                ModeFit {
                    mode: wanted.map(str::to_owned),
                    failures: failures.get(&wanted).copied().unwrap_or(0),
                    fit: fit_weibull(&sample),
                }
            })
            .collect();
        ModeFits { modes }
    }

    /// The modes that could be fitted, and what they make together; `None` where none could.
    /// Where some could not, the whole is better than the truth by what those would take.
    pub fn combined(&self) -> Option<(Vec<&ModeFit>, Combined)> {
        let (kept, lives): (Vec<&ModeFit>, Vec<Weibull>) = self
            .modes
            .iter()
            .filter_map(|mode| Some((mode, mode.fit.as_ref().ok()?.weibull)))
            .unzip();
        Some((kept, Combined::new(&lives)?))
    }

    /// The modes without a fit.
    pub fn unfitted(&self) -> impl Iterator<Item = &ModeFit> {
        self.modes.iter().filter(|mode| mode.fit.is_err())
    }
}

/// The life of an item that fails by the first of several independent modes.
#[derive(Debug, Clone, PartialEq)]
pub struct Combined {
    lives: Vec<Weibull>,
}

/// A mode's failures per usage, with and without planned renewal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModeRate {
    /// Failures by this mode per usage, renewing at `T` or at failure: `F_m(T)/∫₀ᵀ R_all`.
    pub renewed: f64,
    /// The same, run to failure: share of the mode over mean life.
    pub run_to_failure: f64,
}

impl ModeRate {
    /// How many failures per usage planned renewal takes away. Below 0 where it adds some,
    /// as it does for a mode whose hazard falls.
    pub fn fall(&self) -> f64 {
        self.run_to_failure - self.renewed
    }
}

/// What drives an age-renewal decision.
#[derive(Debug, Clone, PartialEq)]
pub struct Drive {
    /// One a mode, in the order of the lives.
    pub rates: Vec<ModeRate>,
    /// The mode whose rate falls most; `None` where none falls, that is where every shape is
    /// 1 or less.
    pub driver: Option<usize>,
}

/// Cumulative hazard beyond which nothing of use is left: e^−700.
const HAZARD_END: f64 = 700.0;
/// A change of rate that is rounding, relative to the rate.
const NO_CHANGE: f64 = 1e-9;

impl Combined {
    /// `None` for no mode.
    pub fn new(lives: &[Weibull]) -> Option<Combined> {
        (!lives.is_empty()).then(|| Combined {
            lives: lives.to_vec(),
        })
    }

    pub fn lives(&self) -> &[Weibull] {
        &self.lives
    }

    /// `Σ (t/scale)^shape`.
    pub fn cumulative_hazard(&self, t: f64) -> f64 {
        self.lives
            .iter()
            .map(|life| life.cumulative_hazard(t))
            .sum()
    }

    /// Share that survives usage `t`: the product of the modes' reliabilities.
    pub fn reliability(&self, t: f64) -> f64 {
        (-self.cumulative_hazard(t)).exp()
    }

    /// Usage by which a share `p` in (0, 1) has failed by any mode.
    /// Accuracy: 1e-12 relative.
    pub fn life_at(&self, p: f64) -> f64 {
        self.usage_at_hazard(-(-p).ln_1p())
    }

    /// Usage at which the cumulative hazard is `sought`, > 0.
    fn usage_at_hazard(&self, sought: f64) -> f64 {
        let ln_each = |hazard: f64| {
            let usages = self
                .lives
                .iter()
                .map(move |life| life.scale.ln() + hazard.ln() / life.shape);
            usages.fold(f64::INFINITY, f64::min)
        };
        // Together the modes reach it no later than the first of them alone, and no earlier
        // than the first reaches an equal part of it.
        let (from, to) = (ln_each(sought / self.lives.len() as f64), ln_each(sought));
        let miss = |ln_t: f64| self.cumulative_hazard(ln_t.exp()).ln() - sought.ln();
        // Where both ends are one (a single mode), or the miss rounds to one sign, so is the root.
        root(miss, from, to, 1e-14).unwrap_or(to).exp()
    }

    /// Mean life, run to failure. Accuracy: 1e-10 relative.
    pub fn mean(&self) -> f64 {
        self.integrals(f64::INFINITY).0
    }

    /// Mean usage per item when each is taken out at `t` or at failure: `∫₀ᵗ R_all`.
    /// Accuracy: 1e-10 relative.
    pub fn mean_to(&self, t: f64) -> f64 {
        self.integrals(t).0
    }

    /// Probability that an item run to failure fails by each mode; they add up to 1.
    pub fn shares(&self) -> Vec<f64> {
        self.failures_by(f64::INFINITY)
    }

    /// Probability that an item fails by each mode before it is renewed at `t`: what renewal at
    /// that age makes one expect per renewal. Accuracy: 1e-10 absolute.
    pub fn failures_by(&self, t: f64) -> Vec<f64> {
        self.integrals(t).1
    }

    /// Each mode's failures per usage under renewal at `t`, against running to failure, and the
    /// mode that falls most.
    ///
    /// A rate under renewal is the mean of the mode's hazard over the ages that items reach:
    /// for shape 1 it stays, for a smaller shape it rises, and no interval helps.
    pub fn drive(&self, t: f64) -> Drive {
        let (mean, shares) = self.integrals(f64::INFINITY);
        let (mean_to, by) = self.integrals(t);
        let rates: Vec<ModeRate> = shares
            .iter()
            .zip(&by)
            .map(|(share, by)| ModeRate {
                renewed: by / mean_to,
                run_to_failure: share / mean,
            })
            .collect();
        let driver = rates
            .iter()
            .enumerate()
            .filter(|(_, rate)| rate.fall() > NO_CHANGE * rate.run_to_failure)
            .max_by(|a, b| a.1.fall().total_cmp(&b.1.fall()))
            .map(|(mode, _)| mode);
        Drive { rates, driver }
    }

    /// `∫₀ᵗ R_all` and `F_m(t)` of every mode.
    ///
    /// In `v = ln t`, where powers of any shape are smooth, by adaptive quadrature over pieces
    /// that part at every mode's knee. Below the first piece the cumulative hazard is so small
    /// that the integrals have closed forms.
    fn integrals(&self, t: f64) -> (f64, Vec<f64>) {
        if t <= 0.0 {
            return (0.0, vec![0.0; self.lives.len()]);
        }
        let end = t.min(self.usage_at_hazard(HAZARD_END));
        let early = 1e-9 * self.cumulative_hazard(end).min(1.0);
        let start = self.usage_at_hazard(early.max(1e-300)).min(end);
        // ∫₀ˢ (1 − H) and ∫₀ˢ h_m (1 − H), whose errors are of order H².
        let lost: f64 = self
            .lives
            .iter()
            .map(|life| life.cumulative_hazard(start) / (life.shape + 1.0))
            .sum();
        let mut total = vec![start * (1.0 - lost)];
        total.extend(self.lives.iter().map(|life| {
            let less: f64 = self
                .lives
                .iter()
                .map(|other| {
                    other.cumulative_hazard(start) * life.shape / (life.shape + other.shape)
                })
                .sum();
            life.cumulative_hazard(start) * (1.0 - less)
        }));
        let (from, to) = (start.ln(), end.ln());
        let mut cuts = vec![from, to];
        for life in &self.lives {
            let knee = life.scale.ln();
            let around = [-12.0, -6.0, -3.0, -1.0, 0.0, 1.0, 2.0].map(|x| knee + x / life.shape);
            cuts.extend(around.into_iter().filter(|v| *v > from && *v < to));
        }
        cuts.sort_by(f64::total_cmp);
        // Usages are of the size of the mean; shares of the size of 1.
        let scale = self.usage_at_hazard(1.0).min(end);
        let allowed: Vec<f64> = (0..total.len())
            .map(|i| 1e-13 * if i == 0 { scale } else { 1.0 })
            .collect();
        for piece in cuts.windows(2) {
            let whole = self.gauss(piece[0], piece[1]);
            self.refine(piece[0], piece[1], &whole, &allowed, &mut total, 40);
        }
        let mean = total.remove(0);
        (mean, total)
    }

    /// `t·R_all` and `t·h_m·R_all` at `v = ln t`, added with a weight.
    fn add_at(&self, v: f64, weight: f64, sums: &mut [f64]) {
        let t = v.exp();
        let alive = weight * self.reliability(t);
        sums[0] += alive * t;
        for (sum, life) in sums[1..].iter_mut().zip(&self.lives) {
            *sum += alive * life.shape * life.cumulative_hazard(t);
        }
    }

    fn gauss(&self, from: f64, to: f64) -> Vec<f64> {
        let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
        let mut sums = vec![0.0; self.lives.len() + 1];
        for (x, w) in GAUSS_10 {
            self.add_at(middle + half * x, half * w, &mut sums);
        }
        sums
    }

    /// Adds the integral over a piece, halved until both halves agree with the whole.
    fn refine(
        &self,
        from: f64,
        to: f64,
        whole: &[f64],
        allowed: &[f64],
        total: &mut [f64],
        depth: u32,
    ) {
        let middle = 0.5 * (from + to);
        let (low, high) = (self.gauss(from, middle), self.gauss(middle, to));
        let agreed = (0..whole.len()).all(|i| {
            let both = low[i] + high[i];
            (both - whole[i]).abs() <= allowed[i].max(1e-14 * both)
        });
        // Forty halvings make a piece of rounding's width.
        if agreed || depth == 0 {
            for (sum, (a, b)) in total.iter_mut().zip(low.iter().zip(&high)) {
                *sum += a + b;
            }
            return;
        }
        self.refine(from, middle, &low, allowed, total, depth - 1);
        self.refine(middle, to, &high, allowed, total, depth - 1);
    }
}
