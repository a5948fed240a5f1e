//! `fit`: how long components last, per group, with limits.

use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;

use chrono::NaiveDate;
use clap::ValueEnum;
use rayon::prelude::*;

use super::fit_ask::How;
use super::fit_charts::{Charts, picture};
use super::select::{Select, mode_in_file};
use super::trend_note::trend_note;
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::intake::lives_csv;
use crate::life::{Life, LifeRow, Sample};
use crate::model::examine::{Depth, Examined, examine};
use crate::model::group::Ask;
use crate::model::posterior::ShapePrior;
use crate::quantity::trouble::Trouble;
use crate::register::Component;
use crate::report::probability::Behind;
use crate::store::{Options, Store};
use crate::view::fit::{FitView, FitsView, GroupName};

/// Fit Weibull lives per component and position, with limits
///
/// Uses exact failures, failures found between two inspections, lives cut short and entry
/// ages. A group that has no estimate is shown with the reason.
#[derive(Debug, clap::Args)]
pub struct FitArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Fit lives from a CSV file with columns entry, lo, hi, count, group, mode instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine"])]
    lives: Option<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// What to keep apart (can be repeated; default: component and position; with --lives: nothing)
    #[arg(long, value_enum, value_name = "WHAT", value_delimiter = ',')]
    by: Vec<By>,
    /// Failure mode to fit; ends by other modes count as cut short
    #[arg(long, value_name = "MODE")]
    mode: Option<String>,
    #[command(flatten)]
    how: How,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Also write a probability plot of each group to this folder, as SVG; made as needed
    ///
    /// Failures at their plotting positions, the estimate without a model behind them, and the
    /// fitted line with its limits. A file of the same name is replaced.
    #[arg(long, value_name = "FOLDER")]
    charts: Option<PathBuf>,
    /// With --charts: the estimate without a model behind the line (windows take Turnbull's)
    #[arg(
        long,
        value_enum,
        default_value_t,
        value_name = "KIND",
        requires = "charts"
    )]
    behind: BehindArg,
}

/// The estimate behind a plot's line.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum BehindArg {
    /// Kaplan-Meier
    #[default]
    ProductLimit,
    /// Nelson-Aalen
    HazardSum,
}

impl From<BehindArg> for Behind {
    fn from(arg: BehindArg) -> Self {
        match arg {
            BehindArg::ProductLimit => Behind::ProductLimit,
            BehindArg::HazardSum => Behind::HazardSum,
        }
    }
}

/// What keeps lives apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum By {
    /// One fit a component
    Component,
    /// One fit a component and position, over all machines
    Position,
    /// One fit a component and machine; with position: one a slot
    Machine,
    /// One fit a failure mode, other modes counting as cut short; and all modes together
    Mode,
    /// One fit a group of the CSV file
    Group,
}

/// Lives to be fitted together.
pub(super) struct Group {
    pub(super) name: GroupName,
    pub(super) lives: Vec<Life>,
    /// The mode of each life, where modes are to be kept apart.
    pub(super) modes: Vec<Option<String>>,
    pub(super) excluded: u64,
    pub(super) unit: String,
    /// What is counted in that unit, e.g. "Running hours".
    pub(super) usage: String,
    pub(super) notes: Vec<String>,
    /// What the register says of the component; `None` for a file.
    pub(super) component: Option<Component>,
}

/// More groups than this are fitted without the tests and other models that take most time.
const THOROUGH_UP_TO: usize = 200;

pub fn run(args: &FitArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    args.how.check()?;
    if args.mode.is_some() && args.by.contains(&By::Mode) {
        return Err(CommandError::wrong_use(
            "--mode fits one failure mode, --by mode every one",
            "leave one of the two out",
        ));
    }
    if let Some(folder) = &args.charts {
        Charts::prove_writable(folder)?;
    }
    let groups = match &args.lives {
        Some(file) => from_file(args, file)?,
        None => from_ledger(args, ui)?,
    };
    let (groups, together) = if args.by.contains(&By::Mode) {
        super::fit_modes::part(groups)
    } else {
        (groups, Vec::new())
    };
    let depth = if args.how.plain() {
        Depth::Plain
    } else if groups.len() > THOROUGH_UP_TO {
        ui.remark(&format!(
            "{} groups: other models and tests of fit are left out (up to {THOROUGH_UP_TO} groups \
             they are made)",
            groups.len()
        ));
        Depth::Plain
    } else {
        Depth::Thorough
    };
    let fits: Vec<_> = groups
        .into_par_iter()
        .map(|mut group| {
            // Every life was checked where it came from.
            let sample = Sample::new(std::mem::take(&mut group.lives)).unwrap_or_default();
            let examined = examined(args, &sample, &mut group, depth);
            let picture = args
                .charts
                .is_some()
                .then(|| picture(&group, &sample, &examined, args.behind.into()));
            let view = FitView::new(
                group.name,
                &sample,
                group.excluded,
                &examined,
                &group.unit,
                group.notes,
            );
            (view, examined.fit.is_ok(), picture)
        })
        .collect();
    let any = fits.iter().any(|(_, fitted, _)| *fitted);
    let mut charts = Charts::default();
    let mut views = Vec::new();
    for (view, _, picture) in fits {
        if let Some(picture) = picture {
            charts.add(picture);
        }
        views.push(view);
    }
    let view = FitsView {
        fits: views,
        together,
    };
    if let Some(folder) = &args.charts {
        charts.write(folder)?;
    }
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    if let Some(folder) = &args.charts {
        ui.remark(&charts.told(folder));
    }
    if !any && args.lives.is_none() {
        return Err(CommandError::new(
            Fault::NoAnswer,
            Trouble::error("no-fit", "no group has an estimate")
                .because("the reason stands with each group in the result")
                .cured_by("pool more (--by component), or wait for failures to be recorded"),
        ));
    }
    Ok(Outcome::Done)
}

/// Fits as asked; where nothing can be fitted and the register assumes a shape, with that.
fn examined(args: &FitArgs, sample: &Sample, group: &mut Group, depth: Depth) -> Examined {
    let mut ask = args.how.ask();
    if args.how.prior_from_register()
        && let Some(stated) = group
            .component
            .as_ref()
            .and_then(|c| c.shape_prior.as_ref())
        && let Some(prior) = ShapePrior::from_points(stated.low, stated.high)
    {
        ask.prior = prior;
        group
            .notes
            .push(format!("prior for the shape: {}", stated.source));
    }
    let found = examine(sample, &ask, args.how.best(), depth);
    let assumed = group
        .component
        .as_ref()
        .and_then(|c| c.assumed_shape.as_ref());
    match assumed {
        Some(assumed)
            if found.fit.is_err() && sample.count() > 0 && args.how.is_two_parameter() =>
        {
            let reason = found.fit.as_ref().err().map(ToString::to_string);
            group.notes.push(format!(
                "the shape is the register's ({}), as none can be fitted: {}",
                assumed.source,
                reason.unwrap_or_default()
            ));
            let ask = Ask {
                stated_shape: Some(assumed.shape),
                ..ask
            };
            examine(sample, &ask, false, depth)
        }
        _ => found,
    }
}

fn from_file(args: &FitArgs, file: &std::path::Path) -> Result<Vec<Group>, CommandError> {
    if let Some(by) = args
        .by
        .iter()
        .find(|by| !matches!(by, By::Group | By::Mode))
    {
        let word = format!("{by:?}").to_lowercase();
        return Err(CommandError::wrong_use(
            format!(
                "--by {word} needs a ledger: a file of lives has only the columns group and mode"
            ),
            "use --by group or mode, or leave --by out to fit all lives together",
        ));
    }
    if args.how.prior_from_register() {
        return Err(CommandError::wrong_use(
            "--shape-prior register needs a ledger: a file of lives has no register",
            "give the 5 % and 95 % points of the shape instead, as 1.5,4",
        ));
    }
    let lives = lives_csv::read(file)?;
    mode_in_file(&lives, args.mode.as_deref())?;
    let mut groups: Vec<Group> = Vec::new();
    let mut places: HashMap<Option<String>, usize> = HashMap::new();
    for life in lives {
        let key = life.group.clone().filter(|_| args.by.contains(&By::Group));
        let place = *places.entry(key).or_insert_with_key(|key| {
            groups.push(Group {
                name: GroupName {
                    group: key.clone(),
                    mode: args.mode.clone(),
                    ..Default::default()
                },
                lives: Vec::new(),
                modes: Vec::new(),
                excluded: 0,
                unit: String::new(),
                usage: "Usage".to_owned(),
                notes: Vec::new(),
                component: None,
            });
            groups.len() - 1
        });
        match life.of_mode(args.mode.as_deref()) {
            Some(kept) => {
                groups[place].lives.push(kept);
                groups[place].modes.push(life.mode);
            }
            None => groups[place].excluded += u64::from(life.life.count),
        }
    }
    Ok(groups)
}

fn from_ledger(args: &FitArgs, ui: &mut Ui) -> Result<Vec<Group>, CommandError> {
    if args.by.contains(&By::Group) {
        return Err(CommandError::wrong_use(
            "--by group needs a file of lives (--lives FILE)",
            "a ledger is fitted --by component, position or machine",
        ));
    }
    let store = Store::open(
        &super::select::folders(&args.ledgers),
        args.as_of,
        &Options::default(),
    )?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    if let Some(mode) = &args.mode {
        args.select.check_mode(&store, mode)?;
    }
    let rows = store.lives()?;
    let by_position = args.by.is_empty() || args.by.contains(&By::Position);
    let by_machine = args.by.contains(&By::Machine);
    let mut groups: BTreeMap<(usize, String, String), Group> = BTreeMap::new();
    let mut rows_of: BTreeMap<(usize, String, String), Vec<&LifeRow>> = BTreeMap::new();
    for row in rows.iter().filter(|row| args.select.takes(row)) {
        let part = |wanted: bool, text: &str| {
            if wanted {
                text.to_owned()
            } else {
                String::new()
            }
        };
        let position = part(by_position, &row.position);
        let machine = part(by_machine, &row.machine);
        let rank = super::select::rank(&store, &row.component);
        let key = (rank, position.clone(), machine.clone());
        rows_of.entry(key.clone()).or_default().push(row);
        let group = groups
            .entry(key)
            .or_insert_with(|| new_group(args, &store, row, position, machine));
        match row.life(args.mode.as_deref()) {
            Ok(life) => {
                group.lives.push(life);
                group.modes.push(row.mode.clone());
            }
            Err(_) => group.excluded += 1,
        }
    }
    if groups.is_empty() {
        return Err(super::select::no_lives(&store));
    }
    for (key, group) in &mut groups {
        let note = trend_note(&rows_of[key], args.mode.as_deref(), store.as_of());
        group.notes.extend(note);
    }
    Ok(groups.into_values().collect())
}

fn new_group(
    args: &FitArgs,
    store: &Store,
    row: &LifeRow,
    position: String,
    machine: String,
) -> Group {
    let some = |text: String| (!text.is_empty()).then_some(text);
    let usage = super::select::usage(store, &row.component);
    Group {
        name: GroupName {
            component: Some(row.component.clone()),
            position: some(position),
            machine: some(machine),
            mode: args.mode.clone(),
            group: None,
        },
        lives: Vec::new(),
        modes: Vec::new(),
        excluded: 0,
        unit: usage.map(|u| u.unit.clone()).unwrap_or_default(),
        usage: usage.map_or_else(|| "Usage".to_owned(), |u| u.name.clone()),
        notes: Vec::new(),
        component: store
            .ledgers()
            .iter()
            .find_map(|ledger| ledger.register.component(&row.component).cloned()),
    }
}
