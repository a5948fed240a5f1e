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

/// One plant's plan, with the words for its events: a line for the title, and the text within.
pub struct Words<'a> {
    pub plant: &'a str,
    pub plan: &'a Plan,
    /// Given a stop and its place in [`Plan::stops`].
    pub stop: &'a dyn Fn(&Stop, usize) -> (String, String),
    pub order: &'a dyn Fn(&Order) -> (String, String),
}

/// The plans as one calendar.
pub fn calendar(name: &str, stamp: DateTime<Utc>, plans: &[Words<'_>]) -> String {
    let mut calendar = Calendar::empty();
    calendar
        .append_property(("VERSION", "2.0"))
        .append_property(("PRODID", "-//wearbook//plan//EN"))
        .append_property(("CALSCALE", "GREGORIAN"))
        .name(name);
    for words in plans {
        for (n, stop) in words.plan.stops().into_iter().enumerate() {
            let name = format!("stop-{}-{}", stop.machine, stop.date);
            calendar.push(event(
                &name,
                words.plant,
                stop.date,
                stamp,
                (words.stop)(stop, n),
            ));
        }
        for order in &words.plan.orders {
            let Some(day) = order.order_by else {
                continue;
            };
            let what = order.part.as_ref().unwrap_or(&order.component);
            let name = format!("order-{what}-{}-{}", order.machine, order.stop);
            // What should have been ordered before today stands under today.
            let day = day.max(words.plan.as_of);
            calendar.push(event(&name, words.plant, day, stamp, (words.order)(order)));
        }
    }
    calendar.done().to_string()
}

fn event(
    name: &str,
    plant: &str,
    day: NaiveDate,
    stamp: DateTime<Utc>,
    (title, text): (String, String),
) -> Event {
    let plain = |text: &str| -> String {
        text.chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
            .collect()
    };
    Event::new()
        .uid(&format!(
            "{}@{}",
            plain(name),
            plain(plant).to_ascii_lowercase()
        ))
        .timestamp(stamp)
        .all_day(day)
        .summary(&title)
        .description(&text)
        .done()
}
