//! Fits as JSON, CSV and a table. The JSON keys are a contract.
//!
//! In: [`GroupFit`]s with their counts. Out: text. Never: statistics.

use serde::Serialize;

use super::table::{Align, Notes, Table, cell, csv_text, figure, figure_or_dash};
use crate::life::Sample;
use crate::model::group::{Figure, GroupFit, SHARES};
use crate::model::limits::LimitsKind;

/// All fits of one call.
#[derive(Debug, Clone, Serialize)]
pub struct FitsView {
    pub fits: Vec<FitView>,
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
    pub fit_test: Option<()>,
    pub r_squared: Option<f64>,
    pub notes: Vec<String>,
    /// Unit of usage, for the table.
    #[serde(skip)]
    pub unit: String,
}

/// A quantity with its limits; a side the data do not bound is null.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct FigureView {
    pub estimate: f64,
    pub median: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Usage by which a share has failed.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct LifeAtView {
    pub fraction: f64,
    pub estimate: f64,
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

impl FitView {
    /// `notes` come first; why a fit or its limits are missing is added.
    pub fn new(
        name: GroupName,
        sample: &Sample,
        excluded: u64,
        fit: &GroupFit,
        limits: (LimitsKind, f64),
        unit: &str,
        mut notes: Vec<String>,
    ) -> Self {
        let (kind, confidence) = limits;
        let found = match fit {
            Ok(found) => {
                if let Some(reason) = &found.no_limits {
                    notes.push(format!("no posterior limits: {reason}"));
                }
                let figures = [found.shape, found.scale];
                let open = figures
                    .iter()
                    .any(|f| f.limits.lower.is_none() || f.limits.upper.is_none());
                if kind == LimitsKind::LikelihoodRatio && open {
                    notes.push(
                        "an empty limit is one that the likelihood never falls to: the data do \
                         not bound that side"
                            .into(),
                    );
                }
                Some(found)
            }
            Err(reason) => {
                notes.push(format!("no fit: {reason}"));
                None
            }
        };
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
            model: "weibull",
            method: "likelihood",
            shape: found.map(|f| f.shape.into()),
            scale: found.map(|f| f.scale.into()),
            location: None,
            log_likelihood: found.map(|f| f.fit.log_likelihood),
            aicc: found.and_then(|f| f.fit.aicc()),
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
                kind: kind.word(),
                confidence,
            },
            fit_test: None,
            r_squared: None,
            notes,
            unit: unit.into(),
        }
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
        let figures = ["shape", "scale", "mean", "b1", "b10", "b50"];
        for figure in figures {
            for part in ["estimate", "median", "lower", "upper"] {
                headings.push(format!("{figure}_{part}"));
            }
        }
        headings
            .extend(["log_likelihood", "aicc", "limits", "confidence", "notes"].map(String::from));
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
            let mut figures = vec![fit.shape, fit.scale, fit.mean];
            figures.extend((0..SHARES.len()).map(|n| fit.life_at.get(n).map(LifeAtView::figure)));
            for figure in figures {
                row.push(cell(figure.map(|f| f.estimate)));
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
            row.push(fit.notes.join("; "));
            row
        });
        csv_text(&headings, rows)
    }

    /// Rounded, one row a fit, notes beneath.
    pub fn table(&self) -> String {
        let used: Vec<usize> = (0..5)
            .filter(|n| self.fits.iter().any(|fit| !fit.name()[*n].is_empty()))
            .collect();
        let names = ["component", "position", "machine", "mode", "group"];
        let mut headings: Vec<(&str, Align)> =
            used.iter().map(|n| (names[*n], Align::Left)).collect();
        headings.extend([
            ("lives", Align::Right),
            ("failed", Align::Right),
            ("windows", Align::Right),
            ("cut short", Align::Right),
            ("shape", Align::Right),
            ("limits", Align::Left),
            ("scale", Align::Right),
            ("limits", Align::Left),
            ("B10", Align::Right),
            ("limits", Align::Left),
            ("unit", Align::Left),
            ("", Align::Left),
        ]);
        let mut table = Table::new(headings);
        let mut notes = Notes::default();
        for fit in &self.fits {
            let mut row: Vec<String> = used.iter().map(|n| fit.name()[*n].to_owned()).collect();
            row.extend(
                [fit.lives, fit.failures, fit.intervals, fit.suspensions].map(|n| n.to_string()),
            );
            let b10 = fit.life_at.get(1).map(LifeAtView::figure);
            for (figure_view, digits) in [(fit.shape, 3), (fit.scale, 4), (b10, 3)] {
                row.push(figure_or_dash(figure_view.map(|f| f.estimate), digits));
                row.push(figure_view.map_or_else(String::new, |f| limits_text(f, digits)));
            }
            row.push(fit.unit.clone());
            row.push(notes.marks(&fit.notes));
            table.row(row);
        }
        let mut text = table.text();
        if let Some(fit) = self.fits.first() {
            text.push_str(&format!(
                "\nWeibull by maximum likelihood; limits: {}, {} two-sided.\n",
                fit.limits.kind,
                super::table::percent(fit.limits.confidence),
            ));
        }
        text.push_str(&notes.text());
        text
    }
}

fn limits_text(view: FigureView, digits: i32) -> String {
    if view.lower.is_none() && view.upper.is_none() {
        return String::new();
    }
    let side = |value: Option<f64>| value.map_or_else(|| "…".into(), |v| figure(v, digits));
    format!("{} to {}", side(view.lower), side(view.upper))
}
