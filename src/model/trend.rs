//! Do successive lives change? Weibull regression of ln scale on when an item came into its slot.
//!
//! In: lives with slot and when each began. Out: [`Trend`] or why nothing can be said
//! ([`NoTrend`]). Never: dates, machines; the repairable view of a system (see `recurrence`).
//!
//! `ln scale_i = a + β·x_i` with one shape `k`: the likelihood is the sum of those of the lives
//! with equal `x`, each at its own scale, so that derivatives in `β` are those in `a` times `x`.
//! Damped Newton in `(a, β, b = ln k)`. Test of `β = 0`: twice the difference of
//! log-likelihoods against chi-square on one degree of freedom.
//!
//! `x` is how far into its slot's record an item began, from the middle of that record, in
//! units of the time one item takes, so that `e^β` is the factor by which each item lasts
//! longer than the one before. Not the plain order 0, 1, 2, …: a slot whose items last less
//! long shows more of them, so that a slot that is merely worse than the rest looks like a
//! decline; and an order less its slot's mean knows how many items are still to come, which
//! long lives make fewer. The middle of a record that ends on a given day knows neither.
//!
//! With `f` failures few, chi-square alarms too often. `p` here also comes as that of
//! Student's t with `f − 2` degrees of freedom, `t² = (f − 2)(e^(statistic/f) − 1)`, which is
//! exact for `f` complete lives whose logs are normal, and by simulation honest here
//! (`tests/numbers/trend.rs`).
//! Source: J. F. Lawless, *Statistical Models and Methods for Lifetime Data*, 2nd ed. (2003),
//! sections 6.1 and 6.3 (log-location-scale regression).

use statrs::function::beta::beta_reg;
use thiserror::Error;

use super::fit::{B_FROM, B_TO, FitError, TOLERANCE, fit_weibull};
use super::life_ratio::stretched;
use super::likelihood::Likelihood;
use super::limits::{Limits, LimitsKind};
use super::numeric::{chi_square_1_quantile, normal_quantile, root_outward};
use super::pooling::chi_square_1_tail;
use crate::life::{Life, Sample, counted_lives};

/// A life with its place in the record of one slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Successive {
    /// Index into the slots' records.
    pub slot: usize,
    /// When the item came into its slot, as the record counts.
    pub begun: f64,
    pub life: Life,
}

/// The stretch over which a slot was on record, in any one unit of time or usage.
///
/// Both ends must not depend on how long the items lasted: the day the record began and the
/// day it was looked at do not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record {
    pub from: f64,
    pub until: f64,
}

/// Why nothing can be said of a trend.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NoTrend {
    #[error("{failures} failed, fewer than {FEWEST_FAILURES}")]
    FewFailures { failures: u64 },
    #[error("no slot has more than {}, and {FEWEST_SUCCESSIVE} are needed", counted_lives(*longest))]
    FewSuccessive { longest: u64 },
    #[error("slot {slot} has no record of when it was watched")]
    NoRecord { slot: usize },
    #[error("the slots' records have no length")]
    NoLength,
    #[error(transparent)]
    Fit(#[from] FitError),
    /// Every failure came early (or late) in the record: the slope has no end.
    #[error("failures and lives cut short stand apart in time: the trend has no end")]
    SlopeOpen { slope: f64 },
    #[error("the search did not converge (last slope {slope}, gradient {gradient})")]
    NotConverged { slope: f64, gradient: f64 },
}

/// Fewest failures, and lives in at least one slot, from which a trend is looked for.
pub const FEWEST_FAILURES: u64 = 4;
pub const FEWEST_SUCCESSIVE: u64 = 3;

/// How successive lives change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    pub slope: Slope,
    /// `e^β`: how many times as long each item lasts as the one before.
    pub factor: f64,
    /// Limits of the factor.
    pub limits: Limits,
    /// p-value of `β = 0` for few failures; [`Slope::p`] is the one for many.
    pub p: f64,
    pub lives: u64,
    pub failures: u64,
}

/// A Weibull regression on one number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// ln scale at `x = 0`.
    pub ln_scale: f64,
    /// `β`.
    pub slope: f64,
    pub shape: f64,
    /// Standard error of `β` from the observed information.
    pub error: f64,
    /// Natural log of the likelihood, constants kept.
    pub log_likelihood: f64,
    /// The same with `β = 0`.
    pub level_log_likelihood: f64,
    /// Twice the difference, and its p-value.
    pub statistic: f64,
    pub p: f64,
    /// Largest absolute first derivative in `(a, β, b)` at the estimate.
    pub gradient: f64,
}

impl Trend {
    /// True where the lives change beyond what chance does in one group of a hundred.
    pub fn warns(&self) -> bool {
        self.p < WARN_BELOW
    }
}

/// A trend is warned of where its small-sample p-value is below this.
pub const WARN_BELOW: f64 = 0.01;

/// Looks for a trend over the items of one or more slots.
///
/// `records`: one a slot, as `Successive::slot` counts. `limits`: [`LimitsKind::Wald`] or
/// [`LimitsKind::LikelihoodRatio`], two-sided; any other kind gives none.
/// Errors: [`NoTrend`].
pub fn trend(
    lives: &[Successive],
    records: &[Record],
    limits: (LimitsKind, f64),
) -> Result<Trend, NoTrend> {
    let mut items = vec![0_u64; records.len()];
    for one in lives {
        *items
            .get_mut(one.slot)
            .ok_or(NoTrend::NoRecord { slot: one.slot })? += 1;
    }
    let failures = lives.iter().filter(|l| l.life.failed());
    let failures = failures.map(|l| u64::from(l.life.count)).sum();
    if failures < FEWEST_FAILURES {
        return Err(NoTrend::FewFailures { failures });
    }
    let longest = items.iter().copied().max().unwrap_or(0);
    if longest < FEWEST_SUCCESSIVE {
        return Err(NoTrend::FewSuccessive { longest });
    }
    let length: f64 = records
        .iter()
        .zip(&items)
        .filter(|(_, items)| **items > 0)
        .map(|(record, _)| record.until - record.from)
        .sum();
    let an_item = length / items.iter().sum::<u64>() as f64;
    if !(an_item.is_finite() && an_item > 0.0) {
        return Err(NoTrend::NoLength);
    }
    let placed: Vec<(f64, Life)> = lives
        .iter()
        .map(|one| {
            let record = records[one.slot];
            let middle = 0.5 * (record.from + record.until);
            ((one.begun - middle) / an_item, one.life)
        })
        .collect();
    let slope = fit_slope(&placed)?;
    Ok(Trend {
        factor: slope.slope.exp(),
        limits: factor_limits(&placed, &slope, limits),
        p: student_p(slope.statistic, failures),
        lives: lives.iter().map(|l| u64::from(l.life.count)).sum(),
        failures,
        slope,
    })
}

/// Two-sided p-value of a likelihood-ratio statistic as if it came from a normal regression
/// with as many complete observations as failures, where `statistic = f·ln(1 + t²/(f − 2))`.
fn student_p(statistic: f64, failures: u64) -> f64 {
    let f = failures as f64;
    let free = f - 2.0;
    let square = free * (statistic / f).exp_m1();
    // P(|t| > x) is the beta function's share up to free/(free + x²).
    beta_reg(0.5 * free, 0.5, free / (free + square))
}

/// All lives with one `x`.
struct Part {
    x: f64,
    likelihood: Likelihood,
}

/// Value, gradient and curvature in `(a, β, b)`.
struct Here {
    value: f64,
    gradient: [f64; 3],
    /// The negative of the curvature, so that it is positive where the surface is concave.
    information: [[f64; 3]; 3],
}

/// Fits `ln scale = a + β·x` with one shape by maximum likelihood.
///
/// Errors: [`NoTrend`], never a slope that the data do not bound.
/// Accuracy: 1e-8 relative (`tests/numbers/trend.rs`).
pub fn fit_slope(lives: &[(f64, Life)]) -> Result<Slope, NoTrend> {
    let checked = |lives: Vec<Life>| Sample::new(lives).unwrap_or_default();
    let level = fit_weibull(&checked(lives.iter().map(|l| l.1).collect()))?;
    let mut by_x: Vec<(f64, Vec<Life>)> = Vec::new();
    let mut sorted: Vec<&(f64, Life)> = lives.iter().collect();
    sorted.sort_by(|one, other| one.0.total_cmp(&other.0));
    for (x, life) in sorted {
        match by_x.last_mut() {
            Some((last, group)) if *last == *x => group.push(*life),
            _ => by_x.push((*x, vec![*life])),
        }
    }
    let parts: Vec<Part> = by_x
        .into_iter()
        .map(|(x, group)| Part {
            x,
            likelihood: Likelihood::new(&checked(group)),
        })
        .collect();
    let from = [level.weibull.scale.ln(), 0.0, level.weibull.shape.ln()];
    let (at, here) = climb(&parts, from)?;
    let gradient = here.gradient.iter().fold(0.0, |m: f64, g| m.max(g.abs()));
    let shape = at[2].exp();
    if gradient > 10.0 * TOLERANCE * level.failures as f64 * shape.max(1.0).powi(2) {
        return Err(NoTrend::NotConverged {
            slope: at[1],
            gradient,
        });
    }
    // A surface that is flat in β, or as good as flat, rises ever so slowly towards one side.
    let open = NoTrend::SlopeOpen { slope: at[1] };
    let error = solve(&here.information, [0.0, 1.0, 0.0])
        .map(|column| column[1].sqrt())
        .ok_or(open.clone())?;
    let reach = parts.iter().fold(0.0, |m: f64, p| m.max(p.x.abs()));
    if error * reach > OPEN {
        return Err(open);
    }
    let statistic = 2.0 * (here.value - level.log_likelihood).max(0.0);
    Ok(Slope {
        ln_scale: at[0],
        slope: at[1],
        shape,
        error,
        log_likelihood: here.value,
        level_log_likelihood: level.log_likelihood,
        statistic,
        p: chi_square_1_tail(statistic),
        gradient,
    })
}

fn evaluate(parts: &[Part], [a, slope, b]: [f64; 3]) -> Here {
    let mut here = Here {
        value: 0.0,
        gradient: [0.0; 3],
        information: [[0.0; 3]; 3],
    };
    for Part { x, likelihood } in parts {
        let own = likelihood.slope(a + slope * x - likelihood.shift(), b);
        let [ga, gb] = own.gradient;
        let [aa, ab, bb] = own.curvature;
        here.value += own.value;
        for (sum, part) in here.gradient.iter_mut().zip([ga, x * ga, gb]) {
            *sum += part;
        }
        let rows = [
            [aa, x * aa, ab],
            [x * aa, x * x * aa, x * ab],
            [ab, x * ab, bb],
        ];
        for (sums, row) in here.information.iter_mut().zip(rows) {
            for (sum, part) in sums.iter_mut().zip(row) {
                *sum -= part;
            }
        }
    }
    here
}

/// How far `β·x` may reach, in ln units, before the slope counts as open.
const OPEN: f64 = 30.0;

/// Damped Newton from a point; where the surface is not concave the direction is bent uphill.
fn climb(parts: &[Part], from: [f64; 3]) -> Result<([f64; 3], Here), NoTrend> {
    let reach = parts.iter().fold(0.0, |m: f64, p| m.max(p.x.abs()));
    let mut at = from;
    let mut here = evaluate(parts, at);
    // A surface that is level and still falls to neither side goes on level: no end.
    let failed = |at: [f64; 3], here: &Here| {
        let gradient = here.gradient.iter().fold(0.0, |m: f64, g| m.max(g.abs()));
        if gradient < TOLERANCE {
            NoTrend::SlopeOpen { slope: at[1] }
        } else {
            NoTrend::NotConverged {
                slope: at[1],
                gradient,
            }
        }
    };
    for _ in 0..300 {
        let mut step = uphill(&here).ok_or_else(|| failed(at, &here))?;
        let longest = step.iter().fold(0.0, |m: f64, s| m.max(s.abs()));
        if longest > 1.0 {
            step = step.map(|s| s / longest);
        }
        let moved = |step: [f64; 3]| [at[0] + step[0], at[1] + step[1], at[2] + step[2]];
        let mut next = evaluate(parts, moved(step));
        // A full or shortened step must not fall, but for rounding.
        let floor = 1e-13 * (1.0 + here.value.abs());
        while next.value.is_nan() || next.value < here.value - floor {
            step = step.map(|s| 0.4 * s);
            if step.iter().all(|s| s.abs() < 1e-15) {
                return Err(failed(at, &here));
            }
            next = evaluate(parts, moved(step));
        }
        at = moved(step);
        here = next;
        if at[1].abs() * reach > OPEN {
            return Err(NoTrend::SlopeOpen { slope: at[1] });
        }
        if at[2] > B_TO + 2.0 {
            return Err(FitError::ShapeAtEdge { shape: at[2].exp() }.into());
        }
        if at[2] < B_FROM - 2.0 {
            return Err(FitError::ShapeTowardsZero.into());
        }
        if step.iter().all(|s| s.abs() < 1e-11) {
            return Ok((at, here));
        }
    }
    Err(failed(at, &here))
}

fn uphill(here: &Here) -> Option<[f64; 3]> {
    let mut information = here.information;
    let size = (0..3).map(|n| information[n][n].abs()).sum::<f64>();
    let mut ridge = 1e-3 * size.max(1.0);
    loop {
        if let Some(step) = solve(&information, here.gradient) {
            return Some(step);
        }
        for (n, row) in information.iter_mut().enumerate() {
            row[n] += ridge;
        }
        ridge *= 4.0;
        if !ridge.is_finite() {
            return None;
        }
    }
}

/// Solves `M x = y` for a symmetric `M` by Cholesky's method; `None` where `M` is not positive.
fn solve(m: &[[f64; 3]; 3], y: [f64; 3]) -> Option<[f64; 3]> {
    let mut l = [[0.0; 3]; 3];
    for i in 0..3 {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|n| l[i][n] * l[j][n]).sum();
            if i == j {
                let square = m[i][i] - sum;
                // Below this share of the diagonal what is left is rounding.
                if square.is_nan() || square <= 1e-13 * m[i][i].abs() {
                    return None;
                }
                l[i][i] = square.sqrt();
            } else {
                l[i][j] = (m[i][j] - sum) / l[j][j];
            }
        }
    }
    let mut x = y;
    for i in 0..3 {
        let sum: f64 = (0..i).map(|n| l[i][n] * x[n]).sum();
        x[i] = (x[i] - sum) / l[i][i];
    }
    for i in (0..3).rev() {
        let sum: f64 = (i + 1..3).map(|n| l[n][i] * x[n]).sum();
        x[i] = (x[i] - sum) / l[i][i];
    }
    Some(x)
}

/// Limits of `e^β`: Wald, or where the profile has fallen by the chi-square quantile. Holding
/// `β` is fitting one scale to the lives divided by `e^(βx)`, each exact failure's density
/// bringing a factor `e^(−βx)`.
fn factor_limits(
    lives: &[(f64, Life)],
    slope: &Slope,
    (kind, confidence): (LimitsKind, f64),
) -> Limits {
    let sides = |side: &dyn Fn(f64) -> Option<f64>| Limits {
        median: None,
        lower: side(-1.0).map(f64::exp),
        upper: side(1.0).map(f64::exp),
    };
    match kind {
        LimitsKind::Wald => {
            let reach = normal_quantile(0.5 * (1.0 + confidence)) * slope.error;
            sides(&|sign| Some(slope.slope + sign * reach))
        }
        LimitsKind::LikelihoodRatio => {
            let drop = 0.5 * chi_square_1_quantile(confidence);
            let excess = |beta: f64| {
                let held = held(lives, beta);
                held.map_or(f64::NAN, |value| slope.log_likelihood - value - drop)
            };
            sides(&|sign| root_outward(excess, slope.slope, sign * slope.error, OPEN, 1e-12))
        }
        LimitsKind::Posterior | LimitsKind::ChiSquare | LimitsKind::None => Limits::default(),
    }
}

fn held(lives: &[(f64, Life)], beta: f64) -> Option<f64> {
    let mut drop = 0.0;
    let moved = lives
        .iter()
        .map(|(x, life)| {
            if let crate::life::End::Failure { .. } = life.end {
                drop += beta * x * f64::from(life.count);
            }
            stretched(life, (-beta * x).exp())
        })
        .collect();
    let fit = fit_weibull(&Sample::new(moved).ok()?).ok()?;
    Some(fit.log_likelihood - drop)
}
