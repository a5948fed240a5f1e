//! Gathers what the standard indicators are made of, for all machines together and each.
//!
//! In: a frame. Out: [`IndicatorsView`]. Never: printing; the formulas.

use rust_decimal::Decimal;

use super::CommandError;
use super::cost_frame::Frame;
use super::select::Select;
use crate::cost::{Work, events, indicators};
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
    let jobs = frame.store.jobs()?;
    let lives = frame.store.lives()?;
    let usage = frame.usage(&frame.span);
    let names: Vec<String> = usage.keys().cloned().collect();
    let mut groups = Vec::new();
    let one = (names.len() == 1).then(|| names[0].clone());
    let mut wanted: Vec<Option<&String>> = vec![None];
    if one.is_none() {
        wanted.extend(names.iter().map(Some));
    }
    for machine in wanted {
        let of_machine = |name: Option<&str>| machine.is_none_or(|m| name == Some(m.as_str()));
        let items: Vec<&CostItem> = frame
            .of(&frame.span)
            .filter(|item| of_machine(item.machine.as_deref()))
            .collect();
        let run: Vec<Option<f64>> = usage
            .iter()
            .filter(|(name, _)| of_machine(Some(name)))
            .map(|(_, ran)| *ran)
            .collect();
        let repeats = within.map(|within| {
            let takes = |row: &LifeRow| of_machine(Some(&row.machine)) && select.takes(row);
            let (soon, of) = repeats(frame, &lives, takes, within);
            (soon, of, within)
        });
        let mut work = gather(frame, &items, &jobs, &run);
        work.repeats = repeats;
        work.output = output(frame, machine.map(String::as_str));
        work.between_limits = work
            .operating
            .and_then(|ran| rate_limits(work.failures, ran, confidence))
            .map(|rate| {
                let longest = (rate.lower > 0.0).then(|| 1.0 / rate.lower);
                (1.0 / rate.upper, longest)
            });
        groups.push((machine.cloned(), indicators(&work)));
    }
    if let (Some(name), Some((machine, _))) = (one, groups.first_mut()) {
        *machine = Some(name);
    }
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
    for job in told.filter(|job| touches(job, items)) {
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

/// Whether any of the items is of the job.
fn touches(job: &Job, items: &[&CostItem]) -> bool {
    items.iter().any(|item| {
        item.job.as_deref() == Some(job.job.as_str())
            && item.machine == job.machine
            && item.ledger == job.ledger
    })
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
