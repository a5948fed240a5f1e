//! The flags of `record`, turned into the keys and values of an entry.

use clap::{Args, Subcommand};

use crate::book::{Finding, Found, JobKind, Kind, Reason};
use crate::quantity::number::is_json_number;

/// A kind of entry, with its flags.
#[derive(Debug, Subcommand)]
pub enum KindArgs {
    /// A meter was read
    Reading {
        /// Tag of the machine
        #[arg(long, value_name = "TAG")]
        machine: Option<String>,
        /// Meter: the id of a usage
        #[arg(long, value_name = "ID")]
        meter: Option<String>,
        /// What it showed
        #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
        value: Option<String>,
        /// The meter was exchanged or zeroed, and the value is its new start
        #[arg(long)]
        reset: bool,
        #[command(flatten)]
        common: Common,
    },
    /// An item was put into an empty slot
    Installed {
        #[command(flatten)]
        slot: SlotArgs,
        #[command(flatten)]
        item: ItemArgs,
        #[command(flatten)]
        common: Common,
    },
    /// An item was taken out and another put in
    Replaced {
        #[command(flatten)]
        slot: SlotArgs,
        #[command(flatten)]
        item: ItemArgs,
        #[command(flatten)]
        end: EndArgs,
        #[command(flatten)]
        common: Common,
    },
    /// An item was taken out and nothing put in
    Removed {
        #[command(flatten)]
        slot: SlotArgs,
        #[command(flatten)]
        end: EndArgs,
        #[command(flatten)]
        common: Common,
    },
    /// An item was looked at in its slot
    Inspected {
        #[command(flatten)]
        slot: SlotArgs,
        /// What was found
        #[arg(long, value_name = "WORD", value_parser = words(Finding::WORDS))]
        finding: Option<String>,
        /// Failure mode, one of the component's
        #[arg(long, value_name = "MODE")]
        mode: Option<String>,
        #[command(flatten)]
        common: Common,
    },
    /// A quantity of an item was measured
    Measured {
        #[command(flatten)]
        slot: SlotArgs,
        /// What was measured, as the register calls it
        #[arg(long, value_name = "NAME")]
        quantity: Option<String>,
        /// The reading
        #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
        value: Option<String>,
        /// Its unit (mm, in, thou, bar, psi, …)
        #[arg(long, value_name = "UNIT")]
        unit: Option<String>,
        /// Zone of the item
        #[arg(long, value_name = "NAME")]
        zone: Option<String>,
        /// Length the reading was taken over, in metres
        #[arg(long, value_name = "METRES")]
        span: Option<String>,
        /// The same quantity on a new part, in the same unit
        #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
        new_value: Option<String>,
        #[command(flatten)]
        common: Common,
    },
    /// A piece of work: its hours and cost
    Job {
        /// Tag of the machine
        #[arg(long, value_name = "TAG")]
        machine: Option<String>,
        /// Id of the job; the entries done in it carry the same
        #[arg(long, value_name = "ID")]
        job: Option<String>,
        /// When it began
        #[arg(long, value_name = "TIME")]
        start: Option<String>,
        /// When it was done
        #[arg(long, value_name = "TIME")]
        stop: Option<String>,
        /// What it was for
        #[arg(long, value_name = "WORD", value_parser = words(JobKind::WORDS))]
        kind: Option<String>,
        /// Hours of labour, all people together
        #[arg(long, value_name = "HOURS")]
        labour_h: Option<String>,
        /// Production hours lost
        #[arg(long, value_name = "HOURS")]
        downtime_h: Option<String>,
        /// Cost beside parts, labour and downtime
        #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
        cost: Option<String>,
        /// When it happened, as the other times (default: when it was done)
        #[arg(long, value_name = "TIME")]
        time: Option<String>,
        /// Anything worth keeping
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
    },
    /// Money was spent
    Expense {
        /// Tag of the machine, if it was for one
        #[arg(long, value_name = "TAG")]
        machine: Option<String>,
        /// How much
        #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
        cost: Option<String>,
        /// For what
        #[arg(long, value_name = "TEXT")]
        what: Option<String>,
        #[command(flatten)]
        common: Common,
    },
    /// A new book is opened, with nothing in it yet
    Opened,
}

#[derive(Debug, Args)]
pub struct SlotArgs {
    /// Tag of the machine
    #[arg(long, value_name = "TAG")]
    machine: Option<String>,
    /// Component, by its id
    #[arg(long, value_name = "ID")]
    component: Option<String>,
    /// Position on the machine
    #[arg(long, value_name = "NAME")]
    position: Option<String>,
}

#[derive(Debug, Args)]
pub struct ItemArgs {
    /// Part number of the item put in
    #[arg(long, value_name = "NUMBER")]
    part: Option<String>,
    /// Pieces put in
    #[arg(long, value_name = "COUNT")]
    pieces: Option<String>,
    /// Batch of the item put in
    #[arg(long, value_name = "NAME")]
    batch: Option<String>,
    /// Serial number of the item put in
    #[arg(long, value_name = "NUMBER")]
    serial: Option<String>,
    /// Usage already on the item put in, or `unknown` (default: new)
    #[arg(long, value_name = "USAGE")]
    age: Option<String>,
}

#[derive(Debug, Args)]
pub struct EndArgs {
    /// Why the old item was taken out
    #[arg(long, value_name = "WORD", value_parser = words(Reason::WORDS))]
    reason: Option<String>,
    /// Failure mode of the old item, one of the component's
    #[arg(long, value_name = "MODE")]
    mode: Option<String>,
    /// How a failure came to light (needed with `failed` and `worn`)
    #[arg(long, value_name = "WORD", value_parser = words(Found::WORDS))]
    found: Option<String>,
}

#[derive(Debug, Args)]
pub struct Common {
    /// Id of the job it was done in
    #[arg(long, value_name = "ID")]
    job: Option<String>,
    /// When it happened: plant time (2026-03-01 14:30) or with an offset (…Z) (default: now)
    #[arg(long, value_name = "TIME")]
    time: Option<String>,
    /// Anything worth keeping
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

fn words(all: &'static [&'static str]) -> clap::builder::PossibleValuesParser {
    clap::builder::PossibleValuesParser::new(all)
}

/// The keys and values of an entry on its way, values already in the form of JSON.
#[derive(Debug, Clone, Default)]
pub struct Keys(Vec<(&'static str, String)>);

/// Keys whose value is a number.
const NUMBERS: &[&str] = &[
    "value",
    "pieces",
    "age",
    "span",
    "new_value",
    "labour_h",
    "downtime_h",
    "cost",
];

/// What a person wrote for a key, as JSON: a number where the key takes one and it is one,
/// else a text, so that what is wrong with it can be told.
pub fn json_value(key: &str, given: &str) -> String {
    let given = given.trim();
    if key == "age" && given == "unknown" {
        return "null".to_owned();
    }
    let plain = match key {
        "reset" => matches!(given, "true" | "false"),
        _ => NUMBERS.contains(&key) && is_json_number(given),
    };
    if plain {
        given.to_owned()
    } else {
        // A text always has a JSON form.
        serde_json::to_string(given).unwrap_or_default()
    }
}

impl Keys {
    /// Sets a key from what a person wrote.
    pub fn set(&mut self, key: &'static str, given: &str) {
        let value = json_value(key, given);
        self.0.retain(|(other, _)| *other != key);
        self.0.push((key, value));
    }

    fn set_if(&mut self, key: &'static str, given: &Option<String>) {
        if let Some(given) = given {
            self.set(key, given);
        }
    }

    /// What a key was set to, as a person wrote it.
    pub fn get(&self, key: &str) -> Option<String> {
        let (_, value) = self.0.iter().find(|(other, _)| *other == key)?;
        Some(serde_json::from_str::<String>(value).unwrap_or_else(|_| value.clone()))
    }

    /// The line to be read as an entry.
    pub fn line(&self) -> String {
        let members = self
            .0
            .iter()
            .map(|(key, value)| format!("\"{key}\":{value}"));
        format!("{{{}}}", members.collect::<Vec<_>>().join(","))
    }

    fn slot(&mut self, slot: &SlotArgs) {
        self.set_if("machine", &slot.machine);
        self.set_if("component", &slot.component);
        self.set_if("position", &slot.position);
    }

    fn item(&mut self, item: &ItemArgs) {
        self.set_if("part", &item.part);
        self.set_if("pieces", &item.pieces);
        self.set_if("batch", &item.batch);
        self.set_if("serial", &item.serial);
        self.set_if("age", &item.age);
    }

    fn end(&mut self, end: &EndArgs) {
        self.set_if("reason", &end.reason);
        self.set_if("mode", &end.mode);
        self.set_if("found", &end.found);
    }

    fn common(&mut self, common: &Common) {
        self.set_if("job", &common.job);
        self.set_if("time", &common.time);
        self.set_if("note", &common.note);
    }
}

impl KindArgs {
    /// The kind, and its flags as keys.
    pub fn keys(&self) -> (Kind, Keys) {
        let mut keys = Keys::default();
        let kind = match self {
            KindArgs::Opened => Kind::Opened,
            KindArgs::Reading {
                machine,
                meter,
                value,
                reset,
                common,
            } => {
                keys.set_if("machine", machine);
                keys.set_if("meter", meter);
                keys.set_if("value", value);
                if *reset {
                    keys.0.push(("reset", "true".to_owned()));
                }
                keys.common(common);
                Kind::Reading
            }
            KindArgs::Installed { slot, item, common } => {
                keys.slot(slot);
                keys.item(item);
                keys.common(common);
                Kind::Installed
            }
            KindArgs::Replaced {
                slot,
                item,
                end,
                common,
            } => {
                keys.slot(slot);
                keys.item(item);
                keys.end(end);
                keys.common(common);
                Kind::Replaced
            }
            KindArgs::Removed { slot, end, common } => {
                keys.slot(slot);
                keys.end(end);
                keys.common(common);
                Kind::Removed
            }
            KindArgs::Inspected {
                slot,
                finding,
                mode,
                common,
            } => {
                keys.slot(slot);
                keys.set_if("finding", finding);
                keys.set_if("mode", mode);
                keys.common(common);
                Kind::Inspected
            }
            KindArgs::Measured {
                slot,
                quantity,
                value,
                unit,
                zone,
                span,
                new_value,
                common,
            } => {
                keys.slot(slot);
                keys.set_if("quantity", quantity);
                keys.set_if("value", value);
                keys.set_if("unit", unit);
                keys.set_if("zone", zone);
                keys.set_if("span", span);
                keys.set_if("new_value", new_value);
                keys.common(common);
                Kind::Measured
            }
            KindArgs::Job {
                machine,
                job,
                start,
                stop,
                kind,
                labour_h,
                downtime_h,
                cost,
                time,
                note,
            } => {
                keys.set_if("machine", machine);
                keys.set_if("job", job);
                keys.set_if("start", start);
                keys.set_if("stop", stop);
                keys.set_if("kind", kind);
                keys.set_if("labour_h", labour_h);
                keys.set_if("downtime_h", downtime_h);
                keys.set_if("cost", cost);
                keys.set_if("time", time);
                keys.set_if("note", note);
                Kind::Job
            }
            KindArgs::Expense {
                machine,
                cost,
                what,
                common,
            } => {
                keys.set_if("machine", machine);
                keys.set_if("cost", cost);
                keys.set_if("what", what);
                keys.common(common);
                Kind::Expense
            }
        };
        keys.set("entry", kind.word());
        (kind, keys)
    }
}
