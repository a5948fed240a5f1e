//! How a series looks: a fill and a pattern for each number, the same in every chart.
//!
//! In: numbers 0 to 7 and [`OTHERS`]. Out: fills on the canvas, key entries.
//! Never: which series gets which number; that is the caller's, for a whole report.
//!
//! Dark and light fills take turns and every fill but two has a pattern of its own, so that
//! neighbours differ in grey print and to colour-blind readers.

use super::ChartError;
use super::canvas::{Anchor, Canvas, Stroke, Type};
use super::marks::{KEY_LINE, KEY_SIZE, SAMPLE_WIDTH, arrange};
use super::palette::SOFT;
use super::place::Area;
use super::text::fit;

/// The look of all that is not shown by itself: plain light grey.
pub const OTHERS: usize = 8;

/// A step up, its lines rising, and one down, its lines falling. Of no series.
pub(super) const UP: usize = 9;
pub(super) const DOWN: usize = 10;

/// What one colour stands for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Series {
    /// As the reader knows it, e.g. "packing set".
    pub name: String,
    /// 0 to 7, or [`OTHERS`]. The same component has the same look throughout a report.
    pub look: usize,
}

/// A colour and the lines over it.
struct Fill {
    ground: &'static str,
    pattern: Pattern,
    lines: &'static str,
    width: f64,
}

#[derive(Clone, Copy, PartialEq)]
enum Pattern {
    Plain,
    Rising,
    Falling,
    Upright,
    Crossed,
    Dots,
    Dashes,
}

const FILLS: [Fill; 11] = [
    fill("#1F4E79", Pattern::Plain, "", 0.0),
    fill("#F0C05A", Pattern::Falling, "#7A5410", 1.1),
    fill("#A33A1C", Pattern::Rising, "#F6DED5", 1.1),
    fill("#B4D3E8", Pattern::Dots, "#1F4E79", 1.7),
    fill("#2B7A6F", Pattern::Dots, "#E2F4F0", 1.5),
    fill("#F4EAD8", Pattern::Crossed, "#6E5428", 0.8),
    fill("#6B568F", Pattern::Upright, "#E9E2F3", 0.9),
    fill("#D4E3B5", Pattern::Dashes, "#44601C", 1.0),
    fill("#D3D7DC", Pattern::Plain, "", 0.0),
    fill("#A33A1C", Pattern::Rising, "#F6DED5", 1.1),
    fill("#B4D3E8", Pattern::Falling, "#1F4E79", 1.1),
];

const fn fill(ground: &'static str, pattern: Pattern, lines: &'static str, width: f64) -> Fill {
    Fill {
        ground,
        pattern,
        lines,
        width,
    }
}

/// From line to line of a pattern, px.
const STEP: f64 = 6.0;

impl Pattern {
    /// Its lines within an area. Lines of neighbours continue each other.
    fn pieces(self, area: &Area) -> Vec<Stroke> {
        // Round ends keep within the area, as does the rim around it.
        let Area { x0, y0, x1, y1 } = area.grown(-0.7);
        if x1 < x0 || y1 < y0 {
            return Vec::new();
        }
        let multiples = |from: f64, to: f64, step: f64, first: f64| {
            let (from, to) = (
                ((from - first) / step).ceil(),
                ((to - first) / step).floor(),
            );
            (from as i64..=to as i64).map(move |n| (n, first + n as f64 * step))
        };
        // Rising lines have x + y in common, falling ones x − y.
        let rising = || {
            multiples(x0 + y0, x1 + y1, STEP, 0.0).map(|(_, c)| {
                let (from, to) = (x0.max(c - y1), x1.min(c - y0));
                ((from, c - from), (to, c - to))
            })
        };
        let falling = || {
            multiples(x0 - y1, x1 - y0, STEP, 0.0).map(|(_, c)| {
                let (from, to) = (x0.max(c + y0), x1.min(c + y1));
                ((from, from - c), (to, to - c))
            })
        };
        // Every other row is shifted by half a step.
        let rows = |length: f64| -> Vec<Stroke> {
            multiples(y0, y1, STEP / 2.0, 0.0)
                .flat_map(|(row, y)| {
                    let first = if row % 2 == 0 { 0.0 } else { STEP / 2.0 };
                    multiples(x0 - length, x1, STEP, first)
                        .map(move |(_, x)| ((x.max(x0), y), ((x + length).min(x1), y)))
                })
                .collect()
        };
        match self {
            Pattern::Plain => Vec::new(),
            Pattern::Rising => rising().collect(),
            Pattern::Falling => falling().collect(),
            Pattern::Crossed => rising().chain(falling()).collect(),
            Pattern::Upright => multiples(x0, x1, STEP / 2.0, 0.0)
                .map(|(_, x)| ((x, y0), (x, y1)))
                .collect(),
            Pattern::Dots => rows(0.0),
            Pattern::Dashes => rows(2.6),
        }
    }
}

/// Fails for a number that no fill has.
pub(super) fn check(series: &[Series]) -> Result<(), ChartError> {
    match series.iter().find(|s| s.look > OTHERS) {
        Some(s) => Err(ChartError::Look(s.look)),
        None => Ok(()),
    }
}

fn draw(c: &mut Canvas, areas: &[Area], look: usize, rim: f64) {
    let Some(f) = FILLS.get(look) else { return };
    // Lines, not a `<pattern>`, which Chromium puts into a PDF as coarse pixels.
    let lines: Vec<Stroke> = areas.iter().flat_map(|a| f.pattern.pieces(a)).collect();
    c.rects(areas, f.ground, rim);
    c.pieces(&lines, f.lines, f.width);
}

/// Fills rectangles. Thin ones have no rim, which would eat them.
pub(super) fn rects(c: &mut Canvas, areas: &[Area], look: usize) {
    let thick = |a: &Area| a.height().min(a.width()) >= 2.5;
    let (thick, thin): (Vec<Area>, Vec<Area>) = areas.iter().copied().partition(thick);
    draw(c, &thin, look, 0.0);
    draw(c, &thick, look, 0.7);
}

/// The patch that stands beside a series' name, its middle at `y`; [`SAMPLE_WIDTH`] wide.
pub(super) fn sample(c: &mut Canvas, (x, y): (f64, f64), look: usize) {
    let patch = Area::new(x, y - 5.5, x + SAMPLE_WIDTH, y + 5.5);
    draw(c, &[patch], look, 0.0);
}

/// A key of all series from `(x, y)` on; returns where the sample of an entry `more` of the
/// caller's own stands, by its left end and middle.
pub(super) fn key(
    c: &mut Canvas,
    series: &[Series],
    more: Option<&str>,
    (x, y): (f64, f64),
    width: f64,
) -> Result<Option<(f64, f64)>, ChartError> {
    let names = key_names(series, more, width);
    let mut left_over = None;
    for (n, (dx, dy)) in places(&names, width).into_iter().enumerate() {
        let (left, middle) = (x + dx, y + dy + KEY_LINE / 2.0);
        match series.get(n) {
            Some(s) => sample(c, (left, middle), s.look),
            None => left_over = Some((left, middle)),
        }
        let at = (left + SAMPLE_WIDTH + 6.0, middle + KEY_SIZE * 0.36);
        c.text(&names[n], at, Type::new(KEY_SIZE, SOFT), Anchor::Start)?;
    }
    Ok(left_over)
}

fn places(names: &[String], width: f64) -> Vec<(f64, f64)> {
    arrange(names.iter().map(String::as_str), width)
}

fn key_names(series: &[Series], more: Option<&str>, width: f64) -> Vec<String> {
    let room = width - SAMPLE_WIDTH - 6.0;
    let names = series.iter().map(|s| s.name.as_str()).chain(more);
    names.map(|n| fit(n, KEY_SIZE, false, room)).collect()
}

/// Height a key of all series, and of `more`, needs at this width.
pub(super) fn key_height(series: &[Series], more: Option<&str>, width: f64) -> f64 {
    places(&key_names(series, more, width), width)
        .last()
        .map_or(0.0, |(_, y)| y + KEY_LINE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_within_their_area_and_no_two_fills_are_alike() {
        let area = Area::new(13.3, 7.9, 61.2, 40.4);
        for f in &FILLS {
            let pieces = f.pattern.pieces(&area);
            assert_eq!(pieces.is_empty(), f.pattern == Pattern::Plain);
            for ((ax, ay), (bx, by)) in pieces {
                for (x, y) in [(ax, ay), (bx, by)] {
                    let inside = Area::round(x, y, 0.5);
                    assert!(area.holds(&inside), "{x}, {y} in {:?}", f.ground);
                }
            }
        }
        for (n, one) in FILLS[..=OTHERS].iter().enumerate() {
            for other in &FILLS[..n] {
                assert_ne!(one.ground, other.ground);
            }
        }
        for pattern in [Pattern::Rising, Pattern::Dots, Pattern::Upright] {
            assert!(pattern.pieces(&Area::new(5.0, 5.0, 5.5, 90.0)).is_empty());
        }
    }
}
