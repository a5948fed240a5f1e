//! A life as the likelihood sees it, and a sample checked once.
//!
//! In: usages. Out: [`Sample`], in which every number is finite and in order.
//! Never: anything about machines or dates.

use thiserror::Error;

use crate::quantity::counted;

/// How a life ended, in usage since new.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// Failed at this usage.
    Failure { at: f64 },
    /// Ended or still running without failure at this usage (right censored).
    Suspension { at: f64 },
    /// Failed somewhere in `(lo, hi]` (interval censored).
    Interval { lo: f64, hi: f64 },
    /// Failed somewhere in `(entry, hi]` (left censored).
    Left { hi: f64 },
}

/// One life, or several alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// Usage already on the item when it came under watch; 0 for one watched from new.
    pub entry: f64,
    pub end: End,
    /// How many lives are exactly like this one.
    pub count: u32,
}

impl Life {
    /// A failure at `at`, watched from new.
    pub fn failure(at: f64) -> Self {
        Life {
            entry: 0.0,
            end: End::Failure { at },
            count: 1,
        }
    }

    /// A suspension at `at`, watched from new.
    pub fn suspension(at: f64) -> Self {
        Life {
            entry: 0.0,
            end: End::Suspension { at },
            count: 1,
        }
    }

    /// A failure in `(lo, hi]`, watched from new.
    pub fn interval(lo: f64, hi: f64) -> Self {
        Life {
            entry: 0.0,
            end: End::Interval { lo, hi },
            count: 1,
        }
    }

    /// The last usage at which the item is known to have been watched.
    pub fn last_usage(&self) -> f64 {
        match self.end {
            End::Failure { at } | End::Suspension { at } => at,
            End::Interval { hi, .. } | End::Left { hi } => hi,
        }
    }

    /// True where the life ended by failure, exactly known or within a window.
    pub fn failed(&self) -> bool {
        !matches!(self.end, End::Suspension { .. })
    }
}

/// Why a life cannot stand in a sample.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LifeError {
    #[error("life {index}: {what} is not a finite number")]
    NotFinite { index: usize, what: &'static str },
    #[error("life {index}: {what} is {value}, below 0")]
    Negative {
        index: usize,
        what: &'static str,
        value: f64,
    },
    #[error("life {index}: ends at {end}, not beyond its entry age {entry}")]
    EndsBeforeEntry { index: usize, entry: f64, end: f64 },
    #[error("life {index}: the window from {lo} to {hi} is empty")]
    EmptyWindow { index: usize, lo: f64, hi: f64 },
    #[error("life {index}: counts for no item")]
    NoCount { index: usize },
}

/// Lives that can be fitted: finite, in order, of positive length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sample {
    lives: Vec<Life>,
}

impl Sample {
    /// Checks every life once, so that the numeric rooms need not.
    ///
    /// Domain: `0 <= entry < end` and, for a window, `lo < hi`. A life without length
    /// tells nothing and is refused. A window that opens at or before the entry age
    /// is a left-censored life and is kept as [`End::Left`].
    /// Errors: [`LifeError`] with the index of the first bad life.
    pub fn new(lives: Vec<Life>) -> Result<Self, LifeError> {
        let mut checked = Vec::with_capacity(lives.len());
        for (index, life) in lives.into_iter().enumerate() {
            checked.push(check(index, life)?);
        }
        Ok(Sample { lives: checked })
    }

    pub fn lives(&self) -> &[Life] {
        &self.lives
    }

    /// All lives, counting multiples.
    pub fn count(&self) -> u64 {
        self.lives.iter().map(|l| u64::from(l.count)).sum()
    }

    /// Lives that ended by failure, exact or within a window, counting multiples.
    pub fn failures(&self) -> u64 {
        self.count_where(Life::failed)
    }

    /// Failures known exactly, counting multiples.
    pub fn exact_failures(&self) -> u64 {
        self.count_where(|l| matches!(l.end, End::Failure { .. }))
    }

    /// Failures known only within a window, counting multiples.
    pub fn intervals(&self) -> u64 {
        self.count_where(|l| matches!(l.end, End::Interval { .. } | End::Left { .. }))
    }

    /// Lives that ended or still run without failure, counting multiples.
    pub fn suspensions(&self) -> u64 {
        self.count_where(|l| !l.failed())
    }

    /// True where any life came under watch with usage already on it.
    pub fn has_entry_ages(&self) -> bool {
        self.lives.iter().any(|l| l.entry > 0.0)
    }

    /// All usage watched, from entry to end, counting multiples.
    pub fn usage(&self) -> f64 {
        self.lives
            .iter()
            .map(|l| (l.last_usage() - l.entry) * f64::from(l.count))
            .sum()
    }

    fn count_where(&self, keep: impl Fn(&Life) -> bool) -> u64 {
        self.lives
            .iter()
            .filter(|l| keep(l))
            .map(|l| u64::from(l.count))
            .sum()
    }
}

/// "1 life", "34 lives".
pub fn counted_lives(count: u64) -> String {
    counted(count, "life", "lives")
}

fn check(index: usize, mut life: Life) -> Result<Life, LifeError> {
    let number = |what, value: f64| {
        if !value.is_finite() {
            Err(LifeError::NotFinite { index, what })
        } else if value < 0.0 {
            Err(LifeError::Negative { index, what, value })
        } else {
            Ok(())
        }
    };
    if life.count == 0 {
        return Err(LifeError::NoCount { index });
    }
    number("entry age", life.entry)?;
    match life.end {
        End::Failure { at } | End::Suspension { at } => number("usage", at)?,
        End::Left { hi } => number("usage", hi)?,
        End::Interval { lo, hi } => {
            number("start of the window", lo)?;
            number("end of the window", hi)?;
            if lo >= hi {
                return Err(LifeError::EmptyWindow { index, lo, hi });
            }
            if lo <= life.entry {
                life.end = End::Left { hi };
            }
        }
    }
    let end = life.last_usage();
    if end <= life.entry {
        return Err(LifeError::EndsBeforeEntry {
            index,
            entry: life.entry,
            end,
        });
    }
    Ok(life)
}
