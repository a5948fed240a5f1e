//! Simulation: does partial pooling come nearer the truth than pooling all or none?
//!
//! Bounded and seeded; `examples/pooling_study.rs` runs the same at length.

use wearbook::model::partial::SpreadPrior;

use crate::common::fleets::{Fleet, Row, row};

/// Mean squared error of ln B10 over fleets of 5 and 8 positions with 2 to 6 failures each,
/// about a third of the lives cut short, shapes 1.5 and 3. At every spread partial pooling is
/// never worse than the better of the two by more than 5 %, and over all it beats both.
/// DEVELOPERS.md has the tables of the long run; the seed here is not one the prior on the
/// spread was chosen with.
#[test]
fn partial_pooling_beats_pooling_all_and_none() {
    let (mut pooled, mut separate, mut partial) = (0.0, 0.0, 0.0);
    for spread in [0.0, 0.3, 0.8] {
        let mut mean = Row::default();
        for shape in [1.5, 3.0] {
            for positions in [5, 8] {
                let fleet = Fleet {
                    shape,
                    spread,
                    positions,
                };
                mean.add(&row(fleet, SpreadPrior::DECISION, REPLICATES, SEED), 0.25);
            }
        }
        println!("spread {spread}: {mean}");
        assert!(
            mean.partial_median <= 1.05 * mean.pooled.min(mean.separate),
            "spread {spread}: {mean}"
        );
        pooled += mean.pooled;
        separate += mean.separate;
        partial += mean.partial_median;
        // Sampling error of 12 limits a fleet that share a shape and a centre is within this.
        assert!((0.80..=0.97).contains(&mean.held), "{mean}");
    }
    assert!(
        partial < 0.7 * pooled.min(separate),
        "{partial} {pooled} {separate}"
    );
}

const REPLICATES: u64 = 40;
const SEED: u64 = 314;
