//! What the plans of all plants come to: for sentences on any page.
//!
//! In: plans. Out: [`Outlook`]. Never: words (see `words`).

use chrono::NaiveDate;
use serde::Serialize;

use super::facts::PlantPlan;
use crate::plan::Stop;

/// The plans of all plants, summed up.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Outlook {
    /// First and last day of the plans.
    pub from: NaiveDate,
    pub to: NaiveDate,
    /// Items past their interval, or condemned and still in.
    pub overdue: usize,
    /// Of them: past a ceiling.
    pub past_ceiling: usize,
    /// Of them: found worn or failed.
    pub condemned: usize,
    /// Machines with something overdue, and how much; in the order of the registers.
    pub overdue_on: Vec<(String, usize)>,
    /// Stops in the period, with their production hours, labour and money.
    pub stops: usize,
    pub hours: f64,
    pub labour_h: f64,
    pub cost: f64,
    /// The first stops, all on one day; none where none is planned.
    pub next: Option<NextStops>,
    /// The first ones after those, where something is overdue now.
    pub then: Option<NextStops>,
    /// Part numbers that should have been ordered already.
    pub late_parts: Vec<String>,
    /// The next day by which something is to be ordered, today or later.
    pub next_order: Option<NaiveDate>,
}

/// Stops on one day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextStops {
    pub date: NaiveDate,
    /// Between which days the first of them falls.
    pub earliest: NaiveDate,
    pub latest: NaiveDate,
    pub machines: Vec<String>,
    /// That one of them is for something overdue.
    pub overdue: bool,
    /// Items to be renewed.
    pub renewals: usize,
    pub hours: f64,
}

impl Outlook {
    pub fn of(plans: &[PlantPlan<'_>]) -> Outlook {
        let mut stops: Vec<&Stop> = plans.iter().flat_map(|p| p.plan.stops()).collect();
        stops.sort_by_key(|stop| stop.date);
        let machines = || plans.iter().flat_map(|p| &p.plan.machines);
        let overdue = || machines().flat_map(|m| &m.overdue);
        let orders = || plans.iter().flat_map(|p| &p.plan.orders);
        let mut late_parts: Vec<String> = Vec::new();
        for order in orders().filter(|order| order.late_days > 0) {
            let part = order.part.as_ref().unwrap_or(&order.name);
            if !late_parts.contains(part) {
                late_parts.push(part.clone());
            }
        }
        let next = next(&stops);
        let then = next.as_ref().filter(|n| n.overdue).and_then(|first| {
            let later: Vec<&Stop> = stops
                .iter()
                .copied()
                .filter(|stop| stop.date > first.date)
                .collect();
            self::next(&later)
        });
        Outlook {
            from: plans.iter().map(|p| p.plan.from).min().unwrap_or_default(),
            to: plans.iter().map(|p| p.plan.to).max().unwrap_or_default(),
            overdue: overdue().count(),
            past_ceiling: overdue().filter(|o| o.past_ceiling).count(),
            condemned: overdue().filter(|o| o.condemned.is_some()).count(),
            overdue_on: machines()
                .filter(|m| !m.overdue.is_empty())
                .map(|m| (m.machine.clone(), m.overdue.len()))
                .collect(),
            hours: stops.iter().map(|stop| stop.hours).sum(),
            labour_h: stops.iter().map(|stop| stop.labour_h).sum(),
            cost: stops.iter().map(|stop| stop.cost).sum(),
            stops: stops.len(),
            next,
            then,
            next_order: orders()
                .filter(|order| order.late_days == 0)
                .filter_map(|order| order.order_by)
                .min(),
            late_parts,
        }
    }
}

/// The first day's stops among stops by date.
fn next(stops: &[&Stop]) -> Option<NextStops> {
    let first = stops.first()?;
    let on_it = || stops.iter().take_while(|stop| stop.date == first.date);
    Some(NextStops {
        date: first.date,
        earliest: first.earliest,
        latest: first.latest,
        machines: on_it().map(|stop| stop.machine.clone()).collect(),
        overdue: on_it().any(|stop| stop.is_overdue()),
        renewals: on_it().map(|stop| stop.renewals().count()).sum(),
        hours: on_it().map(|stop| stop.hours).sum(),
    })
}
