//! A stop and what is done at it, as plain data.
//!
//! In: nothing. Out: [`Stop`], [`Task`], [`MachinePlan`]. Never: deciding what is taken.

use chrono::NaiveDate;

use super::machine::Basis;

/// Why an item is taken at a stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// Found worn or failed at a look, and still in.
    Condemned,
    /// Due before the plan's day: by so much usage.
    Overdue { by: f64 },
    /// At its interval, or past it by less than a base interval.
    Due,
    /// Before its interval, as the next stop would come too late.
    Early,
    /// Lies open anyway and is past the age from which that pays.
    Exposed,
    /// The machine is down anyway and it is past the age from which that pays.
    Down,
    /// Always renewed where it was disturbed.
    Disturbed,
}

/// What is done with one slot at a stop.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// Which of the machine's slots.
    pub slot: usize,
    pub component: String,
    pub name: String,
    pub position: String,
    /// `None`: only looked at and measured.
    pub renew: Option<Why>,
    /// A look was planned for it: its wear decides.
    pub look: bool,
    /// Its age then, and what it is held against.
    pub age: Option<f64>,
    /// That the age is a lower limit.
    pub at_least: bool,
    pub interval: Option<f64>,
    pub basis: Option<Basis>,
    pub unit: String,
    pub measures: Vec<String>,
    pub part: Option<String>,
    pub pieces: u32,
}

/// One stop of one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    pub machine: String,
    pub date: NaiveDate,
    /// Between which days it falls, as usage scatters; both the date itself where something is
    /// overdue.
    pub earliest: NaiveDate,
    pub latest: NaiveDate,
    /// Days after the plan's day.
    pub day: f64,
    /// Each kind of opening in words, with its cylinders.
    pub opened_names: Vec<String>,
    /// What is opened: accesses and cylinders, in the machine's order.
    pub opened_keys: Vec<(String, String)>,
    /// Renewals first in the order of the layout, then what is only looked at.
    pub tasks: Vec<Task>,
    /// Production hours lost, hours of labour, and money in all.
    pub hours: f64,
    pub labour_h: f64,
    pub cost: f64,
}

impl Stop {
    pub fn renewals(&self) -> impl Iterator<Item = &Task> {
        self.tasks.iter().filter(|task| task.renew.is_some())
    }

    pub fn is_overdue(&self) -> bool {
        self.tasks
            .iter()
            .any(|t| matches!(t.renew, Some(Why::Overdue { .. } | Why::Condemned)))
    }
}

/// An item past its interval on the day the plan is made for.
#[derive(Debug, Clone, PartialEq)]
pub struct Overdue {
    pub component: String,
    pub position: String,
    pub age: Option<f64>,
    pub interval: Option<f64>,
    pub unit: String,
    /// Past its ceiling: it may not run on.
    pub past_ceiling: bool,
    /// What was found, where it was condemned.
    pub condemned: Option<String>,
}

/// What is planned for one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct MachinePlan {
    pub machine: String,
    pub name: String,
    pub overdue: Vec<Overdue>,
    pub stops: Vec<Stop>,
    /// Base interval and its unit.
    pub base: Option<(f64, String)>,
    pub rate: Option<super::Rate>,
    /// Slots (component, position) that cannot be planned, as their age or the machine's
    /// usage is unknown.
    pub undated: Vec<(String, String)>,
}
