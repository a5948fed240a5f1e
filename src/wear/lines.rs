//! Wear lines: what is measured against usage, one line an item, items leaning on each other.
//!
//! In: readings of items, all of one quantity. Out: [`WearLines`]: estimates, the line of each
//! item; `posterior` adds limits. Never: clock, files, SQL, printing.
//!
//! Model: `y = a + b_i·u + e`: one intercept `a` (a new part), a slope `b_i ~ N(β, τ²)` an
//! item, readings scattered by `e ~ N(0, σ²)`; `u` is usage since renewal. An item with one
//! reading leans on its siblings, one without any is one of them.
//! Estimate: maximum likelihood; intercept, slope and σ have closed forms given `θ = τ²/σ²`,
//! which solves a score equation in one unknown. One item alone is an ordinary least-squares
//! line, its σ with `n − 2`. Where fewer than two readings repeat an item, lines can run
//! through all of them and the likelihood has no bound: `θ` is then its median in the posterior
//! (see `posterior`).
//! Source: Laird & Ware, "Random-effects models for longitudinal data", Biometrics 38 (1982).

use thiserror::Error;

use crate::model::numeric::root;

/// Readings of one item: usage since renewal, and what was measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ItemReadings {
    pub item: String,
    pub readings: Vec<(f64, f64)>,
}

/// Why there is no line.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NoLine {
    #[error("{} too few for a line", match readings { 1 => "one reading is".to_owned(), n => format!("{n} readings are") })]
    TooFew { readings: usize },
    #[error("every reading was taken at a usage of {usage}: a line needs two usages")]
    OneUsage { usage: f64 },
    #[error("a usage or a reading is not a finite number, or a usage is below 0")]
    NotFinite,
    #[error("the spread of the slopes could not be settled")]
    NotConverged,
}

/// What all items share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Population {
    pub intercept: f64,
    pub slope: f64,
    pub se_intercept: f64,
    pub se_slope: f64,
    /// Spread of the slopes of items; `None` for one item alone.
    pub slope_sd: Option<f64>,
    /// Scatter of readings about their lines; `None` where nothing is left to judge it by.
    pub residual_sd: Option<f64>,
    pub log_likelihood: f64,
}

/// What is maximised: the likelihood of the readings, or of what is left of them once
/// intercept and slope are taken out (restricted; less biased for spreads).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    Likelihood,
    Restricted,
}

/// Sums of one item's readings: usage over [`WearLines::reach`], value less the plain line
/// through all readings, so that nothing is lost to rounding.
///
/// What a slope of its own cannot explain is summed apart (`across_…`): with one reading that
/// is nothing, exactly, which no difference of large sums would give.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub n: f64,
    pub x: f64,
    pub xx: f64,
    pub xy: f64,
    /// Sums of squares and products of 1 and y once x is taken out of them.
    across_11: f64,
    across_1y: f64,
    across_yy: f64,
}

impl Sums {
    fn of(points: &[(f64, f64)]) -> Sums {
        let mut sums = Sums {
            n: points.len() as f64,
            ..Sums::default()
        };
        for (x, y) in points {
            sums.x += x;
            sums.xx += x * x;
            sums.xy += x * y;
        }
        let (one, slope) = if sums.xx > 0.0 {
            (sums.x / sums.xx, sums.xy / sums.xx)
        } else {
            (0.0, 0.0)
        };
        // A single reading is explained whole; products of quotients would leave crumbs.
        if points.len() > 1 || sums.xx == 0.0 {
            for (x, y) in points {
                let (one, y) = (1.0 - one * x, y - slope * x);
                sums.across_11 += one * one;
                sums.across_1y += one * y;
                sums.across_yy += y * y;
            }
        }
        sums
    }

    /// Product of `Σ x·1` and `Σ x·other` over `Σ x²`.
    fn along(&self, other: f64) -> f64 {
        if self.xx > 0.0 {
            self.x * other / self.xx
        } else {
            0.0
        }
    }
}

/// Lines through the readings of one or more items.
#[derive(Debug, Clone)]
pub struct WearLines {
    pub(super) items: Vec<Sums>,
    /// The largest usage of a reading: usages are counted in it within.
    pub(super) reach: f64,
    /// The plain line through all readings, over the scaled usage.
    pub(super) base: (f64, f64),
    pub(super) readings: usize,
    /// Squares below this are rounding, not scatter.
    floor: f64,
    theta: f64,
    population: Population,
}

/// Intercept and slope beside the plain line, given `θ`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Solved {
    pub a: f64,
    pub b: f64,
    /// Their covariance over σ².
    pub cov: [f64; 3],
    pub ln_det: f64,
    /// `Σ ln |V_i|/σ²`.
    pub ln_v: f64,
    /// Weighted squares about the lines.
    pub squares: f64,
}

impl WearLines {
    /// Lines by maximum likelihood.
    ///
    /// Units: usage in any one unit, values in any one; slopes are value per usage.
    /// Domain: usages finite and 0 or more, values finite; items without readings are passed
    /// over where sums are made but keep their place.
    /// Errors: [`NoLine`]. Accuracy: 1e-9 relative (`tests/numbers/wear.rs`).
    pub fn fit(items: &[ItemReadings]) -> Result<WearLines, NoLine> {
        WearLines::fit_by(items, Criterion::Likelihood)
    }

    /// As [`WearLines::fit`], by either criterion.
    pub fn fit_by(items: &[ItemReadings], by: Criterion) -> Result<WearLines, NoLine> {
        let all = || items.iter().flat_map(|item| &item.readings);
        let readings = all().count();
        if all().any(|(u, y)| !u.is_finite() || *u < 0.0 || !y.is_finite()) {
            return Err(NoLine::NotFinite);
        }
        if readings < 2 {
            return Err(NoLine::TooFew { readings });
        }
        let reach = all().map(|(u, _)| *u).fold(0.0, f64::max);
        let least = all().map(|(u, _)| *u).fold(f64::INFINITY, f64::min);
        if reach <= least {
            return Err(NoLine::OneUsage { usage: reach });
        }
        let count = readings as f64;
        let mean_x = all().map(|(u, _)| u / reach).sum::<f64>() / count;
        let mean_y = all().map(|(_, y)| y).sum::<f64>() / count;
        let (mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0_f64);
        for (u, y) in all() {
            let (dx, dy) = (u / reach - mean_x, y - mean_y);
            sxx += dx * dx;
            sxy += dx * dy;
            syy += dy * dy;
        }
        let slope = sxy / sxx;
        let base = (mean_y - slope * mean_x, slope);
        let sums = items
            .iter()
            .map(|item| {
                let points: Vec<(f64, f64)> = item
                    .readings
                    .iter()
                    .map(|(u, y)| {
                        let x = u / reach;
                        (x, (y - mean_y) - slope * (x - mean_x))
                    })
                    .collect();
                Sums::of(&points)
            })
            .collect();
        let size = mean_y.abs().max((syy / count).sqrt());
        let mut lines = WearLines {
            items: sums,
            reach,
            base,
            readings,
            floor: count * (1e-10 * size).powi(2).max(f64::MIN_POSITIVE),
            theta: 0.0,
            population: Population {
                intercept: 0.0,
                slope: 0.0,
                se_intercept: 0.0,
                se_slope: 0.0,
                slope_sd: None,
                residual_sd: None,
                log_likelihood: 0.0,
            },
        };
        lines.theta = lines.settle(by)?;
        lines.population = lines.described(by);
        Ok(lines)
    }

    /// What all items share.
    pub fn population(&self) -> &Population {
        &self.population
    }

    /// Readings the lines go through.
    pub fn readings(&self) -> usize {
        self.readings
    }

    /// Items with a reading.
    pub fn items_read(&self) -> usize {
        self.items.iter().filter(|item| item.n > 0.0).count()
    }

    /// Intercept and slope of an item's line, in the order given; of a new one for `None`.
    pub fn line(&self, item: Option<usize>) -> (f64, f64) {
        let Population {
            intercept, slope, ..
        } = self.population;
        let Some(sums) = item.and_then(|n| self.items.get(n)) else {
            return (intercept, slope);
        };
        let solved = self.solve(self.theta);
        let lean = leaning(self.theta, sums);
        let own = lean * (sums.xy - solved.a * sums.x - solved.b * sums.xx);
        (intercept, slope + own / self.reach)
    }

    /// How much of an item's slope is its own: 0 with no reading, near 1 with many.
    pub fn own_share(&self, item: usize) -> f64 {
        self.items.get(item).map_or(0.0, |sums| {
            if self.items_read() < 2 {
                1.0
            } else {
                leaning(self.theta, sums) * sums.xx
            }
        })
    }

    pub(super) fn solve(&self, theta: f64) -> Solved {
        let (mut a11, mut a12, mut a22) = (0.0, 0.0, 0.0);
        let (mut b1, mut b2, mut ln_v) = (0.0, 0.0, 0.0);
        for s in &self.items {
            let grown = 1.0 + theta * s.xx;
            a11 += s.across_11 + s.along(s.x) / grown;
            a12 += s.x / grown;
            a22 += s.xx / grown;
            b1 += s.across_1y + s.along(s.xy) / grown;
            b2 += s.xy / grown;
            ln_v += (theta * s.xx).ln_1p();
        }
        let det = a11 * a22 - a12 * a12;
        let a = (a22 * b1 - a12 * b2) / det;
        let b = (a11 * b2 - a12 * b1) / det;
        let squares: f64 = self
            .items
            .iter()
            .map(|s| {
                let across = s.across_yy - 2.0 * a * s.across_1y + a * a * s.across_11;
                let along = s.xy - a * s.x - b * s.xx;
                let along = if s.xx > 0.0 {
                    along * along / s.xx
                } else {
                    0.0
                };
                across.max(0.0) + along / (1.0 + theta * s.xx)
            })
            .sum();
        Solved {
            a,
            b,
            cov: [a22 / det, -a12 / det, a11 / det],
            ln_det: det.ln(),
            ln_v,
            squares: squares + self.floor,
        }
    }

    /// Twice the log of the criterion, without constants.
    fn height(&self, theta: f64, by: Criterion) -> f64 {
        let solved = self.solve(theta);
        let n = self.readings as f64;
        match by {
            Criterion::Likelihood => -n * solved.squares.ln() - solved.ln_v,
            Criterion::Restricted => -(n - 2.0) * solved.squares.ln() - solved.ln_v - solved.ln_det,
        }
    }

    /// Slope of [`WearLines::height`] in `θ`.
    fn score(&self, theta: f64, by: Criterion) -> f64 {
        let solved = self.solve(theta);
        let (mut falls, mut gains) = (0.0, 0.0);
        let mut d = [0.0; 3];
        for s in &self.items {
            let grown = 1.0 + theta * s.xx;
            let xr = (s.xy - solved.a * s.x - solved.b * s.xx) / grown;
            falls += s.xx / grown;
            gains += xr * xr;
            d[0] -= (s.x / grown).powi(2);
            d[1] -= s.x * s.xx / (grown * grown);
            d[2] -= (s.xx / grown).powi(2);
        }
        let n = self.readings as f64;
        match by {
            Criterion::Likelihood => n * gains / solved.squares - falls,
            Criterion::Restricted => {
                let [c11, c12, c22] = solved.cov;
                let ln_det = c11 * d[0] + 2.0 * c12 * d[1] + c22 * d[2];
                (n - 2.0) * gains / solved.squares - falls - ln_det
            }
        }
    }

    /// The `θ` of the highest criterion: 0, or where its slope changes sign.
    fn settle(&self, by: Criterion) -> Result<f64, NoLine> {
        // One item's slope is its own; with two readings there is nothing to tell spreads by.
        let items = self.items_read();
        if items < 2 || self.readings < 3 {
            return Ok(0.0);
        }
        // With fewer than two repeats the lines can run through every reading: the likelihood
        // has no bound, and what is believed of the spread stands in.
        if self.readings < items + 2 {
            return Ok(self.median_theta());
        }
        let slope = |z: f64| self.score(z.exp(), by);
        let steps = || (0..=160).map(|k| -24.0 + 0.5 * f64::from(k));
        let mut best = (self.height(0.0, by), 0.0);
        let mut before: Option<(f64, f64)> = None;
        for z in steps() {
            let here = slope(z);
            if let Some((from, was)) = before
                && was > 0.0
                && here <= 0.0
            {
                let z = root(slope, from, z, 1e-14).map_err(|_| NoLine::NotConverged)?;
                let theta = z.exp();
                let height = self.height(theta, by);
                if height > best.0 {
                    best = (height, theta);
                }
            }
            before = Some((z, here));
        }
        Ok(best.1)
    }

    fn described(&self, by: Criterion) -> Population {
        let solved = self.solve(self.theta);
        let n = self.readings as f64;
        let alone = self.items_read() < 2;
        let degrees = if alone || by == Criterion::Restricted {
            n - 2.0
        } else {
            n
        };
        // Where the lines leave nothing but rounding, the scatter is none.
        let left = (solved.squares - self.floor).max(0.0);
        let left = if left <= 10.0 * self.floor { 0.0 } else { left };
        let sigma = if self.readings < 3 {
            None
        } else {
            Some((left / degrees).sqrt())
        };
        let spread = (solved.squares / degrees.max(1.0)).sqrt();
        let [c11, _, c22] = solved.cov;
        let ln_2pi = (2.0 * std::f64::consts::PI).ln();
        let log_likelihood = match by {
            Criterion::Likelihood => {
                -0.5 * (n * (ln_2pi + (solved.squares / n).ln() + 1.0) + solved.ln_v)
            }
            Criterion::Restricted => {
                let n = n - 2.0;
                -0.5 * (n * (ln_2pi + (solved.squares / n).ln() + 1.0)
                    + solved.ln_v
                    + solved.ln_det)
                    - self.reach.ln()
            }
        };
        Population {
            intercept: self.base.0 + solved.a,
            slope: (self.base.1 + solved.b) / self.reach,
            se_intercept: spread * c11.sqrt(),
            se_slope: spread * c22.sqrt() / self.reach,
            slope_sd: (!alone).then(|| self.theta.sqrt() * spread / self.reach),
            residual_sd: sigma,
            log_likelihood,
        }
    }
}

/// The weight that an item's own readings have for its slope, over `Σ x²`.
pub(super) fn leaning(theta: f64, sums: &Sums) -> f64 {
    theta / (1.0 + theta * sums.xx)
}
