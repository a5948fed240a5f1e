//! Whether successive lives change, told beside a fit that takes them for one population.
//!
//! In: rows of the life table. Out: a sentence, or nothing to say. Never: printing; statistics
//! of its own (see `model::trend`).

use std::collections::HashMap;

use chrono::{DateTime, Utc};

use crate::life::LifeRow;
use crate::model::LimitsKind;
use crate::model::trend::{NoTrend, Record, Successive, Trend, trend};
use crate::view::table::{figure, p_value};

/// A slot, told by its names.
type Slot<'a> = (&'a str, &'a str, &'a str);

/// The trend over rows that are fitted together, or why nothing can be said of one.
///
/// `as_of` is the moment to which the ledger tells of slots that are still occupied.
pub(super) fn trend_of(
    rows: &[&LifeRow],
    mode: Option<&str>,
    as_of: DateTime<Utc>,
) -> Result<Trend, NoTrend> {
    let days = |time: DateTime<Utc>| time.timestamp() as f64 / 86_400.0;
    let mut slots: HashMap<Slot<'_>, usize> = HashMap::new();
    let mut records: Vec<Record> = Vec::new();
    let mut lives = Vec::new();
    for row in rows {
        let slot = (&*row.machine, &*row.component, &*row.position);
        let until = days(row.end_time.unwrap_or(as_of));
        let from = days(row.start_time);
        let place = *slots.entry(slot).or_insert_with(|| {
            records.push(Record { from, until });
            records.len() - 1
        });
        let record = &mut records[place];
        record.from = record.from.min(from);
        record.until = record.until.max(until);
        if let Ok(life) = row.life(mode) {
            lives.push(Successive {
                slot: place,
                begun: from,
                life,
            });
        }
    }
    trend(&lives, &records, (LimitsKind::None, 0.9))
}

/// A warning that a single life distribution would mislead, where successive lives change.
pub(super) fn trend_note(
    rows: &[&LifeRow],
    mode: Option<&str>,
    as_of: DateTime<Utc>,
) -> Option<String> {
    let found = trend_of(rows, mode, as_of).ok().filter(Trend::warns)?;
    let way = if found.factor < 1.0 {
        "shorter"
    } else {
        "longer"
    };
    Some(format!(
        "successive lives get {way}: each item lasts {} times as long as the one before (p {}): a \
         single life distribution would mislead; look at recur",
        figure(found.factor, 2),
        p_value(found.p)
    ))
}
