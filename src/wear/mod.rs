//! Wear: the limit a measured quantity must keep, as data.
//!
//! In: a plant's limit rules. Out: [`LimitRule`].
//! Never: clock, files, SQL, printing.

mod rule;

pub use rule::LimitRule;
