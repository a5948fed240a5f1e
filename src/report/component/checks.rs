//! Whether a component's lives may be taken as one population that does not change: tests.
//!
//! In: a [`Subject`] with what was tested, and the tests of fit. Out: [`TestRow`]s, warnings.
//! Never: statistics.

use super::model::TestRow;
use crate::chart::{number, significant};
use crate::model::goodness::FitVerdict;
use crate::model::trend::{NoTrend, Trend};
use crate::policy::evidence::{Scope, Tried};
use crate::policy::siblings::Found;
use crate::recurrence::TrendTest;
use crate::recurrence::trend::{self as rate, LEVEL, Verdict};
use crate::report::say::Tested;
use crate::report::subject::Subject;
use crate::report::words::{capital, count, list};

/// All tests of a component, with the test of fit of each group by its title.
pub(super) fn rows(subject: &Subject, fits: &[(String, Option<Tested>)]) -> Vec<TestRow> {
    let mut out = Vec::new();
    let several = fits.len() > 1;
    for (title, test) in fits {
        out.extend(test.as_ref().map(|test| fit(title, test, several)));
    }
    out.extend(subject.successive.as_ref().map(successive));
    out.extend(subject.rate.as_ref().map(rates).unwrap_or_default());
    if let Some(tried) = &subject.tried {
        out.extend(apart(subject, tried));
    }
    out.extend(subject.alike.as_ref().map(alike));
    out
}

/// What must be said before any fit is trusted.
pub(super) fn warning(subject: &Subject) -> Option<String> {
    let trend = subject.successive.as_ref()?.as_ref().ok()?;
    trend.warns().then(|| {
        format!(
            "Mind: successive items in a slot get {}: each lasts about {} times as long as the one \
             before (p {}). One distribution for all lives then misleads, and so may the interval; \
             find out what changed (see the tests below, and `wearbook recur --by slot`).",
            if trend.factor < 1.0 {
                "shorter-lived"
            } else {
                "longer-lived"
            },
            number(trend.factor, 2),
            p_words(trend.p)
        )
    })
}

fn fit(title: &str, found: &Tested, several: bool) -> TestRow {
    let test = &found.test;
    let on = match found.part {
        Some(lives) => format!(" on {} lives", number(lives as f64, 0)),
        None => String::new(),
    };
    TestRow {
        question: match several {
            true => format!("Do the lives follow the Weibull? {title}"),
            false => "Do the lives follow the Weibull?".to_owned(),
        },
        test: format!(
            "Anderson-Darling{on}, p from {} samples drawn",
            test.replicates
        ),
        statistic: format!("A² {}", number(test.statistic, 2)),
        p: test.p.map(p_figure).unwrap_or_default(),
        says: match test.verdict() {
            FitVerdict::Good => "Nothing speaks against it.",
            FitVerdict::Doubtful => "Doubtful.",
            FitVerdict::Bad => "They do not.",
            FitVerdict::Unknown => "Too few failures to tell.",
        }
        .to_owned(),
    }
}

fn successive(found: &Result<Trend, NoTrend>) -> TestRow {
    let row = TestRow {
        question: "Do successive items in a slot last as long?".to_owned(),
        test: "Weibull regression on when each came in".to_owned(),
        ..TestRow::default()
    };
    match found {
        Ok(trend) => TestRow {
            statistic: format!("× {} an item", number(trend.factor, 2)),
            p: p_figure(trend.p),
            says: match (trend.warns(), trend.p < LEVEL, trend.factor < 1.0) {
                (true, _, true) => "No: they get shorter.",
                (true, _, false) => "No: they get longer.",
                (_, true, true) => "Perhaps shorter; not beyond chance in many tests.",
                (_, true, false) => "Perhaps longer; not beyond chance in many tests.",
                (_, _, true) => "Lives do not get shorter beyond chance.",
                _ => "Lives do not get longer or shorter beyond chance.",
            }
            .to_owned(),
            ..row
        },
        Err(why) => TestRow {
            says: format!("Cannot be told: {why}."),
            ..row
        },
    }
}

fn rates(found: &rate::Trend) -> Vec<TestRow> {
    let question = "Do failures come faster as slots run on?".to_owned();
    let Some((laplace, chi_square)) = found.tests else {
        return vec![TestRow {
            question,
            test: "Laplace; chi-square".to_owned(),
            says: "No failure that could tell.".to_owned(),
            ..TestRow::default()
        }];
    };
    let verdict = match found.verdict() {
        Verdict::NoEvents | Verdict::TooFew => "Too few failures to tell.",
        Verdict::Faster => "Both tests say faster.",
        Verdict::Slower => "Both tests say slower.",
        Verdict::PerhapsFaster => "One test says faster, the other does not.",
        Verdict::PerhapsSlower => "One test says slower, the other does not.",
        Verdict::Uneven => "Neither steady nor drifting one way.",
        Verdict::None => "No sign of it.",
    };
    let row = |test: &str, statistic: String, of: TrendTest, says: &str| TestRow {
        question: question.clone(),
        test: test.to_owned(),
        statistic,
        p: p_figure(of.p()),
        says: says.to_owned(),
    };
    vec![
        row(
            "Laplace",
            format!("U {}", number(laplace.statistic, 2)),
            laplace,
            verdict,
        ),
        row(
            "Chi-square (MIL-HDBK-189)",
            format!(
                "{} on {}",
                number(chi_square.statistic, 1),
                number(chi_square.df.unwrap_or_default() as f64, 0)
            ),
            chi_square,
            "Parts that wear fail seldom while the record is young: that alone looks like faster \
             for about two lives.",
        ),
    ]
}

/// What was tried to set apart, what was, and what came nearest to it.
fn apart(subject: &Subject, tried: &Tried) -> Vec<TestRow> {
    let question = "Does a place or batch differ from the rest?".to_owned();
    if tried.count() == 0 {
        return Vec::new();
    }
    let kinds = [
        (tried.machines, "machine", "machines"),
        (tried.positions, "position", "positions"),
        (tried.slots, "slot", "slots"),
        (tried.batches, "batch", "batches"),
    ];
    let named: Vec<String> = kinds
        .into_iter()
        .filter(|(n, ..)| *n > 0)
        .map(|(n, one, many)| count(n, one, many))
        .collect();
    let test = format!("Likelihood ratio; tried {}", list(&named));
    let set: Vec<TestRow> = subject
        .groups
        .iter()
        .filter_map(|group| {
            let (p, ratio) = group.apart?;
            Some(TestRow {
                question: question.clone(),
                test: test.clone(),
                statistic: lasts(ratio),
                p: p_figure(p),
                says: format!("{} is set apart.", capital(&group.scope.words())),
            })
        })
        .collect();
    let nothing = set.is_empty();
    let nearest = match &tried.closest {
        Some((scope, found)) => TestRow {
            question,
            test,
            statistic: lasts(found.life_ratio),
            p: p_figure(found.p_adjusted),
            says: format!(
                "{}; nearest to it {}.",
                match nothing {
                    true => "Nothing is set apart",
                    false => "Nothing more is set apart",
                },
                name(scope)
            ),
        },
        None if nothing => TestRow {
            question,
            test,
            says: "Too few failures to compare.".to_owned(),
            ..TestRow::default()
        },
        None => return set,
    };
    set.into_iter().chain([nearest]).collect()
}

fn name(scope: &Scope) -> String {
    scope.name().unwrap_or_default()
}

fn lasts(ratio: f64) -> String {
    if !(ratio.is_finite() && ratio > 0.0) {
        return String::new();
    }
    format!("life × {}", significant(ratio, 2))
}

/// How far what is left differs a little, and what follows.
fn alike(found: &Found) -> TestRow {
    let what = match found.machines {
        true => "machines",
        false => "positions",
    };
    TestRow {
        question: format!("Do the {what} of the pool differ somewhat?"),
        test: format!("Partial pooling of {} {what}", found.groups),
        statistic: format!("spread {} %", number(100.0 * found.spread.exp_m1(), 0)),
        p: String::new(),
        says: format!(
            "With probability {} they do not: {}.",
            number(found.no_difference, 2),
            match found.no_difference >= crate::policy::siblings::ALIKE {
                true => "one answer serves all",
                false => "each has an answer of its own, drawn towards the others",
            }
        ),
    }
}

/// A p-value in a table.
fn p_figure(p: f64) -> String {
    match p {
        p if p < 0.001 => format!("under {}", number(0.001, 3)),
        p if p < 0.1 => number(p, 3),
        p => number(p.min(1.0), 2),
    }
}

/// A p-value in a sentence, behind "p".
pub(super) fn p_words(p: f64) -> String {
    if p < 0.001 {
        format!("below {}", number(0.001, 3))
    } else {
        format!("= {}", number(p, 3))
    }
}
