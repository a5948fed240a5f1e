//! Charts: plain numbers in, SVG text out.
//!
//! In: structs of numbers and words ([`ProbabilityPlot`], [`StackedColumns`], …) and a [`Size`].
//! Out: SVG text that scales, carries a title and a description for screen readers, and reads in
//! grey print.
//! Never: files, clock, analysis. The only room that names plotters.
//!
//! A chart struct holds numbers and words as the caller wants them read; nothing is estimated
//! here. The same struct gives the same bytes. Every axis passes one guard (`axis`), labels are
//! placed so that they do not cover each other (`place`), and no mark is told from another by
//! colour alone (`marks`).

mod axis;
mod bars;
mod calendar;
mod calibration;
mod callouts;
mod canvas;
mod change;
mod columns;
mod cost;
mod dates;
mod estimate;
mod flags;
mod frame;
mod hazard;
mod history;
mod lanes;
mod looks;
mod marks;
mod palette;
mod paper;
mod periods;
mod place;
mod png;
mod probability;
mod probability_words;
mod ranges;
mod text;
mod wear;

pub use bars::{RankedBars, RankedRow, ranked_bars};
pub use calibration::{Calibration, calibration};
pub use change::{ChangeBars, change_bars};
pub use columns::{Panel, StackedColumns, stacked_columns};
pub use cost::{CostCurve, CostPoint, cost_curve};
pub use dates::day_words;
pub use estimate::{EstimateStep, StepEstimate};
pub use hazard::{HazardCurve, HazardPoint, hazard_curve};
pub use history::{Ending, Lane, LaneBar, SlotHistory, slot_history};
pub use lanes::{StopLane, StopLanes, StopMark, stop_lanes};
pub use looks::{OTHERS, Series};
pub use png::png;
pub use probability::{IntervalMark, LifeLimits, ProbabilityPlot, probability_plot};
pub use ranges::{IntervalRanges, RangeRow, interval_ranges};
pub use text::{number, significant, text_width_px};
pub use wear::{WearChart, WearItem, wear_chart};

/// The size a chart is drawn for, in pixels; it scales from there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// At least 360, at most 4,000.
    pub width_px: u32,
    /// At least 200, at most 8,000.
    pub height_px: u32,
}

impl Default for Size {
    fn default() -> Self {
        Size {
            width_px: 720,
            height_px: 344,
        }
    }
}

impl Size {
    fn checked(self) -> Result<Size, ChartError> {
        let fits =
            (360..=4_000).contains(&self.width_px) && (200..=8_000).contains(&self.height_px);
        if fits {
            Ok(self)
        } else {
            Err(ChartError::Size {
                width_px: self.width_px,
                height_px: self.height_px,
            })
        }
    }
}

/// Why a chart cannot be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChartError {
    /// A number on the axis is not finite, too large, or not positive where it must be.
    #[error("the {axis} axis cannot show the value {value}")]
    Axis {
        /// Which axis.
        axis: &'static str,
        /// The value as text, since NaN equals nothing.
        value: String,
    },
    /// A plotting position or share lies outside 0 to 1.
    #[error("a share of {value} lies outside 0 to 1")]
    Share {
        /// The value as text.
        value: String,
    },
    /// A range runs backwards.
    #[error("{what} runs backwards: from {from} to {to}")]
    Backwards {
        /// What it is.
        what: &'static str,
        /// Its start.
        from: String,
        /// Its end.
        to: String,
    },
    /// There are fewer or more of something than there must be.
    #[error("{what}: {found} where there must be {wanted}")]
    Count {
        /// What was counted.
        what: &'static str,
        /// How many there must be.
        wanted: usize,
        /// How many there are.
        found: usize,
    },
    /// Fills are numbered 0 to 7, and [`OTHERS`].
    #[error("no fill has the number {0}: series take 0 to 7, all others together 8")]
    Look(usize),
    /// Steps do not lead to the sum after them.
    #[error("the steps add up to {reached}, not to {after}")]
    Sum {
        /// Where the steps lead.
        reached: String,
        /// The sum that is said to come after them.
        after: String,
    },
    /// What should become a PNG is no SVG.
    #[error("not a picture: {0}")]
    Svg(String),
    /// A PNG of that scale would have no pixels, or too many.
    #[error("a picture of {width} by {height} pixels cannot be drawn {scale} times as large")]
    Scale {
        /// The scale asked for.
        scale: String,
        /// The chart's own width.
        width: String,
        /// The chart's own height.
        height: String,
    },
    /// An id must start with a letter and hold only ASCII letters, digits and hyphens.
    #[error("`{0}` cannot be the id of a chart")]
    Id(String),
    /// The picture would be too small to read or too large to hold.
    #[error("a chart cannot be {width_px} by {height_px} pixels")]
    Size {
        /// Width asked for.
        width_px: u32,
        /// Height asked for.
        height_px: u32,
    },
    /// The drawing library refused a shape.
    #[error("the drawing library failed: {0}")]
    Backend(String),
}

/// Fails unless `id` can stand in an SVG `id` attribute and be referred to.
fn checked_id(id: &str) -> Result<&str, ChartError> {
    let good = id.starts_with(|c: char| c.is_ascii_alphabetic())
        && id.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
    if good {
        Ok(id)
    } else {
        Err(ChartError::Id(id.to_owned()))
    }
}

/// Fails unless `value` can stand on an axis that starts at zero.
fn amount(axis: &'static str, value: f64) -> Result<f64, ChartError> {
    let value = axis::finite(axis, value)?;
    if value >= 0.0 {
        Ok(value)
    } else {
        Err(ChartError::Axis {
            axis,
            value: value.to_string(),
        })
    }
}

fn share(value: f64) -> Result<f64, ChartError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(ChartError::Share {
            value: value.to_string(),
        })
    }
}

fn forwards<T: PartialOrd + ToString>(
    what: &'static str,
    from: T,
    to: T,
) -> Result<(), ChartError> {
    if from <= to {
        Ok(())
    } else {
        Err(ChartError::Backwards {
            what,
            from: from.to_string(),
            to: to.to_string(),
        })
    }
}
