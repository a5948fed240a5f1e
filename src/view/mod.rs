//! Views: results as tables, JSON and CSV.
