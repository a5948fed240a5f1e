//! How often 90 % limits hold the truth, at length: posterior, likelihood ratio and Wald.
//!
//! `cargo run --release --example coverage_study -- [REPLICATES]` (default 10,000 a cell).

#[path = "../tests/common/coverage.rs"]
mod coverage;

use coverage::{CONFIDENCE, KINDS, Scheme, TARGETS};

fn main() {
    let replicates = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(10_000);
    let cells = [
        (2.0, Scheme::Random { suspended: 0.3 }),
        (2.0, Scheme::Random { suspended: 0.6 }),
        (2.0, Scheme::Inspected { every: 0.3 }),
        (2.0, Scheme::Inspected { every: 0.6 }),
        (1.0, Scheme::Staggered { suspended: 0.5 }),
        (2.5, Scheme::Staggered { suspended: 0.5 }),
    ];
    println!(
        "| shape | lives | failures | left out | quantity | {} | nearest |",
        KINDS.join(" | ")
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    let (mut first, mut all) = (0, 0);
    for (n, (shape, scheme)) in cells.into_iter().enumerate() {
        println!("| **{}** |", scheme.words());
        for lives in [5, 10, 20] {
            let cell = coverage::cell(
                shape,
                scheme,
                lives,
                replicates,
                100 * n as u64 + lives as u64,
            );
            for (t, (name, _)) in TARGETS.iter().enumerate() {
                let shares = cell.holds[t].map(|share| format!("{:.1}", 100.0 * share));
                let nearest = cell.nearest(t);
                first += usize::from(nearest == 0);
                all += 1;
                println!(
                    "| {shape} | {lives} | {:.1} | {:.1} % | {name} | {} | {} |",
                    cell.failures,
                    100.0 * (1.0 - cell.used as f64 / cell.drawn as f64),
                    shares.join(" | "),
                    KINDS[nearest],
                );
            }
        }
    }
    println!(
        "\nPosterior nearest to {:.0} % in {first} of {all}.",
        100.0 * CONFIDENCE
    );
}
