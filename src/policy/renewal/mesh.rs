//! The numerics of renewal equations: functions as polynomials on even panels, and the
//! Weibull density integrated against them.
//!
//! In: a shape at unit scale, a panel's width. Out: [`Mesh`], [`Kernel`], [`graded`].
//! Never: what is counted.
//!
//! A renewal equation `g(t) = b(t) + ∫₀ᵗ g(t − s) f(s) ds` is solved panel after panel: `g` is a
//! polynomial through `P` Chebyshev nodes on each (collocation), and the integrals of `f` against
//! its basis depend only on how many panels lie between, so that they are made once. `f` goes as
//! `s^(shape−1)` near 0: there the integral is cut in stretches that shrink towards 0 by a
//! constant factor. Source: H. Brunner, *Collocation Methods for Volterra Integral and Related
//! Functional Differential Equations* (2004), chapters 2 and 6.

use std::sync::LazyLock;

/// How fine integrals are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// Twelve digits and more.
    Fine,
    /// Seven digits.
    Plain,
}

/// Nodes and weights on (0, 1).
static FINE: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| gauss_legendre(16));
static PLAIN: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| gauss_legendre(10));

impl Rule {
    /// For polynomials through so many nodes.
    fn for_nodes(nodes: usize) -> Self {
        if nodes > 8 { Rule::Fine } else { Rule::Plain }
    }

    /// Share below which a rest is settled by its mass alone.
    fn rest(self) -> f64 {
        match self {
            Rule::Fine => 1e-16,
            Rule::Plain => 1e-10,
        }
    }
}

/// Each stretch towards a singular point is this share of the next.
const RATIO: f64 = 1.0 / 3.0;

/// Roots of the Legendre polynomial by Newton's method from Tricomi's guess.
fn gauss_legendre(points: usize) -> Vec<(f64, f64)> {
    let n = points as f64;
    let pair = |i: usize| {
        let mut x = -(std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..60 {
            let (mut before, mut here) = (1.0, x);
            for m in 2..=points {
                let m = m as f64;
                (before, here) = (here, ((2.0 * m - 1.0) * x * here - (m - 1.0) * before) / m);
            }
            slope = n * (x * here - before) / (x * x - 1.0);
            let step = here / slope;
            x -= step;
            if step.abs() < 1e-16 {
                break;
            }
        }
        (0.5 * (1.0 + x), 1.0 / ((1.0 - x * x) * slope * slope))
    };
    (0..points).map(pair).collect()
}

/// Calls `each(point, weight)` over `(a, b)`, smooth throughout.
pub(crate) fn smooth(rule: Rule, a: f64, b: f64, mut each: impl FnMut(f64, f64)) {
    let pairs = match rule {
        Rule::Fine => &FINE,
        Rule::Plain => &PLAIN,
    };
    if b > a {
        for (x, w) in pairs.iter() {
            each(a + (b - a) * x, (b - a) * w);
        }
    }
}

/// Calls `each(point, weight)` over `(a, b)`, `0 <= a < b`, for an integrand that is singular at
/// 0 only. Stops short of 0 at the returned point, from where the integrand's share is for the
/// caller to settle; `a` itself where that is reached.
pub(crate) fn graded(
    rule: Rule,
    a: f64,
    b: f64,
    enough: impl Fn(f64) -> bool,
    mut each: impl FnMut(f64, f64),
) -> f64 {
    let mut high = b;
    while high > a {
        if a == 0.0 && enough(high) {
            return high;
        }
        let low = (high * RATIO).max(a);
        // A sliver left over would cost a stretch of its own.
        let low = if low < a * 1.5 { a } else { low };
        smooth(rule, low, high, &mut each);
        high = low;
    }
    a
}

/// Interpolation through `P` Chebyshev nodes of the first kind on (0, 1).
#[derive(Debug, Clone)]
pub(crate) struct Mesh<const P: usize> {
    pub nodes: [f64; P],
    weights: [f64; P],
}

impl<const P: usize> Mesh<P> {
    pub fn new() -> Self {
        let angle = |i: usize| std::f64::consts::PI * (i as f64 + 0.5) / P as f64;
        Mesh {
            nodes: std::array::from_fn(|i| 0.5 * (1.0 - angle(i).cos())),
            weights: std::array::from_fn(|i| {
                let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
                sign * angle(i).sin()
            }),
        }
    }

    /// The basis polynomials at `x` (barycentric form; J.-P. Berrut & L. N. Trefethen, *SIAM
    /// Review* 46 (2004) 501-517).
    pub fn basis(&self, x: f64) -> [f64; P] {
        let mut parts = [0.0; P];
        let mut total = 0.0;
        for i in 0..P {
            let gap = x - self.nodes[i];
            if gap == 0.0 {
                let mut one = [0.0; P];
                one[i] = 1.0;
                return one;
            }
            parts[i] = self.weights[i] / gap;
            total += parts[i];
        }
        parts.map(|part| part / total)
    }

    pub fn value(&self, values: &[f64; P], x: f64) -> f64 {
        let basis = self.basis(x);
        basis.iter().zip(values).map(|(b, v)| b * v).sum()
    }

    /// Slope of the interpolant at `x`, per unit of the panel.
    pub fn slope(&self, values: &[f64; P], x: f64) -> f64 {
        // At a node the form below is 0/0; beside it the polynomial is the same to rounding.
        let near = self.nodes.iter().any(|node| (x - node).abs() < 1e-9);
        let x = if near { x + 3e-9 } else { x };
        let here = self.value(values, x);
        let (mut above, mut below) = (0.0, 0.0);
        for ((node, weight), value) in self.nodes.iter().zip(self.weights).zip(values) {
            let gap = x - node;
            above += weight / gap * (here - value) / gap;
            below += weight / gap;
        }
        above / below
    }
}

/// The Weibull density at unit scale integrated against the basis of one panel, for every
/// distance in panels: what a renewal equation needs of it.
#[derive(Debug, Clone)]
pub(crate) struct Kernel<const P: usize> {
    pub mesh: Mesh<P>,
    pub shape: f64,
    pub width: f64,
    /// Panels to the usage at which items are renewed; the density ends there.
    pub cut: Option<usize>,
    /// `[distance][node][basis]`.
    weights: Vec<[[f64; P]; P]>,
}

impl<const P: usize> Kernel<P> {
    /// For a reach of `panels` panels.
    pub fn new(shape: f64, width: f64, panels: usize, cut: Option<usize>) -> Self {
        let mesh = Mesh::new();
        let mut kernel = Kernel {
            mesh,
            shape,
            width,
            cut,
            weights: Vec::new(),
        };
        let most = cut.map_or(panels, |cut| panels.min(cut + 1));
        for distance in 0..most {
            // Beyond the last of the items nothing is left to weigh.
            if distance > 1 && kernel.survivors((distance as f64 - 1.0) * width) < 1e-18 {
                break;
            }
            let rows = std::array::from_fn(|i| kernel.row(distance, i));
            kernel.weights.push(rows);
        }
        kernel
    }

    /// Weights of the panel `distance` panels before the node's own.
    fn row(&self, distance: usize, node: usize) -> [f64; P] {
        let place = self.mesh.nodes[node] + distance as f64;
        let from = (place - 1.0).max(0.0) * self.width;
        let mut to = place * self.width;
        if let Some(cut) = self.cut {
            to = to.min(cut as f64 * self.width);
        }
        let mut row = [0.0; P];
        let mut add = |s: f64, mass: f64| {
            let basis = self.mesh.basis(place - s / self.width);
            for (sum, b) in row.iter_mut().zip(basis) {
                *sum += b * mass;
            }
        };
        // Where the basis no longer changes, the mass alone counts.
        let rule = Rule::for_nodes(P);
        let enough = |s: f64| s / self.width * self.failed(s) < rule.rest();
        let rest = graded(rule, from, to, enough, |s, w| add(s, w * self.density(s)));
        if rest > from {
            add(0.5 * rest, self.failed(rest));
        }
        row
    }

    pub fn density(&self, s: f64) -> f64 {
        let power = s.powf(self.shape - 1.0);
        self.shape * power * (-power * s).exp()
    }

    pub fn failed(&self, s: f64) -> f64 {
        -(-s.powf(self.shape)).exp_m1()
    }

    pub fn survivors(&self, s: f64) -> f64 {
        (-s.powf(self.shape)).exp()
    }

    /// Usage at a node of a panel.
    pub fn at(&self, panel: usize, node: usize) -> f64 {
        (panel as f64 + self.mesh.nodes[node]) * self.width
    }

    /// Share that reaches the usage of renewal, where there is one.
    pub fn renewed(&self) -> f64 {
        self.cut
            .map_or(0.0, |cut| self.survivors(cut as f64 * self.width))
    }

    /// `∫ g(t − s) f(s) ds` over the known panels of `g` from `first` on, up to and with `panel`
    /// if that is known, at each node of `panel`.
    pub fn fold(&self, known: &[[f64; P]], first: usize, panel: usize) -> [f64; P] {
        let mut sums = [0.0; P];
        let from = (panel + 1).saturating_sub(self.weights.len()).max(first);
        let upto = known.len().min(panel + 1);
        for (earlier, values) in known.iter().enumerate().take(upto).skip(from) {
            let weights = &self.weights[panel - earlier];
            for (sum, row) in sums.iter_mut().zip(weights) {
                for (w, v) in row.iter().zip(values) {
                    *sum += w * v;
                }
            }
        }
        sums
    }

    /// The inverse of `1 − own`: solves the equation on one panel.
    pub fn solver(&self) -> [[f64; P]; P] {
        let mut left = [[0.0; P]; P];
        let mut right = [[0.0; P]; P];
        for i in 0..P {
            left[i] = self.weights[0][i].map(|weight| -weight);
            left[i][i] += 1.0;
            right[i][i] = 1.0;
        }
        // Gauss-Jordan with the largest pivot; the own weights are a small part of one.
        for column in 0..P {
            let mut pivot = column;
            for row in column..P {
                if left[row][column].abs() > left[pivot][column].abs() {
                    pivot = row;
                }
            }
            left.swap(column, pivot);
            right.swap(column, pivot);
            let scale = left[column][column].recip();
            for value in left[column].iter_mut().chain(&mut right[column]) {
                *value *= scale;
            }
            let (pivot_left, pivot_right) = (left[column], right[column]);
            for row in (0..P).filter(|row| *row != column) {
                let factor = left[row][column];
                for (value, by) in left[row].iter_mut().zip(pivot_left) {
                    *value -= factor * by;
                }
                for (value, by) in right[row].iter_mut().zip(pivot_right) {
                    *value -= factor * by;
                }
            }
        }
        right
    }
}

/// Matrix times vector.
pub(crate) fn times<const P: usize>(matrix: &[[f64; P]; P], vector: &[f64; P]) -> [f64; P] {
    std::array::from_fn(|i| matrix[i].iter().zip(vector).map(|(m, v)| m * v).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rules_integrate_polynomials_to_their_degree() {
        for (rule, degrees) in [(Rule::Fine, 0..32), (Rule::Plain, 0..20)] {
            for degree in degrees {
                let mut sum = 0.0;
                smooth(rule, 0.0, 1.0, |x: f64, w| sum += w * x.powi(degree));
                let want = 1.0 / f64::from(degree + 1);
                assert!((sum / want - 1.0).abs() < 1e-13, "{rule:?} {degree}");
            }
        }
    }

    #[test]
    fn interpolation_gives_polynomials_and_their_slopes_back() {
        let mesh = Mesh::<12>::new();
        let values = mesh.nodes.map(|x| x.powi(9) - 2.0 * x);
        for x in [0.0, 0.013, 0.5, mesh.nodes[4], 0.97, 1.0] {
            assert!((mesh.value(&values, x) - (x.powi(9) - 2.0 * x)).abs() < 1e-13);
            assert!(
                (mesh.slope(&values, x) - (9.0 * x.powi(8) - 2.0)).abs() < 1e-6,
                "{x}"
            );
        }
    }

    #[test]
    fn the_weights_of_all_distances_add_up_to_the_share_failed() {
        for shape in [0.3, 0.8, 1.0, 2.5, 20.0] {
            let width = (1.0_f64 / shape).min(0.25);
            let kernel = Kernel::<12>::new(shape, width, 7, None);
            let ones = vec![[1.0; 12]; 7];
            for node in 0..12 {
                let got = kernel.fold(&ones, 0, 6)[node];
                let want = kernel.failed(kernel.at(6, node));
                assert!((got - want).abs() < 1e-13, "{shape} {node}: {got} {want}");
            }
        }
    }
}
