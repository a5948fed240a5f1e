//! Looking a whole ledger over: everything that is wrong with it, or doubtful.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, TimeDelta, Utc};

use super::conflict::{Conflict, Witness};
use super::doubt::Doubt;
use super::entry::{Age, Entry, Event, Finding, Item, Kind, Reason, SlotName};
use super::error::{conflict_trouble, place_of};
use super::ledger::{Ledger, Placed};
use super::sha::Sha;
use super::state::{Stand, State};
use crate::quantity::time::start_of_day;
use crate::quantity::trouble::{Severity, Trouble};
use crate::register::FILE_NAME;

/// A meter left unread for longer than this is a doubt.
const UNREAD: TimeDelta = TimeDelta::days(90);

/// Usage units that cannot grow by more than 24 a day.
const HOURS: &[&str] = &["h", "hour", "hours", "hr", "hrs"];

/// Everything wrong or doubtful about a ledger: what keeps it from being relied on
/// first, then the rest by file and line. `now` is the caller's clock.
pub fn look_over(ledger: &Ledger, now: DateTime<Utc>) -> Vec<Trouble> {
    let mut broken = ledger.broken();
    let mut rest = ledger.torn();
    // A faulty register would be blamed on every entry.
    if ledger.register_faults.is_empty() {
        let look = Look {
            ledger,
            found: Vec::new(),
        };
        rest.extend(look.all(now));
    }
    rest.sort_by(|a, b| {
        let key = |t: &Trouble| {
            let place = t.place.clone().unwrap_or_default();
            (place.file, place.line)
        };
        key(a).cmp(&key(b))
    });
    broken.extend(rest);
    broken
}

struct Look<'a> {
    ledger: &'a Ledger,
    found: Vec<Trouble>,
}

/// The item in a slot, as the walk through time has it.
struct Seat<'a> {
    put_in: Placed<'a>,
    item: &'a Item,
    bad: Option<(Finding, Placed<'a>)>,
}

impl<'a> Look<'a> {
    fn all(mut self, now: DateTime<Utc>) -> Vec<Trouble> {
        self.openings();
        self.withdrawals();
        let entries = self.ledger.entries();
        self.conflicts(&entries, now);
        if entries.is_empty() {
            let trouble = self.unplaced(&Doubt::NoEntries);
            self.found.push(trouble.in_file(FILE_NAME));
            return self.found;
        }
        self.meters(&entries);
        self.slots(&entries);
        self.jobs(&entries);
        self.twins(&entries);
        self.each(&entries);
        self.found
    }

    fn file(&self, placed: &Placed<'_>) -> &'a str {
        &self.ledger.books[placed.book].file
    }

    fn witness(&self, placed: &Placed<'_>) -> Witness {
        Witness {
            given: None,
            file: self.file(placed).to_owned(),
            line: placed.line,
            sha: placed.sha,
            time: placed.entry.time,
        }
    }

    fn unplaced(&self, doubt: &Doubt) -> Trouble {
        let mut trouble =
            Trouble::error(doubt.name(), doubt.to_string()).with_severity(doubt.severity());
        trouble.evidence = doubt.evidence(self.ledger.register.plant.time_zone);
        trouble.cure = doubt.cure();
        trouble
    }

    fn doubt(&mut self, placed: &Placed<'_>, doubt: &Doubt) {
        let text = self.ledger.books[placed.book].text(placed.line);
        let place = place_of(self.file(placed), placed.line, text, doubt.key());
        let trouble = self.unplaced(doubt).placed(place);
        self.found.push(trouble);
    }

    fn doubt_register(&mut self, doubt: &Doubt) {
        let trouble = self.unplaced(doubt).in_file(FILE_NAME);
        self.found.push(trouble);
    }

    fn conflict(&mut self, placed: &Placed<'_>, conflict: &Conflict) {
        let text = self.ledger.books[placed.book].text(placed.line);
        let place = place_of(self.file(placed), placed.line, text, conflict.key());
        let zone = self.ledger.register.plant.time_zone;
        let trouble = conflict_trouble(conflict, zone)
            .with_severity(Severity::Warning)
            .placed(place);
        self.found.push(trouble);
    }

    /// Each book begins with `opened`, and has no other; its lines were written in
    /// the order of the clock.
    fn openings(&mut self) {
        let ledger = self.ledger;
        let mut above: Option<(usize, DateTime<Utc>)> = None;
        for placed in ledger.lines() {
            let opened = placed.entry.event.kind() == Kind::Opened;
            if opened && placed.line != 1 {
                self.conflict(&placed, &Conflict::OpenedAgain);
            }
            if !opened && placed.line == 1 {
                self.conflict(&placed, &Conflict::NotOpened);
            }
            let logged = placed.entry.logged;
            if let Some((book, above)) = above
                && book == placed.book
                && above > logged
            {
                self.doubt(&placed, &Doubt::LoggedBackwards { logged, above });
            }
            above = Some((placed.book, logged));
        }
    }

    fn withdrawals(&mut self) {
        let ledger = self.ledger;
        let mut found = Vec::new();
        ledger.state_and(|state, placed| {
            if let Event::Withdrawn { entry_sha, .. } = &placed.entry.event
                && let Some(conflict) = state.withdrawal_conflict(entry_sha)
            {
                found.push((*placed, conflict));
            }
        });
        for (placed, conflict) in found {
            self.conflict(&placed, &conflict);
        }
    }

    /// The rules of recording, for books that were merged or made by other hands.
    fn conflicts(&mut self, entries: &[Placed<'a>], now: DateTime<Utc>) {
        let ledger = self.ledger;
        let mut state = State::default();
        for book in &ledger.books {
            state.file(&book.file);
        }
        for placed in entries {
            for conflict in state.conflicts(&ledger.register, placed.entry, now) {
                self.conflict(placed, &conflict);
            }
            let stand = Stand {
                sha: placed.sha,
                file: placed.book,
                line: placed.line,
            };
            state.insert(stand, placed.entry);
        }
    }

    fn meters(&mut self, entries: &[Placed<'a>]) {
        let mut last: BTreeMap<(&str, &str), Placed<'a>> = BTreeMap::new();
        for placed in entries {
            let Event::Reading {
                meter,
                value,
                reset,
            } = &placed.entry.event
            else {
                continue;
            };
            let machine = placed.entry.machine.as_deref().unwrap_or_default();
            let before = last.insert((machine, meter), *placed);
            let Some(before) = before else { continue };
            let elapsed = placed.entry.time - before.entry.time;
            let since = self.witness(&before);
            if elapsed > UNREAD {
                self.doubt(
                    placed,
                    &Doubt::Unread {
                        machine: machine.to_owned(),
                        meter: meter.clone(),
                        days: elapsed.num_days(),
                        since: since.clone(),
                    },
                );
            }
            let unit = self.ledger.register.usage(meter).map(|u| u.unit.as_str());
            if *reset || !unit.is_some_and(|unit| HOURS.contains(&unit)) {
                continue;
            }
            let Event::Reading { value: from, .. } = &before.entry.event else {
                continue;
            };
            let hours = value.get() - from.get();
            let elapsed_h = elapsed.as_seconds_f64() / 3600.0;
            // A meter shows whole hours, and nobody reads it on the dot.
            if hours > elapsed_h + 2.0 {
                self.doubt(
                    placed,
                    &Doubt::TooFast {
                        machine: machine.to_owned(),
                        meter: meter.clone(),
                        hours,
                        elapsed_h,
                        since,
                    },
                );
            }
        }
        let end = entries.last().map(|placed| placed.entry.time);
        for (machine, meter) in self.meters_needed() {
            let in_use = |placed: &Placed<'_>| placed.entry.machine.as_deref() == Some(machine);
            match (last.get(&(machine, meter)), end) {
                (None, _) if !entries.iter().any(in_use) => {}
                (None, _) => self.doubt_register(&Doubt::NeverRead {
                    machine: machine.to_owned(),
                    meter: meter.to_owned(),
                }),
                (Some(placed), Some(end)) if end - placed.entry.time > UNREAD => {
                    let placed = *placed;
                    self.doubt(
                        &placed,
                        &Doubt::UnreadLately {
                            machine: machine.to_owned(),
                            meter: meter.to_owned(),
                            days: (end - placed.entry.time).num_days(),
                        },
                    );
                }
                _ => {}
            }
        }
    }

    /// Machine and meter wherever a slot's component ages by that usage.
    fn meters_needed(&self) -> Vec<(&'a str, &'a str)> {
        let register = &self.ledger.register;
        let mut needed = Vec::new();
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                if let Some(component) = register.component(slot.component) {
                    let pair = (machine.tag.as_str(), component.usage.as_str());
                    if !needed.contains(&pair) {
                        needed.push(pair);
                    }
                }
            }
        }
        needed
    }

    fn slots(&mut self, entries: &[Placed<'a>]) {
        let mut seats: BTreeMap<(&str, &str, &str), Option<Seat<'a>>> = BTreeMap::new();
        let mut emptied: BTreeMap<(&str, &str, &str), Placed<'a>> = BTreeMap::new();
        let mut serials: HashMap<(&str, &str), Option<Placed<'a>>> = HashMap::new();
        let readings = Readings::of(entries);
        let mut unknown: Vec<Placed<'a>> = Vec::new();
        for placed in entries {
            let Some(slot) = placed.entry.event.slot() else {
                continue;
            };
            let machine = placed.entry.machine.as_deref().unwrap_or_default();
            let key = (machine, slot.component.as_str(), slot.position.as_str());
            let name = slot_name(machine, slot);
            if let Event::Inspected { finding, .. } = &placed.entry.event {
                let seat = seats.get_mut(&key).and_then(Option::as_mut);
                self.inspected(placed, *finding, seat, &name);
                continue;
            }
            if let Some(end) = placed.entry.event.ending() {
                let seat = seats.remove(&key).flatten();
                if let Some(seat) = &seat {
                    self.taken_out(placed, end.reason, seat, &name, &readings);
                    if let Some(serial) = &seat.item.serial {
                        serials.insert((slot.component.as_str(), serial), None);
                    }
                }
                seats.insert(key, None);
                emptied.insert(key, *placed);
            }
            if let Some(item) = placed.entry.event.item() {
                emptied.remove(&key);
                // What a slot holds when its record begins was not fitted then.
                let in_place = !seats.contains_key(&key);
                self.put_in(placed, slot, item, &name, in_place, &mut serials);
                if item.age == Age::Unknown {
                    unknown.push(*placed);
                }
                let seat = Seat {
                    put_in: *placed,
                    item,
                    bad: None,
                };
                seats.insert(key, Some(seat));
            }
        }
        self.unknown_ages(&unknown);
        self.never_filled(&seats);
        let end = entries.last().map(|placed| placed.entry.time);
        for ((machine, component, position), placed) in emptied {
            let days = end.map_or(0, |end| (end - placed.entry.time).num_days());
            if days > 7 {
                let slot = format!("{machine} {component} {position}");
                self.doubt(&placed, &Doubt::LeftEmpty { slot, days });
            }
        }
    }

    fn inspected(
        &mut self,
        placed: &Placed<'a>,
        finding: Finding,
        seat: Option<&mut Seat<'a>>,
        name: &str,
    ) {
        if let (Event::Inspected { mode: None, .. }, Finding::Failed | Finding::Worn) =
            (&placed.entry.event, finding)
        {
            let slot = name.to_owned();
            let word = finding.word();
            self.doubt(placed, &Doubt::NoMode { slot, word });
        }
        let Some(seat) = seat else { return };
        match (finding, seat.bad) {
            (Finding::Sound, Some((bad, before))) => {
                let doubt = Doubt::SoundAgain {
                    slot: name.to_owned(),
                    word: bad.word(),
                    before: self.witness(&before),
                };
                self.doubt(placed, &doubt);
                seat.bad = None;
            }
            (Finding::Worn | Finding::Failed, None) => seat.bad = Some((finding, *placed)),
            _ => {}
        }
    }

    fn taken_out(
        &mut self,
        placed: &Placed<'a>,
        reason: Reason,
        seat: &Seat<'a>,
        name: &str,
        readings: &Readings<'a>,
    ) {
        let by_itself = matches!(reason, Reason::Failed | Reason::Worn);
        if let (false, Some((bad, before))) = (by_itself, &seat.bad) {
            let doubt = Doubt::ReasonDiffers {
                slot: name.to_owned(),
                reason: reason.word(),
                word: bad.word(),
                before: self.witness(before),
            };
            self.doubt(placed, &doubt);
        }
        let machine = placed.entry.machine.as_deref().unwrap_or_default();
        let component = placed
            .entry
            .event
            .slot()
            .map(|slot| slot.component.as_str());
        let usage = component
            .and_then(|id| self.ledger.register.component(id))
            .map_or("", |component| &component.usage);
        let (from, to) = (seat.put_in.entry.time, placed.entry.time);
        if from == to || readings.stood_still(machine, usage, from, to) {
            let doubt = Doubt::NoLength {
                slot: name.to_owned(),
                put_in: self.witness(&seat.put_in),
            };
            self.doubt(placed, &doubt);
        }
    }

    fn put_in(
        &mut self,
        placed: &Placed<'a>,
        slot: &'a SlotName,
        item: &'a Item,
        name: &str,
        in_place: bool,
        serials: &mut HashMap<(&'a str, &'a str), Option<Placed<'a>>>,
    ) {
        let register = &self.ledger.register;
        let never_refit = register
            .component(&slot.component)
            .is_some_and(|component| component.never_refit);
        let mut before = None;
        if let Some(serial) = &item.serial {
            let known = serials.insert((&slot.component, serial), Some(*placed));
            if let Some(Some(other)) = known {
                let doubt = Doubt::SerialTwice {
                    serial: serial.clone(),
                    other: self.witness(&other),
                };
                self.doubt(placed, &doubt);
            }
            before = known.map(|other| other.map(|other| self.witness(&other)));
        }
        let used = !in_place && item.age.usage().is_some_and(|age| age > 0.0);
        if never_refit && (used || before.is_some()) {
            let doubt = Doubt::Refitted {
                slot: name.to_owned(),
                component: slot.component.clone(),
                before: before.flatten(),
            };
            self.doubt(placed, &doubt);
        }
        let expected = register.pieces(&slot.component);
        if let Some(pieces) = item.pieces
            && pieces != expected
        {
            let slot = name.to_owned();
            let doubt = Doubt::Pieces {
                slot,
                pieces,
                expected,
            };
            self.doubt(placed, &doubt);
        }
    }

    fn unknown_ages(&mut self, unknown: &[Placed<'a>]) {
        let Some(first) = unknown.first() else { return };
        let names: Vec<String> = unknown
            .iter()
            .filter_map(|placed| {
                let machine = placed.entry.machine.as_deref()?;
                Some(slot_name(machine, placed.entry.event.slot()?))
            })
            .collect();
        let shown = names.len().min(6);
        let mut slots = names[..shown].join(", ");
        if names.len() > shown {
            slots.push_str(&format!(" and {} more", names.len() - shown));
        }
        let count = names.len();
        self.doubt(first, &Doubt::UnknownAges { count, slots });
    }

    fn never_filled(&mut self, seats: &BTreeMap<(&str, &str, &str), Option<Seat<'a>>>) {
        let register = &self.ledger.register;
        let mut empty: Vec<(&str, &str, Vec<&str>)> = Vec::new();
        for machine in &register.machines {
            for slot in register.slots(&machine.tag) {
                if seats.contains_key(&(machine.tag.as_str(), slot.component, slot.position)) {
                    continue;
                }
                match empty.last_mut() {
                    Some((tag, component, positions))
                        if *tag == machine.tag && *component == slot.component =>
                    {
                        positions.push(slot.position);
                    }
                    _ => empty.push((&machine.tag, slot.component, vec![slot.position])),
                }
            }
        }
        for (machine, component, positions) in empty {
            self.doubt_register(&Doubt::NeverFilled {
                machine: machine.to_owned(),
                component: component.to_owned(),
                positions: positions.join(", "),
            });
        }
    }

    fn jobs(&mut self, entries: &[Placed<'a>]) {
        let mut stated: BTreeMap<&str, Placed<'a>> = BTreeMap::new();
        let mut done: BTreeMap<&str, Vec<Placed<'a>>> = BTreeMap::new();
        for placed in entries {
            let Some(job) = placed.entry.job.as_deref() else {
                continue;
            };
            if placed.entry.event.kind() == Kind::Job {
                stated.entry(job).or_insert(*placed);
            } else {
                done.entry(job).or_default().push(*placed);
            }
        }
        for (job, placed) in &stated {
            let of = done.get(job).map(Vec::as_slice).unwrap_or_default();
            if of.is_empty() {
                let job = (*job).to_owned();
                self.doubt(placed, &Doubt::JobWithoutEntries { job });
            }
            for other in of {
                if let (Some(a), Some(b)) = (&placed.entry.machine, &other.entry.machine)
                    && a != b
                {
                    let doubt = Doubt::JobOfAnother {
                        job: (*job).to_owned(),
                        stated: a.clone(),
                        machine: b.clone(),
                        first: self.witness(placed),
                    };
                    self.doubt(other, &doubt);
                }
            }
        }
        for (job, of) in &done {
            if let (false, Some(first)) = (stated.contains_key(job), of.first()) {
                let doubt = Doubt::JobNotStated {
                    job: (*job).to_owned(),
                    entries: of.len(),
                };
                self.doubt(first, &doubt);
            }
        }
        // A ledger that keeps no jobs is not asked for one at each renewal.
        if stated.is_empty() {
            return;
        }
        for placed in entries {
            if let (Event::Replaced { slot, .. }, None) = (&placed.entry.event, &placed.entry.job) {
                let machine = placed.entry.machine.as_deref().unwrap_or_default();
                let slot = slot_name(machine, slot);
                self.doubt(placed, &Doubt::NoJob { slot });
            }
        }
    }

    /// The same statement twice, whoever wrote it down and when.
    fn twins(&mut self, entries: &[Placed<'a>]) {
        let mut seen: HashMap<Sha, Placed<'a>> = HashMap::new();
        for placed in entries {
            let bare = Entry {
                logged: placed.entry.time,
                who: String::new(),
                note: None,
                ..placed.entry.clone()
            };
            let name = Sha::of(bare.line(Sha::ZERO).as_bytes());
            if let Some(first) = seen.get(&name) {
                let first = self.witness(first);
                self.doubt(placed, &Doubt::Twice { first });
            } else {
                seen.insert(name, *placed);
            }
        }
    }

    /// What one entry shows by itself.
    fn each(&mut self, entries: &[Placed<'a>]) {
        let zone = self.ledger.register.plant.time_zone;
        for placed in entries {
            let Some(tag) = placed.entry.machine.as_deref() else {
                continue;
            };
            if let Some(machine) = self.ledger.register.machine(tag)
                && placed.entry.time < start_of_day(machine.in_service, zone)
            {
                let doubt = Doubt::BeforeService {
                    machine: tag.to_owned(),
                    in_service: machine.in_service,
                };
                self.doubt(placed, &doubt);
            }
            if let (Some(end), Some(slot)) =
                (placed.entry.event.ending(), placed.entry.event.slot())
                && end.mode.is_none()
                && matches!(end.reason, Reason::Failed | Reason::Worn)
            {
                let slot = slot_name(tag, slot);
                let word = end.reason.word();
                self.doubt(placed, &Doubt::NoMode { slot, word });
            }
        }
    }
}

fn slot_name(machine: &str, slot: &SlotName) -> String {
    format!("{machine} {} {}", slot.component, slot.position)
}

/// Meter readings by machine and meter, in the order of time.
struct Readings<'a>(HashMap<(&'a str, &'a str), Vec<(DateTime<Utc>, f64, bool)>>);

impl<'a> Readings<'a> {
    fn of(entries: &[Placed<'a>]) -> Readings<'a> {
        let mut all: HashMap<(&str, &str), Vec<(DateTime<Utc>, f64, bool)>> = HashMap::new();
        for placed in entries {
            if let (
                Some(machine),
                Event::Reading {
                    meter,
                    value,
                    reset,
                },
            ) = (&placed.entry.machine, &placed.entry.event)
            {
                all.entry((machine, meter)).or_default().push((
                    placed.entry.time,
                    value.get(),
                    *reset,
                ));
            }
        }
        Readings(all)
    }

    /// Whether the meter showed the same at the last reading up to `from` and the
    /// first one after `to`, with no reset between.
    fn stood_still(
        &self,
        machine: &str,
        meter: &str,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> bool {
        let Some(all) = self.0.get(&(machine, meter)) else {
            return false;
        };
        let first = all.partition_point(|(time, _, _)| *time <= from);
        let last = all.partition_point(|(time, _, _)| *time < to);
        let (Some(before), Some(after)) = (first.checked_sub(1), all.get(last)) else {
            return false;
        };
        all[before].1 == after.1 && !all[first..=last].iter().any(|(_, _, reset)| *reset)
    }
}
