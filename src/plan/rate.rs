//! How fast a machine runs, and how sure a date is that rests on it.
//!
//! In: usage of recent weeks, and what the plant expects. Out: [`Rate`], [`Spread`].
//! Never: the meter itself.

use statrs::distribution::{ContinuousCDF, Normal};

/// Usage a week: what is expected, and how recent weeks scattered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Expected usage a week, above 0.
    pub per_week: f64,
    /// Standard deviation of one week's usage; 0 where fewer than two weeks are known.
    pub week_sd: f64,
    /// Weeks the scatter was taken from.
    pub weeks: usize,
    /// Mean of those weeks; `None` without any.
    pub recent: Option<f64>,
}

/// Days from now: the expected one, and between which it lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    pub early: f64,
    pub expected: f64,
    pub late: f64,
}

/// Two-sided probability of the days between which a stop falls.
pub const SPREAD: f64 = 0.9;

impl Rate {
    /// From the usage of recent whole weeks; `expected` stands in for their mean where the
    /// plant states it. `None` where neither tells of any running.
    pub fn of(recent: &[f64], expected: Option<f64>) -> Option<Rate> {
        let weeks = recent.len();
        let mean = (weeks > 0).then(|| recent.iter().sum::<f64>() / weeks as f64);
        let per_week = expected.or(mean).filter(|rate| *rate > 0.0)?;
        let week_sd = match mean {
            Some(mean) if weeks > 1 => {
                let squares: f64 = recent.iter().map(|week| (week - mean).powi(2)).sum();
                (squares / (weeks - 1) as f64).sqrt()
            }
            _ => 0.0,
        };
        Some(Rate {
            per_week,
            week_sd,
            weeks,
            recent: mean,
        })
    }

    pub fn per_day(&self) -> f64 {
        self.per_week / 7.0
    }

    /// When so much further usage is reached: [`SPREAD`] limits from the scatter of weeks
    /// taken as independent, and from how well so many weeks tell their mean.
    ///
    /// Variance of the usage of `n` weeks about its expectation: `n·s² + n²·s²/weeks`.
    pub fn spread(&self, usage: f64) -> Spread {
        let expected = usage / self.per_day();
        let n = (expected / 7.0).max(0.0);
        let known = self.weeks.max(1) as f64;
        let sd = self.week_sd * (n + n * n / known).sqrt();
        let z = Normal::standard().inverse_cdf(0.5 + 0.5 * SPREAD);
        let days = z * sd / self.per_day();
        Spread {
            early: (expected - days).max(0.0),
            expected,
            late: expected + days,
        }
    }

    /// True where the recent weeks differ from what is expected by more than a fifth.
    pub fn differs(&self) -> bool {
        self.recent
            .is_some_and(|recent| (recent - self.per_week).abs() > 0.2 * self.per_week)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_spread_grows_with_distance_and_holds_the_expected_day() {
        let rate = Rate::of(&[90.0, 110.0, 100.0, 95.0, 105.0], None).unwrap();
        assert_eq!(rate.per_week, 100.0);
        let near = rate.spread(100.0);
        let far = rate.spread(2_600.0);
        assert!((near.expected - 7.0).abs() < 1e-12);
        assert!((far.expected - 182.0).abs() < 1e-9);
        assert!(far.late - far.early > near.late - near.early);
        // By hand: s = sqrt(62.5), n = 1, weeks = 5: sd = s·sqrt(1.2) h, over 100 h a week.
        let by_hand = 1.644_853_626_951 * (62.5_f64 * 1.2).sqrt() / 100.0 * 7.0;
        assert!((near.late - near.expected - by_hand).abs() < 1e-9);
    }

    #[test]
    fn a_machine_that_stands_has_no_rate() {
        assert_eq!(Rate::of(&[], None), None);
        assert_eq!(Rate::of(&[0.0, 0.0], None), None);
        let stated = Rate::of(&[0.0, 0.0], Some(80.0)).unwrap();
        assert!(stated.differs());
    }

    /// The stated spread against weeks drawn at random: the share of the 20-week usage's
    /// dates inside the limits.
    #[test]
    fn ninety_of_a_hundred_dates_lie_within_the_spread() {
        use rand::SeedableRng;
        use rand::prelude::*;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let mut week = || 100.0 + 30.0 * (random.random::<f64>() + random.random::<f64>() - 1.0);
        let mut inside = 0;
        for _ in 0..2_000 {
            let past: Vec<f64> = (0..26).map(|_| week()).collect();
            let spread = Rate::of(&past, None).unwrap().spread(2_000.0);
            let (mut usage, mut days) = (0.0, 0.0);
            while usage < 2_000.0 {
                let run = week();
                days += 7.0 * ((2_000.0 - usage) / run).min(1.0);
                usage += run;
            }
            inside += usize::from(spread.early <= days && days <= spread.late);
        }
        assert!((1_740..=1_860).contains(&inside), "{inside} of 2000");
    }
}
