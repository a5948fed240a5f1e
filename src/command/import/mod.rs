//! `import`: rows of a spreadsheet or an export become entries, as a map says.

use std::path::{Path, PathBuf};

use chrono::Utc;
use tempfile::NamedTempFile;

use super::beside::write_beside;
use super::progress::Progress;
use super::record::{Hand, tell_set_aside, to_the_second};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::book::{Appender, BookError, Entry, Recorded, conflict_trouble};
use crate::intake::import::map::Map;
use crate::intake::import::mend::mend;
use crate::intake::import::plan::{Plan, PlanError, Stage, bind, plan};
use crate::intake::import::reject::excerpts;
use crate::intake::import::sheet::{Sheet, SheetError};
use crate::quantity::counted;
use crate::quantity::trouble::{Place, Trouble, shown};

mod show;
mod sketch;

/// Import rows of a spreadsheet or an export, as a map says
///
/// FILE is a CSV (any delimiter and encoding) or a workbook (XLSX, ODS, XLS). The map
/// says which column gives which key of which entry. Without --write it is a dry run: what
/// would be written, and every row that would not be, with its column, value and reason.
/// With --write all rows are written or none, in one step. Every entry carries the row it
/// came from; importing the same or an overlapping file again adds nothing twice.
/// docs/import.md is a guide, with everything a map can say.
///
/// Exit code 1: some rows are rejected (in a dry run, or with --keep-good).
#[derive(Debug, clap::Args)]
pub struct ImportArgs {
    /// File to import
    file: PathBuf,
    /// Ledger folder (default: this one)
    ledger: Option<PathBuf>,
    /// Map from columns to entries
    #[arg(long, value_name = "MAP.toml", required_unless_present = "sketch")]
    map: Option<PathBuf>,
    /// Show a first map for the file, from its headings, its values and the ledger's register
    #[arg(long, conflicts_with_all = ["map", "write"])]
    sketch: bool,
    /// Put the sketched map in this file
    #[arg(long, value_name = "MAP.toml", requires = "sketch")]
    out: Option<PathBuf>,
    /// Write the entries (default: a dry run)
    #[arg(long)]
    write: bool,
    /// Write the good rows, and put the rejected ones in a CSV with their reasons
    #[arg(long, requires = "write")]
    keep_good: bool,
    /// CSV for the rejected rows (default: beside FILE, FILE-rejected.csv)
    #[arg(long, value_name = "FILE", requires = "keep_good")]
    rejected: Option<PathBuf>,
    #[command(flatten)]
    hand: Hand,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Show every entry in the table, not only the first
    #[arg(long)]
    all: bool,
}

/// Reasons of one kind that are told where nothing is written; a dry run tells all.
const TOLD: usize = 10;

pub fn run(args: &ImportArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    match &args.map {
        Some(map) if !args.sketch => import(args, map, ui),
        _ => sketch::run(args, ui),
    }
}

fn import(args: &ImportArgs, map: &Path, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let now = to_the_second(Utc::now());
    let map = Map::load(map)?;
    let ledger = args.ledger.as_deref().unwrap_or(Path::new("."));
    let mut appender = args.hand.open_for_import(ledger, ui)?;
    let sheet = Sheet::open(&args.file, &map.file).map_err(|error| of_sheet(error, &map))?;
    let who = args.hand.who_if();
    let mut progress = Progress::new(ui);
    let plan = plan(
        &sheet,
        &map,
        &mut appender,
        who.as_deref(),
        now,
        &mut |stage, done, of| {
            let what = match stage {
                Stage::Reading => "reading rows",
                Stage::Checking => "checking entries",
            };
            progress.at(what, done, of);
        },
    )
    .map_err(|error| of_plan(error, &map))?;
    progress.end();
    if !args.write {
        let view = show::view(args, &map, &sheet, &plan, &appender, None);
        ui.result(&show::laid_out(args, &view)?)?;
        return Ok(outcome(&plan));
    }
    if !plan.rejected.is_empty() && !args.keep_good {
        return Err(rejected(&map, &sheet, &plan));
    }
    let aside = Aside::prepare(args, &map, &sheet, &plan)?;
    let recorded = write(&mut appender, &plan, &sheet, now, ui)?;
    let aside = aside.map(Aside::keep).transpose()?;
    let mut view = show::view(args, &map, &sheet, &plan, &appender, Some(&recorded));
    view.rejected_file = aside;
    ui.result(&show::laid_out(args, &view)?)?;
    Ok(outcome(&plan))
}

fn outcome(plan: &Plan) -> Outcome {
    if plan.rejected.is_empty() {
        Outcome::Done
    } else {
        Outcome::Findings
    }
}

/// Writes what is new; tells for each entry what was recorded.
fn write(
    appender: &mut Appender,
    plan: &Plan,
    sheet: &Sheet,
    now: chrono::DateTime<Utc>,
    ui: &mut Ui,
) -> Result<Vec<Option<Recorded>>, CommandError> {
    let entries: Vec<&Entry> = plan.entries().collect();
    let recorded = appender.append_new(&entries, now);
    tell_set_aside(appender, ui);
    recorded.map_err(|error| refused(error, plan, sheet))
}

/// What another program recorded since the rows were weighed stands against them.
fn refused(error: BookError, plan: &Plan, sheet: &Sheet) -> CommandError {
    let BookError::Refused { refusals, zone } = error else {
        return error.into();
    };
    let row = |index: usize| plan.marks.get(index).map(|mark| mark.row as usize);
    let mut troubles = Vec::new();
    for refusal in refusals {
        for mut conflict in refusal.conflicts {
            for witness in conflict.witnesses_mut() {
                if let Some(line) = witness.given.and_then(row) {
                    witness.file.clone_from(&sheet.name);
                    witness.line = line;
                }
            }
            troubles.push(conflict_trouble(&conflict, zone).placed(Place {
                file: sheet.name.clone(),
                line: row(refusal.index),
                ..Place::default()
            }));
        }
    }
    CommandError::all(Fault::Data, troubles)
}

/// Nothing is written, as some rows are rejected.
fn rejected(map: &Map, sheet: &Sheet, plan: &Plan) -> CommandError {
    let decimal = map.file.numbers.decimal;
    let excerpts = excerpts(sheet, &plan.rejected, decimal).unwrap_or_default();
    let mut troubles = Vec::new();
    let mut seen: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for rejection in &plan.rejected {
        let count = seen.entry(rejection.kind).or_default();
        *count += 1;
        if *count <= TOLD {
            troubles.push(rejection.trouble(&sheet.name, excerpts.get(&rejection.row)));
        }
    }
    let rows = plan.rejected_rows() as u64;
    let verb = if rows == 1 { "is" } else { "are" };
    let of = counted(plan.rows, "row", "rows");
    let what = format!("nothing was written: {rows} of {of} {verb} rejected");
    let mut last = Trouble::error("import-rejected", what).in_file(&sheet.name);
    for (kind, count) in seen.into_iter().filter(|(_, count)| *count > TOLD) {
        let more = format!("{} more of {kind}, not shown.", count - TOLD);
        last = last.because(more);
    }
    troubles.push(
        last.cured_by("mend the rows or the map; a dry run, without --write, lists them all;")
            .cured_by("or write the good ones, and the others to a file, with --keep-good"),
    );
    CommandError::all(Fault::Data, troubles)
}

fn of_sheet(error: SheetError, map: &Map) -> CommandError {
    match error {
        SheetError::Map { span, fault } => map.faulty(vec![(span, *fault)]).into(),
        error if error.is_io() => CommandError::new(Fault::Io, error.trouble()),
        error => CommandError::new(Fault::Data, error.trouble()),
    }
}

fn of_plan(error: PlanError, map: &Map) -> CommandError {
    match error {
        PlanError::Map(error) => error.into(),
        PlanError::Sheet(error) => of_sheet(error, map),
    }
}

/// The file of rejected rows, written beside its place and not there yet.
struct Aside {
    file: NamedTempFile,
    path: PathBuf,
}

impl Aside {
    /// Writes the rejected rows beside their place, before any entry is written.
    fn prepare(
        args: &ImportArgs,
        map: &Map,
        sheet: &Sheet,
        plan: &Plan,
    ) -> Result<Option<Aside>, CommandError> {
        if plan.rejected.is_empty() {
            return Ok(None);
        }
        let path = match &args.rejected {
            Some(path) => path.clone(),
            None => {
                let stem = args.file.file_stem().unwrap_or_default().to_string_lossy();
                args.file.with_file_name(format!("{stem}-rejected.csv"))
            }
        };
        let (_, places) = bind(sheet, map).map_err(|error| of_plan(error, map))?;
        let bytes = mend(sheet, map, &places, &plan.rejected);
        let bytes = bytes.map_err(|error| of_sheet(error, map))?;
        if path.symlink_metadata().is_ok() {
            return Err(already_there(&path));
        }
        let file = write_beside(folder(&path), &bytes)
            .map_err(|error| CommandError::io(&path, "write", &error))?;
        Ok(Some(Aside { file, path }))
    }

    /// Puts it in its place.
    fn keep(self) -> Result<String, CommandError> {
        match self.file.persist_noclobber(&self.path) {
            Ok(_) => Ok(shown(&self.path)),
            Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {
                Err(already_there(&self.path))
            }
            Err(error) => Err(CommandError::io(&self.path, "write", &error.error)),
        }
    }
}

fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

fn already_there(path: &Path) -> CommandError {
    CommandError::new(
        Fault::Use,
        Trouble::error("already-there", "already there, and not overwritten")
            .in_file(shown(path))
            .cured_by("name another file, or move what is there"),
    )
}
