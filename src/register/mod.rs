//! The register: what the plant has, with its limits, parts and rates (`plant.toml`).
//!
//! In: the text of a register. Out: a checked [`Register`], or every fault found in it
//! with its line. Never: clock, SQL, printing.

mod build;
mod costs;
mod fault;
mod looks;
mod meaning;
mod parts;
mod plant;
mod types;

pub use costs::RegisterCosts;
pub use fault::{Fault, FaultKind, RegisterError};
pub use meaning::{CURRENCIES_DIFFER, Clash, Meaning, clash_troubles, clashes};
pub use types::{
    Access, AssumedShape, Ceiling, Component, Layout, LayoutSlots, Looks, Machine, Measurement,
    Part, Plant, Register, ShapePrior, Slot, UsageKind, cylinder,
};

use std::path::Path;

use crate::quantity::text::utf8;
use crate::quantity::trouble::shown;

/// The register's file name in a ledger folder.
pub const FILE_NAME: &str = "plant.toml";

impl Register {
    /// Reads and checks a register file.
    ///
    /// Errors: the file cannot be read, or has faults: all of them are told.
    pub fn load(path: &Path) -> Result<Register, RegisterError> {
        let (register, faults) = Register::load_lenient(path)?;
        if faults.is_empty() {
            return Ok(register);
        }
        Err(RegisterError::Faults {
            file: shown(path),
            faults,
        })
    }

    /// Reads a register file for looking over a ledger: keeps what can be read, and
    /// lists the faults beside it. Not for computing with while there are faults.
    pub fn load_lenient(path: &Path) -> Result<(Register, Vec<Fault>), RegisterError> {
        let bytes = std::fs::read(path).map_err(|error| RegisterError::Unreadable {
            file: shown(path),
            missing: error.kind() == std::io::ErrorKind::NotFound,
            reason: error.to_string(),
        })?;
        match utf8(&bytes) {
            Ok(text) => Ok(build::build(text)),
            Err(line) => Err(RegisterError::NotUtf8 {
                file: shown(path),
                line,
            }),
        }
    }

    /// Checks the text of a register; every fault is listed, in the order of the text.
    pub fn parse(text: &str) -> Result<Register, Vec<Fault>> {
        let (register, faults) = build::build(text);
        if faults.is_empty() {
            Ok(register)
        } else {
            Err(faults)
        }
    }
}
