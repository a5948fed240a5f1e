//! `compare`: is it one population, and how do the lives of groups compare?

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::ValueEnum;
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};

use super::evidence::{self, Ask};
use super::select::{Select, confidence, folders, mode_in_file, positive};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::cost::{CostBasis, CostFrom};
use crate::intake::lives_csv;
use crate::life::{Life, LifeRow, Sample};
use crate::model::LimitsKind;
use crate::model::compare::{Comparison, compare};
use crate::model::posterior::ShapePrior;
use crate::model::posterior::several::SeveralPosterior;
use crate::policy::Costs;
use crate::policy::worth::{Worth, worth};
use crate::quantity::nearest;
use crate::quantity::time::start_of_day;
use crate::quantity::trouble::Trouble;
use crate::store::{Options, Store};
use crate::view::compare::{CompareFacts, CompareView, left_out};

/// Compare the lives of groups: one population or several
///
/// Fits three models (all pooled; one shape and own scales; all separate), tests them against
/// each other, and tells how many times as long each group lasts as the first. From a ledger it
/// also says what the difference is worth.
#[derive(Debug, clap::Args)]
pub struct CompareArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Compare lives from a CSV file with columns entry, lo, hi, count, group, mode instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "before"])]
    lives: Option<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// What keeps the groups apart
    #[arg(long, value_enum, value_name = "WHAT", conflicts_with = "before")]
    by: Option<By>,
    /// Compare lives begun before this date with those begun from it on
    #[arg(long, value_name = "DATE")]
    before: Option<NaiveDate>,
    /// Group the others are compared with (default: the first)
    #[arg(long, value_name = "NAME")]
    base: Option<String>,
    /// Failure mode to compare; ends by other modes count as cut short
    #[arg(long, value_name = "MODE")]
    mode: Option<String>,
    /// Kind of limits for the ratios of lives
    #[arg(long, value_enum, default_value_t, value_name = "KIND")]
    limits: Kind,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    confidence: f64,
    /// Whole cost of one planned renewal (default: from the ledger's jobs, else the register)
    #[arg(long, value_name = "COST", value_parser = positive, requires = "failed_cost")]
    planned_cost: Option<f64>,
    /// Whole cost of one failure (default: from the ledger's jobs, else the register)
    #[arg(long, value_name = "COST", value_parser = positive, requires = "planned_cost")]
    failed_cost: Option<f64>,
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
    /// The column group of the file
    Group,
    /// The position in the machine
    Position,
    /// The machine
    Machine,
    /// The part number fitted
    Part,
    /// The supplier of the part, from the register
    Supplier,
    /// The batch the part came from
    Batch,
}

impl By {
    fn word(self) -> &'static str {
        match self {
            By::Group => "group",
            By::Position => "position",
            By::Machine => "machine",
            By::Part => "part",
            By::Supplier => "supplier",
            By::Batch => "batch",
        }
    }
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// Posterior under the prior 1/(shape·scales): right for few failures
    #[default]
    Posterior,
    /// Profile likelihood ratio
    LikelihoodRatio,
    /// Normal approximation on the log scale: for many failures
    Wald,
}

impl From<Kind> for LimitsKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Posterior => LimitsKind::Posterior,
            Kind::LikelihoodRatio => LimitsKind::LikelihoodRatio,
            Kind::Wald => LimitsKind::Wald,
        }
    }
}

/// Lives under one name.
#[derive(Debug, Clone, PartialEq)]
struct Group {
    name: String,
    lives: Vec<Life>,
    excluded: u64,
}

/// What is compared, from a file or a ledger.
struct Gathered {
    groups: Vec<Group>,
    facts: CompareFacts,
    /// What renewals cost, where that is known, and the prior of the component's shape.
    costs: Option<Costs>,
    prior: ShapePrior,
}

pub fn run(args: &CompareArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let mut gathered = match &args.lives {
        Some(file) => from_file(args, file)?,
        None => from_ledger(args, ui)?,
    };
    drop_empty(&mut gathered);
    let base = base(args, &gathered.groups)?;
    let Gathered {
        groups,
        mut facts,
        costs,
        prior,
    } = gathered;
    facts.names = groups.iter().map(|g| g.name.clone()).collect();
    facts.excluded = groups.iter().map(|g| g.excluded).collect();
    let samples: Vec<Sample> = groups
        .into_iter()
        // Every life was checked where it came from.
        .map(|group| Sample::new(group.lives).unwrap_or_default())
        .collect();
    let limits = (LimitsKind::from(args.limits), args.confidence);
    let found = compare(&samples, base, limits)
        .map_err(|error| too_few(facts.names.first(), &error.to_string()))?;
    let worths = worths(&samples, &found, costs, prior, args.confidence);
    if let (Some(_), false) = (costs, worths.is_empty()) {
        facts.notes.push(
            "the cost of each group is taken at the age best for it, or running to failure, \
             under one shape; the doubt about the lives is in the limits"
                .into(),
        );
    }
    let view = CompareView::new(facts, &samples, &found, &worths, limits);
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    if found.chosen.is_none() {
        return Err(CommandError::new(
            Fault::NoAnswer,
            Trouble::error("no-comparison", "no model has an estimate")
                .because("the reason stands with each model in the result")
                .cured_by("compare larger groups, or wait for failures to be recorded"),
        ));
    }
    Ok(Outcome::Done)
}

/// What the difference of every other group to the base is worth; none without costs or where
/// the data leave a scale open.
fn worths(
    samples: &[Sample],
    found: &Comparison,
    costs: Option<Costs>,
    prior: ShapePrior,
    confidence: f64,
) -> Vec<(usize, usize, Worth)> {
    let Some(costs) = costs else {
        return Vec::new();
    };
    let each: Vec<&Sample> = samples.iter().collect();
    let Ok(posterior) = SeveralPosterior::new(&each, prior) else {
        return Vec::new();
    };
    found
        .ratios
        .iter()
        .filter_map(|ratio| {
            let pair = (ratio.of, ratio.to);
            let worth = worth(&posterior, pair, costs, confidence)?;
            Some((ratio.of, ratio.to, worth))
        })
        .collect()
}

/// Groups of which every life stays out leave nothing to compare; a note tells of them.
fn drop_empty(gathered: &mut Gathered) {
    for group in gathered.groups.iter().filter(|g| g.lives.is_empty()) {
        gathered.facts.notes.push(format!(
            "{} is left out: none of its {} can be fitted",
            group.name,
            crate::life::counted_lives(group.excluded),
        ));
    }
    gathered.groups.retain(|group| !group.lives.is_empty());
}

fn base(args: &CompareArgs, groups: &[Group]) -> Result<usize, CommandError> {
    if groups.len() < 2 {
        let only = groups.first().map(|g| &g.name);
        return Err(too_few(only, "a comparison needs two groups or more"));
    }
    let Some(name) = &args.base else {
        return Ok(0);
    };
    groups
        .iter()
        .position(|group| group.name == *name)
        .ok_or_else(|| {
            let names: Vec<&str> = groups.iter().map(|g| g.name.as_str()).collect();
            let cure = match nearest(name, names.iter().copied()) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("the groups are: {}", names.join(", ")),
            };
            CommandError::wrong_use(format!("no group \"{name}\" to compare with"), cure)
        })
}

fn too_few(only: Option<&String>, what: &str) -> CommandError {
    let found = match only {
        Some(name) => format!("the lives asked for make one group: {name}"),
        None => "none of the lives asked for can be fitted".into(),
    };
    CommandError::new(
        Fault::Data,
        Trouble::error("one-group", what)
            .because(found)
            .cured_by("keep them apart by something else (--by, --before), or ask for more"),
    )
}

/// Puts a life (`None`: one that stays out) into its group, which is made where it is new.
fn put(groups: &mut Vec<Group>, name: &str, life: Option<Life>, count: u64) {
    let place = groups
        .iter()
        .position(|group| group.name == name)
        .unwrap_or_else(|| {
            groups.push(Group {
                name: name.to_owned(),
                lives: Vec::new(),
                excluded: 0,
            });
            groups.len() - 1
        });
    match life {
        Some(life) => groups[place].lives.push(life),
        None => groups[place].excluded += count,
    }
}

fn given_costs(args: &CompareArgs) -> Option<(CostBasis, CostBasis)> {
    let given = |cost: Option<f64>| {
        Some(CostBasis {
            value: Decimal::from_f64(cost?)?,
            from: CostFrom::Given,
        })
    };
    given(args.planned_cost).zip(given(args.failed_cost))
}

fn from_file(args: &CompareArgs, file: &Path) -> Result<Gathered, CommandError> {
    if let Some(by) = args.by.filter(|by| *by != By::Group) {
        return Err(CommandError::wrong_use(
            format!(
                "--by {} needs a ledger: a file of lives has only the column group",
                by.word()
            ),
            "use --by group",
        ));
    }
    let lives = lives_csv::read(file)?;
    if lives.iter().all(|life| life.group.is_none()) {
        return Err(CommandError::new(
            Fault::Data,
            Trouble::error("no-groups", "no life in the file names its group")
                .in_file(file.display().to_string())
                .cured_by("add a column group that says which lives belong together"),
        ));
    }
    mode_in_file(&lives, args.mode.as_deref())?;
    let mut groups = Vec::new();
    let mut nameless = 0;
    for life in &lives {
        let count = u64::from(life.life.count);
        match &life.group {
            Some(name) => put(&mut groups, name, life.of_mode(args.mode.as_deref()), count),
            None => nameless += count,
        }
    }
    let mut facts = CompareFacts {
        mode: args.mode.clone(),
        by: By::Group.word().into(),
        ..CompareFacts::default()
    };
    if nameless > 0 {
        facts.notes.push(left_out(nameless, "group"));
    }
    let given = given_costs(args);
    facts.planned = given.map(|(planned, _)| planned.into());
    facts.failed = given.map(|(_, failed)| failed.into());
    Ok(Gathered {
        groups,
        costs: checked(given),
        facts,
        prior: ShapePrior::DECISION,
    })
}

/// The two costs as the policy takes them; `None` where they cannot be weighed.
fn checked(costs: Option<(CostBasis, CostBasis)>) -> Option<Costs> {
    let (planned, failed) = costs?;
    Costs::new(planned.value.to_f64()?, failed.value.to_f64()?).ok()
}

fn from_ledger(args: &CompareArgs, ui: &mut Ui) -> Result<Gathered, CommandError> {
    if args.by == Some(By::Group) {
        return Err(CommandError::wrong_use(
            "--by group needs a file of lives (--lives FILE)",
            "a ledger is compared --by position, machine, part, supplier or batch, or --before a date",
        ));
    }
    if args.by.is_none() && args.before.is_none() {
        return Err(CommandError::wrong_use(
            "what is to be compared with what?",
            "give --by position, machine, part, supplier or batch, or --before a date",
        ));
    }
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    if let Some(mode) = &args.mode {
        args.select.check_mode(&store, mode)?;
    }
    let rows = store.lives()?;
    let rows: Vec<&LifeRow> = rows.iter().filter(|row| args.select.takes(row)).collect();
    let Some(first) = rows.first() else {
        return Err(super::select::no_lives(&store));
    };
    let component = first.component.clone();
    if rows.iter().any(|row| row.component != component) {
        return Err(CommandError::wrong_use(
            "lives of several components are no populations to compare",
            "name one with --component",
        ));
    }
    let mut groups = Vec::new();
    let mut nameless = 0;
    for row in &rows {
        match group_of(args, &store, row) {
            Some(name) => put(&mut groups, &name, row.life(args.mode.as_deref()).ok(), 1),
            None => nameless += 1,
        }
    }
    // Before comes first, whichever life stands first in the table.
    if args.before.is_some() {
        groups.sort_by_key(|group| !group.name.starts_with(BEFORE));
    }
    // Positions and machines keep the order of the register; other names have none of their own.
    if matches!(args.by, Some(By::Part | By::Batch | By::Supplier)) {
        groups.sort_by(|a, b| a.name.cmp(&b.name));
    }
    let by = args.by.map_or("begun", By::word);
    let mut facts = CompareFacts {
        component: Some(component.clone()),
        mode: args.mode.clone(),
        by: by.into(),
        unit: super::select::unit(&store, &component),
        currency: store.register().plant.currency.code().to_owned(),
        ..CompareFacts::default()
    };
    if nameless > 0 {
        facts.notes.push(left_out(nameless, by));
    }
    let (costs, prior) = weighed(args, &store, &component, &mut facts)?;
    Ok(Gathered {
        groups,
        facts,
        costs,
        prior,
    })
}

/// How the group of earlier lives is called.
const BEFORE: &str = "before ";

/// The group a row belongs to; `None` where it is not on record.
fn group_of(args: &CompareArgs, store: &Store, row: &LifeRow) -> Option<String> {
    if let Some(date) = args.before {
        let earlier = row.start_time < start_of_day(date, store.zone());
        let word = if earlier { BEFORE } else { "from " };
        return Some(format!("{word}{date}"));
    }
    match args.by? {
        By::Group => None,
        By::Position => Some(row.position.clone()),
        By::Machine => Some(row.machine.clone()),
        By::Part => row.part.clone(),
        By::Batch => row.batch.clone(),
        By::Supplier => {
            let number = row.part.as_deref()?;
            let register = store.register_of(&row.machine)?;
            register.part(number)?.supplier.clone()
        }
    }
}

/// Costs and prior as `interval` finds them.
fn weighed(
    args: &CompareArgs,
    store: &Store,
    component: &str,
    facts: &mut CompareFacts,
) -> Result<(Option<Costs>, ShapePrior), CommandError> {
    let found = store.ledgers().iter().find_map(|ledger| {
        let register = &ledger.register;
        Some((register, register.component(component)?))
    });
    let Some((register, component)) = found else {
        return Ok((None, ShapePrior::DECISION));
    };
    let given = given_costs(args);
    let ask = Ask {
        planned_cost: given.map(|(planned, _)| planned.value),
        failed_cost: given.map(|(_, failed)| failed.value),
        ..Ask::default()
    };
    let prior = evidence::prior(component, &ask);
    // What a failure costs is known for failures of any kind, not of one mode.
    if args.mode.is_some() && given.is_none() {
        facts.notes.push(
            "what the difference is worth is left out: costs are of failures of any mode; give \
             --planned-cost and --failed-cost for this one"
                .into(),
        );
        return Ok((None, prior));
    }
    let renewals = store.renewal_costs()?;
    let (planned, failed) = evidence::costs(register, component, &renewals, &ask);
    let costs = checked(Some((planned, failed)));
    if costs.is_some() {
        facts.planned = Some(planned.into());
        facts.failed = Some(failed.into());
    }
    Ok((costs, prior))
}
