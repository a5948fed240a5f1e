//! Looking a whole ledger over: everything that is wrong with it, or doubtful.

use std::collections::{BTreeMap, HashMap};
use std::hash::{BuildHasherDefault, Hasher};
use std::path::Path;

use chrono::{DateTime, Utc};

use super::conflict::{Conflict, Witness};
use super::doubt::Doubt;
use super::entry::Reason;
use super::error::{BookError, conflict_trouble, place_of};
use super::fact::{Fact, What};
use super::names::Id;
use super::state::{State, moment};
use super::survey::Survey;
use crate::quantity::time::start_of_day;
use crate::quantity::trouble::{Severity, Trouble};
use crate::register::{Component, FILE_NAME};

/// How closely a ledger is looked over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Depth {
    /// Whether it can be relied on, and what recording would refuse or doubt.
    #[default]
    Plain,
    /// Entries held against their like besides: said twice, or far off.
    Deep,
}

impl Depth {
    /// Reads a ledger for looking it over so closely.
    pub fn survey(self, folder: &Path) -> Result<Survey, BookError> {
        match self {
            Depth::Plain => Survey::read(folder),
            Depth::Deep => Survey::with_statements(folder),
        }
    }
}

/// Everything wrong or doubtful about a ledger: what keeps it from being relied on
/// first, then the rest by file and line. `now` is the caller's clock.
pub fn look_over(survey: Survey, now: DateTime<Utc>, depth: Depth) -> Vec<Trouble> {
    let mut broken = survey.broken();
    let mut rest = survey.torn();
    // A faulty register would be blamed on every entry.
    if survey.register_faults.is_empty() {
        rest.extend(Look::of(survey).all(now, depth));
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

/// How often which misfit stands at which line (file, number) of a ledger.
pub(super) type Misfits = BTreeMap<(&'static str, String, usize), usize>;

/// What recording would have refused of the lines of a ledger.
pub(super) fn misfits(survey: Survey, now: DateTime<Utc>) -> Misfits {
    let mut look = Look::of(survey);
    let mut all = Misfits::new();
    for (turn, conflict) in look.misfits(now) {
        let fact = look.fact(turn);
        let file = look.survey.books[fact.book as usize].file.clone();
        let line = fact.line as usize;
        *all.entry((conflict.name(), file, line)).or_default() += 1;
    }
    all
}

pub(super) struct Look {
    /// Without its lines: those are in the state.
    pub survey: Survey,
    pub state: State,
    /// Turns of the entries that hold, in the order of happening.
    pub order: Vec<u32>,
    found: Vec<Trouble>,
}

impl Look {
    fn of(mut survey: Survey) -> Look {
        let (state, order) = State::waiting(&mut survey);
        Look {
            survey,
            state,
            order,
            found: Vec::new(),
        }
    }

    fn all(mut self, now: DateTime<Utc>, depth: Depth) -> Vec<Trouble> {
        self.openings();
        for (turn, conflict) in self.misfits(now) {
            self.conflict(turn, &conflict);
        }
        if self.order.is_empty() {
            let trouble = self.unplaced(&Doubt::NoEntries);
            self.found.push(trouble.in_file(FILE_NAME));
            return self.found;
        }
        self.meters();
        self.slots();
        self.jobs();
        self.each();
        if depth == Depth::Deep {
            self.twins();
            self.far_off();
        }
        self.found
    }

    pub(super) fn fact(&self, turn: u32) -> Fact {
        self.state.facts[turn as usize]
    }

    pub(super) fn text(&self, id: Id) -> String {
        self.state.names.text(id).to_owned()
    }

    pub(super) fn witness(&self, turn: u32) -> Witness {
        self.state.witness(turn)
    }

    /// The last moment that the entries tell of.
    pub(super) fn end(&self) -> Option<i64> {
        self.order.last().map(|turn| self.fact(*turn).time)
    }

    /// The register's component of each name that is one.
    pub(super) fn components(&self) -> HashMap<Id, Component> {
        let components = self.survey.register.components.iter();
        components
            .filter_map(|c| Some((self.state.names.known(&c.id)?, c.clone())))
            .collect()
    }

    pub(super) fn unplaced(&self, doubt: &Doubt) -> Trouble {
        let mut trouble =
            Trouble::error(doubt.name(), doubt.to_string()).with_severity(doubt.severity());
        trouble.evidence = doubt.evidence(self.survey.register.plant.time_zone);
        trouble.cure = doubt.cure();
        trouble
    }

    pub(super) fn doubt(&mut self, turn: u32, doubt: &Doubt) {
        let trouble = self.unplaced(doubt);
        self.place(turn, doubt.key(), trouble);
    }

    pub(super) fn doubt_register(&mut self, doubt: &Doubt) {
        let trouble = self.unplaced(doubt).in_file(FILE_NAME);
        self.found.push(trouble);
    }

    fn conflict(&mut self, turn: u32, conflict: &Conflict) {
        let zone = self.survey.register.plant.time_zone;
        let trouble = conflict_trouble(conflict, zone).with_severity(Severity::Warning);
        self.place(turn, conflict.key(), trouble);
    }

    fn place(&mut self, turn: u32, key: &str, trouble: Trouble) {
        let fact = self.fact(turn);
        let text = self.survey.text(&fact);
        let file = &self.survey.books[fact.book as usize].file;
        let place = place_of(file, fact.line as usize, &text, key);
        self.found.push(trouble.placed(place));
    }

    /// Each book begins with `opened`, and has no other; its lines were written in
    /// the order of the clock.
    fn openings(&mut self) {
        let mut above: Option<(u32, i64)> = None;
        for turn in 0..self.state.len() as u32 {
            let fact = self.fact(turn);
            if matches!(fact.what, What::Unreadable) {
                continue;
            }
            let opened = matches!(fact.what, What::Opened);
            if opened && fact.line != 1 {
                self.conflict(turn, &Conflict::OpenedAgain);
            }
            if !opened && fact.line == 1 {
                self.conflict(turn, &Conflict::NotOpened);
            }
            if let Some((book, above)) = above
                && book == fact.book
                && above > fact.logged
            {
                let doubt = Doubt::LoggedBackwards {
                    logged: moment(fact.logged),
                    above: moment(above),
                };
                self.doubt(turn, &doubt);
            }
            above = Some((fact.book, fact.logged));
        }
    }

    /// What recording would have refused, for books that were merged or made by other
    /// hands: withdrawals that withdraw nothing, entries that do not fit the register or
    /// the entries before them.
    fn misfits(&mut self, now: DateTime<Utc>) -> Vec<(u32, Conflict)> {
        let mut found = self.idle_withdrawals();
        let misfits = std::mem::take(&mut self.survey.misfits);
        for (turn, conflicts) in misfits {
            let turn = turn as u32;
            if !self.state.withdrawn_by.contains_key(&turn) {
                found.extend(conflicts.into_iter().map(|conflict| (turn, conflict)));
            }
        }
        for i in 0..self.order.len() {
            let turn = self.order[i];
            let fact = self.fact(turn);
            let register = &self.survey.register;
            let conflicts = self.state.against_others(register, &fact, turn, now);
            found.extend(conflicts.into_iter().map(|conflict| (turn, conflict)));
            self.state.put_in(turn);
        }
        found
    }

    fn idle_withdrawals(&self) -> Vec<(u32, Conflict)> {
        let at_work: std::collections::HashSet<u32> =
            self.state.withdrawn_by.values().copied().collect();
        let idle = (0u32..).zip(&self.state.facts);
        let idle = idle.filter_map(|(turn, fact)| match fact.what {
            What::Withdrawn { digits } if !at_work.contains(&turn) => {
                let conflict = self.state.withdrawal_conflict(&self.text(digits))?;
                Some((turn, conflict))
            }
            _ => None,
        });
        idle.collect()
    }

    fn jobs(&mut self) {
        /// What is known of one job.
        #[derive(Clone, Copy, Default)]
        struct Known {
            stated: Option<u32>,
            first: Option<u32>,
            entries: usize,
        }
        let mut jobs = vec![Known::default(); self.state.names.len()];
        let mut any_stated = false;
        for turn in &self.order {
            let fact = self.fact(*turn);
            let Some(place) = fact.job.place() else {
                continue;
            };
            let job = &mut jobs[place];
            if matches!(fact.what, What::Job) {
                any_stated = true;
                job.stated.get_or_insert(*turn);
            } else {
                job.first.get_or_insert(*turn);
                job.entries += 1;
            }
        }
        for i in 0..self.order.len() {
            let turn = self.order[i];
            let fact = self.fact(turn);
            let Some(place) = fact.job.place() else {
                // A ledger that keeps no jobs is not asked for one at each renewal.
                if let (true, What::Replaced { slot, .. }) = (any_stated, fact.what) {
                    let slot = self.state.names.slot_name(slot);
                    self.doubt(turn, &Doubt::NoJob { slot });
                }
                continue;
            };
            let job = jobs[place];
            match job.stated {
                Some(stated) if stated == turn && job.entries == 0 => {
                    let job = self.text(fact.job);
                    self.doubt(turn, &Doubt::JobWithoutEntries { job });
                }
                Some(stated) if !matches!(fact.what, What::Job) => {
                    let machine = self.fact(stated).machine;
                    if machine.is_some() && fact.machine.is_some() && machine != fact.machine {
                        let doubt = Doubt::JobOfAnother {
                            job: self.text(fact.job),
                            stated: self.text(machine),
                            machine: self.text(fact.machine),
                            first: self.witness(stated),
                        };
                        self.doubt(turn, &doubt);
                    }
                }
                None if job.first == Some(turn) => {
                    let doubt = Doubt::JobNotStated {
                        job: self.text(fact.job),
                        entries: job.entries,
                    };
                    self.doubt(turn, &doubt);
                }
                _ => {}
            }
        }
    }

    /// The same statement twice, whoever wrote it down and when.
    fn twins(&mut self) {
        let statements = std::mem::take(&mut self.survey.statements);
        let mut seen: HashMap<u64, u32, BuildHasherDefault<AsItIs>> =
            HashMap::with_capacity_and_hasher(self.order.len(), Default::default());
        let mut found = Vec::new();
        for turn in &self.order {
            let name = statements[*turn as usize];
            let first = *seen.entry(name.head()).or_insert(*turn);
            if first != *turn && statements[first as usize] == name {
                found.push((*turn, first));
            }
        }
        for (turn, first) in found {
            let first = self.witness(first);
            self.doubt(turn, &Doubt::Twice { first });
        }
    }

    /// What one entry shows by itself.
    fn each(&mut self) {
        let zone = self.survey.register.plant.time_zone;
        let in_service: HashMap<Id, (i64, chrono::NaiveDate)> = self
            .survey
            .register
            .machines
            .iter()
            .filter_map(|machine| {
                let id = self.state.names.known(&machine.tag)?;
                let start = start_of_day(machine.in_service, zone).timestamp();
                Some((id, (start, machine.in_service)))
            })
            .collect();
        for i in 0..self.order.len() {
            let turn = self.order[i];
            let fact = self.fact(turn);
            if let Some((start, in_service)) = in_service.get(&fact.machine)
                && fact.time < *start
            {
                let doubt = Doubt::BeforeService {
                    machine: self.text(fact.machine),
                    in_service: *in_service,
                };
                self.doubt(turn, &doubt);
            }
            if let (Some(end), Some(slot)) = (fact.end(), fact.slot())
                && !end.with_mode
                && matches!(end.reason, Reason::Failed | Reason::Worn)
            {
                let slot = self.state.names.slot_name(slot);
                let word = end.reason.word();
                self.doubt(turn, &Doubt::NoMode { slot, word });
            }
        }
    }
}

/// For keys that are digits of a hash already.
#[derive(Default)]
struct AsItIs(u64);

impl Hasher for AsItIs {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = self.0 << 8 | u64::from(*byte);
        }
    }

    fn write_u64(&mut self, number: u64) {
        // The table takes its places from the low bits and its marks from the high ones.
        self.0 = number << 16 | number >> 32;
    }
}
