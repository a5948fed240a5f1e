//! What a component's page says beside its findings, as data: figures are strings, rounded.
//!
//! In: nothing. Out: plain structs the builder fills and the template reads. Never: analysis.

use serde::Serialize;

use crate::report::model::{Limited, Verdict};

/// Lives by how they ended and how long they were; a row a machine, or a position where there
/// is one machine only.
#[derive(Debug, Clone, Default, Serialize)]
pub struct LifeTable {
    /// "Machine" or "Position".
    pub place: String,
    /// Headings of the cells; a column in which nothing would stand is left out.
    pub heads: Vec<String>,
    /// The rows; the last one is of all where there are several.
    pub rows: Vec<LifeTableRow>,
    /// What must be known to read it; may be empty.
    pub note: String,
}

/// One row of it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct LifeTableRow {
    /// "H-02", "P1", "8 other machines", "All".
    pub place: String,
    /// As many as there are headings; empty where there is nothing to say.
    pub cells: Vec<String>,
    /// True for the row of all.
    pub all: bool,
}

/// One test of whether the lives may be taken as they are.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct TestRow {
    /// "Do successive items last as long?".
    pub question: String,
    /// "Laplace", "likelihood ratio, 23 groups tried".
    pub test: String,
    /// The statistic; may be empty.
    pub statistic: String,
    /// The p-value; empty where the test gives none.
    pub p: String,
    /// What it says, in plain words.
    pub says: String,
}

/// One model fitted to the same lives.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ModelRow {
    /// "Weibull", "lognormal".
    pub name: String,
    /// Parameters estimated.
    pub parameters: u64,
    /// By how much its AICc lies above the least of all; "no estimate" where it has none.
    pub behind: String,
    /// Usage by which a tenth has failed, by this model.
    pub b10: String,
    /// True for the model the report goes by.
    pub used: bool,
}

/// One failure mode.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ModeRow {
    /// The plant's word, or "not stated".
    pub mode: String,
    /// Failures by it.
    pub failures: u64,
    /// Its own shape; none without a fit.
    pub shape: Option<Limited>,
    /// Failures per 1,000 units of usage when run to failure and when renewed at the interval.
    pub run_to_failure: Option<String>,
    /// As above.
    pub renewed: Option<String>,
    /// "drives the interval", "renewal does nothing for it"; may be empty.
    pub says: String,
}

/// A component without pages of its own.
#[derive(Debug, Clone, Default, Serialize)]
pub struct OtherRow {
    /// Its name.
    pub component: String,
    /// Lives on record.
    pub lives: usize,
    /// Failures among them.
    pub failures: usize,
    /// Shape, with limits; none without a fit.
    pub shape: Option<Limited>,
    /// Usage by which a tenth has failed, with limits and unit.
    pub b10: Option<Limited>,
    /// Unit of its usage.
    pub unit: String,
    /// The verdict for most of its slots.
    pub verdict: Verdict,
    /// Interval to renew, with unit.
    pub interval: Option<String>,
    /// Money at stake a year.
    pub stake: String,
}

/// Components that share a table.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Others {
    /// How they were chosen.
    pub words: String,
    /// Those with most at stake first.
    pub rows: Vec<OtherRow>,
}
