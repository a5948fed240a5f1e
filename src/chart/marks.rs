//! Marks shared by the charts and their keys, so that a key shows exactly what is drawn.
//!
//! In: a place in pixels. Out: shapes on the canvas. Never: data, axes.

use super::ChartError;
use super::canvas::{Anchor, Canvas, Dash, Type, clip_line, clip_polygon};
use super::history::Ending;
use super::palette::{
    BAND, BAND_EDGE, BAR, BLUE, HAIR, INK, PAPER, PENCIL, RUST, SAND, SAND_LINE, SOFT,
};
use super::place::{Area, EDGE};
use super::text::fit;

/// The title at the top of a chart `width` pixels wide, cut to it.
pub(super) fn title(c: &mut Canvas, text: &str, width: f64) -> Result<(), ChartError> {
    head_line(c, text, 22.0, Type::bold(14.0, INK), width)
}

/// A line of words under the title, with its foot at `y`, cut to the chart's width.
pub(super) fn head_line(
    c: &mut Canvas,
    text: &str,
    y: f64,
    look: Type,
    width: f64,
) -> Result<(), ChartError> {
    let cut = fit(text, look.size, look.bold, width - 2.0 * EDGE);
    c.text(&cut, (EDGE, y), look, Anchor::Start).map(|_| ())
}

/// The line a plot stands on.
pub(super) fn foot(c: &mut Canvas, plot: &Area) -> Result<(), ChartError> {
    let (from, to) = ((plot.x0, plot.y1), (plot.x1, plot.y1));
    c.line(from, to, INK, 1.0, Dash::Solid)
}

/// Limits along a curve: what lies between, and both edges, as far as they lie in the plot.
pub(super) fn limits_band(
    c: &mut Canvas,
    lower: &[(f64, f64)],
    upper: &[(f64, f64)],
    plot: &Area,
) -> Result<(), ChartError> {
    let outline: Vec<_> = lower.iter().chain(upper.iter().rev()).copied().collect();
    let outline = clip_polygon(&outline, plot);
    if outline.len() > 2 {
        c.polygon(&outline, BAND)?;
    }
    for edge in [lower, upper] {
        for piece in clip_line(edge, plot) {
            c.path(&piece, BAND_EDGE, 1.0, Dash::Short)?;
        }
    }
    Ok(())
}

/// A failure whose usage is known.
pub(super) fn failure(c: &mut Canvas, at: (f64, f64), radius: f64) -> Result<(), ChartError> {
    c.disc(at, radius, RUST, Some((PAPER, 0.8)))
}

/// A failure known only to lie between two usages.
pub(super) fn between(
    c: &mut Canvas,
    (x0, x1): (f64, f64),
    y: f64,
    open_left: bool,
    width: f64,
) -> Result<(), ChartError> {
    c.line((x0, y), (x1, y), RUST, width, Dash::Solid)?;
    let cap = 1.6 + width * 1.4;
    if open_left {
        c.polygon(&[(x0, y), (x0 + 5.0, y - 3.0), (x0 + 5.0, y + 3.0)], RUST)?;
    } else {
        c.line((x0, y - cap), (x0, y + cap), RUST, width, Dash::Solid)?;
    }
    c.line((x1, y - cap), (x1, y + cap), RUST, width, Dash::Solid)
}

/// Hatching inside a rectangle, rising to the right.
pub(super) fn hatch(c: &mut Canvas, area: &Area, apart: f64) -> Result<(), ChartError> {
    let mut lines = Vec::new();
    let mut start = area.x0 - area.height();
    // A hatch of more than a few hundred lines is a grey area.
    let apart = apart.max((area.width() + area.height()) / 400.0);
    while start < area.x1 {
        // The line from (start, y1) up to (start + height, y0), cut to the rectangle.
        let x_from = start.max(area.x0);
        let x_to = (start + area.height()).min(area.x1);
        if x_from < x_to {
            lines.push((
                (x_from, area.y1 - (x_from - start)),
                (x_to, area.y1 - (x_to - start)),
            ));
        }
        start += apart;
    }
    c.strokes(&lines, SAND_LINE, 0.6)
}

/// How a life ended: a shape and a letter of its own for each kind.
pub(super) fn ending(
    c: &mut Canvas,
    kind: Ending,
    (x, y): (f64, f64),
    half: f64,
) -> Result<(), ChartError> {
    let square = |reach: f64| Area {
        x0: x - reach,
        y0: y - reach,
        x1: x + reach,
        y1: y + reach,
    };
    let diamond = |reach: f64| {
        [
            (x - reach, y),
            (x, y - reach),
            (x + reach, y),
            (x, y + reach),
        ]
    };
    let letter_colour = match kind {
        Ending::FailedRunning => {
            c.polygon(&diamond(half * 1.5), PAPER)?;
            c.polygon(&diamond(half * 1.38), RUST)?;
            PAPER
        }
        Ending::FoundAtInspection => {
            c.disc((x, y), half, PAPER, Some((RUST, 1.4)))?;
            RUST
        }
        Ending::Planned => {
            c.rect(&square(half + 0.6), PAPER)?;
            c.rect(&square(half * 0.9), BLUE)?;
            PAPER
        }
        Ending::Opportunity => {
            c.rect(&square(half * 0.9), PAPER)?;
            c.outline(&square(half * 0.85), BLUE, 1.2)?;
            BLUE
        }
        Ending::OtherRemoval => {
            c.disc((x, y), half, SOFT, Some((PAPER, 0.8)))?;
            PAPER
        }
        Ending::StillIn => {
            c.polygon(
                &[
                    (x - half, y - half),
                    (x + half * 0.3, y - half),
                    (x + half * 1.3, y),
                    (x + half * 0.3, y + half),
                    (x - half, y + half),
                ],
                INK,
            )?;
            PAPER
        }
    };
    let size = (half * 1.45).max(7.0);
    c.text(
        kind.letter(),
        (x, y + size * 0.36),
        Type::bold(size, letter_colour),
        Anchor::Middle,
    )?;
    Ok(())
}

/// A measured value; of an item in place, or of one that is gone.
pub(super) fn reading(c: &mut Canvas, at: (f64, f64), in_place: bool) -> Result<(), ChartError> {
    if in_place {
        c.disc(at, 3.2, INK, Some((PAPER, 0.8)))
    } else {
        c.disc(at, 2.2, PAPER, Some((PENCIL, 1.0)))
    }
}

/// From where to where a line may meet its limit, and where it most likely does.
pub(super) fn at_limit(
    c: &mut Canvas,
    (x0, x1): (f64, f64),
    estimate: Option<f64>,
    y: f64,
) -> Result<(), ChartError> {
    c.line((x0, y), (x1, y), BLUE, 3.2, Dash::Solid)?;
    let tall = |x: f64| ((x, y - 5.0), (x, y + 5.0));
    c.strokes(&[tall(x0), tall(x1)], BLUE, 1.2)?;
    match estimate {
        Some(x) => c.disc((x, y), 3.8, PAPER, Some((BLUE, 1.8))),
        None => Ok(()),
    }
}

/// A stop on a day: a disc, or where it is overdue a diamond with an exclamation mark.
pub(super) fn stop(
    c: &mut Canvas,
    (x, y): (f64, f64),
    radius: f64,
    overdue: bool,
) -> Result<(), ChartError> {
    if !overdue {
        return c.disc((x, y), radius, BLUE, Some((PAPER, 1.0)));
    }
    let diamond = |r: f64| [(x - r, y), (x, y - r), (x + r, y), (x, y + r)];
    c.polygon(&diamond(radius * 1.3 + 1.0), PAPER)?;
    c.polygon(&diamond(radius * 1.3), RUST)?;
    let size = (radius * 1.7).max(7.0);
    let at = (x, y + size * 0.36);
    c.text("!", at, Type::bold(size, PAPER), Anchor::Middle)?;
    Ok(())
}

/// From the earliest to the latest day of a stop.
pub(super) fn stop_range(
    c: &mut Canvas,
    (x0, x1): (f64, f64),
    y: f64,
    overdue: bool,
) -> Result<(), ChartError> {
    let colour = if overdue { RUST } else { BLUE };
    let cap = |x: f64| ((x, y - 2.6), (x, y + 2.6));
    c.strokes(&[((x0, y), (x1, y)), cap(x0), cap(x1)], colour, 1.1)
}

/// The near-optimal range as a band along a row; an open end is an arrow head.
pub(super) fn near_band(c: &mut Canvas, area: &Area, open: bool) -> Result<(), ChartError> {
    let head = 8.0_f64.min(area.width());
    let Area { x0, y0, x1, y1 } = *area;
    let body = Area {
        x1: if open { x1 - head } else { x1 },
        ..*area
    };
    c.rect(&body, SAND)?;
    hatch(c, &body, 5.0)?;
    let mut outline = vec![(body.x1, y0), (x0, y0), (x0, y1), (body.x1, y1)];
    if open {
        let middle = (y0 + y1) / 2.0;
        let tip = [(body.x1, y0 - 3.0), (x1, middle), (body.x1, y1 + 3.0)];
        c.polygon(&tip, SAND_LINE)?;
    } else {
        outline.push((body.x1, y0));
    }
    c.path(&outline, SAND_LINE, 0.8, Dash::Solid)
}

/// The interval recommended; smaller where it stands within the ring of today's.
pub(super) fn recommended(c: &mut Canvas, at: (f64, f64), within: bool) -> Result<(), ChartError> {
    if within {
        c.disc(at, 2.9, BLUE, None)
    } else {
        c.disc(at, 5.2, BLUE, Some((PAPER, 1.0)))
    }
}

/// Today's interval.
pub(super) fn today(c: &mut Canvas, at: (f64, f64)) -> Result<(), ChartError> {
    c.disc(at, 5.0, PAPER, Some((INK, 1.5)))
}

/// An interval never to be passed: a bracket closed to the right.
pub(super) fn ceiling(c: &mut Canvas, (x, y): (f64, f64), half: f64) -> Result<(), ChartError> {
    let bracket = [
        (x - 4.0, y - half),
        (x, y - half),
        (x, y + half),
        (x - 4.0, y + half),
    ];
    c.path(&bracket, INK, 1.8, Dash::Solid)
}

/// From today's interval to the recommended one.
pub(super) fn moved(c: &mut Canvas, (x0, x1): (f64, f64), y: f64) -> Result<(), ChartError> {
    if (x1 - x0).abs() < 18.0 {
        return Ok(());
    }
    let way = (x1 - x0).signum();
    let tip = x1 - way * 6.5;
    c.line((x0, y), (tip - way * 4.0, y), INK, 1.3, Dash::Solid)?;
    let back = tip - way * 6.0;
    c.polygon(&[(tip, y), (back, y - 3.4), (back, y + 3.4)], INK)
}

/// A patch of the limits around a line, [`SAMPLE_WIDTH`] wide, its middle at `y`.
pub(super) fn limits_sample(c: &mut Canvas, x: f64, y: f64) -> Result<(), ChartError> {
    draw_sample(c, Sample::Limits, x, y)
}

/// One entry of a key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sample {
    Failure,
    Between,
    Suspension,
    Fitted,
    Limits,
    Estimate,
    EstimateInWindows,
    EstimateLimits,
    Expected,
    NearOptimal,
    Ended(Ending),
    AgeUnknown,
    Reading,
    Ahead,
    Gone,
    AtLimit,
    Stop,
    OverdueStop,
    StopRange,
    Recommended,
    Today,
    Ceiling,
}

pub(super) const SAMPLE_WIDTH: f64 = 24.0;
pub(super) const KEY_SIZE: f64 = 11.0;
pub(super) const KEY_LINE: f64 = 18.0;

/// Where the entries of a key stand, from its top left corner.
pub(super) fn arrange<'a>(
    entries: impl IntoIterator<Item = &'a str>,
    width: f64,
) -> Vec<(f64, f64)> {
    let look = Type::new(KEY_SIZE, SOFT);
    let (mut x, mut line) = (0.0, 0.0);
    let mut out = Vec::new();
    for words in entries {
        let need = SAMPLE_WIDTH + 6.0 + look.width(words);
        if x > 0.0 && x + need > width {
            x = 0.0;
            line += 1.0;
        }
        out.push((x, line * KEY_LINE));
        x += need + 14.0;
    }
    out
}

fn words(entries: &[(Sample, String)]) -> impl Iterator<Item = &str> {
    entries.iter().map(|(_, words)| words.as_str())
}

/// Height a key needs at this width.
pub(super) fn key_height(entries: &[(Sample, String)], width: f64) -> f64 {
    arrange(words(entries), width)
        .last()
        .map_or(0.0, |(_, y)| y + KEY_LINE)
}

/// Draws a key with its top left corner at `(x, y)`.
pub(super) fn key(
    c: &mut Canvas,
    entries: &[(Sample, String)],
    (x, y): (f64, f64),
    width: f64,
) -> Result<(), ChartError> {
    let look = Type::new(KEY_SIZE, SOFT);
    for ((sample, words), (dx, dy)) in entries.iter().zip(arrange(self::words(entries), width)) {
        let (left, middle) = (x + dx, y + dy + KEY_LINE / 2.0);
        draw_sample(c, *sample, left, middle)?;
        c.text(
            words,
            (left + SAMPLE_WIDTH + 6.0, middle + KEY_SIZE * 0.36),
            look,
            Anchor::Start,
        )?;
    }
    Ok(())
}

fn draw_sample(c: &mut Canvas, sample: Sample, x: f64, y: f64) -> Result<(), ChartError> {
    let centre = (x + SAMPLE_WIDTH / 2.0, y);
    let (from, to) = ((x, y), (x + SAMPLE_WIDTH, y));
    let patch = Area {
        x0: x,
        y0: y - 5.5,
        x1: x + SAMPLE_WIDTH,
        y1: y + 5.5,
    };
    match sample {
        Sample::Failure => failure(c, centre, 3.8),
        Sample::Between => between(c, (x + 2.0, x + SAMPLE_WIDTH - 2.0), y, false, 1.3),
        Sample::Suspension => {
            let ticks: Vec<_> = [8.0, 13.0, 18.0]
                .iter()
                .map(|dx| ((x + dx, y - 5.0), (x + dx, y + 5.0)))
                .collect();
            c.strokes(&ticks, INK, 1.0)
        }
        Sample::Fitted => c.line(from, to, BLUE, 2.2, Dash::Solid),
        Sample::Expected => c.line(from, to, BLUE, 2.2, Dash::Solid),
        Sample::Limits => {
            c.rect(&patch, BAND)?;
            for edge in [patch.y0, patch.y1] {
                c.line(
                    (x, edge),
                    (x + SAMPLE_WIDTH, edge),
                    BAND_EDGE,
                    1.0,
                    Dash::Solid,
                )?;
            }
            Ok(())
        }
        Sample::Estimate => {
            let (low, high) = (y + 3.5, y - 3.5);
            let knee = centre.0;
            let steps = [
                (x, low),
                (knee, low),
                (knee, high),
                (x + SAMPLE_WIDTH, high),
            ];
            c.path(&steps, PENCIL, 1.3, Dash::Solid)
        }
        Sample::EstimateInWindows => {
            let (low, high) = ((x, y + 4.5), (x + 16.0, y - 3.5));
            c.path(&[low, high], PENCIL, 1.3, Dash::Dotted)?;
            c.line(high, (x + SAMPLE_WIDTH, high.1), PENCIL, 1.3, Dash::Solid)
        }
        Sample::EstimateLimits => {
            let (low, high) = (y + 3.5, y - 3.5);
            c.line((x, low), (x + SAMPLE_WIDTH, low), PENCIL, 0.9, Dash::Dotted)?;
            c.line(
                (x, high),
                (x + SAMPLE_WIDTH, high),
                PENCIL,
                0.9,
                Dash::Dotted,
            )
        }
        Sample::Reading => reading(c, centre, true),
        Sample::Ahead => c.line(from, to, BLUE, 1.4, Dash::Short),
        Sample::Gone => {
            c.line(from, to, PENCIL, 0.9, Dash::Solid)?;
            reading(c, centre, false)
        }
        Sample::AtLimit => at_limit(c, (x + 2.0, x + SAMPLE_WIDTH - 2.0), Some(centre.0), y),
        Sample::Recommended => recommended(c, centre, false),
        Sample::Today => today(c, centre),
        Sample::Ceiling => ceiling(c, centre, 6.0),
        Sample::Stop => stop(c, centre, 4.8, false),
        Sample::OverdueStop => stop(c, centre, 4.8, true),
        Sample::StopRange => stop_range(c, (x + 1.0, x + SAMPLE_WIDTH - 1.0), y, false),
        Sample::NearOptimal => {
            c.rect(&patch, SAND)?;
            hatch(c, &patch, 5.0)
        }
        Sample::Ended(kind) => ending(c, kind, centre, 6.0),
        Sample::AgeUnknown => {
            c.rect(
                &Area {
                    x0: x,
                    y0: y - 3.5,
                    x1: x + SAMPLE_WIDTH,
                    y1: y + 3.5,
                },
                BAR,
            )?;
            unknown_start(c, x, y, 3.5, SAMPLE_WIDTH)
        }
    }
}

/// White notches at the start of a bar: how old the item was is not known.
pub(super) fn unknown_start(
    c: &mut Canvas,
    x: f64,
    y: f64,
    half: f64,
    length: f64,
) -> Result<(), ChartError> {
    let notches: Vec<_> = (0..3)
        .map(|i| 2.0 + f64::from(i) * 4.0)
        .filter(|dx| *dx + 2.0 < length)
        .map(|dx| ((x + dx, y - half - 0.5), (x + dx, y + half + 0.5)))
        .collect();
    c.strokes(&notches, PAPER, 2.0)
}

/// The frame's left and lower edge.
pub(super) fn axes(c: &mut Canvas, plot: &Area) -> Result<(), ChartError> {
    c.strokes(
        &[
            ((plot.x0, plot.y1), (plot.x1, plot.y1)),
            ((plot.x0, plot.y0), (plot.x0, plot.y1)),
        ],
        INK,
        1.0,
    )
}

/// Hairlines across the plot at the given heights.
pub(super) fn hairs_across(
    c: &mut Canvas,
    plot: &Area,
    heights: impl IntoIterator<Item = f64>,
) -> Result<(), ChartError> {
    let lines: Vec<_> = heights
        .into_iter()
        .map(|y| ((plot.x0, y), (plot.x1, y)))
        .collect();
    c.strokes(&lines, HAIR, 0.8)
}

/// Hairlines up the plot at the given places.
pub(super) fn hairs_up(
    c: &mut Canvas,
    plot: &Area,
    places: impl IntoIterator<Item = f64>,
) -> Result<(), ChartError> {
    let lines: Vec<_> = places
        .into_iter()
        .map(|x| ((x, plot.y0), (x, plot.y1)))
        .collect();
    c.strokes(&lines, HAIR, 0.8)
}
