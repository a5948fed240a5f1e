//! `[plant]`: what holds for the plant as a whole.

use chrono_tz::Tz;
use rust_decimal::Decimal;

use super::fault::{FaultKind, Walk};
use super::parts::listed;
use super::types::Plant;
use crate::quantity::form_fault::FormFault;
use crate::quantity::walk::{Domain, Table};
use crate::quantity::{Currency, nearest};

const KEYS: &[&str] = &[
    "name",
    "currency",
    "time_zone",
    "labour_rate",
    "planning_grid",
    "crews",
    "service_level",
    "cautions",
];

/// Below a half a shelf is empty more often than not; above 0.999 the stock asked for hangs
/// on a tail that no record shows.
const SERVICE: std::ops::RangeInclusive<f64> = 0.5..=0.999;

/// Reads the table; what is not there or has a fault stays at a value nobody computes with.
pub(super) fn plant(walk: &mut Walk<'_>, top: &Table<'_, '_>) -> Plant {
    // What stands here is used only beside a fault, so never to compute with.
    let mut plant = Plant {
        name: String::new(),
        currency: Currency::none(),
        time_zone: Tz::UTC,
        labour_rate: Decimal::ZERO,
        planning_grid: None,
        crews: None,
        service_level: None,
        cautions: Vec::new(),
    };
    let Some(table) = top.table_if(walk, "plant", "[plant]", KEYS) else {
        return plant;
    };
    if let Some(name) = table.text(walk, "name") {
        plant.name = name.value;
    }
    if let Some(code) = table.text(walk, "currency") {
        match Currency::from_code(&code.value) {
            Some(currency) => plant.currency = currency,
            None => {
                let nearest = nearest(&code.value, Currency::codes()).map(str::to_owned);
                let value = code.value;
                walk.fault(code.span, FaultKind::UnknownCurrency { value, nearest });
            }
        }
    }
    if let Some(name) = table.text(walk, "time_zone") {
        match name.value.parse::<Tz>() {
            Ok(zone) => plant.time_zone = zone,
            Err(_) => {
                let zones = chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name());
                let nearest = nearest(&name.value, zones).map(str::to_owned);
                let value = name.value;
                walk.fault(name.span, FaultKind::UnknownZone { value, nearest });
            }
        }
    }
    plant.labour_rate = table.money(walk, "labour_rate").unwrap_or_default();
    plant.planning_grid = table
        .number_if(walk, "planning_grid", Domain::Positive)
        .map(|at| at.value);
    plant.crews = table.whole_if(walk, "crews", 1);
    plant.service_level = service_level(walk, &table);
    plant.cautions = listed(walk, &table, "cautions", "caution");
    plant
}

fn service_level(walk: &mut Walk<'_>, table: &Table<'_, '_>) -> Option<f64> {
    let key = "service_level";
    let level = table.number_if(walk, key, Domain::Finite)?;
    if SERVICE.contains(&level.value) {
        return Some(level.value);
    }
    let fault = FormFault::OutOfDomain {
        key: key.to_owned(),
        value: level.value.to_string(),
        domain: "from 0.5 to 0.999",
    };
    walk.fault(level.span, fault);
    None
}
