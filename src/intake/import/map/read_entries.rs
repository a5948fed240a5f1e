//! `[common]`, `[[entry]]` and `[[in_place]]`: what a row makes, and what was there before.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fault::MapFault;
use super::form::{self, KEYS, KINDS};
use super::read::Reader;
use super::{EntryForm, InPlace, KeyForm};
use crate::book::{Age, Kind};
use crate::quantity::walk::{Table, wrong_type};
use crate::quantity::{Number, nearest};

impl Reader<'_, '_> {
    pub(super) fn common(&mut self, top: &Table<'_, '_>) -> Vec<KeyForm> {
        let Some(table) = top.table_if(self.walk, "common", "[common]", &KEYS) else {
            return Vec::new();
        };
        self.key_forms(&table, None)
    }

    pub(super) fn entries(&mut self, top: &Table<'_, '_>, common: &[KeyForm]) -> Vec<EntryForm> {
        let Some(value) = top.raw("entry") else {
            return Vec::new();
        };
        let Some(all) = value.get_ref().as_array() else {
            wrong_type(self.walk, "entry", "a list of tables, [[entry]]", value);
            return Vec::new();
        };
        let mut entries = Vec::new();
        for item in all.iter() {
            match item.get_ref().as_table() {
                Some(table) => entries.extend(self.entry(table, item.span(), common)),
                None => wrong_type(self.walk, "entry", "a table", item),
            }
        }
        entries
    }

    fn entry(
        &mut self,
        table: &DeTable<'_>,
        span: Range<usize>,
        common: &[KeyForm],
    ) -> Option<EntryForm> {
        let word = table.get("entry");
        let kind = word
            .and_then(|word| word.get_ref().as_str())
            .filter(|word| KINDS.contains(word))
            .and_then(Kind::from_word);
        // Keys are judged by the kind; where that is not known, by all kinds.
        let mut known: Vec<&'static str> = vec!["entry", "when"];
        match kind {
            Some(kind) => known.extend(form::keys_of(kind)),
            None => known.extend(KEYS.iter()),
        }
        let line = self.walk.line(span.start);
        let table = Table::open(self.walk, table, span.clone(), "[[entry]]", &known);
        let word = table.text(self.walk, "entry");
        if let (None, Some(word)) = (kind, word) {
            let nearest = nearest(&word.value, KINDS.iter().copied());
            let value = word.value;
            let known = KINDS.to_vec();
            let fault = MapFault::UnknownKind {
                value,
                nearest,
                known,
            };
            self.walk.fault(word.span, fault);
        }
        let when = self.conditions(&table);
        let mut keys = self.key_forms(&table, kind);
        let kind = kind?;
        for key in form::keys_of(kind) {
            let own = table.raw(key).is_some();
            if let Some(shared) = common.iter().find(|form| form.key == key && !own) {
                keys.push(shared.clone());
            }
        }
        for key in form::needed(kind) {
            let there = table.raw(key).is_some() || keys.iter().any(|form| form.key == key);
            if !there {
                let kind = kind.word();
                let fault = MapFault::KeyNeeded { kind, key };
                self.walk.fault(span.clone(), fault);
            }
        }
        Some(EntryForm {
            kind,
            line,
            when,
            keys,
        })
    }

    pub(super) fn in_place(&mut self, top: &Table<'_, '_>) -> Vec<InPlace> {
        let known = &["component", "age", "since"];
        let mut all = Vec::new();
        for table in top.tables(self.walk, "in_place", "[[in_place]]", known) {
            let components = self.texts_or_one(&table, "component");
            table.must(self.walk, "age");
            let age = table.raw("age").and_then(|value| self.age(value));
            let since = match table.raw("since") {
                Some(_) => table.day(self.walk, "since"),
                None => None,
            };
            let Some(age) = age else { continue };
            all.push(InPlace {
                components,
                age,
                since,
            });
        }
        all
    }

    fn age(&mut self, value: &Spanned<DeValue<'_>>) -> Option<Age> {
        let at = self.plain(value);
        let age = at.as_ref().and_then(|at| match at.value.as_str() {
            "unknown" => Some(Age::Unknown),
            "new" => Some(Age::New),
            number => {
                let number = Number::parse(number).filter(|n| n.get() >= 0.0);
                number.map(Age::Known)
            }
        });
        if age.is_none() {
            let value_text = at.map_or_else(|| "a list".to_owned(), |at| at.value);
            let fault = MapFault::BadConstant {
                key: "age",
                value: value_text,
                expected: "\"unknown\", \"new\" or a usage",
            };
            self.walk.fault(value.span(), fault);
        }
        age
    }
}
