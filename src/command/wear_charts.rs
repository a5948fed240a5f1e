//! `wear --charts`: the lines of each quantity, as SVG files in a folder.
//!
//! In: readings with their lines. Out: files, and a sentence about them. Never: fitting;
//! drawing (see `chart`).

use std::path::Path;

use super::CommandError;
use super::beside::{self, Cannot};
use crate::chart::{Size, WearChart, WearItem, number, wear_chart};
use crate::report::names::{Names, slug};
use crate::wear::{Barrier, ItemReadings, WearLines};

/// More marks than this make a blot.
const MOST: usize = 10_000;
/// Bands are computed for as many items as charts show them for.
const BANDS: usize = 2;
const BAND_POINTS: u32 = 40;

/// What stands on a chart beside numbers.
pub(super) struct Words {
    /// For the file's name and for messages.
    pub name: String,
    pub title: String,
    pub usage_label: String,
    pub usage_unit: String,
    pub value_label: String,
    pub value_unit: String,
}

/// The files so far.
#[derive(Debug, Default)]
pub(super) struct Charts {
    files: Vec<(String, String)>,
    names: Names,
    refused: Vec<String>,
}

impl Charts {
    /// Fails where nothing can be written to the folder, which is made as needed.
    pub(super) fn prove_writable(folder: &Path) -> Result<(), CommandError> {
        beside::prove_writable(folder).map_err(|cannot| refused(&cannot))
    }

    /// Draws a quantity. `marked`: items in place, by their place, with name and usage now.
    pub(super) fn add(
        &mut self,
        words: Words,
        items: &[ItemReadings],
        lines: Option<&WearLines>,
        barrier: Option<Barrier>,
        marked: &[(usize, String, Option<f64>)],
        confidence: f64,
    ) {
        let readings: usize = items.iter().map(|item| item.readings.len()).sum();
        if readings == 0 {
            return;
        }
        if readings > MOST {
            let most = number(MOST as f64, 0);
            let told = format!("no chart of {}: more than {most} readings", words.name);
            self.refused.push(told);
            return;
        }
        let belief = lines.and_then(WearLines::belief);
        let seen = items
            .iter()
            .flat_map(|item| item.readings.iter().map(|reading| reading.0))
            .fold(0.0, f64::max);
        let drawn = items.iter().enumerate().map(|(n, item)| {
            let here = marked.iter().find(|(place, ..)| *place == n);
            let limits = here.and(barrier).and_then(|barrier| {
                Some(belief.as_ref()?.usage_limits(Some(n), barrier, confidence))
            });
            let meets = here
                .and(barrier)
                .and_then(|barrier| lines?.meets(Some(n), barrier));
            let reach = meets.unwrap_or(seen).clamp(seen, 4.0 * seen) * 1.04;
            let band = match &belief {
                Some(belief) if here.is_some() && marked.len() <= BANDS => (0..=BAND_POINTS)
                    .map(|k| reach * f64::from(k) / f64::from(BAND_POINTS))
                    .map(|usage| {
                        let (lower, upper) = belief.band(Some(n), usage, confidence);
                        (usage, lower, upper)
                    })
                    .collect(),
                _ => Vec::new(),
            };
            WearItem {
                name: here.map(|here| here.1.clone()).unwrap_or_default(),
                in_place: here.is_some(),
                points: item.readings.clone(),
                line: lines.map(|lines| lines.line(Some(n))),
                now: here.and_then(|here| here.2),
                meets,
                meets_limits: limits.and_then(|l| Some((l.lower?, l.upper))),
                band,
            }
        });
        let chart = WearChart {
            id: format!("{}-wear", self.names.name(&slug(&words.name, "quantity"))),
            title: words.title,
            usage_label: words.usage_label,
            usage_unit: words.usage_unit,
            value_label: words.value_label,
            limit: barrier.map(|barrier| {
                let side = if barrier.rises { "at most" } else { "at least" };
                let told = format!("{side} {} {}", barrier.limit, words.value_unit);
                (barrier.limit, told.trim_end().to_owned())
            }),
            limits_name: format!("{} limits", crate::view::table::percent(confidence)),
            items: drawn.collect(),
        };
        match wear_chart(&chart, Size::default()) {
            Ok(svg) => self.files.push((format!("{}.svg", chart.id), svg)),
            Err(error) => {
                let told = format!("no chart of {}: {error}", words.name);
                self.refused.push(told);
            }
        }
    }

    pub(super) fn write(&self, folder: &Path) -> Result<(), CommandError> {
        let files = self
            .files
            .iter()
            .map(|(name, svg)| (name.as_str(), svg.as_str()));
        beside::write_all(folder, files).map_err(|cannot| refused(&cannot))
    }

    /// How many there are, where, and what has none.
    pub(super) fn told(&self, folder: &Path) -> String {
        let count = self.files.len();
        let many = if count == 1 { "chart" } else { "charts" };
        let mut words = format!("{count} {many} in {}", folder.display());
        for refused in &self.refused {
            words.push_str("; ");
            words.push_str(refused);
        }
        words
    }
}

fn refused(cannot: &Cannot) -> CommandError {
    cannot.told(|trouble| {
        trouble
            .because("Not every chart was written, and no result is shown.")
            .cured_by(
                "see that the folder can be written and the disk has room, name another \
             (--charts), or leave the charts out",
            )
    })
}
