//! The best interval for a stated life as JSON, CSV and text. The JSON keys are a contract.
//!
//! In: an [`AgePolicy`]. Out: text. Never: statistics.

use serde::Serialize;

use super::interval::NearView;
use super::table::{cell, csv_text, figure, percent};
use crate::policy::age::{AgePolicy, NEAR};

/// The best interval for a stated life.
#[derive(Debug, Clone, Serialize)]
pub struct PolicyView {
    pub policy: &'static str,
    pub verdict: &'static str,
    pub interval: Option<f64>,
    pub cost_rate: f64,
    pub run_to_failure_cost_rate: f64,
    pub saving: f64,
    pub near_optimal: Option<NearView>,
    pub mean_life: f64,
}

impl PolicyView {
    pub fn new(policy: &'static str, found: &AgePolicy) -> Self {
        PolicyView {
            policy,
            verdict: if found.interval.is_some() {
                "renew"
            } else {
                "run to failure"
            },
            interval: found.interval,
            cost_rate: found.cost_rate,
            run_to_failure_cost_rate: found.run_to_failure_cost_rate,
            saving: found.saving,
            near_optimal: found.near.map(NearView::new),
            mean_life: found.mean_life,
        }
    }

    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "policy",
            "verdict",
            "interval",
            "cost_rate",
            "run_to_failure_cost_rate",
            "saving",
            "near_optimal_from",
            "near_optimal_to",
            "near_optimal_within",
            "mean_life",
        ];
        let row = vec![
            self.policy.into(),
            self.verdict.into(),
            cell(self.interval),
            self.cost_rate.to_string(),
            self.run_to_failure_cost_rate.to_string(),
            self.saving.to_string(),
            cell(self.near_optimal.map(|n| n.from)),
            cell(self.near_optimal.and_then(|n| n.to)),
            NEAR.to_string(),
            self.mean_life.to_string(),
        ];
        csv_text(&headings, [row])
    }

    pub fn table(&self) -> String {
        let mut lines = vec![match self.interval {
            Some(interval) => format!("renew at {} units of usage", figure(interval, 4)),
            None => "run to failure: no planned interval costs less".into(),
        }];
        if let Some(near) = self.near_optimal {
            let to = near.to.map_or("no end".into(), |to| figure(to, 4));
            lines.push(format!(
                "within {} of the least cost: {} to {to}",
                percent(near.within),
                figure(near.from, 4),
            ));
        }
        let noun = if self.policy == "downtime" {
            "hours out of service"
        } else {
            "cost"
        };
        lines.push(format!(
            "{noun} per 1,000 units: {} (run to failure {}; saving {})",
            figure(1_000.0 * self.cost_rate, 4),
            figure(1_000.0 * self.run_to_failure_cost_rate, 4),
            percent(self.saving),
        ));
        lines.push(format!("mean life: {}", figure(self.mean_life, 4)));
        lines.join("\n") + "\n"
    }
}
