//! How keys are filled, and whether what the map itself states can stand: constants and
//! the values of its tables, each blamed on its own line.

use std::collections::HashSet;

use toml::Spanned;
use toml::de::DeValue;

use super::fault::MapFault;
use super::form::{self, Kept, KeyType, key_type};
use super::read::Reader;
use super::{EntryForm, From, KeyForm, Map};
use crate::book::Kind;
use crate::intake::import::times::read_constant;
use crate::quantity::walk::{At, Table, wrong_type};
use crate::quantity::{Number, Unit, nearest};
use crate::register::Register;

impl Reader<'_, '_> {
    /// How each key of a table is filled.
    pub(super) fn key_forms(&mut self, table: &Table<'_, '_>, kind: Option<Kind>) -> Vec<KeyForm> {
        let keys: Vec<&'static str> = match kind {
            Some(kind) => form::keys_of(kind).collect(),
            None => form::KEYS.clone(),
        };
        let mut forms: Vec<KeyForm> = Vec::new();
        for key in keys {
            let Some(value) = table.raw(key) else {
                continue;
            };
            let Some(form) = self.key_form(key, kind, value) else {
                continue;
            };
            let first = forms.iter().find(|other| other.split.is_some());
            if let (Some(first), true) = (first, form.split.is_some()) {
                let first = first.key;
                self.walk
                    .fault(value.span(), MapFault::SplitTwice { first });
                continue;
            }
            forms.push(form);
        }
        forms
    }

    fn key_form(
        &mut self,
        key: &'static str,
        kind: Option<Kind>,
        value: &Spanned<DeValue<'_>>,
    ) -> Option<KeyForm> {
        let bare = |from| KeyForm {
            key,
            from,
            table: None,
            if_empty: None,
            unit: None,
            split: None,
            clock: None,
            join: "; ".to_owned(),
        };
        if let Some(constant) = self.plain(value) {
            self.check_value(key, &constant);
            return Some(bare(From::Constant(constant)));
        }
        let Some(table) = value.get_ref().as_table() else {
            let expected = "a constant, or a table such as { column = \"…\" }";
            wrong_type(self.walk, key, expected, value);
            return None;
        };
        let known = &[
            "column", "table", "if_empty", "unit", "split", "clock", "join",
        ];
        let table = Table::open(self.walk, table, value.span(), &format!("`{key}`"), known);
        table.must(self.walk, "column");
        let columns = table.raw("column")?;
        let mut form = bare(From::Columns(self.column_list("column", columns)));
        let several = matches!(columns.get_ref(), DeValue::Array(_));
        let kind_of = key_type(key);
        let texts = matches!(kind_of, KeyType::Text | KeyType::Word(_));
        for (option, fits) in [
            ("split", texts),
            ("clock", kind_of == KeyType::Time),
            ("unit", kind_of == KeyType::Number),
            ("join", several),
        ] {
            if let (Some(value), false) = (table.raw(option), fits) {
                let fault = MapFault::OptionMisplaced { key, option };
                self.walk.fault(value.span(), fault);
            }
        }
        if several && !(texts || table.raw("table").is_some()) {
            let option = "list of columns";
            let fault = MapFault::OptionMisplaced { key, option };
            self.walk.fault(columns.span(), fault);
        }
        form.table = self.table_named(&table);
        form.if_empty = table.raw("if_empty").and_then(|value| {
            let at = self.plain(value);
            if at.is_none() {
                wrong_type(self.walk, "if_empty", "a value", value);
            }
            at
        });
        if let Some(value) = &form.if_empty {
            self.check_value(key, value);
        }
        if kind_of == KeyType::Number {
            form.unit = self.unit_form(key, kind, &table);
        }
        form.split = self.mark(&table, "split");
        form.clock = table.raw("clock").and_then(|value| self.column(value));
        if let Some(join) = self.mark(&table, "join") {
            form.join = join;
        }
        Some(form)
    }

    /// A text that may be blank.
    fn mark(&mut self, table: &Table<'_, '_>, key: &'static str) -> Option<String> {
        let value = table.raw(key)?;
        match value.get_ref().as_str() {
            Some("") => {
                let key = key.to_owned();
                let fault = crate::quantity::form_fault::FormFault::Empty { key };
                self.walk.fault(value.span(), fault);
                None
            }
            Some(text) => Some(text.to_owned()),
            None => {
                wrong_type(self.walk, key, "a text in quotes", value);
                None
            }
        }
    }

    fn table_named(&mut self, table: &Table<'_, '_>) -> Option<usize> {
        let name = table.text_if(self.walk, "table")?;
        let found = self.tables.iter().position(|t| t.name == name.value);
        if found.is_none() {
            let known = self.tables.iter().map(|t| t.name.as_str());
            let nearest = nearest(&name.value, known).map(str::to_owned);
            let name_text = name.value;
            let fault = MapFault::UnknownTable {
                name: name_text,
                nearest,
            };
            self.walk.fault(name.span, fault);
        }
        found
    }

    fn unit_form(
        &mut self,
        key: &'static str,
        kind: Option<Kind>,
        table: &Table<'_, '_>,
    ) -> Option<At<Unit>> {
        let at = table.text_if(self.walk, "unit")?;
        let kept = form::kept(kind, key);
        let misplaced = match kept {
            Kept::AsGiven => Some("the entry has its own `unit`, and keeps what was read"),
            Kept::Bare => Some("it has none"),
            _ => None,
        };
        if let Some(reason) = misplaced {
            self.walk
                .fault(at.span, MapFault::UnitMisplaced { key, reason });
            return None;
        }
        let Some(unit) = Unit::parse(&at.value) else {
            let nearest = nearest(&at.value, Unit::symbols());
            let value = at.value;
            let fault = MapFault::UnknownUnit { value, nearest };
            self.walk.fault(at.span, fault);
            return None;
        };
        if let Kept::In(_, dimension) = kept
            && unit.dimension() != dimension
        {
            let reason = match dimension {
                crate::quantity::Dimension::Length => "it is a length",
                _ => "it is a duration",
            };
            self.walk
                .fault(at.span, MapFault::UnitMisplaced { key, reason });
            return None;
        }
        let span = at.span;
        Some(At { value: unit, span })
    }

    /// Checks what the tables mean for the keys that ask them, each pair once.
    pub(super) fn check_values(&mut self, common: &[KeyForm], entries: &[EntryForm]) {
        let mut seen = HashSet::new();
        let own = entries.iter().flat_map(|entry| &entry.keys);
        let asking: Vec<(usize, &'static str)> = common
            .iter()
            .chain(own)
            .filter_map(|form| Some((form.table?, form.key)))
            .filter(|pair| seen.insert(*pair))
            .collect();
        for (table, key) in asking {
            let meanings = self.tables[table].values.values();
            let meanings: Vec<Vec<At<String>>> =
                meanings.map(|m| m.for_key(key).to_vec()).collect();
            let texts = matches!(key_type(key), KeyType::Text | KeyType::Word(_));
            for values in meanings {
                if let (Some(second), false) = (values.get(1), texts) {
                    let option = "list of values";
                    let fault = MapFault::OptionMisplaced { key, option };
                    self.walk.fault(second.span.clone(), fault);
                }
                for value in values {
                    self.check_value(key, &value);
                }
            }
        }
    }

    /// Whether a value stated in the map can stand for a key; an empty one is none.
    fn check_value(&mut self, key: &'static str, at: &At<String>) {
        if at.value.is_empty() {
            return;
        }
        let fault = match key_type(key) {
            KeyType::Word(words) if !words.contains(&at.value.as_str()) => MapFault::NotAWord {
                key: key.to_owned(),
                value: at.value.clone(),
                words: words.to_vec(),
                nearest: nearest(&at.value, words.iter().copied()),
            },
            KeyType::Number if key == "age" && matches!(at.value.as_str(), "new" | "unknown") => {
                return;
            }
            KeyType::Number if Number::parse(&at.value).is_none() => MapFault::BadConstant {
                key,
                value: at.value.clone(),
                expected: match key {
                    "age" => "a usage, \"new\" or \"unknown\"",
                    _ => "a number",
                },
            },
            KeyType::Flag if !matches!(at.value.as_str(), "true" | "false") => {
                MapFault::BadConstant {
                    key,
                    value: at.value.clone(),
                    expected: "true or false",
                }
            }
            KeyType::Time if read_constant(&at.value, &self.patterns).is_none() => {
                MapFault::BadConstant {
                    key,
                    value: at.value.clone(),
                    expected: "a day such as 2025-04-03, or a time such as 2025-04-03 14:30",
                }
            }
            KeyType::Text if key == "unit" && Unit::parse(&at.value).is_none() => {
                MapFault::UnknownUnit {
                    value: at.value.clone(),
                    nearest: nearest(&at.value, Unit::symbols()),
                }
            }
            _ => return,
        };
        self.walk.fault(at.span.clone(), fault);
    }
}

impl Map {
    /// Names that the map itself states and the register does not know: they are the
    /// map's fault, not that of the rows which lead to them.
    ///
    /// Errors: all of them.
    pub fn check_names(&self, register: &Register) -> Result<(), super::MapError> {
        let mut found = Vec::new();
        let mut seen = HashSet::new();
        for form in self.entries.iter().flat_map(|entry| &entry.keys) {
            let Some((what, known)) = names(register, form.key) else {
                continue;
            };
            let stated = match &form.from {
                From::Constant(value) => Some(value),
                From::Columns(_) => None,
            };
            let meanings = form.table.into_iter().flat_map(|table| {
                let values = self.tables[table].values.values();
                values.flat_map(|meaning| meaning.for_key(form.key))
            });
            for at in stated.into_iter().chain(&form.if_empty).chain(meanings) {
                let unknown = !at.value.is_empty() && !known.contains(&at.value.as_str());
                if unknown && seen.insert((at.span.start, form.key)) {
                    found.push((at.span.clone(), not_known(what, &at.value, &known)));
                }
            }
        }
        found.extend(
            self.entries
                .iter()
                .flat_map(|entry| misfits(register, entry)),
        );
        let (what, known) = ("component", components(register));
        for at in self.in_place.iter().flat_map(|place| &place.components) {
            if !known.contains(&at.value.as_str()) {
                found.push((at.span.clone(), not_known(what, &at.value, &known)));
            }
        }
        if found.is_empty() {
            Ok(())
        } else {
            Err(self.faulty(found))
        }
    }
}

/// Units that do not turn into that of the usage which a constant of the entry names.
fn misfits(register: &Register, entry: &EntryForm) -> Vec<(std::ops::Range<usize>, MapFault)> {
    let constant = |key: &str| match &entry.key(key)?.from {
        From::Constant(at) => Some(at.value.as_str()),
        From::Columns(_) => None,
    };
    let mut found = Vec::new();
    for form in &entry.keys {
        let (Some(unit), Kept::UsageUnit) = (&form.unit, form::kept(Some(entry.kind), form.key))
        else {
            continue;
        };
        let usage = match form.key {
            "value" => constant("meter"),
            _ => constant("component")
                .and_then(|id| register.component(id))
                .map(|component| component.usage.as_str()),
        };
        let Some(usage) = usage.and_then(|id| register.usage(id)) else {
            continue;
        };
        let own = Unit::parse(&usage.unit).map(|own| own.dimension());
        if own != Some(unit.value.dimension()) {
            let fault = MapFault::UnitMisfit {
                unit: unit.value.symbol(),
                own: usage.unit.clone(),
            };
            found.push((unit.span.clone(), fault));
        }
    }
    found
}

fn not_known(what: &'static str, value: &str, known: &[&str]) -> MapFault {
    MapFault::NotInRegister {
        what,
        value: value.to_owned(),
        nearest: nearest(value, known.iter().copied()).map(str::to_owned),
        known: known.iter().map(|name| (*name).to_owned()).collect(),
    }
}

fn components(register: &Register) -> Vec<&str> {
    register.components.iter().map(|c| c.id.as_str()).collect()
}

/// What a key names in the register, and every name there is. A part number is left to
/// the rows: a component may have none listed, and then any will do.
fn names<'a>(register: &'a Register, key: &str) -> Option<(&'static str, Vec<&'a str>)> {
    let positions = || {
        let slots = register.layouts.iter().flat_map(|l| &l.slots);
        slots.flat_map(|s| &s.positions).map(String::as_str)
    };
    let (what, known): (_, Vec<&str>) = match key {
        "machine" => (
            "machine",
            register.machines.iter().map(|m| m.tag.as_str()).collect(),
        ),
        "component" => ("component", components(register)),
        "position" => ("position", positions().collect()),
        "meter" => (
            "meter",
            register.usages.iter().map(|u| u.id.as_str()).collect(),
        ),
        "mode" => {
            let modes = register.components.iter().flat_map(|c| &c.modes);
            ("failure mode", modes.map(String::as_str).collect())
        }
        "quantity" => {
            let all = register.measurements.iter();
            ("quantity", all.map(|m| m.quantity.as_str()).collect())
        }
        _ => return None,
    };
    let mut once: Vec<&str> = Vec::new();
    for name in known {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    Some((what, once))
}
