//! The part of the report on the stops to come.
//!
//! What is renewed when: intervals, the plan of stops, kits, what to order by which day.
//! In: typed results of the rooms below ([`StopsFacts`]). Out: words, figures and charts as
//! data ([`StopsPart`]), set by the template `stops.html`. Never: files, clock, analysis.

mod charts;
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
use crate::chart::{StopLanes, stop_lanes};

const WIDTH_PX: u32 = 720;
const LANES: &str = "One lane a machine; a mark is a stop, the line through it the days between \
    which it falls.";

/// Builds the part. The same facts give the same part.
pub fn stops_part(facts: &StopsFacts<'_>) -> StopsPart {
    let outlook = Outlook::of(facts.plans);
    let (orders, later) = orders::soon(facts);
    let (overdue, more_overdue) = overdue::rows(facts);
    let (stops, months) = table::stops(facts);
    StopsPart {
        findings: sentences(&outlook, facts.currency),
        overdue,
        more_overdue,
        intervals: intervals::rows(facts),
        bases: intervals::bases(facts),
        stops,
        months,
        orders,
        later_orders: later,
        pieces: orders::pieces(facts),
        crews: crews::words(facts),
        notes: words::notes(facts),
        lanes: charts::lanes(facts),
        outlook,
    }
}

/// The part with its pictures drawn.
///
/// Errors: [`ReportError::Picture`] where a plan cannot be drawn.
pub(super) fn set(part: &StopsPart, pictures: &mut Pictures) -> Result<Value, ReportError> {
    let mut lanes = Vec::new();
    for picture in &part.lanes {
        let name = pictures.names.name("stops");
        let picture = StopLanes {
            id: name.clone(),
            ..picture.clone()
        };
        let svg =
            stop_lanes(&picture, picture.size(WIDTH_PX)).map_err(|cause| ReportError::Picture {
                chart: "plan of stops",
                cause,
            })?;
        lanes.push(pictures.add(&name, svg, LANES));
    }
    Ok(context! { part => Value::from(Serde(part)), lanes => lanes })
}
