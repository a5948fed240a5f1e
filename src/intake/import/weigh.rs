//! Rows weighed against each other and the ledger, in the order of time, each as a whole.
//!
//! What an earlier row states already is not stated again; two equal expenses may both be
//! real, so those are counted.
//!
//! In: the rows' entries. Out: which can stand, and what stands against the others.
//! Never: writing.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::in_place::{self, Before};
use super::make::Maker;
use super::plan::{Group, Mark, Plan, Progress, Stage, Status, place};
use super::reject::Rejection;
use super::sheet::Sheet;
use crate::book::{Conflict, Entry, Event, Refusal, Sha, Sieve, statement};

/// How often refused rows are tried again; each round takes at least one more.
const ROUNDS: usize = 100;

/// The rows being weighed.
pub(super) struct Weigh<'a> {
    maker: &'a Maker<'a>,
    sheet: &'a Sheet,
    /// Of which of the map's `[[entry]]`s each of the pool is.
    forms: Vec<u16>,
    /// The row of every entry tried so far.
    given: Vec<u64>,
    /// How often rows taken so far state what.
    taken: HashMap<Sha, u32>,
    plan: Plan,
}

impl<'a> Weigh<'a> {
    /// `forms` tells of which of the map's `[[entry]]`s each entry of the plan's pool is.
    pub(super) fn new(
        maker: &'a Maker<'a>,
        sheet: &'a Sheet,
        forms: Vec<u16>,
        plan: Plan,
    ) -> Weigh<'a> {
        Weigh {
            maker,
            sheet,
            forms,
            given: Vec::new(),
            taken: HashMap::new(),
            plan,
        }
    }

    pub(super) fn all(
        mut self,
        groups: Vec<Group>,
        sieve: &mut Sieve<'_>,
        progress: Progress<'_>,
    ) -> Plan {
        let total = groups.len() as u64;
        let mut refused: Vec<(Group, Vec<Rejection>)> = Vec::new();
        for (n, group) in groups.into_iter().enumerate() {
            if n % 1024 == 0 {
                progress(Stage::Checking, n as u64, total);
            }
            if let Err(against) = self.one(&group, sieve) {
                refused.push((group, against));
            }
        }
        // What could not stand may do so upon what was taken after it. Imported a second
        // time it would: so it is tried again, until nothing more is taken.
        for _ in 0..ROUNDS {
            let before = refused.len();
            let again = refused.into_iter().filter_map(|(group, _)| {
                let against = self.one(&group, sieve).err()?;
                Some((group, against))
            });
            refused = again.collect();
            if refused.is_empty() || refused.len() == before {
                break;
            }
        }
        let against = refused.into_iter().flat_map(|(_, against)| against);
        self.plan.rejected.extend(against);
        self.plan
    }

    /// Takes a row.
    ///
    /// Errors: what stands against it.
    fn one(&mut self, group: &Group, sieve: &mut Sieve<'_>) -> Result<(), Vec<Rejection>> {
        let row = group.row;
        // What the row states: its place, name, and whether it is to be written.
        let mut own: HashMap<Sha, u32> = HashMap::new();
        let mut parts = Vec::with_capacity(group.entries.len());
        for place in group.entries.clone() {
            let entry = &self.plan.pool[place as usize];
            let name = statement(entry);
            let before = self.taken.get(&name).copied().unwrap_or(0);
            let before = before + own.get(&name).copied().unwrap_or(0);
            let counted = matches!(entry.event, Event::Expense { .. });
            let status = if before > 0 && !counted {
                Status::Repeated
            } else if sieve.stated_as(name) > before as usize {
                Status::Known
            } else {
                Status::New
            };
            *own.entry(name).or_insert(0) += 1;
            parts.push((place, name, status));
        }
        let fresh = parts.iter().filter(|(_, _, status)| *status == Status::New);
        let fresh: Vec<u32> = fresh.map(|(place, _, _)| *place).collect();
        let made_up = match fresh.is_empty() {
            true => Vec::new(),
            false => self.take(&fresh, row, sieve)?,
        };
        for entry in made_up {
            let place = place(self.plan.pool.len());
            self.plan.pool.push(entry);
            self.add(place, row, Status::InPlace);
        }
        for (place, name, status) in parts {
            if status == Status::Repeated {
                let kind = self.plan.pool[place as usize].event.kind();
                self.plan.repeated.push(Mark { row, kind, status });
                continue;
            }
            *self.taken.entry(name).or_insert(0) += 1;
            self.add(place, row, status);
        }
        Ok(())
    }

    fn add(&mut self, place: u32, row: u64, status: Status) {
        let kind = self.plan.pool[place as usize].event.kind();
        self.plan.order.push(place);
        self.plan.marks.push(Mark { row, kind, status });
    }

    /// Takes the new entries of a row, after what was in place before them where the map
    /// says so and nothing else does; returns the entries for that.
    fn take(
        &mut self,
        fresh: &[u32],
        row: u64,
        sieve: &mut Sieve<'_>,
    ) -> Result<Vec<Entry>, Vec<Rejection>> {
        let forms: Vec<usize> = fresh
            .iter()
            .map(|place| usize::from(self.forms[*place as usize]))
            .collect();
        let given = &mut self.given;
        let entries: Vec<&Entry> = fresh
            .iter()
            .map(|place| &self.plan.pool[*place as usize])
            .collect();
        let first = try_once(given, &entries, row, sieve);
        if first.is_empty() {
            return Ok(Vec::new());
        }
        let before = in_place::entries(self.maker.map, sieve.register(), &entries, &first, row);
        // What was taken back is not put down again.
        let back = |entry: &Entry| sieve.stated_as(statement(entry)) > 0;
        let made_up = match before {
            Before::Made(made_up) if !made_up.iter().any(back) => made_up,
            Before::TooLate(day) => {
                return Err(self.rejections(&forms, &first, 0, (row, Some(day))));
            }
            _ => return Err(self.rejections(&forms, &first, 0, (row, None))),
        };
        let both: Vec<&Entry> = made_up.iter().chain(entries).collect();
        let second = try_once(given, &both, row, sieve);
        if second.is_empty() {
            return Ok(made_up);
        }
        Err(self.rejections(&forms, &second, made_up.len(), (row, None)))
    }

    /// Refusals told of the row's cells; the first `made_up` of the entries are in none.
    /// With the row may come the day, too late for it, on which the map puts items in.
    fn rejections(
        &self,
        forms: &[usize],
        refusals: &[Refusal],
        made_up: usize,
        (row, late): (u64, Option<NaiveDate>),
    ) -> Vec<Rejection> {
        let mut all = Vec::new();
        for refusal in refusals {
            let form = refusal
                .index
                .checked_sub(made_up)
                .and_then(|n| forms.get(n));
            let unknown = |conflict: &Conflict| {
                matches!(
                    conflict,
                    Conflict::UnknownMachine { .. }
                        | Conflict::UnknownComponent { .. }
                        | Conflict::UnknownSlot { .. }
                )
            };
            // A slot that does not exist is empty, too: that goes without saying.
            let no_slot = refusal.conflicts.iter().any(unknown);
            for conflict in &refusal.conflicts {
                if no_slot && matches!(conflict, Conflict::SlotEmpty { .. }) {
                    continue;
                }
                let rejection = self.rejection(form.copied(), conflict.clone(), (row, late));
                if !all.contains(&rejection) {
                    all.push(rejection);
                }
            }
        }
        all
    }

    fn rejection(
        &self,
        form: Option<usize>,
        mut conflict: Conflict,
        (row, late): (u64, Option<NaiveDate>),
    ) -> Rejection {
        for witness in conflict.witnesses_mut() {
            if let Some(other) = witness.given.and_then(|index| self.given.get(index)) {
                witness.file.clone_from(&self.sheet.name);
                witness.line = usize::try_from(*other).unwrap_or(usize::MAX);
            }
        }
        let maker = self.maker;
        let form = form.map(|form| &maker.map.entries[form]);
        let key = form.and_then(|form| form.key(conflict.key()));
        let place = key.and_then(|key| maker.place_of(key));
        let mut cure = conflict.cure();
        let mut evidence = conflict.evidence(maker.register.plant.time_zone);
        match (&conflict, late) {
            (Conflict::SlotEmpty { witness: None, .. }, Some(day)) => {
                evidence.push(format!("[[in_place]] puts an item in on {day} only."));
                cure = vec!["state an earlier day in [[in_place]]: since = …".to_owned()];
            }
            (Conflict::SlotEmpty { witness: None, .. }, None) => {
                cure = vec![
                    "say in the map what was in place before the file begins:".to_owned(),
                    "[[in_place]] with age = \"unknown\"".to_owned(),
                ];
            }
            (Conflict::MeterBackwards { .. }, _) => {
                cure[0] = "meter exchanged? give such rows an [[entry]] with reset = true;".into();
            }
            (Conflict::JobTwice { .. }, _) => {
                cure = vec![
                    "rows of one job must state the same of it: mend the one that differs;".into(),
                    "or give the other job another id".into(),
                ];
            }
            _ => {}
        }
        Rejection {
            row,
            place,
            column: place.map(|place| maker.places.heading(place)),
            value: String::new(),
            kind: conflict.name(),
            reason: conflict.to_string(),
            evidence,
            cure,
        }
    }
}

/// Tries a group; the index of a refusal counts the group's entries.
fn try_once(
    given: &mut Vec<u64>,
    group: &[&Entry],
    row: u64,
    sieve: &mut Sieve<'_>,
) -> Vec<Refusal> {
    let start = given.len();
    given.extend(std::iter::repeat_n(row, group.len()));
    let mut refusals = sieve.take(group);
    for refusal in &mut refusals {
        refusal.index -= start;
    }
    refusals
}
