//! The drawing surface: plotters' SVG backend, with what it lacks added around it.
//!
//! In: shapes in pixels. Out: one SVG text.
//! Never: data, axes, meaning.
//!
//! plotters' backend takes whole pixels only and knows neither dashes nor titles. Shapes are
//! therefore drawn on a grid ten times finer with a `viewBox` to match, dashes are set on a group
//! around the shapes, and title, description and role are written into the opening tag.

use plotters::backend::{DrawingBackend, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{
    Color, FontDesc, FontFamily, FontStyle, IntoFont, RGBColor, ShapeStyle, TextStyle,
};

use super::place::Area;
use super::text::{clean, text_width_px};
use super::{ChartError, Size};

/// Grid steps to a pixel.
const FINE: f64 = 10.0;
/// plotters writes a font size divided by this.
const PLOTTERS_FONT_FACTOR: f64 = 1.24;
/// Fonts found on the usual systems; no font is embedded or fetched.
const FONTS: &str = "Helvetica, Arial, sans-serif";

/// A straight piece, from and to.
pub(super) type Stroke = ((f64, f64), (f64, f64));

/// How a line is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dash {
    Solid,
    Dotted,
    Short,
    Long,
    Mixed,
}

impl Dash {
    /// The `stroke-dasharray` in grid steps.
    fn pattern(self) -> Option<&'static str> {
        match self {
            Dash::Solid => None,
            Dash::Dotted => Some("12 28"),
            Dash::Short => Some("40 30"),
            Dash::Long => Some("90 40"),
            Dash::Mixed => Some("80 30 15 30"),
        }
    }
}

/// Where a text's anchor lies along it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Type {
    pub(super) size: f64,
    pub(super) bold: bool,
    pub(super) colour: RGBColor,
}

impl Type {
    pub(super) const fn new(size: f64, colour: RGBColor) -> Type {
        Type {
            size,
            bold: false,
            colour,
        }
    }

    pub(super) const fn bold(size: f64, colour: RGBColor) -> Type {
        Type {
            size,
            bold: true,
            colour,
        }
    }

    pub(super) fn width(&self, text: &str) -> f64 {
        text_width_px(text, self.size, self.bold)
    }

    /// Height of a line's box, baseline at about four fifths of it.
    pub(super) fn height(&self) -> f64 {
        self.size * 1.2
    }
}

/// The surface. Shapes are added in order; later ones lie above.
pub(super) struct Canvas {
    size: Size,
    body: String,
}

impl Canvas {
    pub(super) fn new(size: Size) -> Canvas {
        Canvas {
            size,
            body: String::new(),
        }
    }

    fn draw<E: std::fmt::Display>(
        &mut self,
        shape: impl FnOnce(&mut SVGBackend<'_>) -> Result<(), E>,
    ) -> Result<(), ChartError> {
        let mut text = String::new();
        {
            let mut backend = SVGBackend::with_string(&mut text, self.fine_size());
            shape(&mut backend).map_err(|e| ChartError::Backend(e.to_string()))?;
            backend
                .present()
                .map_err(|e| ChartError::Backend(e.to_string()))?;
        }
        // The backend writes its own opening and closing tag round every drawing.
        let inner = text
            .split_once(">\n")
            .map(|(_, rest)| rest)
            .and_then(|rest| rest.rsplit_once("</svg>"))
            .map(|(inner, _)| inner)
            .ok_or_else(|| ChartError::Backend("an SVG without a body".to_owned()))?;
        // Said once in the opening tag, or what holds anyway: a third of the bytes.
        let inner = inner
            .replace(" opacity=\"1\"", "")
            .replace(&format!(" font-family=\"{FONTS}\""), "");
        self.body.push_str(&inner);
        Ok(())
    }

    fn fine_size(&self) -> (u32, u32) {
        (
            self.size.width_px.saturating_mul(FINE as u32),
            self.size.height_px.saturating_mul(FINE as u32),
        )
    }

    pub(super) fn line(
        &mut self,
        from: (f64, f64),
        to: (f64, f64),
        colour: RGBColor,
        width: f64,
        dash: Dash,
    ) -> Result<(), ChartError> {
        self.path(&[from, to], colour, width, dash)
    }

    pub(super) fn path(
        &mut self,
        points: &[(f64, f64)],
        colour: RGBColor,
        width: f64,
        dash: Dash,
    ) -> Result<(), ChartError> {
        let fine: Vec<(i32, i32)> = points.iter().map(|p| grid(*p)).collect();
        if let Some(pattern) = dash.pattern() {
            self.body
                .push_str(&format!("<g stroke-dasharray=\"{pattern}\">\n"));
        }
        let style = stroke(colour, width);
        self.draw(|b| b.draw_path(fine, &style))?;
        if dash.pattern().is_some() {
            self.body.push_str("</g>\n");
        }
        Ok(())
    }

    /// Several separate lines of one look, as one group.
    pub(super) fn strokes(
        &mut self,
        lines: &[Stroke],
        colour: RGBColor,
        width: f64,
    ) -> Result<(), ChartError> {
        let style = stroke(colour, width);
        self.draw(|b| {
            lines
                .iter()
                .try_for_each(|(from, to)| b.draw_line(grid(*from), grid(*to), &style))
        })
    }

    pub(super) fn polygon(
        &mut self,
        points: &[(f64, f64)],
        colour: RGBColor,
    ) -> Result<(), ChartError> {
        let fine: Vec<(i32, i32)> = points.iter().map(|p| grid(*p)).collect();
        self.draw(|b| b.fill_polygon(fine, &colour.filled()))
    }

    pub(super) fn rect(&mut self, area: &Area, colour: RGBColor) -> Result<(), ChartError> {
        let (from, to) = (grid((area.x0, area.y0)), grid((area.x1, area.y1)));
        self.draw(|b| b.draw_rect(from, to, &colour.filled(), true))
    }

    /// Many rectangles of one colour as one shape, each with a rim of paper `rim` wide.
    pub(super) fn rects(&mut self, areas: &[Area], colour: &str, rim: f64) {
        if areas.is_empty() {
            return;
        }
        let mut path = String::new();
        for area in areas {
            let ((x0, y0), (x1, y1)) = (grid((area.x0, area.y0)), grid((area.x1, area.y1)));
            let (w, h) = (x1 - x0, y1 - y0);
            path.push_str(&format!("M{x0} {y0}h{w}v{h}h{}z", -w));
        }
        let rim = if rim > 0.0 {
            let width = (rim * FINE).round();
            format!(" stroke=\"#FFFFFF\" stroke-width=\"{width}\"")
        } else {
            String::new()
        };
        self.body
            .push_str(&format!("<path d=\"{path}\" fill=\"{colour}\"{rim}/>\n"));
    }

    /// Many pieces of one line as one shape, with round ends: one without length is a dot.
    pub(super) fn pieces(&mut self, pieces: &[Stroke], colour: &str, width: f64) {
        if pieces.is_empty() {
            return;
        }
        let mut path = String::new();
        for (from, to) in pieces {
            let ((x0, y0), (x1, y1)) = (grid(*from), grid(*to));
            path.push_str(&format!("M{x0} {y0}l{} {}", x1 - x0, y1 - y0));
        }
        let width = (width * FINE).round();
        self.body.push_str(&format!(
            "<path d=\"{path}\" stroke=\"{colour}\" stroke-width=\"{width}\" \
             stroke-linecap=\"round\" fill=\"none\"/>\n"
        ));
    }

    pub(super) fn outline(
        &mut self,
        area: &Area,
        colour: RGBColor,
        width: f64,
    ) -> Result<(), ChartError> {
        let Area { x0, y0, x1, y1 } = *area;
        self.path(
            &[(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)],
            colour,
            width,
            Dash::Solid,
        )
    }

    pub(super) fn disc(
        &mut self,
        centre: (f64, f64),
        radius: f64,
        fill: RGBColor,
        edge: Option<(RGBColor, f64)>,
    ) -> Result<(), ChartError> {
        let at = grid(centre);
        let r = (radius * FINE).round().max(1.0) as u32;
        self.draw(|b| {
            b.draw_circle(at, r, &fill.filled(), true)
                .and_then(|()| match edge {
                    Some((colour, width)) => b.draw_circle(at, r, &stroke(colour, width), false),
                    None => Ok(()),
                })
        })
    }

    /// Writes a text with its baseline at `y` and returns the box it takes.
    pub(super) fn text(
        &mut self,
        text: &str,
        (x, y): (f64, f64),
        look: Type,
        anchor: Anchor,
    ) -> Result<Area, ChartError> {
        let area = text_area(text, (x, y), look, anchor);
        if text.is_empty() {
            return Ok(area);
        }
        let h_pos = match anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let weight = if look.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        let font: FontDesc<'_> = (
            FontFamily::Name(FONTS),
            look.size * FINE * PLOTTERS_FONT_FACTOR,
            weight,
        )
            .into_font();
        let style = TextStyle::from(font)
            .color(&look.colour)
            .pos(Pos::new(h_pos, VPos::Top));
        // The backend shifts a text with a top anchor down by 0.76 of its size.
        let at = grid((x, y - 0.76 * look.size));
        let text = clean(text);
        self.draw(|b| b.draw_text(&text, &style, at))?;
        Ok(area)
    }

    /// Writes a text with a rim of paper round its letters, for places where lines pass.
    pub(super) fn text_on_lines(
        &mut self,
        text: &str,
        at: (f64, f64),
        look: Type,
        anchor: Anchor,
    ) -> Result<Area, ChartError> {
        self.body.push_str(
            "<g stroke=\"#FFFFFF\" stroke-width=\"40\" stroke-linejoin=\"round\" \
             paint-order=\"stroke\">\n",
        );
        let area = self.text(text, at, look, anchor)?;
        self.body.push_str("</g>\n");
        Ok(area)
    }

    /// Closes the surface: SVG text that scales, with what a screen reader says.
    pub(super) fn finish(self, id: &str, title: &str, desc: &str) -> String {
        let (width, height) = (self.size.width_px, self.size.height_px);
        let (fine_width, fine_height) = self.fine_size();
        let id: String = id
            .chars()
            .map(|c| {
                if c.is_ascii_alphanumeric() || c == '_' {
                    c
                } else {
                    '-'
                }
            })
            .collect();
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {fine_width} {fine_height}\" role=\"img\" \
             aria-labelledby=\"{id}-title {id}-desc\" id=\"{id}\" font-family=\"{FONTS}\">\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n\
             <rect width=\"{fine_width}\" height=\"{fine_height}\" fill=\"#FFFFFF\"/>\n{}</svg>\n",
            escape(title),
            escape(desc),
            self.body
        )
    }
}

/// The box a text takes when its baseline is at `y`.
pub(super) fn text_area(text: &str, (x, y): (f64, f64), look: Type, anchor: Anchor) -> Area {
    let width = look.width(text);
    let x0 = match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - width / 2.0,
        Anchor::End => x - width,
    };
    Area {
        x0,
        y0: y - look.size * 0.95,
        x1: x0 + width,
        y1: y + look.size * 0.25,
    }
}

fn escape(text: &str) -> String {
    clean(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

fn stroke(colour: RGBColor, width: f64) -> ShapeStyle {
    colour.stroke_width((width * FINE).round().max(1.0) as u32)
}

/// A pixel place on the fine grid, kept within what the backend's whole numbers hold.
fn grid((x, y): (f64, f64)) -> (i32, i32) {
    let fine = |v: f64| (v * FINE).round().clamp(-1e8, 1e8) as i32;
    (fine(x), fine(y))
}

/// Cuts a line of points to what lies inside `area`; it may fall into several pieces.
pub(super) fn clip_line(points: &[(f64, f64)], area: &Area) -> Vec<Vec<(f64, f64)>> {
    let mut pieces: Vec<Vec<(f64, f64)>> = Vec::new();
    for pair in points.windows(2) {
        let Some((a, b)) = clip_segment(pair[0], pair[1], area) else {
            continue;
        };
        match pieces.last_mut() {
            Some(piece) if piece.last() == Some(&a) => piece.push(b),
            _ => pieces.push(vec![a, b]),
        }
    }
    pieces
}

/// Liang and Barsky's clipping of one straight piece.
fn clip_segment(a: (f64, f64), b: (f64, f64), area: &Area) -> Option<Stroke> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut from, mut to) = (0.0f64, 1.0f64);
    for (p, q) in [
        (-dx, a.0 - area.x0),
        (dx, area.x1 - a.0),
        (-dy, a.1 - area.y0),
        (dy, area.y1 - a.1),
    ] {
        if p == 0.0 {
            if q < 0.0 {
                return None;
            }
        } else if p < 0.0 {
            from = from.max(q / p);
        } else {
            to = to.min(q / p);
        }
    }
    if from > to {
        return None;
    }
    // The ends themselves are kept exactly, so that pieces join again.
    let at = |t: f64| match t {
        0.0 => a,
        1.0 => b,
        t => (a.0 + t * dx, a.1 + t * dy),
    };
    Some((at(from), at(to)))
}

/// Cuts a filled outline to `area` (Sutherland and Hodgman, side by side).
pub(super) fn clip_polygon(points: &[(f64, f64)], area: &Area) -> Vec<(f64, f64)> {
    type Side = (fn((f64, f64), &Area) -> f64,);
    // Each gives how far a point lies inside its side.
    const SIDES: [Side; 4] = [
        (|p, a| p.0 - a.x0,),
        (|p, a| a.x1 - p.0,),
        (|p, a| p.1 - a.y0,),
        (|p, a| a.y1 - p.1,),
    ];
    let mut out = points.to_vec();
    for (inside,) in SIDES {
        let before = std::mem::take(&mut out);
        for (i, current) in before.iter().enumerate() {
            let previous = before[(i + before.len() - 1) % before.len()];
            let (d0, d1) = (inside(previous, area), inside(*current, area));
            if (d0 >= 0.0) != (d1 >= 0.0) {
                let t = d0 / (d0 - d1);
                out.push((
                    previous.0 + t * (current.0 - previous.0),
                    previous.1 + t * (current.1 - previous.1),
                ));
            }
            if d1 >= 0.0 {
                out.push(*current);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOX: Area = Area {
        x0: 0.0,
        y0: 0.0,
        x1: 10.0,
        y1: 10.0,
    };

    #[test]
    fn a_line_leaving_and_coming_back_is_two_pieces() {
        let pieces = clip_line(&[(-5.0, 5.0), (5.0, 5.0), (5.0, 20.0), (8.0, 5.0)], &BOX);
        assert_eq!(pieces.len(), 2);
        assert_eq!(pieces[0], vec![(0.0, 5.0), (5.0, 5.0), (5.0, 10.0)]);
    }

    #[test]
    fn a_polygon_round_the_box_becomes_the_box() {
        let out = clip_polygon(
            &[(-5.0, -5.0), (15.0, -5.0), (15.0, 15.0), (-5.0, 15.0)],
            &BOX,
        );
        assert_eq!(out.len(), 4);
        assert!(out.iter().all(|p| (0.0..=10.0).contains(&p.0)));
        assert!(clip_polygon(&[(20.0, 20.0), (30.0, 20.0), (30.0, 30.0)], &BOX).is_empty());
    }

    #[test]
    fn a_title_with_markup_stays_text() {
        let svg = Canvas::new(Size::default()).finish("a", "<b> & co", "\u{0} \"x\"");
        let tree = roxmltree::Document::parse(&svg).unwrap();
        let title = tree
            .descendants()
            .find(|n| n.has_tag_name("title"))
            .unwrap();
        assert_eq!(title.text(), Some("<b> & co"));
    }
}
