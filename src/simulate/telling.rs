//! From the machines' stories to the entries of the books: who wrote them up, when, and
//! what they got wrong.
//!
//! In: one [`Story`] a machine. Out: [`SimEntry`]s in the order they were logged.
//! Never: files, clock, printing.

use chrono::{DateTime, NaiveDate, Utc};
use rand_chacha::{ChaCha12Rng, rand_core::SeedableRng};

use super::body::{Book, SimEntry, written};
use super::draw;
use super::machine::Story;
use super::plan::Plant;
use super::truth::{Mistake, MistakeKind};
use crate::book::{Entry, Event, SlotName};
use crate::quantity::Number;

/// Seconds between two entries written up together.
const ONE_ENTRY_S: i64 = 20;
const HOUR_S: i64 = 3600;
/// A random stream that no machine uses.
const STREAM: u64 = u64::MAX;

/// Orders the entries of all machines by the time they were logged, mistakes included.
pub fn tell(plant: &Plant, stories: Vec<Story>, seed: u64) -> Vec<SimEntry> {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    rng.set_stream(STREAM);
    let names = job_names(&stories);
    let mut all: Vec<SimEntry> = stories
        .into_iter()
        .enumerate()
        .flat_map(|(number, story)| log(plant, number, story, &names[number], &mut rng))
        .collect();
    // Stable: entries logged in the same second keep the order of their machines.
    all.sort_by_key(|told| told.entry.logged);
    for mistake in &plant.truth.mistakes {
        make(plant, &mut all, mistake, &mut rng);
    }
    all
}

/// Job numbers in the order the jobs began.
fn job_names(stories: &[Story]) -> Vec<Vec<String>> {
    let mut jobs: Vec<(i64, usize, usize)> = stories
        .iter()
        .enumerate()
        .flat_map(|(machine, story)| {
            let jobs = story.jobs.iter().enumerate();
            jobs.map(move |(job, start)| (*start, machine, job))
        })
        .collect();
    jobs.sort_unstable();
    let mut names: Vec<Vec<String>> = stories
        .iter()
        .map(|story| vec![String::new(); story.jobs.len()])
        .collect();
    for (n, (_, machine, job)) in jobs.into_iter().enumerate() {
        names[machine][job] = format!("J-{:04}", n + 1);
    }
    names
}

/// Settles when each group of a machine's entries was written up.
fn log(
    plant: &Plant,
    number: usize,
    story: Story,
    names: &[String],
    rng: &mut ChaCha12Rng,
) -> Vec<SimEntry> {
    let late_share = plant.truth.record.late_share;
    let mut order: Vec<usize> = (0..story.groups.len()).collect();
    order.sort_by_key(|&g| (story.groups[g].begin, g));
    let mut sizes = vec![0i64; story.groups.len()];
    for draft in &story.drafts {
        sizes[draft.group] += 1;
    }
    let mut first_logged = vec![0i64; story.groups.len()];
    let mut pen_free = i64::MIN;
    for (n, &g) in order.iter().enumerate() {
        let group = &story.groups[g];
        let usual = match group.book {
            Book::Readings => draw::between(60.0, 1500.0, rng),
            Book::Jobs => draw::between(300.0, 5400.0, rng),
        };
        let late = draw::chance(late_share, rng);
        let days = draw::between(1.0, 4.0, rng);
        let writing = sizes[g] * ONE_ENTRY_S;
        let mut logged = group.ready + usual as i64;
        if late {
            // Late, but not later than the next thing on this machine: a book that lags
            // behind the machine is common, one that tells its days out of order is another matter.
            let next = order
                .get(n + 1)
                .map_or(i64::MAX, |&g| story.groups[g].begin);
            let at_most = next.saturating_sub(writing + HOUR_S);
            logged = logged.max((group.ready + (days * 86_400.0) as i64).min(at_most));
        }
        first_logged[g] = logged.max(pen_free);
        pen_free = first_logged[g] + writing;
    }
    let mut written = vec![0i64; story.groups.len()];
    let mut entries: Vec<SimEntry> = Vec::with_capacity(story.drafts.len());
    for draft in story.drafts {
        let group = &story.groups[draft.group];
        let logged = first_logged[draft.group] + written[draft.group] * ONE_ENTRY_S;
        written[draft.group] += 1;
        entries.push(SimEntry {
            book: group.book,
            entry: Entry {
                time: moment(draft.time),
                logged: moment(logged),
                who: group.who.clone(),
                machine: Some(plant.machines[number].tag.clone()),
                event: draft.event,
                job: draft.job.map(|job| names[job].clone()),
                note: draft.note,
                source: None,
            },
            withdraws: None,
        });
    }
    entries
}

fn moment(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(seconds, 0).unwrap_or_default()
}

/// Gets the first fitting entry wrong, withdraws it within hours and states it anew.
fn make(plant: &Plant, all: &mut Vec<SimEntry>, mistake: &Mistake, rng: &mut ChaCha12Rng) {
    let delay = chrono::Duration::seconds((draw::between(1.0, 5.0, rng) * HOUR_S as f64) as i64);
    let found = (0..all.len()).find_map(|n| {
        let entry = &all[n].entry;
        let seen = entry.logged + delay;
        if day(plant, entry.time) < mistake.after || !quiet_until(all, n, seen) {
            return None;
        }
        let wrong = wrong_version(plant, all, n, mistake.kind)?;
        Some((n, wrong, seen))
    });
    let Some((n, wrong, seen)) = found else {
        return;
    };
    let mut right = all[n].clone();
    all[n].entry.event = wrong;
    let withdrawn = SimEntry {
        book: right.book,
        entry: Entry {
            time: seen,
            logged: seen,
            who: right.entry.who.clone(),
            machine: None,
            event: Event::Withdrawn {
                entry_sha: String::new(),
                why: mistake.why.clone(),
            },
            job: None,
            note: None,
            source: None,
        },
        withdraws: Some(n),
    };
    right.entry.logged = seen + chrono::Duration::seconds(3 * ONE_ENTRY_S);
    right.entry.note = Some("stated anew; the first entry is withdrawn".to_owned());
    for told in [withdrawn, right] {
        let place = all.partition_point(|other| other.entry.logged <= told.entry.logged);
        // Withdrawals name entries by their place in the list.
        for of in all.iter_mut().filter_map(|other| other.withdraws.as_mut()) {
            *of += usize::from(*of >= place);
        }
        all.insert(place, told);
    }
}

fn day(plant: &Plant, time: DateTime<Utc>) -> NaiveDate {
    time.with_timezone(&plant.zone).date_naive()
}

/// True where nothing else is logged of the entry's machine until then, its own job aside.
fn quiet_until(all: &[SimEntry], n: usize, until: DateTime<Utc>) -> bool {
    let own = &all[n].entry;
    all[n + 1..]
        .iter()
        .map(|other| &other.entry)
        .take_while(|other| other.logged <= until + chrono::Duration::seconds(HOUR_S))
        .all(|other| other.machine != own.machine || (other.job.is_some() && other.job == own.job))
}

/// What is written by mistake; `None` where this kind of mistake does not fit the entry.
fn wrong_version(plant: &Plant, all: &[SimEntry], n: usize, kind: MistakeKind) -> Option<Event> {
    let mut wrong = all[n].entry.event.clone();
    match (&mut wrong, kind) {
        (
            Event::Reading {
                value,
                reset: false,
                ..
            },
            MistakeKind::Reading,
        ) if all[n].entry.job.is_none() => {
            *value = written(value.get() + 1000.0, value.decimals());
        }
        (Event::Job { labour_h, .. }, MistakeKind::Labour) if labour_h.get() >= 1.0 => {
            *labour_h = Number::new(labour_h.get() * 10.0)?;
        }
        (Event::Measured { value, .. }, MistakeKind::Measured) => {
            *value = digits_exchanged(*value)?;
        }
        (Event::Replaced { slot, item, .. }, MistakeKind::Position) if item.serial.is_none() => {
            slot.position = neighbour(plant, all, n, slot)?;
        }
        _ => return None,
    }
    Some(wrong)
}

/// Exchanges the first two digits after the decimal point that differ.
fn digits_exchanged(value: Number) -> Option<Number> {
    let mut text: Vec<char> = value.to_string().chars().collect();
    let point = text.iter().position(|c| *c == '.')?;
    let first = (point + 1..text.len().saturating_sub(1)).find(|&i| text[i] != text[i + 1])?;
    text.swap(first, first + 1);
    Number::parse(&text.into_iter().collect::<String>())
}

/// Another position of the same component on the same machine that this job leaves alone.
fn neighbour(plant: &Plant, all: &[SimEntry], n: usize, slot: &SlotName) -> Option<String> {
    let own = &all[n].entry;
    let job = own.job.as_ref()?;
    let machine = plant
        .machines
        .iter()
        .find(|m| Some(&m.tag) == own.machine.as_ref())?;
    let touched = |position: &str| {
        all.iter().any(|other| {
            other.entry.job.as_ref() == Some(job)
                && other
                    .entry
                    .event
                    .slot()
                    .is_some_and(|s| s.component == slot.component && s.position == position)
        })
    };
    machine
        .slots
        .iter()
        .filter(|other| plant.truth.components[other.component].id == slot.component)
        .map(|other| other.position.as_str())
        .find(|position| *position != slot.position && !touched(position))
        .map(str::to_owned)
}
