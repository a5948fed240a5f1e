//! From lives and decisions to the numbers of the charts.
//!
//! In: a [`Subject`] and its groups. Out: chart structs with an empty id.
//! Never: drawing, words beyond titles and axes.

use super::probability::{self, Behind, PlotWords, limits_in_words};
use super::subject::{Group, Scope, Slot, Stay, Subject};
use super::words::{capital, usage};
use crate::chart::{
    CostCurve, CostPoint, Ending, HazardCurve, HazardPoint, Lane, LaneBar, ProbabilityPlot,
    SlotHistory,
};
use crate::life::Life;
use crate::model::distribution::Distribution;
use crate::model::posterior::{Posterior, ShapePrior};
use crate::model::{Target, Weibull, fit_weibull};
use crate::policy::decide::DecisionMaker;

/// Costs are shown per this much usage.
pub(super) const PER: f64 = 1_000.0;
/// Points along a cost curve.
const CURVE: usize = 64;

/// The estimate and, where the data allow, the posterior behind the limits of a fit.
pub(super) struct Fitted {
    pub(super) life: Weibull,
    pub(super) posterior: Posterior,
}

/// The fit of a group: the maximum-likelihood estimate with posterior limits. None where either
/// cannot be had, which a group with fewer than two failures always is.
pub(super) fn fitted(group: &Group) -> Option<Fitted> {
    let posterior = Posterior::new(&group.sample, ShapePrior::Flat).ok()?;
    let fit = fit_weibull(&group.sample).ok()?;
    Some(Fitted {
        life: fit.weibull,
        posterior,
    })
}

/// Letters of a title over a whole page's width, and over half of it.
const LONGEST: usize = 84;
const LONGEST_HALF: usize = 56;

/// A chart's title over half a page's width: without the component, where that is too long.
fn half_title(subject: &Subject, group: &Group, what: &str) -> String {
    let full = title(subject, group, what);
    if full.chars().count() <= LONGEST_HALF {
        return full;
    }
    let short = format!("{}: {}", capital(what), group.scope.words());
    match group.scope {
        Scope::Pool(_) if short.chars().count() > LONGEST_HALF => {
            format!("{}: all that is not set apart", capital(what))
        }
        _ => short,
    }
}

/// A chart's title. Where many slots are set apart their names would push its last words out.
fn title(subject: &Subject, group: &Group, what: &str) -> String {
    let full = format!("{}, {}: {what}", subject.name, group.scope.words());
    match group.scope {
        Scope::Pool(_) if full.chars().count() > LONGEST => {
            format!("{}, all that is not set apart: {what}", subject.name)
        }
        _ => full,
    }
}

/// The probability plot of a group.
pub(super) fn probability(
    subject: &Subject,
    group: &Group,
    fit: Option<&Fitted>,
    confidence: f64,
) -> ProbabilityPlot {
    let words = PlotWords {
        title: match fit {
            // A hazard curve stands beside it.
            Some(_) => half_title(subject, group, "how lives spread"),
            None => title(subject, group, "how lives spread"),
        },
        usage_label: format!("{} ({})", subject.usage, subject.unit),
        usage_unit: subject.unit.clone(),
        line_name: String::new(),
    };
    let limits = fit.map_or_else(Vec::new, |fit| {
        let limits = |share| fit.posterior.limits(Target::LifeAt(share), confidence);
        let at = |share| (share, limits(share));
        probability::shares().into_iter().map(at).collect()
    });
    let life = fit.map(|fit| Distribution::Weibull(fit.life));
    probability::probability(
        &group.sample,
        life.as_ref(),
        &limits,
        confidence,
        Behind::default(),
        probability::MARKS,
        words,
    )
}

/// Ages along a hazard curve.
const AGES: usize = 48;

/// How likely a failure is at each age, up to the longest life; none without a fit.
pub(super) fn hazard(
    subject: &Subject,
    group: &Group,
    fit: &Fitted,
    confidence: f64,
) -> Option<HazardCurve> {
    let lives = group.sample.lives();
    let longest = lives.iter().map(Life::last_usage).fold(0.0, f64::max);
    let points: Vec<HazardPoint> = (1..=AGES)
        .filter_map(|n| {
            let usage = longest * n as f64 / AGES as f64;
            let target = Target::Hazard(usage);
            let limits = fit.posterior.limits(target, confidence);
            Some(HazardPoint {
                usage,
                value: PER * target.of(&fit.life),
                lower: PER * limits.lower?,
                upper: PER * limits.upper?,
            })
        })
        .collect();
    if points.len() < 2 {
        return None;
    }
    let (mut failures, mut suspensions) = (Vec::new(), Vec::new());
    for life in lives {
        let ages = match life.failed() {
            true => &mut failures,
            false => &mut suspensions,
        };
        ages.extend(std::iter::repeat_n(life.last_usage(), life.count as usize));
    }
    let whole = (failures.len(), suspensions.len());
    let failures = probability::thin(failures, RUG);
    let suspensions = probability::thin(suspensions, RUG);
    let drawn = (failures.len(), suspensions.len());
    Some(HazardCurve {
        id: String::new(),
        title: half_title(subject, group, "failure rate against age"),
        x_title: format!("Age in {} ({})", subject.usage.to_lowercase(), subject.unit),
        y_title: format!(
            "Failures per {} {}",
            crate::chart::number(PER, 0),
            subject.unit
        ),
        limits_name: limits_in_words(confidence),
        points,
        failures,
        suspensions,
        interval: group
            .recommendation
            .interval
            .filter(|at| *at <= longest && !matches!(group.scope, Scope::Batch(_)))
            .map(|at| (at, format!("recommended {}", usage(at, &subject.unit)))),
        all: (whole != drawn).then_some(whole),
    })
}

/// Marks in each strip of a hazard curve.
const RUG: usize = 120;

/// The cost curve of a group; none without a decision.
pub(super) fn cost(
    subject: &Subject,
    group: &Group,
    currency: &str,
    confidence: f64,
) -> Option<CostCurve> {
    let decision = group.recommendation.decision.as_ref()?;
    let posterior = group.posterior()?;
    let maker = DecisionMaker::new(posterior, group.costs);
    let median = posterior.quantile(Target::LifeAt(0.5), 0.5)?;
    let near = [group.recommendation.optimum, subject.present]
        .into_iter()
        .flatten()
        .filter(|usage| *usage < 3.0 * median);
    let end = near.map(|u| u * 1.6).fold(1.8 * median, f64::max);
    let usages: Vec<f64> = (1..=CURVE)
        .map(|i| end * (i as f64 / CURVE as f64).powf(1.3))
        .collect();
    let points: Vec<CostPoint> = maker
        .curve(&usages, confidence)
        .into_iter()
        .map(|p| CostPoint {
            usage: p.usage,
            expected: p.cost * PER,
            lower: p.lower * PER,
            upper: p.upper * PER,
        })
        .collect();
    let per = format!(
        "{currency} per {} {}",
        crate::chart::number(PER, 0),
        subject.unit
    );
    Some(CostCurve {
        id: String::new(),
        title: title(subject, group, "cost against interval"),
        usage_label: format!("Interval to renew ({})", subject.unit),
        usage_unit: subject.unit.clone(),
        cost_label: format!("Expected cost ({per})"),
        cost_unit: per,
        points,
        band_name: limits_in_words(confidence),
        least: group
            .recommendation
            .optimum
            .map(|usage| (usage, decision.ln_cost.exp() * PER)),
        recommended: group.recommendation.interval,
        near_optimal: decision.near.map(|(from, to)| (from, to.unwrap_or(end))),
        near_optimal_name: "within 5 % of the least".to_owned(),
        ceiling: subject.ceiling.as_ref().map(|c| c.0),
        present: subject.present,
        run_to_failure: Some(decision.ln_cost_run_to_failure.exp() * PER),
    })
}

/// The history of some of a component's slots.
pub(super) fn history(subject: &Subject, slots: &[&Slot], as_of: chrono::NaiveDate) -> SlotHistory {
    SlotHistory {
        id: String::new(),
        title: format!("{}: items in their slots", subject.name),
        lanes: slots
            .iter()
            .map(|slot| Lane {
                label: format!("{} {}", slot.machine, slot.position),
                bars: slot.stays.iter().map(|stay| bar(stay, as_of)).collect(),
            })
            .collect(),
    }
}

fn bar(stay: &Stay, as_of: chrono::NaiveDate) -> LaneBar {
    let end = stay.end.unwrap_or(as_of);
    LaneBar {
        start: stay.start.min(end),
        end,
        ending: ending(stay),
        age_unknown: stay.age_unknown,
    }
}

fn ending(stay: &Stay) -> Ending {
    let found_at_inspection = stay.found.as_deref() == Some("inspection");
    match (stay.end, stay.reason.as_deref()) {
        (None, _) => Ending::StillIn,
        (_, Some("failed" | "worn")) if found_at_inspection => Ending::FoundAtInspection,
        (_, Some("failed" | "worn")) => Ending::FailedRunning,
        (_, Some("planned")) => Ending::Planned,
        (_, Some("opportunity")) => Ending::Opportunity,
        _ => Ending::OtherRemoval,
    }
}
