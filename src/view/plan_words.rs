//! The words of a plan: why something is done, where, and what a kit holds.
//!
//! In: stops and tasks. Out: text. Never: dates or sums of its own.

use chrono::NaiveDate;

use super::table::usage;
use crate::plan::{Basis, KitLine, Order, Task, Why};

/// Tasks told in one line: the same component, for the same kind of reason.
pub struct Line<'a> {
    pub component: &'a str,
    pub tasks: Vec<&'a Task>,
}

/// Gathers renewals that one line can tell, in the order given.
pub fn gathered<'a>(tasks: impl Iterator<Item = &'a Task>) -> Vec<Line<'a>> {
    let mut lines: Vec<Line<'a>> = Vec::new();
    for task in tasks {
        let alike = |line: &&mut Line<'_>| {
            line.component == task.component
                && line.tasks[0].renew.map(kind) == task.renew.map(kind)
                && line.tasks[0].interval == task.interval
        };
        match lines.iter_mut().find(alike) {
            Some(line) => line.tasks.push(task),
            None => lines.push(Line {
                component: &task.component,
                tasks: vec![task],
            }),
        }
    }
    lines
}

/// A fixed word for why a slot is taken; a contract.
pub fn kind(why: Why) -> &'static str {
    match why {
        Why::Condemned => "condemned",
        Why::Overdue { .. } => "overdue",
        Why::Due => "due",
        Why::Early => "early",
        Why::Exposed => "exposed",
        Why::Down => "machine down",
        Why::Disturbed => "always renewed",
    }
}

/// A fixed word for where an interval comes from; a contract.
pub fn basis(basis: Basis) -> String {
    match basis {
        Basis::Grouped { multiple: 1 } => "base interval".into(),
        Basis::Grouped { multiple } => format!("{multiple} base intervals"),
        Basis::Present => "present interval".into(),
        Basis::Ceiling => "ceiling".into(),
    }
}

impl Line<'_> {
    pub fn positions(&self) -> String {
        let positions: Vec<&str> = self.tasks.iter().map(|t| t.position.as_str()).collect();
        positions.join(" ")
    }

    /// Why, with the ages that speak for it.
    pub fn why(&self) -> String {
        let first = self.tasks[0];
        let unit = &first.unit;
        let ages = self.ages();
        let at = |words: &str| match &ages {
            Some(ages) => format!("{words} at {ages}"),
            None => words.to_owned(),
        };
        let interval = first
            .interval
            .map(|interval| format!("{} {unit}", usage(interval)))
            .unwrap_or_default();
        let kept = match first.basis {
            Some(Basis::Present) => ", the present interval",
            Some(Basis::Ceiling) => ", the ceiling",
            _ => "",
        };
        match first.renew {
            None => String::new(),
            Some(Why::Condemned) => "found worn or failed, and still in".into(),
            Some(Why::Overdue { .. }) => {
                format!("overdue{} of {interval}{kept}", at(""))
            }
            Some(Why::Due) => format!("due{} of {interval}{kept}", at("")),
            Some(Why::Early) => format!(
                "early{} of {interval}{kept}: the next stop comes too late",
                at("")
            ),
            Some(Why::Exposed) => at("along, as it lies open,"),
            Some(Why::Down) => at("along, as the machine is down,"),
            Some(Why::Disturbed) => "always, where it was disturbed".into(),
        }
    }

    /// "1,850 to 2,010 h".
    fn ages(&self) -> Option<String> {
        let unit = &self.tasks[0].unit;
        let ages = || self.tasks.iter().filter_map(|task| task.age);
        let (low, high) = (ages().fold(f64::INFINITY, f64::min), ages().fold(0.0, f64::max));
        if !low.is_finite() {
            return None;
        }
        let least = if self.tasks.iter().any(|task| task.at_least) {
            "at least "
        } else {
            ""
        };
        let (low, high) = (usage(low.round()), usage(high.round()));
        Some(if low == high {
            format!("{least}{low} {unit}")
        } else {
            format!("{least}{low} to {high} {unit}")
        })
    }
}

/// "PK-3042 9 (2 on the shelf)".
pub fn kit_line(line: &KitLine) -> String {
    let what = line.part.as_ref().unwrap_or(&line.component);
    let shelf = match line.from_stock {
        Some(taken) if taken == line.pieces => " (on the shelf)".into(),
        Some(0) => " (none on the shelf)".into(),
        Some(taken) => format!(" ({taken} on the shelf)"),
        None => String::new(),
    };
    format!("{} × {what}{shelf}", line.pieces)
}

/// When to order: "by 2026-03-02", "now: 5 days late".
pub fn order_when(order: &Order) -> String {
    match order.order_by {
        None => "no lead time stated".into(),
        Some(_) if order.late_days > 0 => format!(
            "now: {} late",
            crate::quantity::counted(u64::from(order.late_days), "day", "days")
        ),
        Some(day) => format!("by {day}"),
    }
}

/// The days between which a stop falls.
pub fn between(earliest: NaiveDate, latest: NaiveDate) -> String {
    if earliest == latest {
        String::new()
    } else {
        format!("between {earliest} and {latest}")
    }
}
