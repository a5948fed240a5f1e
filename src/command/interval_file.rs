//! Recommendations from a file of lives.
//!
//! In: the file, the two costs, and how far its groups lean on each other. Out: a row a group.
//! Never: printing.

use std::collections::HashMap;
use std::path::Path;

use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::CommandError;
use super::interval::{IntervalArgs, given_costs, stated_roles};
use super::interval_words::{basis_words, leaning_words, listed};
use crate::cost::{CostBasis, CostFrom};
use crate::intake::lives_csv;
use crate::life::{Life, Sample};
use crate::model::posterior::ShapePrior;
use crate::policy::evidence::Placed;
use crate::policy::modes::ModeRole;
use crate::policy::recommend::{Recommendation, Terms, judge, recommend};
use crate::policy::siblings::{Pooling, Siblings, siblings};
use crate::policy::{Costs, decide};
use crate::view::interval::{RecommendationView, RecommendationsView, RowFacts};

pub(super) fn from_file(
    args: &IntervalArgs,
    file: &Path,
) -> Result<RecommendationsView, CommandError> {
    let costs = given_costs(args)?;
    let terms = Terms {
        sure: args.sure,
        confidence: args.confidence,
        grid: args.grid,
        ceiling: args.ceiling,
        prior: args.shape_prior.unwrap_or(ShapePrior::DECISION),
    };
    let mut groups: Vec<(Option<String>, Vec<Life>)> = Vec::new();
    let mut modes: Vec<Vec<Option<String>>> = Vec::new();
    let mut places: HashMap<Option<String>, usize> = HashMap::new();
    for life in lives_csv::read(file)? {
        let key = life.group.filter(|_| args.by.is_some());
        let place = *places.entry(key).or_insert_with_key(|key| {
            groups.push((key.clone(), Vec::new()));
            modes.push(Vec::new());
            groups.len() - 1
        });
        groups[place].1.push(life.life);
        modes[place].push(life.mode);
    }
    let all: Vec<Vec<Life>> = groups.iter().map(|(_, lives)| lives.clone()).collect();
    let with_modes = |group: &Option<String>, interval: Option<f64>| -> Vec<ModeRole> {
        let Some(place) = places.get(group) else {
            return Vec::new();
        };
        let lives: Vec<(Life, Option<&str>)> = all[*place]
            .iter()
            .zip(&modes[*place])
            .map(|(life, mode)| (*life, mode.as_deref()))
            .collect();
        stated_roles(&lives, interval, args.confidence)
    };
    let given = |cost: f64| {
        Decimal::from_f64(cost).map(|value| CostBasis {
            value,
            from: CostFrom::Given,
        })
    };
    let pooling = args.pool.map_or(Pooling::None, Pooling::from);
    if pooling != Pooling::None && args.by.is_none() {
        return Err(CommandError::wrong_use(
            "--pool needs groups that could lean on each other",
            "name them in the column group and add --by group",
        ));
    }
    let recommendations = pooled(groups, pooling, costs, &terms)
        .into_iter()
        .map(|(group, sample, found, leaning)| {
            let facts = RowFacts {
                modes: with_modes(&group, found.interval),
                group,
                planned: given(costs.planned),
                failed: given(costs.failed),
                ceiling: args.ceiling,
                lives: sample.count(),
                failures: sample.failures(),
                borrowed: leaning.as_ref().map(|(_, borrowed)| *borrowed),
                basis: match &leaning {
                    Some((scope, borrowed)) => {
                        leaning_words(&sample, scope, *borrowed, terms.prior)
                    }
                    None if pooling == Pooling::None => {
                        basis_words(&sample, "the file's lives", terms.prior)
                    }
                    None => basis_words(&sample, "all groups pooled", terms.prior),
                },
                ..RowFacts::default()
            };
            RecommendationView::new(facts, &found)
        })
        .collect();
    Ok(RecommendationsView {
        recommendations,
        currency: String::new(),
    })
}

/// A group with the lives its figures count, its recommendation and, where it leans on
/// others, who on whom and how much of its estimate is theirs.
type Weighed = (
    Option<String>,
    Sample,
    Recommendation,
    Option<(String, f64)>,
);

/// Recommends for each group of a file, pooled as asked.
fn pooled(
    groups: Vec<(Option<String>, Vec<Life>)>,
    pooling: Pooling,
    costs: Costs,
    terms: &Terms,
) -> Vec<Weighed> {
    // Every life was checked when it was read.
    let sample = |lives: Vec<Life>| Sample::new(lives).unwrap_or_default();
    if pooling == Pooling::None {
        return groups
            .into_par_iter()
            .map(|(group, lives)| {
                let sample = sample(lives);
                let found = recommend(&sample, costs, terms);
                (group, sample, found, None)
            })
            .collect();
    }
    let name = |group: &Option<String>| group.clone().unwrap_or_default();
    let placed: Vec<Placed> = groups
        .iter()
        .flat_map(|(group, lives)| {
            lives.iter().map(move |life| Placed {
                machine: String::new(),
                position: name(group),
                batch: None,
                life: *life,
            })
        })
        .collect();
    let slots: Vec<(String, String)> = groups
        .iter()
        .map(|(group, _)| (String::new(), name(group)))
        .collect();
    let members: Vec<usize> = (0..placed.len()).collect();
    let all = sample(placed.iter().map(|p| p.life).collect());
    if pooling == Pooling::Partial
        && let Siblings::Differ { each, .. } = siblings(&placed, &members, &slots, terms.prior)
    {
        let names: Vec<String> = each.iter().map(|s| s.scope.place()).collect();
        return groups
            .into_iter()
            .zip(each)
            .map(|((group, _), sibling)| {
                let own = name(&group);
                let on: Vec<String> = names.iter().filter(|n| **n != own).cloned().collect();
                let decision = decide(&sibling.posterior, costs, terms.confidence);
                let found = judge(&all, decision, costs, terms);
                let scope = format!("{own} on {}", listed(&on));
                (
                    group,
                    sibling.sample,
                    found,
                    Some((scope, sibling.borrowed)),
                )
            })
            .collect();
    }
    let found = recommend(&all, costs, terms);
    groups
        .into_iter()
        .map(|(group, _)| (group, all.clone(), found.clone(), None))
        .collect()
}
