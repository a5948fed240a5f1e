//! Small numerics the models share: normal quantile, gamma tail, roots, quadrature rule.
//!
//! In: plain numbers. Out: plain numbers. Never: anything about lives.
//!
//! Sources: W. Gautschi, *Numerical Analysis* (quadrature); R. P. Brent, *Algorithms for
//! Minimization without Derivatives* (1973), chapter 4 (root finding);
//! NIST *Digital Library of Mathematical Functions* 8.4.10 (incomplete gamma, whole order).

use statrs::function::erf::{erfc, erfc_inv};
use statrs::function::gamma::{gamma_ur, ln_gamma};

/// Standard normal quantile: `z` with `Φ(z) = p`.
///
/// Domain: `0 < p < 1`; the ends give the infinities.
/// Accuracy: about 1e-14 relative (library value, polished by one Newton step).
pub fn normal_quantile(p: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    let z = -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    if density == 0.0 {
        return z;
    }
    let miss = 0.5 * erfc(-z / std::f64::consts::SQRT_2) - p;
    z - miss / density
}

/// Chi-square quantile with one degree of freedom, for likelihood-ratio limits.
///
/// Domain: `0 < p < 1`. Formula: the square of the normal quantile at `(1 + p)/2`.
pub fn chi_square_1_quantile(p: f64) -> f64 {
    normal_quantile(0.5 * (1.0 + p)).powi(2)
}

/// Highest order for which the tail is summed term by term.
const SUMMED_ORDER: u64 = 170;

/// Upper tail of a gamma variate of whole order `r` and unit rate: `P(G > y)`.
///
/// Formula: `e^(−y) Σ_{j<r} y^j/j!` (DLMF 8.4.10); above order 170 the regularised
/// incomplete gamma function of the library.
/// Domain: `r >= 1`, `y >= 0`; infinite `y` gives 0.
pub fn gamma_tail(r: u64, y: f64) -> f64 {
    if y <= 0.0 {
        return 1.0;
    }
    if y == f64::INFINITY {
        return 0.0;
    }
    if r > SUMMED_ORDER || y > 700.0 {
        return gamma_ur(r as f64, y);
    }
    let mut term = 1.0;
    let mut sum = 1.0;
    for j in 1..r {
        term *= y / j as f64;
        sum += term;
    }
    sum * (-y).exp()
}

/// Log density of `ln G` at `v`, where `G` is gamma of order `r` and unit rate.
pub fn ln_gamma_log_density(r: u64, v: f64) -> f64 {
    r as f64 * v - v.exp() - ln_gamma(r as f64)
}

/// `v` with `P(ln G > v) = p`, for `G` gamma of whole order and unit rate.
pub fn ln_gamma_quantile(order: u64, p: f64) -> f64 {
    let start = (order as f64).ln();
    let step = 1.0 / (order as f64).sqrt();
    let miss = |v: f64| gamma_tail(order, v.exp()) - p;
    let sign = if miss(start) > 0.0 { 1.0 } else { -1.0 };
    // The tail runs from 1 to 0 over the whole line, so a root exists at either side.
    root_outward(miss, start, sign * step, 800.0, 1e-12).unwrap_or(start)
}

/// Why a root was not found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoRoot {
    pub from: f64,
    pub to: f64,
}

/// Root of a continuous function between two points where its signs differ (Brent).
///
/// Stops when the bracket is below `tol` (absolute, in x) or the value is exactly 0.
/// Errors: [`NoRoot`] where the signs do not differ or a value is not a number.
pub fn root(mut f: impl FnMut(f64) -> f64, from: f64, to: f64, tol: f64) -> Result<f64, NoRoot> {
    let none = NoRoot { from, to };
    let (mut a, mut b) = (from, to);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa.is_nan() || fb.is_nan() || fa.signum() == fb.signum() && fa != 0.0 && fb != 0.0 {
        return Err(none);
    }
    let (mut c, mut fc) = (a, fa);
    let mut d = b - a;
    let mut e = d;
    // Each pass at least halves the bracket every second time: 400 passes end any double.
    for _ in 0..400 {
        if fb.signum() == fc.signum() {
            c = a;
            fc = fa;
            d = b - a;
            e = d;
        }
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let tol1 = 2.0 * f64::EPSILON * b.abs() + 0.5 * tol;
        let m = 0.5 * (c - b);
        if m.abs() <= tol1 || fb == 0.0 {
            return Ok(b);
        }
        if e.abs() >= tol1 && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * m * s, 1.0 - s)
            } else {
                let q = fa / fc;
                let r = fb / fc;
                (
                    s * (2.0 * m * q * (q - r) - (b - a) * (r - 1.0)),
                    (q - 1.0) * (r - 1.0) * (s - 1.0),
                )
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * m * q - (tol1 * q).abs()).min((e * q).abs()) {
                e = d;
                d = p / q;
            } else {
                d = m;
                e = m;
            }
        } else {
            d = m;
            e = m;
        }
        a = b;
        fa = fb;
        b += if d.abs() > tol1 { d } else { tol1.copysign(m) };
        fb = f(b);
        if fb.is_nan() {
            return Err(none);
        }
    }
    Err(none)
}

/// Where the root of a falling score must lie, as far as the points asked tell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bracket {
    low: f64,
    high: f64,
}

impl Bracket {
    /// Nothing known yet.
    pub const OPEN: Bracket = Bracket {
        low: f64::NEG_INFINITY,
        high: f64::INFINITY,
    };

    /// `reach` to either side of `x`.
    pub fn around(x: f64, reach: f64) -> Self {
        Bracket {
            low: x - reach,
            high: x + reach,
        }
    }

    /// Narrows the bracket by the score at `x` and gives the next point: a Newton step of at
    /// most 1.5 by the slope `bend`; where that leaves the bracket or climbs, the middle, or a
    /// step of 1 towards the open side.
    pub fn next(&mut self, x: f64, score: f64, bend: f64) -> f64 {
        if score > 0.0 {
            self.low = self.low.max(x);
        } else {
            self.high = self.high.min(x);
        }
        let newton = x - score / bend;
        let open = !(newton > self.low && newton < self.high) || bend >= 0.0;
        match (open, self.low.is_finite(), self.high.is_finite()) {
            (false, _, _) => x + (newton - x).clamp(-1.5, 1.5),
            (true, true, true) => 0.5 * (self.low + self.high),
            (true, true, false) => x + 1.0,
            (true, _, _) => x - 1.0,
        }
    }
}

/// Walks outward from `start` in steps that grow by half, until `f` changes sign,
/// then finds the root.
///
/// Returns `None` where no change of sign is met within `reach` of the start.
pub fn root_outward(
    mut f: impl FnMut(f64) -> f64,
    start: f64,
    step: f64,
    reach: f64,
    tol: f64,
) -> Option<f64> {
    let mut near = start;
    let mut value = f(near);
    if value == 0.0 {
        return Some(near);
    }
    let mut step = step;
    while (near - start).abs() < reach {
        let far = near + step;
        let next = f(far);
        if next.is_nan() {
            return None;
        }
        if next == 0.0 || next.signum() != value.signum() {
            return root(f, near, far, tol).ok();
        }
        near = far;
        value = next;
        step *= 1.5;
    }
    None
}

/// Nodes and weights of 10-point Gauss-Legendre quadrature on (−1, 1).
/// Source: Abramowitz & Stegun, *Handbook of Mathematical Functions*, table 25.4
/// (recalled; the tests integrate polynomials to degree 19 with them).
pub const GAUSS_10: [(f64, f64); 10] = [
    (-0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
    (-0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (-0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (-0.433_395_394_129_247_2, 0.269_266_719_309_996_35),
    (-0.148_874_338_981_631_22, 0.295_524_224_714_752_87),
    (0.148_874_338_981_631_22, 0.295_524_224_714_752_87),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_35),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
];

/// `ln Σ e^x`, without overflow. The empty sum gives −∞.
pub fn ln_sum_exp(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = values.clone().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return top;
    }
    top + values.map(|v| (v - top).exp()).sum::<f64>().ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_integrates_polynomials_to_degree_19() {
        for degree in 0..20 {
            let got: f64 = GAUSS_10.iter().map(|(x, w)| w * x.powi(degree)).sum();
            let want = if degree % 2 == 0 {
                2.0 / f64::from(degree + 1)
            } else {
                0.0
            };
            assert!(
                (got - want).abs() < 1e-14,
                "degree {degree}: {got} for {want}"
            );
        }
    }

    /// Source: Abramowitz & Stegun, table 26.5 prints 1.64485 36270 (0.95) and
    /// 1.95996 39845 (0.975).
    #[test]
    fn normal_quantile_agrees_with_the_handbook() {
        assert!((normal_quantile(0.95) - 1.644_853_627_0).abs() < 5e-11);
        assert!((normal_quantile(0.975) - 1.959_963_984_5).abs() < 5e-11);
        assert!((normal_quantile(0.025) + 1.959_963_984_5).abs() < 5e-11);
    }

    #[test]
    fn gamma_tail_meets_the_library() {
        for r in [1_u64, 2, 5, 40, 170, 171, 400] {
            for y in [0.01, 0.5, 1.0, 7.0, 60.0, 200.0, 600.0] {
                let (got, want) = (gamma_tail(r, y), gamma_ur(r as f64, y));
                assert!(
                    (got - want).abs() <= 1e-11 * want.max(1e-280),
                    "{r} {y}: {got} {want}"
                );
            }
        }
    }

    #[test]
    fn a_root_is_found_and_its_absence_told() {
        let x = root(|x| x * x * x - 2.0, 0.0, 2.0, 1e-14).unwrap();
        assert!((x - 2.0_f64.cbrt()).abs() < 1e-13);
        assert!(root(|x| x * x + 1.0, -1.0, 1.0, 1e-12).is_err());
        assert!(root_outward(|x| x - 30.0, 0.0, 0.5, 100.0, 1e-12).is_some());
        assert!(root_outward(|x| x - 30.0, 0.0, 0.5, 10.0, 1e-12).is_none());
    }
}
