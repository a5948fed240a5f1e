//! The decision from data: the interval of least expected relative cost.
//!
//! In: a [`Posterior`] and [`Costs`]. Out: [`Decision`].
//! Never: a point estimate of the life; rounding, ceilings and verdict words (`recommend`).
//!
//! For a parameter pair θ let `C(T; θ)` be the age-replacement cost rate and `C(∞; θ)` the
//! cost rate of running to failure. The interval minimises the posterior mean of
//! `ln C(T; θ)`: finite, free of scale, and averse to being badly wrong by the same
//! factor in either direction. The rule is our own; that it costs no more than the plug-in
//! estimate is shown by simulation (`examples/decision_study.rs`).
//!
//! Expectation over the scale uses one set of quantile nodes of `ln G`, `G` gamma, shared
//! by all shapes, so that a cost curve is a sum of shifted copies of one curve per shape.

use super::age::{Costs, NEAR, ln_unit_cost, ln_unit_gain_far, ln_unit_optimum};
use crate::model::numeric::{root, root_outward};
use crate::model::posterior::Posterior;

/// What the data say of renewing at an age.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// Usage of least expected ln cost; `None` where no finite one beats run to failure.
    pub optimum: Option<f64>,
    /// Least posterior mean of `ln C(T)` over finite `T`.
    pub ln_cost: f64,
    /// Posterior mean of `ln C(∞)`.
    pub ln_cost_run_to_failure: f64,
    /// Usages between which the mean ln cost stays within ln 1.05 of the least; the upper
    /// end is `None` where it never leaves that band.
    pub near: Option<(f64, Option<f64>)>,
    /// The finite usage at which the chance and the saving below are taken: the optimum,
    /// or the best finite one where run to failure is better still.
    pub at: f64,
    /// Posterior probability that renewing at `at` costs less than running to failure.
    pub chance_it_pays: f64,
    /// `1 − C(at)/C(∞)`: median and two-sided limits.
    pub saving: Saving,
    /// Posterior median of `C(∞) − C(at)`, in cost per unit of usage, with limits.
    pub saving_rate: Saving,
}

/// A quantity with its posterior median and two-sided limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Saving {
    pub median: f64,
    pub lower: f64,
    pub upper: f64,
}

/// Points on the cost curve, for drawing: mean of the posterior in ln, with limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    pub usage: f64,
    /// `exp` of the posterior mean of ln cost rate.
    pub cost: f64,
    pub lower: f64,
    pub upper: f64,
}

/// A posterior prepared for one pair of costs.
pub struct DecisionMaker<'a> {
    posterior: &'a Posterior,
    costs: Costs,
    shapes: Vec<AtShape>,
}

/// One shape of the posterior with its cost curve.
struct AtShape {
    shape: f64,
    weight: f64,
    /// Which node of the posterior this is.
    node: usize,
    /// `ln C(∞)` at scale 1.
    forever: f64,
    curve: Curve,
}

/// `φ(z) = ln C + ln T` at one shape, as a function of `z = ln H(T)`: it depends on nothing
/// else, so one table serves every scale and every interval.
struct Curve {
    costs: Costs,
    shape: f64,
    forever: f64,
    table: Vec<f64>,
}

/// The table runs over `z` from almost no failure to almost no survivor.
const Z_FROM: f64 = -20.0;
const Z_TO: f64 = 4.0;
const Z_STEP: f64 = 0.08;

/// Scale nodes per standard deviation: for means, where the rule converges fast, and for
/// quantiles, where every node is a step.
const COARSE: f64 = 2.2;
const FINE: f64 = 8.0;

/// Relative saving below which two costs count as equal.
const LEAST_GAIN: f64 = 1e-15;

/// The longest interval weighed: e⁴, about 55 times, the geometric mean of the lives. Beyond
/// that an interval is no plan.
const REACH: f64 = 4.0;

/// Grid of ln usage on which the curve is first walked.
const WALK: f64 = 0.1;

/// Decides the interval from a posterior.
///
/// `confidence` is two-sided, for the saving. Units: usage as the sample's; costs per unit
/// of usage. Accuracy: 2e-3 in the optimum, 1e-4 in ln cost, 0.01 in the chance
/// (`tests/numbers/policy.rs`).
pub fn decide(posterior: &Posterior, costs: Costs, confidence: f64) -> Decision {
    DecisionMaker::new(posterior, costs).decide(confidence)
}

impl Curve {
    fn new(shape: f64, costs: Costs) -> Self {
        let count = ((Z_TO - Z_FROM) / Z_STEP).round() as usize + 1;
        let table = (0..count)
            .map(|n| {
                let x = (Z_FROM + Z_STEP * n as f64) / shape;
                ln_unit_cost(shape, costs, x) + x
            })
            .collect();
        let forever = ln_unit_cost(shape, costs, f64::INFINITY);
        Curve {
            costs,
            shape,
            forever,
            table,
        }
    }

    fn at(&self, z: f64) -> f64 {
        let place = (z - Z_FROM) / Z_STEP;
        if place < 1.0 {
            // No failure to speak of: the item is renewed at T for sure.
            let hazard = z.exp();
            return (self.costs.planned + (self.costs.failed - self.costs.planned) * hazard).ln();
        }
        let n = place as usize;
        if n + 2 >= self.table.len() {
            return self.forever + z / self.shape;
        }
        // Lagrange through the four points around: error of order step⁴.
        let x = place - n as f64;
        let [y0, y1, y2, y3] = [
            self.table[n - 1],
            self.table[n],
            self.table[n + 1],
            self.table[n + 2],
        ];
        let (xm, xp, xq) = (x + 1.0, x - 1.0, x - 2.0);
        -y0 * x * xp * xq / 6.0 + y1 * xm * xp * xq / 2.0 - y2 * xm * x * xq / 2.0
            + y3 * xm * x * xp / 6.0
    }
}

impl<'a> DecisionMaker<'a> {
    pub fn new(posterior: &'a Posterior, costs: Costs) -> Self {
        let shapes = posterior
            .nodes()
            .iter()
            .enumerate()
            .filter(|(_, node)| node.weight > 1e-8)
            .map(|(n, node)| {
                let curve = Curve::new(node.shape, costs);
                AtShape {
                    shape: node.shape,
                    weight: node.weight,
                    node: n,
                    forever: curve.forever,
                    curve,
                }
            })
            .collect();
        DecisionMaker {
            posterior,
            costs,
            shapes,
        }
    }

    /// For every shape its scale nodes as `(k·a, weight)`.
    fn scale_nodes(&self, per_sd: f64) -> Vec<Vec<(f64, f64)>> {
        self.shapes
            .iter()
            .map(|s| {
                self.posterior.nodes()[s.node]
                    .scale
                    .hazard_nodes(s.shape, per_sd)
            })
            .collect()
    }

    /// Posterior mean of `ln C(T)` at internal `x = ln T`.
    fn mean_ln_cost(&self, nodes: &[Vec<(f64, f64)>], x: f64) -> f64 {
        let mut total = 0.0;
        let mut weight = 0.0;
        for (shape, scales) in self.shapes.iter().zip(nodes) {
            let z = shape.shape * x;
            let sum: f64 = scales
                .iter()
                .map(|(ka, w)| w * shape.curve.at(z - ka))
                .sum();
            total += shape.weight * sum;
            weight += shape.weight;
        }
        total / weight - x - self.posterior.shift()
    }

    /// Posterior mean of `ln C(∞)`.
    fn mean_ln_cost_forever(&self, nodes: &[Vec<(f64, f64)>]) -> f64 {
        let mut total = 0.0;
        let mut weight = 0.0;
        for (shape, scales) in self.shapes.iter().zip(nodes) {
            let mean_a: f64 = scales.iter().map(|(ka, w)| w * ka).sum::<f64>() / shape.shape;
            total += shape.weight * (shape.forever - mean_a);
            weight += shape.weight;
        }
        total / weight - self.posterior.shift()
    }

    /// Decides: see [`decide`].
    pub fn decide(&self, confidence: f64) -> Decision {
        let nodes = self.scale_nodes(COARSE);
        let forever = self.mean_ln_cost_forever(&nodes);
        let shift = self.posterior.shift();
        let cost = |x: f64| self.mean_ln_cost(&nodes, x);
        let (best, least) = self.walk(&cost, &nodes);
        let beats = least < forever - 1e-9;
        let near = beats.then(|| self.near(&cost, best, least, forever));
        let (chance_it_pays, saving, saving_rate) = self.compare(best, confidence);
        Decision {
            optimum: beats.then(|| (best + shift).exp()),
            ln_cost: least,
            ln_cost_run_to_failure: forever,
            near: near.map(|(from, to)| ((from + shift).exp(), to.map(|x| (x + shift).exp()))),
            at: (best + shift).exp(),
            chance_it_pays,
            saving,
            saving_rate,
        }
    }

    /// Walks the whole curve, then narrows to its lowest point: `(ln T, mean ln cost)`.
    fn walk(&self, cost: &impl Fn(f64) -> f64, nodes: &[Vec<(f64, f64)>]) -> (f64, f64) {
        // An interval well under every scale that matters costs as planned renewal alone does.
        let mut low = f64::INFINITY;
        for (shape, scales) in self.shapes.iter().zip(nodes) {
            for (ka, w) in scales {
                if shape.weight * w > 1e-5 {
                    low = low.min(ka / shape.shape);
                }
            }
        }
        let high = self.posterior.ln_middle() + REACH;
        let low = low.clamp(high - 40.0, high - 2.0) - 6.0;
        let count = ((high - low) / WALK).ceil() as usize;
        let step = (high - low) / count as f64;
        let mut best = (0, f64::INFINITY);
        for n in 0..=count {
            let here = cost(low + step * n as f64);
            if here < best.1 {
                best = (n, here);
            }
        }
        if best.0 == count {
            return (high, best.1);
        }
        let x = low + step * best.0 as f64;
        golden(cost, x - step, x + step)
    }

    fn near(
        &self,
        cost: &impl Fn(f64) -> f64,
        best: f64,
        least: f64,
        forever: f64,
    ) -> (f64, Option<f64>) {
        let limit = least + NEAR.ln_1p();
        let excess = |x: f64| cost(x) - limit;
        let edge = |sign: f64| {
            let mut far = best;
            while excess(far) < 0.0 {
                far += sign * 0.25;
                if (far - best).abs() > 80.0 {
                    return None;
                }
            }
            root(excess, far - sign * 0.25, far, 1e-9).ok()
        };
        // Renewing ever sooner costs without end, so the lower edge exists.
        let from = edge(-1.0).unwrap_or(best);
        (from, if forever > limit { edge(1.0) } else { None })
    }

    /// Chance that renewing at internal `x = ln T` beats run to failure, and the saving.
    fn compare(&self, x: f64, confidence: f64) -> (f64, Saving, Saving) {
        let shift = self.posterior.shift();
        let mut chance = 0.0;
        let mut total = 0.0;
        let mut relative = Vec::new();
        let mut absolute = Vec::new();
        for (shape, scales) in self.shapes.iter().zip(self.scale_nodes(FINE)) {
            total += shape.weight;
            chance += shape.weight * self.chance_at(shape, x);
            for (ka, w) in scales {
                let z = shape.shape * x - ka;
                let a = ka / shape.shape;
                // ln C(T) − ln C(∞), both at this scale.
                let gain = shape.curve.at(z) - (x - a) - shape.forever;
                let saving = -gain.exp_m1();
                relative.push((saving, shape.weight * w));
                let forever = (shape.forever - a - shift).exp();
                absolute.push((saving * forever, shape.weight * w));
            }
        }
        (
            chance / total,
            quantiles(relative, confidence),
            quantiles(absolute, confidence),
        )
    }

    /// The chance that renewing at internal `x` pays at one shape, exact in the scale: interval over scale must lie between the
    /// point where the cost curve first dips below run to failure and the one beyond which
    /// the difference is no more than a double's last digit.
    fn chance_at(&self, shape: &AtShape, x: f64) -> f64 {
        let Some(best) = ln_unit_optimum(shape.shape, self.costs) else {
            return 0.0;
        };
        let gain = |u: f64| ln_unit_cost(shape.shape, self.costs, u) - shape.forever;
        let mut low = best - 1.0;
        while gain(low) < 0.0 {
            low -= 1.0;
        }
        // Best and run to failure may agree to the last digit: nothing to gain.
        let Ok(start) = root(gain, low, best, 1e-10) else {
            return 0.0;
        };
        let far = |u: f64| ln_unit_gain_far(shape.shape, self.costs, u) + LEAST_GAIN;
        // From a hazard of about e on the tail formula holds; it rises to 0 from below.
        let from = best.max(1.0 / shape.shape);
        if far(from) >= 0.0 {
            return 0.0;
        }
        let end = root_outward(far, from, 0.5, 800.0, 1e-10).unwrap_or(from);
        let scale = &self.posterior.nodes()[shape.node].scale;
        let below = |a: f64| scale.cdf(shape.shape, a).0;
        (below(x - start) - below(x - end)).max(0.0)
    }

    /// The expected cost rate when renewed at a usage (> 0): the exponential of the posterior
    /// mean of its log, as the decision weighs it.
    pub fn cost_at(&self, usage: f64) -> f64 {
        let nodes = self.scale_nodes(COARSE);
        self.mean_ln_cost(&nodes, usage.ln() - self.posterior.shift())
            .exp()
    }

    /// The cost curve over the given usages, for drawing: limits of the cost rate at each.
    pub fn curve(&self, usages: &[f64], confidence: f64) -> Vec<CurvePoint> {
        let nodes = self.scale_nodes(COARSE);
        // Quantiles of few nodes would show as steps in a drawn limit.
        let fine = self.scale_nodes(FINE);
        let shift = self.posterior.shift();
        usages
            .iter()
            .map(|usage| {
                let x = usage.ln() - shift;
                let costs = self.shapes.iter().zip(&fine).flat_map(|(shape, scales)| {
                    scales.iter().map(move |(ka, w)| {
                        let ln_cost = shape.curve.at(shape.shape * x - ka) - x - shift;
                        (ln_cost.exp(), shape.weight * w)
                    })
                });
                let limits = quantiles(costs.collect(), confidence);
                CurvePoint {
                    usage: *usage,
                    cost: self.mean_ln_cost(&nodes, x).exp(),
                    lower: limits.lower,
                    upper: limits.upper,
                }
            })
            .collect()
    }
}

/// Weighted median and two-sided limits.
pub(super) fn quantiles(mut values: Vec<(f64, f64)>, confidence: f64) -> Saving {
    values.sort_by(|x, y| x.0.total_cmp(&y.0));
    let total: f64 = values.iter().map(|v| v.1).sum();
    let at = |p: f64| {
        let wanted = p * total;
        let mut below = 0.0;
        let mut last = (0.0, f64::NAN);
        for (value, weight) in &values {
            // Each value stands at the middle of its own weight.
            let middle = below + 0.5 * weight;
            if middle >= wanted {
                if last.1.is_nan() {
                    return *value;
                }
                let share = (wanted - last.0) / (middle - last.0);
                return last.1 + share * (value - last.1);
            }
            last = (middle, *value);
            below += weight;
        }
        last.1
    };
    let tail = 0.5 * (1.0 - confidence);
    Saving {
        median: at(0.5),
        lower: at(tail),
        upper: at(1.0 - tail),
    }
}

/// Golden-section search for the lowest point between two usages.
fn golden(f: &impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> (f64, f64) {
    const SHARE: f64 = 0.618_033_988_749_894_9;
    let mut x1 = high - SHARE * (high - low);
    let mut x2 = low + SHARE * (high - low);
    let (mut f1, mut f2) = (f(x1), f(x2));
    while high - low > 1e-5 {
        if f1 <= f2 {
            high = x2;
            (x2, f2) = (x1, f1);
            x1 = high - SHARE * (high - low);
            f1 = f(x1);
        } else {
            low = x1;
            (x1, f1) = (x2, f2);
            x2 = low + SHARE * (high - low);
            f2 = f(x2);
        }
    }
    if f1 <= f2 { (x1, f1) } else { (x2, f2) }
}
