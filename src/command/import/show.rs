//! The outcome of an import, filled into its view.

use super::{Format, ImportArgs, Map, Plan, Recorded, Sheet};
use crate::book::{Age, Appender, Entry, Event, Kind};
use crate::command::CommandError;
use crate::command::record::details;
use crate::intake::import::plan::Status;
use crate::quantity::time::{format_utc, show};
use crate::register::Register;
use crate::view::import::{Count, EntryRow, ImportView, RejectedRow, Skipped, UnknownValue};

/// Entries shown in a table that is not to show all.
const SHOWN: usize = 12;

/// Fills the view; with what was recorded, where something was written.
pub(super) fn view(
    args: &ImportArgs,
    map: &Map,
    sheet: &Sheet,
    plan: &Plan,
    appender: &Appender,
    recorded: Option<&[Option<Recorded>]>,
) -> ImportView {
    let skips = map.skips.iter().zip(&plan.skipped);
    let mut view = ImportView {
        file: sheet.name.clone(),
        map: map.name.clone(),
        book: appender.file(),
        written: recorded.is_some(),
        rows: plan.rows,
        skipped: skips
            .map(|(skip, rows)| Skipped {
                why: skip.why.clone(),
                rows: *rows,
            })
            .collect(),
        rejected_rows: plan.rejected_rows(),
        counts: counts(plan),
        entries_in_all: plan.fresh(),
        ..ImportView::default()
    };
    let most = match args.format {
        Format::Table if !args.all => SHOWN,
        _ => usize::MAX,
    };
    let register = appender.register();
    let fresh = plan.entries().zip(&plan.marks).enumerate();
    let fresh = fresh.filter(|(_, (_, mark))| is_new(mark.status));
    view.entries = fresh
        .take(most)
        .map(|(n, (entry, mark))| {
            let recorded = recorded.and_then(|all| all.get(n)?.as_ref());
            let slot = entry.event.slot();
            EntryRow {
                row: mark.row,
                in_place: mark.status == Status::InPlace,
                sha: recorded.map(|recorded| recorded.sha.to_string()),
                kind: mark.kind.word(),
                time: format_utc(entry.time),
                shown: show(entry.time, register.plant.time_zone),
                machine: entry.machine.clone(),
                component: slot.map(|slot| slot.component.clone()),
                position: slot.map(|slot| slot.position.clone()),
                what: what(entry, register, mark.status),
                job: entry.job.clone(),
                who: entry.who.clone(),
            }
        })
        .collect();
    view.rejected = plan
        .rejected
        .iter()
        .map(|rejection| RejectedRow {
            row: rejection.row,
            column: rejection.column.clone(),
            value: rejection.value.clone(),
            kind: rejection.kind,
            reason: rejection.reason.clone(),
            evidence: rejection.evidence.clone(),
            cure: rejection.cure.clone(),
        })
        .collect();
    view.unknown = unknown(plan, map, sheet);
    view
}

/// What an entry states, in a few words.
fn what(entry: &Entry, register: &Register, status: Status) -> String {
    let mut words = Vec::new();
    if let Event::Installed { item, .. } = &entry.event {
        if status == Status::InPlace {
            words.push("in place before".to_owned());
        }
        words.extend(item.part.clone());
        match item.age {
            Age::Unknown => words.push("age unknown".to_owned()),
            Age::Known(age) if age.get() > 0.0 => words.push(format!("age {age}")),
            _ => words.push("new".to_owned()),
        }
    }
    words.extend(details(entry, register));
    words.join(", ")
}

fn unknown(plan: &Plan, map: &Map, sheet: &Sheet) -> Vec<UnknownValue> {
    if plan.unknown.is_empty() {
        return Vec::new();
    }
    let places = super::bind(sheet, map).ok().map(|(_, places)| places);
    let all = plan.unknown.iter().map(|(unknown, rows)| UnknownValue {
        column: places
            .as_ref()
            .map_or(String::new(), |places| places.heading(unknown.place)),
        value: unknown.value.clone(),
        table: map.tables[unknown.table].name.clone(),
        line: map.tables[unknown.table].line,
        rows: *rows,
    });
    all.collect()
}

fn is_new(status: Status) -> bool {
    matches!(status, Status::New | Status::InPlace)
}

/// Counts by kind, in the order of the kinds.
fn counts(plan: &Plan) -> Vec<Count> {
    let marks = || plan.marks.iter().chain(&plan.repeated);
    let kinds = Kind::WORDS.iter().filter_map(|word| Kind::from_word(word));
    kinds
        .filter(|kind| marks().any(|mark| mark.kind == *kind))
        .map(|kind| {
            let of = |fits: &dyn Fn(Status) -> bool| {
                marks()
                    .filter(|mark| mark.kind == kind && fits(mark.status))
                    .count()
            };
            Count {
                kind: kind.word(),
                new: of(&is_new),
                in_place: of(&|status| status == Status::InPlace),
                known: of(&|status| status == Status::Known),
                repeated: of(&|status| status == Status::Repeated),
            }
        })
        .collect()
}

pub(super) fn laid_out(args: &ImportArgs, view: &ImportView) -> Result<String, CommandError> {
    args.format
        .lay_out(|| view.table(), || view.json(), || view.csv())
}
