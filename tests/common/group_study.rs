//! A machine of the sample plant run for a long time under several policies, lives drawn from the
//! truth; and what the analysis says of the same with the same lives.
//!
//! The machine is walked through event by event: nothing of the analysis is used but the plan.
//! Each slot draws its lives from a stream of its own, so that policies meet the same lives.

use std::sync::Arc;

use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};
use rayon::prelude::*;
use wearbook::command::group_machine::{Known, Tables, assemble};
use wearbook::model::Weibull;
use wearbook::policy::group::{Allowed, GroupPlan, Item, Machine, plan_group};
use wearbook::policy::{Costs, age_policy};
use wearbook::register::Register;
use wearbook::simulate::{Truth, draw_weibull, parse_truth};

/// The sample plant and its truth.
pub fn plant() -> (Register, Truth) {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-ledger/");
    let read = |name: &str| std::fs::read_to_string(format!("{root}{name}")).expect(name);
    let register = Register::parse(&read("plant.toml")).expect("the sample's register is sound");
    (register, parse_truth(&read("truth.toml")).expect("sound"))
}

/// A machine as its grouped plan sees it if the lives are known exactly.
pub fn known_machine(register: &Register, truth: &Truth, tag: &str) -> Machine {
    let grid = register.plant.planning_grid.expect("a grid");
    let known = |component: &wearbook::register::Component, position: &str| {
        let of = truth.components.iter().find(|c| c.id == component.id)?;
        let life = Weibull::new(of.shape, truth.scale_at(of, tag, position))?;
        let costs = register.renewal_costs(&component.id)?;
        let number = |d| rust_decimal::prelude::ToPrimitive::to_f64(&d).expect("money");
        let costs = Costs::new(number(costs.planned), number(costs.failed)).expect("above 0");
        let optimum = age_policy(&life, costs).interval;
        Some(Known {
            lives: Arc::from([(1.0, life)]),
            failed: costs.failed,
            allowed: Allowed::Free,
            alone: optimum.map(|t| (t / grid).floor().max(1.0) * grid),
        })
    };
    // The lives live no longer than the lookup: tables of one machine only.
    let kept = std::cell::RefCell::new(Vec::new());
    let keeping = |component: &wearbook::register::Component, position: &str| {
        let known = known(component, position)?;
        kept.borrow_mut().push(known.lives.clone());
        Some(known)
    };
    assemble(register, tag, keeping, &mut Tables::default())
        .expect("a machine of the register")
        .machine
}

/// What is done with the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Policy {
    /// The plan as analysed.
    Grouped,
    /// The plan, but what is younger at a stop than the age from which it would be taken along
    /// is passed over.
    PassingOver,
    /// The same, and slots taken along when the machine is down for a failure.
    TakingAlong,
    /// Slots taken along, and renewed again at the next stop whatever their age.
    TakingAlongOnly,
    /// Each slot at its own age, in a stop of its own.
    Own,
    RunToFailure,
}

/// Simulated cost per unit of usage.
#[derive(Debug, Clone, Copy)]
pub struct Measured {
    pub mean: f64,
    pub standard_error: f64,
}

/// One place where an item sits: a slot, or what an opening disturbs.
struct Place<'a> {
    item: &'a Item,
    life: Weibull,
    access: Option<usize>,
    rng: ChaCha12Rng,
    born: f64,
    fails: f64,
}

impl Place<'_> {
    fn renew(&mut self, now: f64) {
        self.born = now;
        self.fails = now + draw_weibull(self.life.shape, self.life.scale, &mut self.rng);
    }
}

fn place<'a>(item: &'a Item, access: Option<usize>, seed: u64) -> Place<'a> {
    let life = item.life.as_ref().expect("a known life").lives()[0].1;
    let mut place = Place {
        item,
        life,
        access,
        rng: ChaCha12Rng::seed_from_u64(seed),
        born: 0.0,
        fails: 0.0,
    };
    place.renew(0.0);
    place
}

/// Runs a machine for `run` usages after as many as `before`, once.
///
/// `failures_open`: an opening after a failure renews what it disturbs too, at no further
/// cost; the analysis leaves that out.
fn run_once(
    machine: &Machine,
    plan: &GroupPlan,
    policy: Policy,
    (before, run): (f64, f64),
    failures_open: bool,
    seed: u64,
) -> f64 {
    let stream = |n: usize| seed.wrapping_mul(1_000_003).wrapping_add(n as u64);
    let mut slots: Vec<Place> = machine
        .slots
        .iter()
        .enumerate()
        .map(|(n, s)| place(&s.item, s.access, stream(n)))
        .collect();
    let mut gaskets: Vec<Place> = Vec::new();
    for (a, access) in machine.accesses.iter().enumerate() {
        for d in &access.disturbed {
            let n = machine.slots.len() + gaskets.len();
            gaskets.push(place(&d.item, Some(a), stream(n)));
        }
    }
    let hour = machine.downtime_cost;
    let grouped = !matches!(policy, Policy::Own | Policy::RunToFailure);
    let passes_over = matches!(policy, Policy::PassingOver | Policy::TakingAlong);
    let takes_along = matches!(policy, Policy::TakingAlong | Policy::TakingAlongOnly);
    let base = plan.base.filter(|_| grouped).unwrap_or(f64::INFINITY);
    let end = before + run;
    let mut cost = 0.0;
    let mut stop = 1_u64;
    loop {
        let next_stop = stop as f64 * base;
        let due = |place: &Place, n: usize| match policy {
            Policy::Own => machine.slots[n]
                .alone
                .map_or(f64::INFINITY, |t| place.born + t),
            _ => f64::INFINITY,
        };
        // What comes next: a failure of a slot or gasket, a slot's own age, or a stop.
        let mut next = (next_stop, usize::MAX, false);
        for (n, place) in slots.iter().enumerate() {
            let aged = due(place, n);
            let here = place.fails.min(aged);
            if here < next.0 {
                next = (here, n, aged < place.fails);
            }
        }
        for (n, place) in gaskets.iter().enumerate() {
            if place.fails < next.0 {
                next = (place.fails, slots.len() + n, false);
            }
        }
        let (now, who, planned) = next;
        if now > end {
            break;
        }
        let mut bill = 0.0;
        // Opens an access by plan: its labour, and what it disturbs.
        let open = |a: usize, gaskets: &mut Vec<Place>| -> f64 {
            let mut bill = machine.accesses[a].labour;
            for gasket in gaskets.iter_mut().filter(|g| g.access == Some(a)) {
                bill += gasket.item.work + hour * gasket.item.own_h;
                gasket.renew(now);
            }
            bill
        };
        if who == usize::MAX {
            let is_due = |every: &[u32]| every.iter().any(|m| stop.is_multiple_of(u64::from(*m)));
            let mut longest: f64 = 0.0;
            let due: Vec<usize> = (0..slots.len())
                .filter(|n| plan.slots[*n].multiple.is_some_and(|m| is_due(&[m])))
                .collect();
            let young = |n: &usize| {
                let from = plan.slots[*n].exposed_from.unwrap_or(f64::INFINITY);
                passes_over && now - slots[*n].born < from
            };
            let taken: Vec<usize> = due.iter().copied().filter(|n| !young(n)).collect();
            for (a, access) in plan.accesses.iter().enumerate() {
                let behind = |of: &[usize]| of.iter().any(|n| slots[*n].access == Some(a));
                // Where all that was due is young, it stays shut.
                if is_due(&access.every) && (behind(&taken) || !behind(&due)) {
                    bill += open(a, &mut gaskets);
                    for d in &machine.accesses[a].disturbed {
                        longest = longest.max(d.item.shared_h);
                    }
                }
            }
            for n in taken {
                bill += slots[n].item.work + hour * slots[n].item.own_h;
                longest = longest.max(slots[n].item.shared_h);
                slots[n].renew(now);
            }
            bill += longest * hour;
            stop += 1;
        } else if who >= slots.len() {
            let gasket = &mut gaskets[who - slots.len()];
            bill += gasket.item.failed;
            gasket.renew(now);
        } else if planned {
            bill +=
                slots[who].item.work + hour * (slots[who].item.own_h + slots[who].item.shared_h);
            slots[who].renew(now);
            if let Some(a) = slots[who].access {
                bill += open(a, &mut gaskets);
            }
        } else {
            bill += slots[who].item.failed;
            slots[who].renew(now);
            let opened = slots[who].access;
            if failures_open {
                for gasket in gaskets.iter_mut().filter(|g| g.access == opened) {
                    gasket.renew(now);
                }
            }
            if takes_along {
                let mut exposed: Vec<usize> = opened.into_iter().collect();
                let wants = |place: &Place, from: Option<f64>| {
                    from.is_some_and(|age| now - place.born >= age)
                };
                for (n, slot) in slots.iter().enumerate() {
                    if let Some(a) = slot.access
                        && !exposed.contains(&a)
                        && wants(slot, plan.slots[n].down_from)
                    {
                        exposed.push(a);
                        bill += open(a, &mut gaskets);
                    }
                }
                for (n, slot) in slots.iter_mut().enumerate() {
                    let from = match slot.access {
                        Some(a) if exposed.contains(&a) => plan.slots[n].exposed_from,
                        Some(_) => None,
                        None => plan.slots[n].down_from,
                    };
                    if n != who && wants(slot, from) {
                        bill += slot.item.work + hour * slot.item.own_h;
                        slot.renew(now);
                    }
                }
            }
        }
        if now > before {
            cost += bill;
        }
    }
    cost / run
}

/// Runs a machine `replicates` times.
pub fn measure(
    machine: &Machine,
    plan: &GroupPlan,
    policy: Policy,
    replicates: u64,
    run: f64,
    failures_open: bool,
) -> Measured {
    // Whole cycles, so that the plan's stops are counted without an edge.
    let cycle = plan.base.unwrap_or(1.0) * 27_720.0 / 8.0;
    let whole = |usage: f64| (usage / cycle).ceil() * cycle;
    let spans = (whole(300_000.0), whole(run));
    let rates: Vec<f64> = (0..replicates)
        .into_par_iter()
        .map(|seed| run_once(machine, plan, policy, spans, failures_open, seed + 1))
        .collect();
    let n = replicates as f64;
    let mean = rates.iter().sum::<f64>() / n;
    let variance = rates.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0);
    Measured {
        mean,
        standard_error: (variance / n).sqrt(),
    }
}

/// The plan of a machine whose lives are known, and the machine.
pub fn planned(register: &Register, truth: &Truth, tag: &str) -> (Machine, GroupPlan) {
    let machine = known_machine(register, truth, tag);
    let plan = plan_group(&machine).expect("a plan");
    (machine, plan)
}
