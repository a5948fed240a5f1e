//! Appending to a book: lock, look what others wrote, check, write one whole line
//! each, sync; then, and only then, report.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::chain::{ChainFault, follow};
use super::conflict::{Conflict, Witness};
use super::disk::{
    Disk, Opening, Patience, SetAside, SystemDisk, add_lines, io_error, lock, set_torn_aside,
};
use super::entry::{Entry, Event};
use super::error::{BookError, Refusal};
use super::ledger::{BOOKS, book_files};
use super::parse::{FORMAT, parse_line};
use super::sha::Sha;
use super::state::{Stand, State};
use super::statement::{Stated, statement};
use super::survey::Survey;
use crate::register::{Register, RegisterError};

/// Records into one book of a ledger. Reads the ledger once; each append catches up
/// with what other programs have written since.
#[derive(Debug)]
pub struct Appender {
    pub(super) folder: PathBuf,
    book: String,
    pub(super) register: Register,
    pub(super) state: State,
    tails: Vec<Tail>,
    set_aside: Vec<SetAside>,
    pub(super) disk: Box<dyn Disk>,
    pub(super) patience: Patience,
    /// How often what is stated; kept only where repetitions are to be known.
    pub(super) stated: Option<Stated>,
}

/// How far a book has been read.
#[derive(Debug)]
struct Tail {
    file: String,
    /// Bytes up to and with the last LF.
    len: u64,
    lines: usize,
    head: Sha,
    fault: Option<(ChainFault, String)>,
}

/// An entry that is on disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    pub sha: Sha,
    /// The book within its ledger: `books/NAME.jsonl`.
    pub file: String,
    pub line: usize,
}

impl Appender {
    /// Reads a ledger for recording into the book of this name, which need not exist
    /// yet. Nothing is locked or written.
    ///
    /// Errors: the ledger cannot be read, its register has faults, the name cannot be
    /// a book's, or the book's chain is broken.
    pub fn open(folder: &Path, book: &str) -> Result<Appender, BookError> {
        Appender::of_survey(Survey::read(folder)?, book)
    }

    /// As [`Appender::open`]; knows what the ledger states already, so that
    /// [`Appender::append_new`] adds nothing twice.
    pub fn open_for_import(folder: &Path, book: &str) -> Result<Appender, BookError> {
        let survey = Survey::with_statements(folder)?;
        let stated = Stated::of(&survey.statements);
        let mut appender = Appender::of_survey(survey, book)?;
        appender.stated = Some(stated);
        Ok(appender)
    }

    /// The same, writing to another disk than the system's.
    pub fn on_disk(mut self, disk: impl Disk + 'static) -> Appender {
        self.disk = Box::new(disk);
        self
    }

    /// The same, waiting otherwise for others that record in the ledger.
    pub fn with_patience(mut self, patience: Patience) -> Appender {
        self.patience = patience;
        self
    }

    fn of_survey(mut survey: Survey, book: &str) -> Result<Appender, BookError> {
        let name = book.to_owned();
        let good = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        let begins = name.starts_with(|c: char| c.is_ascii_alphanumeric());
        if !begins || !name.chars().all(good) || name.len() > 100 {
            return Err(BookError::BookName { name });
        }
        if !survey.register_faults.is_empty() {
            return Err(BookError::Register(RegisterError::Faults {
                file: crate::register::FILE_NAME.to_owned(),
                faults: survey.register_faults,
            }));
        }
        let state = State::of(&mut survey);
        let tails = survey.books.into_iter().map(|book| Tail {
            file: book.file,
            len: book.len,
            lines: book.lines,
            head: book.head,
            fault: book.fault,
        });
        let appender = Appender {
            folder: survey.folder,
            book: name,
            register: survey.register,
            state,
            tails: tails.collect(),
            set_aside: Vec::new(),
            disk: Box::new(SystemDisk),
            patience: Patience::default(),
            stated: None,
        };
        appender.own_chain()?;
        Ok(appender)
    }

    /// The register entries are checked against.
    pub fn register(&self) -> &Register {
        &self.register
    }

    /// The book within its ledger.
    pub fn file(&self) -> String {
        format!("{BOOKS}/{}.jsonl", self.book)
    }

    /// The full name of the one line whose name begins with these digits.
    pub fn find(&self, digits: &str) -> Result<Sha, Box<Conflict>> {
        self.state.find(digits)
    }

    /// The one line whose name begins with these digits, if it can still be withdrawn.
    ///
    /// Errors: no such line, or several; one that is withdrawn already, or stands for ever.
    pub fn standing(&self, digits: &str) -> Result<Witness, Box<Conflict>> {
        let witness = self.state.named(digits)?;
        match self.state.withdrawal_conflict(digits) {
            Some(conflict) => Err(Box::new(conflict)),
            None => Ok(witness),
        }
    }

    /// The text of a line of the ledger.
    ///
    /// Errors: its book cannot be read, or holds another line there now.
    pub fn text_of(&self, line: &Witness) -> Result<Vec<u8>, BookError> {
        let path = self.folder.join(&line.file);
        let bytes = std::fs::read(&path).map_err(io_error(&path, "read"))?;
        let mut lines = bytes.split(|byte| *byte == b'\n');
        match lines.nth(line.line.saturating_sub(1)) {
            Some(text) if Sha::of(text) == line.sha => Ok(text.to_vec()),
            _ => Err(BookError::ChangedMeanwhile {
                file: line.file.clone(),
            }),
        }
    }

    /// Lines cut short that were set aside since this was last asked.
    pub fn take_set_aside(&mut self) -> Vec<SetAside> {
        std::mem::take(&mut self.set_aside)
    }

    /// Checks entries as [`Appender::append_all`] would, without writing; returns the
    /// lines as they would be written now.
    ///
    /// Errors: [`BookError::Refused`], with every conflict of every entry.
    pub fn rehearse(
        &mut self,
        entries: &[Entry],
        now: DateTime<Utc>,
    ) -> Result<Vec<String>, BookError> {
        let before = self.state.len();
        let who = entries.first().map_or("", |entry| &entry.who);
        let entries: Vec<&Entry> = entries.iter().collect();
        let checked = self.check_in(who, now, &entries, now);
        self.roll_back(before);
        checked.map(|(_, text)| text.lines().map(str::to_owned).collect())
    }

    /// Records one entry: it is on disk when this returns.
    ///
    /// Errors: as [`Appender::append_all`].
    pub fn append(&mut self, entry: &Entry, now: DateTime<Utc>) -> Result<Recorded, BookError> {
        let mut recorded = self.append_all(std::slice::from_ref(entry), now)?;
        // One entry in, one out.
        recorded.pop().ok_or(BookError::Refused {
            refusals: Vec::new(),
            zone: self.register.plant.time_zone,
        })
    }

    /// Records all of these entries or none: one lock, one check after the other, one
    /// write, one sync. A new book is opened with its first line. `now` is the
    /// caller's clock; no entry may lie more than a day after it.
    ///
    /// Errors: [`BookError::Refused`] with every conflict of every entry; a broken
    /// chain; a file that cannot be written. The book is then, byte for byte, as it was.
    pub fn append_all(
        &mut self,
        entries: &[Entry],
        now: DateTime<Utc>,
    ) -> Result<Vec<Recorded>, BookError> {
        let Some(first) = entries.first() else {
            return Ok(Vec::new());
        };
        let (who, logged) = (first.who.clone(), first.logged);
        let recorded = self.record(&who, logged, entries, now)?;
        Ok(recorded
            .into_iter()
            .skip_while(|(_, given)| !given)
            .map(|(r, _)| r)
            .collect())
    }

    /// How often the ledger states what this entry states, withdrawn or not; 0 where the
    /// appender was not opened for import.
    pub fn stated(&self, entry: &Entry) -> usize {
        self.stated_as(statement(entry))
    }

    /// The same by the [name of the statement](statement).
    pub fn stated_as(&self, name: Sha) -> usize {
        self.stated.as_ref().map_or(0, |stated| stated.times(name))
    }

    /// Opens a new book: writes its first line and nothing else.
    ///
    /// Errors: [`Conflict::OpenedAgain`] if the book has lines; as [`Appender::append_all`].
    pub fn open_book(&mut self, who: &str, now: DateTime<Utc>) -> Result<Recorded, BookError> {
        let opened = self.record(who, now, &[], now)?;
        let again = || BookError::Refused {
            refusals: vec![Refusal {
                index: 0,
                conflicts: vec![Conflict::OpenedAgain],
            }],
            zone: self.register.plant.time_zone,
        };
        let first = opened.into_iter().next();
        first.map(|(recorded, _)| recorded).ok_or_else(again)
    }

    /// Writes entries, after the first line if the book is new; tells for each line
    /// whether it was among those given.
    fn record(
        &mut self,
        who: &str,
        logged: DateTime<Utc>,
        entries: &[Entry],
        now: DateTime<Utc>,
    ) -> Result<Vec<(Recorded, bool)>, BookError> {
        let _lock = lock(self.disk.as_ref(), &self.folder, &mut self.patience)?;
        self.make_ready()?;
        let entries: Vec<&Entry> = entries.iter().collect();
        self.write_down(who, logged, &entries, now)
    }

    /// Under the lock: takes in what others wrote, and sets a torn line aside.
    pub(super) fn make_ready(&mut self) -> Result<(), BookError> {
        self.catch_up()?;
        self.own_chain()?;
        if let Some(tail) = self.own_tail() {
            let torn = set_torn_aside(self.disk.as_ref(), &self.folder, &tail.file, tail.len)?;
            self.set_aside.extend(torn);
        }
        Ok(())
    }

    /// Under the lock, made ready: checks entries and writes them.
    pub(super) fn write_down(
        &mut self,
        who: &str,
        logged: DateTime<Utc>,
        entries: &[&Entry],
        now: DateTime<Utc>,
    ) -> Result<Vec<(Recorded, bool)>, BookError> {
        let before = self.state.len();
        let (lines, text) = match self.check_in(who, logged, entries, now) {
            Ok(checked) => checked,
            Err(error) => {
                self.roll_back(before);
                return Err(error);
            }
        };
        if lines.is_empty() {
            return Ok(Vec::new());
        }
        let disk = self.disk.as_ref();
        if let Err(error) = add_lines(disk, &self.folder, &self.file(), text.as_bytes()) {
            self.roll_back(before);
            return Err(error);
        }
        let file = self.file();
        let own = self.own_tail_or_new();
        let tail = &mut self.tails[own];
        tail.len += text.len() as u64;
        if let Some((last, _)) = lines.last() {
            tail.lines = last.line;
            tail.head = last.sha;
        }
        drop(text);
        if let Some(stated) = &mut self.stated {
            entries
                .iter()
                .for_each(|entry| stated.add(statement(entry)));
        }
        let recorded = lines.iter().map(|(stand, given)| {
            let recorded = Recorded {
                sha: stand.sha,
                file: file.clone(),
                line: stand.line,
            };
            (recorded, *given)
        });
        Ok(recorded.collect())
    }

    /// How many lines the book has.
    pub(super) fn own_lines(&self) -> usize {
        self.own_tail().map_or(0, |tail| tail.lines)
    }

    fn own_tail(&self) -> Option<&Tail> {
        let file = self.file();
        self.tails.iter().find(|tail| tail.file == file)
    }

    fn own_tail_or_new(&mut self) -> usize {
        let file = self.file();
        if let Some(found) = self.tails.iter().position(|tail| tail.file == file) {
            return found;
        }
        self.tails.push(Tail {
            file,
            len: 0,
            lines: 0,
            head: Sha::ZERO,
            fault: None,
        });
        self.tails.len() - 1
    }

    fn own_chain(&self) -> Result<(), BookError> {
        match self.own_tail().and_then(|tail| tail.fault.as_ref()) {
            Some((fault, excerpt)) => Err(BookError::Chain {
                file: self.file(),
                fault: Box::new(fault.clone()),
                excerpt: excerpt.clone(),
            }),
            None => Ok(()),
        }
    }

    /// Takes every entry in, in turn, and returns the lines to write: their names, whether
    /// each was among those given, and their text. On refusal the state is left to be
    /// rolled back.
    fn check_in(
        &mut self,
        who: &str,
        logged: DateTime<Utc>,
        entries: &[&Entry],
        now: DateTime<Utc>,
    ) -> Result<(Vec<(Stand, bool)>, String), BookError> {
        let file = self.file();
        let index = self.state.file(&file);
        let (mut line, mut prev) = self
            .own_tail()
            .map_or((0, Sha::ZERO), |t| (t.lines, t.head));
        let fresh = line == 0;
        let mut lines = Vec::with_capacity(entries.len() + 1);
        let mut text = String::new();
        let mut refusals = Vec::new();
        let mut take_in = |state: &mut State, entry: &Entry, given: bool| {
            let own = entry.line(prev);
            prev = Sha::of(own.as_bytes());
            line += 1;
            let stand = Stand {
                sha: prev,
                file: index,
                line,
            };
            state.insert(stand, entry);
            lines.push((stand, given));
            text.push_str(&own);
            text.push('\n');
        };
        if fresh {
            let opened = Entry {
                time: logged,
                logged,
                who: who.to_owned(),
                machine: None,
                event: Event::Opened {
                    book: self.book.clone(),
                    format: FORMAT,
                },
                job: None,
                note: None,
                source: None,
            };
            take_in(&mut self.state, &opened, false);
        }
        let first_given = self.own_tail().map_or(0, |tail| tail.lines) + usize::from(fresh);
        for (index, entry) in entries.iter().copied().enumerate() {
            let conflicts = self.against(entry, &file, first_given, now);
            let mut named = None;
            // Digits that are unique today may not be so for ever: all 64 are written.
            if let Event::Withdrawn { entry_sha, why } = &entry.event
                && let Ok(sha) = self.state.find(entry_sha)
            {
                let event = Event::Withdrawn {
                    entry_sha: sha.to_string(),
                    why: why.clone(),
                };
                let entry = entry.clone();
                named = Some(Entry { event, ..entry });
            }
            if !conflicts.is_empty() {
                refusals.push(Refusal { index, conflicts });
            }
            take_in(&mut self.state, named.as_ref().unwrap_or(entry), true);
        }
        if refusals.is_empty() {
            return Ok((lines, text));
        }
        let zone = self.register.plant.time_zone;
        Err(BookError::Refused { refusals, zone })
    }

    /// What stands against an entry given along with others, of which the first would be
    /// the line after `lines` of this book.
    pub(super) fn against(
        &mut self,
        entry: &Entry,
        file: &str,
        lines: usize,
        now: DateTime<Utc>,
    ) -> Vec<Conflict> {
        let mut conflicts = self.state.conflicts(&self.register, entry, now);
        if matches!(entry.event, Event::Opened { .. }) {
            conflicts.push(Conflict::OpenedAgain);
        }
        // What was given beside this entry is in no book yet.
        for witness in conflicts.iter_mut().flat_map(Conflict::witnesses_mut) {
            if witness.file == file && witness.line > lines {
                witness.given = Some(witness.line - lines - 1);
            }
        }
        conflicts
    }

    pub(super) fn roll_back(&mut self, before: usize) {
        while self.state.len() > before {
            self.state.undo();
        }
    }

    /// Takes in what other programs have written since the last look.
    fn catch_up(&mut self) -> Result<(), BookError> {
        for path in book_files(&self.folder)? {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let file = format!("{BOOKS}/{name}");
            let known = self.tails.iter().position(|tail| tail.file == file);
            let known = known.unwrap_or_else(|| {
                self.tails.push(Tail {
                    file: file.clone(),
                    len: 0,
                    lines: 0,
                    head: Sha::ZERO,
                    fault: None,
                });
                self.tails.len() - 1
            });
            let tail = &mut self.tails[known];
            let reading = io_error(&path, "read");
            let mut book = self.disk.open(&path, Opening::Read).map_err(&reading)?;
            let len = book.len().map_err(&reading)?;
            if len < tail.len {
                return Err(BookError::ChangedMeanwhile { file });
            }
            if len == tail.len {
                continue;
            }
            let bytes = book.read_from(tail.len).map_err(&reading)?;
            let chain = follow(&bytes, tail.head);
            let index = self.state.file(&file);
            for (n, name) in chain.lines.iter().enumerate() {
                let stand = Stand {
                    sha: name.sha,
                    file: index,
                    line: tail.lines + n + 1,
                };
                match parse_line(&bytes[name.bytes.clone()]) {
                    Ok((_, entry)) => {
                        self.state.insert(stand, &entry);
                        if let Some(stated) = &mut self.stated {
                            stated.add(statement(&entry));
                        }
                    }
                    Err(_) => self.state.insert_unreadable(stand),
                }
            }
            if tail.fault.is_none()
                && let Some(fault) = &chain.fault
            {
                let text = chain.lines.get(fault.line().saturating_sub(1));
                let text = text.map_or(&[][..], |name| &bytes[name.bytes.clone()]);
                let text = String::from_utf8_lossy(text).into_owned();
                tail.fault = Some((fault.moved_by(tail.lines), text));
            }
            tail.head = chain.lines.last().map_or(tail.head, |name| name.sha);
            tail.lines += chain.lines.len();
            tail.len += chain.torn.start as u64;
        }
        Ok(())
    }
}
