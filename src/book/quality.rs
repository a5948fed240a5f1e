//! Looking a whole ledger over: everything that is wrong with it, or doubtful.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};

use super::conflict::{Conflict, Witness};
use super::doubt::Doubt;
use super::entry::{Event, Kind, Reason, SlotName};
use super::error::{conflict_trouble, place_of};
use super::ledger::{Ledger, Placed};
use super::sha::Sha;
use super::state::{Stand, State};
use super::statement::statement;
use crate::quantity::time::start_of_day;
use crate::quantity::trouble::{Severity, Trouble};
use crate::register::FILE_NAME;

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

/// What does not fit the register or other entries, by file and line: what recording would
/// have refused.
pub(super) fn misfits(ledger: &Ledger, now: DateTime<Utc>) -> Vec<Trouble> {
    let mut look = Look {
        ledger,
        found: Vec::new(),
    };
    look.withdrawals();
    look.conflicts(&ledger.entries(), now);
    look.found
}

pub(super) struct Look<'a> {
    pub ledger: &'a Ledger,
    found: Vec<Trouble>,
}

impl<'a> Look<'a> {
    pub(super) fn all(mut self, now: DateTime<Utc>) -> Vec<Trouble> {
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

    pub(super) fn file(&self, placed: &Placed<'_>) -> &'a str {
        &self.ledger.books[placed.book].file
    }

    pub(super) fn witness(&self, placed: &Placed<'_>) -> Witness {
        Witness {
            given: None,
            file: self.file(placed).to_owned(),
            line: placed.line,
            sha: placed.sha,
            time: placed.entry.time,
        }
    }

    pub(super) fn unplaced(&self, doubt: &Doubt) -> Trouble {
        let mut trouble =
            Trouble::error(doubt.name(), doubt.to_string()).with_severity(doubt.severity());
        trouble.evidence = doubt.evidence(self.ledger.register.plant.time_zone);
        trouble.cure = doubt.cure();
        trouble
    }

    pub(super) fn doubt(&mut self, placed: &Placed<'_>, doubt: &Doubt) {
        let text = self.ledger.books[placed.book].text(placed.line);
        let place = place_of(self.file(placed), placed.line, text, doubt.key());
        let trouble = self.unplaced(doubt).placed(place);
        self.found.push(trouble);
    }

    pub(super) fn doubt_register(&mut self, doubt: &Doubt) {
        let trouble = self.unplaced(doubt).in_file(FILE_NAME);
        self.found.push(trouble);
    }

    pub(super) fn conflict(&mut self, placed: &Placed<'_>, conflict: &Conflict) {
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
    pub(super) fn openings(&mut self) {
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

    pub(super) fn withdrawals(&mut self) {
        let ledger = self.ledger;
        let any = ledger
            .lines()
            .any(|placed| placed.entry.event.kind() == Kind::Withdrawn);
        if !any {
            return;
        }
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
    pub(super) fn conflicts(&mut self, entries: &[Placed<'a>], now: DateTime<Utc>) {
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

    pub(super) fn jobs(&mut self, entries: &[Placed<'a>]) {
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
    pub(super) fn twins(&mut self, entries: &[Placed<'a>]) {
        let mut seen: HashMap<Sha, Placed<'a>> = HashMap::new();
        for placed in entries {
            let name = statement(placed.entry);
            if let Some(first) = seen.get(&name) {
                let first = self.witness(first);
                self.doubt(placed, &Doubt::Twice { first });
            } else {
                seen.insert(name, *placed);
            }
        }
    }

    /// What one entry shows by itself.
    pub(super) fn each(&mut self, entries: &[Placed<'a>]) {
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

pub(super) fn slot_name(machine: &str, slot: &SlotName) -> String {
    format!("{machine} {} {}", slot.component, slot.position)
}
