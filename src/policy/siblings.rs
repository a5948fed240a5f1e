//! Siblings: whether the positions of a pool share one answer, or each leans on the others.
//!
//! In: lives with their places, which of them are pooled, and the slots to answer for. Out:
//! [`Siblings`]: nothing to tell apart, or a posterior a position. Never: the integration
//! (see [`partial`](crate::model::partial)), intervals, words.
//!
//! A planner wants as few different intervals as the record supports: positions get answers
//! of their own only where it is more likely than not that they differ.

use crate::life::{Life, Sample};
use crate::model::partial::{SpreadPrior, pool_partially};
use crate::model::posterior::{Posterior, ShapePrior};

use super::evidence::{Placed, Scope};

/// How far groups lean on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pooling {
    /// Each group on its own lives.
    None,
    /// Each leans on its siblings as far as the data say.
    #[default]
    Partial,
    /// All lives together.
    All,
}

/// From this posterior probability of no difference on, siblings share one answer.
pub const ALIKE: f64 = 0.5;

/// A group with what it borrowed.
#[derive(Debug, Clone)]
pub struct Sibling {
    pub scope: Scope,
    /// Its own lives: indices into the lives given.
    pub members: Vec<usize>,
    pub sample: Sample,
    pub posterior: Posterior,
    /// Share of its estimate that is its siblings', between 0 and 1.
    pub borrowed: f64,
}

/// What a pool's groups have to do with each other.
#[derive(Debug, Clone)]
pub enum Siblings {
    /// One answer serves all: there is one group only, no failure, or no sign of a difference
    /// (then with what was found).
    Alike { found: Option<Found> },
    /// Each has its own.
    Differ { found: Found, each: Vec<Sibling> },
}

/// What a look at a pool's groups came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Groups looked at.
    pub groups: usize,
    /// True where they are machines, as there is one position only.
    pub machines: bool,
    /// Posterior probability that they do not differ.
    pub no_difference: f64,
    /// Posterior mean of the spread between them, in ln scale.
    pub spread: f64,
}

/// Looks for differences between the positions of a pool; where there is one position only,
/// between its machines.
///
/// `pool` are indices into `lives`; `slots` (machine, position) are those whose answer rests
/// on the pool. A position without lives leans on the others altogether.
pub fn siblings(
    lives: &[Placed],
    pool: &[usize],
    slots: &[(String, String)],
    prior: ShapePrior,
) -> Siblings {
    let by = |which: fn(&(String, String)) -> String| -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for slot in slots {
            let name = which(slot);
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names
    };
    let alone = Siblings::Alike { found: None };
    let positions = by(|slot| slot.1.clone());
    let scopes: Vec<Scope> = if positions.len() > 1 {
        positions
            .into_iter()
            .map(|position| Scope::Position { position })
            .collect()
    } else {
        by(|slot| slot.0.clone())
            .into_iter()
            .map(|machine| Scope::Machine { machine })
            .collect()
    };
    let groups: Vec<(Scope, Vec<usize>, Sample)> = scopes
        .into_iter()
        .map(|scope| {
            let members: Vec<usize> = pool
                .iter()
                .copied()
                .filter(|n| scope.covers(&lives[*n].machine, &lives[*n].position))
                .collect();
            let own: Vec<Life> = members.iter().map(|n| lives[*n].life).collect();
            // Each life was checked when it was placed.
            (scope, members, Sample::new(own).unwrap_or_default())
        })
        .collect();
    if groups.iter().filter(|g| !g.1.is_empty()).count() < 2 {
        return alone;
    }
    let samples: Vec<Sample> = groups.iter().map(|g| g.2.clone()).collect();
    let Ok(partial) = pool_partially(&samples, prior, SpreadPrior::DECISION) else {
        return alone;
    };
    let found = Found {
        groups: groups.len(),
        machines: matches!(groups[0].0, Scope::Machine { .. }),
        no_difference: partial.no_difference,
        spread: partial.spread_mean(),
    };
    if partial.no_difference >= ALIKE {
        return Siblings::Alike { found: Some(found) };
    }
    let each = groups
        .into_iter()
        .zip(partial.groups)
        .map(|((scope, members, sample), group)| Sibling {
            scope,
            members,
            sample,
            posterior: group.posterior,
            borrowed: group.borrowed,
        })
        .collect();
    Siblings::Differ { found, each }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::policy::Costs;
    use crate::policy::decide::decide;

    fn placed(position: &str, lives: &[f64]) -> Vec<Placed> {
        lives
            .iter()
            .map(|at| Placed {
                machine: "H-01".into(),
                position: position.into(),
                batch: None,
                life: Life::failure(*at),
            })
            .collect()
    }

    fn slots(positions: &[&str]) -> Vec<(String, String)> {
        positions
            .iter()
            .map(|p| ("H-01".to_owned(), (*p).to_owned()))
            .collect()
    }

    #[test]
    fn alike_positions_share_and_different_ones_lean() {
        let alike = [
            placed("P1", &[900.0, 1_400.0, 2_000.0]),
            placed("P2", &[800.0, 1_500.0, 1_900.0]),
        ]
        .concat();
        let pool: Vec<usize> = (0..alike.len()).collect();
        let found = siblings(&alike, &pool, &slots(&["P1", "P2"]), ShapePrior::DECISION);
        assert!(
            matches!(found, Siblings::Alike { found: Some(f) } if f.no_difference > 0.5),
            "{found:?}"
        );

        let differ = [
            placed("P1", &[900.0, 1_000.0, 1_250.0]),
            placed("P2", &[400.0, 520.0]),
            placed("P3", &[2_000.0, 2_500.0, 2_100.0]),
        ]
        .concat();
        let pool: Vec<usize> = (0..differ.len()).collect();
        let asked = slots(&["P1", "P2", "P3", "P4"]);
        let Siblings::Differ { each, .. } = siblings(&differ, &pool, &asked, ShapePrior::DECISION)
        else {
            panic!("these differ");
        };
        assert_eq!(each.len(), 4);
        let costs = Costs::new(1.0, 10.0).expect("costs");
        let interval = |n: usize| decide(&each[n].posterior, costs, 0.9).optimum.expect("one");
        assert!(interval(1) < interval(0) && interval(0) < interval(2));
        // Two failures lean more than three; a position without lives altogether.
        assert!(each[1].borrowed > each[0].borrowed);
        assert_eq!(each[3].borrowed, 1.0);
        assert!(interval(1) < interval(3) && interval(3) < interval(2));
    }

    #[test]
    fn one_position_is_looked_at_by_machine() {
        let mut lives = placed("P1", &[900.0, 1_000.0, 1_250.0, 1_100.0]);
        for (n, placed) in lives.iter_mut().enumerate() {
            if n >= 2 {
                placed.machine = "H-02".into();
                placed.life = Life::failure(8_000.0 + 500.0 * n as f64);
            }
        }
        let slots = [("H-01".into(), "P1".into()), ("H-02".into(), "P1".into())];
        let found = siblings(&lives, &[0, 1, 2, 3], &slots, ShapePrior::DECISION);
        let Siblings::Differ { each, found } = found else {
            panic!("these differ: {found:?}");
        };
        assert!(found.machines && found.groups == 2 && found.no_difference < 0.5);
        assert!(found.spread > 0.3, "{found:?}");
        assert_eq!(each[1].scope.name().as_deref(), Some("machine H-02"));
    }
}
