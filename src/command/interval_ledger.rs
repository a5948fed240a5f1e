//! Recommendations from a ledger.
//!
//! In: the ledgers and what is asked of them. Out: a row a component and position, with the
//! roles of its failure modes. Never: printing.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::evidence::{Ask, ComponentEvidence, Group, gather};
use super::interval::{IntervalArgs, stated_roles};
use super::interval_look::Looks;
use super::interval_words::{
    apart_words, basis_words, batch_left_out, leaning_words, listed, scope_words,
};
use super::select::folders;
use super::{CommandError, Ui};
use crate::life::Life;
use crate::policy::evidence::Scope;
use crate::policy::modes::ModeRole;
use crate::policy::siblings::Pooling;
use crate::store::{Options, Store};
use crate::view::interval::{LookView, RecommendationView, RecommendationsView, RowFacts};

pub(super) fn from_ledger(
    args: &IntervalArgs,
    ui: &mut Ui,
) -> Result<RecommendationsView, CommandError> {
    let money = |cost: Option<f64>| cost.and_then(Decimal::from_f64);
    let costs_given = args.planned_cost.is_some() || args.failed_cost.is_some();
    if costs_given && args.select.only_component().is_none() {
        return Err(CommandError::wrong_use(
            "costs given for a ledger hold for one component only",
            "name it with --component, or leave the costs to the ledger and the register",
        ));
    }
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let ask = Ask {
        select: args.select.clone(),
        sure: args.sure,
        confidence: args.confidence,
        prior: args.shape_prior,
        planned_cost: money(args.planned_cost),
        failed_cost: money(args.failed_cost),
        pooling: args.pool.map_or(Pooling::Partial, Pooling::from),
    };
    let found = gather(&store, &ask)?;
    if found.iter().all(|c| c.rows.is_empty()) {
        return Err(super::select::no_lives(&store));
    }
    let looks = Looks::of(&store, args.risk)?;
    Ok(RecommendationsView {
        recommendations: found
            .iter()
            .flat_map(|evidence| rows(evidence, &|group| looks.better(&store, evidence, group)))
            .collect(),
        currency: store.register().plant.currency.code().to_owned(),
    })
}

/// A row a component and position; a machine whose group differs there has its own.
fn rows(
    evidence: &ComponentEvidence,
    look: &dyn Fn(&Group) -> Option<LookView>,
) -> Vec<RecommendationView> {
    let looks: Vec<Option<LookView>> = evidence.groups.iter().map(look).collect();
    let mut positions: Vec<&str> = Vec::new();
    for (_, position) in evidence.groups.iter().flat_map(|g| &g.slots) {
        if !positions.contains(&position.as_str()) {
            positions.push(position);
        }
    }
    positions.sort_by_key(|p| natural(p));
    let mut views = Vec::new();
    for position in positions {
        let mut here = Vec::new();
        for (group, look) in evidence.groups.iter().zip(&looks) {
            let machines: Vec<&str> = group
                .slots
                .iter()
                .filter(|(_, p)| p == position)
                .map(|(machine, _)| machine.as_str())
                .collect();
            if !machines.is_empty() {
                here.push((group, look, machines));
            }
        }
        let split = here.len() > 1;
        for (group, look, machines) in here {
            let machine = split.then(|| machines.join(", "));
            let found = view(evidence, group, position, machine);
            views.push(match look {
                Some(look) => found.looked_at(look),
                None => found,
            });
        }
    }
    views
}

/// P2 before P10: digits count as numbers.
fn natural(text: &str) -> Vec<(String, u64)> {
    let mut parts = Vec::new();
    let mut word = String::new();
    let mut number = String::new();
    for c in text.chars() {
        if c.is_ascii_digit() {
            number.push(c);
        } else {
            if !number.is_empty() {
                parts.push((
                    std::mem::take(&mut word),
                    number.parse().unwrap_or(u64::MAX),
                ));
                number.clear();
            }
            word.push(c);
        }
    }
    parts.push((word, number.parse().unwrap_or(0)));
    parts
}

fn view(
    evidence: &ComponentEvidence,
    group: &Group,
    position: &str,
    machine: Option<String>,
) -> RecommendationView {
    let component = &evidence.component;
    let mut notes = Vec::new();
    if let Some(apart) = group.apart {
        notes.push(apart_words(
            &group.scope,
            apart.life_ratio,
            apart.p_adjusted,
        ));
    } else {
        for other in evidence.groups.iter().filter(|g| g.apart.is_some()) {
            if let (Scope::Batch { batch }, Some(apart)) = (&other.scope, other.apart) {
                notes.push(batch_left_out(
                    other.rows.len() as u64,
                    batch,
                    apart.life_ratio,
                    apart.p_adjusted,
                ));
            }
        }
    }
    let facts = RowFacts {
        component: Some(component.id.clone()),
        position: Some(position.to_owned()),
        machine,
        group: None,
        planned: Some(evidence.planned),
        failed: Some(evidence.failed),
        ceiling: component.ceiling.as_ref().map(|c| c.value),
        present: component.present_interval,
        lives: group.sample.count(),
        failures: group.sample.failures(),
        unit: Some(evidence.usage.unit.clone()),
        borrowed: group.leaning.as_ref().map(|l| l.borrowed),
        basis: match &group.leaning {
            Some(leaning) => leaning_words(
                &group.sample,
                &format!("{} on {}", group.scope.place(), listed(&leaning.on)),
                leaning.borrowed,
                evidence.terms.prior,
            ),
            None => basis_words(
                &group.sample,
                &scope_words(evidence, group),
                evidence.terms.prior,
            ),
        },
        modes: mode_roles(evidence, group),
        notes,
    };
    RecommendationView::new(facts, &group.recommendation)
}

/// The failure modes of a group; none where no failure has one stated.
pub fn mode_roles(evidence: &ComponentEvidence, group: &Group) -> Vec<ModeRole> {
    let lives: Vec<(Life, Option<&str>)> = group
        .rows
        .iter()
        .filter_map(|n| evidence.rows.get(*n))
        .filter_map(|row| Some((row.life(None).ok()?, row.mode.as_deref())))
        .collect();
    stated_roles(
        &lives,
        group.recommendation.interval,
        evidence.terms.confidence,
    )
}
