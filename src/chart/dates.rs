//! How dates are written in the charts: the one place for it.
//!
//! In: dates. Out: words. Never: arithmetic, axes.

use chrono::{Datelike, NaiveDate};

use crate::quantity::language::spoken;

/// "24 Nov 2026".
pub fn day_words(date: NaiveDate) -> String {
    spoken().short_day(date, true)
}

/// "24 Nov".
pub(super) fn short_day_words(date: NaiveDate) -> String {
    spoken().short_day(date, false)
}

/// "Nov".
pub(super) fn month_words(date: NaiveDate) -> String {
    spoken().short_month(date.month0()).to_owned()
}

/// "2026".
pub(super) fn year_words(date: NaiveDate) -> String {
    date.year().to_string()
}
