//! A seeded plant with a known truth: what fits and verdicts are held against.
//!
//! In: a `Register`, a [`Truth`] (`truth.toml`), a seed. Out: [`SimEntry`]s in the order
//! they were logged, and, through the book's own append path, a ledger.
//! Never: clock, the global random source, printing. Only `write` touches files.
//!
//! Lives are drawn from Weibull distributions in running hours. What cuts them short
//! (planned renewal, an opening for another part, the end of the record) is settled
//! without looking at them, so the ledger is an honest sample of the stated truth.
//! Parts, crew and machines have random streams of their own: the same seed gives the
//! same bytes, and a machine's story does not change when another machine is added.

mod agenda;
mod body;
mod calendar;
mod check;
mod draw;
mod item;
mod machine;
mod misfit;
mod plan;
mod shelf;
mod size;
mod telling;
#[cfg(test)]
mod tests;
mod truth;
mod work;
mod write;

pub use body::{Book, SimEntry};
pub use draw::{draw_weibull, draw_weibull_beyond, uniform};
pub use misfit::{Misfit, SimulateError};
pub use size::{MoreMachine, Size, register_text};
pub use truth::Truth;
pub use write::{Place, WriteError, write};

use rayon::prelude::*;

use crate::register::Register;
use machine::Story;
use plan::{Machine, Plant};

/// What a simulation brings forth.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    /// In the order they were logged.
    pub entries: Vec<SimEntry>,
    /// Machines that the register does not have.
    pub more: Vec<MoreMachine>,
}

/// Reads a truth from TOML text.
///
/// Errors: [`SimulateError::Syntax`] with the line.
pub fn parse_truth(text: &str) -> Result<Truth, SimulateError> {
    check::parse(text)
}

/// Simulates the plant of a register and tells its entries in the order they were logged.
///
/// The same register, truth, seed and size give the same entries.
/// Errors: [`SimulateError::Misfits`] where the truth does not fit the register, all of
/// them; [`SimulateError::TooFewMachines`] where fewer are wanted than the register has.
pub fn simulate(
    register: &Register,
    truth: &Truth,
    seed: u64,
    size: Size,
) -> Result<Simulated, SimulateError> {
    let truth = size::with_years(truth, size.years);
    let mut plant = check::fit(register, &truth)?;
    let tags: Vec<String> = plant.machines.iter().map(|m| m.tag.clone()).collect();
    let own = tags.len();
    let wanted = size.machines.unwrap_or(own);
    if wanted < own {
        return Err(SimulateError::TooFewMachines { wanted, own });
    }
    let mut more: Vec<MoreMachine> = Vec::new();
    let mut stories = run_up_to(&mut plant, wanted, &tags, &mut more, seed, Vec::new());
    if let Some(entries) = size.entries {
        loop {
            let told: usize = stories.iter().map(|story| story.drafts.len()).sum();
            if told >= entries || size.machines.is_some() || told == 0 {
                break;
            }
            let enough = entries * stories.len() / told + 1;
            let machines = enough.max(stories.len() + 1);
            stories = run_up_to(&mut plant, machines, &tags, &mut more, seed, stories);
        }
    }
    let mut told = telling::tell(&plant, stories, seed);
    told.truncate(size.entries.unwrap_or(usize::MAX));
    Ok(Simulated {
        entries: told,
        more,
    })
}

/// Adds machines until there are `machines`, and runs those not run yet.
fn run_up_to(
    plant: &mut Plant,
    machines: usize,
    tags: &[String],
    more: &mut Vec<MoreMachine>,
    seed: u64,
    mut stories: Vec<Story>,
) -> Vec<Story> {
    let own = tags.len();
    for number in plant.machines.len()..machines {
        let machine = size::more(tags, number - own);
        let like = &plant.machines[number % own];
        plant.machines.push(Machine {
            tag: machine.tag.clone(),
            ..like.clone()
        });
        more.push(machine);
    }
    let plant = &*plant;
    let new: Vec<Story> = (stories.len()..machines)
        .into_par_iter()
        .map(|number| machine::run(plant, number, seed))
        .collect();
    stories.extend(new);
    stories
}
