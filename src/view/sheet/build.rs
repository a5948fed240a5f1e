//! From a stop to its sheet.

use super::stop::{LastReading, Opening, SlotAtStop, Stop};
use super::words::{limit, spaced, usage};
use super::{AccessBlock, ComponentBlock, Field, KitLine, ReadingBox, Sheet, SlotLine};
use crate::register::{Component, Layout, Measurement, Register};
use crate::view::cautions::cautions;
use crate::wear::LimitRule;

/// The sheet of a stop. What the register does not know (a component, an access) is shown by
/// its id.
pub fn sheet(register: &Register, stop: &Stop, version: &str) -> Sheet {
    let machine = register.machine(&stop.machine);
    let layout = machine.and_then(|machine| register.layout(&machine.layout));
    let steps = |of: fn(&Layout) -> &Vec<String>| layout.map(of).cloned().unwrap_or_default();
    let mut tools: Vec<String> = Vec::new();
    let mut accesses: Vec<AccessBlock> = Vec::new();
    let mut key = 0;
    for group in by_access(&stop.openings) {
        let access = group[0].access.as_deref();
        let known = access.and_then(|id| register.access(id));
        for tool in known.iter().flat_map(|access| &access.tools) {
            if !tools.contains(tool) {
                tools.push(tool.clone());
            }
        }
        let mut opened: Vec<String> = Vec::new();
        for opening in &group {
            if !opened.contains(&opening.cylinder) {
                opened.push(opening.cylinder.clone());
            }
        }
        accesses.push(AccessBlock {
            name: access.map(|id| known.map_or(id, |access| &access.name).to_owned()),
            opened,
            steps: known.map(|a| a.steps.clone()).unwrap_or_default(),
            components: components(register, &group, &mut key),
        });
    }
    let slots = stop.openings.iter().flat_map(|opening| &opening.slots);
    Sheet {
        plant: register.plant.name.clone(),
        machine: stop.machine.clone(),
        machine_name: machine.map(|m| m.name.clone()).unwrap_or_default(),
        day: stop.day.to_string(),
        as_of: stop.as_of.to_string(),
        time_zone: register.plant.time_zone.name().to_owned(),
        version: version.to_owned(),
        cautions: cautions(&register.plant.cautions),
        before: steps(|layout| &layout.before),
        after: steps(|layout| &layout.after),
        kit: kit_lines(register, stop),
        tools,
        fields: fields(register, stop),
        accesses,
        planned: slots.filter(|slot| slot.renewal.is_some()).count(),
    }
}

/// Openings of the same access together, each access where it first comes.
fn by_access(openings: &[Opening]) -> Vec<Vec<&Opening>> {
    let mut groups: Vec<Vec<&Opening>> = Vec::new();
    for opening in openings {
        let same = |group: &&mut Vec<&Opening>| group[0].access == opening.access;
        match groups.iter_mut().find(same) {
            Some(group) => group.push(opening),
            None => groups.push(vec![opening]),
        }
    }
    groups
}

fn components(register: &Register, group: &[&Opening], key: &mut u32) -> Vec<ComponentBlock> {
    let slots: Vec<&SlotAtStop> = group.iter().flat_map(|opening| &opening.slots).collect();
    let mut ids: Vec<&str> = Vec::new();
    for slot in &slots {
        if !ids.contains(&slot.component.as_str()) {
            ids.push(&slot.component);
        }
    }
    ids.into_iter()
        .map(|id| {
            let known = register.component(id);
            let own: Vec<&Measurement> = register
                .measurements
                .iter()
                .filter(|m| m.component == id)
                .collect();
            let asked = asked(&own);
            let unit = known
                .and_then(|c| register.usage(&c.usage))
                .map_or("", |usage| &usage.unit);
            let slots: Vec<SlotLine> = slots
                .iter()
                .filter(|slot| slot.component == id)
                .map(|slot| {
                    *key += 1;
                    line(slot, *key, &asked, unit)
                })
                .collect();
            let mixed = planned(&slots).is_none() && slots.iter().any(|s| s.planned.is_some());
            ComponentBlock {
                id: id.to_owned(),
                name: known.map_or(id, |c| &c.name).to_owned(),
                checks: known.map(|c| c.checks.clone()).unwrap_or_default(),
                limits: own.iter().map(|m| limit(m)).collect(),
                modes: known.map_or_else(Vec::new, |c: &Component| c.modes.clone()),
                planned: planned(&slots),
                narrow: asked.len() <= 1 && asked.iter().all(|a| !a.span && !a.new_value),
                mixed,
                measured: measured(&asked),
                labelled: asked
                    .windows(2)
                    .any(|two| two[0].quantity != two[1].quantity),
                slots,
            }
        })
        .collect()
}

/// The reason of all planned renewals, where they have one in common.
fn planned(slots: &[SlotLine]) -> Option<String> {
    let mut whys = slots
        .iter()
        .filter_map(|slot| Some((slot.planned?, slot.why.as_deref()?)));
    let (reason, why) = whys.next()?;
    let same = whys.all(|other| other == (reason, why));
    same.then(|| format!("{reason}: {why}"))
}

/// What the readings are of, where that is one quantity.
fn measured(asked: &[Asked<'_>]) -> Option<String> {
    let (first, rest) = asked.split_first()?;
    let same = rest.iter().all(|other| other.quantity == first.quantity);
    Some(if same {
        spaced(first.quantity)
    } else {
        "readings".to_owned()
    })
}

/// One reading that a component's measurements ask for.
#[derive(PartialEq)]
struct Asked<'a> {
    quantity: &'a str,
    zone: Option<&'a str>,
    unit: &'static str,
    span: bool,
    new_value: bool,
}

/// The readings to take: two rules on one reading ask for it once.
fn asked<'a>(measurements: &[&'a Measurement]) -> Vec<Asked<'a>> {
    let mut all: Vec<Asked<'a>> = Vec::new();
    for m in measurements {
        let zones = match (&m.limit, &m.zone) {
            (LimitRule::Paired { .. }, _) => {
                vec![Some(LimitRule::WORKING), Some(LimitRule::UNWORN)]
            }
            (_, zone) => vec![zone.as_deref()],
        };
        for zone in zones {
            let (span, new_value) = (
                matches!(m.limit, LimitRule::PerMetreAtMost { .. }),
                matches!(m.limit, LimitRule::LossFromNewAtMost { .. }),
            );
            let same = |a: &&mut Asked<'_>| a.quantity == m.quantity && a.zone == zone;
            match all.iter_mut().find(same) {
                Some(asked) => {
                    asked.span |= span;
                    asked.new_value |= new_value;
                }
                None => all.push(Asked {
                    quantity: &m.quantity,
                    zone,
                    unit: m.unit.symbol(),
                    span,
                    new_value,
                }),
            }
        }
    }
    all
}

fn line(slot: &SlotAtStop, key: u32, asked: &[Asked<'_>], unit: &str) -> SlotLine {
    let key = key.to_string();
    let boxes = asked.iter().enumerate().map(|(n, asked)| {
        let last = slot
            .last
            .iter()
            .find(|last| last.quantity == asked.quantity && last.zone.as_deref() == asked.zone);
        ReadingBox {
            key: format!("{key}{}", letters(n)),
            quantity: asked.quantity.to_owned(),
            label: spaced(asked.quantity),
            zone: asked.zone.map(str::to_owned),
            unit: asked.unit.to_owned(),
            span: asked.span,
            new_value: asked.new_value,
            last: last.map(|last| told(last, asked.unit)),
            verdict: last.and_then(|last| last.verdict.clone()),
        }
    });
    SlotLine {
        boxes: boxes.collect(),
        key,
        position: slot.position.clone(),
        age: slot.age.map(|age| usage(age, unit)),
        empty: slot.empty,
        planned: slot.renewal.as_ref().map(|renewal| renewal.reason.word()),
        why: slot.renewal.as_ref().map(|renewal| renewal.why.clone()),
        part: slot.part.clone(),
        trend: slot.trend.clone(),
    }
}

/// "a" to "z", then "aa".
fn letters(n: usize) -> String {
    let letter = char::from(b'a' + (n % 26) as u8);
    match n / 26 {
        0 => letter.to_string(),
        more => format!("{}{letter}", letters(more - 1)),
    }
}

fn told(last: &LastReading, unit: &str) -> String {
    // The unit of the box stands beside it; another is told.
    if last.unit == unit {
        format!("{}, {}", last.value, last.day)
    } else {
        format!("{} {}, {}", last.value, last.unit, last.day)
    }
}

fn kit_lines(register: &Register, stop: &Stop) -> Vec<KitLine> {
    stop.kit
        .iter()
        .map(|line| {
            let part = line
                .part
                .as_deref()
                .and_then(|number| register.part(number));
            let stock = part.and_then(|part| part.stock);
            KitLine {
                component: register
                    .component(&line.component)
                    .map_or(&line.component, |c| &c.name)
                    .clone(),
                part: line.part.clone(),
                pieces: line.pieces,
                stock,
                short: stock.is_some_and(|stock| stock < line.pieces),
            }
        })
        .collect()
}

/// The boxes of the stop as a whole. The job's id is proposed: what is on one sheet belongs
/// together, and a sheet entered in two goes must say the same of each entry both times.
fn fields(register: &Register, stop: &Stop) -> Vec<Field> {
    let field = |key: &str, field, label: &str, unit: &str, given: String| Field {
        key: key.to_owned(),
        field,
        what: String::new(),
        label: label.to_owned(),
        unit: unit.to_owned(),
        hint: None,
        given,
    };
    let job = format!("{} {}", stop.machine, stop.day);
    let mut all = vec![
        field("J", "job", "Job", "", job),
        field("S", "start", "Began (date, time)", "", String::new()),
        field("E", "stop", "Ended (date, time)", "", String::new()),
        field("W", "who", "Who (initials)", "", String::new()),
    ];
    for (n, meter) in stop.meters.iter().enumerate() {
        let known = register.usage(&meter.meter);
        let unit = known.map_or("", |usage| &usage.unit);
        let mut one = field(
            &format!("M{}", n + 1),
            "meter",
            known.map_or(&meter.meter, |usage| &usage.name),
            unit,
            String::new(),
        );
        one.what = meter.meter.clone();
        one.hint = meter
            .expected
            .map(|value| format!("about {}", usage(value.round(), "")));
        all.push(one);
    }
    all.push(field(
        "L",
        "labour",
        "Labour, all people",
        "h",
        String::new(),
    ));
    all.push(field(
        "D",
        "downtime",
        "Production lost",
        "h",
        String::new(),
    ));
    all
}
