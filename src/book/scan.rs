//! Reading a book's lines in parts, each by a thread of its own: chain, strict reading,
//! agreement with the register. Little is kept of a line, so that memory stays small.
//!
//! In: a book file, a register. Out: [`Found`]. Never: judging one entry by another.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use rayon::prelude::*;

use super::chain::{ChainFault, follow, prev_of, read_chain};
use super::conflict::Conflict;
use super::fact::Fact;
use super::line_fault::LineFault;
use super::names::Names;
use super::parse::parse_in_place;
use super::rules::{KnownFine, Rules};
use super::sha::Sha;
use super::statement::statement;
use crate::register::Register;

/// What was found in one book.
pub(super) struct Found {
    pub parts: Vec<Part>,
    /// Bytes up to and with the last LF.
    pub len: u64,
    pub torn: Vec<u8>,
    pub fault: Option<(ChainFault, String)>,
}

/// Some lines of a book, one after the other. Places count from 0 within the part.
#[derive(Default)]
pub(super) struct Part {
    pub names: Names,
    pub facts: Vec<Fact>,
    pub shas: Vec<Sha>,
    /// Names of what the lines state, where that was asked for.
    pub statements: Vec<Sha>,
    /// Where each line begins in the file.
    pub starts: Vec<u64>,
    pub unreadable: Vec<(usize, Vec<LineFault>, Vec<u8>)>,
    pub misfits: Vec<(usize, Vec<Conflict>)>,
    /// What the first line says stands before it.
    prev: Option<Sha>,
    broken: bool,
}

/// Bytes read at a time.
const BLOCK: usize = 1 << 20;

/// A book is not parted finer than this.
const PART: u64 = 4 << 20;

/// Reads a book; `statements`: whether to name what each line states.
pub(super) fn scan(path: &Path, register: &Register, statements: bool) -> io::Result<Found> {
    let mut file = File::open(path)?;
    let size = file.metadata()?.len();
    let (len, torn) = whole_lines(&mut file, size)?;
    let count = (len / PART).clamp(1, 4 * rayon::current_num_threads() as u64);
    let mut ends = Vec::new();
    for n in 1..=count {
        let end = if n == count {
            len
        } else {
            next_line(&mut file, len * n / count, len)?
        };
        ends.push(end);
    }
    let starts = std::iter::once(0).chain(ends.iter().copied());
    let ranges: Vec<(u64, u64)> = starts.zip(ends.iter().copied()).collect();
    let rules = Rules::of(register);
    let parts: Vec<Part> = ranges
        .into_par_iter()
        .filter(|(start, end)| start < end)
        .map(|(start, end)| part(path, start, end, &rules, statements))
        .collect::<io::Result<_>>()?;
    let mut before = Sha::ZERO;
    let mut whole = true;
    for part in &parts {
        whole &= !part.broken && part.prev == Some(before);
        before = part.shas.last().copied().unwrap_or(before);
    }
    let fault = if whole { None } else { first_fault(path)? };
    Ok(Found {
        parts,
        len,
        torn,
        fault,
    })
}

/// Which line broke the chain is told by the lines around it, so all are needed.
fn first_fault(path: &Path) -> io::Result<Option<(ChainFault, String)>> {
    let bytes = std::fs::read(path)?;
    let chain = read_chain(&bytes);
    Ok(chain.fault.map(|fault| {
        let name = fault.line().checked_sub(1).and_then(|n| chain.lines.get(n));
        let text = name.map_or(&[][..], |name| &bytes[name.bytes.clone()]);
        let text = String::from_utf8_lossy(text).into_owned();
        (fault, text)
    }))
}

/// Where the last whole line ends, and the bytes that follow.
fn whole_lines(file: &mut File, size: u64) -> io::Result<(u64, Vec<u8>)> {
    let mut torn = Vec::new();
    let mut end = size;
    while end > 0 {
        let start = end.saturating_sub(BLOCK as u64);
        let block = read_range(file, start, end)?;
        let last = memchr::memrchr(b'\n', &block).map_or(0, |last| last + 1);
        torn.splice(..0, block[last..].iter().copied());
        if last > 0 {
            return Ok((start + last as u64, torn));
        }
        end = start;
    }
    Ok((0, torn))
}

/// The first byte after the next LF at or after `from`.
fn next_line(file: &mut File, from: u64, len: u64) -> io::Result<u64> {
    let mut at = from;
    while at < len {
        let end = (at + 4096).min(len);
        let block = read_range(file, at, end)?;
        if let Some(lf) = memchr::memchr(b'\n', &block) {
            return Ok(at + lf as u64 + 1);
        }
        at = end;
    }
    Ok(len)
}

fn read_range(file: &mut File, start: u64, end: u64) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::with_capacity((end - start) as usize);
    file.by_ref().take(end - start).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Reads the lines from one byte to another.
fn part(
    path: &Path,
    start: u64,
    end: u64,
    rules: &Rules<'_>,
    statements: bool,
) -> io::Result<Part> {
    let mut file = File::open(path)?;
    file.seek(SeekFrom::Start(start))?;
    let mut left = end - start;
    let mut part = Part::default();
    let lines = (left / 250) as usize;
    part.facts.reserve(lines);
    part.shas.reserve(lines);
    part.starts.reserve(lines);
    let mut known = KnownFine::default();
    // A line that a block cuts is moved to the front of the next.
    let mut bytes: Vec<u8> = Vec::with_capacity(2 * BLOCK);
    let mut at = start;
    let mut head = None;
    while left > 0 {
        let size = left.min(BLOCK as u64);
        let read = file.by_ref().take(size).read_to_end(&mut bytes)? as u64;
        if read == 0 {
            break; // cut by another program meanwhile
        }
        left -= read;
        let Some(last) = memchr::memrchr(b'\n', &bytes) else {
            continue;
        };
        let mut ways = Ways {
            rules,
            known: &mut known,
            statements,
        };
        part.take_in(&bytes[..=last], at, &mut head, &mut ways);
        bytes.drain(..=last);
        at += last as u64 + 1;
    }
    Ok(part)
}

/// How lines are taken in.
struct Ways<'w, 'r> {
    rules: &'w Rules<'r>,
    known: &'w mut KnownFine,
    statements: bool,
}

impl Part {
    /// Takes in whole lines that begin at byte `at` of the file.
    fn take_in(&mut self, bytes: &[u8], at: u64, head: &mut Option<Sha>, ways: &mut Ways<'_, '_>) {
        // The first line of a part follows a line of the part before, which is held
        // against it later.
        let before = head.unwrap_or_else(|| {
            let end = memchr::memchr(b'\n', bytes).unwrap_or(bytes.len());
            self.prev = prev_of(&bytes[..end]);
            self.prev.unwrap_or(Sha::ZERO)
        });
        let chain = follow(bytes, before);
        self.broken |= chain.fault.is_some();
        *head = Some(chain.head());
        for line in &chain.lines {
            let text = &bytes[line.bytes.clone()];
            let place = self.facts.len();
            let fact = match parse_in_place(text, line.prev) {
                Ok(entry) => {
                    let fact = Fact::of(&entry, &mut self.names);
                    if ways.statements {
                        self.statements.push(statement(&entry));
                    }
                    let names = &mut self.names;
                    let misfits = ways.rules.against(&entry, &fact, names, ways.known);
                    if !misfits.is_empty() {
                        self.misfits.push((place, misfits));
                    }
                    fact
                }
                Err(faults) => {
                    self.unreadable.push((place, faults, text.to_owned()));
                    if ways.statements {
                        self.statements.push(Sha::ZERO);
                    }
                    Fact::unreadable()
                }
            };
            self.facts.push(fact);
            self.shas.push(line.sha);
            self.starts.push(at + line.bytes.start as u64);
        }
    }
}
