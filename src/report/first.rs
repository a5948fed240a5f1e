//! The first page beside its table: what to change and what that is worth a year, what is
//! overdue, how far the evidence reaches; and one picture of it.
//!
//! In: subjects, an [`About`]. Out: sentences, [`IntervalRanges`]. Never: analysis.

use super::money::{OfferRow, OnOffer};
use super::stops::Outlook;
use super::subject::{Group, Subject};
use super::summary::{self, summary};
use super::words::{self, chance, count, list, money_with_limits};
use crate::chart::{IntervalRanges, RangeRow};
use crate::policy::Verdict;
use crate::quantity::same_or_none;

/// What is known beside the components.
#[derive(Debug, Clone, Default)]
pub struct About {
    /// What the recommendations are worth against today's practice.
    pub offer: Option<OnOffer>,
    /// The plans summed up; none where no stops were planned.
    pub stops: Option<Outlook>,
    /// What changed since an earlier report, a sentence.
    pub since: Option<String>,
}

/// Rows of the first page's table; more stand in the planner's and the engineer's parts.
pub(super) const ROWS: usize = 12;

/// The offer that a group's recommendation is part of.
pub(super) fn offer_of<'a>(
    about: &'a About,
    subject: &Subject,
    group: &Group,
) -> Option<&'a OfferRow> {
    let instead = match group.recommendation.verdict {
        Verdict::Renew => group.recommendation.interval,
        Verdict::RunToFailure => subject.ceiling.as_ref().map(|(ceiling, _)| *ceiling),
        Verdict::NotEnoughEvidence => return None,
    };
    let rows = &about.offer.as_ref()?.rows;
    rows.iter()
        .find(|row| row.component == subject.id && same_or_none(row.instead, instead))
}

/// Three or four sentences, and one more where an earlier report is compared with.
pub(super) fn sentences(
    about: &About,
    subjects: &[Subject],
    currency: &str,
    confidence: &str,
) -> Vec<String> {
    let worth = worth(about, currency, confidence);
    let mut out = summary(subjects, currency, confidence, worth, |s, g| {
        rank(about, s, g)
    });
    // What is due comes before how far the evidence reaches.
    let at = out.len().saturating_sub(1);
    out.splice(at..at, due(about));
    out.extend(about.since.clone());
    out
}

fn worth(about: &About, currency: &str, confidence: &str) -> Option<String> {
    let offer = about.offer.as_ref()?;
    let total = offer.total?;
    let [middle, lower, upper] =
        money_with_limits(round(total.median), round(total.lower), round(total.upper));
    let surest = offer.rows.iter().map(|row| row.chance).fold(0.0, f64::max);
    Some(if total.upper <= 0.0 {
        format!(
            "Against what is done today that costs about {currency} {middle} a year more \
             ({confidence} limits {lower} to {upper})."
        )
    } else if total.lower > 0.0 {
        format!(
            "Against what is done today that saves about {currency} {middle} a year \
             ({confidence} limits {lower} to {upper})."
        )
    } else {
        format!(
            "Against what is done today that saves about {currency} {middle} a year, and may save \
             nothing ({confidence} limits {lower} to {upper}; the surest single change saves with \
             a chance of {}).",
            chance(surest)
        )
    })
}

/// Renewals by what the change is worth, else by what they save; what is to be left in; what is
/// open.
pub(super) fn rank(about: &About, subject: &Subject, group: &Group) -> f64 {
    let offered = offer_of(about, subject, group);
    match group.recommendation.verdict {
        Verdict::Renew if about.offer.is_some() => {
            // What changes nothing comes after what does.
            2.0 + offered.map_or(0.0, |row| 1.0 + row.per_year.median.max(0.0))
        }
        Verdict::Renew => 2.0 + summary::worth(group).max(0.0),
        Verdict::RunToFailure => 1.0,
        Verdict::NotEnoughEvidence => 0.0,
    }
}

/// Three digits at most, and whole: a sum a year is known no better.
pub(super) fn round(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let step = 10f64.powf(value.abs().log10().floor() - 2.0).max(1.0);
    (value / step).round() * step
}

fn due(about: &About) -> Option<String> {
    let stops = about.stops.as_ref()?;
    let overdue = &stops.overdue_on;
    let mut text = if overdue.is_empty() {
        "Nothing is overdue.".to_owned()
    } else {
        let named: Vec<&str> = overdue.iter().map(|(m, _)| m.as_str()).collect();
        let place = if named.len() <= 5 {
            list(&named)
        } else {
            count(named.len(), "machine", "machines")
        };
        let verb = if stops.overdue == 1 { "is" } else { "are" };
        format!(
            "{} {verb} overdue, on {place}.",
            count(stops.overdue, "renewal", "renewals")
        )
    };
    // What is overdue makes a stop of today; the next one to plan for comes after it.
    let next = stops.then.as_ref().or(stops.next.as_ref());
    if let Some(next) = next {
        let machines = match next.machines.as_slice() {
            few if few.len() <= 5 => list(few),
            many => count(many.len(), "machine", "machines"),
        };
        text.push_str(&format!(
            " The next planned stop is on {}, of {machines}.",
            words::day(next.date)
        ));
    }
    Some(text)
}

/// The rows of the table that have an interval to show, in its order; none without any.
pub(super) fn picture(
    about: &About,
    shown: &[(&Subject, &Group)],
    currency: &str,
) -> Option<IntervalRanges> {
    // One axis holds one unit: that of the first row.
    let (usage, unit) = shown
        .first()
        .map(|(s, _)| (s.usage.clone(), s.unit.clone()))?;
    let mut worths = 0;
    let rows: Vec<RangeRow> = shown
        .iter()
        .filter(|(s, _)| s.unit == unit)
        .filter_map(|(subject, group)| {
            let found = &group.recommendation;
            let renew = found.verdict == Verdict::Renew;
            // Where nothing is recommended, today's interval stands in the table.
            if !renew {
                return None;
            }
            let near = found.decision.as_ref().and_then(|d| d.near);
            let worth = offer_of(about, subject, group).map(|row| row.per_year.median);
            worths += usize::from(worth.is_some());
            let place = group.scope.words();
            Some(RangeRow {
                name: subject.name.clone(),
                place: (place != "all positions").then_some(place),
                near,
                recommended: found.interval,
                today: subject.present,
                ceiling: subject.ceiling.as_ref().map(|(value, _)| *value),
                says: None,
                worth: worth.map(|worth| words::money(round(worth))),
            })
        })
        .collect();
    let drawn = rows.iter().any(|row| row.recommended.is_some());
    drawn.then(|| IntervalRanges {
        id: String::new(),
        title: "Today’s intervals and the recommended ones".to_owned(),
        x_title: format!("{usage} between renewals ({unit})"),
        near_name: "costs within 5 % of the least".to_owned(),
        rows,
        worth_title: (worths > 0).then(|| format!("saves a year ({currency})")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    use crate::policy::decide::Saving;
    use crate::report::stops::NextStops;

    fn offer(median: f64, lower: f64, upper: f64) -> About {
        About {
            offer: Some(OnOffer {
                total: Some(Saving {
                    median,
                    lower,
                    upper,
                }),
                ..OnOffer::default()
            }),
            ..About::default()
        }
    }

    #[test]
    fn a_sum_a_year_says_when_it_may_be_nothing() {
        let told = |about| worth(&about, "EUR", "90 %").expect("a sentence");
        let sure = told(offer(12_345.0, 8_111.0, 17_222.0));
        assert!(
            sure.contains("saves about EUR 12,300 a year (90 % limits 8,110 to 17,200)"),
            "{sure}"
        );
        let open = told(offer(900.0, -400.0, 2_000.0));
        assert!(open.contains("may save nothing"), "{open}");
        let dearer = told(offer(-900.0, -1_400.0, -20.0));
        assert!(dearer.contains("a year more"), "{dearer}");
        assert_eq!(worth(&About::default(), "EUR", "90 %"), None);
    }

    #[test]
    fn what_is_overdue_names_few_machines_and_counts_many() {
        let of = |overdue_on: Vec<(String, usize)>| {
            due(&About {
                stops: Some(Outlook {
                    overdue: overdue_on.iter().map(|(_, n)| n).sum(),
                    overdue_on,
                    next: Some(NextStops {
                        date: NaiveDate::from_ymd_opt(2026, 6, 22).expect("a day"),
                        earliest: NaiveDate::default(),
                        latest: NaiveDate::default(),
                        machines: vec!["H-01".to_owned()],
                        overdue: false,
                        renewals: 3,
                        hours: 2.0,
                    }),
                    ..Outlook::default()
                }),
                ..About::default()
            })
            .expect("a sentence")
        };
        assert_eq!(
            of(vec![("H-01".to_owned(), 1)]),
            "1 renewal is overdue, on H-01. The next planned stop is on 22 June 2026, of H-01."
        );
        let many = of((0..7).map(|n| (format!("H-{n}"), 2)).collect());
        assert!(
            many.starts_with("14 renewals are overdue, on 7 machines."),
            "{many}"
        );
        assert!(of(Vec::new()).starts_with("Nothing is overdue."));
        assert_eq!(due(&About::default()), None);
    }
}
