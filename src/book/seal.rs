//! Seals: what all books were at one moment, noted where nobody who writes books can
//! reach it; and the proof that today's books only added to them.
//!
//! A book is known by the name of its first line, so that a renamed file is still found,
//! and by its file name. The name of line N stands for all lines up to N: where it is the
//! same, nothing before it was changed.

use std::path::Path;

use super::chain::{Chain, read_chain};
use super::error::{BookError, chain_trouble};
use super::ledger::{BOOKS, book_files, copied};
use super::sha::Sha;
use super::survey::Survey;
use crate::quantity::trouble::{Place, Severity, Trouble, shown};

/// What was sealed at one moment.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Seal {
    /// Line of the seal's beginning in the file it was read from, from 1.
    pub line: usize,
    pub books: Vec<SealedBook>,
}

/// One book of a seal. Names are the first 12 hex digits of a line's SHA-256, or all 64.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SealedBook {
    /// `books/NAME.jsonl`; in a fleet with the ledger's name before it.
    pub book: String,
    pub lines: usize,
    /// Name of the last line; zeros for a book without lines.
    pub head: String,
    /// Name of the first line; zeros for a book without lines.
    pub first: String,
    /// Names of all lines, where they were sealed too.
    pub names: Vec<String>,
    /// Its row in the file it was read from: number and text.
    pub row: (usize, String),
}

impl SealedBook {
    fn new(book: String, chain: &Chain, every_line: bool) -> SealedBook {
        let names = chain.lines.iter().filter(|_| every_line);
        SealedBook {
            book,
            lines: chain.lines.len(),
            head: chain.head().to_string(),
            first: first_of(chain).to_string(),
            names: names.map(|line| line.sha.short()).collect(),
            row: (0, String::new()),
        }
    }
}

fn first_of(chain: &Chain) -> Sha {
    chain.lines.first().map_or(Sha::ZERO, |line| line.sha)
}

/// Seals every book of these ledgers (folder, and what goes before its books' names);
/// `every_line` seals the names of all lines too. A last line cut short is not sealed; it
/// comes back as a trouble.
///
/// Errors: a folder or file that cannot be read; [`BookError::Unfit`] with every
/// broken chain and every book that lies there twice.
pub fn seal<'a>(
    ledgers: impl IntoIterator<Item = (&'a Path, &'a str)>,
    every_line: bool,
) -> Result<(Seal, Vec<Trouble>), BookError> {
    let mut sealed = Seal::default();
    let (mut faults, mut torn) = (Vec::new(), Vec::new());
    for (folder, prefix) in ledgers {
        for path in book_files(folder)? {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let book = format!("{prefix}{BOOKS}/{name}");
            let bytes = std::fs::read(&path).map_err(|error| BookError::Io {
                file: shown(&path),
                doing: "read",
                reason: error.to_string(),
            })?;
            let chain = read_chain(&bytes);
            if let Some(fault) = &chain.fault {
                let text = chain.lines.get(fault.line().saturating_sub(1));
                let text = text.map_or(&[][..], |name| &bytes[name.bytes.clone()]);
                faults.push(chain_trouble(&book, fault, &String::from_utf8_lossy(text)));
            }
            if !chain.torn.is_empty() {
                let trouble = Trouble::error("torn-tail", "the last line was cut short");
                torn.push(
                    trouble
                        .with_severity(Severity::Warning)
                        .in_file(book.clone())
                        .because("It does not count, and is not sealed."),
                );
            }
            let one = SealedBook::new(book, &chain, every_line);
            let twin = sealed.books.iter().find(|other| other.first == one.first);
            if let Some(twin) = twin.filter(|_| one.lines > 0) {
                faults.push(copied(&one.book, &twin.book));
            }
            sealed.books.push(one);
        }
    }
    if faults.is_empty() {
        Ok((sealed, torn))
    } else {
        Err(BookError::Unfit { troubles: faults })
    }
}

/// How one sealed book fares today.
#[derive(Debug, Clone, PartialEq)]
pub struct Proved {
    /// As it was sealed.
    pub book: String,
    pub lines: usize,
    pub head: String,
    /// The file it is in now, if it is there.
    pub now: Option<String>,
    /// Lines it has more than when it was sealed.
    pub added: usize,
    /// Why it does not hold; empty where it does.
    pub troubles: Vec<Trouble>,
}

impl Proved {
    /// Whether today's book begins with what was sealed.
    pub fn holds(&self) -> bool {
        self.troubles.is_empty()
    }
}

/// How one seal fares today.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// The file of the seal, and the line it begins on.
    pub file: String,
    pub line: usize,
    pub books: Vec<Proved>,
    /// Books that were not there when it was made.
    pub newer: usize,
}

/// Holds seals against the ledgers it is shown.
#[derive(Debug)]
pub struct Prover {
    file: String,
    seals: Vec<(Seal, Vec<Option<Likeness>>, usize)>,
}

/// The best that today's books have to show for a sealed one.
#[derive(Debug)]
struct Likeness {
    rank: Rank,
    now: String,
    added: usize,
    troubles: Vec<Trouble>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// Its file name ends alike; in a fleet a name has the ledger's before it.
    NamedAlike,
    /// Several file names end alike, so none can be told to be the one.
    NamedAlikeTwice,
    Named,
    SameFirstLine,
    Holds,
}

impl Prover {
    /// For the seals of this file, as troubles name it.
    pub fn new(file: String, seals: Vec<Seal>) -> Prover {
        let open = |seal: Seal| {
            let none = seal.books.iter().map(|_| None).collect();
            (seal, none, 0)
        };
        Prover {
            file,
            seals: seals.into_iter().map(open).collect(),
        }
    }

    /// Looks at the books of a ledger; `prefix` goes before their names.
    pub fn look(&mut self, prefix: &str, ledger: &Survey) {
        for (n, book) in ledger.books.iter().enumerate() {
            let name = format!("{prefix}{}", book.file);
            let first = ledger.shas_of(n).first().copied().unwrap_or(Sha::ZERO);
            for (seal, found, newer) in &mut self.seals {
                let mut known = false;
                for (sealed, best) in seal.books.iter().zip(found) {
                    let same =
                        sealed.lines > 0 && book.lines > 0 && first.begins_with(&sealed.first);
                    let rank = match (same, likeness_of_names(&sealed.book, &name)) {
                        (true, _) => Rank::SameFirstLine,
                        (false, Some(rank)) => rank,
                        (false, None) => continue,
                    };
                    known |= same || rank == Rank::Named;
                    let troubles = faults(&self.file, sealed, &name, ledger, n);
                    let like = Likeness {
                        rank: if troubles.is_empty() {
                            Rank::Holds
                        } else {
                            rank
                        },
                        now: name.clone(),
                        added: book.lines.saturating_sub(sealed.lines),
                        troubles,
                    };
                    match best {
                        Some(other) if other.rank == like.rank && like.rank == Rank::NamedAlike => {
                            other.rank = Rank::NamedAlikeTwice;
                        }
                        Some(other) if other.rank >= like.rank => {}
                        _ => *best = Some(like),
                    }
                }
                *newer += usize::from(!known);
            }
        }
    }

    /// What came out, a proof a seal.
    pub fn proofs(self) -> Vec<Proof> {
        let file = self.file;
        let proof = |(seal, found, newer): (Seal, Vec<Option<Likeness>>, usize)| {
            let books = seal.books.into_iter().zip(found).map(|(sealed, best)| {
                let best = best.filter(|like| like.rank != Rank::NamedAlikeTwice);
                let (now, added, troubles) = match best {
                    Some(like) => (Some(like.now), like.added, like.troubles),
                    // Nothing was sealed, so nothing is lost.
                    None if sealed.lines == 0 => (None, 0, Vec::new()),
                    None => (None, 0, vec![gone(&file, &sealed)]),
                };
                Proved {
                    book: sealed.book,
                    lines: sealed.lines,
                    head: sealed.head,
                    now,
                    added,
                    troubles,
                }
            });
            Proof {
                books: books.collect(),
                file: file.clone(),
                line: seal.line,
                newer,
            }
        };
        self.seals.into_iter().map(proof).collect()
    }
}

fn likeness_of_names(sealed: &str, now: &str) -> Option<Rank> {
    let within = |long: &str, short: &str| {
        long.strip_suffix(short)
            .is_some_and(|rest| rest.ends_with('/'))
    };
    if sealed == now {
        Some(Rank::Named)
    } else {
        (within(sealed, now) || within(now, sealed)).then_some(Rank::NamedAlike)
    }
}

/// Why this book is not what was sealed, with lines added to it.
fn faults(
    file: &str,
    sealed: &SealedBook,
    name: &str,
    ledger: &Survey,
    book: usize,
) -> Vec<Trouble> {
    let by = format!("{file}:{}", sealed.row.0);
    let lines = ledger.shas_of(book);
    let now = |line: usize| lines[line - 1].short();
    let at = |line: usize| Place {
        file: name.to_owned(),
        line: Some(line),
        excerpt: Some(String::from_utf8_lossy(&ledger.line_text(book, line)).into_owned()),
        span: None,
    };
    let short = |name: &str| name.get(..12).unwrap_or(name).to_owned();
    let mut found = Vec::new();
    if sealed.lines == 0 {
        return found;
    }
    if let Some(first) = lines.first()
        && !first.begins_with(&sealed.first)
    {
        let trouble = Trouble::error("seal-first-line", "not the first line that was sealed");
        found.push(cured(trouble.placed(at(1)).because(format!(
            "{by} sealed it as {}; it is {} now.",
            short(&sealed.first),
            now(1)
        ))));
        return found;
    }
    let whole = sealed.lines.min(lines.len());
    // Every line names the one before, so line by line the chain is held too.
    let changed = sealed
        .names
        .iter()
        .zip(lines)
        .position(|(then, now)| !now.begins_with(then))
        .map(|at| at + 1);
    let fault = ledger.books[book].fault.as_ref();
    let breaks = fault.filter(|(fault, _)| fault.holds_up_to() < whole);
    let breaks = breaks.map(|(fault, _)| fault.line());
    if let Some(line) = changed {
        let trouble = Trouble::error("seal-changed", "changed since it was sealed");
        found.push(cured(trouble.placed(at(line)).because(format!(
            "{by} sealed it as {}; it is {} now.",
            sealed.names[line - 1],
            now(line)
        ))));
    } else if let Some(line) = breaks {
        let trouble = Trouble::error("seal-chain", "the chain breaks within what was sealed");
        found.push(cured(trouble.placed(at(line)).because(format!(
            "{by} sealed lines 1 to {}; the chain does not hold that far.",
            sealed.lines
        ))));
    } else if whole == sealed.lines && !lines[whole - 1].begins_with(&sealed.head) {
        let trouble = Trouble::error("seal-changed", "not the line that was sealed");
        let trouble = trouble
            .placed(at(whole))
            .because(format!(
                "{by} sealed it as {}; it is {} now.",
                short(&sealed.head),
                now(whole)
            ))
            .because("It or a line before it was changed, and the chain written anew from there.")
            .because("Which line was the first, only a seal made with --lines can tell.");
        found.push(cured(trouble));
    }
    if lines.len() < sealed.lines {
        let trouble = Trouble::error(
            "seal-cut",
            format!(
                "shorter than it was: {} of {} sealed lines",
                lines.len(),
                sealed.lines
            ),
        );
        let trouble = match lines.len() {
            0 => trouble.in_file(name),
            last => trouble.placed(at(last)),
        };
        found.push(cured(trouble.because(format!(
            "{by} sealed line {} as {}.",
            sealed.lines,
            short(&sealed.head)
        ))));
    }
    found
}

fn cured(trouble: Trouble) -> Trouble {
    trouble
        .cured_by("books are never edited: put back the file from a copy that the seal proves,")
        .cured_by("and ask who could write here since the seal was made")
}

fn gone(file: &str, sealed: &SealedBook) -> Trouble {
    let (line, text) = &sealed.row;
    let place = Place {
        file: file.to_owned(),
        line: Some(*line),
        excerpt: Some(text.clone()),
        span: text.find(&sealed.book).map(|at| at..at + sealed.book.len()),
    };
    Trouble::error("seal-gone", format!("{} is gone", sealed.book))
        .placed(place)
        .because(format!(
            "No book here begins with its first line, {}.",
            sealed.first.get(..12).unwrap_or(&sealed.first)
        ))
        .cured_by("put the file back from a copy;")
        .cured_by("was another ledger sealed? name all that were")
}
