//! What the part on money is made from: results of the rooms below, side by side.
//!
//! In: nothing. Out: plain structs that a command fills. Never: words, charts, adding up.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::cost::{Breakdown, Every, Indicator, Span};
use crate::policy::decide::Saving;
use crate::quantity::Currency;
use crate::view::cost_change::ChangeView;
use crate::view::cost_saved::SavedView;

/// One recommendation that changes what is done today.
#[derive(Debug, Clone, PartialEq)]
pub struct OfferRow {
    /// Id in the register.
    pub component: String,
    pub name: String,
    /// Which slots: "all positions", "H-02 P2", "all positions but H-02 P2".
    pub place: String,
    /// Usage at which it is renewed today; `None`: at failure.
    pub today: Option<f64>,
    /// Usage at which to renew it instead; `None`: at failure.
    pub instead: Option<f64>,
    /// Unit of those usages.
    pub unit: String,
    pub slots: usize,
    /// Usage of all its slots together to expect in a year.
    pub usage: f64,
    /// Money a year: median and limits. Below 0: it would cost more.
    pub per_year: Saving,
    /// Posterior probability that it saves anything.
    pub chance: f64,
}

/// What the recommendations are worth against today's practice, what is worth most first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OnOffer {
    pub rows: Vec<OfferRow>,
    /// All rows together; `None` without a row. Components are estimated from lives of their own
    /// and taken to tell nothing of each other; rows of one component to be high and low together.
    pub total: Option<Saving>,
    /// Names of components left out: renewed today whenever their access is opened.
    pub at_openings: Vec<String>,
    /// Machines left out: nothing tells how much they will run.
    pub without_usage: Vec<String>,
}

/// Costs of one stretch of the calendar.
#[derive(Debug, Clone)]
pub struct Stretch {
    pub span: Span,
    pub found: Breakdown,
    /// What each machine ran in it; `None`: its meter tells nothing.
    pub usage: BTreeMap<String, Option<f64>>,
}

/// Costs cut by the calendar.
#[derive(Debug, Clone)]
pub struct Stretches {
    pub every: Every,
    pub each: Vec<Stretch>,
}

/// Everything the part says.
pub struct MoneyFacts {
    pub currency: Currency,
    /// "Running hours".
    pub usage: String,
    /// "h".
    pub unit: String,
    pub confidence: f64,
    /// The day the ledger is taken at.
    pub as_of: NaiveDate,
    /// Names of components by id.
    pub names: BTreeMap<String, String>,
    /// The whole record.
    pub span: Span,
    /// The whole record by machine and component.
    pub whole: Breakdown,
    /// The last stretches by machine and component.
    pub over_time: Stretches,
    /// The whole record by kind, and its stretches.
    pub kinds: Breakdown,
    pub by_kind: Stretches,
    /// The last 12 months, or the whole of a shorter record, by component, mode and kind.
    pub recent: Span,
    pub causes: Breakdown,
    /// The last 12 months against those before, or the halves of a shorter record.
    pub change: Option<ChangeView>,
    pub saved: SavedView,
    pub offer: OnOffer,
    /// Of all machines in the last 12 months.
    pub indicators: Vec<Indicator>,
    /// What is to be known of all figures.
    pub notes: Vec<String>,
}

impl MoneyFacts {
    /// A component as the plant calls it.
    pub(super) fn name<'a>(&'a self, id: &'a str) -> &'a str {
        self.names.get(id).map_or(id, String::as_str)
    }
}
