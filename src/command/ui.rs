//! The one place that prints: results on stdout, everything else on stderr.
//!
//! In: finished text, [`Trouble`]s. Out: bytes on the two streams.
//! Never: computation. Colour is not used; `NO_COLOR` keeps text from being struck through.

use std::io::{self, IsTerminal, Write};

use clap::ValueEnum;

use super::CommandError;
use crate::quantity::text::{is_unruly, lines, one_line};
use crate::quantity::trouble::{Place, Trouble};

/// How a result is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum Format {
    /// Rounded, with units, for reading
    #[default]
    Table,
    /// Full precision, base units; unknown is null
    Json,
    /// Full precision, base units; unknown is empty
    Csv,
}

impl Format {
    /// The result in this layout; only that one is made.
    pub(super) fn lay_out(
        self,
        table: impl FnOnce() -> String,
        json: impl FnOnce() -> Result<String, serde_json::Error>,
        csv: impl FnOnce() -> Result<String, csv::Error>,
    ) -> Result<String, CommandError> {
        Ok(match self {
            // Whatever a ledger's names hold: JSON and CSV are for programs, this is for eyes.
            Format::Table => lines(&table()).into_owned(),
            Format::Json => json().map_err(io::Error::from)?,
            Format::Csv => csv().map_err(io::Error::other)?,
        })
    }
}

/// Where a command's words go.
#[derive(Debug)]
pub struct Ui {
    quiet: bool,
}

impl Ui {
    pub fn new(quiet: bool) -> Self {
        Ui { quiet }
    }

    /// True where `--quiet` was given.
    pub fn quiet(&self) -> bool {
        self.quiet
    }

    /// True where the result goes to a terminal that may strike text through.
    pub fn strikes(&self) -> bool {
        let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_none_or(|term| term == "dumb");
        io::stdout().is_terminal() && !set("NO_COLOR") && !dumb
    }

    /// Writes the result, whole, to stdout, ending it with a line feed.
    pub fn result(&mut self, text: &str) -> Result<(), CommandError> {
        let mut out = io::stdout().lock();
        out.write_all(text.as_bytes())?;
        if !text.is_empty() && !text.ends_with('\n') {
            out.write_all(b"\n")?;
        }
        out.flush()?;
        Ok(())
    }

    /// Says something by the way, on stderr; silenced by `--quiet`.
    pub fn remark(&mut self, text: &str) {
        if !self.quiet {
            // A remark that cannot be written is not worth failing for.
            let _ = writeln!(io::stderr().lock(), "{}", lines(text));
        }
    }

    /// Tells a trouble on stderr, even when quiet.
    pub fn trouble(&mut self, trouble: &Trouble) {
        let _ = io::stderr().lock().write_all(lay_out(trouble).as_bytes());
    }

    /// Tells why a command stopped.
    pub fn complain(&mut self, error: &CommandError) {
        for trouble in &error.troubles {
            self.trouble(trouble);
        }
    }
}

/// Longest excerpt shown around the underlined bytes.
const EXCERPT_WIDTH: usize = 96;

/// Lays a trouble out: headline with place, the line with a caret, evidence, cure.
pub fn lay_out(trouble: &Trouble) -> String {
    let word = trouble.severity.word();
    let mut text = match &trouble.place {
        Some(Place {
            file,
            line: Some(n),
            ..
        }) => {
            format!("{word}: {file}:{n}: {}", trouble.what)
        }
        Some(Place {
            file, line: None, ..
        }) => format!("{word}: {file}: {}", trouble.what),
        None => format!("{word}: {}", trouble.what),
    };
    // Whatever stood in a file must not move the cursor or turn the line round.
    text = one_line(&text).into_owned() + "\n";
    if let Some(place) = &trouble.place {
        excerpt(place, &mut text);
    }
    for sentence in &trouble.evidence {
        for line in sentence.lines() {
            text.push_str(&format!("   {}\n", one_line(line)));
        }
    }
    for (n, cure) in trouble.cure.iter().enumerate() {
        let lead = if n == 0 { "help: " } else { "      " };
        text.push_str(&format!("   {lead}{}\n", one_line(cure)));
    }
    text
}

fn excerpt(place: &Place, text: &mut String) {
    let (Some(line), Some(whole)) = (place.line, &place.excerpt) else {
        return;
    };
    // Tabs and control characters would shift the caret.
    let shown: Vec<char> = whole
        .chars()
        .map(|c| if is_unruly(c) { ' ' } else { c })
        .collect();
    let (from, to) = match &place.span {
        Some(span) => {
            let chars_before =
                |byte: usize| whole.char_indices().take_while(|(i, _)| *i < byte).count();
            let from = chars_before(span.start).min(shown.len());
            (from, chars_before(span.end).clamp(from, shown.len()))
        }
        None => (0, 0),
    };
    let start = if shown.len() <= EXCERPT_WIDTH {
        0
    } else {
        from.saturating_sub(EXCERPT_WIDTH / 2)
            .min(shown.len() - EXCERPT_WIDTH)
    };
    let end = (start + EXCERPT_WIDTH).min(shown.len());
    let mut row: String = shown[start..end].iter().collect();
    let mut offset = from - start.min(from);
    if start > 0 {
        row = format!("… {row}");
        offset += 2;
    }
    if end < shown.len() {
        row.push_str(" …");
    }
    let gutter = line.to_string().len().max(5);
    text.push_str(&format!("{line:>gutter$} | {row}\n"));
    if place.span.is_some() {
        let carets = (to.min(end).saturating_sub(from)).max(1);
        text.push_str(&format!(
            "{:>gutter$} | {}{}\n",
            "",
            " ".repeat(offset),
            "^".repeat(carets)
        ));
    }
}
