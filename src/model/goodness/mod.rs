//! Does a fit hold: Anderson-Darling for censored data, with a bootstrap p-value.
//!
//! In: a [`Sample`], a fitted [`Distribution`], and how to fit it again. Out: [`FitTest`].
//! Never: a p-value from a table made for complete data.
//!
//! - `statistic`: the distance between what was seen and what was fitted;
//! - `draw`: samples of the fitted model, cut short and found as the lives were.
//!
//! The p-value is the share of such samples, fitted anew each, that lie as far from their own
//! fit as the lives from theirs. Refitting is what makes it right: a fitted model always lies
//! closer to its sample than the true one (Stephens 1977).
//! Sources: M. A. Stephens, *Biometrika* 64 (1977) 583-588; R. B. D'Agostino & M. A. Stephens,
//! *Goodness-of-Fit Techniques* (1986), chapter 4; W. Stute, W. González Manteiga & M. Presedo
//! Quindimil, *Metrika* 40 (1993) 243-256 (parametric bootstrap); A. C. Davison &
//! D. V. Hinkley, *Bootstrap Methods and their Application* (1997), sections 3.5 and 4.2.

mod draw;
mod statistic;

use std::fmt;

pub use statistic::{anderson_darling, cramer_von_mises};

use self::draw::Plan;
use super::distribution::Distribution;
use super::progressive::replicated;
use crate::life::{End, Sample};
use crate::quantity::counted;

/// How many samples a p-value rests on, and the seed they are drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Replication {
    pub replicates: u32,
    pub seed: u64,
}

impl Default for Replication {
    fn default() -> Self {
        Replication {
            replicates: 999,
            seed: 0x676f_6f64_6e65_7373,
        }
    }
}

/// Lives drawn in all replicates together; a larger sample gets fewer replicates.
const MOST_DRAWN: u64 = 20_000_000;

/// Replicates of the largest samples.
const FEWEST_REPLICATES: u32 = 99;

/// How often a replicate is drawn again where it has no estimate.
const REDRAWS: u32 = 20;

/// From this p-value on nothing speaks against the model.
pub const GOOD_FROM: f64 = 0.1;

/// Below this p-value the model does not fit. Not 0.05: a report tests many groups, and of
/// twenty good fits one has a p-value below 0.05.
pub const BAD_BELOW: f64 = 0.01;

/// Failures below which only a gross misfit shows.
const FEW: u64 = 10;

/// How far the lives lie from their fitted model, and what that means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitTest {
    /// Anderson-Darling's A².
    pub statistic: f64,
    /// Share of samples of the fitted model that lie as far from their fit or farther; `None`
    /// where there are no more distinct failures than parameters, or hardly any such sample
    /// can be fitted.
    pub p: Option<f64>,
    /// Samples the p-value rests on.
    pub replicates: u32,
    /// Failures in the lives, exact and in windows.
    pub failures: u64,
}

/// What the test says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FitVerdict {
    /// Nothing in the lives speaks against the model: p of at least [`GOOD_FROM`].
    Good,
    /// Between.
    Doubtful,
    /// The model does not fit: p below [`BAD_BELOW`].
    Bad,
    /// No p-value.
    Unknown,
}

impl FitVerdict {
    pub fn word(self) -> &'static str {
        match self {
            FitVerdict::Good => "good",
            FitVerdict::Doubtful => "doubtful",
            FitVerdict::Bad => "bad",
            FitVerdict::Unknown => "unknown",
        }
    }
}

impl FitTest {
    pub fn verdict(&self) -> FitVerdict {
        match self.p {
            None => FitVerdict::Unknown,
            Some(p) if p >= GOOD_FROM => FitVerdict::Good,
            Some(p) if p >= BAD_BELOW => FitVerdict::Doubtful,
            Some(_) => FitVerdict::Bad,
        }
    }
}

/// One plain sentence, without a full stop.
impl fmt::Display for FitTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let failures = counted(self.failures, "failure", "failures");
        let share = match self.p {
            Some(p) if p < 0.01 => "fewer than 1 %".to_owned(),
            Some(p) => format!("{:.0} %", 100.0 * p),
            None => String::new(),
        };
        match self.verdict() {
            FitVerdict::Unknown => write!(f, "{failures} cannot tell whether the model fits"),
            FitVerdict::Good => {
                write!(
                    f,
                    "the model fits: of samples that follow it, {share} lie as far from it or farther"
                )?;
                if self.failures < FEW {
                    write!(f, "; with {failures} only a gross misfit would show")?;
                }
                Ok(())
            }
            FitVerdict::Doubtful => write!(
                f,
                "the fit is doubtful: of samples that follow the model, only {share} lie as far from it; look at the probability plot"
            ),
            FitVerdict::Bad => write!(
                f,
                "the model does not fit: of samples that follow it, {share} lie as far from it; look at the probability plot, and for other modes, batches or positions among the lives"
            ),
        }
    }
}

/// Tests whether the lives follow the model fitted to them.
///
/// `fitted` is the estimate from `sample`, `parameters` how many were estimated, `refit` the
/// same estimate of any other sample (`None` where it has none). Samples of more than 20,000
/// lives get fewer replicates than asked for.
///
/// Formula: `p = (1 + #{A²* >= A²})/(replicates + 1)` with A² from [`anderson_darling`]. A
/// replicate without an estimate is drawn again, up to 20 times, then left out: the lives
/// themselves had an estimate, so they are held against samples that have one. With fewer
/// than half of the replicates left there is no p-value.
/// `None` where the lives have no product-limit or Turnbull estimate.
/// Deterministic: same seed, same result; neither threads nor the order of the lives matter.
/// Accuracy: Monte Carlo; standard error `√(p(1 − p)/999)`, 0.007 at p = 0.05.
pub fn fit_test(
    sample: &Sample,
    fitted: &Distribution,
    parameters: u64,
    replication: Replication,
    refit: impl Fn(&Sample) -> Option<Distribution> + Sync,
) -> Option<FitTest> {
    let statistic = anderson_darling(sample, fitted)?;
    let untold = FitTest {
        statistic,
        p: None,
        replicates: 0,
        failures: sample.failures(),
    };
    if distinct_failures(sample) <= parameters {
        return Some(untold);
    }
    let affordable = MOST_DRAWN / sample.count().max(1);
    let replicates = replication.replicates.min(
        u32::try_from(affordable)
            .unwrap_or(u32::MAX)
            .max(FEWEST_REPLICATES),
    );
    let plan = Plan::of(sample);
    let drawn = replicated(replication.seed, replicates, |rng| {
        (0..REDRAWS).find_map(|_| {
            let again = plan.draw(fitted, rng)?;
            anderson_darling(&again, &refit(&again)?)
        })
    });
    let drawn: Vec<f64> = drawn.into_iter().flatten().collect();
    if 2 * drawn.len() < replicates as usize {
        return Some(untold);
    }
    // Where every sample fits alike, rounding must not decide.
    let bar = statistic * (1.0 - 1e-9) - 1e-9;
    let as_far = drawn.iter().filter(|&&a| a >= bar).count();
    Some(FitTest {
        p: Some((1 + as_far) as f64 / (drawn.len() + 1) as f64),
        replicates: drawn.len() as u32,
        ..untold
    })
}

/// Failures that differ in usage or window: a model fits as many as it has parameters.
fn distinct_failures(sample: &Sample) -> u64 {
    let mut ends: Vec<(f64, f64)> = (sample.lives().iter())
        .filter_map(|life| match life.end {
            End::Failure { at } => Some((at, at)),
            End::Interval { lo, hi } => Some((lo, hi)),
            End::Left { hi } => Some((life.entry, hi)),
            End::Suspension { .. } => None,
        })
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    ends.dedup();
    ends.len() as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::Life;
    use crate::model::fit_weibull;

    fn weibull(sample: &Sample) -> Option<Distribution> {
        Some(Distribution::Weibull(fit_weibull(sample).ok()?.weibull))
    }

    fn tested(lives: &[Life]) -> FitTest {
        let sample = Sample::new(lives.to_vec()).unwrap();
        let few = Replication {
            replicates: 199,
            ..Replication::default()
        };
        fit_test(&sample, &weibull(&sample).unwrap(), 2, few, weibull).unwrap()
    }

    #[test]
    fn two_failures_cannot_tell() {
        let test = tested(&[Life::failure(5.0), Life::failure(9.0)]);
        assert_eq!((test.p, test.verdict()), (None, FitVerdict::Unknown));
        assert!(test.to_string().starts_with("2 failures cannot tell"));
    }

    #[test]
    fn the_order_of_the_lives_plays_no_part() {
        let mut lives: Vec<Life> = [3.0, 5.0, 5.5, 8.0, 9.0].map(Life::failure).to_vec();
        lives.extend([4.0, 7.0].map(Life::suspension));
        lives.push(Life::interval(2.0, 6.0));
        let once = tested(&lives);
        lives.reverse();
        assert_eq!(once, tested(&lives));
        assert!(once.p.is_some() && once.replicates == 199);
    }

    #[test]
    fn the_sentence_follows_the_verdict() {
        let with = |p: f64| FitTest {
            statistic: 1.0,
            p: Some(p),
            replicates: 999,
            failures: 6,
        };
        assert!(with(0.54).to_string().contains("54 %"));
        assert!(with(0.54).to_string().contains("6 failures only a gross"));
        assert_eq!(with(0.05).verdict(), FitVerdict::Doubtful);
        assert!(with(0.05).to_string().contains("only 5 %"));
        assert_eq!(with(0.004).verdict(), FitVerdict::Bad);
        assert!(with(0.004).to_string().contains("fewer than 1 %"));
    }
}
