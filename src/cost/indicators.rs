//! The trade's standard indicators, each by its standard's name and formula.
//!
//! In: [`Work`], what a period's record adds up to. Out: [`Indicator`]s in one order, each with a
//! value or with the reason why the record cannot give one. Never: dates, SQL, printing.
//!
//! Source: EN 15341:2007, *Maintenance key performance indicators* (numbers and formulas from
//! memory); words after EN 13306. Maintenance cost is parts, labour, extra cost and expenses;
//! lost production stands apart, as unavailability cost does there.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// What a period's record adds up to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Work {
    /// Usage run; `None`: unknown.
    pub operating: Option<f64>,
    /// Unit of that usage.
    pub unit: String,
    /// Corrective jobs, and renewals a failure forced outside jobs.
    pub failures: u64,
    /// Limits of operating time between failures; an upper end may be open.
    pub between_limits: Option<(f64, Option<f64>)>,
    /// Hours from start to stop of those corrective jobs that state both.
    pub restored_h: Vec<f64>,
    pub corrective_labour_h: Decimal,
    pub preventive_labour_h: Decimal,
    /// Jobs that state no hours of labour.
    pub without_labour: u64,
    pub downtime_h: Decimal,
    /// Maintenance cost of each kind, lost production left out.
    pub corrective: Decimal,
    pub preventive: Decimal,
    pub other: Decimal,
    /// Cost of lost production.
    pub lost: Decimal,
    /// Code of the money.
    pub currency: String,
    /// What was put through, and its unit; `None`: no meter counts it.
    pub output: Option<(f64, String)>,
    /// Failures that came within so much usage after the last failure of their slot: how many, of
    /// how many that followed one, within what.
    pub repeats: Option<(u64, u64, f64)>,
}

/// One indicator.
#[derive(Debug, Clone, PartialEq)]
pub struct Indicator {
    /// Fixed: a program may look for it.
    pub id: &'static str,
    pub name: &'static str,
    /// `None`: see the note.
    pub value: Option<f64>,
    pub limits: Option<(f64, Option<f64>)>,
    /// Empty: a share.
    pub unit: String,
    pub formula: &'static str,
    pub source: &'static str,
    pub note: Option<String>,
}

/// All indicators, those that the record cannot give too.
pub fn indicators(work: &Work) -> Vec<Indicator> {
    let mut found = reliability(work);
    found.extend(effort(work));
    found.extend(money(work));
    found.extend(unsupported());
    found
}

fn reliability(work: &Work) -> Vec<Indicator> {
    let unit = || work.unit.clone();
    let failures = work.failures as f64;
    let no_usage = || Some("no meter tells what was run".to_owned());
    let between = work.operating.filter(|_| work.failures > 0);
    let restored = work.restored_h.len();
    let sum: f64 = work.restored_h.iter().sum();
    let downtime = work.downtime_h.to_f64().unwrap_or(f64::NAN);
    let in_hours = work.unit == "h";
    let available = work.operating.filter(|_| in_hours);
    vec![
        Indicator {
            id: "mean-operating-time-between-failures",
            name: "Mean operating time between failures",
            value: between.map(|usage| usage / failures),
            limits: work.between_limits,
            unit: unit(),
            formula: "operating time ÷ failures",
            source: "EN 15341:2007 T17",
            note: match (work.operating, work.failures) {
                (None, _) => no_usage(),
                (_, 0) => Some("no failure in the period: only a lower limit".into()),
                _ => None,
            },
        },
        Indicator {
            id: "mean-time-to-restore",
            name: "Mean time to restore",
            value: (restored > 0).then(|| sum / restored as f64),
            limits: None,
            unit: "h".into(),
            formula: "time from start to stop of corrective jobs ÷ their number",
            source: "EN 15341:2007 T21",
            note: match (restored as u64, work.failures) {
                (0, _) => Some("no corrective job states start and stop".into()),
                (some, all) if some < all => {
                    Some(format!("{some} of {all} failures state start and stop"))
                }
                _ => None,
            },
        },
        Indicator {
            id: "availability-related-to-maintenance",
            name: "Availability related to maintenance",
            value: available
                .filter(|usage| usage + downtime > 0.0)
                .map(|usage| usage / (usage + downtime)),
            limits: None,
            unit: String::new(),
            formula: "operating time ÷ (operating time + downtime due to maintenance)",
            source: "EN 15341:2007 T1",
            note: match (work.operating, in_hours) {
                (None, _) => no_usage(),
                (_, false) => Some(format!("the meter counts {}, not hours", work.unit)),
                _ => Some("downtime is the production hours that jobs state as lost".into()),
            },
        },
        Indicator {
            id: "repeat-failures",
            name: "Failures soon after a failure",
            value: work.repeats.map(|(soon, _, _)| soon as f64),
            limits: None,
            unit: String::new(),
            formula: "failures of a slot whose item had run less than the stated usage since a \
                      failure there",
            source: "common practice",
            note: Some(match work.repeats {
                Some((_, of, within)) => {
                    format!(
                        "within {within} {}, of {of} that followed a failure",
                        work.unit
                    )
                }
                None => "ask for it: --repeat-within USAGE".into(),
            }),
        },
    ]
}

fn effort(work: &Work) -> Vec<Indicator> {
    let all = work.corrective_labour_h + work.preventive_labour_h;
    let share = |part: Decimal| share(part, all);
    let note = match (all.is_zero(), work.without_labour) {
        (true, _) => Some("no job states hours of labour".to_owned()),
        (_, 0) => None,
        (_, 1) => Some("1 job states no hours of labour".into()),
        (_, n) => Some(format!("{n} jobs state no hours of labour")),
    };
    vec![
        Indicator {
            id: "preventive-share-of-labour",
            name: "Planned (preventive) share of work",
            value: share(work.preventive_labour_h),
            limits: None,
            unit: String::new(),
            formula: "hours of labour in preventive jobs ÷ all hours of labour",
            source: "EN 15341:2007 O18",
            note: note.clone(),
        },
        Indicator {
            id: "corrective-share-of-labour",
            name: "Corrective share of work",
            value: share(work.corrective_labour_h),
            limits: None,
            unit: String::new(),
            formula: "hours of labour in corrective jobs ÷ all hours of labour",
            source: "EN 15341:2007 O16",
            note,
        },
    ]
}

fn money(work: &Work) -> Vec<Indicator> {
    let all = work.corrective + work.preventive + work.other;
    let per_output = |money: Decimal| {
        let (output, _) = work.output.as_ref().filter(|(output, _)| *output > 0.0)?;
        Some(money.to_f64()? / output)
    };
    let output_unit = match &work.output {
        Some((_, unit)) => format!("{} per {unit}", work.currency),
        None => work.currency.clone(),
    };
    let no_output = match &work.output {
        None => Some(
            "no meter counts what was put through: register a usage counted in a volume or mass"
                .to_owned(),
        ),
        Some((output, _)) if *output <= 0.0 => Some("nothing was put through".into()),
        Some(_) => None,
    };
    let no_money = all.is_zero().then(|| "nothing was spent".to_owned());
    let of_cost = |id, name, part, formula, source| Indicator {
        id,
        name,
        value: share(part, all),
        limits: None,
        unit: String::new(),
        formula,
        source,
        note: no_money.clone(),
    };
    let by_output = |id, name, money, formula, source| Indicator {
        id,
        name,
        value: per_output(money),
        limits: None,
        unit: output_unit.clone(),
        formula,
        source,
        note: no_output.clone(),
    };
    vec![
        of_cost(
            "preventive-share-of-cost",
            "Preventive share of maintenance cost",
            work.preventive,
            "preventive maintenance cost ÷ total maintenance cost",
            "EN 15341:2007 E16",
        ),
        of_cost(
            "corrective-share-of-cost",
            "Corrective share of maintenance cost",
            work.corrective,
            "corrective maintenance cost ÷ total maintenance cost",
            "EN 15341:2007 E15",
        ),
        by_output(
            "cost-per-output",
            "Maintenance cost per output",
            all,
            "total maintenance cost ÷ quantity of output",
            "EN 15341:2007 E3",
        ),
        by_output(
            "cost-and-loss-per-output",
            "Maintenance and unavailability cost per output",
            all + work.lost,
            "(total maintenance cost + unavailability cost) ÷ quantity of output",
            "EN 15341:2007 E4",
        ),
    ]
}

/// What a ledger has no word for.
fn unsupported() -> Vec<Indicator> {
    let none = |id, name, formula, source, note: &str| Indicator {
        id,
        name,
        value: None,
        limits: None,
        unit: String::new(),
        formula,
        source,
        note: Some(note.into()),
    };
    vec![
        none(
            "cost-per-replacement-value",
            "Maintenance cost of the replacement value",
            "total maintenance cost ÷ asset replacement value",
            "EN 15341:2007 E1",
            "a register holds no replacement value of a machine",
        ),
        none(
            "waiting-for-parts",
            "Time waited for parts",
            "hours of downtime spent waiting for parts ÷ hours of downtime",
            "common practice",
            "a job has no entry for waiting: its hours are not told apart",
        ),
    ]
}

fn share(part: Decimal, whole: Decimal) -> Option<f64> {
    if whole.is_zero() {
        return None;
    }
    (part / whole).to_f64()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn work() -> Work {
        Work {
            operating: Some(9_900.0),
            unit: "h".into(),
            failures: 9,
            restored_h: vec![2.0, 4.0, 6.0],
            corrective_labour_h: Decimal::from(30),
            preventive_labour_h: Decimal::from(90),
            downtime_h: Decimal::from(100),
            corrective: Decimal::from(4_000),
            preventive: Decimal::from(5_000),
            other: Decimal::from(1_000),
            lost: Decimal::from(30_000),
            currency: "EUR".into(),
            output: Some((20_000.0, "m3".into())),
            ..Work::default()
        }
    }

    fn value(found: &[Indicator], id: &str) -> Option<f64> {
        let one = found.iter().find(|one| one.id == id).expect(id);
        assert!(one.value.is_some() || one.note.is_some(), "{id}");
        one.value
    }

    #[test]
    fn formulas_as_worked_by_hand() {
        let found = indicators(&work());
        for (id, expected) in [
            ("mean-operating-time-between-failures", 1_100.0),
            ("mean-time-to-restore", 4.0),
            ("availability-related-to-maintenance", 0.99),
            ("preventive-share-of-labour", 0.75),
            ("corrective-share-of-labour", 0.25),
            ("preventive-share-of-cost", 0.5),
            ("corrective-share-of-cost", 0.4),
            ("cost-per-output", 0.5),
            ("cost-and-loss-per-output", 2.0),
        ] {
            let got = value(&found, id).expect(id);
            assert!((got - expected).abs() < 1e-12, "{id}: {got}");
        }
    }

    /// What the record cannot give has a reason in its place, never a number.
    #[test]
    fn without_a_record_there_are_reasons_only() {
        for one in indicators(&Work::default()) {
            assert_eq!(one.value, None, "{}", one.id);
            assert!(one.note.is_some(), "{}", one.id);
        }
        let mut starts = work();
        starts.unit = "starts".into();
        assert_eq!(
            value(&indicators(&starts), "availability-related-to-maintenance"),
            None
        );
    }
}
