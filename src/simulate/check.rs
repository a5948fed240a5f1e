//! Does a truth fit a register? Builds the [`Plant`] to run, or tells every misfit.
//!
//! In: `Register`, `Truth`. Out: [`Plant`] or [`SimulateError`].
//! Never: files, clock, random numbers, printing.

use rust_decimal::prelude::ToPrimitive;

use super::misfit::{Misfit, SimulateError};
use super::plan::{Access, Figures, Machine, Plant, Slot};
use super::truth::Truth;
use crate::quantity::nearest;
use crate::register::{Register, cylinder};

/// Reads a truth.
///
/// Errors: [`SimulateError::Syntax`] with the line, counted from 1.
pub fn parse(text: &str) -> Result<Truth, SimulateError> {
    toml::from_str(text).map_err(|error| {
        let offset = error.span().map_or(0, |span| span.start.min(text.len()));
        let line = 1 + text.as_bytes()[..offset]
            .iter()
            .filter(|b| **b == b'\n')
            .count();
        SimulateError::Syntax {
            line,
            excerpt: text.lines().nth(line - 1).unwrap_or_default().to_owned(),
            reason: error.message().lines().collect::<Vec<_>>().join("; "),
        }
    })
}

/// Builds the plant to run.
///
/// Errors: [`SimulateError::Misfits`], all of them.
pub fn fit<'a>(register: &Register, truth: &'a Truth) -> Result<Plant<'a>, SimulateError> {
    let mut check = Check {
        register,
        truth,
        misfits: Vec::new(),
    };
    check.numbers();
    check.names();
    check.slots();
    if !check.misfits.is_empty() {
        return Err(SimulateError::Misfits(check.misfits));
    }
    Ok(build(register, truth))
}

struct Check<'a> {
    register: &'a Register,
    truth: &'a Truth,
    misfits: Vec<Misfit>,
}

const POSITIVE: &str = "above 0";
const NOT_NEGATIVE: &str = "0 or more";
const SHARE: &str = "from 0 to 1";

impl Check<'_> {
    fn number(&mut self, at: &str, key: &'static str, value: f64, domain: &'static str) {
        let fits = value.is_finite()
            && match domain {
                POSITIVE => value > 0.0,
                SHARE => (0.0..=1.0).contains(&value),
                _ => value >= 0.0,
            };
        if !fits {
            self.misfits.push(Misfit::OutOfDomain {
                at: at.to_owned(),
                key,
                value,
                domain,
            });
        }
    }

    fn empty(&mut self, at: &str, key: &'static str, empty: bool) {
        if empty {
            let at = at.to_owned();
            self.misfits.push(Misfit::Empty { at, key });
        }
    }

    fn numbers(&mut self) {
        let truth = self.truth;
        let record = &truth.record;
        self.number("[record]", "late_share", record.late_share, SHARE);
        self.number("[record]", "missed_share", record.missed_share, SHARE);
        self.empty("[record]", "fitters", record.fitters.is_empty());
        self.empty("[record]", "operators", record.operators.is_empty());
        if record.first_day >= record.last_day {
            self.misfits.push(Misfit::Order {
                at: "[record]".to_owned(),
                from: record.first_day.to_string(),
                to: record.last_day.to_string(),
            });
        }
        self.number("[running]", "season", truth.running.season, SHARE);
        self.number("[running]", "scatter", truth.running.scatter, SHARE);
        self.number(
            "[crew]",
            "stop_every_weeks",
            truth.crew.stop_every_weeks.into(),
            POSITIVE,
        );
        self.number("[crew]", "left_in_share", truth.crew.left_in_share, SHARE);
        for inspection in &truth.crew.inspections {
            let at = format!("[[crew.inspection]] {}", inspection.access);
            self.number(&at, "every_weeks", inspection.every_weeks.into(), POSITIVE);
            self.number(&at, "stop_h", inspection.stop_h, NOT_NEGATIVE);
        }
        for machine in &truth.machines {
            let at = format!("[[machine]] {}", machine.tag);
            self.number(&at, "hours_per_week", machine.hours_per_week, POSITIVE);
            self.number(&at, "meter_at_start", machine.meter_at_start, NOT_NEGATIVE);
        }
        for component in &truth.components {
            let at = format!("[[component]] {}", component.id);
            self.number(&at, "shape", component.shape, POSITIVE);
            self.number(&at, "scale", component.scale, POSITIVE);
            self.number(&at, "renew_scatter", component.renew_scatter, SHARE);
            self.empty(&at, "mode", component.modes.is_empty());
            for mode in &component.modes {
                self.number(&at, "share", mode.share, POSITIVE);
            }
            for value in component.position_factor.values() {
                self.number(&at, "position_factor", *value, POSITIVE);
            }
            if let Some(usage) = component.renew_at {
                self.number(&at, "renew_at", usage, POSITIVE);
            }
            if let Some(part) = component.opportunity_from {
                self.number(&at, "opportunity_from", part, NOT_NEGATIVE);
            }
        }
        for slot in &truth.slots {
            self.number("[[slot]]", "factor", slot.factor, POSITIVE);
        }
        for bad in &truth.bad_batches {
            self.number("[[bad_batch]]", "factor", bad.factor, POSITIVE);
        }
        for wear in &truth.wear {
            let at = format!("[[wear]] {} {}", wear.component, wear.quantity);
            self.number(&at, "new", wear.new, POSITIVE);
            self.number(&at, "new_sd", wear.new_sd, NOT_NEGATIVE);
            self.number(&at, "item_scatter", wear.item_scatter, SHARE);
            self.number(&at, "noise", wear.noise, NOT_NEGATIVE);
            self.number(&at, "share", wear.share, SHARE);
        }
        for expense in &truth.expenses {
            let at = format!("[[expense]] {}", expense.what);
            self.number(&at, "every_weeks", expense.every_weeks.into(), POSITIVE);
            self.number(&at, "cost", expense.cost, POSITIVE);
        }
    }

    fn known(&mut self, at: &str, kind: &'static str, name: &str, names: Vec<&str>) {
        if !names.contains(&name) {
            self.misfits.push(Misfit::Unknown {
                at: at.to_owned(),
                kind,
                name: name.to_owned(),
                near: nearest(name, names.iter().copied()).map(str::to_owned),
            });
        }
    }

    fn machine(&mut self, at: &str, tag: &str) {
        let tags = self
            .register
            .machines
            .iter()
            .map(|m| m.tag.as_str())
            .collect();
        self.known(at, "machine", tag, tags);
    }

    fn component(&mut self, at: &str, id: &str) {
        let ids = self
            .register
            .components
            .iter()
            .map(|c| c.id.as_str())
            .collect();
        self.known(at, "component", id, ids);
    }

    fn part(&mut self, at: &str, component: &str, number: &str) {
        let numbers = self
            .register
            .parts_of(component)
            .map(|p| p.number.as_str())
            .collect();
        self.known(at, "part", number, numbers);
    }

    fn names(&mut self) {
        let (truth, register) = (self.truth, self.register);
        let meter = &truth.running.meter;
        let usages = register.usages.iter().map(|u| u.id.as_str()).collect();
        self.known("[running]", "usage", meter, usages);
        for (n, machine) in truth.machines.iter().enumerate() {
            self.machine("[[machine]]", &machine.tag);
            if truth.machines[..n].iter().any(|m| m.tag == machine.tag) {
                self.twice("[[machine]]", &machine.tag);
            }
        }
        for machine in &register.machines {
            if !truth.machines.iter().any(|m| m.tag == machine.tag) {
                self.untold("machine", &machine.tag);
            }
        }
        for (n, component) in truth.components.iter().enumerate() {
            let at = format!("[[component]] {}", component.id);
            self.component(&at, &component.id);
            if truth.components[..n].iter().any(|c| c.id == component.id) {
                self.twice("[[component]]", &component.id);
            }
            let Some(known) = register.component(&component.id) else {
                continue;
            };
            if known.usage != *meter {
                self.misfits.push(Misfit::OtherUsage {
                    component: component.id.clone(),
                    usage: known.usage.clone(),
                    meter: meter.clone(),
                });
            }
            for mode in &component.modes {
                let modes = known.modes.iter().map(String::as_str).collect();
                self.known(&at, "mode", &mode.name, modes);
            }
            if let Some(number) = &component.part {
                self.part(&at, &component.id, number);
            }
        }
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                let told = |id: &str| truth.components.iter().any(|c| c.id == id);
                let said = Misfit::Untold {
                    kind: "component",
                    name: slot.component.to_owned(),
                };
                if !told(slot.component) && !self.misfits.contains(&said) {
                    self.misfits.push(said);
                }
            }
        }
        for inspection in &truth.crew.inspections {
            let ids = register.accesses.iter().map(|a| a.id.as_str()).collect();
            self.known("[[crew.inspection]]", "access", &inspection.access, ids);
        }
        for bad in &truth.bad_batches {
            self.component("[[bad_batch]]", &bad.component);
        }
        for wear in &truth.wear {
            self.component("[[wear]]", &wear.component);
        }
        for new in &truth.new_types {
            self.component("[[new_type]]", &new.component);
            self.part("[[new_type]]", &new.component, &new.part);
        }
        for exchange in &truth.meter_exchanges {
            self.machine("[[meter_exchange]]", &exchange.machine);
        }
    }

    fn twice(&mut self, at: &str, name: &str) {
        self.misfits.push(Misfit::Twice {
            at: at.to_owned(),
            name: name.to_owned(),
        });
    }

    fn untold(&mut self, kind: &'static str, name: &str) {
        self.misfits.push(Misfit::Untold {
            kind,
            name: name.to_owned(),
        });
    }

    fn slot(&mut self, at: &str, machine: &str, component: &str, position: &str) {
        if self.register.slot(machine, component, position).is_none() {
            self.misfits.push(Misfit::NoSlot {
                at: at.to_owned(),
                machine: machine.to_owned(),
                component: component.to_owned(),
                position: position.to_owned(),
            });
        }
    }

    fn slots(&mut self) {
        let truth = self.truth;
        for slot in &truth.slots {
            self.slot("[[slot]]", &slot.machine, &slot.component, &slot.position);
        }
        for damage in &truth.damages {
            self.slot(
                "[[damage]]",
                &damage.machine,
                &damage.component,
                &damage.position,
            );
        }
        for away in &truth.sent_away {
            self.slot(
                "[[sent_away]]",
                &away.machine,
                &away.component,
                &away.position,
            );
        }
        for moved in &truth.moves {
            self.slot("[[move]]", &moved.machine, &moved.component, &moved.from);
            self.slot("[[move]]", &moved.machine, &moved.component, &moved.to);
        }
        let days = (truth
            .sent_away
            .iter()
            .map(|a| ("[[sent_away]]", a.out, a.back)))
        .chain(truth.moves.iter().map(|m| ("[[move]]", m.out, m.back)))
        .chain(
            truth
                .bad_batches
                .iter()
                .map(|b| ("[[bad_batch]]", b.from, b.to)),
        );
        for (at, from, to) in days {
            if from >= to {
                self.misfits.push(Misfit::Order {
                    at: at.to_owned(),
                    from: from.to_string(),
                    to: to.to_string(),
                });
            }
        }
    }
}

fn build<'a>(register: &Register, truth: &'a Truth) -> Plant<'a> {
    let number_of = |id: &str| truth.components.iter().position(|c| c.id == id);
    let access_of = |id: &str| register.accesses.iter().position(|a| a.id == id);
    let machines = register
        .machines
        .iter()
        .filter_map(|machine| {
            Some(Machine {
                tag: machine.tag.clone(),
                like: truth.machines.iter().position(|m| m.tag == machine.tag)?,
                slots: register
                    .slots(&machine.tag)
                    .filter_map(|slot| {
                        Some(Slot {
                            component: number_of(slot.component)?,
                            position: slot.position.to_owned(),
                            cylinder: cylinder(slot.position).to_owned(),
                            access: slot.access.and_then(access_of),
                            pieces: slot.pieces,
                        })
                    })
                    .collect(),
            })
        })
        .collect();
    let figures = truth
        .components
        .iter()
        .filter_map(|component| register.component(&component.id))
        .map(|component| Figures {
            own_labour_h: component.own_labour_h,
            planned_stop_h: component.planned_stop_h,
            failed_stop_h: component.failed_stop_h,
            failed_extra_cost: component.failed_extra_cost.to_f64().unwrap_or(0.0),
            never_refit: component.never_refit,
        })
        .collect();
    Plant {
        truth,
        zone: register.plant.time_zone,
        figures,
        accesses: register
            .accesses
            .iter()
            .map(|access| Access {
                id: access.id.clone(),
                labour_h: access.labour_h,
                always: access
                    .always_renew
                    .iter()
                    .filter_map(|id| number_of(id))
                    .collect(),
            })
            .collect(),
        machines,
    }
}
