//! What the report is built from: per component its lives, the groups they were weighed in,
//! and what was decided.
//!
//! In: nothing. Out: plain structs that a command fills from store, model and policy.
//! Never: words, charts, files.

use std::sync::OnceLock;

use chrono::NaiveDate;

use super::first::About;
use crate::life::{Flag, LifeRow, Sample};
use crate::model::posterior::Posterior;
use crate::model::trend::{NoTrend, Trend};
use crate::policy::Recommendation;
use crate::policy::age::Costs;
use crate::policy::evidence::Tried;
use crate::policy::modes::ModeRole;
use crate::policy::recommend::Terms;
use crate::policy::siblings::Found;
use crate::quantity::trouble::Trouble;
use crate::recurrence::trend::Trend as RateTrend;
use crate::view::interval::LookView;

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
    /// Two-sided probability of all limits.
    pub confidence: f64,
    /// Book, lines, SHA-256 of the last line.
    pub heads: Vec<(String, u64, String)>,
    /// What a check of the ledgers found.
    pub findings: Vec<Trouble>,
    /// The plants' own cautions; the usual ones are shown in any case.
    pub cautions: Vec<String>,
    /// What is known beside the components.
    pub about: About,
    /// Components that get pages of their own, those with most money at stake first; all others
    /// share a table. None: the report has no part for engineers.
    pub in_full: Option<usize>,
}

/// Components in full where nothing else is asked for.
pub const IN_FULL: usize = 12;

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
    /// First day on which an item was put in, in the plant's time zone.
    pub since: Option<NaiveDate>,
    /// All rows of the life table.
    pub rows: Vec<LifeRow>,
    /// How many of them stay out of the fits, by reason.
    pub excluded: Vec<(Flag, usize)>,
    /// Every slot of the component, in the order to show them.
    pub slots: Vec<Slot>,
    /// The pool first, then positions that lean on each other (the pool then answers for no
    /// slot), then the slots set apart; empty without any life.
    pub groups: Vec<Group>,
    /// Usage at which the crew renews it today.
    pub present: Option<f64>,
    /// A ceiling and where it comes from.
    pub ceiling: Option<(f64, String)>,
    /// Planning grid its intervals are rounded down to.
    pub grid: Option<f64>,
    /// Where the shape prior comes from, with its 5 % and 95 % points; none for the weak prior.
    pub prior: Option<(f64, f64, String)>,
    /// Whether successive items in a slot last as long as those before; none where not asked.
    pub successive: Option<Result<Trend, NoTrend>>,
    /// Whether failures come faster or slower as slots run on; none where not asked.
    pub rate: Option<RateTrend>,
    /// What was compared to set groups apart; none where nothing was to be.
    pub tried: Option<Tried>,
    /// How far the positions (or machines) of the pool differ, where that was looked at.
    pub alike: Option<Found>,
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
    /// Usage the machine is expected to see in a year; none where the register tells of none.
    pub usage_a_year: Option<f64>,
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

/// Which lives a group holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scope {
    /// All but what is set apart, which is named here: "H-02 P2", "batch VS-17".
    Pool(Vec<String>),
    /// A slot, position or machine set apart: "H-02 P2", "position P2", "machine H-02".
    Place(String),
    /// A batch set apart: its name. No slot's interval rests on it.
    Batch(String),
}

impl Scope {
    /// "all positions", "all positions but H-02 P2", "H-02 P2", "batch VS-17".
    pub fn words(&self) -> String {
        match self {
            Scope::Pool(but) if but.is_empty() => "all positions".to_owned(),
            Scope::Pool(but) => format!("all positions but {}", super::words::list(but)),
            Scope::Place(place) => place.clone(),
            Scope::Batch(batch) => format!("batch {batch}"),
        }
    }
}

/// Lives weighed together.
#[derive(Debug, Clone)]
pub struct Group {
    /// Which lives.
    pub scope: Scope,
    /// Slots (machine, position) whose interval rests on this group; none for a batch.
    pub slots: Vec<(String, String)>,
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
    /// Failure modes among its lives; none where none was stated.
    pub modes: Vec<ModeRole>,
    /// For a slot set apart: p-value (adjusted) and life relative to the rest.
    pub apart: Option<(f64, f64)>,
    /// For positions that lean on their siblings.
    pub leaning: Option<Leaning>,
    /// A look at the item that costs less than renewing by age and than running to failure.
    pub look: Option<LookView>,
    /// What the decision rests on, once it was asked for.
    pub kept: Kept,
}

/// A posterior made once; of many lives that takes a while.
#[derive(Debug, Clone, Default)]
pub struct Kept(OnceLock<Option<Posterior>>);

impl Group {
    /// What the decision rests on: that of the least sure where positions lean on each other.
    /// None where nothing has failed, or the lives leave it open.
    pub fn posterior(&self) -> Option<&Posterior> {
        match &self.leaning {
            Some(leaning) => Some(&leaning.posterior),
            None => {
                let make = || Posterior::new(&self.sample, self.terms.prior).ok();
                self.kept.0.get_or_init(make).as_ref()
            }
        }
    }
}

/// How the positions of a group lean on their siblings.
#[derive(Debug, Clone)]
pub struct Leaning {
    /// What the recommendation rests on: that of the least sure of them.
    pub posterior: Posterior,
    /// Share of each position's estimate that is its siblings'.
    pub borrowed: Vec<f64>,
}
