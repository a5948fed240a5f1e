//! Books: kinds of entry, the chain, reading, appending, withdrawing, torn tails.
//!
//! In: a ledger folder, entries to append, the time now. Out: checked entries, lines
//! on disk, and every fault found, as data. Never: clock, SQL, printing.

mod amend;
mod append;
mod chain;
mod conflict;
mod disk;
mod doubt;
mod entry;
mod error;
mod fact;
mod fleet;
mod history;
mod json;
mod keys;
mod ledger;
mod line_fault;
mod merge;
mod names;
mod parse;
mod quality;
mod quality_meters;
mod quality_sizes;
mod quality_slots;
mod rules;
mod scan;
mod seal;
mod seal_text;
mod sha;
mod sheet;
mod sieve;
mod state;
mod statement;
mod survey;

pub use amend::{Change, amendable_keys, differences, restate};
pub use append::{Appender, Recorded};
pub use chain::{Chain, ChainFault, LineName, follow, read_chain};
pub use conflict::{Conflict, Witness};
pub use disk::{Disk, DiskFile, LOCK_FILE, Lock, Opening, Patience, SetAside, SystemDisk};
pub use doubt::Doubt;
pub use entry::{
    Age, Ending, Entry, Event, Finding, Found, Item, JobKind, Kind, Reason, SlotName, Source,
};
pub use error::{BookError, Refusal, chain_trouble, conflict_trouble, line_trouble, place_of};
pub use fleet::{Together, ledger_folders, ledger_names};
pub use history::{SlotEntry, Told, slot_entries, slots_beside_register};
pub use ledger::{BOOKS, Book, Ledger, Placed, book_files};
pub use line_fault::{LineFault, LineFaultKind};
pub use merge::{Merge, MergeHow, Merged, Merging, merge};
pub use parse::{FORMAT, given_keys, parse_given_line, parse_line, value_span};
pub use quality::{Depth, look_over};
pub use seal::{Proof, Proved, Prover, Seal, SealedBook, seal};
pub use seal_text::{SealFault, SealFaultKind, read_seals};
pub use sha::Sha;
pub use sheet::{EMPTY_SLOT, SHEET_COLUMNS};
pub use sieve::Sieve;
pub use state::AHEAD;
pub use statement::statement;
pub use survey::{Survey, SurveyedBook};
