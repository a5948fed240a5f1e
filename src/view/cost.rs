//! Costs by what they belong to as text, JSON and CSV. The JSON keys and CSV columns are a
//! contract.
//!
//! In: [`Breakdown`]s, one a period. Out: text. Never: adding up.
//!
//! JSON: `as_of`, `currency`, `usage` (`id`, `unit`), `by`, `every`, `from`, `to`, `periods`, a
//! list of `period`, `from`, `to`, `groups`, `total`; a group has the keys of `by` (null: it
//! belongs to no such thing), `renewals`, `failures`, `parts`, `labour`, `downtime`, `extra`,
//! `expense`, `total`, `share` (of the period's total), `usage`, `rate` (money for each unit of
//! usage), `unpriced` (items whose cost is not known). Money is exact, in whole smallest units.

use rust_decimal::Decimal;
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::table::{Align, Table, cell, csv_text, figure_or_dash, percent};
use crate::cost::{Breakdown, By, Group, Span};
use crate::life::CostClass;
use crate::quantity::{Currency, group, thousands};

/// Costs of one or several periods.
pub struct CostView {
    pub as_of: String,
    pub currency: Currency,
    /// Id, name and unit of the usage that rates are for.
    pub usage: (String, String, String),
    pub by: Vec<By>,
    /// `month`, `quarter`, `year`.
    pub every: Option<&'static str>,
    pub span: Span,
    pub periods: Vec<(Span, Breakdown)>,
    /// The periods together, where there are several.
    pub whole: Option<Breakdown>,
    pub notes: Vec<String>,
}

/// Heading and class of each column of money.
const CLASSES: [(&str, CostClass); 5] = [
    ("parts", CostClass::Parts),
    ("labour", CostClass::Labour),
    ("downtime", CostClass::Downtime),
    ("extra", CostClass::Extra),
    ("expense", CostClass::Expense),
];

impl CostView {
    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let periods = self.periods.iter().map(|(span, found)| {
            let total = &found.total;
            Ok(json!({
                "period": span.label,
                "from": span.from,
                "to": span.to,
                "groups": found
                    .groups
                    .iter()
                    .map(|group| self.object(group, total))
                    .collect::<Result<Vec<_>, _>>()?,
                "total": self.object(total, total)?,
            }))
        });
        let periods: Vec<Value> = periods.collect::<Result<_, serde_json::Error>>()?;
        #[derive(Serialize)]
        struct Usage<'a> {
            id: &'a str,
            unit: &'a str,
        }
        #[derive(Serialize)]
        struct Whole<'a> {
            as_of: &'a str,
            currency: &'a str,
            usage: Usage<'a>,
            by: Vec<&'static str>,
            every: Option<&'static str>,
            from: String,
            to: String,
            periods: Vec<Value>,
            notes: &'a [String],
        }
        serde_json::to_string_pretty(&Whole {
            as_of: &self.as_of,
            currency: self.currency.code(),
            usage: Usage {
                id: &self.usage.0,
                unit: &self.usage.2,
            },
            by: self.by.iter().map(|by| by.word()).collect(),
            every: self.every,
            from: self.span.from.to_string(),
            to: self.span.to.to_string(),
            periods,
            notes: &self.notes,
        })
    }

    fn object(&self, group: &Group, total: &Group) -> Result<Value, serde_json::Error> {
        let mut object = Map::new();
        for (by, key) in self.by.iter().zip(&group.keys) {
            object.insert(by.word().into(), json!(key));
        }
        object.insert("renewals".into(), json!(group.renewals));
        object.insert("failures".into(), json!(group.failures));
        for (word, class) in CLASSES {
            let amount = serde_json::to_value(group.amounts.of(class))?;
            object.insert(word.into(), amount);
        }
        let whole = serde_json::to_value(group.amounts.total())?;
        object.insert("total".into(), whole);
        object.insert("share".into(), json!(group.share(total)));
        object.insert("usage".into(), json!(group.usage));
        object.insert("rate".into(), json!(group.rate()));
        object.insert("unpriced".into(), json!(group.unpriced));
        Ok(Value::Object(object))
    }

    /// A row a group; totals are left out, so that columns can be added up.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut headings = vec!["period", "from", "to"];
        headings.extend(self.by.iter().map(|by| by.word()));
        headings.extend(["renewals", "failures"]);
        headings.extend(CLASSES.map(|(word, _)| word));
        headings.extend([
            "total", "currency", "share", "usage", "unit", "rate", "unpriced",
        ]);
        let rows = self.periods.iter().flat_map(|(span, found)| {
            found.groups.iter().map(move |group| {
                let mut row = vec![
                    span.label.clone(),
                    span.from.to_string(),
                    span.to.to_string(),
                ];
                row.extend(group.keys.iter().map(|key| key.clone().unwrap_or_default()));
                row.extend([group.renewals.to_string(), group.failures.to_string()]);
                row.extend(CLASSES.map(|(_, class)| plain(group.amounts.of(class))));
                row.extend([
                    plain(group.amounts.total()),
                    self.currency.code().to_owned(),
                    cell(group.share(&found.total)),
                    cell(group.usage),
                    self.usage.2.clone(),
                    cell(group.rate()),
                    group.unpriced.to_string(),
                ]);
                row
            })
        });
        csv_text(&headings, rows)
    }

    /// For reading: whole smallest units of the currency, which add up as they stand.
    pub fn text(&self) -> String {
        let several = self.periods.len() > 1 || self.every.is_some();
        let whole = self.whole.as_ref().or(self.periods.first().map(|(_, b)| b));
        let shown: Vec<(&str, CostClass)> = CLASSES
            .into_iter()
            .filter(|(_, class)| whole.is_some_and(|w| !w.total.amounts.of(*class).is_zero()))
            .collect();
        let rate = format!("per {}", self.usage.2);
        let mut headings = Vec::new();
        if several {
            headings.push(("period", Align::Left));
        }
        headings.extend(self.by.iter().map(|by| (by.word(), Align::Left)));
        headings.extend([("renewals", Align::Right), ("failures", Align::Right)]);
        headings.extend(shown.iter().map(|(word, _)| (*word, Align::Right)));
        headings.extend([
            ("total", Align::Right),
            ("share", Align::Right),
            ("usage", Align::Right),
            (rate.as_str(), Align::Right),
        ]);
        let mut table = Table::new(headings);
        let row = |label: &str, names: Vec<String>, group: &Group, total: &Group| {
            let mut row = Vec::new();
            if several {
                row.push(label.to_owned());
            }
            row.extend(names);
            row.extend([group.renewals, group.failures].map(|n| thousands(n as f64, 0)));
            row.extend(shown.iter().map(|(_, c)| self.money(group.amounts.of(*c))));
            row.extend([
                self.money(group.amounts.total()),
                group.share(total).map_or_else(|| "–".into(), percent),
                group
                    .usage
                    .map_or_else(|| "–".into(), |usage| thousands(usage, 0)),
                figure_or_dash(group.rate(), 4),
            ]);
            row
        };
        let total_names = || {
            let mut names = vec![String::new(); self.by.len()];
            if let Some(first) = names.first_mut() {
                *first = "total".into();
            }
            names
        };
        for (span, found) in &self.periods {
            for group in &found.groups {
                let names = self.by.iter().zip(&group.keys);
                let names = names.map(|(by, key)| key.clone().unwrap_or_else(|| none_of(*by)));
                table.row(row(&span.label, names.collect(), group, &found.total));
            }
            if !self.by.is_empty() && found.groups.len() != 1 || found.groups.is_empty() {
                table.row(row(&span.label, total_names(), &found.total, &found.total));
            }
        }
        if let Some(whole) = &self.whole {
            table.row(row("in all", total_names(), &whole.total, &whole.total));
        }
        let mut text = format!(
            "Cost in {} from {} to {}; usage is {} ({})\n\n",
            self.currency,
            self.span.from,
            self.span.to,
            self.usage.1.to_lowercase(),
            self.usage.2,
        );
        text.push_str(&table.text());
        if !self.notes.is_empty() {
            text.push('\n');
        }
        for note in &self.notes {
            text.push_str(&format!("note: {note}\n"));
        }
        text
    }

    fn money(&self, amount: Decimal) -> String {
        money(amount, self.currency)
    }
}

/// An exact amount without its currency: `1,234.50`.
pub(super) fn money(amount: Decimal, currency: Currency) -> String {
    let decimals = currency.decimals() as usize;
    group(&format!("{amount:.decimals$}"))
}

/// An exact amount as CSV has it.
pub(super) fn plain(amount: Decimal) -> String {
    amount.normalize().to_string()
}

/// What stands in a table for money that belongs to no such thing.
fn none_of(by: By) -> String {
    match by {
        By::Machine => "(the plant)",
        By::Component | By::Position => "(the machine as a whole)",
        By::Part => "(no part number)",
        By::Mode => "(no mode)",
        By::Kind => "(no kind)",
    }
    .to_owned()
}
