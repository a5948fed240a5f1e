//! The estimate without a model on probability paper: steps in pencil behind the fitted line.
//!
//! In: a [`StepEstimate`] and the paper's [`Frame`]. Out: lines on the canvas. Never: a step where
//! only a window is known: there the rise is dotted from one end of the window to the other.

use super::ChartError;
use super::axis::finite;
use super::canvas::{Canvas, Dash, clip_line};
use super::forwards;
use super::palette::PENCIL;
use super::paper::Frame;
use super::place::Placer;

/// One step of an estimate without a model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EstimateStep {
    /// Start of the window somewhere in which it rises; `None` where it rises at `usage`.
    pub from: Option<f64>,
    /// Usage > 0 by which it has risen.
    pub usage: f64,
    /// Share failed just after, in (0, 1]; never falling from step to step.
    pub failed: f64,
    /// Limits of that share, in [0, 1].
    pub limits: Option<(f64, f64)>,
}

/// An estimate without a model, drawn in steps behind the fitted line.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StepEstimate {
    /// What it is, for the key, e.g. "product-limit estimate".
    pub name: String,
    /// What its limits are, for the key, e.g. "its 90 % limits".
    pub limits_name: String,
    /// In order of usage.
    pub steps: Vec<EstimateStep>,
    /// Usage up to which the last level stands: as far as items were watched.
    pub until: f64,
}

/// Fails for usages that are not finite and positive, shares outside 0 to 1, and steps that run
/// backwards.
pub(super) fn check(estimate: &StepEstimate) -> Result<(), ChartError> {
    let share = |value: f64| {
        if (0.0..=1.0).contains(&value) {
            Ok(())
        } else {
            Err(ChartError::Share {
                value: value.to_string(),
            })
        }
    };
    let (mut usage, mut failed) = (0.0, 0.0);
    for step in &estimate.steps {
        finite("usage", step.usage)?;
        if step.usage <= 0.0 {
            return Err(ChartError::Axis {
                axis: "usage",
                value: step.usage.to_string(),
            });
        }
        share(step.failed)?;
        forwards("the estimate", usage, step.usage)?;
        forwards("the estimate", failed, step.failed)?;
        if let Some(from) = step.from {
            finite("usage", from)?;
            forwards("a window of the estimate", 0.0, from)?;
            forwards("a window of the estimate", from, step.usage)?;
        }
        if let Some((lower, upper)) = step.limits {
            share(lower)?;
            share(upper)?;
            forwards("the limits of the estimate", lower, upper)?;
        }
        (usage, failed) = (step.usage, step.failed);
    }
    finite("usage", estimate.until)?;
    Ok(())
}

/// Draws the limits, then the steps.
pub(super) fn draw(
    c: &mut Canvas,
    estimate: &StepEstimate,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    let area = frame.upper();
    // Shares of 0 and 1 lie beyond any paper; the rest is cut off at its edge.
    let up = |share: f64| frame.up(share.clamp(1e-9, 1.0 - 1e-12)).min(area.y1);
    let across = |usage: f64| frame.across(usage).max(area.x0);
    let steps = &estimate.steps;
    // The end of the level that a step rises to: where the next begins to rise.
    let end = |place: usize| match steps.get(place + 1) {
        Some(next) => across(next.from.unwrap_or(next.usage)),
        None => across(estimate.until),
    };
    for side in [0, 1] {
        let mut line: Vec<(f64, f64)> = Vec::new();
        for (place, step) in steps.iter().enumerate() {
            if let Some((lower, upper)) = step.limits {
                let y = up(if side == 0 { lower } else { upper });
                line.push((across(step.usage), y));
                line.push((end(place), y));
            }
        }
        for piece in clip_line(&line, &area) {
            c.path(&piece, PENCIL, 0.9, Dash::Dotted)?;
            placer.avoid_line(&piece, 2.0);
        }
    }
    let mut before = area.y1;
    let mut level: Vec<(f64, f64)> = Vec::new();
    for (
        place,
        EstimateStep {
            from,
            usage,
            failed,
            ..
        },
    ) in steps.iter().enumerate()
    {
        let (x, y) = (across(*usage), up(*failed));
        match from {
            Some(from) => {
                solid(c, &mut level, frame, placer)?;
                for piece in clip_line(&[(across(*from), before), (x, y)], &area) {
                    c.path(&piece, PENCIL, 1.3, Dash::Dotted)?;
                    placer.avoid_line(&piece, 2.0);
                }
            }
            None => level.push((x, before)),
        }
        level.push((x, y));
        level.push((end(place).max(x), y));
        before = y;
    }
    solid(c, &mut level, frame, placer)
}

/// Draws the levels gathered so far and the rises between them.
fn solid(
    c: &mut Canvas,
    level: &mut Vec<(f64, f64)>,
    frame: &Frame,
    placer: &mut Placer,
) -> Result<(), ChartError> {
    for piece in clip_line(&std::mem::take(level), &frame.upper()) {
        c.path(&piece, PENCIL, 1.3, Dash::Solid)?;
        placer.avoid_line(&piece, 2.0);
    }
    Ok(())
}

/// What a reader who does not see the picture is told.
pub(super) fn in_words(estimate: &StepEstimate) -> Option<String> {
    let last = estimate.steps.last()?;
    let share = super::number(100.0 * last.failed, 0);
    Some(format!(
        " The {} stands in steps behind; at its end {share} % have failed.",
        estimate.name
    ))
}
