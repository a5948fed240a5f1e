//! Registers as tables, so that queries can join prices, rates and usages.
//!
//! In: [`Ledger`]s. Out: the tables of `catalogue::REGISTER_TABLES`, filled.
//! Never: reading files.

use std::collections::BTreeSet;
use std::path::PathBuf;

use duckdb::Connection;
use rust_decimal::Decimal;

use super::catalogue::{REGISTER_TABLES, Table};
use super::error::StoreError;
use crate::register::{CURRENCIES_DIFFER, FILE_NAME, Register, clash_troubles};

/// One ledger of the fleet.
#[derive(Debug, Clone)]
pub struct Ledger {
    /// The folder's name; with a number where two folders share one.
    pub name: String,
    pub folder: PathBuf,
    pub register: Register,
}

/// Ledgers read together must count money alike, and mean the same by a component's id.
pub(crate) fn agree(ledgers: &[Ledger], several_currencies: bool) -> Result<(), StoreError> {
    let registers: Vec<_> = ledgers
        .iter()
        .map(|ledger| (ledger.folder.join(FILE_NAME), &ledger.register))
        .collect();
    let mut clashes = clash_troubles(&registers);
    clashes.retain(|clash| !(several_currencies && clash.kind == CURRENCIES_DIFFER));
    if clashes.is_empty() {
        Ok(())
    } else {
        Err(StoreError::Clashes(clashes))
    }
}

/// Tags that stand in more than one ledger.
pub(crate) fn shared_tags(ledgers: &[Ledger]) -> BTreeSet<String> {
    let mut seen = BTreeSet::new();
    let mut shared = BTreeSet::new();
    for ledger in ledgers {
        for machine in &ledger.register.machines {
            if !seen.insert(machine.tag.clone()) {
                shared.insert(machine.tag.clone());
            }
        }
    }
    shared
}

/// How a machine is named over the fleet: its tag, or `ledger/tag` where the tag
/// stands in more than one ledger.
pub(crate) fn machine_name(ledger: &str, tag: &str, shared: &BTreeSet<String>) -> String {
    if shared.contains(tag) {
        format!("{ledger}/{tag}")
    } else {
        tag.to_owned()
    }
}

/// Makes and fills the register tables.
pub(crate) fn fill(
    conn: &Connection,
    ledgers: &[Ledger],
    shared: &BTreeSet<String>,
) -> Result<(), StoreError> {
    let mut batch = String::new();
    for table in REGISTER_TABLES {
        let columns: Vec<String> = table
            .columns
            .iter()
            .map(|(name, kind)| format!("\"{name}\" {kind}"))
            .collect();
        batch.push_str(&format!(
            "CREATE TABLE {} ({});\n",
            table.name,
            columns.join(", ")
        ));
    }
    for table in REGISTER_TABLES {
        let mut rows = Vec::new();
        for ledger in ledgers {
            rows_of(table, ledger, shared, &mut rows);
        }
        batch.push_str(&insert(table, &rows));
    }
    conn.execute_batch(&batch)
        .map_err(|error| StoreError::engine("fill the register tables", &error))
}

/// A value on its way into a table.
enum Cell {
    Text(String),
    Float(Option<f64>),
    Whole(Option<i64>),
    Truth(bool),
    Null,
}

impl Cell {
    /// As SQL writes it. Text is quoted, so that it is never taken for more than text.
    fn literal(&self) -> String {
        match self {
            Cell::Text(text) => format!("'{}'", text.replace('\'', "''")),
            // The shortest digits that read back to the same float.
            Cell::Float(Some(number)) => format!("{number:?}::DOUBLE"),
            Cell::Whole(Some(number)) => number.to_string(),
            Cell::Truth(truth) => truth.to_string(),
            Cell::Float(None) | Cell::Whole(None) | Cell::Null => "NULL".to_owned(),
        }
    }
}

/// Exact: DuckDB reads the digits as a decimal.
fn money(amount: Decimal) -> Cell {
    Cell::Text(amount.to_string())
}

/// Hours with four decimals, as the books count them.
fn hours(hours: f64) -> Cell {
    Cell::Text(format!("{hours:.4}"))
}

fn text(text: &str) -> Cell {
    Cell::Text(text.to_owned())
}

fn maybe(text: Option<&str>) -> Cell {
    text.map_or(Cell::Null, |text| Cell::Text(text.to_owned()))
}

/// One statement a table: the rows of a register are few, and a statement a row is slow.
fn insert(table: &Table, rows: &[Vec<Cell>]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let rows: Vec<String> = rows
        .iter()
        .map(|row| {
            let cells: Vec<String> = row.iter().map(Cell::literal).collect();
            format!("({})", cells.join(", "))
        })
        .collect();
    format!("INSERT INTO {} VALUES {};\n", table.name, rows.join(", "))
}

fn rows_of(table: &Table, ledger: &Ledger, shared: &BTreeSet<String>, rows: &mut Vec<Vec<Cell>>) {
    let register = &ledger.register;
    let name = || text(&ledger.name);
    let machine = |tag: &str| Cell::Text(machine_name(&ledger.name, tag, shared));
    match table.name {
        "ledgers" => rows.push(vec![
            name(),
            text(&register.plant.name),
            text(register.plant.currency.code()),
            Cell::Whole(Some(i64::from(register.plant.currency.decimals()))),
            text(register.plant.time_zone.name()),
            money(register.plant.labour_rate),
            Cell::Float(register.plant.planning_grid),
            Cell::Whole(register.plant.crews.map(i64::from)),
            Cell::Float(register.plant.service_level),
        ]),
        "meters" => rows.extend(register.usages.iter().map(|usage| {
            vec![
                name(),
                text(&usage.id),
                text(&usage.name),
                text(&usage.unit),
            ]
        })),
        "components" => rows.extend(register.components.iter().map(|c| {
            vec![
                name(),
                text(&c.id),
                text(&c.name),
                text(&c.usage),
                money(c.price),
                Cell::Whole(Some(i64::from(c.pieces))),
                hours(c.own_labour_h),
                hours(c.planned_stop_h),
                hours(c.failed_stop_h),
                money(c.failed_extra_cost),
                Cell::Truth(c.never_refit),
                Cell::Float(c.ceiling.as_ref().map(|ceiling| ceiling.value)),
                Cell::Float(c.present_interval),
            ]
        })),
        "modes" => rows.extend(register.components.iter().flat_map(|c| {
            c.modes
                .iter()
                .map(|mode| vec![name(), text(&c.id), text(mode)])
        })),
        "accesses" => rows.extend(
            register
                .accesses
                .iter()
                .map(|a| vec![name(), text(&a.id), text(&a.name), hours(a.labour_h)]),
        ),
        "machines" => rows.extend(register.machines.iter().map(|m| {
            vec![
                name(),
                machine(&m.tag),
                text(&m.tag),
                text(&m.name),
                text(&m.layout),
                Cell::Text(m.in_service.to_string()),
                money(m.downtime_cost),
            ]
        })),
        "machine_usage" => rows.extend(register.machines.iter().flat_map(|m| {
            m.usage_per_week.iter().map(|(meter, per_week)| {
                vec![
                    name(),
                    machine(&m.tag),
                    text(meter),
                    Cell::Float(Some(*per_week)),
                ]
            })
        })),
        "slots" => rows.extend(register.machines.iter().flat_map(|m| {
            register.slots(&m.tag).map(|slot| {
                vec![
                    name(),
                    machine(&m.tag),
                    text(slot.component),
                    text(slot.position),
                    maybe(slot.access),
                    Cell::Whole(Some(i64::from(slot.pieces))),
                ]
            })
        })),
        "parts" => rows.extend(register.parts.iter().map(|p| {
            vec![
                name(),
                text(&p.number),
                text(&p.component),
                p.price.map_or(Cell::Null, money),
                maybe(p.supplier.as_deref()),
                Cell::Whole(p.lead_time_days.map(i64::from)),
                Cell::Whole(p.stock.map(i64::from)),
            ]
        })),
        // A table without rows of its own would fail the query that reads it, not pass
        // silently: every query test joins them.
        _ => {}
    }
}
