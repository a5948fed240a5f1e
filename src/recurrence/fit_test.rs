//! Does a power law fit? The Cramér-von Mises distance and its p-value.
//!
//! In: values that would be even between 0 and 1 under the law. Out: distance, p-value.
//! Never: randomness without a seed.
//!
//! Source: MIL-HDBK-189 (1981) and IEC 61164, Cramér-von Mises test with the unbiased shape;
//! the p-value is simulated here instead of read off a table.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// `1/(12M) + Σ (F − (2i − 1)/(2M))²` for `M` values in rising order.
pub(super) fn distance(values: impl Iterator<Item = f64>, count: usize) -> f64 {
    let m = count as f64;
    let miss = |(i, f): (usize, f64)| (f - (2 * i + 1) as f64 / (2.0 * m)).powi(2);
    1.0 / (12.0 * m) + values.enumerate().map(miss).sum::<f64>()
}

/// Beyond this many events the distribution of the distance no longer changes to speak of.
const SETTLED: usize = 100;

/// Probability of a Cramér-von Mises distance at least as large under a power law.
///
/// Given their number, events under a power law are `u^(1/b)` of even `u`, and the distance
/// with the unbiased shape depends on nothing but how many they are. Simulated: `replicates`
/// samples from `seed`; standard error `√(p(1 − p)/replicates)`. The same seed gives the same
/// answer. Domain: at least 2 events; `None` otherwise.
pub fn cramer_von_mises_p(
    distance_found: f64,
    events: usize,
    replicates: u32,
    seed: u64,
) -> Option<f64> {
    if events < 2 || replicates == 0 {
        return None;
    }
    let m = events.min(SETTLED);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut logs = vec![0.0_f64; m];
    let mut beyond = 0_u32;
    for _ in 0..replicates {
        for log in &mut logs {
            // 1 − u lies in (0, 1], so its log is finite.
            *log = (1.0 - rng.random::<f64>()).ln();
        }
        logs.sort_by(f64::total_cmp);
        let shape = -((m - 1) as f64) / logs.iter().sum::<f64>();
        let far = distance(logs.iter().map(|log| (shape * log).exp()), m);
        beyond += u32::from(far >= distance_found);
    }
    // The sample itself is one of those that are as far.
    Some(f64::from(beyond + 1) / f64::from(replicates + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MIL-HDBK-189 tabulates critical values near 0.167 (10 events, 10 %) and 0.212 (5 %)
    /// (memory; a loose check that the simulation is of the same statistic).
    #[test]
    fn simulated_p_values_agree_with_the_handbook_table() {
        let p = |d| cramer_von_mises_p(d, 10, 20_000, 7).unwrap();
        assert!((p(0.167) - 0.10).abs() < 0.01, "{}", p(0.167));
        assert!((p(0.212) - 0.05).abs() < 0.007, "{}", p(0.212));
        assert_eq!(cramer_von_mises_p(0.1, 1, 100, 7), None);
    }
}
