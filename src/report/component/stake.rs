//! What a component costs a year as it is kept today, and which components that puts first.
//!
//! In: [`Subject`]s. Out: money a year, the order of components, rows of those that share a
//! table. Never: a decision.

use chrono::NaiveDate;

use super::fit::limited;
use super::model::{OtherRow, Others};
use crate::chart::number;
use crate::model::Target;
use crate::policy::decide::DecisionMaker;
use crate::report::figures::fitted;
use crate::report::subject::{Frame, Group, Subject};
use crate::report::words::{money, usage};

/// Money a component costs a year as it is kept today, in the ledger's currency.
///
/// For every slot the expected cost per usage of what is done today (renewal at the present
/// interval; run to failure where there is none) times the usage expected in a year, as
/// [`DecisionMaker::curve`] has it under the decision's posterior. Where nothing can be
/// expected (no failure that bounds it, no expected usage) the failures on record times their
/// cost over the years on record stand in. 0 where nothing failed.
pub fn at_stake(subject: &Subject, as_of: NaiveDate) -> f64 {
    let expected: Option<f64> = subject
        .groups
        .iter()
        .filter(|group| !group.slots.is_empty())
        .map(|group| expected(subject, group))
        .sum();
    expected.unwrap_or_else(|| on_record(subject, as_of))
}

fn expected(subject: &Subject, group: &Group) -> Option<f64> {
    let decision = group.recommendation.decision.as_ref()?;
    let rate = match subject.present {
        Some(present) => {
            let posterior = group.posterior()?;
            let maker = DecisionMaker::new(posterior, group.costs);
            maker.cost_at(present)
        }
        None => decision.ln_cost_run_to_failure.exp(),
    };
    let mut usage = 0.0;
    for slot in &subject.slots {
        let here = |(machine, position): &(String, String)| {
            *machine == slot.machine && *position == slot.position
        };
        if group.slots.iter().any(here) {
            usage += slot.usage_a_year?;
        }
    }
    Some(rate * usage)
}

/// Failures on record times their cost, a year.
fn on_record(subject: &Subject, as_of: NaiveDate) -> f64 {
    let days = subject.since.map_or(0, |since| (as_of - since).num_days());
    let years = (days as f64 / 365.25).max(1.0);
    let cost = |group: &Group| group.sample.failures() as f64 * group.costs.failed;
    // The pool and what is set apart hold each life once; positions that lean repeat the pool's.
    let groups = subject.groups.iter().enumerate();
    let once = groups.filter(|(n, group)| *n == 0 || group.leaning.is_none());
    once.map(|(_, group)| cost(group)).sum::<f64>() / years
}

/// Subjects in the order of money at stake, with it; of as much in the order given.
pub fn by_stake(subjects: &[Subject], as_of: NaiveDate) -> Vec<(&Subject, f64)> {
    use rayon::prelude::*;
    let mut all: Vec<(&Subject, f64)> = subjects
        .par_iter()
        .map(|subject| (subject, at_stake(subject, as_of)))
        .collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all
}

/// The table of components that have no pages of their own.
pub(in crate::report) fn others(
    frame: &Frame,
    rest: &[(&Subject, f64)],
    all: usize,
) -> Option<Others> {
    if rest.is_empty() {
        return None;
    }
    let words = format!(
        "The {} components on which most is spent a year as they are kept today stand above in \
         full; the other {} have a row each. `wearbook report --component NAME` gives any of them \
         pages of its own.",
        all - rest.len(),
        rest.len()
    );
    let rows = rest
        .iter()
        .map(|(subject, stake)| other(frame, subject, *stake));
    Some(Others {
        words,
        rows: rows.collect(),
    })
}

fn other(frame: &Frame, subject: &Subject, stake: f64) -> OtherRow {
    let fit = subject.groups.first().and_then(fitted);
    let of = |target: Target| {
        let fit = fit.as_ref()?;
        let limits = fit.posterior.limits(target, frame.confidence);
        Some(limited(target.of(&fit.life), &limits))
    };
    // The group that answers for most slots speaks.
    let most = subject.groups.iter().max_by_key(|group| group.slots.len());
    let count = |of: fn(&Group) -> u64| subject.groups.first().map_or(0, of) as usize;
    OtherRow {
        component: subject.name.clone(),
        lives: count(|group| group.sample.count()),
        failures: count(|group| group.sample.failures()),
        shape: of(Target::Shape),
        b10: of(Target::LifeAt(0.1)),
        unit: subject.unit.clone(),
        verdict: most
            .map(|group| group.recommendation.verdict.into())
            .unwrap_or_default(),
        interval: most
            .and_then(|group| group.recommendation.interval)
            .map(|interval| usage(interval, &subject.unit)),
        stake: match stake {
            stake if stake > 0.0 => money(stake),
            _ => number(0.0, 0),
        },
    }
}
