//! Slots: a row each, and which of many are shown.
//!
//! In: a [`Subject`]. Out: [`PositionRow`]s, the slots whose history is drawn, and what is said
//! of those left out. Never: decisions.

use std::collections::HashMap;

use super::fit::limited;
use crate::chart::number;
use crate::life::{Flag, LifeRow, Sample};
use crate::model::Target;
use crate::model::limits::Limits;
use crate::model::posterior::{Posterior, ShapePrior};
use crate::report::model::{Limited, PositionRow, Verdict};
use crate::report::subject::{Frame, Slot, Subject};
use crate::report::words::{three_digits, usage};

/// Rows of the table by position; of more slots those with most failures.
const ROWS: usize = 40;
/// Lanes of a slot history; of more slots those with most failures.
const LANES: usize = 36;
/// Stays in one slot history: more can neither be told apart nor sent about.
const BARS: usize = 800;
/// Lanes that are drawn in any case.
const FEWEST: usize = 6;
/// Slots up to which all are drawn and listed: a little more than the tables hold is not worth
/// leaving out.
const ALL: usize = 48;

/// Failures that ended a stay in a slot.
fn failures(slot: &Slot) -> usize {
    let ended = |reason: &Option<String>| matches!(reason.as_deref(), Some("failed" | "worn"));
    slot.stays.iter().filter(|stay| ended(&stay.reason)).count()
}

/// The slots with most failures, in the order of the register; all of them where they are few.
/// Where so many hold more than `bars` stays together, fewer, but no fewer than [`FEWEST`].
fn worst(subject: &Subject, most: usize, bars: usize) -> Vec<&Slot> {
    let all: usize = subject.slots.iter().map(|slot| slot.stays.len()).sum();
    if subject.slots.len() <= ALL && all <= bars {
        return subject.slots.iter().collect();
    }
    let mut ranked: Vec<(usize, usize)> = subject
        .slots
        .iter()
        .enumerate()
        .map(|(n, slot)| (failures(slot), n))
        .collect();
    ranked.sort_by_key(|(failures, n)| (std::cmp::Reverse(*failures), *n));
    let mut kept = Vec::new();
    let mut stays = 0;
    for (_, n) in ranked.into_iter().take(most) {
        stays += subject.slots[n].stays.len();
        if stays > bars && kept.len() >= FEWEST {
            break;
        }
        kept.push(n);
    }
    kept.sort_unstable();
    kept.into_iter().map(|n| &subject.slots[n]).collect()
}

/// The slots whose history is drawn, and a sentence where others are not.
pub(super) fn drawn(subject: &Subject) -> (Vec<&Slot>, String) {
    let most = match subject.slots.len() {
        few if few <= ALL => few,
        _ => LANES,
    };
    let shown = worst(subject, most, BARS);
    let words = left_out(subject, shown.len())
        .map(|words| format!("{words}."))
        .unwrap_or_default();
    (shown, words)
}

fn left_out(subject: &Subject, shown: usize) -> Option<String> {
    (shown < subject.slots.len()).then(|| {
        format!(
            "Shown are the {shown} of {} slots with most failures",
            number(subject.slots.len() as f64, 0)
        )
    })
}

/// A row a slot, and a sentence where others are left out.
pub(super) fn rows(frame: &Frame, subject: &Subject) -> (Vec<PositionRow>, String) {
    let mut lives: HashMap<[&str; 2], Vec<&LifeRow>> = HashMap::new();
    for row in &subject.rows {
        let slot = [row.machine.as_str(), row.position.as_str()];
        lives.entry(slot).or_default().push(row);
    }
    let shown = worst(subject, ROWS, usize::MAX);
    let words = left_out(subject, shown.len())
        .map(|words| {
            format!(
                "{words}; `wearbook interval --component {} --format csv` gives all",
                subject.id
            )
        })
        .unwrap_or_default();
    let rows = shown
        .into_iter()
        .map(|slot| {
            let own = lives.get(&[slot.machine.as_str(), slot.position.as_str()]);
            row(frame, subject, slot, own.map_or(&[][..], Vec::as_slice))
        })
        .collect();
    (rows, words)
}

fn row(frame: &Frame, subject: &Subject, slot: &Slot, rows: &[&LifeRow]) -> PositionRow {
    let lives = rows.iter().filter_map(|r| r.life(None).ok()).collect();
    let sample = Sample::new(lives).unwrap_or_default();
    let group = subject.groups.iter().find(|g| {
        g.slots
            .iter()
            .any(|(m, p)| *m == slot.machine && *p == slot.position)
    });
    let median_life = Posterior::new(&sample, ShapePrior::Flat)
        .ok()
        .and_then(|p| median_life(&p.limits(Target::LifeAt(0.5), frame.confidence)));
    let in_place = rows.iter().rev().find(|r| r.end_time.is_none()).map(|r| {
        if r.has(Flag::UnknownAge) {
            "age unknown".to_owned()
        } else {
            r.lo.map_or("unknown".to_owned(), |lo| usage(lo.round(), &subject.unit))
        }
    });
    PositionRow {
        machine: slot.machine.clone(),
        position: slot.position.clone(),
        lives: sample.count() as usize,
        failures: sample.failures() as usize,
        median_life,
        verdict: group.map_or(Verdict::NotEnoughEvidence, |g| {
            g.recommendation.verdict.into()
        }),
        interval: group
            .and_then(|g| g.recommendation.interval)
            .map(|i| usage(i, &subject.unit)),
        in_place,
    }
}

/// The median life of one slot. Few failures leave it without a useful upper end; then only the
/// lower one is said.
fn median_life(limits: &Limits) -> Option<Limited> {
    let (median, lower) = (limits.median?, limits.lower?);
    match limits.upper {
        Some(upper) if upper <= WIDEST * lower => Some(limited(median, limits)),
        // A lower end next to nothing says nothing either.
        _ if lower * WIDEST < median => None,
        _ => Some(Limited {
            value: format!("over {}", three_digits(lower)),
            ..Limited::default()
        }),
    }
}

/// Limits farther apart than this factor are not worth their digits.
const WIDEST: f64 = 20.0;
