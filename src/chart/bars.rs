//! Ranked bars: where most of it goes, dearest first, with the share added up so far.
//!
//! In: [`RankedBars`], numbers only. Out: SVG text. Never: ranking or adding up; rows come in the
//! order in which they are drawn.

use super::axis::{Range, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::looks::{self, Series};
use super::marks;
use super::palette::{INK, SOFT};
use super::place::{Area, EDGE};
use super::text::{decimals_for, fit, number};
use super::{ChartError, Size, amount, checked_id, forwards};

/// One bar.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RankedRow {
    /// E.g. "plunger packing set".
    pub name: String,
    /// A second, softer line, e.g. "H-01, H-02".
    pub detail: Option<String>,
    /// A value (≥ 0) for each of [`RankedBars::parts`].
    pub parts: Vec<f64>,
    /// Share of the whole that this and all rows above it make up, in \[0, 1\].
    pub share_so_far: f64,
}

/// Ranked bars as numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RankedBars {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "EUR in 12 months".
    pub x_title: String,
    /// From the top down, dearest first.
    pub rows: Vec<RankedRow>,
    /// What a bar is made of, from left to right, e.g. planned and unplanned.
    pub parts: Vec<Series>,
}

const TOP: f64 = 34.0;
const HEAD: f64 = 18.0;
const FOOT: f64 = 42.0;
const SHARE_HEAD: &str = "share so far";
const NAME: Type = Type::new(11.5, INK);
const DETAIL: Type = Type::new(10.5, SOFT);
const VALUE: Type = Type::new(11.0, INK);
const NOTE: Type = Type::new(11.0, SOFT);

impl RankedBars {
    /// The height at which the bars stand well at this width.
    pub fn size(&self, width_px: u32) -> Size {
        let rows = self.rows.len();
        let pitch = match (self.rows.iter().any(|r| r.detail.is_some()), rows) {
            (true, 0..=15) => 34.0,
            (true, _) => 30.0,
            (false, 0..=15) => 25.0,
            (false, _) => 22.0,
        };
        let top = Layout::new(self, f64::from(width_px)).top;
        let height = top + rows.max(3) as f64 * pitch + FOOT;
        Size {
            width_px,
            height_px: (height.ceil() as u32).max(200),
        }
    }

    fn largest(&self) -> f64 {
        self.rows.iter().map(total).fold(0.0, f64::max)
    }
}

/// What follows from the width alone.
struct Layout {
    /// Right end of the names.
    names: f64,
    /// Ends of the axis.
    from: f64,
    to: f64,
    decimals: usize,
    /// Where the pieces of the first bar start, if each has room for its name above it.
    pieces: Option<Vec<f64>>,
    /// Top of the plot.
    top: f64,
}

impl Layout {
    fn new(data: &RankedBars, width: f64) -> Layout {
        let names = data.rows.iter().map(|r| NAME.width(&r.name));
        let details = data.rows.iter().flat_map(|r| &r.detail);
        let widest = names
            .chain(details.map(|d| DETAIL.width(d)))
            .fold(40.0, f64::max);
        let names = EDGE + widest.min(0.36 * width);
        let decimals = decimals_for(data.largest());
        let values = data
            .rows
            .iter()
            .map(|r| VALUE.width(&number(total(r), decimals)));
        let right = width - EDGE - DETAIL.width(SHARE_HEAD);
        let (from, to) = (names + 10.0, right - 16.0 - values.fold(0.0, f64::max));
        let mut layout = Layout {
            names,
            from,
            to,
            decimals,
            pieces: None,
            top: TOP + HEAD,
        };
        if data.parts.len() > 1 {
            layout.pieces = layout.pieces(data, right);
            if layout.pieces.is_none() {
                layout.top += looks::key_height(&data.parts, None, width - 2.0 * EDGE);
            }
        }
        layout
    }

    fn pieces(&self, data: &RankedBars, right: f64) -> Option<Vec<f64>> {
        let first = data.rows.first()?;
        let scale = (self.to - self.from) / data.largest().max(f64::MIN_POSITIVE);
        let mut starts = Vec::new();
        let mut at = self.from;
        for value in &first.parts {
            starts.push(at);
            at += value * scale;
        }
        let ends = starts.iter().skip(1).copied().chain([right]);
        let named = starts.iter().zip(ends).zip(&data.parts);
        let fits = named
            .clone()
            .all(|((from, to), part)| from + NOTE.width(&part.name) + 12.0 <= to);
        (fits && first.parts.iter().all(|v| *v > 0.0)).then_some(starts)
    }
}

fn total(row: &RankedRow) -> f64 {
    row.parts.iter().sum()
}

/// Draws the bars as SVG text. [`RankedBars::size`] gives a fitting size.
///
/// Errors: [`ChartError::Axis`] for a value that is negative or not finite,
/// [`ChartError::Share`] for a share outside \[0, 1\], [`ChartError::Backwards`] for shares that
/// fall, [`ChartError::Count`] for a row with more or fewer values than there are parts,
/// [`ChartError::Look`], [`ChartError::Id`], [`ChartError::Size`].
pub fn ranked_bars(data: &RankedBars, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    let layout = Layout::new(data, width);
    let top = layout.top;
    if data.rows.is_empty() {
        let at = (width / 2.0, (top + height) / 2.0);
        let look = Type::new(13.0, INK);
        c.text("Nothing to rank.", at, look, Anchor::Middle)?;
        return Ok(c.finish(id, &data.title, &description(data)));
    }

    let (left, decimals) = (layout.names, layout.decimals);
    let plot = Area::new(
        layout.from,
        top,
        layout.to.max(layout.from + 20.0),
        height - FOOT,
    );
    let largest = data.largest();
    let x = Range::linear("value", [0.0, if largest > 0.0 { largest } else { 1.0 }])?;
    let across = |v: f64| plot.x0 + x.share(v) * plot.width();

    let ticks = linear_ticks(&x, plot.width(), 11.0, 18.0, false);
    marks::hairs_up(&mut c, &plot, ticks.iter().map(|t| across(t.value)))?;
    for tick in &ticks {
        let at = across(tick.value);
        c.line((at, plot.y1), (at, plot.y1 + 4.0), INK, 0.8, Dash::Solid)?;
        let half = NOTE.width(&tick.label) / 2.0;
        let middle = at.max(EDGE + half);
        c.text(&tick.label, (middle, plot.y1 + 16.0), NOTE, Anchor::Middle)?;
    }
    let label = Type::new(11.5, INK);
    let words = fit(&data.x_title, label.size, false, width - 2.0 * EDGE);
    let from = plot.x0.min(width - EDGE - label.width(&words));
    c.text(&words, (from, plot.y1 + 33.0), label, Anchor::Start)?;
    c.text(SHARE_HEAD, (width - EDGE, top - 5.0), DETAIL, Anchor::End)?;

    let step = plot.height() / data.rows.len() as f64;
    let half = (step * 0.33).clamp(2.0, 9.0);
    let mut slices: Vec<Vec<Area>> = vec![Vec::new(); data.parts.len()];
    for (n, row) in data.rows.iter().enumerate() {
        let y = plot.y0 + (n as f64 + 0.5) * step;
        let mut before = 0.0;
        for (part, v) in row.parts.iter().enumerate() {
            let area = Area::new(across(before), y - half, across(before + v), y + half);
            if *v > 0.0 {
                slices[part].push(area);
            }
            before += v;
        }
        let room = left - EDGE;
        let cut = fit(&row.name, NAME.size, false, room);
        let lift = if row.detail.is_some() { -2.0 } else { 4.0 };
        c.text(&cut, (left, y + lift), NAME, Anchor::End)?;
        if let Some(detail) = &row.detail {
            let cut = fit(detail, DETAIL.size, false, room);
            c.text(&cut, (left, y + 11.0), DETAIL, Anchor::End)?;
        }
        let end = (across(before) + 5.0, y + 4.0);
        c.text(&number(before, decimals), end, VALUE, Anchor::Start)?;
        let share = format!("{} %", number(100.0 * row.share_so_far, 0));
        c.text(&share, (width - EDGE, y + 4.0), VALUE, Anchor::End)?;
    }
    for (series, areas) in data.parts.iter().zip(&slices) {
        looks::rects(&mut c, areas, series.look);
    }
    c.line(
        (plot.x0, plot.y0),
        (plot.x0, plot.y1),
        INK,
        1.0,
        Dash::Solid,
    )?;
    part_names(&mut c, data, &layout, width)?;
    Ok(c.finish(id, &data.title, &description(data)))
}

/// The parts' names over the first bar where each finds room above its own piece, else a key.
fn part_names(
    c: &mut Canvas,
    data: &RankedBars,
    layout: &Layout,
    width: f64,
) -> Result<(), ChartError> {
    let Some(starts) = &layout.pieces else {
        if data.parts.len() > 1 {
            let room = width - 2.0 * EDGE;
            looks::key(c, &data.parts, None, (EDGE, TOP - 2.0), room)?;
        }
        return Ok(());
    };
    for (from, part) in starts.iter().zip(&data.parts) {
        let (x, y) = (from + 1.0, layout.top);
        c.line((x, y - 14.0), (x, y + 2.0), SOFT, 0.6, Dash::Solid)?;
        c.text(&part.name, (from + 5.0, y - 5.0), NOTE, Anchor::Start)?;
    }
    Ok(())
}

fn check(data: &RankedBars) -> Result<(), ChartError> {
    looks::check(&data.parts)?;
    let mut so_far = 0.0;
    for row in &data.rows {
        if row.parts.len() != data.parts.len() {
            return Err(ChartError::Count {
                what: "values of a bar",
                wanted: data.parts.len(),
                found: row.parts.len(),
            });
        }
        for v in &row.parts {
            amount("value", *v)?;
        }
        // A sum of shares may pass 1 by its rounding.
        if !(0.0..=1.0 + 1e-9).contains(&row.share_so_far) {
            return Err(ChartError::Share {
                value: row.share_so_far.to_string(),
            });
        }
        forwards("the share added up", so_far, row.share_so_far + 1e-9)?;
        so_far = row.share_so_far;
    }
    Ok(())
}

fn description(data: &RankedBars) -> String {
    if data.rows.is_empty() {
        return format!("{}. Nothing to rank.", data.x_title);
    }
    let decimals = decimals_for(data.largest());
    let mut out = format!("{}, most first.", data.x_title);
    for row in &data.rows {
        out.push_str(&format!(" {}", row.name));
        if let Some(detail) = &row.detail {
            out.push_str(&format!(" ({detail})"));
        }
        out.push_str(&format!(": {}", number(total(row), decimals)));
        if data.parts.len() > 1 {
            let parts = data.parts.iter().zip(&row.parts);
            let parts: Vec<_> = parts
                .map(|(p, v)| format!("{} {}", p.name, number(*v, decimals)))
                .collect();
            out.push_str(&format!(" ({})", parts.join(", ")));
        }
        out.push_str(&format!(
            "; {} % so far.",
            number(100.0 * row.share_so_far, 0)
        ));
    }
    out
}
