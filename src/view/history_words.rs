//! An entry about a slot, in words for one row of a table.

use chrono_tz::Tz;

use crate::book::{Age, Ending, Entry, Event, Item};
use crate::quantity::time::show;

/// Cells of a row.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) time: String,
    pub(super) logged: String,
    pub(super) what: String,
    pub(super) withdrawn: String,
}

/// What an entry states beside its slot; `unit` is that of the component's usage.
pub(super) fn details(entry: &Entry, unit: &str) -> String {
    let mut words = Vec::new();
    match &entry.event {
        Event::Installed { item, .. } => words.extend(item_words(item, unit)),
        Event::Replaced { item, end, .. } => {
            words.push(end_words(end));
            let put_in = item_words(item, unit);
            if !put_in.is_empty() {
                words.push(format!("in its place {}", put_in.join(", ")));
            }
        }
        Event::Removed { end, .. } => words.push(end_words(end)),
        Event::Inspected { finding, mode, .. } => {
            words.push(finding.word().to_owned());
            words.extend(mode.clone());
        }
        Event::Measured {
            quantity,
            value,
            unit,
            zone,
            span,
            new_value,
            ..
        } => {
            let mut text = format!("{quantity} {value} {unit}");
            if let Some(new) = new_value {
                text.push_str(&format!(" (new {new} {unit})"));
            }
            words.push(text);
            words.extend(zone.as_ref().map(|zone| format!("zone {zone}")));
            words.extend(span.map(|span| format!("over {span} m")));
        }
        _ => {}
    }
    words.extend(entry.note.as_ref().map(|note| format!("“{note}”")));
    if let Some(source) = &entry.source {
        words.push(format!("from {} row {}", source.file, source.row));
    }
    words.join("; ")
}

fn item_words(item: &Item, unit: &str) -> Vec<String> {
    let mut words = Vec::new();
    words.extend(item.part.as_ref().map(|part| format!("part {part}")));
    words.extend(item.pieces.map(|pieces| match pieces {
        1 => "1 piece".to_owned(),
        pieces => format!("{pieces} pieces"),
    }));
    words.extend(item.batch.as_ref().map(|batch| format!("batch {batch}")));
    words.extend(
        item.serial
            .as_ref()
            .map(|serial| format!("serial {serial}")),
    );
    match item.age {
        Age::New => {}
        Age::Known(age) => words.push(format!("{age} {unit} on it").replace("  ", " ")),
        Age::Unknown => words.push("age unknown".to_owned()),
    }
    words
}

fn end_words(end: &Ending) -> String {
    let mut words = vec![end.reason.word().to_owned()];
    words.extend(end.mode.clone());
    words.extend(end.found.map(|found| match found.word() {
        "inspection" => "found at inspection".to_owned(),
        other => format!("found {other}"),
    }));
    words.join(", ")
}

/// Who withdrew an entry, when, and why.
pub(super) fn withdrawn_words(by: &Entry, why: &str, zone: Tz) -> String {
    let when = show(by.time, zone);
    format!("withdrawn by {} on {when}: {why}", by.who)
}
