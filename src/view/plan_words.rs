//! The words of a plan: why something is done, where, and what a kit holds.
//!
//! In: stops and tasks. Out: text. Never: dates or sums of its own.

use chrono::NaiveDate;

use super::table::{figure, usage};
use crate::plan::{Basis, KitLine, Order, Stop, Task, Why};
use crate::quantity::{Currency, counted};

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

/// Why a slot is taken, in as few words as a work sheet has room for.
pub fn short_why(task: &Task) -> String {
    let interval = || {
        task.interval
            .map(|interval| format!(" at {} {}", usage(interval), task.unit))
            .unwrap_or_default()
    };
    match task.renew {
        None => String::new(),
        Some(Why::Condemned) => "found worn or failed".into(),
        Some(Why::Overdue { .. } | Why::Due) => format!("due{}", interval()),
        Some(Why::Early) => format!("early: due{}", interval()),
        Some(Why::Exposed) => "as it lies open".into(),
        Some(Why::Down) => "as the machine is down".into(),
        Some(Why::Disturbed) => "whenever opened".into(),
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
        let (low, high) = (
            ages().fold(f64::INFINITY, f64::min),
            ages().fold(0.0, f64::max),
        );
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

/// "9 × PK-3042, 3 × PS-52": what there are any pieces of.
pub fn kit_words<'a>(lines: impl Iterator<Item = (&'a KitLine, u32)>) -> String {
    let words = lines
        .filter(|(_, pieces)| *pieces > 0)
        .map(|(line, pieces)| {
            let what = line.part.as_ref().unwrap_or(&line.component);
            // Pieces and number belong on one line.
            format!("{pieces}\u{a0}×\u{a0}{what}")
        });
    words.collect::<Vec<_>>().join(", ")
}

/// What an overdue item is beyond its interval; empty where it is nothing more.
pub fn overdue_words(condemned: Option<&str>, past_ceiling: bool) -> String {
    match (condemned, past_ceiling) {
        (Some(found), _) => found.to_owned(),
        (None, true) => "past its ceiling: it may not run on".into(),
        (None, false) => String::new(),
    }
}

/// When to order: "by 2026-03-02", "now: 5 days late".
pub fn order_when(order: &Order) -> String {
    match order.order_by {
        None => "no lead time stated".into(),
        Some(_) if order.late_days > 0 => format!(
            "now: {} late",
            counted(u64::from(order.late_days), "day", "days")
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

/// A stop as an event: title and text.
pub fn stop_words(stop: &Stop, kit: &[KitLine], currency: Currency) -> (String, String) {
    let renewals = stop.renewals().count() as u64;
    let title = format!(
        "{}: {}",
        stop.machine,
        match renewals {
            0 => "look and measure".into(),
            _ => format!("renew {}", counted(renewals, "item", "items")),
        }
    );
    let mut lines = vec![format!(
        "{} h down, {} h of labour, {}",
        figure(stop.hours, 2),
        figure(stop.labour_h, 2),
        currency.show_rate(stop.cost, 0)
    )];
    let between = between(stop.earliest, stop.latest);
    if !between.is_empty() {
        lines.push(format!("Falls {between}."));
    }
    for line in gathered(stop.renewals()) {
        lines.push(format!(
            "{} {}: {}",
            line.component,
            line.positions(),
            line.why()
        ));
    }
    if !kit.is_empty() {
        let all = kit_words(kit.iter().map(|line| (line, line.pieces)));
        lines.push(format!("Kit: {all}"));
    }
    lines.push(CAUTION.into());
    (title, lines.join("\n"))
}

/// What stands under every stop of a calendar, where there is no room for more.
const CAUTION: &str = "Before opening: isolate and lock out every energy source, prove the \
    pressure gone, let hot parts cool; the maker's manual, permits and local codes stand above \
    this plan.";

/// An order as an event: title and text.
pub fn order_words(order: &Order) -> (String, String) {
    let what = order.part.as_ref().unwrap_or(&order.component);
    let late = match order.late_days {
        0 => "",
        _ => " (late)",
    };
    let from = order
        .supplier
        .as_ref()
        .map_or_else(String::new, |s| format!(" from {s}"));
    (
        format!("Order {} × {what}{late}", order.pieces),
        format!(
            "{}{from}, for the stop of {} on {}",
            order.name, order.machine, order.stop
        ),
    )
}
