//! Rates of events: exact Poisson limits, and two rates set against each other.
//!
//! In: counts and the usage they came in. Out: [`RateLimits`], [`RateRatio`].
//! Never: machines, dates, SQL, printing.
//!
//! `n` events in usage `U`, taken to come by chance at a steady rate (Poisson). Limits of the rate
//! are those of Garwood: `χ²(α/2; 2n) / 2U` and `χ²(1 − α/2; 2n + 2) / 2U`, which hold the truth
//! at least as often as they say. Of two rates: given `n₁ + n₂`, `n₂` is binomial with chance
//! `ρ·U₂/(U₁ + ρ·U₂)`, ρ the ratio of rates; the limits of Clopper & Pearson for that chance give
//! those of ρ.
//! Sources: F. Garwood, "Fiducial limits for the Poisson distribution", *Biometrika* 28 (1936);
//! J. Przyborowski & H. Wilenski, "Homogeneity of results in testing samples from Poisson
//! series", *Biometrika* 31 (1940); C. J. Clopper & E. S. Pearson, *Biometrika* 26 (1934).

use statrs::function::beta::beta_reg;
use statrs::function::gamma::gamma_lr;

/// A rate with two-sided limits, for each unit of usage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateLimits {
    pub estimate: f64,
    pub lower: f64,
    pub upper: f64,
}

/// The second rate over the first, with two-sided limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateRatio {
    /// `None` where the first period had no event.
    pub estimate: Option<f64>,
    pub lower: f64,
    /// `None`: no upper end.
    pub upper: Option<f64>,
    /// Twice the smaller tail, at most 1: below `1 − confidence` exactly where the limits
    /// leave 1 out.
    pub p: f64,
}

/// Limits of the rate at which `events` came in `usage`.
///
/// Domain: usage finite and > 0, confidence strictly between 0 and 1; `None` otherwise.
/// Accuracy: 1e-9 relative for up to 10,000 events.
pub fn rate_limits(events: u64, usage: f64, confidence: f64) -> Option<RateLimits> {
    let tail = tail(confidence)?;
    if !(usage.is_finite() && usage > 0.0) {
        return None;
    }
    let n = events as f64;
    // The mean at which `shape` events or more have this chance: χ²(chance; 2·shape)/2.
    let mean = |shape: f64, chance: f64| {
        let high = shape + 40.0 + 40.0 * shape.sqrt();
        bisect(0.0, high, |mean| {
            gamma_lr(shape, mean.max(f64::MIN_POSITIVE)) < chance
        })
    };
    Some(RateLimits {
        estimate: n / usage,
        lower: if events == 0 {
            0.0
        } else {
            mean(n, tail) / usage
        },
        upper: mean(n + 1.0, 1.0 - tail) / usage,
    })
}

/// The rate of the second period over that of the first.
///
/// Domain: usages finite and > 0, confidence strictly between 0 and 1, at least one event in
/// all; `None` otherwise.
pub fn rate_ratio(first: (u64, f64), second: (u64, f64), confidence: f64) -> Option<RateRatio> {
    let tail = tail(confidence)?;
    let ((n1, u1), (n2, u2)) = (first, second);
    if n1 == 0 && n2 == 0 {
        return None;
    }
    if ![u1, u2].iter().all(|u| u.is_finite() && *u > 0.0) {
        return None;
    }
    let (a, b) = (n1 as f64, n2 as f64);
    let ratio = |chance: f64| chance / (1.0 - chance) * (u1 / u2);
    // P(N₂ ≥ n₂) = I_q(n₂, n₁ + 1), P(N₂ ≤ n₂) = 1 − I_q(n₂ + 1, n₁), q the chance.
    let at_least = |q: f64| {
        if n2 == 0 {
            1.0
        } else {
            beta_reg(b, a + 1.0, q)
        }
    };
    let at_most = |q: f64| {
        if n1 == 0 {
            1.0
        } else {
            1.0 - beta_reg(b + 1.0, a, q)
        }
    };
    let even = u2 / (u1 + u2);
    Some(RateRatio {
        estimate: (n1 > 0).then(|| (b / u2) / (a / u1)),
        lower: match n2 {
            0 => 0.0,
            _ => ratio(bisect(0.0, 1.0, |q| at_least(q) < tail)),
        },
        upper: (n1 > 0).then(|| ratio(bisect(0.0, 1.0, |q| at_most(q) > tail))),
        p: (2.0 * at_least(even).min(at_most(even))).min(1.0),
    })
}

fn tail(confidence: f64) -> Option<f64> {
    (confidence > 0.0 && confidence < 1.0).then_some((1.0 - confidence) / 2.0)
}

/// Where `below` turns from true to false.
fn bisect(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    // Halving 200 times ends at neighbouring floats.
    for _ in 0..200 {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low + (high - low) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Garwood's limits as tables print them, 95 %: none 3.69; five 1.62 to 11.67; ten 4.80 to
    /// 18.39 (from memory; held to scipy's digits in `tests/numbers/rates.rs`).
    #[test]
    fn limits_of_a_count_are_those_of_the_tables() {
        for (n, lower, upper) in [(0, 0.0, 3.69), (5, 1.62, 11.67), (10, 4.80, 18.39)] {
            let found = rate_limits(n, 1.0, 0.95).expect("limits");
            assert!((found.lower - lower).abs() < 0.005, "{found:?}");
            assert!((found.upper - upper).abs() < 0.005, "{found:?}");
        }
        assert_eq!(rate_limits(3, 0.0, 0.9), None);
        assert_eq!(rate_limits(3, 1.0, 1.0), None);
    }

    #[test]
    fn limits_leave_one_out_exactly_where_p_is_small() {
        for n1 in 0..25 {
            for n2 in 0..25 {
                let Some(found) = rate_ratio((n1, 1000.0), (n2, 1700.0), 0.9) else {
                    assert_eq!(n1 + n2, 0);
                    continue;
                };
                let out = found.lower > 1.0 || found.upper.is_some_and(|upper| upper < 1.0);
                assert_eq!(out, found.p < 0.1, "{n1} {n2} {found:?}");
                if let Some(estimate) = found.estimate {
                    assert!(found.lower <= estimate, "{n1} {n2} {found:?}");
                    assert!(found.upper.is_none_or(|upper| estimate <= upper));
                }
            }
        }
    }

    #[test]
    fn exchanged_periods_turn_the_ratio_over() {
        let there = rate_ratio((7, 900.0), (12, 2000.0), 0.95).expect("there");
        let back = rate_ratio((12, 2000.0), (7, 900.0), 0.95).expect("back");
        let near = |a: f64, b: f64| (a - b).abs() < 1e-9 * b;
        assert!(near(there.lower, 1.0 / back.upper.expect("upper")));
        assert!(near(there.p, back.p));
    }
}
