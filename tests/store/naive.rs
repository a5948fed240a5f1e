//! Lives derived a second time, the slow and plain way, from the entries as the book
//! reader gives them; and held against the queries on records made at random.
//!
//! Nothing is shared with the SQL but the rules in words.

use std::collections::BTreeMap;

use wearbook::book::{Age, Event, Finding, Found, Ledger, Reason};
use wearbook::life::LifeRow;
use wearbook::store::{Options, Store};

use crate::plants::Plant;

/// A stretch up to this beyond the readings is not worth a flag.
const DAY: f64 = 86_400.0;
const WINDOW: f64 = 56.0 * 86_400.0;

/// One meter of one machine: moments (s) and usage there, and which stretches are guessed.
#[derive(Default, Clone)]
struct Meter {
    points: Vec<(f64, f64)>,
    guessed: Vec<(f64, f64)>,
    rates: Option<(f64, f64)>,
}

impl Meter {
    /// Readings as (moment, value, reset), in order.
    fn new(readings: &[(f64, f64, bool)], expected: Option<f64>) -> Meter {
        let mut kept: Vec<(f64, f64, bool)> = Vec::new();
        let mut highest = f64::NEG_INFINITY;
        for &(at, value, reset) in readings {
            if reset {
                highest = f64::NEG_INFINITY;
            }
            if value >= highest {
                highest = value;
                kept.push((at, value, reset));
            }
        }
        // A moment counts once for each meter: with its highest value.
        let mut moments: Vec<(f64, f64, bool)> = Vec::new();
        for (at, value, reset) in kept {
            match moments.last_mut() {
                Some(last) if last.0 == at && !reset => last.1 = value,
                _ => moments.push((at, value, reset)),
            }
        }
        let rates: Vec<Option<f64>> = moments
            .windows(2)
            .map(|pair| {
                let seconds = pair[1].0 - pair[0].0;
                (!pair[1].2 && seconds > 0.0).then(|| (pair[1].1 - pair[0].1) / seconds)
            })
            .collect();
        let mut meter = Meter::default();
        let Some(first) = moments.first() else {
            return meter;
        };
        let mut usage = first.1;
        meter.points.push((first.0, usage));
        for (n, pair) in moments.windows(2).enumerate() {
            let seconds = pair[1].0 - pair[0].0;
            if pair[1].2 {
                let before = rates[..n].iter().rev().find_map(|rate| *rate);
                let after = rates[n..].iter().find_map(|rate| *rate);
                if seconds > 0.0 {
                    usage += seconds * before.or(after).or(expected).unwrap_or(0.0);
                    meter.guessed.push((pair[0].0, pair[1].0));
                }
            } else {
                usage += pair[1].1 - pair[0].1;
            }
            match meter.points.last_mut() {
                Some(last) if last.0 == pair[1].0 => last.1 = usage,
                _ => meter.points.push((pair[1].0, usage)),
            }
        }
        let (start, end) = (meter.points[0], meter.points[meter.points.len() - 1]);
        meter.rates = if meter.points.len() < 2 {
            expected.map(|rate| (rate, rate))
        } else {
            let early = (start.0 + WINDOW).min(end.0);
            let late = (end.0 - WINDOW).max(start.0);
            Some((
                (meter.between(early) - start.1) / (early - start.0),
                (end.1 - meter.between(late)) / (end.0 - late),
            ))
        };
        meter
    }

    /// Usage at a moment between the first and the last point.
    fn between(&self, at: f64) -> f64 {
        for pair in self.points.windows(2) {
            if pair[0].0 <= at && at <= pair[1].0 {
                let share = (at - pair[0].0) / (pair[1].0 - pair[0].0);
                return pair[0].1 + share * (pair[1].1 - pair[0].1);
            }
        }
        self.points[0].1
    }

    /// Usage, and whether it lies more than a day beyond the readings; none without a rate.
    fn usage(&self, at: f64) -> Option<(f64, bool)> {
        let (early, late) = self.rates?;
        let (start, end) = (self.points[0], self.points[self.points.len() - 1]);
        Some(if at < start.0 {
            (start.1 - early * (start.0 - at), start.0 - at > DAY)
        } else if at > end.0 {
            (end.1 + late * (at - end.0), at - end.0 > DAY)
        } else {
            (self.between(at), false)
        })
    }
}

#[derive(Clone)]
struct Look {
    at: f64,
    sound: bool,
    sha: String,
}

#[derive(Clone)]
struct Stay {
    machine: String,
    component: String,
    serial: Option<String>,
    age: Option<f64>,
    from: f64,
    start_sha: String,
    to: Option<f64>,
    end_sha: Option<String>,
    reason: Option<Reason>,
    running: bool,
    looks: Vec<Look>,
}

impl Stay {
    fn last_sound(&self) -> Option<&Look> {
        self.looks.iter().rev().find(|look| look.sound)
    }

    /// The first look that found it bad and was not overruled later.
    fn bad(&self) -> Option<&Look> {
        let overruled = self.looks.iter().rposition(|look| look.sound);
        self.looks.get(overruled.map_or(0, |n| n + 1))
    }

    fn broke(&self) -> bool {
        matches!(self.reason, Some(Reason::Failed | Reason::Worn))
    }
}

/// What is compared of a life.
#[derive(Debug, Clone, PartialEq)]
struct Life {
    outcome: &'static str,
    entry: Option<f64>,
    lo: Option<f64>,
    hi: Option<f64>,
    end_sha: Option<String>,
    flags: Vec<&'static str>,
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// Lives by the SHA that began them.
fn lives(ledger: &Ledger) -> BTreeMap<String, Life> {
    let register = &ledger.register;
    let entries = ledger.entries();
    // Machine and meter: moment, value, whether the meter was exchanged or zeroed.
    type Readings = BTreeMap<(String, String), Vec<(f64, f64, bool)>>;
    let mut readings = Readings::new();
    let mut open: BTreeMap<(String, String, String), Stay> = BTreeMap::new();
    let mut stays: Vec<Stay> = Vec::new();
    for placed in &entries {
        let entry = placed.entry;
        let at = entry.time.timestamp() as f64;
        let machine = entry.machine.clone().unwrap_or_default();
        if let Event::Reading {
            meter,
            value,
            reset,
        } = &entry.event
        {
            let line = readings
                .entry((machine.clone(), meter.clone()))
                .or_default();
            line.push((at, value.get(), *reset));
        }
        let Some(slot) = entry.event.slot() else {
            continue;
        };
        let key = (
            machine.clone(),
            slot.component.clone(),
            slot.position.clone(),
        );
        match &entry.event {
            Event::Inspected { finding, .. } => {
                if let Some(stay) = open.get_mut(&key) {
                    stay.looks.push(Look {
                        at,
                        sound: *finding == Finding::Sound,
                        sha: placed.sha.to_string(),
                    });
                }
                continue;
            }
            Event::Installed { .. } | Event::Replaced { .. } | Event::Removed { .. } => {}
            _ => continue,
        }
        if let Some(mut stay) = open.remove(&key) {
            stay.to = Some(at);
            stay.end_sha = Some(placed.sha.to_string());
            if let Some(end) = entry.event.ending() {
                stay.reason = Some(end.reason);
                stay.running = end.found != Some(Found::Inspection);
            }
            stays.push(stay);
        }
        if let Some(item) = entry.event.item() {
            let stay = Stay {
                machine,
                component: slot.component.clone(),
                serial: item.serial.clone(),
                age: match &item.age {
                    Age::New => Some(0.0),
                    Age::Known(age) => Some(age.get()),
                    Age::Unknown => None,
                },
                from: at,
                start_sha: placed.sha.to_string(),
                to: None,
                end_sha: None,
                reason: None,
                running: false,
                looks: Vec::new(),
            };
            open.insert(key, stay);
        }
    }
    stays.extend(open.into_values());
    let cut = ledger
        .lines()
        .map(|placed| placed.entry.time.max(placed.entry.logged).timestamp())
        .max()
        .unwrap_or(0) as f64;
    let meters: BTreeMap<(String, String), Meter> = readings
        .into_iter()
        .map(|((machine, meter), list)| {
            let week = register
                .machine(&machine)
                .and_then(|m| m.usage_per_week.get(&meter).copied());
            let made = Meter::new(&list, week.map(|week| week / 604_800.0));
            ((machine, meter), made)
        })
        .collect();
    // Items with a serial go on where they left whole; all others live one stay.
    stays.sort_by(|a, b| {
        a.from
            .total_cmp(&b.from)
            .then(a.start_sha.cmp(&b.start_sha))
    });
    let mut chains: Vec<Vec<Stay>> = Vec::new();
    for stay in stays {
        let last = chains.iter_mut().rev().find(|chain| {
            let last = &chain[chain.len() - 1];
            stay.serial.is_some() && last.serial == stay.serial && last.component == stay.component
        });
        match last {
            Some(chain) => {
                let last = &chain[chain.len() - 1];
                let whole = !last.broke() && last.bad().is_none();
                if whole && last.to.is_some_and(|to| to <= stay.from) {
                    chain.push(stay);
                } else {
                    chains.push(vec![stay]);
                }
            }
            None => chains.push(vec![stay]),
        }
    }
    chains
        .into_iter()
        .map(|chain| {
            (
                chain[0].start_sha.clone(),
                judge(&chain, &meters, ledger, cut),
            )
        })
        .collect()
}

fn judge(
    chain: &[Stay],
    meters: &BTreeMap<(String, String), Meter>,
    ledger: &Ledger,
    cut: f64,
) -> Life {
    let none = Meter::default();
    let meter = |stay: &Stay| {
        let usage = ledger
            .register
            .component(&stay.component)
            .map(|c| c.usage.clone());
        meters
            .get(&(stay.machine.clone(), usage.unwrap_or_default()))
            .unwrap_or(&none)
    };
    let entry = chain[0].age;
    let mut run = entry.unwrap_or(0.0);
    let mut sound = run;
    let mut extrapolated = false;
    let mut sound_beyond = false;
    let mut reset = false;
    let mut known = true;
    let mut ended = (None, "suspension");
    for (n, stay) in chain.iter().enumerate() {
        let last = n + 1 == chain.len();
        let meter = meter(stay);
        let inspection = if last && !(stay.broke() && stay.running) {
            stay.bad()
        } else {
            None
        };
        let until = inspection.map_or(stay.to.unwrap_or(cut), |look| look.at);
        let (Some(start), Some(stop)) = (meter.usage(stay.from), meter.usage(until)) else {
            known = false;
            ended = end_of(stay, inspection);
            continue;
        };
        extrapolated |= start.1 || stop.1;
        if let Some(look) = stay.last_sound()
            && let Some(there) = meter.usage(look.at)
        {
            sound = run + there.0 - start.0;
            sound_beyond = there.1;
        }
        reset |= meter
            .guessed
            .iter()
            .any(|(from, to)| *to > stay.from && *from < until);
        run += stop.0 - start.0;
        ended = end_of(stay, inspection);
    }
    let (end_sha, how) = ended;
    extrapolated |= how == "interval" && sound_beyond;
    let (run, sound) = (tenth(run), tenth(sound));
    let usable = known && entry.is_some();
    let lo = if how == "interval" {
        sound.min(run)
    } else {
        run
    };
    let hi = (how != "suspension").then_some(run);
    let mut flags = Vec::new();
    for (set, word) in [
        (extrapolated, "extrapolated"),
        (reset, "meter-reset"),
        (chain.len() > 1, "refitted"),
        (entry.is_none(), "unknown-age"),
        (usable && run <= tenth(entry.unwrap_or(0.0)), "no-length"),
        (!known, "no-usage"),
    ] {
        if set {
            flags.push(word);
        }
    }
    Life {
        outcome: if usable && how == "interval" && lo >= run {
            "failure"
        } else {
            how
        },
        entry: entry.map(tenth),
        lo: usable.then_some(lo),
        hi: hi.filter(|_| usable),
        end_sha,
        flags,
    }
}

fn end_of(stay: &Stay, inspection: Option<&Look>) -> (Option<String>, &'static str) {
    match inspection {
        Some(look) => (Some(look.sha.clone()), "interval"),
        None if stay.broke() && stay.running => (stay.end_sha.clone(), "failure"),
        None if stay.broke() => (stay.end_sha.clone(), "interval"),
        None => (stay.end_sha.clone(), "suspension"),
    }
}

fn close(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        // Both round to 0.1; a value on the edge may fall either way.
        (Some(a), Some(b)) => (a - b).abs() < 0.11,
        (a, b) => a == b,
    }
}

/// A value on the edge of rounding may make an interval of no length or the reverse.
fn on_an_edge(row: &LifeRow, life: &Life) -> bool {
    let short = |lo: Option<f64>, hi: Option<f64>| {
        lo.zip(hi.or(lo))
            .is_none_or(|(lo, hi)| (hi - lo).abs() < 0.21)
    };
    short(row.lo, row.hi) && short(life.lo, life.hi) && life.outcome != "suspension"
}

fn compare(rows: &[LifeRow], mut lives: BTreeMap<String, Life>, what: &str) {
    for row in rows {
        let life = lives
            .remove(&row.start_sha)
            .unwrap_or_else(|| panic!("{what}: no life for {row:#?}"));
        let flags: Vec<&str> = row.flags.iter().map(|flag| flag.word()).collect();
        let same = (row.outcome.word() == life.outcome || on_an_edge(row, &life))
            && close(row.entry, life.entry)
            && close(row.lo, life.lo)
            && close(row.hi, life.hi)
            && row.end_sha == life.end_sha
            && flags == life.flags;
        assert!(same, "{what}:\n{row:#?}\nnaive: {life:#?}");
    }
    assert!(lives.is_empty(), "{what}: rows missing for {lives:#?}");
}

#[test]
fn the_sample_ledger_gives_the_same_lives_both_ways() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-ledger");
    let store =
        Store::open(std::slice::from_ref(&folder), None, &Options::default()).expect("opened");
    let rows = store.lives().expect("lives");
    assert!(rows.len() > 500);
    compare(
        &rows,
        lives(&Ledger::read(&folder).expect("read")),
        "sample",
    );
}

/// Numbers that look random enough: a linear congruential generator (Knuth, MMIX).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }

    fn one<'a>(&mut self, list: &[&'a str]) -> &'a str {
        list[self.below(list.len() as u64) as usize]
    }
}

/// A record of two machines with everything that can happen to it, at random.
fn record(seed: u64) -> String {
    let mut draw = Draw(seed);
    let mut minute = 0u64;
    let mut text = String::new();
    let mut filled: BTreeMap<(&str, &str, &str), Option<String>> = BTreeMap::new();
    let mut shelf: Vec<String> = Vec::new();
    let mut values: BTreeMap<&str, f64> = BTreeMap::new();
    let mut since: BTreeMap<&str, u64> = BTreeMap::new();
    let mut line = 1;
    let mut withdrawable = Vec::new();
    for serial in 0..250 {
        line += 1;
        // Now and then two entries share a moment.
        minute += draw.below(5) * 400;
        let day =
            chrono::DateTime::from_timestamp(1_600_000_000 + 60 * minute as i64, 0).expect("time");
        let time = day.format("%Y-%m-%dT%H:%M:%SZ");
        let machine = draw.one(&["H-01", "H-01", "H-02"]);
        let component = draw.one(&["packing-set", "plunger"]);
        let position = draw.one(&["P1", "P2"]);
        let slot = format!(
            "\"machine\":\"{machine}\",\"component\":\"{component}\",\"position\":\"{position}\""
        );
        let key = (machine, component, position);
        let kind = draw.below(10);
        let in_it = filled.contains_key(&key);
        let body = if kind < 3 {
            let ran = (minute - since.insert(machine, minute).unwrap_or(0)) as f64 / 60.0;
            let value = values.entry(machine).or_insert(100.0);
            let rate = 0.25 + draw.below(50) as f64 / 100.0;
            let reset = draw.below(12) == 0;
            *value = if reset {
                draw.below(20) as f64
            } else {
                *value + (rate * ran * 10.0).round() / 10.0
            };
            let misread = !reset && draw.below(15) == 0;
            let told = if misread {
                (*value - 30.0).max(0.0)
            } else {
                *value
            };
            if draw.below(20) == 0 {
                withdrawable.push(line);
            }
            format!(
                "\"entry\":\"reading\",\"machine\":\"{machine}\",\"meter\":\"hours\",\"value\":{told}{}",
                if reset { ",\"reset\":true" } else { "" }
            )
        } else if kind < 5 && in_it {
            let finding = draw.one(&["sound", "sound", "sound", "worn", "failed"]);
            format!("\"entry\":\"inspected\",{slot},\"finding\":\"{finding}\"")
        } else if kind == 9 && !withdrawable.is_empty() {
            let target: usize = withdrawable.pop().expect("one");
            format!("\"entry\":\"withdrawn\",\"entry_sha\":\"@{target}\",\"why\":\"misread\"")
        } else {
            let removing = in_it && draw.below(3) == 0;
            let item = if removing {
                String::new()
            } else {
                let back = !shelf.is_empty() && component == "plunger" && draw.below(2) == 0;
                let name = if back {
                    shelf.remove(0)
                } else {
                    format!("S-{serial}")
                };
                let age = draw.one(&["", "", "", ",\"age\":120.5", ",\"age\":null"]);
                let named = component == "plunger";
                let old = filled.insert(key, named.then(|| name.clone()));
                if let Some(Some(old)) = old {
                    shelf.push(old);
                }
                let told = if named {
                    format!(",\"serial\":\"{name}\"")
                } else {
                    String::new()
                };
                format!("{told}{age}")
            };
            if removing && let Some(Some(old)) = filled.remove(&key) {
                shelf.push(old);
            }
            let entry = match (in_it, removing) {
                (_, true) => "removed",
                (true, false) => "replaced",
                (false, false) => "installed",
            };
            let end = if in_it {
                let reason = draw.one(&["failed", "worn", "planned", "opportunity", "damaged"]);
                let found = draw.one(&["running", "inspection"]);
                let found = if matches!(reason, "failed" | "worn") {
                    format!(",\"found\":\"{found}\"")
                } else {
                    String::new()
                };
                format!(",\"reason\":\"{reason}\"{found}")
            } else {
                String::new()
            };
            format!("\"entry\":\"{entry}\",{slot}{item}{end}")
        };
        text.push_str(&format!("{{\"time\":\"{time}\",{body}}}\n"));
    }
    text
}

#[test]
fn random_records_give_the_same_lives_both_ways() {
    let mut seen = 0;
    for seed in 1..=60 {
        let plant = Plant::with(&record(seed));
        let rows = plant.store().lives().expect("lives");
        seen += rows.len();
        let ledger = Ledger::read(&plant.ledgers[0]).expect("read");
        compare(&rows, lives(&ledger), &format!("seed {seed}"));
    }
    assert!(seen > 3_000, "only {seen} lives");
}
