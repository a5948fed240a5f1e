//! Fits as JSON, CSV and a table. The JSON keys are a contract.
//!
//! In: [`GroupFit`]s with their counts. Out: text. Never: statistics.

use serde::Serialize;

use super::fit_notes::notes_of;
use super::modes::TogetherView;
use super::table::{Align, Notes, Table, cell, csv_text, figure, figure_or_dash, p_or_dash};
use crate::life::Sample;
use crate::model::examine::Examined;
use crate::model::group::{Figure, SHARES};
use crate::model::models::SideBySide;

/// All fits of one call.
#[derive(Debug, Clone, Serialize)]
pub struct FitsView {
    pub fits: Vec<FitView>,
    /// Modes kept apart: what they make together, a row a group.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub together: Vec<TogetherView>,
}

/// What a group is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GroupName {
    pub component: Option<String>,
    pub position: Option<String>,
    pub machine: Option<String>,
    pub mode: Option<String>,
    pub group: Option<String>,
}

/// One fit. `failures` are known exactly, `intervals` only within a window.
#[derive(Debug, Clone, Serialize)]
pub struct FitView {
    pub component: Option<String>,
    pub position: Option<String>,
    pub machine: Option<String>,
    pub mode: Option<String>,
    pub group: Option<String>,
    pub lives: u64,
    pub failures: u64,
    pub suspensions: u64,
    pub intervals: u64,
    pub excluded: u64,
    pub model: &'static str,
    pub method: &'static str,
    pub shape: Option<FigureView>,
    pub scale: Option<FigureView>,
    pub location: Option<FigureView>,
    pub log_likelihood: Option<f64>,
    pub aicc: Option<f64>,
    pub life_at: Vec<LifeAtView>,
    pub mean: Option<FigureView>,
    pub limits: LimitsView,
    pub fit_test: Option<FitTestView>,
    pub r_squared: Option<f64>,
    /// The r² that one straight sample in ten of this pattern falls below.
    pub r_squared_critical: Option<f64>,
    /// Other models on the same lives; empty where they were not fitted.
    pub models: Vec<ModelView>,
    pub notes: Vec<String>,
    /// Unit of usage, for the table.
    #[serde(skip)]
    pub unit: String,
}

/// A quantity with its limits; a side the data do not bound is null.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct FigureView {
    pub estimate: Option<f64>,
    pub median: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Usage by which a share has failed.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct LifeAtView {
    pub fraction: f64,
    pub estimate: Option<f64>,
    pub median: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Which limits.
#[derive(Debug, Clone, Serialize)]
pub struct LimitsView {
    pub kind: &'static str,
    pub confidence: f64,
}

/// How well the model describes the lives.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct FitTestView {
    pub statistic: &'static str,
    pub value: f64,
    pub p: Option<f64>,
}

/// One model beside the others.
#[derive(Debug, Clone, Serialize)]
pub struct ModelView {
    pub model: &'static str,
    pub parameters: Option<u64>,
    pub log_likelihood: Option<f64>,
    pub aicc: Option<f64>,
    /// True for the one to go by.
    pub chosen: bool,
    /// Why it has no estimate.
    pub reason: Option<String>,
}

impl From<Figure> for FigureView {
    fn from(figure: Figure) -> Self {
        FigureView {
            estimate: figure.estimate,
            median: figure.limits.median,
            lower: figure.limits.lower,
            upper: figure.limits.upper,
        }
    }
}

impl LifeAtView {
    fn figure(&self) -> FigureView {
        FigureView {
            estimate: self.estimate,
            median: self.median,
            lower: self.lower,
            upper: self.upper,
        }
    }
}

fn models_of(side_by_side: &SideBySide) -> Vec<ModelView> {
    side_by_side
        .fits
        .iter()
        .map(|(model, fit)| {
            let found = fit.as_ref().ok();
            ModelView {
                model: model.word(),
                parameters: found.map(|f| f.parameters),
                log_likelihood: found.map(|f| f.log_likelihood),
                aicc: found.and_then(|f| f.aicc()),
                chosen: *model == side_by_side.chosen,
                reason: fit.as_ref().err().map(ToString::to_string),
            }
        })
        .collect()
}

impl FitView {
    /// `notes` come first; why a fit or its limits are missing, and what the tests say, is added.
    pub fn new(
        name: GroupName,
        sample: &Sample,
        excluded: u64,
        examined: &Examined,
        unit: &str,
        mut notes: Vec<String>,
    ) -> Self {
        notes.extend(notes_of(examined, unit));
        let found = examined.fit.as_ref().ok();
        let ask = &examined.ask;
        FitView {
            component: name.component,
            position: name.position,
            machine: name.machine,
            mode: name.mode,
            group: name.group,
            lives: sample.count(),
            failures: sample.exact_failures(),
            suspensions: sample.suspensions(),
            intervals: sample.intervals(),
            excluded,
            model: found.map_or(ask.model, |f| f.model).word(),
            method: if ask.ranks.is_some() {
                "ranks"
            } else {
                "likelihood"
            },
            shape: found.map(|f| f.shape.into()),
            scale: found.map(|f| f.scale.into()),
            location: found.and_then(|f| f.location).map(Into::into),
            log_likelihood: found.and_then(|f| f.log_likelihood),
            aicc: found.and_then(|f| f.aicc()),
            life_at: found.map_or_else(Vec::new, |f| {
                SHARES
                    .into_iter()
                    .zip(f.life_at)
                    .map(|(fraction, figure)| LifeAtView {
                        fraction,
                        estimate: figure.estimate,
                        median: figure.limits.median,
                        lower: figure.limits.lower,
                        upper: figure.limits.upper,
                    })
                    .collect()
            }),
            mean: found.map(|f| f.mean.into()),
            limits: LimitsView {
                kind: found.map_or(ask.kind(), |f| f.limits).word(),
                confidence: ask.confidence,
            },
            fit_test: examined.test.as_ref().map(|test| FitTestView {
                statistic: "anderson-darling",
                value: test.statistic,
                p: test.p,
            }),
            r_squared: found.and_then(|f| Some(f.line.as_ref()?.r_squared)),
            r_squared_critical: examined.r_squared.map(|test| test.critical),
            models: examined
                .side_by_side
                .as_ref()
                .map_or_else(Vec::new, models_of),
            notes,
            unit: unit.into(),
        }
    }

    /// The models side by side, for a single fit.
    fn models_text(&self) -> String {
        if self.models.is_empty() {
            return String::new();
        }
        let mut table = Table::new([
            ("model", Align::Left),
            ("parameters", Align::Right),
            ("ln likelihood", Align::Right),
            ("AICc", Align::Right),
            ("", Align::Left),
        ]);
        for model in &self.models {
            let last = match &model.reason {
                Some(reason) => reason.clone(),
                None if model.chosen => "to go by".to_owned(),
                None => String::new(),
            };
            table.row([
                model.model.to_owned(),
                model
                    .parameters
                    .map_or_else(|| "–".into(), |n| n.to_string()),
                model
                    .log_likelihood
                    .map_or_else(|| "–".into(), |v| format!("{v:.2}")),
                model.aicc.map_or_else(|| "–".into(), |v| format!("{v:.2}")),
                last,
            ]);
        }
        format!("\n{}\n", table.text())
    }

    fn name(&self) -> [&str; 5] {
        [
            &self.component,
            &self.position,
            &self.machine,
            &self.mode,
            &self.group,
        ]
        .map(|part| part.as_deref().unwrap_or_default())
    }
}

impl FitsView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row a fit, every figure in full.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut headings: Vec<String> = [
            "component",
            "position",
            "machine",
            "mode",
            "group",
            "lives",
            "failures",
            "suspensions",
            "intervals",
            "excluded",
            "model",
            "method",
        ]
        .map(String::from)
        .to_vec();
        let figures = ["shape", "scale", "location", "mean", "b1", "b10", "b50"];
        for figure in figures {
            for part in ["estimate", "median", "lower", "upper"] {
                headings.push(format!("{figure}_{part}"));
            }
        }
        headings.extend(TAIL.map(String::from));
        let headings: Vec<&str> = headings.iter().map(String::as_str).collect();
        let rows = self.fits.iter().map(|fit| {
            let mut row: Vec<String> = fit.name().map(String::from).to_vec();
            row.extend(
                [
                    fit.lives,
                    fit.failures,
                    fit.suspensions,
                    fit.intervals,
                    fit.excluded,
                ]
                .map(|n| n.to_string()),
            );
            row.extend([fit.model, fit.method].map(String::from));
            let mut figures = vec![fit.shape, fit.scale, fit.location, fit.mean];
            figures.extend((0..SHARES.len()).map(|n| fit.life_at.get(n).map(LifeAtView::figure)));
            for figure in figures {
                row.push(cell(figure.and_then(|f| f.estimate)));
                row.extend(
                    [
                        figure.and_then(|f| f.median),
                        figure.and_then(|f| f.lower),
                        figure.and_then(|f| f.upper),
                    ]
                    .map(cell),
                );
            }
            row.push(cell(fit.log_likelihood));
            row.push(cell(fit.aicc));
            row.push(fit.limits.kind.into());
            row.push(fit.limits.confidence.to_string());
            row.push(cell(fit.fit_test.map(|t| t.value)));
            row.push(cell(fit.fit_test.and_then(|t| t.p)));
            row.push(cell(fit.r_squared));
            row.push(cell(fit.r_squared_critical));
            row.push(fit.notes.join("; "));
            row
        });
        let width = headings.len();
        let together = self.together.iter().map(|whole| whole.csv_row(width));
        csv_text(&headings, rows.chain(together))
    }

    /// Rounded, one row a fit, notes beneath.
    pub fn table(&self) -> String {
        let used: Vec<usize> = (0..5)
            .filter(|n| self.fits.iter().any(|fit| !fit.name()[*n].is_empty()))
            .collect();
        let names = ["component", "position", "machine", "mode", "group"];
        let lognormal = self.fits.iter().any(|f| f.model == "lognormal");
        let mixed = self
            .fits
            .iter()
            .any(|f| Some(f.model) != self.fits.first().map(|f| f.model));
        let location = self.fits.iter().any(|f| f.location.is_some());
        let ranks = self.fits.iter().any(|f| f.r_squared.is_some());
        let tested = self.fits.iter().any(|f| f.fit_test.is_some());
        let mut headings: Vec<(&str, Align)> =
            used.iter().map(|n| (names[*n], Align::Left)).collect();
        headings.extend(["lives", "failed", "windows", "cut short"].map(|h| (h, Align::Right)));
        if mixed {
            headings.push(("model", Align::Left));
        }
        for (heading, wanted) in [
            (if lognormal { "shape*" } else { "shape" }, true),
            ("scale", true),
            ("location", location),
            ("B10", true),
        ] {
            if wanted {
                headings.extend([(heading, Align::Right), ("limits", Align::Left)]);
            }
        }
        headings.push(("unit", Align::Left));
        if tested {
            headings.push(("fit p", Align::Right));
        }
        if ranks {
            headings.extend([("r²", Align::Right), ("1 in 10 below", Align::Right)]);
        }
        headings.push(("", Align::Left));
        let mut table = Table::new(headings);
        let mut notes = Notes::default();
        for fit in &self.fits {
            let mut row: Vec<String> = used.iter().map(|n| fit.name()[*n].to_owned()).collect();
            row.extend(
                [fit.lives, fit.failures, fit.intervals, fit.suspensions].map(|n| n.to_string()),
            );
            if mixed {
                row.push(fit.model.to_owned());
            }
            let b10 = fit.life_at.get(1).map(LifeAtView::figure);
            let mut figures = vec![(fit.shape, 3), (fit.scale, 4)];
            if location {
                figures.push((fit.location, 3));
            }
            figures.push((b10, 3));
            for (figure_view, digits) in figures {
                row.push(figure_or_dash(figure_view.and_then(|f| f.estimate), digits));
                row.push(figure_view.map_or_else(String::new, |f| limits_text(f, digits)));
            }
            row.push(fit.unit.clone());
            if tested {
                row.push(p_or_dash(fit.fit_test.and_then(|t| t.p)));
            }
            if ranks {
                row.push(figure_or_dash(fit.r_squared, 3));
                row.push(figure_or_dash(fit.r_squared_critical, 3));
            }
            row.push(notes.marks(&fit.notes));
            table.row(row);
        }
        let mut text = table.text();
        if let Some(fit) = self.fits.first() {
            text.push_str(&format!(
                "\n{}\n",
                self.legend(fit, mixed, lognormal, tested)
            ));
        }
        if let [only] = self.fits.as_slice() {
            text.push_str(&only.models_text());
        }
        for whole in &self.together {
            text.push_str(&whole.text());
        }
        text.push_str(&notes.text());
        while text.ends_with("\n\n") {
            text.pop();
        }
        text
    }

    /// What the columns are, in a line or two.
    fn legend(&self, fit: &FitView, mixed: bool, lognormal: bool, tested: bool) -> String {
        let model = match (mixed, fit.model) {
            (true, _) => "Models as named",
            (_, "weibull3") => "Weibull with a location",
            (_, "lognormal") => "Lognormal",
            (_, "exponential") => "Exponential",
            _ => "Weibull",
        };
        let method = if fit.method == "ranks" {
            "by a line through median ranks"
        } else {
            "by maximum likelihood"
        };
        let limits = match fit.limits.kind {
            "none" => "no limits".to_owned(),
            kind => format!(
                "limits: {kind}, {} two-sided",
                super::table::percent(fit.limits.confidence)
            ),
        };
        let mut text = format!("{model} {method}; {limits}.");
        if lognormal {
            text.push_str(
                "\n* for a lognormal: the standard deviation of ln life; its scale is the median life.",
            );
        }
        if tested {
            text.push_str(
                "\nfit p: how often lives that do follow the model fit it as badly (Anderson-Darling).",
            );
        }
        text
    }
}

/// The last columns of the CSV.
const TAIL: [&str; 9] = [
    "log_likelihood",
    "aicc",
    "limits",
    "confidence",
    "fit_test_value",
    "fit_test_p",
    "r_squared",
    "r_squared_critical",
    "notes",
];

fn limits_text(view: FigureView, digits: i32) -> String {
    if view.lower.is_none() && view.upper.is_none() {
        return String::new();
    }
    let side = |value: Option<f64>| value.map_or_else(|| "…".into(), |v| figure(v, digits));
    format!("{} to {}", side(view.lower), side(view.upper))
}
