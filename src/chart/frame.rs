//! A plot with a plain axis across and one up: from values to places on the canvas.
//!
//! In: the plot's area, the range of each axis. Out: pixels. Never: drawing, data.

use super::axis::Range;
use super::place::Area;

/// Where a value stands in a plot.
pub(super) struct Frame {
    pub(super) plot: Area,
    pub(super) x: Range,
    pub(super) y: Range,
}

impl Frame {
    pub(super) fn across(&self, value: f64) -> f64 {
        self.plot.x0 + self.x.share(value) * self.plot.width()
    }

    pub(super) fn up(&self, value: f64) -> f64 {
        self.plot.y1 - self.y.share(value) * self.plot.height()
    }

    pub(super) fn at(&self, (across, up): (f64, f64)) -> (f64, f64) {
        (self.across(across), self.up(up))
    }
}
