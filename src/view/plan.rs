//! A plan as JSON, CSV and text (see `plan_table`). The JSON keys and CSV columns are a contract.
//!
//! In: [`Plan`]s with their plants. Out: text. Never: the choice of days or parts.

use serde::Serialize;

pub use super::plan_words::{
    basis, kind, kit_words, order_words, overdue_words, short_why, stop_words,
};
use super::plan_words::{between, gathered, order_when};
use super::table::{cell, csv_text};
use crate::plan::{Clash, KitLine, MachinePlan, Order, Overdue, Plan, Rate, Stop, Task};
use crate::quantity::Currency;

/// A plan with what is to be said around it.
pub struct Facts<'a> {
    /// The plant; shown where there are several.
    pub plant: &'a str,
    pub currency: Currency,
    pub plan: &'a Plan,
    /// Notes for each machine, in the plan's order.
    pub notes: &'a [Vec<String>],
}

/// Plans of one or several plants. Ages and intervals in `unit`, hours in hours, money in
/// the plant's currency, dates of the plant; unknown is null.
#[derive(Debug, Serialize)]
pub struct PlansView {
    cautions: Vec<String>,
    plans: Vec<PlanView>,
}

#[derive(Debug, Serialize)]
pub(super) struct PlanView {
    pub(super) plant: String,
    pub(super) currency: String,
    pub(super) as_of: String,
    pub(super) from: String,
    pub(super) to: String,
    pub(super) machines: Vec<MachineView>,
    pub(super) overdue: Vec<OverdueView>,
    pub(super) stops: Vec<StopView>,
    pub(super) orders: Vec<OrderView>,
    pub(super) conflicts: Vec<ClashView>,
    #[serde(skip)]
    pub(super) money: Currency,
}

#[derive(Debug, Serialize)]
pub(super) struct MachineView {
    pub(super) machine: String,
    pub(super) name: String,
    pub(super) base_interval: Option<f64>,
    pub(super) unit: Option<String>,
    pub(super) stops: usize,
    pub(super) per_week: Option<RateView>,
    /// Slots that are to be renewed and whose age or usage is unknown: `component position`.
    pub(super) undated: Vec<String>,
    pub(super) notes: Vec<String>,
}

#[derive(Debug, Serialize)]
pub(super) struct RateView {
    expected: f64,
    recent: Option<f64>,
    sd: f64,
    weeks: usize,
}

#[derive(Debug, Serialize)]
pub(super) struct OverdueView {
    pub(super) machine: String,
    pub(super) component: String,
    pub(super) position: String,
    pub(super) age: Option<f64>,
    pub(super) interval: Option<f64>,
    pub(super) unit: String,
    pub(super) past_ceiling: bool,
    pub(super) condemned: Option<String>,
}

#[derive(Debug, Serialize)]
pub(super) struct StopView {
    pub(super) machine: String,
    pub(super) date: String,
    pub(super) earliest: String,
    pub(super) latest: String,
    pub(super) opens: Vec<String>,
    pub(super) renew: Vec<TaskView>,
    pub(super) measure: Vec<MeasureView>,
    pub(super) kit: Vec<KitView>,
    /// Production hours lost, hours of labour, money in all.
    pub(super) hours: f64,
    pub(super) labour_h: f64,
    pub(super) cost: f64,
    #[serde(skip)]
    pub(super) lines: Lines,
}

/// What a reader is told of a stop, a line each.
#[derive(Debug, Default)]
pub(super) struct Lines {
    pub(super) between: String,
    pub(super) renew: Vec<String>,
    pub(super) measure: Vec<String>,
    pub(super) kit: String,
    pub(super) short: String,
}

#[derive(Debug, Serialize)]
pub(super) struct TaskView {
    component: String,
    position: String,
    part: Option<String>,
    pieces: u32,
    /// `condemned`, `overdue`, `due`, `early`, `exposed`, `machine down`, `always renewed`.
    why: &'static str,
    age: Option<f64>,
    /// That the age is a lower limit: the item came with an unknown age.
    at_least: bool,
    interval: Option<f64>,
    basis: Option<String>,
    unit: String,
}

#[derive(Debug, Serialize)]
pub(super) struct MeasureView {
    component: String,
    position: String,
    quantities: Vec<String>,
    /// That the stop, or the opening, is made for this look.
    look: bool,
}

#[derive(Debug, Serialize)]
pub(super) struct KitView {
    part: Option<String>,
    component: String,
    positions: Vec<String>,
    pieces: u32,
    /// Null where the register does not state the stock.
    from_stock: Option<u32>,
    to_order: u32,
}

#[derive(Debug, Serialize)]
pub(super) struct OrderView {
    pub(super) part: Option<String>,
    pub(super) component: String,
    pub(super) pieces: u32,
    pub(super) machine: String,
    pub(super) stop: String,
    pub(super) order_by: Option<String>,
    pub(super) late_days: u32,
    pub(super) lead_time_days: Option<u32>,
    pub(super) supplier: Option<String>,
    pub(super) stock_unknown: bool,
    #[serde(skip)]
    pub(super) when: String,
}

#[derive(Debug, Serialize)]
pub(super) struct ClashView {
    pub(super) date: String,
    pub(super) machines: Vec<String>,
    pub(super) crews: u32,
    /// Machines that could go on another day.
    pub(super) instead: Vec<InsteadView>,
}

#[derive(Debug, Serialize)]
pub(super) struct InsteadView {
    pub(super) machine: String,
    pub(super) date: String,
}

impl PlansView {
    pub fn new(facts: &[Facts<'_>], cautions: Vec<String>) -> PlansView {
        PlansView {
            cautions,
            plans: facts.iter().map(plan_view).collect(),
        }
    }

    /// Overdue first, then a block a stop, orders, conflicts, notes and cautions.
    pub fn text(&self) -> String {
        let several = self.plans.len() > 1;
        let mut text = String::new();
        for plan in &self.plans {
            if several {
                text.push_str(&format!("{}\n\n", plan.plant));
            }
            plan.write(&mut text);
        }
        text.push_str("\nBefore anything is opened:\n");
        for caution in &self.cautions {
            text.push_str(&format!("- {caution}\n"));
        }
        text
    }

    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// One row a slot and stop: what is renewed, what is measured.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut rows = Vec::new();
        for plan in &self.plans {
            for stop in &plan.stops {
                let head = || {
                    vec![
                        plan.plant.clone(),
                        stop.machine.clone(),
                        stop.date.clone(),
                        stop.earliest.clone(),
                        stop.latest.clone(),
                    ]
                };
                for task in &stop.renew {
                    let mut row = head();
                    row.extend([
                        "renew".to_owned(),
                        task.component.clone(),
                        task.position.clone(),
                        task.why.to_owned(),
                        cell(task.age),
                        cell(task.interval),
                        task.unit.clone(),
                        task.part.clone().unwrap_or_default(),
                        task.pieces.to_string(),
                        String::new(),
                    ]);
                    rows.push(row);
                }
                for look in &stop.measure {
                    let mut row = head();
                    row.extend([
                        "measure".to_owned(),
                        look.component.clone(),
                        look.position.clone(),
                        if look.look { "look" } else { "exposed" }.to_owned(),
                        String::new(),
                        String::new(),
                        String::new(),
                        String::new(),
                        String::new(),
                        look.quantities.join(" "),
                    ]);
                    rows.push(row);
                }
            }
        }
        csv_text(
            &[
                "plant",
                "machine",
                "date",
                "earliest",
                "latest",
                "action",
                "component",
                "position",
                "why",
                "age",
                "interval",
                "unit",
                "part",
                "pieces",
                "quantities",
            ],
            rows,
        )
    }
}

fn plan_view(facts: &Facts<'_>) -> PlanView {
    let plan = facts.plan;
    let overdue = plan.machines.iter().flat_map(|machine| {
        let late = machine.overdue.iter();
        late.map(|overdue| overdue_view(&machine.machine, overdue))
    });
    PlanView {
        plant: facts.plant.to_owned(),
        currency: facts.currency.code().to_owned(),
        as_of: plan.as_of.to_string(),
        from: plan.from.to_string(),
        to: plan.to.to_string(),
        machines: plan
            .machines
            .iter()
            .zip(facts.notes)
            .map(|(machine, notes)| machine_view(machine, notes))
            .collect(),
        overdue: overdue.collect(),
        stops: plan
            .stops()
            .into_iter()
            .zip(&plan.kits)
            .map(|(stop, kit)| stop_view(stop, kit))
            .collect(),
        orders: plan.orders.iter().map(order_view).collect(),
        conflicts: plan.clashes.iter().map(clash_view).collect(),
        money: facts.currency,
    }
}

fn machine_view(machine: &MachinePlan, notes: &[String]) -> MachineView {
    MachineView {
        machine: machine.machine.clone(),
        name: machine.name.clone(),
        base_interval: machine.base.as_ref().map(|(base, _)| *base),
        unit: machine.base.as_ref().map(|(_, unit)| unit.clone()),
        stops: machine.stops.len(),
        per_week: machine.rate.map(|rate: Rate| RateView {
            expected: rate.per_week,
            recent: rate.recent,
            sd: rate.week_sd,
            weeks: rate.weeks,
        }),
        undated: machine
            .undated
            .iter()
            .map(|(component, position)| format!("{component} {position}"))
            .collect(),
        notes: notes.to_vec(),
    }
}

fn overdue_view(machine: &str, overdue: &Overdue) -> OverdueView {
    OverdueView {
        machine: machine.to_owned(),
        component: overdue.component.clone(),
        position: overdue.position.clone(),
        age: overdue.age,
        interval: overdue.interval,
        unit: overdue.unit.clone(),
        past_ceiling: overdue.past_ceiling,
        condemned: overdue.condemned.clone(),
    }
}

fn stop_view(stop: &Stop, kit: &[KitLine]) -> StopView {
    let mut looks: Vec<&Task> = stop
        .tasks
        .iter()
        .filter(|task| !task.measures.is_empty() || task.look)
        .collect();
    // In the order of the layout, whether renewed or not.
    looks.sort_by_key(|task| task.slot);
    let renew = gathered(stop.renewals())
        .iter()
        .map(|line| format!("{} {}: {}", line.component, line.positions(), line.why()))
        .collect();
    StopView {
        machine: stop.machine.clone(),
        date: stop.date.to_string(),
        earliest: stop.earliest.to_string(),
        latest: stop.latest.to_string(),
        opens: stop.opened_names.clone(),
        renew: stop.renewals().map(task_view).collect(),
        measure: looks
            .iter()
            .map(|task| MeasureView {
                component: task.component.clone(),
                position: task.position.clone(),
                quantities: task.measures.clone(),
                look: task.look,
            })
            .collect(),
        kit: kit
            .iter()
            .map(|line| KitView {
                part: line.part.clone(),
                component: line.component.clone(),
                positions: line.positions.clone(),
                pieces: line.pieces,
                from_stock: line.from_stock,
                to_order: line.short(),
            })
            .collect(),
        hours: stop.hours,
        labour_h: stop.labour_h,
        cost: stop.cost,
        lines: Lines {
            between: between(stop.earliest, stop.latest),
            renew,
            measure: measure_lines(&looks),
            kit: kit_words(kit.iter().map(|line| (line, line.pieces))),
            short: kit_words(kit.iter().map(|line| (line, line.short()))),
        },
    }
}

/// What to measure, a component a line.
fn measure_lines(tasks: &[&Task]) -> Vec<String> {
    let mut lines: Vec<(&str, Vec<&str>, String, bool)> = Vec::new();
    for task in tasks {
        let what = if task.measures.is_empty() {
            "look at it".to_owned()
        } else {
            task.measures.join(", ")
        };
        match lines
            .iter_mut()
            .find(|l| l.0 == task.component && l.2 == what && l.3 == task.look)
        {
            Some(line) => line.1.push(&task.position),
            None => lines.push((&task.component, vec![&task.position], what, task.look)),
        }
    }
    lines
        .into_iter()
        .map(|(component, positions, what, look)| {
            let due = if look {
                " (a look is due: renew by what is read)"
            } else {
                ""
            };
            format!("{component} {}: {what}{due}", positions.join(" "))
        })
        .collect()
}

fn task_view(task: &Task) -> TaskView {
    TaskView {
        component: task.component.clone(),
        position: task.position.clone(),
        part: task.part.clone(),
        pieces: task.pieces,
        why: task.renew.map_or("", kind),
        age: task.age,
        at_least: task.at_least,
        interval: task.interval,
        basis: task.basis.map(basis),
        unit: task.unit.clone(),
    }
}

fn order_view(order: &Order) -> OrderView {
    OrderView {
        part: order.part.clone(),
        component: order.component.clone(),
        pieces: order.pieces,
        machine: order.machine.clone(),
        stop: order.stop.to_string(),
        order_by: order.order_by.map(|day| day.to_string()),
        late_days: order.late_days,
        lead_time_days: order.lead_time_days,
        supplier: order.supplier.clone(),
        stock_unknown: order.stock_unknown,
        when: order_when(order),
    }
}

fn clash_view(clash: &Clash) -> ClashView {
    ClashView {
        date: clash.date.to_string(),
        machines: clash.machines.clone(),
        crews: clash.crews,
        instead: clash
            .instead
            .iter()
            .map(|(machine, date)| InsteadView {
                machine: machine.clone(),
                date: date.to_string(),
            })
            .collect(),
    }
}
