//! `merge`: the books of other ledger folders come into this one.

use std::path::{Path, PathBuf};

use chrono::Utc;

use super::record::patience;
use super::{CommandError, Format, Outcome, Ui};
use crate::book::{self, MergeHow, SystemDisk};
use crate::quantity::counted;
use crate::quantity::trouble::{Severity, Trouble, shown};
use crate::view::merge::MergeView;

/// Merge the books of other ledgers into one
///
/// New books are copied, and books that are here already get the lines they lack: a book
/// is known by its first line, whatever its file is called. If a book was written on in
/// two places, or a register means something else by the same word, nothing at all is
/// merged. Merging again changes nothing.
///
/// Exit code 1: merged, and there are entries that do not fit this ledger's register or
/// each other.
#[derive(Debug, clap::Args)]
pub struct MergeArgs {
    /// Ledger folder, folder of ledgers, or single book to merge from (can be repeated)
    #[arg(required = true)]
    from: Vec<PathBuf>,
    /// Ledger folder to merge into
    #[arg(long, value_name = "LEDGER")]
    into: PathBuf,
    /// Tell what would be done, and write nothing
    #[arg(long)]
    dry_run: bool,
    /// How long to wait while another program records in the ledger
    #[arg(long, value_name = "SECONDS", default_value_t = 60)]
    wait: u32,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

pub fn run(args: &MergeArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let how = MergeHow {
        dry_run: args.dry_run,
        now: Utc::now(),
        disk: &SystemDisk,
        patience: patience(args.wait, ui),
    };
    let merged = book::merge(&args.from, &args.into, how)?;
    for set_aside in &merged.set_aside {
        ui.trouble(&set_aside.trouble());
    }
    for torn in &merged.torn {
        ui.trouble(torn);
    }
    let view = MergeView::new(&merged, args.dry_run);
    let text = args
        .format
        .lay_out(|| view.text(), || view.json(), || view.csv())?;
    ui.result(&text)?;
    if merged.misfits.is_empty() {
        return Ok(Outcome::Done);
    }
    ui.trouble(&misfit(&merged.misfits, &args.into));
    Ok(Outcome::Findings)
}

fn misfit(misfits: &std::collections::BTreeMap<&'static str, usize>, into: &Path) -> Trouble {
    let all: usize = misfits.values().sum();
    let kinds: Vec<String> = misfits
        .iter()
        .map(|(kind, count)| format!("{kind} {count}"))
        .collect();
    let what = format!(
        "{} not fit the register or other entries",
        counted(all as u64, "entry does", "entries do")
    );
    Trouble::error("misfits", what)
        .with_severity(Severity::Warning)
        .because(format!("By kind: {}.", kinds.join(", ")))
        .cured_by(
            format!(
                "each is told, with its cure, by: wearbook check {}",
                shown(into)
            )
            .trim_end(),
        )
}
