//! `query`: a named query, or a user's own SQL over the documented tables.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use chrono::NaiveDate;

use super::apart::{Apart, Watch, apart};
use super::select::folders;
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::quantity::size::{SizeError, parse_size, size_words};
use crate::quantity::trouble::Trouble;
use crate::store::{Bounds, Options, Store, StoreError};
use crate::view::answer;

/// Answer a named query, or SQL over the documented tables
///
/// The statement sees a copy of the ledger in memory and may only read it: it cannot change
/// anything, nor reach files or settings. Times in the tables are UTC. `--list` tells every
/// table and its columns.
#[derive(Debug, clap::Args)]
pub struct QueryArgs {
    /// Ledger folders, or folders of ledgers (default: this one), then the name of a query or an SQL statement
    #[arg(value_name = "LEDGER… QUESTION", required_unless_present = "list")]
    words: Vec<String>,
    /// List the tables and named queries with their columns
    #[arg(long)]
    list: bool,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Keep the loaded tables in this DuckDB file
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
    /// Most memory to take, never more than four fifths of the computer's (default: 4GB)
    ///
    /// The answer may take a quarter of it. A question that needs more is refused.
    #[arg(long, value_name = "SIZE", value_parser = memory)]
    memory: Option<u64>,
    /// Threads to work with (default: one a core)
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Give up on the question after so many seconds (default: never)
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(1..))]
    time_limit: Option<u32>,
}

impl QueryArgs {
    fn time(&self) -> Option<Duration> {
        self.time_limit.map(|s| Duration::from_secs(s.into()))
    }
}

/// What the program takes beside the database: threads, the answer as text.
const ROOM: u64 = 1_000_000_000;
/// A question that does not heed its end for so long is ended from outside.
const PATIENCE: Duration = Duration::from_secs(3);
/// What a question may take where nothing is said, in bytes.
const MEMORY: u64 = 4_000_000_000;
/// Less than this and not even an empty ledger can be loaded.
const LEAST_MEMORY: u64 = 32_000_000;

fn memory(text: &str) -> Result<u64, SizeError> {
    match parse_size(text)? {
        bytes if bytes < LEAST_MEMORY => Err(SizeError::TooLittle {
            least: LEAST_MEMORY,
        }),
        bytes => Ok(bytes),
    }
}

pub fn run(args: &QueryArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if args.list {
        ui.result(&list(args.format)?)?;
        return Ok(Outcome::Done);
    }
    let memory = args.memory.unwrap_or(MEMORY);
    let begun = Instant::now();
    match apart(memory.saturating_mul(2).saturating_add(ROOM))? {
        Apart::Here => {
            let text = ask(args, ui)?;
            ui.result(&text)?;
            Ok(Outcome::Done)
        }
        Apart::Done(code) => Ok(Outcome::Child(code)),
        Apart::BrokeOff => match args.time().filter(|time| begun.elapsed() > *time) {
            Some(time) => Err(StoreError::Time { time }.into()),
            None => Err(broke_off(memory)),
        },
    }
}

/// Why there is no answer where the work on it was ended by the system.
fn broke_off(memory: u64) -> CommandError {
    CommandError::new(
        Fault::NoAnswer,
        Trouble::error("broke-off", "the work on the question broke off")
            .because(format!(
                "Most often a question needs more memory than there is, here {}.",
                size_words(memory)
            ))
            .cured_by("ask for fewer rows or columns, for shorter texts, or in smaller steps;")
            .cured_by("a question is given more with --memory"),
    )
}

fn list(format: Format) -> Result<String, CommandError> {
    let all = answer::listings();
    format.lay_out(
        || answer::listings_text(&all),
        || answer::listings_json(&all),
        || answer::listings_csv(&all),
    )
}

fn ask(args: &QueryArgs, ui: &mut Ui) -> Result<String, CommandError> {
    let Some((question, ledgers)) = args.words.split_last() else {
        return Err(CommandError::wrong_use(
            "no question",
            "name a query, or write an SQL statement; wearbook query --list tells what there is",
        ));
    };
    let ledgers: Vec<PathBuf> = ledgers.iter().map(PathBuf::from).collect();
    let options = Options {
        keep: args.store.clone(),
        bounds: Bounds {
            memory: Some(args.memory.unwrap_or(MEMORY)),
            threads: args.threads,
            time: args.time(),
        },
        ..Options::default()
    };
    let store = Store::open(&folders(&ledgers), args.as_of, &options)?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let _watch = args.time().map(|time| Watch::begin(time + PATIENCE));
    let found = store.ask(question)?;
    args.format.lay_out(
        || answer::text(&found),
        || answer::json(&found),
        || answer::csv(&found),
    )
}
