//! Views: results as tables, JSON and CSV.

pub mod findings;
