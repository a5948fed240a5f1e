//! Lives: from a row of the life table to a checked sample that can be fitted.
//!
//! In: rows of the life query, or plain usages. Out: [`LifeRow`], [`Life`], [`Sample`],
//! and [`RenewalCost`], what ending a life cost; [`CostItem`], all money of a ledger.
//! Never: clock, files, SQL, printing.
//!
//! A life is the usage from renewal to end. It may be watched from new or only from
//! an entry age on (left truncation), and its end may be known exactly (failure),
//! only to lie in a window (interval, left), or not have come (suspension).
//! Words follow IEC 61649 and IEC 60050-192.

mod cost_item;
mod renewal;
mod row;
mod sample;

pub use cost_item::{CostClass, CostItem, CostKind, Job};
pub use renewal::{RenewalCost, RenewalKind};
pub use row::{Excluded, Flag, LifeRow, Outcome};
pub use sample::{End, Life, LifeError, Sample, counted_lives};
