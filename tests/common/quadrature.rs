//! The posterior by generic two-dimensional quadrature, to judge the closed-form route.
//!
//! In: lives. Out: the probability that a quantity lies below a value, by summing
//! likelihood × prior over a fine grid of the plane; a seeded Monte Carlo estimate of the same.
//! Never: a step done in closed form, a node or a table of the code it judges.
//!
//! The prior 1/(scale·shape) is flat in `(ln scale, ln shape)`. The grid is even in `u` with
//! `ln shape = b₀ + w·sinh u`, which reaches far tails in few steps, and, for each shape, even in
//! `c`, the log of the cumulative hazard at a middling usage (`ln scale = middle − c/shape`),
//! which stays within bounds where the scale does not. Running integrals are those of the
//! cubic through four neighbouring points.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearbook::life::Life;
use wearbook::model::{Target, Weibull};

use super::naive;

/// An evenly spaced density with its running integral.
struct Running {
    from: f64,
    step: f64,
    density: Vec<f64>,
    below: Vec<f64>,
}

impl Running {
    fn new(from: f64, step: f64, density: Vec<f64>) -> Self {
        let mut running = Running {
            from,
            step,
            density,
            below: vec![0.0],
        };
        for n in 0..running.density.len() - 1 {
            let next = running.below[n] + running.piece(n, 1.0);
            running.below.push(next);
        }
        running
    }

    /// Integral over the first `share` of the stretch after point `n`, by Simpson's rule on
    /// the cubic, for which it is exact.
    fn piece(&self, n: usize, share: f64) -> f64 {
        let at = |i: isize| {
            let n = n as isize + i;
            if n < 0 {
                0.0
            } else {
                self.density.get(n as usize).copied().unwrap_or(0.0)
            }
        };
        let [p, q, r, s] = [at(-1), at(0), at(1), at(2)];
        let cubic = |x: f64| {
            -p * x * (x - 1.0) * (x - 2.0) / 6.0 + q * (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0
                - r * (x + 1.0) * x * (x - 2.0) / 2.0
                + s * (x + 1.0) * x * (x - 1.0) / 6.0
        };
        self.step * share / 6.0 * (cubic(0.0) + 4.0 * cubic(0.5 * share) + cubic(share))
    }

    fn total(&self) -> f64 {
        self.below[self.below.len() - 1]
    }

    /// Share of the whole below `x`.
    fn share_below(&self, x: f64) -> f64 {
        let place = (x - self.from) / self.step;
        if place.is_nan() || place >= (self.density.len() - 1) as f64 {
            return 1.0;
        }
        if place <= 0.0 {
            return 0.0;
        }
        let n = place as usize;
        (self.below[n] + self.piece(n, place - n as f64)) / self.total()
    }
}

/// Points to a standard deviation, along the hazard and along `u`.
const PER_SD: f64 = 20.0;
const U_STEP: f64 = 0.04;
/// The grid ends where the density is e^(−DROP) of its peak.
const DROP: f64 = 36.0;

/// The posterior on a grid of the plane.
pub struct Plane {
    middle: f64,
    centre: f64,
    width: f64,
    /// For each `u`: the shape and the running integral over `c`.
    rows: Vec<(f64, Running)>,
    /// Over `u`, masses of the rows.
    marginal: Running,
}

impl Plane {
    /// `at` is a point of high likelihood and `width` the spread of ln shape around it.
    pub fn new(lives: &[Life], at: &Weibull, width: f64) -> Self {
        let longest = lives.iter().map(Life::last_usage).fold(0.0, f64::max);
        let middle = (0.6 * longest).ln();
        let top = naive::ln_likelihood(lives, at.shape, at.scale.ln());
        let centre = at.shape.ln();
        let row = |u: f64| {
            let shape = (centre + width * u.sinh()).exp();
            let hazards = hazards(lives, shape, middle, top);
            // dln scale = dc/shape; dln shape = width·cosh u du.
            let mass = hazards.total() / shape * width * u.cosh();
            (shape, hazards, mass)
        };
        let side = |sign: f64| {
            let (mut rows, mut most) = (Vec::new(), row(0.0).2);
            for n in 1..200 {
                let next = row(sign * U_STEP * f64::from(n));
                most = most.max(next.2);
                let end = next.2.is_nan() || next.2 < most * 1e-14;
                rows.push(next);
                if end {
                    break;
                }
            }
            rows
        };
        let mut rows = side(-1.0);
        rows.reverse();
        let from = -U_STEP * rows.len() as f64;
        rows.push(row(0.0));
        rows.extend(side(1.0));
        let masses = rows.iter().map(|row| row.2).collect();
        Plane {
            middle,
            centre,
            width,
            rows: rows.into_iter().map(|row| (row.0, row.1)).collect(),
            marginal: Running::new(from, U_STEP, masses),
        }
    }

    /// Probability that the target lies below `value`.
    pub fn below(&self, target: Target, value: f64) -> f64 {
        // The log of the cumulative hazard at the middling usage beyond which the target lies
        // below the value, given the shape: from the definition of each target.
        let edge = |k: f64| match target {
            Target::Shape => f64::NAN,
            Target::Scale => k * (self.middle - value.ln()),
            Target::LifeAt(p) => k * (self.middle - value.ln()) + (-(1.0 - p).ln()).ln(),
            Target::Mean => k * (self.middle - value.ln() + ln_gamma(1.0 + 1.0 / k)),
            Target::Reliability(t) => (-value.ln()).ln() + k * (self.middle - t.ln()),
            // h(t) = k/t · H(t): here what lies below the edge is what counts.
            Target::Hazard(t) => (value * t / k).ln() + k * (self.middle - t.ln()),
        };
        if target == Target::Shape {
            return self
                .marginal
                .share_below(((value.ln() - self.centre) / self.width).asinh());
        }
        // Smooth and decaying at both ends: the plain sum converges faster than any power.
        let mut sum = 0.0;
        for ((shape, hazards), mass) in self.rows.iter().zip(&self.marginal.density) {
            sum += mass * (1.0 - hazards.share_below(edge(*shape)));
        }
        let beyond = sum / self.marginal.density.iter().sum::<f64>();
        match target {
            Target::Hazard(_) => 1.0 - beyond,
            _ => beyond,
        }
    }

    /// How far, in ln units, `value` lies from the quantile of `p`: the miss in probability
    /// over the slope.
    pub fn miss(&self, target: Target, value: f64, p: f64) -> f64 {
        let step = 1e-3;
        let (up, down) = (value * f64::exp(step), value * f64::exp(-step));
        let slope = (self.below(target, up) - self.below(target, down)) / (2.0 * step);
        (self.below(target, value) - p) / slope
    }
}

/// Likelihood at one shape along the log of the cumulative hazard at `middle`.
fn hazards(lives: &[Life], shape: f64, middle: f64, top: f64) -> Running {
    let f = |c: f64| match naive::ln_likelihood(lives, shape, middle - c / shape) - top {
        value if value.is_nan() => f64::NEG_INFINITY,
        value => value,
    };
    // Steep shapes may put the peak far out, where the middling usage is far from the lives.
    let reach = 8.0 + 2.0 * shape;
    let (mut peak, mut height) = (0.0, f64::NEG_INFINITY);
    for n in -40..=40 {
        let c = reach * f64::from(n) / 40.0;
        if f(c) > height {
            (peak, height) = (c, f(c));
        }
    }
    let mut step = reach / 80.0;
    while step > 0.005 {
        let (left, right) = (f(peak - step), f(peak + step));
        if left.max(right) > height {
            peak += if right > left { step } else { -step };
            height = left.max(right);
        } else {
            step *= 0.5;
        }
    }
    let bend = (2.0 * height - f(peak - 0.02) - f(peak + 0.02)) / 0.0004;
    let step = 1.0 / bend.max(0.05).sqrt() / PER_SD;
    let side = |sign: f64| {
        let mut values = Vec::new();
        for n in 1..20_000 {
            let value = f(peak + sign * step * f64::from(n));
            values.push(value.exp());
            if value < height - DROP {
                break;
            }
        }
        values
    };
    let mut values = side(-1.0);
    values.reverse();
    let from = peak - step * values.len() as f64;
    values.push(height.exp());
    values.extend(side(1.0));
    Running::new(from, step, values)
}

/// `ln Γ` by Stirling's series after a shift (Abramowitz & Stegun 6.1.41).
fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut below) = (x, 0.0);
    while x < 12.0 {
        below += x.ln();
        x += 1.0;
    }
    let z = 1.0 / (x * x);
    let series = (1.0 / 12.0 - z * (1.0 / 360.0 - z * (1.0 / 1260.0 - z / 1680.0))) / x;
    (x - 0.5) * x.ln() - x + 0.918_938_533_204_672_8 + series - below
}

/// Weighted draws from the posterior: proposals from a bivariate Student t with four degrees
/// of freedom around the estimate, weighted by likelihood × prior over their density.
pub struct Draws {
    pub lives: Vec<(Weibull, f64)>,
}

impl Draws {
    /// `covariance` of `(ln scale, ln shape)`: `aa, ab, bb`.
    pub fn new(
        lives: &[Life],
        at: &Weibull,
        covariance: [f64; 3],
        count: usize,
        seed: u64,
    ) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        // Wider than the estimate's own spread: thin data have skewed posteriors.
        let [aa, ab, bb] = covariance.map(|c| 2.0 * c);
        let l11 = aa.sqrt();
        let l21 = ab / l11;
        let l22 = (bb - l21 * l21).sqrt();
        let top = naive::ln_likelihood(lives, at.shape, at.scale.ln());
        let mut normal = || {
            // Box & Muller.
            let (u, v): (f64, f64) = (rng.random(), rng.random());
            (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
        };
        let lives = (0..count)
            .map(|_| {
                let (p, q) = (normal(), normal());
                let chi: f64 = (0..4).map(|_| normal().powi(2)).sum();
                let stretch = (4.0 / chi).sqrt();
                let (p, q) = (p * stretch, q * stretch);
                let a = at.scale.ln() + l11 * p;
                let b = at.shape.ln() + l21 * p + l22 * q;
                let life = Weibull {
                    shape: b.exp(),
                    scale: a.exp(),
                };
                let ln_proposal = -3.0 * (1.0 + (p * p + q * q) / 4.0).ln();
                let ln_weight = naive::ln_likelihood(lives, life.shape, a) - top - ln_proposal;
                (
                    life,
                    if ln_weight.is_nan() {
                        0.0
                    } else {
                        ln_weight.exp()
                    },
                )
            })
            .collect();
        Draws { lives }
    }

    /// Weighted share with the target below `value`, and its standard error.
    pub fn below(&self, target: Target, value: f64) -> (f64, f64) {
        let total: f64 = self.lives.iter().map(|d| d.1).sum();
        let hit = |life: &Weibull| f64::from(u8::from(target.of(life) <= value));
        let share = self.lives.iter().map(|d| d.1 * hit(&d.0)).sum::<f64>() / total;
        let error = self
            .lives
            .iter()
            .map(|d| (d.1 * (hit(&d.0) - share)).powi(2))
            .sum::<f64>()
            .sqrt()
            / total;
        (share, error)
    }
}
