//! Numbers: the models and policies against published values, identities and simulation.

mod bend;
mod bias;
mod block;
#[path = "../common/mod.rs"]
mod common;
mod compare;
mod coverage;
mod forecast;
mod goodness;
mod group;
mod hard;
mod hazard;
mod identities;
mod model;
mod models;
mod modes;
mod naive;
mod nonparametric;
mod partial;
mod policy;
mod pooling_study;
mod posterior_routes;
mod ranks;
mod rates;
mod recurrence;
mod renewal;
mod study;
mod trend;
mod wear;
