//! How many times as long one group's lives are as another's, at a common shape.
//!
//! In: samples, the common-shape fit, the kind of limits. Out: [`LifeRatio`].
//! Never: what the groups are; whether the shape is common (see `compare`).
//!
//! At one shape the ratio of two scales is the ratio of every quantile and of the means.
//! Limits: posterior (see `posterior::several`); profile likelihood ratio: holding the ratio
//! at `e^ρ` is fitting one scale to the base group's lives and the other's divided by `e^ρ`
//! (each exact failure's density brings a factor `e^(−ρ)`); Wald: `exp(ρ ∓ z·se(ρ))`.
//! Source: Lawless (2003), section 5.2.

use super::common_shape::{CommonShape, OwnScale, fit_common_shape};
use super::limits::{Limits, LimitsKind};
use super::numeric::{chi_square_1_quantile, normal_quantile, root_outward};
use super::posterior::PosteriorError;
use super::posterior::several::SeveralPosterior;
use crate::life::{End, Life, Sample};

/// What is to know about a ratio beside its figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RatioNote {
    /// The group has no failure: its lives may be any number of times as long.
    GroupWithoutFailure,
    /// The group it is compared with has no failure.
    BaseWithoutFailure,
    /// Nothing in the group is known to have survived: its lives may be as short as one likes.
    GroupWithoutSurvivor,
    /// The same of the group it is compared with.
    BaseWithoutSurvivor,
    /// No posterior limits; likelihood-ratio limits stand instead.
    NoPosterior(PosteriorError),
}

/// Life of one group over life of another, at the common shape.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeRatio {
    pub of: usize,
    pub to: usize,
    /// Maximum-likelihood ratio; `None` where either scale is open.
    pub estimate: Option<f64>,
    /// A side the data do not bound is `None`.
    pub limits: Limits,
    /// The kind these limits are of: where the kind asked for has no answer,
    /// likelihood-ratio limits are given and a note says why.
    pub kind: LimitsKind,
    pub notes: Vec<RatioNote>,
}

/// How far from the estimate, in ln units, a limit is looked for before it counts as absent.
const REACH: f64 = 60.0;

/// The ratio of group `of` to group `to` with limits.
///
/// `posterior` is asked where posterior limits are wanted.
/// Domain: `0 < confidence < 1`, two-sided; `of` and `to` differ.
pub fn life_ratio(
    samples: &[&Sample],
    common: &CommonShape,
    posterior: Option<&Result<SeveralPosterior, PosteriorError>>,
    (of, to): (usize, usize),
    (kind, confidence): (LimitsKind, f64),
) -> LifeRatio {
    let estimate = common.ln_ratio(of, to);
    let mut found = LifeRatio {
        of,
        to,
        estimate: estimate.map(|(ln_ratio, _)| ln_ratio.exp()),
        limits: Limits::default(),
        kind,
        notes: open_notes(common, of, to),
    };
    if kind == LimitsKind::None {
        return found;
    }
    let profile = Profile {
        samples,
        common,
        of,
        to,
        confidence,
    };
    let Some((middle, error)) = estimate else {
        found.kind = LimitsKind::LikelihoodRatio;
        found.limits = profile.open_limits();
        return found;
    };
    match (kind, posterior) {
        (LimitsKind::Wald, _) => {
            let reach = normal_quantile(0.5 * (1.0 + confidence)) * error;
            found.limits = Limits {
                median: None,
                lower: Some((middle - reach).exp()),
                upper: Some((middle + reach).exp()),
            };
        }
        (LimitsKind::Posterior, Some(Ok(posterior))) => {
            found.limits = posterior.ratio_limits(of, to, confidence, middle.exp());
        }
        (asked, posterior) => {
            if let (LimitsKind::Posterior, Some(Err(error))) = (asked, posterior) {
                found.notes.push(RatioNote::NoPosterior(*error));
            }
            found.kind = LimitsKind::LikelihoodRatio;
            found.limits = Limits {
                median: None,
                lower: profile.side(middle, -error),
                upper: profile.side(middle, error),
            };
        }
    }
    found
}

fn open_notes(common: &CommonShape, of: usize, to: usize) -> Vec<RatioNote> {
    let note = |group: usize, no_failure, no_survivor| match common.scales[group] {
        OwnScale::At { .. } => None,
        OwnScale::NoUpperEnd => Some(no_failure),
        OwnScale::NoLowerEnd => Some(no_survivor),
    };
    let one = note(
        of,
        RatioNote::GroupWithoutFailure,
        RatioNote::GroupWithoutSurvivor,
    );
    let other = note(
        to,
        RatioNote::BaseWithoutFailure,
        RatioNote::BaseWithoutSurvivor,
    );
    one.into_iter().chain(other).collect()
}

/// The likelihood with the ratio held.
struct Profile<'a> {
    samples: &'a [&'a Sample],
    common: &'a CommonShape,
    of: usize,
    to: usize,
    confidence: f64,
}

impl Profile<'_> {
    /// How far the likelihood at ratio `e^rho` has fallen below what the limits allow; not a
    /// number where it has no highest point.
    fn excess(&self, rho: f64) -> f64 {
        let drop = 0.5 * chi_square_1_quantile(self.confidence);
        self.held(rho)
            .map_or(f64::NAN, |value| self.common.log_likelihood - value - drop)
    }

    fn held(&self, rho: f64) -> Option<f64> {
        let factor = (-rho).exp();
        let of = self.samples[self.of];
        let mut both = self.samples[self.to].lives().to_vec();
        both.extend(of.lives().iter().map(|life| stretched(life, factor)));
        let both = Sample::new(both).ok()?;
        let mut held = vec![&both];
        let others = self.samples.iter().enumerate();
        held.extend(
            others
                .filter(|(n, _)| *n != self.of && *n != self.to)
                .map(|(_, s)| *s),
        );
        let fit = fit_common_shape(&held).ok()?;
        Some(fit.log_likelihood - rho * of.exact_failures() as f64)
    }

    /// The limit on the side the step points to.
    fn side(&self, from: f64, step: f64) -> Option<f64> {
        let reach = REACH.max(50.0 * step.abs());
        root_outward(|rho| self.excess(rho), from, step, reach, 1e-12).map(f64::exp)
    }

    /// Where the likelihood rises without end towards one side, only the other has a limit.
    fn open_limits(&self) -> Limits {
        let scale = |group: usize| self.common.scales[group];
        let upward = match (scale(self.of), scale(self.to)) {
            (OwnScale::NoUpperEnd, OwnScale::At { .. } | OwnScale::NoLowerEnd)
            | (OwnScale::At { .. }, OwnScale::NoLowerEnd) => true,
            (OwnScale::NoLowerEnd, OwnScale::At { .. } | OwnScale::NoUpperEnd)
            | (OwnScale::At { .. }, OwnScale::NoUpperEnd) => false,
            // Both scales open to the same side: nothing is known of the ratio.
            _ => return Limits::default(),
        };
        let sign = if upward { 1.0 } else { -1.0 };
        let mut inside = 0.0;
        while self.excess(inside) >= 0.0 || self.excess(inside).is_nan() {
            inside += sign;
            if inside.abs() > 2.0 * REACH {
                return Limits::default();
            }
        }
        let limit = self.side(inside, -0.25 * sign);
        if upward {
            Limits {
                lower: limit,
                ..Limits::default()
            }
        } else {
            Limits {
                upper: limit,
                ..Limits::default()
            }
        }
    }
}

/// A life in which every usage is multiplied.
pub(super) fn stretched(life: &Life, factor: f64) -> Life {
    Life {
        entry: life.entry * factor,
        count: life.count,
        end: match life.end {
            End::Failure { at } => End::Failure { at: at * factor },
            End::Suspension { at } => End::Suspension { at: at * factor },
            End::Interval { lo, hi } => End::Interval {
                lo: lo * factor,
                hi: hi * factor,
            },
            End::Left { hi } => End::Left { hi: hi * factor },
        },
    }
}
