//! Cost per running hour against the interval to renew.
//!
//! In: [`CostCurve`], numbers only. Out: SVG text. Never: optimising, files, clock.
//!
//! The cost axis starts at zero: a shallow curve is meant to look shallow.

use super::axis::{Range, finite, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type, clip_line, text_area};
use super::flags;
use super::frame::Frame;
use super::marks::{self, Sample};
use super::palette::{BLUE, INK, PAPER, RUST, SAND, SOFT};
use super::place::{Area, EDGE, Placer, around};
use super::text::{fit, number, significant};
use super::{ChartError, Size, checked_id, forwards};

/// The cost rate at one interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostPoint {
    /// Interval to renew, ≥ 0.
    pub usage: f64,
    /// Expected cost per unit of usage at that interval.
    pub expected: f64,
    /// Lower limit of the cost.
    pub lower: f64,
    /// Upper limit of the cost.
    pub upper: f64,
}

/// Cost rate against interval as numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CostCurve {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "Interval to renew (running hours)".
    pub usage_label: String,
    /// Unit behind a usage, e.g. "h".
    pub usage_unit: String,
    /// Axis words with the unit, e.g. "Cost (EUR per 1,000 h)".
    pub cost_label: String,
    /// Unit behind a cost, e.g. "EUR per 1,000 h".
    pub cost_unit: String,
    /// The curve, rising in usage. Empty: nothing could be estimated.
    pub points: Vec<CostPoint>,
    /// What the band is, e.g. "90 % limits".
    pub band_name: String,
    /// The least point: (interval, cost).
    pub least: Option<(f64, f64)>,
    /// The interval recommended, after planning grid and ceiling.
    pub recommended: Option<f64>,
    /// The near-optimal range of intervals, and what it means, e.g. "within 5 % of the least".
    pub near_optimal: Option<(f64, f64)>,
    /// What the near-optimal range means.
    pub near_optimal_name: String,
    /// An interval never to be passed.
    pub ceiling: Option<f64>,
    /// What the crew does today.
    pub present: Option<f64>,
    /// Cost of never renewing before failure.
    pub run_to_failure: Option<f64>,
}

/// Draws the curve as SVG text.
///
/// Errors: [`ChartError::Axis`] for a number that is not finite or negative,
/// [`ChartError::Backwards`] for limits or a range that run backwards, [`ChartError::Id`],
/// [`ChartError::Size`].
pub fn cost_curve(data: &CostCurve, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let x = Range::linear("interval", [0.0, farthest(data)])?;
    let y = Range::linear("cost", [0.0, highest(data)])?;
    let key = key_entries(data);
    let key_height = marks::key_height(&key, width - 2.0 * EDGE);
    let small = Type::new(11.0, SOFT);
    let foot = height - key_height - 52.0;
    let cost_ticks = linear_ticks(&y, foot - 110.0, small.size, 18.0, true);
    let left = cost_ticks
        .iter()
        .map(|t| small.width(&t.label))
        .fold(28.0, f64::max)
        + 20.0;
    let mut plot = Area {
        x0: left,
        y0: 64.0,
        x1: width - 18.0,
        y1: foot,
    };
    let flags = flags::stack(data, &x, &mut plot);
    let frame = Frame { plot, x, y };

    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    let label = Type::new(11.5, INK);
    marks::head_line(&mut c, &data.cost_label, 41.0, label, width)?;
    let mut placer = Placer::default();
    ground(&mut c, data, &frame, &cost_ticks)?;
    lines(&mut c, data, &frame, &mut placer)?;
    flags::draw(&mut c, &flags, &plot, &mut placer)?;
    level(&mut c, data, &frame, &mut placer)?;
    least(&mut c, data, &frame, &mut placer)?;
    if data.points.is_empty() {
        let look = Type::new(13.0, INK);
        let words = "Not enough evidence for a cost curve.";
        let at = ((plot.x0 + plot.x1) / 2.0, (plot.y0 + plot.y1) / 2.0);
        c.rect(
            &text_area(words, at, look, Anchor::Middle).grown(8.0),
            PAPER,
        )?;
        c.text(words, at, look, Anchor::Middle)?;
    }
    marks::key(
        &mut c,
        &key,
        (EDGE, height - key_height - 6.0),
        width - 2.0 * EDGE,
    )?;
    Ok(c.finish(id, &data.title, &description(data)))
}

fn check(data: &CostCurve) -> Result<(), ChartError> {
    let usable = |axis: &'static str, value: f64| {
        finite(axis, value)?;
        if value >= 0.0 {
            Ok(())
        } else {
            Err(ChartError::Axis {
                axis,
                value: value.to_string(),
            })
        }
    };
    for p in &data.points {
        usable("interval", p.usage)?;
        usable("cost", p.expected)?;
        usable("cost", p.lower)?;
        usable("cost", p.upper)?;
        forwards("the limits", p.lower, p.upper)?;
    }
    if let Some((usage, cost)) = data.least {
        usable("interval", usage)?;
        usable("cost", cost)?;
    }
    if let Some((from, to)) = data.near_optimal {
        usable("interval", from)?;
        usable("interval", to)?;
        forwards("the near-optimal range", from, to)?;
    }
    for usage in [data.recommended, data.ceiling, data.present]
        .into_iter()
        .flatten()
    {
        usable("interval", usage)?;
    }
    data.run_to_failure.map_or(Ok(()), |c| usable("cost", c))
}

/// The curve decides how far the axis goes; marks a little beyond it are still shown.
fn farthest(data: &CostCurve) -> f64 {
    let curve = data.points.iter().map(|p| p.usage).fold(0.0, f64::max);
    let marks = [data.recommended, data.ceiling, data.present]
        .into_iter()
        .flatten()
        .chain(data.least.map(|l| l.0));
    if curve > 0.0 {
        marks
            .filter(|m| *m <= curve * 1.5)
            .fold(curve, |far, m| far.max(m * 1.02))
    } else {
        marks.fold(0.0, f64::max) * 1.2
    }
}

/// The cost axis holds the run-to-failure level, the least cost and the curve's far end with
/// their limits' lower half; the steep start of the curve may leave the picture at the top.
fn highest(data: &CostCurve) -> f64 {
    let far = data.points.last();
    let least_cost = data
        .points
        .iter()
        .map(|p| p.expected)
        .fold(f64::INFINITY, f64::min);
    let upper_at_least = data
        .points
        .iter()
        .map(|p| p.upper)
        .fold(f64::INFINITY, f64::min);
    let mut top: f64 = 0.0;
    if least_cost.is_finite() {
        top = top
            .max(least_cost * 1.9)
            .max(upper_at_least.min(least_cost * 4.0) * 1.15);
    }
    if let Some(p) = far {
        top = top
            .max(p.expected * 1.25)
            .max(p.upper.min(p.expected * 1.8));
    }
    top = top.max(data.run_to_failure.unwrap_or(0.0) * 1.3);
    top.max(data.least.map_or(0.0, |l| l.1 * 1.9))
}

fn ground(
    c: &mut Canvas,
    data: &CostCurve,
    frame: &Frame,
    cost_ticks: &[super::axis::Tick],
) -> Result<(), ChartError> {
    let plot = frame.plot;
    if let Some(range) = near_optimal(data, frame) {
        c.rect(&range, SAND)?;
    }
    let small = Type::new(11.0, SOFT);
    let shown: Vec<_> = cost_ticks
        .iter()
        .filter(|t| frame.y.holds(t.value))
        .collect();
    marks::hairs_across(c, &plot, shown.iter().map(|t| frame.up(t.value)))?;
    for tick in shown {
        c.text(
            &tick.label,
            (plot.x0 - 7.0, frame.up(tick.value) + 4.0),
            small,
            Anchor::End,
        )?;
    }
    for tick in linear_ticks(&frame.x, plot.width(), small.size, 18.0, false) {
        let x = frame.across(tick.value);
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

/// The near-optimal range as a rectangle; too narrow a one is widened to be seen.
fn near_optimal(data: &CostCurve, frame: &Frame) -> Option<Area> {
    let plot = frame.plot;
    let shown = data.near_optimal.filter(|(from, _)| frame.x.holds(*from));
    shown.map(|(from, to)| {
        let x0 = frame.across(from).min(plot.x1);
        let x1 = frame.across(to).min(plot.x1).max((x0 + 2.0).min(plot.x1));
        Area { x0, x1, ..plot }
    })
}

fn lines(
    c: &mut Canvas,
    data: &CostCurve,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let plot = frame.plot;
    let along = |cost: fn(&CostPoint) -> f64| -> Vec<(f64, f64)> {
        data.points
            .iter()
            .map(|p| (frame.across(p.usage), frame.up(cost(p))))
            .collect()
    };
    let (lower, upper, middle) = (
        along(|p| p.lower),
        along(|p| p.upper),
        along(|p| p.expected),
    );
    if data.points.len() > 1 && data.points.iter().any(|p| p.lower < p.upper) {
        marks::limits_band(c, &lower, &upper, &plot)?;
    }
    // Over the band, so that the range is seen through it.
    if let Some(range) = near_optimal(data, frame) {
        marks::hatch(c, &range, 9.0)?;
    }
    for piece in clip_line(&middle, &plot) {
        c.path(&piece, BLUE, 2.4, Dash::Solid)?;
        placer.avoid_line(&piece, 4.0);
    }
    marks::axes(c, &plot)
}

fn level(
    c: &mut Canvas,
    data: &CostCurve,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let Some(cost) = data.run_to_failure else {
        return Ok(());
    };
    let plot = frame.plot;
    let y = frame.up(cost);
    c.line((plot.x0, y), (plot.x1, y), RUST, 1.6, Dash::Short)?;
    placer.avoid_line(&[(plot.x0, y), (plot.x1, y)], 2.0);
    let look = Type::new(11.5, RUST);
    let words = format!("run to failure {}", significant(cost, 3));
    let (w, h) = (look.width(&words) + 6.0, look.height() + 2.0);
    let mut wishes = Vec::new();
    for lift in [3.0, 16.0, 30.0] {
        for step in 0..12 {
            let x1 = plot.x1 - 4.0 - f64::from(step) * plot.width() / 14.0;
            for y0 in [y - lift - h, y + lift] {
                wishes.push(Area {
                    x0: x1 - w,
                    y0,
                    x1,
                    y1: y0 + h,
                });
            }
        }
    }
    note(c, placer, &plot, &wishes, &words, look)
}

fn least(
    c: &mut Canvas,
    data: &CostCurve,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let Some((usage, cost)) = data.least else {
        return Ok(());
    };
    let (x, y) = (frame.across(usage), frame.up(cost));
    if !(frame.plot.x0..=frame.plot.x1).contains(&x) {
        return Ok(());
    }
    c.disc((x, y), 5.2, PAPER, Some((BLUE, 2.2)))?;
    placer.take(
        Area {
            x0: x,
            y0: y,
            x1: x,
            y1: y,
        }
        .grown(6.5),
    );
    let look = Type::bold(11.5, BLUE);
    let what = format!("least {}", significant(cost, 3));
    let place = format!("at {} {}", significant(usage, 3), data.usage_unit);
    let one = format!("{what} {place}");
    let h = look.height() + 2.0;
    // On one line where that covers nothing, else on two.
    let wishes = around(x, y, look.width(&one) + 6.0, h, 9.0);
    if let Some(area) = placer.find_clear(&frame.plot, &wishes) {
        return write_note(c, &area, &[&one], look);
    }
    let width = look.width(&what).max(look.width(&place)) + 6.0;
    let lower = around(x, y, width, 2.0 * h - 2.0, 9.0);
    if let Some(area) = placer.find_clear(&frame.plot, &lower) {
        return write_note(c, &area, &[&what, &place], look);
    }
    note(c, placer, &frame.plot, &wishes, &one, look)
}

fn write_note(c: &mut Canvas, area: &Area, lines: &[&str], look: Type) -> Result<(), ChartError> {
    let step = area.height() / lines.len() as f64;
    for (i, line) in lines.iter().enumerate() {
        let y = area.y0 + i as f64 * step + step * 0.76;
        c.text_on_lines(line, (area.x0 + 3.0, y), look, Anchor::Start)?;
    }
    Ok(())
}

fn note(
    c: &mut Canvas,
    placer: &mut Placer,
    bounds: &Area,
    wishes: &[Area],
    words: &str,
    look: Type,
) -> Result<(), ChartError> {
    match placer.find(bounds, wishes) {
        Some(area) => write_note(c, &area, &[words], look),
        None => Ok(()),
    }
}

fn key_entries(data: &CostCurve) -> Vec<(Sample, String)> {
    let mut out = Vec::new();
    if !data.points.is_empty() {
        out.push((Sample::Expected, "expected cost".to_owned()));
        if data.points.iter().any(|p| p.lower < p.upper) {
            out.push((Sample::Limits, data.band_name.clone()));
        }
    }
    if let Some((from, to)) = data.near_optimal {
        let digits = if from >= 100.0 { 0 } else { 1 };
        let farthest = data.points.last().map_or(to, |p| p.usage);
        let to_words = if to >= farthest {
            "and beyond".to_owned()
        } else {
            format!("to {} {}", number(to, digits), data.usage_unit)
        };
        out.push((
            Sample::NearOptimal,
            format!(
                "{}: {} {to_words}",
                data.near_optimal_name,
                number(from, digits)
            ),
        ));
    }
    out
}

fn description(data: &CostCurve) -> String {
    let unit = &data.usage_unit;
    let mut out = format!("{} against {}.", data.cost_label, data.usage_label);
    let mut say = |words: String| {
        out.push(' ');
        out.push_str(&words);
    };
    if data.points.is_empty() {
        say("There is not enough evidence for a curve.".to_owned());
    }
    if let Some((usage, cost)) = data.least {
        say(format!(
            "The least expected cost is {} {} at {} {unit}.",
            significant(cost, 3),
            data.cost_unit,
            significant(usage, 3)
        ));
    }
    if let Some(cost) = data.run_to_failure {
        say(format!(
            "Running to failure costs {} {}.",
            significant(cost, 3),
            data.cost_unit
        ));
    }
    if let Some((from, to)) = data.near_optimal {
        say(format!(
            "Near-optimal from {} to {} {unit}.",
            significant(from, 3),
            significant(to, 3)
        ));
    }
    for (name, usage) in [
        ("Recommended interval", data.recommended),
        ("Present interval", data.present),
        ("Ceiling", data.ceiling),
    ] {
        if let Some(usage) = usage {
            say(format!("{name}: {} {unit}.", number(usage, 0)));
        }
    }
    out
}
