//! What the part on stops is made from: plans as they were made, and the evidence as it is told.
//!
//! In: nothing. Out: borrowed results of the rooms below. Never: words, sums.

use std::collections::BTreeMap;

use crate::plan::{MachineNow, MachinePlan, Plan};
use crate::report::subject::Subject;

/// The plan of one plant.
#[derive(Debug, Clone, Copy)]
pub struct PlantPlan<'a> {
    /// The plant; told where there are several.
    pub plant: &'a str,
    pub plan: &'a Plan,
    /// Its machines as they stood, in the plan's order.
    pub machines: &'a [MachineNow],
    /// Notes for each machine of the plan.
    pub notes: &'a [Vec<String>],
}

impl<'a> PlantPlan<'a> {
    /// Each machine's plan with what is to be known of it.
    pub(super) fn noted(&self) -> impl Iterator<Item = (&'a MachinePlan, &'a [String])> {
        let notes = self.notes.iter().map(Vec::as_slice);
        self.plan.machines.iter().zip(notes)
    }
}

/// Everything the part is made from.
#[derive(Debug, Clone, Copy)]
pub struct StopsFacts<'a> {
    /// ISO 4217 code.
    pub currency: &'a str,
    pub plans: &'a [PlantPlan<'a>],
    /// The components told of.
    pub subjects: &'a [Subject],
    /// That only some components or positions are told of, and the plan is of whole machines.
    pub narrowed: bool,
}

/// Names of components by their ids, as the registers have them.
pub(super) fn names<'a>(plans: &[PlantPlan<'a>]) -> BTreeMap<&'a str, &'a str> {
    let machines = plans.iter().flat_map(|plan| plan.machines);
    machines
        .flat_map(|machine| &machine.slots)
        .map(|slot| (slot.component.as_str(), slot.name.as_str()))
        .collect()
}
