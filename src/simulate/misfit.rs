//! Why nothing could be simulated, as data.
//!
//! In: facts from the check of a truth. Out: [`SimulateError`], [`Misfit`].
//! Never: files, clock, printing.

use thiserror::Error;

use crate::quantity::trouble::{Place, Trouble};

/// Why nothing could be simulated.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SimulateError {
    /// The truth is not TOML, or not of the form wanted.
    #[error("line {line}: {reason}")]
    Syntax {
        line: usize,
        excerpt: String,
        reason: String,
    },
    /// The truth was read, but says things that cannot be.
    #[error("the truth does not fit the register in {} place(s)", .0.len())]
    Misfits(Vec<Misfit>),
    /// Fewer machines wanted than the register has.
    #[error("{wanted} machines wanted, but the register has {own}")]
    TooFewMachines { wanted: usize, own: usize },
}

/// One thing in a truth that cannot be. `at` names the table it stands in.
#[derive(Debug, Clone, PartialEq)]
pub enum Misfit {
    /// A name the register does not know.
    Unknown {
        at: String,
        kind: &'static str,
        name: String,
        near: Option<String>,
    },
    /// The register has it, the truth does not say how it behaves.
    Untold { kind: &'static str, name: String },
    /// Stated twice.
    Twice { at: String, name: String },
    /// A number outside its domain.
    OutOfDomain {
        at: String,
        key: &'static str,
        value: f64,
        domain: &'static str,
    },
    /// A list that needs at least one member.
    Empty { at: String, key: &'static str },
    /// The machine has no such slot.
    NoSlot {
        at: String,
        machine: String,
        component: String,
        position: String,
    },
    /// The component ages by another usage than the one meter simulated.
    OtherUsage {
        component: String,
        usage: String,
        meter: String,
    },
    /// Days in the wrong order.
    Order {
        at: String,
        from: String,
        to: String,
    },
}

impl Misfit {
    /// The same for showing; `file` is the truth's.
    pub fn trouble(&self, file: &str) -> Trouble {
        let trouble = match self {
            Misfit::Unknown {
                at,
                kind,
                name,
                near,
            } => {
                let found = Trouble::error(
                    "truth-unknown-name",
                    format!("{at}: no {kind} {name} in the register"),
                );
                match near {
                    Some(near) => found.cured_by(format!("did you mean {near}?")),
                    None => found.cured_by(format!("name a {kind} that plant.toml has")),
                }
            }
            Misfit::Untold { kind, name } => Trouble::error(
                "truth-untold",
                format!("nothing said of {kind} {name}, which the register has"),
            )
            .cured_by(format!("add a [[{kind}]] table for {name}")),
            Misfit::Twice { at, name } => {
                Trouble::error("truth-twice", format!("{at}: {name} is stated twice"))
                    .cured_by("keep one of the two")
            }
            Misfit::OutOfDomain {
                at,
                key,
                value,
                domain,
            } => Trouble::error(
                "truth-out-of-domain",
                format!("{at}: {key} = {value} cannot be"),
            )
            .cured_by(format!("{key} has to be {domain}")),
            Misfit::Empty { at, key } => {
                Trouble::error("truth-empty", format!("{at}: {key} is empty"))
                    .cured_by("state one at least")
            }
            Misfit::NoSlot {
                at,
                machine,
                component,
                position,
            } => Trouble::error(
                "truth-no-slot",
                format!("{at}: {machine} has no {component} at {position}"),
            )
            .cured_by("see the machine's layout in plant.toml for its positions"),
            Misfit::OtherUsage {
                component,
                usage,
                meter,
            } => Trouble::error(
                "truth-other-usage",
                format!("component {component} ages by {usage}; only {meter} is simulated"),
            )
            .cured_by("simulate plants whose components share one usage"),
            Misfit::Order { at, from, to } => {
                Trouble::error("truth-order", format!("{at}: {from} is not before {to}"))
                    .cured_by("put the days in order")
            }
        };
        trouble.in_file(file)
    }
}

impl SimulateError {
    /// All that is wrong, for showing; `file` is the truth's.
    pub fn troubles(&self, file: &str) -> Vec<Trouble> {
        match self {
            SimulateError::Syntax {
                line,
                excerpt,
                reason,
            } => vec![
                Trouble::error("truth-syntax", reason.clone())
                    .placed(Place {
                        file: file.to_owned(),
                        line: Some(*line),
                        excerpt: Some(excerpt.clone()),
                        span: None,
                    })
                    .cured_by("sample-ledger/truth.toml shows every table with its keys"),
            ],
            SimulateError::TooFewMachines { .. } => vec![
                Trouble::error("too-few-machines", self.to_string())
                    .cured_by("state at least as many machines as the register has"),
            ],
            SimulateError::Misfits(all) => all.iter().map(|misfit| misfit.trouble(file)).collect(),
        }
    }
}
