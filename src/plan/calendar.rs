//! The plan as a calendar file: a day an event, for stops and for orders.
//!
//! In: a plan, words for each event. Out: text by RFC 5545. Never: a reminder or a time of
//! day of its own making.
//!
//! The same plan gives the same bytes: events are named by what they are about and stamped
//! with the moment the plan was made for, not with the clock.

use chrono::{DateTime, NaiveDate, Utc};
use icalendar::{Calendar, Component, Event, EventLike};

use super::{Order, Plan, Stop};

/// Words for the events: a line for the title, and the text within.
pub struct Words<'a> {
    pub plant: &'a str,
    pub stop: &'a dyn Fn(&Stop, usize) -> (String, String),
    pub order: &'a dyn Fn(&Order) -> (String, String),
}

/// The whole plan. `words.stop` is given each stop with its place in [`Plan::stops`].
pub fn calendar(plan: &Plan, stamp: DateTime<Utc>, words: &Words<'_>) -> String {
    let mut calendar = Calendar::new();
    calendar.name(words.plant);
    for (n, stop) in plan.stops().into_iter().enumerate() {
        let (title, text) = (words.stop)(stop, n);
        let name = format!("stop-{}-{}", stop.machine, stop.date);
        calendar.push(event(&name, words.plant, stop.date, stamp, &title, &text));
    }
    for order in &plan.orders {
        let Some(day) = order.order_by else {
            continue;
        };
        let (title, text) = (words.order)(order);
        let what = order.part.as_ref().unwrap_or(&order.component);
        let name = format!("order-{what}-{}-{}", order.machine, order.stop);
        // What should have been ordered before today stands under today.
        let day = day.max(plan.as_of);
        calendar.push(event(&name, words.plant, day, stamp, &title, &text));
    }
    calendar.done().to_string()
}

fn event(
    name: &str,
    plant: &str,
    day: NaiveDate,
    stamp: DateTime<Utc>,
    title: &str,
    text: &str,
) -> Event {
    let host: String = plant
        .chars()
        .map(|c| {
            if c.is_alphanumeric() {
                c.to_ascii_lowercase()
            } else {
                '-'
            }
        })
        .collect();
    Event::new()
        .uid(&format!(
            "{}@{host}",
            name.replace(char::is_whitespace, "-")
        ))
        .timestamp(stamp)
        .all_day(day)
        .summary(title)
        .description(text)
        .done()
}
