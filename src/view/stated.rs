//! The best interval for a stated life as JSON, CSV and text. The JSON keys are a contract.
//!
//! In: an [`AgePolicy`] or a [`MinimalRepair`]. Out: text. Never: statistics.

use serde::Serialize;

use super::interval::NearView;
use super::table::{cell, csv_text, figure, percent};
use crate::policy::age::{AgePolicy, NEAR};
use crate::policy::minimal::MinimalRepair;

/// The best interval for a stated life.
#[derive(Debug, Clone, Serialize)]
pub struct PolicyView {
    pub policy: &'static str,
    pub verdict: &'static str,
    pub interval: Option<f64>,
    pub cost_rate: f64,
    /// Null where items that are only ever repaired cost without end.
    pub run_to_failure_cost_rate: Option<f64>,
    pub saving: Option<f64>,
    pub near_optimal: Option<NearView>,
    pub mean_life: f64,
    /// Repairs to expect in an interval; null unless failures are mended.
    pub repairs: Option<f64>,
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
            run_to_failure_cost_rate: Some(found.run_to_failure_cost_rate),
            saving: Some(found.saving),
            near_optimal: found.near.map(NearView::new),
            mean_life: found.mean_life,
            repairs: None,
        }
    }

    /// Failures mended in between.
    pub fn repaired(policy: &'static str, found: &MinimalRepair, mean_life: f64) -> Self {
        let never = found.interval.is_none();
        PolicyView {
            policy,
            verdict: if never { "run to failure" } else { "renew" },
            interval: found.interval,
            cost_rate: found.cost_rate,
            run_to_failure_cost_rate: never.then_some(found.cost_rate),
            saving: never.then_some(0.0),
            near_optimal: found.near.map(|(from, to)| NearView::new((from, Some(to)))),
            mean_life,
            repairs: found.repairs,
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
            "repairs",
        ];
        let row = vec![
            self.policy.into(),
            self.verdict.into(),
            cell(self.interval),
            self.cost_rate.to_string(),
            cell(self.run_to_failure_cost_rate),
            cell(self.saving),
            cell(self.near_optimal.map(|n| n.from)),
            cell(self.near_optimal.and_then(|n| n.to)),
            NEAR.to_string(),
            self.mean_life.to_string(),
            cell(self.repairs),
        ];
        csv_text(&headings, [row])
    }

    pub fn table(&self) -> String {
        let mends = self.policy == "minimal-repair";
        let mut lines = vec![match self.interval {
            Some(every) if mends => format!(
                "replace every {} units of usage, mend failures in between ({} to expect)",
                figure(every, 4),
                figure(self.repairs.unwrap_or(0.0), 3),
            ),
            Some(every) if self.policy == "block" => format!(
                "renew all every {} units of usage, and at each failure",
                figure(every, 4)
            ),
            Some(interval) => format!("renew at {} units of usage", figure(interval, 4)),
            None if mends => {
                "never replace, only mend: failures do not come faster with age".into()
            }
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
        let rate = format!(
            "{noun} per 1,000 units: {}",
            figure(1_000.0 * self.cost_rate, 4)
        );
        lines.push(match (self.run_to_failure_cost_rate, self.saving) {
            (Some(forever), Some(saving)) if !mends => format!(
                "{rate} (run to failure {}; saving {})",
                figure(1_000.0 * forever, 4),
                percent(saving),
            ),
            _ => rate,
        });
        lines.push(format!("mean life: {}", figure(self.mean_life, 4)));
        lines.join("\n") + "\n"
    }
}
