//! The repairable view as JSON, CSV and a table. The JSON keys are a contract.
//!
//! In: [`Analysis`] of [`Units`]. Out: text. Never: statistics.

use serde::Serialize;

use super::table::{Align, Notes, Table, cell, csv_text, figure, figure_or_dash};
use crate::quantity::{counted, thousands};
use crate::recurrence::power_law::{Bounds, LimitsKind};
use crate::recurrence::{Analysis, Step, TrendTest, Units, Verdict};

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
    window: Option<(f64, f64)>,
    #[serde(skip)]
    short: &'static str,
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

/// Fewest units for which normal limits hold nearly what they promise.
const ENOUGH_UNITS: usize = 20;

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

/// The verdict as a sentence with its evidence, and in a few words.
fn verdict(found: &Analysis) -> (String, &'static str) {
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

fn p_value(p: f64) -> String {
    match p {
        p if p < 0.001 => "< 0.001".into(),
        p if p < 0.1 => format!("{p:.3}"),
        p => format!("{p:.2}"),
    }
}

/// What the curve's limits leave open.
fn mcf_notes(units: usize, steps: &[Step], kind: McfLimits) -> Vec<String> {
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
fn event_notes(units: &Units, found: &Analysis) -> Vec<String> {
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

impl RecurView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        match self.groups.as_slice() {
            [one] if self.alone => serde_json::to_string_pretty(&one.body),
            _ => serde_json::to_string_pretty(self),
        }
    }

    /// One row a figure: the steps of the curve (`mcf`), then tests and power law.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "group",
            "machine",
            "component",
            "figure",
            "time",
            "at_risk",
            "events",
            "estimate",
            "lower",
            "upper",
            "p",
        ];
        csv_text(&headings, self.groups.iter().flat_map(GroupView::csv_rows))
    }

    /// A row a group, the notes, then each mean curve in some steps.
    pub fn table(&self) -> String {
        let mut notes = Notes::default();
        let unit = self.unit();
        let per = format!("per 1,000{unit}");
        let now = format!("between events{}", if unit.is_empty() { "" } else { "," });
        let now = format!("{now}{unit}");
        let mut table = Table::new([
            (if self.alone { "" } else { "group" }, Align::Left),
            ("units", Align::Right),
            ("watched", Align::Right),
            ("events", Align::Right),
            (per.as_str(), Align::Right),
            ("Laplace p", Align::Right),
            ("chi-square p", Align::Right),
            ("shape", Align::Right),
            (now.as_str(), Align::Right),
            ("trend", Align::Left),
            ("", Align::Left),
        ]);
        for group in &self.groups {
            table.row(group.summary(&mut notes));
        }
        let mut text = table.text();
        let confidence = self
            .groups
            .first()
            .map_or(0.9, |g| g.body.limits.confidence);
        text.push_str(&format!(
            "shape above 1: faster and faster; usage between events: by the power law at the end \
             of the watch; {:.0} % limits in brackets\n",
            100.0 * confidence
        ));
        let rows = if self.groups.len() == 1 { 14 } else { 5 };
        let mut curves = Table::new([
            (if self.alone { "" } else { "group" }, Align::Left),
            ("usage", Align::Right),
            ("at risk", Align::Right),
            ("events a unit", Align::Right),
            ("lower", Align::Right),
            ("upper", Align::Right),
        ]);
        for group in &self.groups {
            for step in thinned(&group.body.mcf, rows) {
                curves.row([
                    group.label(),
                    thousands(step.time, 0),
                    step.at_risk.to_string(),
                    figure(step.estimate, 3),
                    figure_or_dash(step.lower, 3),
                    figure_or_dash(step.upper, 3),
                ]);
            }
        }
        // What holds for all groups stands last and marks no row.
        notes.marks(&self.notes);
        if !notes.text().is_empty() {
            text.push('\n');
            text.push_str(&notes.text());
        }
        if !curves.is_empty() {
            text.push_str("\nMean events a unit by usage (all steps: --format csv or json)\n");
            text.push_str(&curves.text());
        }
        text
    }

    /// The unit of usage with a blank before it, where all groups share one.
    fn unit(&self) -> String {
        let mut units = self.groups.iter().map(|g| g.body.usage_unit.as_deref());
        match units.next().flatten() {
            Some(first) if !first.is_empty() && units.all(|u| u == Some(first)) => {
                format!(" {first}")
            }
            _ => String::new(),
        }
    }
}

/// About `rows` steps, evenly spread, the first and last among them.
fn thinned(steps: &[StepView], rows: usize) -> Vec<&StepView> {
    if steps.len() <= rows {
        return steps.iter().collect();
    }
    (0..rows)
        .filter_map(|n| steps.get(n * (steps.len() - 1) / (rows - 1)))
        .collect()
}

impl GroupView {
    fn label(&self) -> String {
        self.name.group.clone().unwrap_or_default()
    }

    fn summary(&self, notes: &mut Notes) -> [String; 11] {
        let body = &self.body;
        let p = |n: usize| {
            let test = body.trend.get(n).and_then(|t: &TestView| t.p);
            test.map_or_else(|| "–".into(), p_value)
        };
        let with = |estimate: f64, sides: SidesView, digits: i32| {
            format!(
                "{} ({} to {})",
                figure(estimate, digits),
                figure_or_dash(sides.lower, digits),
                figure_or_dash(sides.upper, digits)
            )
        };
        let law = body.power_law;
        [
            self.label(),
            body.units.to_string(),
            body.window.map_or_else(String::new, |(from, to)| {
                format!("{} to {}", thousands(from, 0), thousands(to, 0))
            }),
            body.events.to_string(),
            figure(1_000.0 * body.events as f64 / body.usage, 3),
            p(0),
            p(1),
            law.map_or_else(|| "–".into(), |l| with(l.shape, l.shape_limits, 2)),
            law.map_or_else(|| "–".into(), |l| with(l.mtbf, l.mtbf_limits, 3)),
            body.short.into(),
            notes.marks(&body.notes),
        ]
    }

    fn csv_rows(&self) -> Vec<Vec<String>> {
        let body = &self.body;
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        let name = [
            text(&self.name.group),
            text(&self.name.machine),
            text(&self.name.component),
        ];
        let row = |figure: &str, rest: [String; 7]| -> Vec<String> {
            let mut row = name.to_vec();
            row.push(figure.into());
            row.extend(rest);
            row
        };
        let none = String::new;
        let mut rows: Vec<Vec<String>> = body
            .mcf
            .iter()
            .map(|s| {
                row(
                    "mcf",
                    [
                        s.time.to_string(),
                        s.at_risk.to_string(),
                        s.events.to_string(),
                        s.estimate.to_string(),
                        cell(s.lower),
                        cell(s.upper),
                        none(),
                    ],
                )
            })
            .collect();
        let units = body.units.to_string();
        let events = body.events.to_string();
        for t in &body.trend {
            let rest = [
                none(),
                units.clone(),
                events.clone(),
                cell(t.statistic),
                none(),
                none(),
                cell(t.p),
            ];
            rows.push(row(t.test, rest));
        }
        if let Some(law) = body.power_law {
            let figures = [
                ("shape", Some(law.shape), law.shape_limits),
                ("intensity", Some(law.intensity), law.intensity_limits),
                ("mtbf", Some(law.mtbf), law.mtbf_limits),
            ];
            for (figure, value, sides) in figures {
                let rest = [
                    law.at.to_string(),
                    units.clone(),
                    events.clone(),
                    cell(value),
                    cell(sides.lower),
                    cell(sides.upper),
                    none(),
                ];
                rows.push(row(figure, rest));
            }
            for (figure, value) in [
                ("scale", law.scale),
                ("shape_unbiased", law.shape_unbiased),
                ("mtbf_unbiased", law.mtbf_unbiased),
            ] {
                let mut rest = [(); 7].map(|()| String::new());
                rest[1] = units.clone();
                rest[2] = events.clone();
                rest[3] = cell(value);
                rows.push(row(figure, rest));
            }
        }
        rows
    }
}
