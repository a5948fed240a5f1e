//! The plant as the simulation needs it: slots, accesses and cost figures by number.
//!
//! In: a `Register` and a `Truth` that fit each other (see `check`). Out: [`Plant`].
//! Never: files, clock, random numbers, printing.

use chrono_tz::Tz;

use super::truth::Truth;

/// A plant ready to be run.
#[derive(Debug, Clone)]
pub struct Plant<'a> {
    pub truth: &'a Truth,
    pub zone: Tz,
    /// Cost figures, one for each of the truth's components.
    pub figures: Vec<Figures>,
    pub accesses: Vec<Access>,
    pub machines: Vec<Machine>,
}

/// What one renewal of a component takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    pub own_labour_h: f64,
    pub planned_stop_h: f64,
    pub failed_stop_h: f64,
    pub failed_extra_cost: f64,
    pub never_refit: bool,
}

/// One kind of strip-down.
#[derive(Debug, Clone, PartialEq)]
pub struct Access {
    pub id: String,
    pub labour_h: f64,
    /// Components always renewed when it is opened.
    pub always: Vec<usize>,
}

/// One machine to run: its tag, and the machine of the truth it behaves like.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    pub tag: String,
    pub like: usize,
    pub slots: Vec<Slot>,
}

/// A place for one item. `cylinder` is the position up to its first dot: what shares one cap.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    pub component: usize,
    pub position: String,
    pub cylinder: String,
    pub access: Option<usize>,
    pub pieces: u32,
}

/// What has to be opened to reach a slot: an access of one cylinder, or the slot's place itself.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Opening {
    pub access: Option<usize>,
    pub cylinder: String,
}

impl Slot {
    pub fn opening(&self) -> Opening {
        Opening {
            access: self.access,
            cylinder: self.cylinder.clone(),
        }
    }
}
