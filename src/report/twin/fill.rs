//! From what a report is built from to its twin.
//!
//! In: a [`Frame`], [`Subject`]s, the plans. Out: [`Twin`]. Never: a figure of its own.

use super::{
    Asked, Component, Cost, Head, Near, Order, Overdue, Quality, Recommendation, Renew, Saving,
    Slots, Stop, Twin, VERSION,
};
use crate::life::Outcome;
use crate::plan::{self, Task};
use crate::policy::age::NEAR;
use crate::quantity::trouble::Severity;
use crate::report::figures::PER;
use crate::report::stops::PlantPlan;
use crate::report::subject::{Frame, Group, Subject};
use crate::view::plan::kind;

/// The twin of a report about what was `asked`.
pub fn twin(
    frame: &Frame,
    subjects: &[Subject],
    plans: &[PlantPlan<'_>],
    cost: Option<Cost>,
    asked: Asked,
) -> Twin {
    let mut stops: Vec<&plan::Stop> = plans.iter().flat_map(|p| p.plan.stops()).collect();
    stops.sort_by_key(|stop| stop.date);
    let mut orders: Vec<&plan::Order> = plans.iter().flat_map(|p| &p.plan.orders).collect();
    orders.sort_by_key(|order| (order.order_by.is_none(), order.order_by));
    let found = |severity| {
        let findings = frame.findings.iter();
        findings.filter(|t| t.severity == severity).count()
    };
    let machines = plans.iter().flat_map(|p| &p.plan.machines);
    Twin {
        report: VERSION,
        plant: frame.plant.clone(),
        as_of: frame.as_of,
        currency: frame.currency.clone(),
        version: frame.version.clone(),
        confidence: frame.confidence,
        asked,
        heads: frame
            .heads
            .iter()
            .map(|(book, lines, sha)| Head {
                book: book.clone(),
                lines: *lines,
                sha: sha.clone(),
            })
            .collect(),
        components: subjects.iter().map(component).collect(),
        recommendations: subjects
            .iter()
            .flat_map(|s| s.groups.iter().map(move |g| (s, g)))
            .filter(|(_, group)| !group.slots.is_empty())
            .map(|(subject, group)| recommendation(subject, group))
            .collect(),
        overdue: machines
            .flat_map(|machine| machine.overdue.iter().map(|o| overdue(&machine.machine, o)))
            .collect(),
        plan_to: plans.iter().map(|p| p.plan.to).max(),
        stops: stops.into_iter().map(stop).collect(),
        orders: orders.into_iter().map(order).collect(),
        cost,
        quality: Quality {
            errors: found(Severity::Error),
            warnings: found(Severity::Warning),
            notes: found(Severity::Note),
        },
    }
}

fn component(subject: &Subject) -> Component {
    let failed = |outcome: Outcome| matches!(outcome, Outcome::Failure | Outcome::Interval);
    Component {
        component: subject.id.clone(),
        name: subject.name.clone(),
        unit: subject.unit.clone(),
        lives: subject.rows.len(),
        failures: subject.rows.iter().filter(|r| failed(r.outcome)).count(),
    }
}

fn recommendation(subject: &Subject, group: &Group) -> Recommendation {
    let found = &group.recommendation;
    let decision = found.decision.as_ref();
    Recommendation {
        component: subject.id.clone(),
        place: group.scope.words(),
        slots: slots(&group.slots),
        verdict: found.verdict.word().to_owned(),
        interval: found.interval,
        optimum: found.optimum,
        near_optimal: decision.and_then(|d| d.near).map(|(from, to)| Near {
            from,
            to,
            within: NEAR,
        }),
        present: subject.present,
        ceiling: subject.ceiling.as_ref().map(|(value, _)| *value),
        chance_it_pays: decision.map(|d| d.chance_it_pays),
        saving_per_1000: decision.map(|d| Saving {
            median: d.saving_rate.median * PER,
            lower: d.saving_rate.lower * PER,
            upper: d.saving_rate.upper * PER,
        }),
        planned_cost: group.costs.planned,
        failed_cost: group.costs.failed,
        lives: group.sample.count(),
        failures: group.sample.failures(),
    }
}

/// Positions by machine, in the order given.
fn slots(all: &[(String, String)]) -> Vec<Slots> {
    let mut slots: Vec<Slots> = Vec::new();
    for (machine, position) in all {
        match slots.iter_mut().find(|known| known.machine == *machine) {
            Some(known) => known.positions.push(position.clone()),
            None => slots.push(Slots {
                machine: machine.clone(),
                positions: vec![position.clone()],
            }),
        }
    }
    slots
}

fn overdue(machine: &str, late: &plan::Overdue) -> Overdue {
    Overdue {
        machine: machine.to_owned(),
        component: late.component.clone(),
        position: late.position.clone(),
        age: late.age,
        interval: late.interval,
        unit: late.unit.clone(),
        past_ceiling: late.past_ceiling,
        condemned: late.condemned.clone(),
    }
}

fn stop(stop: &plan::Stop) -> Stop {
    let mut renew: Vec<Renew> = Vec::new();
    for task in stop.renewals() {
        let why = why(task);
        let alike = |r: &&mut Renew| r.component == task.component && r.why == why;
        match renew.iter_mut().find(alike) {
            Some(known) => known.positions.push(task.position.clone()),
            None => renew.push(Renew {
                component: task.component.clone(),
                positions: vec![task.position.clone()],
                why: why.to_owned(),
            }),
        }
    }
    Stop {
        machine: stop.machine.clone(),
        date: stop.date,
        earliest: stop.earliest,
        latest: stop.latest,
        renew,
        hours: stop.hours,
        labour_h: stop.labour_h,
        cost: stop.cost,
    }
}

fn why(task: &Task) -> &'static str {
    task.renew.map_or("", kind)
}

fn order(order: &plan::Order) -> Order {
    Order {
        part: order.part.clone(),
        component: order.component.clone(),
        pieces: order.pieces,
        machine: order.machine.clone(),
        stop: order.stop,
        order_by: order.order_by,
        late_days: order.late_days,
        lead_time_days: order.lead_time_days,
        supplier: order.supplier.clone(),
        stock_unknown: order.stock_unknown,
    }
}
