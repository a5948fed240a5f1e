//! What every answer about cost rests on: the items asked for, the period, the usage run in it.
//!
//! In: a store, what is asked for. Out: [`Frame`]. Never: printing; adding money up.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use rust_decimal::RoundingStrategy;

use super::select::{Select, folders_of, unknown};
use super::{CommandError, Fault};
use crate::cost::Span;
use crate::intake::rates_csv::Rates;
use crate::life::CostItem;
use crate::quantity::Currency;
use crate::quantity::time::{day, start_of_day};
use crate::quantity::trouble::Trouble;
use crate::store::{Meters, Store};

/// Machines that a note names.
const NAMED: usize = 8;

/// The meter costs are set against.
#[derive(Debug, Clone, PartialEq)]
pub struct Per {
    pub id: String,
    pub name: String,
    pub unit: String,
}

/// What is asked of a period.
#[derive(Debug, Clone, Copy, Default)]
pub struct Asked<'a> {
    /// Id of a usage.
    pub per: Option<&'a str>,
    pub from: Option<NaiveDate>,
    pub to: Option<NaiveDate>,
    /// Exchange rates, and the file they stand in.
    pub rates: Option<(&'a Path, &'a Rates)>,
}

/// What a period's answer rests on.
pub struct Frame<'a> {
    pub store: &'a Store,
    /// Items asked for, of all time.
    pub items: Vec<CostItem>,
    /// The whole period.
    pub span: Span,
    pub per: Per,
    pub currency: Currency,
    pub zone: Tz,
    meters: Meters,
    /// Machines that run in the period, with the first reading of their meter.
    machines: Vec<(String, Option<DateTime<Utc>>)>,
    pub notes: Vec<String>,
}

impl<'a> Frame<'a> {
    /// Gathers what is asked for; the period is from the first entry that counts to the as-of
    /// day unless said otherwise.
    pub fn new(
        store: &'a Store,
        select: &Select,
        asked: Asked<'_>,
    ) -> Result<Frame<'a>, CommandError> {
        let Asked {
            per,
            from,
            to,
            rates,
        } = asked;
        select.check(store)?;
        let zone = store.zone();
        let mut all = store.costs()?;
        let mut notes = Vec::new();
        if let Some((file, rates)) = rates {
            notes.extend(convert(store, &mut all, file, rates)?);
        }
        if store.is_empty() {
            return Err(nothing(store));
        }
        let per = meter(store, per)?;
        let now = store.usage_now()?;
        let first_reading = |machine: &str| {
            let of = |row: &&crate::store::UsageNow| row.machine == machine && row.meter == per.id;
            now.iter().find(of).map(|row| row.first_time)
        };
        let machines: Vec<(String, Option<DateTime<Utc>>)> = store
            .machines()
            .into_iter()
            .filter(|machine| runs(store, select, machine))
            .map(|machine| {
                let first = first_reading(&machine);
                (machine, first)
            })
            .collect();
        let readings = machines.iter().filter_map(|(_, first)| *first);
        let began = all.iter().map(|item| item.time).chain(readings).min();
        let last = day(store.as_of(), zone);
        let to = to.unwrap_or(last);
        let from = from.unwrap_or_else(|| began.map_or(to, |time| day(time, zone)).min(to));
        if from > last {
            return Err(CommandError::wrong_use(
                format!("the period begins on {from}, and the record ends on {last}"),
                "give --from a day within the record",
            ));
        }
        if from > to {
            return Err(CommandError::wrong_use(
                format!("the period begins on {from}, after its end on {to}"),
                "give --from a day at or before --to",
            ));
        }
        let left: Vec<&CostItem> = all
            .iter()
            .filter(|item| !takes(select, item) && item.machine.is_none())
            .collect();
        if !left.is_empty() {
            notes.push(
                "expenses of the plant as a whole belong to no machine and are left out".into(),
            );
        }
        let mut items = all;
        items.retain(|item| takes(select, item));
        Ok(Frame {
            store,
            items,
            span: Span::new(from, to),
            per,
            currency: store.register().plant.currency,
            zone,
            meters: store.meters()?,
            machines,
            notes,
        })
    }

    /// Items of the period, as far as the record goes.
    pub fn of(&self, span: &Span) -> impl Iterator<Item = &CostItem> + Clone {
        let (start, end) = self.ends(span);
        let within = move |item: &&CostItem| start <= item.time && item.time < end;
        self.items.iter().filter(within)
    }

    /// What each machine ran in the period, between its first reading and the as-of moment;
    /// `None` where its meter tells nothing.
    pub fn usage(&self, span: &Span) -> BTreeMap<String, Option<f64>> {
        self.on_meter(&self.per.id, span)
    }

    /// The same on any meter; a machine without a reading on it has none.
    pub fn on_meter(&self, meter: &str, span: &Span) -> BTreeMap<String, Option<f64>> {
        let (start, end) = self.ends(span);
        let mut usage = BTreeMap::new();
        for (machine, first) in &self.machines {
            let ran = first.and_then(|first| {
                let (from, to) = (start.max(first), end.min(self.store.as_of()));
                if to <= from {
                    return Some(0.0);
                }
                let at = |time| self.meters.usage(machine, meter, time);
                Some((at(to)? - at(from)?).max(0.0))
            });
            usage.insert(machine.clone(), ran);
        }
        usage
    }

    /// The moments a period begins and ends at, the second no longer in it.
    pub fn ends(&self, span: &Span) -> (DateTime<Utc>, DateTime<Utc>) {
        let next = span.to.succ_opt().unwrap_or(span.to);
        (
            start_of_day(span.from, self.zone),
            start_of_day(next, self.zone),
        )
    }

    /// What is to be said of the usage behind the rates of a period.
    pub fn usage_notes(&self, span: &Span) -> Vec<String> {
        let end = self.ends(span).1.min(self.store.as_of());
        let mut notes = Vec::new();
        // A note names some machines; of a fleet it counts the rest.
        let list = |names: &[String]| match names.len().checked_sub(NAMED) {
            Some(more @ 1..) => format!("{} and {more} more", names[..NAMED].join(", ")),
            _ => names.join(", "),
        };
        let of = |test: &dyn Fn(&str, Option<DateTime<Utc>>) -> bool| -> Vec<String> {
            let machines = self.machines.iter();
            machines
                .filter(|(machine, first)| test(machine, *first))
                .map(|(machine, _)| machine.clone())
                .collect()
        };
        let costly: BTreeSet<&str> = self
            .of(span)
            .filter_map(|item| item.machine.as_deref())
            .collect();
        let spent = |machine: &str| costly.contains(machine);
        let mute = of(&|machine, first| first.is_none() && spent(machine));
        if !mute.is_empty() {
            notes.push(format!(
                "{}: cost without a reading of meter {}, so nothing is known for each {}",
                list(&mute),
                self.per.id,
                self.per.unit
            ));
        }
        let late = of(&|machine, first| {
            first.is_some_and(|first| first < end && day(first, self.zone) > span.from)
                && spent(machine)
        });
        if !late.is_empty() {
            notes.push(format!(
                "{}: meter readings begin within the period; what was run before is not counted, \
                 what was spent is",
                list(&late)
            ));
        }
        let guessed = of(&|machine, first| {
            first.is_some() && self.meters.extrapolated(machine, &self.per.id, end)
        });
        if !guessed.is_empty() {
            notes.push(format!(
                "{}: usage after the last reading is carried on at the recent rate",
                list(&guessed)
            ));
        }
        let known: BTreeSet<String> = self.store.machines().into_iter().collect();
        let strange: Vec<String> = costly
            .iter()
            .filter(|machine| !known.contains(**machine))
            .map(|machine| (*machine).to_owned())
            .collect();
        if !strange.is_empty() {
            notes.push(format!(
                "{}: no such machine in the register, so its lost production has no price",
                list(&strange)
            ));
        }
        notes
    }
}

/// Tells all money in the first ledger's currency, each amount at the rate of its day, in whole
/// smallest units.
fn convert(
    store: &Store,
    items: &mut [CostItem],
    file: &Path,
    rates: &Rates,
) -> Result<Option<String>, CommandError> {
    let into = store.register().plant.currency;
    let mut missing: BTreeMap<&str, (NaiveDate, Currency)> = BTreeMap::new();
    let mut others = BTreeSet::new();
    for ledger in store.ledgers() {
        let from = ledger.register.plant.currency;
        if from == into {
            continue;
        }
        others.insert(from.code().to_owned());
        for item in items.iter_mut().filter(|item| item.ledger == ledger.name) {
            let on = day(item.time, store.zone());
            let Some(amount) = &mut item.amount else {
                continue;
            };
            let worth = rates.on(from, on).and_then(|rate| amount.checked_mul(rate));
            match worth {
                Some(worth) => {
                    let half = RoundingStrategy::MidpointAwayFromZero;
                    *amount = worth.round_dp_with_strategy(into.decimals(), half);
                }
                None => {
                    let first = missing.entry(&ledger.name).or_insert((on, from));
                    first.0 = first.0.min(on);
                }
            }
        }
    }
    if missing.is_empty() {
        return Ok((!others.is_empty()).then(|| {
            let others: Vec<String> = others.into_iter().collect();
            format!(
                "{} told in {into}, each amount at the rate of its day",
                others.join(", ")
            )
        }));
    }
    let troubles = missing
        .into_iter()
        .map(|(ledger, (on, from))| {
            let trouble = Trouble::error(
                "no-rate",
                format!("no rate of {from} to {into} for {on}, a day on which {ledger} spent"),
            )
            .in_file(file.display().to_string());
            match rates.first(from) {
                Some(first) => trouble.because(format!("Its first rate of {from} is of {first}.")),
                None => trouble.because(format!("It has no rate of {from}.")),
            }
            .cured_by(format!(
                "add a row: {from},{on}, and what {from} 1 was worth in {into}"
            ))
        })
        .collect();
    Err(CommandError::all(Fault::Data, troubles))
}

fn takes(select: &Select, item: &CostItem) -> bool {
    select.takes_whole(
        item.machine.as_deref(),
        item.component.as_deref(),
        item.position.as_deref(),
    )
}

/// Whether the machine is asked for and has a slot that is.
fn runs(store: &Store, select: &Select, machine: &str) -> bool {
    if !select.takes_machine(machine) {
        return false;
    }
    !select.narrows_slots()
        || store.home_of(machine).is_some_and(|(ledger, tag)| {
            let mut slots = ledger.register.slots(tag);
            slots.any(|slot| select.takes_slot(machine, slot.component, slot.position))
        })
}

/// The meter asked for, or the plant's first.
fn meter(store: &Store, asked: Option<&str>) -> Result<Per, CommandError> {
    let kinds: Vec<_> = store
        .ledgers()
        .iter()
        .flat_map(|ledger| &ledger.register.usages)
        .collect();
    let found = match asked {
        Some(id) => kinds.iter().find(|kind| kind.id == id),
        None => kinds.first(),
    };
    match (found, asked) {
        (Some(kind), _) => Ok(Per {
            id: kind.id.clone(),
            name: kind.name.clone(),
            unit: kind.unit.clone(),
        }),
        (None, Some(id)) => {
            let known: Vec<&str> = kinds.iter().map(|kind| kind.id.as_str()).collect();
            Err(unknown("usage", id, &known))
        }
        (None, None) => Err(CommandError::wrong_use(
            "no usage stands in the register",
            "add one to plant.toml: [[usage]] id = \"hours\"",
        )),
    }
}

fn nothing(store: &Store) -> CommandError {
    CommandError::new(
        Fault::Data,
        Trouble::error("no-costs", "no entry tells of any cost yet")
            .in_file(folders_of(store))
            .because("cost comes from renewals (replaced), jobs and expenses")
            .cured_by("record what was done: wearbook record job …, wearbook record replaced …")
            .cured_by("or look at a later date (--as-of)"),
    )
}
