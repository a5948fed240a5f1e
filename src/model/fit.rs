//! Maximum-likelihood fit of the two-parameter Weibull to any mix of lives.
//!
//! In: a [`Sample`]. Out: [`WeibullFit`] or a [`FitError`] that says why there is none.
//! Never: a number from a search that did not converge.
//!
//! Without windows the scale maximises out in closed form and one equation in the shape
//! is left; with windows, damped Newton in `(ln scale, ln shape)`.
//! Source: Meeker & Escobar (1998), chapter 8; NIST/SEMATECH e-Handbook 8.4.1.2.

use thiserror::Error;

use super::likelihood::{Likelihood, Slope};
use super::weibull::Weibull;
use crate::life::{End, Life, Sample, counted_lives};

/// Why a sample has no Weibull maximum-likelihood estimate.
///
/// `tests/reference/hard/` keeps data for each, with the story of why they are hard.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FitError {
    /// The sample holds no life at all.
    #[error("no lives to fit")]
    Empty,
    /// The likelihood keeps rising with the scale.
    #[error("no failure in {}: the scale has no upper end", counted_lives(*lives))]
    NoFailures { lives: u64 },
    /// Every life is a failure found at its first look: the sooner they all failed the better.
    #[error(
        "every life ({}) had already failed at its first look: the scale has no lower end",
        counted_lives(*lives)
    )]
    AllFailedAtFirstLook { lives: u64 },
    /// One failure, and nothing ran longer: the steeper the shape the better it fits.
    #[error(
        "one failure, {}, and no item ran beyond it: the shape has no upper end",
        when(*from, *to)
    )]
    OneFailure { from: f64, to: f64 },
    /// Every failure is known to have come at one usage, and nothing ran longer.
    #[error(
        "all {failures} failures came at {at} and no item ran beyond it: the shape has no upper end"
    )]
    AllTied { at: f64, failures: u64 },
    /// One usage lies in every failure's window, and nothing ran longer.
    #[error(
        "all {failures} failures may have come at one usage, {}, and no item ran beyond it: the shape has no upper end",
        place(*from, *to)
    )]
    WindowsOverlap { from: f64, to: f64, failures: u64 },
    /// Every failure was found at a first look, as likely on young items as on old ones:
    /// they could as well have failed as soon as they were put in.
    #[error(
        "every failure was found at a first look, and the failed items were on the whole no older than the sound ones: the likelihood rises towards shape 0"
    )]
    ShapeTowardsZero,
    /// Nothing was watched from new, and the hazard falls faster than 1/usage, the limit of
    /// the Weibull hazard as the shape goes to 0.
    #[error(
        "every life came under watch with usage already on it (at least {first_entry}), and failures thin out with age faster than any Weibull allows: the likelihood rises towards shape 0"
    )]
    HazardFallsTooFast { first_entry: f64 },
    /// The likelihood rises with the shape as far as it is looked at.
    #[error(
        "the likelihood still rises at shape {shape:.0}, where the search ends: the failures lie too close together"
    )]
    ShapeAtEdge { shape: f64 },
    /// The gradient stayed above tolerance; the last point is for diagnosis, not for use.
    #[error("the search did not converge (last shape {shape}, scale {scale}, gradient {gradient})")]
    NotConverged {
        shape: f64,
        scale: f64,
        gradient: f64,
    },
}

/// "500", "from 250 to 400".
fn place(from: f64, to: f64) -> String {
    if from == to {
        format!("{from}")
    } else {
        format!("from {from} to {to}")
    }
}

/// "at 500", "somewhere from 250 to 400".
fn when(from: f64, to: f64) -> String {
    if from == to {
        format!("at {from}")
    } else {
        format!("somewhere from {from} to {to}")
    }
}

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

impl WeibullFit {
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
const TOLERANCE: f64 = 1e-9;

/// ln shape between which searches with entry ages or windows run: shape 0.018 to 2,981.
const B_FROM: f64 = -4.0;
const B_TO: f64 = 8.0;

/// Fits shape and scale by maximum likelihood.
///
/// Units: scale in the usage unit of the sample.
/// Errors: [`FitError`]; never a shape or scale that the data do not bound.
/// Accuracy: 1e-9 relative or better (`tests/numbers/model.rs`).
pub fn fit_weibull(sample: &Sample) -> Result<WeibullFit, FitError> {
    check_bounded(sample)?;
    let likelihood = Likelihood::new(sample);
    let (a, b) = maximise(&likelihood, sample).map_err(|error| told_apart(error, sample))?;
    finish(&likelihood, sample, a, b)
}

/// The estimate's internal `(ln scale, ln shape)`.
fn maximise(likelihood: &Likelihood, sample: &Sample) -> Result<(f64, f64), FitError> {
    if !likelihood.is_closed() {
        return newton(likelihood, start(sample)).or_else(|_| {
            let b = scan(|b| likelihood.value(best_scale(likelihood, b), b))?;
            newton(likelihood, (best_scale(likelihood, b), b))
        });
    }
    let b = if likelihood.has_entries() {
        let near = scan(|b| likelihood.value(best_scale(likelihood, b), b))?;
        profile_root(likelihood, near, near - SCAN_STEP, near + SCAN_STEP)?
    } else {
        let b = start_shape(likelihood);
        profile_root(likelihood, b, f64::NEG_INFINITY, f64::INFINITY)?
    };
    Ok((best_scale(likelihood, b), b))
}

fn finish(
    likelihood: &Likelihood,
    sample: &Sample,
    a: f64,
    b: f64,
) -> Result<WeibullFit, FitError> {
    let Slope {
        value,
        gradient,
        curvature: [aa, ab, bb],
    } = likelihood.slope(a, b);
    let gradient = gradient[0].abs().max(gradient[1].abs());
    let weibull = Weibull {
        shape: b.exp(),
        scale: (a + likelihood.shift()).exp(),
    };
    let determinant = aa * bb - ab * ab;
    let failures = sample.failures();
    let flat = !(aa < 0.0 && determinant > 0.0 && value.is_finite());
    // Rounding in the sums grows with the largest power, hence with the shape.
    if flat || gradient > TOLERANCE * failures as f64 * weibull.shape.max(1.0).powi(2) {
        return Err(FitError::NotConverged {
            shape: weibull.shape,
            scale: weibull.scale,
            gradient,
        });
    }
    Ok(WeibullFit {
        weibull,
        log_likelihood: value,
        covariance: [-bb / determinant, ab / determinant, -aa / determinant],
        gradient,
        lives: sample.count(),
        failures,
    })
}

/// Tells data apart that leave the likelihood without a maximum.
///
/// If one usage lies in every failure's window and no suspension ran beyond it, a
/// distribution that puts all failures there fits perfectly, and the shape has no end.
/// That is the only way for the shape to run off upwards: as it grows, any other failure or
/// longer run drives the likelihood to 0. What runs off downwards is left to the search.
fn check_bounded(sample: &Sample) -> Result<(), FitError> {
    if sample.count() == 0 {
        return Err(FitError::Empty);
    }
    let failures = sample.failures();
    if failures == 0 {
        return Err(FitError::NoFailures {
            lives: sample.count(),
        });
    }
    // As the scale falls to 0 such lives fit perfectly, whatever their entry ages.
    let at_first_look = |life: &Life| matches!(life.end, End::Left { .. });
    if sample.lives().iter().all(at_first_look) {
        return Err(FitError::AllFailedAtFirstLook { lives: failures });
    }
    let (mut from, mut to) = (0.0_f64, f64::INFINITY);
    for life in sample.lives() {
        match life.end {
            End::Failure { at } => {
                from = from.max(at);
                to = to.min(at);
            }
            End::Suspension { at } => from = from.max(at),
            End::Interval { lo, hi } => {
                from = from.max(lo);
                to = to.min(hi);
            }
            End::Left { hi } => {
                from = from.max(life.entry);
                to = to.min(hi);
            }
        }
    }
    if from > to {
        return Ok(());
    }
    Err(if failures == 1 {
        FitError::OneFailure { from, to }
    } else if sample.intervals() == 0 {
        FitError::AllTied { at: to, failures }
    } else {
        FitError::WindowsOverlap { from, to, failures }
    })
}

/// The two ways in which a likelihood can rise towards shape 0, told apart.
///
/// Either no failure brings a factor of the shape, being in windows that open at 0; or
/// nothing was watched from new, so that the hazard may be as high as it likes near 0.
fn told_apart(error: FitError, sample: &Sample) -> FitError {
    let first_entry = sample
        .lives()
        .iter()
        .map(|life| life.entry)
        .fold(f64::INFINITY, f64::min);
    match error {
        FitError::ShapeTowardsZero if first_entry > 0.0 => {
            FitError::HazardFallsTooFast { first_entry }
        }
        other => other,
    }
}

/// The internal log scale that maximises the likelihood at `b`.
///
/// Closed form `a = (ln S − ln r)/k` without windows; else Newton on a concave function.
pub(super) fn best_scale(likelihood: &Likelihood, b: f64) -> f64 {
    let k = b.exp();
    if likelihood.is_closed() {
        return (likelihood.power_sum(k).ln() - likelihood.exact_failures().ln()) / k;
    }
    let mut a = 0.0;
    let mut here = likelihood.slope(a, b);
    // Concave in a: the damped step always rises; 1e-13 of a log scale is past use.
    for _ in 0..200 {
        let mut step = -here.gradient[0] / here.curvature[0];
        if !step.is_finite() || here.curvature[0] >= 0.0 {
            step = here.gradient[0].signum() / k;
        }
        step = step.clamp(-2.0, 2.0);
        let mut next = likelihood.slope(a + step, b);
        while (next.value.is_nan() || next.value < here.value - 1e-12 * here.value.abs())
            && step.abs() > 1e-14
        {
            step *= 0.25;
            next = likelihood.slope(a + step, b);
        }
        a += step;
        here = next;
        if step.abs() < 1e-12 {
            break;
        }
    }
    a
}

const SCAN_STEP: f64 = 0.25;

/// The highest point of a profile over ln shape, on a coarse grid.
fn scan(profile: impl Fn(f64) -> f64) -> Result<f64, FitError> {
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
    mut low: f64,
    mut high: f64,
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
        if score > 0.0 {
            low = low.max(b);
        } else {
            high = high.min(b);
        }
        let bend = pull - r * k * k * (sums.s2 / sums.s0 - mean * mean);
        let newton = b - score / bend;
        let open = !(newton > low && newton < high) || bend >= 0.0;
        let next = match (open, low.is_finite(), high.is_finite()) {
            (false, _, _) => b + (newton - b).clamp(-1.5, 1.5),
            (true, true, true) => 0.5 * (low + high),
            (true, true, false) => b + 1.0,
            (true, _, _) => b - 1.0,
        };
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

/// A start for data with windows: each window's failure at its middle, entry ages dropped.
fn start(sample: &Sample) -> (f64, f64) {
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
        Some((a, b)) => (a - shift, b.clamp(-1.5, 3.0)),
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
