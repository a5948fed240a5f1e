//! The history of slots: which item sat where, from when to when, and how its life ended.
//!
//! In: [`SlotHistory`], dates and words. Out: SVG text. Never: deriving lives, files, clock.

use chrono::NaiveDate;

use super::calendar::Frame;
use super::canvas::{Anchor, Canvas, Type};
use super::dates::day_words;
use super::marks::{self, Sample};
use super::palette::{BAR, INK};
use super::place::{Area, EDGE};
use super::text::{fit, number};
use super::{ChartError, Size, checked_id};

/// How an item's time in its slot ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ending {
    /// Failed, found while running.
    FailedRunning,
    /// Failed or worn, found at an inspection.
    FoundAtInspection,
    /// Renewed as planned.
    Planned,
    /// Renewed because it was exposed.
    Opportunity,
    /// Damaged by handling or another part, or the type was changed.
    OtherRemoval,
    /// Still in place.
    StillIn,
}

impl Ending {
    /// All kinds, in the order of the key.
    pub const ALL: [Ending; 6] = [
        Ending::FailedRunning,
        Ending::FoundAtInspection,
        Ending::Planned,
        Ending::Opportunity,
        Ending::OtherRemoval,
        Ending::StillIn,
    ];

    /// The letter in the mark.
    pub fn letter(self) -> &'static str {
        match self {
            Ending::FailedRunning => "F",
            Ending::FoundAtInspection => "I",
            Ending::Planned => "P",
            Ending::Opportunity => "O",
            Ending::OtherRemoval => "D",
            Ending::StillIn => "S",
        }
    }

    /// What the key says.
    pub fn words(self) -> &'static str {
        match self {
            Ending::FailedRunning => "failed running",
            Ending::FoundAtInspection => "found worn or failed at inspection",
            Ending::Planned => "planned renewal",
            Ending::Opportunity => "renewed while exposed",
            Ending::OtherRemoval => "damaged or type changed",
            Ending::StillIn => "still in",
        }
    }
}

/// One item's time in a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LaneBar {
    /// Put in on.
    pub start: NaiveDate,
    /// Ended on (not before `start`), or the last day looked at.
    pub end: NaiveDate,
    /// How it ended.
    pub ending: Ending,
    /// Its usage at the start is not known.
    pub age_unknown: bool,
}

/// A slot's lane.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lane {
    /// E.g. "H-01 P2".
    pub label: String,
    /// Its items, in time order.
    pub bars: Vec<LaneBar>,
}

/// Slot histories of one component.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SlotHistory {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// From the top down.
    pub lanes: Vec<Lane>,
}

impl SlotHistory {
    /// The height at which the lanes stand well at this width.
    pub fn size(&self, width_px: u32) -> Size {
        let width = f64::from(width_px);
        let lanes = self.lanes.len().max(1) as f64;
        let key = marks::key_height(&self.key(), width - 2.0 * EDGE);
        let height = TOP + lanes * pitch(self.lanes.len()) + 34.0 + key;
        Size {
            width_px,
            height_px: (height.ceil() as u32).max(200),
        }
    }

    fn key(&self) -> Vec<(Sample, String)> {
        let bars = || self.lanes.iter().flat_map(|l| &l.bars);
        let mut out: Vec<_> = Ending::ALL
            .into_iter()
            .filter(|kind| bars().any(|b| b.ending == *kind))
            .map(|kind| (Sample::Ended(kind), kind.words().to_owned()))
            .collect();
        if bars().any(|b| b.age_unknown) {
            out.push((Sample::AgeUnknown, "age at start unknown".to_owned()));
        }
        out
    }
}

const TOP: f64 = 36.0;

fn pitch(lanes: usize) -> f64 {
    match lanes {
        0..=12 => 24.0,
        13..=24 => 20.0,
        25..=40 => 16.0,
        _ => 13.0,
    }
}

/// Draws the lanes as SVG text. [`SlotHistory::size`] gives a fitting size.
///
/// Errors: [`ChartError::Backwards`] for a bar that ends before it starts, [`ChartError::Id`],
/// [`ChartError::Size`].
pub fn slot_history(data: &SlotHistory, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    for bar in data.lanes.iter().flat_map(|l| &l.bars) {
        if bar.end < bar.start {
            return Err(ChartError::Backwards {
                what: "a bar",
                from: bar.start.to_string(),
                to: bar.end.to_string(),
            });
        }
    }
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let key = data.key();
    let key_height = marks::key_height(&key, width - 2.0 * EDGE);
    let label = Type::new(11.0, INK);
    let left = data
        .lanes
        .iter()
        .map(|l| label.width(&l.label))
        .fold(30.0, f64::max)
        .min(width * 0.3)
        + 20.0;
    let plot = Area {
        x0: left,
        y0: TOP,
        x1: width - 24.0,
        y1: height - key_height - 34.0,
    };
    let bars = || data.lanes.iter().flat_map(|l| &l.bars);
    let first = bars().map(|b| b.start).min();
    let last = bars().map(|b| b.end).max();

    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    let frame = Frame::new(plot, first.into_iter().chain(last))?;
    if let (Some(first), Some(last)) = (first, last) {
        frame.axis(&mut c, first, last)?;
    } else {
        c.text(
            "No item on record in these slots.",
            ((plot.x0 + plot.x1) / 2.0, (plot.y0 + plot.y1) / 2.0),
            Type::new(13.0, INK),
            Anchor::Middle,
        )?;
    }
    let step = plot.height() / data.lanes.len().max(1) as f64;
    for (i, lane) in data.lanes.iter().enumerate() {
        let y = plot.y0 + (i as f64 + 0.5) * step;
        c.text(
            &fit(&lane.label, label.size, false, left - 18.0),
            (left - 8.0, y + 4.0),
            label,
            Anchor::End,
        )?;
        draw_lane(&mut c, lane, &frame, y, step)?;
    }
    marks::key(
        &mut c,
        &key,
        (EDGE, height - key_height - 4.0),
        width - 2.0 * EDGE,
    )?;
    Ok(c.finish(id, &data.title, &description(data, first, last)))
}

fn draw_lane(
    c: &mut Canvas,
    lane: &Lane,
    frame: &Frame,
    y: f64,
    step: f64,
) -> Result<(), ChartError> {
    let half_bar = (step * 0.2).clamp(2.0, 5.0);
    let half_mark = (step * 0.3).clamp(3.6, 6.2);
    for bar in &lane.bars {
        let (x0, x1) = (frame.across(bar.start), frame.across(bar.end));
        // A sliver of paper between two items shows where one ends and the next begins.
        let area = Area {
            x0: x0 + 0.8,
            y0: y - half_bar,
            x1: x1.max(x0 + 1.2),
            y1: y + half_bar,
        };
        c.rect(&area, BAR)?;
        if bar.age_unknown {
            marks::unknown_start(c, area.x0, y, half_bar, area.width())?;
        }
    }
    // Marks that would cover each other step aside, up and down in turn.
    let mut rows = [f64::NEG_INFINITY; 3];
    let aside = step * 0.29;
    let still = lane
        .bars
        .iter()
        .find(|b| b.ending == Ending::StillIn)
        .map(|b| frame.across(b.end) + half_mark);
    for bar in &lane.bars {
        let still_in = bar.ending == Ending::StillIn;
        let x = frame.across(bar.end) + if still_in { half_mark } else { 0.0 };
        let free = |row: usize| x - rows[row] >= half_mark * 2.1;
        let before_last = still.is_none_or(|last| last - x >= half_mark * 2.1);
        let alone = before_last && rows.iter().all(|last| x - last >= half_mark * 2.1);
        let row = if still_in || alone {
            0
        } else if free(1) || rows[1] <= rows[2] {
            1
        } else {
            2
        };
        rows[row] = x;
        let (y, half) = match row {
            0 => (y, half_mark),
            1 => (y - aside, half_mark * 0.82),
            _ => (y + aside, half_mark * 0.82),
        };
        marks::ending(c, bar.ending, (x, y), half)?;
    }
    Ok(())
}

fn description(data: &SlotHistory, first: Option<NaiveDate>, last: Option<NaiveDate>) -> String {
    let bars = || data.lanes.iter().flat_map(|l| &l.bars);
    let mut out = format!("Items in {} slots", number(data.lanes.len() as f64, 0));
    if let (Some(first), Some(last)) = (first, last) {
        out.push_str(&format!(
            " from {} to {}",
            day_words(first),
            day_words(last)
        ));
    }
    let counts: Vec<String> = Ending::ALL
        .into_iter()
        .filter_map(|kind| {
            let count = bars().filter(|b| b.ending == kind).count();
            (count > 0).then(|| format!("{} {}", number(count as f64, 0), kind.words()))
        })
        .collect();
    if counts.is_empty() {
        out.push_str(": no item on record.");
    } else {
        out.push_str(&format!(": {}.", counts.join(", ")));
    }
    out
}
