//! `forecast`: how many failures and renewals to expect, and the parts to hold for them.
//!
//! In: the command line. Out: a forecast from a ledger (`forecast_ledger`) or for a stated life.
//! Never: statistics.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::ValueEnum;

use super::forecast_ledger::from_ledger;
use super::select::{Select, confidence, positive};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::model::Weibull;
use crate::policy::forecast::{SlotAhead, Tally, of_life};
use crate::policy::stock::holding;
use crate::quantity::trouble::Trouble;
use crate::view::forecast::{HoldingView, StatedView};

/// Tell how many failures and renewals to expect, and which parts to hold
///
/// Counts from the ages of the items in place now, for the weeks or the usage ahead, with the
/// doubt the data leave. Without a ledger: give a life (--shape, --scale), the ages and the usage
/// ahead.
#[derive(Debug, clap::Args)]
pub struct ForecastArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    pub(super) ledgers: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) select: Select,
    /// Weibull shape of a stated life
    #[arg(long, value_name = "NUMBER", value_parser = positive, requires_all = ["scale", "ages", "usage"],
          conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "weeks", "policy", "by", "parts"])]
    shape: Option<f64>,
    /// Weibull scale of a stated life
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "shape")]
    scale: Option<f64>,
    /// Usage on each item of a stated life (comma between; 0 for a new one)
    #[arg(long, value_name = "USAGE", value_parser = age, value_delimiter = ',', requires = "shape")]
    ages: Vec<f64>,
    /// Renew items of a stated life at this usage (default: at failure only)
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "shape")]
    renew_at: Option<f64>,
    /// Usage ahead; in a ledger that of the first usage kind, others in proportion
    #[arg(long, value_name = "USAGE", value_parser = positive)]
    pub(super) usage: Option<f64>,
    /// Weeks ahead, at each machine's recent usage per week (default: 13)
    #[arg(long, value_name = "NUMBER", value_parser = positive, conflicts_with = "usage")]
    pub(super) weeks: Option<f64>,
    /// When items are renewed before they fail
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    pub(super) policy: Policy,
    /// Chance that the parts held meet the demand (can be repeated; default: the register's service_level, else 0.95; for a stated life 0.8, 0.9 and 0.95)
    #[arg(long, value_name = "SHARE", value_parser = confidence, value_delimiter = ',')]
    pub(super) service: Vec<f64>,
    /// A row a machine as well
    #[arg(long, value_enum, value_name = "WHAT")]
    pub(super) by: Option<By>,
    /// Show the parts only
    #[arg(long)]
    pub(super) parts: bool,
    /// Probability that two-sided limits hold the number to come
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    pub(super) confidence: f64,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    pub(super) as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
pub(super) enum Policy {
    /// At the recommended interval; where there is no verdict, as at present
    #[default]
    Recommended,
    /// At the register's present interval
    Present,
    /// Only at failure, or at a ceiling
    RunToFailure,
}

impl Policy {
    pub(super) fn word(self) -> &'static str {
        match self {
            Policy::Recommended => "recommended",
            Policy::Present => "present",
            Policy::RunToFailure => "run to failure",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum By {
    /// Each machine by itself
    Machine,
}

fn age(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(value) if value.is_finite() && value >= 0.0 => Ok(value),
        _ => Err("write a usage of 0 or more".into()),
    }
}

pub fn run(args: &ForecastArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let text = if let (Some(shape), Some(scale), Some(usage)) = (args.shape, args.scale, args.usage)
    {
        let view = stated(args, shape, scale, usage)?;
        args.format
            .lay_out(|| view.table(), || view.json(), || view.csv())?
    } else {
        let view = from_ledger(args, ui)?;
        args.format
            .lay_out(|| view.table(), || view.json(), || view.csv())?
    };
    ui.result(&text)?;
    Ok(Outcome::Done)
}

fn stated(
    args: &ForecastArgs,
    shape: f64,
    scale: f64,
    usage: f64,
) -> Result<StatedView, CommandError> {
    let Some(life) = Weibull::new(shape, scale) else {
        return Err(CommandError::wrong_use(
            "shape and scale must be above 0",
            "check the two",
        ));
    };
    let slots: Vec<SlotAhead> = args
        .ages
        .iter()
        .map(|age| SlotAhead { age: *age, usage })
        .collect();
    let tallies = [Tally::Failures, Tally::Renewals];
    let found = of_life(&life, args.renew_at, &[slots], &tallies).map_err(|error| {
        CommandError::new(
            Fault::NoAnswer,
            Trouble::error("forecast", error.to_string())
                .cured_by("look less far ahead (--usage), or check --shape and --scale"),
        )
    })?;
    let mut found = found.into_iter().flatten();
    // One set was asked for, by two tallies.
    let (Some(failures), Some(renewals)) = (found.next(), found.next()) else {
        return Err(CommandError::wrong_use("no age was given", "give --ages"));
    };
    let services = if args.service.is_empty() {
        vec![0.8, 0.9, 0.95]
    } else {
        args.service.clone()
    };
    let stock = services
        .iter()
        .map(|service| HoldingView::from(holding(&renewals, *service)))
        .collect();
    Ok(StatedView::new(
        &failures,
        &renewals,
        args.confidence,
        args.renew_at,
        stock,
    ))
}
