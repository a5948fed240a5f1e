//! How often 90 % limits of the usage at the limit hold the truth, at length.
//!
//! `cargo run --release --example wear_study -- [REPLICATES]` (default 4,000 a cell).

#[path = "../tests/common/wear.rs"]
mod wear;

use wear::{Fleet, cell};

fn main() {
    let replicates = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(4_000);
    println!("| items | readings each | spread / scatter | holds | too early | upper limit open |");
    println!("| --- | --- | --- | --- | --- | --- |");
    let mut seed = 0;
    let mut inside = 0;
    let mut all = 0;
    for (items, least, most) in [
        (3, 1, 1),
        (3, 1, 4),
        (3, 4, 4),
        (5, 1, 1),
        (5, 1, 4),
        (8, 1, 1),
        (8, 1, 4),
        (8, 4, 4),
    ] {
        // Spread of the lines at 3,000 h (132 µm on average) over the scatter of a reading.
        for ratio in [0.0, 0.5, 1.0, 2.0, 5.0, 15.0] {
            seed += 1;
            let spread = if ratio > 0.0 { 0.2 } else { 0.0 };
            let scatter = if ratio > 0.0 { 0.0264 / ratio } else { 0.015 };
            let fleet = Fleet {
                items,
                least,
                most,
                spread,
                scatter,
            };
            let held = cell(fleet, replicates, seed);
            all += 1;
            inside += usize::from((0.87..=0.93).contains(&held.holds));
            println!(
                "| {items} | {least} to {most} | {ratio} | {:.1} | {:.1} | {:.1} |",
                100.0 * held.holds,
                100.0 * held.below,
                100.0 * held.open,
            );
        }
    }
    println!("\n{inside} of {all} between 87 and 93 %");
}
