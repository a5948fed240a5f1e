//! A second, deliberately plain likelihood and fit, to judge the one that is used.
//!
//! In: lives. Out: log-likelihood by direct sum in ordinary usage, its maximum by a nested
//! golden-section search sharpened with numeric derivatives.
//! Never: a formula, a search or a shift of units shared with the code it judges.
//!
//! Density `(shape/t)(t/scale)^shape e^(−H(t))`, `H(t) = (t/scale)^shape`; what was
//! watched from an entry age on is divided by its reliability there.
//! Source: Meeker & Escobar, *Statistical Methods for Reliability Data* (1998), chapter 2.

use wearbook::life::{End, Life};

/// Log-likelihood by direct sum; every life is visited, nothing is merged or shared.
///
/// Takes the log of the scale, for flat surfaces reach scales beyond any double.
pub fn ln_likelihood(lives: &[Life], shape: f64, ln_scale: f64) -> f64 {
    let hazard = |t: f64| (shape * (t.ln() - ln_scale)).exp();
    lives
        .iter()
        .map(|life| {
            let one = match life.end {
                End::Failure { at } => {
                    shape.ln() - at.ln() + shape * (at.ln() - ln_scale) - hazard(at)
                }
                End::Suspension { at } => -hazard(at),
                End::Interval { lo, hi } => ln_share_between(hazard(lo), hazard(hi)),
                End::Left { hi } => ln_share_between(hazard(life.entry), hazard(hi)),
            };
            f64::from(life.count) * (one + hazard(life.entry))
        })
        .sum()
}

/// `ln(e^(−from) − e^(−to))`.
fn ln_share_between(from: f64, to: f64) -> f64 {
    -from + (-(from - to).exp_m1()).ln()
}

/// What the plain search found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Found {
    /// A maximum inside the searched range.
    Maximum {
        shape: f64,
        scale: f64,
        log_likelihood: f64,
        /// Least curvature of the surface, per unit of `(ln scale, ln shape)` squared.
        flatness: f64,
    },
    /// The likelihood is as high at the top of the range of shapes as anywhere.
    RunsUp,
    /// The likelihood is highest at the bottom of the range of shapes.
    RunsDown,
    /// No failure: it rises with the scale whatever the shape.
    NoFailure,
}

/// Range of ln shape that is searched.
pub const FROM: f64 = -4.0;
pub const TO: f64 = 8.0;

/// Maximises by brute force: a grid over ln shape, golden section around its best point,
/// and for each shape a golden section over the scale.
pub fn fit(lives: &[Life]) -> Found {
    if !lives.iter().any(Life::failed) {
        return Found::NoFailure;
    }
    let (best, count) = (|n: usize| FROM + 0.25 * n as f64, 48);
    let heights: Vec<f64> = (0..=count).map(|n| profile(lives, best(n)).1).collect();
    let top = (0..=count).fold(0, |top, n| if heights[n] > heights[top] { n } else { top });
    // Windows that overlap are fitted perfectly from some shape on: a plateau, no peak.
    if heights[count] >= heights[top] - 1e-9 {
        return Found::RunsUp;
    }
    if top == 0 {
        return Found::RunsDown;
    }
    let b = golden(|b| profile(lives, b).1, best(top - 1), best(top + 1), 34);
    sharpen(lives, profile(lives, b).0, b)
}

/// The best ln scale at one ln shape, and the log-likelihood there.
fn profile(lives: &[Life], b: f64) -> (f64, f64) {
    let shape = b.exp();
    let longest = lives.iter().map(Life::last_usage).fold(0.0, f64::max);
    // Searched in the log of the cumulative hazard of the longest life, which is of the
    // order of 1 whatever the shape, while the scale itself may be anywhere.
    let a = |c: f64| longest.ln() - c / shape;
    let value = |c: f64| match ln_likelihood(lives, shape, a(c)) {
        value if value.is_nan() => f64::NEG_INFINITY,
        value => value,
    };
    // Steep shapes may have the longest life far beyond the failures.
    let shortest = lives
        .iter()
        .filter(|life| life.failed())
        .map(|life| match life.end {
            End::Interval { lo, .. } => lo,
            _ => life.last_usage(),
        })
        .fold(longest, f64::min);
    let reach = shape * (longest / shortest).ln();
    let c = golden(value, -16.0, 6.0 + reach, 46);
    (a(c), value(c))
}

/// The highest point of a function with one peak.
fn golden(f: impl Fn(f64) -> f64, from: f64, to: f64, passes: usize) -> f64 {
    const SHARE: f64 = 0.618_033_988_749_894_8;
    let (mut low, mut high) = (from, to);
    let (mut x, mut y) = (high - SHARE * (high - low), low + SHARE * (high - low));
    let (mut fx, mut fy) = (f(x), f(y));
    for _ in 0..passes {
        if fx > fy {
            (high, y, fy) = (y, x, fx);
            x = high - SHARE * (high - low);
            fx = f(x);
        } else {
            (low, x, fx) = (x, y, fy);
            y = low + SHARE * (high - low);
            fy = f(y);
        }
    }
    0.5 * (low + high)
}

/// First derivatives in `(ln scale, ln shape)` by five-point differences, with the bends.
pub fn differences(lives: &[Life], a: f64, b: f64) -> ([f64; 2], [f64; 3]) {
    // Far steps for a flat surface, near ones for a steep one: a thirtieth of what a life's
    // cumulative hazard changes by e in.
    let (da, db) = (0.03 * (-b).exp().min(1.0), 0.003);
    let f = |i: f64, j: f64| ln_likelihood(lives, (b + j * db).exp(), a + i * da);
    let first =
        |m2: f64, m1: f64, p1: f64, p2: f64, h: f64| (m2 - 8.0 * m1 + 8.0 * p1 - p2) / (12.0 * h);
    let second = |m2: f64, m1: f64, o: f64, p1: f64, p2: f64, h: f64| {
        (-m2 + 16.0 * m1 - 30.0 * o + 16.0 * p1 - p2) / (12.0 * h * h)
    };
    let o = f(0.0, 0.0);
    let along_a = [f(-2.0, 0.0), f(-1.0, 0.0), f(1.0, 0.0), f(2.0, 0.0)];
    let along_b = [f(0.0, -2.0), f(0.0, -1.0), f(0.0, 1.0), f(0.0, 2.0)];
    let [am2, am1, ap1, ap2] = along_a;
    let [bm2, bm1, bp1, bp2] = along_b;
    let mixed = (f(1.0, 1.0) - f(1.0, -1.0) - f(-1.0, 1.0) + f(-1.0, -1.0)) / (4.0 * da * db);
    (
        [first(am2, am1, ap1, ap2, da), first(bm2, bm1, bp1, bp2, db)],
        [
            second(am2, am1, o, ap1, ap2, da),
            mixed,
            second(bm2, bm1, o, bp1, bp2, db),
        ],
    )
}

/// A few Newton steps with the numeric derivatives: golden section alone finds a peak only to
/// the root of the rounding error.
fn sharpen(lives: &[Life], from_a: f64, from_b: f64) -> Found {
    let (mut a, mut b) = (from_a, from_b);
    let mut flatness = f64::NAN;
    for _ in 0..4 {
        let ([ga, gb], [aa, ab, bb]) = differences(lives, a, b);
        let determinant = aa * bb - ab * ab;
        let middle = 0.5 * (aa + bb);
        flatness = -(middle + (middle * middle - determinant).max(0.0).sqrt());
        let step = (
            -(bb * ga - ab * gb) / determinant,
            -(aa * gb - ab * ga) / determinant,
        );
        // The peak is near already; a longer step would come of a surface too flat to tell.
        if !(determinant > 0.0 && step.0.abs().max(step.1.abs()) < 0.01) {
            break;
        }
        (a, b) = (a + step.0, b + step.1);
    }
    Found::Maximum {
        shape: b.exp(),
        scale: a.exp(),
        log_likelihood: ln_likelihood(lives, b.exp(), a),
        flatness,
    }
}
