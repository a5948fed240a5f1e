//! The scale's distribution at one value of the shape.
//!
//! In: the likelihood along `a` at fixed `b`. Out: [`Conditional`]: cdf, density, quantile of
//! `a` (internal log scale). Never: the shape's own density.

#[cfg(test)]
use statrs::function::gamma::ln_gamma;

use crate::model::likelihood::Likelihood;
use crate::model::numeric::{gamma_tail, ln_gamma_log_density, ln_gamma_quantile, ln_sum_exp};
use crate::model::slice::Slice;

/// Distribution of the internal log scale `a` given the shape.
#[derive(Debug, Clone)]
pub enum Conditional {
    /// `S·e^(−ka)` is gamma of whole order and unit rate.
    Gamma {
        order: u64,
        ln_sum: f64,
    },
    Table(ScaleTable),
}

impl Conditional {
    /// Probability that `a` lies below the given value, and its density there.
    pub fn cdf(&self, shape: f64, a: f64) -> (f64, f64) {
        match self {
            Conditional::Gamma { order, ln_sum } => {
                let v = ln_sum - shape * a;
                (
                    gamma_tail(*order, v.exp()),
                    shape * ln_gamma_log_density(*order, v).exp(),
                )
            }
            Conditional::Table(table) => table.cdf(a),
        }
    }

    /// The distribution as nodes `(k·a, weight)` of the trapezoidal rule, about `per_sd` to a
    /// standard deviation; weights sum to 1. For smooth integrands over the whole line the
    /// rule converges faster than any power of the spacing.
    pub fn hazard_nodes(&self, shape: f64, per_sd: f64) -> Vec<(f64, f64)> {
        match self {
            Conditional::Gamma { order, ln_sum } => ln_gamma_nodes(*order, per_sd)
                .into_iter()
                .map(|(v, weight)| (ln_sum - v, weight))
                .collect(),
            Conditional::Table(table) => table
                .nodes(per_sd)
                .into_iter()
                .map(|(a, weight)| (shape * a, weight))
                .collect(),
        }
    }

    /// The `a` below which the scale lies with probability `p`.
    pub fn quantile(&self, shape: f64, p: f64) -> f64 {
        match self {
            Conditional::Gamma { order, ln_sum } => (ln_sum - ln_gamma_quantile(*order, p)) / shape,
            Conditional::Table(table) => table.quantile(p),
        }
    }
}

/// Nodes are dropped below this share of the peak density.
const NODE_DROP: f64 = 21.0;

/// Even nodes of `ln G` with their weights.
fn ln_gamma_nodes(order: u64, per_sd: f64) -> Vec<(f64, f64)> {
    let r = order as f64;
    let peak = r.ln();
    let step = 1.0 / (per_sd * r.sqrt());
    let relative = |v: f64| r * (v - peak) - (v.exp() - r);
    let mut nodes = Vec::new();
    let mut v = peak;
    while relative(v) > -NODE_DROP {
        v -= step;
    }
    let mut total = 0.0;
    loop {
        v += step;
        let weight = relative(v).exp();
        if v > peak && weight < (-NODE_DROP).exp() {
            break;
        }
        total += weight;
        nodes.push((v, weight));
    }
    for node in &mut nodes {
        node.1 /= total;
    }
    nodes
}

/// A density of `a` on an even grid with its running integral.
#[derive(Debug, Clone)]
pub struct ScaleTable {
    from: f64,
    step: f64,
    density: Vec<f64>,
    below: Vec<f64>,
    /// Grid points to a standard deviation of the narrowest curve in it.
    fineness: f64,
}

/// The table reaches down to e^(−DROP) of the peak.
const DROP: f64 = 26.0;
/// Evaluations of the likelihood per standard deviation at the peak.
const EVALUATED: f64 = 4.0;
/// Grid points between evaluations, filled in by interpolation.
const FILLED: usize = 3;
/// Grid points per standard deviation at the peak.
const FINENESS: f64 = EVALUATED * FILLED as f64;
/// Most evaluations to either side: far more than any proper density takes.
const MOST: usize = 8_000;

/// Standard deviation of the normal curve that bends as the likelihood does at its peak; no
/// more than what changes a hazard by the factor e, for on a plateau, as windows that overlap
/// make it, the peak does not tell how steep the sides are.
fn spread_at(slice: &Slice, curvature: f64) -> f64 {
    (-curvature).max(1e-12).sqrt().recip().min(slice.unit())
}

/// Log of the integral of the likelihood over `a` at `b`, `peak` being its highest point:
/// the trapezoidal rule over the whole line.
pub fn ln_scale_mass(likelihood: &Likelihood, peak: f64, b: f64) -> f64 {
    let slice = Slice::new(likelihood, b);
    let [top, _, bend] = slice.slope(peak);
    let step = spread_at(&slice, bend) / 2.2;
    let mut sum = 1.0;
    for sign in [-1.0, 1.0] {
        for n in 1..MOST {
            let value = slice.value(peak + sign * step * n as f64) - top;
            sum += value.exp();
            if value.is_nan() || value <= -DROP {
                break;
            }
        }
    }
    top + (sum * step).ln()
}

impl ScaleTable {
    /// Tabulates the likelihood along `a` at `b`, around its highest point `peak`; with the log of
    /// its integral over `a`.
    ///
    /// The log-likelihood is evaluated with its slope on a coarse grid and filled in by cubic
    /// Hermite interpolation, of fourth order; the running integral is the trapezoidal rule
    /// with its first Euler-Maclaurin correction, of fourth order too.
    pub fn new(likelihood: &Likelihood, peak: f64, b: f64) -> (f64, Self) {
        let slice = Slice::new(likelihood, b);
        let [top, top_slope, bend] = slice.slope(peak);
        let coarse = spread_at(&slice, bend) / EVALUATED;
        let side = |sign: f64| {
            let mut points = Vec::new();
            for n in 1..MOST {
                let [value, slope, _] = slice.slope(peak + sign * coarse * n as f64);
                if !value.is_finite() || !slope.is_finite() {
                    break;
                }
                points.push((value - top, slope * coarse));
                if value < top - DROP {
                    break;
                }
            }
            points
        };
        let mut points = side(-1.0);
        points.reverse();
        let from = peak - coarse * points.len() as f64;
        points.push((0.0, top_slope * coarse));
        points.extend(side(1.0));

        let mass: f64 = points.iter().map(|p| p.0.exp()).sum();
        let ln_mass = top + (mass * coarse).ln();

        let step = coarse / FILLED as f64;
        let count = (points.len() - 1) * FILLED + 1;
        let mut ln_density = Vec::with_capacity(count);
        let mut slope = Vec::with_capacity(count);
        for pair in points.windows(2) {
            let [(y0, m0), (y1, m1)] = [pair[0], pair[1]];
            let (c2, c3) = (3.0 * (y1 - y0) - 2.0 * m0 - m1, 2.0 * (y0 - y1) + m0 + m1);
            for n in 0..FILLED {
                let x = n as f64 / FILLED as f64;
                ln_density.push(y0 + x * (m0 + x * (c2 + x * c3)));
                slope.push((m0 + x * (2.0 * c2 + x * 3.0 * c3)) / coarse);
            }
        }
        let last = points[points.len() - 1];
        ln_density.push(last.0);
        slope.push(last.1 / coarse);

        (
            ln_mass,
            ScaleTable::tabulate(from, step, &ln_density, &slope, FINENESS),
        )
    }

    /// A table from the log density, up to a constant, on an even grid; its slope is taken by
    /// central differences of fourth order. `fineness` is the number of grid points to a
    /// standard deviation of the narrowest curve in it.
    pub fn from_grid(from: f64, step: f64, ln_density: &[f64], fineness: f64) -> Self {
        let last = ln_density.len().saturating_sub(1);
        let slope: Vec<f64> = (0..ln_density.len())
            .map(|n| {
                let at = |n: usize| ln_density[n];
                if n >= 2 && n + 2 <= last {
                    (at(n - 2) - 8.0 * at(n - 1) + 8.0 * at(n + 1) - at(n + 2)) / (12.0 * step)
                } else {
                    let (low, high) = (n.saturating_sub(1), (n + 1).min(last));
                    (at(high) - at(low)) / (step * (high - low).max(1) as f64)
                }
            })
            .collect();
        ScaleTable::tabulate(from, step, ln_density, &slope, fineness)
    }

    fn tabulate(from: f64, step: f64, ln_density: &[f64], slope: &[f64], fineness: f64) -> Self {
        let count = ln_density.len();
        let ln_sum = step.ln() + ln_sum_exp(ln_density.iter().copied());
        let density: Vec<f64> = ln_density.iter().map(|v| (v - ln_sum).exp()).collect();
        let mut below = Vec::with_capacity(count);
        let mut sum = 0.0;
        below.push(0.0);
        for n in 1..count {
            let (d0, d1) = (density[n - 1], density[n]);
            let bend = d0 * slope[n - 1] - d1 * slope[n];
            sum += 0.5 * step * (d0 + d1) + step * step / 12.0 * bend;
            below.push(sum.clamp(0.0, 1.0));
        }
        ScaleTable {
            from,
            step,
            density,
            below,
            fineness,
        }
    }

    /// Every few grid point, with weights that sum to 1.
    fn nodes(&self, per_sd: f64) -> Vec<(f64, f64)> {
        let stride = ((self.fineness / per_sd) as usize).max(1);
        let peak = self.density.iter().copied().fold(0.0, f64::max);
        let least = peak * (-NODE_DROP).exp();
        let mut nodes: Vec<(f64, f64)> = self
            .density
            .iter()
            .enumerate()
            .step_by(stride)
            .filter(|(_, density)| **density > least)
            .map(|(n, density)| (self.from + self.step * n as f64, *density))
            .collect();
        let total: f64 = nodes.iter().map(|node| node.1).sum();
        for node in &mut nodes {
            node.1 /= total;
        }
        nodes
    }

    pub(super) fn cdf(&self, a: f64) -> (f64, f64) {
        let place = (a - self.from) / self.step;
        if place <= 0.0 {
            return (0.0, 0.0);
        }
        let last = self.below.len() - 1;
        if place.is_nan() || place >= last as f64 {
            return (1.0, 0.0);
        }
        let n = place as usize;
        let x = place - n as f64;
        // Cubic through both ends of the running integral with the density as its slope.
        let (y0, y1) = (self.below[n], self.below[n + 1]);
        let (m0, m1) = (self.density[n] * self.step, self.density[n + 1] * self.step);
        let (c2, c3) = (3.0 * (y1 - y0) - 2.0 * m0 - m1, 2.0 * (y0 - y1) + m0 + m1);
        let value = y0 + x * (m0 + x * (c2 + x * c3));
        let slope = (m0 + x * (2.0 * c2 + x * 3.0 * c3)) / self.step;
        (value.clamp(0.0, 1.0), slope.max(0.0))
    }

    pub fn quantile(&self, p: f64) -> f64 {
        let n = self
            .below
            .partition_point(|c| *c < p)
            .clamp(1, self.below.len() - 1);
        let (mut low, mut high) = (
            self.from + self.step * (n - 1) as f64,
            self.from + self.step * n as f64,
        );
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if self.cdf(middle).0 < p {
                low = middle
            } else {
                high = middle
            }
        }
        0.5 * (low + high)
    }
}

/// Log of the integral over `a` in the closed case, for checks against the table:
/// `∫ L da = k^(r−1) Π t^(k−1) Γ(r) S^(−r)` on internal usages.
#[cfg(test)]
fn closed_ln_mass(likelihood: &Likelihood, failures: u64, b: f64) -> f64 {
    let (k, r) = (b.exp(), failures as f64);
    (r - 1.0) * b + (k - 1.0) * likelihood.sum_ln_failures() - r * likelihood.shift() + ln_gamma(r)
        - r * likelihood.power_sum(k).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::{Life, Sample};

    /// Where both exist, the table and the closed form must be one distribution.
    #[test]
    fn the_table_agrees_with_the_closed_form() {
        for lives in [
            vec![
                Life::failure(3.0),
                Life::failure(5.0),
                Life::suspension(9.0),
            ],
            vec![Life::failure(3.0), Life::suspension(9.0)],
            (1..40).map(|t| Life::failure(f64::from(t))).collect(),
        ] {
            let sample = Sample::new(lives).unwrap();
            let likelihood = Likelihood::new(&sample);
            let order = sample.failures();
            for b in [-0.5_f64, 0.4, 1.6] {
                let k = b.exp();
                let ln_sum = likelihood.power_sum(k).ln();
                let closed = Conditional::Gamma { order, ln_sum };
                let peak = (ln_sum - (order as f64).ln()) / k;
                let (ln_mass, table) = ScaleTable::new(&likelihood, peak, b);
                let mass = closed_ln_mass(&likelihood, order, b);
                assert!((ln_mass - mass).abs() < 1e-8);
                assert!((ln_scale_mass(&likelihood, peak, b) - mass).abs() < 1e-8);
                for p in [1e-4, 0.05, 0.5, 0.95, 0.9999] {
                    let a = closed.quantile(k, p);
                    assert!((table.cdf(a).0 - p).abs() < 4e-6, "{p}: {}", table.cdf(a).0);
                }
            }
        }
    }
}
