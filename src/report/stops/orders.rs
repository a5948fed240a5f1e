//! What is to be ordered by which day, and pieces by part over the whole period.
//!
//! In: plans with their kits. Out: rows. Never: stock for failures (see `forecast --parts`).

use chrono::{Days, NaiveDate};

use super::facts::{StopsFacts, names};
use super::part::{OrderRow, PieceRow};
use crate::plan::Order;
use crate::report::words::{count, day};

/// Days ahead that are told one order at a time.
const SOON: u64 = 91;
/// Stops named in one row.
const STOPS: usize = 6;

/// Orders of one part on one day; all late ones of a part together.
struct Gathered<'a> {
    by: Option<NaiveDate>,
    late: bool,
    orders: Vec<&'a Order>,
}

/// What is to be ordered within 13 weeks, what is late first; and how many orders follow.
pub(super) fn soon(facts: &StopsFacts<'_>) -> (Vec<OrderRow>, usize) {
    let mut rows: Vec<Gathered<'_>> = Vec::new();
    let mut later = 0;
    for plan in facts.plans {
        let until = plan.plan.as_of.checked_add_days(Days::new(SOON));
        for order in &plan.plan.orders {
            if order.order_by > until.or(order.order_by) {
                later += 1;
                continue;
            }
            let late = order.late_days > 0;
            let alike = |row: &&mut Gathered<'_>| {
                let first = row.orders[0];
                first.part == order.part
                    && (first.part.is_some() || first.component == order.component)
                    && first.supplier == order.supplier
                    && row.late == late
                    && (late || row.by == order.order_by)
            };
            match rows.iter_mut().find(alike) {
                Some(row) => row.orders.push(order),
                None => rows.push(Gathered {
                    by: order.order_by,
                    late,
                    orders: vec![order],
                }),
            }
        }
    }
    // By day, which late ones begin; without a lead time last.
    rows.sort_by_key(|row| (!row.late, row.by.is_none(), row.by));
    (rows.iter().map(row).collect(), later)
}

fn row(found: &Gathered<'_>) -> OrderRow {
    let first = found.orders[0];
    let days = found.orders.iter().map(|order| order.late_days).max();
    let days = days.unwrap_or(0) as usize;
    let mut stops: Vec<String> = found
        .orders
        .iter()
        .take(STOPS)
        .map(|order| {
            let stop = format!("{} on {}", order.machine, day(order.stop));
            match found.orders.len() {
                1 => stop,
                _ => format!("{} for {stop}", order.pieces),
            }
        })
        .collect();
    if found.orders.len() > STOPS {
        stops.push(count(found.orders.len() - STOPS, "more stop", "more stops"));
    }
    OrderRow {
        when: match found.by {
            _ if found.late => format!("now: {} late", count(days, "day", "days")),
            Some(by) => format!("by {}", day(by)),
            None => "no lead time stated".to_owned(),
        },
        late: found.late,
        part: first.part.clone().unwrap_or_else(|| first.name.clone()),
        name: match first.part {
            Some(_) => first.name.clone(),
            None => String::new(),
        },
        pieces: found.orders.iter().map(|order| order.pieces).sum(),
        stops,
        supplier: first.supplier.clone(),
        lead: lead(first),
        stock_unknown: found.orders.iter().any(|order| order.stock_unknown),
    }
}

fn lead(order: &Order) -> Option<String> {
    let days = order.lead_time_days?;
    Some(count(days as usize, "day", "days"))
}

/// Pieces of the whole period by part number, in the order they are first wanted.
pub(super) fn pieces(facts: &StopsFacts<'_>) -> Vec<PieceRow> {
    let names = names(facts.plans);
    let mut rows: Vec<PieceRow> = Vec::new();
    for plan in facts.plans {
        for line in plan.plan.kits.iter().flatten() {
            let name = names
                .get(line.component.as_str())
                .map_or_else(|| line.name.clone(), |name| (*name).to_owned());
            let part = line.part.clone().unwrap_or_else(|| name.clone());
            let at = rows.iter().position(|row| row.part == part);
            let at = at.unwrap_or_else(|| {
                let order = plan.plan.orders.iter().find(|o| o.part == line.part);
                let order = order.filter(|o| o.part.is_some());
                rows.push(PieceRow {
                    name: line.part.as_ref().map(|_| name).unwrap_or_default(),
                    part,
                    supplier: order.and_then(|o| o.supplier.clone()),
                    lead: order.and_then(lead),
                    ..PieceRow::default()
                });
                rows.len() - 1
            });
            let row = &mut rows[at];
            row.needed += line.pieces;
            row.to_order += line.short();
            if let Some(taken) = line.from_stock {
                *row.from_stock.get_or_insert(0) += taken;
            }
        }
    }
    rows
}
