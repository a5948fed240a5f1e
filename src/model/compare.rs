//! Is it one population? Nested Weibull models over groups of lives, and their tests.
//!
//! In: two or more samples. Out: [`Comparison`]: pooled (one shape, one scale), common shape
//! (own scales), separate; what each says, which one to keep, how the lives compare.
//! Never: what the groups stand for; money (see `policy::worth`).
//!
//! Tests: twice the difference of log-likelihoods against chi-square on as many degrees of
//! freedom as the richer model has more parameters. Equal shapes: common shape against
//! separate; equal scales: pooled against common shape; equal both: pooled against separate.
//! The model kept has the least AICc (all lives counted), and a richer one only where it is
//! strictly lower; with too few lives for the correction, the simplest that has an estimate.
//! Sources: J. F. Lawless, *Statistical Models and Methods for Lifetime Data*, 2nd ed.
//! (2003), sections 5.1 and 5.2; Hurvich & Tsai, *Biometrika* 76 (1989) 297-307 (AICc).

use thiserror::Error;

use super::common_shape::{CommonShape, CommonShapeError, OwnScale, fit_common_shape};
use super::fit::{FitError, WeibullFit, aicc, fit_weibull};
use super::life_ratio::{LifeRatio, life_ratio};
use super::limits::LimitsKind;
use super::pooling::chi_square_tail;
use super::posterior::ShapePrior;
use super::posterior::several::SeveralPosterior;
use super::weibull::Weibull;
use crate::life::Sample;

/// Why groups cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum CompareError {
    #[error("a comparison needs two groups or more; there is {groups}")]
    TooFewGroups { groups: usize },
    #[error("group {group} holds no life")]
    EmptyGroup { group: usize },
    #[error("there is no group {base} to compare with")]
    NoBase { base: usize },
}

/// The nested models, from the simplest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Nested {
    Pooled,
    CommonShape,
    Separate,
}

impl Nested {
    pub const ALL: [Nested; 3] = [Nested::Pooled, Nested::CommonShape, Nested::Separate];

    pub fn word(self) -> &'static str {
        match self {
            Nested::Pooled => "pooled",
            Nested::CommonShape => "common-shape",
            Nested::Separate => "separate",
        }
    }

    /// Parameters over `groups` groups.
    pub fn parameters(self, groups: u64) -> u64 {
        match self {
            Nested::Pooled => 2,
            Nested::CommonShape => 1 + groups,
            Nested::Separate => 2 * groups,
        }
    }
}

/// The tests between nested models.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Question {
    EqualShapes,
    EqualScales,
    EqualBoth,
}

impl Question {
    pub const ALL: [Question; 3] = [
        Question::EqualShapes,
        Question::EqualScales,
        Question::EqualBoth,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Question::EqualShapes => "equal shapes",
            Question::EqualScales => "equal scales",
            Question::EqualBoth => "equal both",
        }
    }

    /// The simpler model and the richer.
    pub fn models(self) -> (Nested, Nested) {
        match self {
            Question::EqualShapes => (Nested::CommonShape, Nested::Separate),
            Question::EqualScales => (Nested::Pooled, Nested::CommonShape),
            Question::EqualBoth => (Nested::Pooled, Nested::Separate),
        }
    }
}

/// One likelihood-ratio test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatioTest {
    pub question: Question,
    /// Twice the log-likelihood difference and its p-value; `None` where either model has no
    /// estimate.
    pub found: Option<(f64, f64)>,
    pub df: u64,
}

/// One model over all groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NestedModel {
    pub name: Nested,
    pub parameters: u64,
    /// `None` where the model has no estimate.
    pub log_likelihood: Option<f64>,
    /// `None` also for too few lives.
    pub aicc: Option<f64>,
}

/// What settled which model is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChosenBy {
    Aicc,
    /// Too few lives for the correction: the simplest that has an estimate.
    FewLives,
}

/// Groups of lives compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    pub models: [NestedModel; 3],
    pub tests: [RatioTest; 3],
    /// `None` where no model has an estimate.
    pub chosen: Option<(Nested, ChosenBy)>,
    pub pooled: Result<WeibullFit, FitError>,
    pub common: Result<CommonShape, CommonShapeError>,
    /// One a group.
    pub separate: Vec<Result<WeibullFit, FitError>>,
    /// Every other group against the base, in the order given.
    pub ratios: Vec<LifeRatio>,
}

impl Comparison {
    /// A group's life under a model; `None` where the data leave it open.
    pub fn life(&self, model: Nested, group: usize) -> Option<Weibull> {
        match model {
            Nested::Pooled => self.pooled.as_ref().ok().map(|fit| fit.weibull),
            Nested::CommonShape => {
                let common = self.common.as_ref().ok()?;
                Weibull::new(common.shape, common.scales.get(group)?.scale()?)
            }
            Nested::Separate => self.separate.get(group)?.as_ref().ok().map(|f| f.weibull),
        }
    }

    pub fn test(&self, question: Question) -> Option<(f64, f64)> {
        self.tests
            .iter()
            .find(|t| t.question == question)
            .and_then(|t| t.found)
    }

    /// Groups whose scale the common-shape model leaves open.
    pub fn open_groups(&self) -> Vec<(usize, OwnScale)> {
        let scales = self.common.as_ref().map_or(&[][..], |c| &c.scales);
        scales
            .iter()
            .copied()
            .enumerate()
            .filter(|(_, scale)| scale.scale().is_none())
            .collect()
    }
}

/// Compares groups of lives.
///
/// `base` is the group the others' lives are compared with. `confidence` is two-sided,
/// strictly between 0 and 1. A group without a failure is allowed: its scale, and the ratio on
/// that side, are open. Errors: [`CompareError`]; a model without an estimate is no error but
/// an answer, with its reason.
/// Accuracy: 1e-9 relative in shapes and scales (`tests/numbers/compare.rs`).
pub fn compare(
    samples: &[Sample],
    base: usize,
    limits: (LimitsKind, f64),
) -> Result<Comparison, CompareError> {
    let groups = samples.len();
    if groups < 2 {
        return Err(CompareError::TooFewGroups { groups });
    }
    if let Some(group) = samples.iter().position(|s| s.count() == 0) {
        return Err(CompareError::EmptyGroup { group });
    }
    if base >= groups {
        return Err(CompareError::NoBase { base });
    }
    let all: Vec<_> = samples.iter().flat_map(|s| s.lives()).copied().collect();
    // Every life stands in a checked sample already.
    let all = Sample::new(all).unwrap_or_default();
    let each: Vec<&Sample> = samples.iter().collect();

    let pooled = fit_weibull(&all);
    let common = fit_common_shape(&each);
    let separate: Vec<_> = samples.iter().map(fit_weibull).collect();
    let apart = separate.iter().try_fold(0.0, |sum, fit| {
        fit.as_ref().ok().map(|fit| sum + fit.log_likelihood)
    });
    let models = Nested::ALL.map(|name| {
        let log_likelihood = match name {
            Nested::Pooled => pooled.as_ref().ok().map(|f| f.log_likelihood),
            Nested::CommonShape => common.as_ref().ok().map(|f| f.log_likelihood),
            Nested::Separate => apart,
        };
        let parameters = name.parameters(groups as u64);
        NestedModel {
            name,
            parameters,
            log_likelihood,
            aicc: log_likelihood.and_then(|value| aicc(value, parameters, all.count())),
        }
    });
    Ok(Comparison {
        tests: Question::ALL.map(|question| test(question, &models)),
        chosen: choose(&models),
        ratios: common
            .as_ref()
            .map(|common| ratios(&each, common, base, limits))
            .unwrap_or_default(),
        models,
        pooled,
        common,
        separate,
    })
}

fn test(question: Question, models: &[NestedModel; 3]) -> RatioTest {
    let (simple, rich) = question.models();
    let of = |name: Nested| &models[name as usize];
    let df = of(rich).parameters - of(simple).parameters;
    let found = of(simple)
        .log_likelihood
        .zip(of(rich).log_likelihood)
        .map(|(simple, rich)| {
            // Nested, so below 0 only by rounding.
            let statistic = 2.0 * (rich - simple).max(0.0);
            (statistic, chi_square_tail(statistic, df))
        });
    RatioTest {
        question,
        found,
        df,
    }
}

fn choose(models: &[NestedModel; 3]) -> Option<(Nested, ChosenBy)> {
    let mut best: Option<(Nested, f64)> = None;
    for model in models {
        if let Some(aicc) = model.aicc
            && best.is_none_or(|(_, least)| aicc < least)
        {
            best = Some((model.name, aicc));
        }
    }
    let simplest = || {
        let found = models.iter().find(|m| m.log_likelihood.is_some())?;
        Some((found.name, ChosenBy::FewLives))
    };
    best.map(|(name, _)| (name, ChosenBy::Aicc))
        .or_else(simplest)
}

fn ratios(
    each: &[&Sample],
    common: &CommonShape,
    base: usize,
    limits: (LimitsKind, f64),
) -> Vec<LifeRatio> {
    let posterior =
        (limits.0 == LimitsKind::Posterior).then(|| SeveralPosterior::new(each, ShapePrior::Flat));
    (0..each.len())
        .filter(|group| *group != base)
        .map(|group| life_ratio(each, common, posterior.as_ref(), (group, base), limits))
        .collect()
}
