//! Units under watch, checked once.
//!
//! In: usages. Out: [`Unit`]s and [`Units`], in which every number is finite and in order.
//! Never: anything about machines or dates.

use thiserror::Error;

/// How the watch over a unit, or over several, ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Truncation {
    /// At a usage that has nothing to do with the events.
    Time,
    /// With an event: the last one tells nothing but where the watch ended.
    Failure,
    /// Several units, some ended one way and some the other.
    Mixed,
}

impl Truncation {
    pub fn word(self) -> &'static str {
        match self {
            Truncation::Time => "time",
            Truncation::Failure => "failure",
            Truncation::Mixed => "mixed",
        }
    }
}

/// Why a unit cannot be used. Usages as they were given.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum UnitError {
    #[error("{what} is not a finite number")]
    NotFinite { what: &'static str },
    #[error("{what} is {value}, below 0")]
    Negative { what: &'static str, value: f64 },
    #[error("no end and no event: it is not known how long it was watched")]
    NeverEnds,
    #[error("watched up to {end}, not beyond its start at {start}")]
    EndsBeforeStart { start: f64, end: f64 },
    #[error("an event at {at}, not beyond its start at {start}")]
    EventBeforeStart { at: f64, start: f64 },
    #[error("an event at {at}, beyond its end at {end}")]
    EventAfterEnd { at: f64, end: f64 },
}

/// One repairable unit: watched over `(start, end]`, with its events in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    start: f64,
    end: f64,
    events: Vec<f64>,
}

impl Unit {
    /// Checks a unit, so that the numeric files need not.
    ///
    /// `end` `None`: the watch ended with the last event. A watch whose end *is* its last
    /// event counts as ended by it: in continuous usage the two meet in no other way.
    /// Domain: `0 <= start < event <= end`, all finite; events in any order, ties allowed.
    /// Errors: [`UnitError`].
    pub fn new(start: f64, end: Option<f64>, mut events: Vec<f64>) -> Result<Unit, UnitError> {
        let number = |what, value: f64| {
            if !value.is_finite() {
                Err(UnitError::NotFinite { what })
            } else if value < 0.0 {
                Err(UnitError::Negative { what, value })
            } else {
                Ok(())
            }
        };
        number("its start", start)?;
        if let Some(end) = end {
            number("its end", end)?;
        }
        for at in &events {
            number("an event", *at)?;
        }
        events.sort_by(f64::total_cmp);
        if let Some(at) = events.first().copied().filter(|at| *at <= start) {
            return Err(UnitError::EventBeforeStart { at, start });
        }
        let last = events.last().copied();
        let end = end.or(last).ok_or(UnitError::NeverEnds)?;
        if end <= start {
            return Err(UnitError::EndsBeforeStart { start, end });
        }
        if let Some(at) = last.filter(|at| *at > end) {
            return Err(UnitError::EventAfterEnd { at, end });
        }
        Ok(Unit { start, end, events })
    }

    /// Usage at which the watch began; 0 for one watched from new.
    pub fn start(&self) -> f64 {
        self.start
    }

    pub fn end(&self) -> f64 {
        self.end
    }

    /// In rising order.
    pub fn events(&self) -> &[f64] {
        &self.events
    }

    /// True where the last event ended the watch.
    pub fn ended_by_event(&self) -> bool {
        self.events.last() == Some(&self.end)
    }

    /// The events that tell of a trend: all but one that ended the watch.
    pub fn telling(&self) -> &[f64] {
        let all = &self.events;
        &all[..all.len() - usize::from(self.ended_by_event())]
    }

    /// Under watch at `t`: `start < t <= end`.
    pub fn at_risk(&self, t: f64) -> bool {
        self.start < t && t <= self.end
    }
}

/// Units whose events are taken together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Units(Vec<Unit>);

impl Units {
    pub fn new(units: Vec<Unit>) -> Self {
        Units(units)
    }

    pub fn units(&self) -> &[Unit] {
        &self.0
    }

    /// All events of all units.
    pub fn events(&self) -> usize {
        self.0.iter().map(|u| u.events.len()).sum()
    }

    /// Events that tell of a trend (see [`Unit::telling`]).
    pub fn telling(&self) -> usize {
        self.0.iter().map(|u| u.telling().len()).sum()
    }

    /// Usage watched, all units together.
    pub fn usage(&self) -> f64 {
        self.0.iter().map(|u| u.end - u.start).sum()
    }

    /// True where a unit came under watch after usage 0.
    pub fn has_late_entry(&self) -> bool {
        self.0.iter().any(|u| u.start > 0.0)
    }

    /// Longest usage to which any unit was watched.
    pub fn last_end(&self) -> Option<f64> {
        self.0.iter().map(|u| u.end).reduce(f64::max)
    }

    /// Events that share their usage with another of the same unit, beyond the first of each.
    pub fn ties(&self) -> usize {
        let of = |unit: &Unit| unit.events.windows(2).filter(|w| w[0] == w[1]).count();
        self.0.iter().map(of).sum()
    }

    /// How the watch ended. Units without events count as ended by time; no unit: `Time`.
    pub fn truncation(&self) -> Truncation {
        let by_event = self.0.iter().filter(|u| u.ended_by_event()).count();
        match by_event {
            0 => Truncation::Time,
            n if n == self.0.len() => Truncation::Failure,
            _ => Truncation::Mixed,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_watch_ends_with_its_end_or_its_last_event() {
        let by_time = Unit::new(0.0, Some(9.0), vec![5.0, 2.0]).unwrap();
        assert_eq!(by_time.events(), [2.0, 5.0]);
        assert_eq!(by_time.telling().len(), 2);
        let by_event = Unit::new(0.0, None, vec![5.0, 2.0]).unwrap();
        assert_eq!((by_event.end(), by_event.telling()), (5.0, &[2.0][..]));
        let same = Unit::new(0.0, Some(5.0), vec![5.0, 2.0]).unwrap();
        assert_eq!(same, by_event);
        let both = Units::new(vec![by_time, by_event]);
        assert_eq!(both.truncation(), Truncation::Mixed);
        assert_eq!((both.events(), both.telling(), both.usage()), (4, 3, 14.0));
    }

    #[test]
    fn what_is_out_of_order_is_refused() {
        let refused = |start, end, events: &[f64]| Unit::new(start, end, events.to_vec()).is_err();
        assert!(refused(0.0, None, &[]));
        assert!(refused(5.0, Some(5.0), &[]));
        assert!(refused(5.0, Some(9.0), &[5.0]));
        assert!(refused(5.0, Some(9.0), &[10.0]));
        assert!(refused(-1.0, Some(9.0), &[]));
        assert!(refused(0.0, Some(f64::NAN), &[]));
        assert!(refused(0.0, Some(9.0), &[f64::INFINITY]));
    }

    #[test]
    fn ties_count_what_comes_beyond_the_first() {
        let unit = Unit::new(0.0, Some(9.0), vec![2.0, 5.0, 5.0, 5.0]).unwrap();
        assert_eq!(Units::new(vec![unit]).ties(), 2);
    }
}
