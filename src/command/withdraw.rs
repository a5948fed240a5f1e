//! `withdraw`: an entry no longer holds; it stays in its book.

use chrono::Utc;

use super::record::{Writing, confirm, record_one};
use super::{CommandError, Outcome, Ui};
use crate::book::{Entry, Event};

/// Withdraw an entry
///
/// A book is never rewritten: a later line says that the entry no longer holds, and
/// why. It then counts in no result. State anew what does hold with `record`.
#[derive(Debug, clap::Args)]
pub struct WithdrawArgs {
    /// Name of the entry: its SHA-256, or the first 12 or more digits
    sha: String,
    /// Why it does not hold
    #[arg(long, value_name = "TEXT")]
    why: String,
    #[command(flatten)]
    writing: Writing,
}

pub fn run(args: &WithdrawArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let now = super::record::to_the_second(Utc::now());
    let digits = args.sha.trim().to_lowercase();
    if digits.len() < 12 || digits.len() > 64 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Err(CommandError::wrong_use(
            format!("`{}` is not the name of an entry", args.sha),
            "give 12 to 64 hex digits of its SHA-256",
        ));
    }
    let why = args.why.trim().to_owned();
    if why.is_empty() {
        return Err(CommandError::wrong_use(
            "--why is empty",
            "say in a few words why the entry does not hold",
        ));
    }
    let who = args.writing.who()?;
    let mut appender = args.writing.open(ui)?;
    let entry = Entry {
        time: now,
        logged: now,
        who,
        machine: None,
        event: Event::Withdrawn {
            entry_sha: digits,
            why,
        },
        job: None,
        note: None,
        source: None,
    };
    let recorded = record_one(&mut appender, &entry, now, args.writing.dry_run, ui)?;
    confirm(recorded.as_ref(), &entry, appender.register(), ui)?;
    Ok(Outcome::Done)
}
