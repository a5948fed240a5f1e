//! Writing to a ledger's folder: the lock, whole lines, a torn line set aside.
//! What fails leaves the files as they were.
//!
//! Everything that changes a ledger goes through [`Disk`], so that tests can put a
//! faulty one in its place.

use std::fmt;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::error::BookError;
use super::ledger::BOOKS;
use super::sha::Sha;
use crate::quantity::trouble::{Severity, Trouble, shown};

/// The file in the ledger folder that a recording program locks. One lock for all
/// books, because an entry is checked against all of them.
pub const LOCK_FILE: &str = ".lock";

/// How a file is opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opening {
    /// For reading; it must be there.
    Read,
    /// For reading and cutting; it must be there.
    Change,
    /// For writing at its end; made if it is new.
    Append,
    /// For writing from nothing; emptied if it is there.
    Create,
}

/// What recording asks of a disk.
pub trait Disk: fmt::Debug + Send + Sync {
    /// Tries to lock a file, made if it is new; `None` while another holds it. The lock
    /// holds until the value is dropped.
    fn try_lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>>;
    fn open(&self, path: &Path, how: Opening) -> io::Result<Box<dyn DiskFile>>;
    fn exists(&self, path: &Path) -> bool;
    fn make_folder(&self, path: &Path) -> io::Result<()>;
    /// Makes sure the names in a folder are on disk.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;
    /// Copies a file; what was there before is replaced.
    fn copy(&self, from: &Path, to: &Path) -> io::Result<u64>;
    /// Puts a file in the place of another, in one step.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    fn remove(&self, path: &Path) -> io::Result<()>;
}

/// A lock that is held.
pub trait Lock: fmt::Debug + Send {}

/// An open file.
// It is asked for its size only.
#[allow(clippy::len_without_is_empty)]
pub trait DiskFile: fmt::Debug + Send {
    fn len(&self) -> io::Result<u64>;
    /// Everything from this byte to the end.
    fn read_from(&mut self, byte: u64) -> io::Result<Vec<u8>>;
    /// Writes some of the bytes and tells how many.
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize>;
    /// Brings what was written to the disk itself.
    fn sync(&mut self) -> io::Result<()>;
    fn set_len(&mut self, len: u64) -> io::Result<()>;
}

/// The disk of the system.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemDisk;

impl Lock for File {}

impl DiskFile for File {
    fn len(&self) -> io::Result<u64> {
        Ok(self.metadata()?.len())
    }

    fn read_from(&mut self, byte: u64) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.seek(SeekFrom::Start(byte))?;
        self.read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Write::write(self, bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_all()
    }

    fn set_len(&mut self, len: u64) -> io::Result<()> {
        File::set_len(self, len)
    }
}

impl Disk for SystemDisk {
    fn try_lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>> {
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Box::new(file))),
            Err(TryLockError::WouldBlock) => Ok(None),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }

    fn open(&self, path: &Path, how: Opening) -> io::Result<Box<dyn DiskFile>> {
        let mut options = OpenOptions::new();
        match how {
            Opening::Read => options.read(true),
            Opening::Change => options.read(true).write(true),
            Opening::Append => options.create(true).append(true),
            Opening::Create => options.create(true).write(true).truncate(true),
        };
        Ok(Box::new(options.open(path)?))
    }

    fn exists(&self, path: &Path) -> bool {
        path.exists()
    }

    fn make_folder(&self, path: &Path) -> io::Result<()> {
        std::fs::create_dir_all(path)
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        // Folders cannot be opened as files everywhere; where they cannot, names are
        // written by the system itself.
        if cfg!(unix) {
            File::open(path)?.sync_all()?;
        }
        Ok(())
    }

    fn copy(&self, from: &Path, to: &Path) -> io::Result<u64> {
        std::fs::copy(from, to)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }
}

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

/// How long to wait for another program that records in the ledger.
pub struct Patience {
    /// Zero: not at all.
    pub limit: Duration,
    /// Called once, when the wait is long enough to tell of it.
    pub told: Box<dyn FnMut() + Send>,
}

impl Patience {
    /// How long to wait where nothing else is said.
    pub const LIMIT: Duration = Duration::from_secs(60);
    /// After this long the wait is told of.
    const QUIET: Duration = Duration::from_millis(500);

    /// Waits so long, and tells nobody.
    pub fn silent(limit: Duration) -> Patience {
        Patience {
            limit,
            told: Box::new(|| {}),
        }
    }
}

impl Default for Patience {
    fn default() -> Patience {
        Patience::silent(Patience::LIMIT)
    }
}

impl fmt::Debug for Patience {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Patience({:?})", self.limit)
    }
}

/// Waits until no other program records in this ledger; holds until it is dropped.
///
/// Errors: [`BookError::Busy`] where another holds it for longer than patience lasts.
pub(super) fn lock(
    disk: &dyn Disk,
    folder: &Path,
    patience: &mut Patience,
) -> Result<Box<dyn Lock>, BookError> {
    let path = folder.join(LOCK_FILE);
    let mut waited = Duration::ZERO;
    let mut told = false;
    loop {
        let held = disk.try_lock(&path).map_err(io_error(&path, "lock"))?;
        if let Some(lock) = held {
            return Ok(lock);
        }
        if waited >= patience.limit {
            return Err(BookError::Busy {
                file: shown(&path),
                waited,
            });
        }
        if waited >= Patience::QUIET && !told {
            told = true;
            (patience.told)();
        }
        // Others hold it for a few milliseconds; who waits long need not ask so often.
        let pause = Duration::from_millis(if told { 20 } else { 2 });
        std::thread::sleep(pause);
        waited += pause;
    }
}

/// Moves what follows byte `len` of a book, a last line cut short, into a file beside
/// it: first copied and synced, then cut off, so that a crash in between loses nothing.
pub(super) fn set_torn_aside(
    disk: &dyn Disk,
    folder: &Path,
    book: &str,
    len: u64,
) -> Result<Option<SetAside>, BookError> {
    let path = folder.join(book);
    let mut file = match disk.open(&path, Opening::Change) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(io_error(&path, "open for writing")(error)),
    };
    let reading = io_error(&path, "read");
    if file.len().map_err(&reading)? <= len {
        return Ok(None);
    }
    let torn = file.read_from(len).map_err(&reading)?;
    let beside = format!("{book}.torn-{}", Sha::of(&torn).short());
    let beside_path = folder.join(&beside);
    let keeping = io_error(&beside_path, "write");
    let mut keep = disk.open(&beside_path, Opening::Create).map_err(&keeping)?;
    write_all(keep.as_mut(), &torn)
        .and_then(|()| keep.sync())
        .map_err(&keeping)?;
    sync_books_folder(disk, folder)?;
    file.set_len(len)
        .and_then(|()| file.sync())
        .map_err(io_error(&path, "cut the torn last line off"))?;
    Ok(Some(SetAside {
        book: book.to_owned(),
        file: beside,
        bytes: torn.len(),
    }))
}

/// Adds whole lines to a book, made if it is new, and syncs them to disk: all of them or,
/// on failure or when killed at any moment, none.
///
/// One line is written at the end of the file: cut short, it is torn and never counts.
/// Of several, some would stay whole; so they go to a copy of the book, which then
/// takes the book's place in one step.
pub(super) fn add_lines(
    disk: &dyn Disk,
    folder: &Path,
    book: &str,
    text: &[u8],
) -> Result<(), BookError> {
    let path = folder.join(book);
    let books = folder.join(BOOKS);
    disk.make_folder(&books)
        .map_err(io_error(&books, "make the folder"))?;
    let one = memchr::memchr(b'\n', text) == text.len().checked_sub(1);
    let new = !disk.exists(&path);
    if new {
        // The folder of the books may be new as well; its name is kept in the one above.
        disk.sync_folder(folder)
            .map_err(io_error(folder, "sync the folder"))?;
    }
    if one && !new {
        add_in_place(disk, &path, text)
    } else {
        add_to_copy(disk, folder, book, text)
    }
}

fn add_in_place(disk: &dyn Disk, path: &Path, text: &[u8]) -> Result<(), BookError> {
    let mut file = disk
        .open(path, Opening::Append)
        .map_err(io_error(path, "open for writing"))?;
    let writing = io_error(path, "write");
    let before = file.len().map_err(&writing)?;
    let written = write_all(file.as_mut(), text).and_then(|()| file.sync());
    let Err(error) = written else { return Ok(()) };
    match file.set_len(before).and_then(|()| file.sync()) {
        Ok(()) => Err(writing(error)),
        Err(undoing) => Err(BookError::Unsure {
            file: shown(path),
            reason: error.to_string(),
            undoing: undoing.to_string(),
        }),
    }
}

fn add_to_copy(disk: &dyn Disk, folder: &Path, book: &str, text: &[u8]) -> Result<(), BookError> {
    let staged = Staged::new(disk, folder, book, text)?;
    staged.put_in_place(disk)?;
    // The lines are in the book now; only a power cut could still undo them.
    sync_books_folder(disk, folder).map_err(|error| BookError::Unsure {
        file: shown(&staged.path),
        reason: "its folder could not be synced".to_owned(),
        undoing: error.to_string(),
    })
}

/// A copy of a book with lines added, whole and synced beside it, to take its place.
#[derive(Debug)]
pub(super) struct Staged {
    path: PathBuf,
    beside: PathBuf,
    /// Bytes of the book as it is; `None` where it is new.
    before: Option<u64>,
}

impl Staged {
    /// Writes the copy; the book itself is left as it is.
    pub(super) fn new(
        disk: &dyn Disk,
        folder: &Path,
        book: &str,
        text: &[u8],
    ) -> Result<Staged, BookError> {
        let path = folder.join(book);
        // Not a `.jsonl`, so never taken for a book; one left behind by a crash is replaced.
        let beside = folder.join(format!("{book}.new"));
        let made = if disk.exists(&path) {
            disk.copy(&path, &beside).map(Some)
        } else {
            disk.open(&beside, Opening::Create).map(|_| None)
        };
        let written = made.and_then(|before| {
            let mut file = disk.open(&beside, Opening::Append)?;
            write_all(file.as_mut(), text)?;
            file.sync()?;
            Ok(before)
        });
        match written {
            Ok(before) => Ok(Staged {
                path,
                beside,
                before,
            }),
            Err(error) => {
                let _ = disk.remove(&beside);
                Err(io_error(&path, "write")(error))
            }
        }
    }

    fn put_in_place(&self, disk: &dyn Disk) -> Result<(), BookError> {
        disk.rename(&self.beside, &self.path).map_err(|error| {
            let _ = disk.remove(&self.beside);
            io_error(&self.path, "write")(error)
        })
    }

    /// The book as it was before its copy took its place.
    fn undo(&self, disk: &dyn Disk) -> io::Result<()> {
        match self.before {
            None => disk.remove(&self.path),
            Some(len) => {
                let mut file = disk.open(&self.path, Opening::Change)?;
                file.set_len(len)?;
                file.sync()
            }
        }
    }
}

/// Writes several books, each with the lines to be added: on failure none is changed. When
/// killed, each is as it was or has all its lines.
pub(super) fn add_to_books(
    disk: &dyn Disk,
    folder: &Path,
    books: &[(String, &[u8])],
) -> Result<(), BookError> {
    if books.is_empty() {
        return Ok(());
    }
    let inner = folder.join(BOOKS);
    disk.make_folder(&inner)
        .map_err(io_error(&inner, "make the folder"))?;
    let mut staged: Vec<Staged> = Vec::with_capacity(books.len());
    for (book, text) in books {
        match Staged::new(disk, folder, book, text) {
            Ok(copy) => staged.push(copy),
            Err(error) => {
                drop_copies(disk, &staged);
                return Err(error);
            }
        }
    }
    for (n, copy) in staged.iter().enumerate() {
        let Err(error) = copy.put_in_place(disk) else {
            continue;
        };
        drop_copies(disk, &staged[n + 1..]);
        for done in &staged[..n] {
            if let Err(undoing) = done.undo(disk) {
                return Err(BookError::Unsure {
                    file: shown(&done.path),
                    reason: error.to_string(),
                    undoing: undoing.to_string(),
                });
            }
        }
        return Err(error);
    }
    sync_books_folder(disk, folder).map_err(|error| BookError::Unsure {
        file: shown(&inner),
        reason: "the folder could not be synced".to_owned(),
        undoing: error.to_string(),
    })
}

fn drop_copies(disk: &dyn Disk, staged: &[Staged]) {
    for copy in staged {
        let _ = disk.remove(&copy.beside);
    }
}

fn write_all(file: &mut dyn DiskFile, mut bytes: &[u8]) -> io::Result<()> {
    while !bytes.is_empty() {
        match file.write(bytes) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(n) => bytes = bytes.get(n..).unwrap_or_default(),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// Makes sure a new file's name is on disk too.
fn sync_books_folder(disk: &dyn Disk, folder: &Path) -> Result<(), BookError> {
    let books = folder.join(BOOKS);
    disk.sync_folder(&books)
        .map_err(io_error(&books, "sync the folder"))
}
