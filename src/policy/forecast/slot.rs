//! How often one slot is renewed, for a known life.
//!
//! In: a shape at unit scale, where lives are cut, ages. Out: [`Tables`], and from them the
//! probabilities of each number for an item of any age. Never: sums over slots; doubt.
//!
//! With `Q_n(t)` the probability of `n` events in `t` for a slot that starts with a new item,
//! the first life, which ends by failure at `s` or is cut at `T`, gives
//!
//! ```text
//! Q_n(t) = [n = 0] R(t)[t < T] + ∫₀^min(t,T) Q_{n−a}(t − s) f(s) ds + [t >= T] R(T) Q_{n−b}(t − T)
//! ```
//!
//! `a` and `b` being 1 for the events that count and 0 for those that do not. Solved as in
//! `renewal`. Source: R. E. Barlow & F. Proschan, *Mathematical Theory of Reliability* (1965),
//! chapter 3; D. R. Cox, *Renewal Theory* (1962), chapter 3.

use super::Tally;
use crate::policy::renewal::mesh::{Kernel, Rule, smooth, times};
use crate::policy::renewal::residual::Residual;

/// Nodes of a panel: for probabilities seven digits are plenty.
const NODES: usize = 8;
/// Widest panel, in scales.
const WIDEST: f64 = 0.25;
/// Numbers less likely than this are left out.
const LEAST: f64 = 1e-11;
/// A usage this close to a panel's end, in panels, is that end.
const ROUNDING: f64 = 1e-9;

/// The kernel that tables of this reach need; one serves every tally.
pub(super) fn kernel_for(shape: f64, at: Option<f64>, reach: f64) -> Kernel<NODES> {
    let widest = WIDEST.min(1.0 / shape);
    let (width, cut) = match at.filter(|at| *at <= reach * (1.0 + ROUNDING)) {
        Some(at) => {
            let parts = (at / widest).ceil().max(1.0);
            (at / parts, Some(parts as usize))
        }
        None => (widest, None),
    };
    let panels = (reach / width + ROUNDING).floor() as usize + 1;
    Kernel::new(shape, width, panels, cut)
}

/// `Q_n(t)` of one shape at unit scale, for all `n` that matter.
pub(super) struct Tables<'a> {
    kernel: &'a Kernel<NODES>,
    at: Option<f64>,
    tally: Tally,
    /// `[n][panel]`.
    levels: Vec<Vec<[f64; NODES]>>,
}

impl<'a> Tables<'a> {
    /// Up to `reach` scales, lives cut at `at` scales.
    pub fn new(kernel: &'a Kernel<NODES>, at: Option<f64>, reach: f64, tally: Tally) -> Self {
        let panels = (reach / kernel.width + ROUNDING).floor() as usize + 1;
        let mut tables = Tables {
            kernel,
            at,
            tally,
            levels: Vec::new(),
        };
        tables.solve(panels);
        tables
    }

    fn solve(&mut self, panels: usize) {
        let kernel = self.kernel;
        let (failure, cut_counts) = self.tally.marks();
        let solver = (!failure).then(|| kernel.solver());
        let renewed = kernel.renewed();
        loop {
            let n = self.levels.len();
            let mut level: Vec<[f64; NODES]> = Vec::with_capacity(panels);
            let mut most = 0.0_f64;
            for panel in 0..panels {
                let mut sums = [0.0; NODES];
                if failure {
                    if let Some(before) = n.checked_sub(1).and_then(|m| self.levels.get(m)) {
                        sums = kernel.fold(before, 0, panel);
                    }
                } else {
                    sums = kernel.fold(&level, 0, panel);
                }
                match kernel.cut.filter(|cut| panel >= *cut) {
                    Some(cut) => {
                        let then = if !cut_counts {
                            level.get(panel - cut)
                        } else {
                            n.checked_sub(1)
                                .and_then(|m| self.levels.get(m))
                                .and_then(|before| before.get(panel - cut))
                        };
                        for (sum, q) in sums.iter_mut().zip(then.unwrap_or(&[0.0; NODES])) {
                            *sum += renewed * q;
                        }
                    }
                    None if n == 0 => {
                        for (i, sum) in sums.iter_mut().enumerate() {
                            *sum += kernel.survivors(kernel.at(panel, i));
                        }
                    }
                    None => {}
                }
                let values = match &solver {
                    Some(solver) => times(solver, &sums),
                    None => sums,
                };
                most = values.iter().fold(most, |m, v| m.max(v.abs()));
                level.push(values);
            }
            self.levels.push(level);
            // The likeliest number may be far from 0: stop on the far side of it only.
            let past = most < LEAST && self.total_at_end() > 0.5;
            if past || n >= MOST_EVENTS {
                break;
            }
        }
    }

    /// Sum of all probabilities at the end of the reach.
    fn total_at_end(&self) -> f64 {
        let last = |level: &Vec<[f64; NODES]>| level.last().map_or(0.0, |p| p[NODES - 1]);
        self.levels.iter().map(last).sum()
    }

    /// Adds `weight · Q_n(t)` to `into[n + shift]`.
    fn add(&self, t: f64, weight: f64, shift: usize, into: &mut [f64]) {
        let place = (t / self.kernel.width).max(0.0);
        let panels = self.levels.first().map_or(1, Vec::len);
        let panel = ((place + ROUNDING) as usize).min(panels - 1);
        let basis = self.kernel.mesh.basis(place - panel as f64);
        for (level, into) in self.levels.iter().zip(&mut into[shift..]) {
            let value: f64 = basis.iter().zip(&level[panel]).map(|(b, q)| b * q).sum();
            *into += weight * value;
        }
    }

    /// Probabilities of each number of events in `t` for an item of this age, in scales.
    ///
    /// Domain: `age >= 0`, `0 < t <= reach`.
    pub fn at_age(&self, age: f64, t: f64) -> Vec<f64> {
        let (failure, cut) = self.tally.marks();
        let (failure, cut) = (usize::from(failure), usize::from(cut));
        let mut out = vec![0.0; self.levels.len() + 1];
        let left = self.at.map_or(f64::INFINITY, |at| (at - age).max(0.0));
        if left == 0.0 {
            // Overdue: renewed at once.
            self.add(t, 1.0, cut, &mut out);
            return out;
        }
        if age <= 0.0 {
            self.add(t, 1.0, 0, &mut out);
            return out;
        }
        let residual = Residual::new(self.kernel.shape, age);
        if residual.is_spent() {
            self.add(t, 1.0, failure, &mut out);
            return out;
        }
        let end = left.min(t);
        for (from, to) in residual.stretches(t, end, self.kernel.width, false) {
            smooth(Rule::Plain, from, to, |s, w| {
                self.add(t - s, w * residual.density(s), failure, &mut out);
            });
        }
        let reached = 1.0 - residual.failed(end);
        if left <= t * (1.0 + ROUNDING) {
            self.add(t - left, reached, cut, &mut out);
        } else {
            out[0] += reached;
        }
        out
    }
}

/// No table counts further.
pub(super) const MOST_EVENTS: usize = 400;
