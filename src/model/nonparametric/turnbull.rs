//! The estimate of the share surviving from any mix of lives: known usages, windows, lives cut
//! short, late entry (Turnbull).
//!
//! In: a [`Sample`]. Out: [`Turnbull`]. Never: a point where only a window is known; a result
//! whose conditions do not hold.
//!
//! Maximises `Π [S(L) − S(R)]/S(V)` over all distributions. In steps `θ` of the cumulative hazard
//! on the innermost intervals its logarithm is
//!
//! ```text
//! Σ ln(1 − e^(−(H(R) − H(L)))) − Σ (H(L) − H(V)),   S = e^(−H)
//! ```
//!
//! concave also with late entry, so that a point where the Kuhn-Tucker conditions hold is the
//! maximum (see `active_set`). A cell that nobody is known to have survived takes an infinite
//! step: the share falls to 0 there.
//! Sources: Turnbull, *JRSS B* 38 (1976) 290-295; Frydman, *JRSS B* 56 (1994) 71-74;
//! Alioum & Commenges, *Biometrics* 52 (1996) 512-524.

use std::collections::HashMap;

use super::active_set::{Problem, Term};
use super::innermost::{Cell, Cells, Run};
use super::{NonparametricError, Watch, in_force};
use crate::life::Sample;

/// One innermost interval in which failures are expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurnbullStep {
    /// The failures lie in `(from, to]`, or at `to` where both are equal. Where within, the data
    /// do not tell.
    pub from: f64,
    pub to: f64,
    /// Failures expected here, given all that is known.
    pub events: f64,
    /// Share that fails here.
    pub mass: f64,
    /// Share surviving, just after `to`.
    pub estimate: f64,
}

/// The estimate from windows.
#[derive(Debug, Clone, PartialEq)]
pub struct Turnbull {
    /// In order of usage; between them nothing fails.
    pub steps: Vec<TurnbullStep>,
    pub watch: Watch,
    /// As in [`super::ProductLimit::emptied`].
    pub emptied: Option<f64>,
    /// Natural log of the probability of the lives, given their entry ages.
    pub log_likelihood: f64,
    /// Largest miss of a Kuhn-Tucker condition, relative to the number at risk.
    pub miss: f64,
    pub rounds: usize,
}

impl Turnbull {
    /// Share surviving usage `t`. Within a step's window only the share at either end is known;
    /// the one at its beginning is given until its end.
    pub fn reliability(&self, t: f64) -> f64 {
        in_force(&self.steps, |step| step.to, t).map_or(1.0, |step| step.estimate)
    }
}

/// Miss of a condition below which the estimate stands.
const CONVERGED: f64 = 1e-8;

/// The estimate of the share surviving from any mix of lives.
///
/// Units: usages as in the sample. Without windows it is the product-limit estimate.
/// Errors: [`NonparametricError::Empty`]; [`NonparametricError::NotConverged`] where the
/// Kuhn-Tucker conditions miss by more than 1e-8 of the number at risk.
/// Accuracy: 1e-8 in the share, which the conditions alone decide.
pub fn turnbull(sample: &Sample) -> Result<Turnbull, NonparametricError> {
    let lives = sample.lives();
    let watch = Watch::of(lives).ok_or(NonparametricError::Empty)?;
    let cells = Cells::of(lives);
    let counts = Counts::of(&cells);
    let (problem, places) = problem(&cells, &counts);
    let found = problem.solve();
    if found.miss.is_nan() || found.miss > CONVERGED {
        return Err(NonparametricError::NotConverged {
            rounds: found.rounds,
            miss: found.miss,
        });
    }
    // Cells outside the problem: no failure known there, or nobody known to have survived.
    let hazards: Vec<f64> = (0..cells.cells.len())
        .map(|cell| match places[cell] {
            Some(place) => found.steps[place],
            None if counts.failed[cell] > 0.0 => f64::INFINITY,
            None => 0.0,
        })
        .collect();
    let events = expected_failures(&cells, &hazards);
    let mut steps = Vec::new();
    let mut share = 1.0;
    let mut emptied = None;
    for ((Cell { from, to }, hazard), events) in cells.cells.iter().zip(&hazards).zip(events) {
        if *hazard == 0.0 {
            continue;
        }
        let mass = share * -(-hazard).exp_m1();
        share *= (-hazard).exp();
        if share == 0.0 && emptied.is_none() && *to < watch.until {
            emptied = Some(*to);
        }
        steps.push(TurnbullStep {
            from: *from,
            to: *to,
            events,
            mass,
            estimate: share,
        });
    }
    Ok(Turnbull {
        steps,
        watch,
        emptied,
        log_likelihood: log_likelihood(&cells, &hazards),
        miss: found.miss,
        rounds: found.rounds,
    })
}

/// Per cell: weight that survived it, and weight that may have failed in it.
struct Counts {
    survived: Vec<f64>,
    failed: Vec<f64>,
}

impl Counts {
    fn of(cells: &Cells) -> Counts {
        let size = cells.cells.len();
        let mut counts = Counts {
            survived: vec![0.0; size + 1],
            failed: vec![0.0; size + 1],
        };
        for bearing in &cells.bearings {
            let mut add = |list: fn(&mut Counts) -> &mut Vec<f64>, (from, to): Run| {
                let list = list(&mut counts);
                list[from] += bearing.weight;
                list[to] -= bearing.weight;
            };
            add(|c| &mut c.survived, bearing.survived);
            if let Some(run) = bearing.failed {
                add(|c| &mut c.failed, run);
            }
        }
        // Counts are whole numbers: running sums of them are exact.
        for list in [&mut counts.survived, &mut counts.failed] {
            let mut running = 0.0;
            for value in list.iter_mut() {
                running += *value;
                *value = running;
            }
            list.pop();
        }
        counts
    }
}

/// The cells with finite steps, and where each cell stands among them.
///
/// A failure that may lie in a cell of infinite step is certain given that the item came so far,
/// and asks nothing of the others.
fn problem(cells: &Cells, counts: &Counts) -> (Problem, Vec<Option<usize>>) {
    let mut survived = Vec::new();
    let mut places = Vec::with_capacity(cells.cells.len());
    // Where each cell would stand, and how many of infinite step lie before it.
    let mut rank = vec![0];
    let mut endless = vec![0_usize];
    for (s, f) in counts.survived.iter().zip(&counts.failed) {
        let finite = *s > 0.0 && *f > 0.0;
        places.push(finite.then_some(survived.len()));
        if finite {
            survived.push(*s);
        }
        rank.push(survived.len());
        let before = endless.last().copied().unwrap_or(0);
        endless.push(before + usize::from(*s <= 0.0 && *f > 0.0));
    }
    let mut terms: Vec<Term> = Vec::new();
    let mut known: HashMap<Run, usize> = HashMap::new();
    for bearing in &cells.bearings {
        let Some((from, to)) = bearing.failed else {
            continue;
        };
        if endless[to] > endless[from] {
            continue;
        }
        let run = (rank[from], rank[to]);
        let place = *known.entry(run).or_insert_with(|| {
            terms.push(Term { run, weight: 0.0 });
            terms.len() - 1
        });
        terms[place].weight += bearing.weight;
    }
    (Problem { survived, terms }, places)
}

/// Failures expected in each cell, given the hazards and what is known of each life.
fn expected_failures(cells: &Cells, hazards: &[f64]) -> Vec<f64> {
    let fails: Vec<f64> = hazards.iter().map(|h| -(-h).exp_m1()).collect();
    let mut events = vec![0.0; hazards.len()];
    for bearing in &cells.bearings {
        let Some((from, to)) = bearing.failed else {
            continue;
        };
        let all = -(-hazards[from..to].iter().sum::<f64>()).exp_m1();
        let mut alive = 1.0;
        for cell in from..to {
            events[cell] += bearing.weight * alive * fails[cell] / all;
            alive *= 1.0 - fails[cell];
        }
    }
    events
}

fn log_likelihood(cells: &Cells, hazards: &[f64]) -> f64 {
    let over = |(from, to): Run| hazards[from..to].iter().sum::<f64>();
    cells
        .bearings
        .iter()
        .map(|bearing| {
            let failed = bearing
                .failed
                .map_or(0.0, |run| (-(-over(run)).exp_m1()).ln());
            bearing.weight * (failed - over(bearing.survived))
        })
        .sum()
}
