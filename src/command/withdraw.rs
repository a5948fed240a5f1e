//! `withdraw`: an entry no longer holds; it stays in its book.

use chrono::{DateTime, Utc};

use super::record::{Writing, confirm, record_one};
use super::{CommandError, Outcome, Ui};
use crate::book::{Entry, Event};

/// Withdraw an entry
///
/// A book is never rewritten: a later line says that the entry no longer holds, and
/// why. It then counts in no result. State anew what does hold with `record`; `amend` does
/// both at once.
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
    let digits = digits(&args.sha)?;
    let why = reason(&args.why)?;
    let who = args.writing.who()?;
    let mut appender = args.writing.open(ui)?;
    let entry = withdrawal(digits, why, who, now);
    let recorded = record_one(&mut appender, &entry, now, args.writing.dry_run, ui)?;
    confirm(recorded.as_ref(), &entry, appender.register(), ui)?;
    Ok(Outcome::Done)
}

/// The digits that name an entry.
pub(super) fn digits(sha: &str) -> Result<String, CommandError> {
    let digits = sha.trim().to_lowercase();
    if digits.len() < 12 || digits.len() > 64 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Err(CommandError::wrong_use(
            format!("`{sha}` is not the name of an entry"),
            "give 12 to 64 hex digits of its SHA-256",
        ));
    }
    Ok(digits)
}

/// Why an entry does not hold.
pub(super) fn reason(why: &str) -> Result<String, CommandError> {
    let why = why.trim().to_owned();
    if why.is_empty() {
        return Err(CommandError::wrong_use(
            "--why is empty",
            "say in a few words why the entry does not hold",
        ));
    }
    Ok(why)
}

/// The line that withdraws an entry.
pub(super) fn withdrawal(entry_sha: String, why: String, who: String, now: DateTime<Utc>) -> Entry {
    Entry {
        time: now,
        logged: now,
        who,
        machine: None,
        event: Event::Withdrawn { entry_sha, why },
        job: None,
        note: None,
        source: None,
    }
}
