//! Books and ledgers: what is written is what is read, nothing is lost, nothing wrong
//! is let in, and two programs at once do not harm each other.

#[path = "ledger/bench.rs"]
mod bench;

#[path = "ledger/amend.rs"]
mod amend;
#[path = "ledger/appending.rs"]
mod appending;
#[path = "ledger/commands.rs"]
mod commands;
#[path = "ledger/damage.rs"]
mod damage;
#[path = "ledger/faults.rs"]
mod faults;
#[path = "ledger/faulty.rs"]
mod faulty;
#[path = "ledger/fuzz.rs"]
mod fuzz;
mod fuzz_bodies;
#[path = "ledger/history.rs"]
mod history;
#[path = "ledger/kills.rs"]
mod kills;
#[path = "ledger/lines.rs"]
mod lines;
#[path = "ledger/merge.rs"]
mod merge;
#[path = "ledger/processes.rs"]
mod processes;
#[path = "ledger/register.rs"]
mod register;
#[path = "ledger/seal.rs"]
mod seal;

/// Where the bodies of the fuzz targets look for the rooms.
mod rooms {
    pub use wearbook::{book, intake, life, quantity, register};
}
