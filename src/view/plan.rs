//! A plan as text, JSON and CSV. The JSON keys and CSV columns are a contract.
//!
//! In: [`Plan`]s with their plants. Out: text. Never: the choice of days or parts.

use serde::Serialize;

use super::plan_words::{basis, between, gathered, kind, kit_words, order_when};
pub use super::plan_words::{order_words, short_why, stop_words};
use super::table::{Align, Table, cell, csv_text, figure, usage};
use crate::plan::{Clash, KitLine, MachinePlan, Order, Overdue, Plan, Rate, Stop, Task};
use crate::quantity::{Currency, counted};

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
struct PlanView {
    plant: String,
    currency: String,
    as_of: String,
    from: String,
    to: String,
    machines: Vec<MachineView>,
    overdue: Vec<OverdueView>,
    stops: Vec<StopView>,
    orders: Vec<OrderView>,
    conflicts: Vec<ClashView>,
    #[serde(skip)]
    money: Currency,
}

#[derive(Debug, Serialize)]
struct MachineView {
    machine: String,
    name: String,
    base_interval: Option<f64>,
    unit: Option<String>,
    stops: usize,
    per_week: Option<RateView>,
    /// Slots that are to be renewed and whose age or usage is unknown: `component position`.
    undated: Vec<String>,
    notes: Vec<String>,
}

#[derive(Debug, Serialize)]
struct RateView {
    expected: f64,
    recent: Option<f64>,
    sd: f64,
    weeks: usize,
}

#[derive(Debug, Serialize)]
struct OverdueView {
    machine: String,
    component: String,
    position: String,
    age: Option<f64>,
    interval: Option<f64>,
    unit: String,
    past_ceiling: bool,
    condemned: Option<String>,
}

#[derive(Debug, Serialize)]
struct StopView {
    machine: String,
    date: String,
    earliest: String,
    latest: String,
    opens: Vec<String>,
    renew: Vec<TaskView>,
    measure: Vec<MeasureView>,
    kit: Vec<KitView>,
    /// Production hours lost, hours of labour, money in all.
    hours: f64,
    labour_h: f64,
    cost: f64,
    #[serde(skip)]
    lines: Lines,
}

/// What a reader is told of a stop, a line each.
#[derive(Debug, Default)]
struct Lines {
    between: String,
    renew: Vec<String>,
    measure: Vec<String>,
    kit: String,
    short: String,
}

#[derive(Debug, Serialize)]
struct TaskView {
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
struct MeasureView {
    component: String,
    position: String,
    quantities: Vec<String>,
    /// That the stop, or the opening, is made for this look.
    look: bool,
}

#[derive(Debug, Serialize)]
struct KitView {
    part: Option<String>,
    component: String,
    positions: Vec<String>,
    pieces: u32,
    /// Null where the register does not state the stock.
    from_stock: Option<u32>,
    to_order: u32,
}

#[derive(Debug, Serialize)]
struct OrderView {
    part: Option<String>,
    component: String,
    pieces: u32,
    machine: String,
    stop: String,
    order_by: Option<String>,
    late_days: u32,
    lead_time_days: Option<u32>,
    supplier: Option<String>,
    stock_unknown: bool,
    #[serde(skip)]
    when: String,
}

#[derive(Debug, Serialize)]
struct ClashView {
    date: String,
    machines: Vec<String>,
    crews: u32,
    /// Machines that could go on another day.
    instead: Vec<InsteadView>,
}

#[derive(Debug, Serialize)]
struct InsteadView {
    machine: String,
    date: String,
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

impl PlanView {
    fn write(&self, text: &mut String) {
        self.write_overdue(text);
        if self.stops.is_empty() {
            text.push_str(&format!(
                "No stop is planned from {} to {}.\n",
                self.from, self.to
            ));
        } else {
            let hours: f64 = self.stops.iter().map(|stop| stop.hours).sum();
            let cost: f64 = self.stops.iter().map(|stop| stop.cost).sum();
            text.push_str(&format!(
                "{} from {} to {}: {} h of production, {}\n",
                counted(self.stops.len() as u64, "stop", "stops"),
                self.from,
                self.to,
                figure(hours, 3),
                self.money.show_rate(cost, 0),
            ));
        }
        for stop in &self.stops {
            self.write_stop(stop, text);
        }
        self.write_orders(text);
        self.write_conflicts(text);
        for machine in &self.machines {
            for note in &machine.notes {
                text.push_str(&format!("\n{}: {note}", machine.machine));
            }
            if !machine.undated.is_empty() {
                text.push_str(&format!(
                    "\n{}: no date for {}, as its age or the machine's usage is unknown",
                    machine.machine,
                    machine.undated.join(", ")
                ));
            }
        }
        if !text.ends_with('\n') {
            text.push('\n');
        }
    }

    fn write_overdue(&self, text: &mut String) {
        if self.overdue.is_empty() {
            return;
        }
        text.push_str("Overdue\n");
        let mut table = Table::new([
            ("machine", Align::Left),
            ("slot", Align::Left),
            ("age", Align::Right),
            ("interval", Align::Right),
            ("", Align::Left),
        ]);
        for late in &self.overdue {
            let figure = |value: Option<f64>| {
                value.map_or_else(
                    || "–".to_owned(),
                    |v| format!("{} {}", usage(v.round()), late.unit),
                )
            };
            let word = match (&late.condemned, late.past_ceiling) {
                (Some(found), _) => found.clone(),
                (None, true) => "past its ceiling: it may not run on".into(),
                (None, false) => String::new(),
            };
            table.row([
                late.machine.clone(),
                format!("{} {}", late.component, late.position),
                figure(late.age),
                figure(late.interval),
                word,
            ]);
        }
        text.push_str(&table.text());
        text.push('\n');
    }

    fn write_stop(&self, stop: &StopView, text: &mut String) {
        let between = match stop.lines.between.as_str() {
            "" => String::new(),
            days => format!(" ({days})"),
        };
        text.push_str(&format!(
            "\n{}  {}{between}: {} h down, {} h of labour, {}\n",
            stop.date,
            stop.machine,
            figure(stop.hours, 2),
            figure(stop.labour_h, 2),
            self.money.show_rate(stop.cost, 0),
        ));
        let mut part = |head: &str, lines: &[String]| {
            for (n, line) in lines.iter().filter(|line| !line.is_empty()).enumerate() {
                let head = if n == 0 { head } else { "" };
                for (n, piece) in wrapped(line, 88).iter().enumerate() {
                    let (head, in_by) = if n == 0 { (head, "") } else { ("", "  ") };
                    text.push_str(&format!("  {head:<8} {in_by}{piece}\n"));
                }
            }
        };
        part("open", &[stop.opens.join("; ")]);
        part("renew", &stop.lines.renew);
        part("measure", &stop.lines.measure);
        part("kit", std::slice::from_ref(&stop.lines.kit));
        let none_at_hand = stop.lines.short == stop.lines.kit;
        match none_at_hand {
            true if stop.lines.kit.is_empty() => {}
            true => part("order", &["all of it".to_owned()]),
            false => part("order", std::slice::from_ref(&stop.lines.short)),
        }
    }

    fn write_orders(&self, text: &mut String) {
        if self.orders.is_empty() {
            return;
        }
        text.push_str("\nOrder\n");
        let mut table = Table::new([
            ("when", Align::Left),
            ("pieces", Align::Right),
            ("part", Align::Left),
            ("from", Align::Left),
            ("for", Align::Left),
            ("", Align::Left),
        ]);
        for order in &self.orders {
            table.row([
                order.when.clone(),
                order.pieces.to_string(),
                order
                    .part
                    .clone()
                    .unwrap_or_else(|| order.component.clone()),
                order.supplier.clone().unwrap_or_default(),
                format!("{} {}", order.machine, order.stop),
                if order.stock_unknown {
                    "stock not stated".into()
                } else {
                    String::new()
                },
            ]);
        }
        text.push_str(&table.text());
    }

    fn write_conflicts(&self, text: &mut String) {
        for clash in &self.conflicts {
            let instead: String = clash
                .instead
                .iter()
                .map(|other| format!("; {} could go on {}", other.machine, other.date))
                .collect();
            text.push_str(&format!(
                "\n{}: {} down on one day, {} to open them{instead}\n",
                clash.date,
                clash.machines.join(", "),
                counted(u64::from(clash.crews), "crew", "crews"),
            ));
        }
    }
}

/// A text in lines of at most `width` characters, broken between words.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
