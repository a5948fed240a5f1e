//! How often limits of the usage at the limit hold the truth, when slopes are known.
#![allow(dead_code)] // test and example each use their part

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::wear::{Barrier, ItemReadings, WearLines};

/// A fleet to simulate: clearances from 0.08 mm new to a limit of 0.30 mm, 5,000 h on average.
#[derive(Debug, Clone, Copy)]
pub struct Fleet {
    pub items: usize,
    pub least: usize,
    pub most: usize,
    /// Spread of the slopes over their mean.
    pub spread: f64,
    /// Scatter of a reading, mm.
    pub scatter: f64,
}

/// What came of it, as shares of the fleets.
#[derive(Debug, Clone, Copy, Default)]
pub struct Held {
    pub holds: f64,
    /// The truth below the lower limit: warned too late.
    pub below: f64,
    /// The upper limit is never reached.
    pub open: f64,
}

const NEW: f64 = 0.08;
const LIMIT: f64 = 0.30;
const SLOPE: f64 = (LIMIT - NEW) / 5_000.0;

fn normal(rng: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (2.0 * std::f64::consts::PI * v).cos()
}

/// Readings of one fleet, and the true slopes.
pub fn draw(fleet: Fleet, rng: &mut impl Rng) -> (Vec<ItemReadings>, Vec<f64>) {
    let mut slopes = Vec::new();
    let items = (0..fleet.items)
        .map(|n| {
            let slope = loop {
                let slope = SLOPE * (1.0 + fleet.spread * normal(rng));
                if slope > 0.1 * SLOPE {
                    break slope;
                }
            };
            slopes.push(slope);
            let count = rng.random_range(fleet.least..=fleet.most);
            let mut usages: Vec<f64> = (0..count)
                .map(|_| rng.random_range(300.0..3_000.0))
                .collect();
            usages.sort_by(f64::total_cmp);
            ItemReadings {
                item: format!("{n}"),
                readings: usages
                    .into_iter()
                    .map(|u| (u, NEW + slope * u + fleet.scatter * normal(rng)))
                    .collect(),
            }
        })
        .collect();
    (items, slopes)
}

/// 90 % limits for the first item of many fleets.
pub fn cell(fleet: Fleet, replicates: u64, seed: u64) -> Held {
    let barrier = Barrier {
        limit: LIMIT,
        rises: true,
    };
    let found: Vec<(bool, bool, bool)> = (0..replicates)
        .into_par_iter()
        .map(|n| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003) + n);
            let (items, slopes) = draw(fleet, &mut rng);
            let lines = WearLines::fit(&items).unwrap();
            let limits = lines.belief().unwrap().usage_limits(Some(0), barrier, 0.9);
            let truth = (LIMIT - NEW) / slopes[0];
            let below = limits.lower.is_none_or(|lower| truth < lower);
            let above = limits.upper.is_some_and(|upper| truth > upper);
            (!below && !above, below, limits.upper.is_none())
        })
        .collect();
    let share = |of: fn(&(bool, bool, bool)) -> bool| {
        found.iter().filter(|f| of(f)).count() as f64 / replicates as f64
    };
    Held {
        holds: share(|f| f.0),
        below: share(|f| f.1),
        open: share(|f| f.2),
    }
}
