//! The part of the report on where the money goes.
//!
//! What the machines cost by the hour run, over time and by component, planned against
//! unplanned, what changed and what planned renewal saved.
//! In: typed results of the rooms below ([`MoneyFacts`]). Out: words, figures and charts as data
//! ([`MoneyPart`]), set by the template `money.html`. Never: files, clock, analysis.

mod charts;
mod facts;
mod grid;
mod tables;
mod words;

use minijinja::value::Serde;
use minijinja::{Value, context};

pub use self::facts::{MoneyFacts, OfferRow, OnOffer, Stretch, Stretches};
pub use self::grid::{Cell, Grid, Head, Row};
use super::pictures::Pictures;
use super::render::ReportError;
use super::words::{list, lower_first};
use crate::chart::{
    ChangeBars, ChartError, OTHERS, RankedBars, StackedColumns, change_bars, ranked_bars,
    stacked_columns,
};
use crate::quantity::counted;

/// The part, ready to be set.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct MoneyPart {
    /// What it comes to, a sentence or two each.
    pub findings: Vec<String>,
    pub blocks: Vec<Block>,
}

/// A stretch under a heading.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct Block {
    pub title: String,
    #[serde(skip)]
    pub items: Vec<Item>,
}

/// What stands in a block.
#[derive(Debug, Clone)]
pub enum Item {
    Words(String),
    Table(Grid),
    /// A chart and its caption.
    Columns(StackedColumns, String),
    Ranked(RankedBars, String),
    Change(ChangeBars, String),
}

/// Chooses what the part says. The same facts give the same part.
pub fn money_part(facts: &MoneyFacts) -> MoneyPart {
    MoneyPart {
        findings: words::findings(facts),
        blocks: [
            over_time(facts),
            causes(facts),
            change(facts),
            savings(facts),
            indicators(facts),
        ]
        .into_iter()
        .filter(|block| !block.items.is_empty())
        .collect(),
    }
}

/// The part where nothing was ever spent.
pub fn no_cost() -> MoneyPart {
    MoneyPart {
        findings: vec![
            "The record tells of no cost yet: cost comes from renewals, jobs and expenses."
                .to_owned(),
        ],
        blocks: Vec::new(),
    }
}

fn over_time(facts: &MoneyFacts) -> Block {
    let mut items = Vec::new();
    if let Some(found) = charts::over_time(facts) {
        let mut caption = format!(
            "The higher a column, the more each {} cost that {}; read its parts from the foot up, \
             the dearest component of the whole record first.",
            charts::unit_words(facts),
            facts.over_time.every.word()
        );
        if found.chart.series.last().is_some_and(|s| s.look == OTHERS) {
            caption.push_str(" “All others” holds the machines’ own work and expenses too.");
        }
        if found.empty {
            caption.push_str(" Where a machine hardly ran, nothing is shown.");
        }
        if found.together {
            caption.push_str(" The dearest machines stand by themselves, the others together.");
        }
        items.push(Item::Columns(found.chart, caption));
    }
    items.push(Item::Table(tables::by_kind(facts)));
    items.extend(facts.notes.iter().map(|note| Item::Words(sentence(note))));
    Block {
        title: format!("What each {} costs", charts::unit_words(facts)),
        items,
    }
}

fn causes(facts: &MoneyFacts) -> Block {
    let mut items = Vec::new();
    if let Some(chart) = charts::causes(facts) {
        let caption = format!(
            "{}: the longer a bar, the more it cost; beside it stands what share of the whole it \
             and all above it make up.",
            words::recently(facts)
        );
        items.push(Item::Ranked(chart, caption));
    }
    items.push(Item::Table(tables::by_class(facts)));
    let unpriced = facts.whole.total.unpriced;
    if unpriced > 0 {
        items.push(Item::Words(format!(
            "{} no known price, as the register does not know the component or machine: the \
             amounts are too low by theirs.",
            counted(unpriced, "item has", "items have")
        )));
    }
    Block {
        title: "Where it goes".to_owned(),
        items,
    }
}

fn change(facts: &MoneyFacts) -> Block {
    let mut items = Vec::new();
    match &facts.change {
        None => items.push(Item::Words(
            "The record is too short to be set against an earlier stretch of itself.".to_owned(),
        )),
        Some(view) if view.kinds.is_empty() => items.push(Item::Words(format!(
            "Nothing was spent in {}, nor in {}.",
            tables::dates(&view.before),
            tables::dates(&view.after)
        ))),
        Some(view) => {
            if let Some(chart) = charts::steps(facts) {
                let caption = format!(
                    "From the cost of {} to that of {}: steps to the right made it dearer, steps to \
                     the left cheaper.",
                    tables::dates(&view.before),
                    tables::dates(&view.after)
                );
                items.push(Item::Change(chart, caption));
            }
            items.extend(tables::change(facts).map(Item::Table));
            items.extend(tables::failures(facts).map(Item::Table));
            let own = view
                .notes
                .iter()
                .filter(|note| note.contains("left out of the rates"));
            items.extend(own.map(|note| Item::Words(sentence(note))));
            items.push(Item::Words(
                "What else changed between the two stretches, a comparison of before and after \
                 cannot tell."
                    .to_owned(),
            ));
        }
    }
    Block {
        title: "Is it getting better?".to_owned(),
        items,
    }
}

fn savings(facts: &MoneyFacts) -> Block {
    let mut items: Vec<Item> = tables::saved(facts).map(Item::Table).into_iter().collect();
    if let Some(total) = &facts.saved.total {
        items.push(Item::Words(format!(
            "The sum is of the {} components with a figure. Each is estimated from lives of its \
             own, so that they tell nothing of each other: the limits of the sum are narrower than \
             the sum of the limits, and its middle need not be the sum of the middles.",
            total.components
        )));
    }
    let mute: Vec<String> = facts
        .saved
        .rows
        .iter()
        .filter(|row| row.saved.is_none())
        .map(|row| lower_first(facts.name(&row.component)))
        .collect();
    if !mute.is_empty() {
        items.push(Item::Words(format!(
            "No such figure for {}: what running to failure would cost is not known without a \
             failure, or without a meter that tells the usage.",
            list(&mute)
        )));
    }
    match tables::on_offer(facts) {
        Some(grid) => items.push(Item::Table(grid)),
        None => items.push(Item::Words(
            "No recommendation changes what is done today.".to_owned(),
        )),
    }
    if facts.offer.rows.len() > 1 {
        items.push(Item::Words(
            "The sum’s limits are found in the same way; positions of one component are taken to \
             be high and low together. It leaves out what is saved where renewals share a stop."
                .to_owned(),
        ));
    }
    if !facts.offer.at_openings.is_empty() {
        let names: Vec<String> = facts
            .offer
            .at_openings
            .iter()
            .map(|n| lower_first(n))
            .collect();
        items.push(Item::Words(format!(
            "Not counted: {}, renewed today whenever their access is opened.",
            list(&names)
        )));
    }
    if !facts.offer.without_usage.is_empty() {
        items.push(Item::Words(format!(
            "Not counted: slots of {}, as nothing tells how much they will run.",
            list(&facts.offer.without_usage)
        )));
    }
    Block {
        title: "Does planned renewal pay?".to_owned(),
        items,
    }
}

fn indicators(facts: &MoneyFacts) -> Block {
    let mut items: Vec<Item> = tables::indicators(facts)
        .map(Item::Table)
        .into_iter()
        .collect();
    let mut missing: Vec<(&str, Vec<String>)> = Vec::new();
    for one in &facts.indicators {
        // What has to be asked for with a usage of its own is no gap in the record.
        let gap = one.value.is_none() && one.id != "repeat-failures";
        let Some(note) = one.note.as_deref().filter(|_| gap) else {
            continue;
        };
        match missing.iter_mut().find(|(known, _)| *known == note) {
            Some((_, names)) => names.push(lower_first(one.name)),
            None => missing.push((note, vec![lower_first(one.name)])),
        }
    }
    if !missing.is_empty() {
        let said = missing
            .iter()
            .map(|(note, names)| format!("{} ({note})", list(names)));
        let said: Vec<String> = said.collect();
        items.push(Item::Words(format!(
            "The record cannot give {}.",
            said.join("; ")
        )));
    }
    Block {
        title: "Standard indicators".to_owned(),
        items,
    }
}

/// A note as a sentence.
fn sentence(note: &str) -> String {
    format!("{}.", super::words::capital(note))
}

const WIDTH_PX: u32 = 720;

/// The part with its pictures drawn.
pub(super) fn set(part: &MoneyPart, pictures: &mut Pictures) -> Result<Value, ReportError> {
    let mut blocks = Vec::new();
    for block in &part.blocks {
        let mut items = Vec::new();
        for item in &block.items {
            items.push(self::item(item, pictures)?);
        }
        blocks.push(context! { title => &block.title, items => items });
    }
    Ok(context! { part => Value::from(Serde(part)), blocks => blocks })
}

fn item(item: &Item, pictures: &mut Pictures) -> Result<Value, ReportError> {
    let mut draw = |name: &str,
                    what: &'static str,
                    caption: &str,
                    svg: &dyn Fn(String) -> Result<String, ChartError>| {
        let name = pictures.names.name(name);
        let svg = svg(name.clone()).map_err(|cause| ReportError::Picture { chart: what, cause })?;
        Ok::<Value, ReportError>(pictures.add(&name, svg, caption))
    };
    let figure = match item {
        Item::Words(text) => return Ok(context! { words => text, grid => (), figure => () }),
        Item::Table(grid) => {
            let grid = Value::from(Serde(grid));
            return Ok(context! { words => (), grid => grid, figure => () });
        }
        Item::Columns(chart, caption) => {
            draw("cost-over-time", "cost over time", caption, &|id| {
                let chart = StackedColumns {
                    id,
                    ..chart.clone()
                };
                stacked_columns(&chart, chart.size(WIDTH_PX))
            })?
        }
        Item::Ranked(chart, caption) => draw("cost-by-cause", "ranking of cost", caption, &|id| {
            let chart = RankedBars {
                id,
                ..chart.clone()
            };
            ranked_bars(&chart, chart.size(WIDTH_PX))
        })?,
        Item::Change(chart, caption) => draw("cost-change", "change of cost", caption, &|id| {
            let chart = ChangeBars {
                id,
                ..chart.clone()
            };
            change_bars(&chart, chart.size(WIDTH_PX))
        })?,
    };
    Ok(context! { words => (), grid => (), figure => figure })
}

#[cfg(test)]
mod tests;
