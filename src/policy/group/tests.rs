//! The search against all plans of small machines; what any plan must keep.

use std::sync::Arc;

use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};

use super::*;
use crate::model::Weibull;

const STEP: f64 = 500.0;

fn uniform(rng: &mut ChaCha12Rng) -> f64 {
    use rand::Rng;
    (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

fn life(shape: f64, scale: f64) -> Arc<LifeTable> {
    let lives = [(1.0, Weibull::new(shape, scale).unwrap())];
    Arc::new(LifeTable::new(&lives, STEP, f64::INFINITY).unwrap())
}

fn item(name: &str, work: f64, hours: (f64, f64), failed: f64) -> Item {
    Item {
        component: name.into(),
        position: "P1".into(),
        work,
        own_h: hours.0,
        shared_h: hours.1,
        failed,
        life: None,
    }
}

/// A slot with a life drawn short enough for all its intervals to be tried.
fn drawn_slot(rng: &mut ChaCha12Rng, access: Option<usize>) -> Slot {
    let pick =
        |rng: &mut ChaCha12Rng, from: &[f64]| from[(uniform(rng) * from.len() as f64) as usize];
    let own_h = pick(rng, &[0.0, 0.25, 0.5]);
    let shared_h = pick(rng, &[0.0, 0.25, 0.5]);
    let mut item = item("part", 20.0 + 200.0 * uniform(rng), (own_h, shared_h), 0.0);
    item.failed = item.work * (2.0 + 8.0 * uniform(rng));
    item.life = Some(life(
        0.8 + 3.0 * uniform(rng),
        800.0 + 1_200.0 * uniform(rng),
    ));
    let bound = Bound {
        usage: 600.0 + 3_000.0 * uniform(rng),
        from: BoundFrom::Ceiling,
    };
    let allowed = match uniform(rng) {
        p if p < 0.7 => Allowed::Free,
        p if p < 0.8 => Allowed::AtFailure,
        _ => Allowed::AtMost(bound),
    };
    Slot {
        item,
        access,
        allowed,
        alone: None,
    }
}

/// Cost per usage of one plan, counted stop by stop; infinite where a bound is passed.
fn counted(machine: &Machine, j: usize, multiples: &[Option<u32>], opened: &[Vec<u32>]) -> f64 {
    let mut cycle = 1_u64;
    for m in multiples.iter().flatten().chain(opened.iter().flatten()) {
        let before = cycle;
        while cycle % u64::from(*m) != 0 {
            cycle += before;
        }
    }
    let due = |m: &u32, k: u64| k % u64::from(*m) == 0;
    let over = |item: &Item, steps: usize| match &item.life {
        Some(life) => item.failed * life.failures(steps),
        None => 0.0,
    };
    let mut sum = 0.0;
    let run = cycle as f64 * j as f64 * STEP;
    for k in 1..=cycle {
        let mut longest: f64 = 0.0;
        for (slot, multiple) in machine.slots.iter().zip(multiples) {
            if multiple.as_ref().is_some_and(|m| due(m, k)) {
                sum += slot.item.work + slot.item.own_h * machine.downtime_cost;
                longest = longest.max(slot.item.shared_h);
            }
        }
        for (access, every) in machine.accesses.iter().zip(opened) {
            if every.iter().any(|m| due(m, k)) {
                sum += access.labour;
                for d in &access.disturbed {
                    sum += d.item.work + d.item.own_h * machine.downtime_cost;
                    longest = longest.max(d.item.shared_h);
                    let gap = (1..=k).find(|g| k == *g || every.iter().any(|m| due(m, k - g)));
                    sum += over(&d.item, gap.unwrap() as usize * j);
                }
            }
        }
        sum += longest * machine.downtime_cost;
    }
    let mut rate = sum / run;
    for (slot, multiple) in machine.slots.iter().zip(multiples) {
        let item = &slot.item;
        rate += match multiple {
            Some(m) => over(item, *m as usize * j) / (STEP * f64::from(*m) * j as f64),
            None => item.failed * item.life.as_ref().map_or(0.0, |l| l.forever()),
        };
        let fine = match (slot.allowed, multiple) {
            (Allowed::Free, Some(m)) => *m as usize * j <= item.life.as_ref().unwrap().last(),
            (Allowed::Free | Allowed::AtFailure, None) => true,
            (Allowed::AtMost(bound), Some(m)) => f64::from(*m) * j as f64 * STEP <= bound.usage,
            _ => false,
        };
        if !fine {
            return f64::INFINITY;
        }
    }
    for (access, every) in machine.accesses.iter().zip(opened) {
        for d in &access.disturbed {
            if every.is_empty() {
                rate += d.item.failed * d.item.life.as_ref().map_or(0.0, |l| l.forever());
            }
            let gap = every.iter().min().map(|m| f64::from(*m) * j as f64 * STEP);
            if d.bound.is_some_and(|b| gap.is_none_or(|g| g > b.usage)) {
                return f64::INFINITY;
            }
        }
    }
    rate
}

/// The least multiples that make the same stops.
fn fewest(mut all: Vec<u32>) -> Vec<u32> {
    all.sort_unstable();
    all.dedup();
    let every = all.clone();
    all.retain(|m| !every.iter().any(|d| d < m && m % d == 0));
    all
}

fn tuples(count: usize) -> Vec<Vec<Option<u32>>> {
    let one: Vec<Option<u32>> = (0..=MOST_MULTIPLE).map(|m| (m > 0).then_some(m)).collect();
    (0..count).fold(vec![vec![]], |all, _| {
        all.iter()
            .flat_map(|t: &Vec<Option<u32>>| {
                one.iter().map(|m| {
                    let mut longer = t.clone();
                    longer.push(*m);
                    longer
                })
            })
            .collect()
    })
}

/// Three slots behind one or two accesses: every base, every multiple, openings where due.
#[test]
fn no_plan_of_a_small_machine_is_cheaper() {
    let all = tuples(3);
    for seed in 0..24 {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let accesses: Vec<Access> = (0..2)
            .map(|n| Access {
                id: "cap".into(),
                cylinder: format!("P{n}"),
                labour: 150.0 * uniform(&mut rng),
                disturbed: vec![Disturbed {
                    item: item("gasket", 20.0 * uniform(&mut rng), (0.1, 0.0), 0.0),
                    bound: None,
                }],
            })
            .collect();
        let slots = (0..3)
            .map(|n| {
                let access = [None, Some(0), Some(1)][(uniform(&mut rng) * 3.0) as usize];
                drawn_slot(&mut rng, if n == 0 { Some(0) } else { access })
            })
            .collect();
        let machine = Machine {
            step: STEP,
            downtime_cost: 300.0 * uniform(&mut rng),
            accesses,
            slots,
        };
        machine.check().unwrap();
        let mut least = f64::INFINITY;
        let longest = machine.slots.iter().map(|s| match s.allowed {
            Allowed::AtMost(bound) => bound.steps(STEP),
            _ => s.item.life.as_ref().unwrap().last(),
        });
        for j in 1..=longest.max().unwrap() {
            for multiples in &all {
                // Most are told by the bounds alone.
                let fine = machine.slots.iter().zip(multiples).all(|(s, m)| match m {
                    Some(m) => match s.allowed {
                        Allowed::AtFailure => false,
                        Allowed::AtMost(b) => *m as usize * j <= b.steps(STEP),
                        Allowed::Free => *m as usize * j <= s.item.life.as_ref().unwrap().last(),
                    },
                    None => !matches!(s.allowed, Allowed::AtMost(_)),
                });
                if fine {
                    let opened: Vec<Vec<u32>> = (0..2)
                        .map(|a| {
                            let behind = machine.slots.iter().zip(multiples);
                            let behind = behind.filter(|(s, _)| s.access == Some(a));
                            fewest(behind.filter_map(|(_, m)| *m).collect())
                        })
                        .collect();
                    least = least.min(counted(&machine, j, multiples, &opened));
                }
            }
        }
        let plan = plan_group(&machine).unwrap();
        let found = plan.cost.total();
        assert!(
            (found - least).abs() < 1e-9 * least,
            "seed {seed}: {found} found, {least} is the least"
        );
        let searched = search(&machine).map_or(found, |f| f.cost_rate);
        assert!((searched - found).abs() < 1e-9 * found, "seed {seed}");
    }
}

/// Openings are chosen as well: a gasket that fails may be worth an opening of its own.
#[test]
fn no_pattern_of_openings_is_cheaper() {
    let patterns = pattern::Patterns::table();
    let mut for_its_sake = 0;
    for seed in 100..112 {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut gasket = item(
            "gasket",
            10.0,
            (0.0, 0.0),
            400.0 + 900.0 * uniform(&mut rng),
        );
        gasket.life = Some(life(2.5, 1_000.0 + 1_500.0 * uniform(&mut rng)));
        let bound = (uniform(&mut rng) < 0.3).then_some(Bound {
            usage: 1_700.0,
            from: BoundFrom::Ceiling,
        });
        let machine = Machine {
            step: STEP,
            downtime_cost: 100.0,
            accesses: vec![Access {
                id: "cap".into(),
                cylinder: "P1".into(),
                labour: 60.0,
                disturbed: vec![Disturbed {
                    item: gasket,
                    bound,
                }],
            }],
            slots: (0..2).map(|_| drawn_slot(&mut rng, Some(0))).collect(),
        };
        let mut least = f64::INFINITY;
        for j in 1..=16 {
            for multiples in tuples(2) {
                for pattern in patterns.all() {
                    if multiples.iter().flatten().all(|m| pattern.holds(*m)) {
                        let opened = [pattern.every.clone()];
                        least = least.min(counted(&machine, j, &multiples, &opened));
                    }
                }
            }
        }
        let plan = plan_group(&machine).unwrap();
        let found = plan.cost.total();
        assert!(
            (found - least).abs() < 1e-9 * least,
            "seed {seed}: {found} {least}"
        );
        let due: Vec<u32> = plan.slots.iter().filter_map(|s| s.multiple).collect();
        for_its_sake += usize::from(fewest(due) != plan.accesses[0].every);
    }
    assert!(for_its_sake > 0, "no opening for a gasket's sake was tried");
}
