//! `lives`: the life table.

use std::path::PathBuf;

use chrono::NaiveDate;

use super::select::{Select, folders, unit};
use super::{CommandError, Format, Outcome, Ui};
use crate::store::{Options, Store};
use crate::view::lives::LivesView;

/// Show the life of every item in every slot
///
/// One row a life, ended or still running. A failure found at an inspection lies between
/// two usages; a life that ended without failure, or still runs, is known only to be longer.
#[derive(Debug, clap::Args)]
pub struct LivesArgs {
    /// Ledger folder (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// Take the ledger as it stood on this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Keep the loaded tables in this DuckDB file
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
}

pub fn run(args: &LivesArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let options = Options {
        keep: args.store.clone(),
    };
    let store = Store::open(&folders(&args.ledgers), args.as_of, &options)?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    let mut rows = store.lives()?;
    rows.retain(|row| args.select.takes(row));
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
