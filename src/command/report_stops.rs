//! Gathers the plans that the report tells of: on its first page, in the part on stops and in
//! its twin.
//!
//! In: a store and its evidence. Out: [`Planned`], made once; [`PlantPlan`]s of it.
//! Never: printing, words.

use super::CommandError;
use super::evidence::{Ask, ComponentEvidence, gather};
use super::plan::{PlanAsk, Planned, plans};
use super::select::Select;
use super::wear_now::worn;
use crate::report::stops::PlantPlan;
use crate::store::Store;

/// The plans of a year from the ledger's day.
///
/// A machine's stops rest on all its components: where only some lives were asked for, the
/// evidence is gathered anew.
pub(super) fn planned<'a>(
    store: &'a Store,
    evidence: &[ComponentEvidence],
    select: &Select,
) -> Result<Vec<Planned<'a>>, CommandError> {
    let ask = PlanAsk {
        machines: select.machines().to_vec(),
        ..PlanAsk::default()
    };
    let worn = worn(store)?;
    if select.takes_all() {
        return plans(store, evidence, &worn, &ask);
    }
    plans(store, &gather(store, &Ask::default())?, &worn, &ask)
}

/// The plans as the report takes them.
pub(super) fn plant_plans<'p>(planned: &'p [Planned<'_>]) -> Vec<PlantPlan<'p>> {
    planned
        .iter()
        .map(|one| PlantPlan {
            plant: &one.ledger.register.plant.name,
            plan: &one.plan,
            machines: &one.machines,
            notes: &one.notes,
        })
        .collect()
}
