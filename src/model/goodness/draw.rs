//! Samples of a fitted model, cut short and found as the lives were.
//!
//! In: a [`Sample`], a [`Distribution`], a generator. Out: another [`Sample`].
//! Never: an estimate of the model.
//!
//! Each item keeps its entry age and how its failure comes to light. Its failure is drawn from
//! the model, given survival to the entry age. The usage at which it would be taken away is
//! drawn from the product-limit estimate of those usages (suspensions as the events, failures
//! as what cuts them short), given that it lies beyond the entry age; what that estimate
//! leaves over runs to failure. A failure found at inspections is found at the next point of a
//! grid with the width and phase of the window in which the item was found, or when it is
//! taken away before; items that did not fail are looked after like one that did, in turn.
//! Source: A. C. Davison & D. V. Hinkley, *Bootstrap Methods and their Application* (1997),
//! section 3.5 (censored data); the grids are our own choice.

use rand::{Rng, RngExt};

use crate::life::{End, Life, Sample};
use crate::model::distribution::Distribution;

/// How a failure comes to light.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Found {
    /// When it happens.
    AtOnce,
    /// At the next of these usages: `phase + whole number × width`.
    OnGrid { width: f64, phase: f64 },
}

#[derive(Debug, Clone, Copy)]
struct Item {
    entry: f64,
    found: Found,
    /// Share of items not yet taken away at the entry age.
    kept_at_entry: f64,
}

/// How to draw a sample like one that was seen.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    items: Vec<Item>,
    /// Usages at which items are taken away, with the share kept beyond each.
    taken: Vec<(f64, f64)>,
}

impl Plan {
    pub(super) fn of(sample: &Sample) -> Self {
        let mut lives: Vec<Life> = sample.lives().to_vec();
        // One order whatever that of the rows.
        lives.sort_by(|x, y| {
            (x.last_usage().total_cmp(&y.last_usage()))
                .then(y.failed().cmp(&x.failed()))
                .then(x.entry.total_cmp(&y.entry))
                .then(opened(x).total_cmp(&opened(y)))
                .then(x.count.cmp(&y.count))
        });
        let taken = taken_away(&lives);
        let kinds: Vec<Found> = (lives.iter())
            .filter_map(|life| Some((found(life)?, life.count)))
            .flat_map(|(found, count)| std::iter::repeat_n(found, count as usize))
            .collect();
        let mut turn = 0;
        let mut items = Vec::new();
        for life in &lives {
            let kept_at_entry = kept_beyond(&taken, life.entry);
            for _ in 0..life.count {
                let found = found(life).unwrap_or_else(|| {
                    turn += 1;
                    match kinds.len() {
                        0 => Found::AtOnce,
                        n => kinds[(turn - 1) % n],
                    }
                });
                items.push(Item {
                    entry: life.entry,
                    found,
                    kept_at_entry,
                });
            }
        }
        Plan { items, taken }
    }

    /// A sample drawn anew; `None` where a life came out without length.
    pub(super) fn draw(&self, model: &Distribution, rng: &mut impl Rng) -> Option<Sample> {
        let lives = (self.items.iter())
            .map(|item| {
                let fails = fails(item.entry, model, rng);
                let taken = self.taken_at(item, rng);
                Life {
                    entry: item.entry,
                    end: item.found.end(fails, taken),
                    count: 1,
                }
            })
            .collect();
        Sample::new(lives).ok()
    }

    /// Usage at which the item is taken away if it did not fail before; infinite for never.
    fn taken_at(&self, item: &Item, rng: &mut impl Rng) -> f64 {
        if self.taken.is_empty() {
            return f64::INFINITY;
        }
        let u: f64 = rng.random();
        let kept = item.kept_at_entry * u;
        let place = self.taken.partition_point(|&(_, left)| left > kept);
        self.taken.get(place).map_or(f64::INFINITY, |&(at, _)| at)
    }
}

/// A failure of the model, given survival to `entry`.
fn fails(entry: f64, model: &Distribution, rng: &mut impl Rng) -> f64 {
    let u: f64 = rng.random();
    let share = model.failed_by(entry) + model.reliability(entry) * u;
    // The largest share below 1: beyond it there is no usage.
    model.life_at(share.min(1.0 - f64::EPSILON / 2.0))
}

impl Found {
    fn end(self, fails: f64, taken: f64) -> End {
        if taken < fails {
            return End::Suspension { at: taken };
        }
        match self {
            Found::AtOnce => End::Failure { at: fails },
            Found::OnGrid { width, phase } => {
                let hi = phase + ((fails - phase) / width).ceil() * width;
                End::Interval {
                    lo: (hi - width).max(0.0),
                    hi: hi.max(fails).min(taken),
                }
            }
        }
    }
}

/// How a failed item was found; `None` for a suspension.
fn found(life: &Life) -> Option<Found> {
    let (lo, hi) = match life.end {
        End::Suspension { .. } => return None,
        End::Failure { .. } => return Some(Found::AtOnce),
        End::Interval { lo, hi } => (lo, hi),
        End::Left { hi } => (life.entry, hi),
    };
    Some(Found::OnGrid {
        width: hi - lo,
        phase: hi,
    })
}

fn opened(life: &Life) -> f64 {
    match life.end {
        End::Interval { lo, .. } => lo,
        _ => life.entry,
    }
}

/// Product-limit estimate of the usages at which items are taken away, from lives in order of
/// usage, failures before suspensions.
fn taken_away(lives: &[Life]) -> Vec<(f64, f64)> {
    let mut entries: Vec<(f64, u64)> = (lives.iter())
        .map(|l| (l.entry, u64::from(l.count)))
        .collect();
    entries.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut kept = 1.0;
    let mut taken: Vec<(f64, f64)> = Vec::new();
    let (mut entered, mut next_entry, mut gone) = (0, 0, 0);
    for (place, life) in lives.iter().enumerate() {
        let count = u64::from(life.count);
        let at = life.last_usage();
        while next_entry < entries.len() && entries[next_entry].0 < at {
            entered += entries[next_entry].1;
            next_entry += 1;
        }
        if !life.failed() {
            // Entered before, as every life has length: never fewer than this one's count.
            let at_risk = (entered - gone) as f64;
            let left = at_risk - count as f64;
            let more = place + 1 < lives.len();
            kept *= if left > 0.0 || !more { left } else { 0.5 } / at_risk;
            match taken.last_mut() {
                Some(last) if last.0 == at => last.1 = kept,
                _ => taken.push((at, kept)),
            }
        }
        gone += count;
    }
    taken
}

/// Share not yet taken away at a usage.
fn kept_beyond(taken: &[(f64, f64)], usage: f64) -> f64 {
    match taken.partition_point(|&(at, _)| at <= usage) {
        0 => 1.0,
        n => taken[n - 1].1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Weibull;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    fn drawn(lives: Vec<Life>, times: usize) -> Vec<Sample> {
        let plan = Plan::of(&Sample::new(lives).unwrap());
        let model = Distribution::Weibull(Weibull::new(2.0, 100.0).unwrap());
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        (0..times)
            .map(|_| plan.draw(&model, &mut rng).unwrap())
            .collect()
    }

    #[test]
    fn a_common_stop_stays_a_common_stop() {
        let mut lives: Vec<Life> = [20.0, 40.0, 60.0].map(Life::failure).to_vec();
        lives.push(Life {
            count: 3,
            ..Life::suspension(80.0)
        });
        for sample in drawn(lives, 200) {
            assert_eq!(sample.count(), 6);
            for life in sample.lives() {
                assert!(life.failed() && life.last_usage() <= 80.0 || life.last_usage() == 80.0);
            }
        }
    }

    /// Six lives, suspensions at 2 and 5: kept 4/5 beyond 2, half of that beyond 5.
    #[test]
    fn taken_away_as_the_product_limit_says() {
        let lives = vec![
            Life::failure(1.0),
            Life::suspension(2.0),
            Life::failure(3.0),
            Life::failure(4.0),
            Life::suspension(5.0),
            Life::failure(6.0),
        ];
        let kept = taken_away(&lives);
        assert_eq!(kept, [(2.0, 0.8), (5.0, 0.4)]);
        let late = Life {
            entry: 4.5,
            ..Life::suspension(5.0)
        };
        let plan = Plan::of(&Sample::new(vec![late, lives[1], lives[5]]).unwrap());
        // One of two kept beyond 2, then one of two beyond 5.
        assert!((plan.taken[0].1 - 0.5).abs() < 1e-15 && (plan.taken[1].1 - 0.25).abs() < 1e-15);
    }

    #[test]
    fn entry_ages_and_grids_are_kept() {
        let lives = vec![
            Life {
                entry: 50.0,
                end: End::Interval { lo: 70.0, hi: 90.0 },
                count: 1,
            },
            Life {
                entry: 30.0,
                end: End::Suspension { at: 100.0 },
                count: 1,
            },
        ];
        for sample in drawn(lives, 300) {
            for life in sample.lives() {
                match life.end {
                    End::Interval { lo, hi } => {
                        let whole = |t: f64| ((t - 90.0) / 20.0).fract().abs() < 1e-9;
                        assert!(whole(lo) && (whole(hi) || hi == 100.0) && hi - lo <= 20.0 + 1e-9);
                        assert!(lo > life.entry);
                    }
                    End::Left { hi } => assert!(hi - life.entry <= 20.0 + 1e-9),
                    End::Suspension { at } => assert_eq!(at, 100.0),
                    End::Failure { .. } => panic!("found at once"),
                }
                assert!(life.entry == 50.0 || life.entry == 30.0);
            }
        }
    }

    /// Given survival to the entry age, the cumulative hazard from there on is unit exponential.
    #[test]
    fn failures_are_drawn_given_the_entry_age() {
        let life = Life {
            entry: 80.0,
            ..Life::failure(90.0)
        };
        let model = Weibull::new(2.0, 100.0).unwrap();
        let samples = drawn(vec![life], 20_000);
        let mean = samples
            .iter()
            .map(|s| {
                let t = s.lives()[0].last_usage();
                model.cumulative_hazard(t) - model.cumulative_hazard(80.0)
            })
            .sum::<f64>()
            / 20_000.0;
        assert!((mean - 1.0).abs() < 0.03, "{mean}");
    }
}
