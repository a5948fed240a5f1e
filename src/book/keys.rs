//! Taking values out of a line: each of its type, every fault noted with its bytes.

use std::borrow::Cow;
use std::cell::Cell;
use std::ops::Range;

use chrono::{DateTime, Utc};
use rust_decimal::Decimal;

use super::entry::Kind;
use super::json::{Member, Value};
use super::line_fault::{LineFault, LineFaultKind};
use super::parse::{Source, known_keys};
use crate::quantity::time::{parse_given, parse_utc};
use crate::quantity::{Number, nearest};

/// The keys and values of one line, and the faults found in them so far.
pub(super) struct Keys<'a> {
    pub all: Vec<Member<'a>>,
    pub end: usize,
    pub entry: &'static str,
    pub faults: Vec<LineFault>,
    /// Place of the member after the one that was found last.
    pub next: Cell<usize>,
}

impl<'a> Keys<'a> {
    pub(super) fn fault(&mut self, span: Range<usize>, kind: LineFaultKind) {
        self.faults.push(LineFault { kind, span });
    }

    pub(super) fn get(&self, key: &str) -> Option<(Value<'a>, Range<usize>)> {
        // Keys are asked for in the order they are written in, so the next is mostly it.
        let (before, after) = self.all.split_at(self.next.get().min(self.all.len()));
        let in_turn = after.iter().chain(before);
        let (n, member) = in_turn.enumerate().find(|(_, member)| member.key == key)?;
        self.next.set((before.len() + n + 1) % self.all.len());
        Some((member.value.clone(), member.span.clone()))
    }

    pub(super) fn kind(&mut self) -> Option<Kind> {
        let Some((value, span)) = self.get("entry") else {
            self.fault(0..1, LineFaultKind::NoKind);
            return None;
        };
        let Value::Text(word) = value else {
            self.wrong_type("entry", "a text", &value, span);
            return None;
        };
        let kind = Kind::from_word(&word);
        if kind.is_none() {
            let nearest = nearest(&word, Kind::WORDS.iter().copied());
            let found = word.into_owned();
            self.fault(span, LineFaultKind::UnknownKind { found, nearest });
        }
        kind
    }

    /// Unknown keys, keys stated twice, `prev` not first.
    pub(super) fn look_over(&mut self, kind: Kind, book: bool) {
        let known = || known_keys(kind, book);
        // As this program writes them: each known, none twice, all in their order.
        let mut in_order = known();
        if (self.all.iter()).all(|member| in_order.any(|name| name == member.key)) {
            return;
        }
        let mut found = Vec::new();
        for (i, member) in self.all.iter().enumerate() {
            let key: &str = &member.key;
            let span = member.key_span.clone();
            if self.all[..i].iter().any(|other| other.key == member.key) {
                let key = key.to_owned();
                found.push((span, LineFaultKind::KeyTwice { key }));
            } else if !known().any(|name| name == key) {
                let unknown = LineFaultKind::UnknownKey {
                    key: key.to_owned(),
                    entry: kind.word(),
                    nearest: nearest(key, known()),
                    known: known().collect(),
                };
                found.push((span, unknown));
            } else if book && i > 0 && key == "prev" {
                found.push((span, LineFaultKind::PrevNotFirst));
            }
        }
        for (span, kind) in found {
            self.fault(span, kind);
        }
    }

    pub(super) fn wrong_type(
        &mut self,
        key: &'static str,
        expected: &'static str,
        found: &Value<'_>,
        span: Range<usize>,
    ) {
        let found = found.words();
        let kind = LineFaultKind::WrongType {
            key,
            expected,
            found,
        };
        self.fault(span, kind);
    }

    pub(super) fn must(&mut self, key: &'static str) {
        if self.get(key).is_none() {
            let entry = self.entry;
            let end = self.end;
            self.fault(
                end.saturating_sub(1)..end,
                LineFaultKind::MissingKey { entry, key },
            );
        }
    }

    pub(super) fn text_at(&mut self, key: &'static str) -> Option<(Cow<'a, str>, Range<usize>)> {
        let (value, span) = self.get(key)?;
        let Value::Text(text) = value else {
            self.wrong_type(key, "a text", &value, span);
            return None;
        };
        // Most texts are plain, and are told so without a look at each character.
        let bytes = text.as_bytes();
        let ends = bytes.first().zip(bytes.last());
        if ends.is_some_and(|(first, last)| *first != b' ' && *last != b' ')
            && bytes.iter().all(|b| matches!(b, b' '..=b'~'))
        {
            return Some((text, span));
        }
        // A note may have lines; everything else is a name or a short phrase.
        let lines = matches!(key, "note" | "why" | "what");
        let untidy = text.is_empty()
            || text.trim() != text
            || text
                .chars()
                .any(|c| c.is_control() && !(lines && c == '\n'));
        if untidy {
            self.fault(span, LineFaultKind::Untidy { key });
            return None;
        }
        Some((text, span))
    }

    pub(super) fn text_if<S: From<Cow<'a, str>>>(&mut self, key: &'static str) -> Option<S> {
        self.text_at(key).map(|(text, _)| text.into())
    }

    pub(super) fn text<S: From<Cow<'a, str>>>(&mut self, key: &'static str) -> Option<S> {
        self.must(key);
        self.text_if(key)
    }

    pub(super) fn word_if<T>(
        &mut self,
        key: &'static str,
        words: &'static [&'static str],
        from_word: fn(&str) -> Option<T>,
    ) -> Option<T> {
        let (text, span) = self.text_at(key)?;
        let value = from_word(&text);
        if value.is_none() {
            let nearest = nearest(&text, words.iter().copied());
            let found = text.into_owned();
            let kind = LineFaultKind::NotAWord {
                key,
                found,
                words,
                nearest,
            };
            self.fault(span, kind);
        }
        value
    }

    pub(super) fn time(&mut self, key: &'static str, source: Source<'_>) -> Option<DateTime<Utc>> {
        self.must(key);
        let (text, span) = self.text_at(key)?;
        let time = match source {
            Source::Book | Source::Followed => parse_utc(&text),
            Source::Given { zone, .. } => parse_given(&text, zone),
        };
        match time {
            Ok(time) => Some(time),
            Err(reason) => {
                self.fault(span, LineFaultKind::Time { key, reason });
                None
            }
        }
    }

    pub(super) fn written(&mut self, key: &'static str) -> Option<(&'a str, Range<usize>)> {
        let (value, span) = self.get(key)?;
        let Value::Number(text) = value else {
            self.wrong_type(key, "a number", &value, span);
            return None;
        };
        Some((text, span))
    }

    /// A number; `least` is the least it may be.
    pub(super) fn number_if(&mut self, key: &'static str, least: Option<f64>) -> Option<Number> {
        let (text, span) = self.written(key)?;
        let number =
            Number::parse(text).filter(|number| least.is_none_or(|least| number.get() >= least));
        if number.is_none() {
            let domain = match least {
                Some(_) => "a number, 0 or more",
                None => "a finite number",
            };
            let found = text.to_owned();
            self.fault(span, LineFaultKind::OutOfDomain { key, found, domain });
        }
        number
    }

    pub(super) fn number(&mut self, key: &'static str, least: Option<f64>) -> Option<Number> {
        self.must(key);
        self.number_if(key, least)
    }

    /// Money; a rebate may be below 0.
    pub(super) fn money_if(&mut self, key: &'static str) -> Option<Decimal> {
        let (text, span) = self.written(key)?;
        let amount = text
            .parse::<Decimal>()
            .or_else(|_| Decimal::from_scientific(text))
            .ok();
        if amount.is_none() {
            let found = text.to_owned();
            let domain = "an amount of money";
            self.fault(span, LineFaultKind::OutOfDomain { key, found, domain });
        }
        amount
    }

    pub(super) fn whole_if(&mut self, key: &'static str) -> Option<u32> {
        let (text, span) = self.written(key)?;
        let number = text.parse::<u32>().ok().filter(|n| *n >= 1);
        if number.is_none() {
            let found = text.to_owned();
            let domain = "a whole number, 1 or more";
            self.fault(span, LineFaultKind::OutOfDomain { key, found, domain });
        }
        number
    }
}
