//! Verdicts and wear lines as JSON and CSV. The JSON keys are a contract.
//!
//! In: [`WearLines`], verdicts, readings. Out: [`WearView`], [`FileWearView`]. Never: statistics,
//! tables (see `wear_table`).

use serde::Serialize;

use super::table::{cell, csv_text, figure};
pub use super::wear_table::left_words;
use crate::store::Reading;
use crate::wear::{
    Barrier, Belief, LimitRule, NotComparable, Population, Standard, Standing, Verdict, WearLines,
};

/// Both ends; `null`: never.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ends {
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Usage since renewal at which a line meets its limit; `null`: never.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtLimitView {
    pub estimate: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// What a line says of one item. Slope per unit of usage; unknown and never are null.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct LineFigures {
    pub slope: Option<f64>,
    pub intercept: Option<f64>,
    pub usage_at_limit: Option<AtLimitView>,
    /// From now: of the estimate; 0 where the line has passed the limit.
    pub usage_left: Option<f64>,
    pub usage_left_limits: Option<Ends>,
    /// That the line passes the limit within the further usage asked for.
    pub chance_before: Option<f64>,
    /// How much of the slope is its own: the rest leans on its siblings.
    pub own_share: Option<f64>,
    /// Readings of it that the line goes through.
    pub readings: usize,
}

/// What is asked of a line beside its estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    pub confidence: f64,
    /// Further usage to give the chance for.
    pub before: Option<f64>,
}

impl LineFigures {
    /// The line of an item that has run `usage_now`.
    pub fn new(
        lines: &WearLines,
        belief: Option<&Belief<'_>>,
        item: usize,
        barrier: Option<Barrier>,
        usage_now: Option<f64>,
        asked: Asked,
        readings: usize,
    ) -> Self {
        let (intercept, slope) = lines.line(Some(item));
        let meets = barrier.map(|barrier| lines.meets(Some(item), barrier));
        let limits = barrier.and_then(|barrier| {
            belief.map(|b| b.usage_limits(Some(item), barrier, asked.confidence))
        });
        let left = |usage: Option<f64>| Some((usage? - usage_now?).max(0.0));
        LineFigures {
            slope: Some(slope),
            intercept: Some(intercept),
            usage_at_limit: meets.map(|estimate| AtLimitView {
                estimate,
                lower: limits.and_then(|l| l.lower),
                upper: limits.and_then(|l| l.upper),
            }),
            usage_left: left(meets.flatten()),
            usage_left_limits: limits.filter(|_| usage_now.is_some()).map(|l| Ends {
                lower: left(l.lower),
                upper: left(l.upper),
            }),
            chance_before: (|| {
                let usage = usage_now? + asked.before?;
                Some(belief?.chance_beyond(Some(item), barrier?, usage))
            })(),
            own_share: Some(lines.own_share(item)),
            readings,
        }
    }

    /// The line meets its limit at no usage.
    pub fn never(&self) -> bool {
        self.usage_at_limit.is_some_and(|at| at.estimate.is_none())
    }
}

/// What all items of a group share.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PopulationView {
    pub intercept: f64,
    pub slope: f64,
    /// Spread of slopes from item to item; null for one item.
    pub slope_sd: Option<f64>,
    pub residual_sd: Option<f64>,
    pub items: usize,
    pub readings: usize,
}

impl PopulationView {
    pub fn new(lines: &WearLines) -> Self {
        let Population {
            intercept,
            slope,
            slope_sd,
            residual_sd,
            ..
        } = *lines.population();
        PopulationView {
            intercept,
            slope,
            slope_sd,
            residual_sd,
            items: lines.items_read(),
            readings: lines.readings(),
        }
    }
}

/// A line of a file.
#[derive(Debug, Clone, Serialize)]
pub struct FileLineView {
    pub item: String,
    #[serde(flatten)]
    pub line: LineFigures,
    /// Usage of its last reading, from which `usage_left` counts.
    pub usage_now: f64,
}

/// Lines through the readings of a file.
#[derive(Debug, Clone, Serialize)]
pub struct FileWearView {
    pub lines: Vec<FileLineView>,
    pub population: PopulationView,
    pub limit: f64,
    pub rule: &'static str,
    pub confidence: f64,
    pub before: Option<f64>,
    pub notes: Vec<String>,
}

/// An item still in: its latest reading, the verdict and its line.
#[derive(Debug, Clone, Serialize)]
pub struct ItemView {
    pub component: String,
    pub machine: String,
    pub position: String,
    pub quantity: String,
    pub zone: Option<String>,
    pub serial: Option<String>,
    /// Of the latest reading, as it was given.
    pub time: String,
    pub value: f64,
    pub unit: String,
    /// `within`, `near`, `beyond` or `not comparable`.
    pub verdict: &'static str,
    /// Why it is not comparable.
    pub reason: Option<String>,
    /// What the rule judges, in the limit's unit.
    pub judged: Option<f64>,
    pub limit: Option<f64>,
    pub limit_unit: Option<&'static str>,
    pub rule: Option<&'static str>,
    /// To the limit; below 0 beyond it.
    pub left: Option<f64>,
    /// From new to the limit: the last tenth of it is `near`.
    pub allowance: Option<f64>,
    /// `long part`, `ring` or `both`, for a paired clearance beyond its limit.
    pub worn: Option<&'static str>,
    /// On the item at the latest reading, and now.
    pub usage: Option<f64>,
    pub usage_now: Option<f64>,
    pub usage_unit: String,
    #[serde(flatten)]
    pub line: LineFigures,
    pub sha: String,
    pub notes: Vec<String>,
    #[serde(skip)]
    pub(super) rule_words: Option<&'static str>,
}

impl ItemView {
    /// The view of an item; `day` is the latest reading's, in plant time.
    pub fn new(
        reading: Reading,
        verdict: &Result<Verdict, NotComparable>,
        standard: Option<&Standard>,
        line: LineFigures,
        usage_unit: &str,
        mut notes: Vec<String>,
    ) -> Self {
        let found = verdict.as_ref().ok();
        if let Some(worn) = found.and_then(|v| v.worn) {
            notes.insert(0, worn.words().to_owned());
        }
        let reason = verdict.as_ref().err().map(ToString::to_string);
        if let Some(reason) = &reason {
            notes.insert(0, format!("not comparable: {reason}"));
        }
        ItemView {
            component: reading.component,
            machine: reading.item_machine.unwrap_or(reading.machine),
            position: reading.item_position.unwrap_or(reading.position),
            quantity: reading.quantity,
            zone: reading.zone,
            serial: reading.serial,
            time: crate::quantity::time::format_utc(reading.time),
            value: reading.value,
            unit: reading.unit,
            verdict: found.map_or("not comparable", |v| v.standing.word()),
            reason,
            judged: found.map(|v| v.judged),
            limit: standard.and_then(|s| s.rule.limit()),
            limit_unit: standard.map(|s| s.unit.symbol()),
            rule: standard.map(|s| s.rule.key()),
            left: found.map(|v| v.left),
            allowance: found.map(|v| v.allowance),
            worn: found.and_then(|v| v.worn).map(|worn| worn.word()),
            usage: reading.usage,
            usage_now: reading.usage_now,
            usage_unit: usage_unit.to_owned(),
            line,
            sha: reading.sha,
            notes,
            rule_words: standard.map(|s| s.rule.words()),
        }
    }
}

/// A verdict in a line: "within its limit: 0.02 mm, loss from new at most 0.05 mm".
pub fn verdict_words(standard: &Standard, verdict: &Result<Verdict, NotComparable>) -> String {
    let unit = match standard.rule {
        LimitRule::PerMetreAtMost { .. } => format!("{}/m", standard.unit.symbol()),
        _ => standard.unit.symbol().to_owned(),
    };
    match verdict {
        Err(reason) => format!("no verdict: {reason}"),
        Ok(found) => {
            let side = match found.standing {
                Standing::Within => "within its limit",
                Standing::Near => "near its limit",
                Standing::Beyond => "beyond its limit",
            };
            let mut words = format!(
                "{side}: {} {unit}, {} {} {unit}",
                figure(found.judged, 4),
                standard.rule.words(),
                found.limit,
            );
            if let Some(worn) = found.worn {
                words.push_str("; ");
                words.push_str(worn.words());
            }
            words
        }
    }
}

/// What a group's lines rest on.
#[derive(Debug, Clone, Serialize)]
pub struct WearGroupView {
    pub component: String,
    pub quantity: String,
    pub zone: Option<String>,
    pub rule: Option<&'static str>,
    pub limit: Option<f64>,
    pub unit: Option<&'static str>,
    pub usage_unit: String,
    /// Null where there is no line.
    pub population: Option<PopulationView>,
    /// Readings no line goes through.
    pub left_out: usize,
    pub notes: Vec<String>,
}

/// All items of one call.
#[derive(Debug, Clone, Serialize)]
pub struct WearView {
    pub items: Vec<ItemView>,
    pub groups: Vec<WearGroupView>,
    pub confidence: f64,
    pub before: Option<f64>,
}

impl WearView {
    /// Whether any item is beyond its limit.
    pub fn any_beyond(&self) -> bool {
        self.items.iter().any(|item| item.verdict == "beyond")
    }

    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings = [
            "component",
            "machine",
            "position",
            "quantity",
            "zone",
            "serial",
            "time",
            "value",
            "unit",
            "verdict",
            "reason",
            "judged",
            "limit",
            "limit_unit",
            "rule",
            "left",
            "allowance",
            "worn",
            "usage",
            "usage_now",
            "usage_unit",
        ];
        let rows = self.items.iter().map(|item| {
            let text = |part: &Option<String>| part.clone().unwrap_or_default();
            let word = |part: Option<&str>| part.unwrap_or_default().to_owned();
            let mut cells = vec![
                item.component.clone(),
                item.machine.clone(),
                item.position.clone(),
                item.quantity.clone(),
                text(&item.zone),
                text(&item.serial),
                item.time.clone(),
                item.value.to_string(),
                item.unit.clone(),
                item.verdict.into(),
                text(&item.reason),
                cell(item.judged),
                cell(item.limit),
                word(item.limit_unit),
                word(item.rule),
                cell(item.left),
                cell(item.allowance),
                word(item.worn),
                cell(item.usage),
                cell(item.usage_now),
                item.usage_unit.clone(),
            ];
            cells.extend(line_cells(&item.line));
            cells.extend([item.sha.clone(), item.notes.join("; ")]);
            cells
        });
        let all: Vec<&str> = headings
            .into_iter()
            .chain(LINE_HEADINGS)
            .chain(["sha", "notes"])
            .collect();
        csv_text(&all, rows)
    }
}

const LINE_HEADINGS: [&str; 11] = [
    "slope",
    "intercept",
    "at_limit_estimate",
    "at_limit_lower",
    "at_limit_upper",
    "usage_left",
    "usage_left_lower",
    "usage_left_upper",
    "chance_before",
    "own_share",
    "readings",
];

fn line_cells(line: &LineFigures) -> [String; 11] {
    let at = line.usage_at_limit;
    let left = line.usage_left_limits;
    [
        cell(line.slope),
        cell(line.intercept),
        cell(at.and_then(|at| at.estimate)),
        cell(at.and_then(|at| at.lower)),
        cell(at.and_then(|at| at.upper)),
        cell(line.usage_left),
        cell(left.and_then(|left| left.lower)),
        cell(left.and_then(|left| left.upper)),
        cell(line.chance_before),
        cell(line.own_share),
        line.readings.to_string(),
    ]
}

impl FileWearView {
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    pub fn csv(&self) -> Result<String, csv::Error> {
        let headings: Vec<&str> = ["item", "usage_now"]
            .into_iter()
            .chain(LINE_HEADINGS)
            .collect();
        let rows = self.lines.iter().map(|line| {
            let mut cells = vec![line.item.clone(), line.usage_now.to_string()];
            cells.extend(line_cells(&line.line));
            cells
        });
        csv_text(&headings, rows)
    }
}
