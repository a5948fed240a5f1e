//! Which lives belong together: exceptions set apart from a pool by likelihood ratio.
//!
//! In: lives with the groups each belongs to. Out: [`Split`]: a pool and its exceptions.
//! Never: what a group stands for (machine, position, batch).
//!
//! Test: common shape, one scale for the group and one for the rest, against one scale for
//! all; twice the log-likelihood difference is compared with chi-square on one degree of
//! freedom, and the p-value multiplied by the number of groups tried (Bonferroni).
//! Source: Lawless (2003), section 5.1 and 5.2 (equality of scales given a common shape).

use rayon::prelude::*;
use statrs::function::erf::erfc;
use statrs::function::gamma::gamma_ur;

use super::common_shape::{CommonShape, OwnScale, fit_common_shape};
use crate::life::{End, Life, Sample};

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
    /// Of the groups not set apart the one that differs most from the pool; `None` where none
    /// could be compared.
    pub closest: Option<Exception<K>>,
}

/// Sets apart, one after another, the group that differs most from the rest, as long as its
/// adjusted p-value is below `level`.
///
/// A group must hold a failure, and what remains must hold two, or nothing can be compared.
/// Of more than 64 groups only the 64 likeliest are compared in full, by a sum that ranks them
/// as the comparison does but for what the shape adds.
/// Greedy: the order of findings is from the strongest to the weakest, and ties keep the
/// order of `candidates`.
pub fn set_apart<K: Clone + PartialEq + Sync>(
    lives: &[Life],
    candidates: &[Candidate<K>],
    level: f64,
) -> Split<K> {
    let mut pool: Vec<usize> = (0..lives.len()).collect();
    let mut exceptions: Vec<Exception<K>> = Vec::new();
    let mut closest = None;
    while exceptions.len() < candidates.len() {
        let whole = sample(lives, &pool).and_then(|all| fit_common_shape(&[&all]).ok());
        let Some(together) = whole else {
            break;
        };
        let tried: Vec<&Candidate<K>> = candidates
            .iter()
            .filter(|candidate| exceptions.iter().all(|e| e.key != candidate.key))
            .collect();
        let likely = likeliest(lives, &pool, &tried, &together);
        // In the order of candidates, whichever is done first.
        let compared: Vec<Option<(Vec<usize>, f64, f64)>> = likely
            .par_iter()
            .map(|candidate| {
                let (members, rest) = parted(lives.len(), &pool, &candidate.members);
                if members.is_empty() || rest.is_empty() {
                    return None;
                }
                let all = together.log_likelihood;
                let (statistic, life_ratio) = compare(lives, &members, &rest, all)?;
                Some((members, statistic, life_ratio))
            })
            .collect();
        let mut best: Option<Exception<K>> = None;
        for (candidate, found) in likely.iter().zip(compared) {
            let Some((members, statistic, life_ratio)) = found else {
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
        let Some(found) = best else {
            break;
        };
        if found.p_adjusted >= level {
            closest = Some(found);
            break;
        }
        pool = parted(lives.len(), &pool, &found.members).1;
        exceptions.push(found);
    }
    Split {
        pool,
        exceptions,
        closest,
    }
}

/// Up to so many candidates every one is compared; of more, so many.
const COMPARED: usize = 64;

/// The candidates that differ most from the rest by a statistic that costs a sum: the
/// likelihood ratio at the shape of all, where scales are in closed form, a failure within a
/// window standing at its middle. In their own order; all of them where they are few.
fn likeliest<'a, K>(
    lives: &[Life],
    pool: &[usize],
    candidates: &[&'a Candidate<K>],
    together: &CommonShape,
) -> Vec<&'a Candidate<K>> {
    if candidates.len() <= COMPARED {
        return candidates.to_vec();
    }
    let ln_scale = match together.scales.first() {
        Some(OwnScale::At { a, .. }) => *a,
        _ => return candidates.to_vec(),
    };
    // Failures and cumulative hazard at the pool's own scale; nothing for those not in it.
    let mut told = vec![(0.0, 0.0); lives.len()];
    let hazard = |usage: f64| (together.shape * (usage.ln() - ln_scale)).exp();
    let mut all = (0.0, 0.0);
    for n in pool {
        let life = &lives[*n];
        let (failed, at) = match life.end {
            End::Failure { at } => (1.0, at),
            End::Suspension { at } => (0.0, at),
            End::Interval { lo, hi } => (1.0, 0.5 * (lo + hi)),
            End::Left { hi } => (1.0, 0.5 * (life.entry + hi)),
        };
        let count = f64::from(life.count);
        let run = if life.entry > 0.0 {
            hazard(at) - hazard(life.entry)
        } else {
            hazard(at)
        };
        told[*n] = (count * failed, count * run);
        all = (all.0 + count * failed, all.1 + count * run);
    }
    let part = |failures: f64, run: f64| {
        if failures > 0.0 && run > 0.0 {
            failures * (failures / run).ln()
        } else {
            0.0
        }
    };
    let mut ranked: Vec<(usize, f64)> = candidates
        .iter()
        .enumerate()
        .map(|(place, candidate)| {
            let of = candidate.members.iter().map(|n| told[*n]);
            let own = of.fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
            let statistic = part(own.0, own.1) + part(all.0 - own.0, all.1 - own.1);
            (place, statistic)
        })
        .collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    ranked.truncate(COMPARED);
    ranked.sort_by_key(|(place, _)| *place);
    ranked
        .into_iter()
        .map(|(place, _)| candidates[place])
        .collect()
}

/// A pool parted into a group's members and the rest, both in the pool's order.
fn parted(lives: usize, pool: &[usize], members: &[usize]) -> (Vec<usize>, Vec<usize>) {
    let mut inside = vec![false; lives];
    for n in members {
        inside[*n] = true;
    }
    pool.iter().copied().partition(|n| inside[*n])
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

    /// Among 200 groups the one that differs is found though few are compared in full.
    #[test]
    fn one_among_two_hundred_groups_is_found() {
        let mut lives = Vec::new();
        let mut candidates: Vec<Candidate<usize>> = Vec::new();
        for group in 0..200 {
            let factor = if group == 137 { 0.3 } else { 1.0 };
            let members: Vec<usize> = (lives.len()..lives.len() + 6).collect();
            for n in 1..7 {
                let p = (f64::from(n) - 0.4 + 0.001 * f64::from(group)) / 6.5;
                let at = 3_000.0 * factor * (-(-p).ln_1p()).powf(0.4);
                lives.push(match n % 3 {
                    0 => Life::suspension(at),
                    1 => Life::interval(0.9 * at, 1.1 * at),
                    _ => Life::failure(at),
                });
            }
            candidates.push(Candidate {
                key: group as usize,
                members,
            });
        }
        let split = set_apart(&lives, &candidates, 0.05);
        let keys: Vec<usize> = split.exceptions.iter().map(|e| e.key).collect();
        assert_eq!(keys, [137]);
    }
}
