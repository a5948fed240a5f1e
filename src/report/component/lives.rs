//! What the data of a component are: counts, and its lives by place.
//!
//! In: a [`Subject`]'s rows. Out: [`DataCounts`], [`LifeTable`]. Never: fits.

use std::collections::BTreeMap;

use super::model::{LifeTable, LifeTableRow};
use crate::chart::number;
use crate::life::{Flag, LifeRow, Outcome};
use crate::report::model::{DataCounts, Excluded};
use crate::report::subject::Subject;
use crate::report::words::day;

/// Machines or positions with a row of their own; the others share one.
const PLACES: usize = 12;

/// Counts of a component's lives.
pub(super) fn counts(subject: &Subject) -> DataCounts {
    let rows = &subject.rows;
    let with = |outcome: Outcome| rows.iter().filter(|r| r.outcome == outcome).count();
    DataCounts {
        lives: rows.len(),
        failures: with(Outcome::Failure),
        intervals: with(Outcome::Interval),
        suspensions: with(Outcome::Suspension),
        running: rows.iter().filter(|r| r.end_time.is_none()).count(),
        excluded: subject
            .excluded
            .iter()
            .map(|(flag, count)| Excluded {
                count: *count,
                why: reason(*flag).to_owned(),
            })
            .collect(),
        span: subject
            .since
            .map(|first| format!("since {}", day(first)))
            .unwrap_or_default(),
    }
}

fn reason(flag: Flag) -> &'static str {
    match flag {
        Flag::UnknownAge => "usage at the start unknown",
        Flag::NoLength => "put in and taken out at the same usage",
        Flag::NoUsage => "no usable meter readings",
        Flag::Extrapolated => "beyond the meter readings",
        Flag::MeterReset => "across a meter exchange",
        Flag::Refitted => "refitted",
    }
}

/// What is counted of one place.
#[derive(Default)]
struct Tally {
    lives: usize,
    known: usize,
    window: usize,
    planned: usize,
    opportunity: usize,
    other: usize,
    running: usize,
    /// Ages at failure; a failure in a window at the age it was found.
    failed_at: Vec<f64>,
    longest_sound: Option<f64>,
    oldest: Option<f64>,
}

impl Tally {
    fn add(&mut self, row: &LifeRow) {
        self.lives += 1;
        let running = row.end_time.is_none() && row.outcome == Outcome::Suspension;
        match (row.outcome, row.reason.as_deref()) {
            (Outcome::Failure, _) => self.known += 1,
            (Outcome::Interval, _) => self.window += 1,
            _ if running => self.running += 1,
            (_, Some("planned")) => self.planned += 1,
            (_, Some("opportunity")) => self.opportunity += 1,
            _ => self.other += 1,
        }
        // What stays out of the fits has no age to tell of.
        if row.life(None).is_err() {
            return;
        }
        let most = |known: &mut Option<f64>, age: f64| {
            *known = Some(known.map_or(age, |longest| longest.max(age)));
        };
        match (row.outcome, row.lo, row.hi) {
            (Outcome::Suspension, Some(lo), _) => {
                most(&mut self.longest_sound, lo);
                if running {
                    most(&mut self.oldest, lo);
                }
            }
            (_, _, Some(hi)) => self.failed_at.push(hi),
            _ => {}
        }
    }

    fn join(&mut self, other: Tally) {
        self.lives += other.lives;
        self.known += other.known;
        self.window += other.window;
        self.planned += other.planned;
        self.opportunity += other.opportunity;
        self.other += other.other;
        self.running += other.running;
        self.failed_at.extend(other.failed_at);
        let most = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
        self.longest_sound = most(self.longest_sound, other.longest_sound);
        self.oldest = most(self.oldest, other.oldest);
    }

    fn failures(&self) -> usize {
        self.known + self.window
    }

    /// Every column there can be: heading and cell.
    fn columns(&self, unit: &str) -> Vec<(String, String)> {
        let count = |n: usize| match n {
            0 => String::new(),
            n => number(n as f64, 0),
        };
        let age = |age: Option<f64>| age.map(|age| number(age, 0)).unwrap_or_default();
        let mut ages = self.failed_at.clone();
        ages.sort_by(f64::total_cmp);
        let middle = match ages.len() {
            0 => None,
            n if n % 2 == 1 => Some(ages[n / 2]),
            n => Some(0.5 * (ages[n / 2 - 1] + ages[n / 2])),
        };
        [
            ("Lives".to_owned(), count(self.lives)),
            ("Failed".to_owned(), count(self.known)),
            ("Failed in a window".to_owned(), count(self.window)),
            ("Planned".to_owned(), count(self.planned)),
            ("Taken along".to_owned(), count(self.opportunity)),
            ("Otherwise out".to_owned(), count(self.other)),
            ("Running".to_owned(), count(self.running)),
            (
                format!("Shortest to failure ({unit})"),
                age(ages.first().copied()),
            ),
            (format!("Median of these ({unit})"), age(middle)),
            (
                format!("Longest to failure ({unit})"),
                age(ages.last().copied()),
            ),
            (format!("Longest without ({unit})"), age(self.longest_sound)),
            (format!("Oldest in place ({unit})"), age(self.oldest)),
        ]
        .into()
    }
}

/// The lives of a component by machine, or by position where there is one machine.
pub(super) fn table(subject: &Subject) -> LifeTable {
    let mut order: Vec<&str> = Vec::new();
    let machines = several(subject.slots.iter().map(|slot| slot.machine.as_str()));
    let place = |machine: &'static str, position: &'static str| match machines {
        true => machine,
        false => position,
    };
    for slot in &subject.slots {
        let name = match machines {
            true => &slot.machine,
            false => &slot.position,
        };
        if order.last() != Some(&name.as_str()) && !order.contains(&name.as_str()) {
            order.push(name);
        }
    }
    let mut tallies: BTreeMap<&str, Tally> = BTreeMap::new();
    for row in &subject.rows {
        let name = match machines {
            true => row.machine.as_str(),
            false => row.position.as_str(),
        };
        tallies.entry(name).or_default().add(row);
    }
    let mut rows: Vec<(String, Tally)> = order
        .into_iter()
        .filter_map(|name| Some((name.to_owned(), tallies.remove(name)?)))
        .collect();
    if rows.is_empty() {
        return LifeTable::default();
    }
    let mut note = Vec::new();
    if rows.len() > PLACES + 1 {
        // Stable: of as many failures those first in the order of the register.
        rows.sort_by_key(|(_, tally)| std::cmp::Reverse(tally.failures()));
        let rest = rows.split_off(PLACES);
        let name = format!(
            "{} other {}",
            number(rest.len() as f64, 0),
            place("machines", "positions")
        );
        let joined = rest.into_iter().fold(Tally::default(), |mut sum, (_, t)| {
            sum.join(t);
            sum
        });
        rows.push((name, joined));
        note.push(format!(
            "The {PLACES} {} with most failures have rows of their own.",
            place("machines", "positions")
        ));
    }
    let mut all = Tally::default();
    for row in &subject.rows {
        all.add(row);
    }
    if all.window > 0 {
        note.push(
            "A failure known to lie in a window counts at the age at which it was found."
                .to_owned(),
        );
    }
    let total = all.columns(&subject.unit);
    let kept: Vec<usize> = (0..total.len())
        .filter(|n| !total[*n].1.is_empty())
        .collect();
    let row = |place: String, columns: &[(String, String)], all: bool| LifeTableRow {
        place,
        cells: kept.iter().map(|n| columns[*n].1.clone()).collect(),
        all,
    };
    let one = rows.len() == 1;
    let mut out: Vec<LifeTableRow> = rows
        .into_iter()
        .map(|(place, tally)| row(place, &tally.columns(&subject.unit), false))
        .collect();
    if !one {
        out.push(row("All".to_owned(), &total, true));
    }
    LifeTable {
        place: place("Machine", "Position").to_owned(),
        heads: kept.iter().map(|n| total[*n].0.clone()).collect(),
        rows: out,
        note: note.join(" "),
    }
}

/// True where there are two different ones or more.
fn several<'a>(mut names: impl Iterator<Item = &'a str>) -> bool {
    names
        .next()
        .is_some_and(|first| names.any(|name| name != first))
}
