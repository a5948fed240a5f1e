//! What grouped stops save on the sample plant, simulated at length with its true lives.
//!
//! `cargo run --release --example group_study -- [REPLICATES]` (default 200 of a million hours).

#[path = "../tests/common/group_study.rs"]
mod group_study;

use group_study::{Policy, measure, planned, plant};

fn main() {
    let replicates = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(200);
    let (register, truth) = plant();
    println!("| machine | policy | said | simulated | standard error | failures open too |");
    println!("| --- | --- | --- | --- | --- | --- |");
    for machine in &register.machines {
        let (inputs, plan) = planned(&register, &truth, &machine.tag);
        for (name, policy, said) in [
            ("grouped", Policy::Grouped, Some(plan.cost)),
            ("young ones passed over", Policy::PassingOver, None),
            ("and taken along when down", Policy::TakingAlong, None),
            (
                "taken along, none passed over",
                Policy::TakingAlongOnly,
                None,
            ),
            ("each by itself", Policy::Own, Some(plan.own_intervals)),
            (
                "run to failure",
                Policy::RunToFailure,
                Some(plan.run_to_failure),
            ),
        ] {
            let run = |open| measure(&inputs, &plan, policy, replicates, 1e6, open);
            let (measured, open) = (run(false), run(true));
            println!(
                "| {} | {name} | {} | {:.3} | {:.3} | {:.3} |",
                machine.tag,
                said.map_or_else(|| "–".into(), |cost| format!("{:.3}", cost.total())),
                measured.mean,
                measured.standard_error,
                open.mean,
            );
        }
    }
}
