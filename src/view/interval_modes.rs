//! What failure modes have to do with an interval: their roles, and notes on them.
//!
//! In: [`ModeRole`]s. Out: [`ModeRoleView`]s for JSON, and sentences. Never: statistics.

use serde::Serialize;

use super::table::{figure, usage};
use crate::policy::modes::ModeRole;
use crate::quantity::thousands;

/// What a failure mode has to do with the interval.
#[derive(Debug, Clone, Serialize)]
pub struct ModeRoleView {
    /// Null for failures whose mode was not stated.
    pub mode: Option<String>,
    pub failures: u64,
    /// Null where the mode has no fit of its own.
    pub shape: Option<f64>,
    /// Failures per 1,000 of usage at the interval; null without one.
    pub failures_per_1000_renewed: Option<f64>,
    pub failures_per_1000_run_to_failure: Option<f64>,
    /// True for the mode whose failures the interval lowers most.
    pub drives: bool,
}

impl From<&ModeRole> for ModeRoleView {
    fn from(role: &ModeRole) -> Self {
        ModeRoleView {
            mode: role.mode.clone(),
            failures: role.failures,
            shape: role.life.map(|life| life.shape),
            failures_per_1000_renewed: role.rates.map(|r| 1_000.0 * r.0),
            failures_per_1000_run_to_failure: role.rates.map(|r| 1_000.0 * r.1),
            drives: role.drives,
        }
    }
}

/// What is worth saying of the modes: which drives the interval, and which renewal cannot help.
pub fn mode_notes(roles: &[ModeRole], interval: Option<f64>, unit: &str) -> Vec<String> {
    let name = |role: &ModeRole| {
        role.mode
            .clone()
            .unwrap_or_else(|| "mode not stated".into())
    };
    let per = format!("per {} {unit}", thousands(1000.0, 0))
        .trim_end()
        .to_owned();
    let mut notes = Vec::new();
    let several = roles.len() > 1;
    if let (Some(at), Some(role), true) = (interval, roles.iter().find(|role| role.drives), several)
        && let Some((renewed, run)) = role.rates
    {
        notes.push(format!(
            "{} drives the interval: renewing at {} takes its failures from {} to {} {per}",
            name(role),
            format!("{} {unit}", usage(at)).trim_end(),
            figure(1_000.0 * run, 2),
            if renewed < 1e-3 * run {
                "next to none".into()
            } else {
                figure(1_000.0 * renewed, 2)
            },
        ));
    }
    for role in roles.iter().filter(|role| role.beyond_renewal()) {
        let shape = role.life.map_or(0.0, |life| life.shape);
        let limits = match (role.shape_limits.lower, role.shape_limits.upper) {
            (Some(lower), Some(upper)) => {
                format!(", {} to {}", figure(lower, 2), figure(upper, 2))
            }
            _ => String::new(),
        };
        notes.push(format!(
            "planned renewal does nothing for {}: its failures ({}) do not come with wear (shape \
             {}{limits})",
            name(role),
            role.failures,
            figure(shape, 2),
        ));
    }
    notes
}
