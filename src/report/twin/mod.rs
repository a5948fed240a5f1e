//! The report as data: `report.json`, written beside the page. A contract.
//!
//! In: what the report is built from. Out: [`Twin`], and its text ([`Twin::text`]), read back by
//! [`read`]. Never: files, clock, words beyond those of the page's verdicts and places.
//!
//! The same ledger and as-of day give the same bytes. Unknown is null, days are `YYYY-MM-DD` in
//! the plant's time zone, money is in `currency`, usage in the `unit` beside it. Keys may be
//! added; any other change gives `report` another number.
//!
//! | key | holds |
//! | --- | --- |
//! | `report` | version of this contract: 1 |
//! | `plant`, `as_of`, `currency`, `version`, `confidence` | plants by name, the day the ledger is taken at, ISO 4217 code, program and version, probability of all limits |
//! | `asked` | `components`, `positions`, `machines`: what alone the report is about; empty: all |
//! | `heads` | a book each: `book`, `lines`, `sha` of the last line (64 hex digits) |
//! | `components` | each: `component` (id), `name`, `unit`, `lives`, `failures`: all on record, those left out of fits among them |
//! | `recommendations` | a component and place each: `component` (id), `place` in words, `slots` (`machine` and its `positions`), `verdict` (`renew`, `run to failure`, `not enough evidence`), `interval`, `optimum`, `near_optimal` (`from`, `to`: null where even running to failure is within, `within`), `present`, `ceiling`, `chance_it_pays`, `saving_per_1000` (against running to failure: `median`, `lower`, `upper`), `planned_cost`, `failed_cost`, `lives`, `failures` the evidence rests on |
//! | `overdue` | an item each: `machine`, `component`, `position`, `age`, `interval`, `unit`, `past_ceiling`, `condemned` (what was found, or null) |
//! | `stops` | by date: `machine`, `date`, `earliest`, `latest`, `renew` (`component`, `positions`, `why` as `plan` has it), `hours`, `labour_h`, `cost` |
//! | `plan_to` | the last day for which stops were planned |
//! | `orders` | by `order_by`: `part`, `component`, `pieces`, `machine`, `stop`, `order_by`, `late_days`, `lead_time_days`, `supplier`, `stock_unknown` |
//! | `cost` | null, or of the last 12 months: `from`, `to`, `unit`, `all`, `machines` and `components` by name or id, sorted; each `total`, `usage`, `per_usage`; whatever the report is about |
//! | `quality` | what a check found: `errors`, `warnings`, `notes` |

mod fill;
mod read;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

pub use self::fill::twin;
pub use self::read::{Unreadable, read};

/// The version of the contract written and read here.
pub const VERSION: u64 = 1;

/// A whole report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Twin {
    pub report: u64,
    pub plant: String,
    pub as_of: NaiveDate,
    pub currency: String,
    pub version: String,
    pub confidence: f64,
    pub asked: Asked,
    pub heads: Vec<Head>,
    pub components: Vec<Component>,
    pub recommendations: Vec<Recommendation>,
    pub overdue: Vec<Overdue>,
    pub plan_to: Option<NaiveDate>,
    pub stops: Vec<Stop>,
    pub orders: Vec<Order>,
    pub cost: Option<Cost>,
    pub quality: Quality,
}

/// What alone a report is about; empty lists: all.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    pub components: Vec<String>,
    pub positions: Vec<String>,
    pub machines: Vec<String>,
}

/// The last line of a book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    pub book: String,
    pub lines: u64,
    pub sha: String,
}

/// What is on record of a component.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Component {
    pub component: String,
    pub name: String,
    pub unit: String,
    pub lives: usize,
    pub failures: usize,
}

/// An answer, and where it holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recommendation {
    pub component: String,
    pub place: String,
    pub slots: Vec<Slots>,
    pub verdict: String,
    pub interval: Option<f64>,
    pub optimum: Option<f64>,
    pub near_optimal: Option<Near>,
    pub present: Option<f64>,
    pub ceiling: Option<f64>,
    pub chance_it_pays: Option<f64>,
    pub saving_per_1000: Option<Saving>,
    pub planned_cost: f64,
    pub failed_cost: f64,
    pub lives: u64,
    pub failures: u64,
}

/// Slots of one machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Slots {
    pub machine: String,
    pub positions: Vec<String>,
}

/// Between which usages the cost stays near the least.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Near {
    pub from: f64,
    pub to: Option<f64>,
    pub within: f64,
}

/// Money with its limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Saving {
    pub median: f64,
    pub lower: f64,
    pub upper: f64,
}

/// An item past its interval, or condemned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Overdue {
    pub machine: String,
    pub component: String,
    pub position: String,
    pub age: Option<f64>,
    pub interval: Option<f64>,
    pub unit: String,
    pub past_ceiling: bool,
    pub condemned: Option<String>,
}

/// One stop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stop {
    pub machine: String,
    pub date: NaiveDate,
    pub earliest: NaiveDate,
    pub latest: NaiveDate,
    pub renew: Vec<Renew>,
    pub hours: f64,
    pub labour_h: f64,
    pub cost: f64,
}

/// Slots of one component, renewed for the same reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Renew {
    pub component: String,
    pub positions: Vec<String>,
    pub why: String,
}

/// Pieces to order for a stop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    pub part: Option<String>,
    pub component: String,
    pub pieces: u32,
    pub machine: String,
    pub stop: NaiveDate,
    pub order_by: Option<NaiveDate>,
    pub late_days: u32,
    pub lead_time_days: Option<u32>,
    pub supplier: Option<String>,
    pub stock_unknown: bool,
}

/// What machines cost in a stretch of time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    pub from: NaiveDate,
    pub to: NaiveDate,
    /// Unit of all usage here.
    pub unit: String,
    pub all: CostOf,
    pub machines: BTreeMap<String, CostOf>,
    /// By id.
    pub components: BTreeMap<String, CostOf>,
}

/// One sum of money, the usage it is held against, and the one by the other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CostOf {
    pub total: f64,
    pub usage: Option<f64>,
    pub per_usage: Option<f64>,
}

/// How many findings of each weight.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Quality {
    pub errors: usize,
    pub warnings: usize,
    pub notes: usize,
}

impl Twin {
    /// The text of the file.
    ///
    /// Errors: none that data of this kind can cause.
    pub fn text(&self) -> Result<String, serde_json::Error> {
        let mut text = serde_json::to_string_pretty(self)?;
        text.push('\n');
        Ok(text)
    }
}
