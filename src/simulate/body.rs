//! A simulated entry and the small helpers that make one.
//!
//! In: facts of the run. Out: [`SimEntry`].
//! Never: files, clock, random numbers, printing.

use rust_decimal::Decimal;

use crate::book::{Ending, Entry, Found, Reason};
use crate::quantity::Number;

/// One entry with the book it goes to.
#[derive(Debug, Clone, PartialEq)]
pub struct SimEntry {
    pub book: Book,
    pub entry: Entry,
    /// On a withdrawal: the entry withdrawn, by its place in the list of all entries. Its
    /// name, the SHA-256 of its line, is known only when that line is written.
    pub withdraws: Option<usize>,
}

/// Which of the two books.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Book {
    Jobs,
    Readings,
}

/// A number as a person writes it, with so many decimals; 0 for what is no number.
pub(super) fn written(value: f64, decimals: u16) -> Number {
    Number::rounded(value, decimals).unwrap_or(Number::from(0u32))
}

/// Hours in quarters, without needless zeros.
pub(super) fn quarters(hours: f64) -> Number {
    Number::new((hours * 4.0).round() / 4.0).unwrap_or(Number::from(0u32))
}

/// Money rounded to a multiple of `step`.
pub(super) fn money(amount: f64, step: f64) -> Decimal {
    let rounded = (amount / step).round() * step;
    Decimal::try_from(rounded).unwrap_or_default().normalize()
}

/// An ending by choice: nothing was wrong with the part.
pub(super) fn by_choice(reason: Reason) -> Ending {
    Ending {
        reason,
        mode: None,
        found: None,
    }
}

/// An ending by a failure or a fault.
pub(super) fn by_fault(reason: Reason, mode: &str, found: Found) -> Ending {
    Ending {
        reason,
        mode: Some(mode.to_owned()),
        found: Some(found),
    }
}
