//! Limit rules: what a reading is held against.

use super::Barrier;

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
    /// One clearance between a long part (plunger) and the ring around it, read in two zones
    /// of the long part: [`LimitRule::WORKING`], where it runs in the ring, and
    /// [`LimitRule::UNWORN`], where it never does.
    ///
    /// The clearance in the working zone may not be above `limit`. Where it is, the unworn
    /// zone tells which part wore: alike in both zones (they differ by at most `small`), the
    /// ring is worn; larger only where the long part works, the long part is.
    /// Registers written before `limit` was a key have none: their readings have no verdict.
    Paired { limit: Option<f64>, small: f64 },
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

    /// The rule in words, before its number: "at most", "loss from new at most".
    pub fn words(&self) -> &'static str {
        match self {
            LimitRule::AtMost { .. } => "at most",
            LimitRule::AtLeast { .. } => "at least",
            LimitRule::LossFromNewAtMost { .. } => "loss from new at most",
            LimitRule::PerMetreAtMost { .. } => "per metre at most",
            LimitRule::Paired { .. } => "in both zones at most",
        }
    }

    /// What a wear line runs towards; `None` where a paired rule states no limit.
    pub fn barrier(&self) -> Option<Barrier> {
        self.limit().map(|limit| Barrier {
            limit,
            rises: self.rises(),
        })
    }

    /// The number that what is judged may not pass; `None` where a paired rule states none.
    pub fn limit(&self) -> Option<f64> {
        match *self {
            LimitRule::AtMost { limit }
            | LimitRule::AtLeast { limit }
            | LimitRule::LossFromNewAtMost { limit }
            | LimitRule::PerMetreAtMost { limit } => Some(limit),
            LimitRule::Paired { limit, .. } => limit,
        }
    }

    /// Whether what is judged comes to its limit from below.
    pub fn rises(&self) -> bool {
        !matches!(self, LimitRule::AtLeast { .. })
    }
}
