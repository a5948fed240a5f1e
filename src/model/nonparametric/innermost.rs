//! Innermost intervals: the only places where the estimate from windows can put failures.
//!
//! In: lives. Out: [`Cells`] in order of usage, and which of them each life bears on.
//! Never: any estimate.
//!
//! A life says: under watch from `V` on, no failure up to `L`, failed by `R`, that is a failure
//! in `(L, R]` given one beyond `V`. Failures may be moved within the line, without loss, into
//! stretches that open at some `L` and close at the next `R` or `V`, whichever is first.
//! Sources: Turnbull, *JRSS B* 38 (1976) 290-295; Frydman, *JRSS B* 56 (1994) 71-74 (why `V`
//! closes a stretch too); Peto, *Applied Statistics* 22 (1973) 86-91.

use crate::life::{End, Life};

/// A place on the line: a usage, and whether just before it or at it. An exact failure at `t`
/// is one in the stretch from just before `t` to `t`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Place {
    usage: f64,
    at: bool,
}

fn before(usage: f64) -> Place {
    Place { usage, at: false }
}

fn at(usage: f64) -> Place {
    Place { usage, at: true }
}

/// A run of cells, `from..to`.
pub(super) type Run = (usize, usize);

/// One innermost interval: `(from, to]`, or the usage itself where both are equal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub(super) from: f64,
    pub(super) to: f64,
}

/// What one life says of the cells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bearing {
    pub(super) weight: f64,
    /// Cells it went through under watch without failing.
    pub(super) survived: Run,
    /// Cells in one of which it failed; `None` for a suspension.
    pub(super) failed: Option<Run>,
}

/// The cells and what each life says of them.
pub(super) struct Cells {
    pub(super) cells: Vec<Cell>,
    pub(super) bearings: Vec<Bearing>,
}

/// `V`, `L` and `R` of a life; `R` is `None` for a suspension.
fn stretch(life: &Life) -> (Place, Place, Option<Place>) {
    let entry = at(life.entry);
    match life.end {
        End::Failure { at: usage } => (entry, before(usage), Some(at(usage))),
        End::Suspension { at: usage } => (entry, at(usage), None),
        End::Interval { lo, hi } => (entry, at(lo), Some(at(hi))),
        End::Left { hi } => (entry, entry, Some(at(hi))),
    }
}

impl Cells {
    pub(super) fn of(lives: &[Life]) -> Cells {
        let stretches: Vec<_> = lives.iter().map(stretch).collect();
        // Opening ends come after closing ones at the same place: a cell holds more than that.
        let mut ends: Vec<(Place, bool)> = Vec::with_capacity(3 * lives.len());
        for (v, l, r) in &stretches {
            ends.push((*v, false));
            ends.push((*l, true));
            ends.extend(r.map(|r| (r, false)));
        }
        ends.sort_by(|a, b| {
            let usage = a.0.usage.total_cmp(&b.0.usage);
            usage.then(a.0.at.cmp(&b.0.at)).then(a.1.cmp(&b.1))
        });
        let mut opens: Vec<Place> = Vec::new();
        let mut closes: Vec<Place> = Vec::new();
        for pair in ends.windows(2) {
            if pair[0].1 && !pair[1].1 {
                opens.push(pair[0].0);
                closes.push(pair[1].0);
            }
        }
        // No cell is cut by any of the ends, so a run holds whole cells only.
        let run = |from: &Place, to: &Place| -> Run {
            let first = opens.partition_point(|open| open < from);
            let last = closes.partition_point(|close| close <= to);
            (first, last.max(first))
        };
        let bearings = stretches
            .iter()
            .zip(lives)
            .map(|((v, l, r), life)| Bearing {
                weight: f64::from(life.count),
                survived: run(v, l),
                failed: r.map(|r| run(l, &r)),
            })
            .collect();
        let cells = opens
            .iter()
            .zip(&closes)
            .map(|(open, close)| Cell {
                from: open.usage,
                to: close.usage,
            })
            .collect();
        Cells { cells, bearings }
    }
}
