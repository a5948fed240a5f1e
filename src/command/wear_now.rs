//! What is read of the items in place, for plans and work sheets.
//!
//! In: a store. Out: [`Worn`], by slot. Never: lines of its own making, printing.

use std::collections::HashMap;

use chrono_tz::Tz;
use rayon::prelude::*;

use super::CommandError;
use super::interval_look::{Looks, RISK};
use super::wear_ledger::{Group, Row, everything, lined};
use crate::quantity::time::day;
use crate::store::Store;
use crate::view::wear::{Asked, LineFigures, left_words};
use crate::wear::{LimitRule, Standing, WearLines, WornPart};

/// The last reading of one quantity of an item in place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Worn {
    pub quantity: String,
    pub zone: Option<String>,
    /// `None` where it is held against no limit.
    pub standing: Option<Standing>,
    /// What was read, where the item itself is beyond its limit.
    pub beyond: Option<String>,
    /// Usage left to the limit, by the estimate and in words.
    pub left: Option<(f64, String)>,
}

/// By machine, component and position.
pub(super) type WornSlots = HashMap<[String; 3], Vec<Worn>>;

/// Two-sided confidence of the usage left.
const CONFIDENCE: f64 = 0.9;

/// All that was read, gathered once for everything that asks.
pub(super) struct WearNow {
    /// The last readings of what is in place.
    pub slots: WornSlots,
    /// Whether looking beats renewing by age, at the usual risk.
    pub looks: Looks,
}

impl WearNow {
    /// Errors: the store cannot tell its readings.
    pub(super) fn read(store: &Store) -> Result<WearNow, CommandError> {
        let groups = lined(everything(store, store.readings()?));
        Ok(WearNow {
            slots: in_place(store, &groups),
            looks: Looks::from(groups, RISK),
        })
    }
}

fn in_place(store: &Store, groups: &[(Group, Option<WearLines>)]) -> WornSlots {
    let zone = store.zone();
    let mut slots = WornSlots::new();
    for (group, lines) in groups {
        let belief = lines.as_ref().and_then(WearLines::belief);
        let rule = group.standard.map(|standard| standard.rule);
        let read = |row: &Row| {
            let machine = row.latest.item_machine.clone()?;
            let position = row.latest.item_position.clone()?;
            let left = lines.as_ref().zip(row.item).and_then(|(lines, item)| {
                let line = LineFigures::new(
                    lines,
                    belief.as_ref(),
                    item,
                    rule.as_ref().and_then(LimitRule::barrier),
                    row.latest.usage_now,
                    Asked {
                        confidence: CONFIDENCE,
                        before: None,
                    },
                    row.readings,
                );
                Some((
                    line.usage_left.unwrap_or(f64::INFINITY),
                    left_words(&line, &group.usage_unit)?,
                ))
            });
            let worn = Worn {
                quantity: group.quantity.clone(),
                zone: row.latest.zone.clone(),
                standing: row.verdict.as_ref().ok().map(|verdict| verdict.standing),
                beyond: beyond(zone, group, row),
                left,
            };
            Some(([machine, group.component.clone(), position], worn))
        };
        let told: Vec<_> = group.rows.par_iter().filter_map(read).collect();
        for (slot, worn) in told {
            slots.entry(slot).or_default().push(worn);
        }
    }
    slots
}

/// Of a pair it is told where the part it is recorded for is the worn one: the ring.
fn beyond(zone: Tz, group: &Group, row: &Row) -> Option<String> {
    let verdict = row.verdict.as_ref().ok()?;
    let own = !matches!(verdict.worn, Some(WornPart::Long));
    (verdict.standing == Standing::Beyond && own).then(|| {
        format!(
            "{} beyond its limit on {}",
            group.quantity,
            day(row.latest.time, zone)
        )
    })
}
