//! What is believed of the shape before the data.
//!
//! In: two points of the shape, or nothing. Out: [`ShapePrior`], its density in ln shape.
//! Never: data.

/// What is believed of the shape before the data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ShapePrior {
    /// 1/shape: flat in ln shape. Needs two failures or more.
    Flat,
    /// ln shape normal.
    LogNormal { mean: f64, sd: f64 },
}

impl ShapePrior {
    /// The weak prior of decisions: ln shape ~ N(ln 2, 0.6²), 90 % between 0.75 and 5.4.
    /// Our own choice, wide enough for wear (2 to 5), chance (1) and early failure (0.8);
    /// `examples/decision_study.rs` shows what it costs and gains.
    pub const DECISION: ShapePrior = ShapePrior::LogNormal {
        mean: std::f64::consts::LN_2,
        sd: 0.6,
    };

    /// The prior whose 5 % and 95 % points are `low` and `high`.
    ///
    /// Domain: `0 < low < high`, finite; else `None`.
    pub fn from_points(low: f64, high: f64) -> Option<Self> {
        (low > 0.0 && low < high && high.is_finite()).then(|| ShapePrior::LogNormal {
            mean: 0.5 * (low.ln() + high.ln()),
            sd: (high / low).ln() / (2.0 * 1.644_853_626_951_472_2),
        })
    }

    /// Its 5 % and 95 % points; `None` for the flat one.
    pub fn points(self) -> Option<(f64, f64)> {
        match self {
            ShapePrior::Flat => None,
            ShapePrior::LogNormal { mean, sd } => {
                let reach = 1.644_853_626_951_472_2 * sd;
                Some(((mean - reach).exp(), (mean + reach).exp()))
            }
        }
    }

    /// Width of the panels around the peak, in standard deviations. Limits far out in the
    /// tails of a quantile need a finer rule than the means a decision takes.
    pub(super) fn panel(self) -> f64 {
        match self {
            ShapePrior::Flat => 1.0,
            ShapePrior::LogNormal { .. } => 1.6,
        }
    }

    /// Log density in ln shape, up to a constant.
    pub(crate) fn ln_density(self, b: f64) -> f64 {
        match self {
            ShapePrior::Flat => 0.0,
            ShapePrior::LogNormal { mean, sd } => -0.5 * ((b - mean) / sd).powi(2),
        }
    }
}
