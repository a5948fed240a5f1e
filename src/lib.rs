//! wearbook keeps the record of what was measured, renewed and repaired on
//! high-pressure plunger machines, and turns that record into evidence: how long
//! each component lasts at each position, and when to renew it next.
//!
//! Data passes one way through the rooms of this house:
//!
//! ```text
//! register + book → store → life → model / recurrence / wear → policy / cost → plan → view / report / chart → command
//! ```
//!
//! | room | job |
//! | --- | --- |
//! | [`quantity`] | units, money, UTC time, and what a trouble is |
//! | [`wear`] | limit rules of measured quantities |
//! | [`register`] | `plant.toml`: what the plant has, with its limits, parts and rates |
//! | [`book`] | kinds of entry, the chain, reading, appending, withdrawing, torn tails |
//! | [`store`] | DuckDB: books loaded, `queries/` run, typed rows back |
//! | [`intake`] | files of other shapes to checked lives, and by a map to entries |
//! | [`life`] | what a life is: entry age, window, outcome, mode; a checked sample |
//! | [`model`] | distributions, likelihood, limits, posterior, ranks |
//! | [`recurrence`] | repairable view: mean cumulative function, trend tests, power law |
//! | [`cost`] | what one renewal costs, and where the figure comes from |
//! | [`policy`] | when to renew: optimum for known lives, decision from data |
//! | [`plan`] | due dates, stops, kits, orders, a calendar file |
//! | [`view`] | results as tables, JSON and CSV: the contract |
//! | [`chart`] | plain numbers to SVG pictures |
//! | [`report`] | the HTML page: words and figures as data, templates, style |
//! | [`simulate`] | a seeded plant with a known truth, written as a ledger |
//! | [`command`] | one file a command: read, compute, show |
//!
//! A room never imports one that stands later in that order; `tests/house.rs`
//! reads the sources and keeps the rule.

pub mod book;
pub mod chart;
pub mod command;
pub mod cost;
pub mod intake;
pub mod life;
pub mod model;
pub mod plan;
pub mod policy;
pub mod quantity;
pub mod recurrence;
pub mod register;
pub mod report;
pub mod simulate;
pub mod store;
pub mod view;
pub mod wear;
