//! `fit --charts`: a probability plot a group, as SVG files in a folder.
//!
//! In: groups with their samples and fits. Out: files, and a sentence about them.
//! Never: the fit itself; drawing (see `chart`); what stands on a plot (see `report`).

use std::path::Path;

use super::CommandError;
use super::beside::{self, Cannot};
use super::fit::Group;
use crate::chart::{ProbabilityPlot, Size, number, probability_plot};
use crate::life::Sample;
use crate::model::examine::Examined;
use crate::model::group::{GroupFigures, life_limits};
use crate::model::models::Model;
use crate::report::names::{Names, slug};
use crate::report::probability::{Behind, PlotWords, probability, shares};
use crate::view::fit::GroupName;

/// A plot has a mark a life: beyond this many it is no picture but a blot, and a file of many
/// megabytes.
const MOST: u64 = 10_000;

/// What becomes of a group.
pub(super) enum Picture {
    /// With the group's name in words.
    Plot(String, Box<ProbabilityPlot>),
    /// No life at all.
    Empty,
    /// More than [`MOST`] lives.
    TooMany,
}

/// The plot of a group. Without a fit its lives stand there alone.
pub(super) fn picture(
    group: &Group,
    sample: &Sample,
    examined: &Examined,
    behind: Behind,
) -> Picture {
    match sample.count() {
        0 => return Picture::Empty,
        count if count > MOST => return Picture::TooMany,
        _ => {}
    }
    let name = in_words(&group.name);
    let usage_label = match group.unit.as_str() {
        "" => group.usage.clone(),
        unit => format!("{} ({unit})", group.usage),
    };
    let words = PlotWords {
        title: format!("{name}: how lives spread"),
        usage_label,
        usage_unit: group.unit.clone(),
        line_name: examined
            .fit
            .as_ref()
            .map_or_else(|_| String::new(), line_name),
    };
    let life = examined.fit.as_ref().ok().and_then(|fit| fit.distribution);
    let shares = shares();
    let limits = match life {
        Some(_) => life_limits(sample, &examined.ask, &shares).unwrap_or_default(),
        None => Vec::new(),
    };
    let limits: Vec<_> = shares.into_iter().zip(limits).collect();
    let confidence = examined.ask.confidence;
    let plot = probability(
        sample,
        life.as_ref(),
        &limits,
        confidence,
        behind,
        usize::MAX,
        words,
    );
    Picture::Plot(name, Box::new(plot))
}

/// "packing-set P2, mode leak"; "All lives" where nothing is kept apart.
fn in_words(name: &GroupName) -> String {
    let parts = [&name.component, &name.position, &name.machine, &name.group];
    let parts: Vec<&str> = parts.into_iter().filter_map(|p| p.as_deref()).collect();
    let mut words = match parts.as_slice() {
        [] => "All lives".to_owned(),
        parts => parts.join(" "),
    };
    if let Some(mode) = &name.mode {
        words.push_str(", mode ");
        words.push_str(mode);
    }
    words
}

/// What the line on the paper is; nothing for what the plot takes it for by itself.
fn line_name(fit: &GroupFigures) -> String {
    match (fit.model, fit.line.is_some(), fit.stated_shape) {
        (Model::Lognormal, true, _) => "lognormal line through ranks".to_owned(),
        (_, true, _) => "Weibull line through ranks".to_owned(),
        (_, _, Some(shape)) => format!("fitted Weibull, shape {shape} taken as known"),
        (Model::Weibull, ..) => String::new(),
        (Model::Weibull3, ..) => "fitted Weibull with a location".to_owned(),
        (Model::Exponential, ..) => "fitted exponential".to_owned(),
        (Model::Lognormal, ..) => "fitted lognormal".to_owned(),
    }
}

/// The files so far.
#[derive(Debug, Default)]
pub(super) struct Charts {
    /// Name and text.
    files: Vec<(String, String)>,
    names: Names,
    empty: usize,
    too_many: usize,
    /// Groups that no paper holds, with the reason.
    refused: Vec<String>,
}

impl Charts {
    /// Fails where nothing can be written to the folder, which is made as needed.
    pub(super) fn prove_writable(folder: &Path) -> Result<(), CommandError> {
        beside::prove_writable(folder).map_err(|cannot| refused(&cannot))
    }

    /// Draws a group's plot under a name of its own.
    pub(super) fn add(&mut self, picture: Picture) {
        match picture {
            Picture::Empty => self.empty += 1,
            Picture::TooMany => self.too_many += 1,
            Picture::Plot(group, mut plot) => {
                plot.id = format!("{}-fit", self.names.name(&slug(&group, "group")));
                match probability_plot(&plot, Size::default()) {
                    Ok(svg) => self.files.push((format!("{}.svg", plot.id), svg)),
                    // Usages beyond any axis: the figures stand all the same.
                    Err(error) => self.refused.push(format!("no plot of {group}: {error}")),
                }
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

    /// How many there are, where, and which groups have none.
    pub(super) fn told(&self, folder: &Path) -> String {
        let many = |count: usize, what: &str| match count {
            1 => format!("1 {what}"),
            _ => format!("{} {what}s", number(count as f64, 0)),
        };
        let mut words = format!(
            "{} in {}",
            many(self.files.len(), "probability plot"),
            folder.display()
        );
        if self.empty > 0 {
            words.push_str(&format!(
                "; {} without a life: no plot",
                many(self.empty, "group")
            ));
        }
        if self.too_many > 0 {
            words.push_str(&format!(
                "; {} of more than {} lives: too many to plot",
                many(self.too_many, "group"),
                number(MOST as f64, 0)
            ));
        }
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
            .because("Not every plot was written, and no result is shown.")
            .cured_by(
                "see that the folder can be written and the disk has room, name another \
                 (--charts), or leave the plots out",
            )
    })
}
