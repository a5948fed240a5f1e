//! From subjects to the report's data: counts, tables, sentences, charts.
//!
//! In: a [`Frame`] and [`Subject`]s. Out: [`Report`]. Never: files, clock, HTML.

use rayon::prelude::*;

use super::figures::{self, Fitted, PER, fitted};
use super::first;
use super::model::{
    Assumption, BookHead, ComponentSection, DataCounts, EvidenceGroup, Excluded, FitFigure,
    Limited, PositionRow, Quality, QualityFinding, Recommendation, Report, Verdict,
};
use super::say;
use super::subject::{Frame, Group, Scope, Slot, Subject};
use super::words::{capital, chance, count, day, money, money_with_limits, three_digits, usage};
use crate::chart::number;
use crate::life::{Flag, LifeRow, Outcome, Sample};
use crate::model::Target;
use crate::model::limits::Limits;
use crate::model::posterior::{Posterior, ShapePrior};
use crate::policy;
use crate::quantity::trouble::{Severity, Trouble};
use crate::view::cautions::cautions;

/// Builds the report. The same input gives the same report.
pub fn build(frame: &Frame, subjects: &[Subject]) -> Report {
    let confidence = format!("{} %", number(frame.confidence * 100.0, 0));
    let components: Vec<ComponentSection> = subjects
        .par_iter()
        .map(|subject| section(frame, subject))
        .collect();
    let mut rows: Vec<(f64, (&Subject, &Group))> = subjects
        .iter()
        .flat_map(|s| s.groups.iter().map(move |g| (s, g)))
        .filter(|(_, g)| !g.slots.is_empty())
        .map(|(s, g)| (rank(frame, s, g), (s, g)))
        .collect();
    // Stable: equal ranks keep the order of the register.
    rows.sort_by(|a, b| b.0.total_cmp(&a.0));
    let more = rows.len().saturating_sub(first::ROWS);
    rows.truncate(first::ROWS);
    let shown: Vec<(&Subject, &Group)> = rows.iter().map(|row| row.1).collect();
    Report {
        plant: frame.plant.clone(),
        currency: frame.currency.clone(),
        as_of: day(frame.as_of),
        time_zone: frame.time_zone.clone(),
        version: frame.version.clone(),
        ledgers: frame.ledgers.clone(),
        summary: first::sentences(&frame.about, subjects, &frame.currency, &confidence),
        recommendations: shown
            .iter()
            .map(|(s, g)| recommendation(frame, s, g))
            .collect(),
        more,
        ranges: first::picture(&frame.about, &shown, &frame.currency),
        money: None,
        stops: None,
        since: None,
        components,
        quality: quality(&frame.findings),
        cautions: cautions(&frame.cautions),
        books: frame
            .heads
            .iter()
            .map(|(book, entries, sha)| BookHead {
                book: book.clone(),
                entries: *entries as usize,
                head: sha.chars().take(12).collect(),
            })
            .collect(),
        confidence,
    }
}

/// Renewals by what they save, then what to leave, then what is open.
fn rank(frame: &Frame, subject: &Subject, group: &Group) -> f64 {
    let offered = first::offer_of(&frame.about, subject, group);
    match group.recommendation.verdict {
        policy::Verdict::Renew if frame.about.offer.is_some() => {
            // What changes nothing comes after what does.
            2.0 + offered.map_or(0.0, |row| 1.0 + row.per_year.median.max(0.0))
        }
        policy::Verdict::Renew => 2.0 + say::worth(group).max(0.0),
        policy::Verdict::RunToFailure => 1.0,
        policy::Verdict::NotEnoughEvidence => 0.0,
    }
}

impl From<policy::Verdict> for Verdict {
    fn from(verdict: policy::Verdict) -> Self {
        match verdict {
            policy::Verdict::Renew => Verdict::Renew,
            policy::Verdict::RunToFailure => Verdict::RunToFailure,
            policy::Verdict::NotEnoughEvidence => Verdict::NotEnoughEvidence,
        }
    }
}

fn recommendation(frame: &Frame, subject: &Subject, group: &Group) -> Recommendation {
    let offered = first::offer_of(&frame.about, subject, group);
    let found = &group.recommendation;
    let renew = found.verdict == policy::Verdict::Renew;
    let saving = found.decision.as_ref().filter(|_| renew).map(|d| {
        let [value, lower, upper] = money_with_limits(
            d.saving_rate.median * PER,
            d.saving_rate.lower * PER,
            d.saving_rate.upper * PER,
        );
        Limited {
            value,
            lower,
            upper,
        }
    });
    Recommendation {
        component: subject.name.clone(),
        positions: group.scope.words(),
        verdict: found.verdict.into(),
        interval: found.interval.map(|i| usage(i, &subject.unit)),
        present: subject.present.map(|i| usage(i, &subject.unit)),
        saving,
        chance: found.decision.as_ref().map(|d| chance(d.chance_it_pays)),
        worth: offered.map(|row| {
            let year = &row.per_year;
            let [value, lower, upper] = money_with_limits(year.median, year.lower, year.upper);
            Limited {
                value,
                lower,
                upper,
            }
        }),
        saves: offered.map(|row| chance(row.chance)),
        lives: group.sample.count() as usize,
        failures: group.sample.failures() as usize,
        note: match &group.leaning {
            Some(leaning) => Some(say::borrowed(&leaning.borrowed)),
            None => group.apart.and_then(|(_, ratio)| pace(ratio)),
        },
    }
}

/// How a slot set apart compares with the rest.
fn pace(ratio: f64) -> Option<String> {
    if !(ratio.is_finite() && ratio > 0.0) {
        return Some("no failure where the others have them".to_owned());
    }
    Some(if ratio < 1.0 {
        format!(
            "lasts about {} as long as the others",
            three_digits_short(ratio)
        )
    } else {
        format!(
            "lasts about {} times as long as the others",
            number(ratio, 1)
        )
    })
}

fn three_digits_short(ratio: f64) -> String {
    format!("{} %", number(ratio * 100.0, 0))
}

fn section(frame: &Frame, subject: &Subject) -> ComponentSection {
    let fits: Vec<Option<Fitted>> = subject.groups.iter().map(fitted).collect();
    let shape = fits
        .first()
        .and_then(Option::as_ref)
        .map(|f| f.posterior.limits(Target::Shape, frame.confidence));
    let groups: Vec<EvidenceGroup> = subject
        .groups
        .iter()
        .zip(&fits)
        .map(|(group, fit)| EvidenceGroup {
            title: heading(&group.scope),
            why: why(subject, group),
            judged: say::judged(subject, group, fit.as_ref()),
            fit: fit
                .as_ref()
                .map(|f| fit_figures(f, &subject.unit, frame.confidence))
                .unwrap_or_default(),
            probability: figures::probability(subject, group, fit.as_ref(), frame.confidence),
            cost: match group.scope {
                Scope::Batch(_) => None,
                // Each position has its own; the pool's would answer for none.
                Scope::Pool(_) if say::led_by_siblings(subject) => None,
                _ => figures::cost(subject, group, &frame.currency, frame.confidence),
            },
        })
        .collect();
    ComponentSection {
        id: subject.id.clone(),
        name: subject.name.clone(),
        findings: say::findings(
            subject,
            shape.as_ref(),
            groups.first().and_then(|g| g.cost.as_ref()),
        ),
        usage: format!("{} ({})", subject.usage.to_lowercase(), subject.unit),
        data: counts(subject),
        groups,
        positions: subject
            .slots
            .iter()
            .map(|slot| position(frame, subject, slot))
            .collect(),
        history: figures::history(subject, frame.as_of),
        assumed: assumed(frame, subject),
        notes: say::notes(subject),
    }
}

/// A scope as a heading. The name of a place stays as the plant writes it.
fn heading(scope: &Scope) -> String {
    let words = scope.words();
    let ours = [
        "all ",
        "position ",
        "positions ",
        "machine ",
        "machines ",
        "batch ",
    ];
    if ours.iter().any(|start| words.starts_with(start)) {
        capital(&words)
    } else {
        words
    }
}

fn why(subject: &Subject, group: &Group) -> String {
    if let Some(leaning) = &group.leaning {
        return format!(
            "Each position here leans on its siblings as far as the record says they are alike: \
             {}. The fit below is of their own lives.",
            say::borrowed(&leaning.borrowed)
        );
    }
    match group.apart {
        Some((p, ratio)) => format!(
            "Set apart: its lives differ from the others by more than chance (likelihood-ratio \
             test, p {}){}.",
            p_in_words(p),
            pace(ratio)
                .map(|words| format!("; {words}"))
                .unwrap_or_default()
        ),
        None if subject.groups.len() > 1 => {
            "A likelihood-ratio test sees no further difference between these lives.".to_owned()
        }
        None => String::new(),
    }
}

fn p_in_words(p: f64) -> String {
    if p < 0.001 {
        format!("below {}", number(0.001, 3))
    } else {
        format!("= {}", number(p, 3))
    }
}

fn fit_figures(fit: &Fitted, unit: &str, confidence: f64) -> Vec<FitFigure> {
    let shape = fit.posterior.limits(Target::Shape, confidence);
    let row = |name: String, target: Target, meaning: &str| {
        let limits = fit.posterior.limits(target, confidence);
        FitFigure {
            name,
            value: limited(target.of(&fit.life), &limits),
            meaning: meaning.to_owned(),
        }
    };
    vec![
        row(
            "Shape".to_owned(),
            Target::Shape,
            say::wear_in_short(&shape),
        ),
        row(
            format!("Scale ({unit})"),
            Target::Scale,
            &format!("{} % have failed by then", number(63.2, 1)),
        ),
        row(
            format!("B10 ({unit})"),
            Target::LifeAt(0.1),
            "10 % have failed by then",
        ),
        row(
            format!("Median life ({unit})"),
            Target::LifeAt(0.5),
            "half have failed by then",
        ),
    ]
}

fn limited(value: f64, limits: &Limits) -> Limited {
    let side = |side: Option<f64>| side.map_or("open".to_owned(), three_digits);
    Limited {
        value: three_digits(value),
        lower: side(limits.lower),
        upper: side(limits.upper),
    }
}

fn counts(subject: &Subject) -> DataCounts {
    let rows = &subject.rows;
    let with = |outcome: Outcome| rows.iter().filter(|r| r.outcome == outcome).count();
    DataCounts {
        lives: rows.len(),
        failures: with(Outcome::Failure),
        intervals: with(Outcome::Interval),
        suspensions: with(Outcome::Suspension),
        running: rows.iter().filter(|r| r.end_time.is_none()).count(),
        excluded: subject
            .excluded
            .iter()
            .map(|(flag, count)| Excluded {
                count: *count,
                why: reason(*flag).to_owned(),
            })
            .collect(),
        span: subject
            .since
            .map(|first| format!("since {}", day(first)))
            .unwrap_or_default(),
    }
}

fn reason(flag: Flag) -> &'static str {
    match flag {
        Flag::UnknownAge => "usage at the start unknown",
        Flag::NoLength => "put in and taken out at the same usage",
        Flag::NoUsage => "no usable meter readings",
        Flag::Extrapolated => "beyond the meter readings",
        Flag::MeterReset => "across a meter exchange",
        Flag::Refitted => "refitted",
    }
}

fn position(frame: &Frame, subject: &Subject, slot: &Slot) -> PositionRow {
    let here = |row: &&LifeRow| row.machine == slot.machine && row.position == slot.position;
    let rows: Vec<&LifeRow> = subject.rows.iter().filter(here).collect();
    let lives = rows.iter().filter_map(|r| r.life(None).ok()).collect();
    let sample = Sample::new(lives).unwrap_or_default();
    let group = subject.groups.iter().find(|g| {
        g.slots
            .iter()
            .any(|(m, p)| *m == slot.machine && *p == slot.position)
    });
    let median_life = Posterior::new(&sample, ShapePrior::Flat)
        .ok()
        .and_then(|p| median_life(&p.limits(Target::LifeAt(0.5), frame.confidence)));
    let in_place = rows.iter().rev().find(|r| r.end_time.is_none()).map(|r| {
        if r.has(Flag::UnknownAge) {
            "age unknown".to_owned()
        } else {
            r.lo.map_or("unknown".to_owned(), |lo| usage(lo.round(), &subject.unit))
        }
    });
    PositionRow {
        machine: slot.machine.clone(),
        position: slot.position.clone(),
        lives: sample.count() as usize,
        failures: sample.failures() as usize,
        median_life,
        verdict: group.map_or(Verdict::NotEnoughEvidence, |g| {
            g.recommendation.verdict.into()
        }),
        interval: group
            .and_then(|g| g.recommendation.interval)
            .map(|i| usage(i, &subject.unit)),
        in_place,
    }
}

/// The median life of one slot. Few failures leave it without a useful upper end; then only the
/// lower one is said.
fn median_life(limits: &Limits) -> Option<Limited> {
    let (median, lower) = (limits.median?, limits.lower?);
    match limits.upper {
        Some(upper) if upper <= WIDEST * lower => Some(limited(median, limits)),
        // A lower end next to nothing says nothing either.
        _ if lower * WIDEST < median => None,
        _ => Some(Limited {
            value: format!("over {}", three_digits(lower)),
            ..Limited::default()
        }),
    }
}

/// Limits farther apart than this factor are not worth their digits.
const WIDEST: f64 = 20.0;

fn assumed(frame: &Frame, subject: &Subject) -> Vec<Assumption> {
    let mut out = Vec::new();
    let mut add = |name: String, value: String, from: &str| {
        out.push(Assumption {
            name,
            value,
            from: from.to_owned(),
        });
    };
    let money_of = |value: f64| format!("{} {}", frame.currency, money(value));
    for (i, group) in subject.groups.iter().enumerate() {
        let same_as_pool = i > 0 && subject.groups[0].costs == group.costs;
        if same_as_pool {
            continue;
        }
        let place = if i == 0 {
            String::new()
        } else {
            format!(", {}", group.scope.words())
        };
        add(
            format!("Planned cost{place}"),
            money_of(group.costs.planned),
            &group.planned_from,
        );
        add(
            format!("Failure cost{place}"),
            money_of(group.costs.failed),
            &group.failed_from,
        );
    }
    match &subject.prior {
        Some((low, high, source)) => add(
            "Shape before the record".to_owned(),
            format!("{} to {}", three_digits(*low), three_digits(*high)),
            source,
        ),
        None => add(
            "Shape before the record".to_owned(),
            format!("{} to {}", number(0.75, 2), number(5.4, 1)),
            "weak prior for the decision, nine times in ten; the fits use none",
        ),
    }
    if let Some((ceiling, source)) = &subject.ceiling {
        add("Ceiling".to_owned(), usage(*ceiling, &subject.unit), source);
    }
    if let Some(grid) = subject.grid {
        add(
            "Planning grid".to_owned(),
            usage(grid, &subject.unit),
            "register; intervals are rounded down to it",
        );
    }
    out
}

/// Findings of one kind and weight become one row, at the place of the first.
fn quality(findings: &[Trouble]) -> Quality {
    let mut rows: Vec<(Severity, &'static str, QualityFinding)> = Vec::new();
    for trouble in findings {
        let known = rows
            .iter_mut()
            .find(|(severity, kind, _)| *severity == trouble.severity && *kind == trouble.kind);
        match known {
            Some((_, _, row)) => row.count += 1,
            None => rows.push((trouble.severity, trouble.kind, finding(trouble))),
        }
    }
    // Stable: the most serious first, each weight in the order found.
    rows.sort_by_key(|row| std::cmp::Reverse(row.0));
    let of = |severity| findings.iter().filter(|t| t.severity == severity).count();
    let (errors, warnings, notes) = (
        of(Severity::Error),
        of(Severity::Warning),
        of(Severity::Note),
    );
    let summary = if findings.is_empty() {
        "A check of the ledger found nothing to mend, and every book’s chain is whole.".to_owned()
    } else {
        let mut parts = Vec::new();
        for (n, one, many) in [
            (errors, "error", "errors"),
            (warnings, "warning", "warnings"),
            (notes, "note", "notes"),
        ] {
            if n > 0 {
                parts.push(count(n, one, many));
            }
        }
        format!(
            "A check of the ledger found {}. A warning may touch a result; a note does not. \
             Findings of one kind share a row.",
            super::words::list(&parts)
        )
    };
    Quality {
        summary,
        findings: rows.into_iter().map(|(_, _, row)| row).collect(),
    }
}

fn finding(trouble: &Trouble) -> QualityFinding {
    let place = trouble
        .place
        .as_ref()
        .map_or(String::new(), |p| match p.line {
            Some(line) => format!("{}:{line}", p.file),
            None => p.file.clone(),
        });
    QualityFinding {
        place,
        what: trouble.what.clone(),
        evidence: trouble.evidence.join(" "),
        cure: trouble.cure.join(" "),
        count: 1,
    }
}
