//! A simulated ledger on disk, written through the book's own append path.
//!
//! In: entries, the register's text, a folder that does not exist yet. Out: a ledger.
//! Never: clock, printing.
//!
//! The ledger is made beside its place and moved there when it is whole, so that a
//! failure leaves nothing half-written.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::body::{Book, SimEntry};
use crate::book::{Appender, BookError, Entry, Event, LOCK_FILE, Sha};
use crate::quantity::trouble::Trouble;
use crate::register::FILE_NAME;

/// Why no ledger was written.
#[derive(Debug, Error)]
pub enum WriteError {
    /// There is something at the place already; a simulated ledger never overwrites.
    #[error("{folder} is there already")]
    Taken { folder: String },
    #[error("could not {doing} {path}: {reason}")]
    Io {
        path: String,
        doing: &'static str,
        reason: String,
    },
    /// The append path refused what was simulated.
    #[error("{0}")]
    Book(Box<BookError>),
}

impl From<BookError> for WriteError {
    fn from(error: BookError) -> Self {
        WriteError::Book(Box::new(error))
    }
}

impl WriteError {
    /// All that is wrong, for showing.
    pub fn troubles(&self) -> Vec<Trouble> {
        match self {
            WriteError::Taken { folder } => vec![
                Trouble::error("folder-taken", "there is something here already")
                    .in_file(folder)
                    .because("A simulated ledger is never written over or into another.")
                    .cured_by("name a folder that does not exist yet, or an empty one"),
            ],
            WriteError::Io {
                path,
                doing,
                reason,
            } => vec![Trouble::error("io", format!("could not {doing}: {reason}")).in_file(path)],
            WriteError::Book(error) => error.troubles(),
        }
    }

    /// True where a file or folder could not be read or written.
    pub fn is_io(&self) -> bool {
        match self {
            WriteError::Taken { .. } => false,
            WriteError::Io { .. } => true,
            WriteError::Book(error) => error.is_io(),
        }
    }
}

/// Where a ledger goes.
#[derive(Debug, Clone, Copy)]
pub struct Place<'a> {
    pub folder: &'a Path,
    /// Text of its `plant.toml`.
    pub register: &'a str,
    pub job_book: &'a str,
    pub reading_book: &'a str,
}

/// Writes a ledger with these entries; `now` for the append path is when the last was logged.
///
/// Errors: [`WriteError`]; nothing is left behind then.
pub fn write(place: &Place, entries: &[SimEntry]) -> Result<(), WriteError> {
    let folder = place.folder;
    if !is_free(folder)? {
        return Err(WriteError::Taken {
            folder: folder.display().to_string(),
        });
    }
    let parent = match folder.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    fs::create_dir_all(&parent).map_err(io_error(&parent, "make the folder"))?;
    let making = tempfile::Builder::new()
        .prefix(".simulated-")
        .tempdir_in(&parent)
        .map_err(io_error(&parent, "write in"))?;
    let register = making.path().join(FILE_NAME);
    fs::write(&register, place.register).map_err(io_error(&register, "write"))?;
    append(place, making.path(), entries)?;
    // The lock of the appends; whoever records next makes his own.
    let lock = making.path().join(LOCK_FILE);
    if lock.exists() {
        fs::remove_file(&lock).map_err(io_error(&lock, "remove"))?;
    }
    if folder.exists() {
        fs::remove_dir(folder).map_err(io_error(folder, "take the place of"))?;
    }
    fs::rename(making.path(), folder).map_err(io_error(folder, "move the ledger to"))?;
    // The folder has left its temporary place: there is nothing to clean up.
    let _ = making.keep();
    open_to_others(folder)
}

/// A temporary folder is its maker's alone; a ledger is for whoever may read beside it.
#[cfg(unix)]
fn open_to_others(folder: &Path) -> Result<(), WriteError> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(folder, fs::Permissions::from_mode(0o755))
        .map_err(io_error(folder, "set the permissions of"))
}

#[cfg(not(unix))]
fn open_to_others(_: &Path) -> Result<(), WriteError> {
    Ok(())
}

fn is_free(folder: &Path) -> Result<bool, WriteError> {
    match fs::read_dir(folder) {
        Ok(mut inside) => Ok(inside.next().is_none()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => Ok(false),
        Err(error) => Err(io_error(folder, "look into")(error)),
    }
}

fn io_error(path: &Path, doing: &'static str) -> impl FnOnce(io::Error) -> WriteError {
    let path = path.display().to_string();
    move |error| WriteError::Io {
        path,
        doing,
        reason: error.to_string(),
    }
}

/// Appends in as few strokes as the checks allow.
///
/// Within a stroke the job book goes first: meters are exchanged and parts put in there.
/// A stroke ends after a wrong entry, which would be held against later, right ones; and a
/// withdrawal stands alone: it has to know the name of the entry it withdraws, and what
/// follows has to know of it.
fn append(place: &Place, folder: &Path, entries: &[SimEntry]) -> Result<(), WriteError> {
    let Some(now) = entries.iter().map(|told| told.entry.logged).max() else {
        return Ok(());
    };
    let mut jobs = Appender::open(folder, place.job_book)?;
    let mut readings = Appender::open(folder, place.reading_book)?;
    let wrong: Vec<usize> = entries.iter().filter_map(|told| told.withdraws).collect();
    let mut names: Vec<(usize, Sha)> = Vec::new();
    let mut from = 0;
    while from < entries.len() {
        let alone = |n: usize| entries[n].withdraws.is_some();
        let end = (from + 1..entries.len())
            .find(|&n| wrong.contains(&(n - 1)) || alone(n) || alone(n - 1))
            .unwrap_or(entries.len());
        for (book, appender) in [(Book::Jobs, &mut jobs), (Book::Readings, &mut readings)] {
            let stroke: Vec<usize> = (from..end).filter(|&n| entries[n].book == book).collect();
            let lines: Vec<Entry> = stroke.iter().map(|&n| named(&entries[n], &names)).collect();
            let recorded = appender.append_all(&lines, now)?;
            let written = stroke.iter().zip(&recorded);
            names.extend(
                written
                    .filter(|(n, _)| wrong.contains(n))
                    .map(|(n, line)| (*n, line.sha)),
            );
        }
        from = end;
    }
    Ok(())
}

/// The entry with the name of what it withdraws filled in.
fn named(told: &SimEntry, names: &[(usize, Sha)]) -> Entry {
    let mut entry = told.entry.clone();
    if let (Event::Withdrawn { entry_sha, .. }, Some(of)) = (&mut entry.event, told.withdraws)
        && let Some((_, sha)) = names.iter().find(|(n, _)| *n == of)
    {
        *entry_sha = sha.to_string();
    }
    entry
}
