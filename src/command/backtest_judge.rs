//! What the recommended intervals would have made of the lives that ended.
//!
//! In: the evidence of the time, the lives as they ended. Out: [`Judged`].
//! Never: a guess at how long an item would have run on.
//!
//! A life tells what an earlier renewal would have done: had the item been renewed at `T` and is
//! it known to have run to `T`, it would have been a planned renewal there. It does not tell what a
//! later one would have done: an item taken out sound before `T` might have failed before `T` or
//! not. Such lives are counted and left out; so are those whose failure is only known to lie
//! around `T`.

use chrono::{DateTime, Utc};
use rust_decimal::prelude::ToPrimitive;

use super::evidence::ComponentEvidence;
use crate::life::{LifeRow, Outcome};
use crate::policy::Verdict;
use crate::view::backtest::JudgedView;

/// Lives that ended, as they did and as they would have.
#[derive(Debug, Clone, Default)]
pub(super) struct Judged {
    lives: usize,
    /// Ended in a slot for which there was no interval to follow then.
    without: usize,
    known: usize,
    cut_before: usize,
    around: usize,
    done: (f64, f64),
    would: (f64, f64),
}

impl Judged {
    pub(super) fn add(&mut self, more: &Judged) {
        self.lives += more.lives;
        self.without += more.without;
        self.known += more.known;
        self.cut_before += more.cut_before;
        self.around += more.around;
        for (sum, part) in [(&mut self.done, more.done), (&mut self.would, more.would)] {
            sum.0 += part.0;
            sum.1 += part.1;
        }
    }

    pub(super) fn view(&self) -> JudgedView {
        let rate = |(cost, usage): (f64, f64)| (usage > 0.0).then(|| 1_000.0 * cost / usage);
        JudgedView {
            lives: self.lives,
            without_interval: self.without,
            known: self.known,
            cut_before: self.cut_before,
            failed_around: self.around,
            as_done_per_1000: rate(self.done),
            as_recommended_per_1000: rate(self.would),
        }
    }
}

/// Judges the lives of a component that ended in a period by the intervals recommended at its
/// start. `run` is the usage of the row's machine from the period's start to a moment.
pub(super) fn judge(
    evidence: &ComponentEvidence,
    rows: &[LifeRow],
    from: DateTime<Utc>,
    to: DateTime<Utc>,
    run: impl Fn(&LifeRow, DateTime<Utc>) -> Option<f64>,
) -> Judged {
    let mut judged = Judged::default();
    let owners = evidence.owners();
    let planned = evidence.planned.value.to_f64().unwrap_or(0.0);
    let failed = evidence.failed.value.to_f64().unwrap_or(0.0);
    for row in rows.iter().filter(|r| r.component == evidence.component.id) {
        let Some(end) = row.end_time.filter(|t| *t > from && *t <= to) else {
            continue;
        };
        let Ok(life) = row.life(None) else { continue };
        judged.lives += 1;
        let recommended = owners
            .get(&[row.machine.as_str(), &row.position])
            .map(|n| &evidence.groups[*n].recommendation)
            .filter(|r| r.verdict == Verdict::Renew)
            .and_then(|r| r.interval);
        let (Some(at), Some(run), Some(lo)) = (recommended, run(row, end), row.lo) else {
            judged.without += 1;
            continue;
        };
        let age = life.last_usage();
        // Nothing is renewed before the period begins.
        let at = at.max(age - run);
        let did_fail = row.outcome != Outcome::Suspension;
        if lo >= at {
            judged.would.0 += planned;
            judged.would.1 += at;
        } else if did_fail && age < at {
            judged.would.0 += failed;
            judged.would.1 += age;
        } else {
            match did_fail {
                true => judged.around += 1,
                false => judged.cut_before += 1,
            }
            continue;
        }
        judged.known += 1;
        judged.done.0 += if did_fail { failed } else { planned };
        judged.done.1 += age;
    }
    judged
}
