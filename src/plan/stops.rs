//! Stops of one machine: dates on the base interval, and what is taken at each.
//!
//! In: [`MachineNow`], a period in days. Out: [`MachinePlan`]. Never: parts on the shelf, other
//! machines.
//!
//! The first stop falls on the day the first item is due (what is overdue: on the day the
//! plan is made for); the next follow a base interval apart, as the grouped plan has it. At
//! a stop is taken: what was found worn or failed; what is due; what cannot wait for the next
//! stop (its latest age would pass before); what lies exposed, or the machine being down, has
//! passed the age at which taking it along pays. What can neither wait nor is worth taking
//! early has a stop of its own in between. What is always renewed when disturbed follows.

use chrono::{Days, NaiveDate};

use super::machine::{MachineNow, Since, SlotNow};
use super::rate::Spread;
use super::stop::{MachinePlan, Overdue, Stop, Task, Why};

/// Days closer than this are one day.
const SAME: f64 = 0.5;
/// Stops of one machine in a plan; a register that asks for more states intervals of hours.
const MOST: usize = 2_000;

/// The stops of one machine up to day `to`, counted from `as_of`.
pub fn plan_machine(machine: &MachineNow, as_of: NaiveDate, to: f64) -> MachinePlan {
    let mut course = Course::new(machine);
    let mut stops = Vec::new();
    let base_days = base_days(machine);
    let mut lattice = course.first_day();
    let mut day = lattice;
    while day <= to && stops.len() < MOST {
        let on_lattice = day >= lattice - SAME;
        if on_lattice {
            lattice = base_days.map_or(f64::INFINITY, |base| day + base);
        }
        if let Some(stop) = course.stop(day, lattice, as_of) {
            stops.push(stop);
        }
        day = course.next_day(day, lattice);
    }
    MachinePlan {
        machine: machine.machine.clone(),
        name: machine.name.clone(),
        overdue: overdue(machine),
        stops,
        base: machine.base.as_ref().map(|(usage, base)| {
            let unit = machine.slots.iter().find(|slot| slot.usage == *usage);
            (
                *base,
                unit.map(|slot| slot.unit.clone()).unwrap_or_default(),
            )
        }),
        rate: machine
            .base
            .as_ref()
            .map(|(usage, _)| usage)
            .or_else(|| machine.slots.first().map(|slot| &slot.usage))
            .and_then(|usage| machine.rates.get(usage))
            .copied(),
        undated: machine
            .slots
            .iter()
            .filter(|slot| slot.renewal.is_some() || slot.look_at.is_some())
            .filter(|slot| slot.since.age().is_none() || !machine.rates.contains_key(&slot.usage))
            .map(|slot| (slot.component.clone(), slot.position.clone()))
            .collect(),
    }
}

/// What would be done at a stop on a day, nothing having been done before it; the next stop
/// follows a base interval later.
pub fn stop_on(machine: &MachineNow, as_of: NaiveDate, day: f64) -> Stop {
    let mut course = Course::new(machine);
    let next = base_days(machine).map_or(f64::INFINITY, |base| day + base);
    course.decide(day, next, as_of)
}

/// Days between planned stops.
fn base_days(machine: &MachineNow) -> Option<f64> {
    let (usage, base) = machine.base.as_ref()?;
    Some(base / machine.rates.get(usage)?.per_day())
}

fn overdue(machine: &MachineNow) -> Vec<Overdue> {
    let late = |slot: &&SlotNow| {
        slot.condemned.is_some()
            || matches!((slot.since.age(), &slot.renewal), (Some(age), Some(due)) if age > due.interval)
    };
    machine
        .slots
        .iter()
        .filter(late)
        .map(|slot| Overdue {
            component: slot.component.clone(),
            position: slot.position.clone(),
            age: slot.since.age(),
            interval: slot.renewal.map(|renewal| renewal.interval),
            unit: slot.unit.clone(),
            past_ceiling: matches!((slot.since.age(), slot.ceiling), (Some(age), Some(c)) if age > c),
            condemned: slot.condemned.clone(),
        })
        .collect()
}

/// A machine's slots as the plan goes on.
struct Course<'a> {
    machine: &'a MachineNow,
    /// For each slot the day its age counts from and the age on that day.
    since: Vec<Option<(f64, f64)>>,
    condemned: Vec<bool>,
    /// The age at which each is to be looked at next.
    next_look: Vec<Option<f64>>,
    renewed: Vec<bool>,
}

impl<'a> Course<'a> {
    fn new(machine: &'a MachineNow) -> Self {
        Course {
            machine,
            since: machine
                .slots
                .iter()
                .map(|slot| slot.since.age().map(|age| (0.0, age)))
                .collect(),
            condemned: machine
                .slots
                .iter()
                .map(|slot| slot.condemned.is_some())
                .collect(),
            next_look: machine.slots.iter().map(|slot| slot.look_at).collect(),
            renewed: vec![false; machine.slots.len()],
        }
    }

    fn per_day(&self, n: usize) -> Option<f64> {
        let rate = self.machine.rates.get(&self.machine.slots[n].usage)?;
        Some(rate.per_day())
    }

    fn age(&self, n: usize, day: f64) -> Option<f64> {
        let (then, age) = self.since[n]?;
        Some(age + (day - then) * self.per_day(n)?)
    }

    /// The day on which a slot reaches an age; never before the plan's day.
    fn day_of(&self, n: usize, age: f64) -> Option<f64> {
        let (then, had) = self.since[n]?;
        Some((then + (age - had) / self.per_day(n)?).max(0.0))
    }

    fn due(&self, n: usize) -> Option<f64> {
        if self.condemned[n] {
            return Some(0.0);
        }
        self.day_of(n, self.machine.slots[n].renewal?.interval)
    }

    fn latest(&self, n: usize) -> Option<f64> {
        if self.condemned[n] {
            return Some(0.0);
        }
        self.day_of(n, self.machine.slots[n].renewal?.latest)
    }

    fn look(&self, n: usize) -> Option<f64> {
        self.day_of(n, self.next_look[n]?)
    }

    fn slots(&self) -> std::ops::Range<usize> {
        0..self.machine.slots.len()
    }

    fn first_day(&self) -> f64 {
        let due = self.slots().filter_map(|n| self.due(n));
        let looks = self.slots().filter_map(|n| self.look(n));
        due.chain(looks).fold(f64::INFINITY, f64::min)
    }

    /// The next stop: on the base interval, or before it where something cannot wait.
    fn next_day(&self, day: f64, lattice: f64) -> f64 {
        let own = self.slots().filter_map(|n| {
            let latest = self.latest(n).filter(|latest| *latest < lattice - SAME);
            // What cannot wait is done when it is due.
            let due = latest.and_then(|_| self.due(n));
            let look = self.look(n).filter(|look| *look < lattice - SAME);
            match (due, look) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            }
        });
        // Time goes on even where an interval is shorter than a day.
        own.fold(lattice, f64::min).max(day + 1.0)
    }

    /// A stop on a day, where anything asks for one.
    fn stop(&mut self, day: f64, next: f64, as_of: NaiveDate) -> Option<Stop> {
        let asked = self
            .slots()
            .any(|n| self.must(n, day, next).is_some() || self.is_look(n, day, next));
        asked.then(|| self.decide(day, next, as_of))
    }

    /// Whether a look cannot wait for the next stop.
    fn is_look(&self, n: usize, day: f64, next: f64) -> bool {
        let before = |look: f64| look <= day + SAME || (next.is_finite() && look < next - SAME);
        self.look(n).is_some_and(before)
    }

    /// Decides what is taken on a day.
    fn decide(&mut self, day: f64, next: f64, as_of: NaiveDate) -> Stop {
        let machine = self.machine;
        let mut why: Vec<Option<Why>> = self.slots().map(|n| self.must(n, day, next)).collect();
        let looks: Vec<bool> = self
            .slots()
            .map(|n| why[n].is_none() && self.is_look(n, day, next))
            .collect();
        let mut open = vec![false; machine.openings.len()];
        loop {
            for n in self.slots() {
                if (why[n].is_some() || looks[n])
                    && let Some(opening) = machine.slots[n].opening
                {
                    open[opening] = true;
                }
            }
            let more: Vec<(usize, Why)> = self
                .slots()
                .filter(|n| why[*n].is_none())
                .filter_map(|n| Some((n, self.along(n, day, &open)?)))
                .collect();
            if more.is_empty() {
                break;
            }
            for (n, reason) in more {
                why[n] = Some(reason);
            }
        }
        for (opening, _) in machine
            .openings
            .iter()
            .zip(&open)
            .filter(|(_, open)| **open)
        {
            for n in &opening.always {
                why[*n].get_or_insert(Why::Disturbed);
            }
        }
        let stop = self.write_down(day, as_of, &why, &looks, &open);
        for n in self.slots() {
            if why[n].is_some() {
                self.since[n] = Some((day, 0.0));
                self.condemned[n] = false;
                self.renewed[n] = true;
                self.next_look[n] = machine.slots[n].look_at;
            } else if looks[n] {
                // Whether it stays in depends on what is read; if it does, so goes the next.
                self.next_look[n] = self
                    .age(n, day)
                    .zip(machine.slots[n].look_at)
                    .map(|(age, every)| age.max(0.0) + every);
            }
        }
        stop
    }

    /// Whether a slot must be taken now.
    fn must(&self, n: usize, day: f64, next: f64) -> Option<Why> {
        let slot = &self.machine.slots[n];
        if self.condemned[n] {
            return Some(Why::Condemned);
        }
        let due = self.due(n)?;
        let renewal = slot.renewal?;
        let age = self.age(n, day)?;
        if due <= day + SAME {
            let over = slot.since.age().unwrap_or(0.0) - renewal.interval;
            return Some(if !self.renewed[n] && over > 0.0 {
                Why::Overdue { by: over }
            } else {
                Why::Due
            });
        }
        if self.latest(n)? >= next - SAME {
            return None;
        }
        // Taken now its remaining usage is lost; left, it costs a stop of its own, now and
        // at the next time round.
        let lost = slot.own_cost(self.machine) * (1.0 - age / renewal.interval).max(0.0);
        let early = 2.0 * age >= renewal.interval || lost <= 2.0 * slot.stop_cost(self.machine);
        // A young item with an interval shorter than the base is no case for either.
        (early && 4.0 * age >= renewal.interval).then_some(Why::Early)
    }

    /// Whether a slot is taken along.
    fn along(&self, n: usize, day: f64, open: &[bool]) -> Option<Why> {
        let slot = &self.machine.slots[n];
        let age = self.age(n, day)?;
        let passed = |limit: Option<f64>| limit.is_some_and(|limit| age >= limit);
        let exposed = slot.opening.is_none_or(|opening| open[opening]);
        if exposed && passed(slot.take_exposed) {
            Some(Why::Exposed)
        } else if passed(slot.take_down) {
            Some(Why::Down)
        } else {
            None
        }
    }

    /// "Cap off P1 P2": each kind of opening once, with its cylinders.
    fn names(&self, opened: &[usize]) -> Vec<String> {
        let mut kinds: Vec<(&str, String)> = Vec::new();
        for opening in opened.iter().map(|n| &self.machine.openings[*n]) {
            let found = kinds
                .iter_mut()
                .find(|(access, _)| *access == opening.access);
            match found {
                Some((_, name)) => *name = format!("{name} {}", opening.cylinder),
                None => kinds.push((
                    &opening.access,
                    format!("{} {}", opening.name, opening.cylinder)
                        .trim_end()
                        .to_owned(),
                )),
            }
        }
        kinds.into_iter().map(|(_, name)| name).collect()
    }

    fn write_down(
        &self,
        day: f64,
        as_of: NaiveDate,
        why: &[Option<Why>],
        looks: &[bool],
        open: &[bool],
    ) -> Stop {
        let machine = self.machine;
        let mut tasks = Vec::new();
        let (mut own_labour_h, mut own_stop_h) = (0.0, 0.0);
        let (mut shared_h, mut parts) = (0.0_f64, 0.0);
        for renewing in [true, false] {
            for n in self.slots() {
                let slot = &machine.slots[n];
                let exposed = slot.opening.is_some_and(|opening| open[opening]);
                let to_measure = exposed && !slot.measures.is_empty();
                if why[n].is_some() != renewing || !(renewing || looks[n] || to_measure) {
                    continue;
                }
                if renewing {
                    own_labour_h += slot.own_labour_h;
                    own_stop_h += slot.own_stop_h;
                    parts += slot.parts_cost;
                }
                if renewing || looks[n] {
                    shared_h = shared_h.max(slot.shared_h);
                }
                tasks.push(Task {
                    slot: n,
                    component: slot.component.clone(),
                    name: slot.name.clone(),
                    position: slot.position.clone(),
                    renew: why[n],
                    look: looks[n],
                    age: self.age(n, day),
                    at_least: !self.renewed[n] && matches!(slot.since, Since::AtLeast(_)),
                    interval: slot.renewal.map(|renewal| renewal.interval),
                    basis: slot.renewal.map(|renewal| renewal.basis),
                    unit: slot.unit.clone(),
                    measures: slot.measures.clone(),
                    part: slot.part.clone(),
                    pieces: slot.pieces,
                });
            }
        }
        let opened: Vec<usize> = (0..open.len()).filter(|n| open[*n]).collect();
        let labour_h = own_labour_h
            + opened
                .iter()
                .map(|n| machine.openings[*n].labour_h)
                .sum::<f64>();
        let hours = shared_h + own_stop_h;
        let usage = machine.base.as_ref().map(|(usage, _)| usage.as_str());
        let usage =
            usage.or_else(|| Some(tasks.first()?.slot).map(|n| machine.slots[n].usage.as_str()));
        let rate = usage.and_then(|usage| machine.rates.get(usage));
        let spread = match rate {
            Some(rate) if day > SAME => rate.spread(day * rate.per_day()),
            _ => Spread {
                early: day,
                expected: day,
                late: day,
            },
        };
        let date = |day: f64| {
            as_of
                .checked_add_days(Days::new(day.round().max(0.0) as u64))
                .unwrap_or(NaiveDate::MAX)
        };
        Stop {
            machine: machine.machine.clone(),
            date: date(day),
            earliest: date(spread.early),
            latest: date(spread.late),
            day,
            opened_names: self.names(&opened),
            opened_keys: opened
                .iter()
                .map(|n| &machine.openings[*n])
                .map(|opening| (opening.access.clone(), opening.cylinder.clone()))
                .collect(),
            tasks,
            hours,
            labour_h,
            cost: parts + labour_h * machine.labour_rate + hours * machine.downtime_cost,
        }
    }
}
