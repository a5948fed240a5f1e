//! `sheet`: a printable work sheet for a stop, and the CSV to enter it with.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::ValueEnum;

use super::beside::{Cannot, folder_of, prove_writable, write_all};
use super::dress::{cannot_set, dress};
use super::evidence::{Ask, gather};
use super::plan::{PlanAsk, plans};
use super::select::folders;
use super::sheet_stop::stop;
use super::wear_now::WearNow;
use super::{CommandError, Fault, Outcome, Ui};
use crate::plan::{Stop, stop_on};
use crate::quantity::nearest;
use crate::quantity::time::day;
use crate::quantity::trouble::{Trouble, shown};
use crate::report::names::slug;
use crate::report::sheet::{Paper, render};
use crate::store::{Options, Store};
use crate::view::sheet::{sheet, twin};

/// Write the work sheet for a stop of one machine
///
/// What is done follows from the plan (see plan): its stop of that day, or what would have to
/// be done were the machine down then. An HTML page to print on one or two pages: cautions, parts and tools, and for each slot
/// what to check, its limit, its last reading and boxes to fill. Every box has a key; the
/// CSV file written beside the page has a row for each, to be filled in a spreadsheet and
/// entered with `wearbook record --sheet FILE.csv`.
#[derive(Debug, clap::Args)]
pub struct SheetArgs {
    /// Machine
    machine: String,
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Day of the stop (default: the next planned one)
    #[arg(long, value_name = "DATE")]
    stop: Option<NaiveDate>,
    /// Page to write (default: sheet-MACHINE-DATE.html here)
    #[arg(long, value_name = "FILE.html")]
    to: Option<PathBuf>,
    /// What it is printed on (default: as the register states, else A4)
    #[arg(long, value_enum, value_name = "PAPER")]
    paper: Option<PaperArg>,
    /// Write over a CSV file that is there, which may have been filled in
    #[arg(long)]
    replace: bool,
    /// Print every slot, as if the whole machine were opened
    #[arg(long)]
    all: bool,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum PaperArg {
    A4,
    Letter,
}

impl From<PaperArg> for Paper {
    fn from(paper: PaperArg) -> Paper {
        match paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        }
    }
}

pub fn run(args: &SheetArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let Some((ledger, tag)) = store.home_of(&args.machine) else {
        return Err(unknown(&args.machine, &store.machines()));
    };
    let today = day(store.as_of(), ledger.register.plant.time_zone);
    let worn = WearNow::read(&store)?;
    let (at, planned) = planned(&store, &worn, args)?;
    let at = at.unwrap_or(today);
    if at < today {
        let what = format!("the stop of {at} lies before the ledger's last entry, {today}");
        let cure = "give a later day, or take the ledger as it stood: --as-of DATE";
        return Err(CommandError::wrong_use(what, cure));
    }
    let stop = stop(&store, ledger, tag, at, planned.as_ref(), &worn.slots)?;
    let version = concat!("wearbook ", env!("CARGO_PKG_VERSION"));
    let sheet = sheet(&ledger.register, &stop, version);
    let dress = dress(ledger, ui)?;
    let paper = args.paper.map(Paper::from).or(dress.paper);
    let page = render(&sheet, paper.unwrap_or_default(), &dress)
        .map_err(|error| cannot_set(&error, &dress, ledger))?;
    let twin = twin(&sheet).map_err(std::io::Error::other)?;
    let to = match &args.to {
        Some(to) => to.clone(),
        None => PathBuf::from(format!("sheet-{}-{at}.html", slug(tag, "machine"))),
    };
    let beside = to.with_extension("csv");
    if beside == to {
        let cure = "give the page another ending: the CSV is written beside it";
        return Err(CommandError::wrong_use("--to names a CSV file", cure));
    }
    if !args.replace {
        keep_filled(&beside, &twin)?;
    }
    write(&to, &beside, &page, &twin)?;
    ui.result(&format!("{}\n{}", to.display(), beside.display()))?;
    Ok(Outcome::Done)
}

/// The day and the plan of the stop: the next planned one, or the one of the day asked for.
fn planned(
    store: &Store,
    worn: &WearNow,
    args: &SheetArgs,
) -> Result<(Option<NaiveDate>, Option<Stop>), CommandError> {
    let asked = args.stop;
    if args.all {
        return Ok((asked, None));
    }
    let evidence = gather(store, &Ask::default())?;
    let ask = PlanAsk {
        machines: vec![args.machine.clone()],
        ..PlanAsk::default()
    };
    let plans = plans(store, &evidence, worn, &ask)?;
    let Some(plan) = plans.first() else {
        return Ok((asked, None));
    };
    let stops = plan.plan.stops();
    match asked {
        None => {
            let next = stops.first().map(|stop| (*stop).clone());
            Ok((next.as_ref().map(|stop| stop.date), next))
        }
        Some(at) => {
            let days = (at - plan.plan.as_of).num_days() as f64;
            let planned = stops.into_iter().find(|stop| stop.date == at).cloned();
            let stop = planned.or_else(|| {
                let now = plan.machines.first()?;
                Some(stop_on(now, plan.plan.as_of, days.max(0.0)))
            });
            Ok((asked, stop))
        }
    }
}

fn unknown(machine: &str, known: &[String]) -> CommandError {
    let near = nearest(machine, known.iter().map(String::as_str));
    let cure = match near {
        Some(near) => format!("did you mean {near}?"),
        None => format!("machines here: {}", known.join(", ")),
    };
    CommandError::new(
        Fault::Use,
        Trouble::error(
            "unknown-machine",
            format!("no machine `{machine}` in the register"),
        )
        .cured_by(cure),
    )
}

/// What someone has typed in is not written over.
fn keep_filled(beside: &Path, twin: &str) -> Result<(), CommandError> {
    match std::fs::read(beside) {
        Ok(there) if there == twin.as_bytes() => Ok(()),
        Ok(_) => Err(CommandError::new(
            Fault::Use,
            Trouble::error("already-there", "already there, and perhaps filled in")
                .in_file(shown(beside))
                .because("Nothing was written.")
                .cured_by(
                    "enter it first with `wearbook record --sheet`, name another page with --to,",
                )
                .cured_by("or write over it with --replace"),
        )),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(CommandError::io(beside, "read", &error)),
    }
}

fn write(to: &Path, beside: &Path, page: &str, twin: &str) -> Result<(), CommandError> {
    let folder = folder_of(to);
    let name = |path: &Path| {
        let name = path.file_name().unwrap_or_default();
        name.to_string_lossy().into_owned()
    };
    prove_writable(folder).map_err(|cannot| refused(&cannot))?;
    let (to, beside) = (name(to), name(beside));
    let files = [(beside.as_str(), twin), (to.as_str(), page)];
    write_all(folder, files).map_err(|cannot| refused(&cannot))
}

fn refused(cannot: &Cannot) -> CommandError {
    cannot.told(|trouble| {
        trouble.cured_by(
            "see that the folder can be written and the disk has room, or name another (--to)",
        )
    })
}
