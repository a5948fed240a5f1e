//! Names met in a record, each kept once and known by a number: texts, meters of
//! machines, slots.
//!
//! In: texts. Out: numbers, small and quick to compare. Never: what a name means.

use std::sync::Arc;

use foldhash::HashMap;

/// The number of a text; [`Id::NONE`] for none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) struct Id(u32);

impl Id {
    pub(super) const NONE: Id = Id(u32::MAX);

    pub(super) fn is_some(self) -> bool {
        self != Id::NONE
    }

    /// For tables with a place for each text; `None` for no text.
    pub(super) fn place(self) -> Option<usize> {
        self.is_some().then_some(self.0 as usize)
    }
}

/// A slot: machine, component, position.
pub(super) type SlotKey = (Id, Id, Id);
/// A meter of a machine.
pub(super) type MeterKey = (Id, Id);

#[derive(Debug, Default)]
pub(super) struct Names {
    texts: Vec<Arc<str>>,
    ids: HashMap<Arc<str>, Id>,
    pub(super) slots: Vec<SlotKey>,
    slot_ids: HashMap<SlotKey, u32>,
    pub(super) meters: Vec<MeterKey>,
    meter_ids: HashMap<MeterKey, u32>,
}

/// More names than this would fill the memory long before.
fn number(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX - 1)
}

impl Names {
    pub(super) fn id(&mut self, text: &str) -> Id {
        if let Some(id) = self.ids.get(text) {
            return *id;
        }
        let id = Id(number(self.texts.len()));
        let text: Arc<str> = Arc::from(text);
        self.texts.push(text.clone());
        self.ids.insert(text, id);
        id
    }

    pub(super) fn id_if<S: AsRef<str>>(&mut self, text: Option<&S>) -> Id {
        text.map_or(Id::NONE, |text| self.id(text.as_ref()))
    }

    /// The number of a text that was met before.
    pub(super) fn known(&self, text: &str) -> Option<Id> {
        self.ids.get(text).copied()
    }

    /// The text; nothing for none.
    pub(super) fn text(&self, id: Id) -> &str {
        id.place()
            .and_then(|n| self.texts.get(n))
            .map_or("", |text| text)
    }

    /// How many texts there are.
    pub(super) fn len(&self) -> usize {
        self.texts.len()
    }

    pub(super) fn slot(&mut self, key: SlotKey) -> u32 {
        let next = number(self.slots.len());
        let slots = &mut self.slots;
        *self.slot_ids.entry(key).or_insert_with(|| {
            slots.push(key);
            next
        })
    }

    pub(super) fn meter(&mut self, key: MeterKey) -> u32 {
        let next = number(self.meters.len());
        let meters = &mut self.meters;
        *self.meter_ids.entry(key).or_insert_with(|| {
            meters.push(key);
            next
        })
    }

    pub(super) fn known_slot(&self, key: SlotKey) -> Option<u32> {
        self.slot_ids.get(&key).copied()
    }

    pub(super) fn known_meter(&self, key: MeterKey) -> Option<u32> {
        self.meter_ids.get(&key).copied()
    }

    /// "H-01 packing-set P1".
    pub(super) fn slot_name(&self, slot: u32) -> String {
        let Some((machine, component, position)) = self.slots.get(slot as usize) else {
            return String::new();
        };
        let (machine, component) = (self.text(*machine), self.text(*component));
        format!("{machine} {component} {}", self.text(*position))
    }

    /// Takes in the names of another table; tells how its numbers are called here.
    pub(super) fn take_in(&mut self, other: &Names) -> Renamed {
        let ids: Vec<Id> = other.texts.iter().map(|text| self.id(text)).collect();
        let of = |id: Id| id.place().map_or(Id::NONE, |n| ids[n]);
        let slots = other
            .slots
            .iter()
            .map(|(m, c, p)| self.slot((of(*m), of(*c), of(*p))))
            .collect();
        let meters = other
            .meters
            .iter()
            .map(|(machine, meter)| self.meter((of(*machine), of(*meter))))
            .collect();
        Renamed { ids, slots, meters }
    }
}

/// How the numbers of one table are called in another.
pub(super) struct Renamed {
    ids: Vec<Id>,
    slots: Vec<u32>,
    meters: Vec<u32>,
}

impl Renamed {
    pub(super) fn id(&self, id: &mut Id) {
        if let Some(n) = id.place() {
            *id = self.ids[n];
        }
    }

    pub(super) fn slot(&self, slot: &mut u32) {
        *slot = self.slots[*slot as usize];
    }

    pub(super) fn meter(&self, meter: &mut u32) {
        *meter = self.meters[*meter as usize];
    }
}
