//! The posterior of several groups with one shape and a scale each.
//!
//! In: samples and a [`ShapePrior`]. Out: [`SeveralPosterior`]: the ratio of two groups' lives,
//! and weighted parameters for what it is worth.
//! Never: a normal approximation, sampling.
//!
//! The prior is 1/scale for every group times one on the shape. For lives without windows
//! each scale integrates out in closed form, so that with `r_g` failures in group `g` of `G`
//! and `S_g(k) = Σ t^k − Σ entry^k` the density of `b = ln k` is
//! `∝ k^(r−G)·Π_failures t^k·Π_g S_g^(−r_g)` times the prior's density in `b`, and
//! `scale_g^(−k)` given `k` is gamma of order `r_g` and rate `S_g`, each group for itself.
//! The ratio of two such gammas is a beta variate in disguise: no second integral is needed.
//! With windows the scales are tabulated at each node of the shape.
//! Under the prior 1/(shape·Π scales) the limits of a ratio have exact coverage for complete
//! and failure-censored samples: it is the right Haar measure of "one shape, own scales".
//! Source: J. F. Lawless (2003), appendix E and section 5.2 (conditional limits for the
//! difference of two locations).

use statrs::function::beta::beta_reg;

use super::conditional::Conditional;
use super::{
    LEAST_WEIGHT, PosteriorError, ShapePrior, bounding, climb, conditional_at, edges, improper,
    ln_marginal, spread_at,
};
use crate::life::Sample;
use crate::model::common_shape::open_end;
use crate::model::likelihood::Likelihood;
use crate::model::limits::Limits;
use crate::model::numeric::{GAUSS_10, root_outward};

/// A value of the shape with its weight and the scales' distributions given it.
#[derive(Debug, Clone)]
pub(crate) struct SeveralNode {
    pub shape: f64,
    /// Weights sum to 1.
    pub weight: f64,
    /// One a group; `None` where the data leave the group's scale open.
    pub scales: Vec<Option<Conditional>>,
}

/// The posterior of a common shape and each group's scale.
#[derive(Debug, Clone)]
pub struct SeveralPosterior {
    /// Log of each group's longest usage: scales inside nodes are relative to it.
    shifts: Vec<f64>,
    nodes: Vec<SeveralNode>,
}

/// Scale nodes per standard deviation where a ratio has no closed form.
const PER_SD: f64 = 4.0;

impl SeveralPosterior {
    /// Builds the posterior.
    ///
    /// A group whose scale the data leave open (no failure, or nothing known to have survived)
    /// tells nothing of the shape under this prior and takes no part.
    /// Accuracy: limits of a ratio to 1e-6 relative without windows, 1e-4 with
    /// (`tests/numbers/compare.rs`, against a doubled rule and against brute force).
    /// Errors: [`PosteriorError`].
    pub fn new(samples: &[&Sample], prior: ShapePrior) -> Result<Self, PosteriorError> {
        let parts: Vec<Option<(Likelihood, u64)>> = samples
            .iter()
            .map(|s| {
                open_end(s)
                    .is_none()
                    .then(|| (Likelihood::new(s), s.failures()))
            })
            .collect();
        let failures: u64 = samples.iter().map(|s| s.failures()).sum();
        if failures == 0 {
            return Err(PosteriorError::NoFailures);
        }
        let inside = || parts.iter().flatten();
        let lives = samples
            .iter()
            .zip(&parts)
            .filter(|(_, part)| part.is_some())
            .flat_map(|(sample, _)| sample.lives().iter().copied())
            .collect::<Vec<_>>();
        let improper = improper(&lives, failures, prior);
        // Every group's scale takes one factor k away as k falls to 0; see `bounding`.
        let held: u64 = samples
            .iter()
            .zip(&parts)
            .filter(|(_, part)| part.is_some())
            .map(|(sample, _)| bounding(sample))
            .sum();
        let groups = inside().count() as u64;
        if groups == 0 || prior == ShapePrior::Flat && held < groups + 1 {
            return Err(improper);
        }
        let marginal = |b: f64| -> f64 {
            let data: f64 = inside()
                .map(|(part, failures)| ln_marginal(part, ShapePrior::Flat, *failures, b))
                .sum();
            data + prior.ln_density(b)
        };
        let (peak, top) = climb(marginal, 0.5).ok_or(improper)?;
        let spread = spread_at(marginal, peak, top);
        let edges = edges(marginal, peak, top, prior.panel() * spread).ok_or(improper)?;
        let mut nodes = Vec::with_capacity(10 * edges.len());
        for pair in edges.windows(2) {
            let half = 0.5 * (pair[1] - pair[0]);
            for (x, w) in GAUSS_10 {
                let b = pair[0] + half * (1.0 + x);
                let weight = half * w * (marginal(b) - top).exp();
                if weight > LEAST_WEIGHT {
                    nodes.push(SeveralNode {
                        shape: b.exp(),
                        weight,
                        scales: parts
                            .iter()
                            .map(|part| {
                                let (likelihood, failures) = part.as_ref()?;
                                Some(conditional_at(likelihood, *failures, b))
                            })
                            .collect(),
                    });
                }
            }
        }
        let total: f64 = nodes.iter().map(|node| node.weight).sum();
        if !(total.is_finite() && total > 0.0) {
            return Err(improper);
        }
        for node in &mut nodes {
            node.weight /= total;
        }
        let shifts = parts
            .iter()
            .map(|part| part.as_ref().map_or(0.0, |(p, _)| p.shift()))
            .collect();
        Ok(SeveralPosterior { shifts, nodes })
    }

    pub(crate) fn nodes(&self) -> &[SeveralNode] {
        &self.nodes
    }

    /// Log of a group's longest usage.
    pub(crate) fn shift(&self, group: usize) -> f64 {
        self.shifts[group]
    }

    /// Probability that `ln(scale of one / scale of the other)` lies below `x`.
    /// `None` where either scale is open.
    pub fn ratio_below(&self, of: usize, to: usize, x: f64) -> Option<f64> {
        let inner = x - self.shifts[of] + self.shifts[to];
        let mut below = 0.0;
        for node in &self.nodes {
            let (one, other) = (node.scales[of].as_ref()?, node.scales[to].as_ref()?);
            below += node.weight * difference_below(one, other, node.shape, inner);
        }
        Some(below.clamp(0.0, 1.0))
    }

    /// The ratio of scales (and of every quantile and mean, the shape being one) below which
    /// it lies with probability `p`. `near` is a ratio to start from.
    pub fn ratio_quantile(&self, of: usize, to: usize, p: f64, near: f64) -> Option<f64> {
        let start = near.ln();
        let miss = |x: f64| self.ratio_below(of, to, x).map_or(f64::NAN, |c| c - p);
        let sign = if miss(start) > 0.0 { -1.0 } else { 1.0 };
        // The probability runs from 0 to 1 over the line; a ratio beyond e^60 is no limit.
        root_outward(miss, start, sign * 0.25, 60.0, 1e-11).map(f64::exp)
    }

    /// Median and two-sided limits of the ratio; all `None` where either scale is open.
    pub fn ratio_limits(&self, of: usize, to: usize, confidence: f64, near: f64) -> Limits {
        let tail = 0.5 * (1.0 - confidence);
        let at = |p| self.ratio_quantile(of, to, p, near);
        Limits {
            median: at(0.5),
            lower: at(tail),
            upper: at(1.0 - tail),
        }
    }
}

/// `P(a_one − a_other <= x)` at one shape, internal log scales.
fn difference_below(one: &Conditional, other: &Conditional, shape: f64, x: f64) -> f64 {
    if let (
        Conditional::Gamma {
            order: r1,
            ln_sum: s1,
        },
        Conditional::Gamma {
            order: r0,
            ln_sum: s0,
        },
    ) = (one, other)
    {
        // S·e^(−ka) = G, so a_1 − a_0 <= x is G_1/G_0 >= e^c, and G_0/(G_0 + G_1) is beta.
        let c = s1 - s0 - shape * x;
        return beta_reg(*r0 as f64, *r1 as f64, 1.0 / (1.0 + c.exp()));
    }
    other
        .hazard_nodes(shape, PER_SD)
        .iter()
        .map(|(ka, weight)| weight * one.cdf(shape, ka / shape + x).0)
        .sum()
}
