//! From the text of a map to its tables: keys and domains first, then what refers to what.

use std::collections::HashMap;

use chrono::NaiveTime;
use chrono_tz::Tz;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fault::{Fault, MapFault, Walk};
use super::form::KEYS;
use super::{
    ColumnId, ColumnName, Condition, FileForm, Map, Meaning, Skip, Test, TimeForm, ValueTable,
    normal,
};
use crate::intake::import::dates::{Pattern, clock};
use crate::intake::import::encoding;
use crate::intake::import::figures::NumberForm;
use crate::quantity::walk::{At, Table, text_value, walk, wrong_type};
use crate::quantity::{Number, nearest};

/// Reads what can be read, and lists every fault.
pub(super) fn read(name: &str, text: &str) -> (Map, Vec<Fault>) {
    walk(text, |walk, document| {
        let reader = Reader {
            walk,
            columns: Vec::new(),
            tables: Vec::new(),
            patterns: Vec::new(),
        };
        reader.map(name, document)
    })
}

pub(super) struct Reader<'w, 't> {
    pub walk: &'w mut Walk<'t>,
    pub columns: Vec<At<ColumnName>>,
    pub tables: Vec<ValueTable>,
    pub patterns: Vec<Pattern>,
}

impl Reader<'_, '_> {
    fn map(mut self, name: &str, document: &DeTable<'_>) -> Map {
        let known = &[
            "file", "times", "tables", "skip", "common", "entry", "in_place",
        ];
        let top = Table::open(self.walk, document, 0..0, "the map", known);
        if top.raw("entry").is_none() {
            let table = "[[entry]]";
            self.walk.fault(0..0, MapFault::NoTable { table });
        }
        let times = self.times(&top);
        self.patterns.clone_from(&times.patterns);
        self.value_tables(&top);
        let file = self.file(&top);
        let skips = self.skips(&top);
        let common = self.common(&top);
        let entries = self.entries(&top, &common);
        let in_place = self.in_place(&top);
        self.check_values(&common, &entries);
        Map {
            name: name.to_owned(),
            text: String::new(),
            file,
            times,
            tables: self.tables,
            columns: self.columns,
            skips,
            entries,
            in_place,
        }
    }

    fn file(&mut self, top: &Table<'_, '_>) -> FileForm {
        let known = &[
            "sheet",
            "headings",
            "delimiter",
            "encoding",
            "decimal",
            "thousands",
            "fill_down",
            "newest_first",
        ];
        let mut form = FileForm {
            sheet: None,
            headings: At {
                value: 1,
                span: 0..0,
            },
            delimiter: b',',
            encoding: None,
            numbers: NumberForm::default(),
            fill_down: Vec::new(),
            newest_first: false,
            span: 0..0,
        };
        let Some(table) = top.table_if(self.walk, "file", "[file]", known) else {
            return form;
        };
        form.span = table.span.clone();
        form.headings.span = table.span.clone();
        form.sheet = table.text_if(self.walk, "sheet");
        if let Some(row) = table.whole_if(self.walk, "headings", 0) {
            let span = table.raw("headings").map_or(0..0, Spanned::span);
            form.headings = At { value: row, span };
        }
        if let Some(delimiter) = self.delimiter(&table) {
            form.delimiter = delimiter;
        }
        if let Some(name) = table.text_if(self.walk, "encoding") {
            form.encoding = encoding::by_name(&name.value);
            if form.encoding.is_none() {
                let nearest = nearest(&name.value, encoding::NAMES.iter().copied());
                let value = name.value;
                let fault = MapFault::UnknownEncoding { value, nearest };
                self.walk.fault(name.span, fault);
            }
        }
        if let Some(mark) = self.one_of(&table, "decimal", &[".", ","]) {
            form.numbers.decimal = mark;
        }
        form.numbers.thousands = self.one_of(&table, "thousands", &[".", ",", "'", "’", "_"]);
        if form.numbers.thousands == Some(form.numbers.decimal) {
            let span = table.raw("thousands").map_or(0..0, Spanned::span);
            let fault = MapFault::NotAWord {
                key: "thousands".to_owned(),
                value: form.numbers.decimal.to_string(),
                words: vec!["another mark than `decimal`"],
                nearest: None,
            };
            self.walk.fault(span, fault);
        }
        if let Some(value) = table.raw("fill_down") {
            form.fill_down = self.column_list("fill_down", value);
        }
        form.newest_first = table.flag_if(self.walk, "newest_first").unwrap_or_default();
        form
    }

    fn delimiter(&mut self, table: &Table<'_, '_>) -> Option<u8> {
        let value = table.raw("delimiter")?;
        let Some(text) = value.get_ref().as_str() else {
            wrong_type(self.walk, "delimiter", "a text in quotes", value);
            return None;
        };
        match text.as_bytes() {
            _ if text == "tab" => Some(b'\t'),
            [byte] if byte.is_ascii() && !byte.is_ascii_alphanumeric() && *byte != b'"' => {
                Some(*byte)
            }
            _ => {
                let fault = MapFault::NotAWord {
                    key: "delimiter".to_owned(),
                    value: text.to_owned(),
                    words: vec!["one sign such as ; or , or the word tab"],
                    nearest: None,
                };
                self.walk.fault(value.span(), fault);
                None
            }
        }
    }

    fn one_of(
        &mut self,
        table: &Table<'_, '_>,
        key: &'static str,
        marks: &[&'static str],
    ) -> Option<char> {
        let at = table.text_if(self.walk, key)?;
        if marks.contains(&at.value.as_str()) {
            return at.value.chars().next();
        }
        let fault = MapFault::NotAWord {
            key: key.to_owned(),
            value: at.value,
            words: marks.to_vec(),
            nearest: None,
        };
        self.walk.fault(at.span, fault);
        None
    }

    fn times(&mut self, top: &Table<'_, '_>) -> TimeForm {
        let noon = NaiveTime::from_hms_opt(12, 0, 0).unwrap_or_default();
        let mut form = TimeForm {
            zone: None,
            patterns: Vec::new(),
            time_of_day: noon,
        };
        let known = &["zone", "dates", "time_of_day"];
        let Some(table) = top.table_if(self.walk, "times", "[times]", known) else {
            return form;
        };
        if let Some(name) = table.text_if(self.walk, "zone") {
            form.zone = name.value.parse::<Tz>().ok();
            if form.zone.is_none() {
                let zones = chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name());
                let nearest = nearest(&name.value, zones).map(str::to_owned);
                let value = name.value;
                let fault = MapFault::UnknownZone { value, nearest };
                self.walk.fault(name.span, fault);
            }
        }
        for at in self.texts_or_one(&table, "dates") {
            match Pattern::parse(&at.value) {
                Ok(pattern) => form.patterns.push(pattern),
                Err(reason) => {
                    let value = at.value;
                    let fault = MapFault::BadPattern { value, reason };
                    self.walk.fault(at.span, fault);
                }
            }
        }
        if let Some(at) = table.text_if(self.walk, "time_of_day") {
            match clock(&at.value) {
                Some(time) => form.time_of_day = time,
                None => {
                    let value = at.value;
                    self.walk.fault(at.span, MapFault::BadClock { value });
                }
            }
        }
        form
    }

    /// A text, or a list of texts; none where the key is missing.
    pub(super) fn texts_or_one(
        &mut self,
        table: &Table<'_, '_>,
        key: &'static str,
    ) -> Vec<At<String>> {
        match table.raw(key).map(|value| value.get_ref()) {
            None => Vec::new(),
            Some(DeValue::Array(_)) => table.texts(self.walk, key),
            Some(_) => table.text_if(self.walk, key).into_iter().collect(),
        }
    }

    fn value_tables(&mut self, top: &Table<'_, '_>) {
        let Some(value) = top.raw("tables") else {
            return;
        };
        let Some(all) = value.get_ref().as_table() else {
            wrong_type(
                self.walk,
                "tables",
                "tables of values, [tables.NAME]",
                value,
            );
            return;
        };
        for (name, value) in all.iter() {
            let name = name.get_ref().to_string();
            let Some(table) = value.get_ref().as_table() else {
                wrong_type(self.walk, &name, "a table of values", value);
                continue;
            };
            let mut values = HashMap::new();
            for (text, meaning) in table.iter() {
                let span = text.span();
                let text = text.get_ref().to_string();
                let Some(meaning) = self.meaning(&text, meaning) else {
                    continue;
                };
                if values.insert(normal(&text), meaning).is_some() {
                    self.walk.fault(span, MapFault::ValueTwice { value: text });
                }
            }
            let line = self.walk.line(value.span().start);
            self.tables.push(ValueTable { name, line, values });
        }
    }

    fn meaning(&mut self, text: &str, value: &Spanned<DeValue<'_>>) -> Option<Meaning> {
        if let Some(values) = self.plain_values(value) {
            return Some(Meaning::Same(values));
        }
        let Some(table) = value.get_ref().as_table() else {
            let expected = "a value, a list of values, or a table such as { reason = \"failed\" }";
            wrong_type(self.walk, text, expected, value);
            return None;
        };
        let label = format!("`{text}`");
        let table = Table::open(self.walk, table, value.span(), &label, &KEYS);
        let mut by_key = Vec::new();
        for key in KEYS.iter() {
            let Some(value) = table.raw(key) else {
                continue;
            };
            match self.plain_values(value) {
                Some(values) => by_key.push((*key, values)),
                None => wrong_type(self.walk, key, "a value or a list of values", value),
            }
        }
        Some(Meaning::ByKey(by_key))
    }

    /// A value, or a list of values.
    fn plain_values(&mut self, value: &Spanned<DeValue<'_>>) -> Option<Vec<At<String>>> {
        match value.get_ref() {
            DeValue::Array(all) => all.iter().map(|item| self.plain(item)).collect(),
            _ => self.plain(value).map(|value| vec![value]),
        }
    }

    /// A text, number, flag or day as text; `None` for lists and tables.
    pub fn plain(&mut self, value: &Spanned<DeValue<'_>>) -> Option<At<String>> {
        let text = match value.get_ref() {
            DeValue::String(text) => text.trim().to_owned(),
            DeValue::Integer(whole) => whole.as_str().to_owned(),
            DeValue::Float(float) => match Number::parse(float.as_str()) {
                Some(number) => number.to_string(),
                None => float.as_str().to_owned(),
            },
            DeValue::Boolean(flag) => flag.to_string(),
            DeValue::Datetime(time) => time.to_string(),
            DeValue::Array(_) | DeValue::Table(_) => return None,
        };
        Some(At {
            value: text,
            span: value.span(),
        })
    }

    fn skips(&mut self, top: &Table<'_, '_>) -> Vec<Skip> {
        let mut skips = Vec::new();
        for table in top.tables(self.walk, "skip", "[[skip]]", &["when", "why"]) {
            table.must(self.walk, "when");
            let when = self.conditions(&table);
            let why = table.text_if(self.walk, "why");
            let why = why.map_or_else(|| "skipped".to_owned(), |at| at.value);
            skips.push(Skip { when, why });
        }
        skips
    }

    /// `when`: a condition, or a list of them.
    pub(super) fn conditions(&mut self, table: &Table<'_, '_>) -> Vec<Condition> {
        let Some(value) = table.raw("when") else {
            return Vec::new();
        };
        let items: Vec<&Spanned<DeValue<'_>>> = match value.get_ref() {
            DeValue::Array(all) => all.iter().collect(),
            _ => vec![value],
        };
        let conditions = items.into_iter().filter_map(|item| self.condition(item));
        conditions.collect()
    }

    fn condition(&mut self, value: &Spanned<DeValue<'_>>) -> Option<Condition> {
        let known = &["column", "is", "is_not", "holds", "begins", "empty"];
        let Some(table) = value.get_ref().as_table() else {
            let expected = "a condition such as { column = \"Status\", is = \"done\" }";
            wrong_type(self.walk, "when", expected, value);
            return None;
        };
        let table = Table::open(self.walk, table, value.span(), "`when`", known);
        table.must(self.walk, "column");
        let column = table.raw("column").and_then(|value| self.column(value));
        let mut tests = Vec::new();
        type Made = fn(Vec<String>) -> Test;
        let kinds: [(&'static str, Made); 4] = [
            ("is", Test::Is),
            ("is_not", Test::IsNot),
            ("holds", Test::Holds),
            ("begins", Test::Begins),
        ];
        for (key, test) in kinds {
            if let Some(value) = table.raw(key) {
                tests.push(test(self.words(key, value)));
            }
        }
        if let Some(empty) = table.flag_if(self.walk, "empty") {
            tests.push(Test::Empty(empty));
        }
        if tests.is_empty() && table.raw("empty").is_none() {
            self.walk.fault(value.span(), MapFault::NoTest);
        }
        let column = column?;
        Some(Condition { column, tests })
    }

    /// What a cell is compared with: a value or a list of them.
    fn words(&mut self, key: &str, value: &Spanned<DeValue<'_>>) -> Vec<String> {
        let items: Vec<&Spanned<DeValue<'_>>> = match value.get_ref() {
            DeValue::Array(all) => all.iter().collect(),
            _ => vec![value],
        };
        let mut words = Vec::new();
        for item in items {
            match self.plain(item) {
                Some(word) => words.push(normal(&word.value)),
                None => wrong_type(self.walk, key, "a value or a list of values", item),
            }
        }
        words
    }

    /// A column: its heading, or its number.
    pub fn column(&mut self, value: &Spanned<DeValue<'_>>) -> Option<ColumnId> {
        let name = match value.get_ref() {
            DeValue::Integer(whole) => {
                let number = whole.as_str().parse::<usize>().ok().filter(|n| *n >= 1);
                if number.is_none() {
                    let fault = MapFault::NotAWord {
                        key: "column".to_owned(),
                        value: whole.to_string(),
                        words: vec!["a heading, or a number from 1 on"],
                        nearest: None,
                    };
                    self.walk.fault(value.span(), fault);
                }
                ColumnName::Number(number?)
            }
            DeValue::String(_) => {
                ColumnName::Heading(text_value(self.walk, "column", value)?.value)
            }
            _ => {
                wrong_type(self.walk, "column", "a heading or a number", value);
                return None;
            }
        };
        let known = self.columns.iter().position(|at| at.value == name);
        Some(known.unwrap_or_else(|| {
            let span = value.span();
            self.columns.push(At { value: name, span });
            self.columns.len() - 1
        }))
    }

    pub fn column_list(&mut self, key: &str, value: &Spanned<DeValue<'_>>) -> Vec<ColumnId> {
        match value.get_ref() {
            DeValue::Array(all) if all.is_empty() => {
                let key = key.to_owned();
                let fault = crate::quantity::form_fault::FormFault::Empty { key };
                self.walk.fault(value.span(), fault);
                Vec::new()
            }
            DeValue::Array(all) => {
                let columns = all.iter().filter_map(|item| self.column(item));
                columns.collect()
            }
            _ => self.column(value).into_iter().collect(),
        }
    }
}
