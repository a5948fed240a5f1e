//! The rooms that read what comes from outside, without the rest of the program: fuzzing them
//! must not compile DuckDB. The sources are the program's own.

#![allow(dead_code, unused_imports)] // rooms are taken whole

#[path = "../../src/quantity/mod.rs"]
pub mod quantity;

#[path = "../../src/life/mod.rs"]
pub mod life;

#[path = "../../src/model/mod.rs"]
pub mod model;

#[path = "../../src/wear/mod.rs"]
pub mod wear;

#[path = "../../src/register/mod.rs"]
pub mod register;

#[path = "../../src/book/mod.rs"]
pub mod book;

#[path = "../../src/intake/mod.rs"]
pub mod intake;

/// Where the bodies look for the rooms.
mod rooms {
    pub use crate::{book, intake, life, quantity, register};
}

#[path = "../../tests/fuzz_bodies/mod.rs"]
pub mod fuzz_bodies;
