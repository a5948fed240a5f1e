//! What was paid or lost, item by item, and the jobs behind it.
//!
//! In: typed columns. Out: [`CostItem`], [`Job`]. Never: SQL, files, clock.

use chrono::{DateTime, Utc};
use rust_decimal::Decimal;

use super::RenewalKind;

/// What kind of work or spending an amount belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CostKind {
    /// Work after a failure.
    Corrective,
    /// Work done before one.
    Preventive,
    /// No work: something bought or paid.
    Expense,
    /// A renewal that the record gives no such reason for.
    Other,
}

impl CostKind {
    pub const ALL: [CostKind; 4] = [
        CostKind::Corrective,
        CostKind::Preventive,
        CostKind::Expense,
        CostKind::Other,
    ];

    pub fn word(self) -> &'static str {
        match self {
            CostKind::Corrective => "corrective",
            CostKind::Preventive => "preventive",
            CostKind::Expense => "expense",
            CostKind::Other => "other",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        CostKind::ALL.into_iter().find(|k| k.word() == word)
    }
}

/// What the money went for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CostClass {
    Parts,
    Labour,
    /// Lost production.
    Downtime,
    /// The extra cost of a job: product lost, other parts spoilt, hire.
    Extra,
    Expense,
}

impl CostClass {
    pub const ALL: [CostClass; 5] = [
        CostClass::Parts,
        CostClass::Labour,
        CostClass::Downtime,
        CostClass::Extra,
        CostClass::Expense,
    ];

    pub fn word(self) -> &'static str {
        match self {
            CostClass::Parts => "parts",
            CostClass::Labour => "labour",
            CostClass::Downtime => "downtime",
            CostClass::Extra => "extra",
            CostClass::Expense => "expense",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        CostClass::ALL.into_iter().find(|c| c.word() == word)
    }
}

/// One amount and where it belongs. All items of a ledger together are all its money.
#[derive(Debug, Clone, PartialEq)]
pub struct CostItem {
    pub ledger: String,
    /// `None`: the plant.
    pub machine: Option<String>,
    /// `None`: the machine as a whole.
    pub component: Option<String>,
    pub position: Option<String>,
    /// Number of the new part.
    pub part: Option<String>,
    pub mode: Option<String>,
    pub kind: CostKind,
    pub class: CostClass,
    pub time: DateTime<Utc>,
    pub job: Option<String>,
    /// `None`: no renewal.
    pub cause: Option<RenewalKind>,
    /// Whether it is an even share of the job's, not its own.
    pub shared: bool,
    /// In whole smallest units of the ledger's currency; `None`: no price is known.
    pub amount: Option<Decimal>,
    /// What an expense was for.
    pub what: Option<String>,
    /// The line of the renewal, expense or job.
    pub sha: String,
}

/// One job as the books tell it.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    pub ledger: String,
    pub machine: Option<String>,
    pub job: String,
    pub corrective: bool,
    pub time: DateTime<Utc>,
    pub start: Option<DateTime<Utc>>,
    pub stop: Option<DateTime<Utc>>,
    /// Hours; `None`: not stated.
    pub labour_h: Option<Decimal>,
    pub downtime_h: Option<Decimal>,
    pub labour: Decimal,
    /// `None`: hours are stated for a machine the register does not know.
    pub downtime: Option<Decimal>,
    pub extra: Decimal,
    pub sha: String,
}
