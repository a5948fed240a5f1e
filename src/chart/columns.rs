//! Stacked columns over time: what each part costs, period by period, a panel a machine.
//!
//! In: [`StackedColumns`], numbers only. Out: SVG text. Never: adding up a ledger, files, clock.
//!
//! All panels share one scale that starts at zero, so that heights compare across machines.

use super::axis::{Range, Tick, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::looks::{self, Series};
use super::marks;
use super::palette::{INK, SOFT};
use super::periods::{Marked, marked};
use super::place::{Area, EDGE};
use super::text::{decimals_for, fit, number};
use super::{ChartError, Size, amount, checked_id};

/// One machine's columns.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Panel {
    /// As the reader knows it, e.g. "H-01".
    pub name: String,
    /// A column a period, in it a value (≥ 0) a series; `None`: nothing is known of the period.
    pub columns: Vec<Option<Vec<f64>>>,
}

/// Stacked columns as numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StackedColumns {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "EUR per running hour (h)".
    pub y_title: String,
    /// Names of the periods in order, e.g. "2024-Q1". Where all hold a year, it is written once.
    pub periods: Vec<String>,
    /// From the foot of a column up.
    pub series: Vec<Series>,
    /// From left to right, then down.
    pub panels: Vec<Panel>,
}

const NAME: f64 = 20.0;
const BETWEEN: f64 = 14.0;
const FOOT: f64 = 36.0;
const SIDE_STEP: f64 = 15.0;
/// Height of a plot that stands in the only row, and in one of several.
const ONE_ROW: f64 = 190.0;
const A_ROW: f64 = 122.0;
const TOTAL: Type = Type::bold(10.5, INK);
const UNKNOWN: &str = "nothing known";

impl StackedColumns {
    /// The height at which the panels stand well at this width.
    pub fn size(&self, width_px: u32) -> Size {
        let layout = Layout::new(self, f64::from(width_px));
        let rows = layout.rows as f64;
        let plot = if layout.rows == 1 { ONE_ROW } else { A_ROW };
        let plots = rows * (NAME + plot) + (rows - 1.0) * BETWEEN;
        Size {
            width_px,
            height_px: ((layout.top + plots + FOOT).ceil() as u32).max(200),
        }
    }

    fn gaps(&self) -> bool {
        let mut columns = self.panels.iter().flat_map(|p| &p.columns);
        columns.any(Option::is_none)
    }

    /// What the key names beside the series.
    fn more(&self) -> Option<&'static str> {
        self.gaps().then_some(UNKNOWN)
    }

    fn highest(&self) -> f64 {
        let columns = self.panels.iter().flat_map(|p| p.columns.iter().flatten());
        columns.map(|c| c.iter().sum()).fold(0.0, f64::max)
    }
}

/// How the picture is divided before its height is known.
struct Layout {
    across: usize,
    rows: usize,
    /// Names stand beside the only panel's last column, not in a key.
    beside: f64,
    top: f64,
}

impl Layout {
    fn new(data: &StackedColumns, width: f64) -> Layout {
        let panels = data.panels.len().max(1);
        let narrowest = if data.periods.len() > 30 {
            330.0
        } else {
            225.0
        };
        let fits = ((width / narrowest).floor() as usize).clamp(1, 3);
        // Four stand better in two rows of two than in three and one.
        let across = if panels == 4 {
            2.min(fits)
        } else {
            panels.min(fits)
        };
        let look = Type::new(11.0, INK);
        let names = data.series.iter().map(|s| look.width(&s.name));
        let highest = data.highest();
        let total = total_words(highest, decimals_for(highest));
        // A total has no sample before it.
        let total = TOTAL.width(&total) - marks::SAMPLE_WIDTH - 6.0;
        let widest = names.fold(look.width(UNKNOWN).max(total), f64::max);
        let entries = data.series.len() + 2;
        let plot = if panels == 1 { ONE_ROW } else { A_ROW };
        let few = entries as f64 * SIDE_STEP <= plot + NAME;
        let beside = if across == 1 && few && widest <= 0.26 * width {
            widest + marks::SAMPLE_WIDTH + 30.0
        } else {
            0.0
        };
        let room = width - 2.0 * EDGE;
        let key = if beside > 0.0 {
            0.0
        } else {
            looks::key_height(&data.series, data.more(), room)
        };
        Layout {
            across,
            rows: panels.div_ceil(across),
            beside,
            top: 50.0 + key,
        }
    }
}

/// Draws the panels as SVG text. [`StackedColumns::size`] gives a fitting size.
///
/// Errors: [`ChartError::Axis`] for a value that is negative or not finite,
/// [`ChartError::Count`] for columns that do not fit the periods or values that do not fit the
/// series, [`ChartError::Look`], [`ChartError::Id`], [`ChartError::Size`].
pub fn stacked_columns(data: &StackedColumns, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    let label = Type::new(11.5, INK);
    marks::head_line(&mut c, &data.y_title, 41.0, label, width)?;
    let layout = Layout::new(data, width);
    if layout.beside == 0.0 {
        let room = width - 2.0 * EDGE;
        if let Some((x, y)) = looks::key(&mut c, &data.series, data.more(), (EDGE, 48.0), room)? {
            unknown_mark(&mut c, (x, x + marks::SAMPLE_WIDTH), y + 5.0)?;
        }
    }
    if data.panels.is_empty() || data.periods.is_empty() {
        let at = (width / 2.0, (layout.top + height) / 2.0);
        let words = "Nothing on record for these periods.";
        c.text(words, at, Type::new(13.0, INK), Anchor::Middle)?;
    } else {
        panels(&mut c, data, &layout, (width, height))?;
    }
    Ok(c.finish(id, &data.title, &description(data)))
}

fn check(data: &StackedColumns) -> Result<(), ChartError> {
    looks::check(&data.series)?;
    let count = |what, wanted, found| {
        if wanted == found {
            Ok(())
        } else {
            Err(ChartError::Count {
                what,
                wanted,
                found,
            })
        }
    };
    for panel in &data.panels {
        count(
            "columns of a panel",
            data.periods.len(),
            panel.columns.len(),
        )?;
        for column in panel.columns.iter().flatten() {
            count("values of a column", data.series.len(), column.len())?;
            for value in column {
                amount("cost", *value)?;
            }
        }
    }
    Ok(())
}

/// What all panels share.
struct Common<'a> {
    data: &'a StackedColumns,
    y: Range,
    ticks: Vec<Tick>,
    decimals: usize,
    /// Room for a total right of the last column, where there is none above each.
    gutter: f64,
    pitch: f64,
    marked: Marked,
}

impl Common<'_> {
    fn up(&self, plot: &Area, value: f64) -> f64 {
        plot.y1 - self.y.share(value) * plot.height()
    }

    /// From where to where a column stands.
    fn column(&self, plot: &Area, place: usize) -> (f64, f64) {
        let middle = plot.x0 + (place as f64 + 0.5) * self.pitch;
        let half = if self.pitch < 4.0 {
            self.pitch * 0.43
        } else {
            (self.pitch * 0.37).min(26.0)
        };
        (middle - half, middle + half)
    }

    /// Adds a panel's slices to those of each series.
    fn slices(&self, panel: &Panel, plot: &Area, slices: &mut [Vec<Area>]) {
        for (place, column) in panel.columns.iter().enumerate() {
            let (x0, x1) = self.column(plot, place);
            let mut below = 0.0;
            for (areas, value) in slices.iter_mut().zip(column.iter().flatten()) {
                let (foot, head) = (self.up(plot, below), self.up(plot, below + value));
                if *value > 0.0 {
                    areas.push(Area::new(x0, head, x1, foot));
                }
                below += value;
            }
        }
    }
}

fn panels(
    c: &mut Canvas,
    data: &StackedColumns,
    layout: &Layout,
    (width, height): (f64, f64),
) -> Result<(), ChartError> {
    let rows = layout.rows as f64;
    let plot_height =
        ((height - layout.top - FOOT - (rows - 1.0) * BETWEEN) / rows - NAME).max(20.0);
    let highest = data.highest();
    let top = if highest > 0.0 { highest } else { 1.0 };
    // Air for the totals above the columns.
    let y = Range::linear("cost", [0.0, top * (1.0 + 15.0 / plot_height)])?;
    let small = Type::new(11.0, SOFT);
    let ticks = linear_ticks(&y, plot_height, small.size, 14.0, true);
    let left = ticks
        .iter()
        .map(|t| small.width(&t.label))
        .fold(14.0, f64::max)
        + 12.0;
    let decimals = decimals_for(highest);
    let total = Type::new(10.5, INK);
    let widest = data
        .panels
        .iter()
        .flat_map(|p| p.columns.iter().flatten())
        .map(|column| total.width(&number(column.iter().sum(), decimals)))
        .fold(0.0, f64::max);
    let cell = (width - left - EDGE - layout.beside) / layout.across as f64;
    let periods = data.periods.len() as f64;
    let above_each = widest + 4.0 <= (cell - 16.0) / periods;
    let gutter = if above_each || layout.beside > 0.0 {
        0.0
    } else {
        widest + 5.0
    };
    let between = if layout.across == 1 { 4.0 } else { 16.0 };
    let pitch = (cell - between - gutter) / periods;
    let common = Common {
        data,
        y,
        ticks,
        decimals,
        gutter: if above_each { 0.0 } else { gutter.max(1.0) },
        pitch,
        marked: marked(&data.periods, pitch, small),
    };
    // Slices of all panels together: one shape a series.
    let mut slices: Vec<Vec<Area>> = vec![Vec::new(); data.series.len()];
    let mut plots = Vec::new();
    for (place, panel) in data.panels.iter().enumerate() {
        let (row, col) = (place / layout.across, place % layout.across);
        let x0 = left + col as f64 * cell;
        let y0 = layout.top + row as f64 * (plot_height + NAME + BETWEEN) + NAME;
        let plot = Area::new(x0, y0, x0 + cell - between - gutter, y0 + plot_height);
        let name = Type::bold(11.5, INK);
        let room = cell - between + layout.beside;
        c.text(
            &fit(&panel.name, name.size, true, room),
            (x0, y0 - 6.0),
            name,
            Anchor::Start,
        )?;
        let hairs = common.ticks.iter().map(|t| common.up(&plot, t.value));
        marks::hairs_across(c, &plot, hairs)?;
        if col == 0 {
            for tick in &common.ticks {
                let at = (x0 - 6.0, common.up(&plot, tick.value) + 4.0);
                c.text(&tick.label, at, small, Anchor::End)?;
            }
        }
        common.slices(panel, &plot, &mut slices);
        plots.push(plot);
    }
    for (series, areas) in data.series.iter().zip(&slices) {
        looks::rects(c, areas, series.look);
    }
    for (place, (panel, plot)) in data.panels.iter().zip(plots).enumerate() {
        figures(c, &common, panel, &plot)?;
        let lowest = place + layout.across >= data.panels.len();
        common.marked.draw(c, &plot, pitch, lowest)?;
        if layout.beside > 0.0 && place == 0 {
            names_beside(c, &common, panel, &plot)?;
        }
    }
    Ok(())
}

/// Foot, gaps and totals of one panel.
fn figures(
    c: &mut Canvas,
    common: &Common<'_>,
    panel: &Panel,
    plot: &Area,
) -> Result<(), ChartError> {
    marks::foot(c, plot)?;
    let mut start = None;
    for place in 0..=panel.columns.len() {
        let unknown = panel.columns.get(place).is_some_and(Option::is_none);
        match (start, unknown) {
            (None, true) => start = Some(place),
            (Some(from), false) => {
                let x0 = common.column(plot, from).0;
                let x1 = common.column(plot, place - 1).1;
                unknown_mark(c, (x0, x1), plot.y1)?;
                start = None;
            }
            _ => {}
        }
    }
    let look = Type::new(10.5, INK);
    let last = panel.columns.len().saturating_sub(1);
    for (place, column) in panel.columns.iter().enumerate() {
        let Some(column) = column else { continue };
        let sum: f64 = column.iter().sum();
        let words = number(sum, common.decimals);
        let (x0, x1) = common.column(plot, place);
        let y = common.up(plot, sum);
        if common.gutter == 0.0 {
            c.text(&words, ((x0 + x1) / 2.0, y - 4.0), look, Anchor::Middle)?;
        } else if place == last && common.gutter > 1.0 {
            let at = (x1 + 4.0, (y + 4.0).min(plot.y1 - 1.0));
            c.text(&words, at, look, Anchor::Start)?;
        }
    }
    Ok(())
}

/// A dotted box on the foot of the panel where nothing is known.
fn unknown_mark(c: &mut Canvas, (x0, x1): (f64, f64), y: f64) -> Result<(), ChartError> {
    let (head, x1) = (y - 9.0, x1.max(x0 + 2.0));
    let outline = [(x0, y), (x0, head), (x1, head), (x1, y)];
    c.path(&outline, SOFT, 1.0, Dash::Dotted)
}

/// The series' names right of the first panel, each as near as may be to its slice of the last
/// column.
fn names_beside(
    c: &mut Canvas,
    common: &Common<'_>,
    panel: &Panel,
    plot: &Area,
) -> Result<(), ChartError> {
    let last = panel.columns.last().and_then(Option::as_ref);
    // Wished height of each name, from the top of the stack down.
    let mut wished: Vec<(Option<f64>, Entry)> = Vec::new();
    let mut below: f64 = last.map_or(0.0, |column| column.iter().sum());
    if common.gutter > 0.0 && last.is_some() {
        wished.push((Some(common.up(plot, below)), Entry::Total(below)));
    }
    for (n, _) in common.data.series.iter().enumerate().rev() {
        let value = last.map_or(0.0, |column| column[n]);
        below -= value;
        let middle = common.up(plot, below + value / 2.0);
        wished.push(((value > 0.0).then_some(middle), Entry::Series(n)));
    }
    if common.data.gaps() {
        wished.push((None, Entry::Unknown));
    }
    let floor = plot.y1 - 6.0;
    let mut heights: Vec<f64> = Vec::new();
    for (wish, _) in &wished {
        let least = heights
            .last()
            .map_or(plot.y0 - NAME + 22.0, |y: &f64| y + SIDE_STEP);
        heights.push(wish.map_or(least, |y| y.max(least)));
    }
    let mut most = floor;
    for y in heights.iter_mut().rev() {
        *y = y.min(most);
        most = *y - SIDE_STEP;
    }
    let foot = common.column(plot, panel.columns.len().saturating_sub(1)).1;
    let x = plot.x1 + 18.0;
    for ((wish, entry), y) in wished.iter().zip(heights) {
        if let Some(wish) = wish {
            let knee = plot.x1 + 4.0;
            let leader = [
                (foot + 1.0, *wish),
                (knee, *wish),
                (x - 5.0, y),
                (x - 2.0, y),
            ];
            c.path(&leader, SOFT, 0.6, Dash::Solid)?;
        }
        let words_at = (x + marks::SAMPLE_WIDTH + 6.0, y + 4.0);
        match entry {
            Entry::Total(sum) => {
                let words = total_words(*sum, common.decimals);
                c.text(&words, (x, y + 4.0), TOTAL, Anchor::Start)?;
            }
            Entry::Series(n) => {
                let series = &common.data.series[*n];
                looks::sample(c, (x, y), series.look);
                c.text(&series.name, words_at, Type::new(11.0, INK), Anchor::Start)?;
            }
            Entry::Unknown => {
                unknown_mark(c, (x, x + marks::SAMPLE_WIDTH), y + 5.0)?;
                c.text(UNKNOWN, words_at, Type::new(11.0, INK), Anchor::Start)?;
            }
        }
    }
    Ok(())
}

fn total_words(sum: f64, decimals: usize) -> String {
    format!("total {}", number(sum, decimals))
}

enum Entry {
    Total(f64),
    Series(usize),
    Unknown,
}

fn description(data: &StackedColumns) -> String {
    let mut out = format!("{}, stacked", data.y_title);
    match (data.periods.first(), data.periods.last()) {
        (Some(first), Some(last)) if first != last => {
            out.push_str(&format!(", from {first} to {last}."));
        }
        (Some(first), _) => out.push_str(&format!(", {first}.")),
        _ => out.push_str(". Nothing on record for these periods."),
    }
    let decimals = decimals_for(data.highest());
    for panel in &data.panels {
        out.push_str(&format!(" {}: ", panel.name));
        let known = panel.columns.iter().zip(&data.periods);
        let known: Vec<_> = known
            .filter_map(|(c, p)| c.as_ref().map(|c| (c, p)))
            .collect();
        let Some((last, period)) = known.last() else {
            out.push_str("nothing known.");
            continue;
        };
        let sums = || known.iter().map(|(c, _)| c.iter().sum::<f64>());
        let (least, most) = (
            sums().fold(f64::INFINITY, f64::min),
            sums().fold(0.0, f64::max),
        );
        let sum: f64 = last.iter().sum();
        out.push_str(&format!(
            "between {} and {}, {} in {period}",
            number(least, decimals),
            number(most, decimals),
            number(sum, decimals)
        ));
        let largest = data
            .series
            .iter()
            .zip(last.iter())
            .max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((series, value)) = largest
            && *value > 0.0
        {
            out.push_str(&format!(
                ", most of it {} ({})",
                series.name,
                number(*value, decimals)
            ));
        }
        let unknown = panel.columns.len() - known.len();
        if unknown > 0 {
            let periods = if unknown == 1 { "period" } else { "periods" };
            let unknown = number(unknown as f64, 0);
            out.push_str(&format!("; nothing known of {unknown} {periods}"));
        }
        out.push('.');
    }
    out
}
