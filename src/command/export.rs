//! `export`: the tables as files for other programs.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::ValueEnum;

use super::select::folders;
use super::{CommandError, Outcome, Ui};
use crate::store::{ExportKind, Options, Store};

/// Kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// Apache Parquet
    Parquet,
    /// Comma-separated text
    Csv,
    /// Apache Arrow IPC file
    Arrow,
}

/// Write the tables to files for other programs
///
/// One file a table: entries, lives, usage, renewal costs, the register. Times are UTC.
/// Files of the same names in the folder are replaced, each whole. In CSV, text that a
/// spreadsheet would run as a formula has a quote before it.
#[derive(Debug, clap::Args)]
pub struct ExportArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Folder to write to; made if it is not there
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Kind of file
    #[arg(
        long = "as",
        value_enum,
        default_value = "parquet",
        value_name = "KIND"
    )]
    kind: Kind,
    /// Table to write (can be repeated; default: all)
    #[arg(long = "table", value_name = "NAME")]
    tables: Vec<String>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Keep the loaded tables in this DuckDB file
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
}

pub fn run(args: &ExportArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let options = Options {
        keep: args.store.clone(),
        ..Options::default()
    };
    let store = Store::open(&folders(&args.ledgers), args.as_of, &options)?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let kind = match args.kind {
        Kind::Parquet => ExportKind::Parquet,
        Kind::Csv => ExportKind::Csv,
        Kind::Arrow => ExportKind::Arrow,
    };
    let written = store.export(&args.out, kind, &args.tables)?;
    let mut text = String::new();
    for (path, rows) in written {
        let word = if rows == 1 { "row" } else { "rows" };
        text.push_str(&format!("{}: {rows} {word}\n", path.display()));
    }
    ui.result(&text)?;
    Ok(Outcome::Done)
}
