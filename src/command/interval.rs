//! `interval`: when to renew each component.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::ValueEnum;
use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::evidence::{Ask, ComponentEvidence, Group, gather};
use super::select::{Select, confidence, folders, positive};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::cost::{CostBasis, CostFrom};
use crate::intake::lives_csv;
use crate::life::{Life, Sample, counted_lives};
use crate::model::Weibull;
use crate::model::posterior::ShapePrior;
use crate::policy::evidence::{Placed, Scope};
use crate::policy::modes::{ModeRole, roles};
use crate::policy::recommend::{Recommendation, Terms, judge, recommend};
use crate::policy::siblings::{Pooling, Siblings, siblings};
use crate::policy::{Costs, age_policy, decide};
use crate::quantity::trouble::Trouble;
use crate::store::{Options, Store};
use crate::view::interval::{RecommendationView, RecommendationsView, RowFacts};
use crate::view::stated::PolicyView;
use crate::view::table::{figure, percent};

/// Recommend when to renew each component
///
/// Weighs planned renewal against failure, with the doubt the data leave. "Not enough
/// evidence" is an answer. Without a ledger: give a life (--shape, --scale) or a file of
/// lives (--lives), and the two costs.
#[derive(Debug, clap::Args)]
pub struct IntervalArgs {
    /// Ledger folder (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// Decide from lives in a CSV file with columns entry, lo, hi, count, group, mode instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "shape"],
          requires_all = ["planned_cost", "failed_cost"])]
    lives: Option<PathBuf>,
    /// With --lives: one recommendation a group
    #[arg(long, value_enum, value_name = "WHAT", requires = "lives")]
    by: Option<By>,
    /// How far positions, or a file's groups, lean on each other (default: partial for a ledger, none for a file)
    #[arg(long, value_enum, value_name = "HOW", conflicts_with = "shape")]
    pool: Option<Pool>,
    /// Weibull shape of a stated life
    #[arg(long, value_name = "NUMBER", value_parser = positive, requires_all = ["scale", "planned_cost", "failed_cost"],
          conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine"])]
    shape: Option<f64>,
    /// Weibull scale of a stated life
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "shape")]
    scale: Option<f64>,
    /// Whole cost of one planned renewal (default: from the ledger's jobs, else the register)
    #[arg(long, value_name = "COST", value_parser = positive)]
    planned_cost: Option<f64>,
    /// Whole cost of one failure (default: from the ledger's jobs, else the register)
    #[arg(long, value_name = "COST", value_parser = positive)]
    failed_cost: Option<f64>,
    /// What to minimise for a stated life
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    policy: Policy,
    /// Chance that renewal pays from which it is recommended
    #[arg(long, default_value_t = 0.8, value_name = "SHARE", value_parser = sure)]
    sure: f64,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    confidence: f64,
    /// Prior for the shape: "none", or its 5 % and 95 % points as LOW,HIGH (default: weak, 0.75 to 5.4)
    #[arg(long, value_name = "PRIOR", value_parser = super::select::shape_prior)]
    shape_prior: Option<ShapePrior>,
    /// With --lives: round intervals down to a multiple of this usage
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "lives")]
    grid: Option<f64>,
    /// With --lives: usage no interval may pass
    #[arg(long, value_name = "USAGE", value_parser = positive, requires = "lives")]
    ceiling: Option<f64>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum By {
    /// The column group of the file
    Group,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Pool {
    /// Each on its own lives
    None,
    /// Each leans on its siblings as far as the data say
    Partial,
    /// All lives together, but for what clearly differs
    All,
}

impl From<Pool> for Pooling {
    fn from(pool: Pool) -> Self {
        match pool {
            Pool::None => Pooling::None,
            Pool::Partial => Pooling::Partial,
            Pool::All => Pooling::All,
        }
    }
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Policy {
    /// Renew at an age or at failure: least cost
    #[default]
    Age,
    /// The same with the two costs as hours out of service: least downtime
    Downtime,
}

fn sure(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.5 && value < 1.0 => Ok(value),
        _ => Err("write a chance between 0.5 and 1, as 0.8".into()),
    }
}

pub fn run(args: &IntervalArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let (Some(shape), Some(scale)) = (args.shape, args.scale) {
        return stated(args, shape, scale, ui);
    }
    if args.policy != Policy::Age {
        return Err(CommandError::wrong_use(
            "--policy downtime needs a stated life (--shape, --scale)",
            "from data the policy is age; give hours out of service as the two costs instead",
        ));
    }
    let view = match &args.lives {
        Some(file) => from_file(args, file)?,
        None => from_ledger(args, ui)?,
    };
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    Ok(Outcome::Done)
}

fn given_costs(args: &IntervalArgs) -> Result<Costs, CommandError> {
    // Both are required beside --shape and --lives.
    let (Some(planned), Some(failed)) = (args.planned_cost, args.failed_cost) else {
        return Err(CommandError::wrong_use(
            "two costs are needed",
            "give --planned-cost and --failed-cost",
        ));
    };
    Costs::new(planned, failed)
        .map_err(|error| CommandError::new(Fault::Use, Trouble::error("cost", error.to_string())))
}

fn stated(
    args: &IntervalArgs,
    shape: f64,
    scale: f64,
    ui: &mut Ui,
) -> Result<Outcome, CommandError> {
    let costs = given_costs(args)?;
    let Some(life) = Weibull::new(shape, scale) else {
        return Err(CommandError::wrong_use(
            "shape and scale must be above 0",
            "check the two",
        ));
    };
    let word = match args.policy {
        Policy::Age => "age",
        Policy::Downtime => "downtime",
    };
    let view = PolicyView::new(word, &age_policy(&life, costs));
    ui.result(
        &args
            .format
            .lay_out(|| view.table(), || view.json(), || view.csv())?,
    )?;
    Ok(Outcome::Done)
}

fn from_file(args: &IntervalArgs, file: &Path) -> Result<RecommendationsView, CommandError> {
    let costs = given_costs(args)?;
    let terms = Terms {
        sure: args.sure,
        confidence: args.confidence,
        grid: args.grid,
        ceiling: args.ceiling,
        prior: args.shape_prior.unwrap_or(ShapePrior::DECISION),
    };
    let mut groups: Vec<(Option<String>, Vec<Life>)> = Vec::new();
    let mut modes: Vec<Vec<Option<String>>> = Vec::new();
    let mut places: HashMap<Option<String>, usize> = HashMap::new();
    for life in lives_csv::read(file)? {
        let key = life.group.filter(|_| args.by.is_some());
        let place = *places.entry(key).or_insert_with_key(|key| {
            groups.push((key.clone(), Vec::new()));
            modes.push(Vec::new());
            groups.len() - 1
        });
        groups[place].1.push(life.life);
        modes[place].push(life.mode);
    }
    let all: Vec<Vec<Life>> = groups.iter().map(|(_, lives)| lives.clone()).collect();
    let with_modes = |group: &Option<String>, interval: Option<f64>| -> Vec<ModeRole> {
        let Some(place) = places.get(group) else {
            return Vec::new();
        };
        let lives: Vec<(Life, Option<&str>)> = all[*place]
            .iter()
            .zip(&modes[*place])
            .map(|(life, mode)| (*life, mode.as_deref()))
            .collect();
        stated_roles(&lives, interval, args.confidence)
    };
    let given = |cost: f64| {
        Decimal::from_f64(cost).map(|value| CostBasis {
            value,
            from: CostFrom::Given,
        })
    };
    let pooling = args.pool.map_or(Pooling::None, Pooling::from);
    if pooling != Pooling::None && args.by.is_none() {
        return Err(CommandError::wrong_use(
            "--pool needs groups that could lean on each other",
            "name them in the column group and add --by group",
        ));
    }
    let recommendations = pooled(groups, pooling, costs, &terms)
        .into_iter()
        .map(|(group, sample, found, leaning)| {
            let facts = RowFacts {
                modes: with_modes(&group, found.interval),
                group,
                planned: given(costs.planned),
                failed: given(costs.failed),
                ceiling: args.ceiling,
                lives: sample.count(),
                failures: sample.failures(),
                borrowed: leaning.as_ref().map(|(_, borrowed)| *borrowed),
                basis: match &leaning {
                    Some((scope, borrowed)) => {
                        leaning_words(&sample, scope, *borrowed, terms.prior)
                    }
                    None if pooling == Pooling::None => {
                        basis_words(&sample, "the file's lives", terms.prior)
                    }
                    None => basis_words(&sample, "all groups pooled", terms.prior),
                },
                ..RowFacts::default()
            };
            RecommendationView::new(facts, &found)
        })
        .collect();
    Ok(RecommendationsView {
        recommendations,
        currency: String::new(),
    })
}

/// A group with the lives its figures count, its recommendation and, where it leans on
/// others, who on whom and how much of its estimate is theirs.
type Weighed = (
    Option<String>,
    Sample,
    Recommendation,
    Option<(String, f64)>,
);

/// Recommends for each group of a file, pooled as asked.
fn pooled(
    groups: Vec<(Option<String>, Vec<Life>)>,
    pooling: Pooling,
    costs: Costs,
    terms: &Terms,
) -> Vec<Weighed> {
    // Every life was checked when it was read.
    let sample = |lives: Vec<Life>| Sample::new(lives).unwrap_or_default();
    if pooling == Pooling::None {
        return groups
            .into_par_iter()
            .map(|(group, lives)| {
                let sample = sample(lives);
                let found = recommend(&sample, costs, terms);
                (group, sample, found, None)
            })
            .collect();
    }
    let name = |group: &Option<String>| group.clone().unwrap_or_default();
    let placed: Vec<Placed> = groups
        .iter()
        .flat_map(|(group, lives)| {
            lives.iter().map(move |life| Placed {
                machine: String::new(),
                position: name(group),
                batch: None,
                life: *life,
            })
        })
        .collect();
    let slots: Vec<(String, String)> = groups
        .iter()
        .map(|(group, _)| (String::new(), name(group)))
        .collect();
    let members: Vec<usize> = (0..placed.len()).collect();
    let all = sample(placed.iter().map(|p| p.life).collect());
    if pooling == Pooling::Partial
        && let Siblings::Differ { each, .. } = siblings(&placed, &members, &slots, terms.prior)
    {
        let names: Vec<String> = each.iter().map(|s| s.scope.place()).collect();
        return groups
            .into_iter()
            .zip(each)
            .map(|((group, _), sibling)| {
                let own = name(&group);
                let on: Vec<String> = names.iter().filter(|n| **n != own).cloned().collect();
                let decision = decide(&sibling.posterior, costs, terms.confidence);
                let found = judge(&all, decision, costs, terms);
                let scope = format!("{own} on {}", listed(&on));
                (
                    group,
                    sibling.sample,
                    found,
                    Some((scope, sibling.borrowed)),
                )
            })
            .collect();
    }
    let found = recommend(&all, costs, terms);
    groups
        .into_iter()
        .map(|(group, _)| (group, all.clone(), found.clone(), None))
        .collect()
}

fn from_ledger(args: &IntervalArgs, ui: &mut Ui) -> Result<RecommendationsView, CommandError> {
    let money = |cost: Option<f64>| cost.and_then(Decimal::from_f64);
    let costs_given = args.planned_cost.is_some() || args.failed_cost.is_some();
    if costs_given && args.select.only_component().is_none() {
        return Err(CommandError::wrong_use(
            "costs given for a ledger hold for one component only",
            "name it with --component, or leave the costs to the ledger and the register",
        ));
    }
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let ask = Ask {
        select: args.select.clone(),
        sure: args.sure,
        confidence: args.confidence,
        prior: args.shape_prior,
        planned_cost: money(args.planned_cost),
        failed_cost: money(args.failed_cost),
        pooling: args.pool.map_or(Pooling::Partial, Pooling::from),
    };
    let found = gather(&store, &ask)?;
    if found.iter().all(|c| c.rows.is_empty()) {
        return Err(super::select::no_lives(&store));
    }
    Ok(RecommendationsView {
        recommendations: found.iter().flat_map(rows).collect(),
        currency: store.register().plant.currency.code().to_owned(),
    })
}

/// A row a component and position; a machine whose group differs there has its own.
fn rows(evidence: &ComponentEvidence) -> Vec<RecommendationView> {
    let mut positions: Vec<&str> = Vec::new();
    for (_, position) in evidence.groups.iter().flat_map(|g| &g.slots) {
        if !positions.contains(&position.as_str()) {
            positions.push(position);
        }
    }
    positions.sort_by_key(|p| natural(p));
    let mut views = Vec::new();
    for position in positions {
        let mut here: Vec<(&Group, Vec<&str>)> = Vec::new();
        for group in &evidence.groups {
            let machines: Vec<&str> = group
                .slots
                .iter()
                .filter(|(_, p)| p == position)
                .map(|(machine, _)| machine.as_str())
                .collect();
            if !machines.is_empty() {
                here.push((group, machines));
            }
        }
        let split = here.len() > 1;
        for (group, machines) in here {
            let machine = split.then(|| machines.join(", "));
            views.push(view(evidence, group, position, machine));
        }
    }
    views
}

/// P2 before P10: digits count as numbers.
fn natural(text: &str) -> Vec<(String, u64)> {
    let mut parts = Vec::new();
    let mut word = String::new();
    let mut number = String::new();
    for c in text.chars() {
        if c.is_ascii_digit() {
            number.push(c);
        } else {
            if !number.is_empty() {
                parts.push((
                    std::mem::take(&mut word),
                    number.parse().unwrap_or(u64::MAX),
                ));
                number.clear();
            }
            word.push(c);
        }
    }
    parts.push((word, number.parse().unwrap_or(0)));
    parts
}

fn view(
    evidence: &ComponentEvidence,
    group: &Group,
    position: &str,
    machine: Option<String>,
) -> RecommendationView {
    let component = &evidence.component;
    let mut notes = Vec::new();
    if let Some(apart) = group.apart {
        notes.push(apart_words(
            &group.scope,
            apart.life_ratio,
            apart.p_adjusted,
        ));
    } else {
        for other in evidence.groups.iter().filter(|g| g.apart.is_some()) {
            if let (Scope::Batch { batch }, Some(apart)) = (&other.scope, other.apart) {
                notes.push(format!(
                    "{} of batch {batch} are left out: they last {} as long (p {})",
                    counted_lives(other.rows.len() as u64),
                    ratio_words(apart.life_ratio),
                    p_words(apart.p_adjusted),
                ));
            }
        }
    }
    let facts = RowFacts {
        component: Some(component.id.clone()),
        position: Some(position.to_owned()),
        machine,
        group: None,
        planned: Some(evidence.planned),
        failed: Some(evidence.failed),
        ceiling: component.ceiling.as_ref().map(|c| c.value),
        present: component.present_interval,
        lives: group.sample.count(),
        failures: group.sample.failures(),
        unit: Some(evidence.usage.unit.clone()),
        borrowed: group.leaning.as_ref().map(|l| l.borrowed),
        basis: match &group.leaning {
            Some(leaning) => leaning_words(
                &group.sample,
                &format!("{} on {}", group.scope.place(), listed(&leaning.on)),
                leaning.borrowed,
                evidence.terms.prior,
            ),
            None => basis_words(
                &group.sample,
                &scope_words(evidence, group),
                evidence.terms.prior,
            ),
        },
        modes: mode_roles(evidence, group),
        notes,
    };
    RecommendationView::new(facts, &group.recommendation)
}

/// The failure modes of a group; none where no failure has one stated.
pub fn mode_roles(evidence: &ComponentEvidence, group: &Group) -> Vec<ModeRole> {
    let lives: Vec<(Life, Option<&str>)> = group
        .rows
        .iter()
        .filter_map(|n| evidence.rows.get(*n))
        .filter_map(|row| Some((row.life(None).ok()?, row.mode.as_deref())))
        .collect();
    stated_roles(
        &lives,
        group.recommendation.interval,
        evidence.terms.confidence,
    )
}

/// The roles of modes, where any failure has one stated.
fn stated_roles(
    lives: &[(Life, Option<&str>)],
    interval: Option<f64>,
    confidence: f64,
) -> Vec<ModeRole> {
    if lives
        .iter()
        .any(|(life, mode)| life.failed() && mode.is_some())
    {
        roles(lives, interval, confidence)
    } else {
        Vec::new()
    }
}

/// How a group stands apart, in a sentence.
pub fn apart_words(scope: &Scope, ratio: f64, p: f64) -> String {
    let what = scope.name().unwrap_or_else(|| "these lives".into());
    format!(
        "{what} stands apart: items last {} as long there as elsewhere (p {})",
        ratio_words(ratio),
        p_words(p)
    )
}

fn ratio_words(ratio: f64) -> String {
    if ratio < 10.0 {
        format!("{} times", figure(ratio, 2))
    } else {
        "more than ten times".into()
    }
}

fn p_words(p: f64) -> String {
    if p < 0.001 {
        "< 0.001".into()
    } else {
        format!("{p:.3}")
    }
}

fn scope_words(evidence: &ComponentEvidence, group: &Group) -> String {
    match group.scope.name() {
        Some(name) => format!("{name} alone"),
        None if evidence.groups.len() == 1 => "all positions and machines pooled".into(),
        None => "all positions and machines that do not stand apart, pooled".into(),
    }
}

/// Names in a row; many of them cut short.
fn listed(names: &[String]) -> String {
    const SHOWN: usize = 4;
    match names.len().checked_sub(SHOWN) {
        Some(more) if more > 1 => format!("{} and {more} more", names[..SHOWN].join(", ")),
        _ => names.join(", "),
    }
}

/// The same for a group that leans on its siblings.
fn leaning_words(sample: &Sample, scope: &str, borrowed: f64, prior: ShapePrior) -> String {
    format!(
        "{}; {} borrowed from its siblings",
        basis_words(sample, scope, prior),
        percent(borrowed)
    )
}

/// What a recommendation rests on, in a phrase.
pub fn basis_words(sample: &Sample, scope: &str, prior: ShapePrior) -> String {
    let prior = match prior {
        ShapePrior::Flat => "prior 1/shape".into(),
        p if p == ShapePrior::DECISION => "weak prior for the shape (0.75 to 5.4)".into(),
        ShapePrior::LogNormal { mean, sd } => format!(
            "prior for the shape {} to {}",
            figure((mean - 1.645 * sd).exp(), 2),
            figure((mean + 1.645 * sd).exp(), 2)
        ),
    };
    let lives = sample.count();
    let share = if lives == 0 {
        0.0
    } else {
        sample.suspensions() as f64 / lives as f64
    };
    format!(
        "{scope}: {}, {} failed, {} cut short; Weibull posterior, {prior}",
        counted_lives(lives),
        sample.failures(),
        percent(share),
    )
}
