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
    /// And the machine's next stop, if there is one.
    pub missed: Vec<(Stop, Option<NaiveDate>)>,
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
        let new = own(now);
        let open = found.missed.len() + found.in_part.len();
        let next = new.first().map(|stop| stop.date);
        let ahead = ahead(own(then), now.as_of, next, renewed, &mut found);
        let left_open = found.missed.len() + found.in_part.len() > open;
        // What was left open then is taken up by the stop that is due now.
        let first = match (left_open, next) {
            (true, Some(next)) if next <= now.as_of && !starts_alike(&ahead, next) => 1,
            _ => 0,
        };
        pair(ahead, new[first..].to_vec(), until, &mut found);
    }
    for stops in [&mut found.gone, &mut found.new] {
        stops.sort_by_key(|stop| stop.date);
    }
    found.missed.sort_by_key(|(stop, _)| stop.date);
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
    next: Option<NaiveDate>,
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
        let due = stop.date < today;
        let done = whole && stop.earliest <= today;
        if !(due || done) {
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
            (false, None) => found.missed.push((stop, next)),
        }
    }
    left
}

/// That the first stop still ahead could fall on the day.
fn starts_alike(ahead: &[Stop], day: NaiveDate) -> bool {
    let first = ahead.first();
    first.is_some_and(|stop| (stop.earliest..=stop.latest).contains(&day))
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

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: u32) -> NaiveDate {
        NaiveDate::from_num_days_from_ce_opt(739_000 + n as i32).unwrap()
    }

    fn stop(n: u32, spread: u32, positions: &[&str]) -> Stop {
        Stop {
            machine: "H-01".to_owned(),
            date: day(n),
            earliest: day(n - spread),
            latest: day(n + spread),
            renew: vec![crate::report::twin::Renew {
                component: "packing-set".to_owned(),
                positions: positions.iter().map(|p| (*p).to_owned()).collect(),
                why: "due".to_owned(),
            }],
            hours: 1.0,
            labour_h: 1.0,
            cost: 1.0,
        }
    }

    fn renewed(at: &[(&str, u32)]) -> Renewed {
        let mut all = Renewed::new();
        for (position, n) in at {
            let slot = ["H-01", "packing-set", position].map(str::to_owned);
            all.entry(slot).or_default().push(day(*n));
        }
        all
    }

    #[test]
    fn each_renewal_serves_one_stop() {
        let stops = vec![
            stop(10, 2, &["P1", "P2"]),
            stop(40, 5, &["P1"]),
            stop(60, 5, &["P2"]),
            stop(95, 5, &["P1", "P2"]),
        ];
        let done = renewed(&[("P1", 12), ("P2", 14), ("P1", 41)]);
        let mut found = StopChanges::default();
        let left = ahead(stops, day(70), Some(day(71)), &done, &mut found);
        let dates: Vec<NaiveDate> = found.done.iter().map(|d| d.1).collect();
        assert_eq!(dates, [day(14), day(41)]);
        assert_eq!(found.missed.len(), 1);
        assert_eq!(found.missed[0].1, Some(day(71)));
        assert_eq!(left.len(), 1);
    }

    #[test]
    fn a_stop_may_be_done_in_part_or_before_its_day() {
        let stops = vec![stop(10, 2, &["P1", "P2"]), stop(73, 5, &["P3"])];
        let done = renewed(&[("P1", 12), ("P3", 69)]);
        let mut found = StopChanges::default();
        let left = ahead(stops, day(70), None, &done, &mut found);
        assert_eq!((found.in_part[0].1, found.in_part[0].2), (1, 2));
        assert_eq!(found.done[0].1, day(69));
        assert!(left.is_empty());
    }

    #[test]
    fn stops_ahead_are_kept_moved_new_or_gone() {
        let mut found = StopChanges::default();
        let old = vec![
            stop(100, 9, &["P1"]),
            stop(150, 9, &["P1"]),
            stop(290, 9, &["P1"]),
        ];
        let new = vec![
            stop(104, 9, &["P1"]),
            stop(170, 9, &["P1"]),
            stop(220, 9, &["P1"]),
            stop(400, 9, &["P1"]),
        ];
        pair(old, new, day(300), &mut found);
        assert_eq!(found.kept, 1);
        let moved: Vec<_> = found.moved.iter().map(|(a, b)| (a.date, b.date)).collect();
        assert_eq!(moved, [(day(150), day(170)), (day(290), day(220))]);
        assert!(found.gone.is_empty() && found.new.is_empty());
        // Beyond what was planned then, nothing is new; far from all, nothing is a partner.
        let mut found = StopChanges::default();
        pair(
            vec![stop(100, 9, &["P1"])],
            vec![stop(210, 9, &["P1"]), stop(310, 9, &["P1"])],
            day(300),
            &mut found,
        );
        assert_eq!((found.gone.len(), found.new.len()), (1, 1));
        assert_eq!(found.new[0].date, day(210));
    }
}
