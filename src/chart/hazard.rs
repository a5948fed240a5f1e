//! How likely a failure is at each age: failures per unit of usage against usage, with limits.
//!
//! In: [`HazardCurve`], numbers only. Out: SVG text. Never: estimation, files, clock.
//!
//! The rate's axis starts at zero: a flat curve is meant to look flat.

use super::axis::{Range, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type, clip_line};
use super::frame::Frame;
use super::marks;
use super::palette::{BAND_EDGE, BLUE, INK, PAPER, SOFT};
use super::paper::plural;
use super::place::{Area, EDGE};
use super::text::{fit, number, significant};
use super::{ChartError, Size, amount, checked_id, forwards};

/// The rate at one age.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct HazardPoint {
    /// Age, ≥ 0.
    pub usage: f64,
    /// Failures per unit of the axis, ≥ 0.
    pub value: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit, not below the lower.
    pub upper: f64,
}

/// Failure rate against age as numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct HazardCurve {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "Age in running hours (h)".
    pub x_title: String,
    /// Axis words with the unit, e.g. "Failures per 1,000 h".
    pub y_title: String,
    /// What the band is, e.g. "90 % limits".
    pub limits_name: String,
    /// The curve, rising in usage. Empty: nothing could be estimated.
    pub points: Vec<HazardPoint>,
    /// Ages (≥ 0) at which items failed.
    pub failures: Vec<f64>,
    /// Ages (≥ 0) of lives that ended or still run without failure.
    pub suspensions: Vec<f64>,
    /// An age to mark, and what is written there, e.g. "recommended 2,000 h".
    pub interval: Option<(f64, String)>,
    /// All failures and suspensions, where only some of them are among those above, to be drawn.
    pub all: Option<(usize, usize)>,
}

/// Height of a strip for ages, and the air between it and the plot.
const STRIP: f64 = 15.0;
const AIR: f64 = 6.0;
const MANY: usize = 60;

/// Draws the curve as SVG text.
///
/// Errors: [`ChartError::Axis`] for a number that is negative or not finite,
/// [`ChartError::Backwards`] for limits or a curve that run backwards, [`ChartError::Id`],
/// [`ChartError::Size`].
pub fn hazard_curve(data: &HazardCurve, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let (top, cut) = highest(data);
    let x = Range::linear("usage", [0.0, farthest(data) * 1.02])?;
    let y = Range::linear("rate", [0.0, top])?;
    let small = Type::new(11.0, SOFT);
    let (failures, suspensions) = data
        .all
        .unwrap_or((data.failures.len(), data.suspensions.len()));
    let strips = [
        plural(failures, "failure", "failures"),
        plural(suspensions, "suspension", "suspensions"),
    ];
    let foot = height - 52.0 - AIR - 2.0 * STRIP;
    let mut ticks = linear_ticks(&y, foot - 70.0, small.size, 18.0, true);
    if data.points.is_empty() {
        // An axis nothing stands on would pretend to a range.
        ticks.clear();
    }
    let left = ticks
        .iter()
        .map(|t| &t.label)
        .chain(&strips)
        .map(|words| small.width(words))
        .fold(28.0, f64::max)
        + 14.0;
    let plot = Area::new(left, 70.0, width - 18.0, foot);
    let frame = Frame { plot, x, y };

    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    head(&mut c, data, cut, width)?;
    let shown: Vec<_> = ticks.iter().filter(|t| frame.y.holds(t.value)).collect();
    marks::hairs_across(&mut c, &plot, shown.iter().map(|t| frame.up(t.value)))?;
    for tick in shown {
        let at = (plot.x0 - 7.0, frame.up(tick.value) + 4.0);
        c.text(&tick.label, at, small, Anchor::End)?;
    }
    curve(&mut c, data, &frame)?;
    marks::axes(&mut c, &plot)?;
    rugs(&mut c, data, &frame, &strips)?;
    under(&mut c, data, &frame)?;
    mark(&mut c, data, &frame, width)?;
    if data.points.is_empty() {
        let at = ((plot.x0 + plot.x1) / 2.0, (plot.y0 + plot.y1) / 2.0);
        let words = "Not enough evidence for a curve.";
        c.text_on_lines(words, at, Type::new(13.0, INK), Anchor::Middle)?;
    }
    Ok(c.finish(id, &data.title, &description(data, cut)))
}

fn check(data: &HazardCurve) -> Result<(), ChartError> {
    let mut before = 0.0;
    for p in &data.points {
        amount("usage", p.usage)?;
        amount("rate", p.value)?;
        amount("rate", p.lower)?;
        amount("rate", p.upper)?;
        forwards("the limits", p.lower, p.upper)?;
        forwards("the curve", before, p.usage)?;
        before = p.usage;
    }
    for usage in data.failures.iter().chain(&data.suspensions) {
        amount("usage", *usage)?;
    }
    match &data.interval {
        Some((usage, _)) => amount("usage", *usage).map(|_| ()),
        None => Ok(()),
    }
}

fn farthest(data: &HazardCurve) -> f64 {
    data.points
        .iter()
        .map(|p| p.usage)
        .chain(data.failures.iter().copied())
        .chain(data.suspensions.iter().copied())
        .chain(data.interval.iter().map(|i| i.0))
        .fold(0.0, f64::max)
}

/// The top of the axis, and whether curve or limits pass it: a rate that is endless at age 0, or
/// a limit far above the curve, would press all else flat.
fn highest(data: &HazardCurve) -> (f64, bool) {
    let mut values: Vec<f64> = data.points.iter().map(|p| p.value).collect();
    values.sort_by(f64::total_cmp);
    let (Some(middle), Some(last)) = (values.get(values.len() / 2), values.last()) else {
        return (1.0, false);
    };
    let curve = if *middle > 0.0 {
        last.min(middle * 6.0)
    } else {
        *last
    };
    let upper = data.points.iter().map(|p| p.upper).fold(0.0, f64::max);
    let most = if values.len() > 3 {
        curve * 2.5
    } else {
        f64::MAX
    };
    let top = (curve * 1.1).max((upper * 1.04).min(most));
    let top = if top > 0.0 { top } else { 1.0 };
    (top, upper.max(*last) > top * (1.0 + 1e-9))
}

/// The axis' words, and at their right what the band is.
fn head(c: &mut Canvas, data: &HazardCurve, cut: bool, width: f64) -> Result<(), ChartError> {
    let label = Type::new(11.5, INK);
    let mut room = width;
    if data.points.iter().any(|p| p.lower < p.upper) {
        let more = if cut { ", cut off at the top" } else { "" };
        let words = format!("{}{more}", data.limits_name);
        let name = fit(&words, 11.0, false, 0.45 * width);
        let look = Type::new(11.0, SOFT);
        let from = width - EDGE - look.width(&name);
        c.text(&name, (from, 41.0), look, Anchor::Start)?;
        marks::limits_sample(c, from - marks::SAMPLE_WIDTH - 6.0, 37.0)?;
        room = from - marks::SAMPLE_WIDTH - 16.0;
    }
    marks::head_line(c, &data.y_title, 41.0, label, room)
}

fn curve(c: &mut Canvas, data: &HazardCurve, frame: &Frame) -> Result<(), ChartError> {
    let along = |rate: fn(&HazardPoint) -> f64| -> Vec<(f64, f64)> {
        let place = |p: &HazardPoint| (frame.across(p.usage), frame.up(rate(p)));
        data.points.iter().map(place).collect()
    };
    let (lower, upper) = (along(|p| p.lower), along(|p| p.upper));
    let middle = along(|p| p.value);
    if let ([(x, y)], [(_, low)], [(_, high)]) = (&middle[..], &lower[..], &upper[..]) {
        // One point is no line: a dot with its limits.
        let high = high.max(frame.plot.y0);
        let cap = |y: f64| ((x - 4.0, y), (x + 4.0, y));
        let low = low.min(frame.plot.y1);
        c.strokes(
            &[((*x, low), (*x, high)), cap(low), cap(high)],
            BAND_EDGE,
            1.4,
        )?;
        return c.disc((*x, *y), 4.0, BLUE, Some((PAPER, 0.8)));
    }
    if data.points.iter().any(|p| p.lower < p.upper) {
        marks::limits_band(c, &lower, &upper, &frame.plot)?;
    }
    for piece in clip_line(&middle, &frame.plot) {
        c.path(&piece, BLUE, 2.4, Dash::Solid)?;
    }
    Ok(())
}

/// One strip for the ages at failure, one for those of lives that had none.
fn rugs(
    c: &mut Canvas,
    data: &HazardCurve,
    frame: &Frame,
    names: &[String; 2],
) -> Result<(), ChartError> {
    let plot = frame.plot;
    let small = Type::new(11.0, SOFT);
    for (n, name) in names.iter().enumerate() {
        let y = plot.y1 + AIR + (n as f64 + 0.5) * STRIP;
        let at = (plot.x0 - 7.0, y + 4.0);
        c.text(name, at, small, Anchor::End)?;
    }
    let y = plot.y1 + AIR + STRIP / 2.0;
    let radius = if data.failures.len() > MANY { 2.2 } else { 3.4 };
    for usage in &data.failures {
        marks::failure(c, (frame.across(*usage), y), radius)?;
    }
    let y = plot.y1 + AIR + STRIP * 1.5;
    let ticks: Vec<_> = data
        .suspensions
        .iter()
        .map(|usage| {
            let x = frame.across(*usage);
            ((x, y - 4.5), (x, y + 4.5))
        })
        .collect();
    let thin = if data.suspensions.len() > MANY {
        0.6
    } else {
        1.0
    };
    c.strokes(&ticks, INK, thin)
}

/// Ticks and words of the usage axis, below the strips.
fn under(c: &mut Canvas, data: &HazardCurve, frame: &Frame) -> Result<(), ChartError> {
    let plot = frame.plot;
    let y = plot.y1 + AIR + 2.0 * STRIP;
    let small = Type::new(11.0, SOFT);
    c.line((plot.x0, y), (plot.x1, y), SOFT, 0.8, Dash::Solid)?;
    for tick in linear_ticks(&frame.x, plot.width(), small.size, 18.0, false) {
        let x = frame.across(tick.value);
        c.line((x, y), (x, y + 4.0), SOFT, 0.8, Dash::Solid)?;
        let half = small.width(&tick.label) / 2.0;
        if x - half >= 2.0 && x + half <= plot.x1 + 16.0 {
            c.text(&tick.label, (x, y + 16.0), small, Anchor::Middle)?;
        }
    }
    let label = Type::new(11.5, INK);
    let words = fit(&data.x_title, label.size, false, plot.width());
    c.text(&words, (plot.x1, y + 33.0), label, Anchor::End)?;
    Ok(())
}

fn mark(c: &mut Canvas, data: &HazardCurve, frame: &Frame, width: f64) -> Result<(), ChartError> {
    let Some((usage, words)) = &data.interval else {
        return Ok(());
    };
    let plot = frame.plot;
    let x = frame.across(*usage);
    let foot = plot.y1 + AIR + 2.0 * STRIP;
    c.line((x, plot.y0 - 6.0), (x, foot), INK, 1.8, Dash::Solid)?;
    let look = Type::bold(11.5, INK);
    let words = fit(words, look.size, true, width - 2.0 * EDGE);
    let from = (x - 3.0).min(width - EDGE - look.width(&words)).max(EDGE);
    c.text(&words, (from, plot.y0 - 10.0), look, Anchor::Start)?;
    Ok(())
}

fn description(data: &HazardCurve, cut: bool) -> String {
    let mut out = format!("{} against {}.", data.y_title, data.x_title);
    match (data.points.first(), data.points.last()) {
        (Some(first), Some(last)) if data.points.len() > 1 => {
            let steps = [first, &data.points[data.points.len() / 2], last];
            let told = steps.map(|p| {
                format!(
                    "{} at {} ({} to {})",
                    significant(p.value, 3),
                    significant(p.usage, 3),
                    significant(p.lower, 3),
                    significant(p.upper, 3)
                )
            });
            out.push_str(&format!(
                " {}; in brackets {}.",
                told.join(", "),
                data.limits_name
            ));
        }
        (Some(only), _) => out.push_str(&format!(
            " {} at {} ({}: {} to {}).",
            significant(only.value, 3),
            significant(only.usage, 3),
            data.limits_name,
            significant(only.lower, 3),
            significant(only.upper, 3)
        )),
        _ => out.push_str(" There is not enough evidence for a curve."),
    }
    if cut {
        out.push_str(" The highest values lie above the picture.");
    }
    out.push_str(&format!(
        " {}, {}.",
        plural(data.failures.len(), "failure", "failures"),
        plural(data.suspensions.len(), "suspension", "suspensions")
    ));
    if let Some((usage, words)) = &data.interval {
        out.push_str(&format!(" Marked at {}: {words}.", number(*usage, 0)));
    }
    out
}
