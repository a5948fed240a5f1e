//! How to fit, as asked on the command line: model, method, limits, priors.
//!
//! In: arguments. Out: an [`Ask`]. Never: data.

use clap::ValueEnum;

use super::CommandError;
use super::select::{confidence, positive};
use crate::model::LimitsKind;
use crate::model::family::Family;
use crate::model::group::Ask;
use crate::model::models::Model;
use crate::model::posterior::ShapePrior;
use crate::model::rank_regression::{RankMethod, Regress};
use crate::model::ranks::RankRule;

/// Model, method and limits.
#[derive(Debug, Clone, clap::Args)]
pub struct How {
    /// Life distribution
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    model: ModelArg,
    /// How to estimate
    #[arg(long, value_enum, default_value_t, value_name = "NAME")]
    method: Method,
    /// With --method ranks: median ranks
    #[arg(long, value_enum, value_name = "KIND")]
    ranks: Option<Ranks>,
    /// With --method ranks: which way the line is fitted (default: x-on-y)
    #[arg(long, value_enum, value_name = "WAY")]
    regress: Option<Way>,
    /// Weibull shape to take as known; only the scale is fitted, also without any failure
    #[arg(long, value_name = "NUMBER", value_parser = positive)]
    shape: Option<f64>,
    /// Prior for the shape behind posterior limits: "none" (1/shape, the default), its 5 % and 95 % points as LOW,HIGH, or "register" for each component's own
    #[arg(long, value_name = "PRIOR", value_parser = prior)]
    shape_prior: Option<Prior>,
    /// Kind of limits (default: posterior; chi-square for a stated shape and the exponential; none for ranks)
    #[arg(long, value_enum, value_name = "KIND")]
    limits: Option<Limits>,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    confidence: f64,
    /// Estimates and limits only: no other models, no test of fit
    #[arg(long)]
    plain: bool,
}

/// Where the prior for the shape comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Prior {
    Given(ShapePrior),
    Register,
}

fn prior(text: &str) -> Result<Prior, String> {
    if text == "register" {
        return Ok(Prior::Register);
    }
    super::select::shape_prior(text)
        .map(Prior::Given)
        .map_err(|cure| format!("{cure}, or register"))
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum ModelArg {
    /// Two-parameter Weibull
    #[default]
    Weibull,
    /// Weibull with a location before which nothing fails
    Weibull3,
    /// Constant hazard
    Exponential,
    /// Normal in the logarithm of life
    Lognormal,
    /// The one of least AICc, but the Weibull unless another is better by more than 2
    Best,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
enum Method {
    /// Maximum likelihood
    #[default]
    Likelihood,
    /// A line through median ranks on probability paper
    Ranks,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Ranks {
    /// Exact median ranks (default)
    Exact,
    /// Benard's approximation
    Benard,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Way {
    /// Usage on the ranks: what scatters is the usage
    XOnY,
    /// The ranks on usage
    YOnX,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Limits {
    /// Posterior under the prior 1/(scale·shape): right for few failures
    Posterior,
    /// Profile likelihood ratio
    LikelihoodRatio,
    /// Normal approximation on the log scale: for many failures
    Wald,
    /// For one parameter: never too narrow where lives were cut short
    ChiSquare,
    /// Estimates only
    None,
}

impl How {
    /// Refuses what does not go together.
    pub fn check(&self) -> Result<(), CommandError> {
        let ranks = self.method == Method::Ranks;
        let one_parameter = self.shape.is_some() || self.model == ModelArg::Exponential;
        let wrong = |what: &str, cure: &str| Err(CommandError::wrong_use(what, cure));
        if !ranks && (self.ranks.is_some() || self.regress.is_some()) {
            return wrong(
                "--ranks and --regress say how to put a line through ranks",
                "add --method ranks, or leave them out",
            );
        }
        if ranks && !matches!(self.model, ModelArg::Weibull | ModelArg::Lognormal) {
            return wrong(
                "a line through ranks has a Weibull or a lognormal behind it",
                "use --model weibull or lognormal, or --method likelihood",
            );
        }
        if ranks && self.limits.is_some_and(|l| l != Limits::None) {
            return wrong(
                "a line through ranks comes without limits",
                "use --method likelihood for limits",
            );
        }
        if self.shape.is_some() && (ranks || self.model != ModelArg::Weibull) {
            return wrong(
                "a stated shape is a Weibull's, fitted by likelihood",
                "leave --model and --method out beside --shape",
            );
        }
        if !one_parameter && self.limits == Some(Limits::ChiSquare) {
            return wrong(
                "chi-square limits are for a single parameter",
                "state the shape (--shape), use --model exponential, or ask for other limits",
            );
        }
        if self.model == ModelArg::Weibull3 && self.limits == Some(Limits::LikelihoodRatio) {
            return wrong(
                "the likelihood with a location has no bound near the first failure, so there are \
                 no likelihood-ratio limits",
                "use --limits posterior or wald",
            );
        }
        Ok(())
    }

    /// What to fit; the prior is the flat one unless it is given here.
    pub fn ask(&self) -> Ask {
        Ask {
            model: match self.model {
                ModelArg::Weibull | ModelArg::Best => Model::Weibull,
                ModelArg::Weibull3 => Model::Weibull3,
                ModelArg::Exponential => Model::Exponential,
                ModelArg::Lognormal => Model::Lognormal,
            },
            stated_shape: self.shape,
            ranks: (self.method == Method::Ranks).then_some(RankMethod {
                family: match self.model {
                    ModelArg::Lognormal => Family::Lognormal,
                    _ => Family::Weibull,
                },
                ranks: match self.ranks {
                    Some(Ranks::Benard) => RankRule::Benard,
                    _ => RankRule::Exact,
                },
                regress: match self.regress {
                    Some(Way::YOnX) => Regress::YOnX,
                    _ => Regress::XOnY,
                },
            }),
            limits: self.limits.map(|kind| match kind {
                Limits::Posterior => LimitsKind::Posterior,
                Limits::LikelihoodRatio => LimitsKind::LikelihoodRatio,
                Limits::Wald => LimitsKind::Wald,
                Limits::ChiSquare => LimitsKind::ChiSquare,
                Limits::None => LimitsKind::None,
            }),
            confidence: self.confidence,
            prior: match self.shape_prior {
                Some(Prior::Given(prior)) => prior,
                _ => ShapePrior::Flat,
            },
        }
    }

    /// True where each component's own prior is to be taken from the register.
    pub fn prior_from_register(&self) -> bool {
        self.shape_prior == Some(Prior::Register)
    }

    /// True where the model is to be chosen.
    pub fn best(&self) -> bool {
        self.model == ModelArg::Best
    }

    /// True where nothing but estimates and limits is wanted.
    pub fn plain(&self) -> bool {
        self.plain
    }

    /// True for a two-parameter Weibull by likelihood: where a register's assumed shape may
    /// stand in.
    pub fn is_two_parameter(&self) -> bool {
        self.model == ModelArg::Weibull && self.method == Method::Likelihood && self.shape.is_none()
    }
}
