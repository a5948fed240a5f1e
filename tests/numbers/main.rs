//! Numbers: the models and policies against published values, identities and simulation.

#[path = "../common/mod.rs"]
mod common;
mod compare;
mod coverage;
mod hard;
mod identities;
mod model;
mod models;
mod modes;
mod naive;
mod nonparametric;
mod policy;
mod posterior_routes;
mod ranks;
mod study;
