//! Quantities: what the other rooms count and measure in.
//!
//! In: numbers and texts. Out: checked units, money, times, numbers as written, texts made
//! safe to show, and
//! [`trouble::Trouble`], the one shape in which any room tells what is wrong, where,
//! and how to mend it; [`walk`] reads hand-written TOML so that every fault has its line.
//! Never: files, clock, SQL, printing.

pub mod form_fault;
pub mod language;
pub mod money;
pub mod near;
pub mod number;
pub mod paper;
pub mod size;
pub mod text;
pub mod time;
pub mod trouble;
pub mod unit;
pub mod walk;

pub use language::Language;
pub use money::Currency;
pub use near::nearest;
pub use number::{Number, counted, group, same, same_or_none, thousands};
pub use paper::Paper;
pub use unit::{Dimension, Unit};
