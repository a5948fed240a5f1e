//! Models: life distributions, their likelihood, and what the data say of them.
//!
//! In: a checked [`crate::life::Sample`]. Out: fits, limits, posteriors, plotting positions.
//! Never: machines, dates, money, files, clock, SQL, printing.
//!
//! Symbols used in this room: `t` usage, `k` Weibull shape, `η` scale, `a = ln η`,
//! `b = ln k`, `z = k(ln t − a)`, so that the cumulative hazard is `H = e^z` and the
//! reliability `R = e^(−H)`. All searches run in `(a, b)`, where the likelihood is
//! smooth and a change of units only shifts `a`.

pub mod bend;
pub mod common_shape;
pub mod compare;
pub mod distribution;
pub mod examine;
pub mod family;
pub mod fit;
pub mod fit_error;
pub mod goodness;
pub mod group;
pub mod life_ratio;
pub mod likelihood;
pub mod limits;
pub mod location;
pub mod models;
pub mod modes;
pub mod nonparametric;
pub mod numeric;
pub mod partial;
pub mod pooling;
pub mod posterior;
pub mod progressive;
pub mod rank_regression;
pub mod ranks;
mod slice;
pub mod stated;
pub mod target;
pub mod trend;
pub mod weibull;

pub use fit::{FitError, WeibullFit, fit_weibull};
pub use limits::{Limits, LimitsKind};
pub use target::Target;
pub use weibull::Weibull;
