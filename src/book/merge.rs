//! Merging ledgers: books copied from one folder to another, or the lines that are missing.
//!
//! A book is known by its first line, whatever its file is called. Of two versions one must
//! begin with the other: then the longer one holds. Two that go on differently are a fork,
//! which is refused, and nothing is written.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::chain::Chain;
use super::disk::{Disk, Patience, SetAside, add_to_books, lock, set_torn_aside};
use super::error::{BookError, chain_trouble};
use super::fleet::ledger_folders;
use super::ledger::{BOOKS, Book, Ledger, book_files, copied};
use super::quality::misfits;
use super::sha::Sha;
use crate::quantity::trouble::{Place, Severity, Trouble, shown};
use crate::register::{FILE_NAME, Register, RegisterError, clash_troubles};

/// How to merge.
pub struct MergeHow<'a> {
    /// Tell what would be done, and write nothing.
    pub dry_run: bool,
    /// The caller's clock.
    pub now: DateTime<Utc>,
    pub disk: &'a dyn Disk,
    pub patience: Patience,
}

/// What became of one book that was to be merged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Merging {
    /// It was new here.
    Copied,
    /// It was here, and shorter by so many lines.
    Extended(usize),
    /// It was here, line for line.
    Same,
    /// It was here, and is longer by so many lines.
    Ahead(usize),
}

/// One book that was to be merged.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged {
    /// The file it came from.
    pub from: String,
    /// The file within the ledger merged into: `books/NAME.jsonl`.
    pub book: String,
    pub outcome: Merging,
    /// Lines the book has now, and the last one's name.
    pub lines: usize,
    pub head: Sha,
}

/// What a merge did.
#[derive(Debug, Default)]
pub struct Merge {
    /// In the order given.
    pub books: Vec<Merged>,
    /// Last lines cut short that were set aside in the ledger merged into.
    pub set_aside: Vec<SetAside>,
    /// Last lines cut short in the books merged, which were left there.
    pub torn: Vec<Trouble>,
    /// Entries that do not fit the register or other entries since, by kind of misfit.
    pub misfits: BTreeMap<&'static str, usize>,
}

/// Merges the books of ledgers (folders, folders of ledgers, or single book files) into a
/// ledger.
///
/// Errors: a register of theirs that means something else by the same word; a broken chain;
/// a fork, with the first line that differs; a line that no entry can be read from; a file
/// that cannot be read or written. Nothing is then changed.
pub fn merge(from: &[PathBuf], into: &Path, how: MergeHow<'_>) -> Result<Merge, BookError> {
    let mut patience = how.patience;
    let sources = gather(from)?;
    // A register that is not there tells that this is no ledger, before a lock is left in it.
    Register::load(&into.join(FILE_NAME))?;
    let _lock = match how.dry_run {
        true => None,
        false => Some(lock(how.disk, into, &mut patience)?),
    };
    let target = Ledger::read(into)?;
    if !target.register_faults.is_empty() {
        return Err(BookError::Register(RegisterError::Faults {
            file: shown(&into.join(FILE_NAME)),
            faults: target.register_faults,
        }));
    }
    refuse_unfit(&target, &sources)?;
    let books: Vec<&Book> = sources.iter().flat_map(|source| &source.books).collect();
    let plan = Plan::make(&target, &books)?;
    let after = plan.after(&target, &books);
    plan.refuse_unreadable(&target, &after, &books)?;
    let mut merge = Merge {
        misfits: new_misfits(&target, &after, how.now),
        torn: books.iter().filter_map(|book| torn(book)).collect(),
        books: plan.report,
        ..Merge::default()
    };
    if how.dry_run {
        return Ok(merge);
    }
    let mut writing: Vec<(String, &[u8])> = Vec::new();
    for kept in &plan.kept {
        let Version::Given(version) = kept.version else {
            continue;
        };
        let have = kept.target.map(|n| &target.books[n].chain);
        let start = have.map_or(0, |chain| chain.torn.start);
        if let Some(chain) = have {
            let len = chain.torn.start as u64;
            let torn = set_torn_aside(how.disk, into, &kept.file, len)?;
            merge.set_aside.extend(torn);
        }
        let book = books[version];
        writing.push((kept.file.clone(), &book.bytes[start..book.chain.torn.start]));
    }
    add_to_books(how.disk, into, &writing)?;
    Ok(merge)
}

/// Books to be merged, and what the register beside them means by its words.
struct Source {
    register: Option<(PathBuf, Register)>,
    /// Their `file` is as a user would name it.
    books: Vec<Book>,
}

fn gather(from: &[PathBuf]) -> Result<Vec<Source>, BookError> {
    let mut sources = Vec::new();
    for given in from {
        if given.is_file() && given.extension().is_some_and(|ext| ext == "jsonl") {
            sources.push(Source {
                register: None,
                books: vec![read(given)?],
            });
            continue;
        }
        for folder in ledger_folders(std::slice::from_ref(given))? {
            let paths = book_files(&folder)?;
            let file = folder.join(FILE_NAME);
            let register = match file.exists() {
                true => Some((file.clone(), Register::load(&file)?)),
                false if paths.is_empty() => {
                    return Err(BookError::NoFolder {
                        folder: shown(&folder),
                        reason: "no books in it".to_owned(),
                    });
                }
                false => None,
            };
            let books = paths.iter().map(|path| read(path));
            sources.push(Source {
                register,
                books: books.collect::<Result<_, _>>()?,
            });
        }
    }
    Ok(sources)
}

fn read(path: &Path) -> Result<Book, BookError> {
    let mut book = Book::read(path)?;
    book.file = shown(path);
    Ok(book)
}

/// Broken chains on either side, a book that lies here twice, words that clash.
fn refuse_unfit(target: &Ledger, sources: &[Source]) -> Result<(), BookError> {
    let mut troubles = Vec::new();
    let here = |file: &str| shown(&target.folder.join(file));
    let mut registers = vec![(target.folder.join(FILE_NAME), &target.register)];
    for (file, register) in sources.iter().filter_map(|source| source.register.as_ref()) {
        registers.push((file.clone(), register));
    }
    troubles.extend(clash_troubles(&registers));
    let mut chains = |file: &str, book: &Book| {
        if let Some(fault) = &book.chain.fault {
            let text = String::from_utf8_lossy(book.text(fault.line()));
            troubles.push(chain_trouble(file, fault, &text));
        }
    };
    for book in &target.books {
        chains(&here(&book.file), book);
    }
    for book in sources.iter().flat_map(|source| &source.books) {
        chains(&book.file, book);
    }
    for book in &target.books {
        if let Some(other) = &book.copy_of {
            troubles.push(copied(&here(&book.file), &here(other)));
        }
    }
    refuse(troubles)
}

fn refuse(mut troubles: Vec<Trouble>) -> Result<(), BookError> {
    let Some(last) = troubles.last_mut() else {
        return Ok(());
    };
    last.evidence.push("Nothing was merged.".to_owned());
    Err(BookError::Unfit { troubles })
}

/// Where the longest version of a book lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Version {
    /// Index among the target's books.
    Target(usize),
    /// Index among the books given.
    Given(usize),
}

/// A book as it is to be after the merge.
struct Kept {
    /// Index among the target's books, if it is there already.
    target: Option<usize>,
    /// The file within the target.
    file: String,
    version: Version,
}

struct Plan {
    /// The target's books in their order, then new ones.
    kept: Vec<Kept>,
    report: Vec<Merged>,
}

impl Plan {
    fn make(target: &Ledger, books: &[&Book]) -> Result<Plan, BookError> {
        let mut kept: Vec<Kept> = Vec::new();
        let mut known: HashMap<Sha, usize> = HashMap::new();
        for (n, book) in target.books.iter().enumerate() {
            if let Some(first) = book.chain.lines.first() {
                known.insert(first.sha, kept.len());
            }
            kept.push(Kept {
                target: Some(n),
                file: book.file.clone(),
                version: Version::Target(n),
            });
        }
        let mut report = Vec::new();
        let mut forks = Vec::new();
        for (n, book) in books.iter().enumerate() {
            // A book without a whole line says nothing, not even which book it is.
            let Some(first) = book.chain.lines.first().map(|line| line.sha) else {
                continue;
            };
            let (at, outcome) = match known.get(&first) {
                None => {
                    let file = free_name(target, &kept, book, first);
                    known.insert(first, kept.len());
                    kept.push(Kept {
                        target: None,
                        file,
                        version: Version::Given(n),
                    });
                    (kept.len() - 1, Merging::Copied)
                }
                Some(at) => {
                    let (have, file) = match kept[*at].version {
                        Version::Given(other) => (books[other], books[other].file.clone()),
                        Version::Target(n) => {
                            let have = &target.books[n];
                            (have, shown(&target.folder.join(&have.file)))
                        }
                    };
                    match compare(&have.chain, &book.chain) {
                        Ok(outcome) => {
                            if matches!(outcome, Merging::Extended(_)) {
                                kept[*at].version = Version::Given(n);
                            }
                            (*at, outcome)
                        }
                        Err(line) => {
                            forks.push(fork(book, have, &file, line));
                            continue;
                        }
                    }
                }
            };
            let now = match outcome {
                Merging::Ahead(_) | Merging::Same => kept[at].chain(target, books),
                _ => &book.chain,
            };
            report.push(Merged {
                from: book.file.clone(),
                book: kept[at].file.clone(),
                outcome,
                lines: now.lines.len(),
                head: now.head(),
            });
        }
        refuse(forks)?;
        Ok(Plan { kept, report })
    }

    /// The ledger as it will be.
    fn after(&self, target: &Ledger, books: &[&Book]) -> Ledger {
        let mut after: Vec<Book> = self
            .kept
            .iter()
            .map(|kept| {
                let book = kept.book(target, books);
                let whole = book.chain.torn.start;
                Book {
                    name: book.name.clone(),
                    file: kept.file.clone(),
                    path: target.folder.join(&kept.file),
                    bytes: book.bytes[..whole].to_vec(),
                    chain: Chain {
                        torn: whole..whole,
                        ..book.chain.clone()
                    },
                    lines: book.lines.clone(),
                    copy_of: None,
                }
            })
            .collect();
        after.sort_by(|a, b| a.file.cmp(&b.file));
        Ledger {
            folder: target.folder.clone(),
            register: target.register.clone(),
            register_faults: Vec::new(),
            books: after,
        }
    }

    /// Lines that no entry can be read from would keep the ledger from being read at all.
    fn refuse_unreadable(
        &self,
        target: &Ledger,
        after: &Ledger,
        books: &[&Book],
    ) -> Result<(), BookError> {
        let before = target.broken();
        let mut new = after.broken();
        new.retain(|trouble| !before.contains(trouble));
        for place in new.iter_mut().filter_map(|trouble| trouble.place.as_mut()) {
            // They came with the file they were merged from.
            let kept = self.kept.iter().find(|kept| kept.file == place.file);
            if let Some(kept) = kept
                && let Version::Given(n) = kept.version
            {
                place.file = books[n].file.clone();
            }
        }
        refuse(new)
    }
}

impl Kept {
    fn book<'a>(&self, target: &'a Ledger, books: &[&'a Book]) -> &'a Book {
        match self.version {
            Version::Given(n) => books[n],
            Version::Target(n) => &target.books[n],
        }
    }

    fn chain<'a>(&self, target: &'a Ledger, books: &[&'a Book]) -> &'a Chain {
        &self.book(target, books).chain
    }
}

/// How a version of a book stands to the one that is there, or the first line that differs.
fn compare(have: &Chain, given: &Chain) -> Result<Merging, usize> {
    let (here, there) = (have.lines.len(), given.lines.len());
    let both = here.min(there);
    // The name of a line stands for all before it, as both chains hold.
    if both == 0 || have.lines[both - 1].sha == given.lines[both - 1].sha {
        return Ok(match there.cmp(&here) {
            std::cmp::Ordering::Greater => Merging::Extended(there - here),
            std::cmp::Ordering::Equal => Merging::Same,
            std::cmp::Ordering::Less => Merging::Ahead(here - there),
        });
    }
    let pairs = have.lines.iter().zip(&given.lines);
    let same = pairs.take_while(|(a, b)| a.sha == b.sha).count();
    Err(same + 1)
}

/// The book's own file name; where another book has it, one made of its first line too.
fn free_name(target: &Ledger, kept: &[Kept], book: &Book, first: Sha) -> String {
    let taken = |file: &str| {
        // Some systems take names for the same whatever their case.
        let low = file.to_lowercase();
        kept.iter().any(|kept| kept.file.to_lowercase() == low) || target.folder.join(file).exists()
    };
    let own = format!("{BOOKS}/{}.jsonl", book.name);
    if !taken(&own) {
        return own;
    }
    let mut file = format!("{BOOKS}/{}-{}.jsonl", book.name, first.short());
    let mut number = 2;
    while taken(&file) {
        file = format!("{BOOKS}/{}-{}-{number}.jsonl", book.name, first.short());
        number += 1;
    }
    file
}

fn fork(book: &Book, have: &Book, file: &str, line: usize) -> Trouble {
    let place = Place {
        file: book.file.clone(),
        line: Some(line),
        excerpt: Some(String::from_utf8_lossy(book.text(line)).into_owned()),
        span: None,
    };
    let name = |book: &Book| book.chain.lines[line - 1].sha.short();
    let before = match line - 1 {
        1 => "Line 1 is the same in both".to_owned(),
        lines => format!("Lines 1 to {lines} are the same in both"),
    };
    Trouble::error("fork", format!("not the line that stands at {file}:{line}"))
        .placed(place)
        .because(format!(
            "{before}; line {line} is {} here and {} there.",
            name(book),
            name(have)
        ))
        .because("So one book was written on in two places, and neither can go on in the other.")
        .cured_by("keep one of the two as it is; of the other, record what is missing anew:")
        .cured_by("wearbook record --from FILE, in a book of its own (--book NAME)")
}

/// A last line cut short is left where it is.
fn torn(book: &Book) -> Option<Trouble> {
    let bytes = book.torn()?.len();
    let trouble = Trouble::error("torn-tail", "the last line was cut short and is not merged");
    Some(
        trouble
            .with_severity(Severity::Warning)
            .in_file(book.file.clone())
            .because(format!("{bytes} bytes without a line feed."))
            .cured_by("record in that book, which sets it aside; then merge again"),
    )
}

/// What fits the register and the other entries less than before, by kind.
fn new_misfits(
    before: &Ledger,
    after: &Ledger,
    now: DateTime<Utc>,
) -> BTreeMap<&'static str, usize> {
    let key = |trouble: &Trouble| {
        let place = trouble.place.clone().unwrap_or_default();
        (trouble.kind, place.file, place.line)
    };
    let mut known: BTreeMap<_, usize> = BTreeMap::new();
    for trouble in misfits(before, now) {
        *known.entry(key(&trouble)).or_default() += 1;
    }
    let mut new = BTreeMap::new();
    for trouble in misfits(after, now) {
        match known.get_mut(&key(&trouble)) {
            Some(count) if *count > 0 => *count -= 1,
            _ => *new.entry(trouble.kind).or_default() += 1,
        }
    }
    new
}
