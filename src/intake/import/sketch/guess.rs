//! Which key each column seems to give, which entries that makes, and what the values of
//! its columns seem to mean.
//!
//! In: a [`Profile`], its forms, and the register where one is at hand. Out: guesses, each
//! with its reason. Never: a guess without one.

use super::forms::{Forms, Holds};
use super::look::{Column, Profile};
use super::names::{Fit, Name, fit, names};
use super::words::{CANCELLED, DONE, HEADINGS, STATUS, meaning, weight, words};
use crate::book::{Finding, JobKind, Reason};
use crate::intake::import::cell::Row;
use crate::intake::import::map::normal;
use crate::quantity::Unit;
use crate::register::Register;

/// Values of a column that are listed in a table.
const LISTED: usize = 60;

/// A key and the column it seems to come from.
#[derive(Debug)]
pub(super) struct Guess {
    pub key: &'static str,
    /// Place among the profile's columns.
    pub column: usize,
    pub why: String,
    pub table: bool,
    pub split: Option<char>,
}

/// A value and what it seems to mean: the right side of a line of TOML.
#[derive(Debug)]
pub(super) struct Line {
    pub value: String,
    pub rows: u64,
    pub meaning: Option<String>,
    pub why: String,
}

/// A table of values to write.
#[derive(Debug)]
pub(super) struct TableSketch {
    /// The key that asks it, which is its name.
    pub name: &'static str,
    pub lines: Vec<Line>,
    pub more: bool,
}

/// A number measured on an item: a column with a unit in its heading.
#[derive(Debug)]
pub(super) struct Measure {
    pub column: usize,
    pub quantity: Option<String>,
    pub component: Option<String>,
    pub unit: String,
}

/// Kinds of entry, each with the values that tell it.
pub(super) type Kinds = Vec<(&'static str, Vec<String>)>;

#[derive(Debug, Default)]
pub(super) struct Guesses {
    pub keys: Vec<Guess>,
    pub tables: Vec<TableSketch>,
    pub measures: Vec<Measure>,
    /// The column that says what was done; values by kind of entry.
    pub done: Option<(usize, Kinds)>,
    /// Column and values of rows that do not count, and why.
    pub skips: Vec<(usize, Vec<String>, &'static str)>,
    pub fill_down: Vec<usize>,
}

impl Guesses {
    pub fn key(&self, key: &str) -> Option<&Guess> {
        self.keys.iter().find(|guess| guess.key == key)
    }
}

pub(super) struct Guesser<'a> {
    pub profile: &'a Profile,
    pub forms: &'a Forms,
    pub register: Option<&'a Register>,
}

impl Guesser<'_> {
    pub fn all(&self) -> Guesses {
        let mut guesses = Guesses::default();
        self.skips(&mut guesses);
        self.measures(&mut guesses);
        self.done(&mut guesses);
        self.keys(&mut guesses);
        // Where a column says what was done, the one of what was found may say why as well.
        let found = guesses.key("finding").map(|guess| guess.column);
        if let (Some(column), true, None) = (found, guesses.done.is_some(), guesses.key("reason")) {
            guesses.keys.push(Guess {
                key: "reason",
                column,
                why: "CHECK: what was found may say why".to_owned(),
                table: true,
                split: None,
            });
        }
        let columns = &self.profile.columns;
        guesses.fill_down = (0..columns.len())
            .filter(|n| columns[*n].once_for_many)
            .filter(|n| {
                guesses
                    .keys
                    .iter()
                    .any(|g| g.column == *n && g.key == "machine")
            })
            .collect();
        self.tables(&mut guesses);
        guesses
    }

    fn columns(&self) -> impl Iterator<Item = (usize, &Column)> {
        self.profile.columns.iter().enumerate()
    }

    fn skips(&self, guesses: &mut Guesses) {
        for (n, column) in self.columns() {
            let heading = words(&column.heading);
            let values = |signs: &[&str]| -> Vec<String> {
                let fits = |text: &str| signs.iter().any(|s| weight(&words(text), s) > 0);
                let fitting = column.values.iter().filter(|(text, _)| fits(text));
                fitting.map(|(text, _)| text.clone()).collect()
            };
            if STATUS.iter().any(|sign| weight(&heading, sign) > 0) {
                let found = values(CANCELLED);
                if !found.is_empty() {
                    guesses.skips.push((n, found, "cancelled"));
                }
            }
            let found = values(&["total", "sum"]);
            if n == 0 && !found.is_empty() {
                guesses.skips.push((n, found, "total"));
            }
        }
    }

    /// Columns of numbers whose heading has a unit and is about an item, not about time.
    fn measures(&self, guesses: &mut Guesses) {
        for (n, column) in self.columns() {
            let unit = column.heading.rsplit_once('(').and_then(|(_, rest)| {
                let unit = rest.strip_suffix(')')?.trim();
                Unit::parse(unit).map(|_| unit.to_owned())
            });
            let (Some(unit), true) = (unit, self.forms.holds[n] == Holds::Numbers) else {
                continue;
            };
            if Unit::parse(&unit)
                .is_some_and(|u| u.dimension() == crate::quantity::Dimension::Duration)
            {
                continue;
            }
            let heading = words(&column.heading);
            let quantities = names(self.register, "quantity");
            let named = |all: &[Name]| -> Option<String> {
                let fits = |name: &&Name| weight(&heading, &name.id) > 0;
                all.iter().find(fits).map(|name| name.id.clone())
            };
            let component = named(&names(self.register, "component"));
            let of_component = |id: &String| -> Option<String> {
                let unit = Unit::parse(&unit)?;
                let mut fitting = self
                    .register?
                    .measurements
                    .iter()
                    .filter(|m| m.component == *id && m.unit.dimension() == unit.dimension());
                fitting.next().map(|m| m.quantity.clone())
            };
            guesses.measures.push(Measure {
                column: n,
                quantity: named(&quantities).or_else(|| component.as_ref().and_then(of_component)),
                component,
                unit,
            });
        }
    }

    fn done(&self, guesses: &mut Guesses) {
        let mut best: Option<(u64, usize, Kinds)> = None;
        for (n, column) in self.columns() {
            let heading = words(&column.heading);
            if !DONE.iter().any(|sign| weight(&heading, sign) > 0) {
                continue;
            }
            let mut kinds: Kinds = Vec::new();
            let mut rows = 0;
            for (text, count) in &column.values {
                let Some((kind, _)) = meaning("entry", text) else {
                    continue;
                };
                rows += count;
                match kinds.iter_mut().find(|(known, _)| *known == kind) {
                    Some((_, texts)) => texts.push(text.clone()),
                    None => kinds.push((kind, vec![text.clone()])),
                }
            }
            let enough = rows * 2 >= column.filled && rows > 0;
            if enough && best.as_ref().is_none_or(|(most, _, _)| rows > *most) {
                best = Some((rows, n, kinds));
            }
        }
        guesses.done = best.map(|(_, n, kinds)| (n, kinds));
    }

    /// Gives each key the column that speaks most for it.
    fn keys(&self, guesses: &mut Guesses) {
        let mut all: Vec<(f64, Guess)> = Vec::new();
        let taken = |n: usize| guesses.measures.iter().any(|m| m.column == n);
        let done = guesses.done.as_ref().map(|(n, _)| *n);
        for (n, column) in self.columns() {
            if taken(n) || Some(n) == done || column.filled == 0 {
                continue;
            }
            for (key, holds, phrases) in HEADINGS {
                if let Some(found) = self.score(key, *holds, phrases, n, column) {
                    all.push(found);
                }
            }
        }
        all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.column.cmp(&b.1.column)));
        for (_, guess) in all {
            let key_taken = guesses.keys.iter().any(|g| g.key == guess.key);
            // A day may be the time of one entry and the start of another.
            let shared = |key: &str| matches!(key, "time" | "start");
            let column_taken = guesses
                .keys
                .iter()
                .any(|g| g.column == guess.column && !(shared(g.key) && shared(guess.key)));
            if !key_taken && !column_taken {
                guesses.keys.push(guess);
            }
        }
    }

    fn score(
        &self,
        key: &'static str,
        holds: Holds,
        phrases: &[&str],
        n: usize,
        column: &Column,
    ) -> Option<(f64, Guess)> {
        let held = self.forms.holds[n];
        // Names may be written as numbers.
        let fits = held == holds || (holds == Holds::Texts && held == Holds::Numbers);
        if !fits {
            return None;
        }
        let heading = words(&column.heading);
        let weights = phrases.iter().map(|phrase| weight(&heading, phrase));
        let by_heading = weights.max().unwrap_or(0);
        let known = names(self.register, key);
        let (mut rows, mut count, mut split) = (0, 0, None);
        let counted = |split: Option<char>| -> (u64, usize) {
            let fits = |text: &str| pieces(text, split).all(|p| self.means(key, &known, p));
            let fitting = column.values.iter().filter(|(text, _)| fits(text));
            fitting.fold((0, 0), |(rows, n), (_, more)| (rows + more, n + 1))
        };
        for mark in [None, Some('+'), Some(','), Some('/'), Some('&'), Some(';')] {
            let found = counted(mark);
            if found.0 > rows && (mark.is_none() || key == "position") {
                (rows, count) = found;
                split = mark;
            }
        }
        let share = rows as f64 / column.filled as f64;
        let by_values = if share >= 0.5 { 4.0 * share } else { 0.0 };
        if by_heading == 0 && (by_values < 3.0 || known.is_empty()) {
            return None;
        }
        // A number in a column that should hold names needs more than its heading.
        if held != holds && by_values == 0.0 {
            return None;
        }
        let mut reasons = Vec::new();
        if by_heading > 0 {
            reasons.push("its heading".to_owned());
        }
        if by_values > 0.0 {
            let of = column.values.len();
            let more = if column.more { " or more" } else { "" };
            let what = match known.is_empty() {
                true => "usual words",
                false => "names of the register, or like them",
            };
            reasons.push(format!("{count} of its {of}{more} values are {what}"));
        } else if matches!(key, "time" | "start" | "stop") {
            reasons.push("it holds days".to_owned());
        }
        let score = by_values + 1.5 * by_heading as f64 - 0.01 * n as f64;
        Some((
            score,
            Guess {
                key,
                column: n,
                why: reasons.join("; "),
                table: self.needs_table(key, &known, column, split),
                split,
            },
        ))
    }

    /// Whether a value means something for a key.
    fn means(&self, key: &str, known: &[Name], text: &str) -> bool {
        match key {
            "reason" => {
                meaning(key, text).is_some() || fit(text, &names(self.register, "mode")).is_some()
            }
            "finding" | "kind" => meaning(key, text).is_some(),
            _ => fit(text, known).is_some(),
        }
    }

    /// Whether some values must be translated.
    fn needs_table(&self, key: &str, known: &[Name], column: &Column, split: Option<char>) -> bool {
        let words: &[&str] = match key {
            "reason" => Reason::WORDS,
            "finding" => Finding::WORDS,
            "kind" => JobKind::WORDS,
            "machine" | "component" | "position" | "part" | "mode" | "meter" | "quantity"
                if !known.is_empty() =>
            {
                let exact = |text: &str| matches!(fit(text, known), Some((_, Fit::Exact)));
                let all = |text: &str| pieces(text, split).all(exact);
                return column.more || !column.values.iter().all(|(text, _)| all(text));
            }
            _ => return false,
        };
        let all = |text: &str| words.contains(&text.to_lowercase().as_str());
        !column.values.iter().all(|(text, _)| all(text))
    }

    fn tables(&self, guesses: &mut Guesses) {
        for guess in guesses.keys.iter().filter(|guess| guess.table) {
            let column = &self.profile.columns[guess.column];
            let known = names(self.register, guess.key);
            let mut lines: Vec<Line> = Vec::new();
            for (text, rows) in &column.values {
                for piece in pieces(text, guess.split) {
                    let same = |line: &&mut Line| line.value.eq_ignore_ascii_case(piece);
                    match lines.iter_mut().find(same) {
                        Some(line) => line.rows += rows,
                        None => lines.push(self.line(guess.key, &known, piece, *rows)),
                    }
                }
            }
            if guess.key == "component" {
                self.by_part(guesses.key("part"), guess.column, &mut lines);
            }
            lines.sort_by(|a, b| b.rows.cmp(&a.rows).then_with(|| a.value.cmp(&b.value)));
            let more = column.more || lines.len() > LISTED;
            lines.truncate(LISTED);
            guesses.tables.push(TableSketch {
                name: guess.key,
                lines,
                more,
            });
        }
    }

    /// Values without a meaning, where the part numbers beside them tell the component.
    fn by_part(&self, part: Option<&Guess>, column: usize, lines: &mut [Line]) {
        let (Some(part), Some(register)) = (part, self.register) else {
            return;
        };
        let place = |column: usize| self.profile.columns[column].number - 1;
        for line in lines.iter_mut().filter(|line| line.meaning.is_none()) {
            let same =
                |row: &&Row| normal(&row.cell(place(column)).text('.')) == normal(&line.value);
            let rows = self.profile.under.iter().filter(same);
            let mut of: Vec<&str> = rows
                .filter_map(|row| register.part(&row.cell(place(part.column)).text('.')))
                .map(|part| part.component.as_str())
                .collect();
            of.dedup();
            if let [one] = of[..] {
                line.meaning = Some(super::write::quoted(one));
                line.why = "CHECK: the part numbers beside it are all of this".to_owned();
            }
        }
    }

    fn line(&self, key: &str, known: &[Name], value: &str, rows: u64) -> Line {
        let quoted = super::write::quoted;
        let (meaning, why) = match key {
            "reason" => {
                let modes = names(self.register, "mode");
                match (fit(value, &modes), meaning(key, value)) {
                    (Some((mode, _)), _) => (
                        Some(format!(
                            "{{ reason = \"failed\", mode = {}, found = \"running\" }}",
                            quoted(mode)
                        )),
                        format!("CHECK: sounds like the failure mode {mode}"),
                    ),
                    (None, Some(("failed", sign))) => (
                        Some("{ reason = \"failed\", found = \"running\" }".to_owned()),
                        format!("CHECK: by the word {sign}"),
                    ),
                    (None, Some(("worn", sign))) => (
                        Some("{ reason = \"worn\", found = \"inspection\" }".to_owned()),
                        format!("CHECK: by the word {sign}"),
                    ),
                    (None, Some((word, sign))) => (
                        Some(format!("{{ reason = {} }}", quoted(word))),
                        format!("CHECK: by the word {sign}"),
                    ),
                    (None, None) => (None, String::new()),
                }
            }
            "finding" | "kind" => match meaning(key, value) {
                Some((word, sign)) => (Some(quoted(word)), format!("CHECK: by the word {sign}")),
                None => (None, String::new()),
            },
            _ => match fit(value, known) {
                Some((id, fit)) => (Some(quoted(id)), fit.why().to_owned()),
                None => (None, String::new()),
            },
        };
        Line {
            value: value.to_owned(),
            rows,
            meaning,
            why,
        }
    }
}

/// The pieces of a value.
fn pieces(text: &str, split: Option<char>) -> impl Iterator<Item = &str> {
    let marks = move |c: char| Some(c) == split;
    text.split(marks)
        .map(str::trim)
        .filter(|piece| !piece.is_empty())
}
