//! An entry on its way from a sheet: its keys in the form of JSON, each with its cell.

use super::{COMPONENT, POSITION, Row};

/// Line of the file, and column of the sheet.
type Spot = (u64, Option<usize>);

#[derive(Debug)]
pub(super) struct Draft {
    kind: &'static str,
    /// The row it is of.
    pub(super) line: u64,
    keys: Vec<(&'static str, String, Spot)>,
}

impl Draft {
    pub(super) fn of(kind: &'static str, line: u64) -> Draft {
        Draft {
            kind,
            line,
            keys: Vec::new(),
        }
    }

    /// Whether something took the place of an item.
    pub(super) fn is_renewal(&self) -> bool {
        self.kind == "replaced"
    }

    /// Readings of a meter first, then what was looked at and measured, then renewals.
    pub(super) fn turn(&self) -> u8 {
        match self.kind {
            "reading" => 0,
            "inspected" | "measured" => 1,
            _ => 2,
        }
    }

    /// Sets a key to a text; the first setting stands.
    pub(super) fn text_at(&mut self, key: &'static str, text: &str, spot: Spot) {
        // A text always has a JSON form.
        let json = serde_json::to_string(text).unwrap_or_default();
        self.set(key, json, spot);
    }

    /// The same with a number, checked already.
    pub(super) fn number_at(&mut self, key: &'static str, number: &str, spot: Spot) {
        self.set(key, number.to_owned(), spot);
    }

    /// Sets a key to what stands in no cell.
    pub(super) fn word(&mut self, key: &'static str, word: &str) {
        self.text_at(key, word, (self.line, None));
    }

    /// Sets a key to a cell of a row, where that is filled.
    pub(super) fn cell(&mut self, key: &'static str, row: &Row, which: usize) {
        if let Some(text) = row.get(which) {
            self.text_at(key, text, (row.line, Some(which)));
        }
    }

    pub(super) fn slot(&mut self, row: &Row) {
        self.cell("component", row, COMPONENT);
        self.cell("position", row, POSITION);
    }

    fn set(&mut self, key: &'static str, json: String, spot: Spot) {
        if self.keys.iter().all(|(other, ..)| *other != key) {
            self.keys.push((key, json, spot));
        }
    }

    pub(super) fn keys(&self) -> impl Iterator<Item = &'static str> {
        self.keys.iter().map(|(key, ..)| *key)
    }

    /// The cell a key was set from; its row where it was not.
    pub(super) fn place(&self, key: &str) -> Spot {
        let found = self.keys.iter().find(|(other, ..)| *other == key);
        found.map_or((self.line, None), |(_, _, spot)| *spot)
    }

    /// The entry as a line given for recording.
    pub(super) fn text(&self) -> String {
        let mut text = format!("{{\"entry\":\"{}\"", self.kind);
        for (key, json, _) in &self.keys {
            text.push_str(&format!(",\"{key}\":{json}"));
        }
        text.push('}');
        text
    }
}
