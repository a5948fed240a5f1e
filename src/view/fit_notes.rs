//! What a reader must know of a fit before trusting it, in sentences.
//!
//! In: an [`Examined`] fit. Out: notes. Never: statistics.

use super::table::{figure, percent};
use crate::model::distribution::Distribution;
use crate::model::examine::Examined;
use crate::model::group::{GroupFigures, NoLimits};
use crate::model::limits::LimitsKind;
use crate::model::models::{BETTER_BY, Model, SideBySide};
use crate::model::posterior::ShapePrior;

/// The notes of a fit, the gravest first.
pub fn notes_of(examined: &Examined, unit: &str) -> Vec<String> {
    let mut notes = Vec::new();
    match &examined.fit {
        Ok(found) => {
            if let Some(test) = &examined.test {
                notes.extend(test.warning());
            }
            if let Some(bend) = &examined.bend {
                notes.push(bend.sentence());
            }
            limits_notes(examined, found, &mut notes);
            if let Some(test) = examined.r_squared
                && let Some(line) = &found.line
                && line.r_squared < test.critical
            {
                notes.push(format!(
                    "r² is {}, below the {} that one straight sample in ten falls below: these \
                     points do not lie on a line",
                    figure(line.r_squared, 3),
                    figure(test.critical, 3),
                ));
            }
        }
        Err(reason) => notes.push(format!("no fit: {reason}")),
    }
    if let Some(models) = &examined.side_by_side {
        notes.extend(choice_note(examined, models));
    }
    if let Ok(GroupFigures {
        distribution: Some(Distribution::Weibull3 { location, .. }),
        ..
    }) = &examined.fit
    {
        notes.push(if *location == 0.0 {
            "the likelihood falls from location 0 on: these lives ask for no location".into()
        } else {
            let place = format!("{} {unit}", figure(*location, 3));
            format!(
                "a location says that nothing can fail before {}: let wear speak for it, not the \
                 fit alone",
                place.trim_end()
            )
        });
    }
    notes
}

fn limits_notes(examined: &Examined, found: &GroupFigures, notes: &mut Vec<String>) {
    let ask = &examined.ask;
    match found.no_limits {
        Some(NoLimits::Posterior(reason)) => notes.push(format!("no posterior limits: {reason}")),
        Some(NoLimits::NotForThis) => notes.push(format!(
            "{} limits are not made for this model: posterior or wald are",
            found.limits.word()
        )),
        Some(NoLimits::NoCovariance) => notes.push(
            "no Wald limits: the location stands at its bound, or the likelihood is too flat there"
                .into(),
        ),
        None => {}
    }
    if let Some(shape) = found.stated_shape {
        notes.push(format!(
            "shape {} is stated, not fitted: the limits hold as far as it is right",
            figure(shape, 3)
        ));
    }
    if found.distribution.is_none() && found.limits == LimitsKind::ChiSquare {
        notes.push(format!(
            "no failure, so no estimate: each limit is a lower one, one-sided with {} confidence",
            percent(0.5 * (1.0 + ask.confidence))
        ));
    }
    let open = [found.shape, found.scale]
        .iter()
        .any(|f| f.limits.lower.is_none() || f.limits.upper.is_none());
    if found.limits == LimitsKind::LikelihoodRatio && open && found.stated_shape.is_none() {
        notes.push(
            "an empty limit is one that the likelihood never falls to: the data do not bound that \
             side"
                .into(),
        );
    }
    let (posterior, given) = (
        found.limits == LimitsKind::Posterior && found.no_limits.is_none(),
        found.stated_shape.is_none() && found.model != Model::Exponential,
    );
    if let (true, true, ShapePrior::LogNormal { .. }) = (posterior, given, ask.prior) {
        notes.push(format!(
            "limits under a prior for the shape, {}",
            prior_words(ask.prior)
        ));
    } else if posterior && found.model == Model::Weibull3 {
        notes.push(format!(
            "limits under a weak prior for the shape ({}), the location taken as even up to the \
             first failure",
            prior_words(ShapePrior::DECISION)
        ));
    }
}

/// Which model the data prefer, where that is worth a word.
fn choice_note(examined: &Examined, models: &SideBySide) -> Option<String> {
    let name = |model: Model| match model {
        Model::Weibull => "Weibull",
        Model::Weibull3 => "Weibull with a location",
        Model::Exponential => "exponential (no wear-out, no early failure)",
        Model::Lognormal => "lognormal",
    };
    let beaten = models.chosen != Model::Weibull && models.ahead_by > 0.0;
    match (examined.chose, beaten) {
        (true, true) => Some(format!(
            "by AICc the {} is chosen: {} below the Weibull",
            name(models.chosen),
            figure(models.ahead_by, 2)
        )),
        (true, false) if models.chosen == Model::Weibull => Some(format!(
            "the Weibull is kept: no other model is better by more than {BETTER_BY} in AICc"
        )),
        (true, false) => Some(format!(
            "the {} stands in: the Weibull has no estimate here",
            name(models.chosen)
        )),
        (false, true) if models.chosen != examined.ask.model => Some(format!(
            "the {} describes these lives better, by {} in AICc: --model {} shows it",
            name(models.chosen),
            figure(models.ahead_by, 2),
            models.chosen.word()
        )),
        _ => None,
    }
}

/// "0.75 to 5.4".
fn prior_words(prior: ShapePrior) -> String {
    prior.points().map_or_else(String::new, |(low, high)| {
        format!("{} to {}", figure(low, 2), figure(high, 2))
    })
}
