//! `plan`: the stops to come, what is done at each, with which parts.
//!
//! In: the command line. Out: plans, and a calendar file. Never: the choice of intervals.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Days, NaiveDate, Utc};

use super::beside::{folder_of, write_all};
use super::evidence::{Ask, ComponentEvidence, gather};
use super::group_inputs::{Ground, GroupedMachine, grouped};
use super::plan_inputs::{Standing, shelf};
use super::select::{Select, folders, no_lives};
use super::wear_now::WearNow;
use super::{CommandError, Format, Outcome, Ui};
use crate::plan::{MachineNow, Plan, Stop, Words, calendar};
use crate::quantity::time::day;
use crate::quantity::trouble::shown;
use crate::store::{Ledger, Options, Store};
use crate::view::cautions::cautions;
use crate::view::plan::{Facts, PlansView, order_words, stop_words};

/// Plan the stops to come: what is renewed and measured, when, with which parts
///
/// Renewals share stops by the grouped plan (see interval --grouped). Dates follow from the
/// usage on each item now and the machine's expected usage a week; they lie between the two
/// days given with nine chances in ten, as recent weeks scattered. What is overdue comes
/// first. Kits draw on the stock that the register states; the rest is to be ordered a lead
/// time before the earliest day.
#[derive(Debug, clap::Args)]
pub struct PlanArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// First day of the plan (default: the day of the ledger's last entry)
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Last day of the plan (default: a year after the first)
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Machine to plan for (can be repeated; default: all)
    #[arg(long, value_name = "TAG")]
    machine: Vec<String>,
    /// Crews that can open machines on one day (default: as the register states)
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..))]
    crews: Option<u32>,
    /// Write the stops and order days to a calendar file (RFC 5545)
    #[arg(long, value_name = "FILE")]
    ics: Option<PathBuf>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

/// A plant with its plan.
pub(super) struct Planned<'a> {
    pub ledger: &'a Ledger,
    pub machines: Vec<MachineNow>,
    pub plan: Plan,
    /// Notes for each machine of the plan.
    pub notes: Vec<Vec<String>>,
}

/// What is asked of a plan.
#[derive(Debug, Clone, Default)]
pub(super) struct PlanAsk {
    pub from: Option<NaiveDate>,
    pub to: Option<NaiveDate>,
    pub machines: Vec<String>,
    pub crews: Option<u32>,
}

pub fn run(args: &PlanArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let evidence = gather(&store, &Ask::default())?;
    if evidence.iter().all(|c| c.rows.is_empty()) {
        return Err(no_lives(&store));
    }
    let ask = PlanAsk {
        from: args.from,
        to: args.to,
        machines: args.machine.clone(),
        crews: args.crews,
    };
    let planned = plans(&store, &evidence, &WearNow::read(&store)?, &ask)?;
    let facts: Vec<Facts<'_>> = planned
        .iter()
        .map(|planned| Facts {
            plant: &planned.ledger.register.plant.name,
            currency: planned.ledger.register.plant.currency,
            plan: &planned.plan,
            notes: &planned.notes,
        })
        .collect();
    let own: Vec<String> = planned
        .iter()
        .flat_map(|planned| planned.ledger.register.plant.cautions.clone())
        .collect();
    let view = PlansView::new(&facts, cautions(&own));
    if let Some(file) = &args.ics {
        write(file, &calendar_text(&planned, store.as_of()))?;
    }
    ui.result(
        &args
            .format
            .lay_out(|| view.text(), || view.json(), || view.csv())?,
    )?;
    Ok(Outcome::Done)
}

fn calendar_text(planned: &[Planned<'_>], stamp: DateTime<Utc>) -> String {
    let stop_words: Vec<_> = planned
        .iter()
        .map(|one| {
            let currency = one.ledger.register.plant.currency;
            move |stop: &Stop, n: usize| stop_words(stop, &one.plan.kits[n], currency)
        })
        .collect();
    let plans: Vec<Words<'_>> = planned
        .iter()
        .zip(&stop_words)
        .map(|(one, stop)| Words {
            plant: &one.ledger.register.plant.name,
            plan: &one.plan,
            stop,
            order: &order_words,
        })
        .collect();
    let names: Vec<&str> = plans.iter().map(|words| words.plant).collect();
    calendar(&names.join(", "), stamp, &plans)
}

fn write(file: &Path, text: &str) -> Result<(), CommandError> {
    let Some(name) = file.file_name().and_then(|name| name.to_str()) else {
        return Err(CommandError::wrong_use(
            format!("{} is no name of a file", shown(file)),
            "name the calendar file, as stops.ics",
        ));
    };
    write_all(folder_of(file), [(name, text)])
        .map_err(|cannot| CommandError::io(&cannot.path, cannot.doing, &cannot.why()))
}

/// The plan of every plant of the store, in their order.
pub(super) fn plans<'a>(
    store: &'a Store,
    evidence: &[ComponentEvidence],
    worn: &WearNow,
    ask: &PlanAsk,
) -> Result<Vec<Planned<'a>>, CommandError> {
    let as_of = day(store.as_of(), store.zone());
    let from = ask.from.unwrap_or(as_of).max(as_of);
    let to = ask.to.unwrap_or_else(|| {
        from.checked_add_days(Days::new(364))
            .unwrap_or(NaiveDate::MAX)
    });
    if to < from {
        return Err(CommandError::wrong_use(
            format!("the plan would end on {to}, before it begins on {from}"),
            "a plan begins no earlier than the ledger's last entry; give a later --to",
        ));
    }
    let select = Select::of_machines(&ask.machines);
    select.check(store)?;
    // All share the shelf and the crews, whichever are asked for.
    let grouped = grouped(store, evidence, &store.machines())?;
    let standing = Standing::read(store, evidence, worn)?;
    let mut planned: Vec<Planned<'a>> = Vec::new();
    for ledger in store.ledgers() {
        let own: Vec<&GroupedMachine> = grouped
            .iter()
            .filter(|g| {
                store
                    .home_of(&g.machine)
                    .is_some_and(|(home, _)| home.name == ledger.name)
            })
            .collect();
        let machines: Vec<MachineNow> = own.iter().filter_map(|g| standing.machine(g)).collect();
        if !machines.iter().any(|m| select.takes_machine(&m.machine)) {
            continue;
        }
        let crews = ask.crews.or(ledger.register.plant.crews);
        let plan = Plan::make(&machines, &shelf(ledger), crews, as_of, (from, to));
        let notes = own
            .iter()
            .zip(&machines)
            .filter(|(_, machine)| select.takes_machine(&machine.machine))
            .map(|(grouped, machine)| notes(grouped, machine))
            .collect();
        planned.push(Planned {
            ledger,
            notes,
            plan: plan.only(|machine| select.takes_machine(machine)),
            machines: machines
                .into_iter()
                .filter(|machine| select.takes_machine(&machine.machine))
                .collect(),
        });
    }
    Ok(planned)
}

/// What is to be known of a machine's plan.
fn notes(grouped: &GroupedMachine, machine: &MachineNow) -> Vec<String> {
    let mut notes = Vec::new();
    for (usage, rate) in &machine.rates {
        if rate.differs() {
            let recent = rate.recent.unwrap_or(0.0);
            notes.push(format!(
                "it ran {recent:.0} {usage} a week of late, and {:.0} are expected: dates follow \
                 what is expected (usage_per_week in the register)",
                rate.per_week
            ));
        }
    }
    let slots = |wanted: &dyn Fn(&Ground) -> bool| {
        let mut components: Vec<&str> = Vec::new();
        for (slot, facts) in grouped.inputs.slots.iter().zip(&grouped.slots) {
            let id = slot.item.component.as_str();
            if wanted(&facts.ground) && !components.contains(&id) {
                components.push(id);
            }
        }
        components.join(", ")
    };
    let kept = slots(&|ground| matches!(ground, Ground::KeepsPresent { .. }));
    if !kept.is_empty() {
        notes.push(format!(
            "the record does not settle an interval for {kept}: what the register states as the \
             present one is not passed"
        ));
    }
    let unsettled = slots(&|ground| matches!(ground, Ground::Unsettled { .. }));
    if !unsettled.is_empty() {
        notes.push(format!(
            "the record does not settle an interval for {unsettled}, and the register states \
             none: renewed at failure"
        ));
    }
    notes
}
