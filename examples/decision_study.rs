//! What the decision rule costs beside trusting the estimate, at length.
//!
//! `cargo run --release --example decision_study -- [REPLICATES]` (default 4,000 a row).

#[path = "../tests/common/study.rs"]
mod study;

fn main() {
    let replicates = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(4_000);
    for cut in [study::Cut::AtRandom, study::Cut::AtFixedAge] {
        println!(
            "\n{cut:?}\n\n| shape | lives | Cf/Cp | estimate | rule | verdict | run to failure |"
        );
        println!("| --- | --- | --- | --- | --- | --- | --- |");
        for ratio in [3.0, 10.0, 30.0] {
            for shape in [1.0, 1.5, 2.5, 4.0] {
                for lives in [5, 10] {
                    println!(
                        "{}",
                        study::decision_row(shape, lives, ratio, cut, replicates, 77)
                    );
                }
            }
        }
    }
}
