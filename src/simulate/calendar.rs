//! When a machine runs: weeks of production, seasons, shutdowns.
//!
//! In: the running habits of a machine. Out: [`Calendar`], which turns time into running
//! hours and back.
//! Never: clock, files, printing.
//!
//! Times are whole seconds since 1970-01-01 UTC. A week begins on Monday at six, plant time;
//! its hours are run evenly over the first [`WINDOW_H`] hours of it.

use chrono::{Datelike, NaiveDate, TimeZone};
use chrono_tz::Tz;
use rand::Rng;

use super::draw;
use crate::quantity::time;

/// Hours from Monday at six in which a week's production lies (to Saturday at six).
pub const WINDOW_H: f64 = 120.0;
/// No machine runs longer in a week: the rest of the window is cleaning.
const HOURS_PER_WEEK_MAX: f64 = 116.0;
const HOUR_S: f64 = 3600.0;

/// How a machine is run.
#[derive(Debug, Clone)]
pub struct Habits<'a> {
    /// Mean running hours in an ordinary week.
    pub hours_per_week: f64,
    /// Relative height of the season, highest in mid-November.
    pub season: f64,
    /// Relative scatter of a week.
    pub scatter: f64,
    /// ISO weeks without production.
    pub shutdown_weeks: &'a [u32],
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Week {
    start: i64,
    hours: f64,
}

/// The running hours of one machine over the record.
#[derive(Debug, Clone, PartialEq)]
pub struct Calendar {
    weeks: Vec<Week>,
}

/// Seconds since 1970 of `hour:minute` on a day at the plant.
///
/// A time that the change to summer time skips is counted from the day's first moment.
pub fn at(day: NaiveDate, hour: u32, minute: u32, zone: Tz) -> i64 {
    day.and_hms_opt(hour, minute, 0)
        .and_then(|local| zone.from_local_datetime(&local).earliest())
        .map_or_else(
            || time::start_of_day(day, zone).timestamp() + i64::from(hour * 3600 + minute * 60),
            |moment| moment.timestamp(),
        )
}

impl Calendar {
    /// Draws the weeks from the Monday on or before `first` to the one that holds `last`.
    pub fn draw(
        first: NaiveDate,
        last: NaiveDate,
        habits: &Habits,
        zone: Tz,
        rng: &mut impl Rng,
    ) -> Self {
        let monday =
            first - chrono::Duration::days(i64::from(first.weekday().num_days_from_monday()));
        let weeks = monday
            .iter_weeks()
            .take_while(|day| *day <= last)
            .map(|day| {
                let middle = day + chrono::Duration::days(3);
                let turn = (f64::from(middle.ordinal()) - 320.0) / 365.25;
                let season = 1.0 + habits.season * (std::f64::consts::TAU * turn).cos();
                let drawn = habits.hours_per_week
                    * season
                    * (1.0 + habits.scatter * draw::normal(rng).clamp(-2.5, 2.5));
                let shut = habits.shutdown_weeks.contains(&day.iso_week().week());
                Week {
                    start: at(day, 6, 0, zone),
                    hours: if shut {
                        0.0
                    } else {
                        drawn.clamp(0.0, HOURS_PER_WEEK_MAX)
                    },
                }
            })
            .collect();
        Calendar { weeks }
    }

    /// Running hours between two times, had nothing stopped the machine.
    pub fn hours_between(&self, from: i64, to: i64) -> f64 {
        self.weeks[self.week_of(from)..]
            .iter()
            .take_while(|week| week.start < to)
            .map(|week| week.hours * (share(week, to) - share(week, from)))
            .sum()
    }

    /// The time at which `hours` more have been run from `from` on; `None` beyond the calendar.
    pub fn after_hours(&self, from: i64, hours: f64) -> Option<i64> {
        let mut left = hours.max(0.0);
        for week in &self.weeks[self.week_of(from)..] {
            let begun = share(week, from);
            let still = week.hours * (1.0 - begun);
            if left <= still && week.hours > 0.0 {
                let part = begun + left / week.hours;
                let time = week.start + (part * WINDOW_H * HOUR_S).ceil() as i64;
                return Some(time.max(from));
            }
            left -= still;
        }
        None
    }

    fn week_of(&self, time: i64) -> usize {
        self.weeks
            .partition_point(|week| week.start <= time)
            .saturating_sub(1)
    }
}

/// How much of a week's window has passed at `time`, 0 to 1.
fn share(week: &Week, time: i64) -> f64 {
    ((time - week.start) as f64 / (WINDOW_H * HOUR_S)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};

    fn day(y: i32, m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(y, m, d).expect("a date written here")
    }

    fn calendar() -> Calendar {
        let habits = Habits {
            hours_per_week: 96.0,
            season: 0.05,
            scatter: 0.08,
            shutdown_weeks: &[31, 52],
        };
        let zone = chrono_tz::Europe::London;
        let mut rng = ChaCha12Rng::seed_from_u64(11);
        Calendar::draw(day(2021, 6, 7), day(2023, 6, 4), &habits, zone, &mut rng)
    }

    #[test]
    fn hours_to_a_time_and_back_agree() {
        let calendar = calendar();
        let from = at(day(2021, 6, 8), 14, 30, chrono_tz::Europe::London);
        for hours in [0.5, 40.0, 700.0, 4000.0] {
            let to = calendar
                .after_hours(from, hours)
                .expect("inside the calendar");
            let back = calendar.hours_between(from, to);
            // `to` is a whole second, at most one late; no week runs faster than its clock.
            assert!(
                (back - hours).abs() <= 1.0 / 3600.0 + 1e-9,
                "{hours} {back}"
            );
        }
        assert_eq!(calendar.after_hours(from, 1e6), None);
    }

    #[test]
    fn nothing_runs_in_a_shutdown_week_or_on_sunday() {
        let calendar = calendar();
        let zone = chrono_tz::Europe::London;
        let shut = calendar.hours_between(
            at(day(2021, 8, 2), 6, 0, zone),
            at(day(2021, 8, 9), 6, 0, zone),
        );
        assert_eq!(shut, 0.0);
        let sunday = calendar.hours_between(
            at(day(2021, 6, 13), 0, 0, zone),
            at(day(2021, 6, 13), 23, 0, zone),
        );
        assert_eq!(sunday, 0.0);
    }

    #[test]
    fn weeks_begin_at_six_by_the_plant_clock_in_summer_and_winter() {
        let zone = chrono_tz::Europe::London;
        assert_eq!(at(day(2021, 7, 5), 6, 0, zone) % 86_400, 5 * 3600);
        assert_eq!(at(day(2021, 12, 6), 6, 0, zone) % 86_400, 6 * 3600);
        // 01:30 does not exist on 2022-03-27; it is taken as 02:30 BST.
        assert_eq!(at(day(2022, 3, 27), 1, 30, zone) % 86_400, 5400);
    }
}
