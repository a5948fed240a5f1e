//! How dates are written in the charts: the one place for it.
//!
//! In: dates. Out: words. Never: arithmetic, axes.

use chrono::{Datelike, NaiveDate};

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// "24 Nov 2026".
pub fn day_words(date: NaiveDate) -> String {
    format!("{} {}", short_day_words(date), year_words(date))
}

/// "24 Nov".
pub(super) fn short_day_words(date: NaiveDate) -> String {
    format!("{} {}", date.day(), month_words(date))
}

/// "Nov".
pub(super) fn month_words(date: NaiveDate) -> String {
    MONTHS[date.month0() as usize].to_owned()
}

/// "2026".
pub(super) fn year_words(date: NaiveDate) -> String {
    date.year().to_string()
}
