//! The sheet's CSV twin: a row for each box of the sheet, to be filled in a spreadsheet by
//! someone who looks at the paper, and read back by `record --sheet`.

use super::{Field, ReadingBox, Sheet, SlotLine};
use crate::book::{EMPTY_SLOT, SHEET_COLUMNS};
use crate::view::table::csv_text;

/// Columns of the twin, in order.
pub const COLUMNS: [&str; 21] = SHEET_COLUMNS;

/// The twin as CSV text. The columns after `planned` are to be filled; a part number and the
/// job's id stand there already and enter nothing by themselves.
///
/// Errors: never, as it is written to memory; what the CSV library would say.
pub fn twin(sheet: &Sheet) -> Result<String, csv::Error> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for field in &sheet.fields {
        rows.push(of_field(sheet, field));
    }
    for access in &sheet.accesses {
        for component in &access.components {
            for slot in &component.slots {
                let of = |field: &str| Cells {
                    machine: &sheet.machine,
                    access: access.name.as_deref().unwrap_or_default(),
                    component: &component.id,
                    slot,
                    field: field.to_owned(),
                };
                rows.push(of("slot").slot());
                rows.extend(slot.boxes.iter().map(|one| of("reading").reading(one)));
            }
        }
    }
    csv_text(&COLUMNS, rows)
}

fn blank() -> Vec<String> {
    vec![String::new(); COLUMNS.len()]
}

fn set(row: &mut [String], column: &str, text: &str) {
    if let Some(place) = COLUMNS.iter().position(|name| *name == column) {
        row[place] = text.to_owned();
    }
}

fn of_field(sheet: &Sheet, field: &Field) -> Vec<String> {
    let mut row = blank();
    set(&mut row, "key", &field.key);
    set(&mut row, "machine", &sheet.machine);
    set(&mut row, "field", field.field);
    set(&mut row, "what", &field.what);
    set(&mut row, "unit", &field.unit);
    set(&mut row, "value", &field.given);
    row
}

/// What the rows of one slot share.
struct Cells<'a> {
    machine: &'a str,
    access: &'a str,
    component: &'a str,
    slot: &'a SlotLine,
    field: String,
}

impl Cells<'_> {
    fn row(&self, key: &str) -> Vec<String> {
        let mut row = blank();
        set(&mut row, "key", key);
        set(&mut row, "machine", self.machine);
        set(&mut row, "access", self.access);
        set(&mut row, "component", self.component);
        set(&mut row, "position", &self.slot.position);
        set(&mut row, "field", &self.field);
        row
    }

    fn slot(&self) -> Vec<String> {
        let mut row = self.row(&self.slot.key);
        set(&mut row, "planned", self.slot.planned.unwrap_or_default());
        set(
            &mut row,
            "part",
            self.slot.part.as_deref().unwrap_or_default(),
        );
        if self.slot.empty {
            set(&mut row, "reason", EMPTY_SLOT);
        }
        row
    }

    fn reading(&self, one: &ReadingBox) -> Vec<String> {
        let mut row = self.row(&one.key);
        set(&mut row, "what", &one.quantity);
        set(&mut row, "zone", one.zone.as_deref().unwrap_or_default());
        set(&mut row, "unit", &one.unit);
        row
    }
}
