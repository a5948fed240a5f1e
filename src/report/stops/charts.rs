//! The plans as pictures: a lane a machine.
//!
//! In: plans. Out: [`StopLanes`] with an empty id. Never: drawing.

use chrono::{Days, NaiveDate};

use super::facts::StopsFacts;
use crate::chart::{StopLane, StopLanes, StopMark};
use crate::plan::Stop;
use crate::report::words::{count, day};

/// Lanes in one picture; more fall into several pictures.
const LANES: usize = 36;
/// Days before the first one, so that a mark on it does not lie on the lane's name.
const MARGIN: Days = Days::new(9);

/// The pictures of all machines with a stop; of several plants one after the other.
pub(super) fn lanes(facts: &StopsFacts<'_>) -> Vec<StopLanes> {
    let most = facts
        .plans
        .iter()
        .flat_map(|p| p.plan.stops())
        .map(|stop| stop.renewals().count())
        .max()
        .unwrap_or(0);
    let several = facts.plans.len() > 1;
    let mut pictures = Vec::new();
    for plan in facts.plans {
        let of = plan.plan;
        let machines = of.machines.iter().filter(|m| !m.stops.is_empty());
        let lanes: Vec<StopLane> = machines
            .map(|machine| StopLane {
                name: machine.machine.clone(),
                stops: machine
                    .stops
                    .iter()
                    .map(|stop| mark(stop, of.to, most))
                    .collect(),
            })
            .collect();
        let needed = lanes.len().div_ceil(LANES).max(1);
        for part in lanes.chunks(lanes.len().div_ceil(needed).max(1)) {
            let plant = if several { plan.plant } else { "" };
            pictures.push(StopLanes {
                id: String::new(),
                title: format!(
                    "Stops from {} to {}{}{plant}",
                    day(of.from),
                    day(of.to),
                    if several { ", " } else { "" }
                ),
                from: of.from.checked_sub_days(MARGIN).unwrap_or(of.from),
                to: of.to,
                lanes: part.to_vec(),
                today: of.as_of,
            });
        }
    }
    pictures
}

fn mark(stop: &Stop, last: NaiveDate, most: usize) -> StopMark {
    let renewals = stop.renewals().count();
    StopMark {
        day: stop.date,
        earliest: stop.earliest,
        // The calendar ends there; the table tells the day itself.
        latest: stop.latest.min(last).max(stop.date),
        label: match renewals {
            0 => "look".to_owned(),
            n => count(n, "renewal", "renewals"),
        },
        weight: renewals as f64 / most.max(1) as f64,
        overdue: stop.is_overdue(),
    }
}
