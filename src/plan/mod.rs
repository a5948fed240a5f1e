//! Plan: what is done at the next stops of each machine, when, with which parts.
//!
//! In: machines as they stand ([`MachineNow`]), the shelf, a period. Out: [`Plan`]: stops with
//! dates and their spread, what is renewed and why, what is measured, hours and money, kits
//! with order-by dates, days on which too many machines are down; and the same as a calendar
//! file. Never: clock, files, SQL, printing, the choice of intervals (see `policy`).
//!
//! Time is counted in days from the day the plan is made for; usage comes from it through a
//! machine's expected usage a week.

mod calendar;
mod crews;
mod kit;
mod machine;
mod rate;
mod stop;
mod stops;
#[cfg(test)]
mod tests;

pub use calendar::{Words, calendar};
pub use crews::Clash;
use crews::clashes;
pub use kit::{KitLine, OnShelf, Order, Shelf};
use kit::{draw, orders};
pub use machine::{Basis, MachineNow, Opening, Renewal, Since, SlotNow};
pub use rate::{Rate, Spread};
pub use stop::{MachinePlan, Overdue, Stop, Task, Why};
pub use stops::{plan_machine, stop_on};

use chrono::NaiveDate;

/// The plan of one plant.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The day from which ages and days count.
    pub as_of: NaiveDate,
    pub from: NaiveDate,
    pub to: NaiveDate,
    /// In the register's order.
    pub machines: Vec<MachinePlan>,
    /// A kit for each stop, in the order of [`Plan::stops`].
    pub kits: Vec<Vec<KitLine>>,
    pub orders: Vec<Order>,
    pub clashes: Vec<Clash>,
}

impl Plan {
    /// Plans every machine of a plant over a period, draws their parts from one shelf, and
    /// looks for days on which more machines are down than `crews` can open.
    pub fn make(
        machines: &[MachineNow],
        shelf: &Shelf,
        crews: Option<u32>,
        as_of: NaiveDate,
        (from, to): (NaiveDate, NaiveDate),
    ) -> Plan {
        let days = |day: NaiveDate| (day - as_of).num_days() as f64;
        let machines: Vec<MachinePlan> = machines
            .iter()
            .map(|machine| plan_machine(machine, as_of, days(to)))
            .collect();
        let mut plan = Plan {
            as_of,
            from,
            to,
            machines,
            kits: Vec::new(),
            orders: Vec::new(),
            clashes: Vec::new(),
        };
        // Stops before the period draw from the same shelf, and are then taken as done.
        let stops = plan.stops();
        let within: Vec<bool> = stops.iter().map(|stop| stop.date >= from).collect();
        let mut kits = draw(&stops, shelf);
        let mut keep = within.iter();
        kits.retain(|_| *keep.next().unwrap_or(&true));
        for machine in &mut plan.machines {
            machine.stops.retain(|stop| stop.date >= from);
        }
        plan.orders = orders(&plan.stops(), &kits, shelf, as_of);
        plan.clashes = crews.map_or_else(Vec::new, |crews| clashes(&plan.stops(), crews, from));
        plan.kits = kits;
        plan
    }

    /// What of it is about some machines: the shelf and the crews are still those of all.
    pub fn only(mut self, wanted: impl Fn(&str) -> bool) -> Plan {
        let kept: Vec<bool> = self.stops().iter().map(|s| wanted(&s.machine)).collect();
        let mut keep = kept.into_iter();
        self.kits.retain(|_| keep.next().unwrap_or(false));
        self.machines.retain(|machine| wanted(&machine.machine));
        self.orders.retain(|order| wanted(&order.machine));
        self.clashes
            .retain(|clash| clash.machines.iter().any(|machine| wanted(machine)));
        self
    }

    /// The stops of all machines by date; on one day in the register's order.
    pub fn stops(&self) -> Vec<&Stop> {
        let mut stops: Vec<&Stop> = self.machines.iter().flat_map(|m| &m.stops).collect();
        stops.sort_by_key(|stop| stop.date);
        stops
    }
}
