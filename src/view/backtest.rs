//! Forecasts of the past beside what came, as JSON, CSV and tables. The JSON keys are a contract.
//!
//! In: forecasts with outcomes. Out: text. Never: statistics beyond sums and means of rows.

use chrono::NaiveDate;
use serde::Serialize;

use super::table::{Align, Table, cell, csv_text, figure, figure_or_dash, percent};
use crate::policy::calibration::Outcome;

/// One component in one period. Usage in `unit`, costs in the plant's currency.
#[derive(Debug, Clone, Serialize)]
pub struct PeriodView {
    pub component: String,
    /// First and last day.
    pub from: String,
    pub to: String,
    /// Run by all its slots together.
    pub usage: f64,
    pub unit: String,
    /// Failures forecast, with limits.
    pub expected: f64,
    pub lower: usize,
    pub upper: usize,
    /// Failures that came.
    pub came: usize,
    pub inside: bool,
    /// Chance that the forecast itself gave its limits.
    pub promised: f64,
    /// Ranked probability score; less is better.
    pub score: f64,
    /// The same by a constant rate.
    pub rival_expected: f64,
    pub rival_score: f64,
    pub planned_expected: f64,
    pub planned_came: usize,
    /// Renewed along with something else, which no forecast counts.
    pub along_came: usize,
    /// Failures and planned renewals.
    pub cost_expected: f64,
    /// As booked; null where a job has no cost.
    pub cost_came: Option<f64>,
}

/// A row with its forecast in full.
#[derive(Debug, Clone)]
pub struct Tested {
    pub period: PeriodView,
    pub outcome: Outcome,
}

/// What the recommended intervals would have made of the lives that ended.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct JudgedView {
    pub lives: usize,
    /// There was no interval to follow.
    pub without_interval: usize,
    /// Known what would have become of them.
    pub known: usize,
    /// Taken out sound before the interval: not known.
    pub cut_before: usize,
    /// Failed somewhere around the interval: not known.
    pub failed_around: usize,
    /// Cost per 1,000 units of usage over the known.
    pub as_done_per_1000: Option<f64>,
    pub as_recommended_per_1000: Option<f64>,
}

/// A component over all periods.
#[derive(Debug, Clone, Serialize)]
pub struct ComponentView {
    /// Null for all together.
    pub component: Option<String>,
    pub periods: usize,
    pub expected: f64,
    pub came: usize,
    /// Share of the periods inside their limits.
    pub inside: f64,
    /// Share that the forecasts themselves gave their limits.
    pub promised: f64,
    /// Mean scores.
    pub score: f64,
    pub rival_score: f64,
    pub planned_expected: f64,
    pub planned_came: usize,
    pub along_came: usize,
    pub cost_expected: f64,
    pub cost_came: Option<f64>,
    pub recommended: Option<JudgedView>,
}

/// The whole walk.
#[derive(Debug, Clone, Serialize)]
pub struct BacktestView {
    pub every: &'static str,
    /// First and last day forecast.
    pub from: Option<String>,
    pub to: Option<String>,
    pub confidence: f64,
    pub currency: String,
    /// The last is all together.
    pub components: Vec<ComponentView>,
    /// Share of the forecasts in equal classes of the probability below what came.
    pub calibration: Vec<f64>,
    pub periods: Vec<PeriodView>,
}

fn summed(
    component: Option<String>,
    rows: &[&PeriodView],
    recommended: Option<JudgedView>,
) -> ComponentView {
    let count = rows.len().max(1) as f64;
    let sum = |of: fn(&PeriodView) -> f64| rows.iter().map(|r| of(r)).sum::<f64>();
    ComponentView {
        component,
        periods: rows.len(),
        expected: sum(|r| r.expected),
        came: rows.iter().map(|r| r.came).sum(),
        inside: sum(|r| f64::from(u8::from(r.inside))) / count,
        promised: sum(|r| r.promised) / count,
        score: sum(|r| r.score) / count,
        rival_score: sum(|r| r.rival_score) / count,
        planned_expected: sum(|r| r.planned_expected),
        planned_came: rows.iter().map(|r| r.planned_came).sum(),
        along_came: rows.iter().map(|r| r.along_came).sum(),
        cost_expected: sum(|r| r.cost_expected),
        cost_came: rows.iter().map(|r| r.cost_came).sum(),
        recommended,
    }
}

impl BacktestView {
    pub fn new(
        tested: Vec<Tested>,
        judged: Vec<(String, JudgedView)>,
        calibration: Vec<f64>,
        every: &'static str,
        confidence: f64,
        days: Option<(NaiveDate, NaiveDate)>,
        currency: String,
    ) -> Self {
        let periods: Vec<PeriodView> = tested.into_iter().map(|t| t.period).collect();
        // In the register's order, as every period's rows are.
        let names: Vec<&String> = judged.iter().map(|(name, _)| name).collect();
        let mut components: Vec<ComponentView> = names
            .iter()
            .enumerate()
            .map(|(n, name)| {
                let own: Vec<&PeriodView> =
                    periods.iter().filter(|r| r.component == **name).collect();
                summed(Some((*name).clone()), &own, Some(judged[n].1))
            })
            .filter(|c| c.periods > 0)
            .collect();
        components.push(summed(None, &periods.iter().collect::<Vec<_>>(), None));
        let first = days.and_then(|(known, _)| known.succ_opt());
        BacktestView {
            every,
            from: first.map(|day| day.to_string()),
            to: days.map(|(_, last)| last.to_string()),
            confidence,
            currency,
            components,
            calibration,
            periods,
        }
    }

    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "component",
            "from",
            "to",
            "usage",
            "unit",
            "expected",
            "lower",
            "upper",
            "came",
            "inside",
            "promised",
            "score",
            "rival_expected",
            "rival_score",
            "planned_expected",
            "planned_came",
            "along_came",
            "cost_expected",
            "cost_came",
        ];
        let rows = self.periods.iter().map(|r| {
            vec![
                r.component.clone(),
                r.from.clone(),
                r.to.clone(),
                r.usage.to_string(),
                r.unit.clone(),
                r.expected.to_string(),
                r.lower.to_string(),
                r.upper.to_string(),
                r.came.to_string(),
                r.inside.to_string(),
                r.promised.to_string(),
                r.score.to_string(),
                r.rival_expected.to_string(),
                r.rival_score.to_string(),
                r.planned_expected.to_string(),
                r.planned_came.to_string(),
                r.along_came.to_string(),
                r.cost_expected.to_string(),
                cell(r.cost_came),
            ]
        });
        csv_text(&headings, rows)
    }

    pub fn table(&self) -> String {
        let mut text = format!(
            "every {} from {} to {}, each forecast from what was known when it began, for the \
             usage that was then run\n\n",
            self.every,
            self.from.as_deref().unwrap_or("–"),
            self.to.as_deref().unwrap_or("–"),
        );
        self.counts(&mut text);
        text.push_str(&format!(
            "\nInside: share of the {}s whose failures lay within the {} limits; promised: what the \
             forecasts themselves\ngave those limits, which is more than {} as failures are whole. \
             Score: mean ranked probability score, less is\nbetter; beside it that of a constant \
             rate from the failures and the usage so far. Failures found\nat an inspection count when \
             found, and so come in bunches: where they are many, fewer lie inside than promised.\n\n",
            self.every,
            percent(self.confidence),
            percent(self.confidence),
        ));
        self.costs(&mut text);
        text.push_str(
            "\nForecast cost: failures and planned renewals, at what they cost by then. Renewed \
             along with something else is\nin neither cost. The forecasts take the present intervals \
             of the register for all times.\n\n",
        );
        self.recommended(&mut text);
        text
    }

    fn counts(&self, text: &mut String) {
        let plural = format!("{}s", self.every);
        let mut table = Table::new([
            ("component", Align::Left),
            (plural.as_str(), Align::Right),
            ("failures forecast", Align::Right),
            ("came", Align::Right),
            ("inside", Align::Right),
            ("promised", Align::Right),
            ("score", Align::Right),
            ("constant rate", Align::Right),
        ]);
        for row in &self.components {
            table.row([
                row.component.clone().unwrap_or_else(|| "all".into()),
                row.periods.to_string(),
                figure(row.expected, 3),
                row.came.to_string(),
                percent(row.inside),
                percent(row.promised),
                figure(row.score, 3),
                figure(row.rival_score, 3),
            ]);
        }
        text.push_str(&table.text());
    }

    fn costs(&self, text: &mut String) {
        let money = format!("cost forecast, {}", self.currency);
        let mut table = Table::new([
            ("component", Align::Left),
            ("planned forecast", Align::Right),
            ("came", Align::Right),
            ("along", Align::Right),
            (money.as_str(), Align::Right),
            ("booked", Align::Right),
        ]);
        for row in &self.components {
            table.row([
                row.component.clone().unwrap_or_else(|| "all".into()),
                figure(row.planned_expected, 3),
                row.planned_came.to_string(),
                row.along_came.to_string(),
                figure(row.cost_expected, 4),
                figure_or_dash(row.cost_came, 4),
            ]);
        }
        text.push_str(&table.text());
    }

    fn recommended(&self, text: &mut String) {
        let mut table = Table::new([
            ("component", Align::Left),
            ("lives ended", Align::Right),
            ("no interval then", Align::Right),
            ("cut before it", Align::Right),
            ("failed around it", Align::Right),
            ("known", Align::Right),
            ("as done", Align::Right),
            ("as recommended", Align::Right),
        ]);
        for row in &self.components {
            let Some(judged) = row.recommended.filter(|j| j.lives > j.without_interval) else {
                continue;
            };
            table.row([
                row.component.clone().unwrap_or_default(),
                judged.lives.to_string(),
                judged.without_interval.to_string(),
                judged.cut_before.to_string(),
                judged.failed_around.to_string(),
                judged.known.to_string(),
                figure_or_dash(judged.as_done_per_1000, 3),
                figure_or_dash(judged.as_recommended_per_1000, 3),
            ]);
        }
        if table.is_empty() {
            text.push_str(
                "No interval was recommended at any of these times, so that none can be tried.\n",
            );
            return;
        }
        text.push_str(&format!(
            "what the intervals recommended at each time would have cost, {} per 1,000 of usage\n\n",
            self.currency
        ));
        text.push_str(&table.text());
        text.push_str(
            "\nOnly lives that are known to have reached the interval, or failed before it, can be \
             judged. An item taken out\nsound before it might have failed before it or not: nobody \
             knows, and it is left out. Where many are left out\nthe two rates compare the rest \
             only, among which failures are over-represented.\n",
        );
    }
}
