//! A quantity known only as a distribution: values with weights, added up and cut off at limits.
//!
//! In: values with weights, as a posterior's quadrature gives them. Out: [`Uncertain`].
//! Never: what the quantity is; sampling at random: the same numbers every time.
//!
//! Sums are of two kinds. [`Uncertain::beside`] takes the two to tell nothing of each other
//! (convolution); [`Uncertain::along`] takes them to be high and low together (quantiles add up:
//! the widest limits a sum of two such quantities can have in the middle, so never too sure).
//! After each sum the distribution is cut into [`BINS`] bins, finer towards the ends, each
//! holding its mean: means stay exact.

use super::decide::{Saving, quantiles};

/// Bins a distribution is held in.
pub const BINS: usize = 200;

/// Log odds of the outermost bins: beyond 1 in 22,000 nothing is told apart.
const REACH: f64 = 10.0;

/// Values in rising order with their weights, which sum to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertain(Vec<(f64, f64)>);

impl Uncertain {
    /// Of values with weights in any order; `None` where a value is not finite or no weight is
    /// above 0.
    pub fn of(mut values: Vec<(f64, f64)>) -> Option<Uncertain> {
        values.retain(|(_, weight)| *weight > 0.0);
        let total: f64 = values.iter().map(|(_, weight)| weight).sum();
        let sound = values.iter().all(|(value, _)| value.is_finite());
        if !(sound && total.is_finite() && total > 0.0) {
            return None;
        }
        values.sort_by(|x, y| x.0.total_cmp(&y.0));
        for (_, weight) in &mut values {
            *weight /= total;
        }
        Some(Uncertain(values))
    }

    /// Known to be this.
    pub fn exactly(value: f64) -> Uncertain {
        Uncertain(vec![(value, 1.0)])
    }

    /// Median and two-sided limits.
    pub fn limits(&self, confidence: f64) -> Saving {
        quantiles(self.0.clone(), confidence)
    }

    pub fn mean(&self) -> f64 {
        self.0.iter().map(|(value, weight)| value * weight).sum()
    }

    /// Probability that it lies above `value`, a value right there by half.
    pub fn above(&self, value: f64) -> f64 {
        let share = |at: f64| match at.total_cmp(&value) {
            std::cmp::Ordering::Less => 0.0,
            std::cmp::Ordering::Equal => 0.5,
            std::cmp::Ordering::Greater => 1.0,
        };
        self.0.iter().map(|(at, weight)| weight * share(*at)).sum()
    }

    /// So many times it, and so much more.
    pub fn times_plus(&self, factor: f64, more: f64) -> Uncertain {
        let mut values: Vec<(f64, f64)> = self.0.clone();
        for (value, _) in &mut values {
            *value = *value * factor + more;
        }
        if factor < 0.0 {
            values.reverse();
        }
        Uncertain(values)
    }

    /// The sum of two that tell nothing of each other.
    pub fn beside(&self, other: &Uncertain) -> Uncertain {
        let (one, two) = (self.binned(), other.binned());
        let mut sums = Vec::with_capacity(one.len() * two.len());
        for (x, wx) in &one {
            sums.extend(two.iter().map(|(y, wy)| (x + y, wx * wy)));
        }
        sums.sort_unstable_by(|x, y| x.0.total_cmp(&y.0));
        let summed = Uncertain(sums);
        Uncertain(summed.binned())
    }

    /// The sum of two that are high and low together.
    pub fn along(&self, other: &Uncertain) -> Uncertain {
        let mut edges: Vec<f64> = Vec::with_capacity(self.0.len() + other.0.len());
        for side in [self, other] {
            let mut below = 0.0;
            edges.extend(side.0.iter().map(|(_, weight)| {
                below += weight;
                below
            }));
        }
        edges.sort_by(f64::total_cmp);
        let (mut one, mut two) = (Walk::over(&self.0), Walk::over(&other.0));
        let mut below = 0.0;
        let mut sums = Vec::with_capacity(edges.len());
        for edge in edges {
            let weight = edge - below;
            if weight > 1e-15 {
                let middle = below + 0.5 * weight;
                sums.push((one.at(middle) + two.at(middle), weight));
                below = edge;
            }
        }
        let summed = Uncertain(sums);
        Uncertain(summed.binned())
    }

    /// At most [`BINS`] values: the means of bins between fixed probabilities.
    fn binned(&self) -> Vec<(f64, f64)> {
        if self.0.len() <= BINS {
            return self.0.clone();
        }
        let edge = |n: usize| {
            let odds = REACH * (2.0 * n as f64 / BINS as f64 - 1.0);
            match n {
                0 => 0.0,
                BINS => f64::INFINITY,
                _ => 1.0 / (1.0 + (-odds).exp()),
            }
        };
        let mut bins = Vec::with_capacity(BINS);
        let (mut sum, mut held, mut below, mut n) = (0.0, 0.0, 0.0, 1);
        for (value, weight) in &self.0 {
            let mut left = *weight;
            while below + left > edge(n) {
                let part = (edge(n) - below).max(0.0);
                sum += value * part;
                held += part;
                left -= part;
                below = edge(n);
                if held > 0.0 {
                    bins.push((sum / held, held));
                }
                (sum, held) = (0.0, 0.0);
                n += 1;
            }
            sum += value * left;
            held += left;
            below += left;
        }
        if held > 0.0 {
            bins.push((sum / held, held));
        }
        bins
    }
}

/// Reads the values of rising probabilities, each value standing for the whole of its weight.
struct Walk<'a> {
    left: std::slice::Iter<'a, (f64, f64)>,
    value: f64,
    below: f64,
}

impl<'a> Walk<'a> {
    fn over(values: &'a [(f64, f64)]) -> Walk<'a> {
        Walk {
            left: values.iter(),
            value: 0.0,
            below: 0.0,
        }
    }

    fn at(&mut self, p: f64) -> f64 {
        while self.below <= p {
            let Some((value, weight)) = self.left.next() else {
                break;
            };
            self.value = *value;
            self.below += weight;
        }
        self.value
    }
}

/// The sum of all, none telling anything of another; `None` of none.
pub fn all_beside<'a>(all: impl IntoIterator<Item = &'a Uncertain>) -> Option<Uncertain> {
    let mut all = all.into_iter();
    let first = all.next()?.clone();
    Some(all.fold(first, |sum, one| sum.beside(one)))
}

/// The sum of all, high and low together; `None` of none.
pub fn all_along<'a>(all: impl IntoIterator<Item = &'a Uncertain>) -> Option<Uncertain> {
    let mut all = all.into_iter();
    let first = all.next()?.clone();
    Some(all.fold(first, |sum, one| sum.along(one)))
}

#[cfg(test)]
mod tests {
    use statrs::distribution::{Continuous, ContinuousCDF, Gamma, Normal};

    use super::*;

    fn normal(mean: f64, sd: f64) -> Uncertain {
        let normal = Normal::new(mean, sd).unwrap();
        let at = |n: i32| mean + sd * f64::from(n) / 40.0;
        let values = (-320..=320).map(|n| (at(n), normal.pdf(at(n))));
        Uncertain::of(values.collect()).unwrap()
    }

    fn near(found: f64, expected: f64, by: f64) {
        assert!((found - expected).abs() < by, "{found} is not {expected}");
    }

    /// Sums of normals: variances add up where they tell nothing of each other, spreads where they
    /// go together.
    #[test]
    fn sums_of_normals_are_as_they_must_be() {
        let (one, two) = (normal(10.0, 3.0), normal(-4.0, 4.0));
        let z = Normal::standard().inverse_cdf(0.95);
        let beside = one.beside(&two).limits(0.9);
        near(beside.median, 6.0, 0.01);
        near(beside.lower, 6.0 - 5.0 * z, 0.02);
        near(beside.upper, 6.0 + 5.0 * z, 0.02);
        let along = one.along(&two).limits(0.9);
        near(along.median, 6.0, 0.01);
        near(along.lower, 6.0 - 7.0 * z, 0.03);
        near(along.upper, 6.0 + 7.0 * z, 0.03);
        near(one.beside(&two).mean(), 6.0, 1e-9);
        near(one.along(&two).mean(), 6.0, 1e-9);
    }

    /// Twelve gammas of order 2 make one of order 24: errors of the bins do not pile up.
    #[test]
    fn many_skewed_ones_keep_their_limits() {
        let gamma = Gamma::new(2.0, 1.0).unwrap();
        let values = (1..4_000).map(|n| f64::from(n) * 0.01);
        let one = Uncertain::of(values.map(|x| (x, gamma.pdf(x))).collect()).unwrap();
        let found = all_beside(std::iter::repeat_n(&one, 12)).unwrap();
        let whole = Gamma::new(24.0, 1.0).unwrap();
        let limits = found.limits(0.9);
        for (value, p) in [
            (limits.lower, 0.05),
            (limits.median, 0.5),
            (limits.upper, 0.95),
        ] {
            near(whole.cdf(value), p, 2e-3);
        }
        near(found.above(24.0), 1.0 - whole.cdf(24.0), 5e-3);
    }

    #[test]
    fn exact_ones_only_shift_and_losses_turn_round() {
        let one = normal(10.0, 3.0);
        let shifted = one.beside(&Uncertain::exactly(5.0)).limits(0.9);
        let limits = one.limits(0.9);
        near(shifted.lower, limits.lower + 5.0, 0.01);
        near(shifted.upper, limits.upper + 5.0, 0.01);
        let loss = one.times_plus(-2.0, 1.0).limits(0.9);
        near(loss.lower, 1.0 - 2.0 * limits.upper, 1e-9);
        near(loss.upper, 1.0 - 2.0 * limits.lower, 1e-9);
        assert_eq!(Uncertain::of(vec![(f64::NAN, 1.0)]), None);
        assert_eq!(Uncertain::of(vec![(1.0, 0.0)]), None);
        assert_eq!(all_beside([]), None);
    }
}
