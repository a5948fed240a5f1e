//! The repairable view as CSV and as tables for reading.
//!
//! In: a [`RecurView`]. Out: text; in CSV figures in full, in tables rounded, with units and notes.
//! Never: statistics.

use super::recur::{GroupView, RecurView, SidesView, StepView, TestView};
use super::recur_words::p_value;
use super::table::{Align, Notes, Table, cell, csv_text, figure, figure_or_dash};
use crate::quantity::thousands;

impl RecurView {
    /// One row a figure: the steps of the curve (`mcf`), then tests and power law.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "group",
            "machine",
            "component",
            "figure",
            "time",
            "at_risk",
            "events",
            "estimate",
            "lower",
            "upper",
            "p",
        ];
        csv_text(&headings, self.groups.iter().flat_map(GroupView::csv_rows))
    }

    /// A row a group, the notes, then each mean curve in some steps.
    pub fn table(&self) -> String {
        let mut notes = Notes::default();
        let unit = self.unit();
        let per = format!("per 1,000{unit}");
        let now = format!("between events{}", if unit.is_empty() { "" } else { "," });
        let now = format!("{now}{unit}");
        let mut table = Table::new([
            (if self.alone { "" } else { "group" }, Align::Left),
            ("units", Align::Right),
            ("watched", Align::Right),
            ("events", Align::Right),
            (per.as_str(), Align::Right),
            ("Laplace p", Align::Right),
            ("chi-square p", Align::Right),
            ("shape", Align::Right),
            (now.as_str(), Align::Right),
            ("trend", Align::Left),
            ("", Align::Left),
        ]);
        for group in &self.groups {
            table.row(group.summary(&mut notes));
        }
        let mut text = table.text();
        let confidence = self
            .groups
            .first()
            .map_or(0.9, |g| g.body.limits.confidence);
        text.push_str(&format!(
            "shape above 1: faster and faster; usage between events: by the power law at the end \
             of the watch; {:.0} % limits in brackets\n",
            100.0 * confidence
        ));
        let rows = if self.groups.len() == 1 { 14 } else { 5 };
        let mut curves = Table::new([
            (if self.alone { "" } else { "group" }, Align::Left),
            ("usage", Align::Right),
            ("at risk", Align::Right),
            ("events a unit", Align::Right),
            ("lower", Align::Right),
            ("upper", Align::Right),
        ]);
        for group in &self.groups {
            for step in thinned(&group.body.mcf, rows) {
                curves.row([
                    group.label(),
                    thousands(step.time, 0),
                    step.at_risk.to_string(),
                    figure(step.estimate, 3),
                    figure_or_dash(step.lower, 3),
                    figure_or_dash(step.upper, 3),
                ]);
            }
        }
        // What holds for all groups stands last and marks no row.
        notes.marks(&self.notes);
        if !notes.text().is_empty() {
            text.push('\n');
            text.push_str(&notes.text());
        }
        if !curves.is_empty() {
            text.push_str("\nMean events a unit by usage (all steps: --format csv or json)\n");
            text.push_str(&curves.text());
        }
        text
    }

    /// The unit of usage with a blank before it, where all groups share one.
    fn unit(&self) -> String {
        let mut units = self.groups.iter().map(|g| g.body.usage_unit.as_deref());
        match units.next().flatten() {
            Some(first) if !first.is_empty() && units.all(|u| u == Some(first)) => {
                format!(" {first}")
            }
            _ => String::new(),
        }
    }
}

/// About `rows` steps, evenly spread, the first and last among them.
fn thinned(steps: &[StepView], rows: usize) -> Vec<&StepView> {
    if steps.len() <= rows {
        return steps.iter().collect();
    }
    (0..rows)
        .filter_map(|n| steps.get(n * (steps.len() - 1) / (rows - 1)))
        .collect()
}

impl GroupView {
    fn label(&self) -> String {
        self.name.group.clone().unwrap_or_default()
    }

    fn summary(&self, notes: &mut Notes) -> [String; 11] {
        let body = &self.body;
        let p = |n: usize| {
            let test = body.trend.get(n).and_then(|t: &TestView| t.p);
            test.map_or_else(|| "–".into(), p_value)
        };
        let with = |estimate: f64, sides: SidesView, digits: i32| {
            format!(
                "{} ({} to {})",
                figure(estimate, digits),
                figure_or_dash(sides.lower, digits),
                figure_or_dash(sides.upper, digits)
            )
        };
        let law = body.power_law;
        [
            self.label(),
            body.units.to_string(),
            body.window.map_or_else(String::new, |(from, to)| {
                format!("{} to {}", thousands(from, 0), thousands(to, 0))
            }),
            body.events.to_string(),
            figure(1_000.0 * body.events as f64 / body.usage, 3),
            p(0),
            p(1),
            law.map_or_else(|| "–".into(), |l| with(l.shape, l.shape_limits, 2)),
            law.map_or_else(|| "–".into(), |l| with(l.mtbf, l.mtbf_limits, 3)),
            body.short.into(),
            notes.marks(&body.notes),
        ]
    }

    fn csv_rows(&self) -> Vec<Vec<String>> {
        let body = &self.body;
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        let name = [
            text(&self.name.group),
            text(&self.name.machine),
            text(&self.name.component),
        ];
        let row = |figure: &str, rest: [String; 7]| -> Vec<String> {
            let mut row = name.to_vec();
            row.push(figure.into());
            row.extend(rest);
            row
        };
        let none = String::new;
        let mut rows: Vec<Vec<String>> = body
            .mcf
            .iter()
            .map(|s| {
                row(
                    "mcf",
                    [
                        s.time.to_string(),
                        s.at_risk.to_string(),
                        s.events.to_string(),
                        s.estimate.to_string(),
                        cell(s.lower),
                        cell(s.upper),
                        none(),
                    ],
                )
            })
            .collect();
        let units = body.units.to_string();
        let events = body.events.to_string();
        for t in &body.trend {
            let rest = [
                none(),
                units.clone(),
                events.clone(),
                cell(t.statistic),
                none(),
                none(),
                cell(t.p),
            ];
            rows.push(row(t.test, rest));
        }
        if let Some(law) = body.power_law {
            let figures = [
                ("shape", Some(law.shape), law.shape_limits),
                ("intensity", Some(law.intensity), law.intensity_limits),
                ("mtbf", Some(law.mtbf), law.mtbf_limits),
            ];
            for (figure, value, sides) in figures {
                let rest = [
                    law.at.to_string(),
                    units.clone(),
                    events.clone(),
                    cell(value),
                    cell(sides.lower),
                    cell(sides.upper),
                    none(),
                ];
                rows.push(row(figure, rest));
            }
            for (figure, value) in [
                ("scale", law.scale),
                ("shape_unbiased", law.shape_unbiased),
                ("mtbf_unbiased", law.mtbf_unbiased),
            ] {
                let mut rest = [(); 7].map(|()| String::new());
                rest[1] = units.clone();
                rest[2] = events.clone();
                rest[3] = cell(value);
                rows.push(row(figure, rest));
            }
        }
        rows
    }
}
