//! The report: one HTML page with everything inline, and its charts beside it.
//!
//! In: a [`model::Report`], words and figures chosen by a builder. Out: [`Rendered`], text only.
//! Never: files, clock, analysis, printing. Templates and style lie in `reports/`.
//!
//! Whatever comes from a ledger is escaped by the template engine; only the charts' SVG (escaped
//! where it is drawn) and the style sheet are passed as they are.

pub mod model;
mod render;
pub mod words;

pub use render::{ChartFile, Rendered, ReportError, render};
