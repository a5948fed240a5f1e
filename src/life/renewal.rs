//! What one renewal cost, as the ledger's own jobs tell it.
//!
//! In: typed columns. Out: [`RenewalCost`]. Never: SQL, files, clock.

use chrono::{DateTime, Utc};
use rust_decimal::Decimal;

/// Which of the two costs of age replacement a renewal is an example of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RenewalKind {
    /// Forced: the item had failed, or was worn out. An example of `Cf`.
    Failed,
    /// Done as planned. An example of `Cp`.
    Planned,
    /// Neither: renewed along in a forced stop, damaged, or changed in type.
    Along,
}

impl RenewalKind {
    pub const ALL: [RenewalKind; 3] = [
        RenewalKind::Failed,
        RenewalKind::Planned,
        RenewalKind::Along,
    ];

    pub fn word(self) -> &'static str {
        match self {
            RenewalKind::Failed => "failed",
            RenewalKind::Planned => "planned",
            RenewalKind::Along => "along",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        RenewalKind::ALL.into_iter().find(|k| k.word() == word)
    }
}

/// One renewal under a job, with its share of the job's costs. Money is in the
/// plant's currency, exact; the shares of a job add up to its whole.
#[derive(Debug, Clone, PartialEq)]
pub struct RenewalCost {
    pub machine: String,
    pub component: String,
    pub position: String,
    pub job: String,
    pub time: DateTime<Utc>,
    /// Why the old item came out.
    pub reason: Option<String>,
    pub kind: RenewalKind,
    /// Pieces × price; `None` where no price is known.
    pub parts: Option<Decimal>,
    pub labour: Decimal,
    pub downtime: Decimal,
    pub extra: Decimal,
    /// The sum; `None` where a part of it is unknown.
    pub total: Option<Decimal>,
    /// The line of the renewal.
    pub sha: String,
}
