//! What the report says, as data: the words and figures of every part, chosen and rounded.
//!
//! In: nothing. Out: plain structs that a builder fills and the templates read.
//! Never: analysis, rounding rules (see `words`), HTML.
//!
//! Figures are strings wherever rounding or a unit matters, so that a template only sets them.
//! Charts are the structs of `chart`; their `id` is left empty here and set when rendered.

use serde::Serialize;

use super::component::model::{LifeTable, ModeRow, ModelRow, Others, TestRow};
use super::money::MoneyPart;
use super::since::Changes;
use super::stops::StopsPart;
use crate::chart::{CostCurve, HazardCurve, IntervalRanges, ProbabilityPlot, SlotHistory};

/// The whole report.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Report {
    /// The plant's name.
    pub plant: String,
    /// ISO 4217 code, e.g. "EUR".
    pub currency: String,
    /// The day the ledger is taken at, in words: "24 November 2026".
    pub as_of: String,
    /// The plant's time zone as a name.
    pub time_zone: String,
    /// Program and version: "wearbook 0.1.0".
    pub version: String,
    /// Ledger folders as the reader knows them.
    pub ledgers: Vec<String>,
    /// Probability the limits hold, e.g. "90 %".
    pub confidence: String,
    /// Three or four plain sentences: what to change, what it saves, how sure.
    pub summary: Vec<String>,
    /// The first page's table, most worthwhile first.
    pub recommendations: Vec<Recommendation>,
    /// Recommendations that the table leaves to the parts.
    pub more: usize,
    /// The first page's picture.
    #[serde(skip)]
    pub ranges: Option<IntervalRanges>,
    /// Where the money goes; none where it was not asked for.
    pub money: Option<MoneyPart>,
    /// The stops to come; none where they were not asked for.
    pub stops: Option<StopsPart>,
    /// What changed since an earlier report; none where none was given.
    pub since: Option<Changes>,
    /// Pages a component, those with most money at stake first; none where they were not asked
    /// for.
    pub components: Vec<ComponentSection>,
    /// Components that share a table; none where all have pages of their own.
    pub others: Option<Others>,
    /// What a check of the ledger found.
    pub quality: Quality,
    /// What to mind before a machine is opened: the usual cautions and the plants' own.
    pub cautions: Vec<String>,
    /// Last line of every book.
    pub books: Vec<BookHead>,
}

/// What is to be done, in one word for the eye and the template.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Renew at an interval.
    Renew,
    /// Leave in until it fails.
    RunToFailure,
    /// The record cannot tell yet.
    #[default]
    NotEnoughEvidence,
}

impl Verdict {
    /// The verdict in words.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Renew => "renew",
            Verdict::RunToFailure => "run to failure",
            Verdict::NotEnoughEvidence => "not enough evidence",
        }
    }
}

/// A figure with its limits, already rounded.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Limited {
    /// The middle.
    pub value: String,
    /// Lower limit.
    pub lower: String,
    /// Upper limit.
    pub upper: String,
}

/// One row of the table of recommendations, and of a section's table per position.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Recommendation {
    /// Component name.
    pub component: String,
    /// Which slots: "P1 to P3, all machines", "H-02 P2".
    pub positions: String,
    /// The verdict.
    pub verdict: Verdict,
    /// Recommended interval with unit: "1,750 h". None unless the verdict is to renew.
    pub interval: Option<String>,
    /// What the crew does today, with unit.
    pub present: Option<String>,
    /// Saving against running to failure in the currency per 1,000 units of usage.
    pub saving: Option<Limited>,
    /// Chance that the interval pays: "97 %".
    pub chance: Option<String>,
    /// What the change is worth a year against what is done today, in the currency.
    pub worth: Option<Limited>,
    /// Chance that it is worth anything.
    pub saves: Option<String>,
    /// Lives the evidence rests on.
    pub lives: usize,
    /// Failures among them, known or between inspections.
    pub failures: usize,
    /// A few words beneath the row, e.g. "wears about 1.8 times as fast as the other positions".
    pub note: Option<String>,
}

/// A component's section.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ComponentSection {
    /// The component's id in the register; names the chart files.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What it comes to, one to three sentences.
    pub findings: Vec<String>,
    /// Usage word and unit: "running hours (h)".
    pub usage: String,
    /// What the data are.
    pub data: DataCounts,
    /// The lives by place and how they ended.
    pub table: LifeTable,
    /// What must be said before any fit is trusted.
    pub warning: Option<String>,
    /// Whether the lives may be taken as one population that does not change.
    pub tests: Vec<TestRow>,
    /// One block for the pooled evidence, one for each slot set apart.
    pub groups: Vec<EvidenceGroup>,
    /// Rows per position.
    pub positions: Vec<PositionRow>,
    /// What is said of those left out; empty where all are there.
    pub positions_note: String,
    /// Slot history; split over several pictures where there are many lanes.
    #[serde(skip)]
    pub history: SlotHistory,
    /// What is said of slots left out of it; empty where all are there.
    pub history_note: String,
    /// What was assumed: costs, prior, ceiling, grid.
    pub assumed: Vec<Assumption>,
    /// Anything else a reader must know.
    pub notes: Vec<String>,
}

/// Counts of lives by how they ended.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DataCounts {
    /// All lives on record.
    pub lives: usize,
    /// Failures at known usage.
    pub failures: usize,
    /// Failures between two inspections.
    pub intervals: usize,
    /// Ended or still running without failure.
    pub suspensions: usize,
    /// Of the suspensions: still in place.
    pub running: usize,
    /// Left out of the fits, with the reason.
    pub excluded: Vec<Excluded>,
    /// First and last day: "4 January 2021 to 24 November 2026".
    pub span: String,
}

/// Lives left out, and why.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Excluded {
    /// How many.
    pub count: usize,
    /// Why, e.g. "age at installation unknown".
    pub why: String,
}

/// Lives fitted together.
#[derive(Debug, Clone, Default, Serialize)]
pub struct EvidenceGroup {
    /// "All positions" or "H-02 P2 alone".
    pub title: String,
    /// Why these lives stand together or apart, one sentence; may be empty.
    pub why: String,
    /// Whether the model fits, how the plot bends, which failure mode drives the interval;
    /// sentences, may be empty.
    pub judged: Vec<String>,
    /// Fitted figures; empty without a fit.
    pub fit: Vec<FitFigure>,
    /// How the hazard runs with age; empty without a fit.
    pub hazard_words: String,
    /// The models fitted to these lives; empty where they are too few.
    pub models: Vec<ModelRow>,
    /// Which of them describes the lives best; may be empty.
    pub models_note: String,
    /// Failure modes; empty where all failures are of one.
    pub modes: Vec<ModeRow>,
    /// Probability plot.
    #[serde(skip)]
    pub probability: ProbabilityPlot,
    /// Failure rate against age; none without a fit.
    #[serde(skip)]
    pub hazard: Option<HazardCurve>,
    /// Cost against interval; none where there is nothing to draw.
    #[serde(skip)]
    pub cost: Option<CostCurve>,
}

/// One fitted figure.
#[derive(Debug, Clone, Default, Serialize)]
pub struct FitFigure {
    /// "Shape", "Scale (h)", "B10 life (h)".
    pub name: String,
    /// With limits.
    pub value: Limited,
    /// What it means, in a few words: "wears out: failures come more often with usage".
    pub meaning: String,
}

/// A slot in a section's table.
#[derive(Debug, Clone, Default, Serialize)]
pub struct PositionRow {
    /// Machine tag, or "all".
    pub machine: String,
    /// Position.
    pub position: String,
    /// Lives, failures, suspensions.
    pub lives: usize,
    /// Failures, known or between inspections.
    pub failures: usize,
    /// Median life with limits, or none.
    pub median_life: Option<Limited>,
    /// The verdict there.
    pub verdict: Verdict,
    /// Recommended interval, with unit.
    pub interval: Option<String>,
    /// Usage of the item now in place, with unit; none where the slot is empty.
    pub in_place: Option<String>,
}

/// A value that did not come from lives.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Assumption {
    /// "Planned cost".
    pub name: String,
    /// "EUR 412".
    pub value: String,
    /// "mean of 14 preventive jobs in the ledger".
    pub from: String,
}

/// What a check of the ledger found.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Quality {
    /// One or two sentences.
    pub summary: String,
    /// Findings, the most serious first; equal ones may be joined into one row.
    pub findings: Vec<QualityFinding>,
}

/// One finding.
#[derive(Debug, Clone, Default, Serialize)]
pub struct QualityFinding {
    /// "books/line-2.jsonl:41".
    pub place: String,
    /// What is wrong or odd.
    pub what: String,
    /// On what evidence.
    pub evidence: String,
    /// How to mend it.
    pub cure: String,
    /// How many such findings this row stands for (1 or more).
    pub count: usize,
}

/// The last line of a book: whoever holds the same book can check the report rests on it.
#[derive(Debug, Clone, Default, Serialize)]
pub struct BookHead {
    /// File name.
    pub book: String,
    /// Lines that count.
    pub entries: usize,
    /// First 12 hex digits of the last line's SHA-256.
    pub head: String,
}
