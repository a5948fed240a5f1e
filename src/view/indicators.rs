//! Standard indicators as text, JSON and CSV. The JSON keys and CSV columns are a contract.
//!
//! In: [`Indicator`]s of all machines together and of each. Out: text. Never: their formulas.
//!
//! JSON: `as_of`, `currency`, `from`, `to`, `confidence`, `groups`, a list of `machine` (null:
//! all that were asked for) and `indicators`, each with `id`, `name`, `value`, `lower`, `upper`,
//! `unit` (empty: a share or a count), `formula`, `source`, `note`; and `notes`.

use serde_json::{Value, json};

use super::table::{Align, Notes, Table, cell, csv_text, figure, usage};
use crate::cost::{Indicator, Span};

/// Indicators of a period.
pub struct IndicatorsView {
    pub as_of: String,
    pub currency: String,
    pub span: Span,
    pub confidence: f64,
    /// All machines (`None`) first, then each.
    pub groups: Vec<(Option<String>, Vec<Indicator>)>,
    pub notes: Vec<String>,
}

impl IndicatorsView {
    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let groups: Vec<Value> = self
            .groups
            .iter()
            .map(|(machine, found)| {
                let indicators: Vec<Value> = found
                    .iter()
                    .map(|one| {
                        json!({
                            "id": one.id,
                            "name": one.name,
                            "value": one.value,
                            "lower": one.limits.map(|(lower, _)| lower),
                            "upper": one.limits.and_then(|(_, upper)| upper),
                            "unit": one.unit,
                            "formula": one.formula,
                            "source": one.source,
                            "note": one.note,
                        })
                    })
                    .collect();
                json!({ "machine": machine, "indicators": indicators })
            })
            .collect();
        serde_json::to_string_pretty(&json!({
            "as_of": self.as_of,
            "currency": self.currency,
            "from": self.span.from,
            "to": self.span.to,
            "confidence": self.confidence,
            "groups": groups,
            "notes": self.notes,
        }))
    }

    /// A row an indicator of a machine; an empty machine stands for all.
    pub fn csv(&self) -> Result<String, csv::Error> {
        csv_text(
            &[
                "machine", "id", "name", "value", "lower", "upper", "unit", "formula", "source",
                "note",
            ],
            self.groups.iter().flat_map(|(machine, found)| {
                found.iter().map(move |one| {
                    vec![
                        machine.clone().unwrap_or_default(),
                        one.id.to_owned(),
                        one.name.to_owned(),
                        cell(one.value),
                        cell(one.limits.map(|(lower, _)| lower)),
                        cell(one.limits.and_then(|(_, upper)| upper)),
                        one.unit.clone(),
                        one.formula.to_owned(),
                        one.source.to_owned(),
                        one.note.clone().unwrap_or_default(),
                    ]
                })
            }),
        )
    }

    /// For reading: a row an indicator, a column a machine.
    pub fn text(&self) -> String {
        let mut headings = vec![("indicator".to_owned(), Align::Left)];
        for (machine, _) in &self.groups {
            let name = machine.clone().unwrap_or_else(|| "all".into());
            headings.push((name, Align::Right));
        }
        headings.push(("unit".into(), Align::Left));
        headings.push(("source".into(), Align::Left));
        headings.push((String::new(), Align::Left));
        let mut table = Table::new(headings.iter().map(|(name, align)| (name.as_str(), *align)));
        let mut notes = Notes::default();
        let Some((_, first)) = self.groups.first() else {
            return String::new();
        };
        for (n, one) in first.iter().enumerate() {
            let mut row = vec![one.name.to_owned()];
            let mut said = Vec::new();
            for (machine, found) in &self.groups {
                let one = &found[n];
                row.push(
                    one.value
                        .map_or_else(|| "–".into(), |value| shown(one, value)),
                );
                if let Some(note) = &one.note {
                    let name = machine.as_ref().filter(|_| self.groups.len() > 1);
                    // A note that holds for all machines alike is told once.
                    if first[n].note.as_ref() != Some(note) {
                        said.push(format!("{}: {note}", name.map_or("all", |m| m.as_str())));
                    } else if !said.contains(note) {
                        said.push(note.clone());
                    }
                }
            }
            row.push(one.unit.clone());
            row.push(one.source.to_owned());
            row.push(notes.marks(&said));
            table.row(row);
            if first[n].limits.is_some() {
                let mut row = vec![format!("  {:.0} % limits", 100.0 * self.confidence)];
                for (_, found) in &self.groups {
                    row.push(found[n].limits.map_or_else(|| "–".into(), limits));
                }
                table.row(row);
            }
        }
        let mut text = format!(
            "Indicators from {} to {}\n\n{}",
            self.span.from,
            self.span.to,
            table.text()
        );
        text.push('\n');
        text.push_str(&notes.text());
        for note in &self.notes {
            text.push_str(&format!("note: {note}\n"));
        }
        text
    }
}

fn shown(one: &Indicator, value: f64) -> String {
    if one.unit.is_empty() && one.formula.contains('÷') {
        format!("{:.1} %", 100.0 * value)
    } else {
        usage(value)
    }
}

fn limits((lower, upper): (f64, Option<f64>)) -> String {
    match upper {
        Some(upper) => format!("{} to {}", figure(lower, 3), figure(upper, 3)),
        None => format!("from {}", figure(lower, 3)),
    }
}
