//! Views: results as tables, JSON and CSV.
//!
//! In: typed results of the rooms below. Out: text; its keys are a contract.
//! Never: computation, printing.

pub mod answer;
pub mod compare;
pub mod curves;
pub mod findings;
pub mod fit;
pub mod fit_notes;
pub mod interval;
pub mod lives;
pub mod recur;
pub mod stated;
pub mod table;
