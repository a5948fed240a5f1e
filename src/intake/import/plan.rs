//! All rows of a file, weighed against each other and the ledger: what would be written,
//! what the ledger states already, what is rejected and why.
//!
//! In: a sheet, a map, a ledger opened for import. Out: [`Plan`]. Never: writing.

use std::collections::HashMap;
use std::ops::Range;

use chrono::{DateTime, Utc};
use rayon::prelude::*;

use super::cell::{Cell, Row};
use super::make::{Made, Maker, Unknown};
use super::map::{Map, MapError, Places};
use super::reject::Rejection;
use super::sheet::{Sheet, SheetError};
use super::weigh::Weigh;
use crate::book::{Appender, Entry};

/// What importing a file would do.
#[derive(Debug, Default)]
pub struct Plan {
    /// Rows under the headings that hold anything.
    pub rows: u64,
    /// Rows passed over, by the map's `[[skip]]`s.
    pub skipped: Vec<u64>,
    /// Entries as rows made them, those of rejected rows among them.
    pub(super) pool: Vec<Entry>,
    /// What can stand, in the order of writing: places in the pool.
    pub(super) order: Vec<u32>,
    /// By [`Plan::entries`].
    pub marks: Vec<Mark>,
    /// What rows state that an earlier row of the file states as well.
    pub repeated: Vec<Mark>,
    /// In the order of rows.
    pub rejected: Vec<Rejection>,
    /// Values that tables of the map do not know, with the number of rows; most first.
    pub unknown: Vec<(Unknown, u64)>,
}

/// Of which row an entry is, and whether it would be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    pub row: u64,
    pub kind: crate::book::Kind,
    pub status: Status,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    New,
    /// New, and in no row: what was in a slot before the first renewal.
    InPlace,
    /// The ledger states it already.
    Known,
    /// An earlier row states it already.
    Repeated,
}

impl Plan {
    /// Entries of the rows that can stand, in the order of writing: new ones, and those
    /// the ledger states already.
    pub fn entries(&self) -> impl ExactSizeIterator<Item = &Entry> {
        self.order.iter().map(|place| &self.pool[*place as usize])
    }

    /// How many entries would be written.
    pub fn fresh(&self) -> usize {
        let fresh = |mark: &&Mark| matches!(mark.status, Status::New | Status::InPlace);
        self.marks.iter().filter(fresh).count()
    }

    /// How many rows are rejected.
    pub fn rejected_rows(&self) -> usize {
        let mut rows: Vec<u64> = self.rejected.iter().map(|r| r.row).collect();
        rows.dedup();
        rows.len()
    }
}

/// Why there is no plan.
#[derive(Debug)]
pub enum PlanError {
    Map(MapError),
    Sheet(SheetError),
}

/// What is under way, how much of it is done, and of how much.
pub type Progress<'a> = &'a mut dyn FnMut(Stage, u64, u64);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    Reading,
    Checking,
}

/// A row's entries, on their way: a run of the pool.
pub(super) struct Group {
    pub row: u64,
    pub entries: Range<u32>,
}

/// Plans the import of a sheet.
///
/// `who` is taken to have recorded what names nobody; `now` is the caller's clock.
///
/// Errors: the map does not fit the file or the register; the file cannot be read on.
pub fn plan(
    sheet: &Sheet,
    map: &Map,
    appender: &mut Appender,
    who: Option<&str>,
    now: DateTime<Utc>,
    progress: Progress<'_>,
) -> Result<Plan, PlanError> {
    map.check_names(appender.register())
        .map_err(PlanError::Map)?;
    let (headings, places) = bind(sheet, map)?;
    let register = appender.register().clone();
    let maker = Maker {
        map,
        places: &places,
        register: &register,
        source: &sheet.source,
        zone: map.times.zone.unwrap_or(register.plant.time_zone),
        who,
        now,
        moves_cells: sheet.moves_cells(),
    };
    let mut plan = Plan {
        skipped: vec![0; map.skips.len()],
        ..Plan::default()
    };
    let read = read(sheet, &maker, headings, &mut plan, progress);
    let (mut groups, forms) = read.map_err(PlanError::Sheet)?;
    in_time(&mut groups, &plan.pool, map.file.newest_first);
    let weigh = Weigh::new(&maker, sheet, forms, plan);
    let mut plan = weigh.all(groups, &mut appender.sieve(now), progress);
    show_values(sheet, &maker, &mut plan.rejected).map_err(PlanError::Sheet)?;
    plan.rejected
        .sort_by_key(|rejection| (rejection.row, rejection.place));
    Ok(plan)
}

/// Finds the row of the headings, and in it the columns that the map names.
pub fn bind(sheet: &Sheet, map: &Map) -> Result<(u64, Places), PlanError> {
    let number = u64::from(map.file.headings.value);
    let mut headings = Row::default();
    let (mut rows, mut row) = (sheet.rows(), Row::default());
    while number > 0 && row.number < number && rows.next(&mut row).map_err(PlanError::Sheet)? {
        if row.number == number {
            std::mem::swap(&mut headings, &mut row);
            break;
        }
    }
    let headings = (number > 0).then_some(&headings);
    let places = map.bind(&sheet.name, headings).map_err(PlanError::Map)?;
    Ok((number, places))
}

/// An empty cell of these columns means the same as the one above.
pub(super) struct FillDown {
    places: Vec<usize>,
    above: Vec<Cell>,
}

impl FillDown {
    pub(super) fn new(map: &Map, places: &Places) -> FillDown {
        let columns = map.file.fill_down.iter();
        let places: Vec<usize> = columns.map(|column| places.of(*column)).collect();
        FillDown {
            above: vec![Cell::Empty; places.len()],
            places,
        }
    }

    /// The row with its gaps filled; `None` where there is nothing to fill.
    pub(super) fn fill(&mut self, row: &Row) -> Option<Row> {
        let mut filled = None;
        for (place, above) in self.places.iter().zip(&mut self.above) {
            if !row.cell(*place).is_empty() {
                above.clone_from(row.cell(*place));
            } else if !above.is_empty() {
                let filled: &mut Row = filled.get_or_insert_with(|| row.clone());
                if filled.cells.len() <= *place {
                    filled.cells.resize(place + 1, Cell::Empty);
                }
                filled.cells[*place].clone_from(above);
            }
        }
        filled
    }
}

fn read(
    sheet: &Sheet,
    maker: &Maker<'_>,
    headings: u64,
    plan: &mut Plan,
    progress: Progress<'_>,
) -> Result<(Vec<Group>, Vec<u16>), SheetError> {
    let mut fill = FillDown::new(maker.map, maker.places);
    let mut rows = sheet.rows();
    let mut read = Read {
        plan,
        groups: Vec::new(),
        forms: Vec::new(),
        unknown: HashMap::new(),
    };
    loop {
        let mut part: Vec<(Row, Option<Row>)> = Vec::with_capacity(PART);
        let mut row = Row::default();
        while part.len() < PART && rows.next(&mut row)? {
            if row.number > headings && !row.is_empty() {
                let filled = fill.fill(&row);
                part.push((std::mem::take(&mut row), filled));
            }
        }
        if part.is_empty() {
            break;
        }
        // A row is made by itself, so all threads make them; they are taken in turn.
        let made: Vec<(Made, Vec<Unknown>)> = part
            .par_iter()
            .map(|(row, filled)| {
                let mut unknown = Vec::new();
                let made = maker.make(row, filled.as_ref().unwrap_or(row), &mut unknown);
                (made, unknown)
            })
            .collect();
        for ((row, _), (made, unknown)) in part.iter().zip(made) {
            read.take(row.number, made, unknown);
        }
        progress(Stage::Reading, rows.done(), sheet.size());
    }
    let Read {
        plan,
        groups,
        forms,
        unknown,
    } = read;
    plan.unknown = unknown.into_iter().collect();
    plan.unknown
        .sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    Ok((groups, forms))
}

/// Rows that are made at a time.
const PART: usize = 4096;

/// What reading has come to.
struct Read<'a> {
    plan: &'a mut Plan,
    groups: Vec<Group>,
    /// Of which of the map's `[[entry]]`s each of the pool is.
    forms: Vec<u16>,
    unknown: HashMap<Unknown, u64>,
}

impl Read<'_> {
    fn take(&mut self, row: u64, made: Made, mut unknown: Vec<Unknown>) {
        self.plan.rows += 1;
        match made {
            Made::Skipped(which) => self.plan.skipped[which] += 1,
            Made::Rejected(against) => self.plan.rejected.extend(against),
            Made::Entries(entries) => {
                let from = self.plan.pool.len();
                for (form, entry) in entries {
                    // A map has few entries.
                    self.forms.push(form as u16);
                    self.plan.pool.push(entry);
                }
                self.groups.push(Group {
                    row,
                    entries: place(from)..place(self.plan.pool.len()),
                });
            }
        }
        // Several entries of a row may ask a table for the same value.
        unknown.sort();
        unknown.dedup();
        for value in unknown {
            *self.unknown.entry(value).or_insert(0) += 1;
        }
    }
}

/// A place in the pool; four thousand million entries would fill the memory long before.
pub(super) fn place(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// Adds what the cells hold to the rejections that do not know it yet.
fn show_values(
    sheet: &Sheet,
    maker: &Maker<'_>,
    rejected: &mut [Rejection],
) -> Result<(), SheetError> {
    let lacks = |rejection: &Rejection| rejection.place.is_some() && rejection.value.is_empty();
    let mut lacking: HashMap<u64, Vec<&mut Rejection>> = HashMap::new();
    for rejection in rejected.iter_mut().filter(|r| lacks(r)) {
        lacking.entry(rejection.row).or_default().push(rejection);
    }
    if lacking.is_empty() {
        return Ok(());
    }
    let mut fill = FillDown::new(maker.map, maker.places);
    let headings = u64::from(maker.map.file.headings.value);
    let (mut rows, mut row) = (sheet.rows(), Row::default());
    while rows.next(&mut row)? {
        if row.number <= headings || row.is_empty() {
            continue;
        }
        let filled = fill.fill(&row);
        let row = filled.as_ref().unwrap_or(&row);
        for rejection in lacking.remove(&row.number).into_iter().flatten() {
            let cell = row.cell(rejection.place.unwrap_or_default());
            rejection.value = maker.text(cell);
        }
    }
    Ok(())
}

/// Puts rows in the order of time; those of one time stay as the file has them, or the
/// other way round where it runs from the newest to the oldest.
fn in_time(groups: &mut [Group], pool: &[Entry], newest_first: bool) {
    if newest_first {
        groups.reverse();
    }
    groups.sort_by_key(|group| pool[group.entries.start as usize].time);
}
