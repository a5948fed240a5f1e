//! `check`: every chain, the register, and the quality of the record.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use chrono::Utc;

use super::ui::lay_out;
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::book::{Depth, Prover, Together, ledger_folders, look_over, read_seals};
use crate::quantity::counted;
use crate::quantity::trouble::{Severity, Trouble, shown};
use crate::view::findings::{BookRow, FindingsView};

/// Look a ledger over: chains, register, quality of the record
///
/// Every finding is told with its place, what is wrong, on what evidence, and how to
/// mend it. Exit code 0: nothing beyond notes; 1: warnings; 3: the ledger cannot be
/// relied on as it stands (a broken chain, an unreadable line, a faulty register, a seal
/// that does not hold).
#[derive(Debug, clap::Args)]
pub struct CheckArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Prove that the books only grew since they were sealed: what `wearbook seal` printed
    #[arg(long, value_name = "FILE")]
    seal: Option<PathBuf>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Hold entries against their like besides: said twice, or a size far off the others
    #[arg(long)]
    deep: bool,
    /// Show every finding in the table, also where many are of one kind
    #[arg(long)]
    all: bool,
}

/// In the table, findings of one kind beyond this many are counted, not shown.
const SHOWN: usize = 10;

pub fn run(args: &CheckArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let now = Utc::now();
    let depth = if args.deep { Depth::Deep } else { Depth::Plain };
    let mut troubles = Vec::new();
    let mut books = Vec::new();
    let mut entries = 0;
    let mut prover = args.seal.as_deref().map(prover).transpose()?;
    let mut together = Together::default();
    let folders = ledger_folders(&args.ledgers)?;
    for folder in &folders {
        let survey = depth.survey(folder)?;
        let prefix = match folders.len() {
            1 => String::new(),
            _ => format!("{}/", shown(folder)),
        };
        together.look(&prefix, &survey);
        if let Some(prover) = &mut prover {
            prover.look(&prefix, &survey);
        }
        for book in &survey.books {
            entries += book.lines;
            books.push(BookRow {
                book: format!("{prefix}{}", book.file),
                lines: book.lines,
                head: book.head.to_string(),
            });
        }
        let mut found = look_over(survey, now, depth);
        for place in found.iter_mut().filter_map(|t| t.place.as_mut()) {
            place.file.insert_str(0, &prefix);
        }
        troubles.extend(found);
    }
    let proofs = prover.map(Prover::proofs).unwrap_or_default();
    let unproved = proofs.iter().flat_map(|proof| &proof.books);
    let mut first = together.troubles();
    first.extend(unproved.flat_map(|book| book.troubles.clone()));
    troubles.splice(0..0, first);
    let worst = troubles.iter().map(|trouble| trouble.severity).max();
    let view = FindingsView::new(&troubles, books).with_seals(&proofs);
    let text = args.format.lay_out(
        || table(&troubles, &view, entries, args.all),
        || view.json(),
        || view.csv(),
    )?;
    ui.result(&text)?;
    match worst {
        // Everything was told as the result, so nothing is left to complain of.
        Some(Severity::Error) => Err(CommandError::all(Fault::Data, Vec::new())),
        Some(Severity::Warning) => Ok(Outcome::Findings),
        _ => Ok(Outcome::Done),
    }
}

/// Reads the seals of a file.
fn prover(path: &Path) -> Result<Prover, CommandError> {
    let bytes = std::fs::read(path).map_err(|error| CommandError::io(path, "read", &error))?;
    let file = shown(path);
    let seals = read_seals(&String::from_utf8_lossy(&bytes))
        .map_err(|fault| CommandError::new(Fault::Data, fault.trouble(&file)))?;
    Ok(Prover::new(file, seals))
}

fn table(troubles: &[Trouble], view: &FindingsView, entries: usize, all: bool) -> String {
    let mut text = String::new();
    let mut shown: BTreeMap<&str, usize> = BTreeMap::new();
    for trouble in troubles {
        let count = shown.entry(trouble.kind).or_default();
        *count += 1;
        if all || *count <= SHOWN {
            text.push_str(&lay_out(trouble));
            text.push('\n');
        }
    }
    for (kind, count) in shown {
        if !all && count > SHOWN {
            let more = count - SHOWN;
            text.push_str(&format!(
                "{kind}: {more} more like these (--all shows them)\n"
            ));
        }
    }
    for book in &view.books {
        let head = book.head.get(..12).unwrap_or_default();
        text.push_str(&format!(
            "{}: {} lines, head {head}\n",
            book.book, book.lines
        ));
    }
    for seal in &view.seals {
        text.push_str(&seal.text());
    }
    text.push_str(&format!(
        "{}, {}, {} in {}\n",
        counted(view.errors as u64, "error", "errors"),
        counted(view.warnings as u64, "warning", "warnings"),
        counted(view.notes as u64, "note", "notes"),
        counted(entries as u64, "line", "lines"),
    ));
    text
}
