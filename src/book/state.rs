//! What the entries so far amount to: meters, slots, jobs, names; and whether one
//! more entry can stand among them.
//!
//! Entries stand in the order of `time`, then `logged`, then as they were recorded.
//! A late entry is held against its neighbours on both sides. One entry costs a
//! binary search, however long the record.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Utc};
use rayon::prelude::*;

use super::conflict::{Conflict, Witness};
use super::entry::Entry;
use super::fact::{Fact, What};
use super::names::{Id, Names};
use super::rules;
use super::sha::Sha;
use super::survey::Survey;
use crate::quantity::Number;
use crate::register::Register;

/// How far ahead of the clock an entry may lie.
pub const AHEAD: TimeDelta = TimeDelta::days(1);

/// Order of entries: when, when written, in which turn.
pub(super) type Rank = (i64, i64, u32);

/// What happened to a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Act {
    In,
    Swap,
    Out,
    Look,
}

#[derive(Debug, Default)]
struct SlotLine {
    moves: Vec<(Rank, Act)>,
    looks: Vec<Rank>,
}

/// Where a line stands, to be named by it later.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stand {
    pub sha: Sha,
    pub file: usize,
    pub line: usize,
}

/// Readings of one meter in the order of time: when, what it showed, whether it was reset.
pub(super) type Readings = Vec<(Rank, Number, bool)>;

#[derive(Debug, Default)]
pub(super) struct State {
    /// By turn.
    pub(super) facts: Vec<Fact>,
    shas: Vec<Sha>,
    pub(super) names: Names,
    files: Vec<String>,
    pub(super) meters: Vec<Readings>,
    slots: Vec<SlotLine>,
    jobs: HashMap<Id, u32>,
    /// Which turn withdraws which.
    pub(super) withdrawn_by: HashMap<u32, u32>,
}

/// The moment of a fact, which is one that chrono knows: it was read from an entry.
pub(super) fn moment(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(seconds, 0).unwrap_or_default()
}

impl State {
    /// Everything a survey knows, with every entry taken in whatever stands against it.
    pub(super) fn of(survey: &mut Survey) -> State {
        let (mut state, order) = State::waiting(survey);
        for turn in order {
            state.put_in(turn);
        }
        state
    }

    /// Takes every line out of a survey and knows it; none is taken in yet. With the turns
    /// of the entries that hold, in the order of happening: without withdrawn ones,
    /// withdrawals and `opened` lines.
    pub(super) fn waiting(survey: &mut Survey) -> (State, Vec<u32>) {
        let gone = survey.withdrawn_by();
        let mut state = State {
            files: survey.books.iter().map(|book| book.file.clone()).collect(),
            names: std::mem::take(&mut survey.names),
            facts: std::mem::take(&mut survey.facts),
            shas: std::mem::take(&mut survey.shas),
            withdrawn_by: gone
                .into_iter()
                .map(|(turn, by)| (turn as u32, by as u32))
                .collect(),
            ..State::default()
        };
        state.make_room();
        let mut order: Vec<Rank> = (0u32..)
            .zip(&state.facts)
            .filter(|(turn, fact)| fact.tells() && !state.withdrawn_by.contains_key(turn))
            .map(|(turn, fact)| (fact.time, fact.logged, turn))
            .collect();
        order.par_sort_unstable();
        let order = order.into_iter().map(|(_, _, turn)| turn).collect();
        (state, order)
    }

    /// Makes a book known; its index goes into [`Stand`].
    pub(super) fn file(&mut self, file: &str) -> usize {
        if let Some(found) = self.files.iter().position(|known| known == file) {
            return found;
        }
        self.files.push(file.to_owned());
        self.files.len() - 1
    }

    /// How many lines are known.
    pub(super) fn len(&self) -> usize {
        self.facts.len()
    }

    fn make_room(&mut self) {
        let (slots, meters) = (self.names.slots.len(), self.names.meters.len());
        self.slots.resize_with(slots, SlotLine::default);
        self.meters.resize_with(meters, Vec::new);
    }

    pub(super) fn witness(&self, turn: u32) -> Witness {
        let fact = &self.facts[turn as usize];
        Witness {
            given: None,
            file: self.files[fact.book as usize].clone(),
            line: fact.line as usize,
            sha: self.shas[turn as usize],
            time: moment(fact.time),
        }
    }

    /// Finds the one line whose name begins with these digits.
    pub(super) fn find(&self, digits: &str) -> Result<Sha, Box<Conflict>> {
        self.find_turn(digits).map(|turn| self.shas[turn as usize])
    }

    /// The one line whose name begins with these digits.
    pub(super) fn named(&self, digits: &str) -> Result<Witness, Box<Conflict>> {
        self.find_turn(digits).map(|turn| self.witness(turn))
    }

    fn find_turn(&self, digits: &str) -> Result<u32, Box<Conflict>> {
        let head = digits.get(..12).and_then(Sha::head_of);
        let found: Vec<u32> = (0u32..)
            .zip(&self.shas)
            .filter(|(_, sha)| head.is_none_or(|head| sha.head() == head))
            .filter(|(_, sha)| sha.begins_with(digits))
            .map(|(turn, _)| turn)
            .take(5)
            .collect();
        match found[..] {
            [] => Err(Box::new(Conflict::NoSuchEntry {
                sha: digits.to_owned(),
            })),
            [turn] => Ok(turn),
            _ => Err(Box::new(Conflict::SeveralEntries {
                sha: digits.to_owned(),
                witnesses: found.iter().map(|turn| self.witness(*turn)).collect(),
            })),
        }
    }

    /// Everything that stands against one more entry.
    pub(super) fn conflicts(
        &mut self,
        register: &Register,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Vec<Conflict> {
        let mut found = rules::against_register(register, entry);
        let fact = Fact::of(entry, &mut self.names);
        self.make_room();
        found.extend(self.against_others(register, &fact, self.next_turn(), now));
        found
    }

    /// What stands against a fact, whose turn this would be, beside the register.
    pub(super) fn against_others(
        &self,
        register: &Register,
        fact: &Fact,
        turn: u32,
        now: DateTime<Utc>,
    ) -> Vec<Conflict> {
        let mut found = Vec::new();
        let time = moment(fact.time);
        if fact.time > (now + AHEAD).timestamp() {
            found.push(Conflict::Future { time, now });
        } else if fact.time > fact.logged + AHEAD.num_seconds() {
            let logged = moment(fact.logged);
            found.push(Conflict::LoggedBeforeTime { time, logged });
        }
        let rank = (fact.time, fact.logged, turn);
        match fact.what {
            What::Reading {
                meter,
                value,
                reset,
            } => found.extend(self.meter_conflict(register, meter, value, reset, rank)),
            What::Job => {
                if let Some(turn) = self.jobs.get(&fact.job) {
                    found.push(Conflict::JobTwice {
                        job: self.names.text(fact.job).to_owned(),
                        witness: self.witness(*turn),
                    });
                }
            }
            What::Withdrawn { digits } => {
                found.extend(self.withdrawal_conflict(self.names.text(digits)));
            }
            what => {
                if let (Some(act), Some(slot)) = (act(&what), fact.slot()) {
                    found.extend(self.slot_conflict(slot, act, rank));
                }
            }
        }
        found
    }

    fn next_turn(&self) -> u32 {
        // Four thousand million lines would fill the memory long before.
        u32::try_from(self.facts.len()).unwrap_or(u32::MAX)
    }

    fn meter_conflict(
        &self,
        register: &Register,
        meter: u32,
        value: Number,
        reset: bool,
        rank: Rank,
    ) -> Option<Conflict> {
        let readings = &self.meters[meter as usize];
        let place = readings.partition_point(|(other, _, _)| *other < rank);
        let before = place.checked_sub(1).map(|i| readings[i]);
        let after = readings.get(place).copied();
        let against = before
            .filter(|(_, other, _)| !reset && other.get() > value.get())
            .or_else(|| after.filter(|(_, other, reset)| !reset && other.get() < value.get()))?;
        let (machine, meter) = self.names.meters[meter as usize];
        let meter = self.names.text(meter);
        let unit = register.usage(meter).map_or("", |usage| &usage.unit);
        Some(Conflict::MeterBackwards {
            machine: self.names.text(machine).to_owned(),
            meter: meter.to_owned(),
            value: format!("{value} {unit}").trim_end().to_owned(),
            time: moment(rank.0),
            other: format!("{} {unit}", against.1).trim_end().to_owned(),
            witness: self.witness(against.0.2),
        })
    }

    fn slot_conflict(&self, slot: u32, act: Act, rank: Rank) -> Option<Conflict> {
        let line = &self.slots[slot as usize];
        let place = line.moves.partition_point(|(other, _)| *other < rank);
        let before = place.checked_sub(1).map(|i| line.moves[i]);
        let after = line.moves.get(place);
        let filled_by = before.filter(|(_, act)| *act != Act::Out);
        let names = || {
            let (machine, component, position) = self.names.slots[slot as usize];
            let text = |id| self.names.text(id).to_owned();
            (text(machine), text(component), text(position))
        };
        if act == Act::In {
            if let Some((other, _)) = filled_by {
                let (machine, component, position) = names();
                let witness = self.witness(other.2);
                return Some(Conflict::SlotFilled {
                    machine,
                    component,
                    position,
                    witness,
                });
            }
            let (other, _) = after.filter(|(_, act)| *act == Act::In)?;
            let (machine, component, position) = names();
            let witness = self.witness(other.2);
            return Some(Conflict::FilledLater {
                machine,
                component,
                position,
                witness,
            });
        }
        if filled_by.is_none() {
            let put_in = |(_, act): &&(Rank, Act)| matches!(act, Act::In | Act::Swap);
            let (machine, component, position) = names();
            return Some(Conflict::SlotEmpty {
                machine,
                component,
                position,
                time: moment(rank.0),
                witness: before.map(|(other, _)| self.witness(other.2)),
                later: line.moves[place..]
                    .iter()
                    .find(put_in)
                    .map(|(other, _)| self.witness(other.2)),
            });
        }
        if act != Act::Out {
            return None;
        }
        let look = line.looks.partition_point(|other| *other < rank);
        let look = line
            .looks
            .get(look)
            .filter(|look| after.is_none_or(|(other, _)| *look < other));
        let other = match (look, after) {
            (Some(look), _) => look,
            (None, Some((other, Act::Swap | Act::Out))) => other,
            _ => return None,
        };
        let (machine, component, position) = names();
        let witness = self.witness(other.2);
        Some(Conflict::EmptiesLater {
            machine,
            component,
            position,
            witness,
        })
    }

    pub(super) fn withdrawal_conflict(&self, digits: &str) -> Option<Conflict> {
        let turn = match self.find_turn(digits) {
            Ok(turn) => turn,
            Err(conflict) => return Some(*conflict),
        };
        let fact = &self.facts[turn as usize];
        let witness = self.witness(turn);
        if !fact.may_be_withdrawn() {
            // What may not be withdrawn has a kind.
            let kind = fact.kind().map_or("", |kind| kind.word());
            return Some(Conflict::NotWithdrawable { kind, witness });
        }
        let by = self.witness(*self.withdrawn_by.get(&turn)?);
        Some(Conflict::WithdrawnTwice { witness, by })
    }

    /// Takes an entry in, whatever stands against it.
    pub(super) fn insert(&mut self, stand: Stand, entry: &Entry) {
        let fact = Fact::of(entry, &mut self.names);
        self.make_room();
        let turn = self.push(stand, fact);
        let What::Withdrawn { digits } = fact.what else {
            self.put_in(turn);
            return;
        };
        let target = self.find_turn(self.names.text(digits)).ok();
        let target = target.filter(|target| {
            self.facts[*target as usize].may_be_withdrawn()
                && !self.withdrawn_by.contains_key(target)
        });
        if let Some(target) = target {
            self.take_out(target);
            self.withdrawn_by.insert(target, turn);
        }
    }

    /// Takes in the name of a line that cannot be read, so that it can be withdrawn.
    pub(super) fn insert_unreadable(&mut self, stand: Stand) {
        self.push(stand, Fact::unreadable());
    }

    fn push(&mut self, stand: Stand, mut fact: Fact) -> u32 {
        let turn = self.next_turn();
        fact.book = u32::try_from(stand.file).unwrap_or(u32::MAX);
        fact.line = u32::try_from(stand.line).unwrap_or(u32::MAX);
        self.facts.push(fact);
        self.shas.push(stand.sha);
        turn
    }

    fn rank(&self, turn: u32) -> Rank {
        let fact = &self.facts[turn as usize];
        (fact.time, fact.logged, turn)
    }

    pub(super) fn put_in(&mut self, turn: u32) {
        let rank = self.rank(turn);
        let fact = self.facts[turn as usize];
        match fact.what {
            What::Reading {
                meter,
                value,
                reset,
            } => {
                let line = &mut self.meters[meter as usize];
                let place = line.partition_point(|(other, _, _)| *other < rank);
                line.insert(place, (rank, value, reset));
            }
            What::Job => {
                self.jobs.entry(fact.job).or_insert(turn);
            }
            what => match (act(&what), fact.slot()) {
                (Some(Act::Look), Some(slot)) => {
                    let line = &mut self.slots[slot as usize].looks;
                    let place = line.partition_point(|other| *other < rank);
                    line.insert(place, rank);
                }
                (Some(act), Some(slot)) => {
                    let line = &mut self.slots[slot as usize].moves;
                    let place = line.partition_point(|(other, _)| *other < rank);
                    line.insert(place, (rank, act));
                }
                _ => {}
            },
        }
    }

    fn take_out(&mut self, turn: u32) {
        let rank = self.rank(turn);
        let fact = self.facts[turn as usize];
        match fact.what {
            What::Reading { meter, .. } => {
                let line = &mut self.meters[meter as usize];
                if let Ok(place) = line.binary_search_by(|(other, _, _)| other.cmp(&rank)) {
                    line.remove(place);
                }
            }
            What::Job => {
                if self.jobs.get(&fact.job) == Some(&turn) {
                    self.jobs.remove(&fact.job);
                }
            }
            what => match (act(&what), fact.slot()) {
                (Some(Act::Look), Some(slot)) => {
                    let line = &mut self.slots[slot as usize].looks;
                    if let Ok(place) = line.binary_search(&rank) {
                        line.remove(place);
                    }
                }
                (Some(_), Some(slot)) => {
                    let line = &mut self.slots[slot as usize].moves;
                    if let Ok(place) = line.binary_search_by(|(other, _)| other.cmp(&rank)) {
                        line.remove(place);
                    }
                }
                _ => {}
            },
        }
    }

    /// Forgets the entry taken in last, as if it had never been.
    pub(super) fn undo(&mut self) {
        let Some(turn) = self.facts.len().checked_sub(1) else {
            return;
        };
        // `push` gave it this turn.
        let turn = turn as u32;
        if let What::Withdrawn { digits } = self.facts[turn as usize].what {
            let target = self.find_turn(self.names.text(digits)).ok();
            if let Some(target) = target
                && self.withdrawn_by.get(&target) == Some(&turn)
            {
                self.withdrawn_by.remove(&target);
                self.put_in(target);
            }
        } else {
            self.take_out(turn);
        }
        self.facts.pop();
        self.shas.pop();
    }
}

fn act(what: &What) -> Option<Act> {
    match what {
        What::Installed { .. } => Some(Act::In),
        What::Replaced { .. } => Some(Act::Swap),
        What::Removed { .. } => Some(Act::Out),
        What::Inspected { .. } | What::Measured { .. } => Some(Act::Look),
        _ => None,
    }
}
