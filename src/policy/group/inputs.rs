//! What a machine's grouped plan is made from, and why there may be none.
//!
//! In: slots, accesses, costs, lives. Out: [`Machine`], checked. Never: registers.

use std::sync::Arc;

use thiserror::Error;

use super::lives::LifeTable;

/// A usage that a slot's items may not pass, and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    pub usage: f64,
    pub from: BoundFrom,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BoundFrom {
    /// The register's ceiling: never passed, whatever it costs.
    Ceiling,
    /// What the crew keeps today, where the data do not settle anything better.
    Present,
}

/// What may be planned for a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Allowed {
    /// Any multiple, or only at failure.
    Free,
    /// Only at failure: nothing is known that would justify an interval.
    AtFailure,
    /// A multiple that does not pass the bound.
    AtMost(Bound),
}

/// One item renewed in one place, whatever decides when.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    pub component: String,
    pub position: String,
    /// Parts and hands-on labour of one planned renewal, without access and stop.
    pub work: f64,
    /// Hours it adds to a stop.
    pub own_h: f64,
    /// Hours a stop takes for its sake whatever else is done in it.
    pub shared_h: f64,
    /// Whole cost of one failure.
    pub failed: f64,
    /// `None` where no failure is on record: failures then count nothing.
    pub life: Option<Arc<LifeTable>>,
}

/// A slot to plan for.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    pub item: Item,
    /// Place of its access in [`Machine::accesses`].
    pub access: Option<usize>,
    pub allowed: Allowed,
    /// The interval it would have by itself, for comparison; `None` is only at failure.
    pub alone: Option<f64>,
}

/// A part renewed whenever its access is opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Disturbed {
    pub item: Item,
    /// Its access is opened at least this often for its sake.
    pub bound: Option<Bound>,
}

/// One access at one cylinder.
#[derive(Debug, Clone, PartialEq)]
pub struct Access {
    pub id: String,
    pub cylinder: String,
    /// Cost of the labour of opening and closing it.
    pub labour: f64,
    pub disturbed: Vec<Disturbed>,
}

/// One machine. Usages and lives are in one unit, costs in one currency.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// Base intervals are multiples of this usage.
    pub step: f64,
    /// Cost of an hour the machine stands.
    pub downtime_cost: f64,
    pub accesses: Vec<Access>,
    pub slots: Vec<Slot>,
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum GroupError {
    #[error("the step of {step} must be finite and above 0")]
    Step { step: f64 },
    #[error("{what} of {component} at {position} is {value}: it must be finite and not below 0")]
    Figure {
        what: &'static str,
        component: String,
        position: String,
        value: f64,
    },
    #[error("the downtime cost is {value}: it must be finite and not below 0")]
    Downtime { value: f64 },
    #[error("the labour of {access} at {cylinder} is {value}: it must be finite and not below 0")]
    Labour {
        access: String,
        cylinder: String,
        value: f64,
    },
    #[error(
        "{component} at {position} may not pass {bound}, which is less than one step of {step}"
    )]
    BoundBelowStep {
        component: String,
        position: String,
        bound: f64,
        step: f64,
    },
    #[error("the life of {component} at {position} is tabulated in steps of {found}, not {step}")]
    OtherStep {
        component: String,
        position: String,
        found: f64,
        step: f64,
    },
    #[error("{component} at {position} lies behind access {access}, of which there is none")]
    NoAccess {
        component: String,
        position: String,
        access: usize,
    },
}

impl Machine {
    /// Every figure in its domain, every bound at least one step, every life in these steps.
    pub fn check(&self) -> Result<(), GroupError> {
        let fine = |value: f64| value.is_finite() && value >= 0.0;
        if !(self.step.is_finite() && self.step > 0.0) {
            return Err(GroupError::Step { step: self.step });
        }
        if !fine(self.downtime_cost) {
            return Err(GroupError::Downtime {
                value: self.downtime_cost,
            });
        }
        for access in &self.accesses {
            if !fine(access.labour) {
                return Err(GroupError::Labour {
                    access: access.id.clone(),
                    cylinder: access.cylinder.clone(),
                    value: access.labour,
                });
            }
        }
        let slots = self.slots.iter().map(|s| (&s.item, s.allowed.bound()));
        let disturbed = self.accesses.iter().flat_map(|a| &a.disturbed);
        for (item, bound) in slots.chain(disturbed.map(|d| (&d.item, d.bound))) {
            self.check_item(item, bound)?;
        }
        for slot in &self.slots {
            match slot.access {
                Some(access) if access >= self.accesses.len() => {
                    return Err(GroupError::NoAccess {
                        component: slot.item.component.clone(),
                        position: slot.item.position.clone(),
                        access,
                    });
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn check_item(&self, item: &Item, bound: Option<Bound>) -> Result<(), GroupError> {
        let (component, position) = (item.component.clone(), item.position.clone());
        for (what, value) in [
            ("the work", item.work),
            ("the own stop", item.own_h),
            ("the shared stop", item.shared_h),
            ("the cost of a failure", item.failed),
        ] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(GroupError::Figure {
                    what,
                    component,
                    position,
                    value,
                });
            }
        }
        match (bound, &item.life) {
            (Some(bound), _) if bound.steps(self.step) == 0 => Err(GroupError::BoundBelowStep {
                component,
                position,
                bound: bound.usage,
                step: self.step,
            }),
            (_, Some(life)) if life.step() != self.step => Err(GroupError::OtherStep {
                component,
                position,
                found: life.step(),
                step: self.step,
            }),
            _ => Ok(()),
        }
    }
}

impl Allowed {
    pub fn bound(&self) -> Option<Bound> {
        match self {
            Allowed::AtMost(bound) => Some(*bound),
            Allowed::Free | Allowed::AtFailure => None,
        }
    }
}

impl Bound {
    /// Whole steps that do not pass it.
    pub fn steps(&self, step: f64) -> usize {
        let steps = (self.usage / step + 1e-9).floor();
        if steps > 0.0 { steps as usize } else { 0 }
    }
}

impl Access {
    /// What one opening costs, with the parts it disturbs.
    pub fn cost(&self, downtime_cost: f64) -> f64 {
        let parts = self.disturbed.iter();
        let parts = parts.map(|d| d.item.own_cost(downtime_cost));
        self.labour + parts.sum::<f64>()
    }
}

impl Item {
    /// Expected cost of its failures over `k` steps from new; 0 without a life.
    pub fn failures_over(&self, k: usize) -> f64 {
        self.failed * self.life.as_ref().map_or(0.0, |life| life.failures(k))
    }

    /// The same per unit of usage when renewed at failure only.
    pub fn failures_forever(&self) -> f64 {
        self.failed * self.life.as_ref().map_or(0.0, |life| life.forever())
    }

    /// What one planned renewal adds to a stop at which it lies open.
    pub fn own_cost(&self, downtime_cost: f64) -> f64 {
        self.work + self.own_h * downtime_cost
    }
}
