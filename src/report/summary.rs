//! The first page's sentences on what to change, how sure that is, and what to leave.
//!
//! In: subjects and their decisions. Out: sentences. Never: figures that were not computed.

use super::figures::PER;
use super::say::renew;
use super::subject::{Group, Scope, Subject};
use super::words::{chance, count, list, lower_first, money_with_limits};
use crate::chart::number;
use crate::policy::Verdict;
use crate::quantity::same;

/// A group's worth: expected saving over all its slots, for ordering.
pub(super) fn worth(group: &Group) -> f64 {
    match (&group.recommendation.decision, group.recommendation.verdict) {
        (Some(decision), Verdict::Renew) => decision.saving_rate.median * group.slots.len() as f64,
        _ => 0.0,
    }
}

/// The first page's sentences: what to change, what it saves, how sure, what to leave.
///
/// `today` says what the changes are worth against today; without it, what the best is worth
/// against running to failure.
pub(super) fn summary(
    subjects: &[Subject],
    currency: &str,
    confidence: &str,
    today: Option<String>,
    rank: impl Fn(&Subject, &Group) -> f64,
) -> Vec<String> {
    let mut renewals: Vec<(&Subject, &Group)> = groups(subjects, Verdict::Renew);
    renewals.sort_by(|a, b| rank(b.0, b.1).total_cmp(&rank(a.0, a.1)));
    let (mut out, mut last) = (Vec::new(), Vec::new());
    let changes: Vec<_> = renewals
        .iter()
        .filter(|(s, g)| {
            !matches!((s.present, g.recommendation.interval), (Some(p), Some(i)) if same(p, i))
        })
        .collect();
    if renewals.is_empty() {
        out.push("No component shows that renewing early would pay.".to_owned());
    } else if changes.is_empty() {
        out.push("Keep today’s intervals: none on record would cost clearly less.".to_owned());
    } else {
        let named: Vec<String> = changes
            .iter()
            .take(3)
            .map(|(s, g)| {
                let place = at(&g.scope);
                format!(
                    "the {}{place} {}",
                    lower_first(&s.name),
                    renew(g, s).unwrap_or_default()
                )
            })
            .collect();
        let more = changes.len().saturating_sub(3);
        let tail = if more > 0 {
            format!(", and {more} more in the table")
        } else {
            String::new()
        };
        out.push(format!("Renew {}{tail}.", list(&named)));
    }
    if let Some((subject, group)) = renewals.first()
        && let Some(decision) = &group.recommendation.decision
    {
        let saving = &decision.saving_rate;
        let [middle, lower, upper] =
            money_with_limits(saving.median * PER, saving.lower * PER, saving.upper * PER);
        out.push(today.unwrap_or_else(|| {
            format!(
                "The {} gains most: against running to failure about {currency} {} per {} {} and \
             position ({confidence} limits {} to {}).",
                lower_first(&subject.name),
                middle,
                number(PER, 0),
                subject.unit,
                lower,
                upper
            )
        }));
        let least = renewals
            .iter()
            .filter_map(|(_, g)| g.recommendation.decision.as_ref())
            .map(|d| d.chance_it_pays)
            .fold(1.0, f64::min);
        let (failures, lives) = renewals.iter().fold((0, 0), |(f, l), (_, g)| {
            (f + g.sample.failures(), l + g.sample.count())
        });
        let failures = count(failures as usize, "failure", "failures");
        let lives = count(lives as usize, "life", "lives");
        last.push(if renewals.len() == 1 {
            format!(
                "The renewal rests on {failures} in {lives} and beats running to failure with a \
                 chance of {}.",
                chance(least)
            )
        } else {
            format!(
                "The {} renewals rest on {failures} in {lives}, and each beats running to failure \
                 with a chance of {} or better.",
                renewals.len(),
                chance(least)
            )
        });
    }
    let leave = names(&groups(subjects, Verdict::RunToFailure));
    let open = names(&groups(subjects, Verdict::NotEnoughEvidence));
    if !leave.is_empty() {
        last.push(format!("Leave in until they fail: {}.", list(&leave)));
    }
    match open.len() {
        0 => {}
        few @ 1..=3 if few + leave.len() <= 4 => {
            last.push(format!("Not enough evidence yet: {}.", list(&open)));
        }
        many => last.push(format!(
            "Not enough evidence yet for {}.",
            count(many, "component", "components")
        )),
    }
    if !last.is_empty() {
        out.push(last.join(" "));
    }
    out
}

fn groups(subjects: &[Subject], verdict: Verdict) -> Vec<(&Subject, &Group)> {
    subjects
        .iter()
        .flat_map(|s| s.groups.iter().map(move |g| (s, g)))
        .filter(|(_, g)| g.recommendation.verdict == verdict && !g.slots.is_empty())
        .collect()
}

fn names(found: &[(&Subject, &Group)]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for (subject, group) in found {
        let name = format!("{}{}", lower_first(&subject.name), at(&group.scope));
        if !out.contains(&name) {
            out.push(name);
        }
    }
    out
}

/// " at H-02 P2" for a place set apart, " at all positions but H-02 P2" for those it leaves.
fn at(scope: &Scope) -> String {
    match scope {
        Scope::Place(place) => format!(" at {place}"),
        Scope::Pool(but) if but.iter().any(|name| !name.starts_with("batch ")) => {
            format!(" at {}", scope.words())
        }
        Scope::Pool(_) | Scope::Batch(_) => String::new(),
    }
}
