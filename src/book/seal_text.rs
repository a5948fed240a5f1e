//! Reading seals back: the table and the JSON that `seal` prints, one after the other in
//! one file if need be. Strict, as a row lost or a digit mistyped must not pass for proof.

use serde::Deserialize;
use thiserror::Error;

use super::seal::{Seal, SealedBook};
use crate::quantity::trouble::{Place, Trouble};

/// Why a text is not a seal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SealFault {
    /// Line, from 1, and its text.
    pub line: usize,
    pub text: String,
    pub kind: SealFaultKind,
}

#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SealFaultKind {
    #[error("there is no seal in this file")]
    None,
    #[error("not a line of a seal")]
    NotALine,
    #[error("a seal that this version does not know")]
    Version,
    #[error("the seal is cut short: its last line counts its books and lines")]
    NoTotal,
    #[error("the seal has {books} books with {lines} lines in all, not what its last line says")]
    Total { books: usize, lines: usize },
    #[error("`{short}` and `{long}` are not names of one line")]
    Disagree { short: String, long: String },
    #[error("`{book}` is sealed with {lines} lines and the names of {names}")]
    Names {
        book: String,
        lines: usize,
        names: usize,
    },
    #[error("not the JSON of a seal: {reason}")]
    Json { reason: String },
}

impl SealFault {
    /// The fault as a trouble in this file.
    pub fn trouble(&self, file: &str) -> Trouble {
        let place = Place {
            file: file.to_owned(),
            line: (self.line > 0).then_some(self.line),
            excerpt: Some(self.text.clone()),
            span: None,
        };
        Trouble::error("seal-unreadable", self.kind.to_string())
            .placed(place)
            .cured_by(match self.kind {
                SealFaultKind::Version => "read it with a newer wearbook",
                _ => {
                    "keep what `wearbook seal` prints as it is (table or JSON); \
                     begin lines of your own with #"
                }
            })
    }
}

/// Reads every seal of a text.
///
/// Errors: the first line that is not part of a seal, or no seal at all.
pub fn read_seals(text: &str) -> Result<Vec<Seal>, SealFault> {
    let mut reader = Reader {
        seals: Vec::new(),
        open: None,
    };
    // Some editors put a mark before the first line.
    let mut rest = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut number = 0;
    while !rest.is_empty() {
        number += 1;
        let at = number;
        let (line, after) = rest.split_once('\n').unwrap_or((rest, ""));
        let line = line.trim_end();
        let fault = |kind| SealFault {
            line: at,
            text: line.to_owned(),
            kind,
        };
        if line.starts_with('{') && reader.open.is_none() {
            let (seal, used) = json(rest, number, line).map_err(fault)?;
            reader.seals.push(seal);
            number += rest[..used].matches('\n').count();
            rest = &rest[used..];
            // What follows on the object's last line is a line of its own, if anything.
            rest = match rest
                .trim_start_matches([' ', '\t', '\r'])
                .strip_prefix('\n')
            {
                Some(after) => after,
                None if rest.trim().is_empty() => "",
                None => return Err(fault(SealFaultKind::NotALine)),
            };
            continue;
        }
        reader.line(number, line).map_err(fault)?;
        rest = after;
    }
    let end = |kind| SealFault {
        line: number,
        text: text.lines().last().unwrap_or_default().to_owned(),
        kind,
    };
    if reader.open.is_some() {
        return Err(end(SealFaultKind::NoTotal));
    }
    if reader.seals.is_empty() {
        return Err(SealFault {
            line: 0,
            ..end(SealFaultKind::None)
        });
    }
    Ok(reader.seals)
}

/// What begins the table of a seal, before its version.
pub(super) const TITLE: &str = "wearbook seal ";

struct Reader {
    seals: Vec<Seal>,
    open: Option<Seal>,
}

impl Reader {
    fn line(&mut self, number: usize, line: &str) -> Result<(), SealFaultKind> {
        if line.trim().is_empty() || line.starts_with('#') {
            return Ok(());
        }
        if let Some(version) = line.strip_prefix(TITLE) {
            if self.open.is_some() {
                return Err(SealFaultKind::NoTotal);
            }
            if version != "1" {
                return Err(SealFaultKind::Version);
            }
            self.open = Some(Seal {
                line: number,
                books: Vec::new(),
            });
            return Ok(());
        }
        let Some(seal) = &mut self.open else {
            return Err(SealFaultKind::NotALine);
        };
        let words: Vec<&str> = line.split_whitespace().collect();
        if words.first() == Some(&"book") && words.last() == Some(&"line") {
            return Ok(());
        }
        if let Some((books, lines)) = total(&words) {
            // Numbers of a text that others wrote: their sum may be beyond any.
            let counted = seal
                .books
                .iter()
                .fold(0, |sum: usize, book| sum.saturating_add(book.lines));
            if (books, lines) != (seal.books.len(), counted) {
                return Err(SealFaultKind::Total {
                    books: seal.books.len(),
                    lines: counted,
                });
            }
            for book in &seal.books {
                agrees(book)?;
            }
            self.seals.extend(self.open.take());
            return Ok(());
        }
        if line.starts_with([' ', '\t']) {
            return match seal.books.last_mut() {
                Some(book) => more_names(book, &words),
                None => Err(SealFaultKind::NotALine),
            };
        }
        seal.books.push(row(number, line)?);
        Ok(())
    }
}

/// `2 books, 1812 lines`
fn total(words: &[&str]) -> Option<(usize, usize)> {
    let [books, "book," | "books,", lines, "line" | "lines"] = words else {
        return None;
    };
    Some((books.parse().ok()?, lines.parse().ok()?))
}

/// The number of the first of these lines, then their names.
fn more_names(book: &mut SealedBook, words: &[&str]) -> Result<(), SealFaultKind> {
    let (from, names) = words.split_first().ok_or(SealFaultKind::NotALine)?;
    let follows = from.parse() == Ok(book.names.len() + 1);
    if !follows || !names.iter().all(|name| is_name(name, 12)) {
        return Err(SealFaultKind::NotALine);
    }
    book.names
        .extend(names.iter().map(|name| (*name).to_owned()));
    Ok(())
}

fn is_name(word: &str, digits: usize) -> bool {
    word.len() == digits && word.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

/// Book, lines, short head, first line, whole head. Read from the right, as a file name may
/// hold blanks; the whole head may be left out by who wrote the seal down by hand.
fn row(number: usize, line: &str) -> Result<SealedBook, SealFaultKind> {
    let read = || {
        let (mut rest, mut last) = word_off(line)?;
        let mut whole = None;
        if is_name(last, 64) {
            whole = Some(last);
            (rest, last) = word_off(rest)?;
        }
        let first = Some(last).filter(|word| is_name(word, 12))?;
        let (rest, short) = word_off(rest)?;
        let short = Some(short).filter(|word| is_name(word, 12))?;
        let (book, lines) = word_off(rest)?;
        let lines: usize = lines.parse().ok()?;
        Some((book, lines, short, first, whole))
    };
    let (book, lines, short, first, whole) = read().ok_or(SealFaultKind::NotALine)?;
    if let Some(whole) = whole.filter(|whole| !whole.starts_with(short)) {
        return Err(SealFaultKind::Disagree {
            short: short.to_owned(),
            long: whole.to_owned(),
        });
    }
    Ok(SealedBook {
        book: book.to_owned(),
        lines,
        head: whole.unwrap_or(short).to_owned(),
        first: first.to_owned(),
        names: Vec::new(),
        row: (number, line.to_owned()),
    })
}

/// The last word, and what stands before it.
fn word_off(text: &str) -> Option<(&str, &str)> {
    let (rest, word) = text.rsplit_once(char::is_whitespace)?;
    Some((rest.trim_end(), word))
}

/// The names of its lines, where they are sealed, are as many as its lines, and begin and
/// end as the row says.
fn agrees(book: &SealedBook) -> Result<(), SealFaultKind> {
    if !book.names.is_empty() && book.names.len() != book.lines {
        return Err(SealFaultKind::Names {
            book: book.book.clone(),
            lines: book.lines,
            names: book.names.len(),
        });
    }
    let ends = [
        (book.names.first(), &book.first),
        (book.names.last(), &book.head),
    ];
    for (short, long) in ends {
        if let Some(short) = short
            && !long.starts_with(short.as_str())
        {
            return Err(SealFaultKind::Disagree {
                short: short.clone(),
                long: long.clone(),
            });
        }
    }
    Ok(())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SealJson {
    seal: u32,
    books: Vec<BookJson>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BookJson {
    book: String,
    lines: usize,
    head: String,
    first: String,
    #[serde(default)]
    line_names: Vec<String>,
}

/// One JSON object at the beginning of the text, and how many bytes it takes.
fn json(text: &str, number: usize, line: &str) -> Result<(Seal, usize), SealFaultKind> {
    let mut stream = serde_json::Deserializer::from_str(text).into_iter::<SealJson>();
    let read = match stream.next() {
        Some(Ok(read)) => read,
        Some(Err(error)) => {
            return Err(SealFaultKind::Json {
                reason: error.to_string(),
            });
        }
        None => return Err(SealFaultKind::NotALine),
    };
    if read.seal != 1 {
        return Err(SealFaultKind::Version);
    }
    let mut seal = Seal {
        line: number,
        books: Vec::new(),
    };
    for book in read.books {
        let bad = |word: &String, digits: &[usize]| !digits.iter().any(|n| is_name(word, *n));
        let wrong = bad(&book.head, &[12, 64])
            || bad(&book.first, &[12, 64])
            || book.line_names.iter().any(|name| bad(name, &[12]));
        if wrong {
            return Err(SealFaultKind::Json {
                reason: format!("the names of lines of {}", book.book),
            });
        }
        let sealed = SealedBook {
            book: book.book,
            lines: book.lines,
            head: book.head,
            first: book.first,
            names: book.line_names,
            row: (number, line.to_owned()),
        };
        agrees(&sealed)?;
        seal.books.push(sealed);
    }
    Ok((seal, stream.byte_offset()))
}
