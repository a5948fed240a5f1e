//! Verdicts and wear lines as tables.
//!
//! In: [`WearView`], [`FileWearView`]. Out: text. Never: statistics.

use super::table::{Align, Notes, Table, figure, figure_or_dash, percent, usage};
use super::wear::{Ends, FileWearView, ItemView, LineFigures, WearView};
use crate::quantity::counted;

/// A usage, or "never".
fn or_never(usage: Option<f64>) -> String {
    usage.map_or_else(|| "never".into(), |usage| figure(usage, 3))
}

fn ends(ends: Option<Ends>) -> String {
    match ends {
        None => "–".into(),
        Some(Ends { lower: None, .. }) => "never".into(),
        Some(Ends { lower, upper }) => format!("{} to {}", or_never(lower), or_never(upper)),
    }
}

fn left(line: &LineFigures) -> String {
    if line.never() {
        "never".into()
    } else {
        figure_or_dash(line.usage_left, 3)
    }
}

/// Usage left in a few words: "about 5,650 h left (3,480 to 14,600 h)"; `None` where the line
/// tells nothing.
pub fn left_words(line: &LineFigures, unit: &str) -> Option<String> {
    if line.never() {
        return Some("no wear towards its limit".into());
    }
    let left = figure(line.usage_left?, 2);
    let limits = match line.usage_left_limits {
        Some(Ends {
            lower: Some(lower),
            upper,
        }) => format!(
            " ({} to {})",
            figure(lower, 2),
            upper.map_or_else(|| "never".into(), |upper| figure(upper, 2))
        ),
        _ => String::new(),
    };
    Some(format!("about {left} {unit} left{limits}"))
}

fn per_1000(line: &LineFigures) -> String {
    figure_or_dash(line.slope.map(|slope| 1_000.0 * slope), 3)
}

fn limits_heading(confidence: f64) -> String {
    format!("{} limits", percent(confidence))
}

fn chance_heading(before: f64, unit: &str) -> String {
    format!("passes in {} {unit}", usage(before))
        .trim_end()
        .to_owned()
}

impl WearView {
    /// Rounded; the JSON has all digits.
    pub fn table(&self) -> String {
        if self.items.is_empty() {
            return "No reading of an item that is still in.\n".into();
        }
        let limits = limits_heading(self.confidence);
        let unit = self.items.first().map_or("", |item| &item.usage_unit);
        let one_unit = self.items.iter().all(|item| item.usage_unit == unit);
        let unit = if one_unit { unit } else { "" };
        let left_heading = format!("left {unit}").trim_end().to_owned();
        let slope_heading = format!("per 1,000 {unit}").trim_end().to_owned();
        let chance = self.before.map(|before| chance_heading(before, unit));
        let mut headings = vec![
            ("component", Align::Left),
            ("where", Align::Left),
            ("quantity", Align::Left),
            ("day", Align::Left),
            ("read", Align::Right),
            ("verdict", Align::Left),
            ("judged", Align::Right),
            ("limit", Align::Left),
            (slope_heading.as_str(), Align::Right),
            (left_heading.as_str(), Align::Right),
            (limits.as_str(), Align::Left),
        ];
        if let Some(chance) = &chance {
            headings.push((chance.as_str(), Align::Right));
        }
        headings.extend([
            ("readings", Align::Right),
            ("own", Align::Right),
            ("", Align::Left),
        ]);
        let mut table = Table::new(headings);
        let mut notes = Notes::default();
        for item in &self.items {
            let mut cells = vec![
                item.component.clone(),
                format!("{} {}", item.machine, item.position),
                quantity(item),
                item.time.get(..10).unwrap_or(&item.time).to_owned(),
                format!("{} {}", item.value, item.unit),
                item.verdict.to_owned(),
                judged(item),
                limit(item),
                per_1000(&item.line),
                left(&item.line),
                ends(item.line.usage_left_limits),
            ];
            if self.before.is_some() {
                let chance = item.line.chance_before;
                cells.push(chance.map_or_else(|| "–".into(), percent));
            }
            cells.extend([
                item.line.readings.to_string(),
                item.line.own_share.map_or_else(|| "–".into(), percent),
                notes.marks(&item.notes),
            ]);
            table.row(cells);
        }
        let mut text = table.text();
        text.push('\n');
        for group in &self.groups {
            let Some(p) = &group.population else { continue };
            let zone = group.zone.as_ref().map(|z| format!(" ({z})"));
            text.push_str(&format!(
                "{} {}{}: lines through {} of {}\n",
                group.component,
                group.quantity,
                zone.unwrap_or_default(),
                counted(p.readings as u64, "reading", "readings"),
                counted(p.items as u64, "item", "items"),
            ));
        }
        text.push_str(
            "\nnear: in the last tenth from new to the limit. own: how much of an item's slope its \
             own readings settle;\nthe rest leans on items of its kind. What is measured says \
             nothing of failures that come another way.\n",
        );
        text.push_str(&notes.text());
        text
    }
}

fn quantity(item: &ItemView) -> String {
    match &item.zone {
        Some(zone) => format!("{} ({zone})", item.quantity),
        None => item.quantity.clone(),
    }
}

/// What was judged, where it is not what was read.
fn judged(item: &ItemView) -> String {
    match item.judged {
        Some(judged) if judged == item.value && item.limit_unit == Some(&item.unit) => {
            String::new()
        }
        judged => figure_or_dash(judged, 3),
    }
}

/// "at most 0.3 mm".
fn limit(item: &ItemView) -> String {
    match (item.rule_words, item.limit, item.limit_unit) {
        (Some(words), Some(limit), Some(unit)) => format!("{words} {limit} {unit}"),
        _ => "–".into(),
    }
}

impl FileWearView {
    /// Rounded; the JSON has all digits.
    pub fn table(&self) -> String {
        let limits = limits_heading(self.confidence);
        let chance = self.before.map(|before| chance_heading(before, ""));
        let mut headings = vec![
            ("item", Align::Left),
            ("slope per 1,000", Align::Right),
            ("new", Align::Right),
            ("at limit", Align::Right),
            (limits.as_str(), Align::Left),
            ("left", Align::Right),
            (limits.as_str(), Align::Left),
        ];
        if let Some(chance) = &chance {
            headings.push((chance.as_str(), Align::Right));
        }
        headings.extend([("readings", Align::Right), ("own", Align::Right)]);
        let mut table = Table::new(headings);
        for row in &self.lines {
            let line = &row.line;
            let at = line.usage_at_limit;
            // Two readings leave nothing to judge limits by.
            let around = at
                .filter(|_| line.usage_left_limits.is_some())
                .map(|at| Ends {
                    lower: at.lower,
                    upper: at.upper,
                });
            let mut cells = vec![
                row.item.clone(),
                per_1000(line),
                figure_or_dash(line.intercept, 4),
                at.map_or_else(|| "–".into(), |at| or_never(at.estimate)),
                ends(around),
                left(line),
                ends(line.usage_left_limits),
            ];
            if self.before.is_some() {
                cells.push(line.chance_before.map_or_else(|| "–".into(), percent));
            }
            cells.extend([
                line.readings.to_string(),
                line.own_share.map_or_else(|| "–".into(), percent),
            ]);
            table.row(cells);
        }
        let p = &self.population;
        let mut text = table.text();
        text.push_str(&format!(
            "\nAll: {} of {}, slope {} per 1,000",
            counted(p.readings as u64, "reading", "readings"),
            counted(p.items as u64, "item", "items"),
            figure(1_000.0 * p.slope, 4),
        ));
        if let Some(sd) = p.slope_sd {
            text.push_str(&format!(
                ", spread from item to item {}",
                figure(1_000.0 * sd, 3)
            ));
        }
        if let Some(sd) = p.residual_sd {
            text.push_str(&format!(", scatter of readings {}", figure(sd, 3)));
        }
        text.push_str(&format!(
            ".\nLimit {} {}. own: how much of an item's slope its own readings settle.\n",
            self.rule, self.limit
        ));
        for note in &self.notes {
            text.push_str(&format!("{note}\n"));
        }
        text
    }
}
