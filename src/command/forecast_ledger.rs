//! A forecast from a ledger.
//!
//! In: the ledgers and what is asked of them. Out: [`ForecastView`]. Never: printing; statistics.

use std::collections::BTreeMap;

use super::evidence::{Ask, ComponentEvidence, Group, gather};
use super::forecast::{By, ForecastArgs, Policy};
use super::forecast_parts::{Demand, demand, part_view};
use super::select::{folders, no_lives};
use super::{CommandError, Fault, Ui};
use crate::life::Flag;
use crate::model::Weibull;
use crate::model::posterior::Posterior;
use crate::policy::PolicyError;
use crate::policy::forecast::{Counts, SlotAhead, Tally, of_life, of_posterior};
use crate::quantity::counted;
use crate::quantity::time::format_utc;
use crate::quantity::trouble::Trouble;
use crate::store::{Options, SlotStay, Store};
use crate::view::forecast::{ForecastView, NumberView, OutlookView};

/// Weeks looked ahead unless asked otherwise: a quarter.
const WEEKS: f64 = 13.0;

/// Service where neither the register nor the command line says.
const SERVICE: f64 = 0.95;

/// `−ln 0.05`: with no failure so far, failures per exposure stay below this with 95 %.
const NONE_SEEN: f64 = 2.995_732_273_553_991;

/// An item in its slot.
#[derive(Debug, Clone)]
pub(super) struct Seated {
    pub machine: String,
    pub position: String,
    pub part: Option<String>,
    pub age: f64,
    pub age_unknown: bool,
}

impl Seated {
    pub(super) fn slot(&self) -> [&str; 2] {
        [&self.machine, &self.position]
    }
}

/// Usage per week of every machine on every meter.
pub(super) struct Rates(BTreeMap<(String, String), f64>);

impl Rates {
    /// Recent rates; where a machine has none, what the register expects.
    pub(super) fn of(store: &Store) -> Result<Self, CommandError> {
        let mut rates = stated(store);
        for now in store.usage_now()? {
            if let Some(rate) = now.per_week.filter(|rate| *rate > 0.0) {
                rates.insert((now.machine, now.meter), rate);
            }
        }
        Ok(Rates(rates))
    }

    /// What the register expects; where it says nothing, recent rates: for a year or more ahead.
    pub(super) fn expected(store: &Store) -> Result<Self, CommandError> {
        let mut rates = Rates::of(store)?;
        rates.0.extend(stated(store));
        Ok(rates)
    }

    pub(super) fn per_week(&self, machine: &str, usage: &str) -> Option<f64> {
        self.0.get(&(machine.to_owned(), usage.to_owned())).copied()
    }
}

/// What the register expects each machine to run in a week, on each meter.
fn stated(store: &Store) -> BTreeMap<(String, String), f64> {
    let mut rates = BTreeMap::new();
    for machine in store.machines() {
        if let Some((ledger, tag)) = store.home_of(&machine)
            && let Some(known) = ledger.register.machine(tag)
        {
            for (usage, rate) in &known.usage_per_week {
                rates.insert((machine.clone(), usage.clone()), *rate);
            }
        }
    }
    rates
}

/// The items in place of a component, with their ages.
/// `stays` are those of all slots.
pub(super) fn seated(evidence: &ComponentEvidence, stays: &[SlotStay]) -> Vec<Seated> {
    let mut found = Vec::new();
    let open = evidence.rows.iter().filter(|row| row.end_time.is_none());
    let mut unknown = Vec::new();
    for row in open {
        let known = !row.has(Flag::UnknownAge) && !row.has(Flag::NoUsage);
        let mut item = Seated {
            machine: row.machine.clone(),
            position: row.position.clone(),
            part: row.part.clone(),
            age: row.lo.unwrap_or(0.0).max(0.0),
            age_unknown: !known || row.lo.is_none(),
        };
        if item.age_unknown {
            item.age = 0.0;
            unknown.push(found.len());
        }
        found.push(item);
    }
    for n in unknown {
        // At least what it has run in this slot.
        let item: &mut Seated = &mut found[n];
        let stay = stays.iter().find(|stay| {
            stay.end_time.is_none()
                && stay.machine == item.machine
                && stay.position == item.position
                && stay.component == evidence.component.id
        });
        item.age = stay.and_then(|stay| stay.usage).unwrap_or(0.0).max(0.0);
    }
    found
}

/// Usage at which a group's items are renewed as planned; `None` for at failure only.
pub(super) fn renewed_at(
    policy: Policy,
    evidence: &ComponentEvidence,
    group: &Group,
) -> Option<f64> {
    let present = evidence.component.present_interval;
    let interval = match policy {
        Policy::Recommended => match group.recommendation.verdict {
            crate::policy::Verdict::Renew => group.recommendation.interval,
            crate::policy::Verdict::RunToFailure => None,
            crate::policy::Verdict::NotEnoughEvidence => present,
        },
        Policy::Present => present,
        Policy::RunToFailure => None,
    };
    let ceiling = evidence.component.ceiling.as_ref().map(|c| c.value);
    match (interval, ceiling) {
        (Some(at), Some(ceiling)) => Some(at.min(ceiling)),
        (at, ceiling) => at.or(ceiling),
    }
}

/// A component's numbers as they add up over its groups.
#[derive(Default)]
struct Sum {
    slots: usize,
    unknown: usize,
    usage: f64,
    failures: Option<Counts>,
    renewals: Option<Counts>,
    renew_at: Vec<f64>,
    at_most: f64,
    unseen: bool,
    notes: Vec<String>,
}

impl Sum {
    fn add(&mut self, failures: &Counts, renewals: &Counts) {
        let plus = |sum: &Option<Counts>, more: &Counts| match sum {
            Some(sum) => sum.plus(more),
            None => more.clone(),
        };
        self.failures = Some(plus(&self.failures, failures));
        self.renewals = Some(plus(&self.renewals, renewals));
    }

    fn note(&mut self, note: String) {
        if !self.notes.contains(&note) {
            self.notes.push(note);
        }
    }

    fn view(
        self,
        component: &str,
        machine: Option<String>,
        unit: &str,
        confidence: f64,
    ) -> OutlookView {
        // Where a part of it has no failure on record, the known part alone would mislead.
        let known = |counts: Option<Counts>| counts.filter(|_| !self.unseen);
        let planned = match (&self.failures, &self.renewals) {
            (Some(f), Some(r)) => Some((r.mean() - f.mean()).max(0.0)),
            _ => None,
        };
        let failures_known = self.failures.as_ref().map_or(0.0, Counts::mean);
        OutlookView {
            component: component.to_owned(),
            machine,
            slots: self.slots,
            unknown_ages: self.unknown,
            usage: (self.slots > 0).then(|| self.usage / self.slots as f64),
            unit: unit.to_owned(),
            renew_at: self.renew_at.clone(),
            failures_at_most: self.unseen.then_some(self.at_most + failures_known),
            planned,
            failures: known(self.failures.clone()).map(|c| NumberView::new(&c, confidence)),
            renewals: known(self.renewals.clone()).map(|c| NumberView::new(&c, confidence)),
            notes: self.notes,
        }
    }
}

pub(super) fn from_ledger(args: &ForecastArgs, ui: &mut Ui) -> Result<ForecastView, CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let ask = Ask {
        select: args.select.clone(),
        ..Ask::default()
    };
    let found = gather(&store, &ask)?;
    if found.iter().all(|c| c.rows.is_empty()) {
        return Err(no_lives(&store));
    }
    let told = Told {
        store: &store,
        stays: store.slot_history()?,
        rates: Rates::of(&store)?,
    };
    let rates = &told.rates;
    let weeks = args.usage.is_none().then(|| args.weeks.unwrap_or(WEEKS));
    let first = store.register().usages.first().map(|u| u.id.clone());
    let ahead = |machine: &str, usage: &str| -> Option<f64> {
        match (args.usage, weeks) {
            (Some(run), _) if first.as_deref() == Some(usage) => Some(run),
            (Some(run), _) => {
                let main = rates.per_week(machine, first.as_deref()?)?;
                Some(run / main * rates.per_week(machine, usage)?)
            }
            (None, weeks) => Some(rates.per_week(machine, usage)? * weeks?),
        }
    };
    let mut outlook = Vec::new();
    let mut parts: Vec<(Option<String>, Demand)> = Vec::new();
    for evidence in &found {
        one_component(&told, args, evidence, &ahead, &mut outlook, &mut parts)?;
    }
    let services = if args.service.is_empty() {
        vec![store.register().plant.service_level.unwrap_or(SERVICE)]
    } else {
        args.service.clone()
    };
    Ok(ForecastView {
        as_of: (!store.is_empty()).then(|| format_utc(store.as_of())),
        policy: args.policy.word(),
        weeks,
        usage: args.usage,
        confidence: args.confidence,
        outlook,
        parts: parts
            .into_iter()
            .map(|(part, demand)| part_view(&store, part, demand, &services))
            .collect(),
        parts_only: args.parts,
    })
}

/// What the ledgers tell, read once for all components.
struct Told<'a> {
    store: &'a Store,
    stays: Vec<SlotStay>,
    rates: Rates,
}

fn one_component(
    told: &Told<'_>,
    args: &ForecastArgs,
    evidence: &ComponentEvidence,
    ahead: &impl Fn(&str, &str) -> Option<f64>,
    outlook: &mut Vec<OutlookView>,
    parts: &mut Vec<(Option<String>, Demand)>,
) -> Result<(), CommandError> {
    let component = &evidence.component;
    let items = seated(evidence, &told.stays);
    if items.is_empty() {
        return Ok(());
    }
    let usage = &component.usage;
    let mut all = Sum::default();
    let mut machines: BTreeMap<String, Sum> = BTreeMap::new();
    let mut still: Vec<&str> = Vec::new();
    let owners = evidence.owners();
    for (n, group) in evidence.groups.iter().enumerate() {
        let own: Vec<&Seated> = items
            .iter()
            .filter(|item| owners.get(&item.slot()) == Some(&n))
            .collect();
        if own.is_empty() {
            continue;
        }
        let at = renewed_at(args.policy, evidence, group);
        if let Some(at) = at
            && !all.renew_at.contains(&at)
        {
            all.renew_at.push(at);
            all.renew_at.sort_by(f64::total_cmp);
        }
        let posterior = group.posterior(evidence.terms.prior);
        // Sets: all of the group, each machine's, each part number's over its lead time.
        let mut names: Vec<String> = Vec::new();
        let mut sets: Vec<Vec<SlotAhead>> = vec![Vec::new()];
        for item in &own {
            let Some(run) = ahead(&item.machine, usage) else {
                if !still.contains(&item.machine.as_str()) {
                    still.push(&item.machine);
                }
                continue;
            };
            let slot = SlotAhead {
                age: item.age,
                usage: run,
            };
            sets[0].push(slot);
            let by_machine = machines.entry(item.machine.clone()).or_default();
            for sum in [&mut all, by_machine] {
                sum.slots += 1;
                sum.usage += run;
                sum.unknown += usize::from(item.age_unknown);
            }
            if args.by == Some(By::Machine) {
                let place = names
                    .iter()
                    .position(|n| *n == item.machine)
                    .unwrap_or_else(|| {
                        names.push(item.machine.clone());
                        sets.push(Vec::new());
                        names.len() - 1
                    });
                sets[place + 1].push(slot);
            }
        }
        let numbers = numbers(posterior.as_deref(), at, &sets)?;
        let unseen = posterior.is_none();
        for (n, (failures, renewals)) in numbers.iter().enumerate() {
            let sum = match n.checked_sub(1) {
                None => Some(&mut all),
                Some(n) => machines.get_mut(&names[n]),
            };
            let Some(sum) = sum else { continue };
            sum.add(failures, renewals);
            if unseen {
                sum.unseen = true;
                let (most, note) = unseen_at_most(evidence, group, &sets[n]);
                sum.at_most += most;
                sum.note(note);
            }
            if let Some(at) = at
                && n > 0
                && !sum.renew_at.contains(&at)
            {
                sum.renew_at.push(at);
            }
        }
        let overdue = at.map_or(0, |at| own.iter().filter(|item| item.age >= at).count());
        if overdue > 0 {
            all.note(format!(
                "{}: {} past the interval already, counted as renewed at once",
                component.id,
                counted(overdue as u64, "item is", "items are"),
            ));
        }
        demand(
            told.store,
            evidence,
            &own,
            posterior.as_deref(),
            at,
            &told.rates,
            parts,
        )?;
    }
    if all.unknown > 0 {
        all.note(format!(
            "{}: of {} the age at the start is unknown; counted with what the record shows, so \
             that they may be older",
            component.id,
            counted(all.unknown as u64, "item", "items"),
        ));
    }
    if !still.is_empty() {
        all.note(format!(
            "{}: left out for want of usage per week: {}",
            component.id,
            still.join(", ")
        ));
    }
    let unit = &evidence.usage.unit;
    outlook.push(all.view(&component.id, None, unit, args.confidence));
    if args.by == Some(By::Machine) {
        for (machine, sum) in machines {
            outlook.push(sum.view(&component.id, Some(machine), unit, args.confidence));
        }
    }
    Ok(())
}

/// Failures and all renewals of each set. Without a posterior no failure is counted.
pub(super) fn numbers(
    posterior: Option<&Posterior>,
    at: Option<f64>,
    sets: &[Vec<SlotAhead>],
) -> Result<Vec<(Counts, Counts)>, CommandError> {
    let tallies = [Tally::Failures, Tally::Renewals];
    let found = match posterior {
        Some(posterior) => of_posterior(posterior, at, sets, &tallies),
        None => {
            let longest = sets
                .iter()
                .flatten()
                .map(|slot| slot.age + slot.usage)
                .fold(1.0, f64::max);
            // A life so long that only the planned renewals are left.
            let never = Weibull {
                shape: 2.0,
                scale: 1e9 * longest,
            };
            of_life(&never, at, sets, &tallies)
        }
    };
    let mut found = found.map_err(too_far)?.into_iter();
    let (failures, renewals) = (
        found.next().unwrap_or_default(),
        found.next().unwrap_or_default(),
    );
    Ok(failures.into_iter().zip(renewals).collect())
}

fn too_far(error: PolicyError) -> CommandError {
    CommandError::new(
        Fault::NoAnswer,
        Trouble::error("forecast", error.to_string())
            .cured_by("look less far ahead (--weeks, --usage)"),
    )
}

/// With no failure so far: failures to expect at most (95 %), and the sentence that says so.
///
/// Formula: `3/S · Σ ((age + H)^k − age^k)` with `S = Σ t^k − Σ entry^k` over the lives, `k` the
/// assumed shape or 1 (the "rule of three"; one-parameter Weibull fit without failures).
fn unseen_at_most(
    evidence: &ComponentEvidence,
    group: &Group,
    slots: &[SlotAhead],
) -> (f64, String) {
    let assumed = evidence.component.assumed_shape.as_ref();
    let shape = assumed.map_or(1.0, |a| a.shape);
    let exposure: f64 = group
        .sample
        .lives()
        .iter()
        .map(|life| {
            f64::from(life.count) * (life.last_usage().powf(shape) - life.entry.powf(shape))
        })
        .sum();
    let ahead: f64 = slots
        .iter()
        .map(|slot| (slot.age + slot.usage).powf(shape) - slot.age.powf(shape))
        .sum();
    let most = if exposure > 0.0 {
        NONE_SEEN * ahead / exposure
    } else {
        f64::INFINITY
    };
    let basis = assumed.map_or_else(
        || "a constant rate".to_owned(),
        |a| format!("the assumed shape {}", a.shape),
    );
    let note = format!(
        "{}: no failure on record tells how many to expect; fewer than the figure shown with 95 % \
         confidence, by {basis}. Parts below count planned renewals alone",
        evidence.component.id,
    );
    (most, note)
}
