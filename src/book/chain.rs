//! The chain of a book: each line carries the SHA-256 of the line before.
//!
//! Checked without reading the JSON: only the `prev` at the head of each line, the
//! braces at its ends, and its bytes. Two cores share the work of one book.

use std::ops::Range;

use rayon::prelude::*;
use thiserror::Error;

use super::sha::Sha;

/// Where the first trouble of a chain lies.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ChainFault {
    /// The line does not begin with `{"prev":"` and 64 hex digits, or is cut.
    #[error("line {line} is not a line of a book")]
    NotALine { line: usize },
    /// The line after it names another line than this one: this one was changed
    /// after it was written, or lines between the two are gone.
    #[error("line {line} was changed after it was written, or lines after it are missing")]
    Changed {
        line: usize,
        /// What the line hashes to now.
        now: Sha,
        /// What the next line says it hashed to.
        then: Sha,
    },
    /// The line's own `prev` was changed: it is all but the right one, or the line
    /// after it does not know this one either.
    #[error("line {line} names a line that does not stand before it")]
    PrevChanged {
        line: usize,
        expected: Sha,
        found: Sha,
    },
}

impl ChainFault {
    /// The first bad line.
    pub fn line(&self) -> usize {
        match self {
            ChainFault::NotALine { line }
            | ChainFault::Changed { line, .. }
            | ChainFault::PrevChanged { line, .. } => *line,
        }
    }

    /// The last line up to which every line names the one before it.
    pub(super) fn holds_up_to(&self) -> usize {
        match self {
            // It is the line after that names another.
            ChainFault::Changed { line, .. } => *line,
            ChainFault::NotALine { line } | ChainFault::PrevChanged { line, .. } => line - 1,
        }
    }

    /// The same fault in a book that has this many lines before.
    pub(super) fn moved_by(&self, lines: usize) -> ChainFault {
        let mut moved = self.clone();
        match &mut moved {
            ChainFault::NotALine { line }
            | ChainFault::Changed { line, .. }
            | ChainFault::PrevChanged { line, .. } => *line += lines,
        }
        moved
    }
}

/// One line of a book: where it lies in the file and what it is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineName {
    /// Bytes in the file, without the LF.
    pub bytes: Range<usize>,
    pub sha: Sha,
    /// What it says stands before it; `None` where it does not say.
    pub prev: Option<Sha>,
}

/// A book's lines and the state of its chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    pub lines: Vec<LineName>,
    /// The first trouble, if any.
    pub fault: Option<ChainFault>,
    /// Bytes after the last LF: a line cut short, never counted.
    pub torn: Range<usize>,
}

impl Chain {
    /// The name of the last whole line; 64 zeros for an empty book.
    pub fn head(&self) -> Sha {
        self.lines.last().map_or(Sha::ZERO, |line| line.sha)
    }
}

/// Names every line of a book and follows its chain from the first line.
pub fn read_chain(book: &[u8]) -> Chain {
    follow(book, Sha::ZERO)
}

/// As [`read_chain`], for lines that follow a line of this name.
pub fn follow(book: &[u8], before: Sha) -> Chain {
    let whole = memchr::memrchr(b'\n', book).map_or(0, |last| last + 1);
    let lines = name_lines(book, whole);
    let fault = first_fault(book, &lines, before);
    Chain {
        lines,
        fault,
        torn: whole..book.len(),
    }
}

/// Names lines in blocks that all threads share.
fn name_lines(book: &[u8], whole: usize) -> Vec<LineName> {
    const BLOCK: usize = 1 << 20;
    let mut blocks: Vec<Range<usize>> = Vec::new();
    let mut start = 0;
    while start < whole {
        let aim = (start + BLOCK).min(whole) - 1;
        // `whole` ends with an LF, so one is always found.
        let end = memchr::memchr(b'\n', &book[aim..whole]).map_or(whole, |i| aim + i + 1);
        blocks.push(start..end);
        start = end;
    }
    let name = |block: Range<usize>| -> Vec<LineName> {
        let mut lines = Vec::with_capacity((block.len() / 200).max(4));
        let mut from = block.start;
        for lf in memchr::memchr_iter(b'\n', &book[block.clone()]) {
            let bytes = from..block.start + lf;
            let text = &book[bytes.clone()];
            lines.push(LineName {
                sha: Sha::of(text),
                prev: prev_of(text),
                bytes,
            });
            from = block.start + lf + 1;
        }
        lines
    };
    if blocks.len() < 2 {
        return blocks.into_iter().flat_map(name).collect();
    }
    let parts: Vec<Vec<LineName>> = blocks.into_par_iter().map(name).collect();
    parts.concat()
}

/// The `prev` at the head of a line. Blanks between the tokens are let pass, as JSON
/// does; a line that does not end in a brace is none.
pub(super) fn prev_of(line: &[u8]) -> Option<Sha> {
    let line = line.trim_ascii();
    if line.last() != Some(&b'}') {
        return None;
    }
    let rest = line.strip_prefix(b"{")?.trim_ascii_start();
    let rest = rest.strip_prefix(b"\"prev\"")?.trim_ascii_start();
    let rest = rest.strip_prefix(b":")?.trim_ascii_start();
    let rest = rest.strip_prefix(b"\"")?;
    if rest.get(64) != Some(&b'"') {
        return None;
    }
    Sha::parse(&rest[..64])
}

fn first_fault(book: &[u8], lines: &[LineName], before: Sha) -> Option<ChainFault> {
    let mut expected = before;
    for (i, line) in lines.iter().enumerate() {
        let number = i + 1;
        let Some(found) = line.prev else {
            // The line before may be the culprit: a stray LF inside it leaves it cut,
            // and a cut line is found first. So this one is at fault.
            return Some(ChainFault::NotALine { line: number });
        };
        if found != expected {
            return Some(blame(book, lines, i, expected, found));
        }
        expected = line.sha;
    }
    None
}

/// Line `i` does not name the line before it. Which of the two was changed?
fn blame(book: &[u8], lines: &[LineName], i: usize, expected: Sha, found: Sha) -> ChainFault {
    let prev_changed = ChainFault::PrevChanged {
        line: i + 1,
        expected,
        found,
    };
    if i == 0 {
        return prev_changed;
    }
    // Two hashes agree in about 4 of 64 digits by chance; one that was tampered with
    // digit by digit still agrees in most.
    let hex = (expected.to_string(), found.to_string());
    let alike = hex.0.bytes().zip(hex.1.bytes()).filter(|(a, b)| a == b);
    if alike.count() > 32 {
        return prev_changed;
    }
    // If the line after still knows line `i` as it is, line `i` was not touched. If it
    // does not, line `i` itself was changed, unless putting back the right `prev`
    // does not mend that either.
    if let Some(after) = lines.get(i + 1)
        && after.prev.is_some_and(|prev| prev != lines[i].sha)
    {
        let text = &book[lines[i].bytes.clone()];
        let mended = mend_prev(text, expected);
        if after.prev == Some(Sha::of(&mended)) {
            return prev_changed;
        }
    }
    ChainFault::Changed {
        line: i,
        now: expected,
        then: found,
    }
}

fn mend_prev(line: &[u8], prev: Sha) -> Vec<u8> {
    let mut mended = line.to_vec();
    // The place of the 64 digits was found by `prev_of` before.
    if let Some(colon) = memchr::memchr(b':', line)
        && let Some(quote) = memchr::memchr(b'"', &line[colon..])
    {
        let from = colon + quote + 1;
        if let Some(place) = mended.get_mut(from..from + 64) {
            place.copy_from_slice(prev.to_string().as_bytes());
        }
    }
    mended
}

#[cfg(test)]
mod tests {
    use super::*;

    fn book(bodies: &[&str]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut prev = Sha::ZERO;
        for body in bodies {
            let line = format!("{{\"prev\":\"{prev}\",\"n\":\"{body}\"}}");
            prev = Sha::of(line.as_bytes());
            bytes.extend_from_slice(line.as_bytes());
            bytes.push(b'\n');
        }
        bytes
    }

    #[test]
    fn a_whole_chain_has_no_fault() {
        let bytes = book(&["a", "b", "c"]);
        let chain = read_chain(&bytes);
        assert_eq!(chain.fault, None);
        assert_eq!(chain.lines.len(), 3);
        assert!(chain.torn.is_empty());
        assert_eq!(read_chain(b"").head(), Sha::ZERO);
    }

    #[test]
    fn many_blocks_give_the_same_lines_as_one() {
        let bodies: Vec<String> = (0..30_000).map(|n| n.to_string()).collect();
        let texts: Vec<&str> = bodies.iter().map(String::as_str).collect();
        let bytes = book(&texts);
        assert!(bytes.len() > 2 << 20);
        let chain = read_chain(&bytes);
        assert_eq!(chain.lines.len(), 30_000);
        assert_eq!(chain.fault, None);
    }

    #[test]
    fn a_changed_line_is_named() {
        for (n, body) in ["a", "b", "c"].iter().enumerate() {
            let text = String::from_utf8(book(&["a", "b", "c", "d"])).expect("ascii");
            let changed = text.replace(&format!("\"n\":\"{body}\""), "\"n\":\"x\"");
            let fault = read_chain(changed.as_bytes()).fault.expect("fault");
            assert!(matches!(fault, ChainFault::Changed { .. }), "{fault:?}");
            assert_eq!(fault.line(), n + 1);
        }
    }

    #[test]
    fn a_changed_prev_is_named() {
        let bytes = book(&["a", "b", "c", "d"]);
        let lines = read_chain(&bytes).lines;
        for (n, line) in lines.iter().enumerate() {
            // One digit, and all of them.
            for digits in [1, 64] {
                let mut changed = bytes.clone();
                let from = line.bytes.start + 9;
                for byte in &mut changed[from..from + digits] {
                    *byte = if *byte == b'0' { b'f' } else { b'0' };
                }
                let fault = read_chain(&changed).fault.expect("fault");
                if n == 3 && digits == 64 {
                    // Nothing after the last line tells which of the two was changed.
                    assert_eq!(fault.line(), 3);
                } else {
                    assert_eq!(fault.line(), n + 1, "{fault:?}");
                    assert!(matches!(fault, ChainFault::PrevChanged { .. }));
                }
            }
        }
    }

    #[test]
    fn a_missing_line_is_told_at_the_line_before() {
        let bytes = book(&["a", "b", "c", "d"]);
        let lines = read_chain(&bytes).lines;
        let mut cut = bytes.clone();
        cut.drain(lines[1].bytes.start..=lines[1].bytes.end);
        let fault = read_chain(&cut).fault.expect("fault");
        assert_eq!(fault.line(), 1);
        assert!(matches!(fault, ChainFault::Changed { .. }));
    }

    #[test]
    fn a_torn_tail_is_set_apart() {
        let bytes = book(&["a", "b"]);
        let last = read_chain(&bytes).lines[1].bytes.clone();
        for cut in last.start..=last.end {
            let chain = read_chain(&bytes[..cut]);
            assert_eq!(chain.lines.len(), 1);
            assert_eq!(chain.fault, None);
            assert_eq!(chain.torn, last.start..cut);
        }
    }
}
