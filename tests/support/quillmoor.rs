//! A report of the fictional Quillmoor Oat Works with every case the page must set: renew, run to
//! failure, not enough evidence, an exceptional slot, no failure at all, long names, many rows.
//! All figures are invented; the curves follow from a stated Weibull so that they look like life.

use chrono::{Days, NaiveDate};
use wearbook::chart::{
    CostCurve, CostPoint, Ending, HazardCurve, HazardPoint, IntervalMark, Lane, LaneBar,
    LifeLimits, ProbabilityPlot, SlotHistory,
};
use wearbook::report::component::model::{
    LifeTable, LifeTableRow, ModeRow, ModelRow, OtherRow, Others, TestRow,
};
use wearbook::report::model::{
    Assumption, BookHead, ComponentSection, DataCounts, EvidenceGroup, Excluded, FitFigure,
    Limited, PositionRow, Quality, QualityFinding, Recommendation, Report, Verdict,
};
use wearbook::report::words;

/// xorshift, so that the fixture needs no seedable generator of its own.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
}

fn day(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).expect("a date of the calendar")
}

fn limited(value: &str, lower: &str, upper: &str) -> Limited {
    Limited {
        value: value.to_owned(),
        lower: lower.to_owned(),
        upper: upper.to_owned(),
    }
}

fn text(s: &str) -> Option<String> {
    Some(s.to_owned())
}

/// A plot of `lives` draws from a Weibull, cut short at about `kept` of its scale.
fn plot(name: &str, lives: usize, shape: f64, scale: f64, kept: f64, seed: u64) -> ProbabilityPlot {
    let mut draw = Draw(seed);
    let mut drawn: Vec<(f64, bool)> = (0..lives)
        .map(|_| {
            let life = scale * (-draw.next().ln()).powf(1.0 / shape);
            let cut = scale * kept * (0.5 + draw.next());
            (life.min(cut), life < cut)
        })
        .collect();
    drawn.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = lives as f64;
    let mut rank = 0.0;
    let (mut failures, mut intervals, mut suspensions) = (Vec::new(), Vec::new(), Vec::new());
    for (i, (usage, failed)) in drawn.iter().enumerate() {
        if !failed {
            suspensions.push(*usage);
            continue;
        }
        rank += (n + 1.0 - rank) / (1.0 + n - i as f64);
        let position = (rank - 0.3) / (n + 0.4);
        if failures.len() % 4 == 2 && intervals.len() * 4 < failures.len() {
            intervals.push(IntervalMark {
                lo: usage * 0.75,
                hi: usage * 1.1,
                position,
            });
        } else {
            failures.push((*usage, position));
        }
    }
    let found = (failures.len() + intervals.len()) as f64;
    let (mut line, mut band) = (Vec::new(), Vec::new());
    if found >= 2.0 {
        let spread = |y: f64| (0.5 + 0.12 * y * y).sqrt() * 1.5 / found.sqrt() / shape;
        let mut levels: Vec<f64> = (0..45).map(|i| -7.0 + f64::from(i) * 9.0 / 44.0).collect();
        levels.push((-(0.9f64.ln())).ln());
        levels.sort_by(f64::total_cmp);
        for y in levels {
            let (fraction, usage) = (-(-y.exp()).exp_m1(), scale * (y / shape).exp());
            if fraction < 1.0 {
                line.push((usage, fraction));
                band.push(LifeLimits {
                    fraction,
                    lower: usage * (-spread(y)).exp(),
                    upper: usage * spread(y).exp(),
                });
            }
        }
    }
    ProbabilityPlot {
        id: String::new(),
        title: format!("{name}: how lives spread"),
        usage_label: "Running hours (h)".to_owned(),
        usage_unit: "h".to_owned(),
        b10: (!line.is_empty()).then(|| scale * (-(0.9f64.ln())).powf(1.0 / shape)),
        failures,
        intervals,
        suspensions,
        line,
        band,
        line_name: String::new(),
        band_name: "90 % limits".to_owned(),
        estimate: None,
        all: None,
    }
}

/// Age-replacement cost per 1,000 h by the trapezium rule.
fn rate(interval: f64, shape: f64, scale: f64, planned: f64, failed: f64) -> f64 {
    let survive = |t: f64| (-(t / scale).powf(shape)).exp();
    let steps = 300;
    let mean: f64 = (0..steps)
        .map(|i| survive(interval * (f64::from(i) + 0.5) / f64::from(steps)))
        .sum::<f64>()
        * interval
        / f64::from(steps);
    let r = survive(interval);
    (planned * r + failed * (1.0 - r)) / mean * 1_000.0
}

fn curve(name: &str, shape: f64, scale: f64, planned: f64, failed: f64) -> CostCurve {
    let points: Vec<CostPoint> = (1..=110)
        .map(|i| {
            let usage = scale * 2.2 * f64::from(i) / 110.0;
            let a = rate(usage, shape * 1.25, scale * 1.15, planned, failed);
            let b = rate(usage, shape * 0.85, scale * 0.85, planned, failed);
            let expected = rate(usage, shape, scale, planned, failed);
            CostPoint {
                usage,
                expected,
                lower: a.min(b).min(expected) * 0.97,
                upper: a.max(b).max(expected) * 1.03,
            }
        })
        .collect();
    let least = points
        .iter()
        .min_by(|a, b| a.expected.total_cmp(&b.expected))
        .map(|p| (p.usage, p.expected))
        .expect("points");
    let near: Vec<f64> = points
        .iter()
        .filter(|p| p.expected < least.1 * 1.05)
        .map(|p| p.usage)
        .collect();
    CostCurve {
        id: String::new(),
        title: format!("{name}: cost against interval"),
        usage_label: "Interval to renew (running hours)".to_owned(),
        usage_unit: "h".to_owned(),
        cost_label: "Cost (EUR per 1,000 h)".to_owned(),
        cost_unit: "EUR per 1,000 h".to_owned(),
        band_name: "90 % limits".to_owned(),
        least: Some(least),
        recommended: None,
        near_optimal: near.first().copied().zip(near.last().copied()),
        near_optimal_name: "within 5 % of the least".to_owned(),
        ceiling: None,
        present: None,
        run_to_failure: points.last().map(|p| p.expected),
        points,
    }
}

fn history(name: &str, slots: &[(String, String)], days: f64, seed: u64) -> SlotHistory {
    let mut draw = Draw(seed);
    let last = day(2026, 11, 24);
    let lanes = slots
        .iter()
        .enumerate()
        .map(|(i, (machine, position))| {
            let mut start = day(2021, 1, 4);
            let mut bars = Vec::new();
            while start < last {
                let run = 20.0 + days * 2.0 * draw.next();
                let end = start + Days::new(run as u64);
                let kinds = [
                    Ending::FailedRunning,
                    Ending::Planned,
                    Ending::FoundAtInspection,
                    Ending::Planned,
                    Ending::Opportunity,
                ];
                let ending = if end >= last {
                    Ending::StillIn
                } else {
                    kinds[(draw.next() * 5.0) as usize]
                };
                bars.push(LaneBar {
                    start,
                    end: end.min(last),
                    ending,
                    age_unknown: bars.is_empty() && i % 4 == 1,
                });
                start = end;
            }
            Lane {
                label: format!("{machine} {position}"),
                bars,
            }
        })
        .collect();
    SlotHistory {
        id: String::new(),
        title: format!("{name}: items in their slots"),
        lanes,
    }
}

fn slots(machines: &[(&str, usize)]) -> Vec<(String, String)> {
    machines
        .iter()
        .flat_map(|(tag, plungers)| {
            (1..=*plungers).map(move |p| ((*tag).to_owned(), format!("P{p}")))
        })
        .collect()
}

fn costs() -> Vec<Assumption> {
    vec![
        Assumption {
            name: "Planned cost".to_owned(),
            value: "EUR 782".to_owned(),
            from: "mean of 14 preventive jobs in the ledger".to_owned(),
        },
        Assumption {
            name: "Failure cost".to_owned(),
            value: "EUR 3,132".to_owned(),
            from: "register: parts, labour, 6 h of stop at EUR 420, extra cost".to_owned(),
        },
        Assumption {
            name: "Shape before the record".to_owned(),
            value: "0.75 to 5.4".to_owned(),
            from: "weak prior, nine times in ten".to_owned(),
        },
        Assumption {
            name: "Planning grid".to_owned(),
            value: "250 h".to_owned(),
            from: "register".to_owned(),
        },
    ]
}

fn fit(meaning: &str, shape: Limited, scale: Limited, b10: Limited) -> Vec<FitFigure> {
    vec![
        FitFigure {
            name: "Shape".to_owned(),
            value: shape,
            meaning: meaning.to_owned(),
        },
        FitFigure {
            name: "Scale (h)".to_owned(),
            value: scale,
            meaning: "63.2 % have failed by then".to_owned(),
        },
        FitFigure {
            name: "B10 (h)".to_owned(),
            value: b10,
            meaning: "10 % have failed by then".to_owned(),
        },
    ]
}

fn hazard(name: &str, shape: f64, scale: f64) -> HazardCurve {
    let at = |usage: f64| 1_000.0 * shape / scale * (usage / scale).powf(shape - 1.0);
    HazardCurve {
        title: format!("{name}: failure rate against age"),
        x_title: "Age in running hours (h)".to_owned(),
        y_title: "Failures per 1,000 h".to_owned(),
        limits_name: "90 % limits".to_owned(),
        points: (1..=40)
            .map(|n| {
                let usage = scale * f64::from(n) / 30.0;
                HazardPoint {
                    usage,
                    value: at(usage),
                    lower: 0.7 * at(usage),
                    upper: 1.5 * at(usage),
                }
            })
            .collect(),
        failures: (1..30).map(|n| scale * f64::from(n) / 24.0).collect(),
        suspensions: (1..12).map(|n| scale * f64::from(n) / 10.0).collect(),
        interval: Some((0.6 * scale, "recommended 1,750 h".to_owned())),
        ..HazardCurve::default()
    }
}

fn models() -> Vec<ModelRow> {
    let row = |name: &str, parameters, behind: &str, b10: &str| ModelRow {
        name: name.to_owned(),
        parameters,
        behind: behind.to_owned(),
        b10: b10.to_owned(),
        used: name == "Weibull",
    };
    vec![
        row("Weibull", 2, "0.0", "1,190"),
        row("Weibull with a failure-free start", 3, "1.7", "1,170"),
        row("exponential (no wear)", 1, "39.1", "483"),
        row("lognormal", 2, "3.9", ""),
    ]
}

fn modes() -> Vec<ModeRow> {
    vec![
        ModeRow {
            mode: "leaking".to_owned(),
            failures: 24,
            shape: Some(limited("2.54", "2.05", "3.15")),
            run_to_failure: text("0.38"),
            renewed: text("0.11"),
            says: "drives the interval".to_owned(),
        },
        ModeRow {
            mode: "not stated".to_owned(),
            failures: 2,
            says: "too few to fit alone".to_owned(),
            ..ModeRow::default()
        },
    ]
}

fn table() -> LifeTable {
    let row = |place: &str, cells: &[&str], all| LifeTableRow {
        place: place.to_owned(),
        cells: cells.iter().map(|cell| (*cell).to_owned()).collect(),
        all,
    };
    LifeTable {
        place: "Machine".to_owned(),
        heads: [
            "Lives",
            "Failed",
            "In a window",
            "Planned",
            "Taken along",
            "Otherwise out",
            "Running",
            "Shortest to failure (h)",
            "Median of these (h)",
            "Longest to failure (h)",
            "Longest without (h)",
            "Oldest in place (h)",
        ]
        .map(str::to_owned)
        .to_vec(),
        rows: vec![
            row(
                "H-01",
                &[
                    "48", "19", "4", "16", "10", "", "3", "417", "1,386", "2,164", "2,230", "1,387",
                ],
                false,
            ),
            row(
                "H-02",
                &[
                    "67", "12", "5", "33", "14", "", "3", "220", "935", "2,015", "2,360", "1,240",
                ],
                false,
            ),
            row(
                "All",
                &[
                    "115", "31", "9", "49", "24", "", "6", "220", "1,247", "2,164", "2,360",
                    "1,387",
                ],
                true,
            ),
        ],
        note: "A failure known to lie in a window counts at the age at which it was found."
            .to_owned(),
    }
}

fn tests() -> Vec<TestRow> {
    let row = |question: &str, test: &str, statistic: &str, p: &str, says: &str| TestRow {
        question: question.to_owned(),
        test: test.to_owned(),
        statistic: statistic.to_owned(),
        p: p.to_owned(),
        says: says.to_owned(),
    };
    vec![
        row(
            "Do successive items in a slot last as long?",
            "Weibull regression on when each came in",
            "× 0.93 an item",
            "0.004",
            "No: they get shorter.",
        ),
        row(
            "Do failures come faster as slots run on?",
            "Laplace",
            "U 0.31",
            "0.76",
            "No sign of it.",
        ),
        row(
            "Do the positions of the pool differ somewhat?",
            "Partial pooling of 5 positions",
            "spread 3 %",
            "",
            "With probability 0.82 they do not: one answer serves all.",
        ),
    ]
}

fn others() -> Others {
    Others {
        words: "The 4 components on which most is spent a year stand above in full; the other 1 \
                have a row each."
            .to_owned(),
        rows: vec![OtherRow {
            component: "Oil seal".to_owned(),
            lives: 12,
            failures: 2,
            b10: Some(limited("1,900", "420", "open")),
            unit: "h".to_owned(),
            stake: "120".to_owned(),
            ..OtherRow::default()
        }],
    }
}

fn rows(slots: &[(String, String)], exceptional: Option<usize>) -> Vec<PositionRow> {
    slots
        .iter()
        .enumerate()
        .map(|(i, (machine, position))| PositionRow {
            machine: machine.clone(),
            position: position.clone(),
            lives: 9 + i % 4,
            failures: 2 + i % 3,
            median_life: (i % 5 != 3).then(|| limited("2,570", "2,130", "3,180")),
            verdict: Verdict::Renew,
            interval: text(if exceptional == Some(i) {
                "1,000 h"
            } else {
                "1,750 h"
            }),
            in_place: Some(words::usage(120.0 * i as f64 + 85.5, "h")),
        })
        .collect()
}

fn packing() -> (Vec<Recommendation>, ComponentSection) {
    let name = "Plunger packing set";
    let slots = slots(&[("H-01", 3), ("H-02", 3), ("H-03", 5)]);
    let mut cost = curve("All positions", 2.5, 2_980.0, 782.0, 3_132.0);
    cost.recommended = Some(1_750.0);
    cost.present = Some(2_500.0);
    cost.ceiling = Some(4_000.0);
    let mut alone = curve("H-02 P2 alone", 2.4, 1_610.0, 782.0, 3_132.0);
    alone.recommended = Some(1_000.0);
    alone.present = Some(2_500.0);
    let main = Recommendation {
        worth: Some(limited("6,760", "−955", "12,770")),
        saves: text("93 %"),
        component: name.to_owned(),
        positions: "all positions but H-02 P2".to_owned(),
        verdict: Verdict::Renew,
        interval: text("1,750 h"),
        present: text("2,500 h"),
        saving: Some(limited("412", "228", "590")),
        chance: text("over 99 %"),
        lives: 96,
        failures: 31,
        note: None,
    };
    let exceptional = Recommendation {
        positions: "H-02 P2".to_owned(),
        interval: text("1,000 h"),
        saving: Some(limited("890", "310", "1,480")),
        chance: text("96 %"),
        lives: 14,
        failures: 9,
        note: text("wears about 1.8 times as fast as the others"),
        ..main.clone()
    };
    let section = ComponentSection {
        id: "packing-set".to_owned(),
        name: name.to_owned(),
        findings: vec![
            "Renew every 1,750 h instead of every 2,500 h; at H-02 P2 every 1,000 h. Packing \
             wears out with use, and a failure costs four times as much as a planned renewal."
                .to_owned(),
            "Any interval between 1,400 and 2,300 h costs within 5 % of the least, so the next \
             planned stop in that range will do."
                .to_owned(),
        ],
        usage: "running hours (h)".to_owned(),
        data: DataCounts {
            lives: 115,
            failures: 31,
            intervals: 9,
            suspensions: 70,
            running: 11,
            excluded: vec![
                Excluded {
                    count: 4,
                    why: "age at installation unknown".to_owned(),
                },
                Excluded {
                    count: 1,
                    why: "put in and taken out at the same usage".to_owned(),
                },
            ],
            span: "4 January 2021 to 24 November 2026".to_owned(),
        },
        groups: vec![
            EvidenceGroup {
                title: "All positions but H-02 P2".to_owned(),
                why: "A likelihood-ratio test sees no difference between these positions \
                      (p = 0.41)."
                    .to_owned(),
                judged: vec!["The model fits: of samples that follow it, 41 % lie as far from it or farther.".to_owned()],
                fit: fit(
                    "wears out: failures come more often with usage",
                    limited("2.46", "1.98", "3.00"),
                    limited("2,980", "2,640", "3,390"),
                    limited("1,190", "940", "1,440"),
                ),
                hazard_words: "The hazard rises with age: of 1,000 h run at that age about 0.11 \
                               end in a failure at 600 h, 0.67 at 2,000 h."
                    .to_owned(),
                models: models(),
                models_note: "The report goes by the Weibull with two parameters.".to_owned(),
                modes: modes(),
                probability: plot("All positions but H-02 P2", 96, 2.5, 2_980.0, 0.9, 11),
                hazard: Some(hazard("All positions but H-02 P2", 2.5, 2_980.0)),
                cost: Some(cost),
            },
            EvidenceGroup {
                title: "H-02 P2 alone".to_owned(),
                why: "Set apart: its lives are shorter than those of the other positions by \
                      more than chance (p = 0.0004)."
                    .to_owned(),
                judged: vec!["The model fits: of samples that follow it, 41 % lie as far from it or farther.".to_owned()],
                fit: fit(
                    "wears out: failures come more often with usage",
                    limited("2.41", "1.52", "3.48"),
                    limited("1,610", "1,220", "2,210"),
                    limited("633", "318", "911"),
                ),
                probability: plot("H-02 P2 alone", 14, 2.4, 1_610.0, 1.2, 5),
                hazard: Some(hazard("H-02 P2 alone", 2.4, 1_610.0)),
                cost: Some(alone),
                ..EvidenceGroup::default()
            },
        ],
        positions: rows(&slots, Some(4)),
        history: history(name, &slots, 120.0, 21),
        assumed: costs(),
        notes: vec!["Two lives at H-03 P4 rest on a stretch across a meter exchange.".to_owned()],
        table: table(),
        warning: text("Mind: successive items in a slot get shorter-lived."),
        tests: tests(),
        ..ComponentSection::default()
    };
    (vec![main, exceptional], section)
}

fn belt() -> (Vec<Recommendation>, ComponentSection) {
    let name = "Drive belt";
    let slots = slots(&[("H-01", 1), ("H-02", 1), ("H-03", 1)]);
    let mut cost = curve("All positions", 0.95, 9_000.0, 240.0, 700.0);
    cost.least = None;
    cost.near_optimal = None;
    let row = Recommendation {
        worth: None,
        saves: None,
        component: name.to_owned(),
        positions: "all machines".to_owned(),
        verdict: Verdict::RunToFailure,
        interval: None,
        present: text("8,000 h"),
        saving: None,
        chance: text("7 %"),
        lives: 12,
        failures: 8,
        note: None,
    };
    let section = ComponentSection {
        id: "drive-belt".to_owned(),
        name: name.to_owned(),
        findings: vec![
            "Leave it in until it fails. Belts fail at any age alike, so a new one is no safer \
             than the old."
                .to_owned(),
        ],
        usage: "running hours (h)".to_owned(),
        data: DataCounts {
            lives: 12,
            failures: 8,
            suspensions: 4,
            running: 3,
            span: "11 January 2021 to 24 November 2026".to_owned(),
            ..DataCounts::default()
        },
        groups: vec![EvidenceGroup {
            title: "All machines".to_owned(),
            fit: fit(
                "no wear to be seen: failures come at any age alike",
                limited("0.98", "0.61", "1.42"),
                limited("9,010", "5,720", "15,600"),
                limited("906", "214", "2,160"),
            ),
            probability: plot(name, 12, 0.95, 9_000.0, 1.5, 3),
            cost: Some(cost),
            ..EvidenceGroup::default()
        }],
        positions: rows(&slots, None)
            .into_iter()
            .map(|row| PositionRow {
                verdict: Verdict::RunToFailure,
                interval: None,
                ..row
            })
            .collect(),
        history: history(name, &slots, 500.0, 8),
        assumed: costs(),
        ..ComponentSection::default()
    };
    (vec![row], section)
}

fn thin() -> (Vec<Recommendation>, ComponentSection) {
    let name = "Discharge valve seat, hard-faced, long pattern for the second stage (old and new \
                drawing revision)";
    let slots = slots(&[("H-01", 3), ("H-02", 3)]);
    let row = Recommendation {
        component: name.to_owned(),
        positions: "P1.discharge, P2.discharge and P3.discharge on H-01 and H-02".to_owned(),
        verdict: Verdict::NotEnoughEvidence,
        present: text("6,000 h"),
        chance: text("61 %"),
        lives: 7,
        failures: 1,
        note: text("about three more failures, or 20,000 h more without one, would settle it"),
        ..Recommendation::default()
    };
    let mut probability = plot("All positions", 6, 2.0, 5_000.0, 0.4, 9);
    probability.failures = vec![(3_120.0, 0.26)];
    let section = ComponentSection {
        id: "discharge-seat".to_owned(),
        name: name.to_owned(),
        findings: vec!["One failure in seven lives cannot tell wear from chance.".to_owned()],
        usage: "running hours (h)".to_owned(),
        data: DataCounts {
            lives: 7,
            failures: 1,
            suspensions: 6,
            running: 6,
            span: "2 March 2023 to 24 November 2026".to_owned(),
            ..DataCounts::default()
        },
        groups: vec![EvidenceGroup {
            title: "All positions".to_owned(),
            probability,
            ..EvidenceGroup::default()
        }],
        positions: Vec::new(),
        history: history("Discharge valve seat", &slots, 900.0, 4),
        assumed: costs(),
        ..ComponentSection::default()
    };
    (vec![row], section)
}

fn never_failed() -> (Vec<Recommendation>, ComponentSection) {
    let name = "Head gasket";
    let machines: Vec<String> = (1..=15).map(|i| format!("H-{i:02}")).collect();
    let pairs: Vec<(&str, usize)> = machines.iter().map(|m| (m.as_str(), 5)).collect();
    let slots = slots(&pairs);
    let mut probability = plot(name, 60, 3.0, 4_000.0, 0.4, 77);
    probability
        .suspensions
        .extend(probability.failures.iter().map(|f| f.0));
    probability.failures.clear();
    probability.intervals.clear();
    probability.line.clear();
    probability.band.clear();
    probability.b10 = None;
    let row = Recommendation {
        component: name.to_owned(),
        positions: "75 positions on 15 machines".to_owned(),
        verdict: Verdict::NotEnoughEvidence,
        lives: 60,
        failures: 0,
        ..Recommendation::default()
    };
    let section = ComponentSection {
        id: "head-gasket".to_owned(),
        name: name.to_owned(),
        findings: vec!["No failure on record: there is nothing to weigh yet.".to_owned()],
        usage: "running hours (h)".to_owned(),
        data: DataCounts {
            lives: 60,
            suspensions: 60,
            running: 60,
            span: "4 January 2021 to 24 November 2026".to_owned(),
            ..DataCounts::default()
        },
        groups: vec![EvidenceGroup {
            title: "All positions".to_owned(),
            probability,
            ..EvidenceGroup::default()
        }],
        positions: rows(&slots, None)
            .into_iter()
            .map(|row| PositionRow {
                verdict: Verdict::NotEnoughEvidence,
                interval: None,
                median_life: None,
                failures: 0,
                ..row
            })
            .collect(),
        history: history(name, &slots, 260.0, 31),
        assumed: costs(),
        ..ComponentSection::default()
    };
    (vec![row], section)
}

fn quality() -> Quality {
    let finding = |place: &str, what: &str, evidence: &str, cure: &str, count| QualityFinding {
        place: place.to_owned(),
        what: what.to_owned(),
        evidence: evidence.to_owned(),
        cure: cure.to_owned(),
        count,
    };
    Quality {
        summary: "2,318 entries in two books; both chains are whole. Three kinds of finding, none \
                  of which changes a verdict."
            .to_owned(),
        findings: vec![
            finding(
                "books/line-2.jsonl:41",
                "hour meter runs backwards",
                "12,310 h here; line 38 read 12,480 h on 2 November 2025.",
                "Meter exchanged? Record the reading with “reset”: true. Misread? Withdraw \
                 7c19e0b2a4f1, then record it again.",
                1,
            ),
            finding(
                "books/line-1.jsonl:7",
                "age at installation unknown",
                "Parts already in place when the record began.",
                "State the age where a job card tells it.",
                11,
            ),
            finding(
                "books/line-1.jsonl:880",
                "no reading for 9 weeks",
                "H-03: 14 March to 17 May 2024.",
                "Record readings from the meter book, with their own dates.",
                2,
            ),
        ],
    }
}

/// The whole report.
pub fn report() -> Report {
    let mut recommendations = Vec::new();
    let mut components = Vec::new();
    for (rows, section) in [packing(), belt(), thin(), never_failed()] {
        recommendations.extend(rows);
        components.push(section);
    }
    Report {
        money: None,
        stops: None,
        more: 0,
        ranges: None,
        since: None,
        plant: "Quillmoor Oat Works".to_owned(),
        currency: "EUR".to_owned(),
        as_of: words::day(day(2026, 11, 24)),
        time_zone: "Europe/London".to_owned(),
        version: "wearbook 0.1.0".to_owned(),
        ledgers: vec!["sample-ledger".to_owned()],
        confidence: "90 %".to_owned(),
        summary: vec![
            "Renew the plunger packing every 1,750 h instead of every 2,500 h, and at H-02 P2 \
             every 1,000 h."
                .to_owned(),
            "Against running to failure that saves about EUR 410 per 1,000 h and position \
             (between 230 and 590)."
                .to_owned(),
            "It is all but certain to pay: the chance is over 99 %, from 96 lives with 31 \
             failures."
                .to_owned(),
            "Leave drive belts in until they fail. Two components have too few failures to say."
                .to_owned(),
        ],
        recommendations,
        components,
        others: Some(others()),
        quality: quality(),
        cautions: wearbook::view::cautions::cautions(&[]),
        books: vec![
            BookHead {
                book: "line-1.jsonl".to_owned(),
                entries: 1_204,
                head: "7c19e0b2a4f1".to_owned(),
            },
            BookHead {
                book: "line-2.jsonl".to_owned(),
                entries: 1_114,
                head: "03d9ab6611ce".to_owned(),
            },
        ],
    }
}
