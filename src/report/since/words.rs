//! What changed, in sentences and rows.
//!
//! In: comparisons. Out: text. Never: comparing.

use chrono::NaiveDate;

use super::answers::{Answers, more};
use super::stops::StopChanges;
use super::{ChangeRow, Lateness};
use crate::chart::significant;
use crate::report::twin::{Stop, Twin};
use crate::report::words::{capital, count, day, list};

/// Rows told one by one.
const TOLD: usize = 40;

/// At length, and in one sentence.
pub(super) fn sentences(
    then: &Twin,
    now: &Twin,
    answers: &Answers,
    stops: &StopChanges,
    late: Lateness,
) -> (Vec<String>, String) {
    let since = format!("Since the report as of {}", day(then.as_of));
    let parts: Vec<String> = [
        changed(answers),
        grown(answers),
        lateness(late),
        done(stops),
        cost(then, now),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mut out = match parts.as_slice() {
        [] => vec![format!(
            "{since} nothing has changed: the same answers, the same stops, no further failure."
        )],
        parts => {
            let mut told: Vec<String> = parts.iter().map(|p| format!("{}.", capital(p))).collect();
            told[0] = format!("{since}: {}.", parts[0]);
            told
        }
    };
    // What is overdue now, and the stops, the first page tells by itself.
    let failures = (answers.failures != 0).then(|| {
        format!(
            "{} on record",
            more(answers.failures, "failure", "failures")
        )
    });
    let short: Vec<String> = [changed(answers), failures, cost(then, now)]
        .into_iter()
        .flatten()
        .collect();
    let headline = match (parts.is_empty(), short.is_empty()) {
        (true, _) => out[0].clone(),
        (false, true) => format!("{since} no answer changed, and no further failure is on record."),
        (false, false) => format!("{since}: {}.", short.join("; ")),
    };
    out.extend(ahead(stops).map(|p| format!("{}.", capital(&p))));
    out.extend(register(answers));
    if answers.asked_apart {
        out.push(
            "The two reports were not asked for the same: only what both tell of is compared."
                .to_owned(),
        );
    }
    if then.currency != now.currency {
        out.push(format!(
            "Money is not compared: it was counted in {} then.",
            then.currency
        ));
    }
    (out, headline)
}

fn changed(answers: &Answers) -> Option<String> {
    let told: Vec<String> = [
        (answers.intervals, "interval", "intervals"),
        (answers.verdicts, "verdict", "verdicts"),
    ]
    .into_iter()
    .filter(|(n, ..)| *n > 0)
    .map(|(n, one, many)| count(n, one, many))
    .collect();
    (!told.is_empty()).then(|| format!("{} changed", list(&told)))
}

fn grown(answers: &Answers) -> Option<String> {
    if answers.lives == 0 && answers.failures == 0 {
        return None;
    }
    let failures = match answers.failures {
        0 => "no further failure".to_owned(),
        n => more(n, "failure", "failures"),
    };
    Some(match answers.lives {
        0 => format!("{failures} on record"),
        n => format!("{} and {failures} are on record", more(n, "life", "lives")),
    })
}

fn lateness(late: Lateness) -> Option<String> {
    let were = |n: usize| if n == 1 { "was" } else { "were" };
    let then = match (late.then, late.renewed) {
        (0, _) => String::new(),
        (n, r) if r == n => format!(
            "{} overdue then {} all renewed",
            count(n, "item", "items"),
            were(n)
        ),
        (n, r) => format!(
            "{r} of {} overdue then {} renewed",
            count(n, "item", "items"),
            were(r)
        ),
    };
    let now = match (late.now, late.new) {
        (0, _) => "nothing is overdue now".to_owned(),
        (n, new) if n == new => format!("{n} came to be overdue"),
        (n, new) => format!("{n} are overdue now, {new} of them since"),
    };
    match (late.then, late.now) {
        (0, 0) => None,
        (n, m) if n == m && late.renewed == 0 && late.new == 0 => None,
        (0, _) => Some(now),
        _ => Some(format!("{then}, and {now}")),
    }
}

fn done(stops: &StopChanges) -> Option<String> {
    let planned = stops.done.len() + stops.in_part.len() + stops.missed.len();
    let told: Vec<String> = [
        (stops.done.len(), "done"),
        (stops.in_part.len(), "done in part"),
        (stops.missed.len(), "not done"),
    ]
    .into_iter()
    .filter(|(n, _)| *n > 0)
    .map(|(n, what)| format!("{n} {} {what}", if n == 1 { "was" } else { "were" }))
    .collect();
    (planned > 0).then(|| {
        format!(
            "of {} planned up to now, {}",
            count(planned, "stop", "stops"),
            list(&told)
        )
    })
}

fn ahead(stops: &StopChanges) -> Option<String> {
    let changed = stops.moved.len() + stops.new.len() + stops.gone.len();
    if changed == 0 {
        return None;
    }
    let told: Vec<String> = [
        (stops.kept, "keep their days"),
        (stops.moved.len(), "moved"),
        (stops.gone.len(), "not planned any more"),
        (stops.new.len(), "new"),
    ]
    .into_iter()
    .filter(|(n, _)| *n > 0)
    .map(|(n, what)| match (n, what) {
        (1, "keep their days") => "1 keeps its days".to_owned(),
        (n, "keep their days" | "moved") => format!("{n} {what}"),
        (1, _) => format!("1 is {what}"),
        (n, _) => format!("{n} are {what}"),
    })
    .collect();
    Some(format!("of the stops still ahead, {}", list(&told)))
}

fn cost(then: &Twin, now: &Twin) -> Option<String> {
    let (before, after) = (then.cost.as_ref()?, now.cost.as_ref()?);
    let (was, is) = (before.all.per_usage?, after.all.per_usage?);
    let told = (significant(was, 3), significant(is, 3));
    let alike = then.currency == now.currency && before.unit == after.unit;
    (alike && told.0 != told.1).then(|| {
        format!(
            "the cost of the last 12 months is {} {} per {}, was {}",
            now.currency, told.1, after.unit, told.0
        )
    })
}

fn register(answers: &Answers) -> Vec<String> {
    let told = [
        ("New in the register", &answers.new),
        ("No longer in the register", &answers.gone),
        ("New machines", &answers.new_machines),
        ("Machines no longer there", &answers.gone_machines),
    ];
    told.into_iter()
        .filter(|(_, names)| !names.is_empty())
        .map(|(what, names)| format!("{what}: {}.", list(names)))
        .collect()
}

/// Rows of what is to be seen of the stops, and how many more there are.
pub(super) fn stop_rows(stops: &StopChanges, today: NaiveDate) -> (Vec<ChangeRow>, usize) {
    let row = |stop: &Stop, now: String, why: String| ChangeRow {
        what: stop.machine.clone(),
        place: String::new(),
        then: day(stop.date),
        now,
        why,
    };
    let missed = stops.missed.iter().map(|(stop, next)| {
        let next = next.map_or(String::new(), |next| format!("next stop {}", day(next)));
        row(stop, "not done".to_owned(), next)
    });
    let in_part = stops.in_part.iter().map(|(stop, n, of)| {
        row(
            stop,
            "done in part".to_owned(),
            format!("{n} of {} renewed", count(*of, "item", "items")),
        )
    });
    let moved = stops.moved.iter().map(|(was, is)| {
        let days = (is.date - was.date).num_days();
        let by = count(usize::try_from(days.abs()).unwrap_or(0), "day", "days");
        let why = match days {
            _ if is.date <= today => "due now".to_owned(),
            ..0 => format!("{by} sooner"),
            _ => format!("{by} later"),
        };
        row(was, day(is.date), why)
    });
    let new = stops.new.iter().map(|stop| ChangeRow {
        what: stop.machine.clone(),
        then: "not planned".to_owned(),
        now: day(stop.date),
        ..ChangeRow::default()
    });
    let gone = stops
        .gone
        .iter()
        .map(|stop| row(stop, "not planned any more".to_owned(), String::new()));
    let mut rows: Vec<ChangeRow> = missed
        .chain(in_part)
        .chain(moved)
        .chain(new)
        .chain(gone)
        .collect();
    let more = rows.len().saturating_sub(TOLD);
    rows.truncate(TOLD);
    (rows, more)
}
