//! Cumulative incidence: the share that has failed by each mode while the others were at work.
//!
//! In: lives without windows, each with its mode. Out: [`Incidence`].
//! Never: one minus the product limit of one mode, which overstates it.
//!
//! `F_m(t) = Σ S(u−)·d_m/n` over failures at `u <= t`. Its covariance with `S` is carried from
//! step to step: with `λ = d/n`, `λ_m = d_m/n`
//!
//! ```text
//! S' = S(1 − λ), F' = F + S·λ_m
//! Var S'  = (1 − λ)²·Var S + S²·d(n − d)/n³
//! Cov'    = (1 − λ)(Cov + λ_m·Var S) − S²·d_m(n − d)/n³
//! Var F'  = Var F + 2·λ_m·Cov + λ_m²·Var S + S²·d_m(n − d_m)/n³
//! ```
//!
//! which is Greenwood's variance in matrix form and `F(1 − F)/n` where nothing is cut short.
//! Limits `F^exp(± z·se/(F ln F))`.
//! Sources: Aalen & Johansen, *Scandinavian Journal of Statistics* 5 (1978) 141-150; Andersen,
//! Borgan, Gill & Keiding (1993), IV.4.1.3 (variance); Choudhury, *Statistics in Medicine* 21
//! (2002) 1129-1144 (limits).

use std::collections::HashMap;

use super::{LimitsScale, NonparametricError, RiskTable, Watch, in_force, two_sided};
use crate::life::{End, Life};

/// One usage at which items failed by a mode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IncidenceStep {
    pub time: f64,
    /// Items under watch just before.
    pub at_risk: u64,
    /// Failures by this mode then.
    pub events: u64,
    /// Share failed by this mode, just after.
    pub estimate: f64,
    pub standard_error: f64,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// The cumulative incidence of one mode.
#[derive(Debug, Clone, PartialEq)]
pub struct ModeIncidence {
    /// `None`: failures whose mode was not stated.
    pub mode: Option<String>,
    pub steps: Vec<IncidenceStep>,
}

impl ModeIncidence {
    /// Share failed by this mode up to and including usage `t`.
    pub fn failed_by(&self, t: f64) -> f64 {
        in_force(&self.steps, |step| step.time, t).map_or(0.0, |step| step.estimate)
    }
}

/// The cumulative incidence of every mode; at any usage they and the product limit of all
/// failures add up to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Incidence {
    /// In order of first appearance; failures without a mode last.
    pub modes: Vec<ModeIncidence>,
    pub watch: Watch,
    /// As in [`super::ProductLimit::emptied`].
    pub emptied: Option<f64>,
}

/// The cumulative incidence of each mode with two-sided limits at `confidence` in (0, 1).
///
/// `lives` with the mode of each; the mode of a suspension does not matter.
/// Errors: [`NonparametricError::Windows`] where a failure is known only within a window,
/// [`NonparametricError::Empty`].
/// Accuracy: 1e-9 relative (`tests/numbers/nonparametric.rs`).
pub fn incidence(
    lives: &[(Life, Option<&str>)],
    confidence: f64,
) -> Result<Incidence, NonparametricError> {
    let all: Vec<Life> = lives.iter().map(|(life, _)| *life).collect();
    let table = RiskTable::new(&all)?;
    let (names, failures) = by_mode(lives);
    let z = two_sided(confidence);
    let mut next = 0;
    let mut share = 1.0;
    let mut share_variance = 0.0;
    let mut emptied = None;
    let mut states = vec![State::default(); names.len()];
    let mut by_now = vec![0_u64; names.len()];
    for &(time, at_risk, events) in &table.rows {
        by_now.fill(0);
        while let Some(failed) = failures.get(next).filter(|f| f.at <= time) {
            by_now[failed.mode] += failed.count;
            next += 1;
        }
        let (n, d) = (at_risk as f64, events as f64);
        let alive = (n - d) / n;
        for (state, &count) in states.iter_mut().zip(&by_now) {
            state.pass(n, d, count as f64, share, share_variance);
            if count > 0 {
                let se = state.variance.max(0.0).sqrt();
                let limits = LimitsScale::LogLog.limits(state.failed, se, z);
                state.steps.push(IncidenceStep {
                    time,
                    at_risk,
                    events: count,
                    estimate: state.failed,
                    standard_error: se,
                    lower: limits.map(|l| l.0),
                    upper: limits.map(|l| l.1),
                });
            }
        }
        share_variance = alive * alive * share_variance + share * share * d * (n - d) / (n * n * n);
        share *= alive;
        if share == 0.0 && emptied.is_none() && time < table.watch.until {
            emptied = Some(time);
        }
    }
    let modes = names
        .into_iter()
        .zip(states)
        .map(|(mode, state)| ModeIncidence {
            mode,
            steps: state.steps,
        })
        .collect();
    Ok(Incidence {
        modes,
        watch: table.watch,
        emptied,
    })
}

/// Failures at one usage by one mode.
struct Failed {
    at: f64,
    /// Place among the names.
    mode: usize,
    count: u64,
}

/// Names of the modes, and failures in order of usage.
fn by_mode(lives: &[(Life, Option<&str>)]) -> (Vec<Option<String>>, Vec<Failed>) {
    let mut names: Vec<Option<String>> = Vec::new();
    let mut places: HashMap<Option<&str>, usize> = HashMap::new();
    let mut failures = Vec::new();
    for stated in [true, false] {
        for (life, mode) in lives.iter().filter(|(_, mode)| mode.is_some() == stated) {
            if let End::Failure { at } = life.end {
                let place = *places.entry(*mode).or_insert_with(|| {
                    names.push(mode.map(str::to_owned));
                    names.len() - 1
                });
                failures.push(Failed {
                    at,
                    mode: place,
                    count: u64::from(life.count),
                });
            }
        }
    }
    failures.sort_by(|a, b| a.at.total_cmp(&b.at));
    (names, failures)
}

/// A mode's share with its variance and its covariance with the share surviving.
#[derive(Debug, Clone, Default)]
struct State {
    failed: f64,
    variance: f64,
    covariance: f64,
    steps: Vec<IncidenceStep>,
}

impl State {
    /// One step of the recursion; `share` and its variance are those just before.
    fn pass(&mut self, n: f64, d: f64, d_m: f64, share: f64, share_variance: f64) {
        let cube = n * n * n;
        let (alive, rate) = ((n - d) / n, d_m / n);
        self.failed += share * rate;
        self.variance += 2.0 * rate * self.covariance
            + rate * rate * share_variance
            + share * share * d_m * (n - d_m) / cube;
        self.covariance = alive * (self.covariance + rate * share_variance)
            - share * share * d_m * (n - d) / cube;
    }
}
