//! One machine of a register as its grouped plan needs it.
//!
//! In: a register, what is known of each slot. Out: [`Assembled`]. Never: evidence (see
//! `group_inputs`), the plan itself.
//!
//! A position before its first dot is the cylinder: an access is opened cylinder by cylinder.
//! Of the hours a planned renewal stops production, the hands-on hours are its own; what is
//! more is shared by all that is done in the same stop.

use std::collections::HashMap;
use std::sync::Arc;

use rust_decimal::prelude::ToPrimitive;

use crate::policy::group::{
    Access, Allowed, Bound, Disturbed, Item, LifeTable, Machine, Slot, WeightedLife, step_for,
};
use crate::register::{Component, Register, cylinder};

/// What is known of one slot, in the usage that ages its component.
#[derive(Debug, Clone)]
pub struct Known {
    /// Empty where no failure is on record.
    pub lives: Arc<[WeightedLife]>,
    /// Whole cost of one failure.
    pub failed: f64,
    pub allowed: Allowed,
    /// The interval it would have by itself.
    pub alone: Option<f64>,
}

/// Why a slot has no part in the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOut {
    /// It ages by another usage, and the register does not say how fast that grows here.
    OtherUsage,
}

/// A machine ready to be planned, in one usage.
#[derive(Debug, Clone)]
pub struct Assembled {
    /// Id of the usage everything is counted in.
    pub usage: String,
    pub machine: Machine,
    /// For each of the machine's slots: its own usage to one of the machine's.
    pub per_usage: Vec<f64>,
    pub left_out: Vec<(String, String, LeftOut)>,
}

/// Tables of lives, made once for all slots and machines that share them.
#[derive(Debug, Default)]
pub struct Tables(HashMap<(usize, u64, u64), Option<Arc<LifeTable>>>);

impl Tables {
    /// The lives are kept by whoever holds them as long as the tables are used.
    fn of(&mut self, lives: &Arc<[WeightedLife]>, per: f64, step: f64) -> Option<Arc<LifeTable>> {
        let key = (
            Arc::as_ptr(lives).cast::<u8>() as usize,
            per.to_bits(),
            step.to_bits(),
        );
        let table = || {
            let scaled: Vec<WeightedLife> = lives
                .iter()
                .map(|(weight, life)| {
                    let mut life = *life;
                    life.scale /= per;
                    (*weight, life)
                })
                .collect();
            LifeTable::new(&scaled, step, f64::INFINITY).map(Arc::new)
        };
        self.0.entry(key).or_insert_with(table).clone()
    }
}

/// A slot on its way into the machine.
struct Raw<'a> {
    component: &'a Component,
    position: &'a str,
    access: Option<&'a str>,
    pieces: u32,
    per: f64,
    known: Known,
}

/// Puts a machine together; slots of which nothing is known at all are passed over.
pub fn assemble(
    register: &Register,
    tag: &str,
    known: impl Fn(&Component, &str) -> Option<Known>,
    tables: &mut Tables,
) -> Option<Assembled> {
    let own = register.machine(tag)?;
    let mut raws: Vec<Raw> = Vec::new();
    for slot in register.slots(tag) {
        let Some(component) = register.component(slot.component) else {
            continue;
        };
        if let Some(known) = known(component, slot.position) {
            raws.push(Raw {
                component,
                position: slot.position,
                access: slot.access,
                pieces: slot.pieces,
                per: 1.0,
                known,
            });
        }
    }
    let first = register.usages.first().map(|u| u.id.as_str());
    let usage = raws
        .iter()
        .map(|raw| raw.component.usage.as_str())
        .find(|usage| Some(*usage) == first)
        .or_else(|| raws.first().map(|raw| raw.component.usage.as_str()))
        .or(first)?
        .to_owned();
    let mut left_out = Vec::new();
    raws.retain_mut(|raw| {
        let week = |id: &str| own.usage_per_week.get(id).copied().filter(|u| *u > 0.0);
        let per = match (week(&raw.component.usage), week(&usage)) {
            _ if raw.component.usage == usage => Some(1.0),
            (Some(other), Some(base)) => Some(other / base),
            _ => None,
        };
        match per {
            Some(per) => raw.per = per,
            None => left_out.push((
                raw.component.id.clone(),
                raw.position.to_owned(),
                LeftOut::OtherUsage,
            )),
        }
        per.is_some()
    });
    let grid = register
        .plant
        .planning_grid
        .filter(|_| Some(usage.as_str()) == first);
    let step = step(&raws, grid);
    let money = Money::of(register, own.downtime_cost.to_f64().unwrap_or(0.0));
    let mut accesses: Vec<Access> = Vec::new();
    for raw in &raws {
        let Some(id) = raw.access else { continue };
        let cylinder = cylinder(raw.position);
        if !accesses
            .iter()
            .any(|a| a.id == id && a.cylinder == cylinder)
        {
            let labour = register.access(id).map_or(0.0, |a| a.labour_h) * money.labour_rate;
            accesses.push(Access {
                id: id.to_owned(),
                cylinder: cylinder.to_owned(),
                labour,
                disturbed: Vec::new(),
            });
        }
    }
    for access in &mut accesses {
        let always = register
            .access(&access.id)
            .map(|a| a.always_renew.as_slice());
        for id in always.unwrap_or_default() {
            let Some(component) = register.component(id) else {
                continue;
            };
            let mut found = false;
            raws.retain(|raw| {
                let disturbed = raw.component.id == *id
                    && cylinder(raw.position) == access.cylinder
                    && raw.access.is_none_or(|a| a == access.id);
                if disturbed {
                    found = true;
                    access.disturbed.push(Disturbed {
                        item: money.item(raw, step, tables),
                        bound: raw.bound(),
                    });
                }
                !disturbed
            });
            if !found {
                // It has no slot of its own there: one is spent at each opening.
                let (work, own_h, shared_h) = money.planned(component, component.pieces);
                access.disturbed.push(Disturbed {
                    item: Item {
                        component: id.clone(),
                        position: access.cylinder.clone(),
                        work,
                        own_h,
                        shared_h,
                        failed: 0.0,
                        life: None,
                    },
                    bound: None,
                });
            }
        }
    }
    let slots = raws
        .iter()
        .map(|raw| Slot {
            item: money.item(raw, step, tables),
            access: accesses.iter().position(|a| {
                Some(a.id.as_str()) == raw.access && a.cylinder == cylinder(raw.position)
            }),
            allowed: match raw.bound() {
                Some(bound) => Allowed::AtMost(bound),
                None => raw.known.allowed,
            },
            alone: raw.known.alone.map(|at| at / raw.per),
        })
        .collect();
    Some(Assembled {
        usage,
        per_usage: raws.iter().map(|raw| raw.per).collect(),
        machine: Machine {
            step,
            downtime_cost: money.downtime_cost,
            accesses,
            slots,
        },
        left_out,
    })
}

fn step(raws: &[Raw], grid: Option<f64>) -> f64 {
    let means = raws.iter().filter_map(|raw| {
        let total: f64 = raw.known.lives.iter().map(|l| l.0).sum();
        let rate = |l: &WeightedLife| l.0 / l.1.mean();
        let rate: f64 = raw.known.lives.iter().map(rate).sum();
        (rate > 0.0).then(|| total / rate / raw.per)
    });
    let bounds = raws.iter().filter_map(Raw::bound).map(|b| b.usage);
    let bound = bounds.reduce(f64::min);
    let (shortest, longest) = means.fold((f64::INFINITY, 0.0_f64), |(low, high), mean| {
        (low.min(mean), high.max(mean))
    });
    if shortest.is_finite() {
        step_for(grid, shortest, longest, bound)
    } else {
        // No life: only bounds are kept.
        let like = bound.or(grid).unwrap_or(1.0);
        step_for(grid, like, like, bound)
    }
}

impl Raw<'_> {
    /// The bound in the machine's usage.
    fn bound(&self) -> Option<Bound> {
        self.known.allowed.bound().map(|bound| Bound {
            usage: bound.usage / self.per,
            ..bound
        })
    }
}

/// What hours and parts cost.
struct Money {
    labour_rate: f64,
    downtime_cost: f64,
}

impl Money {
    fn of(register: &Register, downtime_cost: f64) -> Money {
        Money {
            labour_rate: register.plant.labour_rate.to_f64().unwrap_or(0.0),
            downtime_cost,
        }
    }

    /// Work, own and shared hours of one planned renewal.
    fn planned(&self, component: &Component, pieces: u32) -> (f64, f64, f64) {
        let price = component.price.to_f64().unwrap_or(0.0);
        let work = f64::from(pieces) * price + self.labour_rate * component.own_labour_h;
        let (own_h, shared_h) = component.planned_hours();
        (work, own_h, shared_h)
    }

    fn item(&self, raw: &Raw, step: f64, tables: &mut Tables) -> Item {
        let (work, own_h, shared_h) = self.planned(raw.component, raw.pieces);
        Item {
            component: raw.component.id.clone(),
            position: raw.position.to_owned(),
            work,
            own_h,
            shared_h,
            failed: raw.known.failed,
            life: tables.of(&raw.known.lives, raw.per, step),
        }
    }
}
