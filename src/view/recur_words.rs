//! What events of repairable units come to, in sentences.
//!
//! In: an [`Analysis`] of [`Units`]. Out: the verdict, and notes on what the events leave open.
//! Never: statistics; layout.

use super::recur::McfLimits;
use crate::quantity::{counted, thousands};
use crate::recurrence::power_law::LimitsKind;
use crate::recurrence::{Analysis, Step, Units, Verdict};

/// Fewest units for which normal limits hold nearly what they promise.
const ENOUGH_UNITS: usize = 20;

/// The verdict as a sentence with its evidence, and in a few words.
pub(super) fn verdict(found: &Analysis) -> (String, &'static str) {
    let (words, short) = match found.trend.verdict() {
        Verdict::NoEvents => ("no event tells of a trend", "no event tells"),
        Verdict::TooFew => (
            "too few events to tell of a trend",
            "too few events to tell",
        ),
        Verdict::Faster => ("events come faster with usage", "faster with usage"),
        Verdict::Slower => ("events come slower with usage", "slower with usage"),
        Verdict::PerhapsFaster => (
            "events perhaps come faster with usage: one test of two says so",
            "perhaps faster",
        ),
        Verdict::PerhapsSlower => (
            "events perhaps come slower with usage: one test of two says so",
            "perhaps slower",
        ),
        Verdict::Uneven => (
            "events come neither evenly nor drifting one way: the tests disagree",
            "uneven: tests disagree",
        ),
        Verdict::None => ("no trend seen", "none seen"),
    };
    let sentence = match found.trend.tests {
        Some((laplace, chi_square)) => format!(
            "{words} (Laplace p {}, chi-square p {})",
            p_value(laplace.p()),
            p_value(chi_square.p())
        ),
        None => words.into(),
    };
    (sentence, short)
}

pub(super) fn p_value(p: f64) -> String {
    match p {
        p if p < 0.001 => "< 0.001".into(),
        p if p < 0.1 => format!("{p:.3}"),
        p => format!("{p:.2}"),
    }
}

/// What the curve's limits leave open.
pub(super) fn mcf_notes(units: usize, steps: &[Step], kind: McfLimits) -> Vec<String> {
    let mut notes = Vec::new();
    let known = |step: &&Step| step.variance.is_some();
    let fewest = steps.iter().filter(known).map(|s| s.least_at_risk).min();
    match steps.iter().find(|s| s.variance.is_none()) {
        Some(_) if units == 1 => notes.push(
            "one unit alone shows no spread between units: the mean curve has no limits".into(),
        ),
        Some(first) => notes.push(format!(
            "at {} the mean curve rests on one unit alone, which shows no spread between units: \
             no limits from there on",
            thousands(first.time, 0)
        )),
        None => {}
    }
    if steps
        .iter()
        .filter(known)
        .any(|s| s.standard_error().is_none())
    {
        notes.push(
            "where all units have had as many events each, the mean curve has no limits".into(),
        );
    }
    if let Some(fewest) = fewest.filter(|n| *n < ENOUGH_UNITS && kind == McfLimits::Normal) {
        notes.push(format!(
            "limits of the mean curve rest on {} somewhere: normal limits are too narrow then \
             (90 % ones hold the truth in 69 % of cases with 3 units, 79 % with 5, 85 % with \
             10, by simulation); --limits student widens them",
            counted(fewest as u64, "unit", "units")
        ));
    }
    notes
}

/// What the events leave open.
pub(super) fn event_notes(units: &Units, found: &Analysis) -> Vec<String> {
    let mut notes = Vec::new();
    if (1..crate::recurrence::trend::FEW).contains(&found.trend.events) {
        notes.push("fewer than four events: the trend tests tell little".into());
    }
    if units.ties() > 0 {
        notes.push(
            "some events came at the same usage as another of their unit: the trend tests take \
             them as independent, so that p is too small where one cause brought several"
                .into(),
        );
    }
    match &found.power_law {
        Err(reason) if units.events() > 0 => notes.push(format!("no power law: {reason}")),
        Err(_) => {}
        Ok(law) if law.shape_limits(0.9).kind == LimitsKind::Approximate => notes.push(
            "limits of shape and intensity are approximate: exact ones need units watched over \
             one window from 0"
                .into(),
        ),
        Ok(_) => {}
    }
    if let Some((_, Some(p))) = found.fit_test.filter(|(_, p)| p.is_some_and(|p| p < 0.05)) {
        notes.push(format!(
            "a power law does not fit these events (Cramér-von Mises p {})",
            p_value(p)
        ));
    }
    notes
}
