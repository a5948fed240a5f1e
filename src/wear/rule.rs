//! Limit rules: what a reading is held against.

/// How a reading of one quantity is judged. Every number is in the unit of the
/// measurement it belongs to (`per metre` in that unit per metre), finite and > 0
/// except where a bare limit may be zero or below (a temperature).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LimitRule {
    /// The reading may not be above `limit`.
    AtMost { limit: f64 },
    /// The reading may not be below `limit`.
    AtLeast { limit: f64 },
    /// A new part's reading less this one may not be above `limit`.
    LossFromNewAtMost { limit: f64 },
    /// The reading divided by the length it was taken over (m) may not be above `limit`.
    PerMetreAtMost { limit: f64 },
    /// The same clearance in the zones [`LimitRule::WORKING`] and [`LimitRule::UNWORN`]:
    /// a difference of at most `small` means that the mating part wore too.
    Paired { small: f64 },
}

impl LimitRule {
    /// The zone of a paired reading where the parts run on each other.
    pub const WORKING: &'static str = "working";
    /// The zone of a paired reading that never touches the mating part.
    pub const UNWORN: &'static str = "unworn";

    /// The rule's key in the register.
    pub fn key(&self) -> &'static str {
        match self {
            LimitRule::AtMost { .. } => "at_most",
            LimitRule::AtLeast { .. } => "at_least",
            LimitRule::LossFromNewAtMost { .. } => "loss_from_new_at_most",
            LimitRule::PerMetreAtMost { .. } => "per_metre_at_most",
            LimitRule::Paired { .. } => "paired",
        }
    }
}
