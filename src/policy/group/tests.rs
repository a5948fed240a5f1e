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
        while !cycle.is_multiple_of(u64::from(*m)) {
            cycle += before;
        }
    }
    let due = |m: &u32, k: u64| k.is_multiple_of(u64::from(*m));
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

/// Openings are chosen as well: a gasket that fails may be worth an opening of its own. Tried are
/// the patterns that repeat soon; none may be cheaper, and one of them found must cost the same.
#[test]
fn no_pattern_of_openings_is_cheaper() {
    let patterns = pattern::Patterns::table();
    let (mut for_its_sake, mut compared) = (0, 0);
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
                let soon = patterns
                    .all()
                    .iter()
                    .filter(|p| p.every.iter().all(|m| *m <= 6));
                for pattern in soon {
                    if multiples.iter().flatten().all(|m| pattern.holds(*m)) {
                        let opened = [pattern.every.clone()];
                        least = least.min(counted(&machine, j, &multiples, &opened));
                    }
                }
            }
        }
        let plan = plan_group(&machine).unwrap();
        let found = plan.cost.total();
        assert!(found < least * (1.0 + 1e-9), "seed {seed}: {found} {least}");
        if plan.accesses[0].every.iter().all(|m| *m <= 6) {
            compared += 1;
            assert!(found > least * (1.0 - 1e-9), "seed {seed}: {found} {least}");
        }
        let due: Vec<u32> = plan.slots.iter().filter_map(|s| s.multiple).collect();
        for_its_sake += usize::from(fewest(due) != plan.accesses[0].every);
    }
    assert!(compared > 6, "{compared}");
    assert!(for_its_sake > 0, "no opening for a gasket's sake was tried");
}

fn one(slot: Slot, access: Option<Access>) -> Machine {
    Machine {
        step: STEP,
        downtime_cost: 200.0,
        accesses: access.into_iter().collect(),
        slots: vec![slot],
    }
}

/// A single slot is block replacement: `[c + Cf·M(T)]/T` at its least over the grid, `c` being
/// all that one stop for it costs.
#[test]
fn a_single_slot_is_block_replacement() {
    for (shape, scale, failed) in [
        (2.6, 2_600.0, 3_000.0),
        (4.0, 9_000.0, 2_000.0),
        (1.3, 3_000.0, 9_000.0),
    ] {
        let mut item = item("packing", 258.0, (0.5, 0.5), failed);
        item.life = Some(life(shape, scale));
        let access = Access {
            id: "cap".into(),
            cylinder: "P1".into(),
            labour: 78.0,
            disturbed: Vec::new(),
        };
        let slot = Slot {
            item: item.clone(),
            access: Some(0),
            allowed: Allowed::Free,
            alone: None,
        };
        let plan = plan_group(&one(slot, Some(access))).unwrap();
        let all = 258.0 + 78.0 + 200.0 * 1.0;
        let table = item.life.unwrap();
        let rate = |k: usize| (all + failed * table.failures(k)) / (STEP * k as f64);
        let best = (1..=table.last())
            .min_by(|x, y| rate(*x).total_cmp(&rate(*y)))
            .unwrap();
        let forever = failed * table.forever();
        let least = rate(best).min(forever);
        assert!((plan.cost.total() - least).abs() < 1e-9 * least);
        assert_eq!(
            plan.slots[0].interval,
            (rate(best) < forever).then_some(STEP * best as f64)
        );
        let share = plan.slots[0].share;
        assert!((share.renewals + share.failures + share.shared - least).abs() < 1e-9 * least);
    }
}

/// In fine steps it is the block policy of a known life.
#[test]
fn in_fine_steps_a_single_slot_is_the_block_policy() {
    let known = Weibull::new(3.0, 2_000.0).unwrap();
    let mut item = item("packing", 300.0, (0.0, 0.0), 2_400.0);
    let fine = LifeTable::new(&[(1.0, known)], 5.0, f64::INFINITY).unwrap();
    item.life = Some(Arc::new(fine));
    let slot = Slot {
        item,
        access: None,
        allowed: Allowed::Free,
        alone: None,
    };
    let mut machine = one(slot, None);
    machine.step = 5.0;
    let plan = plan_group(&machine).unwrap();
    let costs = crate::policy::Costs::new(300.0, 2_400.0).unwrap();
    let block = crate::policy::block_policy(&known, costs).unwrap();
    assert!((plan.slots[0].interval.unwrap() - block.interval.unwrap()).abs() < 5.0);
    assert!((plan.cost.total() - block.cost_rate).abs() < 1e-5 * block.cost_rate);
    let forever = plan.run_to_failure.total();
    assert!((forever - block.run_to_failure_cost_rate).abs() < 1e-9 * forever);
}

/// With nothing to share every slot has the best block interval of its own.
#[test]
fn without_sharing_each_slot_has_its_own_best() {
    for seed in 200..220 {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut slots: Vec<Slot> = (0..9).map(|_| drawn_slot(&mut rng, None)).collect();
        let mut least = 0.0;
        for slot in &mut slots {
            slot.item.shared_h = 0.0;
            slot.allowed = Allowed::Free;
            let item = &slot.item;
            let table = item.life.as_ref().unwrap();
            let own = item.work + 150.0 * item.own_h;
            let rate = |k: usize| (own + item.failed * table.failures(k)) / (STEP * k as f64);
            // So short that every one is a multiple of one step.
            let last = table.last().min(MOST_MULTIPLE as usize);
            least += (1..=last)
                .map(rate)
                .fold(item.failed * table.forever(), f64::min);
        }
        let machine = Machine {
            step: STEP,
            downtime_cost: 150.0,
            accesses: Vec::new(),
            slots,
        };
        let found = plan_group(&machine).unwrap().cost.total();
        assert!(
            (found - least).abs() < 1e-9 * least,
            "seed {seed}: {found} {least}"
        );
    }
}

/// Whatever is drawn: no bound is passed, costs add up, ages come before the interval.
#[test]
fn bounds_hold_and_costs_add_up() {
    for seed in 300..340 {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let accesses: Vec<Access> = (0..3)
            .map(|n| {
                let mut gasket = item("gasket", 10.0, (0.1, 0.25), 300.0);
                gasket.life = Some(life(2.0, 4_000.0));
                let bound = Bound {
                    usage: 900.0 + 4_000.0 * uniform(&mut rng),
                    from: BoundFrom::Ceiling,
                };
                Access {
                    id: "cap".into(),
                    cylinder: format!("P{n}"),
                    labour: 200.0 * uniform(&mut rng),
                    disturbed: vec![Disturbed {
                        item: gasket,
                        bound: (uniform(&mut rng) < 0.5).then_some(bound),
                    }],
                }
            })
            .collect();
        let slots = (0..10)
            .map(|n| {
                let mut slot = drawn_slot(&mut rng, [None, Some(0), Some(1), Some(2)][n % 4]);
                slot.alone = slot.allowed.bound().map(|b| b.usage);
                slot
            })
            .collect();
        let machine = Machine {
            step: STEP,
            downtime_cost: 400.0 * uniform(&mut rng),
            accesses,
            slots,
        };
        let plan = plan_group(&machine).unwrap();
        for (slot, input) in plan.slots.iter().zip(&machine.slots) {
            match input.allowed {
                Allowed::AtMost(b) => assert!(slot.interval.unwrap() <= b.usage, "seed {seed}"),
                Allowed::AtFailure => assert_eq!(slot.interval, None),
                Allowed::Free => {}
            }
            if let Some(interval) = slot.interval {
                let ages = [slot.exposed_from, slot.down_from];
                assert!(ages.into_iter().flatten().all(|a| a > 0.0 && a <= interval));
                // It lies open for less than it takes to open it.
                assert!(slot.exposed_from.is_some());
                assert!(slot.down_from.is_none_or(|a| Some(a) >= slot.exposed_from));
            }
        }
        for (access, input) in plan.accesses.iter().zip(&machine.accesses) {
            if let Some(bound) = input.disturbed[0].bound {
                let gap = f64::from(access.every[0]) * plan.base.unwrap();
                assert!(gap <= bound.usage, "seed {seed}");
            }
        }
        let slots: f64 = plan
            .slots
            .iter()
            .map(|s| s.share.renewals + s.share.failures + s.share.shared)
            .sum();
        let accesses: f64 = plan.accesses.iter().map(|a| a.cost_rate).sum();
        let total = plan.cost.total();
        assert!(
            (slots + accesses - total).abs() < 1e-9 * total,
            "seed {seed}"
        );
        let found = search(&machine).unwrap().cost_rate;
        assert!(
            (found - total).abs() < 1e-9 * total,
            "seed {seed}: {found} {total}"
        );
        let (from, to) = plan.near.unwrap();
        assert!(from <= plan.base.unwrap() && plan.base.unwrap() <= to);
    }
}

/// What is wrong with a machine is told, not planned around.
#[test]
fn figures_outside_their_domain_are_refused() {
    let slot = |change: &dyn Fn(&mut Slot)| {
        let mut item = item("part", 10.0, (0.5, 0.5), 100.0);
        item.life = Some(life(2.0, 2_000.0));
        let mut slot = Slot {
            item,
            access: None,
            allowed: Allowed::Free,
            alone: None,
        };
        change(&mut slot);
        plan_group(&one(slot, None)).unwrap_err().to_string()
    };
    let bound = |usage| {
        Allowed::AtMost(Bound {
            usage,
            from: BoundFrom::Ceiling,
        })
    };
    assert_eq!(
        slot(&|s| s.item.failed = f64::NAN),
        "the cost of a failure of part at P1 is NaN: it must be finite and not below 0"
    );
    assert_eq!(
        slot(&|s| s.allowed = bound(499.0)),
        "part at P1 may not pass 499, which is less than one step of 500"
    );
    assert_eq!(
        slot(&|s| s.access = Some(3)),
        "part at P1 lies behind access 3, of which there is none"
    );
    let other = [(1.0, Weibull::new(2.0, 900.0).unwrap())];
    let other = Arc::new(LifeTable::new(&other, 100.0, f64::INFINITY).unwrap());
    assert_eq!(
        slot(&|s| s.item.life = Some(other.clone())),
        "the life of part at P1 is tabulated in steps of 100, not 500"
    );
}

/// The age from which an item is taken along: where its cost to go, less what running on costs
/// on average, reaches what taking it costs; by direct integration.
#[test]
fn opportunity_ages_balance_cost_to_go() {
    let known = Weibull::new(2.6, 2_600.0).unwrap();
    let fine = LifeTable::new(&[(1.0, known)], 10.0, f64::INFINITY).unwrap();
    let (planned, failed, now) = (900.0, 4_000.0, 550.0);
    let stakes = Stakes {
        planned,
        failed,
        interval: Some(150),
    };
    let age = opportunity_age(Some(&fine), stakes, now, 10.0).unwrap();
    let integral = |from: f64, to: f64| {
        let dt = (to - from) / 20_000.0;
        let each = (0..20_000).map(|n| known.reliability(from + dt * (f64::from(n) + 0.5)));
        each.sum::<f64>() * dt
    };
    let end = known.reliability(1_500.0);
    let g = (planned * end + failed * (1.0 - end)) / integral(0.0, 1_500.0);
    let here = known.reliability(age);
    let to_go = (planned * end + failed * (here - end) - g * integral(age, 1_500.0)) / here;
    assert!((to_go - now).abs() < 0.5, "{to_go} at {age}");
    // What costs nothing is worth it at once, what costs far more than the plan's own never.
    assert!(opportunity_age(Some(&fine), stakes, 0.0, 10.0).unwrap() < 1e-6);
    assert_eq!(opportunity_age(Some(&fine), stakes, 2_000.0, 10.0), None);
    // Without a life: the share of the planned cost used up.
    assert_eq!(opportunity_age(None, stakes, 450.0, 10.0), Some(750.0));
}
