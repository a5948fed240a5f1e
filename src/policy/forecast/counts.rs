//! How many: a whole number with its probabilities.
//!
//! In: probabilities, or a characteristic function. Out: [`Counts`]: mean, quantiles, sums.
//! Never: what is counted.

/// The distribution of a whole number.
#[derive(Debug, Clone, PartialEq)]
pub struct Counts {
    /// Probability of 0, 1, 2, … They add up to 1.
    probabilities: Vec<f64>,
}

/// Probabilities beyond this share of the whole are cut off at the upper end.
const TAIL: f64 = 1e-12;

impl Counts {
    /// From weights, which are scaled to add up to 1; a long tail of nothing is cut.
    pub fn new(mut weights: Vec<f64>) -> Self {
        for w in &mut weights {
            // Rounding may leave a probability of nothing a little below 0.
            *w = w.max(0.0);
        }
        let total: f64 = weights.iter().sum();
        let mut tail = 0.0;
        while weights.len() > 1 {
            tail += weights.last().copied().unwrap_or(0.0);
            if tail > TAIL * total {
                break;
            }
            weights.pop();
        }
        let total: f64 = weights.iter().sum();
        for w in &mut weights {
            *w /= total;
        }
        Counts {
            probabilities: weights,
        }
    }

    /// Certainly `n`.
    pub fn always(n: usize) -> Self {
        let mut probabilities = vec![0.0; n + 1];
        probabilities[n] = 1.0;
        Counts { probabilities }
    }

    pub fn probabilities(&self) -> &[f64] {
        &self.probabilities
    }

    pub fn mean(&self) -> f64 {
        let terms = self.probabilities.iter().enumerate();
        terms.map(|(n, p)| n as f64 * p).sum()
    }

    pub fn variance(&self) -> f64 {
        let mean = self.mean();
        let terms = self.probabilities.iter().enumerate();
        terms.map(|(n, p)| (n as f64 - mean).powi(2) * p).sum()
    }

    /// Probability of `n` or fewer.
    pub fn at_most(&self, n: usize) -> f64 {
        let upto = (n + 1).min(self.probabilities.len());
        self.probabilities[..upto].iter().sum::<f64>().min(1.0)
    }

    /// The least `n` with a probability of at least `p` of `n` or fewer.
    ///
    /// Domain: `0 <= p < 1`. A shortfall within rounding counts as reached.
    pub fn quantile(&self, p: f64) -> usize {
        let mut below = 0.0;
        for (n, share) in self.probabilities.iter().enumerate() {
            below += share;
            if below >= p - 1e-12 {
                return n;
            }
        }
        self.probabilities.len() - 1
    }

    /// Two-sided limits: at most `(1 − confidence)/2` lies below the lower one, and as much
    /// above the upper one.
    pub fn limits(&self, confidence: f64) -> (usize, usize) {
        let tail = 0.5 * (1.0 - confidence);
        (self.quantile(tail), self.quantile(1.0 - tail))
    }

    /// The sum of this and another, independent.
    pub fn plus(&self, other: &Counts) -> Counts {
        let (a, b) = (&self.probabilities, &other.probabilities);
        let mut sum = vec![0.0; a.len() + b.len() - 1];
        for (i, x) in a.iter().enumerate() {
            for (j, y) in b.iter().enumerate() {
                sum[i + j] += x * y;
            }
        }
        Counts::new(sum)
    }

    /// So many pieces each.
    pub fn times(&self, pieces: usize) -> Counts {
        if pieces == 0 {
            return Counts::always(0);
        }
        let mut spread = vec![0.0; (self.probabilities.len() - 1) * pieces + 1];
        for (n, p) in self.probabilities.iter().enumerate() {
            spread[n * pieces] = *p;
        }
        Counts {
            probabilities: spread,
        }
    }
}

/// A complex number, as little of it as is needed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Complex {
    pub re: f64,
    pub im: f64,
}

impl Complex {
    pub const ZERO: Complex = Complex { re: 0.0, im: 0.0 };
    pub const ONE: Complex = Complex { re: 1.0, im: 0.0 };

    pub fn times(self, other: Complex) -> Complex {
        Complex {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }

    pub fn to_the(self, mut n: u32) -> Complex {
        let (mut base, mut out) = (self, Complex::ONE);
        while n > 0 {
            if n & 1 == 1 {
                out = out.times(base);
            }
            base = base.times(base);
            n >>= 1;
        }
        out
    }
}

/// The circle cut into `size` equal parts.
#[derive(Debug, Clone)]
pub(super) struct Circle {
    points: Vec<Complex>,
}

impl Circle {
    pub fn new(size: usize) -> Self {
        let point = |n: usize| {
            let angle = 2.0 * std::f64::consts::PI * n as f64 / size as f64;
            Complex {
                re: angle.cos(),
                im: angle.sin(),
            }
        };
        Circle {
            points: (0..size).map(point).collect(),
        }
    }

    /// Points from 0 to half round: the rest is their mirror image.
    pub fn half(&self) -> usize {
        self.points.len() / 2 + 1
    }

    /// `Σ p_n e^(i n angle)` at point `at`.
    pub fn value(&self, probabilities: &[f64], at: usize) -> Complex {
        let mut sum = Complex::ZERO;
        let mut place = 0;
        for p in probabilities {
            let point = self.points[place];
            sum.re += p * point.re;
            sum.im += p * point.im;
            place = (place + at) % self.points.len();
        }
        sum
    }

    /// The probabilities whose values on the upper half circle are these.
    pub fn probabilities(&self, values: &[Complex]) -> Vec<f64> {
        let size = self.points.len();
        (0..size)
            .map(|n| {
                let mut sum = 0.0;
                for (at, value) in values.iter().enumerate() {
                    let point = self.points[(n * at) % size];
                    let part = value.re * point.re + value.im * point.im;
                    // Ends stand once, the others for their mirror image too.
                    let twice = at != 0 && 2 * at != size;
                    sum += if twice { 2.0 * part } else { part };
                }
                sum / size as f64
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_comes_back_from_the_circle() {
        let want = [0.1, 0.2, 0.3, 0.25, 0.15];
        for size in [8, 16] {
            let circle = Circle::new(size);
            let values: Vec<Complex> = (0..circle.half())
                .map(|at| circle.value(&want, at))
                .collect();
            let got = circle.probabilities(&values);
            for (n, p) in got.iter().enumerate() {
                assert!((p - want.get(n).unwrap_or(&0.0)).abs() < 1e-15);
            }
        }
    }

    #[test]
    fn sums_and_pieces_keep_mean_and_spread() {
        let a = Counts::new(vec![0.5, 0.3, 0.2]);
        let b = Counts::new(vec![0.9, 0.0, 0.1]);
        let sum = a.plus(&b);
        assert!((sum.mean() - a.mean() - b.mean()).abs() < 1e-15);
        assert!((sum.variance() - a.variance() - b.variance()).abs() < 1e-15);
        let pairs = a.times(2);
        assert_eq!(pairs.probabilities(), [0.5, 0.0, 0.3, 0.0, 0.2]);
        assert_eq!(pairs.quantile(0.79), 2);
        assert_eq!(pairs.quantile(0.81), 4);
        assert_eq!(Counts::always(3).limits(0.9), (3, 3));
        assert!((a.at_most(7) - 1.0).abs() < 1e-15);
    }
}
