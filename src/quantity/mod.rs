//! Quantities: what the other rooms count and measure in.
//!
//! In: numbers and texts. Out: checked units, money, times, and [`trouble::Trouble`],
//! the one shape in which any room tells what is wrong, where, and how to mend it.
//! Never: files, clock, SQL, printing.

pub mod trouble;
