//! What changed since an earlier report.
//!
//! In: the twins of two reports, and what was renewed between them. Out: [`Changes`]: sentences
//! and rows. Never: files, clock, the ledger itself.
//!
//! Answers are compared slot by slot, so that a place set apart meanwhile is held against what it
//! was weighed with. An earlier stop counts as done where all it was to renew was renewed since,
//! whatever for.

mod answers;
mod stops;
mod words;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::twin::{Overdue, Twin};
use super::words::day;

/// Days on which items were put in after the earlier report, in order; by machine, component
/// and position.
pub type Renewed = BTreeMap<[String; 3], Vec<NaiveDate>>;

/// What changed, in words.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Changes {
    /// The day of the earlier report: "24 August 2026".
    pub since: String,
    /// All in one sentence, for the first page.
    pub headline: String,
    /// The same at length, a sentence each.
    pub sentences: Vec<String>,
    /// Intervals, verdicts, and what is done today.
    pub answers: Vec<ChangeRow>,
    /// Stops not done, done in part, moved, new, fallen away.
    pub stops: Vec<ChangeRow>,
    /// How many more of those there are.
    pub more_stops: usize,
}

/// One change.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct ChangeRow {
    /// A component or a machine.
    pub what: String,
    /// Where: "H-02 P2"; may be empty.
    pub place: String,
    pub then: String,
    pub now: String,
    /// As far as it is known; may be empty.
    pub why: String,
}

/// What became of what was overdue.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Lateness {
    then: usize,
    /// Of those then: renewed since.
    renewed: usize,
    now: usize,
    /// Of those now: not overdue then.
    new: usize,
}

/// Compares two reports, the earlier one first.
pub fn changes(then: &Twin, now: &Twin, renewed: &Renewed) -> Changes {
    let answers = answers::compare(then, now);
    let stops = stops::compare(then, now, renewed);
    let late = lateness(then, now, renewed);
    let (sentences, headline) = words::sentences(then, now, &answers, &stops, late);
    let (rows, more_stops) = words::stop_rows(&stops, now.as_of);
    Changes {
        since: day(then.as_of),
        headline,
        sentences,
        answers: answers.rows,
        stops: rows,
        more_stops,
    }
}

/// That both reports are about the machine.
fn both_told(then: &Twin, now: &Twin, machine: &str) -> bool {
    let asked = |twin: &Twin| {
        let machines = &twin.asked.machines;
        machines.is_empty() || machines.iter().any(|m| m == machine)
    };
    asked(then) && asked(now)
}

fn lateness(then: &Twin, now: &Twin, renewed: &Renewed) -> Lateness {
    fn key(late: &Overdue) -> [&str; 3] {
        [&late.machine, &late.component, &late.position]
    }
    let told = |late: &&Overdue| both_told(then, now, &late.machine);
    let before: Vec<&Overdue> = then.overdue.iter().filter(told).collect();
    let after: Vec<&Overdue> = now.overdue.iter().filter(told).collect();
    let is_renewed = |late: &Overdue| renewed.contains_key(&key(late).map(str::to_owned));
    Lateness {
        then: before.len(),
        renewed: before.iter().filter(|late| is_renewed(late)).count(),
        now: after.len(),
        new: after
            .iter()
            .filter(|late| is_renewed(late) || !before.iter().any(|b| key(b) == key(late)))
            .count(),
    }
}
