//! From lives and decisions to the numbers of the charts.
//!
//! In: a [`Subject`] and its groups. Out: chart structs with an empty id.
//! Never: drawing, words beyond titles and axes.

use super::subject::{Group, Scope, Stay, Subject};
use crate::chart::{
    CostCurve, CostPoint, Ending, EstimateStep, IntervalMark, Lane, LaneBar, LifeLimits,
    ProbabilityPlot, SlotHistory, StepEstimate,
};
use crate::life::{End, Sample};
use crate::model::nonparametric::{LimitsScale, has_windows, product_limit, turnbull};
use crate::model::posterior::{Posterior, ShapePrior};
use crate::model::ranks::plot_points;
use crate::model::{Target, Weibull, fit_weibull};
use crate::policy::decide::DecisionMaker;

/// Costs are shown per this much usage.
pub(super) const PER: f64 = 1_000.0;
/// Points along a cost curve.
const CURVE: usize = 64;
/// Levels along a fitted line's limits.
const BAND: usize = 18;

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

/// A chart's title. Where many slots are set apart their names would push its last words out.
fn title(subject: &Subject, group: &Group, what: &str) -> String {
    const LONGEST: usize = 84;
    let full = format!("{}, {}: {what}", subject.name, group.scope.words());
    match group.scope {
        Scope::Pool(_) if full.chars().count() > LONGEST => {
            format!("{}, all that is not set apart: {what}", subject.name)
        }
        _ => full,
    }
}

/// Limits in words: "90 % limits".
pub(super) fn limits_in_words(confidence: f64) -> String {
    format!("{} % limits", crate::chart::number(confidence * 100.0, 0))
}

/// The probability plot of a group.
pub(super) fn probability(
    subject: &Subject,
    group: &Group,
    fit: Option<&Fitted>,
    confidence: f64,
) -> ProbabilityPlot {
    // A chart refuses the ends of the scale, which a median rank of many lives can reach.
    let inside = |share: f64| share.clamp(1e-9, 1.0 - 1e-9);
    let mut plot = ProbabilityPlot {
        title: title(subject, group, "how lives spread"),
        usage_label: format!("{} ({})", subject.usage, subject.unit),
        usage_unit: subject.unit.clone(),
        band_name: limits_in_words(confidence),
        estimate: estimate(&group.sample, confidence),
        ..ProbabilityPlot::default()
    };
    for point in plot_points(&group.sample) {
        match point.window_from {
            Some(lo) => plot.intervals.push(IntervalMark {
                lo,
                hi: point.usage,
                position: inside(point.share),
            }),
            None => plot.failures.push((point.usage, inside(point.share))),
        }
    }
    for life in group.sample.lives() {
        if let End::Suspension { at } = life.end {
            plot.suspensions
                .extend(std::iter::repeat_n(at, life.count as usize));
        }
    }
    if let Some(Fitted { life, posterior }) = fit {
        for share in levels() {
            let usage = life.life_at(share);
            if usage.is_finite() && usage > 0.0 {
                plot.line.push((usage, share));
            }
            let limits = posterior.limits(Target::LifeAt(share), confidence);
            if let (Some(lower), Some(upper)) = (limits.lower, limits.upper) {
                plot.band.push(LifeLimits {
                    fraction: share,
                    lower,
                    upper,
                });
            }
        }
        plot.b10 = Some(life.life_at(0.1));
    }
    plot
}

/// What the lives say without the fit; none without a failure.
///
/// Where all that were watched had failed before others came under watch, the estimate says
/// nothing from there on and ends.
fn estimate(sample: &Sample, confidence: f64) -> Option<StepEstimate> {
    let (name, steps, emptied, until) = if has_windows(sample) {
        let found = turnbull(sample).ok()?;
        let steps = found.steps.iter().map(|step| EstimateStep {
            from: (step.from < step.to).then_some(step.from),
            usage: step.to,
            failed: (1.0 - step.estimate).clamp(0.0, 1.0),
            limits: None,
        });
        let name = "estimate from windows (Turnbull)";
        (
            name,
            steps.collect::<Vec<_>>(),
            found.emptied,
            found.watch.until,
        )
    } else {
        let found = product_limit(sample, confidence, LimitsScale::LogLog).ok()?;
        let steps = found.steps.iter().map(|step| EstimateStep {
            from: None,
            usage: step.time,
            failed: 1.0 - step.estimate,
            limits: step
                .lower
                .zip(step.upper)
                .map(|(lower, upper)| (1.0 - upper, 1.0 - lower)),
        });
        let name = "product-limit estimate";
        (name, steps.collect(), found.emptied, found.watch.until)
    };
    let until = emptied.unwrap_or(until);
    let steps: Vec<EstimateStep> = steps
        .into_iter()
        .filter(|step| emptied.is_none_or(|end| step.usage < end))
        .collect();
    (!steps.is_empty()).then(|| StepEstimate {
        name: name.to_owned(),
        limits_name: format!("its {}", limits_in_words(confidence)),
        steps,
        until,
    })
}

/// Shares failed, even on probability paper from 0.01 to 99.9 %, with a tenth among them.
fn levels() -> Vec<f64> {
    let (from, to) = (-9.2f64, 1.93f64);
    let mut levels: Vec<f64> = (0..BAND)
        .map(|i| from + (to - from) * i as f64 / (BAND - 1) as f64)
        .map(|y| -(-y.exp()).exp_m1())
        .collect();
    levels.push(0.1);
    levels.sort_by(f64::total_cmp);
    levels
}

/// The cost curve of a group; none without a decision.
pub(super) fn cost(
    subject: &Subject,
    group: &Group,
    currency: &str,
    confidence: f64,
) -> Option<CostCurve> {
    let decision = group.recommendation.decision.as_ref()?;
    let posterior = match &group.leaning {
        Some(leaning) => leaning.posterior.clone(),
        None => Posterior::new(&group.sample, group.terms.prior).ok()?,
    };
    let maker = DecisionMaker::new(&posterior, group.costs);
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

/// The slot history of a component.
pub(super) fn history(subject: &Subject, as_of: chrono::NaiveDate) -> SlotHistory {
    SlotHistory {
        id: String::new(),
        title: format!("{}: items in their slots", subject.name),
        lanes: subject
            .slots
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
