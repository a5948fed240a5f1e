//! `recur`: the repairable view: how failures come as machines and slots run on.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::ValueEnum;
use rayon::prelude::*;

use super::histories::{History, gather};
use super::select::{Select, folders};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::intake::events_csv;
use crate::quantity::counted;
use crate::quantity::trouble::Trouble;
use crate::recurrence::{Analysis, Unit, Units};
use crate::store::{Options, Store};
use crate::view::recur::{BodyView, GroupName, GroupView, McfLimits, RecurView};

/// Show how failures come as machines run on: mean count, trend, power law
///
/// A machine that is repaired goes on; this looks at the whole of it, not at one part's life.
/// Tells whether failures come faster or slower with usage, and how sure that is.
#[derive(Debug, clap::Args)]
pub struct RecurArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Take events from a CSV file with columns unit, time, event, start instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "by"])]
    events: Option<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// Whose failures are counted together
    #[arg(long, value_enum, default_value_t, value_name = "WHAT")]
    by: By,
    /// Limits of the mean count (default: student; with --events: normal)
    #[arg(long, value_enum, value_name = "KIND")]
    limits: Option<Kind>,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = super::select::confidence)]
    confidence: f64,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

/// Whose failures are counted together.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
pub enum By {
    /// Each machine on its own, by its main meter
    #[default]
    Machine,
    /// Each component over its slots, by the usage of the lives in them
    Slot,
    /// Each component over its machines, by the meter that ages it
    Component,
    /// All machines together, by their main meters
    Fleet,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// Normal quantile, as published tables have them: for 20 units or more
    Normal,
    /// Student's quantile, for few units
    Student,
}

impl From<Kind> for McfLimits {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Normal => McfLimits::Normal,
            Kind::Student => McfLimits::Student,
        }
    }
}

pub fn run(args: &RecurArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let (histories, notes, default) = match &args.events {
        Some(file) => (vec![from_file(file)?], Vec::new(), Kind::Normal),
        None => {
            let (histories, notes) = from_ledger(args, ui)?;
            (histories, notes, Kind::Student)
        }
    };
    let limits: (McfLimits, f64) = (args.limits.unwrap_or(default).into(), args.confidence);
    let groups = histories
        .into_par_iter()
        .map(|history| {
            let found = Analysis::of(&history.units);
            let unit = (!history.usage_unit.is_empty()).then_some(history.usage_unit);
            GroupView {
                name: history.name,
                body: BodyView::new(&history.units, &found, limits, unit, history.notes),
            }
        })
        .collect();
    let view = RecurView {
        groups,
        notes,
        alone: args.events.is_some(),
    };
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    Ok(Outcome::Done)
}

fn from_file(file: &Path) -> Result<History, CommandError> {
    let mut units = Vec::new();
    let (mut open, mut met) = (Vec::new(), Vec::new());
    for unit in events_csv::read(file)? {
        let checked = Unit::new(unit.start, unit.end, unit.events).map_err(|error| {
            CommandError::new(
                Fault::Data,
                Trouble::error("events-file", format!("unit {}: {error}", unit.name))
                    .in_file(file.display().to_string()),
            )
        })?;
        match unit.end {
            None => open.push(unit.name),
            Some(_) if checked.ended_by_event() => met.push(unit.name),
            Some(_) => {}
        }
        units.push(checked);
    }
    let mut notes = Vec::new();
    let list = |names: &[String]| match names {
        [one] => format!("unit {one}"),
        [first, .., last] if names.len() > 6 => {
            let count = counted(names.len() as u64, "unit", "units");
            format!("{count}, {first} to {last},")
        }
        _ => format!("units {}", names.join(", ")),
    };
    if !open.is_empty() {
        notes.push(format!(
            "{}: no end row, so the watch ended with the last event (failure truncation); the \
             trend tests leave that event out",
            list(&open)
        ));
    }
    if !met.is_empty() {
        notes.push(format!(
            "{}: the end is the last event, so the event ended the watch (failure truncation); \
             the trend tests leave it out",
            list(&met)
        ));
    }
    Ok(History {
        name: GroupName::default(),
        units: Units::new(units),
        usage_unit: String::new(),
        failures: 0,
        found: 0,
        notes,
    })
}

/// Groups of which, at a level of 5 %, one stands out by chance alone now and then.
const SEVERAL: usize = 4;

fn from_ledger(args: &RecurArgs, ui: &mut Ui) -> Result<(Vec<History>, Vec<String>), CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let histories = gather(&store, &args.select, args.by)?;
    let mut notes = vec![match args.by {
        By::Slot => "parts are renewed in a slot: a trend speaks of the slot and its care, not of \
                     the ageing of one part (see fit). Where parts wear and were new at the start, \
                     failures are few at first, which alone looks like a trend until about two \
                     lives have passed"
            .to_owned(),
        _ => "parts of a machine are renewed: a trend speaks of the machine and its care, not of \
              the ageing of one part (see fit)"
            .to_owned(),
    }];
    notes.push(
        "the tests compare with failures that come by chance at a steady rate; renewal at set \
         usages makes them come more evenly, and then the tests find a trend less often than \
         they say"
            .into(),
    );
    let sum = |of: fn(&History) -> u64| histories.iter().map(of).sum::<u64>();
    let found = sum(|h| h.found);
    if found > 0 {
        notes.push(format!(
            "{found} of {} found at an inspection: each counts at the moment it was found, later \
             than it came",
            counted(sum(|h| h.failures), "failure was", "failures were")
        ));
    }
    if histories.len() >= SEVERAL {
        notes.push(format!(
            "with {} groups, each test has about a {:.0} % chance to show p below 0.05 somewhere \
             without any trend",
            histories.len(),
            100.0 * (1.0 - 0.95_f64.powi(histories.len() as i32))
        ));
    }
    Ok((histories, notes))
}
