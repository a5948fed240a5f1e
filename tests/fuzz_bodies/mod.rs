//! What must hold for any bytes at all: the bodies of the fuzz targets in `fuzz/`, run by
//! `cargo test` too, over mutated corpora (`tests/ledger/fuzz.rs`).
//!
//! Beside this file's parent stands a module `rooms` with the rooms: the library in the tests, the
//! rooms' sources in the fuzz crate, which thus needs no DuckDB.

use std::cell::RefCell;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::rooms::book::{
    Appender, LineFault, Sha, follow, line_trouble, parse_given_line, parse_line, read_seals,
    value_span,
};
use super::rooms::intake::import::cell::Row;
use super::rooms::intake::import::encoding::decode;
use super::rooms::intake::import::map::Map;
use super::rooms::intake::import::mend::mend;
use super::rooms::intake::import::plan::{PlanError, bind, plan};
use super::rooms::intake::import::reject::excerpts;
use super::rooms::intake::import::sheet::{Sheet, SheetError};
use super::rooms::intake::{
    CellFault, FileError, events_csv as events, lives_csv as lives, work_sheet as sheets,
};
use super::rooms::life::Sample;
use super::rooms::quantity::trouble::Trouble;
use super::rooms::register::Register;

/// A target's name and body.
pub type Target = (&'static str, fn(&[u8]));

pub const TARGETS: [Target; 9] = [
    ("book_line", book_line),
    ("chain", chain),
    ("register", register),
    ("lives_csv", lives_csv),
    ("events_csv", events_csv),
    ("seals", seals),
    ("import", import),
    ("workbook", workbook),
    ("work_sheet", work_sheet),
];

/// Lines of a book, or given for recording: what is read is written and read again as the same
/// entry; a fault points into the line.
pub fn book_line(text: &[u8]) {
    text.split(|byte| *byte == b'\n').for_each(one_line);
}

fn one_line(line: &[u8]) {
    match parse_line(line) {
        Ok((prev, entry)) => {
            let text = entry.line(prev);
            let again = parse_line(text.as_bytes());
            assert_eq!(again, Ok((prev, entry.clone())), "{text}");
            assert!(!text.contains('\n'), "{text}");
            assert_eq!(follow(format!("{text}\n").as_bytes(), prev).fault, None);
        }
        Err(faults) => line_faults(line, &faults),
    }
    let now = DateTime::<Utc>::from_timestamp(1_800_000_000, 0).expect("a time");
    for (zone, who) in [(Tz::Europe__London, Some("crew")), (Tz::UTC, None)] {
        match parse_given_line(line, zone, now, who) {
            Ok(entry) => {
                let text = entry.line(Sha::ZERO);
                assert_eq!(
                    parse_line(text.as_bytes()),
                    Ok((Sha::ZERO, entry)),
                    "{text}"
                );
            }
            Err(faults) => line_faults(line, &faults),
        }
    }
    let text = std::str::from_utf8(line).unwrap_or_default();
    for key in ["prev", "entry", "time", "value", "note", "quantity"] {
        if let Some(span) = value_span(line, key) {
            assert!(text.get(span.clone()).is_some(), "{key} at {span:?}");
        }
    }
}

fn line_faults(line: &[u8], faults: &[LineFault]) {
    assert!(!faults.is_empty(), "refused without a reason");
    assert!(faults.is_sorted_by_key(|fault| fault.span.start));
    for fault in faults {
        let span = &fault.span;
        assert!(span.start <= span.end, "{span:?}");
        // An empty line has no byte to point at, and is pointed at all the same.
        assert!(span.end <= line.len().max(1), "{span:?} of {}", line.len());
        told(&line_trouble("books/x.jsonl", 1, line, fault), 1);
    }
}

/// What a user is told has words, and a place that exists in a text of so many lines.
fn told(trouble: &Trouble, lines: usize) {
    assert!(!trouble.what.trim().is_empty(), "{trouble:?}");
    assert!(trouble.cure.iter().all(|cure| !cure.trim().is_empty()));
    let place = trouble.place.as_ref().expect("a place");
    if let Some(line) = place.line {
        assert!((1..=lines).contains(&line), "line {line} of {lines}");
    }
    if let (Some(span), Some(text)) = (&place.span, &place.excerpt) {
        assert!(span.start <= span.end, "{span:?}");
        assert!(span.end <= text.len().max(1), "{span:?} of {text:?}");
        // What was no UTF-8 stands there replaced, longer than it was.
        let whole = text.is_empty() || text.contains('\u{fffd}');
        assert!(
            whole || text.get(span.clone()).is_some(),
            "{span:?} of {text:?}"
        );
    }
}

/// The lines of a text as an editor counts them.
fn lines_of(text: &[u8]) -> usize {
    1 + text.iter().filter(|byte| **byte == b'\n').count()
}

/// A book's chain: lines and torn tail cover the bytes, a fault names a line, and following a book
/// in two steps comes to the same as in one.
pub fn chain(book: &[u8]) {
    let chain = follow(book, Sha::ZERO);
    let mut next = 0;
    for line in &chain.lines {
        assert_eq!(line.bytes.start, next);
        assert_eq!(line.sha, Sha::of(&book[line.bytes.clone()]));
        next = line.bytes.end + 1;
        assert_eq!(book.get(line.bytes.end), Some(&b'\n'));
    }
    assert_eq!(chain.torn, next..book.len());
    if let Some(fault) = &chain.fault {
        assert!((1..=chain.lines.len()).contains(&fault.line()), "{fault}");
    } else {
        let mut before = Sha::ZERO;
        for line in &chain.lines {
            assert_eq!(line.prev, Some(before));
            before = line.sha;
        }
        assert_eq!(chain.head(), before);
    }
    // Cut at some line: the first part has no fault that the whole has not.
    let cut = chain.lines.len() / 2;
    let at = chain.lines.get(cut).map_or(next, |line| line.bytes.start);
    let first = follow(&book[..at], Sha::ZERO);
    let rest = follow(&book[at..], first.head());
    assert_eq!(first.lines.len() + rest.lines.len(), chain.lines.len());
    assert_eq!(
        first.fault.is_some() || rest.fault.is_some(),
        chain.fault.is_some()
    );
}

/// A register: what is read hangs together; what is not is told with its line.
pub fn register(text: &[u8]) {
    let Ok(text) = std::str::from_utf8(text) else {
        return;
    };
    let register = match Register::parse(text) {
        Ok(register) => register,
        Err(faults) => {
            assert!(!faults.is_empty(), "refused without a reason");
            for fault in &faults {
                told(&fault.trouble("plant.toml"), lines_of(text.as_bytes()));
            }
            return;
        }
    };
    for component in &register.components {
        assert!(register.usage(&component.usage).is_some());
        assert!(component.pieces >= 1);
        for number in [
            component.own_labour_h,
            component.planned_stop_h,
            component.failed_stop_h,
        ] {
            assert!(number.is_finite() && number >= 0.0);
        }
        if let Some(prior) = &component.shape_prior {
            assert!(0.0 < prior.low && prior.low < prior.high && prior.high.is_finite());
        }
    }
    for access in &register.accesses {
        for component in &access.always_renew {
            assert!(register.component(component).is_some());
        }
    }
    for layout in &register.layouts {
        for slots in &layout.slots {
            assert!(register.component(&slots.component).is_some());
            assert!(!slots.positions.is_empty());
            if let Some(access) = &slots.access {
                assert!(register.access(access).is_some());
            }
        }
    }
    for machine in &register.machines {
        assert!(register.layout(&machine.layout).is_some());
        for (usage, rate) in &machine.usage_per_week {
            assert!(register.usage(usage).is_some());
            assert!(rate.is_finite() && *rate >= 0.0);
        }
        for slot in register.slots(&machine.tag) {
            let found = register.slot(&machine.tag, slot.component, slot.position);
            assert_eq!(found, Some(slot), "one slot of one name");
        }
    }
    for measurement in &register.measurements {
        assert!(register.component(&measurement.component).is_some());
    }
    for part in &register.parts {
        assert!(register.component(&part.component).is_some());
    }
    if let Some(grid) = register.plant.planning_grid {
        assert!(grid.is_finite() && grid > 0.0);
    }
}

fn file_error(error: &FileError, text: &[u8]) {
    let FileError::Faults { faults, .. } = error else {
        panic!("reading from memory failed: {error}");
    };
    assert!(!faults.is_empty(), "refused without a reason");
    for fault in faults {
        let CellFault { line, .. } = fault;
        assert!(*line >= 1, "{fault:?}");
    }
    for trouble in error.troubles() {
        // A lone carriage return ends a row of CSV too.
        let returns = text.iter().filter(|byte| **byte == b'\r').count();
        told(&trouble, lines_of(text) + returns);
    }
}

/// A file of lives: each that is read is a life, and all of them a sample.
pub fn lives_csv(text: &[u8]) {
    match lives::parse("lives.csv", text) {
        Ok(found) => {
            assert!(!found.is_empty());
            let all = found.iter().map(|life| life.life).collect();
            Sample::new(all).expect("a sample");
            for life in &found {
                assert!(life.known_sound.is_finite());
                assert_eq!(life.of_mode(None), Some(life.life));
                if let Some(other) = life.of_mode(Some("no such mode")) {
                    Sample::new(vec![other]).expect("a life of another mode");
                }
            }
        }
        Err(error) => file_error(&error, text),
    }
}

/// A file of events: each unit's lie within its watch, in order.
pub fn events_csv(text: &[u8]) {
    match events::parse("events.csv", text) {
        Ok(units) => {
            assert!(!units.is_empty());
            for unit in &units {
                assert!(!unit.name.is_empty());
                assert!(unit.start.is_finite() && unit.start >= 0.0);
                let last = unit.events.iter().copied().fold(unit.start, f64::max);
                assert!(last.is_finite() && unit.end.is_none_or(|end| end >= last));
                assert!(unit.events.iter().all(|at| *at > unit.start), "{unit:?}");
            }
        }
        Err(error) => file_error(&error, text),
    }
}

/// A filled work sheet: what is read are entries that are written and read again the same, of
/// one machine, all at the time it began.
pub fn work_sheet(text: &[u8]) {
    let now = DateTime::<Utc>::from_timestamp(1_800_000_000, 0).expect("a time");
    match sheets::parse("sheet.csv", text, Tz::Europe__London, now, Some("crew")) {
        Ok(filled) => {
            for entry in &filled.entries {
                assert_eq!(entry.machine, filled.entries[0].machine);
                assert_eq!(entry.time, filled.entries[0].time);
                let line = entry.line(Sha::ZERO);
                assert_eq!(parse_line(line.as_bytes()), Ok((Sha::ZERO, entry.clone())));
            }
        }
        Err(error) => file_error(&error, text),
    }
}

/// Seals noted elsewhere: what is read has names for every book, as many as it says.
pub fn seals(text: &[u8]) {
    let Ok(text) = std::str::from_utf8(text) else {
        return;
    };
    match read_seals(text) {
        Ok(seals) => {
            assert!(!seals.is_empty());
            for seal in &seals {
                assert!((1..=lines_of(text.as_bytes())).contains(&seal.line));
                for book in &seal.books {
                    let hex = |name: &String| {
                        matches!(name.len(), 12 | 64)
                            && name.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
                    };
                    assert!(hex(&book.head) && hex(&book.first), "{book:?}");
                    assert!(book.names.iter().all(hex), "{book:?}");
                    assert!(book.names.is_empty() || book.names.len() == book.lines);
                }
            }
        }
        Err(fault) => {
            let trouble = fault.trouble("seal.txt");
            told(&trouble, lines_of(text.as_bytes()));
        }
    }
}

/// What parts a map from its file in an input of [`import`]: a line of its own.
const PART: &[u8] = b"\n====\n";

/// A ledger to import into, which is never written to.
struct Desk {
    folder: tempfile::TempDir,
    appender: Appender,
}

thread_local! {
    static DESK: RefCell<Desk> = RefCell::new(desk());
}

fn desk() -> Desk {
    let folder = tempfile::tempdir().expect("a folder");
    let register = include_str!("../../sample-ledger/plant.toml");
    std::fs::write(folder.path().join("plant.toml"), register).expect("a register");
    let appender = Appender::open_for_import(folder.path(), "main").expect("a ledger");
    Desk { folder, appender }
}

/// A map, and a file of rows: each entry that would be written can be read again as it is, each
/// rejected row is one of the file's, and the mended file holds as many rows as were rejected.
pub fn import(input: &[u8]) {
    let at = input.windows(PART.len()).position(|w| w == PART);
    let (map, file) = match at {
        Some(at) => (&input[..at + 1], &input[at + PART.len()..]),
        None => (input, &b""[..]),
    };
    let Ok(text) = String::from_utf8(map.to_vec()) else {
        return;
    };
    let lines = lines_of(text.as_bytes());
    let map = match Map::parse("map.toml", text) {
        Ok(map) => map,
        Err(error) => {
            let troubles = error.troubles();
            assert!(!troubles.is_empty(), "refused without a reason");
            return troubles.iter().for_each(|trouble| told(trouble, lines));
        }
    };
    let Ok(text) = decode(file.to_vec(), map.file.encoding) else {
        return;
    };
    let rows = lines_of(text.as_bytes()) + text.matches('\r').count();
    let sheet = Sheet::of_text("rows.csv", text, map.file.delimiter);
    let now = DateTime::<Utc>::from_timestamp(1_800_000_000, 0).expect("a time");
    let planned = DESK.with_borrow_mut(|desk| {
        plan(
            &sheet,
            &map,
            &mut desk.appender,
            Some("crew"),
            now,
            &mut |_, _, _| {},
        )
    });
    let plan = match planned {
        Ok(plan) => plan,
        Err(PlanError::Map(error)) => {
            return error.troubles().iter().for_each(|t| told(t, lines));
        }
        Err(PlanError::Sheet(error)) => return sheet_error(&error, rows),
    };
    assert_eq!(plan.marks.len(), plan.entries().len());
    for entry in plan.entries() {
        let line = entry.line(Sha::ZERO);
        assert_eq!(
            parse_line(line.as_bytes()),
            Ok((Sha::ZERO, entry.clone())),
            "{line}"
        );
    }
    let texts = excerpts(&sheet, &plan.rejected, '.').expect("it was read before");
    for rejection in &plan.rejected {
        assert!((1..=rows as u64).contains(&rejection.row), "{rejection:?}");
        told(
            &rejection.trouble("rows.csv", texts.get(&rejection.row)),
            rows,
        );
    }
    let (_, places) = bind(&sheet, &map).expect("it was bound before");
    let mended = mend(&sheet, &map, &places, &plan.rejected).expect("it was read before");
    if let Ok(text) = decode(mended, map.file.encoding) {
        let sheet = Sheet::of_text("mended.csv", text, map.file.delimiter);
        let below = rows_of(&sheet, u64::from(map.file.headings.value));
        assert_eq!(below, plan.rejected_rows(), "rows of the mended file");
    }
}

/// The rows of a sheet below its headings.
fn rows_of(sheet: &Sheet, headings: u64) -> usize {
    let (mut rows, mut row, mut count) = (sheet.rows(), Row::default(), 0);
    while rows.next(&mut row).expect("rows") {
        count += usize::from(row.number > headings);
    }
    count
}

fn sheet_error(error: &SheetError, rows: usize) {
    let trouble = error.trouble();
    assert!(!trouble.what.is_empty());
    if let Some(line) = trouble.place.as_ref().and_then(|place| place.line) {
        assert!((1..=rows).contains(&line), "{trouble:?}");
    }
}

/// The bytes of a workbook: its rows, in order, or a reason; never a panic or all the memory.
pub fn workbook(bytes: &[u8]) {
    let form = Map::parse("map.toml", MAP.to_owned()).expect("a map").file;
    let opened = DESK.with_borrow(|desk| {
        let path = desk.folder.path().join("rows.xlsx");
        std::fs::write(&path, bytes).expect("a file");
        Sheet::open(&path, &form)
    });
    match opened {
        Ok(sheet) => {
            let (mut rows, mut row, mut before) = (sheet.rows(), Row::default(), 0);
            while let Ok(true) = rows.next(&mut row) {
                assert!(row.number > before, "row {} after {before}", row.number);
                before = row.number;
            }
        }
        Err(error) => sheet_error(&error, lines_of(bytes)),
    }
}

const MAP: &str = "[[entry]]
entry = \"reading\"
time = { column = 1 }
machine = { column = 2 }
who = \"crew\"
meter = \"hours\"
value = { column = 3 }
";
