//! Modes in a decision: which failure mode planned renewal works on, and which it cannot help.
//!
//! In: lives with their modes, the interval weighed. Out: [`ModeRole`]s.
//! Never: the decision itself, which takes any failure as a failure; words.
//!
//! Planned renewal lowers a mode's failures per usage only where its hazard rises with usage:
//! at shape 1 or less every interval leaves them as many or makes them more.
//! Source: Barlow & Proschan (1965), chapter 4, for each of several independent modes.

use crate::life::Life;
use crate::model::limits::{Limits, wald};
use crate::model::modes::ModeFits;
use crate::model::{Target, Weibull};

/// What a mode has to do with renewing at an age.
#[derive(Debug, Clone, PartialEq)]
pub struct ModeRole {
    /// `None` for failures whose mode was not stated.
    pub mode: Option<String>,
    pub failures: u64,
    /// `None` where the mode has no fit of its own.
    pub life: Option<Weibull>,
    /// Wald limits of the shape.
    pub shape_limits: Limits,
    /// Failures per usage when renewed at the interval, and when run to failure; `None`
    /// without a fit or an interval.
    pub rates: Option<(f64, f64)>,
    /// True for the mode whose failures the interval lowers most.
    pub drives: bool,
}

impl ModeRole {
    /// True where planned renewal does nothing for it: a fitted shape of 1 or less.
    pub fn beyond_renewal(&self) -> bool {
        self.life.is_some_and(|life| life.shape <= 1.0)
    }
}

/// The roles of all modes that occur, for renewal at usage `at` where there is an interval.
///
/// `confidence` is two-sided, for the shapes' limits.
pub fn roles(lives: &[(Life, Option<&str>)], at: Option<f64>, confidence: f64) -> Vec<ModeRole> {
    let fits = ModeFits::new(lives);
    let drive = at.and_then(|at| Some(fits.combined()?.1.drive(at)));
    // Rates come for the fitted modes alone, in the same order.
    let mut fitted = 0;
    fits.modes
        .iter()
        .map(|mode| {
            let mut role = ModeRole {
                mode: mode.mode.clone(),
                failures: mode.failures,
                life: None,
                shape_limits: Limits::default(),
                rates: None,
                drives: false,
            };
            if let Ok(fit) = &mode.fit {
                role.life = Some(fit.weibull);
                role.shape_limits = wald(fit, Target::Shape, confidence);
                if let Some(drive) = &drive {
                    role.rates = drive
                        .rates
                        .get(fitted)
                        .map(|rate| (rate.renewed, rate.run_to_failure));
                    role.drives = drive.driver == Some(fitted);
                }
                fitted += 1;
            }
            role
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wear-out drives, chance is beyond it: items that fail by the first of two modes, even
    /// quantiles of shape 4 against those of shape 0.7 in a shuffled order.
    #[test]
    fn wear_drives_the_interval_and_chance_is_beyond_it() {
        let quantile = |shape: f64, scale: f64, n: i32| {
            let p = f64::from(n) / 31.0;
            scale * (-(-p).ln_1p()).powf(1.0 / shape)
        };
        let lives: Vec<(Life, Option<&str>)> = (1..=30)
            .map(|n| {
                let worn = quantile(4.0, 1_000.0, n);
                let struck = quantile(0.7, 900.0, n * 7 % 31);
                if worn < struck {
                    (Life::failure(worn), Some("leaking"))
                } else {
                    (Life::failure(struck), Some("struck"))
                }
            })
            .collect();
        let roles = roles(&lives, Some(600.0), 0.9);
        assert_eq!(roles.len(), 2);
        let of = |mode: &str| {
            roles
                .iter()
                .find(|r| r.mode.as_deref() == Some(mode))
                .unwrap()
        };
        let (leaking, struck) = (of("leaking"), of("struck"));
        assert!(leaking.drives && !leaking.beyond_renewal());
        assert!(!struck.drives && struck.beyond_renewal());
        let (renewed, run) = leaking.rates.unwrap();
        assert!(renewed < 0.5 * run);
        // Without an interval there is nothing to drive.
        assert!(
            super::roles(&lives, None, 0.9)
                .iter()
                .all(|r| r.rates.is_none() && !r.drives)
        );
    }
}
