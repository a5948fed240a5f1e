//! Books into DuckDB: its own JSON reader fills `raw.lines` while another thread
//! verifies the chains.
//!
//! In: book files. Out: a filled `raw` schema, the heads, troubles that do not stop it.
//! Never: a line that is torn, a book whose chain is broken.
//!
//! A line's own SHA is the `prev` of the line after it, so the names of all lines but
//! the last come with the data; the last one's comes from the verification.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use duckdb::Connection;
use tempfile::TempDir;

use super::catalogue::LINE_KEYS;
use super::error::{StoreError, message_of};
use super::verify::{Checked, check, refuse_broken, refuse_twins, verify};
use crate::book::{Book, Event, Kind, Sha, line_trouble, parse_line};
use crate::quantity::trouble::Trouble;

/// A book file to load.
#[derive(Debug, Clone)]
pub(crate) struct Source {
    pub ledger: String,
    /// Within the ledger: `books/NAME.jsonl`.
    pub book: String,
    /// As troubles name it.
    pub shown: String,
    pub path: PathBuf,
}

/// Fills `raw.lines`, `raw.book_files` and `raw.unknown_ages`.
///
/// Errors: [`StoreError::Books`] with every broken chain or unreadable line;
/// [`StoreError::SameBook`]; files that cannot be read.
pub(crate) fn load(
    conn: &Connection,
    sources: &[Source],
) -> Result<(Vec<Checked>, Vec<Trouble>), StoreError> {
    let mut copies = Copies::default();
    let mut feeds = Vec::with_capacity(sources.len());
    for source in sources {
        feeds.push(match feed(source)? {
            Feed::AsItIs(text) => text,
            Feed::WholeLines(bytes) => copies.add(&bytes)?,
        });
    }
    create(conn)?;
    let (checked, filled) = std::thread::scope(|scope| {
        let verifying = scope.spawn(|| sources.iter().map(verify).collect::<Result<Vec<_>, _>>());
        let filled = fill(conn, &feeds);
        let checked = verifying
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        (checked, filled)
    });
    let mut checked = checked?;
    refuse_broken(&checked)?;
    refuse_twins(sources, &checked)?;
    let loaded = match filled {
        Ok(()) => row_ranges(conn)?,
        Err(_) => BTreeMap::new(),
    };
    let ranges = if agree(&checked, &loaded) {
        loaded
    } else {
        // A book that grew meanwhile, or a line DuckDB cannot read: take copies whose
        // every line was read here first.
        checked = again(conn, sources)?;
        row_ranges(conn)?
    };
    if !agree(&checked, &ranges) {
        return Err(StoreError::Engine {
            doing: "load the books line by line".to_owned(),
            message: "It read another number of lines than the books hold.".to_owned(),
        });
    }
    refuse_strange(conn, sources, &checked, &ranges)?;
    tell_files(conn, sources, &checked, &ranges)?;
    let troubles = checked
        .iter()
        .filter_map(|book| book.torn.clone())
        .collect();
    Ok((checked, troubles))
}

fn create(conn: &Connection) -> Result<(), StoreError> {
    let columns = list(LINE_KEYS, |(key, kind)| format!("\"{key}\" {kind}"));
    conn.execute_batch(&format!(
        "CREATE SCHEMA raw;
         CREATE TABLE raw.lines (book_no SMALLINT, {columns});
         CREATE TABLE raw.book_files (book_no SMALLINT, ledger VARCHAR, book VARCHAR,
             first_row BIGINT, lines BIGINT, head VARCHAR);
         CREATE TABLE raw.unknown_ages (line_row BIGINT);"
    ))
    .map_err(|error| StoreError::engine("make the tables", &error))
}

/// The statement that reads one file the way wearbook reads books, for `SELECT … ` before it.
///
/// Times have one form only: a cast would silently drop an offset.
pub fn read_statement(file: &str) -> String {
    let columns = list(LINE_KEYS, |(key, kind)| format!("\"{key}\": '{kind}'"));
    format!(
        "FROM read_json('{}', format = 'newline_delimited', compression = 'none', \
         timestampformat = '%Y-%m-%dT%H:%M:%SZ', columns = {{{columns}}})",
        file.replace('\'', "''")
    )
}

fn fill(conn: &Connection, feeds: &[String]) -> Result<(), duckdb::Error> {
    let keys = list(LINE_KEYS, |(key, _)| format!("\"{key}\""));
    for (n, file) in feeds.iter().enumerate() {
        if file.is_empty() {
            continue;
        }
        conn.execute_batch(&format!(
            "INSERT INTO raw.lines SELECT {n}, {keys} {}",
            read_statement(file)
        ))?;
    }
    Ok(())
}

enum Feed {
    /// DuckDB reads the file itself.
    AsItIs(String),
    /// It is to read these lines instead.
    WholeLines(Vec<u8>),
}

/// An empty text stands for a book without lines.
fn feed(source: &Source) -> Result<Feed, StoreError> {
    let io = |error: &std::io::Error| StoreError::io(&source.path, "read it", error);
    let mut file = std::fs::File::open(&source.path).map_err(|e| io(&e))?;
    let length = file.seek(SeekFrom::End(0)).map_err(|e| io(&e))?;
    if length == 0 {
        return Ok(Feed::AsItIs(String::new()));
    }
    let mut last = [0u8];
    file.seek(SeekFrom::End(-1)).map_err(|e| io(&e))?;
    file.read_exact(&mut last).map_err(|e| io(&e))?;
    let full = std::fs::canonicalize(&source.path).map_err(|e| io(&e))?;
    match full.to_str() {
        Some(text) if last == *b"\n" => Ok(Feed::AsItIs(text.to_owned())),
        _ => {
            let mut bytes = std::fs::read(&source.path).map_err(|e| io(&e))?;
            bytes.truncate(memchr::memrchr(b'\n', &bytes).map_or(0, |lf| lf + 1));
            if bytes.is_empty() {
                Ok(Feed::AsItIs(String::new()))
            } else {
                Ok(Feed::WholeLines(bytes))
            }
        }
    }
}

/// Copies of books in a folder that goes away with it.
#[derive(Default)]
struct Copies {
    folder: Option<TempDir>,
    count: usize,
}

impl Copies {
    fn add(&mut self, bytes: &[u8]) -> Result<String, StoreError> {
        let temp = std::env::temp_dir();
        let io =
            |error: &std::io::Error| StoreError::io(&temp, "write a copy of a book in it", error);
        if self.folder.is_none() {
            self.folder = Some(TempDir::with_prefix("wearbook-").map_err(|e| io(&e))?);
        }
        let folder = self.folder.as_ref().map_or(temp.as_path(), TempDir::path);
        let path = folder.join(format!("{}.jsonl", self.count));
        self.count += 1;
        std::fs::write(&path, bytes).map_err(|e| io(&e))?;
        path.to_str().map(str::to_owned).ok_or_else(|| {
            io(&std::io::Error::new(
                std::io::ErrorKind::InvalidInput,
                "the temporary folder's path is not UTF-8 text",
            ))
        })
    }
}

/// First row and number of rows of each book in `raw.lines`.
type Ranges = BTreeMap<usize, (i64, u64)>;

fn row_ranges(conn: &Connection) -> Result<Ranges, StoreError> {
    let doing = "count the lines";
    let mut statement = conn
        .prepare(
            "SELECT book_no::BIGINT, min(rowid), max(rowid), count(*) FROM raw.lines GROUP BY 1",
        )
        .map_err(|error| StoreError::engine(doing, &error))?;
    let rows = statement
        .query_map([], |row| {
            Ok((row.get::<_, i64>(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
        })
        .map_err(|error| StoreError::engine(doing, &error))?;
    let mut ranges = Ranges::new();
    for row in rows {
        let (book, first, last, count): (i64, i64, i64, i64) =
            row.map_err(|error| StoreError::engine(doing, &error))?;
        if last - first + 1 == count {
            ranges.insert(book as usize, (first, count as u64));
        }
    }
    Ok(ranges)
}

fn agree(checked: &[Checked], ranges: &Ranges) -> bool {
    checked.iter().enumerate().all(|(n, book)| {
        let rows = ranges.get(&n).map_or(0, |(_, rows)| *rows);
        rows == book.lines
    })
}

/// Loads from copies. A line that cannot be read stops it, unless it is withdrawn:
/// then its place is kept by a line that tells nothing.
fn again(conn: &Connection, sources: &[Source]) -> Result<Vec<Checked>, StoreError> {
    let mut books = Vec::with_capacity(sources.len());
    for source in sources {
        books.push(Book::read(&source.path).map_err(|error| StoreError::Books(error.troubles()))?);
    }
    let withdrawn: Vec<String> = books
        .iter()
        .flat_map(|book| &book.lines)
        .filter_map(|line| match &line.as_ref().ok()?.event {
            Event::Withdrawn { entry_sha, .. } => Some(entry_sha.to_string()),
            _ => None,
        })
        .collect();
    let gone = |sha: Sha| withdrawn.iter().any(|digits| names(digits, sha));
    let mut copies = Copies::default();
    let mut feeds = Vec::new();
    let mut faults = Vec::new();
    let mut checked = Vec::new();
    for (source, book) in sources.iter().zip(&books) {
        let mut copy = Vec::with_capacity(book.bytes.len());
        for (n, line) in book.lines.iter().enumerate() {
            let name = &book.chain.lines[n];
            match line {
                Ok(_) => copy.extend_from_slice(book.text(n + 1)),
                Err(_) if gone(name.sha) => {
                    let prev = name.prev.unwrap_or(Sha::ZERO);
                    copy.extend_from_slice(format!("{{\"prev\":\"{prev}\"}}").as_bytes());
                }
                Err(found) => faults.extend(
                    found
                        .iter()
                        .map(|fault| line_trouble(&source.shown, n + 1, book.text(n + 1), fault)),
                ),
            }
            copy.push(b'\n');
        }
        feeds.push(if copy.is_empty() {
            String::new()
        } else {
            copies.add(&copy)?
        });
        checked.push(check(source, &book.bytes));
    }
    refuse_broken(&checked)?;
    if !faults.is_empty() {
        return Err(StoreError::Books(faults));
    }
    conn.execute_batch("TRUNCATE raw.lines")
        .and_then(|()| conn.execute_batch("DROP SCHEMA raw CASCADE"))
        .map_err(|error| StoreError::engine("clear the tables", &error))?;
    create(conn)?;
    fill(conn, &feeds).map_err(|error| StoreError::Engine {
        doing: "read the books".to_owned(),
        message: message_of(&error),
    })?;
    Ok(checked)
}

/// Lines DuckDB could read but that are no entries: no known kind, no time, a number
/// below what it can be. The strict reader has the last word on them.
fn refuse_strange(
    conn: &Connection,
    sources: &[Source],
    checked: &[Checked],
    ranges: &Ranges,
) -> Result<(), StoreError> {
    let doing = "look the lines over";
    let kinds = list(Kind::WORDS, |word| format!("'{word}'"));
    let mut statement = conn
        .prepare(&format!(
            "SELECT l.book_no::BIGINT, l.rowid FROM raw.lines AS l
             WHERE coalesce(l.entry NOT IN ({kinds}), true) OR l.\"time\" IS NULL OR l.logged IS NULL
                 OR l.value < 0 OR l.age < 0 OR l.pieces < 1 OR l.labour_h < 0 OR l.downtime_h < 0
             ORDER BY l.rowid"
        ))
        .map_err(|error| StoreError::engine(doing, &error))?;
    let strange: Vec<(i64, i64)> = statement
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .and_then(Iterator::collect)
        .map_err(|error| StoreError::engine(doing, &error))?;
    if strange.is_empty() {
        return Ok(());
    }
    let withdrawn: Vec<String> = conn
        .prepare(
            "SELECT entry_sha FROM raw.lines WHERE entry = 'withdrawn' AND entry_sha IS NOT NULL",
        )
        .and_then(|mut statement| {
            statement
                .query_map([], |row| row.get(0))
                .and_then(Iterator::collect)
        })
        .map_err(|error| StoreError::engine(doing, &error))?;
    let mut faults = Vec::new();
    let mut open: Option<(usize, Vec<u8>)> = None;
    for (book, row) in strange {
        let n = book as usize;
        let (Some(source), Some((first, _))) = (sources.get(n), ranges.get(&n)) else {
            continue;
        };
        if open.as_ref().is_none_or(|(at, _)| *at != n) {
            let bytes = std::fs::read(&source.path)
                .map_err(|error| StoreError::io(&source.path, "read it", &error))?;
            open = Some((n, bytes));
        }
        let line = (row - first) as usize;
        let bytes = open.as_ref().map_or(&[][..], |(_, bytes)| bytes);
        let text = bytes.split(|byte| *byte == b'\n').nth(line).unwrap_or(&[]);
        let sha = Sha::of(text);
        if line as u64 >= checked[n].lines || withdrawn.iter().any(|digits| names(digits, sha)) {
            continue;
        }
        if let Err(found) = parse_line(text) {
            faults.extend(
                found
                    .iter()
                    .map(|fault| line_trouble(&source.shown, line + 1, text, fault)),
            );
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(StoreError::Books(faults))
    }
}

fn tell_files(
    conn: &Connection,
    sources: &[Source],
    checked: &[Checked],
    ranges: &Ranges,
) -> Result<(), StoreError> {
    let mut rows = String::new();
    let mut ages = String::new();
    for (n, (source, book)) in sources.iter().zip(checked).enumerate() {
        let first = ranges.get(&n).map_or(0, |(first, _)| *first);
        let quoted = |text: &str| format!("'{}'", text.replace('\'', "''"));
        // Writing to a String cannot fail.
        let _ = write!(
            rows,
            "{}({n}, {}, {}, {first}, {}, '{}')",
            if rows.is_empty() { "" } else { ", " },
            quoted(&source.ledger),
            quoted(&source.book),
            book.lines,
            book.head,
        );
        for line in &book.unknown_ages {
            let comma = if ages.is_empty() { "" } else { ", " };
            let _ = write!(ages, "{comma}({})", first + *line as i64);
        }
    }
    let mut batch = String::new();
    if !rows.is_empty() {
        let _ = write!(batch, "INSERT INTO raw.book_files VALUES {rows};");
    }
    if !ages.is_empty() {
        let _ = write!(batch, "INSERT INTO raw.unknown_ages VALUES {ages};");
    }
    conn.execute_batch(&batch)
        .map_err(|error| StoreError::engine("list the books", &error))
}

/// Makes `entries` and `books` over the raw lines. `machine` is the expression that
/// names a line's machine.
pub(crate) fn make_views(conn: &Connection, machine: &str) -> Result<(), StoreError> {
    conn.execute_batch(&format!(
        "CREATE VIEW books AS
             SELECT ledger, book, lines, head FROM raw.book_files ORDER BY ledger, book;
         CREATE VIEW entries AS
             SELECT f.ledger, f.book, l.rowid - f.first_row + 1 AS line,
                 coalesce(n.prev, f.head) AS sha, l.entry AS kind,
                 l.\"time\", l.logged, l.who, {machine} AS machine,
                 l.meter, l.value, l.reset,
                 l.component, l.\"position\", l.part, l.pieces, l.batch, l.serial, l.age,
                 l.rowid IN (SELECT line_row FROM raw.unknown_ages) AS age_unknown,
                 l.reason, l.mode, l.found, l.finding,
                 l.quantity, l.unit, l.zone, l.span, l.new_value,
                 l.job, l.start, l.stop, l.kind AS job_kind, l.labour_h, l.downtime_h, l.cost,
                 l.what, l.entry_sha, l.why, l.note, l.source
             FROM raw.lines AS l
             JOIN raw.book_files AS f ON f.book_no = l.book_no
             LEFT JOIN raw.lines AS n ON n.rowid = l.rowid + 1 AND n.book_no = l.book_no;"
    ))
    .map_err(|error| StoreError::engine("make the tables", &error))
}

fn list<T>(items: &[T], text: impl Fn(&T) -> String) -> String {
    items.iter().map(text).collect::<Vec<_>>().join(", ")
}

/// Path of a book as troubles name it.
pub(crate) fn shown(folder: &Path, book: &str, only_one: bool) -> String {
    if only_one {
        book.to_owned()
    } else {
        folder.join(book).display().to_string()
    }
}

/// Whether a withdrawal of these digits means this line.
fn names(digits: &str, sha: Sha) -> bool {
    digits.len() >= 12 && sha.begins_with(digits)
}
