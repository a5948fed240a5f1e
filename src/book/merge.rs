//! Merging ledgers: books copied from one folder to another, or the lines that are missing.
//!
//! A book is known by its first line, whatever its file is called. Of two versions one must
//! begin with the other: then the longer one holds. Two that go on differently are a fork,
//! which is refused, and nothing is written.

use std::cmp::Ordering;
use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::chain::follow;
use super::disk::{Disk, Patience, SetAside, add_to_books, io_error, lock, set_torn_aside};
use super::error::{BookError, chain_trouble};
use super::fleet::ledger_folders;
use super::ledger::{BOOKS, book_files, copied};
use super::quality::{Misfits, misfits};
use super::sha::Sha;
use super::survey::{Survey, SurveyedBook};
use crate::quantity::trouble::{Place, Severity, Trouble, shown};
use crate::register::{FILE_NAME, Register, clash_troubles};

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
    let sources = Sources::find(from)?;
    // A folder without a sound register is no ledger to leave a lock in.
    let register = Register::load(&into.join(FILE_NAME))?;
    let _lock = match how.dry_run {
        true => None,
        false => Some(lock(how.disk, into, &mut patience)?),
    };
    let files = book_files(into)?.into_iter().map(|path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let file = format!("{BOOKS}/{name}");
        (path, file)
    });
    let target = Survey::of_files(into, &register, files)?;
    let given = sources.paths.iter();
    let given = given.map(|path| (path.clone(), shown(path)));
    let given = Survey::of_files(into, &register, given)?;
    refuse_unfit(&target, &given, &sources)?;
    let plan = Plan::make(&target, &given)?;
    let mut merge = Merge {
        torn: given.books.iter().filter_map(torn).collect(),
        ..Merge::default()
    };
    let lines = plan.lines(&target, &given);
    if !lines.is_empty() {
        let after = Survey::of_files(into, &register, plan.files(&target, &given))?;
        refuse(plan.unreadable(&target, &after, &given))?;
        merge.misfits = new_misfits(misfits(target, how.now), misfits(after, how.now));
    }
    merge.books = plan.report;
    if how.dry_run {
        return Ok(merge);
    }
    let mut texts = Vec::with_capacity(lines.len());
    for one in &lines {
        texts.push((one.file.clone(), one.read()?));
    }
    for one in lines.iter().filter(|one| one.start > 0) {
        let torn = set_torn_aside(how.disk, into, &one.file, one.start)?;
        merge.set_aside.extend(torn);
    }
    let texts: Vec<(String, &[u8])> = texts
        .iter()
        .map(|(file, text)| (file.clone(), text.as_slice()))
        .collect();
    add_to_books(how.disk, into, &texts)?;
    Ok(merge)
}

/// Books to be merged, and what the registers beside them mean by their words.
#[derive(Default)]
struct Sources {
    paths: Vec<PathBuf>,
    registers: Vec<(PathBuf, Register)>,
}

impl Sources {
    fn find(from: &[PathBuf]) -> Result<Sources, BookError> {
        let mut sources = Sources::default();
        for given in from {
            if given.is_file() && given.extension().is_some_and(|ext| ext == "jsonl") {
                sources.paths.push(given.clone());
                continue;
            }
            for folder in ledger_folders(std::slice::from_ref(given))? {
                let paths = book_files(&folder)?;
                let file = folder.join(FILE_NAME);
                if file.exists() {
                    sources
                        .registers
                        .push((file.clone(), Register::load(&file)?));
                } else if paths.is_empty() {
                    return Err(BookError::NoFolder {
                        folder: shown(&folder),
                        reason: "no books in it".to_owned(),
                    });
                }
                sources.paths.extend(paths);
            }
        }
        Ok(sources)
    }
}

/// Words that clash, broken chains on either side, a book that lies here twice.
fn refuse_unfit(target: &Survey, given: &Survey, sources: &Sources) -> Result<(), BookError> {
    let mut registers = vec![(target.folder.join(FILE_NAME), &target.register)];
    registers.extend(sources.registers.iter().map(|(file, r)| (file.clone(), r)));
    let mut troubles = clash_troubles(&registers);
    let here = |file: &str| shown(&target.folder.join(file));
    let ours = target.books.iter().map(|book| (here(&book.file), book));
    let theirs = given.books.iter().map(|book| (book.file.clone(), book));
    for (file, book) in ours.chain(theirs) {
        if let Some((fault, text)) = &book.fault {
            troubles.push(chain_trouble(&file, fault, text));
        }
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

/// Where a version of a book lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Version {
    /// Index among the target's books.
    Target(usize),
    /// Index among the books given.
    Given(usize),
}

impl Version {
    fn book<'a>(self, target: &'a Survey, given: &'a Survey) -> &'a SurveyedBook {
        match self {
            Version::Target(n) => &target.books[n],
            Version::Given(n) => &given.books[n],
        }
    }

    fn shas<'a>(self, target: &'a Survey, given: &'a Survey) -> &'a [Sha] {
        match self {
            Version::Target(n) => target.shas_of(n),
            Version::Given(n) => given.shas_of(n),
        }
    }
}

/// A book as it is to be after the merge.
struct Kept {
    /// Index among the target's books, if it is there already.
    target: Option<usize>,
    /// The file within the target.
    file: String,
    /// The longest version.
    version: Version,
}

struct Plan {
    /// The target's books in their order, then new ones.
    kept: Vec<Kept>,
    report: Vec<Merged>,
}

impl Plan {
    fn make(target: &Survey, given: &Survey) -> Result<Plan, BookError> {
        let mut kept: Vec<Kept> = Vec::new();
        let mut known: HashMap<Sha, usize> = HashMap::new();
        for (n, book) in target.books.iter().enumerate() {
            if let Some(first) = target.shas_of(n).first() {
                known.insert(*first, kept.len());
            }
            kept.push(Kept {
                target: Some(n),
                file: book.file.clone(),
                version: Version::Target(n),
            });
        }
        let mut report = Vec::new();
        let mut forks = Vec::new();
        for (n, book) in given.books.iter().enumerate() {
            let shas = given.shas_of(n);
            // A book without a whole line says nothing, not even which book it is.
            let Some(first) = shas.first() else {
                continue;
            };
            let (at, outcome) = match known.get(first) {
                None => {
                    let file = free_name(target, &kept, book, *first);
                    known.insert(*first, kept.len());
                    kept.push(Kept {
                        target: None,
                        file,
                        version: Version::Given(n),
                    });
                    (kept.len() - 1, Merging::Copied)
                }
                Some(at) => {
                    let have = kept[*at].version;
                    match compare(have.shas(target, given), shas) {
                        Ok(outcome) => {
                            if matches!(outcome, Merging::Extended(_)) {
                                kept[*at].version = Version::Given(n);
                            }
                            (*at, outcome)
                        }
                        Err(line) => {
                            forks.push(fork(target, given, n, have, line));
                            continue;
                        }
                    }
                }
            };
            let now = kept[at].version.book(target, given);
            report.push(Merged {
                from: book.file.clone(),
                book: kept[at].file.clone(),
                outcome,
                lines: now.lines,
                head: now.head,
            });
        }
        refuse(forks)?;
        Ok(Plan { kept, report })
    }

    /// What is to be written.
    fn lines(&self, target: &Survey, given: &Survey) -> Vec<Lines> {
        let mut all = Vec::new();
        for kept in &self.kept {
            let Version::Given(n) = kept.version else {
                continue;
            };
            let book = &given.books[n];
            let have = kept.target.map(|n| &target.books[n]);
            all.push(Lines {
                file: kept.file.clone(),
                from: book.path.clone(),
                start: have.map_or(0, |have| have.len),
                end: book.len,
                before: have.map_or(Sha::ZERO, |have| have.head),
                head: book.head,
            });
        }
        all
    }

    /// The files that hold the books as they will be, each with its name to be.
    fn files(&self, target: &Survey, given: &Survey) -> Vec<(PathBuf, String)> {
        let path = |kept: &Kept| kept.version.book(target, given).path.clone();
        let files = self.kept.iter().map(|kept| (path(kept), kept.file.clone()));
        let mut files: Vec<(PathBuf, String)> = files.collect();
        files.sort_by(|a, b| a.1.cmp(&b.1));
        files
    }

    /// Lines that no entry can be read from would keep the ledger from being read at all.
    fn unreadable(&self, target: &Survey, after: &Survey, given: &Survey) -> Vec<Trouble> {
        let before = target.broken();
        let mut new = after.broken();
        new.retain(|trouble| !before.contains(trouble));
        for place in new.iter_mut().filter_map(|trouble| trouble.place.as_mut()) {
            // They come with the file they are merged from.
            let kept = self.kept.iter().find(|kept| kept.file == place.file);
            if let Some(Version::Given(n)) = kept.map(|kept| kept.version) {
                place.file = given.books[n].file.clone();
            }
        }
        new
    }
}

/// Lines of one file to be added to another.
struct Lines {
    /// Within the target.
    file: String,
    from: PathBuf,
    /// Bytes of the file they come from; the book they go to is as long as their start.
    start: u64,
    end: u64,
    /// The name of the line before them, and of the last of them.
    before: Sha,
    head: Sha,
}

impl Lines {
    fn read(&self) -> Result<Vec<u8>, BookError> {
        let reading = io_error(&self.from, "read");
        let mut file = File::open(&self.from).map_err(&reading)?;
        file.seek(SeekFrom::Start(self.start)).map_err(&reading)?;
        let mut text = Vec::new();
        file.take(self.end - self.start)
            .read_to_end(&mut text)
            .map_err(&reading)?;
        let chain = follow(&text, self.before);
        if chain.fault.is_some() || !chain.torn.is_empty() || chain.head() != self.head {
            return Err(BookError::ChangedMeanwhile {
                file: shown(&self.from),
            });
        }
        Ok(text)
    }
}

/// How a version of a book stands to the one that is there, or the first line that differs.
fn compare(have: &[Sha], given: &[Sha]) -> Result<Merging, usize> {
    let both = have.len().min(given.len());
    // The name of a line stands for all before it, as both chains hold.
    if both == 0 || have[both - 1] == given[both - 1] {
        return Ok(match given.len().cmp(&have.len()) {
            Ordering::Greater => Merging::Extended(given.len() - have.len()),
            Ordering::Equal => Merging::Same,
            Ordering::Less => Merging::Ahead(have.len() - given.len()),
        });
    }
    let same = have.iter().zip(given).take_while(|(a, b)| a == b).count();
    Err(same + 1)
}

/// The book's own file name; where another book has it, one made of its first line too.
fn free_name(target: &Survey, kept: &[Kept], book: &SurveyedBook, first: Sha) -> String {
    let taken = |file: &str| {
        // Some systems take names for the same whatever their case.
        let low = file.to_lowercase();
        kept.iter().any(|kept| kept.file.to_lowercase() == low) || target.folder.join(file).exists()
    };
    let name = book.path.file_stem().unwrap_or_default().to_string_lossy();
    let own = format!("{BOOKS}/{name}.jsonl");
    if !taken(&own) {
        return own;
    }
    let first = first.short();
    let mut file = format!("{BOOKS}/{name}-{first}.jsonl");
    let mut number = 2;
    while taken(&file) {
        file = format!("{BOOKS}/{name}-{first}-{number}.jsonl");
        number += 1;
    }
    file
}

fn fork(target: &Survey, given: &Survey, n: usize, have: Version, line: usize) -> Trouble {
    let place = Place {
        file: given.books[n].file.clone(),
        line: Some(line),
        excerpt: Some(String::from_utf8_lossy(&given.line_text(n, line)).into_owned()),
        span: None,
    };
    let file = match have {
        Version::Target(n) => shown(&target.folder.join(&target.books[n].file)),
        Version::Given(n) => given.books[n].file.clone(),
    };
    let here = given.shas_of(n)[line - 1].short();
    let there = have.shas(target, given)[line - 1].short();
    let before = match line - 1 {
        1 => "Line 1 is the same in both".to_owned(),
        lines => format!("Lines 1 to {lines} are the same in both"),
    };
    Trouble::error("fork", format!("not the line that stands at {file}:{line}"))
        .placed(place)
        .because(format!(
            "{before}; line {line} is {here} here and {there} there."
        ))
        .because("So one book was written on in two places, and neither can go on in the other.")
        .cured_by("keep one of the two as it is; of the other, record what is missing anew:")
        .cured_by("wearbook record --from FILE, in a book of its own (--book NAME)")
}

/// A last line cut short is left where it is.
fn torn(book: &SurveyedBook) -> Option<Trouble> {
    let bytes = Some(book.torn.len()).filter(|bytes| *bytes > 0)?;
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
fn new_misfits(mut before: Misfits, after: Misfits) -> BTreeMap<&'static str, usize> {
    let mut new = BTreeMap::new();
    for (place, count) in after {
        let known = before.remove(&place).unwrap_or_default();
        if count > known {
            *new.entry(place.0).or_default() += count - known;
        }
    }
    new
}
