//! Weibull probability paper: the two scales of a probability plot and what is printed on them.
//!
//! In: the numbers of a [`ProbabilityPlot`]. Out: a [`Frame`] that turns usage and share into
//! places, grid and labels. Never: points, lines.

use super::ChartError;
use super::axis::{Range, log_ticks};
use super::canvas::{Anchor, Canvas, Type};
use super::marks;
use super::palette::{INK, SOFT};
use super::place::{Area, EDGE};
use super::probability::ProbabilityPlot;
use super::text::{fit, number};
use crate::quantity::language::spoken;

/// Levels that may be labelled up the axis, in per cent, in the order in which they get their
/// place: the telling ones first.
const FIRST: [f64; 19] = [
    63.2, 10.0, 1.0, 99.0, 50.0, 90.0, 5.0, 25.0, 0.1, 2.0, 75.0, 0.5, 20.0, 0.2, 99.9, 0.01,
    99.99, 40.0, 30.0,
];

fn weibull_scale(fraction: f64) -> f64 {
    (-(-fraction).ln_1p()).ln()
}

/// The plot's rectangle and scales. The suspensions' strip is the lowest part of the rectangle.
pub(super) struct Frame {
    pub(super) plot: Area,
    pub(super) x: Range,
    y: Range,
    pub(super) rug: f64,
}

impl Frame {
    pub(super) fn new(data: &ProbabilityPlot, plot: Area, rug: f64) -> Result<Frame, ChartError> {
        Ok(Frame {
            plot,
            x: usage_range(data)?,
            y: share_range(data)?,
            rug,
        })
    }

    pub(super) fn upper(&self) -> Area {
        Area {
            y1: self.plot.y1 - self.rug,
            ..self.plot
        }
    }

    pub(super) fn across(&self, usage: f64) -> f64 {
        self.plot.x0 + self.x.share(usage) * self.plot.width()
    }

    pub(super) fn up(&self, fraction: f64) -> f64 {
        let area = self.upper();
        area.y1 - self.y.share(weibull_scale(fraction)) * area.height()
    }
}

/// All failures and the B10 are inside; suspensions far below the first failure are counted at
/// the edge instead of squeezing everything else.
fn usage_range(data: &ProbabilityPlot) -> Result<Range, ChartError> {
    let failures = data.failures.iter().map(|f| f.0);
    let ends = data.intervals.iter().flat_map(|i| {
        [
            i.hi,
            if i.lo > 0.0 {
                i.lo.max(i.hi / 20.0)
            } else {
                i.hi / 3.0
            },
        ]
    });
    let mut values: Vec<f64> = failures.chain(ends).chain(data.b10).collect();
    // The usage by which the fit expects most to have failed belongs in the picture, unless it
    // is far beyond anything seen.
    let seen = values
        .iter()
        .chain(&data.suspensions)
        .copied()
        .fold(0.0, f64::max);
    if let Some((usage, _)) = data.line.iter().find(|(_, f)| *f >= 0.632) {
        values.push(usage.min(seen * 3.0).max(f64::MIN_POSITIVE));
    }
    let lowest = values.iter().copied().fold(f64::INFINITY, f64::min);
    let from = if lowest.is_finite() {
        lowest / 3.0
    } else {
        data.suspensions
            .iter()
            .copied()
            .fold(0.0, f64::max)
            .max(1e-9)
            / 100.0
    };
    values.extend(
        data.suspensions
            .iter()
            .copied()
            .filter(|s| *s >= from && *s > 0.0),
    );
    let range = Range::logarithmic("usage", values)?;
    let pad = (range.hi() / range.lo()).powf(0.05).max(1.02);
    Range::logarithmic("usage", [range.lo() / pad, range.hi() * pad])
}

fn share_range(data: &ProbabilityPlot) -> Result<Range, ChartError> {
    let positions = || {
        data.failures
            .iter()
            .map(|f| f.1)
            .chain(data.intervals.iter().map(|i| i.position))
    };
    let lowest = positions().fold(0.015, f64::min);
    let highest = positions().fold(0.992, f64::max);
    Range::linear(
        "share failed",
        [weibull_scale(lowest) - 0.35, weibull_scale(highest) + 0.12],
    )
}

/// Draws grid, labels and names of both axes.
pub(super) fn draw(
    c: &mut Canvas,
    data: &ProbabilityPlot,
    frame: &Frame,
) -> Result<(), ChartError> {
    let plot = frame.plot;
    let small = Type::new(11.0, SOFT);
    let mut levels: Vec<(f64, String)> = Vec::new();
    for level in FIRST {
        let fraction = level / 100.0;
        let free = levels
            .iter()
            .all(|(y, _)| (y - frame.up(fraction)).abs() >= 15.0);
        if frame.y.holds(weibull_scale(fraction)) && free {
            let label = spoken().marked(&level.to_string());
            levels.push((frame.up(fraction), label));
        }
    }
    let mut ticks = log_ticks(&frame.x, plot.width(), small.size, 14.0);
    if data.failures.is_empty() && data.intervals.is_empty() && data.suspensions.is_empty() {
        // An axis nothing stands on would pretend to a range.
        ticks.clear();
    }
    let places: Vec<f64> = ticks.iter().map(|t| frame.across(t.value)).collect();
    marks::hairs_across(c, &plot, levels.iter().map(|l| l.0))?;
    marks::hairs_up(c, &plot, places.iter().copied())?;
    for (y, label) in &levels {
        c.text(label, (plot.x0 - 7.0, y + 4.0), small, Anchor::End)?;
    }
    for (tick, x) in ticks.iter().zip(&places) {
        let half = small.width(&tick.label) / 2.0;
        if *x - half >= 2.0 && *x + half <= plot.x1 + 16.0 {
            c.text(&tick.label, (*x, plot.y1 + 15.0), small, Anchor::Middle)?;
        }
    }
    let label = Type::new(11.5, INK);
    c.text(
        "Share failed (%)",
        (EDGE, plot.y0 - 9.0),
        label,
        Anchor::Start,
    )?;
    c.text(
        &fit(&data.usage_label, label.size, false, plot.width()),
        (plot.x1, plot.y1 + 32.0),
        label,
        Anchor::End,
    )?;
    c.text(
        "log scale",
        (plot.x0, plot.y1 + 32.0),
        Type::new(11.0, SOFT),
        Anchor::Start,
    )?;
    Ok(())
}

/// "1 failure", "3 failures".
pub(super) fn plural(count: usize, one: &str, many: &str) -> String {
    format!(
        "{} {}",
        number(count as f64, 0),
        if count == 1 { one } else { many }
    )
}

/// The lives by how they ended, for the line below the title and for the description.
pub(super) fn counts(data: &ProbabilityPlot) -> String {
    let (known, found, suspensions) = data.all.unwrap_or((
        data.failures.len(),
        data.intervals.len(),
        data.suspensions.len(),
    ));
    let failures = match (known, found) {
        (_, 0) => plural(known, "failure", "failures"),
        (0, 1) => "1 failure, found at an inspection".to_owned(),
        (0, _) => format!(
            "{} failures, all found at inspections",
            number(found as f64, 0)
        ),
        (_, 1) => format!(
            "{}, 1 more found at inspection",
            plural(known, "failure", "failures")
        ),
        _ => format!(
            "{}, {} more found at inspections",
            plural(known, "failure", "failures"),
            number(found as f64, 0)
        ),
    };
    format!(
        "{failures}, {}",
        plural(suspensions, "suspension", "suspensions")
    )
}
