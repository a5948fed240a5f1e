//! The stops of an earlier report held against what was renewed since, and against those planned
//! now.
//!
//! In: two twins, what was renewed. Out: [`StopChanges`]. Never: words.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::{Renewed, both_told};
use crate::report::twin::{Stop, Twin};

/// What became of the earlier stops.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct StopChanges {
    /// Earlier stops that should have been by now, and those done before their day.
    pub done: Vec<(Stop, NaiveDate)>,
    /// How many of its items were renewed, of how many.
    pub in_part: Vec<(Stop, usize, usize)>,
    pub missed: Vec<Stop>,
    /// Still ahead, and within the days told then.
    pub kept: usize,
    /// Still ahead, on another day.
    pub moved: Vec<(Stop, Stop)>,
    /// Still ahead then, and not planned any more.
    pub gone: Vec<Stop>,
    /// Within the days planned then, and not planned then.
    pub new: Vec<Stop>,
}

/// Days that a stop may wander before it is taken for another one.
const APART: i64 = 90;

pub(super) fn compare(then: &Twin, now: &Twin, renewed: &Renewed) -> StopChanges {
    let mut found = StopChanges::default();
    let mut machines: Vec<&str> = Vec::new();
    for stop in then.stops.iter().chain(&now.stops) {
        if !machines.contains(&stop.machine.as_str()) {
            machines.push(&stop.machine);
        }
    }
    let until = then.plan_to.unwrap_or(then.as_of);
    for machine in machines.into_iter().filter(|m| both_told(then, now, m)) {
        let own = |twin: &'_ Twin| -> Vec<Stop> {
            let stops = twin.stops.iter().filter(|stop| stop.machine == machine);
            stops.cloned().collect()
        };
        let ahead = ahead(own(then), now.as_of, renewed, &mut found);
        pair(ahead, own(now), until, &mut found);
    }
    for stops in [&mut found.missed, &mut found.gone, &mut found.new] {
        stops.sort_by_key(|stop| stop.date);
    }
    found.done.sort_by_key(|(stop, _)| stop.date);
    found.in_part.sort_by_key(|(stop, ..)| stop.date);
    found.moved.sort_by_key(|(stop, _)| stop.date);
    found
}

/// The earlier stops of one machine that are still ahead; the others are told as done or not.
///
/// Each renewal serves one stop: the first that wanted it.
fn ahead(
    stops: Vec<Stop>,
    today: NaiveDate,
    renewed: &Renewed,
    found: &mut StopChanges,
) -> Vec<Stop> {
    let mut used: HashMap<[String; 3], usize> = HashMap::new();
    let mut left = Vec::new();
    for stop in stops {
        let slots: Vec<[String; 3]> = stop
            .renew
            .iter()
            .flat_map(|renew| {
                let at = renew.positions.iter();
                at.map(|p| [stop.machine.clone(), renew.component.clone(), p.clone()])
            })
            .collect();
        let served: Vec<(&[String; 3], NaiveDate)> = slots
            .iter()
            .filter_map(|slot| {
                let n = used.get(slot).copied().unwrap_or(0);
                Some((slot, *renewed.get(slot)?.get(n)?))
            })
            .collect();
        let whole = !slots.is_empty() && served.len() == slots.len();
        // What is only looked at leaves no trace among renewals: its day decides.
        let due = stop.date <= today;
        if !due && !(whole && stop.earliest <= today) {
            left.push(stop);
            continue;
        }
        let last = served.iter().map(|(_, date)| *date).max();
        let count = served.len();
        for (slot, _) in served {
            *used.entry(slot.clone()).or_default() += 1;
        }
        match (whole || slots.is_empty(), last) {
            (true, last) => {
                let date = last.unwrap_or(stop.date);
                found.done.push((stop, date));
            }
            (false, Some(_)) => found.in_part.push((stop, count, slots.len())),
            (false, None) => found.missed.push(stop),
        }
    }
    left
}

/// Pairs stops in their order so that days differ least in all; a stop without a partner counts
/// as half of [`APART`].
fn pair(old: Vec<Stop>, new: Vec<Stop>, until: NaiveDate, found: &mut StopChanges) {
    let days = |o: usize, n: usize| (new[n].date - old[o].date).num_days().abs();
    // What lies beyond the days planned then was not to be told then.
    let alone = |n: usize| if new[n].date > until { 0 } else { APART / 2 };
    let (rows, columns) = (old.len(), new.len());
    let mut cost = vec![vec![0_i64; columns + 1]; rows + 1];
    for o in (0..=rows).rev() {
        for n in (0..=columns).rev() {
            cost[o][n] = match (o < rows, n < columns) {
                (false, false) => 0,
                (true, false) => cost[o + 1][n] + APART / 2,
                (false, true) => cost[o][n + 1] + alone(n),
                (true, true) => (cost[o + 1][n + 1] + days(o, n))
                    .min(cost[o + 1][n] + APART / 2)
                    .min(cost[o][n + 1] + alone(n)),
            };
        }
    }
    let (mut o, mut n) = (0, 0);
    while o < rows || n < columns {
        if o < rows && n < columns && cost[o][n] == cost[o + 1][n + 1] + days(o, n) {
            let (was, is) = (&old[o], &new[n]);
            if (was.earliest..=was.latest).contains(&is.date) {
                found.kept += 1;
            } else {
                found.moved.push((was.clone(), is.clone()));
            }
            (o, n) = (o + 1, n + 1);
        } else if o < rows && cost[o][n] == cost[o + 1][n] + APART / 2 {
            found.gone.push(old[o].clone());
            o += 1;
        } else {
            if new[n].date <= until {
                found.new.push(new[n].clone());
            }
            n += 1;
        }
    }
}
