//! Import: rows of a spreadsheet or an export become entries, as a map says.
//!
//! In: a file (CSV or workbook), a map, a ledger to record in. Out: entries that can
//! stand, and a reason for every row that gives none. Never: a guess at what a cell
//! means, printing, the clock.
//!
//! [`sheet`] gives rows, [`map`] says what they mean, [`make`] makes the entries of one
//! row, [`plan`] weighs all rows against each other and the ledger, [`mend`] writes the
//! rejected ones so that they can be imported again, [`sketch`] writes a first map.

pub mod cell;
mod csv_rows;
pub mod dates;
pub mod encoding;
mod figures;
mod in_place;
pub mod make;
pub mod map;
pub mod mend;
pub mod plan;
pub mod reject;
pub mod sheet;
pub mod sketch;
mod times;
mod value;
mod weigh;
mod workbook;
