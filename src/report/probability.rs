//! From a sample and what was fitted to it to the numbers of a probability plot.
//!
//! In: a [`Sample`], a fitted distribution with limits of life, names. Out: a
//! [`ProbabilityPlot`] with an empty id. Never: fitting, drawing.

use crate::chart::{EstimateStep, IntervalMark, LifeLimits, ProbabilityPlot, StepEstimate};
use crate::life::{End, Sample};
use crate::model::Limits;
use crate::model::distribution::Distribution;
use crate::model::nonparametric::{LimitsScale, has_windows, hazard_sum, product_limit, turnbull};
use crate::model::ranks::thinned_plot_points;

/// Levels along a fitted line's limits.
const BAND: usize = 18;
/// Levels along a fitted line that is not straight on Weibull paper.
const CURVE: usize = 180;
/// A tenth failed, read off the fit, is shown unless it lies this many times outside the lives.
const FAR: f64 = 100.0;

/// Marks of each kind on a plot of a report; of more lives only some are drawn.
pub const MARKS: usize = 250;

/// Lives with windows up to which their estimate without a model is made: it takes a search over
/// all windows.
const WINDOWS: u64 = 4_000;

/// The words on a plot.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PlotWords {
    pub title: String,
    /// Axis words with the unit, e.g. "Running hours (h)".
    pub usage_label: String,
    /// Unit behind a number, e.g. "h"; may be empty.
    pub usage_unit: String,
    /// What the line is; empty for a fitted Weibull.
    pub line_name: String,
}

/// Which estimate without a model stands behind the line. Windows always take Turnbull's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Behind {
    /// Kaplan-Meier.
    #[default]
    ProductLimit,
    /// Nelson-Aalen, as the share failed `1 − e^(−H)`.
    HazardSum,
}

/// Shares failed, even on probability paper from 0.01 to 99.9 %, with a tenth among them: where
/// limits of life are wanted.
pub fn shares() -> Vec<f64> {
    let mut levels = levels(BAND);
    levels.push(0.1);
    levels.sort_by(f64::total_cmp);
    levels
}

fn levels(count: usize) -> Vec<f64> {
    let (from, to) = (-9.2f64, 1.93f64);
    (0..count)
        .map(|i| from + (to - from) * i as f64 / (count - 1) as f64)
        .map(|y| -(-y.exp()).exp_m1())
        .collect()
}

/// The plot of a sample: failures at plotting positions, suspensions, the estimate without a
/// model behind them, and the fitted line with its limits.
///
/// `limits` are limits of the usage by which a share has failed, rising in the share; those
/// without both sides are left out. `confidence` in (0, 1) names them and bounds the estimate.
/// Of more failures, suspensions or steps than `marks` only so many are drawn, the outermost
/// among them; where they stand, all lives tell.
pub fn probability(
    sample: &Sample,
    fit: Option<&Distribution>,
    limits: &[(f64, Limits)],
    confidence: f64,
    behind: Behind,
    marks: usize,
    words: PlotWords,
) -> ProbabilityPlot {
    // A chart refuses the ends of the scale, which a median rank of many lives can reach.
    let inside = |share: f64| share.clamp(1e-9, 1.0 - 1e-9);
    let mut plot = ProbabilityPlot {
        title: words.title,
        usage_label: words.usage_label,
        usage_unit: words.usage_unit,
        line_name: words.line_name,
        band_name: limits_in_words(confidence),
        estimate: estimate(sample, confidence, behind).map(|e| thinned(e, marks)),
        ..ProbabilityPlot::default()
    };
    for point in thinned_plot_points(sample, marks) {
        match point.window_from {
            Some(lo) => plot.intervals.push(IntervalMark {
                lo,
                hi: point.usage,
                position: inside(point.share),
            }),
            None => plot.failures.push((point.usage, inside(point.share))),
        }
    }
    for life in sample.lives() {
        if let End::Suspension { at } = life.end {
            plot.suspensions
                .extend(std::iter::repeat_n(at, life.count as usize));
        }
    }
    let suspensions = plot.suspensions.len();
    plot.suspensions = thin(std::mem::take(&mut plot.suspensions), marks);
    let whole = (
        sample.exact_failures() as usize,
        sample.intervals() as usize,
        suspensions,
    );
    let drawn = (
        plot.failures.len(),
        plot.intervals.len(),
        plot.suspensions.len(),
    );
    plot.all = (whole != drawn).then_some(whole);
    let drawable = |usage: f64| usage.is_finite() && usage > 0.0;
    if let Some(life) = fit {
        let along = match life {
            Distribution::Weibull(_) => shares(),
            _ => levels(CURVE),
        };
        let line = along.into_iter().map(|share| (life.life_at(share), share));
        plot.line = line.filter(|(usage, _)| drawable(*usage)).collect();
        plot.b10 = Some(life.life_at(0.1)).filter(|b10| near(sample, *b10));
    }
    for (share, limits) in limits {
        if let (Some(lower), Some(upper)) = (limits.lower, limits.upper)
            && drawable(lower)
            && drawable(upper)
        {
            plot.band.push(LifeLimits {
                fraction: *share,
                lower,
                upper,
            });
        }
    }
    plot
}

/// So many of the usages, even over their order, the least and the greatest among them.
pub(super) fn thin(mut usages: Vec<f64>, most: usize) -> Vec<f64> {
    if usages.len() > most {
        usages.sort_by(f64::total_cmp);
        usages = evenly(usages.len(), most).map(|n| usages[n]).collect();
    }
    usages
}

/// So many of the places `0..of`, even, with the first and the last.
fn evenly(of: usize, count: usize) -> impl Iterator<Item = usize> {
    (0..count).map(move |n| n * (of - 1) / (count - 1).max(1))
}

/// So many of the steps, the first and the last among them.
fn thinned(mut estimate: StepEstimate, most: usize) -> StepEstimate {
    let count = estimate.steps.len();
    if count > most {
        // Half of them even in number, and the first ones, which paper spreads most.
        let half = most / 2;
        let first = half.min(count);
        let rest = count - first;
        let steps = (0..first).chain(evenly(rest, most - half).map(|n| first + n));
        estimate.steps = steps.map(|n| estimate.steps[n]).collect();
    }
    estimate
}

/// True where a usage can be shown on one axis with the lives.
fn near(sample: &Sample, usage: f64) -> bool {
    let seen = || sample.lives().iter().map(|life| life.last_usage());
    let lowest = seen().filter(|u| *u > 0.0).fold(f64::INFINITY, f64::min);
    let highest = seen().fold(0.0, f64::max);
    (lowest / FAR..=highest * FAR).contains(&usage)
}

/// Limits in words: "90 % limits".
pub(super) fn limits_in_words(confidence: f64) -> String {
    // Rounded where the product with 100 is a hair off, not to whole per cents: 99.5 is not 100.
    let percent = (confidence * 1e8).round() / 1e6;
    format!("{percent} % limits")
}

/// What the lives say without the fit; none without a failure.
///
/// Where all that were watched had failed before others came under watch, the estimate says
/// nothing from there on and ends.
fn estimate(sample: &Sample, confidence: f64, behind: Behind) -> Option<StepEstimate> {
    let (name, steps, emptied, until) = if has_windows(sample) {
        if sample.count() > WINDOWS {
            return None;
        }
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
    } else if behind == Behind::HazardSum {
        let found = hazard_sum(sample, confidence).ok()?;
        // A share failed, from the hazard summed up to it.
        let share = |hazard: f64| -(-hazard).exp_m1();
        let steps = found.steps.iter().map(|step| EstimateStep {
            from: None,
            usage: step.time,
            failed: share(step.estimate),
            limits: step
                .lower
                .zip(step.upper)
                .map(|(lower, upper)| (share(lower), share(upper))),
        });
        let name = "from the hazard sum (Nelson-Aalen)";
        (name, steps.collect(), None, found.watch.until)
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
