//! The part of the report on where the money goes.
//!
//! What the machines cost by the hour run, over time and by component, planned against
//! unplanned, what changed and what planned renewal saved.
//! In: typed results of the rooms below. Out: words, figures and charts as data, set by the
//! template `money.html`. Never: files, clock, analysis.

use minijinja::value::Serde;
use minijinja::{Value, context};
use serde::Serialize;

use super::pictures::Pictures;
use super::render::ReportError;

/// The part as the template sets it.
#[derive(Debug, Clone, Default, Serialize)]
pub struct MoneyPart {
    /// What it comes to, a sentence each.
    pub findings: Vec<String>,
}

/// The part with its pictures drawn.
pub(super) fn set(part: &MoneyPart, _pictures: &mut Pictures) -> Result<Value, ReportError> {
    Ok(context! { part => Value::from(Serde(part)) })
}
