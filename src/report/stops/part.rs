//! What the part on stops says, as data. Figures are strings wherever rounding or a unit matters.
//!
//! In: nothing. Out: plain structs that the template sets. Never: choosing what is said.

use serde::Serialize;

use super::outlook::Outlook;
use crate::chart::StopLanes;
use crate::report::model::Verdict;

/// The part as the template sets it.
#[derive(Debug, Clone, Default, Serialize)]
pub struct StopsPart {
    /// What it comes to, a sentence each.
    pub findings: Vec<String>,
    /// The same as figures.
    pub outlook: Outlook,
    /// What is past its interval, or condemned.
    pub overdue: Vec<OverdueRow>,
    /// Items beyond those told.
    pub more_overdue: usize,
    /// A row a component and place.
    pub intervals: Vec<IntervalRow>,
    /// The base interval of the machines, in words; empty where none has one.
    pub bases: String,
    /// The next stops by date.
    pub stops: Vec<StopRow>,
    /// The stops beyond those, counted; none where all are told.
    pub months: Option<Months>,
    /// What is to be ordered soon, what is late first.
    pub orders: Vec<OrderRow>,
    /// Orders beyond those.
    pub later_orders: usize,
    /// Pieces of the whole period by part.
    pub pieces: Vec<PieceRow>,
    /// Days with too few crews, a sentence each.
    pub crews: Vec<String>,
    /// What else is to be known, a sentence each.
    pub notes: Vec<String>,
    /// A lane a machine, in as many pictures as it takes.
    #[serde(skip)]
    pub lanes: Vec<StopLanes>,
}

/// Items of one component on one machine past their interval.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct OverdueRow {
    pub machine: String,
    pub component: String,
    pub positions: String,
    /// With unit; none where unknown.
    pub age: Option<String>,
    pub interval: Option<String>,
    /// What it is beyond its interval: "past its ceiling: it may not run on".
    pub also: String,
    /// That it may not run on.
    pub stop_now: bool,
}

/// A component at a place with its own answer.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct IntervalRow {
    pub component: String,
    pub place: String,
    pub verdict: Verdict,
    /// Recommended interval, with unit.
    pub interval: Option<String>,
    /// Between which usages the cost stays near the least.
    pub near: Option<String>,
    pub present: Option<String>,
    pub ceiling: Option<String>,
    /// What the plan makes of it, a line for each answer.
    pub planned: Vec<String>,
    pub lives: usize,
    pub failures: usize,
    /// Chance that the interval pays.
    pub chance: Option<String>,
}

/// One stop.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct StopRow {
    pub date: String,
    /// Between which days it falls; empty where something is overdue.
    pub between: String,
    pub machine: String,
    /// That it is for something overdue.
    pub overdue: bool,
    pub opens: Vec<String>,
    pub renew: Vec<RenewLine>,
    pub measure: Vec<String>,
    pub hours: String,
    pub labour: String,
    pub cost: String,
    /// Pieces of the kit, and those that are not at hand.
    pub kit: String,
    pub short: String,
}

/// What is renewed for one kind of reason.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct RenewLine {
    pub why: String,
    /// "Plunger packing set P1–P3; drive belts drive".
    pub what: String,
}

/// Stops counted by month and machine.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Months {
    /// "Jul 2026".
    pub months: Vec<String>,
    pub rows: Vec<MonthRow>,
    /// How many stops.
    pub stops: usize,
    /// By month, over all machines.
    pub sums: Vec<usize>,
}

/// One machine's stops by month.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct MonthRow {
    pub machine: String,
    pub counts: Vec<usize>,
}

/// Pieces of one part to be ordered together.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct OrderRow {
    /// "now, 37 days late", "by 9 July 2026", "no lead time stated".
    pub when: String,
    pub late: bool,
    /// Part number, or the component's name without one.
    pub part: String,
    /// The component's name, where there is a number.
    pub name: String,
    pub pieces: u32,
    /// For which stops: "3 for H-02 on 15 June 2026".
    pub stops: Vec<String>,
    pub supplier: Option<String>,
    pub lead: Option<String>,
    pub stock_unknown: bool,
}

/// Pieces of one part over the whole period.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PieceRow {
    pub part: String,
    pub name: String,
    pub needed: u32,
    /// None where the register does not state the stock.
    pub from_stock: Option<u32>,
    pub to_order: u32,
    pub supplier: Option<String>,
    pub lead: Option<String>,
}
