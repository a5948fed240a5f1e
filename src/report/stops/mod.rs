//! The part of the report on the stops to come.
//!
//! What is renewed when: intervals, the plan of stops, kits, what to order by which day.
//! In: typed results of the rooms below. Out: words, figures and charts as data, set by the
//! template `stops.html`. Never: files, clock, analysis.

use minijinja::value::Serde;
use minijinja::{Value, context};
use serde::Serialize;

use super::pictures::Pictures;
use super::render::ReportError;

/// The part as the template sets it.
#[derive(Debug, Clone, Default, Serialize)]
pub struct StopsPart {
    /// What it comes to, a sentence each.
    pub findings: Vec<String>,
}

/// The part with its pictures drawn.
pub(super) fn set(part: &StopsPart, _pictures: &mut Pictures) -> Result<Value, ReportError> {
    Ok(context! { part => Value::from(Serde(part)) })
}
