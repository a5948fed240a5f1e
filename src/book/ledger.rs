//! A ledger folder, read: its register, its books, and what is wrong with them.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::chain::{Chain, read_chain};
use super::entry::{Entry, Event, Kind};
use super::error::{BookError, chain_trouble, line_trouble};
use super::line_fault::LineFault;
use super::parse::parse_line;
use super::sha::Sha;
use crate::quantity::trouble::{Place, Severity, Trouble, shown};
use crate::register::{FILE_NAME, Fault, Register};

/// The folder of the books in a ledger.
pub const BOOKS: &str = "books";

/// A ledger as it stands on disk. All that can be read is kept, and every fault is
/// listed beside it; [`Ledger::sound`] refuses one that cannot be relied on.
#[derive(Debug)]
pub struct Ledger {
    pub folder: PathBuf,
    pub register: Register,
    pub register_faults: Vec<Fault>,
    /// In the order of their file names.
    pub books: Vec<Book>,
}

/// One book, read.
#[derive(Debug)]
pub struct Book {
    /// The file name without `.jsonl`.
    pub name: String,
    /// The file within its ledger: `books/NAME.jsonl`.
    pub file: String,
    pub path: PathBuf,
    /// The file's bytes.
    pub bytes: Vec<u8>,
    /// Names of its lines, and the first trouble of its chain.
    pub chain: Chain,
    /// What each line states, or why it cannot be read.
    pub lines: Vec<Result<Entry, Vec<LineFault>>>,
    /// Where it is a copy of another book's file: that file.
    pub copy_of: Option<String>,
}

/// An entry with its place.
#[derive(Debug, Clone, Copy)]
pub struct Placed<'a> {
    pub entry: &'a Entry,
    pub sha: Sha,
    /// Index into [`Ledger::books`].
    pub book: usize,
    /// Line, from 1.
    pub line: usize,
}

impl Book {
    /// Reads one book file.
    pub fn read(path: &Path) -> Result<Book, BookError> {
        let name = path
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
            .unwrap_or_default();
        let file = format!("{BOOKS}/{name}.jsonl");
        let bytes = std::fs::read(path).map_err(|error| BookError::Io {
            file: shown(path),
            doing: "read",
            reason: error.to_string(),
        })?;
        let chain = read_chain(&bytes);
        let lines = chain
            .lines
            .par_iter()
            .with_min_len(512)
            .map(|line| parse_line(&bytes[line.bytes.clone()]).map(|(_, entry)| entry))
            .collect();
        Ok(Book {
            name,
            file,
            path: path.to_owned(),
            bytes,
            chain,
            lines,
            copy_of: None,
        })
    }

    /// The bytes of a line (from 1), without its LF.
    pub fn text(&self, line: usize) -> &[u8] {
        line.checked_sub(1)
            .and_then(|i| self.chain.lines.get(i))
            .map_or(&[], |name| &self.bytes[name.bytes.clone()])
    }

    /// Bytes of a last line cut short, if there are any.
    pub fn torn(&self) -> Option<&[u8]> {
        let torn = &self.bytes[self.chain.torn.clone()];
        (!torn.is_empty()).then_some(torn)
    }
}

impl Ledger {
    /// Reads a ledger folder: register and all books, whole.
    ///
    /// Errors: only what keeps it from being read at all (no folder, no register, a
    /// file that cannot be read). Everything else is in [`Ledger::troubles`].
    pub fn read(folder: &Path) -> Result<Ledger, BookError> {
        let paths = book_files(folder)?;
        let (register, register_faults) = Register::load_lenient(&folder.join(FILE_NAME))?;
        let mut books = Vec::with_capacity(paths.len());
        for path in paths {
            books.push(Book::read(&path)?);
        }
        for i in 1..books.len() {
            let first = books[i].chain.lines.first().map(|line| line.sha);
            let twin = books[..i]
                .iter()
                .find(|other| first.is_some() && other.chain.lines.first().map(|l| l.sha) == first)
                .map(|other| other.file.clone());
            books[i].copy_of = twin;
        }
        Ok(Ledger {
            folder: folder.to_owned(),
            register,
            register_faults,
            books,
        })
    }

    /// Reads a ledger that is to be relied on.
    ///
    /// Errors: as [`Ledger::read`], and everything that keeps it from being relied on.
    pub fn read_sound(folder: &Path) -> Result<Ledger, Vec<Trouble>> {
        let ledger = Ledger::read(folder).map_err(|error| error.troubles())?;
        let broken = ledger.broken();
        if broken.is_empty() {
            Ok(ledger)
        } else {
            Err(broken)
        }
    }

    /// Every line that could be read, in the order of books and lines; copies of a
    /// book are passed over. Withdrawn ones are among them.
    pub fn lines(&self) -> impl Iterator<Item = Placed<'_>> {
        self.books
            .iter()
            .enumerate()
            .filter(|(_, book)| book.copy_of.is_none())
            .flat_map(|(i, book)| {
                book.lines
                    .iter()
                    .zip(&book.chain.lines)
                    .enumerate()
                    .filter_map(move |(n, (line, name))| {
                        Some(Placed {
                            entry: line.as_ref().ok()?,
                            sha: name.sha,
                            book: i,
                            line: n + 1,
                        })
                    })
            })
    }

    /// Every line in the order of happening: `time`, then `logged`, then book and line.
    fn in_time(&self) -> Vec<Placed<'_>> {
        let mut all: Vec<Placed<'_>> = self.lines().collect();
        all.sort_by_key(|placed| {
            (
                placed.entry.time,
                placed.entry.logged,
                placed.book,
                placed.line,
            )
        });
        all
    }

    /// Entries that hold, in the order of happening: withdrawn ones, the withdrawals
    /// and the `opened` lines are left out.
    pub fn entries(&self) -> Vec<Placed<'_>> {
        let gone = self.withdrawn();
        let mut all = self.in_time();
        all.retain(|placed| {
            let kind = placed.entry.event.kind();
            !matches!(kind, Kind::Opened | Kind::Withdrawn) && !gone.contains(&placed.sha)
        });
        all
    }

    /// The names of all lines that are withdrawn.
    pub fn withdrawn(&self) -> HashSet<Sha> {
        let named: Vec<&str> = self
            .lines()
            .filter_map(|placed| match &placed.entry.event {
                Event::Withdrawn { entry_sha, .. } => Some(entry_sha.as_str()),
                _ => None,
            })
            .collect();
        if named.is_empty() {
            return HashSet::new();
        }
        let mut lines: Vec<(Sha, bool)> = self
            .books
            .iter()
            .filter(|book| book.copy_of.is_none())
            .flat_map(|book| book.chain.lines.iter().zip(&book.lines))
            .map(|(name, line)| (name.sha, line.as_ref().map_or(true, may_be_withdrawn)))
            .collect();
        lines.sort_unstable();
        let find = |digits: &str| {
            let from = lines.partition_point(|(sha, _)| sha.to_string().as_str() < digits);
            let mut found = lines[from..]
                .iter()
                .take_while(|(sha, _)| sha.begins_with(digits));
            match (found.next(), found.next()) {
                (Some((sha, true)), None) => Some(*sha),
                _ => None,
            }
        };
        named.into_iter().filter_map(find).collect()
    }

    /// What keeps the ledger from being relied on: faults of the register, broken
    /// chains, lines that cannot be read and are not withdrawn, copied books.
    pub fn broken(&self) -> Vec<Trouble> {
        let mut all: Vec<Trouble> = self
            .register_faults
            .iter()
            .map(|fault| fault.trouble(FILE_NAME))
            .collect();
        let unreadable = self
            .books
            .iter()
            .any(|book| book.lines.iter().any(Result::is_err));
        let gone = if unreadable {
            self.withdrawn()
        } else {
            Default::default()
        };
        for book in &self.books {
            if let Some(fault) = &book.chain.fault {
                let excerpt = String::from_utf8_lossy(book.text(fault.line())).into_owned();
                all.push(chain_trouble(&book.file, fault, &excerpt));
            }
            if let Some(other) = &book.copy_of {
                all.push(copied(&book.file, other));
                continue;
            }
            for (n, line) in book.lines.iter().enumerate() {
                let Err(faults) = line else { continue };
                if gone.contains(&book.chain.lines[n].sha) {
                    continue;
                }
                all.extend(
                    faults
                        .iter()
                        .map(|fault| line_trouble(&book.file, n + 1, book.text(n + 1), fault)),
                );
            }
        }
        all
    }

    /// Lines cut short at the end of books: never counted, set aside by the next
    /// recording in that book.
    pub fn torn(&self) -> Vec<Trouble> {
        self.books
            .iter()
            .filter_map(|book| Some(torn_trouble(&book.file, book.lines.len(), book.torn()?)))
            .collect()
    }
}

/// A last line cut short, after so many whole ones.
pub(super) fn torn_trouble(file: &str, lines: usize, torn: &[u8]) -> Trouble {
    let place = Place {
        file: file.to_owned(),
        line: Some(lines + 1),
        excerpt: Some(String::from_utf8_lossy(torn).into_owned()),
        span: None,
    };
    Trouble::error(
        "torn-tail",
        "the last line was cut short and does not count",
    )
    .with_severity(Severity::Warning)
    .placed(place)
    .because(format!("{} bytes without a line feed.", torn.len()))
    .cured_by("the next recording in this book sets it aside; record it again")
}

/// A book that lies in two files.
pub(super) fn copied(file: &str, other: &str) -> Trouble {
    Trouble::error("book-copied", format!("a copy of {other}"))
        .in_file(file)
        .because("Both begin with the same line, so every entry would count twice.")
        .cured_by("take the shorter of the two out of the folder")
}

/// First lines and withdrawals stand for ever.
fn may_be_withdrawn(entry: &Entry) -> bool {
    !matches!(entry.event.kind(), Kind::Opened | Kind::Withdrawn)
}

/// The book files of a ledger folder, by name; none if it has no books yet.
pub fn book_files(folder: &Path) -> Result<Vec<PathBuf>, BookError> {
    let no_folder = |reason: String| BookError::NoFolder {
        folder: folder.display().to_string(),
        reason,
    };
    match std::fs::metadata(folder) {
        Ok(data) if data.is_dir() => {}
        Ok(_) => return Err(no_folder("not a folder".to_owned())),
        Err(error) => return Err(no_folder(error.to_string())),
    }
    let books = folder.join(BOOKS);
    let io = |error: std::io::Error| BookError::Io {
        file: shown(&books),
        doing: "read the folder",
        reason: error.to_string(),
    };
    let listing = match std::fs::read_dir(&books) {
        Ok(listing) => listing,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(io(error)),
    };
    let mut paths = Vec::new();
    for item in listing {
        let path = item.map_err(io)?.path();
        if path.extension().is_some_and(|ext| ext == "jsonl") {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}
