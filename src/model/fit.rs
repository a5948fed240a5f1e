//! Maximum-likelihood fit of the two-parameter Weibull or lognormal to any mix of lives.
//!
//! In: a [`Sample`]. Out: [`WeibullFit`], [`FamilyFit`] or a [`FitError`] that says why there is none.
//! Never: a number from a search that did not converge.
//!
//! Without windows the scale maximises out in closed form and one equation in the shape
//! is left; with windows, damped Newton in `(ln scale, ln shape)`.
//! Source: Meeker & Escobar (1998), chapter 8; NIST/SEMATECH e-Handbook 8.4.1.2.

use super::distribution::{Distribution, Lognormal};
use super::family::Family;
pub use super::fit_error::FitError;
use super::fit_error::{check_bounded, told_apart};
use super::likelihood::{Likelihood, Slope};
use super::numeric::Bracket;
use super::slice::Slice;
use super::weibull::Weibull;
use crate::life::{End, Life, Sample};

/// A Weibull maximum-likelihood estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct WeibullFit {
    pub weibull: Weibull,
    /// Natural log of the likelihood, constants kept.
    pub log_likelihood: f64,
    /// Covariance of `(ln scale, ln shape)` from the observed information: `aa, ab, bb`.
    pub covariance: [f64; 3],
    /// Largest absolute first derivative in `(ln scale, ln shape)` at the estimate.
    pub gradient: f64,
    /// Lives in the sample, suspensions included.
    pub lives: u64,
    pub failures: u64,
}

/// The highest point of a likelihood: what limits start from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    pub family: Family,
    /// ln scale; for the lognormal the mean of ln life.
    pub a: f64,
    /// ln shape; for the lognormal `−ln sigma`.
    pub b: f64,
    pub log_likelihood: f64,
    /// Covariance of `(a, b)` from the observed information: `aa, ab, bb`.
    pub covariance: [f64; 3],
}

impl Peak {
    /// The distribution there.
    pub fn distribution(&self) -> Distribution {
        match self.family {
            Family::Weibull => Distribution::Weibull(Weibull {
                shape: self.b.exp(),
                scale: self.a.exp(),
            }),
            Family::Lognormal => Distribution::Lognormal(Lognormal {
                mu: self.a,
                sigma: (-self.b).exp(),
            }),
        }
    }
}

/// A maximum-likelihood estimate of either family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FamilyFit {
    pub peak: Peak,
    /// Largest absolute first derivative in `(a, b)` at the estimate.
    pub gradient: f64,
    pub lives: u64,
    pub failures: u64,
}

impl WeibullFit {
    /// The estimate as a point of the likelihood.
    pub fn peak(&self) -> Peak {
        Peak {
            family: Family::Weibull,
            a: self.weibull.scale.ln(),
            b: self.weibull.shape.ln(),
            log_likelihood: self.log_likelihood,
            covariance: self.covariance,
        }
    }

    /// `−2 ln L + 2k + 2k(k+1)/(n−k−1)` with two parameters; `None` for fewer than four
    /// lives, where the correction has no meaning.
    /// Source: Hurvich & Tsai, *Biometrika* 76 (1989) 297-307.
    pub fn aicc(&self) -> Option<f64> {
        aicc(self.log_likelihood, 2, self.lives)
    }
}

/// Second-order Akaike criterion for `parameters` fitted to `lives`.
pub fn aicc(log_likelihood: f64, parameters: u64, lives: u64) -> Option<f64> {
    let (k, n) = (parameters as f64, lives as f64);
    (lives > parameters + 1)
        .then(|| -2.0 * log_likelihood + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0))
}

/// Gradient per failure below which a search counts as converged.
pub(super) const TOLERANCE: f64 = 1e-9;

/// ln shape between which searches with entry ages or windows run: shape 0.018 to 2,981.
pub(super) const B_FROM: f64 = -4.0;
pub(super) const B_TO: f64 = 8.0;

/// Fits shape and scale by maximum likelihood.
///
/// Units: scale in the usage unit of the sample.
/// Errors: [`FitError`]; never a shape or scale that the data do not bound.
/// Accuracy: 1e-9 relative or better (`tests/numbers/model.rs`).
pub fn fit_weibull(sample: &Sample) -> Result<WeibullFit, FitError> {
    let fit = fit_family(sample, Family::Weibull)?;
    Ok(WeibullFit {
        weibull: Weibull {
            shape: fit.peak.b.exp(),
            scale: fit.peak.a.exp(),
        },
        log_likelihood: fit.peak.log_likelihood,
        covariance: fit.peak.covariance,
        gradient: fit.gradient,
        lives: fit.lives,
        failures: fit.failures,
    })
}

/// Fits either family by maximum likelihood.
///
/// Units: `a` is the log of a usage in the sample's unit.
/// Errors: [`FitError`], as [`fit_weibull`]; the same data leave both families without an
/// estimate. Accuracy: 1e-9 relative or better (`tests/numbers/model.rs`).
pub fn fit_family(sample: &Sample, family: Family) -> Result<FamilyFit, FitError> {
    check_bounded(sample)?;
    let likelihood = Likelihood::of(sample, family);
    let (a, b) = maximise(&likelihood, sample).map_err(|error| told_apart(error, sample))?;
    finish(&likelihood, sample, a, b)
}

/// The estimate's internal `(ln scale, ln shape)`.
fn maximise(likelihood: &Likelihood, sample: &Sample) -> Result<(f64, f64), FitError> {
    if !likelihood.is_closed() {
        return newton(likelihood, start(sample, likelihood.family())).or_else(|_| {
            let b = scan(|b| likelihood.value(best_scale(likelihood, b), b))?;
            newton(likelihood, (best_scale(likelihood, b), b))
        });
    }
    let b = if likelihood.has_entries() {
        let near = scan(|b| likelihood.value(best_scale(likelihood, b), b))?;
        profile_root(likelihood, near, Bracket::around(near, SCAN_STEP))?
    } else {
        let b = start_shape(likelihood);
        profile_root(likelihood, b, Bracket::OPEN)?
    };
    Ok((best_scale(likelihood, b), b))
}

fn finish(likelihood: &Likelihood, sample: &Sample, a: f64, b: f64) -> Result<FamilyFit, FitError> {
    let Slope {
        value,
        gradient,
        curvature: [aa, ab, bb],
    } = likelihood.slope(a, b);
    let gradient = gradient[0].abs().max(gradient[1].abs());
    let shape = b.exp();
    let determinant = aa * bb - ab * ab;
    let failures = sample.failures();
    let flat = !(aa < 0.0 && determinant > 0.0 && value.is_finite());
    // Rounding in the sums grows with the largest power, hence with the shape.
    if flat || gradient > TOLERANCE * failures as f64 * shape.max(1.0).powi(2) {
        return Err(FitError::NotConverged {
            shape,
            scale: (a + likelihood.shift()).exp(),
            gradient,
        });
    }
    Ok(FamilyFit {
        peak: Peak {
            family: likelihood.family(),
            a: a + likelihood.shift(),
            b,
            log_likelihood: value,
            covariance: [-bb / determinant, ab / determinant, -aa / determinant],
        },
        gradient,
        lives: sample.count(),
        failures,
    })
}

/// The internal log scale that maximises the likelihood at `b`.
///
/// Closed form `a = (ln S − ln r)/k` without windows; else Newton on a concave function.
pub(super) fn best_scale(likelihood: &Likelihood, b: f64) -> f64 {
    let k = b.exp();
    if likelihood.is_closed() {
        return (likelihood.power_sum(k).ln() - likelihood.exact_failures().ln()) / k;
    }
    Slice::new(likelihood, b).best()
}

pub(super) const SCAN_STEP: f64 = 0.25;

/// The highest point of a profile over ln shape, on a coarse grid.
pub(super) fn scan(profile: impl Fn(f64) -> f64) -> Result<f64, FitError> {
    let count = ((B_TO - B_FROM) / SCAN_STEP) as usize;
    let mut best = (f64::NEG_INFINITY, 0);
    for n in 0..=count {
        let value = profile(B_FROM + SCAN_STEP * n as f64);
        if value > best.0 {
            best = (value, n);
        }
    }
    let b = B_FROM + SCAN_STEP * best.1 as f64;
    if best.1 == 0 {
        return Err(FitError::ShapeTowardsZero);
    }
    if best.1 == count {
        return Err(FitError::ShapeAtEdge { shape: b.exp() });
    }
    Ok(b)
}

/// Root of the profile score in `b`, by Newton steps kept within a bracket.
///
/// Score: `r + k(Σ_f ln t − r·S1/S0)`; it falls through 0 at the maximum.
fn profile_root(
    likelihood: &Likelihood,
    start: f64,
    mut bracket: Bracket,
) -> Result<f64, FitError> {
    let r = likelihood.exact_failures();
    let mut b = start;
    let mut last = f64::INFINITY;
    for _ in 0..200 {
        let k = b.exp();
        let sums = likelihood.power_sums(k);
        let mean = sums.s1 / sums.s0;
        let pull = k * (likelihood.sum_ln_failures() - r * mean);
        let score = r + pull;
        let bend = pull - r * k * k * (sums.s2 / sums.s0 - mean * mean);
        let next = bracket.next(b, score, bend);
        let step = (next - b).abs();
        // At the rounding floor steps no longer shrink: that is as far as doubles go.
        if step < 1e-14 || (step < 1e-10 && step >= last) {
            return Ok(b);
        }
        last = step;
        b = next;
    }
    Err(FitError::NotConverged {
        shape: b.exp(),
        scale: (best_scale(likelihood, b) + likelihood.shift()).exp(),
        gradient: f64::NAN,
    })
}

/// A first shape from the spread of the logs: the log of a Weibull life has standard
/// deviation π/(√6·shape).
fn start_shape(likelihood: &Likelihood) -> f64 {
    let sums = likelihood.power_sums(1.0);
    let mean = sums.s1 / sums.s0;
    let gap = mean - likelihood.sum_ln_failures() / likelihood.exact_failures();
    // At shape 1 the score is 1 − gap; one secant-like guess towards its root.
    if gap > 0.05 {
        (1.0 / gap).clamp(0.2, 20.0).ln() * 0.7
    } else {
        0.5
    }
}

/// Mean and standard deviation of the log of a life of scale and shape 1: by them a Weibull
/// start serves the lognormal (Euler's constant, π/√6).
const LN_MEAN: f64 = -0.577_215_664_901_532_9;
const LN_SD: f64 = 1.282_549_830_161_864;

/// A start where nothing is closed: each window's failure at its middle, entry ages dropped.
fn start(sample: &Sample, family: Family) -> (f64, f64) {
    let middled: Vec<Life> = sample
        .lives()
        .iter()
        .map(|life| Life {
            entry: 0.0,
            count: life.count,
            end: match life.end {
                End::Interval { lo, hi } => End::Failure {
                    at: 0.5 * (lo + hi),
                },
                End::Left { hi } => End::Failure {
                    at: 0.5 * (life.entry + hi),
                },
                exact => exact,
            },
        })
        .collect();
    let shift = Likelihood::new(sample).shift();
    match Sample::new(middled).ok().and_then(|s| {
        check_bounded(&s).ok()?;
        let likelihood = Likelihood::new(&s);
        maximise(&likelihood, &s)
            .ok()
            .map(|(a, b)| (a + likelihood.shift(), b))
    }) {
        Some((a, b)) => {
            let (a, b) = (a - shift, b.clamp(-1.5, 3.0));
            match family {
                Family::Weibull => (a, b),
                Family::Lognormal => (a + LN_MEAN / b.exp(), b - LN_SD.ln()),
            }
        }
        None => (0.0, 0.4),
    }
}

/// Damped Newton in `(a, b)`; where the curvature does not point uphill, it is bent.
fn newton(likelihood: &Likelihood, from: (f64, f64)) -> Result<(f64, f64), FitError> {
    let (mut a, mut b) = from;
    let mut here = likelihood.slope(a, b);
    let failed = |a: f64, b: f64, slope: &Slope| FitError::NotConverged {
        shape: b.exp(),
        scale: (a + likelihood.shift()).exp(),
        gradient: slope.gradient[0].abs().max(slope.gradient[1].abs()),
    };
    for _ in 0..200 {
        let (mut da, mut db) = uphill(&here);
        let longest = da.abs().max(db.abs());
        if longest > 1.0 {
            (da, db) = (da / longest, db / longest);
        }
        let mut next = likelihood.slope(a + da, b + db);
        let floor = 1e-13 * (1.0 + here.value.abs());
        // A full or halved step must not fall, but for rounding.
        while next.value.is_nan() || next.value < here.value - floor {
            (da, db) = (0.4 * da, 0.4 * db);
            if da.abs().max(db.abs()) < 1e-15 {
                return Err(failed(a, b, &here));
            }
            next = likelihood.slope(a + da, b + db);
        }
        (a, b, here) = (a + da, b + db, next);
        if !(B_FROM - 2.0..=B_TO + 2.0).contains(&b) {
            return Err(failed(a, b, &here));
        }
        if da.abs().max(db.abs()) < 1e-11 {
            return Ok((a, b));
        }
    }
    Err(failed(a, b, &here))
}

/// The Newton direction, or one that rises for sure where the surface is not concave.
fn uphill(here: &Slope) -> (f64, f64) {
    let [ga, gb] = here.gradient;
    let [mut aa, ab, mut bb] = here.curvature;
    let mut ridge = 1e-3 * (aa.abs() + bb.abs()).max(1.0);
    while !(aa < 0.0 && aa * bb - ab * ab > 1e-12 * (aa * bb).abs()) {
        aa -= ridge;
        bb -= ridge;
        ridge *= 4.0;
        if !ridge.is_finite() {
            return (ga.signum() * 0.1, gb.signum() * 0.1);
        }
    }
    let determinant = aa * bb - ab * ab;
    (
        -(bb * ga - ab * gb) / determinant,
        -(aa * gb - ab * ga) / determinant,
    )
}
