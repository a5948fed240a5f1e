//! Where labels may stand without touching each other or the data.
//!
//! In: boxes already taken and wished places. Out: a free place, or none.
//! Never: drawing.

/// Air between a picture's edge and what is written along it, in pixels.
pub(super) const EDGE: f64 = 4.0;

/// A rectangle in chart pixels; `x0 <= x1`, `y0 <= y1`, y grows downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Area {
    pub(super) x0: f64,
    pub(super) y0: f64,
    pub(super) x1: f64,
    pub(super) y1: f64,
}

impl Area {
    pub(super) fn new(x0: f64, y0: f64, x1: f64, y1: f64) -> Area {
        Area { x0, y0, x1, y1 }
    }

    /// A square round a point.
    pub(super) fn round(x: f64, y: f64, reach: f64) -> Area {
        Area::new(x - reach, y - reach, x + reach, y + reach)
    }

    pub(super) fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    pub(super) fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    /// True where the two share more than an edge.
    pub(super) fn touches(&self, other: &Area) -> bool {
        self.x0 < other.x1 && other.x0 < self.x1 && self.y0 < other.y1 && other.y0 < self.y1
    }

    pub(super) fn holds(&self, other: &Area) -> bool {
        self.x0 <= other.x0 && self.y0 <= other.y0 && self.x1 >= other.x1 && self.y1 >= other.y1
    }

    pub(super) fn grown(&self, by: f64) -> Area {
        Area {
            x0: self.x0 - by,
            y0: self.y0 - by,
            x1: self.x1 + by,
            y1: self.y1 + by,
        }
    }
}

/// Keeps what is taken and finds what is free.
#[derive(Debug, Default, Clone)]
pub(super) struct Placer {
    /// Never covered: other labels, marks.
    hard: Vec<Area>,
    /// Better not covered: curves, bands' edges.
    soft: Vec<Area>,
}

impl Placer {
    pub(super) fn take(&mut self, area: Area) {
        self.hard.push(area);
    }

    pub(super) fn avoid(&mut self, area: Area) {
        self.soft.push(area);
    }

    /// Lets the points along a drawn line count as better not covered.
    pub(super) fn avoid_line(&mut self, points: &[(f64, f64)], reach: f64) {
        for pair in points.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let length = (b.0 - a.0).hypot(b.1 - a.1);
            let steps = (length / 4.0).ceil().clamp(1.0, 400.0);
            let mut i = 0.0;
            while i <= steps {
                let t = i / steps;
                let (x, y) = (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
                self.avoid(
                    Area {
                        x0: x,
                        y0: y,
                        x1: x,
                        y1: y,
                    }
                    .grown(reach),
                );
                i += 1.0;
            }
        }
    }

    /// Returns the wish inside `bounds` that covers no hard thing and the fewest soft ones, the
    /// earlier of equals; none where every wish covers a hard thing. The place found is taken.
    pub(super) fn find(&mut self, bounds: &Area, wishes: &[Area]) -> Option<Area> {
        let found = wishes
            .iter()
            .filter(|w| bounds.holds(w) && covered(w, &self.hard) == 0)
            .min_by_key(|w| covered(w, &self.soft))
            .copied();
        found.inspect(|area| self.take(*area))
    }

    /// As [`Placer::find`], but only a wish that covers nothing at all will do.
    pub(super) fn find_clear(&mut self, bounds: &Area, wishes: &[Area]) -> Option<Area> {
        let found = wishes
            .iter()
            .find(|w| bounds.holds(w) && covered(w, &self.hard) == 0 && covered(w, &self.soft) == 0)
            .copied();
        found.inspect(|area| self.take(*area))
    }
}

fn covered(area: &Area, taken: &[Area]) -> usize {
    taken.iter().filter(|t| t.touches(area)).count()
}

/// Returns boxes of the given size around a point: right, left, above, below, then farther out.
pub(super) fn around(x: f64, y: f64, width: f64, height: f64, gap: f64) -> Vec<Area> {
    let mut out = Vec::new();
    for ring in 0..6 {
        let g = gap + f64::from(ring) * 12.0;
        let middle = y - height / 2.0;
        for (x0, y0) in [
            (x + g, y + g * 0.6),
            (x + g, middle),
            (x + g, y - g * 0.6 - height),
            (x - g - width, y - g * 0.6 - height),
            (x - g - width, middle),
            (x - g - width, y + g * 0.6),
            (x - width / 2.0, y - g - height),
            (x - width / 2.0, y + g),
        ] {
            out.push(Area {
                x0,
                y0,
                x1: x0 + width,
                y1: y0 + height,
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(x0: f64, y0: f64, x1: f64, y1: f64) -> Area {
        Area { x0, y0, x1, y1 }
    }

    #[test]
    fn a_taken_place_is_not_given_twice() {
        let mut placer = Placer::default();
        let bounds = area(0.0, 0.0, 100.0, 100.0);
        let wishes = [area(0.0, 0.0, 10.0, 10.0), area(20.0, 0.0, 30.0, 10.0)];
        assert_eq!(placer.find(&bounds, &wishes), Some(wishes[0]));
        assert_eq!(placer.find(&bounds, &wishes), Some(wishes[1]));
        assert_eq!(placer.find(&bounds, &wishes), None);
    }

    #[test]
    fn curves_are_covered_only_when_nothing_else_is_left() {
        let mut placer = Placer::default();
        placer.avoid_line(&[(0.0, 5.0), (15.0, 5.0)], 1.0);
        let bounds = area(0.0, 0.0, 100.0, 100.0);
        let wishes = [area(0.0, 0.0, 10.0, 10.0), area(20.0, 0.0, 30.0, 10.0)];
        assert_eq!(placer.find(&bounds, &wishes), Some(wishes[1]));
        assert_eq!(placer.find(&bounds, &wishes), Some(wishes[0]));
    }

    #[test]
    fn nothing_is_placed_outside_its_bounds() {
        let mut placer = Placer::default();
        let bounds = area(0.0, 0.0, 9.0, 9.0);
        assert_eq!(placer.find(&bounds, &[area(0.0, 0.0, 10.0, 9.0)]), None);
    }
}
