//! Labels above a plot that name upright lines in it.
//!
//! In: a cost curve's marks and the usage axis. Out: labels in rows that never touch, lines.
//! Never: the curve itself.

use super::ChartError;
use super::axis::Range;
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::cost::CostCurve;
use super::palette::{INK, PAPER};
use super::place::{Area, Placer};
use super::text::number;

/// A mark on the usage axis: its line goes up to a label above the plot.
pub(super) struct Flag {
    at: f64,
    words: String,
    dash: Dash,
    bold: bool,
    beyond: bool,
    place: Area,
}

const FLAG_LINE: f64 = 17.0;

/// Labels of the upright marks, in as many lines above the plot as they need; the plot's top
/// moves down to make room.
pub(super) fn stack(data: &CostCurve, x: &Range, plot: &mut Area) -> Vec<Flag> {
    let unit = &data.usage_unit;
    let mut wanted = Vec::new();
    let mut add = |usage: Option<f64>, name: &str, dash, bold| {
        if let Some(usage) = usage {
            let digits = if usage >= 100.0 { 0 } else { 1 };
            wanted.push((
                usage,
                format!("{name} {} {unit}", number(usage, digits)),
                dash,
                bold,
            ));
        }
    };
    let same = |a: Option<f64>, b: Option<f64>| matches!((a, b), (Some(a), Some(b)) if (a - b).abs() <= 1e-9 * a.abs());
    // Marks at one place share a label, or their lines would hide each other.
    let present_is = same(data.present, data.recommended);
    let ceiling_is = same(data.ceiling, data.recommended);
    let first = match (present_is, ceiling_is) {
        (true, true) => "recommended = present = ceiling",
        (true, false) => "recommended = present",
        (false, true) => "recommended = ceiling",
        (false, false) => "recommended",
    };
    add(data.recommended, first, Dash::Solid, true);
    let both = same(data.present, data.ceiling) && !present_is;
    if !present_is {
        add(
            data.present,
            if both { "present = ceiling" } else { "present" },
            Dash::Long,
            false,
        );
    }
    if !ceiling_is && !both {
        add(data.ceiling, "ceiling", Dash::Mixed, false);
    }
    // From left to right, each label starting at its line, so that a lower label rarely stands
    // in the way of a line from above.
    wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let right = plot.x1 + 12.0;
    let mut flags: Vec<Flag> = Vec::new();
    for (usage, words, dash, bold) in wanted {
        let beyond = usage > x.hi();
        let words = if beyond {
            format!("{words} →")
        } else {
            words
        };
        let width = flag_type(bold).width(&words);
        let at = plot.x0 + x.share(usage).min(1.0) * plot.width();
        let wish = if beyond { right - width } else { at + 3.0 };
        let x0 = wish.min(right - width);
        let row = |line: u32| {
            let y0 = 48.0 + f64::from(line) * FLAG_LINE;
            Area {
                x0,
                y0,
                x1: x0 + width,
                y1: y0 + FLAG_LINE - 2.0,
            }
        };
        let free = |place: &Area| {
            flags.iter().all(|f| {
                let apart = place.x0 >= f.place.x1 + 8.0 || f.place.x0 >= place.x1 + 8.0;
                let same_row = (f.place.y0 - place.y0).abs() < 1.0;
                let covers =
                    |label: &Area, line: f64| line > label.x0 - 1.0 && line < label.x1 + 2.0;
                let in_the_way = (place.y0 > f.place.y0 && !f.beyond && covers(place, f.at))
                    || (place.y0 < f.place.y0 && !beyond && covers(&f.place, at));
                (apart || !same_row) && !in_the_way
            })
        };
        let apart = |place: &Area| flags.iter().all(|f| !f.place.touches(place));
        let place = (0..8)
            .map(row)
            .find(free)
            .or_else(|| (0..8).map(row).find(apart))
            .unwrap_or_else(|| row(8));
        flags.push(Flag {
            at,
            words,
            dash,
            bold,
            beyond,
            place,
        });
    }
    let lowest = flags
        .iter()
        .map(|f| f.place.y1)
        .fold(plot.y0 - 8.0, f64::max);
    plot.y0 = lowest + 8.0;
    flags
}

fn flag_type(bold: bool) -> Type {
    if bold {
        Type::bold(11.5, INK)
    } else {
        Type::new(11.5, INK)
    }
}

pub(super) fn draw(
    c: &mut Canvas,
    flags: &[Flag],
    plot: &Area,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    // A line may pass a label of an upper line; it stops below its own label, and labels have
    // paper behind them, so lines first.
    for flag in flags.iter().filter(|f| !f.beyond) {
        let x = flag.at;
        let width = if flag.bold { 1.8 } else { 1.3 };
        c.line(
            (x, flag.place.y1 + 1.0),
            (x, plot.y1),
            INK,
            width,
            flag.dash,
        )?;
        placer.avoid_line(&[(x, plot.y0), (x, plot.y1)], 2.0);
    }
    for flag in flags {
        c.rect(&flag.place, PAPER)?;
        c.text(
            &flag.words,
            (flag.place.x0, flag.place.y1 - 4.0),
            flag_type(flag.bold),
            Anchor::Start,
        )?;
    }
    Ok(())
}
