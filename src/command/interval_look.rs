//! `interval`: whether looking at items beats renewing them by age.
//!
//! In: the store, a component's evidence. Out: rows changed to `inspect` where looking is
//! cheaper. Never: printing; the policy itself (see `policy::inspect`).

use std::collections::HashMap;

use rust_decimal::prelude::ToPrimitive;

use super::CommandError;
use super::evidence::{ComponentEvidence, Group};
use super::wear_ledger::{self, everything, lined};
use crate::policy::age::NEAR;
use crate::policy::inspect::{Failed, Inspection, Lived, LookTerms, weigh};
use crate::store::Store;
use crate::view::interval::LookView;
use crate::wear::WearLines;

/// Chance to be beyond a measured limit before the look at it, unless another is asked for.
pub(super) const RISK: f64 = 0.05;

/// Everything measured in the ledgers, ready to be weighed for any component.
pub(super) struct Looks {
    groups: Vec<Measured>,
    risk: f64,
}

/// Items measured alike, their lines, and the place of each item by its name.
struct Measured {
    of: wear_ledger::Group,
    lines: WearLines,
    places: HashMap<String, usize>,
}

impl Looks {
    /// Errors: the store cannot tell its readings.
    pub(super) fn of(store: &Store, risk: f64) -> Result<Looks, CommandError> {
        let groups = everything(store, store.readings()?);
        Ok(Looks::from(lined(groups), risk))
    }

    /// From groups whose lines are fitted already.
    pub(super) fn from(groups: Vec<(wear_ledger::Group, Option<WearLines>)>, risk: f64) -> Looks {
        let measured = groups.into_iter().filter_map(|(of, lines)| {
            let names = of.items.iter().map(|item| item.item.clone());
            // The first of a name, should there be two.
            let places = names.enumerate().map(|(n, item)| (item, n)).rev().collect();
            Some(Measured {
                lines: lines?,
                of,
                places,
            })
        });
        Looks {
            groups: measured.collect(),
            risk,
        }
    }

    /// The look that costs least, where it beats both renewal by age and running to failure
    /// by more than what counts as near the least.
    pub(super) fn better(
        &self,
        store: &Store,
        evidence: &ComponentEvidence,
        group: &Group,
    ) -> Option<LookView> {
        let decision = group.recommendation.decision.as_ref()?;
        let rival = decision.ln_cost.min(decision.ln_cost_run_to_failure).exp();
        let look_cost = look_cost(store, evidence, group)?;
        let terms = LookTerms {
            costs: group.costs,
            look_cost,
            risk: self.risk,
            grid: evidence.terms.grid,
            ceiling: evidence.terms.ceiling,
        };
        let weighed = self
            .groups
            .iter()
            .filter(|measured| measured.of.component == evidence.component.id)
            .filter_map(|measured| Some((&measured.of, look(measured, evidence, group, &terms)?)));
        let (of, best) = weighed.min_by(|a, b| a.1.cost_rate.total_cmp(&b.1.cost_rate))?;
        (best.cost_rate * (1.0 + NEAR) < rival).then(|| LookView {
            look_at: best.look_at,
            risk: self.risk,
            cost_rate: best.cost_rate,
            rival_rate: rival,
            look_cost,
            quantity: of.quantity.clone(),
            foretold: best.foretold,
        })
    }
}

fn look(
    measured: &Measured,
    evidence: &ComponentEvidence,
    group: &Group,
    terms: &LookTerms,
) -> Option<Inspection> {
    let barrier = measured.of.standard?.rule.barrier()?;
    let failures: Vec<Failed> = group
        .rows
        .iter()
        .filter_map(|n| evidence.rows.get(*n))
        .filter_map(|row| {
            Some(Failed {
                item: measured.places.get(&row.start_sha).copied(),
                usage: row.hi?,
            })
        })
        .collect();
    let lived = Lived {
        failures: &failures,
        usage: group.sample.usage(),
    };
    weigh(&measured.lines.belief()?, barrier, lived, terms)
}

/// Access labour and the planned stop, at the mean cost of the machines it sits in; nothing is
/// renewed, so neither parts nor hands-on time of a renewal are in it.
fn look_cost(store: &Store, evidence: &ComponentEvidence, group: &Group) -> Option<f64> {
    let mut sum = 0.0;
    let mut slots = 0.0;
    for (machine, position) in &group.slots {
        let (ledger, tag) = store.home_of(machine)?;
        let register = &ledger.register;
        let component = register.component(&evidence.component.id)?;
        let access = register
            .slot(tag, &component.id, position)
            .and_then(|slot| slot.access)
            .and_then(|id| register.access(id));
        let labour = access.map_or(0.0, |access| access.labour_h);
        let rate = register.plant.labour_rate.to_f64()?;
        let stop = register.machine(tag)?.downtime_cost.to_f64()?;
        sum += labour * rate + component.planned_stop_h * stop;
        slots += 1.0;
    }
    (slots > 0.0).then_some(sum / slots)
}
