//! The largest value of a concave sum under steps that cannot be negative.
//!
//! In: [`Problem`]: cells, each with what survived it, and runs of cells with a failure in each.
//! Out: the steps, with how far their conditions miss. Never: a silent stop.
//!
//! Sought are steps `θ_j >= 0` of the cumulative hazard that make
//!
//! ```text
//! f(θ) = Σ_runs w·ln(1 − e^(−x)) − Σ_j s_j·θ_j,   x = Σ θ over the run
//! ```
//!
//! largest. Being concave, it is largest exactly where the Kuhn-Tucker conditions hold:
//! `f_j = 0` where `θ_j > 0`, `f_j <= 0` where `θ_j = 0`.
//!
//! A few rounds of self-consistency (EM) come near. Then an interior search follows
//! `θ_j·z_j = μ`, `z_j = −f_j` to `μ = 0` (primal-dual Newton), which settles which steps are 0
//! without trying them one by one, and plain Newton on the others ends it. Every Newton step is
//! solved by conjugate gradients, which need the curvature only as a product.
//! Sources: Turnbull (1976) for self-consistency; Nocedal & Wright, *Numerical Optimization*
//! (2006), chapter 19 (interior search); Hestenes & Stiefel, *Journal of Research of the NBS* 49
//! (1952) 409-436 (conjugate gradients).

use super::innermost::Run;

/// A failure somewhere in a run of cells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Term {
    pub(super) run: Run,
    pub(super) weight: f64,
}

/// The sum to make largest.
pub(super) struct Problem {
    /// Weight that survived each cell, > 0.
    pub(super) survived: Vec<f64>,
    pub(super) terms: Vec<Term>,
}

/// Where the search ended.
pub(super) struct Found {
    pub(super) steps: Vec<f64>,
    /// Largest miss of a condition, relative to the weight at risk in its cell.
    pub(super) miss: f64,
    pub(super) rounds: usize,
}

/// Miss at which no round can gain more.
const TARGET: f64 = 1e-13;
/// Rounds of each part of the search; few are ever needed.
const WARM_UP: usize = 5;
const INTERIOR: usize = 120;
const POLISH: usize = 30;

/// The sum of `values` over a run, from their cumulative sums; a single value to full precision.
fn over(values: &[f64], sums: &[f64], (from, to): Run) -> f64 {
    if to - from == 1 {
        values[from]
    } else {
        sums[to] - sums[from]
    }
}

impl Problem {
    /// Searches for the largest value.
    pub(super) fn solve(&self) -> Found {
        let at_risk = self.at_risk();
        let mut steps = self.start();
        if self.miss(&steps, &at_risk) > TARGET {
            for _ in 0..WARM_UP {
                steps = self.self_consistent(&steps);
            }
        }
        let mut rounds = 0;
        if self.miss(&steps, &at_risk) > TARGET {
            (steps, rounds) = self.interior(steps, &at_risk);
        }
        let mut best = Found {
            miss: self.miss(&steps, &at_risk),
            steps,
            rounds,
        };
        let mut steps = best.steps.clone();
        for round in 1..=POLISH {
            if best.miss <= TARGET {
                break;
            }
            steps = self.polished(&steps);
            let miss = self.miss(&steps, &at_risk);
            if miss < best.miss {
                best = Found {
                    miss,
                    steps: steps.clone(),
                    rounds: rounds + round,
                };
            }
        }
        best
    }

    /// Largest miss of a Kuhn-Tucker condition, relative to the weight at risk.
    fn miss(&self, steps: &[f64], at_risk: &[f64]) -> f64 {
        let gradient = self.gradient(steps);
        let misses = steps.iter().zip(&gradient).zip(at_risk);
        misses
            .map(|((step, g), n)| if *step > 0.0 { g.abs() } else { g.max(0.0) } / n)
            .fold(0.0, |a, b| if b > a || b.is_nan() { b } else { a })
    }

    /// Follows `θ_j·z_j = μ` down; what ends at 0 by this is set to 0.
    fn interior(&self, mut steps: Vec<f64>, at_risk: &[f64]) -> (Vec<f64>, usize) {
        let size = steps.len();
        for (step, n) in steps.iter_mut().zip(at_risk) {
            *step = step.max(1e-3 / n);
        }
        let mut slopes: Vec<f64> = self
            .gradient(&steps)
            .iter()
            .zip(at_risk)
            .map(|(g, n)| (-g).max(0.1 * n))
            .collect();
        let mut round = 0;
        while round < INTERIOR {
            round += 1;
            let gradient = self.gradient(&steps);
            let mean = steps.iter().zip(&slopes).map(|(t, z)| t * z).sum::<f64>() / size as f64;
            let apart = gradient
                .iter()
                .zip(&slopes)
                .zip(at_risk)
                .map(|((g, z), n)| (g + z).abs() / n)
                .fold(0.0, f64::max);
            if mean < 1e-14 && apart < 1e-10 {
                break;
            }
            let goal = 0.1 * mean;
            let pull: Vec<f64> = gradient
                .iter()
                .zip(&steps)
                .map(|(g, t)| g + goal / t)
                .collect();
            let bend: Vec<f64> = slopes.iter().zip(&steps).map(|(z, t)| z / t).collect();
            let curve = self.curve(&steps);
            let way = self.conjugate(&curve, &pull, &bend, 1e-5);
            let turn: Vec<f64> = (0..size)
                .map(|j| goal / steps[j] - slopes[j] - bend[j] * way[j])
                .collect();
            let mut reach = room(&steps, &way);
            // Rising along a concave function ends where the slope along the way turns.
            for _ in 0..30 {
                let next: Vec<f64> = moved(&steps, &way, reach);
                let ahead: f64 = self
                    .gradient(&next)
                    .iter()
                    .zip(&next)
                    .zip(&way)
                    .map(|((g, t), w)| (g + goal / t) * w)
                    .sum();
                let here: f64 = pull.iter().zip(&way).map(|(p, w)| p * w).sum();
                if ahead >= -0.9 * here.abs() {
                    break;
                }
                reach *= 0.5;
            }
            let along = room(&slopes, &turn);
            steps = moved(&steps, &way, reach);
            slopes = moved(&slopes, &turn, along);
        }
        for ((step, z), n) in steps.iter_mut().zip(&slopes).zip(at_risk) {
            if *step * n < z / n {
                *step = 0.0;
            }
        }
        (steps, round)
    }

    /// One Newton step with the steps at 0 held there, unless they want to rise.
    fn polished(&self, steps: &[f64]) -> Vec<f64> {
        let gradient = self.gradient(steps);
        let held: Vec<f64> = steps
            .iter()
            .zip(&gradient)
            .map(|(step, g)| {
                if *step > 0.0 || *g > 0.0 {
                    0.0
                } else {
                    f64::INFINITY
                }
            })
            .collect();
        let way = self.conjugate(&self.curve(steps), &gradient, &held, 1e-12);
        let next = moved(steps, &way, 1.0);
        next.iter().map(|step| step.max(0.0)).collect()
    }

    /// `w·e^(−x)/(1 − e^(−x))²` of every term: minus its second derivative.
    fn curve(&self, steps: &[f64]) -> Vec<f64> {
        let sums = Self::sums(steps);
        let terms = self.terms.iter();
        terms
            .map(|term| {
                let x = over(steps, &sums, term.run);
                term.weight * (-x).exp() / (-x).exp_m1().powi(2)
            })
            .collect()
    }

    /// Every failure spread evenly over its run: already the answer where runs are single cells.
    fn start(&self) -> Vec<f64> {
        let mut failures = vec![0.0; self.survived.len()];
        self.spread(&mut failures, |term| {
            term.weight / (term.run.1 - term.run.0) as f64
        });
        failures
            .iter()
            .zip(&self.survived)
            .map(|(d, s)| (d / s).ln_1p())
            .collect()
    }

    /// Cumulative sums, one longer than the values.
    fn sums(values: &[f64]) -> Vec<f64> {
        let mut sums = Vec::with_capacity(values.len() + 1);
        let mut sum = 0.0;
        sums.push(sum);
        for value in values {
            sum += value;
            sums.push(sum);
        }
        sums
    }

    /// Adds to each cell the amount of every run that holds it. Runs of one cell are added
    /// directly, as large amounts would drown small ones in running sums.
    fn spread(&self, cells: &mut [f64], mut amount: impl FnMut(&Term) -> f64) {
        let mut changes = vec![0.0; cells.len() + 1];
        for term in &self.terms {
            let amount = amount(term);
            let (from, to) = term.run;
            if to - from == 1 {
                cells[from] += amount;
            } else {
                changes[from] += amount;
                changes[to] -= amount;
            }
        }
        let mut running = 0.0;
        for (cell, change) in cells.iter_mut().zip(&changes) {
            running += change;
            *cell += running;
        }
    }

    /// Weight that survived each cell or may have failed in it.
    fn at_risk(&self) -> Vec<f64> {
        let mut at_risk = self.survived.clone();
        self.spread(&mut at_risk, |term| term.weight);
        at_risk
    }

    fn gradient(&self, steps: &[f64]) -> Vec<f64> {
        let sums = Self::sums(steps);
        let mut gradient: Vec<f64> = self.survived.iter().map(|s| -s).collect();
        self.spread(&mut gradient, |term| {
            term.weight / over(steps, &sums, term.run).exp_m1()
        });
        gradient
    }

    /// Expected failures and survivors in each cell, given all that is known; then
    /// `e^(−θ) = survivors/at risk`.
    fn self_consistent(&self, steps: &[f64]) -> Vec<f64> {
        let alive: Vec<f64> = steps.iter().map(|step| (-step).exp()).collect();
        let sums = Self::sums(steps);
        let mut failures = vec![0.0; steps.len()];
        let mut survivors = self.survived.clone();
        for term in &self.terms {
            let all = -(-over(steps, &sums, term.run)).exp_m1();
            let mut reached = 1.0;
            let mut failed = 0.0;
            for cell in term.run.0..term.run.1 {
                let here = reached * (1.0 - alive[cell]);
                reached *= alive[cell];
                failed += here;
                failures[cell] += term.weight * here / all;
                survivors[cell] += term.weight * (1.0 - failed / all).max(0.0);
            }
        }
        failures
            .iter()
            .zip(&survivors)
            .map(|(d, s)| (d / s).ln_1p())
            .collect()
    }

    /// Solves `(−f″ + diag(bend))·way = pull` by conjugate gradients, scaled by the diagonal.
    /// An infinite `bend` holds a cell where it is. Stops at `close`, relative to the beginning.
    fn conjugate(&self, curve: &[f64], pull: &[f64], bend: &[f64], close: f64) -> Vec<f64> {
        let size = pull.len();
        let mut diagonal = vec![0.0; size];
        let mut place = 0;
        self.spread(&mut diagonal, |_| {
            place += 1;
            curve[place - 1]
        });
        // A hair of ridge keeps ways the data leave open from running off.
        let added: Vec<f64> = diagonal
            .iter()
            .zip(bend)
            .zip(&self.survived)
            .map(|((d, b), s)| b + 1e-13 * d.max(*s))
            .collect();
        let product = |vector: &[f64]| -> Vec<f64> {
            let sums = Self::sums(vector);
            let mut out = vec![0.0; size];
            let mut place = 0;
            self.spread(&mut out, |term| {
                place += 1;
                curve[place - 1] * over(vector, &sums, term.run)
            });
            for cell in 0..size {
                out[cell] = if added[cell].is_finite() {
                    out[cell] + added[cell] * vector[cell]
                } else {
                    0.0
                };
            }
            out
        };
        let scaled = |vector: &[f64]| -> Vec<f64> {
            let cells = vector.iter().zip(diagonal.iter().zip(&added));
            cells.map(|(v, (d, a))| v / (d.max(0.0) + a)).collect()
        };
        let dot = |a: &[f64], b: &[f64]| -> f64 { a.iter().zip(b).map(|(x, y)| x * y).sum() };
        let cells = pull.iter().zip(bend);
        let mut rest: Vec<f64> = cells
            .map(|(p, b)| if b.is_finite() { *p } else { 0.0 })
            .collect();
        let mut turn = scaled(&rest);
        let mut way = turn.clone();
        let mut left = dot(&rest, &turn);
        let goal = left * close * close;
        let mut sum = vec![0.0; size];
        for _ in 0..(2 * size + 20).min(500) {
            if left.is_nan() || left <= goal {
                break;
            }
            let bent = product(&way);
            let curvature = dot(&way, &bent);
            if curvature.is_nan() || curvature <= 0.0 {
                break;
            }
            let length = left / curvature;
            for cell in 0..size {
                sum[cell] += length * way[cell];
                rest[cell] -= length * bent[cell];
            }
            turn = scaled(&rest);
            let next = dot(&rest, &turn);
            let keep = next / left;
            for cell in 0..size {
                way[cell] = turn[cell] + keep * way[cell];
            }
            left = next;
        }
        sum
    }
}

fn moved(from: &[f64], way: &[f64], reach: f64) -> Vec<f64> {
    from.iter().zip(way).map(|(f, w)| f + reach * w).collect()
}

/// How far along the way everything stays above 0, at most the whole of it.
fn room(from: &[f64], way: &[f64]) -> f64 {
    from.iter()
        .zip(way)
        .filter(|(_, w)| **w < 0.0)
        .map(|(f, w)| -0.995 * f / w)
        .fold(1.0, f64::min)
}
