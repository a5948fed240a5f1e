//! Walking a parsed TOML text by hand, so that every fault keeps its line and bytes.
//!
//! In: the text of a register or of a map for import. Out: values with their bytes, and
//! every [`Fault`] with its line. Never: files; what the keys mean.

use std::ops::Range;

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::form_fault::{Fault, FormFault};
use super::near::nearest;

/// A value with the bytes it was written in.
#[derive(Debug, Clone)]
pub struct At<T> {
    pub value: T,
    pub span: Range<usize>,
}

/// The text under way and the faults found so far; `K` is what may be wrong with it.
#[derive(Debug)]
pub struct Walk<'t, K> {
    text: &'t str,
    line_starts: Vec<usize>,
    faults: Vec<(usize, Fault<K>)>,
}

/// Parses a text and has `read` walk its top table; returns what that built, and every
/// fault in the order of the text.
///
/// After a syntax fault the rest is guesswork (half-read tables would be blamed for keys
/// they have), so the faults `read` finds are then dropped.
pub fn walk<K: From<FormFault>, T>(
    text: &str,
    read: impl FnOnce(&mut Walk<'_, K>, &DeTable<'_>) -> T,
) -> (T, Vec<Fault<K>>) {
    let mut walk = Walk::new(text);
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let message = error.message().trim().replace('\n', ", ");
        let fault = FormFault::Syntax { message };
        walk.fault(error.span().unwrap_or(0..0), fault);
    }
    let mut dropped = Walk::new(text);
    let walking = if errors.is_empty() {
        &mut walk
    } else {
        &mut dropped
    };
    let built = read(walking, document.get_ref());
    (built, walk.finish())
}

impl<'t, K> Walk<'t, K> {
    pub fn new(text: &'t str) -> Walk<'t, K> {
        let line_starts = std::iter::once(0)
            .chain(memchr::memchr_iter(b'\n', text.as_bytes()).map(|i| i + 1))
            .collect();
        Walk {
            text,
            line_starts,
            faults: Vec::new(),
        }
    }

    /// The line a byte lies on, from 1.
    pub fn line(&self, byte: usize) -> usize {
        self.line_starts.partition_point(|start| *start <= byte)
    }

    /// The first line of these bytes: its number, its text, and the bytes in it.
    pub fn excerpt(&self, span: Range<usize>) -> (usize, &'t str, Range<usize>) {
        let start = span.start.min(self.text.len());
        let line = self.line(start);
        let from = self.line_starts[line - 1];
        let rest = &self.text[from..];
        let excerpt = rest
            .split('\n')
            .next()
            .unwrap_or(rest)
            .trim_end_matches('\r');
        let low = (start - from).min(excerpt.len());
        let high = span.end.saturating_sub(from).clamp(low, excerpt.len());
        (line, excerpt, low..high)
    }

    /// Notes a fault at these bytes of the text; only its first line is pointed at.
    pub fn fault(&mut self, span: Range<usize>, kind: impl Into<K>) {
        let start = span.start.min(self.text.len());
        let (line, excerpt, span) = self.excerpt(span);
        let excerpt = excerpt.to_owned();
        self.faults.push((
            start,
            Fault {
                kind: kind.into(),
                line,
                excerpt,
                span,
            },
        ));
    }

    /// The faults in the order of the text.
    pub fn finish(mut self) -> Vec<Fault<K>> {
        self.faults.sort_by_key(|(start, _)| *start);
        self.faults.into_iter().map(|(_, fault)| fault).collect()
    }
}

/// What a number may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Domain {
    Finite,
    NotNegative,
    Positive,
}

impl Domain {
    fn words(self) -> &'static str {
        match self {
            Domain::Finite => "a finite number",
            Domain::NotNegative => "0 or more",
            Domain::Positive => "above 0",
        }
    }

    fn holds(self, value: f64) -> bool {
        value.is_finite()
            && match self {
                Domain::Finite => true,
                Domain::NotNegative => value >= 0.0,
                Domain::Positive => value > 0.0,
            }
    }
}

/// One table of the text, its keys looked over.
pub struct Table<'a, 't> {
    table: &'a DeTable<'t>,
    /// How messages call it: `[plant]`, `[[machine]]`, `limit`.
    pub label: String,
    /// Where to point when a key is missing.
    pub span: Range<usize>,
}

impl<'a, 't> Table<'a, 't> {
    /// Looks a table over: every key it may not have is a fault.
    pub fn open<K: From<FormFault>>(
        walk: &mut Walk<'_, K>,
        table: &'a DeTable<'t>,
        span: Range<usize>,
        label: &str,
        known: &[&'static str],
    ) -> Table<'a, 't> {
        for key in table.keys() {
            let name: &str = key.get_ref();
            if !known.contains(&name) {
                walk.fault(
                    key.span(),
                    FormFault::UnknownKey {
                        table: label.to_owned(),
                        key: name.to_owned(),
                        nearest: nearest(name, known.iter().copied()).map(str::to_owned),
                        known: known.to_vec(),
                    },
                );
            }
        }
        Table {
            table,
            label: label.to_owned(),
            span,
        }
    }

    pub fn raw(&self, key: &str) -> Option<&'a Spanned<DeValue<'t>>> {
        self.table.get(key)
    }

    /// Notes a missing key, if it is missing.
    pub fn must<K: From<FormFault>>(&self, walk: &mut Walk<'_, K>, key: &'static str) {
        if self.raw(key).is_none() {
            walk.fault(
                self.span.clone(),
                FormFault::MissingKey {
                    table: self.label.clone(),
                    key,
                },
            );
        }
    }

    /// An optional text: not empty, no blanks at its ends, no control characters.
    pub fn text_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<At<String>> {
        text_value(walk, key, self.raw(key)?)
    }

    /// A text that must be there.
    pub fn text<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<At<String>> {
        self.must(walk, key);
        self.text_if(walk, key)
    }

    /// An optional list of texts.
    pub fn texts_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<Vec<At<String>>> {
        let value = self.raw(key)?;
        let Some(array) = value.get_ref().as_array() else {
            wrong_type(walk, key, "a list of texts", value);
            return None;
        };
        let texts = array.iter().filter_map(|item| text_value(walk, key, item));
        Some(texts.collect())
    }

    /// A list of texts that must be there and not be empty.
    pub fn texts<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Vec<At<String>> {
        self.must(walk, key);
        if let Some(value) = self.raw(key)
            && value.get_ref().as_array().is_some_and(|a| a.is_empty())
        {
            let key = key.to_owned();
            walk.fault(value.span(), FormFault::Empty { key });
        }
        self.texts_if(walk, key).unwrap_or_default()
    }

    /// An optional number inside a domain.
    pub fn number_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &str,
        domain: Domain,
    ) -> Option<At<f64>> {
        number_value(walk, key, self.raw(key)?, domain)
    }

    /// A number that must be there.
    pub fn number<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
        domain: Domain,
    ) -> Option<At<f64>> {
        self.must(walk, key);
        self.number_if(walk, key, domain)
    }

    /// An optional amount of money, zero or more.
    pub fn money_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<Decimal> {
        let value = self.raw(key)?;
        let checked = number_value(walk, key, value, Domain::NotNegative)?;
        let text = match value.get_ref() {
            DeValue::Float(float) => float.as_str().to_owned(),
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().to_owned(),
            _ => checked.value.to_string(),
        };
        let amount = text
            .parse::<Decimal>()
            .or_else(|_| Decimal::from_scientific(&text));
        if amount.is_err() {
            walk.fault(
                value.span(),
                FormFault::OutOfDomain {
                    key: key.to_owned(),
                    value: text,
                    domain: "an amount of money",
                },
            );
        }
        amount.ok()
    }

    /// An amount of money that must be there.
    pub fn money<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<Decimal> {
        self.must(walk, key);
        self.money_if(walk, key)
    }

    /// An optional whole number of at least `least` (0 or 1).
    pub fn whole_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
        least: u32,
    ) -> Option<u32> {
        let value = self.raw(key)?;
        let DeValue::Integer(integer) = value.get_ref() else {
            wrong_type(walk, key, "a whole number", value);
            return None;
        };
        let number = u32::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            .filter(|number| *number >= least);
        if number.is_none() {
            walk.fault(
                value.span(),
                FormFault::OutOfDomain {
                    key: key.to_owned(),
                    value: integer.to_string(),
                    domain: if least == 0 { "0 or more" } else { "1 or more" },
                },
            );
        }
        number
    }

    /// An optional yes or no.
    pub fn flag_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<bool> {
        let value = self.raw(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            wrong_type(walk, key, "true or false", value);
        }
        flag
    }

    /// A calendar day that must be there.
    pub fn day<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
    ) -> Option<chrono::NaiveDate> {
        self.must(walk, key);
        let value = self.raw(key)?;
        let day = value.get_ref().as_datetime().and_then(|given| {
            let date = given.date.filter(|_| given.time.is_none())?;
            chrono::NaiveDate::from_ymd_opt(
                i32::from(date.year),
                u32::from(date.month),
                u32::from(date.day),
            )
        });
        if day.is_none() {
            wrong_type(walk, key, "a day without quotes, such as 2021-01-04", value);
        }
        day
    }

    /// An optional inner table.
    pub fn table_if<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
        label: &str,
        known: &[&'static str],
    ) -> Option<Table<'a, 't>> {
        let value = self.raw(key)?;
        let Some(table) = value.get_ref().as_table() else {
            wrong_type(walk, key, "a table", value);
            return None;
        };
        Some(Table::open(walk, table, value.span(), label, known))
    }

    /// A list of tables (`[[key]]`, or braces in a list), each looked over.
    pub fn tables<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
        label: &str,
        known: &[&'static str],
    ) -> Vec<Table<'a, 't>> {
        let Some(value) = self.raw(key) else {
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            wrong_type(walk, key, "a list of tables", value);
            return Vec::new();
        };
        let mut tables = Vec::with_capacity(array.len());
        for item in array.iter() {
            match item.get_ref().as_table() {
                Some(table) => tables.push(Table::open(walk, table, item.span(), label, known)),
                None => wrong_type(walk, key, "a table", item),
            }
        }
        tables
    }

    /// An optional table whose keys are names and whose values are numbers.
    pub fn numbers_by_name<K: From<FormFault>>(
        &self,
        walk: &mut Walk<'_, K>,
        key: &'static str,
        domain: Domain,
    ) -> Vec<(At<String>, f64)> {
        let Some(value) = self.raw(key) else {
            return Vec::new();
        };
        let Some(table) = value.get_ref().as_table() else {
            wrong_type(walk, key, "a table such as { hours = 96 }", value);
            return Vec::new();
        };
        let numbers = table.iter().filter_map(|(name, value)| {
            let number = number_value(walk, name.get_ref(), value, domain)?;
            let name = At {
                value: name.get_ref().to_string(),
                span: name.span(),
            };
            Some((name, number.value))
        });
        numbers.collect()
    }
}

fn number_value<K: From<FormFault>>(
    walk: &mut Walk<'_, K>,
    key: &str,
    value: &Spanned<DeValue<'_>>,
    domain: Domain,
) -> Option<At<f64>> {
    let number = match value.get_ref() {
        DeValue::Float(float) => float.as_str().parse::<f64>().ok(),
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            // Above 2^53 the nearest float stands; no plant counts so far.
            .map(|whole| whole as f64),
        _ => {
            wrong_type(walk, key, "a number", value);
            return None;
        }
    };
    let number = number.filter(|number| domain.holds(*number));
    if number.is_none() {
        let written = walk.text.get(value.span()).unwrap_or_default().to_owned();
        walk.fault(
            value.span(),
            FormFault::OutOfDomain {
                key: key.to_owned(),
                value: written,
                domain: domain.words(),
            },
        );
    }
    Some(At {
        value: number?,
        span: value.span(),
    })
}

/// A text: not empty, no blanks at its ends, no control characters.
pub fn text_value<K: From<FormFault>>(
    walk: &mut Walk<'_, K>,
    key: &str,
    value: &Spanned<DeValue<'_>>,
) -> Option<At<String>> {
    let Some(text) = value.get_ref().as_str() else {
        wrong_type(walk, key, "a text in quotes", value);
        return None;
    };
    let key = key.to_owned();
    if text.is_empty() {
        walk.fault(value.span(), FormFault::Empty { key });
        return None;
    }
    if text.trim() != text || text.chars().any(char::is_control) {
        walk.fault(value.span(), FormFault::Untidy { key });
        return None;
    }
    Some(At {
        value: text.to_owned(),
        span: value.span(),
    })
}

/// Notes a value of another type than it should be.
pub fn wrong_type<K: From<FormFault>>(
    walk: &mut Walk<'_, K>,
    key: &str,
    expected: &'static str,
    found: &Spanned<DeValue<'_>>,
) {
    let words = match found.get_ref() {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    };
    walk.fault(
        found.span(),
        FormFault::WrongType {
            key: key.to_owned(),
            expected,
            found: words,
        },
    );
}
