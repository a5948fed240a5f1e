//! `report`: the whole answer as one page, with its charts beside it.

use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, Utc};
use rayon::prelude::*;

use super::beside::{Cannot, prove_writable, write_all};
use super::dress::{cannot_set, dress};
use super::evidence::{Ask, gather_telling};
use super::on_offer::on_offer;
use super::progress::Steps;
use super::report_engineer::subjects;
use super::report_money::{money, spent, yearly};
use super::report_since::{earlier, renewed};
use super::report_stops::{planned, plant_plans};
use super::select::{Select, confidence, folders, no_lives};
use super::sheet::PaperArg;
use super::wear_now::WearNow;
use super::{CommandError, Fault, Outcome, Ui};
use crate::book::{Depth, look_over};
use crate::chart::png;
use crate::quantity::Paper;
use crate::quantity::time::day;
use crate::quantity::trouble::{Trouble, shown};
use crate::report::dress::BUILT_IN;
use crate::report::first::About;
use crate::report::model::Report;
use crate::report::since::{Changes, changes};
use crate::report::stops::{Outlook, StopsFacts, stops_part};
use crate::report::subject::{Frame, IN_FULL};
use crate::report::twin::{Asked, twin};
use crate::report::{Rendered, build_telling, render_dressed};
use crate::store::{Options, Store};

/// Write the report: what to change, what it saves, costs, stops to come, and the evidence
///
/// One HTML page without scripts, to read on a screen or print on A4 or Letter, and the
/// same charts as SVG files beside it; report.json holds the same as data, for other programs
/// and for --since. An older report in the folder is replaced.
///
/// The first page serves every reader; --for chooses the parts behind it. Logo, paper and the
/// language of numbers and days stand in the register ([report] in plant.toml), and a ledger
/// can keep templates of its own in its reports/ folder.
#[derive(Debug, clap::Args)]
pub struct ReportArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// Reader to write for
    #[arg(long = "for", value_enum, default_value_t, value_name = "READER")]
    readers: For,
    /// Folder to write to; made as needed
    #[arg(long, value_name = "FOLDER", default_value = "report")]
    out: PathBuf,
    /// Write every chart as PNG too
    #[arg(long)]
    png: bool,
    /// What it is printed on (default: as the register states, else as the printer has it)
    #[arg(long, value_enum, value_name = "PAPER")]
    paper: Option<PaperArg>,
    /// Write the built-in templates to this folder and stop; a ledger's reports/ can hold its own
    #[arg(long, value_name = "FOLDER", exclusive = true)]
    templates: Option<PathBuf>,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    confidence: f64,
    /// Earlier report to hold this one against, by its report.json
    #[arg(long, value_name = "FILE")]
    since: Option<PathBuf>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
}

/// Whom the report is for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, clap::ValueEnum)]
enum For {
    /// Cost over time and by component, what changed, what planned renewal saves
    Manager,
    /// Intervals, stops to come, kits, what to order by which day
    Planner,
    /// Lives, fits, tests and assumptions of each component
    Engineer,
    /// All three
    #[default]
    All,
}

impl For {
    fn has(self, reader: For) -> bool {
        self == reader || self == For::All
    }
}

/// The page's file name.
const PAGE: &str = "report.html";
/// Its JSON twin's.
const TWIN: &str = "report.json";

pub fn run(args: &ReportArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let Some(folder) = &args.templates {
        return templates(folder, ui);
    }
    prove_writable(&args.out).map_err(|cannot| refused(&cannot))?;
    let folders = folders(&args.ledgers);
    let steps = Steps::new(ui);
    steps.at("reading the ledger");
    let store = Store::open(&folders, args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        steps.aside(|| ui.trouble(trouble));
    }
    // Several ledgers are one report, in the first one's dress.
    let ledger = &store.ledgers()[0];
    let mut dress = dress(ledger, ui)?;
    dress.paper = args.paper.map(Paper::from).or(dress.paper);
    steps.at("checking the ledger");
    let mut frame = frame(&store, args)?;
    let earlier = match &args.since {
        Some(file) => Some(earlier(file, &frame.plant, frame.as_of, ui)?),
        None => None,
    };
    let ask = Ask {
        select: args.select.clone(),
        confidence: args.confidence,
        ..Ask::default()
    };
    let evidence = gather_telling(&store, &ask, &|done, of| {
        steps.done_of("fitting components", done, of);
    })?;
    if evidence.iter().all(|e| e.rows.is_empty()) {
        return Err(no_lives(&store));
    }
    steps.at("adding up costs");
    let offer = on_offer(&store, &evidence, args.confidence)?;
    let spent = spent(&store, &args.select)?;
    let yearly = spent.as_ref().and_then(yearly);
    let money = match spent.filter(|_| args.readers.has(For::Manager)) {
        Some(spent) => Some(money(spent, &evidence, &offer, args.confidence)?),
        None => None,
    };
    steps.at("planning stops");
    let worn = WearNow::read(&store)?;
    let planned = planned(&store, &evidence, &worn, &args.select)?;
    let plans = plant_plans(&planned);
    let stays = store.slot_history()?;
    steps.at("testing trends");
    let subjects = subjects(
        &store,
        evidence,
        &stays,
        &worn.looks,
        args.readers.has(For::Engineer),
    )?;
    let stops = args.readers.has(For::Planner).then(|| {
        stops_part(&StopsFacts {
            currency: &frame.currency,
            plans: &plans,
            subjects: &subjects,
            narrowed: args.select.narrows_slots(),
        })
    });
    let asked = Asked {
        components: args.select.components().to_vec(),
        positions: args.select.positions().to_vec(),
        machines: args.select.machines().to_vec(),
    };
    let twin = twin(&frame, &subjects, &plans, yearly, asked);
    let since = earlier.map(|then| {
        let renewed = renewed(&stays, store.zone(), then.as_of);
        changes(&then, &twin, &renewed)
    });
    frame.about = About {
        offer: Some(offer),
        stops: Some(Outlook::of(&plans)),
        since: since
            .as_ref()
            .map(|changes: &Changes| changes.headline.clone()),
    };
    let report = Report {
        money,
        stops,
        since,
        ..build_telling(&frame, &subjects, &|done, of| {
            steps.done_of("examining components", done, of);
        })
    };
    steps.at("drawing");
    let page = render_dressed(&report, &dress).map_err(|e| cannot_set(&e, &dress, ledger))?;
    let twin = twin.text().map_err(|error| {
        CommandError::new(Fault::NoAnswer, Trouble::error("report", error.to_string()))
    })?;
    let pictures = if args.png { drawn(&page)? } else { Vec::new() };
    steps.at("writing");
    write(&args.out, &page, &twin, &pictures)?;
    drop(steps);
    ui.result(&args.out.join(PAGE).display().to_string())?;
    ui.remark(&format!(
        "and {} charts beside it in {}{}",
        page.charts.len(),
        args.out.display(),
        if args.png {
            ", each as SVG and PNG"
        } else {
            ""
        }
    ));
    Ok(Outcome::Done)
}

/// Writes the built-in templates and styles, so that a plant can change a copy. What is there
/// already stays: it may have been changed.
fn templates(folder: &Path, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let Some((name, _)) = BUILT_IN.iter().find(|(name, _)| folder.join(name).exists()) {
        let path = folder.join(name);
        return Err(CommandError::wrong_use(
            format!(
                "{} is there already and may have been changed",
                shown(&path)
            ),
            "name an empty folder",
        ));
    }
    write_all(folder, BUILT_IN).map_err(|cannot| refused(&cannot))?;
    let written = BUILT_IN.map(|(name, _)| folder.join(name).display().to_string());
    ui.result(&written.join("\n"))?;
    ui.remark("put the ones to change into the ledger's reports/ folder; remove the others");
    Ok(Outcome::Done)
}

/// Everything the page says beside the components.
fn frame(store: &Store, args: &ReportArgs) -> Result<Frame, CommandError> {
    let plant = &store.register().plant;
    let several = store.ledgers().len() > 1;
    let names: Vec<&str> = store
        .ledgers()
        .iter()
        .map(|ledger| ledger.register.plant.name.as_str())
        .collect();
    let mut plants: Vec<&str> = Vec::new();
    for name in names {
        if !plants.contains(&name) {
            plants.push(name);
        }
    }
    let mut findings = Vec::new();
    for ledger in store.ledgers() {
        let prefix = if several {
            format!("{}/", ledger.name)
        } else {
            String::new()
        };
        findings.extend(look(&ledger.folder, store.as_of(), &prefix)?);
    }
    Ok(Frame {
        plant: plants.join(", "),
        currency: plant.currency.code().to_owned(),
        as_of: args
            .as_of
            .unwrap_or_else(|| day(store.as_of(), plant.time_zone)),
        time_zone: plant.time_zone.name().to_owned(),
        version: concat!("wearbook ", env!("CARGO_PKG_VERSION")).to_owned(),
        ledgers: store.ledgers().iter().map(|l| l.name.clone()).collect(),
        confidence: args.confidence,
        heads: store
            .heads()
            .iter()
            .map(|head| {
                let book = if several {
                    format!("{}/{}", head.ledger, head.book)
                } else {
                    head.book.clone()
                };
                (book, head.lines, head.sha.clone())
            })
            .collect(),
        findings,
        about: About::default(),
        cautions: own_cautions(store),
        in_full: args.readers.has(For::Engineer).then_some(IN_FULL),
    })
}

/// What the plants caution against beside the usual, each once.
fn own_cautions(store: &Store) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for ledger in store.ledgers() {
        for caution in &ledger.register.plant.cautions {
            if !all.contains(caution) {
                all.push(caution.clone());
            }
        }
    }
    all
}

/// What a check finds in the lines that count at `as_of`.
///
/// No clock: a line counts as ahead of its time by the last moment anything was logged, so that
/// the same ledger gives the same page on any day.
fn look(folder: &Path, as_of: DateTime<Utc>, prefix: &str) -> Result<Vec<Trouble>, CommandError> {
    let survey = Depth::Deep.survey(folder)?;
    let last = survey.last_logged().unwrap_or(as_of);
    let late = survey.logged_after(as_of);
    let mut found = look_over(survey, last, Depth::Deep);
    found.retain(|trouble| {
        let place = trouble.place.as_ref();
        let line = place.and_then(|p| Some((p.file.clone(), p.line?)));
        line.is_none_or(|line| !late.contains(&line))
    });
    for place in found.iter_mut().filter_map(|t| t.place.as_mut()) {
        place.file.insert_str(0, prefix);
    }
    Ok(found)
}

/// The charts first, the page last: a reader finds the old report or the new one.
fn write(
    folder: &Path,
    page: &Rendered,
    twin: &str,
    pictures: &[(String, Vec<u8>)],
) -> Result<(), CommandError> {
    let charts = page.charts.iter();
    let files = charts
        .map(|chart| (chart.name.as_str(), chart.svg.as_bytes()))
        .chain(
            pictures
                .iter()
                .map(|(name, png)| (name.as_str(), png.as_slice())),
        )
        .chain([(TWIN, twin.as_bytes()), (PAGE, page.html.as_bytes())]);
    write_all(folder, files).map_err(|cannot| refused(&cannot))
}

/// Pixels of a PNG to a pixel of its chart: sharp on paper at the width of a page.
const SHARP: f32 = 3.0;

/// Every chart as PNG, with the name of its file.
fn drawn(page: &Rendered) -> Result<Vec<(String, Vec<u8>)>, CommandError> {
    page.charts
        .par_iter()
        .map(|chart| {
            let name = chart.name.replace(".svg", ".png");
            match png(&chart.svg, SHARP) {
                Ok(bytes) => Ok((name, bytes)),
                Err(error) => {
                    let trouble = Trouble::error("report", format!("{name}: {error}"));
                    Err(CommandError::new(Fault::NoAnswer, trouble))
                }
            }
        })
        .collect()
}

fn refused(cannot: &Cannot) -> CommandError {
    cannot.told(|trouble| {
        trouble
            .because("No new page was written; an older one stands as it was.")
            .cured_by(
                "see that the folder can be written and the disk has room, or name another (--out)",
            )
    })
}
