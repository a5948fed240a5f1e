//! What the report says must follow from the lives and the decision it was given.
//!
//! Lives are the quantiles of a stated Weibull, so that the fit must come out near it.

use chrono::{DateTime, NaiveDate, Utc};
use wearbook::life::{Flag, LifeRow, Outcome, Sample};
use wearbook::model::Weibull;
use wearbook::model::posterior::Posterior;
use wearbook::policy::age::Costs;
use wearbook::policy::recommend;
use wearbook::policy::recommend::Terms;
use wearbook::quantity::trouble::{Severity, Trouble};
use wearbook::report::model::{Report, Verdict};
use wearbook::report::subject::{Frame, Group, IN_FULL, Kept, Leaning, Scope, Slot, Stay, Subject};
use wearbook::report::{build, render};

#[path = "report/engineer.rs"]
mod engineer;

fn day(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).expect("a date of the calendar")
}

fn moment(date: NaiveDate) -> DateTime<Utc> {
    date.and_hms_opt(8, 0, 0).expect("a time of day").and_utc()
}

fn row(machine: &str, position: &str, lo: f64, outcome: Outcome) -> LifeRow {
    LifeRow {
        machine: machine.to_owned(),
        component: "packing-set".to_owned(),
        position: position.to_owned(),
        part: None,
        batch: None,
        serial: None,
        start_time: moment(day(2022, 3, 1)),
        end_time: Some(moment(day(2023, 3, 1))),
        entry: Some(0.0),
        lo: Some(lo),
        hi: match outcome {
            Outcome::Suspension => None,
            Outcome::Failure => Some(lo),
            Outcome::Interval => Some(lo + 200.0),
        },
        outcome,
        mode: None,
        reason: Some("failed".to_owned()),
        start_sha: "a".repeat(64),
        end_sha: Some("b".repeat(64)),
        flags: Vec::new(),
    }
}

/// `n` lives at the middle quantiles of a Weibull; every third is cut short at 0.8 of itself.
fn rows(machine: &str, position: &str, n: usize, shape: f64, scale: f64) -> Vec<LifeRow> {
    let life = Weibull::new(shape, scale).expect("a Weibull");
    (0..n)
        .map(|i| {
            let usage = life.life_at((i as f64 + 0.5) / n as f64);
            match i % 3 {
                1 => row(machine, position, usage * 0.8, Outcome::Suspension),
                _ => row(machine, position, usage, Outcome::Failure),
            }
        })
        .collect()
}

fn group(
    scope: Scope,
    positions: &[&str],
    rows: &[LifeRow],
    costs: (f64, f64),
    terms: Terms,
) -> Group {
    let lives = rows.iter().filter_map(|r| r.life(None).ok()).collect();
    let sample = Sample::new(lives).expect("lives in order");
    let costs = Costs::new(costs.0, costs.1).expect("costs above 0");
    Group {
        scope,
        slots: positions
            .iter()
            .map(|p| ("H-01".to_owned(), (*p).to_owned()))
            .collect(),
        recommendation: recommend(&sample, costs, &terms),
        sample,
        costs,
        planned_from: "mean of 14 preventive jobs in the ledger".to_owned(),
        failed_from: "register".to_owned(),
        terms,
        apart: None,
        modes: Vec::new(),
        leaning: None,
        look: None,
        kept: Kept::default(),
    }
}

fn subject(rows: Vec<LifeRow>, costs: (f64, f64), terms: Terms) -> Subject {
    Subject {
        id: "packing-set".to_owned(),
        name: "Plunger packing set".to_owned(),
        usage: "Running hours".to_owned(),
        unit: "h".to_owned(),
        since: Some(day(2022, 3, 1)),
        slots: ["P1", "P2"]
            .into_iter()
            .map(|position| Slot {
                machine: "H-01".to_owned(),
                position: position.to_owned(),
                stays: vec![
                    Stay {
                        start: day(2022, 3, 1),
                        end: Some(day(2023, 3, 1)),
                        reason: Some("worn".to_owned()),
                        found: Some("inspection".to_owned()),
                        age_unknown: true,
                    },
                    Stay {
                        start: day(2023, 3, 1),
                        end: None,
                        reason: None,
                        found: None,
                        age_unknown: false,
                    },
                ],
                usage_a_year: Some(4_000.0),
            })
            .collect(),
        excluded: Vec::new(),
        groups: vec![group(
            Scope::Pool(Vec::new()),
            &["P1", "P2"],
            &rows,
            costs,
            terms,
        )],
        rows,
        present: Some(2_500.0),
        ceiling: None,
        prior: None,
        grid: Some(250.0),
        successive: None,
        rate: None,
        tried: None,
        alike: None,
    }
}

fn frame() -> Frame {
    Frame {
        plant: "Quillmoor Oat Works".to_owned(),
        currency: "EUR".to_owned(),
        as_of: day(2026, 11, 24),
        time_zone: "Europe/London".to_owned(),
        version: "wearbook 0.1.0".to_owned(),
        ledgers: vec!["sample-ledger".to_owned()],
        confidence: 0.9,
        heads: vec![(
            "books/line-1.jsonl".to_owned(),
            1_204,
            "7c19e0b2a4f1ffff".to_owned(),
        )],
        cautions: Vec::new(),
        findings: Vec::new(),
        about: Default::default(),
        in_full: Some(IN_FULL),
    }
}

const GRID: Terms = Terms {
    grid: Some(250.0),
    ..terms()
};

const fn terms() -> Terms {
    Terms {
        sure: 0.8,
        confidence: 0.9,
        grid: None,
        ceiling: None,
        prior: wearbook::model::posterior::ShapePrior::DECISION,
    }
}

fn report_of(subjects: &[Subject]) -> Report {
    let report = build(&frame(), subjects);
    render(&report).expect("what is built can be set");
    report
}

#[test]
fn wear_with_dear_failures_is_to_be_renewed() {
    let subject = subject(rows("H-01", "P1", 30, 3.0, 2_000.0), (400.0, 3_000.0), GRID);
    let found = &subject.groups[0].recommendation;
    let report = report_of(std::slice::from_ref(&subject));
    let row = &report.recommendations[0];
    assert_eq!(row.verdict, Verdict::Renew);
    let interval = found.interval.expect("an interval");
    assert_eq!(interval % 250.0, 0.0);
    assert_eq!(
        row.interval.as_deref(),
        Some(format!("{} h", wearbook::chart::number(interval, 0)).as_str())
    );
    assert_eq!((row.lives, row.failures), (30, 20));
    assert_eq!(row.present.as_deref(), Some("2,500 h"));
    let saving = found.decision.as_ref().expect("a decision").saving_rate;
    assert_eq!(
        row.saving.as_ref().map(|s| s.value.clone()),
        Some(wearbook::chart::number(saving.median * 1_000.0, 0))
    );
    assert!(
        report.summary[0].contains("instead of every 2,500 h"),
        "{:?}",
        report.summary
    );
    assert!(report.summary.len() >= 3 && report.summary.len() <= 4);
    let section = &report.components[0];
    assert!(section.findings[0].contains("It wears out"));
    assert!(section.findings[0].contains("7.5 times"));
    assert!(
        section
            .findings
            .iter()
            .any(|f| f.contains("within 5 % of the least"))
    );

    // The charts hold the same numbers.
    let group = &section.groups[0];
    let plot = &group.probability;
    assert_eq!((plot.failures.len(), plot.suspensions.len()), (20, 10));
    let b10 = plot.b10.expect("a fitted line");
    let truth = Weibull::new(3.0, 2_000.0).expect("a Weibull").life_at(0.1);
    assert!((b10 / truth - 1.0).abs() < 0.25, "{b10} for {truth}");
    let at_tenth = plot
        .band
        .iter()
        .find(|r| (r.fraction - 0.1).abs() < 1e-9)
        .expect("limits of B10");
    assert!(at_tenth.lower < b10 && b10 < at_tenth.upper);
    assert!(
        plot.line
            .windows(2)
            .all(|p| p[0].0 < p[1].0 && p[0].1 < p[1].1)
    );
    let curve = group.cost.as_ref().expect("a cost curve");
    let cost_near = |usage: f64| {
        let near = |p: &&wearbook::chart::CostPoint| (p.usage - usage).abs();
        let nearest = curve
            .points
            .iter()
            .min_by(|a, b| near(a).total_cmp(&near(b)));
        nearest.expect("points").expected
    };
    let words = section.findings.join(" ");
    let more = words
        .split_once("is expected to cost ")
        .and_then(|(_, rest)| rest.split_once(" % more"))
        .map(|(percent, _)| percent.parse::<f64>().expect("a number"));
    let rough = 100.0 * (cost_near(2_500.0) / cost_near(interval) - 1.0);
    assert!(
        (more.expect("today's cost") - rough).abs() < 5.0,
        "{words} {rough}"
    );
    assert_eq!(curve.recommended, found.interval);
    let (at, least) = curve.least.expect("a least point");
    assert_eq!(Some(at), found.optimum);
    assert!(least < curve.run_to_failure.expect("a level"));
    assert!(
        curve
            .points
            .iter()
            .all(|p| p.lower <= p.expected && p.expected <= p.upper && p.expected >= least * 0.999)
    );
}

#[test]
fn early_failures_are_called_so_and_left_in() {
    let lives = rows("H-01", "P1", 60, 0.6, 2_000.0);
    let report = report_of(&[subject(lives, (400.0, 900.0), GRID)]);
    assert_eq!(report.recommendations[0].verdict, Verdict::RunToFailure);
    assert_eq!(report.recommendations[0].saving, None);
    let words = report.components[0].findings.join(" ");
    assert!(words.contains("Leave it in until it fails"), "{words}");
    assert!(words.contains("Failures come early in life"), "{words}");
    assert!(
        report
            .summary
            .iter()
            .any(|s| s.contains("Leave in until they fail: plunger packing set"))
    );
}

#[test]
fn no_failure_is_not_enough_evidence() {
    let lives: Vec<_> = [900.0, 1_400.0, 2_100.0]
        .into_iter()
        .map(|usage| row("H-01", "P1", usage, Outcome::Suspension))
        .collect();
    let report = report_of(&[subject(lives, (400.0, 3_000.0), GRID)]);
    let row = &report.recommendations[0];
    assert_eq!(row.verdict, Verdict::NotEnoughEvidence);
    assert_eq!((row.interval.clone(), row.chance.clone()), (None, None));
    let section = &report.components[0];
    assert!(section.findings[0].contains("no failure in 3 lives and 4,400 h of running"));
    assert!(section.groups[0].cost.is_none());
    assert!(section.groups[0].probability.line.is_empty());
    assert_eq!(section.groups[0].probability.suspensions.len(), 3);
}

#[test]
fn one_failure_has_a_decision_but_no_line() {
    let mut lives: Vec<_> = (1..6)
        .map(|i| row("H-01", "P1", 400.0 * f64::from(i), Outcome::Suspension))
        .collect();
    lives.push(row("H-01", "P2", 1_900.0, Outcome::Failure));
    let report = report_of(&[subject(lives, (400.0, 3_000.0), GRID)]);
    let section = &report.components[0];
    assert!(report.recommendations[0].chance.is_some());
    assert!(section.groups[0].probability.line.is_empty());
    assert!(section.groups[0].cost.is_some());
    assert!(section.notes.iter().any(|n| n.contains("With one failure")));
}

/// Two failures leave the median life without a useful upper end; no figure pretends to one.
#[test]
fn a_median_without_an_upper_end_is_said_so() {
    let lives = vec![
        row("H-01", "P1", 900.0, Outcome::Failure),
        row("H-01", "P1", 2_000.0, Outcome::Failure),
        row("H-01", "P1", 2_100.0, Outcome::Suspension),
        row("H-01", "P1", 2_200.0, Outcome::Suspension),
        row("H-01", "P1", 2_300.0, Outcome::Suspension),
    ];
    let report = report_of(&[subject(lives, (400.0, 3_000.0), GRID)]);
    let median = report.components[0].positions[0].median_life.as_ref();
    let median = median.expect("two failures");
    assert!(median.value.starts_with("over "), "{median:?}");
    assert!(median.lower.is_empty() && median.upper.is_empty());
}

#[test]
fn a_slot_set_apart_has_a_row_and_a_block_of_its_own() {
    let slow = rows("H-01", "P1", 30, 3.0, 3_000.0);
    let fast = rows("H-01", "P2", 18, 3.0, 1_200.0);
    let mut subject = subject(slow.clone(), (400.0, 3_000.0), GRID);
    subject.groups[0].scope = Scope::Pool(vec!["H-01 P2".to_owned()]);
    subject.groups[0].slots.pop();
    let mut apart = group(
        Scope::Place("H-01 P2".to_owned()),
        &["P2"],
        &fast,
        (400.0, 3_000.0),
        GRID,
    );
    apart.apart = Some((0.0004, 0.4));
    subject.groups.push(apart);
    subject.rows.extend(fast);
    let report = report_of(&[subject]);
    assert_eq!(report.recommendations.len(), 2);
    let row = report
        .recommendations
        .iter()
        .find(|r| r.positions == "H-01 P2")
        .expect("a row for the slot");
    assert_eq!(
        row.note.as_deref(),
        Some("lasts about 40 % as long as the others")
    );
    let section = &report.components[0];
    assert_eq!(section.groups[0].title, "All positions but H-01 P2");
    assert!(section.groups[1].why.contains("p below 0.001"));
    assert_eq!(section.data.lives, 48);
    let interval = |position: &str| {
        let row = section.positions.iter().find(|p| p.position == position);
        row.and_then(|r| r.interval.clone()).expect("an interval")
    };
    assert_ne!(interval("P1"), interval("P2"));
    // Thirty lives hold the median within limits worth their digits.
    let of = |position: &str| {
        let row = section.positions.iter().find(|p| p.position == position);
        row.and_then(|r| r.median_life.clone()).expect("a median")
    };
    assert!(!of("P1").lower.is_empty());
}

#[test]
fn positions_that_lean_have_rows_of_their_own_and_say_how_far() {
    let slow = rows("H-01", "P1", 6, 3.0, 3_000.0);
    let fast = rows("H-01", "P2", 4, 3.0, 1_200.0);
    let mut subject = subject(
        [slow.clone(), fast.clone()].concat(),
        (400.0, 3_000.0),
        GRID,
    );
    subject.groups[0].slots.clear();
    for (position, rows, borrowed) in [("P1", slow, 0.2), ("P2", fast, 0.35)] {
        let place = Scope::Place(format!("position {position}"));
        let mut leaning = group(place, &[position], &rows, (400.0, 3_000.0), GRID);
        leaning.leaning = Some(Leaning {
            posterior: Posterior::new(&leaning.sample, GRID.prior).expect("failures"),
            borrowed: vec![borrowed],
        });
        subject.groups.push(leaning);
    }
    let report = report_of(&[subject]);
    assert_eq!(report.recommendations.len(), 2);
    assert!(
        report
            .recommendations
            .iter()
            .any(|row| row.positions == "position P2"
                && row.note.as_deref()
                    == Some("35 % of its estimate is borrowed from the siblings"))
    );
    let section = &report.components[0];
    assert!(
        section.findings[0].contains("20 to 35 % of an estimate is borrowed"),
        "{:?}",
        section.findings
    );
    assert!(section.groups[0].cost.is_none() && section.groups[1].cost.is_some());
    assert_eq!(section.groups[1].title, "Position P1");
    let interval = |n: usize| section.positions[n].interval.clone().expect("an interval");
    assert_ne!(interval(0), interval(1));
}

#[test]
fn a_batch_set_apart_is_shown_but_recommends_nothing() {
    let good = rows("H-01", "P1", 30, 3.0, 3_000.0);
    let bad = rows("H-01", "P2", 12, 3.0, 600.0);
    let mut subject = subject(good, (400.0, 3_000.0), GRID);
    subject.groups[0].scope = Scope::Pool(vec!["batch VS-17".to_owned()]);
    let mut batch = group(
        Scope::Batch("VS-17".to_owned()),
        &[],
        &bad,
        (400.0, 3_000.0),
        GRID,
    );
    batch.apart = Some((0.002, 0.2));
    subject.groups.push(batch);
    let report = report_of(&[subject]);
    assert_eq!(report.recommendations.len(), 1);
    assert_eq!(
        report.recommendations[0].positions,
        "all positions but batch VS-17"
    );
    let section = &report.components[0];
    assert_eq!(section.groups[1].title, "Batch VS-17");
    assert!(section.groups[1].why.contains("p = 0.002"));
    assert!(section.groups[1].cost.is_none());
    assert!(
        section
            .findings
            .iter()
            .any(|f| f.contains("Batch VS-17 is set apart"))
    );
    assert!(
        section
            .positions
            .iter()
            .all(|p| p.verdict == Verdict::Renew)
    );
}

#[test]
fn a_ceiling_holds_and_is_explained() {
    let terms = Terms {
        ceiling: Some(600.0),
        ..GRID
    };
    let mut subject = subject(
        rows("H-01", "P1", 30, 3.0, 2_000.0),
        (400.0, 3_000.0),
        terms,
    );
    subject.ceiling = Some((600.0, "maker's manual".to_owned()));
    let report = report_of(&[subject]);
    assert_eq!(report.recommendations[0].interval.as_deref(), Some("500 h"));
    let section = &report.components[0];
    assert!(
        section
            .notes
            .iter()
            .any(|n| n.contains("beyond the ceiling of 600 h"))
    );
    assert!(
        section
            .assumed
            .iter()
            .any(|a| a.name == "Ceiling" && a.from == "maker's manual")
    );
}

#[test]
fn lives_left_out_are_counted_with_the_reason() {
    let mut lives = rows("H-01", "P1", 12, 2.0, 2_000.0);
    let mut unknown = row("H-01", "P2", 0.0, Outcome::Failure);
    unknown.flags = vec![Flag::UnknownAge];
    (unknown.entry, unknown.lo, unknown.hi) = (None, None, None);
    lives.push(unknown);
    let mut subject = subject(lives, (400.0, 3_000.0), GRID);
    subject.excluded = vec![(Flag::UnknownAge, 1)];
    let report = report_of(&[subject]);
    let data = &report.components[0].data;
    assert_eq!((data.lives, data.excluded.len()), (13, 1));
    assert_eq!(data.excluded[0].why, "usage at the start unknown");
    assert_eq!(report.recommendations[0].lives, 12);
}

#[test]
fn findings_of_one_kind_share_a_row_and_errors_come_first() {
    let mut frame = frame();
    let trouble = |kind, severity, what: &str| {
        Trouble::error(kind, what)
            .with_severity(severity)
            .in_file("books/line-1.jsonl")
    };
    frame.findings = vec![
        trouble("gap", Severity::Note, "no reading for 9 weeks"),
        trouble("gap", Severity::Note, "no reading for 7 weeks"),
        trouble(
            "meter-backwards",
            Severity::Warning,
            "hour meter runs backwards",
        ),
    ];
    let report = build(&frame, &[]);
    let kinds: Vec<_> = report
        .quality
        .findings
        .iter()
        .map(|f| (f.what.as_str(), f.count))
        .collect();
    assert_eq!(
        kinds,
        [
            ("hour meter runs backwards", 1),
            ("no reading for 9 weeks", 2)
        ]
    );
    assert!(report.quality.summary.contains("1 warning and 2 notes"));
}

#[test]
fn the_most_worthwhile_stands_first() {
    let mut small = subject(rows("H-01", "P1", 30, 3.0, 2_000.0), (40.0, 300.0), GRID);
    small.name = "Spring".to_owned();
    let large = subject(rows("H-01", "P1", 30, 3.0, 2_000.0), (400.0, 3_000.0), GRID);
    let report = report_of(&[small, large]);
    let names: Vec<_> = report
        .recommendations
        .iter()
        .map(|r| r.component.as_str())
        .collect();
    assert_eq!(names, ["Plunger packing set", "Spring"]);
}
