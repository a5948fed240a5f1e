//! What changed between two periods as text, JSON and CSV. Keys and columns are a contract.
//!
//! In: [`Row`]s. Out: text. Never: splitting a change, limits.
//!
//! JSON: `as_of`, `currency`, `unit`, `before` and `after` (`from`, `to`, `usage`), `confidence`,
//! `kinds`, a list of `kind`, `before` and `after` (`events`, `cost`, `rate`: events for each unit
//! of usage), `change`, `volume`, `rate`, `price` (parts of the change, exact), and the `total`
//! row; `failures`, a list of `machine` (null: all), `before` and `after` (`failures`, `usage`,
//! `rate`, `lower`, `upper`), `ratio`, `ratio_lower`, `ratio_upper`, `p`; `notes`.

use rust_decimal::Decimal;
use serde::Serialize;

use super::cost::{money, plain};
use super::table::{Align, Table, csv_text, figure, figure_or_dash, p_value};
use crate::cost::{Span, Spent, Split};
use crate::quantity::{Currency, counted, thousands};
use crate::recurrence::{RateLimits, RateRatio};

/// One kind of cost in both periods.
#[derive(Debug, Clone)]
pub struct KindRow {
    pub kind: &'static str,
    pub before: Spent,
    pub after: Spent,
    /// `None`: a period's usage is unknown.
    pub split: Option<Split>,
}

/// Failures of one machine, or of all, in both periods.
#[derive(Debug, Clone)]
pub struct FailureRow {
    /// `None`: all that were asked for.
    pub machine: Option<String>,
    pub before: (u64, f64, Option<RateLimits>),
    pub after: (u64, f64, Option<RateLimits>),
    pub ratio: Option<RateRatio>,
}

/// Two periods set against each other.
pub struct ChangeView {
    pub as_of: String,
    pub currency: Currency,
    /// Unit of usage.
    pub unit: String,
    pub before: Span,
    pub after: Span,
    pub usage: (Option<f64>, Option<f64>),
    pub confidence: f64,
    pub kinds: Vec<KindRow>,
    pub failures: Vec<FailureRow>,
    pub notes: Vec<String>,
}

#[derive(Serialize)]
struct PeriodJson {
    from: String,
    to: String,
    usage: Option<f64>,
}

#[derive(Serialize)]
struct SpentJson {
    events: u64,
    cost: Decimal,
    rate: Option<f64>,
}

#[derive(Serialize)]
struct KindJson {
    kind: &'static str,
    before: SpentJson,
    after: SpentJson,
    change: Decimal,
    volume: Option<Decimal>,
    rate: Option<Decimal>,
    price: Option<Decimal>,
}

#[derive(Serialize)]
struct RateJson {
    failures: u64,
    usage: f64,
    rate: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
}

#[derive(Serialize)]
struct FailureJson<'a> {
    machine: Option<&'a str>,
    before: RateJson,
    after: RateJson,
    ratio: Option<f64>,
    ratio_lower: Option<f64>,
    ratio_upper: Option<f64>,
    p: Option<f64>,
}

#[derive(Serialize)]
struct Whole<'a> {
    as_of: &'a str,
    currency: &'a str,
    unit: &'a str,
    before: PeriodJson,
    after: PeriodJson,
    confidence: f64,
    kinds: Vec<KindJson>,
    total: KindJson,
    failures: Vec<FailureJson<'a>>,
    notes: &'a [String],
}

impl ChangeView {
    /// All kinds together.
    pub fn total(&self) -> KindRow {
        let sum = |of: fn(&KindRow) -> Spent, usage: Option<f64>| Spent {
            usage: usage.unwrap_or(f64::NAN),
            events: self.kinds.iter().map(|row| of(row).events).sum(),
            money: self.kinds.iter().map(|row| of(row).money).sum(),
        };
        let mut whole = Some(Split::default());
        for row in &self.kinds {
            whole = whole.zip(row.split).map(|(mut whole, split)| {
                whole += split;
                whole
            });
        }
        KindRow {
            kind: "total",
            before: sum(|row| row.before, self.usage.0),
            after: sum(|row| row.after, self.usage.1),
            split: whole,
        }
    }

    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let period = |span: &Span, usage| PeriodJson {
            from: span.from.to_string(),
            to: span.to.to_string(),
            usage,
        };
        let rates = |(failures, usage, limits): (u64, f64, Option<RateLimits>)| RateJson {
            failures,
            usage,
            rate: limits.map(|l| l.estimate),
            lower: limits.map(|l| l.lower),
            upper: limits.map(|l| l.upper),
        };
        serde_json::to_string_pretty(&Whole {
            as_of: &self.as_of,
            currency: self.currency.code(),
            unit: &self.unit,
            before: period(&self.before, self.usage.0),
            after: period(&self.after, self.usage.1),
            confidence: self.confidence,
            kinds: self.kinds.iter().map(kind_json).collect(),
            total: kind_json(&self.total()),
            failures: self
                .failures
                .iter()
                .map(|row| FailureJson {
                    machine: row.machine.as_deref(),
                    before: rates(row.before),
                    after: rates(row.after),
                    ratio: row.ratio.and_then(|r| r.estimate),
                    ratio_lower: row.ratio.map(|r| r.lower),
                    ratio_upper: row.ratio.and_then(|r| r.upper),
                    p: row.ratio.map(|r| r.p),
                })
                .collect(),
            notes: &self.notes,
        })
    }

    /// A row a kind of cost; the failure rates are in JSON and the table.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let part = |part: Option<Decimal>| part.map_or_else(String::new, plain);
        csv_text(
            &[
                "kind",
                "events_before",
                "events_after",
                "cost_before",
                "cost_after",
                "currency",
                "change",
                "volume",
                "rate",
                "price",
            ],
            self.kinds.iter().map(|row| {
                vec![
                    row.kind.to_owned(),
                    row.before.events.to_string(),
                    row.after.events.to_string(),
                    plain(row.before.money),
                    plain(row.after.money),
                    self.currency.code().to_owned(),
                    plain(row.after.money - row.before.money),
                    part(row.split.map(|s| s.volume)),
                    part(row.split.map(|s| s.rate)),
                    part(row.split.map(|s| s.price)),
                ]
            }),
        )
    }

    /// For reading.
    pub fn text(&self) -> String {
        let ran = |usage: Option<f64>| match usage {
            Some(usage) => format!("{} {} run", thousands(usage, 0), self.unit),
            None => "usage not known".into(),
        };
        let mut text = format!(
            "Before: {} ({})\nafter:  {} ({}), in {}\n\n",
            self.before.label,
            ran(self.usage.0),
            self.after.label,
            ran(self.usage.1),
            self.currency
        );
        let mut table = Table::new([
            ("kind", Align::Left),
            ("events before", Align::Right),
            ("after", Align::Right),
            ("cost before", Align::Right),
            ("after", Align::Right),
            ("change", Align::Right),
            ("by usage", Align::Right),
            ("by how often", Align::Right),
            ("by price", Align::Right),
        ]);
        let total = self.total();
        for row in self.kinds.iter().chain([&total]) {
            let part = |part: Option<Decimal>| {
                part.map_or_else(|| "–".into(), |part| money(part, self.currency))
            };
            table.row([
                row.kind.to_owned(),
                thousands(row.before.events as f64, 0),
                thousands(row.after.events as f64, 0),
                money(row.before.money, self.currency),
                money(row.after.money, self.currency),
                money(row.after.money - row.before.money, self.currency),
                part(row.split.map(|s| s.volume)),
                part(row.split.map(|s| s.rate)),
                part(row.split.map(|s| s.price)),
            ]);
        }
        text.push_str(&table.text());
        text.push_str(&format!(
            "\nFailures for each 1,000 {}, with {:.0} % limits\n\n",
            self.unit,
            100.0 * self.confidence
        ));
        let mut table = Table::new([
            ("machine", Align::Left),
            ("failures before", Align::Right),
            ("after", Align::Right),
            ("rate before", Align::Right),
            ("limits", Align::Left),
            ("after", Align::Right),
            ("limits", Align::Left),
            ("ratio", Align::Right),
            ("limits", Align::Left),
            ("p", Align::Right),
        ]);
        let limits = |rate: Option<RateLimits>| match rate {
            Some(rate) => [
                figure(1e3 * rate.estimate, 3),
                format!(
                    "{} to {}",
                    figure(1e3 * rate.lower, 3),
                    figure(1e3 * rate.upper, 3)
                ),
            ],
            None => ["–".to_owned(), String::new()],
        };
        for row in &self.failures {
            let mut cells = vec![
                row.machine.clone().unwrap_or_else(|| "all".into()),
                thousands(row.before.0 as f64, 0),
                thousands(row.after.0 as f64, 0),
            ];
            cells.extend(limits(row.before.2));
            cells.extend(limits(row.after.2));
            match &row.ratio {
                Some(ratio) => cells.extend([
                    figure_or_dash(ratio.estimate, 3),
                    match ratio.upper {
                        Some(upper) => {
                            format!("{} to {}", figure(ratio.lower, 3), figure(upper, 3))
                        }
                        None => format!("from {}", figure(ratio.lower, 3)),
                    },
                    p_value(ratio.p),
                ]),
                None => cells.extend(["–".to_owned(), String::new(), "–".to_owned()]),
            }
            table.row(cells);
        }
        text.push_str(&table.text());
        if let Some(verdict) = self.failures.first().and_then(|row| self.verdict(row)) {
            text.push_str(&format!("\n{verdict}\n"));
        }
        text.push('\n');
        for note in &self.notes {
            text.push_str(&format!("note: {note}\n"));
        }
        text
    }

    /// What the comparison of all comes to, in a sentence.
    fn verdict(&self, row: &FailureRow) -> Option<String> {
        let ratio = row.ratio?;
        let all = counted(row.before.0 + row.after.0, "failure", "failures");
        Some(if ratio.lower > 1.0 {
            "failures came more often than before, beyond what chance makes of it".to_owned()
        } else if ratio.upper.is_some_and(|upper| upper < 1.0) {
            "failures came less often than before, beyond what chance makes of it".to_owned()
        } else {
            format!("{all} do not tell a change from chance")
        })
    }
}

fn kind_json(row: &KindRow) -> KindJson {
    let spent = |spent: Spent| SpentJson {
        events: spent.events,
        cost: spent.money,
        rate: (spent.usage > 0.0).then(|| spent.events as f64 / spent.usage),
    };
    KindJson {
        kind: row.kind,
        before: spent(row.before),
        after: spent(row.after),
        change: row.after.money - row.before.money,
        volume: row.split.map(|s| s.volume),
        rate: row.split.map(|s| s.rate),
        price: row.split.map(|s| s.price),
    }
}
