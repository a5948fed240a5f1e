//! Words of the work sheet: limits, ages, quantities.

use crate::quantity::thousands;
use crate::register::Measurement;
use crate::wear::LimitRule;

/// A limit as a technician reads it.
pub(super) fn limit(measurement: &Measurement) -> String {
    let unit = measurement.unit.symbol();
    let what = spaced(&measurement.quantity);
    let place = match &measurement.zone {
        Some(zone) => format!(" ({zone})"),
        None => String::new(),
    };
    let rule = match measurement.limit {
        LimitRule::AtMost { limit } => format!("at most {limit} {unit}"),
        LimitRule::AtLeast { limit } => format!("at least {limit} {unit}"),
        LimitRule::LossFromNewAtMost { limit } => {
            format!("at most {limit} {unit} less than when new")
        }
        LimitRule::PerMetreAtMost { limit } => {
            format!("at most {limit} {unit} per metre of the span it is taken over")
        }
        LimitRule::Paired { limit, small } => {
            let beyond = limit.map_or_else(String::new, |limit| {
                format!("at most {limit} {unit} where it works; beyond that, ")
            });
            format!(
                "{beyond}taken {} and {}: no more than {small} {unit} apart, this part is worn; \
                 further apart, the one it runs on",
                LimitRule::WORKING,
                LimitRule::UNWORN
            )
        }
    };
    format!("{what}{place} {rule}")
}

/// "free-length" as words.
pub(super) fn spaced(id: &str) -> String {
    id.replace(['-', '_'], " ")
}

/// A usage with its unit: whole from 100 on, else with one decimal.
pub fn usage(value: f64, unit: &str) -> String {
    let decimals = usize::from(value.abs() < 100.0 && value.fract() != 0.0);
    format!("{} {unit}", thousands(value, decimals))
        .trim_end()
        .to_owned()
}
