//! A ledger surveyed: all that checking and recording need of every line, without
//! keeping the lines. Books are read in parts that all threads share.
//!
//! In: a ledger folder. Out: [`Survey`]. Never: judging one entry by another (`state`,
//! `quality`).

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use rayon::prelude::*;

use super::chain::ChainFault;
use super::conflict::Conflict;
use super::error::{BookError, chain_trouble, line_trouble};
use super::fact::{Fact, What};
use super::ledger::{BOOKS, book_files, copied, torn_trouble};
use super::line_fault::LineFault;
use super::names::Names;
use super::scan::scan;
use super::sha::Sha;
use super::state::moment;
use crate::quantity::trouble::{Trouble, shown};
use crate::register::{FILE_NAME, Fault, Register};

/// A ledger, surveyed.
#[derive(Debug)]
pub struct Survey {
    pub folder: PathBuf,
    pub register: Register,
    pub register_faults: Vec<Fault>,
    /// In the order of their file names.
    pub books: Vec<SurveyedBook>,
    pub(super) names: Names,
    /// One a line, in the order of books and lines.
    pub(super) facts: Vec<Fact>,
    /// The name of each line.
    pub(super) shas: Vec<Sha>,
    /// Names of what the lines state; nothing where that was not asked for.
    pub(super) statements: Vec<Sha>,
    /// What the register has against lines, by their place in `facts`.
    pub(super) misfits: Vec<(usize, Vec<Conflict>)>,
}

/// One book, surveyed.
#[derive(Debug)]
pub struct SurveyedBook {
    /// The file within its ledger: `books/NAME.jsonl`.
    pub file: String,
    pub path: PathBuf,
    pub lines: usize,
    /// The name of the last whole line; 64 zeros for an empty book.
    pub head: Sha,
    /// Bytes up to and with the last LF.
    pub len: u64,
    /// Bytes after it: a line cut short.
    pub torn: Vec<u8>,
    /// The first trouble of its chain, with the text of the line at fault.
    pub fault: Option<(ChainFault, String)>,
    /// Where it is a copy of another book's file: that file.
    pub copy_of: Option<String>,
    /// Lines (from 1) that cannot be read, with their text.
    pub(super) unreadable: Vec<(usize, Vec<LineFault>, Vec<u8>)>,
    /// Where each line begins.
    pub(super) starts: Vec<u64>,
    /// Place of its first line among all.
    pub(super) first: usize,
    /// Names of its lines where it is a copy, whose lines do not count.
    copied_shas: Vec<Sha>,
}

impl Survey {
    /// Reads a ledger folder: its register, and every line of its books.
    ///
    /// Errors: only what keeps it from being read at all (no folder, no register, a
    /// file that cannot be read).
    pub fn read(folder: &Path) -> Result<Survey, BookError> {
        Survey::of(folder, false)
    }

    /// As [`Survey::read`]; names what each line states besides.
    pub fn with_statements(folder: &Path) -> Result<Survey, BookError> {
        Survey::of(folder, true)
    }

    fn of(folder: &Path, statements: bool) -> Result<Survey, BookError> {
        let paths = book_files(folder)?;
        let (register, register_faults) = Register::load_lenient(&folder.join(FILE_NAME))?;
        let mut survey = Survey::empty(folder, register);
        survey.register_faults = register_faults;
        for path in paths {
            let name = path.file_stem().unwrap_or_default().to_string_lossy();
            let file = format!("{BOOKS}/{name}.jsonl");
            survey.add(path, file, statements)?;
        }
        Ok(survey)
    }

    /// Reads book files, each with the name it is to have in the ledger of this register.
    pub(super) fn of_files(
        folder: &Path,
        register: &Register,
        files: impl IntoIterator<Item = (PathBuf, String)>,
    ) -> Result<Survey, BookError> {
        let mut survey = Survey::empty(folder, register.clone());
        for (path, file) in files {
            survey.add(path, file, false)?;
        }
        Ok(survey)
    }

    fn empty(folder: &Path, register: Register) -> Survey {
        Survey {
            folder: folder.to_owned(),
            register,
            register_faults: Vec::new(),
            books: Vec::new(),
            names: Names::default(),
            facts: Vec::new(),
            shas: Vec::new(),
            statements: Vec::new(),
            misfits: Vec::new(),
        }
    }

    fn add(&mut self, path: PathBuf, file: String, statements: bool) -> Result<(), BookError> {
        let found = scan(&path, &self.register, statements).map_err(|error| BookError::Io {
            file: shown(&path),
            doing: "read",
            reason: error.to_string(),
        })?;
        let first_sha = found.parts.iter().find_map(|part| part.shas.first());
        let copy_of = self.books.iter().find(|other| {
            other.lines > 0 && other.copy_of.is_none() && self.shas.get(other.first) == first_sha
        });
        let mut book = SurveyedBook {
            file,
            copy_of: copy_of.map(|other| other.file.clone()),
            path,
            lines: 0,
            head: Sha::ZERO,
            len: found.len,
            torn: found.torn,
            fault: found.fault,
            unreadable: Vec::new(),
            starts: Vec::new(),
            first: self.facts.len(),
            copied_shas: Vec::new(),
        };
        let number = u32::try_from(self.books.len()).unwrap_or(u32::MAX);
        let lines = found.parts.iter().map(|part| part.shas.len()).sum();
        self.facts.reserve(lines);
        self.shas.reserve(lines);
        book.starts.reserve(lines);
        for part in found.parts {
            book.starts.extend(&part.starts);
            let before = book.lines;
            book.lines += part.shas.len();
            book.head = part.shas.last().copied().unwrap_or(book.head);
            if book.copy_of.is_some() {
                book.copied_shas.extend(part.shas);
                continue;
            }
            let renamed = self.names.take_in(&part.names);
            let start = self.facts.len();
            self.facts
                .par_extend(part.facts.into_par_iter().enumerate().map(|(n, fact)| {
                    let mut fact = fact.renamed(&renamed);
                    fact.book = number;
                    fact.line = u32::try_from(before + n + 1).unwrap_or(u32::MAX);
                    fact
                }));
            self.shas.extend(part.shas);
            self.statements.extend(part.statements);
            let misfits = part.misfits.into_iter();
            self.misfits.extend(misfits.map(|(n, c)| (start + n, c)));
            let unreadable = part.unreadable.into_iter();
            book.unreadable
                .extend(unreadable.map(|(n, faults, text)| (before + n + 1, faults, text)));
        }
        self.books.push(book);
        Ok(())
    }

    /// When the last line was written down.
    pub fn last_logged(&self) -> Option<DateTime<Utc>> {
        let readable = self.facts.iter().filter(|fact| fact.kind().is_some());
        readable.map(|fact| moment(fact.logged)).max()
    }

    /// Lines (file, number) written down after a moment.
    pub fn logged_after(&self, time: DateTime<Utc>) -> HashSet<(String, usize)> {
        let late = |fact: &&Fact| fact.kind().is_some() && moment(fact.logged) > time;
        let place = |fact: &Fact| {
            let file = self.books[fact.book as usize].file.clone();
            (file, fact.line as usize)
        };
        self.facts.iter().filter(late).map(place).collect()
    }

    /// The names of a book's lines.
    pub(super) fn shas_of(&self, book: usize) -> &[Sha] {
        let of = &self.books[book];
        match of.copy_of {
            Some(_) => &of.copied_shas,
            None => &self.shas[of.first..of.first + of.lines],
        }
    }

    /// The text of the line that a fact tells of.
    pub(super) fn text(&self, fact: &Fact) -> Vec<u8> {
        self.line_text(fact.book as usize, fact.line as usize)
    }

    /// The text of a line (from 1) of a book; nothing if it can no longer be read.
    pub(super) fn line_text(&self, book: usize, line: usize) -> Vec<u8> {
        let book = &self.books[book];
        let n = line.saturating_sub(1);
        let Some(start) = book.starts.get(n) else {
            return Vec::new();
        };
        let end = book.starts.get(n + 1).map_or(book.len, |next| *next);
        let read = || -> std::io::Result<Vec<u8>> {
            let mut file = File::open(&book.path)?;
            file.seek(SeekFrom::Start(*start))?;
            let mut text = Vec::new();
            file.take(end - start).read_to_end(&mut text)?;
            if text.last() == Some(&b'\n') {
                text.pop();
            }
            Ok(text)
        };
        read().unwrap_or_default()
    }

    /// Which line withdraws which, by their places; and withdrawals that name no line,
    /// several, or one that cannot be withdrawn stand for none.
    pub(super) fn withdrawn_by(&self) -> HashMap<usize, usize> {
        self.withdrawn_by_those(|_| true)
    }

    /// As [`Survey::withdrawn_by`]; only lines that count withdraw.
    pub(super) fn withdrawn_by_those(
        &self,
        counts: impl Fn(&Fact) -> bool,
    ) -> HashMap<usize, usize> {
        let mut all: Vec<(i64, i64, usize)> = self
            .facts
            .iter()
            .enumerate()
            .filter(|(_, fact)| matches!(fact.what, What::Withdrawn { .. }) && counts(fact))
            .map(|(n, fact)| (fact.time, fact.logged, n))
            .collect();
        if all.is_empty() {
            return HashMap::new();
        }
        all.sort_unstable();
        let digits = |n: usize| match self.facts[n].what {
            What::Withdrawn { digits } => self.names.text(digits),
            _ => "",
        };
        // Twelve digits, the fewest that may be given, decide nearly always.
        let mut asked: HashMap<&str, Vec<usize>> = HashMap::new();
        for (_, _, n) in &all {
            let head = digits(*n).get(..12).unwrap_or_default();
            asked.entry(head).or_default();
        }
        let heads: HashSet<u64> = asked.keys().filter_map(|head| Sha::head_of(head)).collect();
        for (n, sha) in self.shas.iter().enumerate() {
            if heads.contains(&sha.head())
                && let Some(places) = asked.get_mut(sha.short().as_str())
            {
                places.push(n);
            }
        }
        let mut gone = HashMap::new();
        for (_, _, by) in &all {
            let digits = digits(*by);
            let head = digits.get(..12).unwrap_or_default();
            let mut found = asked
                .get(head)
                .into_iter()
                .flatten()
                .filter(|n| self.shas[**n].begins_with(digits));
            if let (Some(n), None) = (found.next(), found.next())
                && self.facts[*n].may_be_withdrawn()
            {
                gone.entry(*n).or_insert(*by);
            }
        }
        gone
    }

    /// What keeps the ledger from being relied on: faults of the register, broken
    /// chains, lines that cannot be read and are not withdrawn, copied books.
    pub fn broken(&self) -> Vec<Trouble> {
        let mut all: Vec<Trouble> = self
            .register_faults
            .iter()
            .map(|fault| fault.trouble(FILE_NAME))
            .collect();
        let gone = match self.books.iter().any(|book| !book.unreadable.is_empty()) {
            true => self.withdrawn_by(),
            false => HashMap::new(),
        };
        for book in &self.books {
            if let Some((fault, excerpt)) = &book.fault {
                all.push(chain_trouble(&book.file, fault, excerpt));
            }
            if let Some(other) = &book.copy_of {
                all.push(copied(&book.file, other));
                continue;
            }
            for (line, faults, text) in &book.unreadable {
                if gone.contains_key(&(book.first + line - 1)) {
                    continue;
                }
                let troubles = faults.iter();
                all.extend(troubles.map(|fault| line_trouble(&book.file, *line, text, fault)));
            }
        }
        all
    }

    /// Lines cut short at the end of books: never counted, set aside by the next
    /// recording in that book.
    pub fn torn(&self) -> Vec<Trouble> {
        self.books
            .iter()
            .filter(|book| !book.torn.is_empty())
            .map(|book| torn_trouble(&book.file, book.lines, &book.torn))
            .collect()
    }
}
