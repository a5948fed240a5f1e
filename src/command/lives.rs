//! `lives`: the life table, and estimates without a model from it.

use std::path::PathBuf;

use chrono::NaiveDate;

use super::curves::{Asked, By, Estimate, no_estimate};
use super::select::{Select, folders, unit};
use super::{CommandError, Format, Outcome, Ui};
use crate::store::{Options, Store};
use crate::view::lives::LivesView;

/// Show the life of every item in every slot
///
/// One row a life, ended or still running. A failure found at an inspection lies between
/// two usages; a life that ended without failure, or still runs, is known only to be longer.
///
/// With --nonparametric or --incidence: what these lives say together, without a model.
#[derive(Debug, clap::Args)]
pub struct LivesArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Take lives from a CSV file with columns entry, lo, hi, count, group, mode instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "store"])]
    lives: Option<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// Estimate the share surviving (and cumulative hazard) step by step instead
    #[arg(long)]
    nonparametric: bool,
    /// Estimate the share failed by each failure mode, the others at work, instead
    #[arg(long, conflicts_with = "nonparametric")]
    incidence: bool,
    /// What to keep apart (can be repeated; default: component and position; with --lives: nothing)
    #[arg(long, value_enum, value_name = "WHAT", value_delimiter = ',')]
    by: Vec<By>,
    /// Failure mode; ends by other modes count as cut short (--incidence: show only this one)
    #[arg(long, value_name = "MODE")]
    mode: Option<String>,
    /// Probability that two-sided limits hold the truth (default: 0.9)
    #[arg(long, value_name = "SHARE", value_parser = super::select::confidence)]
    confidence: Option<f64>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Keep the loaded tables in this DuckDB file
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
}

impl LivesArgs {
    /// The estimate asked for, if it is one.
    fn asked(&self) -> Result<Option<Asked<'_>>, CommandError> {
        let estimate = match (self.nonparametric, self.incidence) {
            (true, _) => Estimate::Survival,
            (_, true) => Estimate::Incidence,
            _ => {
                let stray = [
                    ("--lives", self.lives.is_some()),
                    ("--by", !self.by.is_empty()),
                    ("--mode", self.mode.is_some()),
                    ("--confidence", self.confidence.is_some()),
                ];
                return match stray.iter().find(|(_, given)| *given) {
                    Some((flag, _)) => Err(CommandError::wrong_use(
                        format!("{flag} needs an estimate to be made"),
                        "add --nonparametric (share surviving) or --incidence (share failed by \
                         each mode)",
                    )),
                    None => Ok(None),
                };
            }
        };
        Ok(Some(Asked {
            estimate,
            by: &self.by,
            mode: self.mode.as_deref(),
            confidence: self.confidence.unwrap_or(0.9),
        }))
    }
}

pub fn run(args: &LivesArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let asked = args.asked()?;
    if let (Some(asked), Some(file)) = (&asked, &args.lives) {
        let groups = asked.read_file(file)?;
        return show_curves(args, asked, groups, ui);
    }
    let options = Options {
        keep: args.store.clone(),
        ..Options::default()
    };
    let store = Store::open(&folders(&args.ledgers), args.as_of, &options)?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    let mut rows = store.lives()?;
    rows.retain(|row| args.select.takes(row));
    if let Some(asked) = &asked {
        if let Some(mode) = asked.mode {
            args.select.check_mode(&store, mode)?;
        }
        let groups = asked.read_ledger(&store, &rows)?;
        return show_curves(args, asked, groups, ui);
    }
    let as_of = (!store.is_empty()).then(|| store.as_of());
    let view = LivesView::new(&rows, as_of, store.zone(), |component| {
        unit(&store, component)
    });
    let text = args
        .format
        .lay_out(|| view.text(), || view.json(), || view.csv())?;
    ui.result(&text)?;
    Ok(Outcome::Done)
}

fn show_curves(
    args: &LivesArgs,
    asked: &Asked<'_>,
    groups: Vec<super::curves::Group>,
    ui: &mut Ui,
) -> Result<Outcome, CommandError> {
    let (view, any) = asked.curves(groups);
    let text = args
        .format
        .lay_out(|| view.text(), || view.json(), || view.csv())?;
    ui.result(&text)?;
    if any {
        Ok(Outcome::Done)
    } else {
        Err(no_estimate())
    }
}
