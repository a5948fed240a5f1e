//! How a file seems to write numbers and days.
//!
//! In: what stands in its columns. Out: forms, each with its reason and, where two would
//! fit, a warning. Never: silence about a doubt.

use super::look::{Column, Found};
use crate::intake::import::cell::Cell;
use crate::intake::import::dates::{Pattern, Reading, clock};
use crate::intake::import::figures::{NumberForm, number};
use crate::quantity::counted;

/// What a column holds, by its form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    Nothing,
    Numbers,
    Days,
    Clock,
    Texts,
}

#[derive(Debug)]
pub(super) struct Forms {
    pub numbers: Option<Found<NumberForm>>,
    pub dates: Vec<Found<String>>,
    /// By column.
    pub holds: Vec<Holds>,
}

/// Patterns tried, those with a time first. Days that ISO 8601 writes need none.
const PATTERNS: [&str; 24] = [
    "DD.MM.YYYY hh:mm:ss",
    "DD.MM.YYYY hh:mm",
    "DD.MM.YYYY",
    "DD.MM.YY hh:mm",
    "DD.MM.YY",
    "DD/MM/YYYY hh:mm:ss",
    "DD/MM/YYYY hh:mm",
    "DD/MM/YYYY",
    "DD/MM/YY",
    "MM/DD/YYYY hh:mm:ss AM",
    "MM/DD/YYYY hh:mm AM",
    "MM/DD/YYYY hh:mm",
    "MM/DD/YYYY",
    "MM/DD/YY",
    "DD-MM-YYYY hh:mm",
    "DD-MM-YYYY",
    "DD MON YYYY hh:mm",
    "DD MON YYYY",
    "DD-MON-YYYY",
    "DD-MON-YY",
    "MON DD, YYYY",
    "YYYY/MM/DD hh:mm",
    "YYYY/MM/DD",
    "YYYYMMDD",
];

const ISO: [&str; 5] = [
    "YYYY-MM-DD hh:mm:ss",
    "YYYY-MM-DD hh:mm",
    "YYYY-MM-DDThh:mm:ss",
    "YYYY-MM-DDThh:mm",
    "YYYY-MM-DD",
];

pub(super) fn forms(columns: &[Column]) -> Forms {
    let mut forms = Forms {
        numbers: None,
        dates: Vec::new(),
        holds: vec![Holds::Nothing; columns.len()],
    };
    for (n, column) in columns.iter().enumerate() {
        forms.holds[n] = holds(column, &mut forms.dates);
    }
    forms.numbers = number_form(columns, &forms.holds);
    forms
}

fn holds(column: &Column, dates: &mut Vec<Found<String>>) -> Holds {
    let most = |count: u64| count * 10 >= column.filled * 7;
    if column.filled == 0 {
        return Holds::Nothing;
    }
    // A few texts among typed days may still need a pattern.
    let dated = read_days(column, dates);
    if most(column.typed_days + dated) {
        return Holds::Days;
    }
    let clocks = rows(column, |text| clock(text).is_some());
    if most(column.typed_hours) || (column.texts() > 0 && most(clocks)) {
        return Holds::Clock;
    }
    let numbers = rows(column, number_like);
    if most(numbers + column.typed_numbers) {
        Holds::Numbers
    } else {
        Holds::Texts
    }
}

/// Rows of a column whose text fits.
fn rows(column: &Column, fits: impl Fn(&str) -> bool) -> u64 {
    let fitting = column.written.iter().filter(|(text, _)| fits(text));
    fitting.map(|(_, rows)| rows).sum()
}

/// How many rows hold days written as text; the patterns that read them are noted.
fn read_days(column: &Column, dates: &mut Vec<Found<String>>) -> u64 {
    let read = |pattern: &Pattern, text: &str| matches!(pattern.read(text), Reading::At(_));
    let patterns = |texts: &[&'static str]| -> Vec<(&'static str, Pattern)> {
        let parsed = texts.iter().map(|text| (*text, Pattern::parse(text)));
        parsed
            .filter_map(|(text, p)| Some((text, p.ok()?)))
            .collect()
    };
    let iso = patterns(&ISO);
    let known = rows(column, |text| iso.iter().any(|(_, p)| read(p, text)));
    if known > 0 && (known + column.typed_days) * 10 >= column.filled * 7 {
        return known;
    }
    let all = patterns(&PATTERNS);
    let (mut left, mut total): (Vec<&(String, u64)>, u64) = (column.written.iter().collect(), 0);
    loop {
        let count = |p: &Pattern| -> u64 {
            let fitting = left.iter().filter(|(text, _)| read(p, text));
            fitting.map(|(_, rows)| rows).sum()
        };
        let counts: Vec<(u64, &(&'static str, Pattern))> =
            all.iter().map(|pair| (count(&pair.1), pair)).collect();
        // Among equals the first stands.
        let best = counts.iter().rev().max_by_key(|(rows, _)| *rows);
        let Some((rows, (text, pattern))) = best.filter(|(rows, _)| *rows > 0) else {
            return total;
        };
        // A stray text of that form in a column of others is no reason.
        if total == 0 && (column.typed_days + rows) * 10 < column.filled * 6 {
            return 0;
        }
        let twins = counts
            .iter()
            .filter(|(other, pair)| other == rows && pair.0 != *text);
        let twins: Vec<&str> = twins.map(|(_, pair)| pair.0).collect();
        let example = left.iter().find(|(value, _)| read(pattern, value));
        let example = example.map_or("", |(value, _)| value.as_str());
        let count = counted(*rows, "row", "rows");
        let mut why = format!("reads {count} of {}, such as {example}", column.heading);
        if let Some(twin) = twins.first() {
            why.push_str(&format!("; CHECK: {twin} reads them as well"));
        }
        if !dates.iter().any(|found| found.value == *text) {
            dates.push(Found {
                value: (*text).to_owned(),
                why,
            });
        }
        total += rows;
        left.retain(|(value, _)| !read(pattern, value));
    }
}

/// Whether a text may be a number in some writing.
fn number_like(text: &str) -> bool {
    let text = text.trim_matches(|c: char| c.is_whitespace() || "€£$".contains(c));
    let text = text.strip_suffix(" h").unwrap_or(text);
    let text = text.strip_prefix(['-', '+', '−']).unwrap_or(text);
    text.starts_with(|c: char| c.is_ascii_digit())
        && text
            .chars()
            .all(|c| c.is_ascii_digit() || c.is_whitespace() || ".,'".contains(c))
}

/// The form that reads most of the texts with a mark in them.
fn number_form(columns: &[Column], holds: &[Holds]) -> Option<Found<NumberForm>> {
    let numeric = columns.iter().zip(holds);
    let numeric = numeric.filter(|(column, h)| **h == Holds::Numbers && column.texts() > 0);
    let marked: Vec<&(String, u64)> = numeric
        .flat_map(|(column, _)| &column.written)
        .filter(|(text, _)| text.contains(['.', ',']))
        .collect();
    let forms = [
        ('.', None),
        (',', None),
        ('.', Some(',')),
        (',', Some('.')),
        ('.', Some('\'')),
    ];
    let count = |form: NumberForm| -> u64 {
        let read = |text: &str| {
            let text = text.trim_matches(|c: char| c.is_whitespace() || "€£$h".contains(c));
            number(&Cell::of_text(text), form, &[]).is_ok()
        };
        let fitting = marked.iter().filter(|(text, _)| read(text));
        fitting.map(|(_, rows)| rows).sum()
    };
    let counts: Vec<(u64, NumberForm)> = forms
        .into_iter()
        .map(|(decimal, thousands)| NumberForm { decimal, thousands })
        .map(|form| (count(form), form))
        .collect();
    let (rows, form) = *counts.iter().rev().max_by_key(|(rows, _)| *rows)?;
    let example = marked.first()?.0.as_str();
    let numbers = counted(rows, "number", "numbers");
    let mut why = format!("reads {numbers} written as text, such as {example}");
    // Marks that could be either: the same texts under the other decimal mark.
    let other =
        |(count, other): &&(u64, NumberForm)| *count == rows && other.decimal != form.decimal;
    let doubt = counts.iter().any(|pair| other(&pair));
    if doubt {
        why.push_str(&format!("; CHECK: `{example}` could be two numbers"));
    }
    (doubt || form != NumberForm::default()).then_some(Found { value: form, why })
}
