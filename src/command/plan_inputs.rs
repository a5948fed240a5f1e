//! Machines as they stand, for a plan.
//!
//! In: a store, the evidence of its components, the grouped plans. Out: [`MachineNow`]s and the
//! shelf. Never: dates, printing.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Duration, Utc};
use rayon::prelude::*;
use rust_decimal::prelude::ToPrimitive;

use super::CommandError;
use super::evidence::{ComponentEvidence, places};
use super::group_inputs::{Ground, GroupedMachine};
use super::interval_look::Looks;
use super::wear_now::WearNow;
use crate::life::LifeRow;
use crate::plan::{Basis, MachineNow, OnShelf, Opening, Rate, Renewal, Shelf, Since, SlotNow};
use crate::quantity::time::day;
use crate::register::{Machine, Part, Register, Slot, cylinder};
use crate::store::{Ledger, Meters, SlotStay, Store, UsageNow};

/// Weeks whose usage tells how a machine runs.
const RECENT_WEEKS: i64 = 26;

/// What the ledgers tell, read once for all machines.
pub struct Standing<'a> {
    store: &'a Store,
    evidence: &'a [ComponentEvidence],
    /// By machine, component and position.
    running: HashMap<[&'a str; 3], &'a LifeRow>,
    last: HashMap<[&'a str; 3], &'a LifeRow>,
    stays: HashMap<[String; 3], SlotStay>,
    /// The part last put in, though it may have gone.
    parts: HashMap<[String; 3], String>,
    meters: Meters,
    usages: Vec<UsageNow>,
    /// Which component and group of the evidence a slot belongs to.
    groups: HashMap<[&'a str; 3], (usize, usize)>,
    /// For each component and group of the evidence the usage at which to look, where looking
    /// is cheaper than renewing by age.
    looks: Vec<Vec<Option<f64>>>,
    /// Last readings of what is in place.
    worn: &'a WearNow,
}

impl<'a> Standing<'a> {
    pub fn read(
        store: &'a Store,
        evidence: &'a [ComponentEvidence],
        worn: &'a WearNow,
    ) -> Result<Standing<'a>, CommandError> {
        let mut running = HashMap::new();
        let mut last: HashMap<[&str; 3], &LifeRow> = HashMap::new();
        for row in evidence.iter().flat_map(|c| &c.rows) {
            let slot = [
                row.machine.as_str(),
                row.component.as_str(),
                row.position.as_str(),
            ];
            if row.end_time.is_none() {
                running.insert(slot, row);
            } else if last
                .get(&slot)
                .is_none_or(|known| known.end_time <= row.end_time)
            {
                last.insert(slot, row);
            }
        }
        let mut stays = HashMap::new();
        let mut parts = HashMap::new();
        for stay in store.slot_history()? {
            let slot = [
                stay.machine.clone(),
                stay.component.clone(),
                stay.position.clone(),
            ];
            if let Some(part) = &stay.part {
                parts.insert(slot.clone(), part.clone());
            }
            if stay.end_time.is_none() {
                stays.insert(slot, stay);
            }
        }
        Ok(Standing {
            store,
            evidence,
            running,
            last,
            stays,
            parts,
            meters: store.meters()?,
            usages: store.usage_now()?,
            groups: places(evidence),
            looks: looks(store, evidence, &worn.looks),
            worn,
        })
    }

    /// One machine, with its intervals from its grouped plan.
    pub fn machine(&self, grouped: &GroupedMachine) -> Option<MachineNow> {
        let (ledger, tag) = self.store.home_of(&grouped.machine)?;
        let register = &ledger.register;
        let machine = register.machine(tag)?;
        let rates = self.rates(register, machine, &grouped.machine);
        let mut openings: Vec<Opening> = Vec::new();
        let mut slots: Vec<SlotNow> = Vec::new();
        for slot in register.slots(tag) {
            let opening = slot
                .access
                .map(|access| opening(register, &mut openings, access, slot.position));
            if let Some(opening) = opening
                && register
                    .access(&openings[opening].access)
                    .is_some_and(|a| a.always_renew.iter().any(|id| id == slot.component))
            {
                openings[opening].always.push(slots.len());
            }
            slots.push(self.slot(register, grouped, slot, opening)?);
        }
        Some(MachineNow {
            machine: grouped.machine.clone(),
            name: machine.name.clone(),
            slots,
            openings,
            base: grouped
                .plan
                .base
                .map(|base| (grouped.usage.id.clone(), base)),
            rates,
            downtime_cost: machine.downtime_cost.to_f64().unwrap_or(0.0),
            labour_rate: register.plant.labour_rate.to_f64().unwrap_or(0.0),
        })
    }

    fn slot(
        &self,
        register: &Register,
        grouped: &GroupedMachine,
        slot: Slot<'_>,
        opening: Option<usize>,
    ) -> Option<SlotNow> {
        let component = register.component(slot.component)?;
        let key = [grouped.machine.as_str(), slot.component, slot.position];
        let owned = key.map(str::to_owned);
        let planned =
            grouped.inputs.slots.iter().position(|s| {
                s.item.component == slot.component && s.item.position == slot.position
            });
        let (since, found) = self.since(&key, &owned);
        let condemned = found.or_else(|| {
            let read = self.worn.slots.get(&owned)?;
            read.iter().find_map(|worn| worn.beyond.clone())
        });
        let place = self.groups.get(&key).copied();
        let look_at = place.and_then(|(c, g)| self.looks[c][g]);
        let ceiling = component.ceiling.as_ref().map(|c| c.value);
        let plan = planned.map(|n| &grouped.plan.slots[n]);
        let own = |usage: f64| planned.map_or(usage, |n| grouped.own(n, usage));
        let renewal = planned.filter(|_| look_at.is_none()).and_then(|n| {
            let plan = &grouped.plan.slots[n];
            let interval = own(plan.interval?);
            let basis = match grouped.slots[n].ground {
                Ground::KeepsPresent { .. } => Basis::Present,
                _ => Basis::Grouped {
                    multiple: plan.multiple?,
                },
            };
            let near = place.and_then(|(c, g)| {
                let group = &self.evidence[c].groups[g];
                let near = group.recommendation.decision.as_ref()?.near?;
                Some(near.1.unwrap_or(f64::INFINITY))
            });
            let latest = match basis {
                // What the crew keeps today is not stretched without a reason.
                Basis::Present => interval,
                _ => near.map_or(interval, |near| near.min(1.5 * interval)),
            };
            Some(Renewal {
                interval,
                latest: latest.max(interval).min(ceiling.unwrap_or(f64::INFINITY)),
                basis,
            })
        });
        let (own_stop_h, shared_h) = component.planned_hours();
        let fitted = self.parts.get(&owned).map(String::as_str);
        let part = register.part_for(slot.component, fitted);
        Some(SlotNow {
            component: slot.component.to_owned(),
            name: component.name.clone(),
            position: slot.position.to_owned(),
            opening,
            usage: component.usage.clone(),
            unit: register
                .usage(&component.usage)
                .map(|usage| usage.unit.clone())
                .unwrap_or_default(),
            since,
            condemned,
            renewal,
            ceiling,
            take_exposed: plan.and_then(|p| p.exposed_from).map(own),
            take_down: plan.and_then(|p| p.down_from).map(own),
            look_at,
            own_labour_h: component.own_labour_h,
            own_stop_h,
            shared_h,
            parts_cost: parts_cost(register, &slot, part),
            part: part.map(|part| part.number.clone()),
            pieces: slot.pieces,
            measures: measures(register, slot.component),
        })
    }

    /// The usage on what is in a slot, and what was found of it if it should be out.
    fn since(&self, slot: &[&str; 3], owned: &[String; 3]) -> (Since, Option<String>) {
        if let Some(row) = self.running.get(slot) {
            let since = match (row.lo, self.stays.get(owned).and_then(|stay| stay.usage)) {
                (Some(age), _) => Since::Age(age),
                (None, Some(seen)) => Since::AtLeast(seen),
                (None, None) => Since::Unknown,
            };
            return (since, None);
        }
        let Some(stay) = self.stays.get(owned) else {
            return (Since::Unknown, None);
        };
        // Its life is over, and it is still in.
        let since = stay.usage.map_or(Since::Unknown, Since::AtLeast);
        let found = self.last.get(slot).map(|row| {
            let when = row
                .end_time
                .map(|time| format!(" on {}", day(time, self.store.zone())))
                .unwrap_or_default();
            let mode = row
                .mode
                .as_ref()
                .map(|m| format!(": {m}"))
                .unwrap_or_default();
            format!("found worn or failed{when}{mode}")
        });
        let found = found.unwrap_or_else(|| "found worn or failed".into());
        (since, Some(found))
    }

    /// How fast each usage of the machine grows.
    fn rates(&self, register: &Register, machine: &Machine, name: &str) -> BTreeMap<String, Rate> {
        let rates = register.usages.iter().filter_map(|usage| {
            let recent = self.recent_weeks(name, &usage.id);
            let expected = machine.usage_per_week.get(&usage.id).copied();
            Some((usage.id.clone(), Rate::of(&recent, expected)?))
        });
        rates.collect()
    }

    /// Usage of the last whole weeks before the last reading.
    fn recent_weeks(&self, machine: &str, meter: &str) -> Vec<f64> {
        let Some(now) = self
            .usages
            .iter()
            .find(|u| u.machine == machine && u.meter == meter)
        else {
            return Vec::new();
        };
        let back = |weeks: i64| -> Option<DateTime<Utc>> {
            now.last_time.checked_sub_signed(Duration::weeks(weeks))
        };
        (0..RECENT_WEEKS)
            .map_while(|n| {
                let (from, to) = (back(n + 1)?, back(n)?);
                if from < now.first_time {
                    return None;
                }
                let usage = |time| self.meters.usage(machine, meter, time);
                Some(usage(to)? - usage(from)?)
            })
            .collect()
    }
}

/// Where looking is cheaper than renewing by age, the usage at which to look; a ceiling is kept
/// by renewing all the same.
fn looks(store: &Store, evidence: &[ComponentEvidence], looks: &Looks) -> Vec<Vec<Option<f64>>> {
    let of = |component: &ComponentEvidence| {
        let each = component.groups.par_iter().map(|group| {
            let free = component.terms.ceiling.is_none() && !group.slots.is_empty();
            let look = free.then(|| looks.better(store, component, group))??;
            Some(look.look_at)
        });
        each.collect()
    };
    evidence.iter().map(of).collect()
}

/// The opening of an access at the cylinder of a position; made where it is new.
fn opening(
    register: &Register,
    openings: &mut Vec<Opening>,
    access: &str,
    position: &str,
) -> usize {
    let cylinder = cylinder(position);
    let known = openings
        .iter()
        .position(|o| o.access == access && o.cylinder == cylinder);
    known.unwrap_or_else(|| {
        let described = register.access(access);
        openings.push(Opening {
            access: access.to_owned(),
            cylinder: cylinder.to_owned(),
            name: described.map_or_else(|| access.to_owned(), |a| a.name.clone()),
            labour_h: described.map_or(0.0, |a| a.labour_h),
            always: Vec::new(),
        });
        openings.len() - 1
    })
}

/// Money for the pieces of an item.
fn parts_cost(register: &Register, slot: &Slot<'_>, part: Option<&Part>) -> f64 {
    let number = part.map(|part| part.number.as_str());
    let price = register.price(slot.component, number);
    let price = price.and_then(|p| p.to_f64()).unwrap_or(0.0);
    price * f64::from(slot.pieces)
}

/// What is measured on a component: each quantity once, its zones after it.
fn measures(register: &Register, component: &str) -> Vec<String> {
    let mut quantities: Vec<String> = Vec::new();
    for measurement in &register.measurements {
        if measurement.component == component && !quantities.contains(&measurement.quantity) {
            quantities.push(measurement.quantity.clone());
        }
    }
    quantities
}

/// The shelf as the register states it.
pub fn shelf(ledger: &Ledger) -> Shelf {
    let parts = ledger.register.parts.iter();
    parts
        .map(|part| {
            (
                part.number.clone(),
                OnShelf {
                    stock: part.stock,
                    lead_time_days: part.lead_time_days,
                    supplier: part.supplier.clone(),
                },
            )
        })
        .collect()
}
