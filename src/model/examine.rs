//! A group's fit with all that tells whether to trust it.
//!
//! In: a sample, an [`Ask`], how thorough to be. Out: [`Examined`].
//! Never: what the group stands for; words.

use super::bend::{Bend, bend};
use super::goodness::{FitTest, fit_test};
use super::group::{Ask, GroupFit, fit_group_as};
use super::models::{Model, SideBySide, fit_model, side_by_side};
use super::rank_regression::RSquaredTest;
use super::stated::fit_stated;
use crate::life::Sample;

/// How much to look at beside estimates and limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// Nothing more.
    Plain,
    /// Other models, a test of fit, whether the plot bends.
    Thorough,
}

/// A fit, and what speaks for or against it.
#[derive(Debug, Clone, PartialEq)]
pub struct Examined {
    /// What was asked; its model is the one chosen where the choice was left open.
    pub ask: Ask,
    pub fit: GroupFit,
    /// True where the model was chosen by AICc.
    pub chose: bool,
    pub side_by_side: Option<SideBySide>,
    pub test: Option<FitTest>,
    pub bend: Option<Bend>,
    pub r_squared: Option<RSquaredTest>,
}

/// Fits a group as asked and examines the fit.
///
/// With `choose` the model is the one [`side_by_side`] prefers; a stated shape or a fit by ranks
/// leaves nothing to choose.
pub fn examine(sample: &Sample, ask: &Ask, choose: bool, depth: Depth) -> Examined {
    let free = ask.stated_shape.is_none() && ask.ranks.is_none();
    let thorough = depth == Depth::Thorough;
    let chose = choose && free;
    let models =
        (free && (choose || thorough) && sample.failures() > 0).then(|| side_by_side(sample));
    let mut ask = *ask;
    if chose {
        ask.model = models.as_ref().map_or(Model::Weibull, |m| m.chosen);
    }
    let fit = fit_group_as(sample, &ask);
    let mut examined = Examined {
        chose,
        side_by_side: models,
        test: None,
        bend: None,
        r_squared: None,
        ask,
        fit,
    };
    let Ok(found) = &examined.fit else {
        return examined;
    };
    examined.r_squared = found.line.as_ref().and_then(|line| line.judge_r_squared());
    if !thorough {
        return examined;
    }
    if ask.ranks.is_none()
        && let Some(distribution) = found.distribution
    {
        examined.test = fit_test(sample, &distribution, |drawn| match ask.stated_shape {
            Some(shape) => fit_stated(drawn, shape)
                .ok()
                .and_then(|fit| fit.weibull())
                .map(super::distribution::Distribution::Weibull),
            None => fit_model(drawn, ask.model).ok().map(|fit| fit.distribution),
        });
    }
    if ask.model == Model::Weibull {
        examined.bend = bend(sample);
    }
    examined
}
