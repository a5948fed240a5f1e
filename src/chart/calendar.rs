//! The calendar axis that histories and plans stand on.
//!
//! In: dates. Out: places across a plot, hairlines and names. Never: what stands on the days.

use chrono::NaiveDate;

use super::ChartError;
use super::axis::{Range, calendar_ticks, day_number};
use super::canvas::{Anchor, Canvas, Dash, Type};
use super::dates::year_words;
use super::marks;
use super::palette::{HAIR, INK, SOFT};
use super::place::Area;

/// A plot whose axis across is time.
pub(super) struct Frame {
    pub(super) plot: Area,
    days: Range,
}

impl Frame {
    /// The axis holds all of `dates`.
    pub(super) fn new(
        plot: Area,
        dates: impl IntoIterator<Item = NaiveDate>,
    ) -> Result<Frame, ChartError> {
        let days = Range::linear("time", dates.into_iter().map(day_number))?;
        Ok(Frame { plot, days })
    }

    pub(super) fn across(&self, day: NaiveDate) -> f64 {
        self.along(day_number(day))
    }

    fn along(&self, day: f64) -> f64 {
        self.plot.x0 + self.days.share(day) * self.plot.width()
    }

    /// Hairlines and names of years, months or days from `first` to `last`.
    pub(super) fn axis(
        &self,
        c: &mut Canvas,
        first: NaiveDate,
        last: NaiveDate,
    ) -> Result<(), ChartError> {
        let plot = self.plot;
        let look = Type::new(11.0, SOFT);
        let ticks = calendar_ticks(first, last, plot.width(), look.size, 14.0);
        marks::hairs_up(c, &plot, ticks.iter().map(|t| self.along(t.value)))?;
        marks::foot(c, &plot)?;
        c.line(
            (plot.x0, plot.y0),
            (plot.x1, plot.y0),
            HAIR,
            0.8,
            Dash::Solid,
        )?;
        // The axis rarely starts on a tick; the year it starts in is said where there is room.
        let year = year_words(first);
        let bold = Type::bold(11.0, INK);
        if ticks.first().is_some_and(|t| {
            t.label.len() <= 4 && self.along(t.value) - plot.x0 > bold.width(&year) * 1.5 + 6.0
        }) {
            c.text(&year, (plot.x0, plot.y1 + 16.0), bold, Anchor::Start)?;
        }
        for tick in &ticks {
            let x = self.along(tick.value);
            c.line((x, plot.y1), (x, plot.y1 + 4.0), INK, 0.8, Dash::Solid)?;
            let half = look.width(&tick.label) / 2.0;
            let is_year = tick.label.len() == 4 && tick.label.bytes().all(|b| b.is_ascii_digit());
            let look = if is_year { bold } else { look };
            if x + half <= plot.x1 + 22.0 {
                c.text(&tick.label, (x, plot.y1 + 16.0), look, Anchor::Middle)?;
            }
        }
        Ok(())
    }
}
