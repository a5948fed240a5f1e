//! The report: one HTML page with everything inline, and its charts beside it.
//!
//! In: [`subject`]s, from which [`build`] chooses words and figures ([`model::Report`]).
//! Out: [`Rendered`], text only.
//! Never: files, clock, a decision of its own, printing. Templates and style lie in `reports/`.
//!
//! Whatever comes from a ledger is escaped by the template engine; only the charts' SVG (escaped
//! where it is drawn) and the style sheet are passed as they are.

mod build;
pub mod component;
pub mod dress;
mod engine;
mod figures;
pub mod first;
pub mod model;
pub mod money;
pub mod names;
mod pictures;
pub mod probability;
mod render;
mod say;
pub mod sheet;
pub mod since;
pub mod stops;
pub mod subject;
mod summary;
pub mod twin;
pub mod words;

pub use build::{build, build_telling};
pub use pictures::ChartFile;
pub use render::{Rendered, ReportError, render, render_dressed};
