//! A plan of stops: a lane a machine over a calendar, each stop on its day with the days between
//! which it may move.
//!
//! In: [`StopLanes`], dates and words. Out: SVG text. Never: planning, clock; today is a number
//! like the others.

use chrono::NaiveDate;

use super::calendar::Frame;
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::dates::day_words;
use super::marks::{self, Sample};
use super::palette::{BLUE, HAIR, INK, RUST};
use super::place::{Area, EDGE, Placer};
use super::text::{fit, number};
use super::{ChartError, Size, checked_id, forwards};

/// One stop of a machine.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StopMark {
    /// The day it is planned for.
    pub day: NaiveDate,
    /// The first day on which it makes sense.
    pub earliest: NaiveDate,
    /// The last day, not before the first.
    pub latest: NaiveDate,
    /// Short, e.g. "7 renewals"; where room is scarce only the number in front is written.
    pub label: String,
    /// How much is done, in \[0, 1\]: the size of the mark.
    pub weight: f64,
    /// Something in it should have been done before today.
    pub overdue: bool,
}

/// A machine's stops.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StopLane {
    /// E.g. "H-01".
    pub name: String,
    /// In any order.
    pub stops: Vec<StopMark>,
}

/// A plan of stops as dates.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StopLanes {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// First day of the calendar.
    pub from: NaiveDate,
    /// Last day of the calendar, not before the first.
    pub to: NaiveDate,
    /// From the top down.
    pub lanes: Vec<StopLane>,
    /// Marked by a line where it lies on the calendar.
    pub today: NaiveDate,
}

const TOP: f64 = 50.0;
const FOOT: f64 = 32.0;

impl StopLanes {
    /// The height at which the lanes stand well at this width.
    pub fn size(&self, width_px: u32) -> Size {
        let key = marks::key_height(&self.key(), f64::from(width_px) - 2.0 * EDGE);
        let lanes = self.lanes.len().max(2);
        let height = TOP + lanes as f64 * pitch(lanes) + FOOT + key;
        Size {
            width_px,
            height_px: (height.ceil() as u32).max(200),
        }
    }

    fn key(&self) -> Vec<(Sample, String)> {
        let stops = || self.lanes.iter().flat_map(|l| &l.stops);
        let mut out = Vec::new();
        if stops().any(|s| !s.overdue) {
            let words = "planned stop, larger where more is done";
            out.push((Sample::Stop, words.to_owned()));
        }
        if stops().any(|s| s.overdue) {
            out.push((Sample::OverdueStop, "overdue".to_owned()));
        }
        if stops().any(|s| s.earliest < s.latest) {
            out.push((
                Sample::StopRange,
                "from its earliest to its latest day".to_owned(),
            ));
        }
        out
    }
}

fn pitch(lanes: usize) -> f64 {
    match lanes {
        0..=12 => 28.0,
        13..=24 => 23.0,
        _ => 20.0,
    }
}

/// Draws the lanes as SVG text. [`StopLanes::size`] gives a fitting size.
///
/// Errors: [`ChartError::Backwards`] for a calendar or a stop's range that runs backwards,
/// [`ChartError::Share`] for a weight outside \[0, 1\], [`ChartError::Id`], [`ChartError::Size`].
pub fn stop_lanes(data: &StopLanes, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let key = data.key();
    let key_height = marks::key_height(&key, width - 2.0 * EDGE);
    let label = Type::new(11.0, INK);
    let names = data.lanes.iter().map(|l| label.width(&l.name));
    let left = names.fold(30.0, f64::max).min(width * 0.3) + 14.0;
    let plot = Area::new(left, TOP, width - 26.0, height - key_height - FOOT);
    let frame = Frame::new(plot, [data.from, data.to])?;
    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    frame.axis(&mut c, data.from, data.to)?;
    let mut placer = Placer::default();
    let step = plot.height() / data.lanes.len().max(1) as f64;
    for (n, lane) in data.lanes.iter().enumerate() {
        let y = plot.y0 + n as f64 * step;
        c.line((EDGE, y), (plot.x1, y), HAIR, 0.8, Dash::Solid)?;
        let cut = fit(&lane.name, label.size, false, left - 12.0);
        let at = (left - 8.0, y + step / 2.0 + 4.0);
        placer.take(c.text(&cut, at, label, Anchor::End)?);
    }
    today(&mut c, data, &frame, &mut placer)?;
    let stops = placed(data, &frame, step);
    if stops.is_empty() {
        let at = ((plot.x0 + plot.x1) / 2.0, (plot.y0 + plot.y1) / 2.0 + 4.0);
        let look = Type::new(13.0, INK);
        c.text_on_lines("No stop planned in this time.", at, look, Anchor::Middle)?;
    }
    ranges(&mut c, &stops, &plot, &mut placer)?;
    for stop in &stops {
        marks::stop(&mut c, (stop.x, stop.y), stop.radius, stop.mark.overdue)?;
        outside(&mut c, stop, &plot)?;
        let reach = stop.radius * if stop.mark.overdue { 1.35 } else { 1.0 };
        placer.take(Area::round(stop.x, stop.y, reach + 0.5));
    }
    labels(&mut c, &stops, &plot, step, &mut placer)?;
    let room = width - 2.0 * EDGE;
    marks::key(&mut c, &key, (EDGE, height - key_height - 4.0), room)?;
    Ok(c.finish(id, &data.title, &description(data)))
}

fn check(data: &StopLanes) -> Result<(), ChartError> {
    forwards("the calendar", data.from, data.to)?;
    for stop in data.lanes.iter().flat_map(|l| &l.stops) {
        forwards("a stop's range", stop.earliest, stop.latest)?;
        if !(0.0..=1.0).contains(&stop.weight) {
            return Err(ChartError::Share {
                value: stop.weight.to_string(),
            });
        }
    }
    Ok(())
}

/// A stop with its place in the picture.
struct Placed<'a> {
    mark: &'a StopMark,
    lane: usize,
    x: f64,
    y: f64,
    radius: f64,
    /// From where to where it may move, within the calendar.
    range: (f64, f64),
    /// Its day lies before or after the calendar.
    outside: Option<Side>,
}

#[derive(Clone, Copy, PartialEq)]
enum Side {
    Before,
    After,
}

/// All stops, the largest first, so that none is hidden under a larger one.
fn placed<'a>(data: &'a StopLanes, frame: &Frame, step: f64) -> Vec<Placed<'a>> {
    let plot = frame.plot;
    let across = |day: NaiveDate| frame.across(day.clamp(data.from, data.to));
    let largest = (step * 0.36).clamp(3.2, 8.5);
    let mut out: Vec<Placed<'a>> = Vec::new();
    for (lane, stops) in data.lanes.iter().enumerate() {
        for mark in &stops.stops {
            let least = if mark.overdue { 4.2 } else { 2.8 };
            out.push(Placed {
                mark,
                lane,
                x: across(mark.day),
                y: plot.y0 + (lane as f64 + 0.5) * step,
                // The area of the mark, not its width, tells the weight.
                radius: (largest * mark.weight.sqrt())
                    .max(least)
                    .min(largest.max(least)),
                range: (across(mark.earliest), across(mark.latest)),
                outside: if mark.day < data.from {
                    Some(Side::Before)
                } else if mark.day > data.to {
                    Some(Side::After)
                } else {
                    None
                },
            });
        }
    }
    out.sort_by(|a, b| b.radius.total_cmp(&a.radius));
    out
}

fn today(
    c: &mut Canvas,
    data: &StopLanes,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    if data.today < data.from || data.today > data.to {
        return Ok(());
    }
    let plot = frame.plot;
    let x = frame.across(data.today);
    c.line((x, plot.y0 - 3.0), (x, plot.y1), INK, 1.4, Dash::Long)?;
    placer.avoid_line(&[(x, plot.y0), (x, plot.y1)], 1.5);
    let look = Type::bold(11.0, INK);
    let words = format!("today, {}", day_words(data.today));
    let half = look.width(&words) / 2.0;
    let middle = x.max(EDGE + half).min(plot.x1 + 22.0 - half);
    c.text(&words, (middle, plot.y0 - 7.0), look, Anchor::Middle)?;
    Ok(())
}

/// The ranges under the marks; those that would lie on one another step aside.
fn ranges(
    c: &mut Canvas,
    stops: &[Placed<'_>],
    plot: &Area,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let mut order: Vec<&Placed<'_>> = stops
        .iter()
        .filter(|s| s.mark.earliest < s.mark.latest && s.range.0 < s.range.1)
        .collect();
    order.sort_by(|a, b| a.lane.cmp(&b.lane).then(a.range.0.total_cmp(&b.range.0)));
    let mut before: Option<(usize, f64, f64)> = None;
    for stop in order {
        let (x0, x1) = stop.range;
        let aside = match before {
            Some((lane, end, aside)) if lane == stop.lane && x0 < end + 3.0 => {
                if aside > 0.0 {
                    -2.4
                } else {
                    2.4
                }
            }
            _ => 0.0,
        };
        let end = match before {
            Some((lane, end, _)) if lane == stop.lane => end.max(x1),
            _ => x1,
        };
        before = Some((stop.lane, end, aside));
        let y = stop.y + aside;
        marks::stop_range(c, (x0, x1.min(plot.x1)), y, stop.mark.overdue)?;
        placer.avoid_line(&[(x0, y), (x1, y)], 2.6);
    }
    Ok(())
}

/// An arrow head beside a mark whose day lies beyond the calendar.
fn outside(c: &mut Canvas, stop: &Placed<'_>, plot: &Area) -> Result<(), ChartError> {
    let Some(side) = stop.outside else {
        return Ok(());
    };
    let (x, out) = match side {
        Side::Before => (plot.x0 - stop.radius - 1.5, -5.0),
        Side::After => (plot.x1 + stop.radius + 1.5, 5.0),
    };
    let colour = if stop.mark.overdue { RUST } else { BLUE };
    let y = stop.y;
    c.polygon(&[(x, y - 3.5), (x + out, y), (x, y + 3.5)], colour)
}

/// Labels beside the marks, the most important first: overdue, then by weight. Where not all find
/// room, one is written out and the others are cut to their numbers; a number that finds none is
/// left out.
fn labels(
    c: &mut Canvas,
    stops: &[Placed<'_>],
    plot: &Area,
    step: f64,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let mut order: Vec<&Placed<'_>> = stops.iter().collect();
    order.sort_by(|a, b| {
        b.mark
            .overdue
            .cmp(&a.mark.overdue)
            .then(b.mark.weight.total_cmp(&a.mark.weight))
            .then(a.lane.cmp(&b.lane))
            .then(a.x.total_cmp(&b.x))
    });
    let size = if step >= 22.0 { 10.5 } else { 9.5 };
    let bounds = Area::new(plot.x0 - 8.0, plot.y0 - 2.5, plot.x1 + 22.0, plot.y1 - 1.0);
    let mut trial = placer.clone();
    let all = order.iter().all(|stop| {
        let look = Type::new(size, INK);
        let whole = stop.mark.label.as_str();
        whole.is_empty()
            || trial
                .find(&bounds, &wishes(stop, whole, look, step))
                .is_some()
    });
    let mut said = false;
    for stop in order {
        let look = Type::new(size, if stop.mark.overdue { RUST } else { INK });
        let whole = stop.mark.label.as_str();
        let short = whole.split(' ').next().unwrap_or("");
        let counts = short.starts_with(|c: char| c.is_ascii_digit());
        let tried: &[&str] = match (all || !said, counts) {
            (true, true) => &[whole, short],
            (false, true) => &[short],
            (_, false) => &[whole],
        };
        for words in tried.iter().filter(|w| !w.is_empty()) {
            if let Some(area) = placer.find(&bounds, &wishes(stop, words, look, step)) {
                let at = (area.x0 + 1.5, area.y0 + size * 0.95);
                c.text_on_lines(words, at, look, Anchor::Start)?;
                said |= *words == whole;
                break;
            }
        }
    }
    Ok(())
}

/// Right and left of a mark, above the range's line and, where the lane has room, below.
fn wishes(stop: &Placed<'_>, words: &str, look: Type, step: f64) -> Vec<Area> {
    let (w, h) = (look.width(words) + 3.0, look.size * 1.12);
    let reach = stop.radius * if stop.mark.overdue { 1.35 } else { 1.0 } + 1.5;
    let mut out = Vec::new();
    for y0 in [stop.y - h - 1.0, stop.y + 1.5] {
        if y0 + h <= stop.y + step / 2.0 + 1.0 {
            for x0 in [stop.x + reach, stop.x - reach - w] {
                out.push(Area::new(x0, y0, x0 + w, y0 + h));
            }
        }
    }
    out
}

fn description(data: &StopLanes) -> String {
    let stops = || data.lanes.iter().flat_map(|l| &l.stops);
    let mut out = format!(
        "Stops of {} {} from {} to {}, today {}.",
        number(data.lanes.len() as f64, 0),
        if data.lanes.len() == 1 {
            "machine"
        } else {
            "machines"
        },
        day_words(data.from),
        day_words(data.to),
        day_words(data.today)
    );
    let overdue = stops().filter(|s| s.overdue).count();
    out.push_str(&format!(
        " {} in all, {} overdue.",
        number(stops().count() as f64, 0),
        number(overdue as f64, 0)
    ));
    for lane in data.lanes.iter().filter(|l| !l.stops.is_empty()) {
        let mut stops: Vec<_> = lane.stops.iter().collect();
        stops.sort_by_key(|s| s.day);
        let words: Vec<_> = stops
            .iter()
            .map(|s| {
                let late = if s.overdue { ", overdue" } else { "" };
                format!("{} ({}{late})", day_words(s.day), s.label)
            })
            .collect();
        out.push_str(&format!(" {}: {}.", lane.name, words.join(", ")));
    }
    out
}
