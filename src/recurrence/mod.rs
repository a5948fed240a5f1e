//! Recurrence: events of repairable units over their usage.
//!
//! In: [`Units`], checked once: when each was watched, and at which usages it had events.
//! Out: mean cumulative function, trend tests, power law with limits.
//! Never: machines, dates, files, clock, SQL, printing.
//!
//! Symbols used in this room: a unit is watched over the window `(s, e]` (late entry where
//! `s > 0`) and has events at usages `t`; `M(t)` expected events of one unit up to `t`,
//! `λ(t)` their intensity `dM/dt`. A repairable unit goes on after an event, so its events
//! are no sample of lives: they say how the whole unit develops, where a life distribution
//! says how one part ages (Ascher & Feingold, *Repairable Systems Reliability*, 1984).

pub mod analysis;
pub mod fit_test;
pub mod intensity;
pub mod mcf;
pub mod power_law;
pub mod rates;
pub mod trend;
pub mod units;
mod window;

pub use analysis::Analysis;
pub use mcf::{Step, mean_cumulative};
pub use power_law::{PowerLaw, PowerLawError, fit_power_law};
pub use rates::{RateLimits, RateRatio, rate_limits, rate_ratio};
pub use trend::{Trend, TrendTest, Verdict, trend};
pub use units::{Truncation, Unit, UnitError, Units};
