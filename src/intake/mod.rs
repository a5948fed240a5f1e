//! Intake: what comes from outside a ledger.
//!
//! In: files of other shapes. Out: checked lives.
//! Never: a guess at what a cell means; statistics; printing.

pub mod lives_csv;
