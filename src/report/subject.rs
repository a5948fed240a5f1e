//! What the report is built from: per component its lives, the groups they were weighed in,
//! and what was decided.
//!
//! In: nothing. Out: plain structs that a command fills from store, model and policy.
//! Never: words, charts, files.

use chrono::NaiveDate;

use crate::life::{LifeRow, Sample};
use crate::policy::Recommendation;
use crate::policy::age::Costs;
use crate::policy::recommend::Terms;
use crate::quantity::trouble::Trouble;

/// Everything but the components.
#[derive(Debug, Clone, Default)]
pub struct Frame {
    /// The plant's name.
    pub plant: String,
    /// ISO 4217 code.
    pub currency: String,
    /// The day the ledger is taken at, in the plant's time zone.
    pub as_of: NaiveDate,
    /// IANA name.
    pub time_zone: String,
    /// Program and version.
    pub version: String,
    /// Ledgers as the reader knows them.
    pub ledgers: Vec<String>,
    /// Planning grid in words, e.g. "250"; none where the plant has none.
    pub grid: Option<f64>,
    /// Two-sided probability of all limits.
    pub confidence: f64,
    /// Book, lines, SHA-256 of the last line.
    pub heads: Vec<(String, u64, String)>,
    /// What a check of the ledgers found.
    pub findings: Vec<Trouble>,
}

/// One component.
#[derive(Debug, Clone)]
pub struct Subject {
    /// Id in the register.
    pub id: String,
    /// Name in the register.
    pub name: String,
    /// Usage words: "Running hours", and their unit: "h".
    pub usage: String,
    /// Unit of its usage.
    pub unit: String,
    /// All rows of the life table.
    pub rows: Vec<LifeRow>,
    /// Every slot of the component, in the order to show them.
    pub slots: Vec<Slot>,
    /// The pool first, then the slots set apart; empty without any life.
    pub groups: Vec<Group>,
    /// Usage at which the crew renews it today.
    pub present: Option<f64>,
    /// A ceiling and where it comes from.
    pub ceiling: Option<(f64, String)>,
    /// Where the shape prior comes from, with its 5 % and 95 % points; none for the weak prior.
    pub prior: Option<(f64, f64, String)>,
}

/// One slot with the items that sat in it.
#[derive(Debug, Clone)]
pub struct Slot {
    /// Machine as shown.
    pub machine: String,
    /// Position.
    pub position: String,
    /// Stays in time order.
    pub stays: Vec<Stay>,
}

/// One item's stay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stay {
    /// First day.
    pub start: NaiveDate,
    /// Last day; none where it is still in.
    pub end: Option<NaiveDate>,
    /// Why it left: the books' words.
    pub reason: Option<String>,
    /// `running` or `inspection`.
    pub found: Option<String>,
    /// Its age at the start is unknown.
    pub age_unknown: bool,
}

/// Which slots a group holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Slots {
    /// All of the component.
    All,
    /// All but these (machine, position).
    AllBut(Vec<(String, String)>),
    /// This one alone.
    Only(String, String),
}

/// Lives weighed together.
#[derive(Debug, Clone)]
pub struct Group {
    /// Which slots.
    pub slots: Slots,
    /// How many slots.
    pub slot_count: usize,
    /// The lives.
    pub sample: Sample,
    /// Planned and failure cost.
    pub costs: Costs,
    /// Where each comes from.
    pub planned_from: String,
    /// Where each comes from.
    pub failed_from: String,
    /// What was asked of the decision.
    pub terms: Terms,
    /// What was decided.
    pub recommendation: Recommendation,
    /// For a slot set apart: p-value (adjusted) and life relative to the rest.
    pub apart: Option<(f64, f64)>,
}

impl Group {
    /// True where the group holds this slot.
    pub fn holds(&self, machine: &str, position: &str) -> bool {
        let is = |(m, p): &(String, String)| m == machine && p == position;
        match &self.slots {
            Slots::All => true,
            Slots::AllBut(others) => !others.iter().any(is),
            Slots::Only(m, p) => m == machine && p == position,
        }
    }
}
