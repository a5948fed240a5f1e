//! Gathers how the cost of one job was shared.
//!
//! In: a store, a job's name. Out: [`ExplainView`]. Never: printing; sharing anew.

use std::collections::BTreeMap;

use super::CommandError;
use crate::life::{CostClass, CostItem, Job, RenewalKind};
use crate::quantity::nearest;
use crate::store::Store;
use crate::view::cost_explain::{ExplainView, Explained, Line};

pub(super) fn explain(store: &Store, name: &str) -> Result<ExplainView, CommandError> {
    let jobs = store.jobs()?;
    let items = store.costs()?;
    // A job of the same name may be found on several machines or in several ledgers.
    type Told<'a> = (Option<&'a Job>, Vec<&'a CostItem>);
    let mut found: BTreeMap<(&str, Option<&str>), Told<'_>> = BTreeMap::new();
    for job in jobs.iter().filter(|job| job.job == name) {
        let key = (job.ledger.as_str(), job.machine.as_deref());
        found.entry(key).or_default().0 = Some(job);
    }
    for item in items
        .iter()
        .filter(|item| item.job.as_deref() == Some(name))
    {
        let key = (item.ledger.as_str(), item.machine.as_deref());
        found.entry(key).or_default().1.push(item);
    }
    if found.is_empty() {
        let names = jobs.iter().map(|job| job.job.as_str());
        let cure = match nearest(name, names) {
            Some(near) => format!("did you mean {near}?"),
            None => "list them: wearbook query \"SELECT job, machine, time FROM jobs\"".into(),
        };
        return Err(CommandError::wrong_use(
            format!("no job \"{name}\" on record"),
            cure,
        ));
    }
    let explained = found
        .into_values()
        .map(|(job, items)| one(store, name, job, &items))
        .collect();
    Ok(ExplainView(explained))
}

fn one(store: &Store, name: &str, job: Option<&Job>, items: &[&CostItem]) -> Explained {
    let machine = job
        .and_then(|job| job.machine.clone())
        .or_else(|| items.first().and_then(|item| item.machine.clone()));
    let home = machine
        .as_deref()
        .and_then(|machine| store.home_of(machine));
    let register = home.map_or(store.register(), |(ledger, _)| &ledger.register);
    let bearers = {
        let mut slots: Vec<&str> = items
            .iter()
            .filter(|item| item.shared)
            .map(|item| item.sha.as_str())
            .collect();
        slots.sort_unstable();
        slots.dedup();
        slots.len()
    };
    let renewals = items.iter().any(|item| item.cause.is_some());
    let corrective = job.map(|job| job.corrective);
    let mut lines: Vec<Line> = items.iter().map(|item| line(item, bearers)).collect();
    lines.sort_by(|a, b| {
        let key = |line: &Line| (line.component.clone(), line.position.clone());
        let place = |line: &Line| {
            let classes = CostClass::ALL.iter();
            classes
                .map(|c| c.word())
                .position(|word| word == line.class)
        };
        key(a).cmp(&key(b)).then(place(a).cmp(&place(b)))
    });
    Explained {
        job: name.to_owned(),
        kind: corrective.map(|yes| if yes { "corrective" } else { "preventive" }),
        start: job.and_then(|job| job.start),
        stop: job.and_then(|job| job.stop),
        labour_h: job.and_then(|job| job.labour_h),
        labour_rate: Some(register.plant.labour_rate),
        downtime_h: job.and_then(|job| job.downtime_h),
        downtime_cost: home.and_then(|(ledger, tag)| {
            ledger
                .register
                .machine(tag)
                .map(|known| known.downtime_cost)
        }),
        lines,
        rule: rule(corrective, renewals, items).to_owned(),
        currency: register.plant.currency,
        zone: register.plant.time_zone,
        machine,
    }
}

fn line(item: &CostItem, bearers: usize) -> Line {
    let why = match (item.class, item.shared, item.cause) {
        (CostClass::Expense, ..) => match &item.what {
            Some(what) => format!("an expense under the job: {what}"),
            None => "an expense under the job".into(),
        },
        (CostClass::Parts, ..) if item.amount.is_none() => "no price is known".into(),
        (CostClass::Parts, ..) => "its own parts".into(),
        (CostClass::Downtime, _, None) if item.amount.is_none() => {
            "no such machine in the register: what its hour costs is not known".into()
        }
        (_, _, None) => "nothing was renewed under the job: the machine's".into(),
        (_, true, _) if bearers == 1 => "it alone bears the job".into(),
        (_, true, _) => format!("an even share, one of {bearers}"),
        (_, false, _) => "hands-on labour of what was taken along".into(),
    };
    Line {
        component: item.component.clone(),
        position: item.position.clone(),
        part: item.part.clone(),
        cause: item.cause.map(RenewalKind::word),
        class: item.class.word(),
        amount: item.amount,
        why,
    }
}

fn rule(corrective: Option<bool>, renewals: bool, items: &[&CostItem]) -> &'static str {
    let meant = items.iter().any(|item| {
        item.cause == Some(RenewalKind::Failed)
            || (corrective == Some(false) && item.cause == Some(RenewalKind::Planned))
    });
    match (corrective, renewals) {
        (None, _) => "no line tells of the job itself: its renewals carry their parts alone",
        (Some(_), false) => {
            "nothing was renewed under the job: its labour, lost production and extra cost are the \
             machine's"
        }
        (Some(_), true) if !meant => {
            "the job was for none of the parts it renewed: all share it evenly"
        }
        (Some(true), true) => {
            "labour, lost production and extra cost of a corrective job go evenly to the parts \
             that failed; parts taken along carry their own price and hands-on labour"
        }
        (Some(false), true) => {
            "labour, lost production and extra cost of a preventive job go evenly to the parts it \
             was for; parts taken along carry their own price and hands-on labour"
        }
    }
}
