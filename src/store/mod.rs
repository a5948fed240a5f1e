//! The store: DuckDB loads the books and answers the questions in `queries/`.
//!
//! In: ledger folders, an as-of date. Out: typed rows ([`LifeRow`], [`RenewalCost`], …),
//! answers to a user's own SQL, exported tables. Never: printing, statistics, a clock.
//! Only this room names duckdb or arrow.
//!
//! A store is made for one moment. It takes every line whose `time` and `logged` lie at
//! or before the end of the as-of day in the plant's time zone, and stands at the last
//! moment those lines tell of: nothing is known beyond it. Without a date it takes all.

mod ask;
mod bounds;
mod catalogue;
mod costs;
mod cursor;
mod error;
mod files;
mod load;
mod meters;
mod registers;
mod rows;
mod verify;

use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use duckdb::Connection;
use duckdb::types::{TimeUnit, Value};
use tempfile::TempDir;

pub use ask::{Answer, Cell};
pub use bounds::Bounds;
pub use catalogue::{Header, QUERIES, Query, Table, tables};
pub use error::{StoreError, StoreFault};
pub use files::ExportKind;
pub use load::read_statement;
pub use meters::{MeterSegment, Meters};
pub use registers::Ledger;
pub use rows::{EntryCount, Reading, SlotStay, UsageNow};

use crate::book::{BookError, book_files, ledger_folders, ledger_names};
use crate::life::{CostItem, Job, LifeRow, RenewalCost};
use crate::quantity::time::end_of_day;
use crate::quantity::trouble::Trouble;
use crate::register::{FILE_NAME, Register};
use bounds::{Bounded, connect};
use load::Source;

/// How to open a store.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Keep the tables in this DuckDB file too; a store kept there before is replaced.
    pub keep: Option<PathBuf>,
    /// What it and the questions to it may take.
    pub bounds: Bounds,
    /// Take ledgers that count money in several currencies: whoever asks converts it.
    pub several_currencies: bool,
}

/// The last line of a book: whoever knows it can tell whether the book was changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    pub ledger: String,
    /// Within the ledger: `books/NAME.jsonl`.
    pub book: String,
    pub lines: u64,
    /// SHA-256 of the last line; 64 zeros for an empty book.
    pub sha: String,
}

/// Ledgers, loaded and verified, at one moment.
pub struct Store {
    inner: Mutex<Inner>,
    ledgers: Vec<Ledger>,
    shared_tags: BTreeSet<String>,
    /// Ledger and place in its register of each machine, as the rows name it.
    homes: HashMap<String, (usize, usize)>,
    heads: Vec<Head>,
    troubles: Vec<Trouble>,
    as_of: DateTime<Utc>,
    empty: bool,
}

/// The connection and what was done with it: one thread at a time.
struct Inner {
    conn: Connection,
    /// What does not fit into memory; after the connection, which must be closed first.
    _spill: Option<TempDir>,
    /// Bytes the database may take, where that is bounded.
    memory: Option<u64>,
    time: Option<Duration>,
    as_of: DateTime<Utc>,
    /// Queries whose tables are made.
    made: BTreeSet<&'static str>,
    /// Whether DuckDB's access to the outside is switched off.
    shut: bool,
}

impl Store {
    /// Loads ledgers (none named: the present folder) as one fleet; a folder of ledgers
    /// stands for those in it.
    ///
    /// `as_of` is a calendar day of the first ledger's plant.
    /// Errors: registers with faults, broken chains, lines that are no entries, files
    /// that cannot be read, ledgers that do not fit together.
    pub fn open(
        folders: &[PathBuf],
        as_of: Option<NaiveDate>,
        options: &Options,
    ) -> Result<Store, StoreError> {
        let ledgers = read_registers(&ledger_folders(folders).map_err(no_folder)?)?;
        registers::agree(&ledgers, options.several_currencies)?;
        let sources = sources(&ledgers)?;
        let Bounded {
            conn,
            memory,
            spill,
        } = connect(&options.bounds)?;
        let (checked, troubles) = load::load(&conn, &sources)?;
        let shared_tags = registers::shared_tags(&ledgers);
        load::make_views(&conn, &machine_expression(&shared_tags))?;
        registers::fill(&conn, &ledgers, &shared_tags)?;
        let zone = ledgers
            .first()
            .map_or(Tz::UTC, |l| l.register.plant.time_zone);
        let bound = as_of.map(|day| end_of_day(day, zone));
        let last = last_moment(&conn, bound)?;
        let heads = sources
            .iter()
            .zip(&checked)
            .map(|(source, book)| Head {
                ledger: source.ledger.clone(),
                book: source.book.clone(),
                lines: book.lines,
                sha: book.head.to_string(),
            })
            .collect();
        let as_of = last.or(bound).unwrap_or(DateTime::UNIX_EPOCH);
        let mut inner = Inner {
            conn,
            _spill: spill,
            memory,
            time: options.bounds.time,
            as_of,
            made: BTreeSet::new(),
            shut: false,
        };
        if let Some(file) = &options.keep {
            inner.keep(file)?;
        }
        Ok(Store {
            inner: Mutex::new(inner),
            homes: homes(&ledgers, &shared_tags),
            ledgers,
            shared_tags,
            heads,
            troubles,
            as_of,
            empty: last.is_none(),
        })
    }

    /// The moment the store stands at: the last one that counts.
    pub fn as_of(&self) -> DateTime<Utc> {
        self.as_of
    }

    /// True where no line counts.
    pub fn is_empty(&self) -> bool {
        self.empty
    }

    /// The ledgers, in the order given.
    pub fn ledgers(&self) -> &[Ledger] {
        &self.ledgers
    }

    /// The register of the first (mostly the only) ledger.
    pub fn register(&self) -> &Register {
        // `open` reads at least one ledger.
        &self.ledgers[0].register
    }

    /// Every machine, as the rows name it: its tag, or `ledger/tag` where the tag stands
    /// in more than one ledger.
    pub fn machines(&self) -> Vec<String> {
        let of = |ledger: &Ledger| -> Vec<String> {
            let machines = ledger.register.machines.iter();
            machines
                .map(|m| registers::machine_name(&ledger.name, &m.tag, &self.shared_tags))
                .collect()
        };
        self.ledgers.iter().flat_map(of).collect()
    }

    /// What the rows call a machine of a ledger: its tag, or `ledger/tag` where the tag stands
    /// in more than one.
    pub fn machine_name(&self, ledger: &Ledger, tag: &str) -> String {
        registers::machine_name(&ledger.name, tag, &self.shared_tags)
    }

    /// The tag that a machine, as the rows name it, has in its own register; the name
    /// itself where no register knows it.
    pub fn tag_of<'a>(&'a self, machine: &'a str) -> &'a str {
        self.home_of(machine).map_or(machine, |(_, tag)| tag)
    }

    /// The ledger that a machine, as the rows name it, belongs to, and its tag there.
    pub fn home_of(&self, machine: &str) -> Option<(&Ledger, &str)> {
        let (ledger, place) = *self.homes.get(machine)?;
        let ledger = &self.ledgers[ledger];
        Some((ledger, ledger.register.machines[place].tag.as_str()))
    }

    /// The register that a machine, as the rows name it, belongs to.
    pub fn register_of(&self, machine: &str) -> Option<&Register> {
        self.home_of(machine).map(|(ledger, _)| &ledger.register)
    }

    /// The plant's time zone (of the first ledger).
    pub fn zone(&self) -> Tz {
        self.register().plant.time_zone
    }

    /// The last line of every book, in the order of ledgers and books.
    pub fn heads(&self) -> &[Head] {
        &self.heads
    }

    /// What should be told but did not stop the loading: last lines cut short.
    pub fn troubles(&self) -> &[Trouble] {
        &self.troubles
    }

    /// One row a life, ordered by machine, component, position, start.
    pub fn lives(&self) -> Result<Vec<LifeRow>, StoreError> {
        self.rows()
    }

    /// One row a renewal under a job, with its share of the job's costs.
    pub fn renewal_costs(&self) -> Result<Vec<RenewalCost>, StoreError> {
        self.rows()
    }

    /// Every amount of the ledgers, each in one row, in the order of time.
    pub fn costs(&self) -> Result<Vec<CostItem>, StoreError> {
        self.rows()
    }

    /// One row a job: its hours and what they come to.
    pub fn jobs(&self) -> Result<Vec<Job>, StoreError> {
        self.rows()
    }

    /// One row per stay of an item in a slot.
    pub fn slot_history(&self) -> Result<Vec<SlotStay>, StoreError> {
        self.rows()
    }

    /// One row per machine and meter.
    pub fn usage_now(&self) -> Result<Vec<UsageNow>, StoreError> {
        self.rows()
    }

    /// One row per measured entry that stands, by where and when it was taken.
    pub fn readings(&self) -> Result<Vec<Reading>, StoreError> {
        self.rows()
    }

    /// Usage of every machine on every meter at any moment.
    pub fn meters(&self) -> Result<Meters, StoreError> {
        self.rows().map(Meters::new)
    }

    /// One row per ledger and kind of entry.
    pub fn entry_counts(&self) -> Result<Vec<EntryCount>, StoreError> {
        self.rows()
    }

    fn rows<T: cursor::QueryRow>(&self) -> Result<Vec<T>, StoreError> {
        let mut inner = self.inner();
        inner.make(T::QUERY)?;
        cursor::read(&inner.conn)
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        // A panic elsewhere leaves the connection as it was: each statement is whole.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inner {
    /// Makes the table of a query, and before it those it reads.
    fn make(&mut self, name: &str) -> Result<(), StoreError> {
        let Some(query) = Query::named(name) else {
            return Ok(()); // a table loaded already
        };
        if self.made.contains(query.name) {
            return Ok(());
        }
        for needed in query
            .header()
            .map(|header| header.reads)
            .unwrap_or_default()
        {
            self.make(&needed)?;
        }
        let sql = format!("CREATE TABLE {} AS {}", query.name, query.sql);
        let as_of = Value::Timestamp(TimeUnit::Microsecond, self.as_of.timestamp_micros());
        let done = if query.takes_as_of() {
            self.conn.execute(&sql, [as_of])
        } else {
            self.conn.execute(&sql, [])
        };
        done.map_err(|error| StoreError::engine(format!("run query {}", query.name), &error))?;
        self.made.insert(query.name);
        Ok(())
    }

    fn make_all(&mut self) -> Result<(), StoreError> {
        QUERIES.iter().try_for_each(|query| self.make(query.name))
    }
}

fn read_registers(folders: &[PathBuf]) -> Result<Vec<Ledger>, StoreError> {
    folders
        .iter()
        .zip(ledger_names(folders))
        .map(|(folder, name)| {
            Ok(Ledger {
                name,
                folder: folder.clone(),
                register: Register::load(&folder.join(FILE_NAME))?,
            })
        })
        .collect()
}

fn sources(ledgers: &[Ledger]) -> Result<Vec<Source>, StoreError> {
    let only_one = ledgers.len() == 1;
    let mut sources = Vec::new();
    for ledger in ledgers {
        for path in book_files(&ledger.folder).map_err(|error| book_error(&ledger.folder, error))? {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let book = format!("{}/{name}", crate::book::BOOKS);
            sources.push(Source {
                ledger: ledger.name.clone(),
                shown: load::shown(&ledger.folder, &book, only_one),
                book,
                path,
            });
        }
    }
    Ok(sources)
}

fn no_folder(error: BookError) -> StoreError {
    match error {
        BookError::Io {
            file,
            doing,
            reason,
        } => StoreError::Io {
            path: file.into(),
            doing,
            reason,
        },
        other => StoreError::Books(other.troubles()),
    }
}

fn book_error(folder: &Path, error: BookError) -> StoreError {
    StoreError::Io {
        path: folder.to_path_buf(),
        doing: "read the books in it",
        reason: error.to_string(),
    }
}

/// SQL that names a raw line's machine over the fleet.
fn machine_expression(shared: &BTreeSet<String>) -> String {
    if shared.is_empty() {
        return "l.machine".to_owned();
    }
    let tags: Vec<String> = shared
        .iter()
        .map(|tag| format!("'{}'", tag.replace('\'', "''")))
        .collect();
    format!(
        "CASE WHEN l.machine IN ({}) THEN concat(f.ledger, '/', l.machine) ELSE l.machine END",
        tags.join(", ")
    )
}

/// Where each machine, as the rows name it, stands: its ledger, and its place in the register.
fn homes(ledgers: &[Ledger], shared: &BTreeSet<String>) -> HashMap<String, (usize, usize)> {
    let mut homes = HashMap::new();
    for (n, ledger) in ledgers.iter().enumerate() {
        for (place, machine) in ledger.register.machines.iter().enumerate() {
            let name = registers::machine_name(&ledger.name, &machine.tag, shared);
            // The first of a name, should there be two.
            homes.entry(name).or_insert((n, place));
        }
    }
    homes
}

/// The last moment that the lines up to the bound tell of.
fn last_moment(
    conn: &Connection,
    bound: Option<DateTime<Utc>>,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    let bound = bound.map_or(Value::Null, |time| {
        Value::Timestamp(TimeUnit::Microsecond, time.timestamp_micros())
    });
    let micros: Option<i64> = conn
        .query_row(
            "SELECT epoch_us(max(greatest(\"time\", logged))) FROM raw.lines
             WHERE $1::TIMESTAMP IS NULL OR (\"time\" <= $1 AND logged <= $1)",
            [bound],
            |row| row.get(0),
        )
        .map_err(|error| StoreError::engine("find the last moment", &error))?;
    Ok(micros.and_then(DateTime::from_timestamp_micros))
}
