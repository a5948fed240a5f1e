//! The truth behind a simulated ledger: lives, faults, habits and mishaps, as stated in `truth.toml`.
//!
//! In: TOML text. Out: [`Truth`], plain data.
//! Never: files, clock, printing. Checking it against a register is `check`'s job.
//!
//! Usages are in the meter's unit (running hours), `_h` in hours, `_share` 0 to 1.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Deserializer};

/// Everything the simulated world knows and its people do not.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    pub record: Record,
    pub running: Running,
    pub crew: Crew,
    #[serde(rename = "machine")]
    pub machines: Vec<MachineTruth>,
    #[serde(rename = "component")]
    pub components: Vec<ComponentTruth>,
    /// One slot whose parts live longer or shorter than elsewhere.
    #[serde(rename = "slot", default)]
    pub slots: Vec<SlotTruth>,
    #[serde(rename = "bad_batch", default)]
    pub bad_batches: Vec<BadBatch>,
    #[serde(rename = "wear", default)]
    pub wear: Vec<Wear>,
    #[serde(rename = "meter_exchange", default)]
    pub meter_exchanges: Vec<MeterExchange>,
    #[serde(rename = "sent_away", default)]
    pub sent_away: Vec<SentAway>,
    #[serde(rename = "move", default)]
    pub moves: Vec<Move>,
    #[serde(rename = "damage", default)]
    pub damages: Vec<Damage>,
    #[serde(rename = "new_type", default)]
    pub new_types: Vec<NewType>,
    #[serde(rename = "expense", default)]
    pub expenses: Vec<Expense>,
    #[serde(rename = "mistake", default)]
    pub mistakes: Vec<Mistake>,
}

/// What is written down, by whom, where and when.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    #[serde(deserialize_with = "day")]
    pub first_day: NaiveDate,
    #[serde(deserialize_with = "day")]
    pub last_day: NaiveDate,
    /// Book for jobs, and the one for weekly readings.
    pub job_book: String,
    pub reading_book: String,
    /// Jobs begun between 22:00 and 06:00 go into the reading book.
    #[serde(default)]
    pub night_jobs_in_reading_book: bool,
    pub fitters: Vec<String>,
    pub operators: Vec<String>,
    /// Share of jobs and readings written up one to four days late.
    #[serde(default)]
    pub late_share: f64,
    /// Share of weekly readings never taken.
    #[serde(default)]
    pub missed_share: f64,
}

/// How the machines are run.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Running {
    /// The meter all lives are counted on.
    pub meter: String,
    pub season: f64,
    pub scatter: f64,
    #[serde(default)]
    pub shutdown_weeks: Vec<u32>,
}

/// What the crew does without knowing when a part would fail.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Crew {
    /// A planned stop every so many weeks.
    pub stop_every_weeks: u32,
    /// Share of faults found at an opening whose part stays in until the next stop.
    #[serde(default)]
    pub left_in_share: f64,
    /// Everything is opened and looked at in the last stop of the record.
    #[serde(default)]
    pub closing_inspection: bool,
    #[serde(rename = "inspection", default)]
    pub inspections: Vec<Inspection>,
}

/// An access opened at fixed times, whatever the state of the parts behind it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Inspection {
    pub access: String,
    pub every_weeks: u32,
    /// Production hours lost by one inspection of a whole machine.
    pub stop_h: f64,
}

/// What is known of the parts in place when the record begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Ages {
    New,
    Known,
    Unknown,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MachineTruth {
    pub tag: String,
    pub hours_per_week: f64,
    /// Day of the planned stop, 1 = Monday … 5 = Friday.
    pub stop_day: u32,
    pub meter_at_start: f64,
    pub ages: Ages,
}

/// How long a component lives and what the crew does about it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ComponentTruth {
    pub id: String,
    pub shape: f64,
    pub scale: f64,
    #[serde(rename = "mode")]
    pub modes: Vec<ModeTruth>,
    /// Renewed at this usage, give or take `renew_scatter` (relative); absent: only at failure.
    pub renew_at: Option<f64>,
    #[serde(default)]
    pub renew_scatter: f64,
    /// True: a part that is due waits until its access is inspected.
    #[serde(default)]
    pub waits_for_inspection: bool,
    /// Renewed when exposed from this part of `renew_at` on; absent: never for that reason.
    pub opportunity_from: Option<f64>,
    /// Factors on the scale by position (`P4`) or by the end of its name (`discharge`).
    #[serde(default)]
    pub position_factor: BTreeMap<String, f64>,
    /// Two letters before the batch code; absent: no batches kept.
    pub batch: Option<String>,
    /// Letters before the serial number; absent: no serials kept.
    pub serial: Option<String>,
    /// Part number fitted at first.
    pub part: Option<String>,
}

/// One way to fail. The mode of a part is drawn without regard to its life, so that all
/// ends together follow one Weibull distribution.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModeTruth {
    pub name: String,
    pub share: f64,
    pub seen: Seen,
    /// What the crew calls it.
    #[serde(default)]
    pub called: Called,
}

/// When a failure shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Seen {
    /// At once: the machine stops.
    Running,
    /// Not before the next opening.
    Opening,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Called {
    #[default]
    Failed,
    Worn,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SlotTruth {
    pub machine: String,
    pub component: String,
    pub position: String,
    pub factor: f64,
}

/// Parts of one delivery that do not last; the crew fits them in a stated window.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BadBatch {
    pub component: String,
    pub batch: String,
    #[serde(deserialize_with = "day")]
    pub from: NaiveDate,
    #[serde(deserialize_with = "day")]
    pub to: NaiveDate,
    pub factor: f64,
}

/// A quantity measured when its part is exposed.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wear {
    pub component: String,
    pub quantity: String,
    pub unit: String,
    pub zone: Option<String>,
    /// Reading on a new part, and its scatter from part to part.
    pub new: f64,
    pub new_sd: f64,
    /// Change per 1,000 of usage, with relative scatter from part to part.
    pub per_1000: Option<f64>,
    #[serde(default)]
    pub item_scatter: f64,
    /// Instead: the reading at the end of the part's life, reached along a straight line.
    pub at_end: Option<f64>,
    /// Length the reading is taken over, m.
    pub span: Option<f64>,
    /// Adds what the part of this component at the same position has lost since new.
    pub plus_loss_of: Option<String>,
    /// Standard deviation of a reading.
    pub noise: f64,
    pub decimals: u16,
    /// Share of openings at which it is measured.
    pub share: f64,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeterExchange {
    pub machine: String,
    #[serde(deserialize_with = "day")]
    pub day: NaiveDate,
    pub new_value: f64,
}

/// A part taken out in a shutdown and put back where it was.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SentAway {
    pub machine: String,
    pub component: String,
    pub position: String,
    #[serde(deserialize_with = "day")]
    pub out: NaiveDate,
    #[serde(deserialize_with = "day")]
    pub back: NaiveDate,
    pub note: String,
}

/// A sound part taken out at one position, kept, and fitted later at another.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    pub machine: String,
    pub component: String,
    pub from: String,
    pub to: String,
    #[serde(deserialize_with = "day")]
    pub out: NaiveDate,
    #[serde(deserialize_with = "day")]
    pub back: NaiveDate,
    pub note: String,
}

/// A part spoilt by handling at the first stop from this day on.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Damage {
    pub machine: String,
    pub component: String,
    pub position: String,
    #[serde(deserialize_with = "day")]
    pub day: NaiveDate,
    pub note: String,
}

/// From this day on another part number is fitted; at one machine at once.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewType {
    pub component: String,
    pub part: String,
    #[serde(deserialize_with = "day")]
    pub day: NaiveDate,
    pub changed_at_once_on: Option<String>,
}

/// Something paid for that belongs to no job.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expense {
    pub what: String,
    pub cost: f64,
    pub every_weeks: u32,
}

/// A wrong entry, withdrawn within hours and stated anew.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mistake {
    pub kind: MistakeKind,
    /// The first fitting entry from this day on is the one got wrong.
    #[serde(deserialize_with = "day")]
    pub after: NaiveDate,
    pub why: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MistakeKind {
    /// A meter reading a thousand too high.
    Reading,
    /// A renewal written to a neighbouring position.
    Position,
    /// Labour hours with a slipped decimal point.
    Labour,
    /// A measured value with two digits exchanged.
    Measured,
}

fn day<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveDate, D::Error> {
    use serde::de::Error;
    let given = toml::value::Datetime::deserialize(from)?;
    let (Some(date), None) = (given.date, given.time) else {
        return Err(D::Error::custom(
            "a day is written 2021-06-07, without a time",
        ));
    };
    NaiveDate::from_ymd_opt(i32::from(date.year), date.month.into(), date.day.into())
        .ok_or_else(|| D::Error::custom("there is no such day"))
}

impl ComponentTruth {
    /// The factor on the scale at a position: its own times that of the end of its name.
    pub fn factor_at(&self, position: &str) -> f64 {
        let own = self.position_factor.get(position);
        let end = position
            .split_once('.')
            .and_then(|(_, end)| self.position_factor.get(end));
        own.copied().unwrap_or(1.0) * end.copied().unwrap_or(1.0)
    }
}

impl Truth {
    /// The scale of the Weibull distribution at one slot, bad batches aside.
    pub fn scale_at(&self, component: &ComponentTruth, machine: &str, position: &str) -> f64 {
        let slot: f64 = self
            .slots
            .iter()
            .filter(|s| {
                s.machine == machine && s.component == component.id && s.position == position
            })
            .map(|s| s.factor)
            .product();
        component.scale * component.factor_at(position) * slot
    }
}
