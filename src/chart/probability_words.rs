//! The words of a probability plot: its key, what it says to a screen reader, a figure with its unit.
//!
//! In: a [`ProbabilityPlot`]. Out: text. Never: drawing.

use super::estimate;
use super::marks::Sample;
use super::paper::counts;
use super::probability::ProbabilityPlot;
use super::text::significant;

pub(super) fn b10_words(data: &ProbabilityPlot, b10: f64) -> String {
    let words = format!("B10 {}", with_unit(b10, data));
    // The band row nearest to a tenth gives the limits, if there is one that near.
    match data.band.iter().find(|r| (r.fraction - 0.1).abs() < 1e-6) {
        Some(row) => format!(
            "{words} ({} to {})",
            significant(row.lower, 3),
            significant(row.upper, 3)
        ),
        None => words,
    }
}

fn line_name(data: &ProbabilityPlot) -> &str {
    match data.line_name.as_str() {
        "" => "fitted Weibull",
        name => name,
    }
}

/// A usage with its unit, if it has one.
pub(super) fn with_unit(usage: f64, data: &ProbabilityPlot) -> String {
    let words = format!("{} {}", significant(usage, 3), data.usage_unit);
    words.trim_end().to_owned()
}

pub(super) fn key_entries(data: &ProbabilityPlot) -> Vec<(Sample, String)> {
    let mut out = Vec::new();
    if !data.failures.is_empty() {
        out.push((Sample::Failure, "failure".to_owned()));
    }
    if !data.intervals.is_empty() {
        out.push((Sample::Between, "found at inspection".to_owned()));
    }
    if !data.suspensions.is_empty() {
        out.push((Sample::Suspension, "no failure by then".to_owned()));
    }
    if !data.line.is_empty() {
        out.push((Sample::Fitted, line_name(data).to_owned()));
    }
    if data.band.len() > 1 {
        out.push((Sample::Limits, data.band_name.clone()));
    }
    if let Some(estimate) = data.estimate.as_ref().filter(|e| !e.steps.is_empty()) {
        let windows = estimate.steps.iter().any(|s| s.from.is_some());
        let sample = if windows {
            Sample::EstimateInWindows
        } else {
            Sample::Estimate
        };
        out.push((sample, estimate.name.clone()));
        if estimate.steps.iter().any(|s| s.limits.is_some()) {
            out.push((Sample::EstimateLimits, estimate.limits_name.clone()));
        }
    }
    out
}

pub(super) fn description(data: &ProbabilityPlot) -> String {
    let mut out = format!(
        "Weibull probability plot of {}: {}.",
        data.usage_label,
        counts(data)
    );
    let known = data.failures.iter().map(|f| f.0);
    let low = known.clone().fold(f64::INFINITY, f64::min);
    let high = known.fold(0.0, f64::max);
    if low.is_finite() {
        out.push_str(&format!(
            " Failures lie between {} and {}.",
            significant(low, 3),
            with_unit(high, data)
        ));
    }
    if !data.line.is_empty() && !data.line_name.is_empty() {
        out.push_str(&format!(" The line is the {}.", data.line_name));
    }
    if let Some(b10) = data.b10 {
        out.push_str(&format!(
            " By the fitted line a tenth has failed at {}.",
            b10_words(data, b10).trim_start_matches("B10 ")
        ));
    }
    if let Some(words) = data.estimate.as_ref().and_then(estimate::in_words) {
        out.push_str(&words);
    }
    if data.failures.is_empty() && data.intervals.is_empty() {
        out.push_str(" No line is fitted, because nothing has failed.");
    }
    out
}
