//! What the entries so far amount to: meters, slots, jobs, names; and whether one
//! more entry can stand among them.
//!
//! Entries stand in the order of `time`, then `logged`, then as they were recorded.
//! A late entry is held against its neighbours on both sides. One entry costs a
//! binary search, however long the record.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, TimeDelta, Utc};

use super::conflict::{Conflict, Witness};
use super::entry::{Entry, Event, Kind};
use super::rules;
use super::sha::Sha;
use crate::quantity::Number;
use crate::register::Register;

/// How far ahead of the clock an entry may lie.
pub const AHEAD: TimeDelta = TimeDelta::days(1);

/// Order of entries: when, when written, in which turn.
type Rank = (DateTime<Utc>, DateTime<Utc>, u32);

/// What happened to a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Act {
    In,
    Swap,
    Out,
    Look,
}

#[derive(Debug, Clone)]
enum Spot {
    None,
    Meter {
        id: usize,
        value: Number,
        reset: bool,
    },
    Slot {
        id: usize,
        act: Act,
    },
    Job {
        id: String,
    },
    Withdrawal {
        of: Option<u32>,
    },
}

#[derive(Debug)]
struct Known {
    sha: Sha,
    file: usize,
    line: usize,
    time: DateTime<Utc>,
    logged: DateTime<Utc>,
    kind: Option<Kind>,
    spot: Spot,
    withdrawn_by: Option<u32>,
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

#[derive(Debug, Default)]
pub(super) struct State {
    known: Vec<Known>,
    names: BTreeMap<Sha, u32>,
    files: Vec<String>,
    meters: Vec<Vec<(Rank, Number, bool)>>,
    slots: Vec<SlotLine>,
    meter_ids: HashMap<String, HashMap<String, usize>>,
    slot_ids: HashMap<String, HashMap<String, HashMap<String, usize>>>,
    jobs: HashMap<String, u32>,
}

impl State {
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
        self.known.len()
    }

    fn witness(&self, turn: u32) -> Witness {
        let known = &self.known[turn as usize];
        Witness {
            given: None,
            file: self.files[known.file].clone(),
            line: known.line,
            sha: known.sha,
            time: known.time,
        }
    }

    /// Finds the one line whose name begins with these digits.
    pub(super) fn find(&self, digits: &str) -> Result<Sha, Box<Conflict>> {
        self.find_turn(digits)
            .map(|turn| self.known[turn as usize].sha)
    }

    fn find_turn(&self, digits: &str) -> Result<u32, Box<Conflict>> {
        let none = || {
            Box::new(Conflict::NoSuchEntry {
                sha: digits.to_owned(),
            })
        };
        let mut low = digits.to_owned();
        while low.len() < 64 {
            low.push('0');
        }
        let low = Sha::parse(low.as_bytes()).ok_or_else(none)?;
        let found: Vec<u32> = self
            .names
            .range(low..)
            .take_while(|(sha, _)| sha.begins_with(digits))
            .map(|(_, turn)| *turn)
            .take(5)
            .collect();
        match found[..] {
            [] => Err(none()),
            [turn] => Ok(turn),
            _ => Err(Box::new(Conflict::SeveralEntries {
                sha: digits.to_owned(),
                witnesses: found.iter().map(|turn| self.witness(*turn)).collect(),
            })),
        }
    }

    /// Everything that stands against one more entry.
    pub(super) fn conflicts(
        &self,
        register: &Register,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Vec<Conflict> {
        let mut found = rules::against_register(register, entry);
        let time = entry.time;
        if time > now + AHEAD {
            found.push(Conflict::Future { time, now });
        } else if time > entry.logged + AHEAD {
            let logged = entry.logged;
            found.push(Conflict::LoggedBeforeTime { time, logged });
        }
        let rank = (time, entry.logged, self.next_turn());
        match &entry.event {
            Event::Reading {
                meter,
                value,
                reset,
            } => found.extend(self.meter_conflict(register, entry, meter, *value, *reset, rank)),
            Event::Job { .. } => {
                if let Some(job) = &entry.job
                    && let Some(turn) = self.jobs.get(job)
                {
                    found.push(Conflict::JobTwice {
                        job: job.clone(),
                        witness: self.witness(*turn),
                    });
                }
            }
            Event::Withdrawn { entry_sha, .. } => found.extend(self.withdrawal_conflict(entry_sha)),
            event => {
                if let Some(act) = act(event) {
                    found.extend(self.slot_conflict(entry, act, rank));
                }
            }
        }
        found
    }

    fn next_turn(&self) -> u32 {
        // Four thousand million lines would fill the memory long before.
        u32::try_from(self.known.len()).unwrap_or(u32::MAX)
    }

    fn meter_conflict(
        &self,
        register: &Register,
        entry: &Entry,
        meter: &str,
        value: Number,
        reset: bool,
        rank: Rank,
    ) -> Option<Conflict> {
        let machine = entry.machine.as_deref()?;
        let id = *self.meter_ids.get(machine)?.get(meter)?;
        let readings = &self.meters[id];
        let place = readings.partition_point(|(other, _, _)| *other < rank);
        let before = place.checked_sub(1).map(|i| readings[i]);
        let after = readings.get(place).copied();
        let against = before
            .filter(|(_, other, _)| !reset && other.get() > value.get())
            .or_else(|| after.filter(|(_, other, reset)| !reset && other.get() < value.get()))?;
        let unit = register.usage(meter).map_or("", |usage| &usage.unit);
        Some(Conflict::MeterBackwards {
            machine: machine.to_owned(),
            meter: meter.to_owned(),
            value: format!("{value} {unit}").trim_end().to_owned(),
            time: entry.time,
            other: format!("{} {unit}", against.1).trim_end().to_owned(),
            witness: self.witness(against.0.2),
        })
    }

    fn slot_conflict(&self, entry: &Entry, act: Act, rank: Rank) -> Option<Conflict> {
        let slot = entry.event.slot()?;
        let machine = entry.machine.clone()?;
        let component = slot.component.clone();
        let position = slot.position.clone();
        let none = SlotLine::default();
        let line = self.slot_id(&machine, &component, &position);
        let line = line.map_or(&none, |id| &self.slots[id]);
        let place = line.moves.partition_point(|(other, _)| *other < rank);
        let before = place.checked_sub(1).map(|i| line.moves[i]);
        let after = line.moves.get(place);
        let filled_by = before.filter(|(_, act)| *act != Act::Out);
        if act == Act::In {
            if let Some((other, _)) = filled_by {
                let witness = self.witness(other.2);
                return Some(Conflict::SlotFilled {
                    machine,
                    component,
                    position,
                    witness,
                });
            }
            let (other, _) = after.filter(|(_, act)| *act == Act::In)?;
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
            return Some(Conflict::SlotEmpty {
                machine,
                component,
                position,
                time: entry.time,
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
        let known = &self.known[turn as usize];
        let witness = self.witness(turn);
        if let Some(kind @ (Kind::Opened | Kind::Withdrawn)) = known.kind {
            let kind = kind.word();
            return Some(Conflict::NotWithdrawable { kind, witness });
        }
        let by = self.witness(known.withdrawn_by?);
        Some(Conflict::WithdrawnTwice { witness, by })
    }

    fn slot_id(&self, machine: &str, component: &str, position: &str) -> Option<usize> {
        self.slot_ids
            .get(machine)?
            .get(component)?
            .get(position)
            .copied()
    }

    /// Takes an entry in, whatever stands against it; returns its turn.
    pub(super) fn insert(&mut self, stand: Stand, entry: &Entry) -> u32 {
        let spot = self.spot(entry);
        let turn = self.push(
            stand,
            entry.time,
            entry.logged,
            Some(entry.event.kind()),
            spot,
        );
        if let Spot::Withdrawal { of: Some(target) } = self.known[turn as usize].spot {
            self.take_out(target);
            self.known[target as usize].withdrawn_by = Some(turn);
        } else {
            self.put_in(turn);
        }
        turn
    }

    /// Takes in the name of a line that cannot be read, so that it can be withdrawn.
    pub(super) fn insert_unreadable(&mut self, stand: Stand) {
        let never = DateTime::<Utc>::MIN_UTC;
        self.push(stand, never, never, None, Spot::None);
    }

    fn push(
        &mut self,
        stand: Stand,
        time: DateTime<Utc>,
        logged: DateTime<Utc>,
        kind: Option<Kind>,
        spot: Spot,
    ) -> u32 {
        let turn = self.next_turn();
        self.names.entry(stand.sha).or_insert(turn);
        self.known.push(Known {
            sha: stand.sha,
            file: stand.file,
            line: stand.line,
            time,
            logged,
            kind,
            spot,
            withdrawn_by: None,
        });
        turn
    }

    fn spot(&mut self, entry: &Entry) -> Spot {
        let machine = entry.machine.as_deref().unwrap_or_default();
        match &entry.event {
            Event::Reading {
                meter,
                value,
                reset,
            } => {
                let id = self
                    .meter_ids
                    .get(machine)
                    .and_then(|ids| ids.get(meter).copied())
                    .unwrap_or_else(|| {
                        let ids = self.meter_ids.entry(machine.to_owned()).or_default();
                        ids.insert(meter.clone(), self.meters.len());
                        self.meters.push(Vec::new());
                        self.meters.len() - 1
                    });
                Spot::Meter {
                    id,
                    value: *value,
                    reset: *reset,
                }
            }
            Event::Job { .. } => match &entry.job {
                Some(id) if !self.jobs.contains_key(id) => Spot::Job { id: id.clone() },
                _ => Spot::None,
            },
            Event::Withdrawn { entry_sha, .. } => {
                let target = self.find_turn(entry_sha).ok();
                Spot::Withdrawal {
                    of: target.filter(|turn| {
                        let known = &self.known[*turn as usize];
                        known.withdrawn_by.is_none()
                            && !matches!(known.kind, Some(Kind::Opened | Kind::Withdrawn))
                    }),
                }
            }
            event => match (act(event), event.slot()) {
                (Some(act), Some(slot)) => {
                    let id = self
                        .slot_id(machine, &slot.component, &slot.position)
                        .unwrap_or_else(|| {
                            let of_machine = self.slot_ids.entry(machine.to_owned()).or_default();
                            let ids = of_machine.entry(slot.component.clone()).or_default();
                            ids.insert(slot.position.clone(), self.slots.len());
                            self.slots.push(SlotLine::default());
                            self.slots.len() - 1
                        });
                    Spot::Slot { id, act }
                }
                _ => Spot::None,
            },
        }
    }

    fn rank(&self, turn: u32) -> Rank {
        let known = &self.known[turn as usize];
        (known.time, known.logged, turn)
    }

    fn put_in(&mut self, turn: u32) {
        let rank = self.rank(turn);
        match &self.known[turn as usize].spot {
            Spot::Meter { id, value, reset } => {
                let line = &mut self.meters[*id];
                let place = line.partition_point(|(other, _, _)| *other < rank);
                line.insert(place, (rank, *value, *reset));
            }
            Spot::Slot { id, act: Act::Look } => {
                let line = &mut self.slots[*id].looks;
                let place = line.partition_point(|other| *other < rank);
                line.insert(place, rank);
            }
            Spot::Slot { id, act } => {
                let line = &mut self.slots[*id].moves;
                let place = line.partition_point(|(other, _)| *other < rank);
                line.insert(place, (rank, *act));
            }
            Spot::Job { id } => {
                self.jobs.insert(id.clone(), turn);
            }
            Spot::None | Spot::Withdrawal { .. } => {}
        }
    }

    fn take_out(&mut self, turn: u32) {
        let rank = self.rank(turn);
        match &self.known[turn as usize].spot {
            Spot::Meter { id, .. } => {
                let line = &mut self.meters[*id];
                if let Ok(place) = line.binary_search_by(|(other, _, _)| other.cmp(&rank)) {
                    line.remove(place);
                }
            }
            Spot::Slot { id, act: Act::Look } => {
                let line = &mut self.slots[*id].looks;
                if let Ok(place) = line.binary_search(&rank) {
                    line.remove(place);
                }
            }
            Spot::Slot { id, .. } => {
                let line = &mut self.slots[*id].moves;
                if let Ok(place) = line.binary_search_by(|(other, _)| other.cmp(&rank)) {
                    line.remove(place);
                }
            }
            Spot::Job { id } => {
                self.jobs.remove(id);
            }
            Spot::None | Spot::Withdrawal { .. } => {}
        }
    }

    /// Forgets the entry taken in last, as if it had never been.
    pub(super) fn undo(&mut self) {
        let Some(turn) = self.known.len().checked_sub(1) else {
            return;
        };
        // `push` gave it this turn.
        let turn = turn as u32;
        if let Spot::Withdrawal { of: Some(target) } = self.known[turn as usize].spot {
            self.known[target as usize].withdrawn_by = None;
            self.put_in(target);
        } else {
            self.take_out(turn);
        }
        if let Some(known) = self.known.pop()
            && self.names.get(&known.sha) == Some(&turn)
        {
            self.names.remove(&known.sha);
        }
    }
}

fn act(event: &Event) -> Option<Act> {
    match event {
        Event::Installed { .. } => Some(Act::In),
        Event::Replaced { .. } => Some(Act::Swap),
        Event::Removed { .. } => Some(Act::Out),
        Event::Inspected { .. } | Event::Measured { .. } => Some(Act::Look),
        _ => None,
    }
}
