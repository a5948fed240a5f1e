//! How the cost of one job was shared, as text, JSON and CSV. Keys and columns are a contract.
//!
//! In: [`Explained`] jobs. Out: text. Never: sharing.
//!
//! JSON: `jobs`, a list of `job`, `machine`, `kind`, `start`, `stop`, `labour_h`, `labour_rate`,
//! `labour`, `downtime_h`, `downtime_cost`, `downtime`, `extra`, `parts`, `expense`, `total`,
//! `currency`, `rule`, `lines`; a line has `component`, `position`, `part`, `cause`, `class`,
//! `amount`, `why`. Money is exact; unknown is null.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use serde::Serialize;

use super::cost::{money, plain};
use super::table::{Align, Table, csv_text};
use crate::quantity::Currency;
use crate::quantity::time::{format_utc, show};

/// One job's money. Hours are hours.
#[derive(Debug, Clone)]
pub struct Explained {
    pub job: String,
    pub machine: Option<String>,
    /// `corrective`, `preventive`; `None`: no line tells of the job itself.
    pub kind: Option<&'static str>,
    pub start: Option<DateTime<Utc>>,
    pub stop: Option<DateTime<Utc>>,
    pub labour_h: Option<Decimal>,
    pub labour_rate: Option<Decimal>,
    pub downtime_h: Option<Decimal>,
    pub downtime_cost: Option<Decimal>,
    pub lines: Vec<Line>,
    pub rule: String,
    pub currency: Currency,
    pub zone: Tz,
}

/// One amount and why it stands where it does.
#[derive(Debug, Clone, Serialize)]
pub struct Line {
    pub component: Option<String>,
    pub position: Option<String>,
    pub part: Option<String>,
    /// `failed`, `planned`, `along`; null: no renewal.
    pub cause: Option<&'static str>,
    pub class: &'static str,
    /// Null: no price is known.
    pub amount: Option<Decimal>,
    pub why: String,
}

/// The jobs of that name: one, or one of each machine or ledger that has it.
#[derive(Debug, Clone)]
pub struct ExplainView(pub Vec<Explained>);

impl Explained {
    fn sum(&self, class: Option<&str>) -> Decimal {
        let lines = self.lines.iter();
        lines
            .filter(|line| class.is_none_or(|class| line.class == class))
            .filter_map(|line| line.amount)
            .sum()
    }
}

impl ExplainView {
    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        #[derive(Serialize)]
        struct Job<'a> {
            job: &'a str,
            machine: Option<&'a str>,
            kind: Option<&'static str>,
            start: Option<String>,
            stop: Option<String>,
            labour_h: Option<Decimal>,
            labour_rate: Option<Decimal>,
            labour: Decimal,
            downtime_h: Option<Decimal>,
            downtime_cost: Option<Decimal>,
            downtime: Decimal,
            extra: Decimal,
            parts: Decimal,
            expense: Decimal,
            total: Decimal,
            currency: &'a str,
            rule: &'a str,
            lines: &'a [Line],
        }
        #[derive(Serialize)]
        struct Jobs<'a> {
            jobs: Vec<Job<'a>>,
        }
        let jobs = self.0.iter().map(|job| Job {
            job: &job.job,
            machine: job.machine.as_deref(),
            kind: job.kind,
            start: job.start.map(format_utc),
            stop: job.stop.map(format_utc),
            labour_h: job.labour_h,
            labour_rate: job.labour_rate,
            labour: job.sum(Some("labour")),
            downtime_h: job.downtime_h,
            downtime_cost: job.downtime_cost,
            downtime: job.sum(Some("downtime")),
            extra: job.sum(Some("extra")),
            parts: job.sum(Some("parts")),
            expense: job.sum(Some("expense")),
            total: job.sum(None),
            currency: job.currency.code(),
            rule: &job.rule,
            lines: &job.lines,
        });
        serde_json::to_string_pretty(&Jobs {
            jobs: jobs.collect(),
        })
    }

    /// A row an amount.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        csv_text(
            &[
                "job",
                "machine",
                "kind",
                "component",
                "position",
                "part",
                "cause",
                "class",
                "amount",
                "currency",
                "why",
            ],
            self.0.iter().flat_map(|job| {
                job.lines.iter().map(move |line| {
                    vec![
                        job.job.clone(),
                        text(&job.machine),
                        job.kind.unwrap_or_default().to_owned(),
                        text(&line.component),
                        text(&line.position),
                        text(&line.part),
                        line.cause.unwrap_or_default().to_owned(),
                        line.class.to_owned(),
                        line.amount.map_or_else(String::new, plain),
                        job.currency.code().to_owned(),
                        line.why.clone(),
                    ]
                })
            }),
        )
    }

    /// For reading.
    pub fn text(&self) -> String {
        let jobs: Vec<String> = self.0.iter().map(|job| job.text()).collect();
        jobs.join("\n")
    }
}

impl Explained {
    fn text(&self) -> String {
        let mut text = format!("Job {}", self.job);
        if let Some(machine) = &self.machine {
            text.push_str(&format!(" on {machine}"));
        }
        if let Some(kind) = self.kind {
            text.push_str(&format!(", {kind}"));
        }
        if let Some(start) = self.start {
            text.push_str(&format!(", {}", show(start, self.zone)));
        }
        if let Some(stop) = self.stop {
            text.push_str(&format!(" to {}", show(stop, self.zone)));
        }
        text.push_str("\n\n");
        let worked = |hours: Option<Decimal>, rate: Option<Decimal>| match (hours, rate) {
            (Some(hours), Some(rate)) => {
                format!(" = {} h at {}", hours.normalize(), self.show(rate))
            }
            (Some(hours), None) => {
                format!(" = {} h at a price that is not known", hours.normalize())
            }
            (None, _) => " (no hours stated)".to_owned(),
        };
        for (word, note) in [
            ("labour", worked(self.labour_h, self.labour_rate)),
            ("downtime", worked(self.downtime_h, self.downtime_cost)),
            ("extra", String::new()),
            ("parts", String::new()),
            ("expense", String::new()),
        ] {
            let sum = self.sum(Some(word));
            let told = match word {
                "labour" | "downtime" => self.kind.is_some(),
                _ => !sum.is_zero(),
            };
            if told {
                text.push_str(&format!("  {word:<9} {}{note}\n", self.show(sum)));
            }
        }
        text.push_str(&format!(
            "  {:<9} {}\n\n",
            "total",
            self.show(self.sum(None))
        ));
        let mut table = Table::new([
            ("for", Align::Left),
            ("part", Align::Left),
            ("renewed as", Align::Left),
            ("what", Align::Left),
            ("amount", Align::Right),
            ("why", Align::Left),
        ]);
        for line in &self.lines {
            let name = match (&line.component, &line.position) {
                (Some(component), Some(position)) => format!("{component} {position}"),
                (Some(component), None) => component.clone(),
                _ => "the machine".into(),
            };
            table.row([
                name,
                line.part.clone().unwrap_or_default(),
                line.cause.unwrap_or_default().to_owned(),
                line.class.to_owned(),
                line.amount
                    .map_or_else(|| "–".into(), |amount| money(amount, self.currency)),
                line.why.clone(),
            ]);
        }
        text.push_str(&table.text());
        text.push_str(&format!("\nrule: {}\n", self.rule));
        text
    }

    fn show(&self, amount: Decimal) -> String {
        self.currency.show(amount)
    }
}
