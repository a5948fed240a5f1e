//! How a series looks: a fill and a pattern for each number, the same in every chart.
//!
//! In: numbers 0 to 7 and [`OTHERS`]. Out: fills on the canvas, key entries.
//! Never: which series gets which number; that is the caller's, for a whole report.
//!
//! Dark and light fills take turns and every fill but two has a pattern of its own, so that
//! neighbours differ in grey print and to colour-blind readers.

use super::ChartError;
use super::canvas::{Anchor, Canvas, Type};
use super::marks::{KEY_LINE, KEY_SIZE, SAMPLE_WIDTH, arrange};
use super::palette::SOFT;
use super::place::Area;
use super::text::fit;

/// The look of all that is not shown by itself: plain light grey.
pub const OTHERS: usize = 8;

/// A step up, its pattern pointing right; and one down. Of no series.
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

/// Fill, lines over it, and their path in a tile of 60 by 60 grid steps (6 px).
struct Fill {
    ground: &'static str,
    lines: &'static str,
    width: u32,
    path: &'static str,
}

const RISING: &str = "M-15 15l30 -30M-5 65l70 -70M45 75l30 -30";
const FALLING: &str = "M-15 45l30 30M-5 -5l70 70M45 -15l30 30";
const UPRIGHT: &str = "M15 0v60M45 0v60";
const CROSSED: &str = "M-5 65l70 -70M-5 -5l70 70";
const RIGHT: &str = "M15 8l24 22l-24 22";
const LEFT: &str = "M45 8l-24 22l24 22";
const DASHES: &str = "M5 15h28M35 45h28M-25 45h28";
/// Lines of no length with round ends.
const DOTS: &str = "M15 15h0M45 45h0";

const FILLS: [Fill; 11] = [
    fill("#1F4E79", "", 0, ""),
    fill("#F0C05A", "#7A5410", 11, FALLING),
    fill("#A33A1C", "#F6DED5", 11, RISING),
    fill("#B4D3E8", "#1F4E79", 17, DOTS),
    fill("#2B7A6F", "#E2F4F0", 15, DOTS),
    fill("#F4EAD8", "#6E5428", 8, CROSSED),
    fill("#6B568F", "#E9E2F3", 9, UPRIGHT),
    fill("#D4E3B5", "#44601C", 10, DASHES),
    fill("#D3D7DC", "", 0, ""),
    fill("#A33A1C", "#F6DED5", 9, RIGHT),
    fill("#B4D3E8", "#1F4E79", 9, LEFT),
];

const fn fill(ground: &'static str, lines: &'static str, width: u32, path: &'static str) -> Fill {
    Fill {
        ground,
        lines,
        width,
        path,
    }
}

/// The fills of one picture. A pattern's id starts with the picture's, as a page holds many.
pub(super) struct Looks<'a> {
    id: &'a str,
}

impl<'a> Looks<'a> {
    /// Defines the patterns that `series` need.
    ///
    /// Errors: [`ChartError::Look`] for a number that no fill has.
    pub(super) fn define(
        c: &mut Canvas,
        id: &'a str,
        series: &[Series],
    ) -> Result<Looks<'a>, ChartError> {
        for s in series {
            if s.look > OTHERS {
                return Err(ChartError::Look(s.look));
            }
        }
        Ok(Looks::patterns(c, id, |look| {
            series.iter().any(|s| s.look == look)
        }))
    }

    /// Defines the patterns of steps up and down.
    pub(super) fn of_changes(c: &mut Canvas, id: &'a str) -> Looks<'a> {
        Looks::patterns(c, id, |look| look == UP || look == DOWN)
    }

    fn patterns(c: &mut Canvas, id: &'a str, needed: impl Fn(usize) -> bool) -> Looks<'a> {
        for (look, f) in FILLS.iter().enumerate() {
            if f.path.is_empty() || !needed(look) {
                continue;
            }
            c.define(&format!(
                "<pattern id=\"{id}-look-{look}\" patternUnits=\"userSpaceOnUse\" width=\"60\" \
                 height=\"60\"><rect width=\"60\" height=\"60\" fill=\"{}\"/><path d=\"{}\" \
                 stroke=\"{}\" stroke-width=\"{}\" stroke-linecap=\"round\" fill=\"none\"/></pattern>",
                f.ground, f.path, f.lines, f.width
            ));
        }
        Looks { id }
    }

    fn reference(&self, look: usize) -> String {
        match FILLS.get(look) {
            Some(f) if f.path.is_empty() => f.ground.to_owned(),
            _ => format!("url(#{}-look-{look})", self.id),
        }
    }

    /// Fills rectangles. Thin ones have no rim, which would eat them.
    pub(super) fn rects(&self, c: &mut Canvas, areas: &[Area], look: usize) {
        let thick = |a: &Area| a.height().min(a.width()) >= 2.5;
        let (thick, thin): (Vec<Area>, Vec<Area>) = areas.iter().copied().partition(thick);
        let fill = self.reference(look);
        c.rects(&thin, &fill, 0.0);
        c.rects(&thick, &fill, 0.7);
    }

    /// The patch that stands beside a series' name, its middle at `y`; [`SAMPLE_WIDTH`] wide.
    pub(super) fn sample(&self, c: &mut Canvas, (x, y): (f64, f64), look: usize) {
        let patch = Area::new(x, y - 5.5, x + SAMPLE_WIDTH, y + 5.5);
        c.rects(&[patch], &self.reference(look), 0.0);
    }

    /// A key of all series from `(x, y)` on; returns where the sample of an entry `more` of the
    /// caller's own stands, by its left end and middle.
    pub(super) fn key(
        &self,
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
                Some(s) => self.sample(c, (left, middle), s.look),
                None => left_over = Some((left, middle)),
            }
            let at = (left + SAMPLE_WIDTH + 6.0, middle + KEY_SIZE * 0.36);
            c.text(&names[n], at, Type::new(KEY_SIZE, SOFT), Anchor::Start)?;
        }
        Ok(left_over)
    }
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
