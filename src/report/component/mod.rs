//! A component's page: what an engineer needs to judge it.
//!
//! Findings; lives by place; the plot, the fit and the hazard; what it costs at each interval;
//! where items sat; whether the lives may be taken as one population; slots; what was assumed.
//! In: a [`Frame`] and a [`Subject`]. Out: a [`ComponentSection`], words and figures.
//! Never: files, clock, HTML, decisions.

mod checks;
mod fit;
mod lives;
pub mod model;
mod places;
mod stake;

use super::build::pace;
use super::figures::{self, Fitted, fitted};
use super::model::{Assumption, ComponentSection, EvidenceGroup};
use super::say;
use super::subject::{Frame, Group, Scope, Subject};
use super::words::{capital, money, three_digits, usage};
use crate::chart::number;
use crate::model::Target;
use crate::view::interval::LookView;

use self::fit::figures as fit_figures;
pub(in crate::report) use self::stake::others;
pub use self::stake::{at_stake, by_stake};

/// Groups of lives with a block of their own: the pool, then what leans or differs most.
const GROUPS: usize = 6;

/// The page of one component.
pub(in crate::report) fn section(frame: &Frame, subject: &Subject) -> ComponentSection {
    let shown = &subject.groups[..subject.groups.len().min(GROUPS)];
    let fits: Vec<Option<Fitted>> = shown.iter().map(fitted).collect();
    let shape = fits
        .first()
        .and_then(Option::as_ref)
        .map(|f| f.posterior.limits(Target::Shape, frame.confidence));
    let (groups, tests): (Vec<EvidenceGroup>, Vec<(String, Option<say::Tested>)>) = shown
        .iter()
        .zip(&fits)
        .map(|(group, fit)| {
            let test = say::test_of(group, fit.as_ref());
            let block = block(frame, subject, group, fit.as_ref(), test.as_ref());
            let title = block.title.clone();
            (block, (title, test))
        })
        .unzip();
    let (positions, positions_note) = places::rows(frame, subject);
    let (drawn, history_note) = places::drawn(subject);
    let mut findings = say::findings(
        subject,
        shape.as_ref(),
        groups.first().and_then(|g| g.cost.as_ref()),
    );
    let looks = subject
        .groups
        .iter()
        .filter_map(|group| look(subject, group));
    findings.extend(looks);
    let mut notes = say::notes(subject);
    if shown.len() < subject.groups.len() {
        notes.push(format!(
            "Of {} groups weighed apart the first {GROUPS} have plots and fits here, the others \
             a row among the tests; `wearbook interval --component {}` tells of all.",
            number(subject.groups.len() as f64, 0),
            subject.id
        ));
    }
    ComponentSection {
        id: subject.id.clone(),
        name: subject.name.clone(),
        findings,
        usage: format!("{} ({})", subject.usage.to_lowercase(), subject.unit),
        data: lives::counts(subject),
        table: lives::table(subject),
        warning: checks::warning(subject),
        tests: checks::rows(subject, &tests),
        groups,
        positions,
        positions_note,
        history: figures::history(subject, &drawn, frame.as_of),
        history_note,
        assumed: assumed(frame, subject),
        notes,
    }
}

fn block(
    frame: &Frame,
    subject: &Subject,
    group: &Group,
    fit: Option<&Fitted>,
    test: Option<&say::Tested>,
) -> EvidenceGroup {
    let unit = &subject.unit;
    let (models, models_note) = fit::models(group);
    EvidenceGroup {
        title: heading(&group.scope),
        why: why(subject, group),
        judged: say::judged(subject, group, fit, test),
        fit: fit
            .map(|f| fit_figures(f, unit, frame.confidence))
            .unwrap_or_default(),
        hazard_words: fit
            .map(|f| fit::hazard_words(group, f, unit, frame.confidence))
            .unwrap_or_default(),
        models,
        models_note,
        modes: fit::modes(group),
        probability: figures::probability(subject, group, fit, frame.confidence),
        hazard: fit.and_then(|f| figures::hazard(subject, group, f, frame.confidence)),
        cost: match group.scope {
            Scope::Batch(_) => None,
            // Each position has its own; the pool's would answer for none.
            Scope::Pool(_) if say::led_by_siblings(subject) => None,
            _ => figures::cost(subject, group, &frame.currency, frame.confidence),
        },
    }
}

/// Where a look at the item costs less than renewing it unseen.
fn look(subject: &Subject, group: &Group) -> Option<String> {
    let LookView {
        look_at,
        risk,
        cost_rate,
        rival_rate,
        quantity,
        foretold,
        ..
    } = group.look.as_ref()?;
    let place = match &group.scope {
        Scope::Place(place) => format!(" at {place}"),
        _ => String::new(),
    };
    let percent = |share: f64| format!("{} %", number(100.0 * share, 0));
    Some(format!(
        "A look pays{place}: measure {quantity} every {}, and renew what would pass its limit \
         before the next look (chance {}). That is expected to cost {} less than the cheaper of \
         renewing by age and running to failure; {} of the failures on record were foretold by \
         it.",
        usage(*look_at, &subject.unit),
        percent(*risk),
        percent(1.0 - cost_rate / rival_rate),
        percent(*foretold)
    ))
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
            checks::p_words(p),
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
