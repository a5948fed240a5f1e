//! Crews: days on which more machines are down than can be opened.
//!
//! In: stops, the number of crews. Out: [`Clash`]es, each with days that would do. Never: a
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
    /// Machines that could go on another day within a week, so that crews suffice.
    pub instead: Vec<(String, NaiveDate)>,
}

/// The days on which more than `crews` machines are down for planned work, none before
/// `first`.
///
/// Whoever has something overdue keeps the day; the others could come sooner, and where no
/// sooner day is free, later.
pub fn clashes(stops: &[&Stop], crews: u32, first: NaiveDate) -> Vec<Clash> {
    let crews_a_day = crews as usize;
    let mut days: BTreeMap<NaiveDate, Vec<&Stop>> = BTreeMap::new();
    for stop in stops {
        days.entry(stop.date).or_default().push(stop);
    }
    let mut taken: BTreeMap<NaiveDate, usize> = days
        .iter()
        .map(|(day, stops)| (*day, stops.len()))
        .collect();
    let mut clashes = Vec::new();
    for (date, stops) in days.iter().filter(|(_, stops)| stops.len() > crews_a_day) {
        let mut ranked: Vec<&&Stop> = stops.iter().collect();
        ranked.sort_by_key(|stop| !stop.is_overdue());
        let mut instead = Vec::new();
        for stop in ranked.into_iter().skip(crews_a_day) {
            let sooner = (1..=7).filter_map(|n| date.checked_sub_days(Days::new(n)));
            let later = (1..=7).filter_map(|n| date.checked_add_days(Days::new(n)));
            let free = sooner
                .filter(|day| *day >= first && !stop.is_overdue())
                .chain(later)
                .find(|day| taken.get(day).copied().unwrap_or(0) < crews_a_day);
            if let Some(free) = free {
                *taken.entry(free).or_default() += 1;
                instead.push((stop.machine.clone(), free));
            }
        }
        clashes.push(Clash {
            date: *date,
            machines: stops.iter().map(|stop| stop.machine.clone()).collect(),
            crews,
            instead,
        });
    }
    clashes
}
