//! Wear: what a measured quantity tells of a part, and of the usage left to its limit.
//!
//! In: a plant's limit rules, readings. Out: [`Verdict`]s, [`WearLines`], usage left with
//! limits ([`Belief`]). Never: clock, files, SQL, printing.

mod lines;
mod posterior;
mod rule;
mod verdict;
mod watch;

pub use lines::{Criterion, ItemReadings, NoLine, Population, WearLines};
pub use posterior::{AtLimit, Barrier, Belief, UsageLimits};
pub use rule::LimitRule;
pub use verdict::{Given, NEAR, NotComparable, Standing, Verdict, WornPart, judge, judged};
pub use watch::{Standard, Taken};
