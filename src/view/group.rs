//! Grouped stops as JSON, CSV and a table. The JSON keys are a contract.
//!
//! In: plans of machines, with what each slot's interval rests on in words. Out: text.
//! Never: the plan itself.

use serde::Serialize;

use super::interval::NearView;
use super::table::{Align, Notes, Table, cell, csv_text, figure, percent, usage};
use crate::policy::group::CostRate;

/// Cost per unit of usage, by kind; they add up to the total.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct CostRateView {
    pub total: f64,
    pub stops: f64,
    pub openings: f64,
    pub renewals: f64,
    pub failures: f64,
}

impl From<CostRate> for CostRateView {
    fn from(cost: CostRate) -> Self {
        CostRateView {
            total: cost.total(),
            stops: cost.stops,
            openings: cost.openings,
            renewals: cost.renewals,
            failures: cost.failures,
        }
    }
}

/// One slot of a plan.
#[derive(Debug, Clone, Serialize)]
pub struct GroupSlotView {
    pub component: String,
    pub position: String,
    pub access: Option<String>,
    pub cylinder: Option<String>,
    /// Of the base interval; null is only at failure.
    pub multiple: Option<u32>,
    /// In the unit of the usage that ages it.
    pub interval: Option<f64>,
    pub unit: String,
    /// What it would be renewed at by itself.
    pub own_interval: Option<f64>,
    /// Age from which it is renewed along where it lies open anyway.
    pub take_exposed_from: Option<f64>,
    /// Age from which it is renewed along where the machine is down and its access must be
    /// opened for it.
    pub take_down_from: Option<f64>,
    /// Cost per unit of the machine's usage: its own renewals and failures, its share of
    /// openings and stops.
    pub cost_rate: SlotCostView,
    pub notes: Vec<String>,
}

#[derive(Debug, Clone, Copy, Serialize)]
pub struct SlotCostView {
    pub renewals: f64,
    pub failures: f64,
    pub shared: f64,
}

impl SlotCostView {
    fn total(self) -> f64 {
        self.renewals + self.failures + self.shared
    }
}

/// One access of a plan.
#[derive(Debug, Clone, Serialize)]
pub struct OpeningView {
    pub access: String,
    pub cylinder: String,
    /// Opened at every multiple of each of these; empty: never by plan.
    pub every: Vec<u32>,
    /// Components renewed whenever it is opened.
    pub always_renewed: Vec<String>,
    /// Cost per unit of usage that no slot bears.
    pub cost_rate: f64,
}

/// A slot that has no part in the plan.
#[derive(Debug, Clone, Serialize)]
pub struct LeftOutView {
    pub component: String,
    pub position: String,
    pub why: String,
}

/// One machine's plan.
#[derive(Debug, Clone, Serialize)]
pub struct GroupView {
    pub machine: String,
    pub usage: String,
    pub unit: String,
    /// Null where nothing is renewed by plan.
    pub base_interval: Option<f64>,
    pub near_optimal: Option<NearView>,
    pub cost_rate: CostRateView,
    /// Every slot at its own interval, in stops of its own.
    pub own_intervals: CostRateView,
    /// Everything run to failure, but for ceilings and slots of which no failure is known.
    pub run_to_failure: CostRateView,
    pub saving_against_own_intervals: f64,
    pub saving_against_run_to_failure: f64,
    pub slots: Vec<GroupSlotView>,
    pub openings: Vec<OpeningView>,
    pub left_out: Vec<LeftOutView>,
}

/// The plans of several machines.
#[derive(Debug, Clone, Serialize)]
pub struct GroupsView {
    pub currency: String,
    pub machines: Vec<GroupView>,
}

impl GroupsView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// One row a slot.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "machine",
            "component",
            "position",
            "access",
            "cylinder",
            "base_interval",
            "multiple",
            "interval",
            "unit",
            "own_interval",
            "take_exposed_from",
            "take_down_from",
            "cost_rate_renewals",
            "cost_rate_failures",
            "cost_rate_shared",
            "notes",
        ];
        let rows = self.machines.iter().flat_map(|machine| {
            machine.slots.iter().map(|s| {
                vec![
                    machine.machine.clone(),
                    s.component.clone(),
                    s.position.clone(),
                    s.access.clone().unwrap_or_default(),
                    s.cylinder.clone().unwrap_or_default(),
                    cell(machine.base_interval),
                    cell(s.multiple.map(f64::from)),
                    cell(s.interval),
                    s.unit.clone(),
                    cell(s.own_interval),
                    cell(s.take_exposed_from),
                    cell(s.take_down_from),
                    cell(Some(s.cost_rate.renewals)),
                    cell(Some(s.cost_rate.failures)),
                    cell(Some(s.cost_rate.shared)),
                    s.notes.join("; "),
                ]
            })
        });
        csv_text(&headings, rows)
    }

    /// A machine after the other: its stops, its slots, what it costs.
    pub fn table(&self) -> String {
        let mut text = String::new();
        let mut notes = Notes::default();
        for machine in &self.machines {
            text.push_str(&machine.heading());
            text.push('\n');
            text.push_str(&machine.slots_table(&self.currency, &mut notes));
            text.push('\n');
            text.push_str(&machine.cost_table(&self.currency));
            text.push('\n');
        }
        text.push_str(
            "Along from: the usage on a part from which it is renewed along, where it lies open \
             anyway, and where\nthe machine is down for something else and its access must be \
             opened for it. At a stop a part due with less\non it than the first may wait for the \
             next, if it stays below its ceiling; the costs count it as renewed.\n\
             Costs are what is expected over all the data leave open; each position bears its \
             share of openings and stops.\n\
             These intervals are advice for maintenance cost: they never lengthen a maker's, food \
             safety or legal limit.\n",
        );
        text.push_str(&notes.text());
        text
    }
}

impl GroupView {
    fn heading(&self) -> String {
        let unit = &self.unit;
        let mut heading = match (self.base_interval, self.near_optimal) {
            (Some(base), Some(near)) => {
                let within = match near.to {
                    Some(to) if near.from < to => format!(
                        "; {} to {} {unit} cost within {} of the least",
                        usage(near.from),
                        usage(to),
                        percent(near.within)
                    ),
                    _ => String::new(),
                };
                format!(
                    "{}: a stop every {} {unit} of {}{within}\n",
                    self.machine,
                    usage(base),
                    self.usage
                )
            }
            _ => format!("{}: nothing is worth renewing by plan\n", self.machine),
        };
        let opened = merged(self.openings.iter().map(|opening| {
            let every: Vec<String> = opening.every.iter().map(|m| ordinal(*m)).collect();
            let always = match opening.always_renewed.as_slice() {
                [] => String::new(),
                parts => format!(", with {}", parts.join(", ")),
            };
            let words = match every.is_empty() {
                true => "never by plan".to_owned(),
                false => format!("at every {}{always}", every.join(" and every ")),
            };
            ((opening.access.clone(), words), opening.cylinder.clone())
        }));
        for ((access, words), cylinders) in opened {
            heading.push_str(&format!(
                "  {access} {} opened {words}\n",
                cylinders.join(", ")
            ));
        }
        heading
    }

    fn slots_table(&self, currency: &str, notes: &mut Notes) -> String {
        let money = format!("{currency} per 1,000 {}", self.unit);
        let money = format!("{} each", money.trim_end());
        let mut table = Table::new([
            ("component", Align::Left),
            ("where", Align::Left),
            ("at stops", Align::Left),
            ("interval", Align::Right),
            ("by itself", Align::Right),
            ("unit", Align::Left),
            ("along from: open", Align::Right),
            ("down", Align::Right),
            (money.as_str(), Align::Right),
            ("", Align::Left),
        ]);
        let rows = merged(self.slots.iter().map(|slot| {
            let number = |value: Option<f64>| value.map_or_else(|| "–".into(), usage);
            // An age to look up on the day needs no more than two or three digits.
            let age = |value: Option<f64>| value.map_or_else(|| "–".into(), |v| figure(v, 2));
            let cells = vec![
                slot.multiple
                    .map_or_else(|| "at failure".into(), |m| format!("every {}", ordinal(m))),
                number(slot.interval),
                number(slot.own_interval),
                slot.unit.clone(),
                age(slot.take_exposed_from),
                age(slot.take_down_from),
                figure(1_000.0 * slot.cost_rate.total(), 3),
                notes.marks(&slot.notes),
            ];
            ((slot.component.clone(), cells), slot.position.clone())
        }));
        for ((component, cells), positions) in &rows {
            let of_it: Vec<usize> = rows
                .iter()
                .filter(|((c, _), _)| c == component)
                .map(|(_, positions)| positions.len())
                .collect();
            let mut row = vec![component.clone(), place_words(positions, &of_it)];
            row.extend(cells.clone());
            table.row(row);
        }
        for left in &self.left_out {
            table.row([
                left.component.clone(),
                left.position.clone(),
                "left out".into(),
                "–".into(),
                "–".into(),
                String::new(),
                "–".into(),
                "–".into(),
                "–".into(),
                notes.marks(std::slice::from_ref(&left.why)),
            ]);
        }
        table.text()
    }

    fn cost_table(&self, currency: &str) -> String {
        let money = format!("{currency} per 1,000 {}", self.unit);
        let mut table = Table::new([
            (money.trim_end(), Align::Left),
            ("stops", Align::Right),
            ("openings", Align::Right),
            ("renewals", Align::Right),
            ("failures", Align::Right),
            ("in all", Align::Right),
            ("saved by the plan", Align::Right),
        ]);
        for (name, cost, saved) in [
            ("grouped stops", self.cost_rate, None),
            (
                "each at its own interval",
                self.own_intervals,
                Some(self.saving_against_own_intervals),
            ),
            (
                "run to failure",
                self.run_to_failure,
                Some(self.saving_against_run_to_failure),
            ),
        ] {
            let per_1000 = |rate: f64| figure(1_000.0 * rate, 3);
            table.row([
                name.to_owned(),
                per_1000(cost.stops),
                per_1000(cost.openings),
                per_1000(cost.renewals),
                per_1000(cost.failures),
                per_1000(cost.total),
                saved.map_or_else(|| "–".into(), saved_words),
            ]);
        }
        table.text()
    }
}

/// Longest list of positions spelled out in a table.
const SPELLED_OUT: usize = 48;

/// Where a row holds; `sizes` are the numbers of positions of all rows of its component.
fn place_words(positions: &[String], sizes: &[usize]) -> String {
    let listed = positions.join(", ");
    let largest = sizes.iter().filter(|n| **n >= positions.len()).count() == 1;
    match positions.len() {
        1 => listed,
        _ if sizes.len() == 1 => "all positions".into(),
        _ if listed.len() <= SPELLED_OUT => listed,
        _ if largest => "all others".into(),
        count => format!("{count} positions"),
    }
}

/// A saving, which may be a loss.
fn saved_words(share: f64) -> String {
    if share < 0.0 {
        format!("−{}", percent(-share))
    } else {
        percent(share)
    }
}

/// `stop`, `2nd stop` to `12th stop`.
fn ordinal(number: u32) -> String {
    let end = match number {
        1 => return "stop".into(),
        2 => "nd",
        3 => "rd",
        _ => "th",
    };
    format!("{number}{end} stop")
}

/// Rows that say the same, in the order of the first of each, with the places they hold for.
fn merged<K: PartialEq>(rows: impl Iterator<Item = (K, String)>) -> Vec<(K, Vec<String>)> {
    let mut merged: Vec<(K, Vec<String>)> = Vec::new();
    for (key, place) in rows {
        match merged.iter_mut().find(|(k, _)| *k == key) {
            Some((_, places)) => places.push(place),
            None => merged.push((key, vec![place])),
        }
    }
    merged
}
