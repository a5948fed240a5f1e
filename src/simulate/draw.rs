//! Draws from named distributions, bit for bit the same for the same seed.
//!
//! In: a random source and parameters. Out: numbers.
//! Never: clock, files, printing, the global random source.
//!
//! The uniform and normal draws are made here from raw 64-bit words rather than taken
//! from a library's distribution types, so that a seed keeps its meaning when a library
//! changes how it draws.

use rand::Rng;

/// Returns a uniform number in the open interval (0, 1): never 0, never 1.
pub fn uniform(rng: &mut impl Rng) -> f64 {
    // The 52 highest bits, centred in their cell.
    ((rng.next_u64() >> 12) as f64 + 0.5) * (1.0 / (1u64 << 52) as f64)
}

/// Returns a uniform number between `low` and `high`, in their unit.
pub fn between(low: f64, high: f64, rng: &mut impl Rng) -> f64 {
    low + (high - low) * uniform(rng)
}

/// True with the given chance (0 to 1).
pub fn chance(probability: f64, rng: &mut impl Rng) -> bool {
    uniform(rng) < probability
}

/// Returns a whole number from 0 to `count - 1`; 0 where `count` is 0.
pub fn index(count: usize, rng: &mut impl Rng) -> usize {
    ((uniform(rng) * count as f64) as usize).min(count.saturating_sub(1))
}

/// Returns a standard normal number.
///
/// Formula: `sqrt(−2 ln u₁) · cos(2π u₂)`.
/// Source: Box & Muller, *Annals of Mathematical Statistics* 29 (1958), 610–611.
pub fn normal(rng: &mut impl Rng) -> f64 {
    let radius = (-2.0 * uniform(rng).ln()).sqrt();
    radius * (std::f64::consts::TAU * uniform(rng)).cos()
}

/// Returns a factor around 1 with median 1: `exp(spread · z)`, `z` standard normal cut at ±2.5.
pub fn around_one(spread: f64, rng: &mut impl Rng) -> f64 {
    (spread * normal(rng).clamp(-2.5, 2.5)).exp()
}

/// Draws one life from a Weibull distribution by inverting its reliability.
///
/// Formula: `scale · (−ln u)^(1/shape)`, `u` uniform in (0, 1).
/// Units: the result is in the unit of `scale`.
/// Domain: both parameters finite and > 0; otherwise the result is not a life (NaN, 0 or ∞).
/// Source: Weibull, *Journal of Applied Mechanics* 18 (1951), 293–297, for the distribution.
///
/// ```
/// use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};
/// let mut rng = ChaCha12Rng::seed_from_u64(7);
/// let life_h = wearbook::simulate::draw_weibull(2.6, 2600.0, &mut rng);
/// assert!(life_h > 0.0);
/// ```
pub fn draw_weibull(shape: f64, scale: f64, rng: &mut impl Rng) -> f64 {
    draw_weibull_beyond(0.0, shape, scale, rng)
}

/// Draws one life known to exceed `age`: a part already in place when its record begins.
///
/// Formula: `scale · ((age/scale)^shape − ln u)^(1/shape)`, from `R(t | age) = R(t)/R(age)`.
/// Units: `age` and the result are in the unit of `scale`.
/// Domain: as [`draw_weibull`]; `age` ≥ 0.
pub fn draw_weibull_beyond(age: f64, shape: f64, scale: f64, rng: &mut impl Rng) -> f64 {
    let spent = (age / scale).powf(shape);
    let life = scale * (spent - uniform(rng).ln()).powf(1.0 / shape);
    // Rounding must not bring a life back below the age it is known to exceed.
    life.max(age)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};

    fn rng(seed: u64) -> ChaCha12Rng {
        ChaCha12Rng::seed_from_u64(seed)
    }

    #[test]
    fn the_same_seed_gives_the_same_lives() {
        let draw = |seed| -> Vec<f64> {
            let mut r = rng(seed);
            (0..20).map(|_| draw_weibull(1.7, 900.0, &mut r)).collect()
        };
        assert_eq!(draw(5), draw(5));
        assert_ne!(draw(5), draw(6));
    }

    /// The largest distance between the sample and `F(t) = 1 − exp(−(t/scale)^shape)` stays under
    /// 1.95/√n, which a right sample passes with chance 0.999.
    /// Source: Kolmogorov's limiting distribution: 2·exp(−2·1.95²) = 0.001.
    #[test]
    fn drawn_lives_follow_the_weibull_distribution() {
        for (seed, shape, scale, age) in [
            (1, 0.7, 16_000.0, 0.0),
            (2, 2.6, 2_600.0, 0.0),
            (3, 4.0, 40_000.0, 9_000.0),
            (4, 0.7, 16_000.0, 5_000.0),
        ] {
            let n = 20_000;
            let mut r = rng(seed);
            let mut lives: Vec<f64> = (0..n)
                .map(|_| draw_weibull_beyond(age, shape, scale, &mut r))
                .collect();
            lives.sort_by(f64::total_cmp);
            let spent = (age / scale).powf(shape);
            let worst = lives
                .iter()
                .enumerate()
                .map(|(i, t)| {
                    let f = -(spent - (t / scale).powf(shape)).exp_m1();
                    (f - (i as f64 + 0.5) / n as f64).abs() + 0.5 / n as f64
                })
                .fold(0.0, f64::max);
            assert!(
                worst < 1.95 / (n as f64).sqrt(),
                "seed {seed}, shape {shape}: {worst}"
            );
            assert!(lives.iter().all(|&t| t >= age));
        }
    }

    #[test]
    fn normal_numbers_have_mean_0_and_variance_1() {
        let n = 40_000;
        let mut r = rng(9);
        let z: Vec<f64> = (0..n).map(|_| normal(&mut r)).collect();
        let mean = z.iter().sum::<f64>() / n as f64;
        let variance = z.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64;
        // Four standard errors: 1/√n and √(2/n).
        assert!(mean.abs() < 4.0 / (n as f64).sqrt(), "{mean}");
        assert!(
            (variance - 1.0).abs() < 4.0 * (2.0 / n as f64).sqrt(),
            "{variance}"
        );
    }

    #[test]
    fn indices_stay_in_range() {
        let mut r = rng(3);
        assert!((0..1000).all(|_| index(3, &mut r) < 3));
        assert_eq!(index(0, &mut r), 0);
    }
}
