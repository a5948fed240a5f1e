//! The columns of a work sheet's file: what `view` writes and `intake` reads.
//!
//! In: nothing. Out: names. Never: a cell.

/// In order. What follows `planned` is to be filled in.
pub const SHEET_COLUMNS: [&str; 21] = [
    "key",
    "machine",
    "access",
    "component",
    "position",
    "field",
    "what",
    "zone",
    "unit",
    "planned",
    "value",
    "span_m",
    "new_value",
    "finding",
    "mode",
    "renew",
    "reason",
    "part",
    "batch",
    "serial",
    "note",
];

/// What stands in the column `reason` of a slot that nothing was in.
pub const EMPTY_SLOT: &str = "empty";
