//! Gathers what the standard indicators are made of, for all machines together and each.
//!
//! In: a frame. Out: [`IndicatorsView`]. Never: printing; the formulas.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::CommandError;
use super::cost_frame::Frame;
use super::select::Select;
use crate::cost::{Indicator, Work, events, indicators};
use crate::life::{CostClass, CostItem, CostKind, Job, LifeRow, Outcome};
use crate::quantity::Unit;
use crate::quantity::time::format_utc;
use crate::quantity::unit::Dimension;
use crate::recurrence::rate_limits;
use crate::view::indicators::IndicatorsView;

pub(super) fn measure(
    frame: &Frame<'_>,
    select: &Select,
    within: Option<f64>,
    confidence: f64,
) -> Result<IndicatorsView, CommandError> {
    let record = Record::read(frame)?;
    let lives = frame.store.lives()?;
    let names: Vec<&str> = record.usage.keys().map(String::as_str).collect();
    let wanted: Vec<Option<&str>> = match names.as_slice() {
        // All of one machine is that machine.
        [one] => vec![Some(one)],
        several => [None]
            .into_iter()
            .chain(several.iter().copied().map(Some))
            .collect(),
    };
    let groups = wanted
        .into_iter()
        .map(|machine| {
            let repeats = within.map(|within| {
                let of_machine = |row: &LifeRow| machine.is_none_or(|m| row.machine == m);
                let takes = |row: &LifeRow| of_machine(row) && select.takes(row);
                let (soon, of) = repeats(frame, &lives, takes, within);
                (soon, of, within)
            });
            let found = record.indicators(frame, machine, repeats, confidence);
            (machine.map(str::to_owned), found)
        })
        .collect();
    let mut notes = frame.notes.clone();
    notes.extend(frame.usage_notes(&frame.span));
    if select.narrows_slots() {
        notes.push(
            "a job counts with its whole hours where it renewed something that was asked for"
                .into(),
        );
    }
    notes.push(
        "numbers of EN 15341:2007 from memory; limits take failures to come by chance at a steady \
         rate"
            .into(),
    );
    Ok(IndicatorsView {
        as_of: format_utc(frame.store.as_of()),
        currency: frame.currency.code().to_owned(),
        span: frame.span.clone(),
        confidence,
        groups,
        notes,
    })
}

/// The indicators of all machines together.
pub(super) fn overall(frame: &Frame<'_>, confidence: f64) -> Result<Vec<Indicator>, CommandError> {
    Ok(Record::read(frame)?.indicators(frame, None, None, confidence))
}

/// What the indicators of any machine are gathered from.
struct Record<'a> {
    jobs: Vec<Job>,
    usage: BTreeMap<String, Option<f64>>,
    /// By machine; the plant's own under `None`.
    items: BTreeMap<Option<&'a str>, Vec<&'a CostItem>>,
}

impl<'a> Record<'a> {
    fn read(frame: &'a Frame<'_>) -> Result<Record<'a>, CommandError> {
        let mut items: BTreeMap<Option<&str>, Vec<&CostItem>> = BTreeMap::new();
        for item in frame.of(&frame.span) {
            items.entry(item.machine.as_deref()).or_default().push(item);
        }
        Ok(Record {
            jobs: frame.store.jobs()?,
            usage: frame.usage(&frame.span),
            items,
        })
    }

    /// Those of a machine; of all, and of the plant's own, where none is named.
    fn indicators(
        &self,
        frame: &Frame<'_>,
        machine: Option<&str>,
        repeats: Option<(u64, u64, f64)>,
        confidence: f64,
    ) -> Vec<Indicator> {
        let asked = |name: Option<&str>| machine.is_none() || name == machine;
        let own = self.items.iter().filter(|(name, _)| asked(**name));
        let items: Vec<&CostItem> = own.flat_map(|(_, items)| items.iter().copied()).collect();
        let ran = self.usage.iter().filter(|(name, _)| asked(Some(name)));
        let run: Vec<Option<f64>> = ran.map(|(_, ran)| *ran).collect();
        let mut work = gather(frame, &items, &self.jobs, &run);
        work.repeats = repeats;
        work.output = output(frame, machine);
        work.between_limits = work
            .operating
            .and_then(|ran| rate_limits(work.failures, ran, confidence))
            .map(|rate| {
                let longest = (rate.lower > 0.0).then(|| 1.0 / rate.lower);
                (1.0 / rate.upper, longest)
            });
        indicators(&work)
    }
}

fn gather(frame: &Frame<'_>, items: &[&CostItem], jobs: &[Job], run: &[Option<f64>]) -> Work {
    let operating = run
        .iter()
        .copied()
        .try_fold(0.0, |sum, ran| ran.map(|ran| sum + ran))
        .filter(|sum| *sum > 0.0);
    let mut work = Work {
        operating,
        unit: frame.per.unit.clone(),
        failures: events(items.iter().copied(), CostKind::Corrective),
        currency: frame.currency.code().to_owned(),
        ..Work::default()
    };
    for item in items {
        let amount = item.amount.unwrap_or_default();
        match (item.class, item.kind) {
            (CostClass::Downtime, _) => work.lost += amount,
            (_, CostKind::Corrective) => work.corrective += amount,
            (_, CostKind::Preventive) => work.preventive += amount,
            _ => work.other += amount,
        }
    }
    let (start, end) = frame.ends(&frame.span);
    let told = jobs
        .iter()
        .filter(|job| start <= job.time && job.time < end);
    let touched: BTreeSet<[Option<&str>; 3]> = items
        .iter()
        .map(|item| {
            let job = item.job.as_deref();
            [Some(item.ledger.as_str()), item.machine.as_deref(), job]
        })
        .collect();
    let touches = |job: &&Job| {
        let own = Some(job.job.as_str());
        touched.contains(&[Some(job.ledger.as_str()), job.machine.as_deref(), own])
    };
    for job in told.filter(touches) {
        let labour = match job.corrective {
            true => &mut work.corrective_labour_h,
            false => &mut work.preventive_labour_h,
        };
        match job.labour_h {
            Some(hours) => *labour += hours,
            None => work.without_labour += 1,
        }
        work.downtime_h += job.downtime_h.unwrap_or(Decimal::ZERO);
        if let (true, Some(start), Some(stop)) = (job.corrective, job.start, job.stop) {
            let hours = (stop - start).num_seconds() as f64 / 3600.0;
            work.restored_h.push(hours);
        }
    }
    work
}

/// What the machines put through, on the first meter that counts a volume.
fn output(frame: &Frame<'_>, machine: Option<&str>) -> Option<(f64, String)> {
    let kinds = frame
        .store
        .ledgers()
        .iter()
        .flat_map(|l| &l.register.usages);
    let meter = kinds.into_iter().find(|kind| {
        Unit::parse(&kind.unit).is_some_and(|unit| unit.dimension() == Dimension::Volume)
    })?;
    let ran: Vec<f64> = frame
        .on_meter(&meter.id, &frame.span)
        .into_iter()
        .filter(|(name, _)| machine.is_none_or(|m| m == name))
        .filter_map(|(_, ran)| ran)
        .collect();
    (!ran.is_empty()).then(|| (ran.iter().sum(), meter.unit.clone()))
}

/// Failures in the period whose item came in for a failed one, and how many of them had run
/// less than `within` by then. `lives` are ordered by slot and beginning.
fn repeats(
    frame: &Frame<'_>,
    lives: &[LifeRow],
    takes: impl Fn(&LifeRow) -> bool,
    within: f64,
) -> (u64, u64) {
    let (start, end) = frame.ends(&frame.span);
    let failed = |row: &LifeRow| row.outcome != Outcome::Suspension;
    let (mut soon, mut of) = (0, 0);
    for pair in lives.windows(2) {
        let [before, row] = pair else { continue };
        let one_slot = before.machine == row.machine
            && before.component == row.component
            && before.position == row.position;
        let within_period = row.end_time.is_some_and(|time| start <= time && time < end);
        if !(one_slot && failed(before) && failed(row) && within_period && takes(row)) {
            continue;
        }
        of += 1;
        let ran = row.hi.zip(row.entry).map(|(hi, entry)| hi - entry);
        soon += u64::from(ran.is_some_and(|ran| ran < within));
    }
    (soon, of)
}
