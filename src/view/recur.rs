//! The repairable view as JSON. The JSON keys are a contract.
//!
//! In: [`Analysis`] of [`Units`]. Out: [`RecurView`] and its JSON. Never: statistics, nor sentences
//! (see `recur_words`), tables or CSV (see `recur_table`).

use serde::Serialize;

use super::recur_words::{event_notes, mcf_notes, verdict};
use crate::recurrence::power_law::Bounds;
use crate::recurrence::{Analysis, Step, TrendTest, Units};

/// Which limits the mean cumulative function is shown with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum McfLimits {
    /// Normal quantile, as published tables print them.
    Normal,
    /// Student's quantile and a factor for few units.
    Student,
}

impl McfLimits {
    fn word(self) -> &'static str {
        match self {
            McfLimits::Normal => "normal",
            McfLimits::Student => "student",
        }
    }
}

/// All groups of one call.
#[derive(Debug, Clone, Serialize)]
pub struct RecurView {
    pub groups: Vec<GroupView>,
    /// What holds for all groups.
    pub notes: Vec<String>,
    /// A file of events has one group without a name; its object stands alone.
    #[serde(skip)]
    pub alone: bool,
}

/// Whose events they are.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct GroupName {
    /// Name for reading: of the machine or component, or what all are together.
    pub group: Option<String>,
    pub machine: Option<String>,
    pub component: Option<String>,
}

/// One group with its name.
#[derive(Debug, Clone, Serialize)]
pub struct GroupView {
    #[serde(flatten)]
    pub name: GroupName,
    #[serde(flatten)]
    pub body: BodyView,
}

/// What is known of a group. Usages in `usage_unit`; unknown is null.
#[derive(Debug, Clone, Serialize)]
pub struct BodyView {
    pub usage_unit: Option<String>,
    pub units: usize,
    pub events: usize,
    /// Usage watched, all units together.
    pub usage: f64,
    pub mcf: Vec<StepView>,
    pub trend: Vec<TestView>,
    /// What the tests say together, in words.
    pub verdict: String,
    pub power_law: Option<PowerLawView>,
    pub limits: LimitsView,
    pub notes: Vec<String>,
    /// Earliest start and longest end.
    #[serde(skip)]
    pub(super) window: Option<(f64, f64)>,
    #[serde(skip)]
    pub(super) short: &'static str,
}

#[derive(Debug, Clone, Copy, Serialize)]
pub struct StepView {
    pub time: f64,
    pub at_risk: usize,
    pub events: usize,
    pub estimate: f64,
    pub standard_error: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// `statistic` above 0 (Laplace), or small against `df` (chi-square): events come faster.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct TestView {
    pub test: &'static str,
    pub statistic: Option<f64>,
    pub df: Option<usize>,
    pub p: Option<f64>,
}

#[derive(Debug, Clone, Copy, Serialize)]
pub struct SidesView {
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    pub kind: &'static str,
}

impl From<Bounds> for SidesView {
    fn from(bounds: Bounds) -> Self {
        SidesView {
            lower: bounds.lower,
            upper: bounds.upper,
            kind: bounds.kind.word(),
        }
    }
}

/// `(t/scale)^shape` expected events of one unit; intensity and MTBF at `at`, the longest end.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct PowerLawView {
    pub shape: f64,
    pub scale: Option<f64>,
    pub intensity: f64,
    pub truncation: &'static str,
    pub at: f64,
    pub shape_unbiased: Option<f64>,
    pub mtbf: f64,
    pub mtbf_unbiased: Option<f64>,
    pub shape_limits: SidesView,
    pub intensity_limits: SidesView,
    pub mtbf_limits: SidesView,
    pub fit_test: Option<FitTestView>,
}

#[derive(Debug, Clone, Copy, Serialize)]
pub struct FitTestView {
    pub test: &'static str,
    pub statistic: f64,
    pub p: Option<f64>,
}

#[derive(Debug, Clone, Copy, Serialize)]
pub struct LimitsView {
    pub mcf: &'static str,
    pub confidence: f64,
}

impl BodyView {
    /// `notes` come first; what the analysis leaves open is added.
    pub fn new(
        units: &Units,
        found: &Analysis,
        limits: (McfLimits, f64),
        usage_unit: Option<String>,
        mut notes: Vec<String>,
    ) -> Self {
        let (kind, confidence) = limits;
        let (verdict, short) = verdict(found);
        notes.extend(mcf_notes(units.units().len(), &found.steps, kind));
        notes.extend(event_notes(units, found));
        let starts = units.units().iter().map(|u| u.start());
        BodyView {
            usage_unit,
            units: units.units().len(),
            events: units.events(),
            usage: units.usage(),
            mcf: found.steps.iter().map(|s| step(s, limits)).collect(),
            trend: vec![
                test("laplace", found.trend.laplace()),
                test("chi-square", found.trend.chi_square()),
            ],
            verdict,
            power_law: power_law(found, confidence),
            limits: LimitsView {
                mcf: kind.word(),
                confidence,
            },
            notes,
            window: starts.reduce(f64::min).zip(units.last_end()),
            short,
        }
    }
}

fn step(step: &Step, (kind, confidence): (McfLimits, f64)) -> StepView {
    let sides = match kind {
        McfLimits::Normal => step.limits(confidence),
        McfLimits::Student => step.wide_limits(confidence),
    };
    StepView {
        time: step.time,
        at_risk: step.at_risk,
        events: step.events,
        estimate: step.estimate,
        standard_error: step.standard_error(),
        lower: sides.map(|(lower, _)| lower),
        upper: sides.map(|(_, upper)| upper),
    }
}

fn test(name: &'static str, found: Option<TrendTest>) -> TestView {
    TestView {
        test: name,
        statistic: found.map(|t| t.statistic),
        df: found.and_then(|t| t.df),
        p: found.map(|t| t.p()),
    }
}

fn power_law(found: &Analysis, confidence: f64) -> Option<PowerLawView> {
    let law = found.power_law.as_ref().ok()?;
    let intensity = law.intensity_limits(confidence);
    let mtbf = Bounds {
        lower: intensity.upper.map(f64::recip),
        upper: intensity.lower.map(f64::recip),
        ..intensity
    };
    Some(PowerLawView {
        shape: law.shape,
        scale: Some(law.scale).filter(|scale| *scale > 0.0),
        intensity: law.intensity(),
        truncation: law.truncation.word(),
        at: law.end,
        shape_unbiased: law.shape_unbiased(),
        mtbf: law.mtbf(),
        mtbf_unbiased: law.mtbf_unbiased(),
        shape_limits: law.shape_limits(confidence).into(),
        intensity_limits: intensity.into(),
        mtbf_limits: mtbf.into(),
        fit_test: found.fit_test.map(|(statistic, p)| FitTestView {
            test: "cramer-von-mises",
            statistic,
            p,
        }),
    })
}

impl RecurView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        match self.groups.as_slice() {
            [one] if self.alone => serde_json::to_string_pretty(&one.body),
            _ => serde_json::to_string_pretty(self),
        }
    }
}
