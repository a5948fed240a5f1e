//! What to expect as JSON, CSV and tables. The JSON keys are a contract.
//!
//! In: counts, holdings. Out: text. Never: statistics.

use serde::Serialize;

use super::table::{Align, Notes, Table, cell, csv_text, figure, percent, usage};
use crate::policy::forecast::Counts;
use crate::policy::stock::Holding;
use crate::quantity::counted;

/// Pieces to hold for one level of service.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct HoldingView {
    /// Chance asked for that the demand is met.
    pub service: f64,
    pub pieces: usize,
    /// Chance that so many pieces give.
    pub attained: f64,
}

impl From<Holding> for HoldingView {
    fn from(found: Holding) -> Self {
        HoldingView {
            service: found.service,
            pieces: found.pieces,
            attained: found.attained,
        }
    }
}

/// A number to come: mean and two-sided limits.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct NumberView {
    pub expected: f64,
    pub lower: usize,
    pub upper: usize,
}

impl NumberView {
    pub fn new(counts: &Counts, confidence: f64) -> Self {
        let (lower, upper) = counts.limits(confidence);
        NumberView {
            expected: counts.mean(),
            lower,
            upper,
        }
    }

    fn words(&self) -> String {
        format!("{} to {}", self.lower, self.upper)
    }
}

/// The forecast for a stated life.
#[derive(Debug, Clone, Serialize)]
pub struct StatedView {
    /// Failures to expect.
    pub expected: f64,
    /// Of 0, 1, 2, … failures.
    pub probabilities: Vec<f64>,
    /// Planned renewals to expect.
    pub expected_planned: f64,
    pub failures: NumberView,
    /// Failures and planned renewals together: what takes parts.
    pub renewals: NumberView,
    pub confidence: f64,
    pub renew_at: Option<f64>,
    /// For all renewals.
    pub stock: Vec<HoldingView>,
}

impl StatedView {
    pub fn new(
        failures: &Counts,
        renewals: &Counts,
        confidence: f64,
        renew_at: Option<f64>,
        stock: Vec<HoldingView>,
    ) -> Self {
        StatedView {
            expected: failures.mean(),
            probabilities: failures.probabilities().to_vec(),
            expected_planned: (renewals.mean() - failures.mean()).max(0.0),
            failures: NumberView::new(failures, confidence),
            renewals: NumberView::new(renewals, confidence),
            confidence,
            renew_at,
            stock,
        }
    }

    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut below = 0.0;
        let rows = self.probabilities.iter().enumerate().map(|(n, p)| {
            below += p;
            vec![n.to_string(), p.to_string(), below.to_string()]
        });
        csv_text(
            &["failures", "probability", "at_most"],
            rows.collect::<Vec<_>>(),
        )
    }

    pub fn table(&self) -> String {
        let mut text = format!(
            "failures to expect: {}, {} with a chance of {}\n",
            figure(self.expected, 3),
            self.failures.words(),
            percent(self.confidence),
        );
        if self.renew_at.is_some() {
            text.push_str(&format!(
                "planned renewals to expect: {}\n",
                figure(self.expected_planned, 3)
            ));
        }
        let mut table = Table::new([
            ("failures", Align::Right),
            ("chance", Align::Right),
            ("or fewer", Align::Right),
        ]);
        let mut below = 0.0;
        for (n, p) in self.probabilities.iter().enumerate() {
            below += p;
            if *p >= 0.005 {
                table.row([n.to_string(), percent(*p), percent(below.min(1.0))]);
            }
        }
        text.push('\n');
        text.push_str(&table.text());
        text.push('\n');
        for held in &self.stock {
            text.push_str(&format!(
                "{} the need with a chance of {} (asked for: {})\n",
                counted(
                    held.pieces as u64,
                    "item in stock meets",
                    "items in stock meet"
                ),
                percent(held.attained),
                percent(held.service),
            ));
        }
        text
    }
}

/// What one component's slots, or one machine's of them, bring. Unknown is null.
#[derive(Debug, Clone, Serialize)]
pub struct OutlookView {
    pub component: String,
    /// Null for all machines.
    pub machine: Option<String>,
    /// Slots with an item in them.
    pub slots: usize,
    /// Of them, with an item whose age at its start is unknown.
    pub unknown_ages: usize,
    /// Mean usage ahead of a slot, in `unit`.
    pub usage: Option<f64>,
    pub unit: String,
    /// Intervals at which the slots are renewed as planned; empty for at failure only.
    pub renew_at: Vec<f64>,
    pub failures: Option<NumberView>,
    /// Planned renewals to expect.
    pub planned: Option<f64>,
    /// Failures and planned renewals together.
    pub renewals: Option<NumberView>,
    /// Where no failure is on record: failures to expect at most, with the given confidence.
    pub failures_at_most: Option<f64>,
    pub notes: Vec<String>,
}

/// One part number: what its lead time needs.
#[derive(Debug, Clone, Serialize)]
pub struct PartView {
    /// Null where slots hold a part without a number.
    pub part: Option<String>,
    pub components: Vec<String>,
    pub supplier: Option<String>,
    pub lead_time_days: Option<u32>,
    pub slots: usize,
    /// Pieces to expect in a lead time.
    pub expected: Option<f64>,
    pub hold: Vec<HoldingView>,
    /// Pieces on the shelf; null where the register does not say.
    pub stock: Option<u64>,
    /// What is short of the highest service asked for.
    pub to_order: Option<u64>,
    pub notes: Vec<String>,
}

/// The whole forecast of a ledger.
#[derive(Debug, Clone, Serialize)]
pub struct ForecastView {
    /// Null where the ledger has no entries.
    pub as_of: Option<String>,
    pub policy: &'static str,
    pub weeks: Option<f64>,
    /// Usage ahead, where it was asked for.
    pub usage: Option<f64>,
    pub confidence: f64,
    pub outlook: Vec<OutlookView>,
    pub parts: Vec<PartView>,
    #[serde(skip)]
    pub parts_only: bool,
}

impl ForecastView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        if self.parts_only {
            return self.parts_csv();
        }
        let headings = [
            "component",
            "machine",
            "slots",
            "unknown_ages",
            "usage",
            "unit",
            "renew_at",
            "failures_expected",
            "failures_lower",
            "failures_upper",
            "planned_expected",
            "renewals_expected",
            "renewals_lower",
            "renewals_upper",
            "failures_at_most",
            "notes",
        ];
        let number = |n: &Option<NumberView>| {
            let whole = |v: Option<usize>| v.map_or_else(String::new, |v| v.to_string());
            [
                cell(n.map(|n| n.expected)),
                whole(n.map(|n| n.lower)),
                whole(n.map(|n| n.upper)),
            ]
        };
        let rows = self.outlook.iter().map(|row| {
            let [expected, lower, upper] = number(&row.failures);
            let [all, all_lower, all_upper] = number(&row.renewals);
            let intervals: Vec<String> = row.renew_at.iter().map(f64::to_string).collect();
            vec![
                row.component.clone(),
                row.machine.clone().unwrap_or_default(),
                row.slots.to_string(),
                row.unknown_ages.to_string(),
                cell(row.usage),
                row.unit.clone(),
                intervals.join(" "),
                expected,
                lower,
                upper,
                cell(row.planned),
                all,
                all_lower,
                all_upper,
                cell(row.failures_at_most),
                row.notes.join("; "),
            ]
        });
        csv_text(&headings, rows)
    }

    fn parts_csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "part",
            "components",
            "supplier",
            "lead_time_days",
            "slots",
            "expected",
            "service",
            "pieces",
            "attained",
            "stock",
            "to_order",
            "notes",
        ];
        let rows = self.parts.iter().flat_map(|row| {
            let held: Vec<Option<&HoldingView>> = match row.hold.as_slice() {
                [] => vec![None],
                all => all.iter().map(Some).collect(),
            };
            held.into_iter().map(|held| {
                let whole = |v: Option<u64>| v.map_or_else(String::new, |v| v.to_string());
                vec![
                    row.part.clone().unwrap_or_default(),
                    row.components.join(" "),
                    row.supplier.clone().unwrap_or_default(),
                    whole(row.lead_time_days.map(u64::from)),
                    row.slots.to_string(),
                    cell(row.expected),
                    cell(held.map(|h| h.service)),
                    whole(held.map(|h| h.pieces as u64)),
                    cell(held.map(|h| h.attained)),
                    whole(row.stock),
                    whole(row.to_order),
                    row.notes.join("; "),
                ]
            })
        });
        csv_text(&headings, rows.collect::<Vec<_>>())
    }

    pub fn table(&self) -> String {
        let mut text = String::new();
        let mut notes = Notes::default();
        if !self.parts_only {
            self.outlook_table(&mut text, &mut notes);
            text.push('\n');
        }
        self.parts_table(&mut text, &mut notes);
        text.push_str(&notes.text());
        text
    }

    fn outlook_table(&self, text: &mut String, notes: &mut Notes) {
        let ahead = match (self.weeks, self.usage) {
            (_, Some(run)) => format!("the next {} of usage", usage(run)),
            (weeks, None) => format!("the next {} weeks", usage(weeks.unwrap_or(0.0))),
        };
        let renewed = match self.policy {
            "recommended" => "renewed at the recommended intervals",
            "present" => "renewed at the present intervals",
            _ => "run to failure",
        };
        text.push_str(&format!("{ahead}, {renewed}\n\n"));
        let by_machine = self.outlook.iter().any(|row| row.machine.is_some());
        let limits = format!("{} limits", percent(self.confidence));
        let mut headings = vec![("component", Align::Left)];
        if by_machine {
            headings.push(("machine", Align::Left));
        }
        headings.extend([
            ("slots", Align::Right),
            ("usage each", Align::Right),
            ("unit", Align::Left),
            ("renewed at", Align::Right),
            ("failures", Align::Right),
            (limits.as_str(), Align::Left),
            ("planned", Align::Right),
            ("", Align::Left),
        ]);
        let mut table = Table::new(headings);
        for row in &self.outlook {
            let mut cells = vec![row.component.clone()];
            if by_machine {
                cells.push(row.machine.clone().unwrap_or_else(|| "all".into()));
            }
            let intervals: Vec<String> = row.renew_at.iter().map(|at| usage(*at)).collect();
            let failures = match (row.failures, row.failures_at_most) {
                (Some(n), _) => figure(n.expected, 2),
                (None, Some(most)) => format!("< {}", figure(most, 2)),
                (None, None) => "–".into(),
            };
            cells.extend([
                row.slots.to_string(),
                row.usage.map_or_else(|| "–".into(), |u| figure(u, 3)),
                row.unit.clone(),
                if intervals.is_empty() {
                    "failure".into()
                } else {
                    intervals.join(", ")
                },
                failures,
                row.failures.map_or_else(|| "–".into(), |n| n.words()),
                row.planned.map_or_else(|| "–".into(), |p| figure(p, 2)),
                notes.marks(&row.notes),
            ]);
            table.row(cells);
        }
        text.push_str(&table.text());
    }

    fn parts_table(&self, text: &mut String, notes: &mut Notes) {
        text.push_str("parts that the lead times take, failures and planned renewals together\n\n");
        let levels: Vec<f64> = self
            .parts
            .iter()
            .find(|row| !row.hold.is_empty())
            .map(|row| row.hold.iter().map(|h| h.service).collect())
            .unwrap_or_default();
        let names: Vec<String> = levels
            .iter()
            .map(|level| format!("hold for {}", percent(*level)))
            .collect();
        let mut headings = vec![
            ("part", Align::Left),
            ("for", Align::Left),
            ("lead time", Align::Right),
            ("slots", Align::Right),
            ("pieces expected", Align::Right),
        ];
        for name in &names {
            headings.push((name.as_str(), Align::Right));
            headings.push(("attained", Align::Right));
        }
        headings.extend([
            ("on the shelf", Align::Right),
            ("to order", Align::Right),
            ("", Align::Left),
        ]);
        let mut table = Table::new(headings);
        for row in &self.parts {
            let whole = |v: Option<u64>| v.map_or_else(|| "–".into(), |v| v.to_string());
            let mut cells = vec![
                row.part.clone().unwrap_or_else(|| "no number".into()),
                row.components.join(", "),
                row.lead_time_days
                    .map_or_else(|| "–".into(), |d| format!("{d} days")),
                row.slots.to_string(),
                row.expected.map_or_else(|| "–".into(), |e| figure(e, 2)),
            ];
            for n in 0..levels.len() {
                let held = row.hold.get(n);
                cells.push(held.map_or_else(|| "–".into(), |h| h.pieces.to_string()));
                cells.push(held.map_or_else(|| "–".into(), |h| percent(h.attained)));
            }
            cells.extend([
                whole(row.stock),
                whole(row.to_order),
                notes.marks(&row.notes),
            ]);
            table.row(cells);
        }
        text.push_str(&table.text());
        text.push('\n');
    }
}
