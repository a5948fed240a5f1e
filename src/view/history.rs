//! The history of one slot as table, JSON and CSV. The JSON keys and CSV columns are a
//! contract.
//!
//! In: entries, stays, usage at moments. Out: text. Never: reckoning of usage.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;

use super::history_words::{Row, details, withdrawn_words};
use super::table::{Align, Table, cell, csv_text};
use crate::book::{Age, Entry, Event, SlotEntry, SlotName, Told};
use crate::quantity::text::one_line;
use crate::quantity::time::{day, format_utc, show};
use crate::quantity::{counted, thousands};
use crate::store::SlotStay;

/// What is known of a slot.
pub struct Facts<'a> {
    pub machine: &'a str,
    pub slot: &'a SlotName,
    /// The component's name; `None` where the register does not know it.
    pub name: Option<&'a str>,
    pub unit: Option<&'a str>,
    /// The moment the ledger is taken at; `None` where it has no entries.
    pub as_of: Option<DateTime<Utc>>,
    pub zone: Tz,
    pub entries: &'a [SlotEntry],
    pub stays: &'a [SlotStay],
    /// Usage of the machine at a moment, and whether it lies beyond the readings.
    pub usage: &'a dyn Fn(DateTime<Utc>) -> Option<f64>,
    pub extrapolated: &'a dyn Fn(DateTime<Utc>) -> bool,
    /// What goes before the names of books.
    pub prefix: &'a str,
}

/// One slot's story. Usages in `unit`; unknown is null.
#[derive(Debug, Serialize)]
pub struct HistoryView {
    machine: String,
    component: String,
    position: String,
    unit: Option<String>,
    as_of: Option<String>,
    entries: Vec<EntryView>,
    lives: Vec<StayView>,
    #[serde(skip)]
    name: Option<String>,
    #[serde(skip)]
    moment: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// One entry; keys are those of its line.
#[derive(Debug, Serialize)]
struct EntryView {
    entry: &'static str,
    time: String,
    logged: String,
    who: String,
    /// Usage of the machine then; `extrapolated` where it lies more than a day beyond the
    /// readings of its meter.
    usage: Option<f64>,
    extrapolated: bool,
    reason: Option<&'static str>,
    mode: Option<String>,
    found: Option<&'static str>,
    finding: Option<&'static str>,
    part: Option<String>,
    pieces: Option<u32>,
    batch: Option<String>,
    serial: Option<String>,
    age: Option<f64>,
    age_unknown: bool,
    quantity: Option<String>,
    value: Option<f64>,
    quantity_unit: Option<String>,
    zone: Option<String>,
    span: Option<f64>,
    new_value: Option<f64>,
    job: Option<String>,
    note: Option<String>,
    source: Option<String>,
    sha: String,
    book: String,
    line: usize,
    withdrawn: Option<WithdrawnView>,
    #[serde(skip)]
    row: Row,
}

/// What withdrew an entry.
#[derive(Debug, Serialize)]
struct WithdrawnView {
    time: String,
    logged: String,
    who: String,
    why: String,
    sha: String,
    book: String,
    line: usize,
}

/// One item's stay in the slot.
#[derive(Debug, Serialize)]
struct StayView {
    start_time: String,
    end_time: Option<String>,
    /// Usage run here, and with what was on the item when it was put in.
    usage: Option<f64>,
    usage_in_all: Option<f64>,
    part: Option<String>,
    batch: Option<String>,
    serial: Option<String>,
    reason: Option<String>,
    mode: Option<String>,
    found: Option<String>,
    start_sha: String,
    end_sha: Option<String>,
}

const CSV_COLUMNS: [&str; 36] = [
    "machine",
    "component",
    "position",
    "entry",
    "time",
    "logged",
    "who",
    "usage",
    "unit",
    "reason",
    "mode",
    "found",
    "finding",
    "part",
    "pieces",
    "batch",
    "serial",
    "age",
    "age_unknown",
    "quantity",
    "value",
    "quantity_unit",
    "zone",
    "span",
    "new_value",
    "job",
    "note",
    "source",
    "sha",
    "book",
    "line",
    "life_ended",
    "withdrawn_time",
    "withdrawn_who",
    "withdrawn_why",
    "withdrawn_sha",
];

impl HistoryView {
    pub fn new(facts: &Facts<'_>) -> HistoryView {
        let text = |text: Option<&str>| text.map(str::to_owned);
        let ages: Vec<(String, Option<f64>)> = facts
            .entries
            .iter()
            .filter_map(|one| {
                let age = one.told.entry.event.item()?.age.usage();
                Some((one.told.sha.to_string(), age))
            })
            .collect();
        let stays = facts.stays.iter().map(|stay| {
            let on_it = ages.iter().find(|(sha, _)| *sha == stay.start_sha);
            let on_it = on_it.and_then(|(_, age)| *age);
            StayView {
                start_time: format_utc(stay.start_time),
                end_time: stay.end_time.map(format_utc),
                usage: stay.usage,
                usage_in_all: stay.usage.zip(on_it).map(|(ran, age)| ran + age),
                part: stay.part.clone(),
                batch: stay.batch.clone(),
                serial: stay.serial.clone(),
                reason: stay.reason.clone(),
                mode: stay.mode.clone(),
                found: stay.found.clone(),
                start_sha: stay.start_sha.clone(),
                end_sha: stay.end_sha.clone(),
            }
        });
        HistoryView {
            machine: facts.machine.to_owned(),
            component: facts.slot.component.clone(),
            position: facts.slot.position.clone(),
            unit: text(facts.unit),
            as_of: facts.as_of.map(format_utc),
            entries: facts.entries.iter().map(|e| entry(facts, e)).collect(),
            lives: stays.collect(),
            name: text(facts.name),
            moment: facts.as_of,
            zone: facts.zone,
        }
    }

    /// One object.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }

    /// A row an entry; `life_ended` is the usage run by the item whose stay it ended.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let rows = self.entries.iter().map(|entry| {
            let ended = self.ended_by(entry).and_then(|stay| stay.usage);
            let gone =
                |of: fn(&WithdrawnView) -> &str| entry.withdrawn.as_ref().map_or("", of).to_owned();
            let text = |text: &Option<String>| text.clone().unwrap_or_default();
            let word = |word: Option<&str>| word.unwrap_or_default().to_owned();
            vec![
                self.machine.clone(),
                self.component.clone(),
                self.position.clone(),
                entry.entry.to_owned(),
                entry.time.clone(),
                entry.logged.clone(),
                entry.who.clone(),
                cell(entry.usage),
                text(&self.unit),
                word(entry.reason),
                text(&entry.mode),
                word(entry.found),
                word(entry.finding),
                text(&entry.part),
                entry.pieces.map(|n| n.to_string()).unwrap_or_default(),
                text(&entry.batch),
                text(&entry.serial),
                cell(entry.age),
                entry.age_unknown.to_string(),
                text(&entry.quantity),
                cell(entry.value),
                text(&entry.quantity_unit),
                text(&entry.zone),
                cell(entry.span),
                cell(entry.new_value),
                text(&entry.job),
                text(&entry.note),
                text(&entry.source),
                entry.sha.clone(),
                entry.book.clone(),
                entry.line.to_string(),
                cell(ended),
                gone(|by| &by.time),
                gone(|by| &by.who),
                gone(|by| &by.why),
                gone(|by| &by.sha),
            ]
        });
        csv_text(&CSV_COLUMNS, rows)
    }

    fn ended_by(&self, entry: &EntryView) -> Option<&StayView> {
        let ended = |stay: &&StayView| stay.end_sha.as_ref() == Some(&entry.sha);
        self.lives.iter().find(ended)
    }

    /// For reading; `strike` strikes withdrawn rows through, as terminals can.
    pub fn text(&self, strike: bool) -> String {
        let mut text = format!("{} {} {}", self.machine, self.component, self.position);
        if let Some(name) = &self.name {
            text.push_str(&format!(" ({name})"));
        }
        if let Some(moment) = self.moment {
            text.push_str(&format!(", as of {}", day(moment, self.zone)));
        }
        let mut text = one_line(&text).into_owned();
        text.push('\n');
        if self.entries.is_empty() {
            text.push_str("nothing on record about this slot\n");
            return text;
        }
        text.push('\n');
        let (table, struck) = self.table();
        for (n, line) in table.text().lines().enumerate() {
            // The first line is the headings.
            if strike && n > 0 && struck.get(n - 1) == Some(&true) {
                text.push_str(&format!("\u{1b}[9m{line}\u{1b}[0m\n"));
            } else {
                text.push_str(line);
                text.push('\n');
            }
        }
        text.push('\n');
        if self.entries.iter().any(|entry| entry.extrapolated) {
            text.push_str("~ more than a day beyond the readings of the meter\n");
        }
        text.push_str(&self.counts());
        text
    }

    /// The rows, and which of them are withdrawn.
    fn table(&self) -> (Table, Vec<bool>) {
        let gone = self.entries.iter().any(|entry| entry.withdrawn.is_some());
        let mut headings = vec![
            ("time", Align::Left),
            ("usage", Align::Right),
            ("entry", Align::Left),
            ("what", Align::Left),
            ("job", Align::Left),
            ("who", Align::Left),
            ("logged", Align::Left),
            ("line", Align::Left),
            ("in", Align::Left),
        ];
        if gone {
            headings.push(("withdrawn", Align::Left));
        }
        let mut table = Table::new(headings);
        let mut struck = Vec::new();
        for entry in &self.entries {
            if let Some(stay) = self.ended_by(entry) {
                table.row(self.life(stay));
                struck.push(false);
            }
            let at = entry.usage.map_or_else(
                || "–".to_owned(),
                |usage| {
                    let mark = if entry.extrapolated { "~" } else { "" };
                    format!("{mark}{}", self.usage(usage))
                },
            );
            let mut cells = vec![
                entry.row.time.clone(),
                at,
                entry.entry.to_owned(),
                entry.row.what.clone(),
                entry.job.clone().unwrap_or_default(),
                entry.who.clone(),
                entry.row.logged.clone(),
                entry.sha.get(..12).unwrap_or_default().to_owned(),
                format!("{}:{}", entry.book, entry.line),
            ];
            if gone {
                cells.push(entry.row.withdrawn.clone());
            }
            table.row(cells);
            struck.push(entry.withdrawn.is_some());
        }
        for stay in self.lives.iter().filter(|stay| stay.end_time.is_none()) {
            table.row(self.life(stay));
            struck.push(false);
        }
        (table, struck)
    }

    /// What an item ran between two entries.
    fn life(&self, stay: &StayView) -> [String; 4] {
        let mut what = match stay.usage {
            Some(usage) => format!("ran {}", self.usage(usage)),
            None => "ran for a usage that no meter tells".to_owned(),
        };
        if let (Some(here), Some(all)) = (stay.usage, stay.usage_in_all)
            && all > here
        {
            what.push_str(&format!(", {} in all", self.usage(all)));
        }
        if stay.end_time.is_none() {
            what.push_str(", and runs on");
        }
        [String::new(), String::new(), "life".to_owned(), what]
    }

    fn usage(&self, usage: f64) -> String {
        let unit = self.unit.as_deref().unwrap_or_default();
        format!("{} {unit}", thousands(usage, 0))
            .trim_end()
            .to_owned()
    }

    fn counts(&self) -> String {
        let gone = self
            .entries
            .iter()
            .filter(|e| e.withdrawn.is_some())
            .count();
        let running = self.lives.iter().filter(|l| l.end_time.is_none()).count();
        let mut text = counted(self.entries.len() as u64, "entry", "entries");
        if gone > 0 {
            text.push_str(&format!(", {gone} withdrawn"));
        }
        text.push_str(&format!(
            "; {}",
            counted(self.lives.len() as u64, "life", "lives")
        ));
        if running > 0 {
            text.push_str(&format!(", {running} still running"));
        }
        text.push('\n');
        text
    }
}

fn entry(facts: &Facts<'_>, one: &SlotEntry) -> EntryView {
    let Told {
        entry,
        sha,
        file,
        line,
    } = &one.told;
    let book = |file: &str| format!("{}{file}", facts.prefix);
    let by = one.withdrawn.as_ref();
    let (item, end) = (entry.event.item(), entry.event.ending());
    let mut view = EntryView {
        entry: entry.event.kind().word(),
        time: format_utc(entry.time),
        logged: format_utc(entry.logged),
        who: entry.who.clone(),
        usage: (facts.usage)(entry.time),
        extrapolated: (facts.extrapolated)(entry.time),
        reason: end.map(|end| end.reason.word()),
        mode: end.and_then(|end| end.mode.clone()),
        found: end.and_then(|end| end.found.map(|found| found.word())),
        finding: None,
        part: item.and_then(|item| item.part.clone()),
        pieces: item.and_then(|item| item.pieces),
        batch: item.and_then(|item| item.batch.clone()),
        serial: item.and_then(|item| item.serial.clone()),
        age: item.and_then(|item| item.age.usage()),
        age_unknown: item.is_some_and(|item| item.age == Age::Unknown),
        quantity: None,
        value: None,
        quantity_unit: None,
        zone: None,
        span: None,
        new_value: None,
        job: entry.job.clone(),
        note: entry.note.clone(),
        source: entry.source.as_ref().map(ToString::to_string),
        sha: sha.to_string(),
        book: book(file),
        line: *line,
        withdrawn: by.map(|by| WithdrawnView {
            time: format_utc(by.entry.time),
            logged: format_utc(by.entry.logged),
            who: by.entry.who.clone(),
            why: why(&by.entry).to_owned(),
            sha: by.sha.to_string(),
            book: book(&by.file),
            line: by.line,
        }),
        row: Row {
            time: show(entry.time, facts.zone),
            logged: show(entry.logged, facts.zone),
            what: details(entry, facts.unit.unwrap_or_default()),
            withdrawn: by
                .map(|by| withdrawn_words(&by.entry, why(&by.entry), facts.zone))
                .unwrap_or_default(),
        },
    };
    match &entry.event {
        Event::Inspected { finding, mode, .. } => {
            view.finding = Some(finding.word());
            view.mode = mode.clone();
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
            view.quantity = Some(quantity.clone());
            view.value = Some(value.get());
            view.quantity_unit = Some(unit.clone());
            view.zone = zone.clone();
            view.span = span.map(|span| span.get());
            view.new_value = new_value.map(|value| value.get());
        }
        _ => {}
    }
    view
}

fn why(entry: &Entry) -> &str {
    match &entry.event {
        Event::Withdrawn { why, .. } => why,
        _ => "",
    }
}
