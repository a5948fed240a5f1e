//! From subjects to the report's data: counts, tables, sentences, charts.
//!
//! In: a [`Frame`] and [`Subject`]s. Out: [`Report`]. Never: files, clock, HTML.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::component;
use super::figures::PER;
use super::first;
use super::model::{
    BookHead, ComponentSection, Limited, Quality, QualityFinding, Recommendation, Report, Verdict,
};
use super::say;
use super::subject::{Frame, Group, Subject};
use super::words::{chance, count, day, money, money_with_limits, usage};
use crate::chart::number;
use crate::policy;
use crate::quantity::trouble::{Severity, Trouble};
use crate::view::cautions::cautions;

/// Builds the report. The same input gives the same report.
pub fn build(frame: &Frame, subjects: &[Subject]) -> Report {
    build_telling(frame, subjects, &|_, _| ())
}

/// As [`build`]; `told` hears, from any thread, how many components are done of how many.
pub fn build_telling(
    frame: &Frame,
    subjects: &[Subject],
    told: &(dyn Fn(usize, usize) + Sync),
) -> Report {
    let confidence = format!("{} %", number(frame.confidence * 100.0, 0));
    let ranked = match frame.in_full {
        Some(_) => component::by_stake(subjects, frame.as_of),
        None => Vec::new(),
    };
    let (full, rest) = ranked.split_at(frame.in_full.unwrap_or(0).min(ranked.len()));
    let done = AtomicUsize::new(0);
    let components: Vec<ComponentSection> = full
        .par_iter()
        .map(|(subject, _)| {
            let section = component::section(frame, subject);
            told(done.fetch_add(1, Ordering::Relaxed) + 1, full.len());
            section
        })
        .collect();
    let mut rows: Vec<(f64, (&Subject, &Group))> = subjects
        .iter()
        .flat_map(|s| s.groups.iter().map(move |g| (s, g)))
        .filter(|(_, g)| !g.slots.is_empty())
        .map(|(s, g)| (first::rank(&frame.about, s, g), (s, g)))
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
        others: component::others(frame, rest, ranked.len()),
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
            let [value, lower, upper] =
                [year.median, year.lower, year.upper].map(|sum| money(first::round(sum)));
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
pub(super) fn pace(ratio: f64) -> Option<String> {
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
