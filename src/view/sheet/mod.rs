//! The work sheet of a stop as data: every line and every box, each with the short key that is
//! printed beside it and that its row in the sheet's CSV twin begins with.
//!
//! In: a register and a [`Stop`]. Out: [`Sheet`], for the page (`report::sheet`) and for
//! [`twin`]. Never: HTML, choosing what is renewed.

mod build;
mod stop;
mod twin;
mod words;

pub use build::sheet;
pub use stop::{Kit, LastReading, MeterAtStop, Opening, Renewal, SlotAtStop, Stop, kit};
pub use twin::{COLUMNS, twin};
pub use words::usage;

use serde::Serialize;

/// A work sheet, its words chosen and its figures rounded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sheet {
    pub plant: String,
    /// Tag and name of the machine.
    pub machine: String,
    pub machine_name: String,
    /// The day of the stop: "2026-07-06".
    pub day: String,
    /// The day the ledger was taken at.
    pub as_of: String,
    pub time_zone: String,
    /// Program and version.
    pub version: String,
    pub cautions: Vec<String>,
    /// Steps before anything is opened, and after all is closed.
    pub before: Vec<String>,
    pub after: Vec<String>,
    pub kit: Vec<KitLine>,
    pub tools: Vec<String>,
    /// Boxes of the stop as a whole.
    pub fields: Vec<Field>,
    /// In working order.
    pub accesses: Vec<AccessBlock>,
    /// Renewals that are planned.
    pub planned: usize,
}

/// A box of the stop as a whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Field {
    pub key: String,
    /// The twin's word for it.
    pub field: &'static str,
    /// Of a meter: its id.
    pub what: String,
    /// What stands before the box.
    pub label: String,
    pub unit: String,
    /// "about 12,480".
    pub hint: Option<String>,
    /// What the twin holds already.
    pub given: String,
}

/// Parts to take along.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KitLine {
    pub component: String,
    pub part: Option<String>,
    pub pieces: u32,
    /// Pieces on the shelf, where the register tells.
    pub stock: Option<u32>,
    /// The shelf does not hold them.
    pub short: bool,
}

/// What one access exposes, over all cylinders that are opened.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AccessBlock {
    /// `None` for slots that no access covers.
    pub name: Option<String>,
    /// Cylinders opened: "P1", "P2".
    pub opened: Vec<String>,
    pub steps: Vec<String>,
    pub components: Vec<ComponentBlock>,
}

/// One component under an access.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ComponentBlock {
    pub id: String,
    pub name: String,
    pub checks: Vec<String>,
    pub limits: Vec<String>,
    pub modes: Vec<String>,
    /// Why the planned ones are renewed, where that is the same for all: "planned: due at
    /// 2,000 h". A line's own `why` is then not shown.
    pub planned: Option<String>,
    pub slots: Vec<SlotLine>,
    /// Two slots fit on a line: there is at most one reading a slot, and no more than its value
    /// is asked for.
    pub narrow: bool,
    /// Its renewals are planned for different reasons, each told beside its slot.
    pub mixed: bool,
    /// What is measured, in words; `None` where nothing is.
    pub measured: Option<String>,
    /// Each box needs its quantity beside it, as there are several.
    pub labelled: bool,
}

/// One slot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SlotLine {
    pub key: String,
    pub position: String,
    /// "2,140 h"; `None` where it is not known.
    pub age: Option<String>,
    pub empty: bool,
    /// The word for the record, where a renewal is planned.
    pub planned: Option<&'static str>,
    pub why: Option<String>,
    pub part: Option<String>,
    pub trend: Option<String>,
    pub boxes: Vec<ReadingBox>,
}

/// A reading to take.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingBox {
    pub key: String,
    pub quantity: String,
    /// What stands beside the box: the quantity in words.
    pub label: String,
    pub zone: Option<String>,
    pub unit: String,
    /// The length it is taken over is to be written down too.
    pub span: bool,
    /// The same reading of a new part helps to judge it.
    pub new_value: bool,
    /// "0.12, 2026-05-06".
    pub last: Option<String>,
    pub verdict: Option<String>,
}
