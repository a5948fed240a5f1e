//! Partial pooling: groups that lean on their siblings as far as the data say.
//!
//! In: a [`Sample`] a group and priors. Out: [`Partial`]: a [`Posterior`] a group, how far
//! groups differ, and how much each borrowed. Never: a point estimate of the spread;
//! sampling; what a group stands for.
//!
//! Model: one shape `k` for all groups; ln scale of group g normal around `m` with standard
//! deviation `τ`, the spread; `m` flat. The prior on the shape is the decision's or stated
//! ([`ShapePrior`]), that on the spread is [`SpreadPrior`]. Everything is integrated out on
//! even lattices (trapezoidal rule): scales and centre in [`lattice`], then spread and shape
//! here. At `τ = 0` the posterior is that of all lives together; as `τ` grows each group
//! comes to stand on its own lives, at the common shape.
//! Sources: A. Gelman, J. B. Carlin, H. S. Stern, D. B. Dunson, A. Vehtari & D. B. Rubin,
//! *Bayesian Data Analysis*, 3rd ed. (2013), chapter 5 (hierarchical models; eight schools),
//! and A. Gelman, *Bayesian Analysis* 1 (2006) 515-533 (priors for a between-group standard
//! deviation: half-normal or half-t, not inverse gamma).

mod lattice;

use self::lattice::{Centre, FINENESS, Member, Slice};
use super::likelihood::Likelihood;
use super::numeric::ln_sum_exp;
use super::posterior::{GridNode, Posterior, PosteriorError, ShapePrior};
use crate::life::Sample;

/// What is believed of the spread between groups before the data: with probability `none`
/// they do not differ, else the spread is half-normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadPrior {
    /// Probability that the groups do not differ at all.
    pub none: f64,
    /// Standard deviation of the normal curve of which the half above 0 is taken, in ln scale.
    pub scale: f64,
}

impl SpreadPrior {
    /// In two components of three positions do not differ; else the spread is half-normal with
    /// 0.5: as likely below 0.34 as above. Our own choice: `examples/pooling_study.rs` shows what it
    /// costs where nothing differs and gains where something does, DEVELOPERS.md what else
    /// was tried.
    pub const DECISION: SpreadPrior = SpreadPrior {
        none: 2.0 / 3.0,
        scale: 0.5,
    };

    /// Log density of the half-normal part at `tau`.
    fn ln_density(self, tau: f64) -> f64 {
        0.5 * (2.0 / std::f64::consts::PI).ln() - self.scale.ln() - 0.5 * (tau / self.scale).powi(2)
    }

    /// Spreads with their prior weight: 0, then evenly in ln. What lies below the least stands
    /// there: so small spreads cannot be told from each other by any record.
    fn nodes(self, groups: usize) -> Vec<(f64, f64)> {
        if self.none >= 1.0 || groups < 2 {
            return vec![(0.0, 1.0)];
        }
        // The more groups, the narrower what the data say of ln τ: about 1/√(2G).
        let ratio = (1.3 / (2.0 * groups as f64).sqrt()).min(0.28);
        let (low, high) = (LEAST * self.scale, MOST * self.scale);
        let steps = ((high / low).ln() / ratio).ceil() as usize;
        let ratio = (high / low).ln() / steps as f64;
        let mut slab: Vec<(f64, f64)> = (0..=steps)
            .map(|n| {
                let tau = low * (ratio * n as f64).exp();
                let edge = if n == 0 || n == steps { 0.5 } else { 1.0 };
                (tau, edge * ratio * tau * self.ln_density(tau).exp())
            })
            .collect();
        let below = low * self.ln_density(0.0).exp();
        slab[0].1 += below;
        let total: f64 = slab.iter().map(|s| s.1).sum();
        let share = (1.0 - self.none) / total;
        slab.iter_mut().for_each(|s| s.1 *= share);
        if self.none > 0.0 {
            slab.insert(0, (0.0, self.none));
        }
        slab
    }
}

/// The least spread told from 0, and the largest looked at, over the prior's scale.
const LEAST: f64 = 0.06;
const MOST: f64 = 4.0;
/// Spacing of the shapes, in standard deviations of their marginal.
const SHAPE_STEP: f64 = 0.5;
/// Shapes are followed down to e^(−DROP) of the peak.
const DROP: f64 = 18.0;
/// ln shape beyond which a density that has not fallen counts as open.
const REACH: f64 = 5.5;
/// Pairs of shape and spread lighter than this are left out of the tables.
const LEAST_WEIGHT: f64 = 1e-9;

/// One group after pooling.
#[derive(Debug, Clone)]
pub struct PartialGroup {
    pub posterior: Posterior,
    /// Share of the estimate of its ln scale that comes from its siblings, between 0 and 1:
    /// the posterior mean of `B·(1 − w)`. `B = v/(v + τ²)`, with `v = 1/(r·k²)` for `r`
    /// failures, is how far the group's own estimate is drawn to the centre; `w` is the
    /// group's own weight in that centre, `(v + τ²)^(−1)` over the sum of these over all
    /// groups. 1 for a group without failure; `1 − r/R` at `τ = 0`, `R` being all failures.
    pub borrowed: f64,
}

/// Groups partially pooled.
#[derive(Debug, Clone)]
pub struct Partial {
    /// In the order given.
    pub groups: Vec<PartialGroup>,
    /// Posterior probability that the groups do not differ.
    pub no_difference: f64,
    /// Spreads with their posterior weight, rising.
    spreads: Vec<(f64, f64)>,
}

impl Partial {
    /// Posterior mean of the spread between groups, in ln scale.
    pub fn spread_mean(&self) -> f64 {
        self.spreads.iter().map(|(tau, w)| tau * w).sum()
    }
}

/// Pools groups partially.
///
/// Units: usage of all samples alike. Domain: at least one group; a group may hold no
/// failure, or no life at all.
/// Accuracy: quantiles of a group's posterior to 1e-3 relative, its limits at `τ = 0` and
/// large `τ`, and an independent integration agree (`tests/numbers/partial.rs`).
/// Errors: [`PosteriorError`] where no group has a failure, or shape or centre stay open.
pub fn pool_partially(
    samples: &[Sample],
    shape: ShapePrior,
    spread: SpreadPrior,
) -> Result<Partial, PosteriorError> {
    let lives = samples.iter().flat_map(|s| s.lives().iter().copied());
    // Each life was checked in its own sample.
    let all = Sample::new(lives.collect()).unwrap_or_default();
    let failures = all.failures();
    if failures == 0 {
        return Err(PosteriorError::NoFailures);
    }
    let open = PosteriorError::Improper { failures };
    let whole = Likelihood::new(&all);
    let members: Vec<Member> = samples
        .iter()
        .map(|sample| {
            let likelihood = Likelihood::new(sample);
            Member {
                offset: whole.shift() - likelihood.shift(),
                failures: sample.failures(),
                likelihood,
            }
        })
        .collect();
    let spreads = spread.nodes(members.len());
    let hierarchy = Hierarchy {
        members: &members,
        shape,
        spreads: &spreads,
    };
    let (peak, step) = hierarchy.locate().ok_or(open)?;
    let mut slices = hierarchy.slices(peak, step).ok_or(open)?;
    let total = ln_sum_exp(slices.iter().map(|s| s.ln_weight));

    let mut seen = vec![0.0; spreads.len()];
    let mut borrowed = vec![0.0; members.len()];
    let mut nodes: Vec<Vec<GridNode>> = vec![Vec::new(); members.len()];
    for at in &mut slices {
        let mut kept = Vec::new();
        for (n, centre) in std::mem::take(&mut at.centres) {
            let weight = (spreads[n].1.ln() + centre.ln_mass + at.ln_prior - total).exp();
            seen[n] += weight;
            for (sum, share) in borrowed
                .iter_mut()
                .zip(shares(&members, at.b, spreads[n].0))
            {
                *sum += weight * share;
            }
            if weight > LEAST_WEIGHT {
                kept.push((spreads[n].0, weight, centre));
            }
        }
        let weight = (at.ln_weight - total).exp();
        if kept.is_empty() {
            continue;
        }
        for (list, density) in nodes.iter_mut().zip(at.slice.densities(&kept)) {
            list.push(GridNode {
                b: at.b,
                weight,
                from: density.from,
                step: density.step,
                ln_density: density.ln_density,
            });
        }
    }
    let all_seen: f64 = seen.iter().sum();
    let spreads: Vec<(f64, f64)> = spreads
        .iter()
        .zip(seen)
        .map(|((tau, _), weight)| (*tau, weight / all_seen))
        .collect();
    let marginal: Vec<f64> = slices.iter().map(|s| s.ln_weight - total).collect();
    let from = slices[0].b;
    let groups = nodes
        .into_iter()
        .zip(borrowed.iter().zip(&members))
        .map(|(nodes, (borrowed, member))| PartialGroup {
            posterior: Posterior::from_nodes(
                whole.clone(),
                failures,
                nodes,
                FINENESS,
                (from, step, &marginal),
            ),
            borrowed: if member.failures == 0 {
                1.0
            } else {
                (borrowed / all_seen).clamp(0.0, 1.0)
            },
        })
        .collect();
    Ok(Partial {
        groups,
        no_difference: spreads.iter().filter(|s| s.0 == 0.0).map(|s| s.1).sum(),
        spreads,
    })
}

/// The share of each group's estimate that is its siblings', at one shape and spread.
fn shares(members: &[Member], b: f64, tau: f64) -> Vec<f64> {
    let k = b.exp();
    let variance = |m: &Member| 1.0 / (m.failures as f64 * k * k) + tau * tau;
    let all: f64 = members.iter().map(|m| 1.0 / variance(m)).sum();
    members
        .iter()
        .map(|m| {
            if m.failures == 0 {
                return 1.0;
            }
            let whole = variance(m);
            let drawn = 1.0 - tau * tau / whole;
            drawn * (1.0 - 1.0 / (whole * all))
        })
        .collect()
}

struct Hierarchy<'a> {
    members: &'a [Member],
    shape: ShapePrior,
    spreads: &'a [(f64, f64)],
}

/// One shape with its sums.
struct AtShape<'a> {
    b: f64,
    slice: Slice<'a>,
    centres: Vec<(usize, Centre)>,
    ln_prior: f64,
    /// Log of prior times likelihood, spread and scales integrated out.
    ln_weight: f64,
}

impl<'a> Hierarchy<'a> {
    fn at(&self, b: f64) -> Option<AtShape<'a>> {
        let widest = self.spreads.last()?.0;
        let mut slice = Slice::new(self.members, b, widest)?;
        let mut centres = Vec::with_capacity(self.spreads.len());
        for (n, (tau, _)) in self.spreads.iter().enumerate() {
            centres.push((n, slice.centre(*tau)?));
        }
        let ln_prior = self.shape.ln_density(b);
        let ln_weight = ln_prior
            + ln_sum_exp(
                centres
                    .iter()
                    .map(|(n, centre)| self.spreads[*n].1.ln() + centre.ln_mass),
            );
        ln_weight.is_finite().then_some(AtShape {
            b,
            slice,
            centres,
            ln_prior,
            ln_weight,
        })
    }

    fn ln_marginal(&self, b: f64) -> Option<f64> {
        self.at(b).map(|at| at.ln_weight)
    }

    /// The peak of the shape's marginal, and the spacing to sum it with.
    fn locate(&self) -> Option<(f64, f64)> {
        let mut b = match self.shape {
            ShapePrior::Flat => 0.5,
            ShapePrior::LogNormal { mean, .. } => mean,
        };
        let mut width = 0.4;
        let mut top = self.ln_marginal(b)?;
        // Parabolas through three points: the peak need not be exact, nor the bend.
        for _ in 0..40 {
            let (left, right) = (self.ln_marginal(b - width)?, self.ln_marginal(b + width)?);
            let bend = left - 2.0 * top + right;
            let jump = if bend < 0.0 {
                (0.5 * width * (left - right) / bend).clamp(-1.5, 1.5)
            } else {
                3.0 * width * (right - left).signum()
            };
            let spread = (width * width / (-bend).max(1e-9)).sqrt();
            if bend < 0.0 && jump.abs() < 0.3 * spread && width < 2.0 * spread {
                return Some((b + jump, SHAPE_STEP * spread.clamp(1e-3, 1.5)));
            }
            if (b + jump).abs() > REACH {
                return None;
            }
            b += jump;
            width = spread.clamp(0.02, 0.6);
            top = self.ln_marginal(b)?;
        }
        None
    }

    /// Every shape that matters, rising. `None` where the density does not fall off.
    fn slices(&self, peak: f64, step: f64) -> Option<Vec<AtShape<'a>>> {
        let first = self.at(peak)?;
        let mut top = first.ln_weight;
        let mut side = |sign: f64| -> Option<Vec<AtShape<'a>>> {
            let mut list = Vec::new();
            for n in 1.. {
                let b = peak + sign * step * f64::from(n);
                if b.abs() > REACH {
                    return None;
                }
                let here = self.at(b)?;
                top = top.max(here.ln_weight);
                if here.ln_weight < top - DROP {
                    break;
                }
                list.push(here);
            }
            Some(list)
        };
        let mut all = side(-1.0)?;
        all.reverse();
        let above = side(1.0)?;
        all.push(first);
        all.extend(above);
        Some(all)
    }
}
