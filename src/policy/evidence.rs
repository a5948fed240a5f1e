//! Evidence: which lives of a component are weighed together.
//!
//! In: lives with machine, position and batch. Out: [`Evidence`]: a pool, and the slots,
//! positions, machines or batches whose lives differ from it; [`Tried`]: what was compared.
//! Never: the test itself (see [`pooling`](crate::model::pooling)).
//!
//! Thin data are pooled over positions unless they say otherwise. A batch set apart tells of
//! parts that are gone; its lives are shown but no slot's interval rests on them.

use std::collections::BTreeMap;

use crate::life::Life;
use crate::model::pooling::{Candidate, set_apart};

/// A life with the groups it may be set apart by.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    pub machine: String,
    pub position: String,
    pub batch: Option<String>,
    pub life: Life,
}

/// Which lives a group holds.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// All that are not set apart.
    Pool,
    Slot {
        machine: String,
        position: String,
    },
    Position {
        position: String,
    },
    Machine {
        machine: String,
    },
    Batch {
        batch: String,
    },
}

impl Scope {
    /// What it is called beside the pool; `None` for the pool itself.
    pub fn name(&self) -> Option<String> {
        match self {
            Scope::Pool => None,
            Scope::Slot { machine, position } => Some(format!("{machine} {position}")),
            Scope::Position { position } => Some(format!("position {position}")),
            Scope::Machine { machine } => Some(format!("machine {machine}")),
            Scope::Batch { batch } => Some(format!("batch {batch}")),
        }
    }

    /// The place alone: "P2", "H-02", "H-02 P2"; empty for the pool.
    pub fn place(&self) -> String {
        match self {
            Scope::Pool => String::new(),
            Scope::Slot { machine, position } => format!("{machine} {position}"),
            Scope::Position { position } => position.clone(),
            Scope::Machine { machine } => machine.clone(),
            Scope::Batch { batch } => batch.clone(),
        }
    }

    /// True where this scope covers the slot (a batch covers none).
    pub fn covers(&self, machine: &str, position: &str) -> bool {
        match self {
            Scope::Pool => true,
            Scope::Slot {
                machine: m,
                position: p,
            } => m == machine && p == position,
            Scope::Position { position: p } => p == position,
            Scope::Machine { machine: m } => m == machine,
            Scope::Batch { .. } => false,
        }
    }
}

/// How far a group stands from the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// Life of the group over life of the rest, at a common shape.
    pub life_ratio: f64,
    /// Likelihood-ratio statistic on one degree of freedom.
    pub statistic: f64,
    /// p-value times the number of groups tried.
    pub p_adjusted: f64,
}

/// Lives weighed together.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    pub scope: Scope,
    /// Indices into the lives given.
    pub members: Vec<usize>,
    /// `None` for the pool.
    pub apart: Option<Apart>,
}

/// What was compared to find out which lives belong together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tried {
    pub machines: usize,
    pub positions: usize,
    /// Single slots, where they are neither a machine nor a position by themselves.
    pub slots: usize,
    pub batches: usize,
    /// Of what was not set apart the group that differs most from the pool.
    pub closest: Option<(Scope, Apart)>,
}

impl Tried {
    /// All groups that were tried; p-values are multiplied by it.
    pub fn count(&self) -> usize {
        self.machines + self.positions + self.slots + self.batches
    }
}

/// A group is set apart where its adjusted p-value is below this.
pub const LEVEL: f64 = 0.05;

/// Splits a component's lives into a pool and its exceptions, the pool first.
///
/// Exceptions follow in the order they were found, the strongest first; a slot belongs to
/// the first exception that covers it.
pub fn split(lives: &[Placed]) -> Vec<Evidence> {
    split_and_tell(lives).0
}

/// As [`split`], with what was compared.
pub fn split_and_tell(lives: &[Placed]) -> (Vec<Evidence>, Tried) {
    let candidates = candidates(lives);
    let split = set_apart(
        &lives.iter().map(|placed| placed.life).collect::<Vec<_>>(),
        &candidates,
        LEVEL,
    );
    let of = |which: fn(&Scope) -> bool| candidates.iter().filter(|c| which(&c.key)).count();
    let tried = Tried {
        machines: of(|scope| matches!(scope, Scope::Machine { .. })),
        positions: of(|scope| matches!(scope, Scope::Position { .. })),
        slots: of(|scope| matches!(scope, Scope::Slot { .. })),
        batches: of(|scope| matches!(scope, Scope::Batch { .. })),
        closest: split.closest.map(|found| {
            let apart = Apart {
                life_ratio: found.life_ratio,
                statistic: found.statistic,
                p_adjusted: found.p_adjusted,
            };
            (found.key, apart)
        }),
    };
    let pool = Evidence {
        scope: Scope::Pool,
        members: split.pool,
        apart: None,
    };
    let exceptions = split.exceptions.into_iter().map(|found| Evidence {
        scope: found.key,
        members: found.members,
        apart: Some(Apart {
            life_ratio: found.life_ratio,
            statistic: found.statistic,
            p_adjusted: found.p_adjusted,
        }),
    });
    (std::iter::once(pool).chain(exceptions).collect(), tried)
}

/// Every machine, position, slot and batch that holds some but not all of the lives.
///
/// Of two candidates with the same lives (a machine with one position) the simpler stays.
fn candidates(lives: &[Placed]) -> Vec<Candidate<Scope>> {
    let mut groups: BTreeMap<(u8, Scope), Vec<usize>> = BTreeMap::new();
    for (n, placed) in lives.iter().enumerate() {
        let (machine, position) = (placed.machine.clone(), placed.position.clone());
        let mut add = |rank, scope| groups.entry((rank, scope)).or_default().push(n);
        add(
            0,
            Scope::Machine {
                machine: machine.clone(),
            },
        );
        add(
            1,
            Scope::Position {
                position: position.clone(),
            },
        );
        add(2, Scope::Slot { machine, position });
        if let Some(batch) = &placed.batch {
            add(
                3,
                Scope::Batch {
                    batch: batch.clone(),
                },
            );
        }
    }
    let mut candidates: Vec<Candidate<Scope>> = Vec::new();
    for ((_, key), members) in groups {
        let whole = members.len() == lives.len();
        if !whole && !candidates.iter().any(|c| c.members == members) {
            candidates.push(Candidate { key, members });
        }
    }
    candidates
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(machine: &str, position: &str, batch: &str, at: f64) -> Placed {
        Placed {
            machine: machine.into(),
            position: position.into(),
            batch: Some(batch.into()),
            life: Life::failure(at),
        }
    }

    #[test]
    fn one_fast_slot_is_found_among_two_machines() {
        let mut lives = Vec::new();
        for machine in ["A", "B"] {
            for position in ["P1", "P2", "P3"] {
                for n in 1..9_i32 {
                    let factor = if (machine, position) == ("B", "P2") {
                        0.4
                    } else {
                        1.0
                    };
                    let p = (f64::from(n) - 0.4) / 8.5;
                    let at = 1_000.0 * factor * (-(-p).ln_1p()).powf(0.45);
                    lives.push(placed(machine, position, &format!("L{}", n % 3), at));
                }
            }
        }
        let found = split(&lives);
        assert_eq!(found.len(), 2);
        assert_eq!(
            found[1].scope,
            Scope::Slot {
                machine: "B".into(),
                position: "P2".into()
            }
        );
        assert_eq!(found[1].members.len(), 8);
        assert_eq!(found[0].members.len(), 40);
        let (again, tried) = split_and_tell(&lives);
        assert_eq!(again, found);
        assert_eq!(
            (tried.machines, tried.positions, tried.slots, tried.batches),
            (2, 3, 6, 3)
        );
        // What comes next is no more than chance.
        let (scope, next) = tried.closest.clone().expect("one was compared");
        assert!(scope != found[1].scope && next.p_adjusted >= LEVEL);
    }
}
