//! A plan as a reader sees it: what is overdue, a block a stop, orders, days with too few crews.
//!
//! In: [`PlanView`]. Out: text. Never: a key of the contract.

use super::plan::{PlanView, StopView};
use super::plan_words::overdue_words;
use super::table::{Align, Table, figure, usage};
use crate::quantity::counted;

impl PlanView {
    /// Overdue first, then a block a stop, orders, conflicts, notes.
    pub(super) fn write(&self, text: &mut String) {
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
            table.row([
                late.machine.clone(),
                format!("{} {}", late.component, late.position),
                figure(late.age),
                figure(late.interval),
                overdue_words(late.condemned.as_deref(), late.past_ceiling),
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
