//! The models against published and computed cases, each naming its source in its file.

use crate::common::{Case, sample_of};
use wearbook::model::likelihood::Likelihood;
use wearbook::model::limits::{likelihood_ratio, wald};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{Target, WeibullFit, fit_weibull};

/// `b10` → life at 10 %, `R(500)` → reliability at 500.
fn target(name: &str) -> Option<Target> {
    Some(match name {
        "shape" => Target::Shape,
        "scale" => Target::Scale,
        "mttf" => Target::Mean,
        _ => {
            if let Some(t) = name.strip_prefix("R(").and_then(|n| n.strip_suffix(')')) {
                Target::Reliability(t.parse().ok()?)
            } else {
                Target::LifeAt(name.strip_prefix('b')?.parse::<f64>().ok()? / 100.0)
            }
        }
    })
}

fn answer(case: &Case, fit: &WeibullFit, quantity: &str) -> Option<f64> {
    let [aa, ab, bb] = fit.covariance;
    let n = fit.lives as f64;
    let deviance = -2.0 * fit.log_likelihood;
    Some(match quantity {
        "loglik" => fit.log_likelihood,
        "se_log_shape" => bb.sqrt(),
        "se_log_scale" => aa.sqrt(),
        "cov_log_scale_log_shape" => ab,
        "aic" => deviance + 4.0,
        "aicc" => fit.aicc()?,
        "bic" => deviance + 2.0 * n.ln(),
        "sd" => {
            let (k, scale) = (fit.weibull.shape, fit.weibull.scale);
            let g = |x: f64| statrs::function::gamma::gamma(x);
            scale * (g(1.0 + 2.0 / k) - g(1.0 + 1.0 / k).powi(2)).sqrt()
        }
        _ => {
            let mut parts = quantity.split('.');
            let (name, kind, side) = (parts.next()?, parts.next(), parts.next());
            let target = target(name)?;
            let Some(kind) = kind else {
                return Some(target.of(&fit.weibull));
            };
            let confidence: f64 = kind[kind.len() - 2..].parse().ok()?;
            let likelihood = Likelihood::new(&sample_of(case));
            let limits = match &kind[..kind.len() - 2] {
                "wald" => wald(fit, target, confidence / 100.0),
                "lr" => likelihood_ratio(&likelihood, fit, target, confidence / 100.0),
                _ => return None,
            };
            match side? {
                "lower" => limits.lower?,
                "upper" => limits.upper?,
                _ => return None,
            }
        }
    })
}

/// Every open Weibull case: exact, right, left, interval, truncated, counts.
#[test]
fn fits_and_limits_agree_with_the_reference_cases() {
    let mut judged = 0;
    for topic in ["mle", "bounds", "interval", "truncation"] {
        for case in crate::common::cases(topic).iter().filter(|c| c.has_lives()) {
            let fit = fit_weibull(&sample_of(case)).unwrap_or_else(|e| panic!("{}: {e}", case.id));
            for expected in &case.expect {
                if expected.quantity.starts_with("ignoring_entry.")
                    || matches!(
                        expected.quantity.as_str(),
                        "total_hours" | "exponential_mean"
                    )
                {
                    continue;
                }
                let name = expected.quantity.trim_start_matches("published.");
                let got = answer(case, &fit, name)
                    .unwrap_or_else(|| panic!("{}: no answer for {name}", case.id));
                expected.judge(case, got);
                judged += 1;
            }
        }
    }
    assert!(judged > 350, "only {judged} values were judged");
}

/// Dropping entry ages is the classic mistake; the fit must not make it.
#[test]
fn entry_ages_are_not_ignored() {
    for case in crate::common::cases("truncation") {
        let fit = fit_weibull(&sample_of(&case)).unwrap();
        for expected in case
            .expect
            .iter()
            .filter(|e| e.quantity.starts_with("ignoring_entry."))
        {
            let name = expected.quantity.trim_start_matches("ignoring_entry.");
            let got = answer(&case, &fit, name).unwrap();
            let wrong = expected.value.as_f64().unwrap();
            assert!(
                (got / wrong - 1.0).abs() > 1e-3,
                "{}: {name} ignores entry ages",
                case.id
            );
        }
    }
}

#[test]
fn posterior_limits_agree_with_the_reference_cases() {
    let mut judged = 0;
    for case in crate::common::cases("posterior") {
        let posterior = Posterior::new(&sample_of(&case), ShapePrior::Flat).unwrap();
        for expected in case
            .expect
            .iter()
            .filter(|e| !e.quantity.starts_with("decision"))
        {
            let mut parts = expected.quantity.split('.');
            let target = target(parts.next().unwrap()).unwrap();
            let p = match (parts.next().unwrap(), parts.next().unwrap()) {
                ("post", "median") => 0.5,
                ("post90", "lower") => 0.05,
                ("post90", "upper") => 0.95,
                ("post95", "lower") => 0.025,
                ("post95", "upper") => 0.975,
                other => panic!("{other:?}"),
            };
            expected.judge(&case, posterior.quantile(target, p).unwrap());
            judged += 1;
        }
    }
    assert!(judged >= 100, "only {judged} values were judged");
}
