//! What a component's failure modes make together, as JSON and text. The JSON keys are a
//! contract.
//!
//! In: [`ModeFits`]. Out: text. Never: statistics.

use serde::Serialize;

use super::fit::GroupName;
use super::table::{cell, figure, percent};
use crate::model::group::SHARES;
use crate::model::modes::ModeFits;

/// The life of an item that fails by whichever of its modes comes first.
#[derive(Debug, Clone, Serialize)]
pub struct TogetherView {
    pub component: Option<String>,
    pub position: Option<String>,
    pub machine: Option<String>,
    pub group: Option<String>,
    /// Null where no mode has a fit.
    pub mean: Option<f64>,
    pub life_at: Vec<TogetherLifeAt>,
    pub modes: Vec<ModeShare>,
    pub notes: Vec<String>,
    #[serde(skip)]
    unit: String,
}

/// Usage by which a share has failed by any mode.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct TogetherLifeAt {
    pub fraction: f64,
    pub estimate: f64,
}

/// One mode's part.
#[derive(Debug, Clone, Serialize)]
pub struct ModeShare {
    /// Null for failures whose mode was not stated.
    pub mode: Option<String>,
    pub failures: u64,
    /// Probability that an item run to failure fails by this mode; null without a fit.
    pub share: Option<f64>,
}

impl TogetherView {
    pub fn new(name: &GroupName, unit: &str, fits: &ModeFits) -> Self {
        let mut notes = Vec::new();
        let combined = fits.combined();
        let left_out: Vec<&str> = fits
            .unfitted()
            .map(|mode| mode.mode.as_deref().unwrap_or("not stated"))
            .collect();
        if !left_out.is_empty() && combined.is_some() {
            notes.push(format!(
                "without {}, which {} no fit: the whole is somewhat worse than this",
                left_out.join(", "),
                if left_out.len() == 1 { "has" } else { "have" }
            ));
        }
        let mut shares = combined
            .as_ref()
            .map(|(_, whole)| whole.shares())
            .unwrap_or_default()
            .into_iter();
        TogetherView {
            component: name.component.clone(),
            position: name.position.clone(),
            machine: name.machine.clone(),
            group: name.group.clone(),
            mean: combined.as_ref().map(|(_, whole)| whole.mean()),
            life_at: combined.as_ref().map_or_else(Vec::new, |(_, whole)| {
                SHARES
                    .into_iter()
                    .map(|fraction| TogetherLifeAt {
                        fraction,
                        estimate: whole.life_at(fraction),
                    })
                    .collect()
            }),
            modes: fits
                .modes
                .iter()
                .map(|mode| ModeShare {
                    mode: mode.mode.clone(),
                    failures: mode.failures,
                    // Shares come for the fitted modes alone, in the same order.
                    share: mode.fit.is_ok().then(|| shares.next()).flatten(),
                })
                .collect(),
            notes,
            unit: unit.to_owned(),
        }
    }

    /// A row among the fits: names, counts left empty, mean and lives at shares.
    pub(super) fn csv_row(&self, width: usize) -> Vec<String> {
        let text = |part: &Option<String>| part.clone().unwrap_or_default();
        let mut row = vec![
            text(&self.component),
            text(&self.position),
            text(&self.machine),
            "all together".to_owned(),
            text(&self.group),
        ];
        // Lives, failures, suspensions, intervals, excluded.
        row.extend(std::iter::repeat_n(String::new(), 5));
        row.extend(["weibull a mode", "likelihood"].map(String::from));
        // Shape, scale and location have no meaning for several modes.
        row.extend(std::iter::repeat_n(String::new(), 12));
        let estimates = std::iter::once(self.mean).chain(
            (0..SHARES.len()).map(|n| self.life_at.get(n).map(|at: &TogetherLifeAt| at.estimate)),
        );
        for estimate in estimates {
            row.push(cell(estimate));
            row.extend(std::iter::repeat_n(String::new(), 3));
        }
        row.resize(width.saturating_sub(1), String::new());
        row.push(self.notes.join("; "));
        row
    }

    /// A sentence or two.
    pub fn text(&self) -> String {
        let name = [&self.component, &self.position, &self.machine, &self.group]
            .into_iter()
            .flatten()
            .cloned()
            .collect::<Vec<_>>()
            .join(" ");
        let mut modes: Vec<&ModeShare> = self.modes.iter().filter(|m| m.share.is_some()).collect();
        modes.sort_by(|x, y| y.share.unwrap_or(0.0).total_cmp(&x.share.unwrap_or(0.0)));
        let parts: Vec<String> = modes
            .iter()
            .map(|m| {
                format!(
                    "{} {}",
                    m.mode.as_deref().unwrap_or("mode not stated"),
                    percent(m.share.unwrap_or(0.0))
                )
            })
            .collect();
        let lead = if name.is_empty() {
            "all modes together".to_owned()
        } else {
            format!("{name}, all modes together")
        };
        let mut text = match (self.mean, self.life_at.get(1)) {
            (Some(mean), Some(b10)) => format!(
                "{lead}: B10 {} {unit}, mean {} {unit}; run to failure, items would fail by {}.\n",
                figure(b10.estimate, 3),
                figure(mean, 3),
                parts.join(", "),
                unit = self.unit,
            )
            .replace(" ,", ",")
            .replace(" ;", ";"),
            _ => format!("{lead}: no mode has a fit.\n"),
        };
        for note in &self.notes {
            text.push_str(&format!("   {note}\n"));
        }
        text
    }
}
