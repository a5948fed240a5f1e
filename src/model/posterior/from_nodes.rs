//! A posterior from tabulated nodes: for models that integrate in their own way.
//!
//! In: shapes with weights, each with a density of the scale on an even grid. Out: a
//! [`Posterior`] that answers as any other. Never: a likelihood of its own.

use super::{Conditional, Node, Posterior, ScaleTable};
use crate::model::likelihood::Likelihood;
use crate::model::target::Target;
use crate::model::weibull::{Weibull, ln_mean_factor};

/// A shape with its weight and the density of the internal log scale given it.
#[derive(Debug, Clone)]
pub(crate) struct GridNode {
    /// ln shape.
    pub b: f64,
    pub weight: f64,
    pub from: f64,
    pub step: f64,
    /// Up to a constant.
    pub ln_density: Vec<f64>,
}

/// Points of the shape's table between two shapes.
const FILLED: usize = 6;

impl Posterior {
    /// Builds a posterior from nodes whose scales are relative to `whole`'s shift.
    ///
    /// `fineness` is the number of grid points to a standard deviation of the narrowest
    /// curve in the densities; `marginal` is the log density of ln shape on an even grid:
    /// first value, step, values.
    pub(crate) fn from_nodes(
        whole: Likelihood,
        failures: u64,
        nodes: Vec<GridNode>,
        fineness: f64,
        marginal: (f64, f64, &[f64]),
    ) -> Self {
        let total: f64 = nodes.iter().map(|n| n.weight).sum();
        let nodes = nodes
            .into_iter()
            .map(|node| {
                let shape = node.b.exp();
                Node {
                    shape,
                    weight: node.weight / total,
                    ln_mean_factor: ln_mean_factor(shape),
                    scale: Conditional::Table(ScaleTable::from_grid(
                        node.from,
                        node.step,
                        &node.ln_density,
                        fineness,
                    )),
                }
            })
            .collect();
        let (from, step, values) = marginal;
        let filled = filled(values, FILLED);
        Posterior {
            likelihood: whole,
            failures,
            nodes,
            panels: Vec::new(),
            ln_norm: 0.0,
            shape_table: Some(ScaleTable::from_grid(
                from,
                step / FILLED as f64,
                &filled,
                FILLED as f64,
            )),
        }
    }

    /// Posterior mean of the log of a quantity that is scale times a function of the shape,
    /// or of the shape itself. A reliability or a hazard is none: `None`.
    pub fn mean_ln(&self, target: Target) -> Option<f64> {
        if matches!(target, Target::Reliability(_) | Target::Hazard(_)) {
            return None;
        }
        let mut sum = 0.0;
        for node in &self.nodes {
            let unit = Weibull {
                shape: node.shape,
                scale: 1.0,
            };
            let ln_scale: f64 = match target {
                Target::Shape => 0.0,
                _ => {
                    let nodes = node.scale.hazard_nodes(node.shape, 2.2);
                    let mean: f64 = nodes.iter().map(|(ka, w)| w * ka).sum();
                    mean / node.shape + self.shift()
                }
            };
            sum += node.weight * (target.of(&unit).ln() + ln_scale);
        }
        Some(sum)
    }
}

/// Points between, by the cubic through the four values around.
fn filled(values: &[f64], parts: usize) -> Vec<f64> {
    let last = values.len().saturating_sub(1);
    // Beyond the ends the curve goes on as a parabola.
    let at = |n: isize| -> f64 {
        let inside = |n: isize| values[n.clamp(0, last as isize) as usize];
        if n < 0 {
            3.0 * inside(0) - 3.0 * inside(1) + inside(2)
        } else if n > last as isize {
            let l = last as isize;
            3.0 * inside(l) - 3.0 * inside(l - 1) + inside(l - 2)
        } else {
            inside(n)
        }
    };
    let mut out = Vec::with_capacity(last * parts + 1);
    for n in 0..last as isize {
        let [y0, y1, y2, y3] = [at(n - 1), at(n), at(n + 1), at(n + 2)];
        for part in 0..parts {
            let x = part as f64 / parts as f64;
            let (xm, xp, xq) = (x + 1.0, x - 1.0, x - 2.0);
            out.push(
                -y0 * x * xp * xq / 6.0 + y1 * xm * xp * xq / 2.0 - y2 * xm * x * xq / 2.0
                    + y3 * xm * x * xp / 6.0,
            );
        }
    }
    out.extend(values.last());
    out
}
