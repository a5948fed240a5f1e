//! From the report's data to HTML and chart files.
//!
//! In: [`Report`]. Out: [`Rendered`]. Never: files, analysis.

use minijinja::value::Serde;
use minijinja::{Value, context};

use super::dress::Dress;
use super::engine::{css_string, engine};
use super::model::{ComponentSection, EvidenceGroup, Report};
use super::names::slug;
use super::pictures::{ChartFile, Pictures};
use super::{money, stops};
use crate::chart::{
    ChartError, IntervalRanges, Size, SlotHistory, cost_curve, hazard_curve, interval_ranges,
    probability_plot, slot_history,
};
use crate::quantity::Paper;

/// Lanes in one picture of a slot history; more fall into several pictures.
const LANES: usize = 36;
const WIDTH_PX: u32 = 720;
/// A picture that shares the page's width with another.
const HALF: Size = Size {
    width_px: 460,
    height_px: 370,
};
/// A cost curve over the page's width.
const COST_SIZE: Size = Size {
    width_px: 720,
    height_px: 300,
};

/// The finished page and its pictures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rendered {
    /// The page, whole.
    pub html: String,
    /// The same pictures as in the page, each for a file of its own.
    pub charts: Vec<ChartFile>,
}

/// Why a report cannot be set.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReportError {
    /// A picture cannot be drawn.
    #[error("the {chart} of {component}: {cause}")]
    Chart {
        /// Component name.
        component: String,
        /// Which picture.
        chart: &'static str,
        /// Why.
        cause: ChartError,
    },
    /// A picture that belongs to no component cannot be drawn.
    #[error("the {chart}: {cause}")]
    Picture {
        /// Which picture.
        chart: &'static str,
        /// Why.
        cause: ChartError,
    },
    /// A template is no template, or does not fit the data.
    #[error("{name}{}: {what}", line.map(|line| format!(":{line}")).unwrap_or_default())]
    Template {
        /// The template's name.
        name: String,
        /// Where in it.
        line: Option<usize>,
        /// What is wrong there.
        what: String,
    },
}

/// Sets the report as built in; see [`render_dressed`].
pub fn render(report: &Report) -> Result<Rendered, ReportError> {
    render_dressed(report, &Dress::default())
}

/// Sets the report with what the plant has of its own.
///
/// Errors: [`ReportError::Chart`] where a chart holds a number that cannot be drawn,
/// [`ReportError::Template`] where a template and the data disagree.
pub fn render_dressed(report: &Report, dress: &Dress) -> Result<Rendered, ReportError> {
    let mut pictures = Pictures::default();
    let ranges = match &report.ranges {
        Some(data) => Some(ranges(data, &mut pictures)?),
        None => None,
    };
    let money = match &report.money {
        Some(part) => Some(money::set(part, &mut pictures)?),
        None => None,
    };
    let stops = match &report.stops {
        Some(part) => Some(stops::set(part, &mut pictures)?),
        None => None,
    };
    let mut components = Vec::new();
    for (i, section) in report.components.iter().enumerate() {
        components.push(component(section, i + 1, &mut pictures)?);
    }
    let engine = engine(&dress.templates())?;
    let html = engine.get_template("report.html")?.render(context! {
        report => Value::from(Serde(report)),
        ranges => ranges,
        money => money,
        stops => stops,
        components => components,
        // Base 64 holds nothing that a page could take for markup.
        logo => dress.logo.clone().map(Value::from_safe_string),
        css => Value::from_safe_string(style(report, dress)),
    })?;
    Ok(Rendered {
        html,
        charts: pictures.files,
    })
}

/// The style sheet with the plant and the day at the foot of each printed page.
fn style(report: &Report, dress: &Dress) -> String {
    let foot = format!("{}, as of {}", report.plant, report.as_of);
    dress
        .text("report.css")
        .replace("FOOTER", &css_string(&foot))
        .replace("PAPER", dress.paper.map_or("auto", Paper::word))
}

fn component(
    section: &ComponentSection,
    number: usize,
    pictures: &mut Pictures,
) -> Result<Value, ReportError> {
    let slug = slug(&section.id, "component");
    // Anchors share the page's ids with the pictures and with the fixed sections.
    let anchor = pictures.names.name(&format!("section-{slug}"));
    let mut groups = Vec::new();
    for group in &section.groups {
        groups.push(evidence(section, group, &slug, pictures)?);
    }
    let mut histories = Vec::new();
    let lanes = &section.history.lanes;
    let pictures_needed = lanes.len().div_ceil(LANES).max(1);
    for lanes in lanes.chunks(lanes.len().div_ceil(pictures_needed).max(1)) {
        let name = pictures.names.name(&format!("{slug}-history"));
        let part = SlotHistory {
            id: name.clone(),
            title: section.history.title.clone(),
            lanes: lanes.to_vec(),
        };
        let svg = slot_history(&part, part.size(WIDTH_PX))
            .map_err(|cause| fault(section, "slot history", cause))?;
        let caption = format!("{HISTORY} {}", section.history_note);
        histories.push(pictures.add(&name, svg, caption.trim_end()));
    }
    Ok(context! {
        section => Value::from(Serde(section)),
        anchor => anchor,
        number => number,
        groups => groups,
        histories => histories,
    })
}

const RANGES: &str = "The band holds every interval that costs within 5 % of the least; a planned \
    stop anywhere in it will do.";

fn ranges(data: &IntervalRanges, pictures: &mut Pictures) -> Result<Value, ReportError> {
    let name = pictures.names.name("intervals");
    let mut data = data.clone();
    data.id = name.clone();
    let svg =
        interval_ranges(&data, data.size(WIDTH_PX)).map_err(|cause| ReportError::Picture {
            chart: "picture of intervals",
            cause,
        })?;
    Ok(pictures.add(&name, svg, RANGES))
}

const PROBABILITY: &str = "A straight line is a Weibull distribution; a steeper one means lives \
    that end more alike.";
const NO_FIT: &str = "Without a fit there is no line to draw.";
const HAZARD: &str = "Of items that have reached an age, so many fail in a stretch of usage there; \
    by the fitted Weibull.";
const THINNED: &str = "Of so many lives only some are drawn, the shortest and the longest among \
    them; each stands where it does among all.";
const COST: &str = "What the component costs per unit of usage when it is renewed at each \
    interval, or at failure if that comes first.";
const HISTORY: &str = "One lane a slot; a bar is an item in place, the mark at its end says how it \
    ended.";

fn evidence(
    section: &ComponentSection,
    group: &EvidenceGroup,
    slug: &str,
    pictures: &mut Pictures,
) -> Result<Value, ReportError> {
    // Two pictures that share a page's width are drawn narrower, so that their words stay legible.
    let size = match group.hazard {
        Some(_) => HALF,
        None => Size::default(),
    };
    let name = pictures.names.name(&format!("{slug}-probability"));
    let mut plot = group.probability.clone();
    plot.id = name.clone();
    let svg =
        probability_plot(&plot, size).map_err(|cause| fault(section, "probability plot", cause))?;
    let caption = if plot.line.is_empty() {
        NO_FIT
    } else {
        PROBABILITY
    };
    let thinned = match plot.all {
        Some(_) => format!("{caption} {THINNED}"),
        None => caption.to_owned(),
    };
    let probability = pictures.add(&name, svg, &thinned);
    let hazard = match &group.hazard {
        Some(curve) => {
            let name = pictures.names.name(&format!("{slug}-hazard"));
            let mut curve = curve.clone();
            curve.id = name.clone();
            let svg =
                hazard_curve(&curve, size).map_err(|cause| fault(section, "hazard", cause))?;
            Some(pictures.add(&name, svg, HAZARD))
        }
        None => None,
    };
    let cost = match &group.cost {
        Some(curve) => {
            let name = pictures.names.name(&format!("{slug}-cost"));
            let mut curve = curve.clone();
            curve.id = name.clone();
            let svg = cost_curve(&curve, COST_SIZE)
                .map_err(|cause| fault(section, "cost curve", cause))?;
            Some(pictures.add(&name, svg, COST))
        }
        None => None,
    };
    Ok(context! {
        block => Value::from(Serde(group)),
        probability => probability,
        hazard => hazard,
        cost => cost,
    })
}

fn fault(section: &ComponentSection, chart: &'static str, cause: ChartError) -> ReportError {
    ReportError::Chart {
        component: section.name.clone(),
        chart,
        cause,
    }
}
