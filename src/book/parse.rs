//! From a line to an entry: strict, every fault of the line told with its bytes.

use std::borrow::Cow;
use std::ops::Range;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use thiserror::Error;

use super::entry::{
    Age, Ending, Entry, Event, Finding, Found, Item, JobKind, Kind, Reason, SlotName,
};
use super::json::{Member, Value, members};
use super::sha::Sha;
use crate::quantity::time::{TimeError, parse_given, parse_utc};
use crate::quantity::{Number, nearest};

/// The book format this program writes and reads.
pub const FORMAT: u32 = 1;

/// One fault of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct LineFault {
    pub kind: LineFaultKind,
    /// Bytes of the line to point at.
    pub span: Range<usize>,
}

/// What is wrong with a line.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LineFaultKind {
    #[error("not UTF-8 text")]
    NotUtf8,
    #[error("not a JSON object: {expected} expected here")]
    NotJson { expected: &'static str },
    #[error("key `{key}` is stated twice")]
    KeyTwice { key: String },
    #[error("unknown key `{key}` in a `{entry}` entry")]
    UnknownKey {
        key: String,
        entry: &'static str,
        nearest: Option<&'static str>,
        known: Vec<&'static str>,
    },
    #[error("a `{entry}` entry lacks `{key}`")]
    MissingKey {
        entry: &'static str,
        key: &'static str,
    },
    #[error("the line lacks `entry`, its kind")]
    NoKind,
    #[error("no kind of entry `{found}`")]
    UnknownKind {
        found: String,
        nearest: Option<&'static str>,
    },
    #[error("`prev` is not the first key")]
    PrevNotFirst,
    #[error("`{key}` should be {expected}, not {found}")]
    WrongType {
        key: &'static str,
        expected: &'static str,
        found: &'static str,
    },
    #[error("`{key}` is empty, begins or ends with a blank, or holds a control character")]
    Untidy { key: &'static str },
    #[error("`{key}` is `{found}`: it should be one of {}", words.join(", "))]
    NotAWord {
        key: &'static str,
        found: String,
        words: &'static [&'static str],
        nearest: Option<&'static str>,
    },
    #[error("`{key}` is {found}: it should be {domain}")]
    OutOfDomain {
        key: &'static str,
        found: String,
        domain: &'static str,
    },
    #[error("`{key}`: {reason}")]
    Time {
        key: &'static str,
        reason: TimeError,
    },
    #[error("`stop` is before `start`")]
    StopsBeforeStart,
    #[error("book format {found} is not known to this version")]
    Format { found: u32 },
}

impl LineFaultKind {
    /// A short fixed name, for programs.
    pub fn name(&self) -> &'static str {
        match self {
            LineFaultKind::NotUtf8 => "entry-not-utf8",
            LineFaultKind::NotJson { .. } => "entry-not-json",
            LineFaultKind::KeyTwice { .. } => "entry-key-twice",
            LineFaultKind::UnknownKey { .. } => "entry-unknown-key",
            LineFaultKind::MissingKey { .. } | LineFaultKind::NoKind => "entry-missing-key",
            LineFaultKind::UnknownKind { .. } => "entry-unknown-kind",
            LineFaultKind::PrevNotFirst => "entry-prev-not-first",
            LineFaultKind::WrongType { .. } => "entry-wrong-type",
            LineFaultKind::Untidy { .. } => "entry-bad-text",
            LineFaultKind::NotAWord { .. } => "entry-not-a-word",
            LineFaultKind::OutOfDomain { .. } => "entry-out-of-domain",
            LineFaultKind::Time { .. } => "entry-bad-time",
            LineFaultKind::StopsBeforeStart => "job-stops-before-start",
            LineFaultKind::Format { .. } => "book-format",
        }
    }

    /// How to mend it, where that is not plain from what is wrong.
    pub fn cure(&self) -> Option<String> {
        match self {
            LineFaultKind::UnknownKey { nearest, known, .. } => Some(match nearest {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("keys known here: {}", known.join(", ")),
            }),
            LineFaultKind::UnknownKind { nearest, .. } => Some(match nearest {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("kinds: {}", Kind::WORDS.join(", ")),
            }),
            LineFaultKind::NotAWord { nearest, .. } => {
                nearest.map(|near| format!("did you mean `{near}`?"))
            }
            LineFaultKind::Time { reason, .. } => match reason {
                TimeError::Skipped { .. } | TimeError::Twice { .. } => {
                    Some("write the time with its offset, or in UTC with a `Z`".to_owned())
                }
                _ => None,
            },
            LineFaultKind::Format { .. } => Some("read it with a newer wearbook".to_owned()),
            _ => None,
        }
    }
}

/// How the line came about.
#[derive(Debug, Clone, Copy)]
pub enum Source<'a> {
    /// A line of a book: all keys as written, times in UTC only.
    Book,
    /// A line given for recording: no `prev` and no `logged` (the recorder sets
    /// them); times may be plant times; `who` may be missing.
    Given {
        zone: Tz,
        now: DateTime<Utc>,
        who: Option<&'a str>,
    },
}

/// Reads a line of a book.
///
/// Errors: every fault found, in the order of the line.
pub fn parse_line(line: &[u8]) -> Result<(Sha, Entry), Vec<LineFault>> {
    parse(line, Source::Book)
}

/// Reads a line given for recording.
///
/// Errors: as [`parse_line`].
pub fn parse_given_line(
    line: &[u8],
    zone: Tz,
    now: DateTime<Utc>,
    who: Option<&str>,
) -> Result<Entry, Vec<LineFault>> {
    parse(line, Source::Given { zone, now, who }).map(|(_, entry)| entry)
}

/// The bytes of the value of a key in a line, for pointing at it.
pub fn value_span(line: &[u8], key: &str) -> Option<Range<usize>> {
    let text = std::str::from_utf8(line).ok()?;
    let member = members(text).ok()?.into_iter().find(|m| m.key == key)?;
    Some(member.span)
}

const COMMON: &[&str] = &["prev", "entry", "time", "logged", "who", "machine"];
const GIVEN: &[&str] = &["entry", "time", "who", "machine"];

/// The keys of a kind beside the common ones.
fn own_keys(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Opened => &["book", "format", "note"],
        Kind::Reading => &["meter", "value", "reset", "job", "note"],
        Kind::Installed => &[
            "component",
            "position",
            "part",
            "pieces",
            "batch",
            "serial",
            "age",
            "job",
            "note",
        ],
        Kind::Replaced => &[
            "component",
            "position",
            "part",
            "pieces",
            "batch",
            "serial",
            "age",
            "reason",
            "mode",
            "found",
            "job",
            "note",
        ],
        Kind::Removed => &[
            "component",
            "position",
            "reason",
            "mode",
            "found",
            "job",
            "note",
        ],
        Kind::Inspected => &["component", "position", "finding", "mode", "job", "note"],
        Kind::Measured => &[
            "component",
            "position",
            "quantity",
            "value",
            "unit",
            "zone",
            "span",
            "new_value",
            "job",
            "note",
        ],
        Kind::Job => &[
            "job",
            "start",
            "stop",
            "kind",
            "labour_h",
            "downtime_h",
            "cost",
            "note",
        ],
        Kind::Expense => &["cost", "what", "job", "note"],
        Kind::Withdrawn => &["entry_sha", "why", "note"],
    }
}

fn parse(line: &[u8], source: Source<'_>) -> Result<(Sha, Entry), Vec<LineFault>> {
    let one = |kind, span| vec![LineFault { kind, span }];
    let text = std::str::from_utf8(line).map_err(|error| {
        let at = error.valid_up_to();
        one(LineFaultKind::NotUtf8, at..at + 1)
    })?;
    let all = members(text).map_err(|fault| {
        let expected = fault.expected;
        one(LineFaultKind::NotJson { expected }, fault.at..fault.at + 1)
    })?;
    let mut keys = Keys {
        all,
        end: text.len(),
        entry: "",
        faults: Vec::new(),
    };
    let Some(kind) = keys.kind() else {
        return Err(keys.faults);
    };
    keys.entry = kind.word();
    keys.look_over(kind, matches!(source, Source::Book));
    let read = keys.read(kind, source);
    match read {
        Some(read) if keys.faults.is_empty() => Ok(read),
        _ => {
            keys.faults.sort_by_key(|fault| fault.span.start);
            Err(keys.faults)
        }
    }
}

struct Keys<'a> {
    all: Vec<Member<'a>>,
    end: usize,
    entry: &'static str,
    faults: Vec<LineFault>,
}

impl<'a> Keys<'a> {
    fn fault(&mut self, span: Range<usize>, kind: LineFaultKind) {
        self.faults.push(LineFault { kind, span });
    }

    fn get(&self, key: &str) -> Option<(Value<'a>, Range<usize>)> {
        let member = self.all.iter().find(|member| member.key == key)?;
        Some((member.value.clone(), member.span.clone()))
    }

    fn kind(&mut self) -> Option<Kind> {
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
    fn look_over(&mut self, kind: Kind, book: bool) {
        let known = || {
            let common = if book { COMMON } else { GIVEN };
            let machine = !matches!(kind, Kind::Opened | Kind::Withdrawn);
            common
                .iter()
                .copied()
                .filter(move |key| machine || *key != "machine")
                .chain(own_keys(kind).iter().copied())
        };
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

    fn wrong_type(
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

    fn must(&mut self, key: &'static str) {
        if self.get(key).is_none() {
            let entry = self.entry;
            let end = self.end;
            self.fault(
                end.saturating_sub(1)..end,
                LineFaultKind::MissingKey { entry, key },
            );
        }
    }

    fn text_at(&mut self, key: &'static str) -> Option<(Cow<'a, str>, Range<usize>)> {
        let (value, span) = self.get(key)?;
        let Value::Text(text) = value else {
            self.wrong_type(key, "a text", &value, span);
            return None;
        };
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

    fn text_if(&mut self, key: &'static str) -> Option<String> {
        self.text_at(key).map(|(text, _)| text.into_owned())
    }

    fn text(&mut self, key: &'static str) -> Option<String> {
        self.must(key);
        self.text_if(key)
    }

    fn word_if<T>(
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

    fn time(&mut self, key: &'static str, source: Source<'_>) -> Option<DateTime<Utc>> {
        self.must(key);
        let (text, span) = self.text_at(key)?;
        let time = match source {
            Source::Book => parse_utc(&text),
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

    fn written(&mut self, key: &'static str) -> Option<(&'a str, Range<usize>)> {
        let (value, span) = self.get(key)?;
        let Value::Number(text) = value else {
            self.wrong_type(key, "a number", &value, span);
            return None;
        };
        Some((text, span))
    }

    /// A number; `least` is the least it may be.
    fn number_if(&mut self, key: &'static str, least: Option<f64>) -> Option<Number> {
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

    fn number(&mut self, key: &'static str, least: Option<f64>) -> Option<Number> {
        self.must(key);
        self.number_if(key, least)
    }

    /// Money; a rebate may be below 0.
    fn money_if(&mut self, key: &'static str) -> Option<Decimal> {
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

    fn whole_if(&mut self, key: &'static str) -> Option<u32> {
        let (text, span) = self.written(key)?;
        let number = text.parse::<u32>().ok().filter(|n| *n >= 1);
        if number.is_none() {
            let found = text.to_owned();
            let domain = "a whole number, 1 or more";
            self.fault(span, LineFaultKind::OutOfDomain { key, found, domain });
        }
        number
    }

    fn slot(&mut self) -> Option<SlotName> {
        let component = self.text("component");
        let position = self.text("position");
        Some(SlotName {
            component: component?,
            position: position?,
        })
    }

    fn item(&mut self) -> Item {
        let age = match self.get("age") {
            None => Age::New,
            Some((Value::Null, _)) => Age::Unknown,
            // A wrong value is noted as a fault, so what stands here is not used.
            Some(_) => self
                .number_if("age", Some(0.0))
                .map_or(Age::New, Age::Known),
        };
        Item {
            part: self.text_if("part"),
            pieces: self.whole_if("pieces"),
            batch: self.text_if("batch"),
            serial: self.text_if("serial"),
            age,
        }
    }

    fn ending(&mut self) -> Option<Ending> {
        self.must("reason");
        let reason = self.word_if("reason", Reason::WORDS, Reason::from_word);
        let mode = self.text_if("mode");
        if matches!(reason, Some(Reason::Failed | Reason::Worn)) {
            self.must("found");
        }
        let found = self.word_if("found", Found::WORDS, Found::from_word);
        Some(Ending {
            reason: reason?,
            mode,
            found,
        })
    }

    fn read(&mut self, kind: Kind, source: Source<'_>) -> Option<(Sha, Entry)> {
        let (prev, logged) = match source {
            Source::Book => (self.prev(), self.time("logged", source)),
            Source::Given { now, .. } => (Some(Sha::ZERO), Some(now)),
        };
        let time = match source {
            // What has no time of its own happened when it was recorded.
            Source::Given { now, .. } if self.get("time").is_none() => Some(now),
            _ => self.time("time", source),
        };
        let who = match source {
            Source::Given { who: Some(who), .. } if self.get("who").is_none() => {
                Some(who.to_owned())
            }
            _ => self.text("who"),
        };
        let machine = match kind {
            Kind::Opened | Kind::Withdrawn => None,
            Kind::Expense => self.text_if("machine"),
            _ => self.text("machine"),
        };
        let event = self.event(kind, source);
        let job = match kind {
            Kind::Job => self.text("job"),
            Kind::Opened | Kind::Withdrawn => None,
            _ => self.text_if("job"),
        };
        let note = self.text_if("note");
        let entry = Entry {
            time: time?,
            logged: logged?,
            who: who?,
            machine,
            event: event?,
            job,
            note,
        };
        Some((prev?, entry))
    }

    fn prev(&mut self) -> Option<Sha> {
        self.must("prev");
        let (text, span) = self.text_at("prev")?;
        let sha = Sha::parse(text.as_bytes());
        if sha.is_none() {
            let found = text.into_owned();
            let domain = "64 hex digits";
            let key = "prev";
            self.fault(span, LineFaultKind::OutOfDomain { key, found, domain });
        }
        sha
    }

    fn event(&mut self, kind: Kind, source: Source<'_>) -> Option<Event> {
        match kind {
            Kind::Opened => {
                let book = self.text("book");
                self.must("format");
                let format = self.whole_if("format");
                if let (Some(found), Some((_, span))) = (format, self.get("format"))
                    && found != FORMAT
                {
                    self.fault(span, LineFaultKind::Format { found });
                }
                Some(Event::Opened {
                    book: book?,
                    format: format?,
                })
            }
            Kind::Reading => {
                let meter = self.text("meter");
                let value = self.number("value", Some(0.0));
                let reset = match self.get("reset") {
                    None => false,
                    Some((Value::Flag(flag), _)) => flag,
                    Some((value, span)) => {
                        self.wrong_type("reset", "true or false", &value, span);
                        false
                    }
                };
                Some(Event::Reading {
                    meter: meter?,
                    value: value?,
                    reset,
                })
            }
            Kind::Installed => {
                let slot = self.slot();
                let item = self.item();
                Some(Event::Installed { slot: slot?, item })
            }
            Kind::Replaced => {
                let slot = self.slot();
                let item = self.item();
                let end = self.ending();
                Some(Event::Replaced {
                    slot: slot?,
                    item,
                    end: end?,
                })
            }
            Kind::Removed => {
                let slot = self.slot();
                let end = self.ending();
                Some(Event::Removed {
                    slot: slot?,
                    end: end?,
                })
            }
            Kind::Inspected => {
                let slot = self.slot();
                self.must("finding");
                let finding = self.word_if("finding", Finding::WORDS, Finding::from_word);
                let mode = self.text_if("mode");
                Some(Event::Inspected {
                    slot: slot?,
                    finding: finding?,
                    mode,
                })
            }
            Kind::Measured => {
                let slot = self.slot();
                let quantity = self.text("quantity");
                let value = self.number("value", None);
                let unit = self.text("unit");
                let zone = self.text_if("zone");
                let span = self.span();
                let new_value = self.number_if("new_value", None);
                Some(Event::Measured {
                    slot: slot?,
                    quantity: quantity?,
                    value: value?,
                    unit: unit?,
                    zone,
                    span,
                    new_value,
                })
            }
            Kind::Job => self.job(source),
            Kind::Expense => {
                self.must("cost");
                let cost = self.money_if("cost");
                let what = self.text("what");
                Some(Event::Expense {
                    cost: cost?,
                    what: what?,
                })
            }
            Kind::Withdrawn => {
                self.must("entry_sha");
                let named = self.text_at("entry_sha");
                if let Some((text, span)) = &named {
                    let hex = text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
                    if !hex || !(12..=64).contains(&text.len()) {
                        let kind = LineFaultKind::OutOfDomain {
                            key: "entry_sha",
                            found: text.to_string(),
                            domain: "12 to 64 hex digits (lower case)",
                        };
                        self.fault(span.clone(), kind);
                    }
                }
                let why = self.text("why");
                Some(Event::Withdrawn {
                    entry_sha: named?.0.into_owned(),
                    why: why?,
                })
            }
        }
    }

    fn span(&mut self) -> Option<Number> {
        let span = self.number_if("span", Some(0.0))?;
        if span.get() > 0.0 {
            return Some(span);
        }
        let kind = LineFaultKind::OutOfDomain {
            key: "span",
            found: span.to_string(),
            domain: "a length in metres, above 0",
        };
        let place = self.get("span").map_or(0..1, |(_, place)| place);
        self.fault(place, kind);
        None
    }

    fn job(&mut self, source: Source<'_>) -> Option<Event> {
        let start = self.time("start", source);
        let stop = self.time("stop", source);
        if let (Some(start), Some(stop), Some((_, span))) = (start, stop, self.get("stop"))
            && stop < start
        {
            self.fault(span, LineFaultKind::StopsBeforeStart);
        }
        self.must("kind");
        let kind = self.word_if("kind", JobKind::WORDS, JobKind::from_word);
        let labour_h = self.number("labour_h", Some(0.0));
        let downtime_h = self.number("downtime_h", Some(0.0));
        let cost = self.money_if("cost");
        Some(Event::Job {
            start: start?,
            stop: stop?,
            kind: kind?,
            labour_h: labour_h?,
            downtime_h: downtime_h?,
            cost,
        })
    }
}
