//! Numbers: the models and policies against published values, identities and simulation.

#[path = "../common/mod.rs"]
mod common;
mod hard;
mod identities;
mod model;
mod partial;
mod policy;
mod pooling_study;
mod study;
