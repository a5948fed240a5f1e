//! Numbers: the models and policies against published values, identities and simulation.

mod bend;
#[path = "../common/mod.rs"]
mod common;
mod goodness;
mod hard;
mod identities;
mod model;
mod nonparametric;
mod policy;
mod ranks;
mod study;
