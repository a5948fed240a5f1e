//! The report's sentences: what was found, in plain words.
//!
//! In: subjects and their decisions. Out: sentences. Never: figures that were not computed.

use super::figures::Fitted;
use super::subject::{Group, Scope, Subject};
use super::words::{capital, chance, count, lower_first, usage};
use crate::chart::{CostCurve, number};
use crate::life::Sample;
use crate::model::bend::bend;
use crate::model::distribution::Distribution;
use crate::model::goodness::{FitTest, Replication, fit_test};
use crate::model::limits::Limits;
use crate::model::{Weibull, fit_weibull};
use crate::policy::Verdict;
use crate::policy::recommend::Ground;
use crate::quantity::same;
use crate::view::interval::mode_notes;

/// "Renew every 1,750 h instead of every 2,500 h".
pub(super) fn renew(group: &Group, subject: &Subject) -> Option<String> {
    let interval = group.recommendation.interval?;
    let every = format!("every {}", usage(interval, &subject.unit));
    Some(match subject.present {
        Some(present) if same(present, interval) => format!("{every}, as today"),
        Some(present) => format!("{every} instead of every {}", usage(present, &subject.unit)),
        None => every,
    })
}

/// Samples behind the p-value of a fit in the report: enough for two digits, and soon drawn.
const REPLICATES: u32 = 199;

/// Lives a test of fit takes at most; with windows fewer, as each sample drawn is then searched
/// anew. Among very many lives the smallest misfit would show, which matters little.
const TESTED: usize = 1_000;
/// As above.
const TESTED_WINDOWS: usize = 250;

/// A test of fit, and on how many lives.
pub(super) struct Tested {
    pub(super) test: FitTest,
    /// Lives it was made on, where not on all.
    pub(super) part: Option<usize>,
}

/// Whether the model fits a group's lives: of many every so manieth, fitted by themselves.
pub(super) fn test_of(group: &Group, fit: Option<&Fitted>) -> Option<Tested> {
    let fit = fit?;
    let most = match group.sample.intervals() {
        0 => TESTED,
        _ => TESTED_WINDOWS,
    };
    if group.sample.lives().len() > most {
        let part = every(&group.sample, most);
        let life = fit_weibull(&part).ok()?.weibull;
        let test = tested(&part, life)?;
        return Some(Tested {
            test,
            part: Some(most),
        });
    }
    let test = tested(&group.sample, fit.life)?;
    Some(Tested { test, part: None })
}

/// So many of the lives, even over their order, which is that of machines, positions and time.
pub(super) fn every(sample: &Sample, most: usize) -> Sample {
    let lives = sample.lives();
    let step = lives.len() as f64 / most as f64;
    let part = (0..most).map(|n| lives[(n as f64 * step) as usize]);
    // Each was checked in the whole.
    Sample::new(part.collect()).unwrap_or_default()
}

fn tested(sample: &Sample, life: Weibull) -> Option<FitTest> {
    let replication = Replication {
        replicates: REPLICATES,
        ..Replication::default()
    };
    let refit = |drawn: &Sample| {
        let fit = fit_weibull(drawn).ok()?;
        Some(Distribution::Weibull(fit.weibull))
    };
    let fitted = Distribution::Weibull(life);
    fit_test(sample, &fitted, 2, replication, refit)
}

/// Whether the model fits a group's lives, how their plot bends, and what the failure modes
/// have to do with the interval.
pub(super) fn judged(
    subject: &Subject,
    group: &Group,
    fit: Option<&Fitted>,
    test: Option<&Tested>,
) -> Vec<String> {
    let mut out = Vec::new();
    if fit.is_some() {
        out.extend(test.map(|found| match found.part {
            Some(lives) => format!(
                "{} (tested on {} of the lives, taken evenly)",
                found.test,
                number(lives as f64, 0)
            ),
            None => found.test.to_string(),
        }));
        let bent = bend(&group.sample).ok().and_then(|bend| bend.kind);
        out.extend(bent.map(|kind| format!("{} (common practice)", kind.meaning())));
    }
    // No interval rests on a batch.
    let batch = matches!(group.scope, Scope::Batch(_));
    let interval = group.recommendation.interval.filter(|_| !batch);
    out.extend(mode_notes(&group.modes, interval, &subject.unit));
    out.iter()
        .map(|text| format!("{}.", capital(text)))
        .collect()
}

/// What a component's section begins with.
pub(super) fn findings(
    subject: &Subject,
    shape: Option<&Limits>,
    pool_cost: Option<&CostCurve>,
) -> Vec<String> {
    let Some((pool, apart)) = subject.groups.split_first() else {
        return vec!["No life on record yet.".to_owned()];
    };
    let led = led_by_siblings(subject);
    let mut out = vec![if led {
        positions_differ(apart, shape)
    } else {
        verdict(subject, pool, shape)
    }];
    if !led && let Some(leaning) = &pool.leaning {
        out.push(format!(
            "Positions differ somewhat, but not in the interval: {}.",
            borrowed(&leaning.borrowed)
        ));
    }
    let more = [
        pool_cost.and_then(|curve| today(subject, pool, curve)),
        near(subject, pool).filter(|_| !led),
    ];
    let more: Vec<String> = more.into_iter().flatten().collect();
    if !more.is_empty() {
        out.push(more.join(" "));
    }
    for group in apart.iter().take(TOLD) {
        out.push(match &group.scope {
            Scope::Batch(batch) => format!(
                "Batch {batch} is set apart: its lives differ from the rest, and no interval rests \
                 on them."
            ),
            _ => format!(
                "At {}: {}",
                group.scope.words(),
                lower_first(&verdict(subject, group, None))
            ),
        });
    }
    if apart.len() > TOLD {
        out.push(format!(
            "{} more are set apart or have answers of their own; they stand among the tests below.",
            capital(&count(apart.len() - TOLD, "group", "groups"))
        ));
    }
    out
}

/// Groups set apart that the findings name.
const TOLD: usize = 6;

/// True where positions have answers of their own and the pool answers for none.
pub(super) fn led_by_siblings(subject: &Subject) -> bool {
    let mut groups = subject.groups.iter().skip(1);
    groups.any(|group| group.leaning.is_some())
}

/// "64 % of an estimate is borrowed from the siblings".
pub(super) fn borrowed(shares: &[f64]) -> String {
    let low = shares.iter().copied().fold(1.0, f64::min);
    let high = shares.iter().copied().fold(0.0, f64::max);
    let (low, high) = (number(100.0 * low, 0), number(100.0 * high, 0));
    if low == high {
        format!("{low} % of its estimate is borrowed from the siblings")
    } else {
        format!("{low} to {high} % of an estimate is borrowed from the siblings")
    }
}

/// The first sentences where positions have answers of their own.
fn positions_differ(groups: &[Group], shape: Option<&Limits>) -> String {
    let shares: Vec<f64> = groups
        .iter()
        .filter_map(|group| group.leaning.as_ref())
        .flat_map(|leaning| leaning.borrowed.iter().copied())
        .collect();
    let mut text = format!(
        "The record says that positions differ, and each has its own answer: {}.",
        borrowed(&shares)
    );
    if let Some(shape) = shape {
        text.push_str(&format!(" {}", wear_in_words(shape)));
    }
    text
}

/// What today's interval costs beside the one recommended, where that is worth a word.
fn today(subject: &Subject, group: &Group, curve: &CostCurve) -> Option<String> {
    let at = |usage: f64| expected_at(curve, usage);
    let interval = group.recommendation.interval?;
    let present = subject.present.filter(|p| !same(*p, interval))?;
    let more = 100.0 * (at(present)? / at(interval)? - 1.0);
    (more >= 1.0).then(|| {
        format!(
            "Today’s {} is expected to cost {} % more.",
            usage(present, &subject.unit),
            number(more, 0)
        )
    })
}

/// The curve's expected cost at a usage, by straight lines between its points.
fn expected_at(curve: &CostCurve, usage: f64) -> Option<f64> {
    curve.points.windows(2).find_map(|pair| {
        let (a, b) = (&pair[0], &pair[1]);
        let share = (usage - a.usage) / (b.usage - a.usage);
        (0.0..=1.0)
            .contains(&share)
            .then_some(a.expected + share * (b.expected - a.expected))
    })
}

fn verdict(subject: &Subject, group: &Group, shape: Option<&Limits>) -> String {
    let wear = shape.map(wear_in_words);
    let ratio = group.costs.failed / group.costs.planned;
    match group.recommendation.verdict {
        Verdict::Renew => {
            let mut text = format!(
                "Renew {}.",
                renew(group, subject).unwrap_or_else(|| "at the interval below".to_owned())
            );
            if let Some(wear) = wear {
                text.push_str(&format!(
                    " {wear} A failure costs {} times as much as a planned renewal.",
                    number(ratio, 1)
                ));
            }
            text
        }
        Verdict::RunToFailure => {
            let why = if group.costs.failed <= group.costs.planned {
                "A failure costs no more than a planned renewal, so nothing is gained by renewing \
                 early."
                    .to_owned()
            } else {
                let wait = "No interval is expected to cost less than waiting for the failure.";
                match wear {
                    Some(wear) => format!("{wait} {wear}"),
                    None => wait.to_owned(),
                }
            };
            format!("Leave it in until it fails. {why}")
        }
        Verdict::NotEnoughEvidence => undecided(subject, group),
    }
}

fn undecided(subject: &Subject, group: &Group) -> String {
    for ground in &group.recommendation.grounds {
        match ground {
            Ground::NoFailure { lives, usage: run } => {
                return format!(
                    "Not enough evidence: no failure in {} and {} of running. How much longer \
                     it could stay in, only lives that run longer will tell.",
                    count(*lives as usize, "life", "lives"),
                    usage(run.round(), &subject.unit)
                );
            }
            Ground::AllFailedAtFirstLook { lives } => {
                return format!(
                    "Not enough evidence: {} had already failed when first looked at, and \
                     nothing tells how early.",
                    count(*lives as usize, "life", "lives")
                );
            }
            Ground::OpenShape => {
                return "Not enough evidence: the failures on record leave the shape open."
                    .to_owned();
            }
            Ground::NothingFromNew { first_entry } => {
                return format!(
                    "Not enough evidence: every item came under watch with {} or more on it, \
                     and nothing tells of the shape before.",
                    usage(first_entry.round(), &subject.unit)
                );
            }
            _ => {}
        }
    }
    let failures = group.sample.failures() as usize;
    let odds = group
        .recommendation
        .decision
        .as_ref()
        .map(|d| chance(d.chance_it_pays))
        .unwrap_or_default();
    format!(
        "Not enough evidence: {} in {} leave the chance that renewing early pays at {odds}. More \
         failures on record, or longer lives without one, will settle it.",
        count(failures, "failure", "failures"),
        count(group.sample.count() as usize, "life", "lives")
    )
}

/// What the shape's limits say of wear, as a sentence.
pub(super) fn wear_in_words(shape: &Limits) -> String {
    match (shape.lower, shape.upper) {
        (Some(lower), _) if lower > 1.0 => {
            "It wears out: failures come more often with usage.".to_owned()
        }
        (_, Some(upper)) if upper < 1.0 => {
            "Failures come early in life, so a new item is more likely to fail than one that has \
             run for a while: look at fitting, running in and the quality of the parts."
                .to_owned()
        }
        _ => "The record does not tell wear from failures that come at any age alike.".to_owned(),
    }
}

/// The same for the table of fitted figures.
pub(super) fn wear_in_short(shape: &Limits) -> &'static str {
    match (shape.lower, shape.upper) {
        (Some(lower), _) if lower > 1.0 => "wears out: failures come more often with usage",
        (_, Some(upper)) if upper < 1.0 => "early failures: most fail soon after renewal",
        _ => "wear, or failures at any age alike: the limits hold 1",
    }
}

fn near(subject: &Subject, group: &Group) -> Option<String> {
    if group.recommendation.verdict != Verdict::Renew {
        return None;
    }
    let (from, to) = group.recommendation.decision.as_ref()?.near?;
    let from = usage(round_to(from), &subject.unit);
    Some(match to {
        Some(to) => format!(
            "Any interval from {from} to {} costs within 5 % of the least, so a planned stop in \
             that range will do.",
            usage(round_to(to), &subject.unit)
        ),
        None => format!("Any interval beyond {from} costs within 5 % of the least."),
    })
}

/// Three significant figures: a range is no more exact than that.
fn round_to(value: f64) -> f64 {
    if value <= 0.0 || !value.is_finite() {
        return value;
    }
    let step = 10f64.powf(value.log10().floor() - 2.0);
    (value / step).round() * step
}

/// Notes below a component: ceilings, grids, lives beyond experience, flags.
pub(super) fn notes(subject: &Subject) -> Vec<String> {
    let mut out = Vec::new();
    for group in &subject.groups {
        if matches!(group.scope, Scope::Pool(_)) && led_by_siblings(subject) {
            continue;
        }
        let slots = group.scope.words();
        for ground in &group.recommendation.grounds {
            let unit = &subject.unit;
            let note = match ground {
                Ground::Ceiling { optimum, ceiling } => format!(
                    "The least cost lies at {}, beyond the ceiling of {}, which holds ({slots}).",
                    usage(round_to(*optimum), unit),
                    usage(*ceiling, unit)
                ),
                Ground::BelowGrid { optimum, grid } => format!(
                    "The interval found, {}, is shorter than one step of the planning grid of {} \
                     and stands unrounded ({slots}).",
                    usage(round_to(*optimum), unit),
                    usage(*grid, unit)
                ),
                Ground::BeyondExperience { longest } => format!(
                    "The interval lies beyond the longest life on record, {} ({slots}): approach \
                     it in steps.",
                    usage(longest.round(), unit)
                ),
                Ground::OneFailure => format!(
                    "With one failure the shape rests on what was assumed before the record \
                     ({slots})."
                ),
                _ => continue,
            };
            out.push(note);
        }
    }
    out
}
