//! `lives --nonparametric` and `lives --incidence`: estimates without a model.
//!
//! In: lives of a ledger or a file. Out: curves, a group at a time. Never: a table of lives.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use clap::ValueEnum;
use rayon::prelude::*;

use super::select::mode_in_file;
use super::{CommandError, Fault};
use crate::intake::lives_csv;
use crate::life::{Life, LifeRow, Sample};
use crate::model::nonparametric::{
    LimitsScale, has_windows, hazard_sum, incidence, product_limit, turnbull,
};
use crate::quantity::trouble::Trouble;
use crate::store::Store;
use crate::view::curves::{Basis, CurveKind, CurveView, CurvesView};
use crate::view::fit::GroupName;

/// What keeps lives apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum By {
    /// One estimate a component
    Component,
    /// One estimate a component and position, over all machines
    Position,
    /// One estimate a component and machine; with position: one a slot
    Machine,
    /// One estimate a group of the CSV file
    Group,
}

/// Which estimate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Estimate {
    /// Share surviving and cumulative hazard.
    Survival,
    /// Share failed by each mode.
    Incidence,
}

/// What is asked.
pub(super) struct Asked<'a> {
    pub(super) estimate: Estimate,
    pub(super) by: &'a [By],
    pub(super) mode: Option<&'a str>,
    pub(super) confidence: f64,
}

/// Lives to be looked at together.
pub(super) struct Group {
    name: GroupName,
    /// Each with the mode it failed by, where one was stated.
    lives: Vec<(Life, Option<String>)>,
    excluded: u64,
    unit: String,
}

impl Asked<'_> {
    /// The mode whose failures count, the others' being suspensions. Incidence looks at all.
    fn only_mode(&self) -> Option<&str> {
        match self.estimate {
            Estimate::Survival => self.mode,
            Estimate::Incidence => None,
        }
    }

    /// Groups of a file, in order of first appearance.
    pub(super) fn read_file(&self, file: &Path) -> Result<Vec<Group>, CommandError> {
        if let Some(by) = self.by.iter().find(|by| **by != By::Group) {
            let word = format!("{by:?}").to_lowercase();
            return Err(CommandError::wrong_use(
                format!("--by {word} needs a ledger: a file of lives has only the column group"),
                "use --by group, or leave --by out to take all lives together",
            ));
        }
        let lives = lives_csv::read(file)?;
        mode_in_file(&lives, self.mode)?;
        let mut groups: Vec<Group> = Vec::new();
        let mut places: HashMap<Option<String>, usize> = HashMap::new();
        for life in lives {
            let key = life.group.clone().filter(|_| !self.by.is_empty());
            let place = *places.entry(key).or_insert_with_key(|key| {
                groups.push(Group {
                    name: GroupName {
                        group: key.clone(),
                        mode: self.only_mode().map(str::to_owned),
                        ..Default::default()
                    },
                    lives: Vec::new(),
                    excluded: 0,
                    unit: String::new(),
                });
                groups.len() - 1
            });
            match life.of_mode(self.only_mode()) {
                Some(kept) => groups[place].lives.push((kept, life.mode)),
                None => groups[place].excluded += u64::from(life.life.count),
            }
        }
        Ok(groups)
    }

    /// Groups of a ledger, in the register's order.
    pub(super) fn read_ledger(
        &self,
        store: &Store,
        rows: &[LifeRow],
    ) -> Result<Vec<Group>, CommandError> {
        if self.by.contains(&By::Group) {
            return Err(CommandError::wrong_use(
                "--by group needs a file of lives (--lives FILE)",
                "a ledger is looked at --by component, position or machine",
            ));
        }
        let by_position = self.by.is_empty() || self.by.contains(&By::Position);
        let by_machine = self.by.contains(&By::Machine);
        let mut groups: BTreeMap<(usize, Option<&str>, Option<&str>), Group> = BTreeMap::new();
        for row in rows {
            let position = by_position.then_some(row.position.as_str());
            let machine = by_machine.then_some(row.machine.as_str());
            let rank = super::select::rank(store, &row.component);
            let group = groups
                .entry((rank, position, machine))
                .or_insert_with(|| Group {
                    name: GroupName {
                        component: Some(row.component.clone()),
                        position: position.map(str::to_owned),
                        machine: machine.map(str::to_owned),
                        mode: self.only_mode().map(str::to_owned),
                        group: None,
                    },
                    lives: Vec::new(),
                    excluded: 0,
                    unit: super::select::unit(store, &row.component),
                });
            match row.life(self.only_mode()) {
                Ok(life) => group.lives.push((life, row.mode.clone())),
                Err(_) => group.excluded += 1,
            }
        }
        if groups.is_empty() {
            return Err(super::select::no_lives(store));
        }
        Ok(groups.into_values().collect())
    }

    /// The estimates of all groups, and whether any could be had.
    pub(super) fn curves(&self, groups: Vec<Group>) -> (CurvesView, bool) {
        let found: Vec<(Vec<CurveView>, bool)> = groups
            .par_iter()
            .map(|group| self.of_group(group))
            .collect();
        let any = found.iter().any(|(_, any)| *any);
        let curves = found.into_iter().flat_map(|(curves, _)| curves).collect();
        (CurvesView { curves }, any)
    }

    fn of_group(&self, group: &Group) -> (Vec<CurveView>, bool) {
        let lives = group.lives.iter().map(|(life, _)| *life).collect();
        // Every life was checked where it came from.
        let sample = Sample::new(lives).unwrap_or_default();
        let basis = Basis::new(
            group.name.clone(),
            &sample,
            group.excluded,
            &group.unit,
            self.confidence,
        );
        match self.estimate {
            Estimate::Incidence => self.incidence(group, &basis),
            Estimate::Survival if has_windows(&sample) => match turnbull(&sample) {
                Ok(found) => (vec![CurveView::of_turnbull(&basis, &found)], true),
                Err(reason) => {
                    let without = CurveView::without(&basis, CurveKind::Turnbull, &reason);
                    (vec![without], false)
                }
            },
            Estimate::Survival => {
                let share = product_limit(&sample, self.confidence, LimitsScale::LogLog);
                let hazard = hazard_sum(&sample, self.confidence);
                let any = share.is_ok();
                let share = match share {
                    Ok(found) => CurveView::of_product_limit(&basis, &found),
                    Err(reason) => CurveView::without(&basis, CurveKind::KaplanMeier, &reason),
                };
                let hazard = match hazard {
                    Ok(found) => CurveView::of_hazard_sum(&basis, &found),
                    Err(reason) => CurveView::without(&basis, CurveKind::NelsonAalen, &reason),
                };
                (vec![share, hazard], any)
            }
        }
    }

    fn incidence(&self, group: &Group, basis: &Basis) -> (Vec<CurveView>, bool) {
        let lives: Vec<(Life, Option<&str>)> = group
            .lives
            .iter()
            .map(|(life, mode)| (*life, mode.as_deref()))
            .collect();
        match incidence(&lives, self.confidence) {
            Ok(mut found) => {
                let mut basis = basis.clone();
                if let Some(mode) = self.mode {
                    found.modes.retain(|m| m.mode.as_deref() == Some(mode));
                    basis.name.mode = Some(mode.to_owned());
                }
                (CurveView::of_incidence(&basis, &found), true)
            }
            Err(reason) => {
                let kind = CurveKind::CumulativeIncidence;
                (vec![CurveView::without(basis, kind, &reason)], false)
            }
        }
    }
}

/// No group has an estimate of the kind asked for.
pub(super) fn no_estimate() -> CommandError {
    CommandError::new(
        Fault::NoAnswer,
        Trouble::error("no-estimate", "no group has an estimate of this kind")
            .because("the reason stands with each group in the result")
            .cured_by("where failures are known only within windows: lives --nonparametric"),
    )
}
