//! Intake: what comes from outside a ledger.
//!
//! In: files of other shapes. Out: checked lives and units.
//! Never: a guess at what a cell means; statistics; printing.

mod cells;
pub mod events_csv;
pub mod lives_csv;

pub use cells::{CellFault, FileError};
