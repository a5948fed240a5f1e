//! The Weibull probability plot.
//!
//! In: [`ProbabilityPlot`], numbers only. Out: SVG text. Never: estimation, files, clock.
//!
//! Across: the logarithm of usage. Up: `ln(−ln(1 − F))`, labelled with `F` in per cent, so that a
//! Weibull distribution is a straight line whose slope is its shape. Source of the scales:
//! IEC 61649, Weibull probability paper (from memory); common practice.

use super::axis::finite;
use super::canvas::{Anchor, Canvas, Dash, Type, clip_line};
use super::estimate::{self, StepEstimate};
use super::marks;
use super::palette::{BLUE, INK, PAPER, SOFT};
use super::paper::{self, Frame, counts, plural};
use super::place::{Area, EDGE, Placer, around};
use super::probability_words::{b10_words, description, key_entries, with_unit};
use super::text::{number, wrap};
use super::{ChartError, Size, checked_id, forwards, share};

/// A failure known only to lie between two usages, with its plotting position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntervalMark {
    /// Usage at which the item was last known sound; 0 where it never was.
    pub lo: f64,
    /// Usage at which the failure was found.
    pub hi: f64,
    /// Plotting position, in (0, 1).
    pub position: f64,
}

/// Limits of the usage by which a share of items has failed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifeLimits {
    /// The share, in (0, 1).
    pub fraction: f64,
    /// Lower limit of the usage, > 0.
    pub lower: f64,
    /// Upper limit of the usage, ≥ `lower`.
    pub upper: f64,
}

/// A Weibull probability plot as numbers: no pixels, colours or plotters types.
///
/// Everything may be empty: with no failure the plot shows the suspensions and says so.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ProbabilityPlot {
    /// Unique in the page: a letter, then letters, digits and hyphens.
    pub id: String,
    /// One line, e.g. "Plunger packing set: how lives spread".
    pub title: String,
    /// Axis words with the unit, e.g. "Running hours (h)".
    pub usage_label: String,
    /// Unit behind a number, e.g. "h"; may be empty.
    pub usage_unit: String,
    /// Failures at known usage: (usage > 0, plotting position in (0, 1)).
    pub failures: Vec<(f64, f64)>,
    /// Failures found at an inspection.
    pub intervals: Vec<IntervalMark>,
    /// Usages (≥ 0) of lives that ended or still run without failure.
    pub suspensions: Vec<f64>,
    /// The fitted line: (usage > 0, share failed in (0, 1)), rising. Empty without a fit.
    pub line: Vec<(f64, f64)>,
    /// What the line is, e.g. "fitted lognormal"; empty for "fitted Weibull".
    pub line_name: String,
    /// Limits around the line, rising in `fraction`. Empty without limits.
    pub band: Vec<LifeLimits>,
    /// What the band is, e.g. "90 % limits".
    pub band_name: String,
    /// Usage by which a tenth has failed, read off the fit.
    pub b10: Option<f64>,
    /// What the lives say without the fit.
    pub estimate: Option<StepEstimate>,
    /// All failures at known usage, failures found at inspections and suspensions, where only
    /// some of them are among those above, to be drawn.
    pub all: Option<(usize, usize, usize)>,
}

/// Draws the plot as SVG text.
///
/// Errors: [`ChartError::Axis`] for a usage that is not finite (or not positive where a logarithm
/// is taken), [`ChartError::Share`] for a plotting position outside (0, 1),
/// [`ChartError::Backwards`] for an interval or limits that run backwards, [`ChartError::Id`],
/// [`ChartError::Size`].
pub fn probability_plot(data: &ProbabilityPlot, size: Size) -> Result<String, ChartError> {
    let size = size.checked()?;
    let id = checked_id(&data.id)?;
    check(data)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let key = key_entries(data);
    let key_height = marks::key_height(&key, width - 2.0 * EDGE);
    let rug = if data.suspensions.is_empty() {
        0.0
    } else {
        14.0
    };
    let plot = Area {
        x0: 60.0,
        y0: 66.0,
        x1: width - 18.0,
        y1: height - key_height - 52.0,
    };
    let frame = Frame::new(data, plot, rug)?;

    let mut c = Canvas::new(size);
    head(&mut c, data, width)?;
    paper::draw(&mut c, data, &frame)?;
    let mut placer = Placer::default();
    curves(&mut c, data, &frame, &mut placer)?;
    rug_marks(&mut c, data, &frame)?;
    points(&mut c, data, &frame, &mut placer)?;
    b10(&mut c, data, &frame, &mut placer)?;
    if data.failures.is_empty() && data.intervals.is_empty() {
        say_no_failure(&mut c, data, &frame, &mut placer)?;
    }
    marks::key(
        &mut c,
        &key,
        (EDGE, height - key_height - 6.0),
        width - 2.0 * EDGE,
    )?;
    Ok(c.finish(id, &data.title, &description(data)))
}

fn check(data: &ProbabilityPlot) -> Result<(), ChartError> {
    let positive = |value: f64| {
        finite("usage", value)?;
        if value > 0.0 {
            Ok(value)
        } else {
            Err(ChartError::Axis {
                axis: "usage",
                value: value.to_string(),
            })
        }
    };
    // A computed line or limit may run far out of the picture, where it is cut off.
    let drawable = |value: f64| {
        if value.is_finite() && value > 0.0 {
            Ok(value)
        } else {
            Err(ChartError::Axis {
                axis: "usage",
                value: value.to_string(),
            })
        }
    };
    for (usage, position) in &data.failures {
        positive(*usage)?;
        share(*position)?;
    }
    for (usage, position) in &data.line {
        drawable(*usage)?;
        share(*position)?;
    }
    for mark in &data.intervals {
        finite("usage", mark.lo)?;
        positive(mark.hi)?;
        share(mark.position)?;
        forwards("an interval", mark.lo, mark.hi)?;
    }
    for usage in &data.suspensions {
        finite("usage", *usage)?;
    }
    for row in &data.band {
        share(row.fraction)?;
        drawable(row.lower)?;
        drawable(row.upper)?;
        forwards("the limits", row.lower, row.upper)?;
    }
    if let Some(b10) = data.b10 {
        positive(b10)?;
    }
    if let Some(estimate) = &data.estimate {
        estimate::check(estimate)?;
    }
    Ok(())
}

fn head(c: &mut Canvas, data: &ProbabilityPlot, width: f64) -> Result<(), ChartError> {
    marks::title(c, &data.title, width)?;
    let sub = Type::new(11.5, SOFT);
    marks::head_line(c, &counts(data), 39.0, sub, width)?;
    Ok(())
}

fn curves(
    c: &mut Canvas,
    data: &ProbabilityPlot,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let area = frame.upper();
    let lower: Vec<(f64, f64)> = data
        .band
        .iter()
        .map(|r| (frame.across(r.lower), frame.up(r.fraction)))
        .collect();
    let upper: Vec<(f64, f64)> = data
        .band
        .iter()
        .map(|r| (frame.across(r.upper), frame.up(r.fraction)))
        .collect();
    if data.band.len() > 1 {
        marks::limits_band(c, &lower, &upper, &area)?;
        for (from, to) in lower.iter().zip(&upper) {
            for piece in clip_line(&[*from, *to], &area) {
                placer.avoid_line(&piece, 3.0);
            }
        }
    }
    if let Some(estimate) = &data.estimate {
        estimate::draw(c, estimate, frame, placer)?;
    }
    let line: Vec<_> = data
        .line
        .iter()
        .map(|(u, f)| (frame.across(*u), frame.up(*f)))
        .collect();
    for piece in clip_line(&line, &area) {
        c.path(&piece, BLUE, 2.2, Dash::Solid)?;
        placer.avoid_line(&piece, 4.0);
    }
    marks::axes(c, &frame.plot)
}

fn rug_marks(c: &mut Canvas, data: &ProbabilityPlot, frame: &Frame) -> Result<(), ChartError> {
    if data.suspensions.is_empty() {
        return Ok(());
    }
    let plot = frame.plot;
    c.line(
        (plot.x0, plot.y1 - frame.rug),
        (plot.x1, plot.y1 - frame.rug),
        SOFT,
        0.6,
        Dash::Dotted,
    )?;
    let inside: Vec<_> = data
        .suspensions
        .iter()
        .filter(|s| **s >= frame.x.lo())
        .map(|s| {
            let x = frame.across(*s);
            ((x, plot.y1 - frame.rug + 2.5), (x, plot.y1 - 1.0))
        })
        .collect();
    let width = if inside.len() > 120 { 0.7 } else { 1.1 };
    c.strokes(&inside, INK, width)?;
    let below = data.suspensions.len() - inside.len();
    if below > 0 {
        let y = plot.y1 - frame.rug / 2.0 + 0.5;
        let look = Type::new(9.5, INK);
        let words = format!("{} farther left", number(below as f64, 0));
        let box_width = look.width(&words) + 13.0;
        c.rect(
            &Area {
                x0: plot.x0 + 1.0,
                y0: plot.y1 - frame.rug + 1.0,
                x1: plot.x0 + box_width,
                y1: plot.y1 - 1.0,
            },
            PAPER,
        )?;
        c.polygon(
            &[
                (plot.x0 + 2.0, y),
                (plot.x0 + 8.0, y - 4.0),
                (plot.x0 + 8.0, y + 4.0),
            ],
            INK,
        )?;
        c.text(&words, (plot.x0 + 11.0, y + 3.2), look, Anchor::Start)?;
    }
    Ok(())
}

fn points(
    c: &mut Canvas,
    data: &ProbabilityPlot,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let stroke = if data.intervals.len() > 25 { 0.7 } else { 1.3 };
    for mark in &data.intervals {
        let y = frame.up(mark.position);
        let x1 = frame.across(mark.hi);
        let wish = frame.across(mark.lo);
        let x0 = wish.max(frame.plot.x0 + 1.0).min(x1);
        marks::between(c, (x0, x1), y, wish < frame.plot.x0, stroke)?;
        placer.avoid(
            Area {
                x0,
                y0: y,
                x1,
                y1: y,
            }
            .grown(4.0),
        );
    }
    let radius = match data.failures.len() {
        0..=60 => 3.8,
        61..=150 => 3.0,
        _ => 2.4,
    };
    for (usage, position) in &data.failures {
        let at = (frame.across(*usage), frame.up(*position));
        marks::failure(c, at, radius)?;
        placer.avoid(
            Area {
                x0: at.0,
                y0: at.1,
                x1: at.0,
                y1: at.1,
            }
            .grown(radius + 1.0),
        );
    }
    Ok(())
}

fn b10(
    c: &mut Canvas,
    data: &ProbabilityPlot,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let Some(b10) = data.b10 else { return Ok(()) };
    let (x, y) = (frame.across(b10), frame.up(0.1));
    let area = frame.upper();
    if !(area.x0..=area.x1).contains(&x) || !(area.y0..=area.y1).contains(&y) {
        return Ok(());
    }
    c.path(
        &[(area.x0, y), (x, y), (x, frame.plot.y1)],
        INK,
        1.0,
        Dash::Dotted,
    )?;
    placer.avoid_line(&[(area.x0, y), (x, y), (x, area.y1)], 2.0);
    let diamond = |r: f64| [(x - r, y), (x, y - r), (x + r, y), (x, y + r)];
    c.polygon(&diamond(6.5), PAPER)?;
    c.polygon(&diamond(5.0), INK)?;
    placer.take(
        Area {
            x0: x,
            y0: y,
            x1: x,
            y1: y,
        }
        .grown(6.5),
    );
    let look = Type::bold(11.5, INK);
    let words = b10_words(data, b10);
    let (w, h) = (look.width(&words) + 6.0, look.height() + 2.0);
    if let Some(place) = placer.find(&area, &around(x, y, w, h, 9.0)) {
        c.text_on_lines(
            &words,
            (place.x0 + 3.0, place.y0 + h * 0.76),
            look,
            Anchor::Start,
        )?;
    }
    Ok(())
}

fn say_no_failure(
    c: &mut Canvas,
    data: &ProbabilityPlot,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let longest = data.suspensions.iter().copied().fold(0.0, f64::max);
    let words = if data.suspensions.is_empty() {
        "No life on record yet, so there is nothing to plot.".to_owned()
    } else {
        format!(
            "No failure on record, so no line can be fitted. {} ran without failure, the longest \
             for {}.",
            plural(data.suspensions.len(), "life", "lives"),
            with_unit(longest, data)
        )
    };
    let area = frame.upper();
    let look = Type::new(13.0, INK);
    let lines = wrap(&words, look.size, false, area.width() * 0.7);
    let middle = (area.x0 + area.x1) / 2.0;
    let top = (area.y0 + area.y1) / 2.0 - lines.len() as f64 * 10.0;
    let widest = lines.iter().map(|l| look.width(l)).fold(0.0, f64::max) / 2.0 + 10.0;
    let patch = Area {
        x0: middle - widest,
        y0: top - 6.0,
        x1: middle + widest,
        y1: top + lines.len() as f64 * 20.0 + 6.0,
    };
    c.rect(&patch, PAPER)?;
    placer.take(patch);
    for (i, line) in lines.iter().enumerate() {
        c.text(
            line,
            (middle, top + 14.0 + i as f64 * 20.0),
            look,
            Anchor::Middle,
        )?;
    }
    Ok(())
}
