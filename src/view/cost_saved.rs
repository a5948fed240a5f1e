//! What planned renewal saved or cost as text, JSON and CSV. Keys and columns are a contract.
//!
//! In: [`SavedRow`]s. Out: text. Never: estimates.
//!
//! JSON: `as_of`, `currency`, `from`, `to`, `confidence`, `components`, a list of `component`,
//! `renewals`, `failures`, `usage`, `unit`, `spent` (exact), `run_to_failure` and `saved` (each
//! `median`, `lower`, `upper`; null: unknown or no end), `note`; `total` (null: fewer than two
//! components have a figure) of `components` (how many have), `renewals`, `failures`, `spent`,
//! `run_to_failure`, `saved`; and `notes`.

use rust_decimal::Decimal;
use serde::Serialize;

use super::cost::{money, plain};
use super::table::{Align, Notes, Table, cell, csv_text, usage};
use crate::cost::Span;
use crate::quantity::{Currency, thousands};

/// Money with two-sided limits; an end the record leaves open is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Between {
    pub median: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// One component in the period.
#[derive(Debug, Clone, Serialize)]
pub struct SavedRow {
    pub component: String,
    pub renewals: u64,
    pub failures: u64,
    /// Usage run by all its slots together; null: unknown.
    pub usage: Option<f64>,
    pub unit: String,
    pub spent: Decimal,
    /// What the same usage costs in the long run where everything runs to failure.
    pub run_to_failure: Option<Between>,
    pub saved: Option<Between>,
    /// Why there is no figure.
    pub note: Option<String>,
}

/// All components that have a figure.
#[derive(Debug, Clone, Serialize)]
pub struct SavedTotal {
    pub components: usize,
    pub renewals: u64,
    pub failures: u64,
    pub spent: Decimal,
    pub run_to_failure: Between,
    pub saved: Between,
}

/// All components that were renewed as planned in the period.
pub struct SavedView {
    pub as_of: String,
    pub currency: Currency,
    pub span: Span,
    pub confidence: f64,
    pub rows: Vec<SavedRow>,
    /// `None` where fewer than two components have a figure.
    pub total: Option<SavedTotal>,
    pub notes: Vec<String>,
}

impl SavedView {
    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        #[derive(Serialize)]
        struct Whole<'a> {
            as_of: &'a str,
            currency: &'a str,
            from: String,
            to: String,
            confidence: f64,
            components: &'a [SavedRow],
            total: Option<&'a SavedTotal>,
            notes: &'a [String],
        }
        serde_json::to_string_pretty(&Whole {
            as_of: &self.as_of,
            currency: self.currency.code(),
            from: self.span.from.to_string(),
            to: self.span.to.to_string(),
            confidence: self.confidence,
            components: &self.rows,
            total: self.total.as_ref(),
            notes: &self.notes,
        })
    }

    /// A row a component; the total is left out, so that columns can be added up.
    pub fn csv(&self) -> Result<String, csv::Error> {
        csv_text(
            &[
                "component",
                "renewals",
                "failures",
                "usage",
                "unit",
                "spent",
                "currency",
                "run_to_failure",
                "run_to_failure_lower",
                "run_to_failure_upper",
                "saved",
                "saved_lower",
                "saved_upper",
                "note",
            ],
            self.rows.iter().map(|row| {
                let mut cells = vec![
                    row.component.clone(),
                    row.renewals.to_string(),
                    row.failures.to_string(),
                    cell(row.usage),
                    row.unit.clone(),
                    plain(row.spent),
                    self.currency.code().to_owned(),
                ];
                for between in [row.run_to_failure, row.saved] {
                    cells.extend([
                        cell(between.and_then(|b| b.median)),
                        cell(between.and_then(|b| b.lower)),
                        cell(between.and_then(|b| b.upper)),
                    ]);
                }
                cells.push(row.note.clone().unwrap_or_default());
                cells
            }),
        )
    }

    /// For reading.
    pub fn text(&self) -> String {
        let mut text = format!(
            "Planned renewal from {} to {} against run to failure, in {}\n\n",
            self.span.from, self.span.to, self.currency
        );
        if self.rows.is_empty() {
            text.push_str("nothing was renewed as planned in the period\n");
        } else {
            let limits = format!("{:.0} % limits", 100.0 * self.confidence);
            let mut table = Table::new([
                ("component", Align::Left),
                ("renewals", Align::Right),
                ("failures", Align::Right),
                ("slot usage", Align::Right),
                ("spent", Align::Right),
                ("run to failure", Align::Right),
                (limits.as_str(), Align::Left),
                ("saved", Align::Right),
                (limits.as_str(), Align::Left),
                ("", Align::Left),
            ]);
            let mut notes = Notes::default();
            for row in &self.rows {
                let mut cells = vec![
                    row.component.clone(),
                    thousands(row.renewals as f64, 0),
                    thousands(row.failures as f64, 0),
                    row.usage.map_or_else(
                        || "–".into(),
                        |ran| format!("{} {}", usage(ran.round()), row.unit),
                    ),
                    money(row.spent, self.currency),
                ];
                for between in [row.run_to_failure, row.saved] {
                    cells.extend(between.map_or_else(
                        || ["–".to_owned(), String::new()],
                        |b| [whole(b.median), ends(b)],
                    ));
                }
                cells.push(notes.marks(row.note.as_slice()));
                table.row(cells);
            }
            if let Some(total) = &self.total {
                let mut cells = vec![
                    format!("total of {}", total.components),
                    thousands(total.renewals as f64, 0),
                    thousands(total.failures as f64, 0),
                    String::new(),
                    money(total.spent, self.currency),
                ];
                for between in [total.run_to_failure, total.saved] {
                    cells.extend([whole(between.median), ends(between)]);
                }
                cells.push(String::new());
                table.row(cells);
            }
            text.push_str(&table.text());
            let told = notes.text();
            if !told.is_empty() {
                text.push_str(&format!("\n{told}"));
            }
        }
        text.push('\n');
        for note in &self.notes {
            text.push_str(&format!("note: {note}\n"));
        }
        text
    }
}

/// Whole units: an estimate is not known to the cent.
fn whole(value: Option<f64>) -> String {
    value.map_or_else(|| "–".into(), |value| thousands(value, 0))
}

fn ends(between: Between) -> String {
    match (between.lower, between.upper) {
        (Some(lower), Some(upper)) => {
            format!("{} to {}", thousands(lower, 0), thousands(upper, 0))
        }
        (Some(lower), None) => format!("from {}", thousands(lower, 0)),
        (None, Some(upper)) => format!("to {}", thousands(upper, 0)),
        (None, None) => "open".into(),
    }
}
