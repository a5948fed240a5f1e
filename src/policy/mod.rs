//! Policies: when to renew, from a known life or from data.
//!
//! In: a life distribution or a posterior, and what renewals cost. Out: [`age::AgePolicy`],
//! [`decide::Decision`], [`recommend::Recommendation`], [`group::GroupPlan`], [`worth::Worth`],
//! [`uncertain::Uncertain`].
//! Never: clock, files, SQL, printing, currency.

pub mod age;
pub mod block;
pub mod calibration;
pub mod decide;
pub mod evidence;
pub mod forecast;
pub mod group;
pub mod inspect;
pub mod minimal;
pub mod modes;
pub mod practice;
pub mod recommend;
pub mod remaining;
pub mod renewal;
pub mod siblings;
pub mod stock;
pub mod uncertain;
pub mod worth;

pub use age::{AgePolicy, Costs, PolicyError, age_policy, cost_rate};
pub use block::block_policy;
pub use decide::{Decision, decide};
pub use minimal::minimal_repair;
pub use recommend::{Recommendation, Verdict, recommend};
pub use renewal::RenewalTable;
pub use uncertain::Uncertain;
