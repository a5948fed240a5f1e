//! The part of the report on the stops to come.
//!
//! What is renewed when: intervals, the plan of stops, kits, what to order by which day.
//! In: typed results of the rooms below ([`StopsFacts`]). Out: words, figures and charts as
//! data ([`StopsPart`]), set by the template `stops.html`. Never: files, clock, analysis.

mod crews;
mod facts;
mod intervals;
mod orders;
mod outlook;
mod overdue;
mod part;
mod places;
mod table;
mod words;

use minijinja::value::Serde;
use minijinja::{Value, context};

pub use self::facts::{PlantPlan, StopsFacts};
pub use self::outlook::{NextStops, Outlook};
pub use self::part::{
    IntervalRow, MonthRow, Months, OrderRow, OverdueRow, PieceRow, RenewLine, StopRow, StopsPart,
};
pub use self::places::{machines, positions};
pub use self::words::sentences;
use super::pictures::Pictures;
use super::render::ReportError;

/// Builds the part. The same facts give the same part.
pub fn stops_part(facts: &StopsFacts<'_>) -> StopsPart {
    let outlook = Outlook::of(facts.plans);
    let (orders, later) = orders::soon(facts);
    let (stops, months) = table::stops(facts);
    StopsPart {
        findings: sentences(&outlook, facts.currency),
        overdue: overdue::rows(facts),
        intervals: intervals::rows(facts),
        bases: intervals::bases(facts),
        stops,
        months,
        orders,
        later_orders: later,
        pieces: orders::pieces(facts),
        crews: crews::words(facts),
        notes: words::notes(facts),
        outlook,
    }
}

/// The part with its pictures drawn.
pub(super) fn set(part: &StopsPart, _pictures: &mut Pictures) -> Result<Value, ReportError> {
    let lanes: Vec<Value> = Vec::new();
    Ok(context! { part => Value::from(Serde(part)), lanes => lanes })
}
