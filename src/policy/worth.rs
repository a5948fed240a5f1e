//! What a difference in lives is worth: the cost per unit of usage of two groups, each at its
//! own best age.
//!
//! In: the posterior of two groups with a common shape, and costs. Out: [`Worth`].
//! Never: which age to choose from data (see `decide`); currency.
//!
//! For a shape `k` and a scale `η` the least cost rate is `c(k)/η`, with `c(k)` the least of
//! age replacement at scale 1, or of running to failure where no age beats it (see `age`).
//! That is what a group would cost if its life were known and every item renewed at the age
//! best for it: the doubt about the life is in the limits, not in the age. The distribution
//! over `k` and both scales is the posterior's, by quadrature: the same bytes every time.

use super::age::{Costs, ln_unit_cost, ln_unit_optimum};
use super::decide::{Saving, quantiles};
use crate::model::posterior::several::SeveralPosterior;

/// Two groups' cost rates, and how much more the first costs than the second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    /// Cost per unit of usage: posterior median and limits.
    pub of: Saving,
    pub to: Saving,
    /// `of − to`, the two being at one shape.
    pub difference: Saving,
    /// Posterior probability that the first costs more.
    pub chance_dearer: f64,
}

/// Scale nodes per standard deviation, and the weight below which a node is left out.
const PER_SD: f64 = 4.0;
const LEAST_WEIGHT: f64 = 1e-7;

/// What the lives of group `of` cost against those of group `to`.
///
/// `None` where the data leave either scale open. Units: costs per unit of usage.
/// Domain: `0 < confidence < 1`, two-sided. Accuracy: 1 % of the width of the limits (unit
/// test against the distributions integrated finely).
pub fn worth(
    posterior: &SeveralPosterior,
    (of, to): (usize, usize),
    costs: Costs,
    confidence: f64,
) -> Option<Worth> {
    let mut first = Vec::new();
    let mut second = Vec::new();
    let mut difference = Vec::new();
    let (mut dearer, mut total) = (0.0, 0.0);
    for node in posterior.nodes().iter().filter(|n| n.weight > LEAST_WEIGHT) {
        let ln_least = ln_least_cost(node.shape, costs);
        let rates = |group: usize| -> Option<Vec<(f64, f64)>> {
            let nodes = node.scales[group]
                .as_ref()?
                .hazard_nodes(node.shape, PER_SD);
            let rate = |ka: f64| (ln_least - ka / node.shape - posterior.shift(group)).exp();
            Some(nodes.into_iter().map(|(ka, w)| (rate(ka), w)).collect())
        };
        let (one, other) = (rates(of)?, rates(to)?);
        first.extend(one.iter().map(|(rate, w)| (*rate, node.weight * w)));
        second.extend(other.iter().map(|(rate, w)| (*rate, node.weight * w)));
        for (x, wx) in &one {
            for (y, wy) in &other {
                let weight = node.weight * wx * wy;
                if weight > 1e-4 * LEAST_WEIGHT {
                    difference.push((x - y, weight));
                    total += weight;
                    // Equal ones, as of a group against itself, count by half.
                    dearer += weight * 0.5 * (1.0 + (x - y).signum() * f64::from(x != y));
                }
            }
        }
    }
    Some(Worth {
        of: quantiles(first, confidence),
        to: quantiles(second, confidence),
        difference: quantiles(difference, confidence),
        chance_dearer: dearer / total,
    })
}

/// Log of the least cost rate at scale 1: at the best age, or running to failure.
fn ln_least_cost(shape: f64, costs: Costs) -> f64 {
    let best = ln_unit_optimum(shape, costs).unwrap_or(f64::INFINITY);
    ln_unit_cost(shape, costs, best)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::{Life, Sample};
    use crate::model::posterior::ShapePrior;

    fn groups() -> [Sample; 2] {
        let of = |usages: &[f64]| {
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
        };
        [
            Sample::new(of(&[
                1_900.0, 2_400.0, -2_000.0, 2_900.0, -1_200.0, 3_300.0,
            ]))
            .unwrap(),
            Sample::new(of(&[700.0, -900.0, 1_150.0, 1_300.0, 1_450.0])).unwrap(),
        ]
    }

    /// The share of the posterior with a difference below each limit, from the scales' own
    /// distributions: `C_of <= d + C_to` is `a_of >= ln c − ln(d + C_to)`.
    #[test]
    fn limits_cut_off_the_tails_they_promise() {
        let groups = groups();
        let each = [&groups[0], &groups[1]];
        let posterior = SeveralPosterior::new(&each, ShapePrior::DECISION).unwrap();
        for costs in [
            Costs::new(400.0, 2_500.0).unwrap(),
            // A failure that costs no more: run to failure throughout.
            Costs::new(400.0, 300.0).unwrap(),
        ] {
            let found = worth(&posterior, (1, 0), costs, 0.9).unwrap();
            let below = |d: f64| -> f64 {
                posterior
                    .nodes()
                    .iter()
                    .map(|node| {
                        let least = ln_least_cost(node.shape, costs);
                        let of = node.scales[1].as_ref().unwrap();
                        let to = node.scales[0].as_ref().unwrap();
                        let share: f64 = to
                            .hazard_nodes(node.shape, 20.0)
                            .iter()
                            .map(|(ka, w)| {
                                let rate = (least - ka / node.shape - posterior.shift(0)).exp();
                                let limit = d + rate;
                                if limit <= 0.0 {
                                    return 0.0;
                                }
                                let a = least - limit.ln() - posterior.shift(1);
                                w * (1.0 - of.cdf(node.shape, a).0)
                            })
                            .sum();
                        node.weight * share
                    })
                    .sum()
            };
            for (limit, share) in [
                (found.difference.lower, 0.05),
                (found.difference.median, 0.5),
                (found.difference.upper, 0.95),
            ] {
                assert!(
                    (below(limit) - share).abs() < 2e-3,
                    "{limit}: {}",
                    below(limit)
                );
            }
            assert!((found.chance_dearer - (1.0 - below(0.0))).abs() < 2e-3);
            // Shorter lives cost more, by about as many times as they are shorter.
            assert!(found.of.median > 1.5 * found.to.median);
        }
    }

    #[test]
    fn a_group_against_its_like_costs_neither_more_nor_less() {
        let one = &groups()[0];
        let posterior = SeveralPosterior::new(&[one, one], ShapePrior::DECISION).unwrap();
        let costs = Costs::new(1.0, 5.0).unwrap();
        let found = worth(&posterior, (1, 0), costs, 0.9).unwrap();
        assert!(found.difference.median.abs() < 1e-3 * found.of.median);
        assert!((found.chance_dearer - 0.5).abs() < 1e-9);
        let empty = Sample::new(vec![Life::suspension(900.0)]).unwrap();
        let open = SeveralPosterior::new(&[one, &empty], ShapePrior::DECISION).unwrap();
        assert_eq!(worth(&open, (1, 0), costs, 0.9), None);
    }
}
