//! Intervals at a glance: for each component the near-optimal range, what is recommended and what
//! is done today, in one picture.
//!
//! In: [`IntervalRanges`], numbers only. Out: SVG text. Never: deciding, files, clock.

use super::axis::{Range, Tick, linear_ticks, log_ticks};
use super::callouts::{Callout, stand};
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::marks::{self, Sample};
use super::palette::{HAIR, INK, SOFT};
use super::place::{Area, EDGE, Placer};
use super::text::{fit, number, wrap};
use super::{ChartError, Size, amount, checked_id, forwards};

/// One component's interval.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RangeRow {
    /// E.g. "plunger packing set".
    pub name: String,
    /// Where it sits, e.g. "P1 to P5".
    pub place: Option<String>,
    /// From where to where an interval costs nearly the least; `None` at the end: no end.
    pub near: Option<(f64, Option<f64>)>,
    /// The interval recommended, after planning grid and ceiling.
    pub recommended: Option<f64>,
    /// What the crew does today.
    pub today: Option<f64>,
    /// An interval never to be passed.
    pub ceiling: Option<f64>,
    /// Words instead of a recommended interval, e.g. "until it fails".
    pub says: Option<String>,
    /// What the change is worth, e.g. "4,200".
    pub worth: Option<String>,
}

/// Intervals of many components, all in one unit of usage.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct IntervalRanges {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "Running hours between renewals (h)".
    pub x_title: String,
    /// What the near-optimal range means, e.g. "costs within 5 % of the least".
    pub near_name: String,
    /// From the top down.
    pub rows: Vec<RangeRow>,
    /// Heading over what the changes are worth, with the unit, e.g. "saves a year (EUR)".
    pub worth_title: Option<String>,
}

const TOP: f64 = 32.0;
const FOOT: f64 = 42.0;
const LINE: f64 = 14.0;
const HALF_BAND: f64 = 5.0;
const NAME: Type = Type::new(11.5, INK);
const PLACE: Type = Type::new(10.5, SOFT);
const WORTH: Type = Type::bold(11.0, INK);
const HEAD: Type = Type::new(10.5, SOFT);
const FIGURE: Type = Type::bold(9.5, INK);
const TODAY: Type = Type::new(9.5, SOFT);

impl IntervalRanges {
    /// The height at which the rows stand well at this width.
    pub fn size(&self, width_px: u32) -> Size {
        let pitch = if self.rows.len() <= 12 { 33.0 } else { 30.0 };
        let rows = self.rows.len().max(2) as f64;
        let width = f64::from(width_px);
        // A usage the axis refuses is told by the drawing itself.
        let head = Layout::new(self, width).map_or(TOP, |layout| layout.top);
        let key = marks::key_height(&self.key(), width - 2.0 * EDGE);
        let height = head + rows * pitch + FOOT + key;
        Size {
            width_px,
            height_px: (height.ceil() as u32).max(200),
        }
    }

    /// The row whose marks are named: the first that has any.
    fn named(&self) -> Option<&RangeRow> {
        let any = |r: &&RangeRow| Kind::ALL.into_iter().any(|kind| kind.of(r).is_some());
        self.rows.iter().find(any)
    }

    /// What no mark of the named row explains.
    fn key(&self) -> Vec<(Sample, String)> {
        let Some(named) = self.named() else {
            return Vec::new();
        };
        Kind::ALL
            .into_iter()
            .filter(|kind| kind.of(named).is_none())
            .filter(|kind| self.rows.iter().any(|r| kind.of(r).is_some()))
            .map(|kind| (kind.sample(), kind.words(self).to_owned()))
            .collect()
    }

    fn usages(&self) -> impl Iterator<Item = f64> {
        self.rows.iter().flat_map(|r| {
            let near = r.near.map(|(from, _)| from);
            let end = r.near.and_then(|(_, to)| to);
            [near, end, r.recommended, r.today, r.ceiling]
                .into_iter()
                .flatten()
        })
    }
}

/// What stands on a row.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Near,
    Recommended,
    Today,
    Ceiling,
}

impl Kind {
    const ALL: [Kind; 4] = [Kind::Near, Kind::Recommended, Kind::Today, Kind::Ceiling];

    fn of(self, row: &RangeRow) -> Option<f64> {
        match self {
            Kind::Near => row.near.map(|(from, _)| from),
            Kind::Recommended => row.recommended,
            Kind::Today => row.today,
            Kind::Ceiling => row.ceiling,
        }
    }

    fn words(self, data: &IntervalRanges) -> &str {
        match self {
            Kind::Near => &data.near_name,
            Kind::Recommended => "recommended",
            Kind::Today => "today",
            Kind::Ceiling => "ceiling, never to be passed",
        }
    }

    fn sample(self) -> Sample {
        match self {
            Kind::Near => Sample::NearOptimal,
            Kind::Recommended => Sample::Recommended,
            Kind::Today => Sample::Today,
            Kind::Ceiling => Sample::Ceiling,
        }
    }
}

/// What follows from the width alone.
struct Layout {
    x: Range,
    log: bool,
    /// Right end of the names.
    names: f64,
    from: f64,
    to: f64,
    heading: Vec<String>,
    callouts: Vec<Callout>,
    top: f64,
}

impl Layout {
    fn new(data: &IntervalRanges, width: f64) -> Result<Layout, ChartError> {
        for usage in data.usages() {
            amount("usage", usage)?;
        }
        let least = data.usages().fold(f64::INFINITY, f64::min);
        let most = data.usages().fold(0.0, f64::max);
        // Beyond such a spread the short intervals would crowd at the left.
        let log = least > 1e-9 && most / least > 25.0;
        let x = if log {
            Range::logarithmic("usage", [least / 1.3, most * 1.25])?
        } else {
            Range::linear("usage", [0.0, most * 1.06])?
        };
        let names = data.rows.iter().map(|r| NAME.width(&r.name));
        let places = data.rows.iter().flat_map(|r| &r.place);
        let widest = names
            .chain(places.map(|p| PLACE.width(p)))
            .fold(40.0, f64::max);
        let names = EDGE + widest.min(0.32 * width);
        let worths = data.rows.iter().flat_map(|r| &r.worth);
        let worth = worths.map(|w| WORTH.width(w)).fold(0.0, f64::max);
        let heading = match &data.worth_title {
            Some(words) => wrap(words, HEAD.size, false, worth.max(76.0).min(0.2 * width)),
            None => Vec::new(),
        };
        let heading: Vec<String> = heading.into_iter().take(3).collect();
        let head = heading.iter().map(|l| HEAD.width(l)).fold(0.0, f64::max);
        let column = worth.min(0.2 * width).max(head);
        let to = width - EDGE - column - if column > 0.0 { 16.0 } else { 8.0 };
        let mut layout = Layout {
            x,
            log,
            names,
            from: names + 12.0,
            to,
            heading,
            callouts: Vec::new(),
            top: 0.0,
        };
        layout.callouts = layout.named(data);
        let levels = layout.callouts.iter().map(|c| c.level + 1).max();
        let lines = levels.unwrap_or(0).max(layout.heading.len());
        layout.top = TOP + lines as f64 * LINE + 4.0;
        Ok(layout)
    }

    fn across(&self, usage: f64) -> f64 {
        self.from + self.x.share(usage).clamp(0.0, 1.0) * (self.to - self.from)
    }

    /// The names of the marks of the first row that has any, where they fit above it.
    fn named(&self, data: &IntervalRanges) -> Vec<Callout> {
        let Some(row) = data.named() else {
            return Vec::new();
        };
        let wanted = Kind::ALL.into_iter().filter_map(|kind| {
            let usage = kind.of(row)?;
            let at = match (kind, row.near) {
                // Not at the middle, where the recommended interval tends to be.
                (Kind::Near, Some((from, to))) => {
                    let end = to.map_or(self.to, |to| self.across(to));
                    self.across(from) + 0.8 * (end - self.across(from))
                }
                _ => self.across(usage),
            };
            Some((at, kind.words(data).to_owned(), kind == Kind::Recommended))
        });
        stand(wanted.collect(), (self.names, self.to + 6.0))
    }
}

/// Draws the rows as SVG text. [`IntervalRanges::size`] gives a fitting size.
///
/// Errors: [`ChartError::Axis`] for a usage that is negative or not finite,
/// [`ChartError::Backwards`] for a range that runs backwards, [`ChartError::Id`],
/// [`ChartError::Size`].
pub fn interval_ranges(data: &IntervalRanges, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    for row in &data.rows {
        if let Some((from, Some(to))) = row.near {
            forwards("the near-optimal range", from, to)?;
        }
    }
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let layout = Layout::new(data, width)?;
    let key = data.key();
    let key_height = marks::key_height(&key, width - 2.0 * EDGE);
    let foot = (height - FOOT - key_height).max(layout.top + 10.0);
    let plot = Area::new(layout.from, layout.top, layout.to, foot);
    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    ground(&mut c, data, &layout, &plot, width)?;
    let step = plot.height() / data.rows.len().max(1) as f64;
    let mut placer = Placer::default();
    for (n, row) in data.rows.iter().enumerate() {
        let y = plot.y0 + (n as f64 + 0.5) * step;
        if n > 0 {
            let at = y - step / 2.0;
            c.line((EDGE, at), (width - EDGE, at), HAIR, 0.8, Dash::Solid)?;
        }
        draw_row(&mut c, row, &layout, (&plot, y), &mut placer)?;
        words(&mut c, row, &layout, y, width)?;
    }
    name_marks(&mut c, data, &layout, (&plot, step), &mut placer)?;
    // After all marks, so that no figure stands on a mark of the next row.
    for (n, row) in data.rows.iter().enumerate() {
        let y = plot.y0 + (n as f64 + 0.5) * step;
        figures(&mut c, row, &layout, (&plot, y), &mut placer)?;
    }
    if data.rows.is_empty() {
        let at = ((plot.x0 + plot.x1) / 2.0, (plot.y0 + plot.y1) / 2.0);
        let look = Type::new(13.0, INK);
        c.text("No interval to show.", at, look, Anchor::Middle)?;
    }
    let room = width - 2.0 * EDGE;
    marks::key(&mut c, &key, (EDGE, height - key_height - 4.0), room)?;
    Ok(c.finish(id, &data.title, &description(data)))
}

fn ground(
    c: &mut Canvas,
    data: &IntervalRanges,
    layout: &Layout,
    plot: &Area,
    width: f64,
) -> Result<(), ChartError> {
    let small = Type::new(11.0, SOFT);
    let mut ticks: Vec<Tick> = if layout.log {
        log_ticks(&layout.x, plot.width(), small.size, 16.0)
    } else {
        linear_ticks(&layout.x, plot.width(), small.size, 18.0, false)
    };
    if data.usages().next().is_none() {
        // An axis nothing stands on would pretend to a range.
        ticks.clear();
    }
    marks::hairs_up(c, plot, ticks.iter().map(|t| layout.across(t.value)))?;
    for tick in &ticks {
        let x = layout.across(tick.value);
        c.line((x, plot.y1), (x, plot.y1 + 4.0), INK, 0.8, Dash::Solid)?;
        c.text(&tick.label, (x, plot.y1 + 16.0), small, Anchor::Middle)?;
    }
    marks::foot(c, plot)?;
    let label = Type::new(11.5, INK);
    let scale = if layout.log { "log scale" } else { "" };
    let room = width - 2.0 * EDGE - small.width(scale) - 16.0;
    let words = fit(&data.x_title, label.size, false, room);
    let right = plot
        .x1
        .max(EDGE + small.width(scale) + 16.0 + label.width(&words));
    c.text(&words, (right, plot.y1 + 34.0), label, Anchor::End)?;
    let left = plot
        .x0
        .min(right - label.width(&words) - 16.0 - small.width(scale));
    c.text(scale, (left, plot.y1 + 34.0), small, Anchor::Start)?;
    let lines = layout.heading.len() as f64;
    for (n, line) in layout.heading.iter().enumerate() {
        let y = plot.y0 - 7.0 - (lines - 1.0 - n as f64) * LINE;
        c.text(line, (width - EDGE, y), HEAD, Anchor::End)?;
    }
    Ok(())
}

fn draw_row(
    c: &mut Canvas,
    row: &RangeRow,
    layout: &Layout,
    (plot, y): (&Area, f64),
    placer: &mut Placer,
) -> Result<(), ChartError> {
    if let Some((from, to)) = row.near {
        let x0 = layout.across(from);
        let x1 = to.map_or(plot.x1, |to| layout.across(to).max(x0 + 2.0));
        let band = Area::new(x0, y - HALF_BAND, x1, y + HALF_BAND);
        marks::near_band(c, &band, to.is_none())?;
        placer.avoid(band);
    }
    if let (Some(today), Some(recommended)) = (row.today, row.recommended) {
        let (x0, x1) = (layout.across(today), layout.across(recommended));
        marks::moved(c, (x0, x1), y)?;
        placer.avoid(Area::new(x0.min(x1), y - 3.0, x0.max(x1), y + 3.0));
    }
    if let Some(usage) = row.ceiling {
        let x = layout.across(usage);
        marks::ceiling(c, (x, y), 8.0)?;
        placer.take(Area::new(x - 5.0, y - 9.0, x + 2.0, y + 9.0));
    }
    // The recommended interval is not hidden where nothing changes: the ring lies round it.
    if let Some(usage) = row.today {
        let at = (layout.across(usage), y);
        marks::today(c, at)?;
        placer.take(Area::round(at.0, y, 5.5));
    }
    if let Some(usage) = row.recommended {
        let x = layout.across(usage);
        let ring = row.today.map(|t| layout.across(t));
        // Too near to tell apart, they share a middle.
        let same = ring.filter(|ring| (ring - x).abs() < 3.0);
        marks::recommended(c, (same.unwrap_or(x), y), same.is_some())?;
        placer.take(Area::round(x, y, 5.5));
    }
    Ok(())
}

/// Name and place at the left, worth at the right.
fn words(
    c: &mut Canvas,
    row: &RangeRow,
    layout: &Layout,
    y: f64,
    width: f64,
) -> Result<(), ChartError> {
    let room = layout.names - EDGE;
    let lift = if row.place.is_some() { -1.5 } else { 4.0 };
    let name = fit(&row.name, NAME.size, false, room);
    c.text(&name, (layout.names, y + lift), NAME, Anchor::End)?;
    if let Some(place) = &row.place {
        let place = fit(place, PLACE.size, false, room);
        c.text(&place, (layout.names, y + 11.0), PLACE, Anchor::End)?;
    }
    if let Some(worth) = &row.worth {
        let room = width - EDGE - layout.to - 8.0;
        let worth = fit(worth, WORTH.size, true, room);
        c.text(&worth, (width - EDGE, y + 4.0), WORTH, Anchor::End)?;
    }
    Ok(())
}

fn written(usage: f64) -> String {
    number(usage, usize::from(usage < 100.0 && usage.fract() != 0.0))
}

/// Words instead of an interval, and the figures of the marks, where there is room.
fn figures(
    c: &mut Canvas,
    row: &RangeRow,
    layout: &Layout,
    (plot, y): (&Area, f64),
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let bounds = Area::new(plot.x0 - 4.0, plot.y0, plot.x1 + 6.0, plot.y1 - 0.5);
    if let Some(says) = &row.says {
        let look = Type::bold(11.0, INK);
        let says = fit(says, look.size, true, plot.width() - 8.0);
        let (w, h) = (look.width(&says) + 6.0, 14.0);
        let wishes: Vec<Area> = (0..=24)
            .flat_map(|n| {
                let x0 = plot.x1 - 2.0 - w - f64::from(n) / 24.0 * (plot.width() - w - 4.0);
                [y - h / 2.0, y - HALF_BAND - h, y + HALF_BAND]
                    .map(|y0| Area::new(x0, y0, x0 + w, y0 + h))
            })
            .collect();
        if let Some(area) = placer.find(&bounds, &wishes) {
            let at = (area.x0 + 3.0, area.y0 + 11.0);
            c.text_on_lines(&says, at, look, Anchor::Start)?;
        }
    }
    let same = row.today.map(written) == row.recommended.map(written);
    let today = row.today.filter(|_| !same);
    for (usage, look) in [(row.recommended, FIGURE), (today, TODAY)] {
        let Some(usage) = usage else { continue };
        let words = written(usage);
        let (w, h) = (look.width(&words) + 2.0, 9.6);
        let x = layout.across(usage);
        let (above, below) = (y - 6.2 - h, y + 6.2);
        let wishes = [
            (x - w / 2.0, above),
            (x - w / 2.0, below),
            (x - w + 5.0, above),
            (x - 5.0, above),
            (x + 2.0, above),
            (x - w - 2.0, above),
            (x - w + 5.0, below),
            (x - 5.0, below),
        ];
        let wishes = wishes.map(|(x0, y0)| Area::new(x0, y0, x0 + w, y0 + h));
        if let Some(area) = placer.find(&bounds, &wishes) {
            let at = ((area.x0 + area.x1) / 2.0, area.y0 + 8.0);
            c.text_on_lines(&words, at, look, Anchor::Middle)?;
        }
    }
    Ok(())
}

/// The names over the first row with marks, each with a line down to its mark.
fn name_marks(
    c: &mut Canvas,
    data: &IntervalRanges,
    layout: &Layout,
    (plot, step): (&Area, f64),
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let row = data
        .rows
        .iter()
        .position(|r| data.named().is_some_and(|n| std::ptr::eq(n, r)));
    let y = plot.y0 + (row.unwrap_or(0) as f64 + 0.5) * step;
    for callout in &layout.callouts {
        let base = plot.y0 - 6.0 - callout.level as f64 * LINE;
        let x = callout.at;
        // Down to the band's edge; the marks are as high as it.
        c.line(
            (x, base + 3.0),
            (x, y - HALF_BAND - 1.5),
            SOFT,
            0.7,
            Dash::Solid,
        )?;
        placer.take(Area::new(x - 1.0, plot.y0, x + 1.0, y - HALF_BAND));
        let look = callout.look();
        c.text_on_lines(&callout.words, (callout.x0, base), look, Anchor::Start)?;
    }
    Ok(())
}

fn description(data: &IntervalRanges) -> String {
    let mut out = format!("{}.", data.x_title);
    if data.rows.is_empty() {
        out.push_str(" No interval to show.");
    }
    for row in &data.rows {
        out.push_str(&format!(" {}", row.name));
        if let Some(place) = &row.place {
            out.push_str(&format!(" ({place})"));
        }
        let mut said: Vec<String> = row.says.iter().cloned().collect();
        for (what, usage) in [
            ("recommended", row.recommended),
            ("today", row.today),
            ("ceiling", row.ceiling),
        ] {
            said.extend(usage.map(|u| format!("{what} {}", written(u))));
        }
        said.extend(row.near.map(|(from, to)| {
            let to = to.map_or("and beyond".to_owned(), |to| format!("to {}", written(to)));
            format!("{} from {} {to}", data.near_name, written(from))
        }));
        if let Some(worth) = &row.worth {
            let title = data.worth_title.as_deref().unwrap_or("worth");
            said.push(format!("{title} {worth}"));
        }
        if said.is_empty() {
            said.push("nothing known".to_owned());
        }
        out.push_str(&format!(": {}.", said.join(", ")));
    }
    out
}
