//! The ten kinds of entry, and how one is written as a line.

use std::borrow::Cow;
use std::fmt;

use chrono::{DateTime, Utc};
use rust_decimal::Decimal;

use super::json::write_text;
use super::sha::Sha;
use crate::quantity::Number;
use crate::quantity::time::format_utc;

/// One entry of a book. Times are whole seconds. Its texts are its own, or borrowed from
/// the line it was read from (`S` a `Cow<str>`).
#[derive(Debug, Clone, PartialEq)]
pub struct Entry<S = String> {
    /// When it happened.
    pub time: DateTime<Utc>,
    /// When it was written down.
    pub logged: DateTime<Utc>,
    pub who: S,
    /// The machine's tag. Never on `opened` and `withdrawn`; may be missing on
    /// `expense`; always there on the others.
    pub machine: Option<S>,
    pub event: Event<S>,
    /// The job it was done in. On a `job` entry: the job's own id, always there.
    pub job: Option<S>,
    pub note: Option<S>,
    /// The row it was imported from. Never on `opened` and `withdrawn`.
    pub source: Option<Source<S>>,
}

/// The row of a file that an entry was made from, written `FILE:ROW:DIGEST`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Source<S = String> {
    /// Name of the file, without its folders; with a workbook's sheet after a `/`.
    pub file: S,
    /// Row of the file, counted from 1, headings included.
    pub row: u64,
    /// 12 to 64 hex digits of the SHA-256 of what the row held.
    pub digest: S,
}

impl<S> Source<S> {
    /// Reads the form that books write; `None` for any other.
    pub fn parse<'a>(text: impl Into<Cow<'a, str>>) -> Option<Source<S>>
    where
        S: From<Cow<'a, str>>,
    {
        let (file, row, digest) = match text.into() {
            Cow::Borrowed(text) => {
                let (file, row, digest) = source_parts(text)?;
                (Cow::Borrowed(file), row, Cow::Borrowed(digest))
            }
            Cow::Owned(text) => {
                let (file, row, digest) = source_parts(&text)?;
                (
                    Cow::Owned(file.to_owned()),
                    row,
                    Cow::Owned(digest.to_owned()),
                )
            }
        };
        Some(Source {
            file: file.into(),
            row,
            digest: digest.into(),
        })
    }
}

fn source_parts(text: &str) -> Option<(&str, u64, &str)> {
    let (rest, digest) = text.rsplit_once(':')?;
    let (file, row) = rest.rsplit_once(':')?;
    let hex = digest
        .bytes()
        .all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
    let plain = row.bytes().all(|b| b.is_ascii_digit()) && !row.starts_with('0');
    if file.is_empty() || !plain || !hex || !(12..=64).contains(&digest.len()) {
        return None;
    }
    Some((file, row.parse().ok()?, digest))
}

impl<S: AsRef<str>> fmt::Display for Source<S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (file, digest) = (self.file.as_ref(), self.digest.as_ref());
        write!(f, "{file}:{}:{digest}", self.row)
    }
}

/// What an entry states.
#[derive(Debug, Clone, PartialEq)]
pub enum Event<S = String> {
    /// First line of every book.
    Opened { book: S, format: u32 },
    /// A meter was read; with `reset` it was exchanged or zeroed, and `value` is its
    /// new start.
    Reading {
        meter: S,
        value: Number,
        reset: bool,
    },
    /// An item was put into an empty slot.
    Installed { slot: SlotName<S>, item: Item<S> },
    /// An item was taken out and another put in.
    Replaced {
        slot: SlotName<S>,
        item: Item<S>,
        end: Ending<S>,
    },
    /// An item was taken out and nothing put in.
    Removed { slot: SlotName<S>, end: Ending<S> },
    /// An item was looked at in its slot.
    Inspected {
        slot: SlotName<S>,
        finding: Finding,
        mode: Option<S>,
    },
    /// A quantity of an item was measured.
    Measured {
        slot: SlotName<S>,
        quantity: S,
        value: Number,
        unit: S,
        zone: Option<S>,
        /// Length the reading was taken over, in metres.
        span: Option<Number>,
        /// The same quantity on a new part, in the same unit.
        new_value: Option<Number>,
    },
    /// A piece of work; other entries carry its id.
    Job {
        start: DateTime<Utc>,
        stop: DateTime<Utc>,
        kind: JobKind,
        labour_h: Number,
        downtime_h: Number,
        /// Cost beside parts, labour and downtime.
        cost: Option<Decimal>,
    },
    /// Money spent.
    Expense { cost: Decimal, what: S },
    /// An earlier entry is withdrawn. `entry_sha` is 64 hex digits, or at least 12
    /// where unique.
    Withdrawn { entry_sha: S, why: S },
}

/// A slot of the entry's machine.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct SlotName<S = String> {
    pub component: S,
    pub position: S,
}

/// The item put in. All but the age may be unknown.
#[derive(Debug, Clone, PartialEq)]
pub struct Item<S = String> {
    /// Part number.
    pub part: Option<S>,
    /// How many pieces it took.
    pub pieces: Option<u32>,
    pub batch: Option<S>,
    pub serial: Option<S>,
    pub age: Age,
}

/// New, and nothing else known.
impl<S> Default for Item<S> {
    fn default() -> Item<S> {
        Item {
            part: None,
            pieces: None,
            batch: None,
            serial: None,
            age: Age::New,
        }
    }
}

/// Usage already on an item when it was put in, in its component's usage.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Age {
    /// Not stated: new.
    #[default]
    New,
    /// Stated; 0 is new.
    Known(Number),
    /// Stated as unknown (`null`).
    Unknown,
}

impl Age {
    /// The usage; `None` if unknown.
    pub fn usage(self) -> Option<f64> {
        match self {
            Age::New => Some(0.0),
            Age::Known(age) => Some(age.get()),
            Age::Unknown => None,
        }
    }
}

/// How the old item's life in the slot ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Ending<S = String> {
    pub reason: Reason,
    pub mode: Option<S>,
    /// Always there if the reason is `failed` or `worn`.
    pub found: Option<Found>,
}

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[$vdoc])* $variant),+ }

        impl $name {
            /// All its words as books write them.
            pub const WORDS: &'static [&'static str] = &[$($word),+];

            /// The word as books write it.
            pub fn word(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }

            /// The value a word stands for.
            pub fn from_word(word: &str) -> Option<$name> {
                match word { $($word => Some($name::$variant),)+ _ => None }
            }
        }
    };
}

words! {
    /// Why an item was taken out.
    Reason {
        /// It lost its function.
        Failed = "failed",
        /// Beyond its limit, or condemned at inspection.
        Worn = "worn",
        Planned = "planned",
        /// Changed because it was exposed.
        Opportunity = "opportunity",
        /// By handling or by another part.
        Damaged = "damaged",
        ChangedType = "changed-type",
    }
}

words! {
    /// How a failure came to light.
    Found {
        Running = "running",
        Inspection = "inspection",
    }
}

words! {
    /// What an inspection found.
    Finding {
        Sound = "sound",
        Worn = "worn",
        Failed = "failed",
    }
}

words! {
    /// What a job was for.
    JobKind {
        Corrective = "corrective",
        Preventive = "preventive",
    }
}

words! {
    /// The kinds of entry.
    Kind {
        Opened = "opened",
        Reading = "reading",
        Installed = "installed",
        Replaced = "replaced",
        Removed = "removed",
        Inspected = "inspected",
        Measured = "measured",
        Job = "job",
        Expense = "expense",
        Withdrawn = "withdrawn",
    }
}

impl<S> Event<S> {
    /// Its kind.
    pub fn kind(&self) -> Kind {
        match self {
            Event::Opened { .. } => Kind::Opened,
            Event::Reading { .. } => Kind::Reading,
            Event::Installed { .. } => Kind::Installed,
            Event::Replaced { .. } => Kind::Replaced,
            Event::Removed { .. } => Kind::Removed,
            Event::Inspected { .. } => Kind::Inspected,
            Event::Measured { .. } => Kind::Measured,
            Event::Job { .. } => Kind::Job,
            Event::Expense { .. } => Kind::Expense,
            Event::Withdrawn { .. } => Kind::Withdrawn,
        }
    }

    /// The slot it is about.
    pub fn slot(&self) -> Option<&SlotName<S>> {
        match self {
            Event::Installed { slot, .. }
            | Event::Replaced { slot, .. }
            | Event::Removed { slot, .. }
            | Event::Inspected { slot, .. }
            | Event::Measured { slot, .. } => Some(slot),
            _ => None,
        }
    }

    /// The item it puts in.
    pub fn item(&self) -> Option<&Item<S>> {
        match self {
            Event::Installed { item, .. } | Event::Replaced { item, .. } => Some(item),
            _ => None,
        }
    }

    /// How it ends the life of the item taken out.
    pub fn ending(&self) -> Option<&Ending<S>> {
        match self {
            Event::Replaced { end, .. } | Event::Removed { end, .. } => Some(end),
            _ => None,
        }
    }
}

impl<S: AsRef<str>> Entry<S> {
    /// The entry as a line, without LF: keys in their fixed order, numbers as given.
    /// Reading the line back gives the same entry.
    pub fn line(&self, prev: Sha) -> String {
        let mut line = Line(String::with_capacity(256));
        line.0.push_str("{\"prev\":\"");
        line.0.push_str(&prev.to_string());
        line.0.push('"');
        line.text("entry", self.event.kind().word());
        line.time("time", self.time);
        line.time("logged", self.logged);
        line.text("who", self.who.as_ref());
        line.text_if("machine", self.machine.as_ref());
        let is_job = matches!(self.event, Event::Job { .. });
        if is_job {
            line.text_if("job", self.job.as_ref());
        }
        line.event(&self.event);
        if !is_job {
            line.text_if("job", self.job.as_ref());
        }
        line.text_if("note", self.note.as_ref());
        if let Some(source) = &self.source {
            line.text("source", &source.to_string());
        }
        line.0.push('}');
        line.0
    }
}

struct Line(String);

impl Line {
    fn key(&mut self, key: &str) {
        self.0.push_str(",\"");
        self.0.push_str(key);
        self.0.push_str("\":");
    }

    fn plain(&mut self, key: &str, value: &str) {
        self.key(key);
        self.0.push_str(value);
    }

    fn text(&mut self, key: &str, value: &str) {
        self.key(key);
        write_text(value, &mut self.0);
    }

    fn text_if<S: AsRef<str>>(&mut self, key: &str, value: Option<&S>) {
        if let Some(value) = value {
            self.text(key, value.as_ref());
        }
    }

    fn time(&mut self, key: &str, value: DateTime<Utc>) {
        self.text(key, &format_utc(value));
    }

    fn number(&mut self, key: &str, value: Number) {
        self.plain(key, &value.to_string());
    }

    fn number_if(&mut self, key: &str, value: Option<Number>) {
        if let Some(value) = value {
            self.number(key, value);
        }
    }

    fn slot<S: AsRef<str>>(&mut self, slot: &SlotName<S>) {
        self.text("component", slot.component.as_ref());
        self.text("position", slot.position.as_ref());
    }

    fn item<S: AsRef<str>>(&mut self, item: &Item<S>) {
        self.text_if("part", item.part.as_ref());
        if let Some(pieces) = item.pieces {
            self.plain("pieces", &pieces.to_string());
        }
        self.text_if("batch", item.batch.as_ref());
        self.text_if("serial", item.serial.as_ref());
        match item.age {
            Age::New => {}
            Age::Known(age) => self.number("age", age),
            Age::Unknown => self.plain("age", "null"),
        }
    }

    fn ending<S: AsRef<str>>(&mut self, end: &Ending<S>) {
        self.text("reason", end.reason.word());
        self.text_if("mode", end.mode.as_ref());
        self.text_if("found", end.found.map(Found::word).as_ref());
    }

    fn event<S: AsRef<str>>(&mut self, event: &Event<S>) {
        match event {
            Event::Opened { book, format } => {
                self.text("book", book.as_ref());
                self.plain("format", &format.to_string());
            }
            Event::Reading {
                meter,
                value,
                reset,
            } => {
                self.text("meter", meter.as_ref());
                self.number("value", *value);
                if *reset {
                    self.plain("reset", "true");
                }
            }
            Event::Installed { slot, item } => {
                self.slot(slot);
                self.item(item);
            }
            Event::Replaced { slot, item, end } => {
                self.slot(slot);
                self.item(item);
                self.ending(end);
            }
            Event::Removed { slot, end } => {
                self.slot(slot);
                self.ending(end);
            }
            Event::Inspected {
                slot,
                finding,
                mode,
            } => {
                self.slot(slot);
                self.text("finding", finding.word());
                self.text_if("mode", mode.as_ref());
            }
            Event::Measured {
                slot,
                quantity,
                value,
                unit,
                zone,
                span,
                new_value,
            } => {
                self.slot(slot);
                self.text("quantity", quantity.as_ref());
                self.number("value", *value);
                self.text("unit", unit.as_ref());
                self.text_if("zone", zone.as_ref());
                self.number_if("span", *span);
                self.number_if("new_value", *new_value);
            }
            Event::Job {
                start,
                stop,
                kind,
                labour_h,
                downtime_h,
                cost,
            } => {
                self.time("start", *start);
                self.time("stop", *stop);
                self.text("kind", kind.word());
                self.number("labour_h", *labour_h);
                self.number("downtime_h", *downtime_h);
                if let Some(cost) = cost {
                    self.plain("cost", &cost.to_string());
                }
            }
            Event::Expense { cost, what } => {
                self.plain("cost", &cost.to_string());
                self.text("what", what.as_ref());
            }
            Event::Withdrawn { entry_sha, why } => {
                self.text("entry_sha", entry_sha.as_ref());
                self.text("why", why.as_ref());
            }
        }
    }
}
