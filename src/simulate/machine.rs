//! One machine through the years: it runs, parts fail, the crew comes.
//!
//! In: a [`Plant`], a machine of it, a seed. Out: drafts of entries in time order.
//! Never: files, clock, printing.
//!
//! Time stands while the machine is stopped: hours lost to a repair are lost, as they are
//! for the plant.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};

use super::agenda::Due;
use super::body::{Book, money, written};
use super::calendar::{Calendar, Habits, at};
use super::draw;
use super::item::{Birth, Item};
use super::plan::{Machine, Opening, Plant};
use super::shelf::Shelf;
use super::truth::{Ages, MachineTruth, Seen};
use super::work::Work;
use crate::book::{Age, Event, Item as Stated, SlotName};
use crate::quantity::Number;

/// An entry in the making: who writes it and when is settled for its whole group.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// Seconds since 1970.
    pub time: i64,
    pub event: Event,
    /// Number of its job on this machine.
    pub job: Option<usize>,
    pub note: Option<String>,
    /// Written up together with the others of this number.
    pub group: usize,
}

/// Entries one person writes up in one go.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    pub begin: i64,
    /// Not written up before this.
    pub ready: i64,
    pub who: String,
    pub book: Book,
}

/// All that one machine leaves in the books.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Story {
    pub drafts: Vec<Draft>,
    pub groups: Vec<Group>,
    /// Start of each job, by its number.
    pub jobs: Vec<i64>,
}

pub(super) struct Run<'a> {
    pub(super) plant: &'a Plant<'a>,
    pub(super) machine: &'a Machine,
    pub(super) number: usize,
    pub(super) now: i64,
    /// Running hours since the record began.
    pub(super) usage: f64,
    pub(super) items: Vec<Option<Item>>,
    pub(super) nature: ChaCha12Rng,
    pub(super) crew: ChaCha12Rng,
    pub(super) story: Story,
    calendar: Calendar,
    meter_offset: f64,
    serials: usize,
    pub(super) kept: BTreeMap<Shelf, Item>,
}

/// Runs one machine from the first day of the record to its last.
///
/// Nature and crew have a random stream each, told apart by the machine's number, so that
/// a machine's story does not depend on how many others there are.
pub fn run(plant: &Plant, number: usize, seed: u64) -> Story {
    let stream = |which: u64| {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        rng.set_stream(2 * number as u64 + which);
        rng
    };
    let truth = plant.truth;
    let machine = &plant.machines[number];
    let habits = Habits {
        hours_per_week: truth.machines[machine.like].hours_per_week,
        season: truth.running.season,
        scatter: truth.running.scatter,
        shutdown_weeks: &truth.running.shutdown_weeks,
    };
    let mut crew = stream(1);
    let record = &truth.record;
    let calendar = Calendar::draw(
        record.first_day,
        record.last_day,
        &habits,
        plant.zone,
        &mut crew,
    );
    let mut run = Run {
        plant,
        machine,
        number,
        now: at(record.first_day, 5, 30, plant.zone),
        usage: 0.0,
        items: Vec::new(),
        nature: stream(0),
        crew,
        story: Story::default(),
        calendar,
        meter_offset: truth.machines[machine.like].meter_at_start,
        serials: 0,
        kept: BTreeMap::new(),
    };
    run.take_stock();
    let end = at(record.last_day, 18, 0, plant.zone);
    for (time, due) in run.agenda() {
        if time <= end {
            run.run_until(time);
            run.deal_with(due, time);
        }
    }
    run.story
}

impl Run<'_> {
    pub(super) fn like(&self) -> &MachineTruth {
        &self.plant.truth.machines[self.machine.like]
    }

    pub(super) fn component_id(&self, slot: usize) -> String {
        self.plant.truth.components[self.machine.slots[slot].component]
            .id
            .clone()
    }

    /// Starts a group of entries that one person writes up together.
    pub(super) fn group(&mut self, begin: i64, who: String, book: Book) -> usize {
        self.story.groups.push(Group {
            begin,
            ready: begin,
            who,
            book,
        });
        self.story.groups.len() - 1
    }

    pub(super) fn note_down(
        &mut self,
        group: usize,
        time: i64,
        job: Option<usize>,
        event: Event,
        note: Option<String>,
    ) {
        let ready = &mut self.story.groups[group].ready;
        *ready = (*ready).max(time);
        self.story.drafts.push(Draft {
            time,
            event,
            job,
            note,
            group,
        });
    }

    pub(super) fn fitter(&mut self) -> String {
        let all = &self.plant.truth.record.fitters;
        all[draw::index(all.len(), &mut self.crew)].clone()
    }

    fn operator(&mut self) -> String {
        let all = &self.plant.truth.record.operators;
        all[draw::index(all.len(), &mut self.crew)].clone()
    }

    pub(super) fn slot_name(&self, slot: usize) -> SlotName {
        SlotName {
            component: self.component_id(slot),
            position: self.machine.slots[slot].position.clone(),
        }
    }

    /// What the meter shows now: it counts whole hours.
    pub(super) fn reading(&self) -> Event {
        Event::Reading {
            meter: self.plant.truth.running.meter.clone(),
            value: written((self.meter_offset + self.usage).floor(), 0),
            reset: false,
        }
    }

    /// The first entries: a reading, and every part in place.
    fn take_stock(&mut self) {
        let ages = self.like().ages;
        let who = self.fitter();
        let group = self.group(self.now, who, Book::Jobs);
        let reading = self.reading();
        self.note_down(group, self.now, None, reading, None);
        let time = self.now + 600;
        for slot in 0..self.machine.slots.len() {
            let age = match ages {
                Ages::New => 0.0,
                Ages::Known | Ages::Unknown => self.age_in_place(slot),
            };
            let mut item = self.draw_item(slot, age);
            if ages != Ages::New {
                // Nobody kept the label of what was fitted before the record began.
                item.batch = None;
            }
            let mut stated = self.fitted(slot, &item);
            stated.age = match ages {
                Ages::New => Age::New,
                Ages::Known => Age::Known(written(age, 0)),
                Ages::Unknown => Age::Unknown,
            };
            let event = Event::Installed {
                slot: self.slot_name(slot),
                item: stated,
            };
            self.note_down(group, time, None, event, None);
            self.items.push(Some(item));
        }
    }

    /// Usage on a part found in place: anywhere in the crew's interval, whole hours.
    fn age_in_place(&mut self, slot: usize) -> f64 {
        let place = &self.machine.slots[slot];
        let component = &self.plant.truth.components[place.component];
        let always = place
            .access
            .is_some_and(|a| self.plant.accesses[a].always.contains(&place.component));
        let most = match component.renew_at {
            Some(at) => 0.9 * at,
            // Opened at least as often as the packing is renewed.
            None if always => 0.02 * component.scale,
            None => 0.5 * component.scale,
        };
        draw::between(0.0, most, &mut self.crew).round()
    }

    /// A part for a slot, with the usage already on it.
    pub(super) fn draw_item(&mut self, slot: usize, age: f64) -> Item {
        let truth = self.plant.truth;
        let place = &self.machine.slots[slot];
        let component = &truth.components[place.component];
        let day = self.day();
        let bad = truth.bad_batches.iter().find(|bad| {
            bad.component == component.id && age == 0.0 && (bad.from..=bad.to).contains(&day)
        });
        let scale = truth.scale_at(component, &self.like().tag, &place.position)
            * bad.map_or(1.0, |bad| bad.factor);
        let birth = Birth {
            scale,
            age,
            fitted_at: self.usage,
        };
        let mut item = Item::draw(
            truth,
            place.component,
            birth,
            &mut self.nature,
            &mut self.crew,
        );
        item.part = truth
            .new_types
            .iter()
            .rfind(|new| new.component == component.id && new.day <= day)
            .map(|new| new.part.clone())
            .or_else(|| component.part.clone());
        item.batch = component.batch.as_ref().map(|letters| match bad {
            Some(bad) => bad.batch.clone(),
            None => format!(
                "{letters}{:02}Q{}",
                day.year() % 100,
                day.month().div_ceil(3)
            ),
        });
        if let Some(letters) = &component.serial {
            self.serials += 1;
            item.serial = Some(format!("{letters}-{}{:03}", self.number + 1, self.serials));
        }
        item
    }

    /// The part as its entry states it.
    pub(super) fn fitted(&self, slot: usize, item: &Item) -> Stated {
        let age = item.age(self.usage).round();
        let pieces = self.machine.slots[slot].pieces;
        Stated {
            part: item.part.clone(),
            pieces: (pieces > 1).then_some(pieces),
            batch: item.batch.clone(),
            serial: item.serial.clone(),
            age: match age > 0.0 {
                true => Age::Known(written(age, 0)),
                false => Age::New,
            },
        }
    }

    /// The plant's calendar day of `now`.
    pub(super) fn day(&self) -> NaiveDate {
        chrono::DateTime::from_timestamp(self.now, 0)
            .unwrap_or_default()
            .with_timezone(&self.plant.zone)
            .date_naive()
    }

    /// Runs to a time; parts that fail on the way stop the machine and are renewed.
    fn run_until(&mut self, time: i64) {
        while self.now < time {
            let hours = self.calendar.hours_between(self.now, time);
            match self.next_failure() {
                Some((slot, left)) if left < hours => {
                    let when = self.calendar.after_hours(self.now, left).unwrap_or(time);
                    self.now = when.min(time);
                    self.usage += left;
                    self.do_work(&Work::failure(slot, self.machine.slots[slot].opening()));
                }
                _ => {
                    self.now = time;
                    self.usage += hours;
                }
            }
        }
    }

    /// The next failure that shows while running: its slot, and the hours until then.
    fn next_failure(&self) -> Option<(usize, f64)> {
        let left = |(slot, item): (usize, &Option<Item>)| {
            let item = item.as_ref().filter(|item| !item.condemned)?;
            let component = &self.plant.truth.components[self.machine.slots[slot].component];
            (component.modes[item.mode].seen == Seen::Running)
                .then(|| (slot, (item.life - item.age(self.usage)).max(0.0)))
        };
        self.items
            .iter()
            .enumerate()
            .filter_map(left)
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn deal_with(&mut self, due: Due, planned: i64) {
        let truth = self.plant.truth;
        match due {
            Due::Reading => {
                let who = self.operator();
                let group = self.group(planned, who, Book::Readings);
                let reading = self.reading();
                self.note_down(group, planned, None, reading, None);
            }
            Due::Expense(which) => {
                let expense = &truth.expenses[which];
                let cost = expense.cost * draw::around_one(0.08, &mut self.crew);
                let event = Event::Expense {
                    cost: money(cost, 0.5),
                    what: expense.what.clone(),
                };
                let who = self.fitter();
                let group = self.group(planned, who, Book::Jobs);
                self.note_down(group, planned, None, event, None);
            }
            Due::MeterExchange(which) => {
                let value = truth.meter_exchanges[which].new_value;
                self.meter_offset = value - self.usage;
                let event = Event::Reading {
                    meter: truth.running.meter.clone(),
                    value: Number::new(value).unwrap_or(Number::from(0u32)),
                    reset: true,
                };
                let note = Some("hour meter had stopped counting reliably; new one fitted".into());
                let who = self.fitter();
                let group = self.group(self.now, who, Book::Jobs);
                self.note_down(group, self.now, None, event, note);
            }
            Due::SentAway(which) => self.send_away(which),
            Due::CameBack(which) => self.put_back(which),
            Due::Stop { number, last } => self.stop(number, last),
        }
    }

    pub(super) fn slot(&self, component: &str, position: &str) -> Option<usize> {
        (0..self.machine.slots.len()).find(|&n| {
            let slot = &self.machine.slots[n];
            slot.position == position && self.plant.truth.components[slot.component].id == component
        })
    }

    /// A planned stop: what is due, what was put off, inspections, and what else the day brings.
    fn stop(&mut self, number: u32, last: bool) {
        // Settled first: a fault found today and left in waits for the next stop.
        let due = self.openings(|slot, _| {
            let component = self.machine.slots[slot].component;
            let waits = self.plant.truth.components[component].waits_for_inspection;
            self.items[slot]
                .as_ref()
                .is_some_and(|item| item.condemned || (!waits && item.is_due(self.usage)))
        });
        let mut opened: Vec<Opening> = Vec::new();
        for (cause, slot) in self.mishaps() {
            let opening = self.machine.slots[slot].opening();
            self.do_work(&Work::special(slot, opening.clone(), cause));
            opened.push(opening);
        }
        let weeks = number * self.plant.truth.crew.stop_every_weeks;
        for inspection in &self.plant.truth.crew.inspections {
            let before = weeks - self.plant.truth.crew.stop_every_weeks;
            if last || weeks / inspection.every_weeks > before / inspection.every_weeks {
                let openings = self.openings(|_, opening| {
                    !opened.contains(opening)
                        && opening
                            .access
                            .is_some_and(|a| self.plant.accesses[a].id == inspection.access)
                });
                self.do_work(&Work::inspection(openings.clone(), inspection.stop_h));
                opened.extend(openings);
            }
        }
        for opening in due {
            if !opened.contains(&opening) {
                self.do_work(&Work::planned(opening));
            }
        }
    }

    /// The openings for which `wanted` holds at one slot at least, each once, in slot order.
    fn openings(&self, wanted: impl Fn(usize, &Opening) -> bool) -> Vec<Opening> {
        let mut found: Vec<Opening> = Vec::new();
        for (number, slot) in self.machine.slots.iter().enumerate() {
            let opening = slot.opening();
            if wanted(number, &opening) && !found.contains(&opening) {
                found.push(opening);
            }
        }
        found
    }
}
