//! `interval`: when to renew each component.
//!
//! In: the command line. Out: recommendations from a ledger (`interval_ledger`), from a file of
//! lives (`interval_file`) or from a stated life. Never: statistics.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::ValueEnum;

use super::interval_file::from_file;
use super::interval_grouped;
use super::interval_ledger::from_ledger;
use super::interval_look::RISK;
use super::select::{Select, confidence, positive};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::life::Life;
use crate::model::Weibull;
use crate::model::posterior::ShapePrior;
use crate::policy::modes::{ModeRole, roles};
use crate::policy::siblings::Pooling;
use crate::policy::{Costs, age_policy, block_policy, minimal_repair};
use crate::quantity::trouble::Trouble;
use crate::view::stated::PolicyView;

/// Recommend when to renew each component
///
/// Weighs planned renewal against failure, with the doubt the data leave. "Not enough
/// evidence" is an answer, and so is to look, where what is measured foretells failures and
/// looking is cheaper. Without a ledger: give a life (--shape, --scale) or a file of
/// lives (--lives), and the two costs.
#[derive(Debug, clap::Args)]
pub struct IntervalArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    pub(super) ledgers: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) select: Select,
    /// Plan the stops of each machine: a base interval, and a whole multiple of it for every slot
    #[arg(long, conflicts_with_all = ["component", "position", "lives", "shape", "planned_cost", "failed_cost"])]
    grouped: bool,
    /// Decide from lives in a CSV file with columns entry, lo, hi, count, group, mode instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "shape"],
          requires_all = ["planned_cost", "failed_cost"])]
    pub(super) lives: Option<PathBuf>,
    /// With --lives: one recommendation a group
    #[arg(long, value_enum, value_name = "WHAT", requires = "lives")]
    pub(super) by: Option<By>,
    /// How far positions, or a file's groups, lean on each other (default: partial for a ledger, none for a file)
    #[arg(long, value_enum, value_name = "HOW", conflicts_with = "shape")]
    pub(super) pool: Option<Pool>,
    /// Weibull shape of a stated life
    #[arg(long, value_name = "NUMBER", value_parser = positive, requires_all = ["scale", "planned_cost", "failed_cost"],
          conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine"])]
    shape: Option<f64>,
    /// Weibull scale of a stated life
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "shape")]
    scale: Option<f64>,
    /// Whole cost of one planned renewal (default: from the ledger's jobs, else the register)
    #[arg(long, value_name = "COST", value_parser = positive)]
    pub(super) planned_cost: Option<f64>,
    /// Whole cost of one failure (default: from the ledger's jobs, else the register)
    #[arg(long, value_name = "COST", value_parser = positive)]
    pub(super) failed_cost: Option<f64>,
    /// What to minimise for a stated life
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    policy: Policy,
    /// Chance that renewal pays from which it is recommended
    #[arg(long, default_value_t = 0.8, value_name = "SHARE", value_parser = sure)]
    pub(super) sure: f64,
    /// Chance to be beyond a measured limit before the look at it (with a ledger)
    #[arg(long, default_value_t = RISK, value_name = "SHARE", value_parser = risk)]
    pub(super) risk: f64,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    pub(super) confidence: f64,
    /// Prior for the shape: "none", or its 5 % and 95 % points as LOW,HIGH (default: weak, 0.75 to 5.4)
    #[arg(long, value_name = "PRIOR", value_parser = super::select::shape_prior)]
    pub(super) shape_prior: Option<ShapePrior>,
    /// With --lives: round intervals down to a multiple of this usage
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "lives")]
    pub(super) grid: Option<f64>,
    /// With --lives: usage no interval may pass
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "lives")]
    pub(super) ceiling: Option<f64>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    pub(super) as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum By {
    /// The column group of the file
    Group,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Pool {
    /// Each on its own lives
    None,
    /// Each leans on its siblings as far as the data say
    Partial,
    /// All lives together, but for what clearly differs
    All,
}

impl From<Pool> for Pooling {
    fn from(pool: Pool) -> Self {
        match pool {
            Pool::None => Pooling::None,
            Pool::Partial => Pooling::Partial,
            Pool::All => Pooling::All,
        }
    }
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Policy {
    /// Renew at an age or at failure: least cost
    #[default]
    Age,
    /// Renew all at fixed intervals, and at each failure: least cost
    Block,
    /// Replace at fixed intervals, mend failures in between (--failed-cost: of one repair)
    MinimalRepair,
    /// As age, with the two costs as hours out of service: least downtime
    Downtime,
}

impl Policy {
    fn word(self) -> &'static str {
        match self {
            Policy::Age => "age",
            Policy::Block => "block",
            Policy::MinimalRepair => "minimal-repair",
            Policy::Downtime => "downtime",
        }
    }
}

fn sure(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.5 && value < 1.0 => Ok(value),
        _ => Err("write a chance between 0.5 and 1, as 0.8".into()),
    }
}

fn risk(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value <= 0.5 => Ok(value),
        _ => Err("write a chance above 0 and at most 0.5, as 0.05".into()),
    }
}

pub fn run(args: &IntervalArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let (Some(shape), Some(scale)) = (args.shape, args.scale) {
        return stated(args, shape, scale, ui);
    }
    if args.policy != Policy::Age {
        return Err(CommandError::wrong_use(
            format!(
                "--policy {} needs a stated life (--shape, --scale)",
                args.policy.word()
            ),
            "from data the policy is age; for least downtime give hours out of service as the two \
             costs",
        ));
    }
    if args.grouped {
        let view = interval_grouped::from_ledger(args, ui)?;
        ui.result(
            &args
                .format
                .lay_out(|| view.table(), || view.json(), || view.csv())?,
        )?;
        return Ok(Outcome::Done);
    }
    let view = match &args.lives {
        Some(file) => from_file(args, file)?,
        None => from_ledger(args, ui)?,
    };
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    Ok(Outcome::Done)
}

/// The two costs of a stated life or a file.
pub(super) fn given_costs(args: &IntervalArgs) -> Result<Costs, CommandError> {
    // Both are required beside --shape and --lives.
    let (Some(planned), Some(failed)) = (args.planned_cost, args.failed_cost) else {
        return Err(CommandError::wrong_use(
            "two costs are needed",
            "give --planned-cost and --failed-cost",
        ));
    };
    Costs::new(planned, failed)
        .map_err(|error| CommandError::new(Fault::Use, Trouble::error("cost", error.to_string())))
}

fn stated(
    args: &IntervalArgs,
    shape: f64,
    scale: f64,
    ui: &mut Ui,
) -> Result<Outcome, CommandError> {
    let costs = given_costs(args)?;
    let Some(life) = Weibull::new(shape, scale) else {
        return Err(CommandError::wrong_use(
            "shape and scale must be above 0",
            "check the two",
        ));
    };
    let view = match args.policy {
        Policy::Age | Policy::Downtime => {
            PolicyView::new(args.policy.word(), &age_policy(&life, costs))
        }
        Policy::Block => {
            let found = block_policy(&life, costs).map_err(|error| {
                CommandError::new(Fault::NoAnswer, Trouble::error("block", error.to_string()))
            })?;
            PolicyView::new(args.policy.word(), &found)
        }
        Policy::MinimalRepair => PolicyView::repaired(
            args.policy.word(),
            &minimal_repair(&life, costs),
            life.mean(),
        ),
    };
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    Ok(Outcome::Done)
}

/// The roles of modes, where any failure has one stated.
pub(super) fn stated_roles(
    lives: &[(Life, Option<&str>)],
    interval: Option<f64>,
    confidence: f64,
) -> Vec<ModeRole> {
    if lives
        .iter()
        .any(|(life, mode)| life.failed() && mode.is_some())
    {
        roles(lives, interval, confidence)
    } else {
        Vec::new()
    }
}
