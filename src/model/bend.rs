//! Does a probability plot bend, and which way.
//!
//! In: a [`Sample`] of failures and suspensions watched from new. Out: [`BendTest`], which
//! names the bend where there is one and says what that kind commonly means, or [`NoBend`].
//! Never: a cause; the plot shows that something is mixed, the records show what.
//!
//! Points `(x, y) = (ln t, ln(−ln(1 − F)))` with exact median ranks. `x` is regressed on
//! powers of `y`, each made orthogonal to those below it, with weights `w`; `c₂` and `c₃` are
//! the correlations of `x` with the second and third:
//! `c_k = Σ w q_k x / √(Σ w q_k² · Σ w (x − x̄)²)`. Further `g_m`: how far the first `m`
//! failures lie left of the line of the rest, summed, in units of `y`. On paper, `c₂ > 0` is a
//! plot steep first and flat later, `c₂ < 0` the reverse, `c₃ < 0` flat in the middle.
//! Weights are mean over standard deviation of the cumulative hazard at each failure: the
//! first points scatter most, yet a location shows in them alone. Their squares would weigh by
//! variance; they find mixtures as well and locations worse, as equal weights do the reverse.
//!
//! None of these changes when `x` is shifted or stretched, so that their distribution for a
//! straight plot is simulated once for all parameters (see `progressive`). Five one-sided
//! tails are looked at (`c₂` both ways, `c₃ < 0`, `g₁`, `g₂`); the least of the five is itself
//! held against what straight plots give, so that looking five times costs no false alarms.
//! Sources: D'Agostino & Stephens, *Goodness-of-Fit Techniques* (1986), chapter 5 (correlation
//! and regression tests on probability plots); IEC 61649:2008, annexes on curved plots and
//! mixtures (from memory); W. Nelson, *Applied Life Data Analysis* (1982), chapter 4. What a
//! bend commonly means is common practice.

use std::fmt;

use thiserror::Error;

use super::family::Family;
use super::progressive::{self, MOST_FAILURES, REPLICATES};
use super::ranks::{adjusted_ranks, median_rank};
use crate::life::{Life, Sample};
use crate::quantity::counted;

/// Failures from which on a bend is looked for.
pub const FEWEST_FAILURES: u64 = 6;

/// Share of straight plots in which a bend is named all the same.
pub const LEVEL: f64 = 0.05;

/// The rest counts as straight where more than this share of straight plots bend so far.
const STRAIGHT_FROM: f64 = 0.1;

const SEED: u64 = 0x6265_6e64_5f70_6c74;

/// Why a plot is not judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NoBend {
    #[error("{} at different usages show no bend; it takes at least {FEWEST_FAILURES}", counted(*failures, "failure", "failures"))]
    FewFailures { failures: u64 },
    #[error("{} are more than the test for a bend is made for", counted(*failures, "failure", "failures"))]
    ManyFailures { failures: u64 },
    #[error("{} known only within a window, where the plot shows the inspections and not the failures", counted(*windows, "failure is", "failures are"))]
    Windows { windows: u64 },
    #[error("{} came under watch with usage already on, so that what failed before is not on the plot", counted(*entered, "item", "items"))]
    EntryAges { entered: u64 },
}

/// The way a plot bends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BendKind {
    SteepThenFlat,
    FlatThenSteep,
    FlatInTheMiddle,
    /// The first one or two failures lie far left of the line of the rest.
    EarlyFailures {
        count: u8,
    },
}

impl BendKind {
    pub fn word(self) -> &'static str {
        match self {
            BendKind::SteepThenFlat => "steep-then-flat",
            BendKind::FlatThenSteep => "flat-then-steep",
            BendKind::FlatInTheMiddle => "flat-in-the-middle",
            BendKind::EarlyFailures { .. } => "early-failures",
        }
    }

    /// What such a plot commonly means and what to look at: common practice. No full stop.
    pub fn meaning(self) -> &'static str {
        match self {
            BendKind::SteepThenFlat => {
                "the probability plot starts steep and flattens; commonly nothing can fail before some usage (a location), or some of the items, such as a batch, fail sooner than the rest; look whether the early failures share a batch, a part number or a position, and whether a failure-free time has a physical reason"
            }
            BendKind::FlatThenSteep => {
                "the probability plot starts flat and steepens; commonly two failure modes are mixed, such as early failures after fitting, or chance failures, with wear-out; look whether the early failures have a mode of their own, and fit each mode by itself"
            }
            BendKind::FlatInTheMiddle => {
                "the probability plot is flat in the middle; commonly two groups of items with different lives are mixed, such as two batches, or a mode that only some of the items have; look what the failures before the flat stretch have in common"
            }
            BendKind::EarlyFailures { count: 1 } => {
                "the first failure came far earlier than the line of the others; commonly an early failure after fitting or a faulty part; check its entry first, then how the item was fitted"
            }
            BendKind::EarlyFailures { .. } => {
                "the first two failures came far earlier than the line of the others; commonly early failures after fitting or faulty parts; check their entries first, then how the items were fitted"
            }
        }
    }
}

/// What was found on a probability plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BendTest {
    /// The bend, where `p` is at most [`LEVEL`].
    pub kind: Option<BendKind>,
    /// Share of straight plots of this pattern that bend as far in any of the ways looked for.
    pub p: f64,
    /// `c₂` in (−1, 1): above 0 steep first and flat later, below 0 the reverse.
    pub curvature: f64,
    pub failures: u64,
    pub replicates: u32,
}

/// One plain sentence, without a full stop.
impl fmt::Display for BendTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            Some(kind) => f.write_str(kind.meaning()),
            None => write!(
                f,
                "the probability plot of {} is as straight as chance allows",
                counted(self.failures, "failure", "failures")
            ),
        }
    }
}

/// Looks for a bend in the Weibull plot of a sample.
///
/// Domain: 6 to 2,000 failures known exactly, any suspensions, all watched from new.
/// Errors: [`NoBend`] says why a plot is not judged.
/// Deterministic: the seed is fixed.
/// Accuracy: Monte Carlo, 4,000 replicates: standard error 0.0034 at p = 0.05. False alarms
/// and recognition are measured in `tests/numbers/bend.rs`.
pub fn bend(sample: &Sample) -> Result<BendTest, NoBend> {
    check(sample)?;
    let n = sample.count() as f64;
    let ranked = adjusted_ranks(sample);
    let at_risk: Vec<f64> = ranked.iter().map(|f| f.at_risk as f64).collect();
    let y: Vec<f64> = (ranked.iter())
        .map(|f| Family::Weibull.z_at(median_rank(f.rank, n)))
        .collect();
    let looks = Looks::new(&y, &weights(&at_risk));
    let x: Vec<f64> = ranked.iter().map(|f| f.usage.ln()).collect();
    let seen = looks.at(&x);
    let straight = progressive::replicated(SEED, REPLICATES, |rng| {
        looks.at(&progressive::draw(Family::Weibull, &at_risk, rng))
    });
    let columns: [Vec<f64>; LOOKS] = std::array::from_fn(|look| {
        let mut column: Vec<f64> = straight.iter().map(|s| s[look]).collect();
        column.sort_by(f64::total_cmp);
        column
    });
    // Share of straight plots that go as far, for each way of bending.
    let tails = |seen: &[f64; LOOKS]| -> [f64; LOOKS] {
        std::array::from_fn(|look| {
            let column = &columns[look];
            let beyond = column.len() - column.partition_point(|&v| v < seen[look]);
            (1 + beyond) as f64 / (column.len() + 1) as f64
        })
    };
    let least = |tails: [f64; LOOKS]| tails[..TESTED].iter().copied().fold(1.0, f64::min);
    let seen_tails = tails(&seen);
    let leasts: Vec<f64> = straight.iter().map(|s| least(tails(s))).collect();
    let p = progressive::share_up_to(&leasts, least(seen_tails));
    Ok(BendTest {
        kind: (p <= LEVEL).then(|| name(&seen_tails)),
        p,
        curvature: seen[STEEP_THEN_FLAT],
        failures: sample.failures(),
        replicates: REPLICATES,
    })
}

/// Ways a plot can bend, each a statistic that is large where it does.
const STEEP_THEN_FLAT: usize = 0;
const FLAT_THEN_STEEP: usize = 1;
const FLAT_IN_THE_MIDDLE: usize = 2;
const FIRST_FAR: usize = 3;
const FIRST_TWO_FAR: usize = 4;
/// Those that raise an alarm; the others only tell early failures from a bend.
const TESTED: usize = 5;
const REST_BEYOND_FIRST: usize = 5;
const REST_BEYOND_FIRST_TWO: usize = 6;
const LOOKS: usize = 7;

/// The kind that is least likely on a straight plot; a bend that goes away with the first one
/// or two failures is theirs.
fn name(tails: &[f64; LOOKS]) -> BendKind {
    let least = tails[..TESTED].iter().copied().fold(1.0, f64::min);
    let early = [
        (1, FIRST_FAR, REST_BEYOND_FIRST),
        (2, FIRST_TWO_FAR, REST_BEYOND_FIRST_TWO),
    ]
    .into_iter()
    .find(|&(_, far, rest)| tails[far] <= LEVEL && tails[rest] >= STRAIGHT_FROM);
    if tails[STEEP_THEN_FLAT] <= least {
        BendKind::SteepThenFlat
    } else if let Some((count, _, _)) = early {
        BendKind::EarlyFailures { count }
    } else if tails[FLAT_IN_THE_MIDDLE] < tails[FLAT_THEN_STEEP]
        && tails[FLAT_IN_THE_MIDDLE] <= least
    {
        BendKind::FlatInTheMiddle
    } else {
        BendKind::FlatThenSteep
    }
}

fn check(sample: &Sample) -> Result<(), NoBend> {
    let windows = sample.intervals();
    if windows > 0 {
        return Err(NoBend::Windows { windows });
    }
    if sample.has_entry_ages() {
        let entered = sample.lives().iter().filter(|l| l.entry > 0.0);
        return Err(NoBend::EntryAges {
            entered: entered.map(|l| u64::from(l.count)).sum(),
        });
    }
    let mut usages: Vec<f64> = (sample.lives().iter().filter(|l| l.failed()))
        .map(Life::last_usage)
        .collect();
    usages.sort_by(f64::total_cmp);
    usages.dedup();
    let distinct = usages.len() as u64;
    if distinct < FEWEST_FAILURES {
        return Err(NoBend::FewFailures { failures: distinct });
    }
    let failures = sample.failures();
    if failures > MOST_FAILURES as u64 {
        return Err(NoBend::ManyFailures { failures });
    }
    Ok(())
}

/// Mean over standard deviation of the cumulative hazard at each failure:
/// `Σ 1/n / √(Σ 1/n²)`.
fn weights(at_risk: &[f64]) -> Vec<f64> {
    let (mut mean, mut variance) = (0.0, 0.0);
    (at_risk.iter())
        .map(|n| {
            mean += 1.0 / n;
            variance += 1.0 / (n * n);
            mean / f64::sqrt(variance)
        })
        .collect()
}

/// Weighted sums ready for one set of `y`.
struct Looks {
    all: Powers,
    /// Without the first failure, without the first two.
    rests: [Powers; 2],
    /// First values of `y`.
    first: [f64; 2],
}

impl Looks {
    fn new(y: &[f64], w: &[f64]) -> Self {
        Looks {
            all: Powers::new(y, w),
            rests: [Powers::new(&y[1..], &w[1..]), Powers::new(&y[2..], &w[2..])],
            first: [y[0], y[1]],
        }
    }

    fn at(&self, x: &[f64]) -> [f64; LOOKS] {
        let [_, second, third] = self.all.correlations(x);
        let beyond = |m: usize| {
            let rest = &self.rests[m - 1];
            let (mean, slope) = rest.line(&x[m..]);
            let far: f64 = (0..m)
                .map(|i| (mean + slope * (self.first[i] - rest.centre) - x[i]) / slope)
                .sum();
            let [_, second, _] = rest.correlations(&x[m..]);
            // Failures at one usage have no slope, and nothing lies far from them in it.
            [if far.is_finite() { far } else { 0.0 }, -second]
        };
        let ([far_1, rest_1], [far_2, rest_2]) = (beyond(1), beyond(2));
        [second, -second, -third, far_1, far_2, rest_1, rest_2]
    }
}

/// Powers of `y` to the third, orthogonal under the weights.
struct Powers {
    w: Vec<f64>,
    total: f64,
    /// Weighted mean of `y`.
    centre: f64,
    /// First to third power, each with its weighted sum of squares.
    q: [(Vec<f64>, f64); 3],
}

impl Powers {
    fn new(y: &[f64], w: &[f64]) -> Self {
        let total: f64 = w.iter().sum();
        let mean = |v: &[f64]| v.iter().zip(w).map(|(v, w)| v * w).sum::<f64>() / total;
        let product = |a: &[f64], b: &[f64]| -> f64 {
            a.iter().zip(b).zip(w).map(|((a, b), w)| a * b * w).sum()
        };
        let centre = mean(y);
        let mut found: Vec<(Vec<f64>, f64)> = Vec::with_capacity(3);
        for power in 1..=3 {
            let mut q: Vec<f64> = y.iter().map(|y| (y - centre).powi(power)).collect();
            let level = mean(&q);
            q.iter_mut().for_each(|q| *q -= level);
            for (lower, square) in &found {
                let share = product(&q, lower) / square;
                q.iter_mut().zip(lower).for_each(|(q, l)| *q -= share * l);
            }
            let square = product(&q, &q);
            found.push((q, square));
        }
        let third = found.pop().unwrap_or_default();
        let second = found.pop().unwrap_or_default();
        let first = found.pop().unwrap_or_default();
        Powers {
            w: w.to_vec(),
            total,
            centre,
            q: [first, second, third],
        }
    }

    fn mean(&self, x: &[f64]) -> f64 {
        x.iter().zip(&self.w).map(|(x, w)| x * w).sum::<f64>() / self.total
    }

    /// Correlations of `x` with each power; 0 where nothing varies.
    fn correlations(&self, x: &[f64]) -> [f64; 3] {
        let mean = self.mean(x);
        let square: f64 = (x.iter().zip(&self.w))
            .map(|(x, w)| w * (x - mean).powi(2))
            .sum();
        self.q.each_ref().map(|(q, size)| {
            let product: f64 = (q.iter().zip(x).zip(&self.w))
                .map(|((q, x), w)| q * x * w)
                .sum();
            let c = product / (size * square).sqrt();
            if c.is_finite() { c } else { 0.0 }
        })
    }

    /// Mean of `x` and its slope in `y`.
    fn line(&self, x: &[f64]) -> (f64, f64) {
        let (q, size) = &self.q[0];
        let product: f64 = (q.iter().zip(x).zip(&self.w))
            .map(|((q, x), w)| q * x * w)
            .sum();
        (self.mean(x), product / size)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::End;
    use crate::model::Weibull;

    /// Lives laid on the median ranks of a Weibull, then bent.
    fn laid(n: u32, shape: f64, bent: impl Fn(f64) -> f64) -> Vec<Life> {
        let life = Weibull::new(shape, 1_000.0).unwrap();
        (1..=n)
            .map(|i| median_rank(f64::from(i), f64::from(n)))
            .map(|share| Life::failure(bent(life.life_at(share))))
            .collect()
    }

    fn found(lives: Vec<Life>) -> BendTest {
        bend(&Sample::new(lives).unwrap()).unwrap()
    }

    #[test]
    fn a_straight_plot_is_straight_and_each_bend_has_its_name() {
        let straight = found(laid(20, 1.5, |t| t));
        assert!(straight.kind.is_none() && straight.curvature.abs() < 1e-9);
        let shifted = found(laid(60, 1.5, |t| t + 1_000.0));
        assert_eq!(shifted.kind, Some(BendKind::SteepThenFlat));
        // Of two modes whichever comes first: a chance failure rate ends what wears late.
        let wear = Weibull::new(6.0, 1_000.0).unwrap();
        let modes = laid(20, 1.0, |t| {
            let hazard = t / 1_000.0;
            let (mut low, mut high) = (0.0, 1e6);
            for _ in 0..200 {
                let at = 0.5 * (low + high);
                if wear.cumulative_hazard(at) + at / 4_000.0 < hazard {
                    low = at
                } else {
                    high = at
                }
            }
            low
        });
        assert_eq!(found(modes).kind, Some(BendKind::FlatThenSteep));
        let groups = found(laid(20, 3.0, |t| if t < 880.0 { t * 0.1 } else { t }));
        assert_eq!(groups.kind, Some(BendKind::FlatInTheMiddle));
        for count in [1_u8, 2] {
            let mut lives = laid(20, 3.0, |t| t);
            for (i, life) in lives.iter_mut().take(usize::from(count)).enumerate() {
                life.end = End::Failure { at: 2.0 + i as f64 };
            }
            assert_eq!(found(lives).kind, Some(BendKind::EarlyFailures { count }));
        }
    }

    #[test]
    fn what_is_not_judged_says_why() {
        let text = |lives: Vec<Life>| bend(&Sample::new(lives).unwrap()).unwrap_err().to_string();
        assert!(text(laid(5, 2.0, |t| t)).starts_with("5 failures at different usages"));
        assert!(text(vec![Life::failure(5.0); 9]).starts_with("1 failure at"));
        let mut lives = laid(9, 2.0, |t| t);
        lives.push(Life::interval(3.0, 4.0));
        assert!(text(lives).starts_with("1 failure is known only within a window"));
        let mut lives = laid(9, 2.0, |t| t);
        lives[4].entry = 1.0;
        assert!(text(lives).starts_with("1 item came under watch"));
    }
}
