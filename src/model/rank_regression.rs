//! Rank regression: a line through median ranks on probability paper.
//!
//! In: a [`Sample`] of failures and suspensions watched from new. Out: [`RankFit`], its r²,
//! and how low an r² of this kind of data comes by chance.
//! Never: windows or entry ages, whose failures have no ranks.
//!
//! Points `(ln t, y)` with `y = ln(−ln(1 − F))` (Weibull) or `Φ⁻¹(F)` (lognormal), F the
//! plotting position; the line is `ln t = a + y/k`. Least squares of `ln t` on `y` (x on y)
//! takes the usages as what scatters, and is the usual choice; the reverse (y on x) is what
//! older tables were made with.
//! Sources: IEC 61649:2008, clause 7 (ranks, line); NIST/SEMATECH e-Handbook 8.2.2.1 and
//! 8.4.1.1 (y on x, approximate ranks). Judging r² by the value that one straight sample in
//! ten falls below is common practice; the value is simulated here for the data's own
//! pattern.

use super::distribution::{Distribution, Lognormal};
use super::family::Family;
use super::fit::FitError;
use super::progressive::{self, MOST_FAILURES, REPLICATES};
use super::ranks::{RankRule, adjusted_ranks};
use super::weibull::Weibull;
use crate::life::{Life, Sample};

/// Which way the squares are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Regress {
    /// `ln t` on the plotting position's `y`: misses measured along the usage.
    #[default]
    XOnY,
    /// `y` on `ln t`.
    YOnX,
}

impl Regress {
    pub fn word(self) -> &'static str {
        match self {
            Regress::XOnY => "x-on-y",
            Regress::YOnX => "y-on-x",
        }
    }
}

/// How a line is to be put through the points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RankMethod {
    pub family: Family,
    pub ranks: RankRule,
    pub regress: Regress,
}

/// A failure as it stands on probability paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankedPoint {
    pub usage: f64,
    /// Adjusted rank; fractional after suspensions.
    pub rank: f64,
    /// Plotting position: estimated share failed by then.
    pub share: f64,
}

/// A line through the ranks.
#[derive(Debug, Clone, PartialEq)]
pub struct RankFit {
    pub method: RankMethod,
    pub distribution: Distribution,
    /// Weibull shape; for the lognormal, sigma.
    pub shape: f64,
    /// Weibull scale in the usage unit; for the lognormal, `exp(mu)`.
    pub scale: f64,
    /// Squared correlation of the points; 1 for two points.
    pub r_squared: f64,
    pub points: Vec<RankedPoint>,
    pub lives: u64,
    pub failures: u64,
    /// Items not yet passed at each point.
    at_risk: Vec<f64>,
}

/// What r² is worth, by how it falls where the model is right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RSquaredTest {
    /// One straight sample in ten with this pattern has an r² below it.
    pub critical: f64,
    /// Share of straight samples with an r² as low as this one's or lower.
    pub p: f64,
    pub replicates: u32,
}

/// Share of straight samples that fall below the critical r².
pub const CRITICAL_SHARE: f64 = 0.1;

const SEED: u64 = 0x7261_6e6b_735f_7232;

/// Puts a line through the ranks of a sample's failures.
///
/// Units: scale in the usage unit of the sample.
/// Domain: any mix of exact failures and suspensions watched from new, with counts.
/// Errors: [`FitError::RanksNeedTwoFailures`], [`FitError::RanksNeedExactFailures`],
/// [`FitError::RanksNeedNewItems`], [`FitError::Empty`].
/// Formula: with means `x̄`, `ȳ` of `ln t` and `y`, x on y has `1/k = Sxy/Syy`, y on x has
/// `k = Sxy/Sxx`; either has `a = x̄ − ȳ/k` and `r² = Sxy²/(Sxx·Syy)`.
/// Accuracy: 1e-8 relative (`tests/numbers/ranks.rs`).
pub fn fit_ranks(sample: &Sample, method: RankMethod) -> Result<RankFit, FitError> {
    check(sample)?;
    let n = sample.count() as f64;
    let ranked = adjusted_ranks(sample);
    let points: Vec<RankedPoint> = ranked
        .iter()
        .map(|failure| RankedPoint {
            usage: failure.usage,
            rank: failure.rank,
            share: method.ranks.share(failure.rank, n),
        })
        .collect();
    let x: Vec<f64> = points.iter().map(|p| p.usage.ln()).collect();
    let y: Vec<f64> = (points.iter().map(|p| method.family.z_at(p.share))).collect();
    let sums = Sums::of(&x, &y);
    // Usages that differ by less than their logs can tell are one usage.
    if sums.xx <= 0.0 || sums.xy <= 0.0 {
        return Err(FitError::RanksNeedTwoFailures { distinct: 1 });
    }
    let spread = match method.regress {
        Regress::XOnY => sums.xy / sums.yy,
        Regress::YOnX => sums.xx / sums.xy,
    };
    let place = sums.mean_x - spread * sums.mean_y;
    let (shape, distribution) = match method.family {
        Family::Weibull => {
            let weibull = Weibull {
                shape: 1.0 / spread,
                scale: place.exp(),
            };
            (weibull.shape, Distribution::Weibull(weibull))
        }
        Family::Lognormal => {
            let lognormal = Lognormal {
                mu: place,
                sigma: spread,
            };
            (spread, Distribution::Lognormal(lognormal))
        }
    };
    Ok(RankFit {
        method,
        distribution,
        shape,
        scale: place.exp(),
        r_squared: sums.r_squared(),
        points,
        lives: sample.count(),
        failures: sample.failures(),
        at_risk: ranked.iter().map(|f| f.at_risk as f64).collect(),
    })
}

impl RankFit {
    /// Judges r² against samples of the fit's own model and pattern of failures and
    /// suspensions, simulated on a scale on which the parameters play no part.
    ///
    /// `None` for two failures, whose r² is always 1, and for more failures than
    /// [`MOST_FAILURES`]. Deterministic: the seed is fixed.
    /// Accuracy: Monte Carlo; with 4,000 replicates the critical value of 5 to 20 failures
    /// has a standard error near 0.003 (`tests/reference/critical-r-squared.json`).
    /// Source: see [`progressive`].
    pub fn judge_r_squared(&self) -> Option<RSquaredTest> {
        let points = self.points.len();
        if !(3..=MOST_FAILURES).contains(&points) {
            return None;
        }
        let family = self.method.family;
        let y: Vec<f64> = self.points.iter().map(|p| family.z_at(p.share)).collect();
        let mut drawn = progressive::replicated(SEED, REPLICATES, |rng| {
            Sums::of(&progressive::draw(family, &self.at_risk, rng), &y).r_squared()
        });
        drawn.sort_by(f64::total_cmp);
        let place = (CRITICAL_SHARE * f64::from(REPLICATES + 1)) as usize;
        Some(RSquaredTest {
            critical: drawn[place.saturating_sub(1)],
            p: progressive::share_up_to(&drawn, self.r_squared),
            replicates: REPLICATES,
        })
    }
}

/// Refuses what has no ranks, saying why.
fn check(sample: &Sample) -> Result<(), FitError> {
    let lives = sample.count();
    if lives == 0 {
        return Err(FitError::Empty);
    }
    let windows = sample.intervals();
    if windows > 0 {
        return Err(FitError::RanksNeedExactFailures {
            windows,
            failures: sample.failures(),
        });
    }
    let entered = |life: &&Life| life.entry > 0.0;
    if sample.has_entry_ages() {
        return Err(FitError::RanksNeedNewItems {
            entered: (sample.lives().iter().filter(entered))
                .map(|l| u64::from(l.count))
                .sum(),
            lives,
        });
    }
    let mut usages: Vec<f64> = (sample.lives().iter().filter(|l| l.failed()))
        .map(Life::last_usage)
        .collect();
    usages.sort_by(f64::total_cmp);
    usages.dedup();
    if usages.len() < 2 {
        return Err(FitError::RanksNeedTwoFailures {
            distinct: usages.len() as u64,
        });
    }
    Ok(())
}

/// Means and centred sums of squares and products.
struct Sums {
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Sums {
    fn of(x: &[f64], y: &[f64]) -> Self {
        let n = x.len() as f64;
        let mean_x = x.iter().sum::<f64>() / n;
        let mean_y = y.iter().sum::<f64>() / n;
        let mut sums = Sums {
            mean_x,
            mean_y,
            xx: 0.0,
            xy: 0.0,
            yy: 0.0,
        };
        for (x, y) in x.iter().zip(y) {
            let (dx, dy) = (x - mean_x, y - mean_y);
            sums.xx += dx * dx;
            sums.xy += dx * dy;
            sums.yy += dy * dy;
        }
        sums
    }

    fn r_squared(&self) -> f64 {
        (self.xy * self.xy / (self.xx * self.yy)).min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::End;

    fn sample(lives: &[Life]) -> Sample {
        Sample::new(lives.to_vec()).unwrap()
    }

    #[test]
    fn what_has_no_ranks_is_refused_with_the_reason() {
        let text = |lives: &[Life]| {
            fit_ranks(&sample(lives), RankMethod::default())
                .unwrap_err()
                .to_string()
        };
        assert!(text(&[]).contains("no lives"));
        assert!(text(&[Life::suspension(5.0)]).contains("there is none"));
        let tied = [
            Life::failure(5.0),
            Life::failure(5.0),
            Life::suspension(9.0),
        ];
        assert!(text(&tied).contains("there is only one"));
        let windowed = [Life::failure(5.0), Life::interval(7.0, 9.0)];
        assert!(text(&windowed).contains("1 of 2 are known only within a window"));
        let late = Life {
            entry: 3.0,
            end: End::Failure { at: 8.0 },
            count: 2,
        };
        assert!(text(&[Life::failure(5.0), late]).contains("2 of 3 lives came under watch"));
        assert!(text(&[Life::failure(5.0), late]).contains("likelihood"));
    }

    #[test]
    fn points_on_a_line_give_the_line_back() {
        for family in [Family::Weibull, Family::Lognormal] {
            for regress in [Regress::XOnY, Regress::YOnX] {
                let method = RankMethod {
                    family,
                    regress,
                    ranks: RankRule::Exact,
                };
                // Lives laid exactly on their own median ranks.
                let lives: Vec<Life> = (1..=8)
                    .map(|i| {
                        let y = family.z_at(RankRule::Exact.share(f64::from(i), 8.0));
                        Life::failure((6.0 + y / 2.5).exp())
                    })
                    .collect();
                let fit = fit_ranks(&sample(&lives), method).unwrap();
                let shape = match family {
                    Family::Weibull => 2.5,
                    Family::Lognormal => 0.4,
                };
                assert!((fit.shape / shape - 1.0).abs() < 1e-10);
                assert!((fit.scale / 6.0_f64.exp() - 1.0).abs() < 1e-10);
                assert!(fit.r_squared > 1.0 - 1e-12);
                let judged = fit.judge_r_squared().unwrap();
                assert!(judged.critical < 0.99 && judged.p > 0.999);
            }
        }
    }

    #[test]
    fn two_failures_have_no_r_squared_to_judge() {
        let fit = fit_ranks(
            &sample(&[Life::failure(5.0), Life::failure(9.0)]),
            RankMethod::default(),
        )
        .unwrap();
        assert!(fit.r_squared > 1.0 - 1e-12 && fit.judge_r_squared().is_none());
    }
}
