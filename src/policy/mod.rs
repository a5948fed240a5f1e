//! Policies: when to renew, from a known life or from data.
//!
//! In: a life distribution or a posterior, and what renewals cost. Out: [`age::AgePolicy`],
//! [`decide::Decision`], [`recommend::Recommendation`], [`worth::Worth`].
//! Never: clock, files, SQL, printing, currency.

pub mod age;
pub mod decide;
pub mod evidence;
pub mod inspect;
pub mod modes;
pub mod recommend;
pub mod siblings;
pub mod worth;

pub use age::{AgePolicy, Costs, PolicyError, age_policy, cost_rate};
pub use decide::{Decision, decide};
pub use recommend::{Recommendation, Verdict, recommend};
