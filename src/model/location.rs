//! The three-parameter Weibull: a life that cannot fail before its location.
//!
//! In: a [`Sample`]. Out: [`LocationFit`], Wald limits, [`LocationPosterior`].
//! Never: a location below 0 (an item cannot have failed before it was put in) or at the
//! first failure, where the likelihood has no bound.
//!
//! `g` location: usage beyond it, `t − g`, is Weibull. For every `g` the other two parameters
//! are fitted; the profile's score in `g` is searched for the points where it falls through 0.
//! Source: Meeker & Escobar (1998), section 11.7 (threshold distributions, unbounded
//! likelihood); R. A. Lockhart & M. A. Stephens, *J. R. Statist. Soc.* B 56 (1994) 491-500.

use super::fit::{FitError, WeibullFit, fit_weibull};
use super::likelihood::Likelihood;
use super::limits::Limits;
use super::numeric::{normal_quantile, root};
use super::posterior::{Posterior, PosteriorError, ShapePrior};
use super::target::Target;
use super::weibull::Weibull;
use crate::life::{End, Life, Sample};

/// A three-parameter Weibull estimate: a local maximum of the likelihood with the location at
/// or above 0.
#[derive(Debug, Clone, PartialEq)]
pub struct LocationFit {
    /// 0 where the likelihood falls from 0 on: the data ask for no location.
    pub location: f64,
    /// The life beyond the location.
    pub beyond: WeibullFit,
    /// Score of the profile in the location, times the distance to the first failure.
    pub gradient: f64,
    /// Covariance of `(location, ln scale, ln shape)` from the observed information; `None` at
    /// location 0 or where the information is not positive definite.
    pub covariance: Option<[[f64; 3]; 3]>,
    /// Lives in the sample, those that the location makes certain included.
    pub lives: u64,
}

/// The first usage by which an item is known to have failed: locations lie below it.
fn first_failure(sample: &Sample) -> f64 {
    sample
        .lives()
        .iter()
        .filter(|life| life.failed())
        .map(Life::last_usage)
        .fold(f64::INFINITY, f64::min)
}

/// The sample with usage counted from the location. Lives cut short before it are certain
/// to have lasted and tell nothing more.
fn beyond(sample: &Sample, location: f64) -> Sample {
    let late = |t: f64| (t - location).max(0.0);
    let lives = sample
        .lives()
        .iter()
        .filter(|life| life.last_usage() > location)
        .map(|life| Life {
            entry: late(life.entry),
            count: life.count,
            end: match life.end {
                End::Failure { at } => End::Failure { at: late(at) },
                End::Suspension { at } => End::Suspension { at: late(at) },
                End::Interval { lo, hi } => End::Interval {
                    lo: late(lo),
                    hi: late(hi),
                },
                End::Left { hi } => End::Left { hi: late(hi) },
            },
        })
        .collect();
    // What is left of a checked sample beyond a usage below its first failure is in order.
    Sample::new(lives).unwrap_or_default()
}

/// Derivative of the log-likelihood in the location at fixed scale and shape.
fn score(sample: &Sample, location: f64, life: &Weibull) -> f64 {
    let hazard = |t: f64| {
        if t > location {
            life.hazard(t - location)
        } else {
            0.0
        }
    };
    let density = |t: f64| hazard(t) * life.reliability(t - location);
    sample
        .lives()
        .iter()
        .map(|l| {
            let end = match l.end {
                End::Failure { at } => hazard(at) - (life.shape - 1.0) / (at - location),
                End::Suspension { at } => hazard(at),
                End::Interval { lo, hi } => {
                    (density(lo) - density(hi))
                        / (life.reliability(lo - location) - life.reliability(hi - location))
                }
                End::Left { hi } => {
                    let lo = l.entry;
                    (density(lo) - density(hi))
                        / (life.reliability(lo - location) - life.reliability(hi - location))
                }
            };
            f64::from(l.count) * (end - hazard(l.entry))
        })
        .sum()
}

/// A point of the profile: the fit beyond a location and the score there.
fn at(sample: &Sample, location: f64) -> Option<(WeibullFit, f64)> {
    let fit = fit_weibull(&beyond(sample, location)).ok()?;
    let score = score(sample, location, &fit.weibull);
    score.is_finite().then_some((fit, score))
}

/// Fractions of the way from 0 to the first failure at which the profile is looked at.
fn look(first: f64, n: usize) -> f64 {
    first * -(-0.12 * n as f64).exp_m1()
}

const LOOKS: usize = 90;

/// Fits location, scale and shape by maximum likelihood.
///
/// The highest local maximum with `0 <= location < first failure`; the unbounded corner at the
/// first failure is no estimate.
/// Errors: as [`fit_weibull`]; [`FitError::LocationTowardsFirst`] where the likelihood only
/// rises towards the corner. Accuracy: 1e-8 relative (`tests/numbers/models.rs`).
pub fn fit_location(sample: &Sample) -> Result<LocationFit, FitError> {
    let without = fit_weibull(sample)?;
    let first = first_failure(sample);
    let start_score = score(sample, 0.0, &without.weibull);
    let mut best: Option<(f64, WeibullFit)> = (start_score <= 0.0).then(|| (0.0, without.clone()));
    let mut last = (0.0, start_score);
    for n in 1..=LOOKS {
        let location = look(first, n);
        let Some((_, here)) = at(sample, location) else {
            break;
        };
        if last.1 > 0.0 && here <= 0.0 {
            let top = root(
                |g| at(sample, g).map_or(f64::NAN, |(_, s)| s * (first - g)),
                last.0,
                location,
                1e-13 * first,
            );
            if let Some((g, (fit, _))) = top.ok().and_then(|g| Some((g, at(sample, g)?)))
                && best
                    .as_ref()
                    .is_none_or(|(_, b)| fit.log_likelihood > b.log_likelihood)
            {
                best = Some((g, fit));
            }
        }
        last = (location, here);
    }
    let Some((location, fit)) = best else {
        return Err(FitError::LocationTowardsFirst { first });
    };
    let gradient = if location > 0.0 {
        (score(sample, location, &fit.weibull) * (first - location)).abs()
    } else {
        0.0
    };
    if gradient > 1e-6 * fit.failures as f64 {
        return Err(FitError::NotConverged {
            shape: fit.weibull.shape,
            scale: fit.weibull.scale,
            gradient,
        });
    }
    let covariance = (location > 0.0)
        .then(|| covariance(sample, location, &fit.weibull, first))
        .flatten();
    Ok(LocationFit {
        location,
        gradient,
        covariance,
        lives: sample.count(),
        beyond: fit,
    })
}

/// First derivatives of the log-likelihood in `(location, ln scale, ln shape)`.
fn gradient_at(sample: &Sample, [g, a, b]: [f64; 3]) -> [f64; 3] {
    let rest = beyond(sample, g);
    let likelihood = Likelihood::new(&rest);
    let slope = likelihood.slope(a - likelihood.shift(), b);
    let life = Weibull {
        shape: b.exp(),
        scale: a.exp(),
    };
    [
        score(sample, g, &life),
        slope.gradient[0],
        slope.gradient[1],
    ]
}

/// The inverse of the observed information, by central differences of the gradient.
fn covariance(sample: &Sample, location: f64, life: &Weibull, first: f64) -> Option<[[f64; 3]; 3]> {
    let here = [location, life.scale.ln(), life.shape.ln()];
    let steps = [1e-5 * (first - location), 1e-5, 1e-5];
    let mut information = [[0.0; 3]; 3];
    for n in 0..3 {
        let moved = |sign: f64| {
            let mut there = here;
            there[n] += sign * steps[n];
            gradient_at(sample, there)
        };
        let (ahead, behind) = (moved(1.0), moved(-1.0));
        for m in 0..3 {
            information[m][n] = -(ahead[m] - behind[m]) / (2.0 * steps[n]);
        }
    }
    invert(information)
}

/// Inverse of a symmetric positive definite matrix; `None` where it is neither.
fn invert(m: [[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let s = |i: usize, j: usize| 0.5 * (m[i][j] + m[j][i]);
    let minor = s(0, 0) * s(1, 1) - s(0, 1) * s(0, 1);
    let cofactor = |i: usize, j: usize| {
        let (a, b) = ((i + 1) % 3, (i + 2) % 3);
        let (c, d) = ((j + 1) % 3, (j + 2) % 3);
        s(a, c) * s(b, d) - s(a, d) * s(b, c)
    };
    let determinant = (0..3).map(|j| s(0, j) * cofactor(0, j)).sum::<f64>();
    if !(s(0, 0) > 0.0 && minor > 0.0 && determinant > 0.0) {
        return None;
    }
    let mut inverse = [[0.0; 3]; 3];
    for (i, row) in inverse.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            *cell = cofactor(j, i) / determinant;
        }
    }
    Some(inverse)
}

impl LocationFit {
    /// Natural log of the likelihood, constants kept.
    pub fn log_likelihood(&self) -> f64 {
        self.beyond.log_likelihood
    }

    /// A quantity of the whole life: location added where it counts.
    pub fn value(&self, target: Target) -> f64 {
        let life = &self.beyond.weibull;
        match target {
            Target::Shape | Target::Scale => target.of(life),
            Target::LifeAt(_) | Target::Mean => self.location + target.of(life),
            Target::Reliability(t) => life.reliability(t - self.location),
            Target::Hazard(t) if t <= self.location => 0.0,
            Target::Hazard(t) => life.hazard(t - self.location),
        }
    }

    /// Wald limits on the log scale, by the delta method; for the location itself on its own
    /// scale, cut at 0. `None` without a covariance.
    pub fn wald(&self, target: Option<Target>, confidence: f64) -> Option<Limits> {
        let c = self.covariance?;
        let z = normal_quantile(0.5 * (1.0 + confidence));
        let Some(target) = target else {
            let reach = z * c[0][0].sqrt();
            return Some(Limits {
                median: None,
                lower: Some((self.location - reach).max(0.0)),
                upper: Some(self.location + reach),
            });
        };
        let (a, b) = (
            self.beyond.weibull.scale.ln(),
            self.beyond.weibull.shape.ln(),
        );
        let inner = target.gradient(super::family::Family::Weibull, a, b);
        let value = self.value(target);
        // d ln(g + q)/dg = 1/(g + q), and what moves ln q moves ln(g + q) by q/(g + q) of it.
        let gradient = match target {
            Target::Shape | Target::Scale => [0.0, inner[0], inner[1]],
            Target::LifeAt(_) | Target::Mean => {
                let share = target.of(&self.beyond.weibull) / value;
                [1.0 / value, share * inner[0], share * inner[1]]
            }
            Target::Reliability(_) | Target::Hazard(_) => return None,
        };
        let mut variance = 0.0;
        for i in 0..3 {
            for j in 0..3 {
                variance += gradient[i] * c[i][j] * gradient[j];
            }
        }
        let reach = z * variance.sqrt();
        Some(Limits {
            median: None,
            lower: Some((value.ln() - reach).exp()),
            upper: Some((value.ln() + reach).exp()),
        })
    }
}

/// The posterior of location, scale and shape: the location even between 0 and the first
/// failure, 1/scale, and a proper prior for the shape (the flat one leaves mass without end at
/// the corner). A mixture of two-parameter posteriors over an even grid of
/// `v = −ln(1 − location/first)`.
///
/// Accuracy: about 1e-3 of a limit's probability.
#[derive(Debug, Clone)]
pub struct LocationPosterior {
    /// Location, weight (summing to 1), posterior of the life beyond.
    nodes: Vec<(f64, f64, Posterior)>,
}

const V_STEP: f64 = 0.15;
const V_COUNT: usize = 80;

impl LocationPosterior {
    /// Builds the posterior. `prior` must be proper: the decision's weak one, or a stated one.
    ///
    /// Errors: [`PosteriorError`].
    pub fn new(sample: &Sample, prior: ShapePrior) -> Result<Self, PosteriorError> {
        let failures = sample.failures();
        let first = first_failure(sample);
        if failures == 0 {
            return Err(PosteriorError::NoFailures);
        }
        let mut nodes = Vec::new();
        let mut top = f64::NEG_INFINITY;
        for n in 0..V_COUNT {
            let v = V_STEP * n as f64;
            let location = first * -(-v).exp_m1();
            let Ok(posterior) = Posterior::new(&beyond(sample, location), prior) else {
                break;
            };
            // d location = first·e^(−v) dv; the first node is an end of the trapezoidal rule.
            let end = if n == 0 { 0.5_f64.ln() } else { 0.0 };
            let ln_weight = posterior.ln_evidence() - v + end;
            top = top.max(ln_weight);
            nodes.push((location, ln_weight, posterior));
            if ln_weight < top - 16.0 {
                break;
            }
        }
        let total: f64 = nodes.iter().map(|n| (n.1 - top).exp()).sum();
        if !(total.is_finite() && total > 0.0) {
            return Err(PosteriorError::Improper { failures });
        }
        for node in &mut nodes {
            node.1 = (node.1 - top).exp() / total;
        }
        nodes.retain(|node| node.1 > 1e-7);
        Ok(LocationPosterior { nodes })
    }

    fn below(&self, target: Target, value: f64) -> f64 {
        self.nodes
            .iter()
            .map(|(location, weight, posterior)| {
                let shifted = match target {
                    Target::LifeAt(_) | Target::Mean => value - location,
                    _ => value,
                };
                if shifted > 0.0 {
                    weight * posterior.below(target, shifted)
                } else {
                    0.0
                }
            })
            .sum()
    }

    fn quantile(&self, target: Target, p: f64) -> Option<f64> {
        let ends: Vec<f64> = self
            .nodes
            .iter()
            .filter_map(|(location, _, posterior)| {
                let inner = posterior.quantile(target, p)?;
                Some(match target {
                    Target::LifeAt(_) | Target::Mean => location + inner,
                    _ => inner,
                })
            })
            .collect();
        let low = ends.iter().copied().fold(f64::INFINITY, f64::min).ln();
        let high = ends.iter().copied().fold(0.0, f64::max).ln();
        if !(low.is_finite() && high.is_finite()) {
            return None;
        }
        root(
            |x| self.below(target, x.exp()) - p,
            low - 1e-9,
            high + 1e-9,
            1e-9,
        )
        .ok()
        .map(f64::exp)
    }

    fn location_quantile(&self, p: f64) -> f64 {
        let mut below = 0.0;
        let mut last = (0.0, 0.0);
        for (n, (location, weight, _)) in self.nodes.iter().enumerate() {
            // A node stands at the middle of its weight; the first one at its start.
            let here = below + if n == 0 { 0.0 } else { 0.5 * weight };
            if here >= p && here > last.0 {
                let share = (p - last.0) / (here - last.0);
                return last.1 + share * (location - last.1);
            }
            last = (here, *location);
            below += weight;
        }
        last.1
    }

    /// Median and two-sided limits of a target; of the location where there is none.
    pub fn limits(&self, target: Option<Target>, confidence: f64) -> Limits {
        let tail = 0.5 * (1.0 - confidence);
        let [lower, median, upper] = [tail, 0.5, 1.0 - tail].map(|p| match target {
            Some(target) => self.quantile(target, p),
            None => Some(self.location_quantile(p)),
        });
        Limits {
            median,
            lower,
            upper,
        }
    }
}
