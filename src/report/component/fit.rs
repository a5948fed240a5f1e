//! What was fitted: figures with limits, how the hazard runs, which other models were tried.
//!
//! In: a group and its fit. Out: table rows and sentences. Never: decisions.

use super::model::{ModeRow, ModelRow};
use crate::chart::{number, significant};
use crate::model::Target;
use crate::model::limits::Limits;
use crate::model::models::{BETTER_BY, Model, SideBySide, side_by_side};
use crate::policy::modes::ModeRole;
use crate::report::figures::{Fitted, PER};
use crate::report::model::{FitFigure, Limited};
use crate::report::say;
use crate::report::subject::Group;
use crate::report::words::{capital, three_digits, usage};

/// Lives that models are compared on; of more, so many, taken evenly: they tell models apart
/// as well, and in a moment.
const COMPARED: usize = 2_000;

/// Fitted figures of a group.
pub(super) fn figures(fit: &Fitted, unit: &str, confidence: f64) -> Vec<FitFigure> {
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
        row(
            format!("Mean life ({unit})"),
            Target::Mean,
            "the average when each is left to fail",
        ),
    ]
}

/// A value with limits, three digits each.
pub(super) fn limited(value: f64, limits: &Limits) -> Limited {
    let side = |side: Option<f64>| side.map_or("open".to_owned(), three_digits);
    Limited {
        value: three_digits(value),
        lower: side(limits.lower),
        upper: side(limits.upper),
    }
}

/// Two ages at which the hazard is told in words: a quarter and three quarters of the longest
/// life, to one digit.
fn ages(longest: f64) -> Option<(f64, f64)> {
    let round = |value: f64| {
        let step = 10f64.powf(value.log10().floor());
        // To halves of the first digit, so that two ages never fall together.
        (2.0 * value / step).round() * step / 2.0
    };
    let (early, late) = (round(0.25 * longest), round(0.75 * longest));
    (early > 0.0 && late > early).then_some((early, late))
}

/// How the hazard runs with age, in a sentence or two.
pub(super) fn hazard_words(group: &Group, fit: &Fitted, unit: &str, confidence: f64) -> String {
    let lives = group.sample.lives();
    let longest = lives.iter().map(|l| l.last_usage()).fold(0.0, f64::max);
    let shape = fit.posterior.limits(Target::Shape, confidence);
    let way = match (shape.lower, shape.upper) {
        (Some(lower), _) if lower > 1.0 => "The hazard rises with age",
        (_, Some(upper)) if upper < 1.0 => "The hazard falls with age",
        _ => "Whether the hazard rises or falls with age the record does not tell",
    };
    let Some((early, late)) = ages(longest) else {
        return format!("{way}.");
    };
    let per = format!(" failures per {} {unit}", number(1_000.0, 0));
    let at = |age: f64, per: &str| {
        let target = Target::Hazard(age);
        let limits = fit.posterior.limits(target, confidence);
        let side = |side: Option<f64>| side.map_or("open".to_owned(), |h| significant(PER * h, 2));
        format!(
            "{}{per} ({} to {}) at {}",
            significant(PER * target.of(&fit.life), 2),
            side(limits.lower),
            side(limits.upper),
            usage(age, unit)
        )
    };
    // The ratio of two hazards is one of ages to the power of the shape less 1.
    let ratio = |shape: f64| (late / early).powf(shape - 1.0);
    let more = match (shape.lower, shape.upper) {
        (Some(lower), Some(upper)) => format!(
            ", {} times as often (limits {} to {})",
            significant(ratio(fit.life.shape), 2),
            significant(ratio(lower), 2),
            significant(ratio(upper), 2)
        ),
        _ => String::new(),
    };
    format!("{way}: {}, {}{more}.", at(early, &per), at(late, ""))
}

/// The models fitted to a group's lives, and which of them describes them best.
pub(super) fn models(group: &Group) -> (Vec<ModelRow>, String) {
    let sample = &group.sample;
    if sample.failures() < 2 {
        return (Vec::new(), String::new());
    }
    let part = (sample.lives().len() > COMPARED).then(|| say::every(sample, COMPARED));
    let found = side_by_side(part.as_ref().unwrap_or(sample));
    let criterion = |model: Model| {
        let fit = found.fits.iter().find(|(m, _)| *m == model)?.1.as_ref();
        fit.ok()?.aicc()
    };
    let least = Model::ALL
        .into_iter()
        .filter_map(criterion)
        .fold(f64::INFINITY, f64::min);
    let rows = found
        .fits
        .iter()
        .map(|(model, fit)| ModelRow {
            name: name(*model).to_owned(),
            parameters: match model {
                Model::Exponential => 1,
                Model::Weibull | Model::Lognormal => 2,
                Model::Weibull3 => 3,
            },
            behind: match (fit, criterion(*model)) {
                (Err(_), _) => "no estimate".to_owned(),
                (Ok(_), None) => "too few lives".to_owned(),
                (Ok(_), Some(aicc)) => number(aicc - least, 1),
            },
            b10: fit
                .as_ref()
                .map(|fit| three_digits(fit.distribution.life_at(0.1)))
                .unwrap_or_default(),
            used: *model == Model::Weibull,
        })
        .collect();
    let mut words = best(&found, sample.failures());
    if part.is_some() {
        words.push_str(&format!(
            " Compared on {} of the lives, taken evenly.",
            number(COMPARED as f64, 0)
        ));
    }
    (rows, words)
}

/// Failures from which another model's lead is worth more than a word.
const TELLING: u64 = 8;

fn best(found: &SideBySide, failures: u64) -> String {
    if found.chosen == Model::Weibull || found.ahead_by <= 0.0 {
        return format!(
            "The report goes by the Weibull with two parameters; no other model is better by more \
             than {BETTER_BY} in AICc."
        );
    }
    let ahead = number(found.ahead_by, 1);
    let better = capital(name(found.chosen));
    if failures < TELLING {
        format!(
            "The report goes by the Weibull with two parameters. {better} is ahead by {ahead} in \
             AICc, but with fewer than {TELLING} failures that counts parameters more than it \
             looks at lives."
        )
    } else {
        format!(
            "{better} describes these lives better, by {ahead} in AICc. The report still goes by \
             the Weibull, as all its limits do; compare the two B10."
        )
    }
}

fn name(model: Model) -> &'static str {
    match model {
        Model::Weibull => "Weibull",
        Model::Weibull3 => "Weibull with a failure-free start",
        Model::Exponential => "exponential (no wear)",
        Model::Lognormal => "lognormal",
    }
}

/// The failure modes of a group; none where all failures are of one.
pub(super) fn modes(group: &Group) -> Vec<ModeRow> {
    if group.modes.len() < 2 {
        return Vec::new();
    }
    let rate = |rate: f64| significant(PER * rate, 2);
    let row = |role: &ModeRole| ModeRow {
        mode: role.mode.clone().unwrap_or_else(|| "not stated".to_owned()),
        failures: role.failures,
        shape: role
            .life
            .map(|life| limited(life.shape, &role.shape_limits)),
        run_to_failure: role.rates.map(|rates| rate(rates.1)),
        renewed: role.rates.map(|rates| rate(rates.0)),
        says: match (role.drives, role.beyond_renewal(), role.life) {
            (true, ..) => "drives the interval",
            (_, true, _) => "renewing early does nothing for it",
            (_, _, None) => "too few to fit alone",
            _ => "",
        }
        .to_owned(),
    };
    group.modes.iter().map(row).collect()
}
