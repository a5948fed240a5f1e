//! Jobs: what the crew opens, finds, measures and renews, and what it takes.
//!
//! In: a running machine and the reason to open it. Out: drafts of the job's entries.
//! Never: files, clock, printing.

use chrono::{DateTime, Timelike, Utc};
use rust_decimal::Decimal;

use super::body::{Book, by_choice, by_fault, money, quarters, written};
use super::draw;
use super::item::Item;
use super::machine::Run;
use super::plan::Opening;
use super::shelf::Shelf;
use super::truth::{Called, Seen};
use crate::book::{Ending, Event, Finding, Found, JobKind, Reason};
use crate::quantity::Number;

/// What singles one slot out.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cause {
    FailedRunning,
    /// With a note.
    Damaged(String),
    NewType,
    /// Taken out to be kept, by number of the truth's `move`.
    KeptFor(usize),
    MovedHere(usize),
}

/// One reason to open a machine.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Work {
    openings: Vec<Opening>,
    cause: Option<(usize, Cause)>,
    /// Production hours an inspection loses by itself.
    inspection_stop_h: Option<f64>,
}

impl Work {
    pub(super) fn failure(slot: usize, opening: Opening) -> Self {
        Self::special(slot, opening, Cause::FailedRunning)
    }

    pub(super) fn special(slot: usize, opening: Opening, cause: Cause) -> Self {
        Work {
            openings: vec![opening],
            cause: Some((slot, cause)),
            inspection_stop_h: None,
        }
    }

    pub(super) fn planned(opening: Opening) -> Self {
        Work {
            openings: vec![opening],
            cause: None,
            inspection_stop_h: None,
        }
    }

    pub(super) fn inspection(openings: Vec<Opening>, stop_h: f64) -> Self {
        Work {
            openings,
            cause: None,
            inspection_stop_h: Some(stop_h),
        }
    }

    fn is_failure(&self) -> bool {
        matches!(self.cause, Some((_, Cause::FailedRunning)))
    }
}

/// What is done at one slot.
enum Deed {
    Renew(Ending, Option<String>),
    Inspect(Finding, Option<String>),
}

/// Entries of a job in the order they are done.
#[derive(Default)]
struct Sheet {
    lines: Vec<(Event, Option<String>)>,
    labour_h: f64,
    planned_stop_h: f64,
}

/// Length and cost of a job, as written.
struct Bill {
    labour_h: Number,
    downtime_h: Number,
    cost: Option<Decimal>,
    kind: JobKind,
}

impl Run<'_> {
    /// Does the work now: writes up the job, renews what has to be, and lets the time pass.
    pub(super) fn do_work(&mut self, work: &Work) {
        let begin = self.now;
        let night = {
            let local = moment(begin).with_timezone(&self.plant.zone);
            local.hour() >= 22 || local.hour() < 6
        };
        let book = match self.plant.truth.record.night_jobs_in_reading_book && night {
            true => Book::Readings,
            false => Book::Jobs,
        };
        let who = self.fitter();
        let group = self.group(begin, who, book);
        let mut sheet = Sheet::default();
        let mut faults = Vec::new();
        for opening in &work.openings {
            if let Some(access) = opening.access {
                sheet.labour_h += self.plant.accesses[access].labour_h;
            }
            let exposed: Vec<usize> = (0..self.machine.slots.len())
                .filter(|&slot| self.machine.slots[slot].opening() == *opening)
                .collect();
            // Everything is measured before anything is renewed: mating parts are read as they ran.
            for &slot in &exposed {
                self.measure(slot, &mut sheet);
            }
            for &slot in &exposed {
                self.expose(slot, work, &mut sheet, &mut faults);
            }
        }
        let bill = self.bill(work, &sheet);
        // One reading serves the whole stop: the machine does not run before it is over.
        let reading = (self.reading(), None);
        sheet.lines.insert(0, reading);
        self.write_up(group, sheet.lines, bill);
        for fault in faults {
            self.mend(group, fault);
        }
    }

    /// Looks at one slot that was opened; parts found at fault are left to `faults`.
    fn expose(
        &mut self,
        slot: usize,
        work: &Work,
        sheet: &mut Sheet,
        faults: &mut Vec<(usize, Ending)>,
    ) {
        let Some(item) = self.items[slot].clone() else {
            return;
        };
        let component_number = self.machine.slots[slot].component;
        let figures = &self.plant.figures[component_number];
        if item.condemned {
            faults.push((slot, self.fault(&item, slot)));
            return;
        }
        match self.deed(slot, &item, work) {
            Some(Deed::Renew(end, note)) => {
                sheet.labour_h += figures.own_labour_h;
                if end.reason != Reason::Opportunity {
                    sheet.planned_stop_h = sheet.planned_stop_h.max(figures.planned_stop_h);
                }
                let event = self.renew(slot, item, end, work);
                sheet.lines.push((event, note));
            }
            Some(Deed::Inspect(finding, mode)) => {
                sheet.labour_h += 0.1;
                let event = Event::Inspected {
                    slot: self.slot_name(slot),
                    finding,
                    mode,
                };
                sheet.lines.push((event, None));
                if finding != Finding::Sound {
                    let put_off = draw::chance(self.plant.truth.crew.left_in_share, &mut self.crew);
                    match (&mut self.items[slot], put_off) {
                        (Some(item), true) => item.condemned = true,
                        _ => faults.push((slot, self.fault(&item, slot))),
                    }
                }
            }
            None => {}
        }
    }

    /// What the crew does with a part it sees. Only a fault already there, the part's usage
    /// and what was settled beforehand count; when it would fail is not known to anyevent.
    fn deed(&self, slot: usize, item: &Item, work: &Work) -> Option<Deed> {
        let place = &self.machine.slots[slot];
        let component = &self.plant.truth.components[place.component];
        let renew = |reason| Some(Deed::Renew(by_choice(reason), None));
        if work.cause == Some((slot, Cause::FailedRunning)) {
            let mode = &component.modes[item.mode].name;
            let end = by_fault(Reason::Failed, mode, Found::Running);
            return Some(Deed::Renew(end, None));
        }
        if item.hides_fault(self.usage, component) {
            let mode = &component.modes[item.mode];
            let finding = match mode.called {
                Called::Failed => Finding::Failed,
                Called::Worn => Finding::Worn,
            };
            return Some(Deed::Inspect(finding, Some(mode.name.clone())));
        }
        if let Some((_, cause)) = work.cause.as_ref().filter(|(which, _)| *which == slot) {
            let truth = self.plant.truth;
            return match cause {
                Cause::FailedRunning => None,
                Cause::Damaged(note) => {
                    Some(Deed::Renew(by_choice(Reason::Damaged), Some(note.clone())))
                }
                Cause::NewType => renew(Reason::ChangedType),
                Cause::KeptFor(number) => Some(Deed::Renew(
                    by_choice(Reason::Opportunity),
                    Some(truth.moves[*number].note.clone()),
                )),
                Cause::MovedHere(_) => renew(Reason::Planned),
            };
        }
        if item.is_due(self.usage) && !work.is_failure() {
            return renew(Reason::Planned);
        }
        let always = place
            .access
            .is_some_and(|a| self.plant.accesses[a].always.contains(&place.component));
        let old_enough = component
            .opportunity_from
            .zip(component.renew_at)
            .is_some_and(|(part, at)| item.age(self.usage) >= part * at);
        if always
            || self.plant.figures[place.component].never_refit
            || old_enough
            || item.is_due(self.usage)
        {
            return renew(Reason::Opportunity);
        }
        // What fails in the open needs no looking at.
        component
            .modes
            .iter()
            .any(|mode| mode.seen == Seen::Opening)
            .then_some(Deed::Inspect(Finding::Sound, None))
    }

    fn fault(&self, item: &Item, slot: usize) -> Ending {
        let component = &self.plant.truth.components[self.machine.slots[slot].component];
        let mode = &component.modes[item.mode];
        let reason = match mode.called {
            Called::Failed => Reason::Failed,
            Called::Worn => Reason::Worn,
        };
        by_fault(reason, &mode.name, Found::Inspection)
    }

    /// Puts a part in the place of another and tells the entry.
    fn renew(&mut self, slot: usize, old: Item, end: Ending, work: &Work) -> Event {
        let cause = work.cause.as_ref().filter(|(which, _)| *which == slot);
        if let Some((_, Cause::KeptFor(number))) = cause {
            self.lay_aside(Shelf::Spare(*number), old);
        }
        let spare = match cause {
            Some((_, Cause::MovedHere(number))) => self.take_up(Shelf::Spare(*number)),
            _ => None,
        };
        let item = spare.unwrap_or_else(|| self.draw_item(slot, 0.0));
        let event = Event::Replaced {
            slot: self.slot_name(slot),
            item: self.fitted(slot, &item),
            end,
        };
        self.items[slot] = Some(item);
        event
    }

    /// Renews a part that was found at fault, as a job of its own.
    fn mend(&mut self, group: usize, (slot, end): (usize, Ending)) {
        let Some(old) = self.items[slot].clone() else {
            return;
        };
        let component = self.machine.slots[slot].component;
        let event = self.renew(
            slot,
            old,
            end,
            &Work::planned(self.machine.slots[slot].opening()),
        );
        let labour_h = self.plant.figures[component].own_labour_h;
        let bill = self.failure_bill(component, labour_h);
        self.write_up(group, vec![(event, None)], bill);
    }

    fn bill(&mut self, work: &Work, sheet: &Sheet) -> Bill {
        if let Some((slot, Cause::FailedRunning)) = work.cause {
            return self.failure_bill(self.machine.slots[slot].component, sheet.labour_h);
        }
        let stop_h = sheet
            .planned_stop_h
            .max(work.inspection_stop_h.unwrap_or(0.0));
        Bill {
            labour_h: quarters(sheet.labour_h * draw::around_one(0.12, &mut self.crew)),
            downtime_h: quarters(stop_h * draw::around_one(0.2, &mut self.crew)),
            cost: None,
            kind: JobKind::Preventive,
        }
    }

    fn failure_bill(&mut self, component: usize, labour_h: f64) -> Bill {
        let figures = &self.plant.figures[component];
        let cost = figures.failed_extra_cost * draw::around_one(0.3, &mut self.crew);
        Bill {
            labour_h: quarters(labour_h * draw::around_one(0.15, &mut self.crew)),
            downtime_h: quarters(figures.failed_stop_h * draw::around_one(0.25, &mut self.crew)),
            cost: (cost > 0.0).then(|| money(cost, 5.0)),
            kind: JobKind::Corrective,
        }
    }

    /// Writes a job and its entries, spread over its length, and lets that time pass.
    fn write_up(&mut self, group: usize, lines: Vec<(Event, Option<String>)>, bill: Bill) {
        let start = whole_minute(self.now);
        // Two people work at a time; a repair takes at least twenty minutes.
        let length_h = bill
            .downtime_h
            .get()
            .max(0.6 * bill.labour_h.get())
            .max(1.0 / 3.0);
        let stop = start + (length_h * 12.0).ceil() as i64 * 300;
        let job = self.story.jobs.len();
        self.story.jobs.push(start);
        let event = Event::Job {
            start: moment(start),
            stop: moment(stop),
            kind: bill.kind,
            labour_h: bill.labour_h,
            downtime_h: bill.downtime_h,
            cost: bill.cost,
        };
        self.note_down(group, start, Some(job), event, None);
        let steps = lines.len() as i64 + 1;
        for (n, (event, note)) in lines.into_iter().enumerate() {
            let part = match event {
                Event::Reading { .. } => 0,
                _ => n as i64 + 1,
            };
            let time = whole_minute(start + (stop - start) * part / steps);
            self.note_down(group, time, Some(job), event, note);
        }
        let ready = &mut self.story.groups[group].ready;
        *ready = (*ready).max(stop);
        self.now = stop;
    }

    /// Measures what the truth wants measured on an exposed part.
    fn measure(&mut self, slot: usize, sheet: &mut Sheet) {
        let Some(item) = self.items[slot].clone() else {
            return;
        };
        let truth = self.plant.truth;
        let place = &self.machine.slots[slot];
        let component = &truth.components[place.component];
        // There is nothing left to measure on what lies in pieces.
        let broken = item.hides_fault(self.usage, component)
            && component.modes[item.mode].called == Called::Failed;
        let mut with_last = None;
        for line in &item.wear {
            let wear = &truth.wear[line.wear];
            // Zones of one quantity are measured together.
            let wanted = match with_last {
                Some((quantity, wanted)) if quantity == &wear.quantity => wanted,
                _ => draw::chance(wear.share, &mut self.crew),
            };
            with_last = Some((&wear.quantity, wanted));
            if !wanted {
                continue;
            }
            let mate = wear
                .plus_loss_of
                .as_ref()
                .map_or(0.0, |mate| self.loss_of(mate, &place.cylinder));
            let noise = wear.noise * draw::normal(&mut self.crew);
            if broken {
                continue;
            }
            let value = line.at(item.age(self.usage)) + mate + noise;
            sheet.lines.push((
                Event::Measured {
                    slot: self.slot_name(slot),
                    quantity: wear.quantity.clone(),
                    value: written(value, wear.decimals),
                    unit: wear.unit.clone(),
                    zone: wear.zone.clone(),
                    span: wear.span.and_then(Number::new),
                    new_value: Some(written(line.new, wear.decimals)),
                },
                None,
            ));
        }
    }

    /// What the mating part at the same position has lost since new.
    fn loss_of(&self, component: &str, position: &str) -> f64 {
        self.slot(component, position)
            .and_then(|slot| self.items[slot].as_ref())
            .map_or(0.0, |item| {
                let worst = item
                    .wear
                    .iter()
                    .map(|w| w.per_usage.abs())
                    .fold(0.0, f64::max);
                worst * item.age(self.usage)
            })
    }
}

fn moment(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(seconds, 0).unwrap_or_default()
}

fn whole_minute(seconds: i64) -> i64 {
    seconds.div_euclid(60) * 60
}
