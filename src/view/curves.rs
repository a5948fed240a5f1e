//! Estimates without a model as JSON and CSV. The JSON keys are a contract.
//!
//! In: estimates of the model room, each with what it is an estimate of. Out: text.
//! Never: statistics; tables (see `curves_table`).
//!
//! `estimate` is the share surviving just after `time` (kaplan-meier, turnbull), the cumulative
//! hazard (nelson-aalen) or the share failed by the mode (cumulative-incidence). A turnbull step
//! falls somewhere in `(from, time]`; its `events` are the failures expected there, and it has
//! no `at_risk`, as nobody knows who still ran, and no limits.

use serde::Serialize;

use super::fit::GroupName;
use super::table::{cell, csv_text, usage};
use crate::life::{Sample, counted_lives};
use crate::model::nonparametric::{
    HazardSum, Incidence, ModeIncidence, NonparametricError, ProductLimit, Step, Turnbull, Watch,
};
use crate::quantity::counted;

/// All estimates of one call.
#[derive(Debug, Clone, Serialize)]
pub struct CurvesView {
    pub curves: Vec<CurveView>,
}

/// What kind of estimate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CurveKind {
    KaplanMeier,
    NelsonAalen,
    Turnbull,
    CumulativeIncidence,
}

impl CurveKind {
    fn key(self) -> &'static str {
        match self {
            CurveKind::KaplanMeier => "kaplan-meier",
            CurveKind::NelsonAalen => "nelson-aalen",
            CurveKind::Turnbull => "turnbull",
            CurveKind::CumulativeIncidence => "cumulative-incidence",
        }
    }
}

/// What the lives of an estimate are.
#[derive(Debug, Clone)]
pub struct Basis {
    pub name: GroupName,
    pub lives: u64,
    pub failures: u64,
    pub intervals: u64,
    pub suspensions: u64,
    /// Lives of no use to an estimate.
    pub excluded: u64,
    /// Unit of usage; empty where none is known.
    pub unit: String,
    /// Of the two-sided limits.
    pub confidence: f64,
}

impl Basis {
    pub fn new(
        name: GroupName,
        sample: &Sample,
        excluded: u64,
        unit: &str,
        confidence: f64,
    ) -> Self {
        Basis {
            name,
            lives: sample.count(),
            failures: sample.exact_failures(),
            intervals: sample.intervals(),
            suspensions: sample.suspensions(),
            excluded,
            unit: unit.to_owned(),
            confidence,
        }
    }
}

/// One estimate. `failures` are known exactly, `intervals` only within a window.
#[derive(Debug, Clone, Serialize)]
pub struct CurveView {
    pub component: Option<String>,
    pub position: Option<String>,
    pub machine: Option<String>,
    pub group: Option<String>,
    /// With cumulative incidence null: failures whose mode was not stated.
    pub mode: Option<String>,
    pub kind: CurveKind,
    pub lives: u64,
    pub failures: u64,
    pub intervals: u64,
    pub suspensions: u64,
    pub excluded: u64,
    pub confidence: f64,
    pub steps: Vec<StepView>,
    pub notes: Vec<String>,
    #[serde(skip)]
    pub(super) unit: String,
}

/// One step of an estimate.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct StepView {
    /// Start of the window in which it falls; null where its usage is known.
    pub from: Option<f64>,
    pub time: f64,
    pub at_risk: Option<u64>,
    pub events: Events,
    pub estimate: f64,
    pub standard_error: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Failures at a step: counted, or expected where only windows are known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Events {
    Counted(u64),
    Expected(f64),
}

impl Events {
    /// In full.
    pub(super) fn text(self) -> String {
        match self {
            Events::Counted(events) => events.to_string(),
            Events::Expected(events) => events.to_string(),
        }
    }
}

impl From<&Step> for StepView {
    fn from(step: &Step) -> Self {
        StepView {
            from: None,
            time: step.time,
            at_risk: Some(step.at_risk),
            events: Events::Counted(step.events),
            estimate: step.estimate,
            standard_error: step.standard_error,
            lower: step.lower,
            upper: step.upper,
        }
    }
}

const CSV_COLUMNS: [&str; 14] = [
    "component",
    "position",
    "machine",
    "group",
    "mode",
    "kind",
    "from",
    "time",
    "at_risk",
    "events",
    "estimate",
    "standard_error",
    "lower",
    "upper",
];

/// Gaps told one by one; more are counted.
const GAPS_TOLD: usize = 3;

impl CurveView {
    fn new(basis: &Basis, kind: CurveKind) -> Self {
        CurveView {
            component: basis.name.component.clone(),
            position: basis.name.position.clone(),
            machine: basis.name.machine.clone(),
            group: basis.name.group.clone(),
            mode: basis.name.mode.clone(),
            kind,
            lives: basis.lives,
            failures: basis.failures,
            intervals: basis.intervals,
            suspensions: basis.suspensions,
            excluded: basis.excluded,
            confidence: basis.confidence,
            steps: Vec::new(),
            notes: Vec::new(),
            unit: basis.unit.clone(),
        }
    }

    /// Share surviving, where every failure's usage is known.
    pub fn of_product_limit(basis: &Basis, found: &ProductLimit) -> Self {
        let mut view = CurveView::new(basis, CurveKind::KaplanMeier);
        view.steps = found.steps.iter().map(StepView::from).collect();
        view.note_watch(&found.watch, found.emptied);
        view
    }

    /// Cumulative hazard, where every failure's usage is known.
    pub fn of_hazard_sum(basis: &Basis, found: &HazardSum) -> Self {
        let mut view = CurveView::new(basis, CurveKind::NelsonAalen);
        view.steps = found.steps.iter().map(StepView::from).collect();
        view.note_watch(&found.watch, None);
        view
    }

    /// Share surviving, where some failures are known only within a window.
    pub fn of_turnbull(basis: &Basis, found: &Turnbull) -> Self {
        let mut view = CurveView::new(basis, CurveKind::Turnbull);
        view.steps = found
            .steps
            .iter()
            .map(|step| StepView {
                from: (step.from < step.to).then_some(step.from),
                time: step.to,
                at_risk: None,
                events: Events::Expected(step.events),
                estimate: step.estimate,
                standard_error: None,
                lower: None,
                upper: None,
            })
            .collect();
        view.notes.push(
            "some failures are known only within a window: where within it a step falls, the \
             lives do not tell, and there are no limits"
                .into(),
        );
        view.notes.push(
            "no nelson-aalen estimate: it needs the usage of every failure and who still ran \
             then"
                .into(),
        );
        view.note_watch(&found.watch, found.emptied);
        view
    }

    /// Share failed by each mode. Where none is to be shown, one curve without steps says so.
    pub fn of_incidence(basis: &Basis, found: &Incidence) -> Vec<Self> {
        let one = |mode: Option<&ModeIncidence>| {
            let mut view = CurveView::new(basis, CurveKind::CumulativeIncidence);
            if let Some(mode) = mode {
                view.mode.clone_from(&mode.mode);
                view.steps = mode
                    .steps
                    .iter()
                    .map(|step| StepView {
                        from: None,
                        time: step.time,
                        at_risk: Some(step.at_risk),
                        events: Events::Counted(step.events),
                        estimate: step.estimate,
                        standard_error: Some(step.standard_error),
                        lower: step.lower,
                        upper: step.upper,
                    })
                    .collect();
                if mode.mode.is_none() {
                    view.notes
                        .push("failures whose mode was not stated, as a mode of their own".into());
                }
            }
            view.note_watch(&found.watch, found.emptied);
            view
        };
        if found.modes.is_empty() {
            return vec![one(None)];
        }
        found.modes.iter().map(|mode| one(Some(mode))).collect()
    }

    /// No estimate, and why.
    pub fn without(basis: &Basis, kind: CurveKind, reason: &NonparametricError) -> Self {
        let mut view = CurveView::new(basis, kind);
        view.notes.push(format!("no estimate: {reason}"));
        if let NonparametricError::Windows { .. } = reason {
            view.notes.push(
                "shares by mode need the usage of every failure; with windows, see one mode at a \
                 time: lives --nonparametric --mode MODE, or fit --mode MODE"
                    .into(),
            );
        }
        view
    }

    /// How far the data carry.
    fn note_watch(&mut self, watch: &Watch, emptied: Option<f64>) {
        let at = |value: f64| with_unit(usage(value), &self.unit);
        let mut notes = Vec::new();
        if self.steps.is_empty() {
            let whose = if self.failures > 0 {
                " by this mode"
            } else {
                ""
            };
            notes.push(format!(
                "no failure{whose} in {}, of which the longest was watched to {}",
                counted_lives(self.lives),
                at(watch.until)
            ));
        }
        if watch.from > 0.0 {
            notes.push(format!(
                "no item was watched before {}: the estimate is of items that reached it",
                at(watch.from)
            ));
        }
        for (from, to) in watch.gaps.iter().take(GAPS_TOLD) {
            notes.push(format!(
                "no item was under watch between {} and {}: the estimate stays level there for \
                 want of evidence, not of failures",
                at(*from),
                at(*to)
            ));
        }
        if watch.gaps.len() > GAPS_TOLD {
            let more = (watch.gaps.len() - GAPS_TOLD) as u64;
            notes.push(format!(
                "{} more in which no item was under watch",
                counted(more, "stretch", "stretches")
            ));
        }
        if let Some(usage) = emptied {
            notes.push(format!(
                "all items then under watch had failed by {0}, although others were watched beyond \
                 it: from {0} on the estimate says nothing of those; a fit uses them",
                at(usage)
            ));
        }
        self.notes.extend(notes);
    }
}

fn with_unit(text: String, unit: &str) -> String {
    if unit.is_empty() {
        text
    } else {
        format!("{text} {unit}")
    }
}

impl CurvesView {
    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a step.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        csv_text(
            &CSV_COLUMNS,
            self.curves.iter().flat_map(|curve| {
                curve.steps.iter().map(move |step| {
                    vec![
                        text(&curve.component),
                        text(&curve.position),
                        text(&curve.machine),
                        text(&curve.group),
                        text(&curve.mode),
                        curve.kind.key().to_owned(),
                        cell(step.from),
                        step.time.to_string(),
                        step.at_risk.map_or_else(String::new, |n| n.to_string()),
                        step.events.text(),
                        step.estimate.to_string(),
                        cell(step.standard_error),
                        cell(step.lower),
                        cell(step.upper),
                    ]
                })
            }),
        )
    }
}
