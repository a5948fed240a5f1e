//! `seal`: what the books are now, to be noted where nobody who writes them can reach it.

use std::path::{Path, PathBuf};

use super::select::fleet;
use super::{CommandError, Format, Outcome, Ui};
use crate::book;
use crate::view::seal::SealView;

/// Print what every book is now, to note elsewhere
///
/// Each book's number of lines and the name of its last line, which stands for all lines
/// before it. Keep the text away from the ledger: in a logbook, a mail, with an auditor.
/// `wearbook check --seal FILE` proves later that the books only grew since.
#[derive(Debug, clap::Args)]
pub struct SealArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Seal the name of every line, so that the very first line changed can be told
    #[arg(long)]
    lines: bool,
    /// Layout of the result; `check --seal` reads table and json
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

pub fn run(args: &SealArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let fleet = fleet(&args.ledgers)?;
    let ledgers = fleet
        .iter()
        .map(|(folder, prefix)| -> (&Path, &str) { (folder, prefix) });
    let (seal, torn) = book::seal(ledgers, args.lines)?;
    for trouble in &torn {
        ui.trouble(trouble);
    }
    let view = SealView::new(&seal);
    let text = args
        .format
        .lay_out(|| view.text(), || view.json(), || view.csv())?;
    ui.result(&text)?;
    Ok(Outcome::Done)
}
