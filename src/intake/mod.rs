//! Intake: what comes from outside a ledger.
//!
//! In: files of other shapes. Out: checked lives and units; by a map or of a filled work
//! sheet, entries.
//! Never: a guess at what a cell means (a sketch of a map guesses, and says why); statistics;
//! printing.

mod cells;
pub mod events_csv;
pub mod import;
pub mod lives_csv;
pub mod rates_csv;
pub mod readings_csv;
pub mod work_sheet;

pub use cells::{CellFault, FileError};
