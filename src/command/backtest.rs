//! `backtest`: what the forecasts of the past would have been, against what came.
//!
//! In: the command line. Out: a forecast a component and period, made from what was known when
//! the period began, beside what the whole ledger tells. Never: statistics.

use std::path::PathBuf;

use chrono::{DateTime, Datelike, Months, NaiveDate, Utc};
use clap::ValueEnum;
use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::backtest_judge::{Judged, judge};
use super::beside;
use super::evidence::{Ask, ComponentEvidence, gather};
use super::forecast::Policy;
use super::forecast_ledger::{renewed_at, seated};
use super::select::{Select, confidence, folders, no_lives};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::chart::{Calibration, Size, calibration};
use crate::life::{LifeRow, Outcome as Ended, RenewalCost, RenewalKind};
use crate::policy::calibration::{self as scores, constant_rate, histogram};
use crate::policy::forecast::{Counts, SlotAhead, Tally, of_posterior};
use crate::quantity::counted;
use crate::quantity::time::{day, end_of_day};
use crate::quantity::trouble::Trouble;
use crate::store::{Meters, Options, SlotStay, Store};
use crate::view::backtest::{BacktestView, PeriodView, Tested};

/// Compare what would have been forecast in the past with what came
///
/// Walks through the ledger from the first failure on. At the start of each period it forecasts
/// the failures and renewals of every component from what was known then, for the usage that the
/// machines then ran, and counts what happened.
#[derive(Debug, clap::Args)]
pub struct BacktestArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// How long a period is
    #[arg(long, value_enum, default_value_t, value_name = "PERIOD")]
    every: Every,
    /// Probability that two-sided limits hold the number to come
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    confidence: f64,
    /// Write a plot of the calibration into this folder
    #[arg(long, value_name = "FOLDER")]
    charts: Option<PathBuf>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Every {
    /// A calendar quarter
    #[default]
    Quarter,
    /// Half a calendar year
    HalfYear,
}

impl Every {
    fn months(self) -> u32 {
        match self {
            Every::Quarter => 3,
            Every::HalfYear => 6,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Every::Quarter => "quarter",
            Every::HalfYear => "half-year",
        }
    }
}

/// Classes of the calibration plot.
const CLASSES: usize = 10;

/// One period: the last day of what was known, and its own last day.
#[derive(Debug, Clone, Copy)]
struct Period {
    known: NaiveDate,
    last: NaiveDate,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
}

/// What the whole ledger tells.
struct Whole {
    rows: Vec<LifeRow>,
    renewals: Vec<RenewalCost>,
    meters: Meters,
}

pub fn run(args: &BacktestArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let Some(folder) = &args.charts {
        beside::prove_writable(folder).map_err(|cannot| unwritten(&cannot))?;
    }
    let paths = folders(&args.ledgers);
    let store = Store::open(&paths, args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    let mut rows = store.lives()?;
    rows.retain(|row| args.select.takes(row));
    if rows.is_empty() {
        return Err(no_lives(&store));
    }
    let mut renewals = store.renewal_costs()?;
    renewals.retain(|r| {
        args.select
            .takes_slot(&r.machine, &r.component, &r.position)
    });
    let whole = Whole {
        rows,
        renewals,
        meters: store.meters()?,
    };
    let periods = periods(&whole.rows, &store, args.every)?;
    let ask = Ask {
        select: args.select.clone(),
        ..Ask::default()
    };
    // Each period stands for itself: its own store, its own evidence.
    let walked: Vec<Walked> = periods
        .par_iter()
        .map(|period| walk(&paths, period, &ask, &whole, args.confidence))
        .collect::<Result<_, CommandError>>()?;
    let mut tested = Vec::new();
    let mut judged: Vec<(String, Judged)> = Vec::new();
    for step in walked {
        tested.extend(step.tested);
        for (id, more) in step.judged {
            match judged.iter_mut().find(|(known, _)| *known == id) {
                Some((_, sum)) => sum.add(&more),
                None => judged.push((id, more)),
            }
        }
    }
    if tested.is_empty() {
        return Err(nothing());
    }
    let outcomes: Vec<scores::Outcome> = tested.iter().map(|t| t.outcome.clone()).collect();
    let shares = histogram(&outcomes, CLASSES);
    if let Some(folder) = &args.charts {
        let words = format!(
            "{} of {} over {}",
            counted(outcomes.len() as u64, "forecast", "forecasts"),
            counted(components(&tested) as u64, "component", "components"),
            counted(
                periods.len() as u64,
                args.every.word(),
                &format!("{}s", args.every.word())
            ),
        );
        draw(folder, &shares, words, ui)?;
    }
    let ends = periods.first().zip(periods.last());
    let view = BacktestView::new(
        tested,
        judged
            .into_iter()
            .map(|(id, sum)| (id, sum.view()))
            .collect(),
        shares,
        args.every.word(),
        args.confidence,
        ends.map(|(first, last)| (first.known, last.last)),
        store.register().plant.currency.code().to_owned(),
    );
    let text = args
        .format
        .lay_out(|| view.table(), || view.json(), || view.csv())?;
    ui.result(&text)?;
    Ok(Outcome::Done)
}

/// What one period gave.
struct Walked {
    tested: Vec<Tested>,
    judged: Vec<(String, Judged)>,
}

fn walk(
    paths: &[PathBuf],
    period: &Period,
    ask: &Ask,
    whole: &Whole,
    confidence: f64,
) -> Result<Walked, CommandError> {
    let then = Store::open(paths, Some(period.known), &Options::default())?;
    let mut walked = Walked {
        tested: Vec::new(),
        judged: Vec::new(),
    };
    let stays = then.slot_history()?;
    for evidence in gather(&then, ask)? {
        let found = one(&stays, &evidence, period, whole, confidence)?;
        walked.tested.extend(found);
        let judged = judge(
            &evidence,
            &whole.rows,
            period.from,
            period.to,
            |row, end| run_between(&whole.meters, &evidence, &row.machine, period.from, end),
        );
        walked.judged.push((evidence.component.id.clone(), judged));
    }
    Ok(walked)
}

fn components(tested: &[Tested]) -> usize {
    let mut names: Vec<&str> = tested.iter().map(|t| t.period.component.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    names.len()
}

/// Whole calendar periods from the one after the first failure to the last that is over.
fn periods(rows: &[LifeRow], store: &Store, every: Every) -> Result<Vec<Period>, CommandError> {
    let zone = store.zone();
    let failed = |row: &&LifeRow| matches!(row.outcome, Ended::Failure | Ended::Interval);
    let Some(first) = rows
        .iter()
        .filter(failed)
        .filter_map(|row| row.end_time)
        .min()
    else {
        return Err(nothing());
    };
    let step = Months::new(every.months());
    let first = day(first, zone);
    let month = first.month0() / every.months() * every.months();
    // The first day of the period in which the first failure fell; both exist.
    let mut start = first
        .with_day(1)
        .and_then(|d| d.with_month0(month))
        .unwrap_or(first);
    let mut found = Vec::new();
    while let Some(begin) = start.checked_add_months(step) {
        let (Some(next), Some(known)) = (begin.checked_add_months(step), begin.pred_opt()) else {
            break;
        };
        let Some(last) = next.pred_opt() else { break };
        let to = end_of_day(last, zone);
        if to > store.as_of() {
            break;
        }
        found.push(Period {
            known,
            last,
            from: end_of_day(known, zone),
            to,
        });
        start = begin;
    }
    if found.is_empty() {
        return Err(nothing());
    }
    Ok(found)
}

fn nothing() -> CommandError {
    CommandError::new(
        Fault::NoAnswer,
        Trouble::error("backtest", "no forecast of the past can be tried")
            .because(
                "it takes a failure on record and a whole quarter (or half-year) of records after \
                 it",
            )
            .cured_by("come back with more records; `wearbook forecast` looks ahead all the same"),
    )
}

/// Usage that a machine ran between two moments, on the component's meter.
fn run_between(
    meters: &Meters,
    evidence: &ComponentEvidence,
    machine: &str,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Option<f64> {
    let usage = &evidence.component.usage;
    let run = meters.usage(machine, usage, to)? - meters.usage(machine, usage, from)?;
    (run >= 0.0).then_some(run)
}

/// One component's forecast for a period; `None` where nothing was known to forecast from.
fn one(
    stays: &[SlotStay],
    evidence: &ComponentEvidence,
    period: &Period,
    whole: &Whole,
    confidence: f64,
) -> Result<Option<Tested>, CommandError> {
    let id = &evidence.component.id;
    let items = seated(evidence, stays);
    let owners = evidence.owners();
    let (mut failures, mut renewals) = (Counts::always(0), Counts::always(0));
    let mut ahead = 0.0;
    for (n, group) in evidence.groups.iter().enumerate() {
        let slots: Vec<SlotAhead> = items
            .iter()
            .filter(|item| owners.get(&item.slot()) == Some(&n))
            .filter_map(|item| {
                let run = run_between(
                    &whole.meters,
                    evidence,
                    &item.machine,
                    period.from,
                    period.to,
                )?;
                Some(SlotAhead {
                    age: item.age,
                    usage: run,
                })
            })
            .collect();
        if slots.is_empty() {
            continue;
        }
        let Some(posterior) = group.posterior(evidence.terms.prior) else {
            return Ok(None);
        };
        ahead += slots.iter().map(|slot| slot.usage).sum::<f64>();
        // The crew of the past renewed as the register says it does.
        let at = renewed_at(Policy::Present, evidence, group);
        let tallies = [Tally::Failures, Tally::Renewals];
        let found = of_posterior(&posterior, at, &[slots], &tallies).map_err(|error| {
            CommandError::new(
                Fault::NoAnswer,
                Trouble::error("backtest", error.to_string()),
            )
        })?;
        let mut found = found.into_iter().flatten();
        if let (Some(f), Some(r)) = (found.next(), found.next()) {
            failures = failures.plus(&f);
            renewals = renewals.plus(&r);
        }
    }
    if ahead <= 0.0 {
        return Ok(None);
    }
    let (seen, past) = so_far(evidence);
    let came = whole
        .rows
        .iter()
        .filter(|row| row.component == *id)
        .filter(|row| matches!(row.outcome, Ended::Failure | Ended::Interval))
        .filter(|row| {
            row.end_time
                .is_some_and(|t| t > period.from && t <= period.to)
        })
        .count();
    let in_period = |kind: RenewalKind| {
        whole.renewals.iter().filter(move |r| {
            r.component == *id && r.kind == kind && r.time > period.from && r.time <= period.to
        })
    };
    let booked = in_period(RenewalKind::Failed)
        .chain(in_period(RenewalKind::Planned))
        .map(|r| r.total)
        .collect::<Option<Vec<Decimal>>>()
        .map(|totals| totals.into_iter().sum::<Decimal>());
    let planned = (renewals.mean() - failures.mean()).max(0.0);
    let number = |cost: Decimal| cost.to_f64().unwrap_or(0.0);
    let cost =
        failures.mean() * number(evidence.failed.value) + planned * number(evidence.planned.value);
    let outcome = scores::Outcome {
        forecast: failures,
        came,
    };
    let rival = scores::Outcome {
        forecast: constant_rate(seen, past, ahead),
        came,
    };
    let (lower, upper) = outcome.forecast.limits(confidence);
    Ok(Some(Tested {
        period: PeriodView {
            component: id.clone(),
            from: period.known.succ_opt().unwrap_or(period.known).to_string(),
            to: period.last.to_string(),
            usage: ahead,
            unit: evidence.usage.unit.clone(),
            expected: outcome.forecast.mean(),
            lower,
            upper,
            came,
            inside: outcome.inside(confidence),
            promised: outcome.promised(confidence),
            score: outcome.ranked_score(),
            rival_expected: rival.forecast.mean(),
            rival_score: rival.ranked_score(),
            planned_expected: planned,
            planned_came: in_period(RenewalKind::Planned).count(),
            along_came: in_period(RenewalKind::Along).count(),
            cost_expected: cost,
            cost_came: booked.and_then(|sum| sum.to_f64()),
        },
        outcome,
    }))
}

/// Failures and usage on record of a component.
fn so_far(evidence: &ComponentEvidence) -> (u64, f64) {
    let lives = evidence.rows.iter().filter_map(|row| row.life(None).ok());
    lives.fold((0, 0.0), |(failures, usage), life| {
        (
            failures + u64::from(life.failed()),
            usage + life.last_usage() - life.entry,
        )
    })
}

fn draw(
    folder: &std::path::Path,
    shares: &[f64],
    subject: String,
    ui: &mut Ui,
) -> Result<(), CommandError> {
    let plot = Calibration {
        id: "calibration".into(),
        title: "Where what came fell in what was forecast".into(),
        subject,
        shares: shares.to_vec(),
    };
    let svg = calibration(&plot, Size::default()).map_err(|error| {
        CommandError::new(Fault::NoAnswer, Trouble::error("chart", error.to_string()))
    })?;
    beside::write_all(folder, [("calibration.svg", svg.as_str())])
        .map_err(|cannot| unwritten(&cannot))?;
    ui.remark(&format!("calibration plot in {}", folder.display()));
    Ok(())
}

fn unwritten(cannot: &beside::Cannot) -> CommandError {
    cannot.told(|trouble| trouble.cured_by("name another folder (--charts), or leave the plot out"))
}
