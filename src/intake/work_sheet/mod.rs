//! A filled work sheet: the CSV that a sheet came with, read back as entries.
//!
//! In: the file, the plant's time zone, who records. Out: [`Filled`]: entries, each with the
//! cells it was made of. Never: what the ledger says to them; a guess at what was done.
//!
//! A row without anything filled in enters nothing. Everything on a sheet happened when the
//! stop began: the machine stood still, so its usage was that of the reading. In the order of
//! the sheet, the look and the readings of an item come before what took its place.

use std::collections::HashMap;
use std::path::Path;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::cells::{CellFault, Cells, FileError, Layout, open};
use crate::book::{
    BookError, Conflict, EMPTY_SLOT, Entry, LineFaultKind, Reason, SHEET_COLUMNS, conflict_trouble,
    parse_given_line, value_span,
};
use crate::quantity::number::is_json_number;
use crate::quantity::trouble::{Place, Trouble};

mod draft;

use draft::Draft;

/// The file, as `view::sheet` writes it.
const SHEET: Layout<21> = Layout {
    what: "a work sheet",
    code: "work-sheet",
    columns: SHEET_COLUMNS,
    needed: &[
        MACHINE, COMPONENT, POSITION, FIELD, WHAT, VALUE, FINDING, RENEW,
    ],
    needed_cure: "keep the headings of the sheet as `wearbook sheet` wrote them",
    width_cure: "a row needs one cell a heading; leave unknown cells empty",
    number_cure: "write a plain number",
};
const MACHINE: usize = 1;
const COMPONENT: usize = 3;
const POSITION: usize = 4;
const FIELD: usize = 5;
const WHAT: usize = 6;
const ZONE: usize = 7;
const UNIT: usize = 8;
const PLANNED: usize = 9;
const VALUE: usize = 10;
const SPAN: usize = 11;
const NEW: usize = 12;
const FINDING: usize = 13;
const MODE: usize = 14;
const RENEW: usize = 15;
const REASON: usize = 16;
const PART: usize = 17;
const BATCH: usize = 18;
const SERIAL: usize = 19;
const NOTE: usize = 20;

/// The columns, for those who write the file.
pub fn columns() -> &'static [&'static str] {
    &SHEET.columns
}

/// Words of the column `field`.
const FIELDS: [&str; 9] = [
    "job", "start", "stop", "who", "meter", "labour", "downtime", "slot", "reading",
];

/// A sheet that was read.
#[derive(Debug)]
pub struct Filled {
    /// The file.
    pub name: String,
    /// In the order to be recorded.
    pub entries: Vec<Entry>,
    drafts: Vec<Draft>,
}

impl Filled {
    /// A refusal of these entries, told by the file's rows and columns.
    pub fn refused(&self, error: &BookError) -> Vec<Trouble> {
        let BookError::Refused { refusals, zone } = error else {
            return error.troubles();
        };
        let mut troubles = Vec::new();
        for refusal in refusals {
            let Some(draft) = self.drafts.get(refusal.index) else {
                continue;
            };
            for conflict in &refusal.conflicts {
                let mut conflict = conflict.clone();
                for witness in conflict.witnesses_mut() {
                    if let Some(other) = witness.given.and_then(|index| self.drafts.get(index)) {
                        witness.file = self.name.clone();
                        witness.line = usize::try_from(other.line).unwrap_or_default();
                    }
                }
                let (line, column) = draft.place(conflict.key());
                let mut trouble = conflict_trouble(&conflict, *zone).placed(Place {
                    file: self.name.clone(),
                    line: usize::try_from(line).ok(),
                    ..Place::default()
                });
                if let Some(column) = column {
                    trouble.what = format!("column {}: {}", SHEET.columns[column], trouble.what);
                }
                // On a sheet that is one word.
                if matches!(conflict, Conflict::SlotEmpty { .. }) && draft.is_renewal() {
                    let cure = format!("nothing was in it? write `{EMPTY_SLOT}` as the reason");
                    trouble.cure = vec![cure];
                }
                troubles.push(trouble);
            }
        }
        troubles.sort_by_key(|trouble| trouble.place.as_ref().and_then(|place| place.line));
        troubles
    }
}

/// One row: its line and cells, tidied.
struct Row {
    line: u64,
    cells: Vec<Option<String>>,
}

impl Row {
    fn of(cells: &Cells<'_, 21>) -> Row {
        Row {
            line: cells.line,
            cells: (0..SHEET.columns.len())
                .map(|which| cells.text(which).map(|text| text.trim().to_owned()))
                .map(|text| text.filter(|text| !text.is_empty()))
                .collect(),
        }
    }

    fn get(&self, which: usize) -> Option<&str> {
        self.cells[which].as_deref()
    }

    fn fault(&self, which: usize, what: impl Into<String>, cure: &str) -> CellFault {
        CellFault::of_cell(self.line, SHEET.columns[which], what, cure)
    }

    /// The first of these columns that is filled.
    fn first_of(&self, columns: &[usize]) -> Option<usize> {
        columns
            .iter()
            .copied()
            .find(|which| self.get(*which).is_some())
    }
}

/// Reads a filled sheet; every fault is told, not only the first.
pub fn read(
    path: &Path,
    zone: Tz,
    now: DateTime<Utc>,
    who: Option<&str>,
) -> Result<Filled, FileError> {
    let (name, mut file) = open(path)?;
    let mut bytes = Vec::new();
    if let Err(error) = std::io::Read::read_to_end(&mut file, &mut bytes) {
        return Err(FileError::Io { file: name, error });
    }
    parse(&name, &bytes, zone, now, who)
}

/// As [`read`], from the file's bytes.
pub fn parse(
    name: &str,
    bytes: &[u8],
    zone: Tz,
    now: DateTime<Utc>,
    who: Option<&str>,
) -> Result<Filled, FileError> {
    let delimiter = delimiter(bytes);
    let mut reader = Reader {
        comma: delimiter != b',',
        rows: Vec::new(),
        head: HashMap::new(),
        machine: None,
        faults: Vec::new(),
        drafts: Vec::new(),
    };
    let faults = SHEET.rows_between(delimiter, name, bytes, |cells| {
        reader.rows.push(Row::of(cells));
        Ok(())
    })?;
    reader.faults = faults;
    if reader.faults.is_empty() {
        reader.draft(who);
    }
    let mut entries = Vec::new();
    if reader.faults.is_empty() {
        for draft in &reader.drafts {
            let text = draft.text();
            match parse_given_line(text.as_bytes(), zone, now, who) {
                Ok(entry) => entries.push(entry),
                Err(found) => {
                    for fault in found {
                        let key = match &fault.kind {
                            LineFaultKind::MissingKey { key, .. } => Some(*key),
                            _ => draft.keys().find(|key| {
                                value_span(text.as_bytes(), key) == Some(fault.span.clone())
                            }),
                        };
                        let (line, column) = key.map_or((draft.line, None), |key| draft.place(key));
                        let cures: Vec<String> = fault.kind.cure().into_iter().collect();
                        reader.faults.push(CellFault {
                            line,
                            column: column.map(|which| SHEET.columns[which].to_owned()),
                            what: fault.kind.to_string(),
                            cure: match cures.is_empty() {
                                true => "mend the cell, or empty it".to_owned(),
                                false => cures.join(" "),
                            },
                        });
                    }
                }
            }
        }
    }
    // Cells that entries share (the time) are told once.
    let mut told: Vec<CellFault> = Vec::new();
    for fault in reader.faults {
        if !told.contains(&fault) {
            told.push(fault);
        }
    }
    told.sort_by_key(|fault| fault.line);
    if told.is_empty() {
        Ok(Filled {
            name: name.to_owned(),
            entries,
            drafts: reader.drafts,
        })
    } else {
        Err(SHEET.error(name, told))
    }
}

/// What the spreadsheet put between cells: where it counts with decimal commas it is mostly a
/// semicolon. The headings hold none of the three themselves.
fn delimiter(bytes: &[u8]) -> u8 {
    let first = bytes
        .split(|byte| *byte == b'\n')
        .next()
        .unwrap_or_default();
    let count = |mark: u8| first.iter().filter(|byte| **byte == mark).count();
    [b',', b';', b'\t']
        .into_iter()
        .rev()
        .max_by_key(|mark| count(*mark))
        .unwrap_or(b',')
}

struct Reader {
    /// Whether a comma in a number is its decimal sign.
    comma: bool,
    rows: Vec<Row>,
    /// Row of each field of the stop as a whole.
    head: HashMap<&'static str, usize>,
    machine: Option<String>,
    faults: Vec<CellFault>,
    drafts: Vec<Draft>,
}

impl Reader {
    fn draft(&mut self, who: Option<&str>) {
        let rows = std::mem::take(&mut self.rows);
        self.look_over(&rows);
        let mut jobs = Vec::new();
        let mut others = Vec::new();
        for row in &rows {
            match row.get(FIELD) {
                Some("meter") => others.extend(self.meter(row)),
                Some("slot") => others.extend(self.slot(row)),
                Some("reading") => others.extend(self.reading(row)),
                _ => {}
            }
        }
        jobs.extend(self.job(&rows));
        // What was looked at and measured comes before what took its place.
        others.sort_by_key(|draft| draft.turn());
        self.drafts = jobs.into_iter().chain(others).collect();
        if !self.drafts.is_empty() {
            self.common(&rows, who);
        }
        self.rows = rows;
    }

    /// Every row is of a known field, of one machine, and no box comes twice.
    fn look_over(&mut self, rows: &[Row]) {
        let mut seen: HashMap<Vec<Option<&str>>, u64> = HashMap::new();
        for (n, row) in rows.iter().enumerate() {
            let Some(field) = row.get(FIELD) else {
                self.faults.push(row.fault(
                    FIELD,
                    "is empty",
                    "keep the rows as `wearbook sheet` wrote them",
                ));
                continue;
            };
            let Some(field) = FIELDS.into_iter().find(|known| *known == field) else {
                let cure = format!("known here: {}", FIELDS.join(", "));
                self.faults
                    .push(row.fault(FIELD, format!("no field `{field}`"), &cure));
                continue;
            };
            match (&self.machine, row.get(MACHINE)) {
                (None, Some(machine)) => self.machine = Some(machine.to_owned()),
                (Some(first), Some(other)) if first != other => {
                    let what = format!("{other} here, {first} above: a sheet is of one machine");
                    self.faults
                        .push(row.fault(MACHINE, what, "enter each sheet by itself"));
                }
                (_, None) => self.faults.push(row.fault(
                    MACHINE,
                    "is empty",
                    "write the machine's tag, as in the rows above",
                )),
                _ => {}
            }
            let mut same = vec![Some(field)];
            same.extend([COMPONENT, POSITION, WHAT, ZONE].map(|which| row.get(which)));
            match seen.get(&same) {
                Some(first) => {
                    let what = format!("the same box as on line {first}");
                    self.faults
                        .push(row.fault(FIELD, what, "keep the row that holds"));
                }
                None => {
                    seen.insert(same, row.line);
                }
            }
            if !matches!(field, "slot" | "reading" | "meter") {
                self.head.entry(field).or_insert(n);
            }
        }
    }

    fn head<'r>(&self, rows: &'r [Row], field: &str) -> Option<&'r Row> {
        self.head.get(field).map(|n| &rows[*n])
    }

    /// A fault in the box of a field of the stop as a whole.
    fn head_fault(&mut self, rows: &[Row], field: &str, what: &str, cure: &str) {
        let fault = match self.head(rows, field) {
            Some(row) => row.fault(VALUE, format!("{field} {what}"), cure),
            None => CellFault::of_line(1, format!("{field} {what}: its row is gone"), cure),
        };
        self.faults.push(fault);
    }

    /// What every entry of the sheet shares: machine, time, who, job.
    fn common(&mut self, rows: &[Row], who: Option<&str>) {
        let start = self.head(rows, "start").and_then(|row| row.get(VALUE));
        if start.is_none() {
            self.head_fault(
                rows,
                "start",
                "is empty",
                "write when the stop began, plant time: 2026-07-06 08:30",
            );
        }
        let known = self
            .head(rows, "who")
            .is_some_and(|row| row.get(VALUE).is_some());
        if !known && who.is_none() {
            self.head_fault(
                rows,
                "who",
                "is empty",
                "write who did the work, or name yourself with --who NAME",
            );
        }
        let machine = self.machine.clone().unwrap_or_default();
        let mut drafts = std::mem::take(&mut self.drafts);
        for draft in &mut drafts {
            draft.text_at("machine", &machine, (draft.line, Some(MACHINE)));
            for (key, field) in [("time", "start"), ("who", "who"), ("job", "job")] {
                let row = self.head(rows, field);
                if let Some((row, text)) = row.and_then(|row| Some((row, row.get(VALUE)?))) {
                    draft.text_at(key, text, (row.line, Some(VALUE)));
                }
            }
        }
        self.drafts = drafts;
    }

    /// The job, where its end, its labour and what was lost are told.
    fn job(&mut self, rows: &[Row]) -> Option<Draft> {
        const PARTS: [(&str, &str); 3] = [
            ("stop", "stop"),
            ("labour_h", "labour"),
            ("downtime_h", "downtime"),
        ];
        let value =
            |reader: &Reader, field| reader.head(rows, field)?.get(VALUE).map(str::to_owned);
        if PARTS.iter().all(|(_, field)| value(self, field).is_none()) {
            return None;
        }
        let line = self.head(rows, "job").map_or(1, |row| row.line);
        let mut draft = Draft::of("job", line);
        if value(self, "job").is_none() {
            self.head_fault(rows, "job", "is empty", "give the job an id");
        }
        for (key, field) in PARTS {
            let Some(row) = self
                .head(rows, field)
                .filter(|row| row.get(VALUE).is_some())
            else {
                self.head_fault(
                    rows,
                    field,
                    "is empty",
                    "a job is told by its end, its labour and what production lost, in hours: \
                     fill all three, or none",
                );
                continue;
            };
            if key == "stop" {
                draft.text_at(
                    key,
                    row.get(VALUE).unwrap_or_default(),
                    (row.line, Some(VALUE)),
                );
            } else {
                self.number(&mut draft, key, row, VALUE);
            }
        }
        if let Some(row) = self.head(rows, "start")
            && let Some(start) = row.get(VALUE)
        {
            draft.text_at("start", start, (row.line, Some(VALUE)));
        }
        if let Some(row) = self.head(rows, "job") {
            draft.cell("note", row, NOTE);
        }
        draft.word("kind", "preventive");
        Some(draft)
    }

    fn meter(&mut self, row: &Row) -> Option<Draft> {
        row.get(VALUE)?;
        let mut draft = Draft::of("reading", row.line);
        draft.cell("meter", row, WHAT);
        self.number(&mut draft, "value", row, VALUE);
        draft.cell("note", row, NOTE);
        Some(draft)
    }

    fn reading(&mut self, row: &Row) -> Option<Draft> {
        if row.get(VALUE).is_none() {
            if let Some(filled) = row.first_of(&[SPAN, NEW, NOTE]) {
                let what = format!("is empty, and {} is not", SHEET.columns[filled]);
                self.faults
                    .push(row.fault(VALUE, what, "write the reading, or empty the row"));
            }
            return None;
        }
        let mut draft = Draft::of("measured", row.line);
        draft.slot(row);
        draft.cell("quantity", row, WHAT);
        self.number(&mut draft, "value", row, VALUE);
        draft.cell("unit", row, UNIT);
        draft.cell("zone", row, ZONE);
        self.number(&mut draft, "span", row, SPAN);
        self.number(&mut draft, "new_value", row, NEW);
        draft.cell("note", row, NOTE);
        Some(draft)
    }

    /// What was found in a slot, and what took the place of its item.
    fn slot(&mut self, row: &Row) -> Vec<Draft> {
        let finding = row.get(FINDING).map(str::to_lowercase);
        let bad = matches!(finding.as_deref(), Some("worn" | "failed"));
        let renew = match row.get(RENEW).map(str::to_lowercase).as_deref() {
            None => None,
            Some("yes" | "y" | "x" | "1" | "true") => Some(true),
            Some("no" | "n" | "0" | "false") => Some(false),
            Some(other) => {
                let what = format!("`{other}` is neither yes nor no");
                self.faults.push(row.fault(RENEW, what, "write yes or no"));
                return Vec::new();
            }
        };
        let given = row
            .get(REASON)
            .map(|text| text.to_lowercase().replace(' ', "-"));
        let empty = given.as_deref() == Some(EMPTY_SLOT);
        let renewed = renew == Some(true);
        if !renewed {
            let loose = [REASON, BATCH, SERIAL]
                .into_iter()
                .filter(|which| !(*which == REASON && empty))
                .find(|which| row.get(*which).is_some());
            let loose = loose.or_else(|| finding.is_none().then(|| row.first_of(&[MODE, NOTE]))?);
            if let Some(which) = loose {
                let what = match renew {
                    Some(_) => format!("is no, and {} is filled", SHEET.columns[which]),
                    None => format!("is empty, and {} is filled", SHEET.columns[which]),
                };
                let cure = "write yes where a new item went in, fill `finding` where one was \
                            looked at, or empty the row";
                self.faults.push(row.fault(RENEW, what, cure));
                return Vec::new();
            }
        }
        let mut drafts = Vec::new();
        if let Some(finding) = &finding {
            let mut draft = Draft::of("inspected", row.line);
            draft.slot(row);
            draft.text_at("finding", finding, (row.line, Some(FINDING)));
            if bad {
                draft.cell("mode", row, MODE);
            }
            if !renewed {
                draft.cell("note", row, NOTE);
            }
            drafts.push(draft);
        }
        let mut ended_badly = false;
        if renewed {
            let kind = if empty { "installed" } else { "replaced" };
            let mut draft = Draft::of(kind, row.line);
            draft.slot(row);
            if !empty {
                let reason = given
                    .or_else(|| finding.clone().filter(|_| bad))
                    .or_else(|| row.get(PLANNED).map(str::to_lowercase));
                let Some(reason) = reason else {
                    let cure = format!("one of {}", Reason::WORDS.join(", "));
                    self.faults.push(row.fault(
                        REASON,
                        "is empty, and the renewal was not planned: why was it renewed?",
                        &cure,
                    ));
                    return drafts;
                };
                draft.text_at("reason", &reason, (row.line, Some(REASON)));
                ended_badly = matches!(reason.as_str(), "worn" | "failed");
                if ended_badly {
                    draft.word("found", "inspection");
                    draft.cell("mode", row, MODE);
                }
            }
            draft.cell("part", row, PART);
            draft.cell("batch", row, BATCH);
            draft.cell("serial", row, SERIAL);
            draft.cell("note", row, NOTE);
            drafts.push(draft);
        }
        if row.get(MODE).is_some() && !bad && !ended_badly {
            self.faults.push(row.fault(
                MODE,
                "is filled, and nothing was found worn or failed",
                "mend `finding` or `reason`, or empty the mode",
            ));
        }
        drafts
    }

    /// A number of a cell, where it is filled.
    fn number(&mut self, draft: &mut Draft, key: &'static str, row: &Row, which: usize) {
        let Some(text) = row.get(which) else {
            return;
        };
        let mut number = text.to_owned();
        if self.comma && number.matches(',').count() == 1 && !number.contains('.') {
            number = number.replace(',', ".");
        }
        if number.starts_with('.') {
            number.insert(0, '0');
        }
        if is_json_number(&number) {
            draft.number_at(key, &number, (row.line, Some(which)));
            return;
        }
        let cure = if number.contains(',') {
            "use a point for decimals and no separator for thousands"
        } else {
            "write a plain number, without its unit"
        };
        let what = format!("\"{text}\" is not a number");
        self.faults.push(row.fault(which, what, cure));
    }
}
