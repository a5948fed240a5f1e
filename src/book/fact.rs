//! What checking needs of an entry, in few bytes: a million of them fit in memory
//! beside their books.
//!
//! In: entries. Out: [`Fact`]s, their texts as numbers of [`Names`].
//! Never: what is only shown (notes, parts, batches).

use super::entry::{Ending, Entry, Event, Finding, Item, Kind, Reason, SlotName};
use super::names::{Id, Names, Renamed};
use crate::quantity::{Number, Unit};

/// One line of a book.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fact {
    /// Seconds since 1970 began, UTC.
    pub time: i64,
    pub logged: i64,
    /// Index of the book.
    pub book: u32,
    /// Line in it, from 1.
    pub line: u32,
    pub machine: Id,
    pub job: Id,
    pub what: What,
}

#[derive(Debug, Clone, Copy)]
pub(super) enum What {
    /// A line that cannot be read.
    Unreadable,
    Opened,
    Reading {
        meter: u32,
        value: Number,
        reset: bool,
    },
    Installed {
        slot: u32,
        item: Put,
    },
    Replaced {
        slot: u32,
        item: Put,
        end: End,
    },
    Removed {
        slot: u32,
        end: End,
    },
    Inspected {
        slot: u32,
        finding: Finding,
        with_mode: bool,
    },
    Measured {
        slot: u32,
        quantity: Id,
        zone: Id,
        /// In the base unit of its dimension; NaN where the unit is not known.
        value: f64,
    },
    Job,
    Expense,
    Withdrawn {
        /// The digits it names.
        digits: Id,
    },
}

/// The item put in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Put {
    pub serial: Id,
    pub pieces: Option<u32>,
    pub age: Worn,
}

/// Whether the item put in was new.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Worn {
    New,
    Used,
    Unknown,
}

/// How the old one's life in the slot ended.
#[derive(Debug, Clone, Copy)]
pub(super) struct End {
    pub reason: Reason,
    pub with_mode: bool,
}

impl Fact {
    pub(super) fn of<S: AsRef<str>>(entry: &Entry<S>, names: &mut Names) -> Fact {
        let machine = names.id_if(entry.machine.as_ref());
        Fact {
            time: entry.time.timestamp(),
            logged: entry.logged.timestamp(),
            book: 0,
            line: 0,
            machine,
            job: names.id_if(entry.job.as_ref()),
            what: what(&entry.event, machine, names),
        }
    }

    pub(super) fn unreadable() -> Fact {
        Fact {
            time: i64::MIN,
            logged: i64::MIN,
            book: 0,
            line: 0,
            machine: Id::NONE,
            job: Id::NONE,
            what: What::Unreadable,
        }
    }

    /// The same, its names called as another table calls them.
    pub(super) fn renamed(mut self, names: &Renamed) -> Fact {
        names.id(&mut self.machine);
        names.id(&mut self.job);
        match &mut self.what {
            What::Reading { meter, .. } => names.meter(meter),
            What::Installed { slot, item } => {
                names.slot(slot);
                names.id(&mut item.serial);
            }
            What::Replaced { slot, item, .. } => {
                names.slot(slot);
                names.id(&mut item.serial);
            }
            What::Removed { slot, .. } | What::Inspected { slot, .. } => names.slot(slot),
            What::Measured {
                slot,
                quantity,
                zone,
                ..
            } => {
                names.slot(slot);
                names.id(quantity);
                names.id(zone);
            }
            What::Withdrawn { digits } => names.id(digits),
            What::Unreadable | What::Opened | What::Job | What::Expense => {}
        }
        self
    }

    /// `None` for a line that cannot be read.
    pub(super) fn kind(&self) -> Option<Kind> {
        Some(match self.what {
            What::Unreadable => return None,
            What::Opened => Kind::Opened,
            What::Reading { .. } => Kind::Reading,
            What::Installed { .. } => Kind::Installed,
            What::Replaced { .. } => Kind::Replaced,
            What::Removed { .. } => Kind::Removed,
            What::Inspected { .. } => Kind::Inspected,
            What::Measured { .. } => Kind::Measured,
            What::Job => Kind::Job,
            What::Expense => Kind::Expense,
            What::Withdrawn { .. } => Kind::Withdrawn,
        })
    }

    pub(super) fn slot(&self) -> Option<u32> {
        match self.what {
            What::Installed { slot, .. }
            | What::Replaced { slot, .. }
            | What::Removed { slot, .. }
            | What::Inspected { slot, .. }
            | What::Measured { slot, .. } => Some(slot),
            _ => None,
        }
    }

    pub(super) fn item(&self) -> Option<Put> {
        match self.what {
            What::Installed { item, .. } | What::Replaced { item, .. } => Some(item),
            _ => None,
        }
    }

    pub(super) fn end(&self) -> Option<End> {
        match self.what {
            What::Replaced { end, .. } | What::Removed { end, .. } => Some(end),
            _ => None,
        }
    }

    /// Whether it may be withdrawn: first lines and withdrawals stand for ever.
    pub(super) fn may_be_withdrawn(&self) -> bool {
        !matches!(self.what, What::Opened | What::Withdrawn { .. })
    }

    /// Whether it tells of the plant rather than of the book.
    pub(super) fn tells(&self) -> bool {
        self.may_be_withdrawn() && !matches!(self.what, What::Unreadable)
    }
}

fn what<S: AsRef<str>>(event: &Event<S>, machine: Id, names: &mut Names) -> What {
    let mut slot_of = |slot: &SlotName<S>| {
        let component = names.id(slot.component.as_ref());
        let position = names.id(slot.position.as_ref());
        names.slot((machine, component, position))
    };
    match event {
        Event::Opened { .. } => What::Opened,
        Event::Reading {
            meter,
            value,
            reset,
        } => {
            let meter = names.id(meter.as_ref());
            What::Reading {
                meter: names.meter((machine, meter)),
                value: *value,
                reset: *reset,
            }
        }
        Event::Installed { slot, item } => What::Installed {
            slot: slot_of(slot),
            item: put(item, names),
        },
        Event::Replaced { slot, item, end } => What::Replaced {
            slot: slot_of(slot),
            item: put(item, names),
            end: ended(end),
        },
        Event::Removed { slot, end } => What::Removed {
            slot: slot_of(slot),
            end: ended(end),
        },
        Event::Inspected {
            slot,
            finding,
            mode,
        } => What::Inspected {
            slot: slot_of(slot),
            finding: *finding,
            with_mode: mode.is_some(),
        },
        Event::Measured {
            slot,
            quantity,
            value,
            unit,
            zone,
            ..
        } => What::Measured {
            slot: slot_of(slot),
            quantity: names.id(quantity.as_ref()),
            zone: names.id_if(zone.as_ref()),
            value: Unit::parse(unit.as_ref()).map_or(f64::NAN, |unit| unit.to_base(value.get())),
        },
        Event::Job { .. } => What::Job,
        Event::Expense { .. } => What::Expense,
        Event::Withdrawn { entry_sha, .. } => What::Withdrawn {
            digits: names.id(entry_sha.as_ref()),
        },
    }
}

fn put<S: AsRef<str>>(item: &Item<S>, names: &mut Names) -> Put {
    Put {
        serial: names.id_if(item.serial.as_ref()),
        pieces: item.pieces,
        age: match item.age.usage() {
            None => Worn::Unknown,
            Some(age) if age > 0.0 => Worn::Used,
            Some(_) => Worn::New,
        },
    }
}

fn ended<S>(end: &Ending<S>) -> End {
    End {
        reason: end.reason,
        with_mode: end.mode.is_some(),
    }
}
