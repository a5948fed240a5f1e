//! Axes: the one guard every range passes, and the ticks on it.
//!
//! In: the values an axis must show. Out: [`Range`], tick places and labels.
//! Never: drawing.
//!
//! plotters 0.3.7 never returns for an infinite axis end and draws a wrong picture for NaN, so no
//! number reaches it that has not passed [`Range::linear`] or [`Range::logarithmic`].

use chrono::{Datelike, NaiveDate};

use super::ChartError;
use super::dates::{day_words, month_words, short_day_words, year_words};
use super::text::{number, text_width_px};

/// The largest size of a number on an axis. Beyond it a picture says nothing.
const LARGEST: f64 = 1e15;
/// The smallest positive number on a logarithmic axis.
const SMALLEST: f64 = 1e-12;

/// The two ends of an axis: finite, `lo < hi`, and for a logarithmic axis `lo > 0`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range {
    lo: f64,
    hi: f64,
    log: bool,
}

/// Fails where a value cannot stand on an axis.
pub(super) fn finite(axis: &'static str, value: f64) -> Result<f64, ChartError> {
    if value.is_finite() && value.abs() <= LARGEST {
        Ok(value)
    } else {
        Err(ChartError::Axis {
            axis,
            value: value.to_string(),
        })
    }
}

fn ends(
    axis: &'static str,
    values: impl IntoIterator<Item = f64>,
) -> Result<Option<(f64, f64)>, ChartError> {
    let mut found: Option<(f64, f64)> = None;
    for value in values {
        let value = finite(axis, value)?;
        found = Some(match found {
            Some((lo, hi)) => (lo.min(value), hi.max(value)),
            None => (value, value),
        });
    }
    Ok(found)
}

impl Range {
    /// Returns the range of `values`; 0 to 1 for none; widened by half where both ends are equal.
    ///
    /// Errors: [`ChartError::Axis`] for a value that is not finite or beyond 1e15.
    pub(super) fn linear(
        axis: &'static str,
        values: impl IntoIterator<Item = f64>,
    ) -> Result<Range, ChartError> {
        let (mut lo, mut hi) = ends(axis, values)?.unwrap_or((0.0, 1.0));
        if hi - lo <= 1e-9 * lo.abs().max(hi.abs()) {
            let half = (lo.abs() * 0.5).max(0.5);
            (lo, hi) = (lo - half, hi + half);
        }
        Ok(Range { lo, hi, log: false })
    }

    /// As [`Range::linear`] for a logarithmic axis: 1 to 10 for no values, a factor of two either
    /// way where both ends are equal.
    ///
    /// Errors: [`ChartError::Axis`] also for a value below 1e-12.
    pub(super) fn logarithmic(
        axis: &'static str,
        values: impl IntoIterator<Item = f64>,
    ) -> Result<Range, ChartError> {
        let (mut lo, mut hi) = ends(axis, values)?.unwrap_or((1.0, 10.0));
        if lo < SMALLEST {
            return Err(ChartError::Axis {
                axis,
                value: lo.to_string(),
            });
        }
        if hi / lo < 1.0 + 1e-6 {
            (lo, hi) = (lo / 2.0, hi * 2.0);
        }
        Ok(Range { lo, hi, log: true })
    }

    pub(super) fn lo(&self) -> f64 {
        self.lo
    }

    pub(super) fn hi(&self) -> f64 {
        self.hi
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        value >= self.lo && value <= self.hi
    }

    /// Where a value lies between the ends: 0 at the lower, 1 at the upper. On a logarithmic
    /// axis a value of 0 or less counts as far below.
    pub(super) fn share(&self, value: f64) -> f64 {
        if self.log {
            (value.max(SMALLEST) / self.lo).ln() / (self.hi / self.lo).ln()
        } else {
            (value - self.lo) / (self.hi - self.lo)
        }
    }
}

/// A place on an axis and what is written there.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) value: f64,
    pub(super) label: String,
}

fn decimals_of(step: f64) -> usize {
    // A step of 2.5 needs one decimal although its size is above one.
    let mut decimals = 0usize;
    let mut scaled = step;
    while decimals < 12 && (scaled - scaled.round()).abs() > 1e-6 * scaled.abs().max(1e-12) {
        decimals += 1;
        scaled = step * 10f64.powi(decimals as i32);
    }
    decimals
}

/// Returns round values in the range whose labels do not come closer than `air_px`.
///
/// `length_px` is the axis' length; `upright` says that labels stand above each other, so that
/// height counts and not width.
pub(super) fn linear_ticks(
    range: &Range,
    length_px: f64,
    size_px: f64,
    air_px: f64,
    upright: bool,
) -> Vec<Tick> {
    let span = range.hi - range.lo;
    let mut step = 10f64.powf((span / 20.0).log10().floor());
    for _ in 0..40 {
        for factor in [1.0, 2.0, 2.5, 5.0] {
            let wide = step * factor;
            if span / wide > 400.0 {
                continue;
            }
            let decimals = decimals_of(wide);
            let ticks: Vec<Tick> = multiples(range, wide)
                .map(|value| Tick {
                    value,
                    label: number(value, decimals),
                })
                .collect();
            let needed = ticks
                .iter()
                .map(|t| {
                    if upright {
                        size_px * 1.2
                    } else {
                        text_width_px(&t.label, size_px, false)
                    }
                })
                .fold(0.0, f64::max);
            if needed + air_px <= length_px * wide / span {
                return ticks;
            }
        }
        step *= 10.0;
    }
    Vec::new()
}

fn multiples(range: &Range, step: f64) -> impl Iterator<Item = f64> + use<> {
    let tolerance = (range.hi - range.lo) * 1e-9;
    let first = ((range.lo - tolerance) / step).ceil();
    let last = ((range.hi + tolerance) / step).floor();
    let count = (last - first).clamp(-1.0, 500.0);
    (0..=(count as i64)).map(move |i| (first + i as f64) * step)
}

/// Returns round values on a logarithmic range whose labels fit beside each other.
pub(super) fn log_ticks(range: &Range, length_px: f64, size_px: f64, air_px: f64) -> Vec<Tick> {
    const SETS: [&[f64]; 6] = [
        &[1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0],
        &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0],
        &[1.0, 2.0, 3.0, 5.0, 7.0],
        &[1.0, 2.0, 5.0],
        &[1.0, 3.0],
        &[1.0],
    ];
    let fits = |ticks: &[Tick]| {
        ticks.windows(2).all(|pair| {
            let gap = (range.share(pair[1].value) - range.share(pair[0].value)) * length_px;
            let need = (text_width_px(&pair[0].label, size_px, false)
                + text_width_px(&pair[1].label, size_px, false))
                / 2.0;
            gap >= need + air_px
        })
    };
    let first = range.lo.log10().floor() as i32;
    let last = range.hi.log10().ceil() as i32;
    for set in SETS {
        let mut ticks = Vec::new();
        for decade in first..=last {
            for mantissa in set {
                let value = mantissa * 10f64.powi(decade);
                if value >= range.lo * (1.0 - 1e-9) && value <= range.hi * (1.0 + 1e-9) {
                    ticks.push(Tick {
                        value,
                        label: number(value, decimals_of(value)),
                    });
                }
            }
        }
        if ticks.len() >= 3 && fits(&ticks) {
            return ticks;
        }
    }
    // Either less than half a decade, where even steps read well, or a great many decades.
    if range.hi / range.lo < 100.0 {
        let plain = Range {
            lo: range.lo,
            hi: range.hi,
            log: false,
        };
        let mut air = air_px;
        for _ in 0..12 {
            let ticks = linear_ticks(&plain, length_px, size_px, air, false);
            if fits(&ticks) {
                return ticks;
            }
            air = air * 1.5 + 10.0;
        }
    }
    for every in 1..40 {
        let ticks: Vec<Tick> = (first..=last)
            .filter(|d| d.rem_euclid(every) == 0)
            .map(|d| 10f64.powi(d))
            .filter(|v| range.holds(*v))
            .map(|value| Tick {
                value,
                label: number(value, decimals_of(value)),
            })
            .collect();
        if fits(&ticks) {
            return ticks;
        }
    }
    Vec::new()
}

/// Days since 1970-01-01, the plain number a date has on a time axis.
pub(super) fn day_number(date: NaiveDate) -> f64 {
    f64::from(date.num_days_from_ce() - 719_163)
}

/// Returns years, months or days on a time axis from `from` to `to`, labels not closer than
/// `air_px`. January carries the year, other months their name.
pub(super) fn calendar_ticks(
    from: NaiveDate,
    to: NaiveDate,
    length_px: f64,
    size_px: f64,
    air_px: f64,
) -> Vec<Tick> {
    let days = (day_number(to) - day_number(from)).max(1.0);
    let per_day = length_px / days;
    if days < 75.0 {
        return day_ticks(from, to, per_day, size_px, air_px);
    }
    for step in [1i32, 3, 6, 12, 24, 60, 120, 240, 600, 1200] {
        let widest = if step < 12 {
            widest_of_year(from.year(), month_words, size_px)
        } else {
            text_width_px("20000", size_px, false)
        };
        if widest + air_px > per_day * 30.0 * f64::from(step) {
            continue;
        }
        let mut ticks = Vec::new();
        let mut months = (from.year() * 12 + from.month0() as i32).div_euclid(step) * step;
        for _ in 0..600 {
            let (year, month) = (months.div_euclid(12), months.rem_euclid(12));
            let Some(date) = NaiveDate::from_ymd_opt(year, month as u32 + 1, 1) else {
                break;
            };
            if date > to {
                break;
            }
            if date >= from {
                let label = if month == 0 {
                    year_words(date)
                } else {
                    month_words(date)
                };
                ticks.push(Tick {
                    value: day_number(date),
                    label,
                });
            }
            months += step;
        }
        return ticks;
    }
    Vec::new()
}

/// The width of the widest name that one day of each month of a year has, or the year itself.
fn widest_of_year(year: i32, words: fn(NaiveDate) -> String, size_px: f64) -> f64 {
    (1..=12)
        .filter_map(|month| NaiveDate::from_ymd_opt(year, month, 28))
        .map(|day| text_width_px(&words(day), size_px, false))
        .fold(text_width_px("2000", size_px, true), f64::max)
}

fn day_ticks(from: NaiveDate, to: NaiveDate, per_day: f64, size_px: f64, air_px: f64) -> Vec<Tick> {
    let widest = widest_of_year(from.year(), day_words, size_px);
    let step = [1u64, 2, 5, 7, 14, 28]
        .into_iter()
        .find(|s| widest + air_px <= per_day * *s as f64)
        .unwrap_or(56);
    let mut ticks = Vec::new();
    let mut date = from;
    while date <= to {
        ticks.push(Tick {
            value: day_number(date),
            label: if ticks.is_empty() {
                day_words(date)
            } else {
                short_day_words(date)
            },
        });
        match date.checked_add_days(chrono::Days::new(step)) {
            Some(next) => date = next,
            None => break,
        }
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_that_is_not_finite_is_an_error() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e16] {
            assert!(matches!(
                Range::linear("usage", [1.0, bad]),
                Err(ChartError::Axis { axis: "usage", .. })
            ));
            assert!(Range::logarithmic("usage", [1.0, bad]).is_err());
        }
        assert!(Range::logarithmic("usage", [0.0, 1.0]).is_err());
    }

    #[test]
    fn equal_ends_are_widened() {
        for value in [0.0, 5.0, -3.0, 1e12] {
            let range = Range::linear("x", [value, value]).unwrap();
            assert!(range.lo() < value && value < range.hi());
        }
        let range = Range::logarithmic("x", [40.0]).unwrap();
        assert_eq!((range.lo(), range.hi()), (20.0, 80.0));
    }

    #[test]
    fn linear_ticks_are_round_and_apart() {
        let range = Range::linear("x", [0.0, 5_000.0]).unwrap();
        let ticks = linear_ticks(&range, 600.0, 11.0, 16.0, false);
        let labels: Vec<_> = ticks.iter().map(|t| t.label.as_str()).collect();
        assert_eq!(
            labels,
            [
                "0", "500", "1,000", "1,500", "2,000", "2,500", "3,000", "3,500", "4,000", "4,500",
                "5,000"
            ]
        );
    }

    #[test]
    fn small_steps_get_the_decimals_they_need() {
        let range = Range::linear("x", [0.0, 0.02]).unwrap();
        let ticks = linear_ticks(&range, 200.0, 11.0, 16.0, true);
        assert!(
            ticks
                .iter()
                .any(|t| t.label == "0.010" || t.label == "0.01")
        );
    }

    #[test]
    fn log_ticks_exist_for_narrow_and_wide_ranges() {
        for (lo, hi) in [
            (1_000.0, 1_010.0),
            (900.0, 5_000.0),
            (0.001, 1e9),
            (1e-9, 1e14),
            (2.0, 2.1),
        ] {
            let range = Range::logarithmic("x", [lo, hi]).unwrap();
            let ticks = log_ticks(&range, 600.0, 11.0, 12.0);
            assert!(ticks.len() >= 2, "{lo} to {hi}: {ticks:?}");
            assert!(ticks.len() <= 40);
        }
    }

    #[test]
    fn five_years_show_as_years_and_half_years() {
        let from = NaiveDate::from_ymd_opt(2021, 1, 1).unwrap();
        let to = NaiveDate::from_ymd_opt(2025, 12, 31).unwrap();
        let ticks = calendar_ticks(from, to, 560.0, 11.0, 12.0);
        assert_eq!(ticks[0].label, "2021");
        assert_eq!(ticks[1].label, "Jul");
        assert_eq!(ticks[2].label, "2022");
    }
}
