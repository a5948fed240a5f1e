//! The posterior of a Weibull or lognormal life, by quadrature: no sampling, the same numbers every time.
//!
//! In: a [`Sample`] and a [`ShapePrior`]. Out: [`Posterior`]: quantiles of any [`Target`],
//! and weighted parameter pairs for decisions.
//! Never: a normal approximation.
//!
//! The prior is 1/scale times a prior on the shape. For lives without windows the scale
//! integrates out in closed form: with `r` failures and `S(k) = Σ t^k − Σ entry^k`,
//! the density of `b = ln k` is `∝ k^(r−1)·Π_failures t^k · S^(−r)` times the shape
//! prior's density in `b`, and `scale^(−k)` given `k` is gamma of order `r` and rate `S`.
//! With windows, and for the lognormal, the scale is tabulated at each node of the shape.
//! The prior 1/(scale·shape) gives limits of exact coverage for complete and
//! failure-censored samples, as it is the right Haar measure of the log-location-scale
//! family. Source: J. F. Lawless, *Statistical Models and Methods for Lifetime Data*,
//! 2nd ed. (2003), appendix E and section 5.1 (conditional and posterior limits coincide).

mod conditional;
mod from_nodes;
mod panel;
mod prior;
mod reach;
pub mod several;

use statrs::function::gamma::ln_gamma;
use thiserror::Error;

use self::conditional::{Conditional, ScaleTable, ln_scale_mass};
pub(crate) use self::from_nodes::GridNode;
use self::panel::Panel;
pub use self::prior::ShapePrior;
use self::reach::{B_REACH, climb, edges, spread_at};
use super::common_shape::{OwnScale, open_end};
use super::family::Family;
use super::fit::best_scale;
use super::fit_error::one_usage;
use super::likelihood::Likelihood;
use super::limits::Limits;
use super::numeric::{GAUSS_10, root};
use super::target::Target;
use crate::life::{End, Life, Sample};

/// Why there is no posterior.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum PosteriorError {
    /// Without a failure the scale has no upper end.
    #[error("no failure: the posterior of the scale has no upper end")]
    NoFailures,
    /// Every life is a failure found at its first look: no prior closes the scale.
    #[error(
        "every life had already failed at its first look: the posterior of the scale has no lower end"
    )]
    AllFailedAtFirstLook { lives: u64 },
    /// The density does not fall off: these data and this prior leave the shape open.
    #[error(
        "too few failures bound the shape under the prior 1/shape: two at different usages, each known to have come after a usage at which the item was sound, are the least"
    )]
    Improper { failures: u64 },
    /// No life was watched from new, so that nothing ends the shape downwards.
    #[error(
        "every life came under watch with usage already on it (at least {first_entry}): under the prior 1/shape the shape has no lower end"
    )]
    NothingFromNew { first_entry: f64 },
}

/// A value of the shape with its weight and the scale's distribution given it.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub shape: f64,
    /// Weights sum to 1.
    pub weight: f64,
    /// Log of mean life over scale.
    pub ln_mean_factor: f64,
    pub scale: Conditional,
}

/// The posterior of shape and scale, ready to be asked.
#[derive(Debug, Clone)]
pub struct Posterior {
    likelihood: Likelihood,
    failures: u64,
    nodes: Vec<Node>,
    panels: Vec<Panel>,
    /// Log of the density's normaliser, relative to `ln_marginal`.
    ln_norm: f64,
    /// ln shape, where the nodes came ready made and there are no panels.
    shape_table: Option<ScaleTable>,
}

/// Nodes lighter than this share of the peak are left out.
const LEAST_WEIGHT: f64 = 1e-11;

impl Posterior {
    /// Builds the posterior.
    ///
    /// Accuracy: quantiles to 1e-6 relative without windows, 1e-5 with
    /// (`tests/numbers/model.rs`, and against a doubled rule).
    /// Errors: [`PosteriorError`].
    pub fn new(sample: &Sample, prior: ShapePrior) -> Result<Self, PosteriorError> {
        Self::of(sample, Family::Weibull, prior)
    }

    /// As [`Posterior::new`] for either family; the lognormal's shape is `1/sigma`, so that the
    /// flat prior is `1/sigma` too.
    pub fn of(sample: &Sample, family: Family, prior: ShapePrior) -> Result<Self, PosteriorError> {
        let failures = sample.failures();
        check_scale(sample)?;
        let improper = improper(sample.lives(), failures, prior);
        if prior == ShapePrior::Flat && (bounding(sample) < 2 || runs_up(sample)) {
            return Err(improper);
        }
        let likelihood = Likelihood::of(sample, family);
        let marginal = |b: f64| ln_marginal(&likelihood, prior, failures, b);
        let (peak, top) = climb(marginal, 0.5).ok_or(improper)?;
        let spread = spread_at(marginal, peak, top);
        let edges = edges(marginal, peak, top, prior.panel() * spread).ok_or(improper)?;

        let mut nodes = Vec::with_capacity(10 * edges.len());
        let mut panels = Vec::with_capacity(edges.len());
        let mut total = 0.0;
        for pair in edges.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let half = 0.5 * (to - from);
            let mut density = [0.0; 10];
            for ((x, w), density) in GAUSS_10.into_iter().zip(&mut density) {
                let b = from + half * (1.0 + x);
                // An open likelihood is tabulated anyway, and the table tells its mass too.
                let (ln_data, scale) = node_at(&likelihood, failures, b);
                *density = (ln_data + prior.ln_density(b) - top).exp();
                let weight = half * w * *density;
                if weight > LEAST_WEIGHT {
                    let shape = b.exp();
                    nodes.push(Node {
                        shape,
                        weight,
                        ln_mean_factor: family.ln_mean_factor(b)[0],
                        scale,
                    });
                }
            }
            let panel = Panel::new(from, to, total, &density);
            total += panel.mass;
            panels.push(panel);
        }
        if !(total.is_finite() && total > 0.0) {
            return Err(improper);
        }
        for node in &mut nodes {
            node.weight /= total;
        }
        let panels = panels.into_iter().map(|panel| panel.over(total)).collect();
        Ok(Posterior {
            likelihood,
            failures,
            nodes,
            panels,
            ln_norm: top + total.ln(),
            shape_table: None,
        })
    }

    /// The posterior of the scale where the shape is stated: prior 1/scale.
    ///
    /// Errors: [`PosteriorError::NoFailures`], [`PosteriorError::AllFailedAtFirstLook`].
    pub fn at_shape(sample: &Sample, shape: f64) -> Result<Self, PosteriorError> {
        let failures = sample.failures();
        check_scale(sample)?;
        let likelihood = Likelihood::new(sample);
        let b = shape.ln();
        let scale = conditional_at(&likelihood, failures, b);
        Ok(Posterior {
            nodes: vec![Node {
                shape,
                weight: 1.0,
                ln_mean_factor: Family::Weibull.ln_mean_factor(b)[0],
                scale,
            }],
            likelihood,
            failures,
            panels: Vec::new(),
            shape_table: None,
            ln_norm: 0.0,
        })
    }

    fn family(&self) -> Family {
        self.likelihood.family()
    }

    /// Failures that it rests on.
    pub fn failures(&self) -> u64 {
        self.failures
    }

    pub(crate) fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Log of the longest usage: scales inside nodes are relative to it.
    pub(crate) fn shift(&self) -> f64 {
        self.likelihood.shift()
    }

    /// Internal log of the geometric mean of the lives' last usages.
    pub(crate) fn ln_middle(&self) -> f64 {
        self.likelihood.ln_middle()
    }

    /// The value below which the target lies with probability `p`.
    ///
    /// Domain: `0 < p < 1`. `None` where the quantile lies beyond any double.
    pub fn quantile(&self, target: Target, p: f64) -> Option<f64> {
        match target {
            Target::Shape => self.shape_quantile(p),
            // R falls with z, so its p-quantile is the (1−p)-quantile of z.
            Target::Reliability(_) => self
                .search_quantile(target, 1.0 - p)
                .map(|x| target.value_at(self.family(), x)),
            _ => self
                .search_quantile(target, p)
                .map(f64::exp)
                .filter(|q| q.is_finite() && *q > 0.0),
        }
    }

    /// Probability that the target lies below `value` (in its own unit, above 0).
    pub fn below(&self, target: Target, value: f64) -> f64 {
        match target {
            Target::Shape => self.shape_below(value.ln()),
            Target::Reliability(_) => {
                1.0 - self.search_cdf(target, self.family().z_at(1.0 - value)).0
            }
            _ => self.search_cdf(target, value.ln()).0,
        }
    }

    fn shape_below(&self, b: f64) -> f64 {
        if let Some(table) = &self.shape_table {
            return table.cdf(b).0;
        }
        match self.panels.iter().rfind(|panel| panel.from <= b) {
            Some(panel) if b >= panel.to => panel.below + panel.mass,
            Some(panel) => panel.below + panel.mass_to(b),
            None => 0.0,
        }
    }

    /// Log of the integral of likelihood times prior over ln scale and ln shape, constants of the
    /// likelihood kept, the shape prior's own normaliser left out: for weighing posteriors of
    /// one prior against each other.
    pub fn ln_evidence(&self) -> f64 {
        if !self.likelihood.is_closed() {
            return self.ln_norm;
        }
        let r = self.failures as f64;
        self.ln_norm + ln_gamma(r) - self.likelihood.sum_ln_failures() - r * self.shift()
    }

    /// Median and two-sided limits.
    pub fn limits(&self, target: Target, confidence: f64) -> Limits {
        let tail = 0.5 * (1.0 - confidence);
        Limits {
            median: self.quantile(target, 0.5),
            lower: self.quantile(target, tail),
            upper: self.quantile(target, 1.0 - tail),
        }
    }

    fn shape_quantile(&self, p: f64) -> Option<f64> {
        if let Some(table) = &self.shape_table {
            return Some(table.quantile(p).exp());
        }
        if let ([only], true) = (self.nodes.as_slice(), self.panels.is_empty()) {
            return Some(only.shape);
        }
        let panel = self.panels.iter().rfind(|panel| panel.below <= p)?;
        let share = p - panel.below;
        let end = panel.to.min(B_REACH);
        if share >= panel.mass {
            return Some(end.exp());
        }
        root(|b| panel.mass_to(b) - share, panel.from, end, 1e-12)
            .ok()
            .map(f64::exp)
    }

    /// Probability that the target's search value lies below `x`, and its slope in `x`.
    fn search_cdf(&self, target: Target, x: f64) -> (f64, f64) {
        let shift = self.shift();
        let z = match target {
            Target::LifeAt(share) => self.family().z_at(share),
            _ => 0.0,
        };
        let mut below = 0.0;
        let mut slope = 0.0;
        for node in &self.nodes {
            let k = node.shape;
            let (a, turn) = match target {
                Target::Scale => (x, 1.0),
                Target::LifeAt(_) => (x - z / k, 1.0),
                Target::Mean => (x - node.ln_mean_factor, 1.0),
                Target::Reliability(t) => (t.ln() - x / k, -1.0 / k),
                Target::Hazard(t) => {
                    let z = self.family().z_at_ln_hazard(x + t.ln() - k.ln());
                    (t.ln() - z / k, -1.0 / (k * self.family().ln_hazard(z)[1]))
                }
                Target::Shape => (f64::NAN, 0.0),
            };
            let (cdf, density) = node.scale.cdf(k, a - shift);
            below += node.weight * cdf;
            slope += node.weight * density * turn;
        }
        // Where it falls as the scale rises, turn the probability round.
        if target.falls_with_scale() {
            (1.0 - below, -slope)
        } else {
            (below, slope)
        }
    }

    /// Quantile on the search scale: Newton on the log odds, kept within a bracket.
    fn search_quantile(&self, target: Target, p: f64) -> Option<f64> {
        let wanted = (p / (1.0 - p)).ln();
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let mut x = self.guess(target);
        let mut step_limit = 4.0_f64;
        for pass in 0..400 {
            let (below, slope) = self.search_cdf(target, x);
            if below < p {
                low = low.max(x);
            } else {
                high = high.min(x);
            }
            let above = 1.0 - below;
            let newton = if below > 1e-12 && above > 1e-12 && slope > 0.0 {
                (wanted - (below / above).ln()) * below * above / slope
            } else {
                f64::INFINITY.copysign(p - below)
            };
            if newton.is_nan() {
                return None;
            }
            if newton.abs() < 1e-11 {
                return Some(x + newton);
            }
            let mut next = x + newton.clamp(-step_limit, step_limit);
            if !(next > low && next < high) {
                next = 0.5 * (low + high);
            }
            if next == x || (high - low).abs() < 1e-12 * (1.0 + x.abs()) {
                return Some(next);
            }
            // Far quantiles of an open scale may lie hundreds of ln units out.
            if pass % 8 == 7 {
                step_limit *= 2.0;
            }
            if next.abs() > 1e5 {
                return None;
            }
            x = next;
        }
        None
    }

    /// The target at the heaviest node and its middle scale: a place to start.
    fn guess(&self, target: Target) -> f64 {
        let heaviest = self
            .nodes
            .iter()
            .max_by(|x, y| x.weight.total_cmp(&y.weight));
        let Some(node) = heaviest else { return 0.0 };
        let a = node.scale.quantile(node.shape, 0.5) + self.shift();
        let x = target.search_at(self.family(), a, node.shape.ln());
        if x.is_finite() { x } else { self.shift() }
    }
}

/// The prior 1/scale needs a failure to end the scale upwards, and a life seen sound to end it
/// downwards.
fn check_scale(sample: &Sample) -> Result<(), PosteriorError> {
    match open_end(sample) {
        None => Ok(()),
        Some(OwnScale::NoLowerEnd) => Err(PosteriorError::AllFailedAtFirstLook {
            lives: sample.count(),
        }),
        Some(_) => Err(PosteriorError::NoFailures),
    }
}

/// Why a density that does not fall off is open. As `k` falls to 0 the sum `S(k)` of lives from
/// new stays above 0; without one it falls as `k` does, and the density in `ln k` grows as
/// `1/k` whatever the number of failures; only where many of them put that stretch beyond
/// the density's drop is it left out. A proper prior closes that end.
pub(super) fn improper(lives: &[Life], failures: u64, prior: ShapePrior) -> PosteriorError {
    let entries = lives.iter().map(|life| life.entry);
    let first_entry = entries.fold(f64::INFINITY, f64::min);
    if prior == ShapePrior::Flat && first_entry > 0.0 && first_entry.is_finite() {
        return PosteriorError::NothingFromNew { first_entry };
    }
    PosteriorError::Improper { failures }
}

/// True where one usage fits every failure and nothing ran beyond it, so that the density does
/// not fall as the shape grows. Where windows only touch it falls as 1/shape, the stretch of
/// scales that fits them shrinking: limits would exist and reach to shapes past any use, so
/// they are refused all the same.
fn runs_up(sample: &Sample) -> bool {
    one_usage(sample).is_some()
}

/// Failures that hold the shape away from 0: each known exactly, or to lie beyond a usage at
/// which the item was sound, brings a factor `k` into the likelihood as `k` falls to 0,
/// and the integral over the scale takes one away. Under the prior 1/shape two are needed.
fn bounding(sample: &Sample) -> u64 {
    sample
        .lives()
        .iter()
        .filter(|life| match life.end {
            End::Failure { .. } | End::Interval { .. } => true,
            // An item that came under watch used was sound at that age.
            End::Left { .. } => life.entry > 0.0,
            End::Suspension { .. } => false,
        })
        .map(|life| u64::from(life.count))
        .sum()
}

/// Log of the unnormalised posterior density of `b`.
fn ln_marginal(likelihood: &Likelihood, prior: ShapePrior, failures: u64, b: f64) -> f64 {
    let data = if likelihood.is_closed() {
        closed_at(likelihood, failures, b).0
    } else {
        ln_scale_mass(likelihood, best_scale(likelihood, b), b)
    };
    data + prior.ln_density(b)
}

/// Log of the likelihood's integral over the scale at `b`, without constants, and `ln S`.
fn closed_at(likelihood: &Likelihood, failures: u64, b: f64) -> (f64, f64) {
    let k = b.exp();
    let r = failures as f64;
    let ln_sum = likelihood.power_sum(k).ln();
    (
        (r - 1.0) * b + k * likelihood.sum_ln_failures() - r * ln_sum,
        ln_sum,
    )
}

/// Log of the likelihood's integral over the scale at `b`, and the scale's distribution there.
fn node_at(likelihood: &Likelihood, failures: u64, b: f64) -> (f64, Conditional) {
    if likelihood.is_closed() {
        let (ln_data, ln_sum) = closed_at(likelihood, failures, b);
        let order = failures;
        return (ln_data, Conditional::Gamma { order, ln_sum });
    }
    let (ln_mass, table) = ScaleTable::new(likelihood, best_scale(likelihood, b), b);
    (ln_mass, Conditional::Table(table))
}

/// The scale's distribution at `b`.
fn conditional_at(likelihood: &Likelihood, failures: u64, b: f64) -> Conditional {
    node_at(likelihood, failures, b).1
}
