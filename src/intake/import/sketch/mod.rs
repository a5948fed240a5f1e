//! A first map for a file, from its headings and values.
//!
//! In: a file, and the register of a ledger where one is at hand. Out: a commented map, to
//! be looked at line by line. Never: a guess without its reason.

mod forms;
mod guess;
mod look;
mod names;
mod words;
mod write;
mod write_entries;

use std::path::Path;

use super::dates::{Pattern, Reading};
use super::sheet::SheetError;
use crate::register::Register;
use forms::{Forms, forms};
use guess::Guesser;
use look::look;
use write::Writer;

/// Sketches a map; the text of it.
///
/// Errors: the file cannot be read, or is of no kind known.
pub fn sketch(path: &Path, register: Option<&Register>) -> Result<String, SheetError> {
    let profile = look(path)?;
    let forms = forms(&profile.columns);
    let guesser = Guesser {
        profile: &profile,
        forms: &forms,
        register,
    };
    let guesses = guesser.all();
    let writer = Writer {
        profile: &profile,
        forms: &forms,
        guesses: &guesses,
        register,
    };
    Ok(writer.text())
}

/// A day of the file as text that sorts by time.
fn moment(text: &str, forms: &Forms) -> String {
    let patterns = forms.dates.iter();
    let mut patterns = patterns.filter_map(|found| Pattern::parse(&found.value).ok());
    let read = patterns.find_map(|pattern| match pattern.read(text) {
        Reading::At((day, time)) => Some(format!("{day} {}", time.unwrap_or_default())),
        _ => None,
    });
    // Days of a workbook, and those of ISO 8601, sort by themselves.
    read.unwrap_or_else(|| text.to_owned())
}
