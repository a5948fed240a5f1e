//! Wear lines: what was measured against usage, and where the lines meet the limit.
//!
//! In: [`WearChart`], numbers only. Out: SVG text. Never: fitting, files, clock.
//!
//! Items in place stand out; those that are gone, on which they lean, lie behind them.

use super::axis::{Range, finite, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type, clip_line};
use super::frame::Frame;
use super::marks::{self, Sample};
use super::palette::{BLUE, INK, PENCIL, RUST, SOFT};
use super::place::{Area, EDGE, Placer};
use super::text::{fit, number, significant};
use super::{ChartError, Size, checked_id, forwards};

/// Bands are drawn for as many items in place; beyond, they would cover each other.
const BANDS: usize = 2;
/// Limits at the limit line are drawn for as many; beyond, only where the lines meet it.
const BARS: usize = 4;
/// Names of more items would stand too far from them.
const NAMES: usize = 12;
/// How far beyond what was seen a chart looks ahead, as a multiple of it.
const AHEAD: f64 = 4.0;
/// Bars at the limit lie so far apart, px.
const BAR_STEP: f64 = 9.0;

/// One item: its readings and its line.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WearItem {
    /// Where it sits; shown for items in place.
    pub name: String,
    pub in_place: bool,
    /// Usage, value.
    pub points: Vec<(f64, f64)>,
    /// Intercept and slope; `None`: no line.
    pub line: Option<(f64, f64)>,
    /// Usage on it now: the line is solid up to here.
    pub now: Option<f64>,
    /// Usage at which the line meets the limit.
    pub meets: Option<f64>,
    /// From where to where it may; `None` at the second: no end.
    pub meets_limits: Option<(f64, Option<f64>)>,
    /// Usage, lower and upper limit of the line, rising in usage.
    pub band: Vec<(f64, f64, f64)>,
}

/// Readings and lines of one quantity as numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WearChart {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "Running hours since renewal (h)".
    pub usage_label: String,
    /// Unit behind a usage, e.g. "h".
    pub usage_unit: String,
    /// Axis words with the unit, e.g. "clearance (mm)".
    pub value_label: String,
    /// The limit, and what is written at it, e.g. "at most 0.3 mm".
    pub limit: Option<(f64, String)>,
    /// What the band and the bars are, e.g. "90 % limits".
    pub limits_name: String,
    pub items: Vec<WearItem>,
}

/// Draws the lines as SVG text.
///
/// Errors: [`ChartError::Axis`] for a number that is not finite or a usage below 0,
/// [`ChartError::Backwards`] for limits that run backwards, [`ChartError::Id`],
/// [`ChartError::Size`].
pub fn wear_chart(data: &WearChart, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let x = Range::linear("usage", [0.0, farthest(data)])?;
    let y = value_range(data)?;
    let key = key_entries(data);
    let key_height = marks::key_height(&key, width - 2.0 * EDGE);
    let small = Type::new(11.0, SOFT);
    let foot = height - key_height - 52.0;
    let ticks = linear_ticks(&y, foot - 60.0, small.size, 18.0, true);
    let left = ticks
        .iter()
        .map(|t| small.width(&t.label))
        .fold(28.0, f64::max)
        + 20.0;
    let plot = Area {
        x0: left,
        y0: 56.0,
        x1: width - 18.0,
        y1: foot,
    };
    let frame = Frame { plot, x, y };
    let mut c = Canvas::new(size);
    let room = width - 2.0 * EDGE;
    marks::title(&mut c, &data.title, width)?;
    let label = Type::new(11.5, INK);
    marks::head_line(&mut c, &data.value_label, 41.0, label, width)?;
    let mut placer = Placer::default();
    ground(&mut c, data, &frame, &ticks)?;
    bands(&mut c, data, &frame)?;
    for item in data.items.iter().filter(|item| !item.in_place) {
        draw_item(&mut c, item, &frame, &mut placer)?;
    }
    limit_line(&mut c, data, &frame, &mut placer)?;
    for item in data.items.iter().filter(|item| item.in_place) {
        draw_item(&mut c, item, &frame, &mut placer)?;
    }
    at_limit(&mut c, data, &frame, &mut placer)?;
    names(&mut c, data, &frame, &mut placer)?;
    marks::axes(&mut c, &plot)?;
    marks::key(&mut c, &key, (EDGE, height - key_height - 6.0), room)?;
    Ok(c.finish(id, &data.title, &description(data)))
}

fn check(data: &WearChart) -> Result<(), ChartError> {
    let usage = |value: f64| {
        finite("usage", value)?;
        if value >= 0.0 {
            Ok(())
        } else {
            Err(ChartError::Axis {
                axis: "usage",
                value: value.to_string(),
            })
        }
    };
    for item in &data.items {
        for (u, v) in &item.points {
            usage(*u)?;
            finite("value", *v)?;
        }
        if let Some((a, b)) = item.line {
            finite("value", a)?;
            finite("value", b)?;
        }
        for u in [item.now, item.meets].into_iter().flatten() {
            usage(u)?;
        }
        if let Some((from, to)) = item.meets_limits {
            usage(from)?;
            if let Some(to) = to {
                usage(to)?;
                forwards("the limits", from, to)?;
            }
        }
        for (u, lower, upper) in &item.band {
            usage(*u)?;
            finite("value", *lower)?;
            finite("value", *upper)?;
            forwards("the limits", *lower, *upper)?;
        }
    }
    match &data.limit {
        Some((limit, _)) => finite("value", *limit).map(|_| ()),
        None => Ok(()),
    }
}

/// Usage seen, and what lies ahead up to four times of it.
fn farthest(data: &WearChart) -> f64 {
    let seen = data
        .items
        .iter()
        .flat_map(|item| item.points.iter().map(|p| p.0).chain(item.now))
        .fold(0.0, f64::max);
    let in_place = || data.items.iter().filter(|item| item.in_place);
    let ahead = in_place()
        .flat_map(|item| {
            [item.meets, item.meets_limits.and_then(|limits| limits.1)]
                .into_iter()
                .flatten()
        })
        .filter(|usage| *usage <= AHEAD * seen)
        .fold(seen, f64::max);
    ahead * 1.04
}

fn value_range(data: &WearChart) -> Result<Range, ChartError> {
    let values = data
        .items
        .iter()
        .flat_map(|item| item.points.iter().map(|p| p.1))
        .chain(data.items.iter().filter_map(|item| item.line.map(|l| l.0)))
        .chain(data.limit.as_ref().map(|limit| limit.0));
    let plain = Range::linear("value", values)?;
    let air = 0.08 * (plain.hi() - plain.lo());
    let bars = in_place(data).min(BARS).saturating_sub(1) as f64;
    let room = if in_place(data) <= BARS {
        bars * 0.5 * air
    } else {
        0.0
    };
    let (below, above) = if rises(data) {
        (0.0, room)
    } else {
        (room, 0.0)
    };
    Range::linear(
        "value",
        [plain.lo() - air - below, plain.hi() + air + above],
    )
}

/// Whether the limit lies above where lines begin.
fn rises(data: &WearChart) -> bool {
    let begins = data.items.iter().find_map(|item| item.line);
    match (&data.limit, begins) {
        (Some((limit, _)), Some((intercept, _))) => *limit >= intercept,
        _ => true,
    }
}

fn ground(
    c: &mut Canvas,
    data: &WearChart,
    frame: &Frame,
    ticks: &[super::axis::Tick],
) -> Result<(), ChartError> {
    let plot = frame.plot;
    let small = Type::new(11.0, SOFT);
    let shown: Vec<_> = ticks.iter().filter(|t| frame.y.holds(t.value)).collect();
    let height = |value: f64| frame.at((0.0, value)).1;
    marks::hairs_across(c, &plot, shown.iter().map(|t| height(t.value)))?;
    for tick in shown {
        let at = (plot.x0 - 7.0, height(tick.value) + 4.0);
        c.text(&tick.label, at, small, Anchor::End)?;
    }
    for tick in linear_ticks(&frame.x, plot.width(), small.size, 18.0, false) {
        let x = frame.at((tick.value, 0.0)).0;
        c.line((x, plot.y1), (x, plot.y1 + 4.0), INK, 0.8, Dash::Solid)?;
        let half = small.width(&tick.label) / 2.0;
        if x - half >= 2.0 && x + half <= plot.x1 + 16.0 {
            c.text(&tick.label, (x, plot.y1 + 16.0), small, Anchor::Middle)?;
        }
    }
    let label = Type::new(11.5, INK);
    c.text(
        &fit(&data.usage_label, label.size, false, plot.width()),
        (plot.x1, plot.y1 + 33.0),
        label,
        Anchor::End,
    )?;
    Ok(())
}

fn in_place(data: &WearChart) -> usize {
    data.items.iter().filter(|item| item.in_place).count()
}

fn bands(c: &mut Canvas, data: &WearChart, frame: &Frame) -> Result<(), ChartError> {
    if in_place(data) > BANDS {
        return Ok(());
    }
    for item in data.items.iter().filter(|item| item.in_place) {
        let lower: Vec<_> = item.band.iter().map(|b| frame.at((b.0, b.1))).collect();
        let upper: Vec<_> = item.band.iter().map(|b| frame.at((b.0, b.2))).collect();
        marks::limits_band(c, &lower, &upper, &frame.plot)?;
    }
    Ok(())
}

fn draw_item(
    c: &mut Canvas,
    item: &WearItem,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let last = item.points.iter().map(|p| p.0).fold(0.0, f64::max);
    if let Some((a, b)) = item.line {
        let now = item.now.map_or(last, |now| now.max(last));
        let piece = |from: f64, to: f64| {
            clip_line(
                &[frame.at((from, a + b * from)), frame.at((to, a + b * to))],
                &frame.plot,
            )
        };
        let until = if item.in_place { now } else { last };
        for part in piece(0.0, until) {
            if item.in_place {
                c.path(&part, BLUE, 1.6, Dash::Solid)?;
                placer.avoid_line(&part, 3.0);
            } else {
                c.path(&part, PENCIL, 0.8, Dash::Solid)?;
            }
        }
        if item.in_place {
            let end = item.meets.unwrap_or(frame.x.hi()).min(frame.x.hi());
            if end > now {
                for part in piece(now, end) {
                    c.path(&part, BLUE, 1.4, Dash::Short)?;
                    placer.avoid_line(&part, 3.0);
                }
            }
        }
    }
    for point in &item.points {
        let (x, y) = frame.at(*point);
        marks::reading(c, (x, y), item.in_place)?;
        let mark = Area {
            x0: x,
            y0: y,
            x1: x,
            y1: y,
        };
        if item.in_place {
            placer.take(mark.grown(4.0));
        } else {
            placer.avoid(mark.grown(3.0));
        }
    }
    Ok(())
}

fn limit_line(
    c: &mut Canvas,
    data: &WearChart,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let Some((limit, words)) = &data.limit else {
        return Ok(());
    };
    let plot = frame.plot;
    let y = frame.at((0.0, *limit)).1;
    c.line((plot.x0, y), (plot.x1, y), RUST, 1.8, Dash::Long)?;
    placer.avoid_line(&[(plot.x0, y), (plot.x1, y)], 2.0);
    let look = Type::bold(11.5, RUST);
    let words = format!("limit: {words}");
    let (w, h) = (look.width(&words) + 6.0, look.height() + 2.0);
    let wishes: Vec<Area> = [y - 4.0 - h, y + 4.0]
        .into_iter()
        .flat_map(|y0| {
            [0.0, 0.25, 0.5].map(|share| {
                let x0 = plot.x0 + 4.0 + share * (plot.width() - w - 8.0);
                Area {
                    x0,
                    y0,
                    x1: x0 + w,
                    y1: y0 + h,
                }
            })
        })
        .collect();
    if let Some(area) = placer.find(&plot.grown(8.0), &wishes) {
        let at = (area.x0 + 3.0, area.y0 + h * 0.76);
        c.text_on_lines(&words, at, look, Anchor::Start)?;
    }
    Ok(())
}

/// Where each line meets the limit: with few items the limits of it, else the place alone.
fn at_limit(
    c: &mut Canvas,
    data: &WearChart,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let Some((limit, _)) = data.limit else {
        return Ok(());
    };
    let plot = frame.plot;
    let few = in_place(data) <= BARS;
    // Bars of several items lie beside each other, on the far side of the limit.
    let far = if rises(data) { -1.0 } else { 1.0 };
    let mut bars = 0.0;
    let shown = |usage: f64| frame.at((usage, limit)).0.min(plot.x1);
    for item in data.items.iter().filter(|item| item.in_place) {
        let line = frame.at((0.0, limit)).1;
        let y = if few {
            line + far * BAR_STEP * bars
        } else {
            line
        };
        let estimate = item.meets.filter(|u| frame.x.holds(*u)).map(shown);
        let span = item.meets_limits.filter(|l| few && frame.x.holds(l.0));
        match (span, estimate) {
            (Some((from, to)), _) => {
                bars += 1.0;
                let x1 = to.map_or(plot.x1, shown);
                marks::at_limit(c, (shown(from), x1), estimate, y)?;
                placer.take(
                    Area {
                        x0: shown(from),
                        y0: y,
                        x1,
                        y1: y,
                    }
                    .grown(5.0),
                );
            }
            (None, Some(x)) => {
                c.line((x, y - 5.0), (x, y + 5.0), BLUE, 1.4, Dash::Solid)?;
            }
            (None, None) => {}
        }
    }
    Ok(())
}

/// The names of items in place, at the end of what was read of them, as far as there is room.
fn names(
    c: &mut Canvas,
    data: &WearChart,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    if in_place(data) > NAMES {
        return Ok(());
    }
    let look = Type::new(10.5, INK);
    let h = look.height() + 1.0;
    for item in data.items.iter().filter(|item| item.in_place) {
        let Some(last) = item.points.iter().max_by(|a, b| a.0.total_cmp(&b.0)) else {
            continue;
        };
        let (x, y) = frame.at(*last);
        let w = look.width(&item.name) + 4.0;
        let wishes = super::place::around(x, y, w, h, 6.0);
        if let Some(area) = placer.find(&frame.plot, &wishes) {
            let at = (area.x0 + 2.0, area.y0 + h * 0.78);
            c.text_on_lines(&item.name, at, look, Anchor::Start)?;
        }
    }
    Ok(())
}

fn key_entries(data: &WearChart) -> Vec<(Sample, String)> {
    let here = in_place(data);
    let mut key = Vec::new();
    if here > 0 {
        key.push((Sample::Reading, "reading of an item in place".to_owned()));
        let lines = data.items.iter().any(|i| i.in_place && i.line.is_some());
        if lines {
            key.push((Sample::Fitted, "its line, to its usage now".to_owned()));
            key.push((Sample::Ahead, "where it is going".to_owned()));
        }
    }
    if here < data.items.len() {
        key.push((Sample::Gone, "items that are gone".to_owned()));
    }
    let any = |of: fn(&WearItem) -> bool| data.items.iter().any(|i| i.in_place && of(i));
    if here <= BANDS && any(|item| !item.band.is_empty()) {
        key.push((Sample::Limits, format!("{} of the line", data.limits_name)));
    }
    if here <= BARS && data.limit.is_some() && any(|item| item.meets_limits.is_some()) {
        let words = format!("usage at the limit, {}", data.limits_name);
        key.push((Sample::AtLimit, words));
    }
    key
}

fn description(data: &WearChart) -> String {
    let readings: usize = data.items.iter().map(|item| item.points.len()).sum();
    let here = in_place(data);
    let mut words = format!(
        "{} against {}: {} readings of {} items, {} in place.",
        data.value_label,
        data.usage_label,
        number(readings as f64, 0),
        number(data.items.len() as f64, 0),
        number(here as f64, 0),
    );
    if let Some((_, limit)) = &data.limit {
        words.push_str(&format!(" Limit: {limit}."));
    }
    for item in data.items.iter().filter(|item| item.in_place).take(12) {
        let Some(usage) = item.meets else {
            if item.line.is_some() && data.limit.is_some() {
                words.push_str(&format!(" {} does not come nearer to it.", item.name));
            }
            continue;
        };
        words.push_str(&format!(
            " {} meets it at {} {}",
            item.name,
            significant(usage, 3),
            data.usage_unit
        ));
        match item.meets_limits {
            Some((from, Some(to))) => words.push_str(&format!(
                " ({}: {} to {}).",
                data.limits_name,
                significant(from, 3),
                significant(to, 3)
            )),
            Some((from, None)) => words.push_str(&format!(
                " ({}: {} or never).",
                data.limits_name,
                significant(from, 3)
            )),
            None => words.push('.'),
        }
    }
    words
}
