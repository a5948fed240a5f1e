//! Several groups of lives with one shape and a scale each, by maximum likelihood.
//!
//! In: samples. Out: [`CommonShape`] or why there is none.
//! Never: which groups belong together (see `pooling`, `compare`).
//!
//! At a shape every group's scale maximises alone, so that one equation in `b = ln k` is
//! left: the sum of the groups' profile scores, `Σ (l_b − l_a·l_ab/l_aa)`, solved by Newton
//! steps with `Σ (l_bb − l_ab²/l_aa)` as its slope, kept within a bracket.
//! A group without a failure has no highest scale: its likelihood rises to 1 as the scale
//! grows, whatever the shape, so it adds nothing to the search and its scale is reported as
//! open. The same holds, towards scale 0, for a group in which nothing is known to have
//! survived any usage.
//! Source: Lawless (2003), section 5.2 (scale equal or not at a common shape).

use thiserror::Error;

use super::fit::{B_FROM, B_TO, FitError, SCAN_STEP, TOLERANCE, best_scale, scan};
use super::fit_error::one_usage;
use super::likelihood::Likelihood;
use super::numeric::Bracket;
use crate::life::{End, Sample};

/// Why several groups have no common shape.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CommonShapeError {
    /// As for a single sample.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// In each group one usage explains every failure.
    #[error(
        "in each group one usage explains every failure ({failures} in all): the common shape has no upper end"
    )]
    Unbounded { failures: u64 },
}

/// A group's own scale at the common shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OwnScale {
    At {
        /// ln scale.
        a: f64,
        /// Variance of `a` where the shape is held: `−1/l_aa`.
        variance: f64,
        /// How `a` follows `b`: `−l_ab/l_aa`.
        lean: f64,
    },
    /// No failure: the likelihood rises with the scale.
    NoUpperEnd,
    /// No life is known to have survived a usage: the likelihood rises as the scale falls.
    NoLowerEnd,
}

impl OwnScale {
    /// The scale, where the data bound it.
    pub fn scale(&self) -> Option<f64> {
        match self {
            OwnScale::At { a, .. } => Some(a.exp()),
            _ => None,
        }
    }
}

/// The maximum-likelihood fit of one shape and a scale a group.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonShape {
    pub shape: f64,
    /// One a group, in the order given.
    pub scales: Vec<OwnScale>,
    /// Natural log of the likelihood, constants kept; the least upper bound where a scale is
    /// open.
    pub log_likelihood: f64,
    /// Variance of `b = ln shape`, all scales free.
    pub variance: f64,
    /// Absolute derivative of the profile in `b` at the estimate.
    pub gradient: f64,
}

impl CommonShape {
    /// `ln(scale of one / scale of the other)` and its standard error, by the delta method.
    /// `None` where either scale is open.
    pub fn ln_ratio(&self, of: usize, to: usize) -> Option<(f64, f64)> {
        match (self.scales.get(of)?, self.scales.get(to)?) {
            (
                OwnScale::At {
                    a: a1,
                    variance: v1,
                    lean: s1,
                },
                OwnScale::At {
                    a: a0,
                    variance: v0,
                    lean: s0,
                },
            ) => {
                let variance = v1 + v0 + (s1 - s0).powi(2) * self.variance;
                Some((a1 - a0, variance.sqrt()))
            }
            _ => None,
        }
    }
}

/// Which end of its scale a sample leaves open, if either; told from the kinds of its lives.
pub(super) fn open_end(sample: &Sample) -> Option<OwnScale> {
    if sample.failures() == 0 {
        return Some(OwnScale::NoUpperEnd);
    }
    sample
        .lives()
        .iter()
        .all(|life| matches!(life.end, End::Left { .. }))
        .then_some(OwnScale::NoLowerEnd)
}

/// The profile over `b`, its score and the score's slope, over all groups with a scale.
struct Profile<'a> {
    parts: &'a [Likelihood],
}

impl Profile<'_> {
    fn value(&self, b: f64) -> f64 {
        let parts = self.parts.iter();
        parts.map(|p| p.value(best_scale(p, b), b)).sum()
    }

    fn slope(&self, b: f64) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for part in self.parts {
            let here = part.slope(best_scale(part, b), b);
            let [ga, gb] = here.gradient;
            let [aa, ab, bb] = here.curvature;
            sum[0] += here.value;
            // The scale's own derivative is 0 but for rounding.
            sum[1] += gb - ga * ab / aa;
            sum[2] += bb - ab * ab / aa;
        }
        sum
    }

    /// Root of the score between two values of `b`; `None` where the search leaves the range
    /// of shapes looked at or does not settle.
    fn root(&self, start: f64, mut bracket: Bracket) -> Option<f64> {
        let mut b = start;
        let mut last = f64::INFINITY;
        for _ in 0..200 {
            let [_, score, bend] = self.slope(b);
            if score.is_nan() {
                return None;
            }
            let next = bracket.next(b, score, bend);
            let step = (next - b).abs();
            // At the rounding floor steps no longer shrink: that is as far as doubles go.
            if step < 1e-14 || (step < 1e-10 && step >= last) {
                return (bend < 0.0).then_some(b);
            }
            if !(B_FROM - 4.0..=B_TO + 4.0).contains(&next) {
                return None;
            }
            last = step;
            b = next;
        }
        None
    }

    /// The highest point. Without entry ages or windows the score has one root; elsewhere the
    /// profile may have several peaks or none, and is looked over first.
    fn peak(&self) -> Result<f64, FitError> {
        const START: f64 = 0.5;
        let closed = self.parts.iter().all(Likelihood::is_closed);
        let entries = self.parts.iter().any(Likelihood::has_entries);
        if !(closed && entries)
            && let Some(b) = self.root(START, Bracket::OPEN)
        {
            return Ok(b);
        }
        let near = scan(|b| self.value(b))?;
        self.root(near, Bracket::around(near, SCAN_STEP))
            .ok_or(FitError::NotConverged {
                shape: near.exp(),
                scale: f64::NAN,
                gradient: f64::NAN,
            })
    }
}

/// Fits one shape and a scale for each group.
///
/// Units: scales in the samples' usage unit.
/// Errors: [`CommonShapeError`]; never a shape that the data do not bound.
/// Accuracy: 1e-9 relative or better (`tests/numbers/compare.rs`).
pub fn fit_common_shape(samples: &[&Sample]) -> Result<CommonShape, CommonShapeError> {
    let lives: u64 = samples.iter().map(|s| s.count()).sum();
    let failures: u64 = samples.iter().map(|s| s.failures()).sum();
    if lives == 0 {
        return Err(FitError::Empty.into());
    }
    if failures == 0 {
        return Err(FitError::NoFailures { lives }.into());
    }
    let ends: Vec<Option<OwnScale>> = samples.iter().map(|s| open_end(s)).collect();
    let bounded = || samples.iter().zip(&ends).filter(|(_, end)| end.is_none());
    if bounded().all(|(sample, _)| one_usage(sample).is_some()) {
        return Err(CommonShapeError::Unbounded { failures });
    }
    let parts: Vec<Likelihood> = bounded().map(|(s, _)| Likelihood::new(s)).collect();
    let profile = Profile { parts: &parts };
    let b = profile.peak()?;
    let [log_likelihood, score, bend] = profile.slope(b);
    let (shape, gradient) = (b.exp(), score.abs());
    let flat = !(bend < 0.0 && log_likelihood.is_finite());
    // Rounding in the sums grows with the largest power, hence with the shape.
    if flat || gradient > TOLERANCE * failures as f64 * shape.max(1.0).powi(2) {
        let scale = f64::NAN;
        return Err(FitError::NotConverged {
            shape,
            scale,
            gradient,
        }
        .into());
    }
    let mut own = parts.iter().map(|part| {
        let a = best_scale(part, b);
        let [aa, ab, _] = part.slope(a, b).curvature;
        OwnScale::At {
            a: a + part.shift(),
            variance: -1.0 / aa,
            lean: -ab / aa,
        }
    });
    Ok(CommonShape {
        shape,
        scales: ends
            .iter()
            // A scale for every group that is not open: as many as there are parts.
            .filter_map(|end| end.or_else(|| own.next()))
            .collect(),
        log_likelihood,
        variance: -1.0 / bend,
        gradient,
    })
}
