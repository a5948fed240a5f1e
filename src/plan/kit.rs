//! Kits: the pieces a stop takes, what the shelf has of them, and when to order the rest.
//!
//! In: stops by date, the shelf. Out: [`KitLine`]s, [`Order`]s. Never: demand by failures (see
//! `policy::stock`): a kit serves planned work.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::Stop;

/// What is known of one part number.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OnShelf {
    /// Pieces; `None` where the register does not say.
    pub stock: Option<u32>,
    pub lead_time_days: Option<u32>,
    pub supplier: Option<String>,
}

/// Part numbers with what is known of them.
pub type Shelf = BTreeMap<String, OnShelf>;

/// One part number (or, where none is known, one component) of a stop's kit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KitLine {
    pub part: Option<String>,
    pub component: String,
    pub name: String,
    /// Where they go.
    pub positions: Vec<String>,
    pub pieces: u32,
    /// How many of them the shelf has, after all earlier stops; `None` where its stock is not
    /// stated.
    pub from_stock: Option<u32>,
}

impl KitLine {
    /// Pieces to be ordered for this stop; all where the stock is not stated.
    pub fn short(&self) -> u32 {
        self.pieces - self.from_stock.unwrap_or(0).min(self.pieces)
    }
}

/// Pieces to order for one stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    pub part: Option<String>,
    pub component: String,
    pub name: String,
    pub pieces: u32,
    pub machine: String,
    pub stop: NaiveDate,
    /// The lead time before the earliest day the stop may fall on; `None` without lead time.
    pub order_by: Option<NaiveDate>,
    /// Days by which that day has passed already; 0 where it has not.
    pub late_days: u32,
    pub lead_time_days: Option<u32>,
    pub supplier: Option<String>,
    /// That the shelf's stock is not stated, so that all pieces are counted.
    pub stock_unknown: bool,
}

/// A kit for each stop, in the order given (by date), all from one shelf.
pub fn draw(stops: &[&Stop], shelf: &Shelf) -> Vec<Vec<KitLine>> {
    let mut left: BTreeMap<&str, u32> = shelf
        .iter()
        .filter_map(|(part, known)| Some((part.as_str(), known.stock?)))
        .collect();
    stops
        .iter()
        .map(|stop| {
            let mut lines: Vec<KitLine> = Vec::new();
            for task in stop.renewals() {
                match lines.iter_mut().find(|line| {
                    line.part == task.part
                        && (line.part.is_some() || line.component == task.component)
                }) {
                    Some(line) => {
                        line.pieces += task.pieces;
                        line.positions.push(task.position.clone());
                    }
                    None => lines.push(KitLine {
                        part: task.part.clone(),
                        component: task.component.clone(),
                        name: task.name.clone(),
                        positions: vec![task.position.clone()],
                        pieces: task.pieces,
                        from_stock: None,
                    }),
                }
            }
            for line in &mut lines {
                let stock = line.part.as_deref().and_then(|part| left.get_mut(part));
                if let Some(stock) = stock {
                    let taken = line.pieces.min(*stock);
                    *stock -= taken;
                    line.from_stock = Some(taken);
                }
            }
            lines
        })
        .collect()
}

/// What is to be ordered for the stops, the most urgent first; without a lead time last.
pub fn orders(
    stops: &[&Stop],
    kits: &[Vec<KitLine>],
    shelf: &Shelf,
    as_of: NaiveDate,
) -> Vec<Order> {
    let mut orders = Vec::new();
    for (stop, kit) in stops.iter().zip(kits) {
        for line in kit.iter().filter(|line| line.short() > 0) {
            let known = line.part.as_ref().and_then(|part| shelf.get(part));
            let lead = known.and_then(|known| known.lead_time_days);
            let order_by =
                lead.and_then(|days| stop.earliest.checked_sub_days(Days::new(u64::from(days))));
            let late = order_by.map_or(0, |day| (as_of - day).num_days());
            orders.push(Order {
                part: line.part.clone(),
                component: line.component.clone(),
                name: line.name.clone(),
                pieces: line.short(),
                machine: stop.machine.clone(),
                stop: stop.date,
                order_by,
                late_days: u32::try_from(late).unwrap_or(0),
                lead_time_days: lead,
                supplier: known.and_then(|known| known.supplier.clone()),
                stock_unknown: line.from_stock.is_none(),
            });
        }
    }
    // The order of stops holds among those of one day.
    orders.sort_by_key(|order| (order.order_by.is_none(), order.order_by));
    orders
}
