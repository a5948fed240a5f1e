//! `fit --by mode`: a fit a failure mode, and what the modes make together.
//!
//! In: groups of lives with their modes. Out: a group a mode, and [`TogetherView`]s.
//! Never: the fits shown (see `fit`).

use super::fit::Group;
use crate::life::Life;
use crate::model::modes::{ModeFits, life_of_mode};
use crate::view::fit::GroupName;
use crate::view::modes::TogetherView;

/// What failures are called whose mode was not written down.
const NOT_STATED: &str = "not stated";

/// Parts every group into one a mode, in the order of first appearance. A group without any
/// failure stays as it is.
pub fn part(groups: Vec<Group>) -> (Vec<Group>, Vec<TogetherView>) {
    let mut parted = Vec::new();
    let mut together = Vec::new();
    for group in groups {
        let lives: Vec<(Life, Option<&str>)> = group
            .lives
            .iter()
            .zip(&group.modes)
            .map(|(life, mode)| (*life, mode.as_deref()))
            .collect();
        let fits = ModeFits::new(&lives);
        for mode in &fits.modes {
            let wanted = mode.mode.as_deref();
            let own: Vec<Life> = lives
                .iter()
                .filter_map(|(life, mode)| life_of_mode(life, *mode, wanted))
                .collect();
            let kept: u64 = own.iter().map(|life| u64::from(life.count)).sum();
            let all: u64 = lives.iter().map(|(life, _)| u64::from(life.count)).sum();
            let mut notes = group.notes.clone();
            if wanted.is_none() {
                notes.push("failures whose mode was not written down, taken as a mode".into());
            }
            parted.push(Group {
                name: GroupName {
                    mode: Some(wanted.unwrap_or(NOT_STATED).to_owned()),
                    ..group.name.clone()
                },
                excluded: group.excluded + all - kept,
                unit: group.unit.clone(),
                usage: group.usage.clone(),
                component: group.component.clone(),
                lives: own,
                modes: Vec::new(),
                notes,
            });
        }
        if fits.modes.is_empty() {
            parted.push(Group {
                modes: Vec::new(),
                ..group
            });
        } else if fits.modes.len() > 1 {
            together.push(TogetherView::new(&group.name, &group.unit, &fits));
        }
    }
    (parted, together)
}
