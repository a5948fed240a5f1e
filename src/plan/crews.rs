//! Crews: days on which more machines are down than can be opened.
//!
//! In: stops, the number of crews. Out: [`Clash`]es, each with a day that would do. Never: a
//! moved stop: that is the planner's to decide.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::Stop;

/// A day with more stops than crews.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clash {
    pub date: NaiveDate,
    pub machines: Vec<String>,
    pub crews: u32,
    /// A machine that could go on another day within a week, nothing of it being overdue.
    pub instead: Option<(String, NaiveDate)>,
}

/// The days on which more than `crews` machines are down for planned work.
pub fn clashes(stops: &[&Stop], crews: u32) -> Vec<Clash> {
    let mut days: BTreeMap<NaiveDate, Vec<&Stop>> = BTreeMap::new();
    for stop in stops {
        days.entry(stop.date).or_default().push(stop);
    }
    let busy = |date: NaiveDate| days.get(&date).map_or(0, Vec::len);
    let crowded = days
        .iter()
        .filter(|(_, stops)| stops.len() > crews as usize);
    crowded
        .map(|(date, stops)| {
            let movable = stops.iter().rev().find(|stop| !stop.is_overdue());
            let instead = movable.and_then(|stop| {
                // Sooner is safe; later only where no earlier day is free.
                let sooner = (1..=7).filter_map(|n| date.checked_sub_days(Days::new(n)));
                let later = (1..=7).filter_map(|n| date.checked_add_days(Days::new(n)));
                let first = days.keys().next().copied().unwrap_or(*date);
                let free = sooner
                    .filter(|day| *day >= first)
                    .chain(later)
                    .find(|day| busy(*day) < crews as usize)?;
                Some((stop.machine.clone(), free))
            });
            Clash {
                date: *date,
                machines: stops.iter().map(|stop| stop.machine.clone()).collect(),
                crews,
                instead,
            }
        })
        .collect()
}
