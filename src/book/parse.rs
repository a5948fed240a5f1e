//! From a line to an entry: strict, every fault of the line told with its bytes.

use std::borrow::Cow;
use std::cell::Cell;
use std::ops::Range;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::entry::{
    Age, Ending, Entry, Event, Finding, Found, Item, JobKind, Kind, Reason, SlotName,
    Source as RowSource,
};
use super::json::{Value, members};
use super::keys::Keys;
use super::line_fault::{LineFault, LineFaultKind};
use super::sha::Sha;
use crate::quantity::Number;

/// The book format this program writes and reads.
pub const FORMAT: u32 = 1;

/// How the line came about.
#[derive(Debug, Clone, Copy)]
pub enum Source<'a> {
    /// A line of a book: all keys as written, times in UTC only.
    Book,
    /// The same, its `prev` read already.
    Followed,
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

/// As [`parse_line`]; the texts are borrowed from the line. `prev` is what the chain found
/// at the head of the line.
pub(super) fn parse_in_place(
    line: &[u8],
    prev: Option<Sha>,
) -> Result<Entry<Cow<'_, str>>, Vec<LineFault>> {
    let source = match prev {
        Some(_) => Source::Followed,
        None => Source::Book,
    };
    parse(line, source).map(|(_, entry)| entry)
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

/// Every key that a line of this kind given for recording may have, its kind first.
pub fn given_keys(kind: Kind) -> impl Iterator<Item = &'static str> {
    known_keys(kind, false)
}

/// The bytes of the value of a key in a line, for pointing at it.
pub fn value_span(line: &[u8], key: &str) -> Option<Range<usize>> {
    let text = std::str::from_utf8(line).ok()?;
    let member = members(text).ok()?.into_iter().find(|m| m.key == key)?;
    Some(member.span)
}

const COMMON: &[&str] = &["prev", "entry", "time", "logged", "who", "machine"];
const GIVEN: &[&str] = &["entry", "time", "who", "machine"];

/// Every key an entry of this kind may have, in a book or given for recording.
pub(super) fn known_keys(kind: Kind, book: bool) -> impl Iterator<Item = &'static str> {
    let common = if book { COMMON } else { GIVEN };
    let machine = !matches!(kind, Kind::Opened | Kind::Withdrawn);
    common
        .iter()
        .copied()
        .filter(move |key| machine || *key != "machine")
        .chain(own_keys(kind).iter().copied())
}

/// The keys of a kind beside the common ones.
fn own_keys(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Opened => &["book", "format", "note"],
        Kind::Reading => &["meter", "value", "reset", "job", "note", "source"],
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
            "source",
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
            "source",
        ],
        Kind::Removed => &[
            "component",
            "position",
            "reason",
            "mode",
            "found",
            "job",
            "note",
            "source",
        ],
        Kind::Inspected => &[
            "component",
            "position",
            "finding",
            "mode",
            "job",
            "note",
            "source",
        ],
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
            "source",
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
            "source",
        ],
        Kind::Expense => &["cost", "what", "job", "note", "source"],
        Kind::Withdrawn => &["entry_sha", "why", "note"],
    }
}

fn parse<'a, S: From<Cow<'a, str>>>(
    line: &'a [u8],
    source: Source<'_>,
) -> Result<(Sha, Entry<S>), Vec<LineFault>> {
    let one = |kind, span| vec![LineFault { kind, span }];
    let text = std::str::from_utf8(line).map_err(|error| {
        let at = error.valid_up_to();
        one(LineFaultKind::NotUtf8, at..at + 1)
    })?;
    let all = members(text).map_err(|fault| {
        let expected = fault.expected;
        // Nothing stands at the end of a line that was cut.
        let from = text.floor_char_boundary(fault.at);
        let to = text.ceil_char_boundary(from + 1);
        one(LineFaultKind::NotJson { expected }, from..to)
    })?;
    let mut keys = Keys {
        all,
        end: text.len(),
        entry: "",
        faults: Vec::new(),
        next: Cell::new(0),
    };
    let Some(kind) = keys.kind() else {
        return Err(keys.faults);
    };
    keys.entry = kind.word();
    keys.look_over(kind, !matches!(source, Source::Given { .. }));
    let read = keys.read(kind, source);
    match read {
        Some(read) if keys.faults.is_empty() => Ok(read),
        _ => {
            keys.faults.sort_by_key(|fault| fault.span.start);
            Err(keys.faults)
        }
    }
}

impl<'a> Keys<'a> {
    fn slot<S: From<Cow<'a, str>>>(&mut self) -> Option<SlotName<S>> {
        let component = self.text("component");
        let position = self.text("position");
        Some(SlotName {
            component: component?,
            position: position?,
        })
    }

    fn item<S: From<Cow<'a, str>>>(&mut self) -> Item<S> {
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

    fn ending<S: From<Cow<'a, str>>>(&mut self) -> Option<Ending<S>> {
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

    fn read<S: From<Cow<'a, str>>>(
        &mut self,
        kind: Kind,
        source: Source<'_>,
    ) -> Option<(Sha, Entry<S>)> {
        let (prev, logged) = match source {
            Source::Book => (self.prev(), self.time("logged", source)),
            Source::Followed => (Some(Sha::ZERO), self.time("logged", source)),
            Source::Given { now, .. } => (Some(Sha::ZERO), Some(now)),
        };
        let time = match source {
            // What has no time of its own happened when it was recorded.
            Source::Given { now, .. } if self.get("time").is_none() => Some(now),
            _ => self.time("time", source),
        };
        let who = match source {
            Source::Given { who: Some(who), .. } if self.get("who").is_none() => {
                Some(S::from(Cow::Owned(who.to_owned())))
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
        let source = self.source();
        let entry = Entry {
            time: time?,
            logged: logged?,
            who: who?,
            machine,
            event: event?,
            job,
            note,
            source,
        };
        Some((prev?, entry))
    }

    fn source<S: From<Cow<'a, str>>>(&mut self) -> Option<RowSource<S>> {
        let (text, span) = self.text_at("source")?;
        let source = RowSource::parse(text.clone());
        if source.is_none() {
            let kind = LineFaultKind::OutOfDomain {
                key: "source",
                found: text.into_owned(),
                domain: "FILE:ROW:DIGEST, the digest of 12 to 64 hex digits",
            };
            self.fault(span, kind);
        }
        source
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

    fn event<S: From<Cow<'a, str>>>(&mut self, kind: Kind, source: Source<'_>) -> Option<Event<S>> {
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
                    entry_sha: named?.0.into(),
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

    fn job<S>(&mut self, source: Source<'_>) -> Option<Event<S>> {
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
