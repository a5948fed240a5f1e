//! Groups of lives compared: reference cases, brute force, coverage, groups that stay open.

use proptest::prelude::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{End, Life, Sample};
use wearbook::model::common_shape::fit_common_shape;
use wearbook::model::compare::{ChosenBy, CompareError, Comparison, Nested, Question, compare};
use wearbook::model::life_ratio::RatioNote;
use wearbook::model::posterior::ShapePrior;
use wearbook::model::posterior::several::SeveralPosterior;
use wearbook::model::{LimitsKind, Weibull, fit_weibull};

use crate::common::{Case, cases, lives_of, study::draw};

/// The case's groups, in the order of the case.
fn groups_of(case: &Case) -> (Vec<String>, Vec<Sample>) {
    let names: Vec<String> = case.data["groups"]
        .as_array()
        .unwrap()
        .iter()
        .map(|g| g.as_str().unwrap().to_owned())
        .collect();
    let lives = lives_of(case);
    let samples = names
        .iter()
        .map(|name| {
            let raw = case.data["lives"].as_array().unwrap();
            let own = lives.iter().zip(raw);
            Sample::new(
                own.filter(|(_, r)| r["group"] == name.as_str())
                    .map(|(l, _)| *l)
                    .collect(),
            )
            .unwrap()
        })
        .collect();
    (names, samples)
}

fn answer(quantity: &str, names: &[String], samples: &[Sample]) -> Option<f64> {
    let found = |kind, confidence| compare(samples, 0, (kind, confidence)).unwrap();
    let plain = found(LimitsKind::None, 0.9);
    let (name, inside) = match quantity.split_once('[') {
        Some((name, rest)) => (name, rest.trim_end_matches(']')),
        None => (quantity, ""),
    };
    let first = inside.split('/').next()?;
    let group = names.iter().position(|n| n == first);
    let model = |word: &str| Nested::ALL.into_iter().find(|m| m.word().starts_with(word));
    let value = |which: usize| plain.models[which].log_likelihood;
    let ln_ratio = || plain.common.as_ref().ok()?.ln_ratio(group?, 0);
    let test = |question| plain.test(question);
    Some(match name {
        "pooled.loglik" => value(0)?,
        "common.loglik" => value(1)?,
        "separate.loglik" => plain.separate[group?].as_ref().ok()?.log_likelihood,
        "log_life_ratio" => ln_ratio()?.0,
        "se_log_life_ratio" => ln_ratio()?.1,
        "life_ratio" => {
            plain
                .ratios
                .iter()
                .find(|r| Some(r.of) == group)?
                .estimate?
        }
        "lr_shapes" => test(Question::EqualShapes)?.0,
        "p_shapes" => test(Question::EqualShapes)?.1,
        "lr_scales" => test(Question::EqualScales)?.0,
        "p_scales" => test(Question::EqualScales)?.1,
        "lr_all" => test(Question::EqualBoth)?.0,
        "p_all" => test(Question::EqualBoth)?.1,
        _ => {
            let parts: Vec<&str> = name.split('.').collect();
            match parts.as_slice() {
                ["life_ratio", kind, side] => {
                    let confidence = kind.strip_prefix("wald")?.parse::<f64>().ok()? / 100.0;
                    let all = found(LimitsKind::Wald, confidence);
                    let limits = all.ratios.iter().find(|r| Some(r.of) == group)?.limits;
                    match *side {
                        "lower" => limits.lower?,
                        "upper" => limits.upper?,
                        _ => return None,
                    }
                }
                [which, parameter] => {
                    let life = plain.life(model(which)?, group.unwrap_or(0))?;
                    match *parameter {
                        "shape" => life.shape,
                        "scale" => life.scale,
                        _ => return None,
                    }
                }
                _ => return None,
            }
        }
    })
}

#[test]
fn nested_models_agree_with_the_reference_cases() {
    let mut judged = 0;
    for case in cases("regression") {
        let (names, samples) = groups_of(&case);
        for expected in &case.expect {
            let name = expected.quantity.trim_start_matches("published.");
            let got = answer(name, &names, &samples)
                .unwrap_or_else(|| panic!("{}: no answer for {name}", case.id));
            expected.judge(&case, got);
            judged += 1;
        }
    }
    assert!(judged >= 70, "only {judged} values were judged");
}

fn of(usages: &[f64]) -> Vec<Life> {
    usages
        .iter()
        .map(|t| {
            if *t < 0.0 {
                Life::suspension(-t)
            } else {
                Life::failure(*t)
            }
        })
        .collect()
}

fn sample(lives: Vec<Life>) -> Sample {
    Sample::new(lives).unwrap()
}

/// The posterior of the ratio by brute force: the likelihood on a grid over ln shape and both
/// ln scales, in the plainest form, weighed by the prior 1/(shape·scale·scale), which is flat
/// on that grid.
fn brute_ratio_below(one: &[Life], other: &[Life], x: f64) -> f64 {
    let ln_likelihood = |lives: &[Life], k: f64, scale: f64| -> f64 {
        let hazard = |t: f64| (t / scale).powf(k);
        lives
            .iter()
            .map(|life| match life.end {
                End::Failure { at } => k.ln() - at.ln() + k * (at / scale).ln() - hazard(at),
                End::Suspension { at } => -hazard(at),
                End::Interval { lo, hi } => ((-hazard(lo)).exp() - (-hazard(hi)).exp()).ln(),
                End::Left { hi } => (-(-hazard(hi)).exp_m1()).ln(),
            })
            .sum()
    };
    let (mut below, mut total) = (0.0, 0.0);
    let step = 0.01;
    let offset = (x / step).round() as i64;
    assert!(
        (x - step * offset as f64).abs() < 1e-12,
        "x lies on the grid"
    );
    for nb in -60..70 {
        let k = (f64::from(nb) * 0.04_f64).exp();
        let row = |lives: &[Life]| -> Vec<f64> {
            (-1_500..1_500)
                .map(|na| ln_likelihood(lives, k, (f64::from(na) * step).exp()).exp())
                .collect()
        };
        let (first, second) = (row(one), row(other));
        // Running sums of the first up to the second plus x, the last cell by half.
        let mut sums = vec![0.0];
        for w in &first {
            sums.push(sums[sums.len() - 1] + w);
        }
        let up_to = |n: i64| {
            let n = n.clamp(0, first.len() as i64 - 1) as usize;
            sums[n] + 0.5 * first[n]
        };
        for (n, w) in second.iter().enumerate() {
            below += w * up_to(n as i64 + offset);
            total += w * sums[first.len()];
        }
    }
    below / total
}

#[test]
fn the_posterior_of_a_ratio_agrees_with_brute_force() {
    let closed = (
        of(&[0.7, 1.1, 1.4, -1.6, 0.9]),
        of(&[1.2, 2.2, -1.8, 1.7, 2.6]),
    );
    let mut windows = closed.clone();
    windows.0[1] = Life::interval(0.8, 1.3);
    windows.1[0] = Life::interval(0.9, 1.5);
    let mut one_sided = closed.clone();
    one_sided.0[1] = Life::interval(0.8, 1.3);
    for (one, other) in [closed, windows, one_sided] {
        let (first, second) = (sample(one.clone()), sample(other.clone()));
        let posterior = SeveralPosterior::new(&[&first, &second], ShapePrior::Flat).unwrap();
        for x in [-1.1, -0.6, -0.2] {
            let got = posterior.ratio_below(0, 1, x).unwrap();
            let want = brute_ratio_below(&one, &other, x);
            assert!((got - want).abs() < 5e-5, "{x}: {got} for {want}");
            // The ratio turned round is the same statement.
            let turned = 1.0 - posterior.ratio_below(1, 0, -x).unwrap();
            assert!((got - turned).abs() < 2e-6, "{x}: {got} and {turned}");
        }
    }
}

/// Samples a study draws; `WEARBOOK_REPLICATES=40000` makes it a long one.
fn replicates() -> u64 {
    std::env::var("WEARBOOK_REPLICATES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(4_000)
}

fn complete(life: &Weibull, n: usize, rng: &mut ChaCha8Rng) -> Sample {
    sample((0..n).map(|_| Life::failure(draw(life, rng))).collect())
}

/// Two groups of complete lives: posterior limits of the ratio hold the truth nine times in
/// ten whatever shape and ratio (both are pivotal; shape 1 and ratio 1 stand for all), Wald
/// limits do not. Standard error of a share of 4,000: 0.0047.
#[test]
fn posterior_limits_of_a_ratio_are_exact_for_complete_samples() {
    let life = Weibull::new(1.0, 1.0).unwrap();
    for n in [3, 5, 10] {
        let replicates = replicates();
        let hits: Vec<[bool; 4]> = (0..replicates)
            .into_par_iter()
            .map(|replicate| {
                let mut rng = ChaCha8Rng::seed_from_u64(31_000_000 * n as u64 + replicate);
                let groups = [complete(&life, n, &mut rng), complete(&life, n, &mut rng)];
                let each = [&groups[0], &groups[1]];
                let posterior = SeveralPosterior::new(&each, ShapePrior::Flat).unwrap();
                // Limits hold a ratio of 1 where the probability below it is in the middle 90 %.
                let below = posterior.ratio_below(1, 0, 0.0).unwrap();
                let (ln_ratio, error) = fit_common_shape(&each).unwrap().ln_ratio(1, 0).unwrap();
                let all = compare(&groups, 0, (LimitsKind::None, 0.9)).unwrap();
                [
                    (0.05..=0.95).contains(&below),
                    ln_ratio.abs() <= 1.644_853_626_951_472_2 * error,
                    all.test(Question::EqualScales).unwrap().1 >= 0.1,
                    all.chosen == Some((Nested::Pooled, ChosenBy::Aicc)),
                ]
            })
            .collect();
        let share = |n: usize| hits.iter().filter(|h| h[n]).count() as f64 / replicates as f64;
        println!(
            "two groups of {n:>2}: posterior {:.2} %, Wald {:.2} %, likelihood ratio {:.2} %; pooled kept {:.1} %",
            100.0 * share(0),
            100.0 * share(1),
            100.0 * share(2),
            100.0 * share(3),
        );
        assert!((0.885..=0.915).contains(&share(0)), "{n}: {}", share(0));
        assert!(share(1) < 0.88, "{n}: {}", share(1));
    }
}

/// Likelihood-ratio limits are where the test of that ratio has the p-value they promise.
#[test]
fn likelihood_ratio_limits_end_where_the_profile_has_fallen_by_the_quantile() {
    let groups = [
        sample(of(&[310.0, 470.0, 620.0, -800.0, 950.0])),
        sample(of(&[150.0, 260.0, -240.0, 390.0])),
        sample(vec![Life::interval(200.0, 500.0), Life::failure(640.0)]),
    ];
    let found = compare(&groups, 0, (LimitsKind::LikelihoodRatio, 0.9)).unwrap();
    for ratio in &found.ratios {
        let top = found.models[1].log_likelihood.unwrap();
        for limit in [ratio.limits.lower.unwrap(), ratio.limits.upper.unwrap()] {
            // The group's lives over the limit belong, at the limit, to the base's scale.
            let moved: Vec<Life> = groups[ratio.of]
                .lives()
                .iter()
                .map(|l| match l.end {
                    End::Failure { at } => Life::failure(at / limit),
                    End::Suspension { at } => Life::suspension(at / limit),
                    End::Interval { lo, hi } => Life::interval(lo / limit, hi / limit),
                    End::Left { .. } => unreachable!(),
                })
                .chain(groups[0].lives().iter().copied())
                .collect();
            let moved = sample(moved);
            let other = &groups[3 - ratio.of];
            let held = fit_common_shape(&[&moved, other]).unwrap().log_likelihood
                - groups[ratio.of].exact_failures() as f64 * limit.ln();
            // Chi-square on one degree of freedom: 90 % lie below 2.705543454095404.
            assert!((2.0 * (top - held) - 2.705_543_454_095_404).abs() < 1e-8);
        }
    }
}

#[test]
fn a_group_without_a_failure_leaves_its_side_open() {
    let groups = [
        sample(of(&[300.0, 450.0, 520.0, 700.0, -600.0])),
        sample(of(&[-900.0, -1_100.0, -800.0, -1_300.0])),
    ];
    for kind in [
        LimitsKind::Posterior,
        LimitsKind::LikelihoodRatio,
        LimitsKind::Wald,
    ] {
        let found = compare(&groups, 0, (kind, 0.9)).unwrap();
        let ratio = &found.ratios[0];
        assert_eq!((ratio.estimate, ratio.limits.upper), (None, None));
        assert!(ratio.limits.lower.unwrap() > 1.0, "{:?}", ratio.limits);
        assert_eq!(ratio.notes, [RatioNote::GroupWithoutFailure]);
        assert_eq!(ratio.kind, LimitsKind::LikelihoodRatio);
        assert!(found.life(Nested::CommonShape, 1).is_none());
        // The group without a failure bends nothing: the shape is the other's own.
        let alone = fit_weibull(&groups[0]).unwrap();
        let common = found.life(Nested::CommonShape, 0).unwrap();
        assert!((common.shape / alone.weibull.shape - 1.0).abs() < 1e-9);
        assert!(found.models[2].log_likelihood.is_none() && found.separate[1].is_err());
        assert!(found.test(Question::EqualShapes).is_none());
        assert_eq!(found.chosen, Some((Nested::CommonShape, ChosenBy::Aicc)));
        // Turned round, the other side is open.
        let turned = compare(&groups, 1, (kind, 0.9)).unwrap();
        let upper = turned.ratios[0].limits.upper.unwrap();
        assert!((upper * ratio.limits.lower.unwrap() - 1.0).abs() < 1e-8);
        assert_eq!(turned.ratios[0].limits.lower, None);
    }
}

#[test]
fn groups_that_cannot_be_compared_say_why() {
    let some = sample(of(&[100.0, 200.0, 300.0]));
    let none = sample(of(&[-100.0, -50.0]));
    let limits = (LimitsKind::Posterior, 0.9);
    assert_eq!(
        compare(std::slice::from_ref(&some), 0, limits),
        Err(CompareError::TooFewGroups { groups: 1 })
    );
    assert_eq!(
        compare(&[some.clone(), Sample::default()], 0, limits),
        Err(CompareError::EmptyGroup { group: 1 })
    );
    let empty = compare(&[none.clone(), none.clone()], 0, limits).unwrap();
    assert_eq!((empty.chosen, empty.ratios.len()), (None, 0));
    assert!(empty.pooled.is_err() && empty.common.is_err());
    // One failure a group: pooled has an estimate, a common shape none.
    let single = |t| sample(of(&[t]));
    let few = compare(&[single(100.0), single(230.0)], 0, limits).unwrap();
    assert_eq!(few.chosen, Some((Nested::Pooled, ChosenBy::FewLives)));
    assert!(few.common.is_err() && few.models[0].aicc.is_none());
    // Two failures and two groups: an estimate, but no posterior; likelihood ratio stands in.
    let thin = compare(
        &[sample(of(&[100.0, -150.0])), sample(of(&[210.0, -250.0]))],
        0,
        limits,
    )
    .unwrap();
    let ratio = &thin.ratios[0];
    assert!(
        matches!(ratio.notes[..], [RatioNote::NoPosterior(_)]),
        "{ratio:?}"
    );
    assert_eq!(ratio.kind, LimitsKind::LikelihoodRatio);
}

fn any_life() -> impl Strategy<Value = Life> {
    let entry = prop_oneof![4 => Just(0.0), 1 => 1.0..300.0];
    (entry, 1.0..5_000.0, 1.0..1_500.0, 0..5, 1_u32..4).prop_map(
        |(entry, length, width, kind, count)| {
            let at: f64 = entry + length;
            let end = match kind {
                0 | 1 => End::Suspension { at },
                2 => End::Interval {
                    lo: at,
                    hi: at + width,
                },
                3 if entry == 0.0 && width > 700.0 => End::Left { hi: at },
                _ => End::Failure { at },
            };
            Life { entry, end, count }
        },
    )
}

fn richer_is_never_less_likely(found: &Comparison) -> bool {
    let values: Vec<f64> = found
        .models
        .iter()
        .filter_map(|m| m.log_likelihood)
        .collect();
    values
        .windows(2)
        .all(|pair| pair[1] >= pair[0] - 1e-8 * pair[0].abs())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]

    /// Models nest, the order of groups does not matter, and no neighbour of a common shape is
    /// likelier.
    #[test]
    fn models_nest_and_a_common_shape_is_a_maximum(
        groups in prop::collection::vec(prop::collection::vec(any_life(), 1..12), 2..5),
    ) {
        let samples: Vec<Sample> = groups.into_iter().map(|g| Sample::new(g).unwrap()).collect();
        let found = compare(&samples, 0, (LimitsKind::None, 0.9)).unwrap();
        prop_assert!(richer_is_never_less_likely(&found), "{:?}", found.models);
        let turned: Vec<Sample> = samples.iter().rev().cloned().collect();
        let again = compare(&turned, 0, (LimitsKind::None, 0.9)).unwrap();
        for (one, other) in found.models.iter().zip(&again.models) {
            match (one.log_likelihood, other.log_likelihood) {
                (Some(x), Some(y)) => prop_assert!((x - y).abs() < 1e-7 * (1.0 + x.abs()), "{x} {y}"),
                (x, y) => prop_assert_eq!(x.is_some(), y.is_some()),
            }
        }
        if let Ok(common) = &found.common {
            let factor = common.shape.max(1.0).powi(2);
            prop_assert!(common.gradient < 1e-6 * factor);
        }
    }
}
