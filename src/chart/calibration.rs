//! The calibration plot: where what came fell in what was forecast.
//!
//! In: heights of equal classes. Out: SVG text. Never: scores; which classes there are.

use super::axis::{Range, finite, linear_ticks};
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::marks;
use super::palette::{BAR, BLUE, INK, SOFT};
use super::place::{Area, EDGE};
use super::text::number;
use super::{ChartError, Size, checked_id};

/// A histogram over the probability scale of forecasts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Calibration {
    pub id: String,
    pub title: String,
    /// How many outcomes, in words, e.g. "132 forecasts of 11 components".
    pub subject: String,
    /// Share of the outcomes in each of the equal classes from 0 to 1, each at least 0.
    pub shares: Vec<f64>,
}

/// Draws the plot as SVG text.
///
/// Errors: [`ChartError::Axis`] where a share is negative or not finite.
pub fn calibration(data: &Calibration, size: Size) -> Result<String, ChartError> {
    let id = checked_id(&data.id)?;
    let size = size.checked()?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    for value in &data.shares {
        finite("share", *value)?;
        if *value < 0.0 {
            return Err(ChartError::Axis {
                axis: "share",
                value: value.to_string(),
            });
        }
    }
    let even = 1.0 / data.shares.len().max(1) as f64;
    let highest = data.shares.iter().copied().fold(2.0 * even, f64::max);
    let y = Range::linear("share", [0.0, 100.0 * highest])?;
    let x = Range::linear("probability", [0.0, 1.0])?;
    let small = Type::new(11.0, SOFT);
    let plot = Area {
        x0: 56.0,
        y0: 66.0,
        x1: width - 18.0,
        y1: height - 52.0,
    };
    let across = |value: f64| plot.x0 + x.share(value) * plot.width();
    let up = |percent: f64| plot.y1 - y.share(percent) * plot.height();
    let mut c = Canvas::new(size);
    marks::title(&mut c, &data.title, width)?;
    let subject = Type::new(11.5, SOFT);
    marks::head_line(&mut c, &data.subject, 40.0, subject, width)?;
    let label = Type::new(11.5, INK);
    c.text("Share of forecasts (%)", (EDGE, 58.0), label, Anchor::Start)?;

    let ticks = linear_ticks(&y, plot.height(), small.size, 18.0, true);
    let shown: Vec<_> = ticks.iter().filter(|t| y.holds(t.value)).collect();
    marks::hairs_across(&mut c, &plot, shown.iter().map(|t| up(t.value)))?;
    for tick in shown {
        let at = (plot.x0 - 7.0, up(tick.value) + 4.0);
        c.text(&tick.label, at, small, Anchor::End)?;
    }
    let classes = data.shares.len();
    for (n, share) in data.shares.iter().enumerate() {
        let bar = Area {
            x0: across(n as f64 * even) + 1.0,
            y0: up(100.0 * share),
            x1: across((n + 1) as f64 * even) - 1.0,
            y1: plot.y1,
        };
        c.rect(&bar, BAR)?;
        c.outline(&bar, INK, 0.6)?;
    }
    marks::foot(&mut c, &plot)?;
    for tick in linear_ticks(&x, plot.width(), small.size, 18.0, false) {
        let at = across(tick.value);
        c.line((at, plot.y1), (at, plot.y1 + 4.0), INK, 0.8, Dash::Solid)?;
        c.text(&tick.label, (at, plot.y1 + 16.0), small, Anchor::Middle)?;
    }
    c.text(
        "Probability that the forecast gave to fewer than came",
        (plot.x1, plot.y1 + 33.0),
        label,
        Anchor::End,
    )?;
    let level = up(100.0 * even);
    c.line((plot.x0, level), (plot.x1, level), BLUE, 1.8, Dash::Long)?;
    let named = Type::new(11.0, BLUE);
    let words = "dashed: where all would stand if every forecast were right";
    c.text(words, (plot.x1, 58.0), named, Anchor::End)?;
    let told: Vec<String> = data.shares.iter().map(|s| number(100.0 * s, 0)).collect();
    let description = format!(
        "{}. Shares in {classes} equal classes from 0 to 1, in percent: {}. Right forecasts would \
         stand at {} throughout.",
        data.subject,
        told.join(", "),
        number(100.0 * even, 0),
    );
    Ok(c.finish(id, &data.title, &description))
}
