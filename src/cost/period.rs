//! Stretches of days: one whole, or cut by the calendar.
//!
//! In: first and last day. Out: [`Span`]s that follow one another without a gap.
//! Never: time zones, a clock.

use chrono::{Datelike, NaiveDate};

/// What part of the calendar each stretch is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Every {
    Month,
    Quarter,
    Year,
}

impl Every {
    pub fn word(self) -> &'static str {
        match self {
            Every::Month => "month",
            Every::Quarter => "quarter",
            Every::Year => "year",
        }
    }

    fn months(self) -> u32 {
        match self {
            Every::Month => 1,
            Every::Quarter => 3,
            Every::Year => 12,
        }
    }

    fn label(self, day: NaiveDate) -> String {
        match self {
            Every::Month => day.format("%Y-%m").to_string(),
            Every::Quarter => format!("{}-Q{}", day.year(), day.month0() / 3 + 1),
            Every::Year => day.year().to_string(),
        }
    }
}

/// Whole days, both ends included.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Span {
    pub label: String,
    pub from: NaiveDate,
    pub to: NaiveDate,
}

impl Span {
    /// The stretch named by its ends.
    pub fn new(from: NaiveDate, to: NaiveDate) -> Span {
        Span {
            label: format!("{from} to {to}"),
            from,
            to,
        }
    }

    /// Cut by the calendar; the first and the last stretch may be a part of theirs only, which
    /// their days tell.
    pub fn cut(&self, every: Every) -> Vec<Span> {
        let mut spans = Vec::new();
        let mut from = self.from;
        while from <= self.to {
            // Months since year 0 of the next stretch's beginning.
            let months = from.year() * 12 + from.month0() as i32;
            let next = (months / every.months() as i32 + 1) * every.months() as i32;
            let begins = NaiveDate::from_ymd_opt(next / 12, (next % 12) as u32 + 1, 1);
            let to = begins
                .and_then(|day| day.pred_opt())
                .map_or(self.to, |day| day.min(self.to));
            spans.push(Span {
                label: every.label(from),
                from,
                to,
            });
            match to.succ_opt() {
                Some(day) => from = day,
                None => break,
            }
        }
        spans
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("day")
    }

    #[test]
    fn stretches_follow_the_calendar() {
        let whole = Span::new(day("2024-11-20"), day("2025-02-03"));
        let labels = |every| -> Vec<String> {
            let spans = whole.cut(every).into_iter();
            spans
                .map(|s| format!("{} {} {}", s.label, s.from, s.to))
                .collect()
        };
        assert_eq!(
            labels(Every::Month),
            [
                "2024-11 2024-11-20 2024-11-30",
                "2024-12 2024-12-01 2024-12-31",
                "2025-01 2025-01-01 2025-01-31",
                "2025-02 2025-02-01 2025-02-03",
            ]
        );
        assert_eq!(
            labels(Every::Quarter),
            [
                "2024-Q4 2024-11-20 2024-12-31",
                "2025-Q1 2025-01-01 2025-02-03",
            ]
        );
        assert_eq!(
            labels(Every::Year),
            ["2024 2024-11-20 2024-12-31", "2025 2025-01-01 2025-02-03"]
        );
    }

    proptest! {
        #[test]
        fn no_day_is_lost_or_doubled(start in 0i64..20_000, length in 0i64..3_000) {
            let from = day("1990-01-01") + chrono::TimeDelta::days(start);
            let to = from + chrono::TimeDelta::days(length);
            for every in [Every::Month, Every::Quarter, Every::Year] {
                let spans = Span::new(from, to).cut(every);
                prop_assert_eq!(spans[0].from, from);
                prop_assert_eq!(spans[spans.len() - 1].to, to);
                for pair in spans.windows(2) {
                    prop_assert_eq!(pair[0].to.succ_opt(), Some(pair[1].from));
                    prop_assert!(pair[0].label < pair[1].label);
                }
            }
        }
    }
}
