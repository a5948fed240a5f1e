//! Data that have no estimate, each with the reason that must be told, and data at the edge.
//!
//! The catalogue stands in `tests/reference/hard/`, one file a story.

use std::collections::BTreeSet;
use std::path::PathBuf;

use serde::Deserialize;
use wearbook::life::{End, Life, LifeError, Sample};
use wearbook::model::posterior::{Posterior, PosteriorError, ShapePrior};
use wearbook::model::{FitError, fit_weibull};

use crate::common::lives_in;

/// One entry of the catalogue.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Hard {
    id: String,
    story: String,
    data: serde_json::Value,
    expect: Expect,
    /// What the posterior under 1/(scale·shape) does: `limits`, `improper`, `no-failures`.
    posterior: String,
    /// What the decision's posterior does: `posterior`, `no-failures`.
    decision: String,
}

#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum Expect {
    Error {
        error: String,
        sentence: String,
    },
    Estimate {
        shape: f64,
        scale: f64,
        log_likelihood: f64,
        rel_tol: f64,
        origin: String,
    },
}

fn kind(error: &FitError) -> &'static str {
    match error {
        FitError::Empty => "empty",
        FitError::NoFailures { .. } => "no-failures",
        FitError::AllFailedAtFirstLook { .. } => "all-failed-at-first-look",
        FitError::OneFailure { .. } => "one-failure",
        FitError::AllTied { .. } => "all-tied",
        FitError::WindowsOverlap { .. } => "windows-overlap",
        FitError::ShapeTowardsZero => "shape-towards-zero",
        FitError::HazardFallsTooFast { .. } => "hazard-falls-too-fast",
        FitError::ShapeAtEdge { .. } => "shape-at-edge",
        FitError::LocationTowardsFirst { .. } => "location-towards-first",
        FitError::RanksNeedTwoFailures { .. } => "ranks-need-two-failures",
        FitError::RanksNeedExactFailures { .. } => "ranks-need-exact-failures",
        FitError::RanksNeedNewItems { .. } => "ranks-need-new-items",
        FitError::NotConverged { .. } => "not-converged",
    }
}

fn catalogue() -> Vec<Hard> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/hard");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files
        .iter()
        .map(|path| {
            let case: Hard = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
            assert_eq!(path.file_stem().unwrap().to_str(), Some(case.id.as_str()));
            assert!(case.story.len() > 20, "{}: no story", case.id);
            case
        })
        .collect()
}

/// Each entry gives its own error with its full sentence, or its estimate, and the posteriors
/// follow suit: limits only where they are proper, a decision wherever anything failed.
#[test]
fn the_catalogue_of_hard_data_is_answered_as_it_says() {
    let mut met = BTreeSet::new();
    for case in catalogue() {
        let sample = Sample::new(lives_in(&case.id, &case.data["lives"])).unwrap();
        match (&case.expect, fit_weibull(&sample)) {
            (Expect::Error { error, sentence }, Err(got)) => {
                assert_eq!(kind(&got), error, "{}", case.id);
                assert_eq!(&got.to_string(), sentence, "{}", case.id);
                met.insert(kind(&got));
            }
            (
                Expect::Estimate {
                    shape,
                    scale,
                    log_likelihood,
                    rel_tol,
                    origin,
                },
                Ok(fit),
            ) => {
                for (what, got, want) in [
                    ("shape", fit.weibull.shape, shape),
                    ("scale", fit.weibull.scale, scale),
                    ("log-likelihood", fit.log_likelihood, log_likelihood),
                ] {
                    assert!(
                        (got / want - 1.0).abs() <= *rel_tol,
                        "{}: {what} is {got}, should be {want}; origin: {origin}",
                        case.id
                    );
                }
            }
            (expect, got) => panic!("{}: {got:?} for {expect:?}", case.id),
        }
        let word =
            |posterior: Result<Posterior, PosteriorError>, proper: &'static str| match posterior {
                Ok(_) => proper,
                Err(PosteriorError::NoFailures) => "no-failures",
                Err(PosteriorError::AllFailedAtFirstLook { .. }) => "all-failed-at-first-look",
                Err(PosteriorError::Improper { .. } | PosteriorError::NothingFromNew { .. }) => {
                    "improper"
                }
            };
        assert_eq!(
            word(Posterior::new(&sample, ShapePrior::Flat), "limits"),
            case.posterior,
            "{}",
            case.id
        );
        assert_eq!(
            word(Posterior::new(&sample, ShapePrior::DECISION), "posterior"),
            case.decision,
            "{}",
            case.id
        );
    }
    // Every reason has its entry but a search gone wrong, for which no data are known, and
    // those of the location and of ranks, which are held where those are tested.
    assert_eq!(met.len(), 9, "{met:?}");
}

fn sample(lives: Vec<Life>) -> Sample {
    Sample::new(lives).unwrap()
}

#[test]
fn no_lives_and_no_failures_are_told_apart() {
    assert_eq!(fit_weibull(&sample(vec![])), Err(FitError::Empty));
    let running = sample(vec![Life::suspension(100.0), Life::suspension(900.0)]);
    assert_eq!(
        fit_weibull(&running),
        Err(FitError::NoFailures { lives: 2 })
    );
    assert_eq!(
        Posterior::new(&running, ShapePrior::DECISION).err(),
        Some(PosteriorError::NoFailures)
    );
}

/// One failure that outlasts every suspension fits any shape, the steeper the better.
#[test]
fn failures_at_one_usage_with_nothing_beyond_leave_the_shape_open() {
    for lives in [
        vec![Life::failure(500.0)],
        vec![Life::failure(500.0), Life::failure(500.0)],
        vec![
            Life::failure(500.0),
            Life::suspension(400.0),
            Life::suspension(500.0),
        ],
    ] {
        let failures = lives.iter().filter(|l| l.failed()).count() as u64;
        let reason = match failures {
            1 => FitError::OneFailure {
                from: 500.0,
                to: 500.0,
            },
            _ => FitError::AllTied {
                at: 500.0,
                failures,
            },
        };
        assert_eq!(fit_weibull(&sample(lives.clone())), Err(reason));
        assert!(matches!(
            Posterior::new(&sample(lives.clone()), ShapePrior::Flat).err(),
            Some(PosteriorError::Improper { .. })
        ));
        // The decision's prior closes it.
        assert!(Posterior::new(&sample(lives), ShapePrior::DECISION).is_ok());
    }
}

#[test]
fn windows_that_all_overlap_leave_the_shape_open() {
    let lives = vec![
        Life::interval(100.0, 400.0),
        Life::interval(200.0, 500.0),
        Life {
            entry: 0.0,
            end: End::Left { hi: 450.0 },
            count: 1,
        },
        Life::suspension(250.0),
    ];
    assert_eq!(
        fit_weibull(&sample(lives)),
        Err(FitError::WindowsOverlap {
            from: 250.0,
            to: 400.0,
            failures: 3
        })
    );
}

/// One failure among longer runs has an estimate, though two are needed for the limits.
#[test]
fn one_failure_with_longer_runs_has_an_estimate_but_no_limits() {
    let lives = sample(vec![
        Life::failure(500.0),
        Life::suspension(800.0),
        Life::suspension(900.0),
    ]);
    assert!(fit_weibull(&lives).is_ok());
    assert!(matches!(
        Posterior::new(&lives, ShapePrior::Flat).err(),
        Some(PosteriorError::Improper { failures: 1 })
    ));
}

/// Where every life came under watch used, more failures do not help: it takes lives from new,
/// or a proper prior. The density grows as 1/shape towards shape 0 (see `improper`).
#[test]
fn without_a_life_from_new_the_prior_1_over_shape_leaves_the_shape_open() {
    let late = |at: f64| Life {
        entry: 300.0,
        ..Life::failure(at)
    };
    for failures in [
        vec![450.0],
        vec![450.0, 700.0, 1_000.0],
        vec![350.0, 400.0, 450.0, 700.0, 900.0, 1_000.0],
    ] {
        let mut lives: Vec<Life> = failures.iter().map(|at| late(*at)).collect();
        assert_eq!(
            Posterior::new(&sample(lives.clone()), ShapePrior::Flat).err(),
            Some(PosteriorError::NothingFromNew { first_entry: 300.0 })
        );
        assert!(Posterior::new(&sample(lives.clone()), ShapePrior::DECISION).is_ok());
        lives.push(Life::suspension(1_100.0));
        let from_new = Posterior::new(&sample(lives), ShapePrior::Flat).err();
        let expected = (failures.len() < 2).then_some(PosteriorError::Improper { failures: 1 });
        assert_eq!(from_new, expected);
    }
}

/// One window and one failure found at the first look, among long runs: the first look
/// tells nothing of how late it failed, so the limits would be improper.
#[test]
fn a_failure_found_at_the_first_look_does_not_bound_the_shape() {
    let lives = sample(vec![
        Life {
            entry: 0.0,
            end: End::Left { hi: 4_000.0 },
            count: 1,
        },
        Life::interval(2_000.0, 6_000.0),
        Life::suspension(7_000.0),
        Life::suspension(8_000.0),
    ]);
    assert!(fit_weibull(&lives).is_ok());
    assert!(matches!(
        Posterior::new(&lives, ShapePrior::Flat).err(),
        Some(PosteriorError::Improper { failures: 2 })
    ));
    let early = sample(vec![
        Life {
            entry: 0.0,
            end: End::Left { hi: 4_000.0 },
            count: 1,
        },
        Life::suspension(3_000.0),
        Life::suspension(7_000.0),
    ]);
    assert_eq!(fit_weibull(&early), Err(FitError::ShapeTowardsZero));
}

/// Every item came under watch late and failed soon after: the risk sets never overlap
/// enough to bound the shape.
#[test]
fn entry_ages_that_leave_nothing_to_compare_are_an_error_not_a_number() {
    let lives = sample(vec![
        Life {
            entry: 100.0,
            end: End::Failure { at: 110.0 },
            count: 1,
        },
        Life {
            entry: 500.0,
            end: End::Failure { at: 510.0 },
            count: 1,
        },
        Life {
            entry: 900.0,
            end: End::Failure { at: 910.0 },
            count: 1,
        },
    ]);
    match fit_weibull(&lives) {
        Ok(fit) => assert!(fit.weibull.shape.is_finite() && fit.gradient < 1e-6),
        Err(error) => assert!(
            matches!(
                error,
                FitError::ShapeAtEdge { .. } | FitError::ShapeTowardsZero
            ),
            "{error}"
        ),
    }
}

/// Failures a hair apart: the shape is enormous, and still the true maximum.
#[test]
fn nearly_tied_failures_converge() {
    let fit = fit_weibull(&sample(vec![
        Life::failure(1_000.0),
        Life::failure(1_000.1),
    ]))
    .unwrap();
    assert!(fit.weibull.shape > 5_000.0 && fit.weibull.scale < 1_000.2);
}

/// Usages from a starts counter and from a flow meter: the unit must not matter.
#[test]
fn tiny_and_huge_units_give_the_same_shape() {
    let base = [0.3, 1.1, 1.4, 2.2, 3.9];
    let shapes: Vec<f64> = [1e-9, 1.0, 1e12]
        .iter()
        .map(|unit| {
            let lives = base.iter().map(|t| Life::failure(t * unit)).collect();
            fit_weibull(&sample(lives)).unwrap().weibull.shape
        })
        .collect();
    assert!((shapes[0] / shapes[1] - 1.0).abs() < 1e-10);
    assert!((shapes[2] / shapes[1] - 1.0).abs() < 1e-10);
}

#[test]
fn a_bad_life_is_refused_with_its_place() {
    let bad = |life: Life| Sample::new(vec![Life::failure(1.0), life]).unwrap_err();
    assert!(matches!(
        bad(Life::failure(f64::NAN)),
        LifeError::NotFinite { index: 1, .. }
    ));
    assert!(matches!(
        bad(Life::failure(-3.0)),
        LifeError::Negative { index: 1, .. }
    ));
    assert!(matches!(
        bad(Life::interval(5.0, 5.0)),
        LifeError::EmptyWindow { index: 1, .. }
    ));
    assert!(matches!(
        bad(Life::suspension(0.0)),
        LifeError::EndsBeforeEntry { index: 1, .. }
    ));
    let late = Life {
        entry: 9.0,
        end: End::Failure { at: 4.0 },
        count: 1,
    };
    assert!(matches!(
        bad(late),
        LifeError::EndsBeforeEntry { index: 1, .. }
    ));
}
