//! A stop of one machine, as a work sheet needs it: what is opened, what lies open then, and
//! what is known of each slot.
//!
//! In: nothing. Out: plain structs that a command fills from a plan, or from register and store.
//! Never: choosing what is renewed.

use chrono::NaiveDate;

use crate::book::Reason;
use crate::register::Register;

/// One stop of one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// The machine's tag in its register.
    pub machine: String,
    /// On the plant's calendar.
    pub day: NaiveDate,
    /// The day the ledger was taken at.
    pub as_of: NaiveDate,
    /// Every meter to be read.
    pub meters: Vec<MeterAtStop>,
    /// In working order.
    pub openings: Vec<Opening>,
    pub kit: Vec<Kit>,
}

/// A meter, and what it should show at the stop.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterAtStop {
    /// Id of the usage.
    pub meter: String,
    /// As the meter shows it; `None` where its readings do not tell.
    pub expected: Option<f64>,
}

/// One access opened once: one cylinder's cap, or what needs no strip-down.
#[derive(Debug, Clone, PartialEq)]
pub struct Opening {
    /// Id of the access; `None` for slots that no access covers.
    pub access: Option<String>,
    /// A position up to its first dot: "P2".
    pub cylinder: String,
    pub slots: Vec<SlotAtStop>,
}

/// A slot that lies open at the stop.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SlotAtStop {
    pub component: String,
    pub position: String,
    /// Usage on its item at the stop, in the component's usage; `None` where it is not known.
    pub age: Option<f64>,
    /// Nothing is in it.
    pub empty: bool,
    pub renewal: Option<Renewal>,
    /// Part number to put in.
    pub part: Option<String>,
    /// The last readings of the item in place.
    pub last: Vec<LastReading>,
    /// Usage left to a limit, in words.
    pub trend: Option<String>,
}

/// A renewal that the stop is planned with.
#[derive(Debug, Clone, PartialEq)]
pub struct Renewal {
    /// What the record will say unless something worse is found.
    pub reason: Reason,
    /// In words: "2,140 h, due at 2,000 h".
    pub why: String,
}

/// The last reading of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct LastReading {
    pub quantity: String,
    pub zone: Option<String>,
    /// As it was recorded.
    pub value: String,
    pub unit: String,
    /// On the plant's calendar.
    pub day: NaiveDate,
    /// "within the limit", in words.
    pub verdict: Option<String>,
}

/// What to take along of one part.
#[derive(Debug, Clone, PartialEq)]
pub struct Kit {
    pub component: String,
    /// `None` where the register names no part.
    pub part: Option<String>,
    pub pieces: u32,
}

/// The parts that the planned renewals of a machine take, in the order of the openings.
pub fn kit(register: &Register, tag: &str, openings: &[Opening]) -> Vec<Kit> {
    let mut kit: Vec<Kit> = Vec::new();
    let slots = openings.iter().flat_map(|opening| &opening.slots);
    for slot in slots.filter(|slot| slot.renewal.is_some()) {
        let pieces = register.pieces_at(tag, &slot.component, &slot.position);
        let same = |line: &&mut Kit| line.component == slot.component && line.part == slot.part;
        match kit.iter_mut().find(same) {
            Some(line) => line.pieces += pieces,
            None => kit.push(Kit {
                component: slot.component.clone(),
                part: slot.part.clone(),
                pieces,
            }),
        }
    }
    kit
}
