//! What changed a sum between two periods: before, each step up or down, after.
//!
//! In: [`ChangeBars`], numbers only. Out: SVG text. Never: finding causes, files, clock.
//!
//! Rows lie under each other, so that causes have room for their names. The axis starts at zero
//! unless the steps would be too small to see; then it is visibly broken and says where it starts.

use super::axis::{Range, finite, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::looks::{self, DOWN, UP};
use super::marks;
use super::palette::{BAR, HAIR, INK, PAPER, SOFT};
use super::place::{Area, EDGE};
use super::text::{decimals_for, fit, number};
use super::{ChartError, Size, checked_id};

/// A change from one sum to another as numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ChangeBars {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line.
    pub title: String,
    /// Axis words with the unit, e.g. "EUR per running hour (h)".
    pub x_title: String,
    /// Name and value of the first period.
    pub before: (String, f64),
    /// Cause and what it added (above 0) or took away (below 0), in this order.
    pub steps: Vec<(String, f64)>,
    /// Name and value of the second period: `before` and all steps added up.
    pub after: (String, f64),
}

const TOP: f64 = 36.0;
const FOOT: f64 = 42.0;
const NAME: Type = Type::new(11.5, INK);
const TOTAL: Type = Type::bold(11.5, INK);
const VALUE: Type = Type::new(11.0, INK);

impl ChangeBars {
    /// The height at which the rows stand well at this width.
    pub fn size(&self, width_px: u32) -> Size {
        let rows = self.steps.len() as f64 + 2.0;
        let pitch = if rows <= 14.0 { 27.0 } else { 22.0 };
        Size {
            width_px,
            height_px: ((TOP + rows * pitch + FOOT).ceil() as u32).max(200),
        }
    }

    /// From where to where each row's bar goes.
    fn spans(&self) -> Vec<(f64, f64)> {
        let mut level = self.before.1;
        let mut out = vec![(0.0, level)];
        for (_, step) in &self.steps {
            out.push((level, level + step));
            level += step;
        }
        out.push((0.0, self.after.1));
        out
    }

    fn largest(&self) -> f64 {
        let steps = self.steps.iter().map(|s| s.1.abs());
        steps.fold(self.before.1.abs().max(self.after.1.abs()), f64::max)
    }
}

/// Draws the rows as SVG text. [`ChangeBars::size`] gives a fitting size.
///
/// Errors: [`ChartError::Axis`] for a value that is not finite, [`ChartError::Sum`] where the
/// steps do not lead from before to after, [`ChartError::Id`], [`ChartError::Size`].
pub fn change_bars(data: &ChangeBars, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let spans = data.spans();
    let (x, broken) = axis(&spans)?;
    // Steps are far smaller than the sums: the figures of both are written as finely as theirs.
    let steps = data.steps.iter().map(|s| s.1.abs()).fold(0.0, f64::max);
    let fine = if steps > 0.0 {
        decimals_for(steps * 10.0)
    } else {
        0
    };
    let decimals = decimals_for(data.largest()).max(fine);
    let said: Vec<String> = row_values(data, decimals);
    let names = || {
        let steps = data.steps.iter().map(|s| (s.0.as_str(), NAME));
        [(data.before.0.as_str(), TOTAL)]
            .into_iter()
            .chain(steps)
            .chain([(data.after.0.as_str(), TOTAL)])
    };
    let widest = names()
        .map(|(name, look)| look.width(name))
        .fold(40.0, f64::max);
    let left = EDGE + widest.min(0.34 * width);
    let right = said.iter().map(|s| TOTAL.width(s)).fold(0.0, f64::max) + 10.0;
    let plot = Area::new(left + 10.0, TOP, width - EDGE - right, height - FOOT);
    let across = |v: f64| plot.x0 + x.share(v).max(0.0) * plot.width();

    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    let small = Type::new(11.0, SOFT);
    let ticks = linear_ticks(&x, plot.width(), small.size, 18.0, false);
    let shown: Vec<_> = ticks
        .iter()
        .filter(|t| !broken || across(t.value) > plot.x0 + 26.0)
        .collect();
    marks::hairs_up(&mut c, &plot, shown.iter().map(|t| across(t.value)))?;
    for tick in shown {
        let at = across(tick.value);
        c.line((at, plot.y1), (at, plot.y1 + 4.0), INK, 0.8, Dash::Solid)?;
        let middle = at.max(EDGE + small.width(&tick.label) / 2.0);
        c.text(&tick.label, (middle, plot.y1 + 16.0), small, Anchor::Middle)?;
    }
    let step = plot.height() / spans.len() as f64;
    let half = (step * 0.33).min(9.0);
    let last = spans.len() - 1;
    for (n, ((from, to), (name, look))) in spans.iter().zip(names()).enumerate() {
        let y = plot.y0 + (n as f64 + 0.5) * step;
        let name = fit(name, look.size, look.bold, left - EDGE);
        c.text(&name, (left, y + 4.0), look, Anchor::End)?;
        let (x0, x1) = (across(from.min(*to)), across(from.max(*to)));
        let area = Area::new(x0, y - half, x1, y + half);
        if n == 0 || n == last {
            c.rect(&area, BAR)?;
            c.outline(&area, INK, 0.8)?;
            if broken {
                torn(&mut c, plot.x0 + 12.0, (y - half, y + half))?;
            }
        } else if x1 > x0 {
            let look = if to > from { UP } else { DOWN };
            looks::rects(&mut c, &[area], look);
        } else {
            c.line((x0, y - half), (x0, y + half), INK, 1.2, Dash::Solid)?;
        }
        let look = if n == 0 || n == last { TOTAL } else { VALUE };
        c.text(&said[n], (x1 + 6.0, y + 4.0), look, Anchor::Start)?;
        if n < last {
            let at = across(*to);
            c.line(
                (at, y + half),
                (at, y + step - half),
                SOFT,
                0.8,
                Dash::Solid,
            )?;
        }
    }
    let y = plot.y1 - step;
    c.line((EDGE, y), (width - EDGE, y), HAIR, 0.8, Dash::Solid)?;
    ends(&mut c, data, &plot, (&x, broken), width)?;
    Ok(c.finish(id, &data.title, &description(data, decimals)))
}

fn check(data: &ChangeBars) -> Result<(), ChartError> {
    finite("value", data.before.1)?;
    finite("value", data.after.1)?;
    let mut reached = data.before.1;
    for (_, step) in &data.steps {
        reached = finite("value", reached + finite("value", *step)?)?;
    }
    if (reached - data.after.1).abs() <= 1e-6 * data.largest() {
        Ok(())
    } else {
        Err(ChartError::Sum {
            reached: reached.to_string(),
            after: data.after.1.to_string(),
        })
    }
}

/// The axis, and whether it starts above zero.
fn axis(spans: &[(f64, f64)]) -> Result<(Range, bool), ChartError> {
    let levels = || spans.iter().map(|s| s.1);
    let least = levels().fold(f64::INFINITY, f64::min);
    let most = levels().fold(f64::NEG_INFINITY, f64::max);
    let change = most - least;
    if least > 0.0 && change > 0.0 && change < 0.25 * most {
        let lo = (least - change * 0.8).max(0.0);
        if lo > 0.0 {
            return Ok((Range::linear("value", [lo, most])?, true));
        }
    }
    Ok((
        Range::linear("value", [least.min(0.0), most.max(0.0)])?,
        false,
    ))
}

fn row_values(data: &ChangeBars, decimals: usize) -> Vec<String> {
    let mut out = vec![number(data.before.1, decimals)];
    out.extend(
        data.steps
            .iter()
            .map(|(_, step)| step_words(*step, decimals)),
    );
    out.push(number(data.after.1, decimals));
    out
}

/// "up 1.20", "down 0.80", "no change".
fn step_words(step: f64, decimals: usize) -> String {
    let size = number(step.abs(), decimals);
    if step > 0.0 {
        format!("up {size}")
    } else if step < 0.0 {
        format!("down {size}")
    } else {
        "no change".to_owned()
    }
}

/// A white zigzag across a bar: a piece of it is left out.
fn torn(c: &mut Canvas, x: f64, (y0, y1): (f64, f64)) -> Result<(), ChartError> {
    let zigzag = |x: f64| -> Vec<(f64, f64)> {
        (0..=4)
            .map(|n| {
                let y = y0 - 2.0 + f64::from(n) * (y1 - y0 + 4.0) / 4.0;
                (x + if n % 2 == 0 { -2.5 } else { 2.5 }, y)
            })
            .collect()
    };
    c.path(&zigzag(x), PAPER, 5.0, Dash::Solid)?;
    c.path(&zigzag(x - 2.6), INK, 0.8, Dash::Solid)?;
    c.path(&zigzag(x + 2.6), INK, 0.8, Dash::Solid)
}

/// The axis' line and words, the zero or the break.
fn ends(
    c: &mut Canvas,
    data: &ChangeBars,
    plot: &Area,
    (x, broken): (&Range, bool),
    width: f64,
) -> Result<(), ChartError> {
    let label = Type::new(11.5, INK);
    let y = plot.y1 + 34.0;
    marks::foot(c, plot)?;
    if broken {
        torn(c, plot.x0 + 12.0, (plot.y1 - 3.0, plot.y1 + 3.0))?;
        let look = Type::bold(11.0, INK);
        let words = "The axis does not start at zero.";
        c.text(words, (EDGE, y), look, Anchor::Start)?;
        let room = width - 3.0 * EDGE - look.width(words) - 12.0;
        let words = fit(&data.x_title, label.size, false, room);
        c.text(&words, (width - EDGE, y), label, Anchor::End)?;
        return Ok(());
    }
    let zero = plot.x0 + x.share(0.0) * plot.width();
    c.line((zero, plot.y0), (zero, plot.y1), INK, 1.0, Dash::Solid)?;
    let words = fit(&data.x_title, label.size, false, width - 2.0 * EDGE);
    let from = plot.x0.min(width - EDGE - label.width(&words));
    c.text(&words, (from, y), label, Anchor::Start)?;
    Ok(())
}

fn description(data: &ChangeBars, decimals: usize) -> String {
    let mut out = format!(
        "{}. {}: {}.",
        data.x_title,
        data.before.0,
        number(data.before.1, decimals)
    );
    for (name, step) in &data.steps {
        out.push_str(&format!(" {name}: {}.", step_words(*step, decimals)));
    }
    out.push_str(&format!(
        " {}: {}.",
        data.after.0,
        number(data.after.1, decimals)
    ));
    out
}
