//! The store: every query over its cases, lives against a second derivation, loading,
//! and what is refused.
//!
//! Cases lie in `tests/queries/` (its README tells the layout).

mod costs;
mod files;
mod loading;
mod naive;
mod plants;
mod queries;
mod questions;
mod rows;
