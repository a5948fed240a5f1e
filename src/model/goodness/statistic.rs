//! The distance between what was seen and what was fitted.
//!
//! In: a [`Sample`], a fitted [`Distribution`]. Out: A², W². Never: how large is large.
//!
//! `F̂` is the product-limit estimate, or Turnbull's where failures are known only within
//! windows; the failures of a window are spread over it as the model says, so that nothing is
//! held against a model of which the windows know nothing. With entry ages both sides are
//! given survival to the lowest of them.
//! Source: D'Agostino & Stephens (1986), sections 4.2 and 4.7.

use crate::life::Sample;
use crate::model::distribution::Distribution;
use crate::model::nonparametric::{LimitsScale, product_limit, turnbull};

/// A share that fails in `(from, to]`, or at `to` where both are equal.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Mass {
    from: f64,
    to: f64,
    mass: f64,
}

/// The share failed as the lives show it.
#[derive(Debug, Clone, PartialEq)]
struct Seen {
    /// Lowest entry age.
    from: f64,
    masses: Vec<Mass>,
    /// Last usage the lives tell of; `None` where all were seen to fail.
    until: Option<f64>,
}

/// Where the logs of the integral are cut off: a model that gives a failure seen a share of 0
/// is far off, not infinitely far.
const FLOOR: f64 = 1e-12;

/// A² of a sample and a model.
///
/// Formula: `A² = n ∫ (F̂ − F)²/(F(1 − F)) dF` from the lowest entry age to the last usage the
/// lives tell of. On a stretch where `F̂ − F = α + βu` with `u = F` (β = −1 between failures)
/// the integrand is `α²/u + (α + β)²/(1 − u) − β²`, so each stretch has a closed form. For a
/// complete sample this is the classical
/// `−n − (1/n) Σ (2i − 1)[ln u_i + ln(1 − u_{n+1−i})]`.
/// `None` for no lives, or where Turnbull's estimate did not converge.
/// Accuracy: 1e-10 (`tests/numbers/goodness.rs` holds it to the classical form and to
/// quadrature).
pub fn anderson_darling(sample: &Sample, model: &Distribution) -> Option<f64> {
    let seen = Seen::of(sample)?;
    let sum = seen.sum(model, |alpha, beta, [u0, v0], [u1, v1]| {
        let kept = [u0, v0, u1, v1].map(|x: f64| x.max(FLOOR));
        let [lu0, lv0, lu1, lv1] = kept.map(f64::ln);
        alpha * alpha * (lu1 - lu0) + (alpha + beta).powi(2) * (lv0 - lv1) - beta * beta * (u1 - u0)
    });
    Some((sample.count() as f64 * sum).max(0.0))
}

/// W², Cramér-von Mises: `n ∫ (F̂ − F)² dF` over the same range; complete samples have
/// `1/(12n) + Σ (u_i − (2i − 1)/(2n))²`.
pub fn cramer_von_mises(sample: &Sample, model: &Distribution) -> Option<f64> {
    let seen = Seen::of(sample)?;
    let sum = seen.sum(model, |alpha, beta, [u0, _], [u1, _]| {
        let (from, to) = (alpha + beta * u0, alpha + beta * u1);
        // Mean of the square of a straight line times its length.
        (u1 - u0) * (from * from + from * to + to * to) / 3.0
    });
    Some(sample.count() as f64 * sum)
}

impl Seen {
    fn of(sample: &Sample) -> Option<Self> {
        let lives = sample.lives();
        let from = (lives.iter().map(|l| l.entry)).reduce(f64::min)?;
        let last = |failed: bool| {
            (lives.iter().filter(|l| l.failed() == failed))
                .map(|l| l.last_usage())
                .fold(0.0, f64::max)
        };
        let (last_failed, last_sound) = (last(true), last(false));
        let mut seen = Seen {
            from,
            masses: Vec::with_capacity(lives.len()),
            until: (last_sound >= last_failed).then_some(last_sound),
        };
        if sample.intervals() == 0 {
            seen.step(sample, last_failed.max(last_sound))?;
        } else {
            seen.spread(sample)?;
        }
        Some(seen)
    }

    /// Failures at known usages: the product-limit estimate.
    fn step(&mut self, sample: &Sample, last: f64) -> Option<()> {
        let curve = product_limit(sample, 0.9, LimitsScale::Plain).ok()?;
        let mut share = 1.0;
        for step in &curve.steps {
            let (n, d) = (step.at_risk as f64, step.events as f64);
            // With late entry all at risk may have failed although others came later. Half of
            // one item is left then, as on probability paper, lest the curve end there.
            let left = if step.events < step.at_risk {
                n - d
            } else if step.time < last {
                0.5
            } else {
                0.0
            };
            let next = share * left / n;
            self.masses.push(Mass {
                from: step.time,
                to: step.time,
                mass: share - next,
            });
            share = next;
        }
        // All at risk at the last usage may have been suspensions there, or failures.
        self.until = (share > 0.0).then_some(last);
        Some(())
    }

    /// Failures in windows: Turnbull's estimate, as far as it tells of anything.
    fn spread(&mut self, sample: &Sample) -> Option<()> {
        let curve = turnbull(sample).ok()?;
        for step in &curve.steps {
            if step.mass > 0.0 {
                self.masses.push(Mass {
                    from: step.from,
                    to: step.to,
                    mass: step.mass,
                });
            }
        }
        let left = curve.steps.last().map_or(1.0, |step| step.estimate);
        self.until = (left > 0.0).then_some(curve.watch.until);
        // Beyond the usage where all under watch had failed the estimate is 0 by default.
        if let Some(emptied) = curve.emptied {
            self.masses.retain(|mass| mass.to < emptied);
            self.until = (curve.steps.iter())
                .find(|step| step.to >= emptied)
                .map(|step| step.from);
        }
        Some(())
    }

    /// Adds up `piece(α, β, [u0, 1 − u0], [u1, 1 − u1])` over all stretches on which
    /// `F̂ − F = α + βu`.
    fn sum(
        &self,
        model: &Distribution,
        piece: impl Fn(f64, f64, [f64; 2], [f64; 2]) -> f64,
    ) -> f64 {
        let (failed, left) = (model.failed_by(self.from), model.reliability(self.from));
        let share_at = |t: f64| {
            if t <= self.from || left <= 0.0 {
                return [0.0, 1.0];
            }
            let u = (model.failed_by(t) - failed) / left;
            let v = model.reliability(t) / left;
            [u.clamp(0.0, 1.0), v.clamp(0.0, 1.0)]
        };
        let mut sum = 0.0;
        let mut seen = 0.0;
        let mut here = [0.0, 1.0];
        for mass in &self.masses {
            let start = share_at(mass.from);
            sum += piece(seen, -1.0, here, start);
            here = start;
            if mass.to > mass.from {
                let end = share_at(mass.to);
                let width = end[0] - start[0];
                // A window in which the model sees nothing at all is a step to it.
                if width > FLOOR {
                    let slope = mass.mass / width;
                    sum += piece(seen - slope * start[0], slope - 1.0, start, end);
                }
                here = end;
            }
            seen += mass.mass;
        }
        let end = match self.until {
            Some(until) => share_at(until),
            None => {
                // All have failed: what rounding left of the last step is no distance.
                seen = 1.0;
                [1.0, 0.0]
            }
        };
        sum + piece(seen, -1.0, here, end)
    }
}
