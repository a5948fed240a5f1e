//! Writing to a ledger's folder: the lock, whole lines, a torn line set aside.
//! What fails leaves the files as they were.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

use super::error::BookError;
use super::ledger::BOOKS;
use super::sha::Sha;
use crate::quantity::trouble::{Severity, Trouble, shown};

/// The file in the ledger folder that a recording program locks. One lock for all
/// books, because an entry is checked against all of them.
pub const LOCK_FILE: &str = ".lock";

/// A line cut short by a crash, moved out of its book.
#[derive(Debug, Clone, PartialEq)]
pub struct SetAside {
    pub book: String,
    /// The file it was moved to, beside the book.
    pub file: String,
    pub bytes: usize,
}

impl SetAside {
    /// What to tell the user.
    pub fn trouble(&self) -> Trouble {
        Trouble::error("torn-tail", "a last line cut short was set aside")
            .with_severity(Severity::Warning)
            .in_file(self.book.clone())
            .because(format!(
                "Its {} bytes are kept in {}; it never counted as an entry.",
                self.bytes, self.file
            ))
            .cured_by("look at it, and record the entry again if it is wanted")
    }
}

/// What an error of the system means: which file, and what was being done to it.
pub(super) fn io_error(path: &Path, doing: &'static str) -> impl Fn(io::Error) -> BookError {
    let file = shown(path);
    move |error| BookError::Io {
        file: file.clone(),
        doing,
        reason: error.to_string(),
    }
}

/// Waits until no other program records in this ledger; holds until it is dropped.
pub(super) fn lock(folder: &Path) -> Result<File, BookError> {
    let path = folder.join(LOCK_FILE);
    let file = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(io_error(&path, "open the lock file"))?;
    file.lock().map_err(io_error(&path, "lock"))?;
    Ok(file)
}

/// Moves what follows byte `len` of a book, a last line cut short, into a file beside
/// it: first copied and synced, then cut off, so that a crash in between loses nothing.
pub(super) fn set_torn_aside(
    folder: &Path,
    book: &str,
    len: u64,
) -> Result<Option<SetAside>, BookError> {
    let path = folder.join(book);
    let mut file = match OpenOptions::new().read(true).write(true).open(&path) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(io_error(&path, "open for writing")(error)),
    };
    let reading = io_error(&path, "read");
    if file.metadata().map_err(&reading)?.len() <= len {
        return Ok(None);
    }
    let mut torn = Vec::new();
    file.seek(SeekFrom::Start(len))
        .and_then(|_| file.read_to_end(&mut torn))
        .map_err(&reading)?;
    let beside = format!("{book}.torn-{}", Sha::of(&torn).short());
    let beside_path = folder.join(&beside);
    let keeping = io_error(&beside_path, "write");
    let mut keep = File::create(&beside_path).map_err(&keeping)?;
    keep.write_all(&torn)
        .and_then(|()| keep.sync_all())
        .map_err(&keeping)?;
    sync_books_folder(folder)?;
    file.set_len(len)
        .and_then(|()| file.sync_all())
        .map_err(io_error(&path, "cut the torn last line off"))?;
    Ok(Some(SetAside {
        book: book.to_owned(),
        file: beside,
        bytes: torn.len(),
    }))
}

/// Appends text to a book, made if it is new, and syncs it to disk.
pub(super) fn append_text(folder: &Path, book: &str, text: &str) -> Result<(), BookError> {
    let path = folder.join(book);
    let books = folder.join(BOOKS);
    std::fs::create_dir_all(&books).map_err(io_error(&books, "make the folder"))?;
    let new = !path.exists();
    let mut file = OpenOptions::new()
        .create(true)
        .append(true)
        .open(&path)
        .map_err(io_error(&path, "open for writing"))?;
    let writing = io_error(&path, "write");
    let before = file.metadata().map_err(&writing)?.len();
    let written = file.write_all(text.as_bytes()).and_then(|()| {
        if new {
            file.sync_all()
        } else {
            file.sync_data()
        }
    });
    if let Err(error) = written {
        // Put the book back as it was. Should even that fail, what is left is a torn
        // last line, which never counts and is set aside next time.
        let _ = file.set_len(before).and_then(|()| file.sync_all());
        if new {
            let _ = std::fs::remove_file(&path);
        }
        return Err(writing(error));
    }
    if new {
        sync_books_folder(folder)?;
    }
    Ok(())
}

/// Makes sure a new file's name is on disk too.
fn sync_books_folder(folder: &Path) -> Result<(), BookError> {
    let books = folder.join(BOOKS);
    // Folders cannot be opened as files everywhere; where they cannot, names are
    // written by the system itself.
    if cfg!(unix) {
        File::open(&books)
            .and_then(|folder| folder.sync_all())
            .map_err(io_error(&books, "sync the folder"))?;
    }
    Ok(())
}
