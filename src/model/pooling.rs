//! Which lives belong together: exceptions set apart from a pool by likelihood ratio.
//!
//! In: lives with the groups each belongs to. Out: [`Split`]: a pool and its exceptions.
//! Never: what a group stands for (machine, position, batch).
//!
//! Test: common shape, one scale for the group and one for the rest, against one scale for
//! all; twice the log-likelihood difference is compared with chi-square on one degree of
//! freedom, and the p-value multiplied by the number of groups tried (Bonferroni).
//! Source: Lawless (2003), section 5.1 and 5.2 (equality of scales given a common shape).

use statrs::function::erf::erfc;
use statrs::function::gamma::gamma_ur;

use super::common_shape::fit_common_shape;
use crate::life::{Life, Sample};

/// A candidate for standing apart: a name and which lives it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate<K> {
    pub key: K,
    /// Indices into the lives.
    pub members: Vec<usize>,
}

/// A group that stands apart from the pool.
#[derive(Debug, Clone, PartialEq)]
pub struct Exception<K> {
    pub key: K,
    pub members: Vec<usize>,
    /// Twice the log-likelihood difference.
    pub statistic: f64,
    /// p-value times the number of groups tried, at most 1.
    pub p_adjusted: f64,
    /// Scale of the group over scale of the rest, at the common shape.
    pub life_ratio: f64,
}

/// A pool of lives and the groups that do not belong to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Split<K> {
    pub pool: Vec<usize>,
    pub exceptions: Vec<Exception<K>>,
}

/// Sets apart, one after another, the group that differs most from the rest, as long as its
/// adjusted p-value is below `level`.
///
/// A group must hold a failure, and what remains must hold two, or nothing can be compared.
/// Greedy: the order of findings is from the strongest to the weakest, and ties keep the
/// order of `candidates`.
pub fn set_apart<K: Clone + PartialEq>(
    lives: &[Life],
    candidates: &[Candidate<K>],
    level: f64,
) -> Split<K> {
    let mut pool: Vec<usize> = (0..lives.len()).collect();
    let mut exceptions: Vec<Exception<K>> = Vec::new();
    while exceptions.len() < candidates.len() {
        let whole = sample(lives, &pool).and_then(|all| fit_common_shape(&[&all]).ok());
        let Some(together) = whole.map(|fit| fit.log_likelihood) else {
            break;
        };
        let mut best: Option<Exception<K>> = None;
        for candidate in candidates {
            if exceptions.iter().any(|e| e.key == candidate.key) {
                continue;
            }
            let (members, rest): (Vec<usize>, Vec<usize>) = pool
                .iter()
                .copied()
                .partition(|n| candidate.members.contains(n));
            if members.is_empty() || rest.is_empty() {
                continue;
            }
            let Some((statistic, life_ratio)) = compare(lives, &members, &rest, together) else {
                continue;
            };
            if best.as_ref().is_none_or(|b| statistic > b.statistic) {
                let p = chi_square_1_tail(statistic) * candidates.len() as f64;
                best = Some(Exception {
                    key: candidate.key.clone(),
                    members,
                    statistic,
                    p_adjusted: p.min(1.0),
                    life_ratio,
                });
            }
        }
        let Some(found) = best.filter(|b| b.p_adjusted < level) else {
            break;
        };
        pool.retain(|n| !found.members.contains(n));
        exceptions.push(found);
    }
    Split { pool, exceptions }
}

/// The lives with these indices; each was checked when it was made.
fn sample(lives: &[Life], which: &[usize]) -> Option<Sample> {
    Sample::new(which.iter().map(|n| lives[*n]).collect()).ok()
}

/// Likelihood-ratio statistic for equal scales at a common shape, and the ratio of scales;
/// `together` is the log-likelihood of one shape and one scale.
fn compare(lives: &[Life], members: &[usize], rest: &[usize], together: f64) -> Option<(f64, f64)> {
    let (one, other) = (sample(lives, members)?, sample(lives, rest)?);
    if one.failures() < 1 || other.failures() < 2 {
        return None;
    }
    let apart = fit_common_shape(&[&one, &other]).ok()?;
    let (ln_ratio, _) = apart.ln_ratio(0, 1)?;
    let statistic = 2.0 * (apart.log_likelihood - together).max(0.0);
    Some((statistic, ln_ratio.exp()))
}

/// Upper tail of chi-square with one degree of freedom: `erfc(√(x/2))`.
pub fn chi_square_1_tail(x: f64) -> f64 {
    erfc((0.5 * x.max(0.0)).sqrt())
}

/// Upper tail of chi-square with `df` degrees of freedom: `Q(df/2, x/2)`; 1 at or below 0.
pub fn chi_square_tail(x: f64, df: u64) -> f64 {
    match df {
        _ if x <= 0.0 || df == 0 => 1.0,
        _ if x == f64::INFINITY => 0.0,
        1 => chi_square_1_tail(x),
        2 => (-0.5 * x).exp(),
        _ => gamma_ur(0.5 * df as f64, 0.5 * x),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_group_that_lasts_a_third_as_long_is_set_apart_and_no_other() {
        let mut lives = Vec::new();
        let mut candidates: Vec<Candidate<usize>> = Vec::new();
        for group in 0..5 {
            let factor = if group == 1 { 0.33 } else { 1.0 };
            let members: Vec<usize> = (lives.len()..lives.len() + 9).collect();
            for n in 1..10 {
                // Even quantiles of a Weibull with shape 2.5, shaken a little by group.
                let p = (f64::from(n) - 0.35 + 0.02 * group as f64) / 9.5;
                lives.push(Life::failure(3_000.0 * factor * (-(-p).ln_1p()).powf(0.4)));
            }
            candidates.push(Candidate {
                key: group,
                members,
            });
        }
        let split = set_apart(&lives, &candidates, 0.05);
        assert_eq!(split.exceptions.len(), 1);
        assert_eq!(split.exceptions[0].key, 1);
        assert!((split.exceptions[0].life_ratio - 0.33).abs() < 0.03);
        assert_eq!(split.pool.len(), 36);
    }
}
