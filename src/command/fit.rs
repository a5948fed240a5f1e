//! `fit`: how long components last, per group, with limits.

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono::NaiveDate;
use clap::ValueEnum;
use rayon::prelude::*;

use super::select::Select;
use super::trend_note::trend_note;
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::intake::lives_csv;
use crate::life::{Life, LifeRow, Sample};
use crate::model::LimitsKind;
use crate::model::group::{GroupFit, fit_group};
use crate::quantity::trouble::Trouble;
use crate::store::{Options, Store};
use crate::view::fit::{FitView, FitsView, GroupName};

/// Fit Weibull lives per component and position, with limits
///
/// Uses exact failures, failures found between two inspections, lives cut short and entry
/// ages. A group that has no estimate is shown with the reason.
#[derive(Debug, clap::Args)]
pub struct FitArgs {
    /// Ledger folder (can be repeated; default: this one)
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
    /// Life distribution
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    model: Model,
    /// How to estimate
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    method: Method,
    /// Kind of limits
    #[arg(long, value_enum, default_value_t, value_name = "KIND")]
    limits: Kind,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = super::select::confidence)]
    confidence: f64,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
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
    /// One fit a group of the CSV file
    Group,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Model {
    /// Two-parameter Weibull
    #[default]
    Weibull,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Method {
    /// Maximum likelihood
    #[default]
    Likelihood,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// Posterior under the prior 1/(scale·shape): right for few failures
    #[default]
    Posterior,
    /// Profile likelihood ratio
    LikelihoodRatio,
    /// Normal approximation on the log scale: for many failures
    Wald,
    /// Estimates only
    None,
}

impl From<Kind> for LimitsKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Posterior => LimitsKind::Posterior,
            Kind::LikelihoodRatio => LimitsKind::LikelihoodRatio,
            Kind::Wald => LimitsKind::Wald,
            Kind::None => LimitsKind::None,
        }
    }
}

/// Lives to be fitted together.
struct Group {
    name: GroupName,
    lives: Vec<Life>,
    excluded: u64,
    unit: String,
    notes: Vec<String>,
}

pub fn run(args: &FitArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    // One model and one method for now; the arguments say which, so that calls stay valid.
    let (Model::Weibull, Method::Likelihood) = (args.model, args.method);
    let groups = match &args.lives {
        Some(file) => from_file(args, file)?,
        None => from_ledger(args, ui)?,
    };
    let limits = (LimitsKind::from(args.limits), args.confidence);
    let fits: Vec<(FitView, bool)> = groups
        .into_par_iter()
        .map(|group| {
            // Every life was checked where it came from.
            let sample = Sample::new(group.lives).unwrap_or_default();
            let fit: GroupFit = fit_group(&sample, limits.0, limits.1);
            let view = FitView::new(
                group.name,
                &sample,
                group.excluded,
                &fit,
                limits,
                &group.unit,
                group.notes,
            );
            (view, fit.is_ok())
        })
        .collect();
    let any = fits.iter().any(|(_, fitted)| *fitted);
    let view = FitsView {
        fits: fits.into_iter().map(|(view, _)| view).collect(),
    };
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
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

fn from_file(args: &FitArgs, file: &std::path::Path) -> Result<Vec<Group>, CommandError> {
    if let Some(by) = args.by.iter().find(|by| **by != By::Group) {
        let word = format!("{by:?}").to_lowercase();
        return Err(CommandError::wrong_use(
            format!("--by {word} needs a ledger: a file of lives has only the column group"),
            "use --by group, or leave --by out to fit all lives together",
        ));
    }
    let lives = lives_csv::read(file)?;
    if let Some(mode) = &args.mode
        && !lives.iter().any(|l| l.mode.as_ref() == Some(mode))
    {
        return Err(CommandError::wrong_use(
            format!("no life in the file ended by mode \"{mode}\""),
            "the column mode names how each life ended",
        ));
    }
    let mut groups: Vec<Group> = Vec::new();
    for life in lives {
        let key = life.group.clone().filter(|_| !args.by.is_empty());
        let place = groups
            .iter()
            .position(|g| g.name.group == key)
            .unwrap_or_else(|| {
                groups.push(Group {
                    name: GroupName {
                        group: key.clone(),
                        mode: args.mode.clone(),
                        ..Default::default()
                    },
                    lives: Vec::new(),
                    excluded: 0,
                    unit: String::new(),
                    notes: Vec::new(),
                });
                groups.len() - 1
            });
        match life.of_mode(args.mode.as_deref()) {
            Some(life) => groups[place].lives.push(life),
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
            Ok(life) => group.lives.push(life),
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
    Group {
        name: GroupName {
            component: Some(row.component.clone()),
            position: some(position),
            machine: some(machine),
            mode: args.mode.clone(),
            group: None,
        },
        lives: Vec::new(),
        excluded: 0,
        unit: super::select::unit(store, &row.component),
        notes: Vec::new(),
    }
}
