//! From a row to the entries it makes: which of the map's entries it is for, and the
//! keys of each, checked as a line given for recording is.
//!
//! In: a row, a map bound to its file, a register. Out: entries, or every reason against
//! the row. Never: what other rows or the ledger say.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::cell::{Cell, Row};
use super::map::{Condition, EntryForm, From, KeyForm, Map, Places, Test, normal};
use super::reject::Rejection;
use super::value::{Given, Miss, Spot};
use crate::book::{Entry, LineFault, LineFaultKind, Sha, Source, parse_given_line};
use crate::register::Register;

/// Makes entries of rows.
pub struct Maker<'a> {
    pub map: &'a Map,
    pub places: &'a Places,
    pub register: &'a Register,
    /// Name of the file in the `source` of entries.
    pub source: &'a str,
    /// Time zone of the file.
    pub zone: Tz,
    /// Who is taken to have recorded what names nobody.
    pub who: Option<&'a str>,
    pub now: DateTime<Utc>,
    /// Whether cells beyond the headings are a slip.
    pub moves_cells: bool,
}

/// What became of a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Made {
    /// Passed over, by which of the map's [`super::map::Skip`]s.
    Skipped(usize),
    /// In the order of time; each with its place among the map's `[[entry]]`s.
    Entries(Vec<(usize, Entry)>),
    Rejected(Vec<Rejection>),
}

/// A value that a table of the map does not know.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Unknown {
    /// Place of the table in the map.
    pub table: usize,
    /// Column of the file, from 0.
    pub place: usize,
    pub value: String,
}

impl Maker<'_> {
    /// What a row makes. `raw` is the row as the file has it, `row` the same with empty
    /// cells filled from above where the map says so; values that no table knows are
    /// added to `unknown`.
    pub fn make(&self, raw: &Row, row: &Row, unknown: &mut Vec<Unknown>) -> Made {
        let holds = |when: &[Condition]| when.iter().all(|c| self.holds(c, row));
        let skip = self.map.skips.iter().position(|skip| holds(&skip.when));
        if let Some(skip) = skip {
            return Made::Skipped(skip);
        }
        let mut rejections = Vec::new();
        if let Some(beyond) = self.beyond(row) {
            rejections.push(beyond);
            return Made::Rejected(rejections);
        }
        let digest = digest(raw);
        let (mut entries, mut any) = (Vec::new(), false);
        for (n, form) in self.map.entries.iter().enumerate() {
            if !holds(&form.when) {
                continue;
            }
            any = true;
            match self.entries(form, row, unknown) {
                Ok(made) => entries.extend(made.into_iter().map(|entry| (n, entry))),
                Err(against) => {
                    for rejection in against {
                        // Entries that share a column share its faults.
                        if !rejections.contains(&rejection) {
                            rejections.push(rejection);
                        }
                    }
                }
            }
        }
        if !any {
            rejections.push(self.against(
                row,
                None,
                "import-no-entry",
                "no [[entry]] of the map takes this row",
                ["widen the `when` of an [[entry]], or pass such rows over with a [[skip]]"],
            ));
        }
        if !rejections.is_empty() {
            return Made::Rejected(rejections);
        }
        for (_, entry) in &mut entries {
            entry.source = Some(Source {
                file: self.source.to_owned(),
                row: row.number,
                digest: digest.clone(),
            });
        }
        entries.sort_by_key(|(_, entry)| entry.time);
        Made::Entries(entries)
    }

    fn holds(&self, condition: &Condition, row: &Row) -> bool {
        let cell = row.cell(self.places.of(condition.column));
        let text = normal(&self.text(cell));
        condition.tests.iter().all(|test| match test {
            Test::Is(words) => words.contains(&text),
            Test::IsNot(words) => !words.contains(&text),
            Test::Holds(words) => words.iter().any(|word| text.contains(word.as_str())),
            Test::Begins(words) => words.iter().any(|word| text.starts_with(word.as_str())),
            Test::Empty(empty) => text.is_empty() == *empty,
        })
    }

    pub(super) fn text(&self, cell: &Cell) -> String {
        cell.text(self.map.file.numbers.decimal).into_owned()
    }

    /// Cells beyond the last heading: a delimiter too many has moved the row's cells.
    fn beyond(&self, row: &Row) -> Option<Rejection> {
        let width = self.places.width();
        if !self.moves_cells || width == 0 || row.cells.len() <= width {
            return None;
        }
        let place = (width..row.cells.len()).find(|place| !row.cell(*place).is_empty())?;
        let reason = format!("cells beyond the last of {width} headings");
        let cure = "put a cell that holds the delimiter in double quotes";
        let rejection = self.against(row, Some(place), "import-cells-beyond", reason, [cure]);
        Some(Rejection {
            column: None,
            ..rejection
        })
    }

    /// A reason against a row; the value is that of the cell.
    pub(super) fn against<const N: usize>(
        &self,
        row: &Row,
        place: Option<usize>,
        kind: &'static str,
        reason: impl Into<String>,
        cure: [&str; N],
    ) -> Rejection {
        Rejection {
            row: row.number,
            place,
            column: place.map(|place| self.places.heading(place)),
            value: place.map_or(String::new(), |place| self.text(row.cell(place))),
            kind,
            reason: reason.into(),
            evidence: Vec::new(),
            cure: cure.iter().map(|text| (*text).to_owned()).collect(),
        }
    }

    /// The column a key is filled from, where it is one of the file's.
    pub(super) fn place_of(&self, form: &KeyForm) -> Option<usize> {
        match &form.from {
            From::Constant(_) => None,
            From::Columns(columns) => columns.first().map(|column| self.places.of(*column)),
        }
    }

    /// The entries of one form: one, or one for each piece of the key that is split.
    fn entries(
        &self,
        form: &EntryForm,
        row: &Row,
        unknown: &mut Vec<Unknown>,
    ) -> Result<Vec<Entry>, Vec<Rejection>> {
        let mut given: Vec<Given> = Vec::with_capacity(form.keys.len());
        let mut rejections = Vec::new();
        // Names first: they say in which unit numbers are.
        let numbers = |key: &KeyForm| super::map::key_type(key.key) == super::map::KeyType::Number;
        let (late, early): (Vec<_>, Vec<_>) = form.keys.iter().partition(|key| numbers(key));
        for key in early.into_iter().chain(late) {
            let spot = Spot {
                entry: form,
                form: key,
                row,
                before: &given,
            };
            match self.given(spot) {
                Ok(value) => given.extend(value),
                Err(Miss { rejection, value }) => {
                    unknown.extend(value);
                    rejections.push(*rejection);
                }
            }
        }
        // A line recorded by hand may leave its time out: it happens now. A row did not.
        if rejections.is_empty() && !given.iter().any(|given| given.key == "time") {
            let fault = LineFault {
                kind: LineFaultKind::MissingKey {
                    entry: form.kind.word(),
                    key: "time",
                },
                span: 0..0,
            };
            rejections.push(self.fault(form, row, &fault));
        }
        let several: Vec<&Given> = given.iter().filter(|g| g.values.len() > 1).collect();
        if let [first, second, ..] = several[..] {
            let place = form.key(second.key).and_then(|key| self.place_of(key));
            let reason = format!("several values, and `{}` has several as well", first.key);
            let cure = "which goes with which is not known: write one row for each";
            rejections.push(self.against(row, place, "import-two-lists", reason, [cure]));
            return Err(rejections);
        }
        let lines = lines(form, &given);
        let mut entries = Vec::with_capacity(lines.len());
        for line in &lines {
            match parse_given_line(line.as_bytes(), self.zone, self.now, self.who) {
                Ok(entry) => entries.push(entry),
                Err(faults) => {
                    for fault in faults {
                        let key = fault.kind.key();
                        // What could not be read is missing for that reason.
                        let told = rejections.iter().any(|other: &Rejection| {
                            let place = key.and_then(|key| self.place_of(form.key(key)?));
                            place.is_some() && other.place == place
                        });
                        if !told {
                            rejections.push(self.fault(form, row, &fault));
                        }
                    }
                }
            }
        }
        if rejections.is_empty() {
            Ok(entries)
        } else {
            Err(rejections)
        }
    }

    /// A fault of the line that a row was turned into, told of the row's cell.
    fn fault(&self, form: &EntryForm, row: &Row, fault: &LineFault) -> Rejection {
        let key = fault.kind.key().unwrap_or_default();
        let place = form.key(key).and_then(|key| self.place_of(key));
        let kind = fault.kind.name();
        let map = |what: String| format!("{what} in [[entry]], {}:{}", self.map.name, form.line);
        match &fault.kind {
            LineFaultKind::MissingKey { entry, key } if *key == "who" && place.is_none() => {
                let cure = ["name yourself with --who NAME, or give `who` in the map"];
                let reason = format!("it is not known who recorded this `{entry}`");
                self.against(row, place, kind, reason, cure)
            }
            LineFaultKind::MissingKey { entry, key } => {
                let reason = match key {
                    &"found" => {
                        "what failed or was worn needs `found`: running or inspection".to_owned()
                    }
                    _ if place.is_some() => format!("empty, and a `{entry}` needs `{key}`"),
                    _ => format!("a `{entry}` needs `{key}`"),
                };
                let cure = match place {
                    Some(_) => "fill it in, or give `if_empty`".to_owned(),
                    None => map(format!("give `{key}`")),
                };
                self.against(row, place, kind, reason, [&cure])
            }
            LineFaultKind::NotAWord { .. } => {
                let near = fault.kind.cure();
                let mut rejection = self.against(row, place, kind, fault.kind.to_string(), []);
                rejection.cure.extend(near);
                let table = "give its column a table of values";
                rejection.cure.push(map(table.to_owned()));
                rejection
            }
            other => {
                let mut rejection = self.against(row, place, kind, other.to_string(), []);
                rejection.cure.extend(other.cure());
                rejection
            }
        }
    }
}

/// The lines that the keys make: one, or one for each piece.
fn lines(form: &EntryForm, given: &[Given]) -> Vec<String> {
    let pieces = given.iter().map(|g| g.values.len()).max().unwrap_or(1);
    let line = |piece: usize| {
        let mut line = format!("{{\"entry\":\"{}\"", form.kind.word());
        for value in given {
            let json = value.values.get(piece).or(value.values.first());
            if let Some(json) = json {
                line.push_str(",\"");
                line.push_str(value.key);
                line.push_str("\":");
                line.push_str(json);
            }
        }
        line.push('}');
        line
    };
    (0..pieces.max(1)).map(line).collect()
}

/// The digest of what a row holds: 12 hex digits of the SHA-256 of its cells, joined by
/// the unit separator. Blank cells at its end do not count.
fn digest(row: &Row) -> String {
    let end = row.cells.iter().rposition(|cell| !cell.is_empty());
    let cells = &row.cells[..end.map_or(0, |end| end + 1)];
    let mut text = String::new();
    for (n, cell) in cells.iter().enumerate() {
        if n > 0 {
            text.push('\u{1f}');
        }
        text.push_str(&cell.text('.'));
    }
    Sha::of(text.as_bytes()).short()
}
