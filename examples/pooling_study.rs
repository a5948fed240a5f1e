//! How near ln B10 comes to the truth under three ways of weighing positions, at length.
//!
//! `cargo run --release --example pooling_study -- [FLEETS] [SEED] [NONE] [SCALE]` (default 2,000 fleets
//! a row, seed 2_026; NONE and SCALE are the prior on the spread).

#[path = "../tests/common/fleets.rs"]
mod fleets;

use wearbook::model::partial::SpreadPrior;

fn main() {
    let number = |n: usize| std::env::args().nth(n).and_then(|a| a.parse::<f64>().ok());
    let replicates = number(1).unwrap_or(2_000.0) as u64;
    let seed = number(2).unwrap_or(2_026.0) as u64;
    let mut prior = SpreadPrior::DECISION;
    prior.none = number(3).unwrap_or(prior.none);
    prior.scale = number(4).unwrap_or(prior.scale);
    println!("{prior:?}\n");
    println!("| spread | shape | positions | {}", fleets::HEADINGS);
    for spread in [0.0, 0.3, 0.8] {
        let mut mean = fleets::Row::default();
        for shape in [1.5, 3.0] {
            for positions in [5, 8] {
                let fleet = fleets::Fleet {
                    shape,
                    spread,
                    positions,
                };
                let row = fleets::row(fleet, prior, replicates, seed);
                println!("| {spread} | {shape:.1} | {positions} | {row}");
                mean.add(&row, 0.25);
            }
        }
        println!("| {spread} | all | all | {mean}");
    }
}
