//! Trend tests: do events come faster or slower as usage goes by?
//!
//! In: [`Units`]. Out: Laplace's test and the chi-square test of MIL-HDBK-189, and what they
//! say together. Never: which of two trends it is that a model should follow.
//!
//! Both ask whether a unit's events could be a Poisson process of constant rate, in which
//! they lie evenly over its window `(s, e]` given their number. Each unit may have a rate of
//! its own. Where the watch ended with an event, that event only marks the end and is left out.
//! Sources: D. R. Cox & P. A. W. Lewis, *The Statistical Analysis of Series of Events* (1966)
//! (Laplace's test); MIL-HDBK-189 (1981) (chi-square test); IEC 60300-3-5 and IEC 61164 use both;
//! H. Ascher & H. Feingold, *Repairable Systems Reliability* (1984) (pooling).

use statrs::function::erf::erfc;
use statrs::function::gamma::{gamma_lr, gamma_ur};

use super::Units;

/// Level at which a test is called significant.
pub const LEVEL: f64 = 0.05;
/// With fewer events than this the tests can hardly find anything.
pub const FEW: usize = 4;

/// One test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrendTest {
    pub statistic: f64,
    /// Degrees of freedom, of the chi-square test.
    pub df: Option<usize>,
    /// Probability of events at least as much to the end of the windows without a trend:
    /// small where they come faster and faster.
    pub p_faster: f64,
    /// Probability of events at least as much to the start of the windows.
    pub p_slower: f64,
}

impl TrendTest {
    /// Two-sided: twice the smaller tail.
    pub fn p(&self) -> f64 {
        (2.0 * self.p_faster.min(self.p_slower)).min(1.0)
    }

    fn side(&self) -> f64 {
        if self.p_faster < self.p_slower {
            1.0
        } else {
            -1.0
        }
    }
}

/// What the two tests say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// No event tells of a trend.
    NoEvents,
    /// Fewer than [`FEW`] events, and neither test significant.
    TooFew,
    /// Both tests significant.
    Faster,
    Slower,
    /// One of them.
    PerhapsFaster,
    PerhapsSlower,
    /// Both, in opposite directions: neither steady nor drifting one way.
    Uneven,
    /// Neither.
    None,
}

/// Both tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Events that count: all but those that ended a watch.
    pub events: usize,
    /// `None` without such events.
    pub tests: Option<(TrendTest, TrendTest)>,
}

impl Trend {
    pub fn laplace(&self) -> Option<TrendTest> {
        self.tests.map(|(laplace, _)| laplace)
    }

    pub fn chi_square(&self) -> Option<TrendTest> {
        self.tests.map(|(_, chi_square)| chi_square)
    }

    pub fn verdict(&self) -> Verdict {
        let Some((laplace, chi_square)) = self.tests else {
            return Verdict::NoEvents;
        };
        let found: Vec<f64> = [laplace, chi_square]
            .iter()
            .filter(|test| test.p() < LEVEL)
            .map(TrendTest::side)
            .collect();
        match (found.as_slice(), found.iter().sum::<f64>()) {
            ([], _) if self.events < FEW => Verdict::TooFew,
            ([], _) => Verdict::None,
            ([_], sum) if sum > 0.0 => Verdict::PerhapsFaster,
            ([_], _) => Verdict::PerhapsSlower,
            (_, sum) if sum > 0.0 => Verdict::Faster,
            (_, sum) if sum < 0.0 => Verdict::Slower,
            _ => Verdict::Uneven,
        }
    }
}

/// Laplace's test and the chi-square test, pooled over units.
///
/// Laplace: `U = Σ (t − (s + e)/2) / √(Σ n (e − s)²/12)`, standard normal for some events.
/// Chi-square: `X = 2 Σ ln((e − s)/(t − s))`, chi-square with two degrees of freedom an event,
/// exactly for any number. With late entry both measure from the start of the watch. That
/// keeps the null distribution: without a trend events lie evenly over the window whatever
/// came before it. What it costs is aim: the chi-square test is at its sharpest for a power
/// law that begins with the watch, not for one that began when the unit was new.
/// Domain: any [`Units`]; scale-free.
pub fn trend(units: &Units) -> Trend {
    let (mut events, mut shift, mut spread, mut logs) = (0_usize, 0.0, 0.0, 0.0);
    for unit in units.units() {
        let (start, width) = (unit.start(), unit.end() - unit.start());
        let telling = unit.telling();
        events += telling.len();
        spread += telling.len() as f64 * width * width / 12.0;
        for t in telling {
            shift += (t - start) - 0.5 * width;
            logs -= ((t - start) / width).ln();
        }
    }
    let tests = (events > 0).then(|| {
        let u = shift / spread.sqrt();
        let upper = |u: f64| 0.5 * erfc(u / std::f64::consts::SQRT_2);
        let laplace = TrendTest {
            statistic: u,
            df: None,
            p_faster: upper(u),
            p_slower: upper(-u),
        };
        // Half a chi-square with 2n degrees of freedom is gamma of order n. Every event at its
        // end gives 0, which the library's function does not take.
        let n = events as f64;
        let (p_faster, p_slower) = if logs > 0.0 {
            (gamma_lr(n, logs), gamma_ur(n, logs))
        } else {
            (0.0, 1.0)
        };
        let chi_square = TrendTest {
            statistic: 2.0 * logs,
            df: Some(2 * events),
            p_faster,
            p_slower,
        };
        (laplace, chi_square)
    });
    Trend { events, tests }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recurrence::Unit;

    fn of(list: &[(f64, Option<f64>, &[f64])]) -> Trend {
        let unit = |(s, e, t): &(f64, Option<f64>, &[f64])| Unit::new(*s, *e, t.to_vec()).unwrap();
        trend(&Units::new(list.iter().map(unit).collect()))
    }

    #[test]
    fn verdicts_follow_the_tests() {
        let late: Vec<f64> = (0..12).map(|n| 90.0 + 0.7 * f64::from(n)).collect();
        let early: Vec<f64> = (1..13).map(|n| 0.4 * f64::from(n)).collect();
        let even: Vec<f64> = (1..20).map(|n| 5.0 * f64::from(n)).collect();
        let say = |events: &[f64]| of(&[(0.0, Some(100.0), events)]).verdict();
        assert_eq!(say(&late), Verdict::Faster);
        assert_eq!(say(&early), Verdict::Slower);
        assert_eq!(say(&even), Verdict::None);
        assert_eq!(say(&even[..0]), Verdict::NoEvents);
        assert_eq!(say(&[50.0]), Verdict::TooFew);
    }

    #[test]
    fn a_single_event_that_ended_the_watch_tells_nothing() {
        let trend = of(&[(0.0, None, &[7.0])]);
        assert_eq!((trend.events, trend.tests), (0, None));
    }

    /// Late entry shifts the window and nothing else.
    #[test]
    fn late_entry_measures_from_the_start_of_the_watch() {
        let late = of(&[(100.0, Some(150.0), &[110.0, 148.0])]);
        let new = of(&[(0.0, Some(50.0), &[10.0, 48.0])]);
        let (a, b) = (late.chi_square().unwrap(), new.chi_square().unwrap());
        assert!((a.statistic - b.statistic).abs() < 1e-12);
        assert!((late.laplace().unwrap().p() - new.laplace().unwrap().p()).abs() < 1e-12);
    }
}
