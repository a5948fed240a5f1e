//! A larger plant or a longer record than the register and truth state: for measuring speed.
//!
//! In: the wanted [`Size`]. Out: a truth with another end, more machines, and their tables
//! for `plant.toml`.
//! Never: files, clock, random numbers, printing.

use std::fmt::Write;

use chrono::{Datelike, Days};

use super::truth::Truth;
use crate::register::Register;

/// How much to simulate; whatever is `None` stays as the register and truth state it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Size {
    /// Years from the record's first day.
    pub years: Option<u32>,
    /// Machines in all; those beyond the register's behave like its own, in turn.
    pub machines: Option<usize>,
    /// Entries in all, `opened` lines aside: as many machines as it takes, and the record
    /// cut after so many entries.
    pub entries: Option<usize>,
}

/// A machine that the register does not have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MoreMachine {
    pub tag: String,
    /// Tag of the machine it is like.
    pub like: String,
}

/// The truth with its record ending so many years after it began, on a Monday.
pub(super) fn with_years(truth: &Truth, years: Option<u32>) -> Truth {
    let mut truth = truth.clone();
    if let Some(years) = years {
        let days = (f64::from(years) * 365.25).ceil() as u64;
        let end = truth.record.first_day.checked_add_days(Days::new(days));
        let end = end.unwrap_or(truth.record.last_day);
        let to_monday = (7 - end.weekday().num_days_from_monday()) % 7;
        truth.record.last_day = end
            .checked_add_days(Days::new(u64::from(to_monday)))
            .unwrap_or(end);
    }
    truth
}

/// The machine number `number` beyond a register of `machines` tags.
pub(super) fn more(machines: &[String], number: usize) -> MoreMachine {
    let like = machines[number % machines.len()].clone();
    MoreMachine {
        tag: format!("{like}-{}", number / machines.len() + 2),
        like,
    }
}

/// The text of a register with a table for each further machine at its end.
pub fn register_text(text: &str, register: &Register, more: &[MoreMachine]) -> String {
    let mut out = text.to_owned();
    if !more.is_empty() && !out.ends_with('\n') {
        out.push('\n');
    }
    for machine in more {
        let Some(like) = register.machine(&machine.like) else {
            continue;
        };
        let weekly: Vec<String> = like
            .usage_per_week
            .iter()
            .map(|(usage, value)| format!("{} = {value}", quoted(usage)))
            .collect();
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            "\n[[machine]]\ntag = {}\nname = {}\nlayout = {}\nin_service = {}\ndowntime_cost = {}\nusage_per_week = {{ {} }}\n",
            quoted(&machine.tag),
            quoted(&format!("{}, again", like.name)),
            quoted(&like.layout),
            like.in_service,
            like.downtime_cost,
            weekly.join(", "),
        );
    }
    out
}

/// A TOML string, by the library's own rules.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
