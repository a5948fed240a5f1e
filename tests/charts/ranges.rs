//! Intervals at a glance, failure rate against age, and what changed a sum.

use proptest::prelude::*;
use roxmltree::Document;
use wearbook::chart::{
    ChangeBars, ChartError, HazardCurve, HazardPoint, IntervalRanges, RangeRow, Size, change_bars,
    hazard_curve, interval_ranges,
};

use super::columns::rectangles;
use super::{assert_sound, circles, count, has, labels};

const HOSTILE: &str = "<script>alert(1)</script> & \"q\" 'a' \u{7}\n]]>";

/// Rows that take turns: renewed earlier, later with a ceiling, as today and open-ended, run to
/// failure, and with no evidence.
fn ranges(rows: usize) -> IntervalRanges {
    let row = |n: usize| {
        let (near, recommended, today, ceiling, says) = match n % 5 {
            0 => (
                Some((1_450.0, Some(2_900.0))),
                Some(2_000.0),
                Some(4_000.0),
                None,
                None,
            ),
            1 => (
                Some((2_600.0, Some(4_300.0))),
                Some(3_500.0),
                Some(2_000.0),
                Some(4_000.0),
                None,
            ),
            2 => (
                Some((3_800.0, None)),
                Some(5_000.0),
                Some(5_000.0),
                None,
                None,
            ),
            3 => (None, None, Some(3_000.0), None, Some("until it fails")),
            _ => (None, None, None, None, Some("not enough evidence")),
        };
        RangeRow {
            name: format!("component {n}"),
            place: n.is_multiple_of(2).then(|| format!("P{n}")),
            near,
            recommended,
            today,
            ceiling,
            says: says.map(str::to_owned),
            worth: (n % 5 < 4).then(|| format!("{n},400")),
        }
    };
    IntervalRanges {
        id: "intervals".into(),
        title: "When to renew".into(),
        x_title: "Running hours between renewals (h)".into(),
        near_name: "costs within 5 % of the least".into(),
        rows: (0..rows).map(row).collect(),
        worth_title: Some("saves a year (EUR)".into()),
    }
}

#[test]
fn intervals_name_their_marks_in_the_first_row_and_say_every_figure() {
    for rows in [0, 1, 3, 25, 100] {
        for width in [420, 720, 1_200] {
            let data = ranges(rows);
            let svg = interval_ranges(&data, data.size(width)).unwrap();
            assert_sound(&svg, "intervals");
            if rows > 0 {
                assert!(has(&svg, "recommended") && has(&svg, "today"));
                assert!(has(&svg, "costs within 5 % of the least"));
                assert!(
                    has(&svg, "2,000") && has(&svg, "4,000"),
                    "{:?}",
                    labels(&svg)
                );
                assert!(has(&svg, "component 0") && has(&svg, "P0") && has(&svg, "0,400"));
            }
            // No mark of the first row explains the ceiling.
            assert_eq!(has(&svg, "ceiling, never to be passed"), rows > 1);
            assert_eq!(has(&svg, "until it fails"), rows > 3);
        }
    }
    let svg = interval_ranges(&ranges(3), ranges(3).size(720)).unwrap();
    assert!(svg.contains("component 1: recommended 3,500, today 2,000, ceiling 4,000"));
    assert!(svg.contains("from 3,800 and beyond"));
}

/// Blue discs, in the order drawn, by their pixel places.
fn discs(svg: &str, fill: &str) -> Vec<(f64, f64)> {
    let tree = Document::parse(svg).expect("well-formed XML");
    tree.descendants()
        .filter(|n| n.tag_name().name() == "circle" && n.attribute("fill") == Some(fill))
        .map(|n| {
            let at = |name: &str| n.attribute(name).unwrap().parse::<f64>().unwrap() / 10.0;
            (at("cx"), at("cy"))
        })
        .collect()
}

#[test]
fn intervals_stand_where_the_scale_puts_them() {
    let mut data = ranges(4);
    let svg = interval_ranges(&data, data.size(720)).unwrap();
    assert!(!has(&svg, "log scale"));
    let marks = discs(&svg, "#1F4E79");
    let x: Vec<f64> = marks.iter().map(|m| m.0).collect();
    // 2,000, 3,500 and 5,000 are equal steps.
    assert!((x[1] - x[0] - (x[2] - x[1])).abs() < 0.25, "{x:?}");
    // 20, 2,000 and 2,000,000 are steps as two to three decades.
    for (row, usage) in data.rows.iter_mut().zip([20.0, 2_000.0, 2_000_000.0]) {
        (row.near, row.today, row.ceiling) = (None, None, None);
        row.recommended = Some(usage);
    }
    let svg = interval_ranges(&data, data.size(720)).unwrap();
    assert_sound(&svg, "intervals");
    assert!(has(&svg, "log scale"));
    let x: Vec<f64> = discs(&svg, "#1F4E79").iter().map(|m| m.0).collect();
    assert!(
        ((x[1] - x[0]) / (x[2] - x[1]) - 2.0 / 3.0).abs() < 0.005,
        "{x:?}"
    );
}

fn hazard(points: usize, failures: usize, suspensions: usize) -> HazardCurve {
    HazardCurve {
        all: None,
        id: "rate".into(),
        title: "How the risk grows with age".into(),
        x_title: "Age in running hours (h)".into(),
        y_title: "Failures per 1,000 h".into(),
        limits_name: "90 % limits".into(),
        points: (0..points)
            .map(|n| {
                let usage = 5_000.0 * (n as f64 + 1.0) / points as f64;
                let value = usage / 5_000.0;
                HazardPoint {
                    usage,
                    value,
                    lower: 0.5 * value,
                    upper: 1.8 * value,
                }
            })
            .collect(),
        failures: (0..failures)
            .map(|n| 4_900.0 * (n as f64 + 1.0) / failures as f64)
            .collect(),
        suspensions: (0..suspensions).map(|n| 13.0 * n as f64).collect(),
        interval: Some((2_000.0, "recommended 2,000 h".into())),
    }
}

#[test]
fn the_failure_rate_shows_limits_ages_and_the_interval() {
    for count in [0, 1, 3, 300] {
        for width_px in [420, 720, 1_200] {
            let size = Size {
                width_px,
                height_px: 344,
            };
            let svg = hazard_curve(&hazard(count, count, count), size).unwrap();
            assert_sound(&svg, "rate");
            assert_eq!(circles(&svg).iter().filter(|c| c.1 > 200.0).count(), count);
            assert!(has(&svg, "recommended 2,000 h") && has(&svg, "Failures per 1,000 h"));
            assert_eq!(has(&svg, "90 % limits"), count > 0);
            assert_eq!(has(&svg, "Not enough evidence for a curve."), count == 0);
        }
    }
    let svg = hazard_curve(&hazard(40, 1, 2), Size::default()).unwrap();
    assert!(has(&svg, "1 failure") && has(&svg, "2 suspensions"));
    // A limit far above the curve does not press it flat, and that is said.
    let mut data = hazard(40, 1, 2);
    data.points[39].upper = 1e6;
    let svg = hazard_curve(&data, Size::default()).unwrap();
    assert_sound(&svg, "rate");
    assert!(has(&svg, "90 % limits, cut off at the top") && has(&svg, "1.0"));
    assert!(svg.contains("The highest values lie above the picture."));
}

fn change(steps: &[f64]) -> ChangeBars {
    ChangeBars {
        id: "change".into(),
        title: "What changed the cost of a running hour".into(),
        x_title: "EUR per running hour (h)".into(),
        before: ("2025".into(), 8.0),
        steps: steps
            .iter()
            .enumerate()
            .map(|(n, step)| (format!("cause {n}"), *step))
            .collect(),
        after: ("2026".into(), 8.0 + steps.iter().sum::<f64>()),
    }
}

#[test]
fn steps_say_up_and_down_in_words_and_lead_to_the_sum() {
    let data = change(&[2.0, -4.0, 0.0]);
    let svg = change_bars(&data, data.size(720)).unwrap();
    assert_sound(&svg, "change");
    for words in [
        "2025",
        "8.00",
        "up 2.00",
        "down 4.00",
        "no change",
        "6.00",
        "2026",
    ] {
        assert!(has(&svg, words), "{words}: {:?}", labels(&svg));
    }
    assert!(!has(&svg, "The axis does not start at zero."));
    let (up, down) = (
        rectangles(&svg, "#A33A1C")[0],
        rectangles(&svg, "#B4D3E8")[0],
    );
    // Twice as long, and both end at the same level, 10.
    assert!(((down[2] - down[0]) / (up[2] - up[0]) - 2.0).abs() < 0.01);
    assert!((up[2] - down[2]).abs() < 0.15);
    for steps in [
        vec![],
        vec![0.1; 1],
        vec![0.1, -0.05, 0.2],
        vec![-1.0; 40],
        vec![-30.0, 40.0],
    ] {
        for width in [420, 720, 1_200] {
            let data = change(&steps);
            let svg = change_bars(&data, data.size(width)).unwrap();
            assert_sound(&svg, "change");
            let small = [1, 3].contains(&steps.len());
            assert_eq!(
                has(&svg, "The axis does not start at zero."),
                small,
                "{steps:?}"
            );
        }
    }
}

#[test]
fn what_cannot_be_drawn_is_an_error() {
    for bad in [f64::NAN, f64::INFINITY, -1.0, 1e300] {
        for spoil in [
            (|row: &mut RangeRow, bad| row.recommended = Some(bad)) as fn(&mut RangeRow, f64),
            |row, bad| row.today = Some(bad),
            |row, bad| row.ceiling = Some(bad),
            |row, bad| row.near = Some((bad, None)),
        ] {
            let mut data = ranges(3);
            spoil(&mut data.rows[1], bad);
            let error = interval_ranges(&data, data.size(720)).expect_err("cannot be drawn");
            assert!(
                matches!(error, ChartError::Axis { axis: "usage", .. }),
                "{error}"
            );
        }
        let mut data = hazard(5, 2, 2);
        data.points[4].upper = bad;
        let error = hazard_curve(&data, Size::default()).expect_err("cannot be drawn");
        assert!(matches!(error, ChartError::Axis { axis: "rate", .. }));
        let mut data = hazard(5, 2, 2);
        data.suspensions[0] = bad;
        assert!(hazard_curve(&data, Size::default()).is_err());
        if bad != -1.0 {
            let mut data = change(&[1.0, 2.0]);
            data.steps[0].1 = bad;
            assert!(matches!(
                change_bars(&data, Size::default()),
                Err(ChartError::Axis { .. })
            ));
        }
    }
    let mut data = ranges(3);
    data.rows[0].near = Some((3_000.0, Some(2_000.0)));
    let error = interval_ranges(&data, Size::default()).expect_err("backwards");
    assert!(matches!(error, ChartError::Backwards { .. }));
    let mut data = hazard(5, 2, 2);
    data.points[3].lower = 9.0;
    let error = hazard_curve(&data, Size::default()).expect_err("backwards");
    assert!(matches!(error, ChartError::Backwards { .. }));
    let mut data = hazard(5, 2, 2);
    data.points[3].usage = 0.0;
    let error = hazard_curve(&data, Size::default()).expect_err("backwards");
    assert!(matches!(error, ChartError::Backwards { .. }));
    let mut data = change(&[1.0, 2.0]);
    data.after.1 = 10.9;
    let error = change_bars(&data, Size::default()).expect_err("does not add up");
    assert_eq!(error.to_string(), "the steps add up to 11, not to 10.9");
}

#[test]
fn hostile_words_stay_words_in_intervals_rates_and_changes() {
    let mut data = ranges(4);
    data.x_title = HOSTILE.into();
    data.near_name = HOSTILE.into();
    data.worth_title = Some(HOSTILE.into());
    for row in &mut data.rows {
        row.name = HOSTILE.into();
        row.place = Some(HOSTILE.into());
        row.says = Some(HOSTILE.into());
        row.worth = Some(HOSTILE.into());
    }
    let mut rate = hazard(5, 2, 2);
    rate.y_title = HOSTILE.into();
    rate.limits_name = HOSTILE.into();
    rate.interval = Some((100.0, HOSTILE.into()));
    let mut bars = change(&[1.0, -2.0]);
    bars.before.0 = HOSTILE.into();
    bars.steps[0].0 = HOSTILE.into();
    for (svg, id) in [
        (interval_ranges(&data, data.size(720)).unwrap(), "intervals"),
        (hazard_curve(&rate, Size::default()).unwrap(), "rate"),
        (change_bars(&bars, bars.size(720)).unwrap(), "change"),
    ] {
        assert_sound(&svg, id);
        assert_eq!(count(&svg, "script"), 0);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_intervals_are_sound(
        rows in prop::collection::vec(
            (prop::collection::vec(prop::option::of(0.0f64..5.0), 5), ".{0,40}", any::<bool>()), 0..25),
        spread in 0.0f64..2.0,
        scale in -3.0f64..9.0,
        width in 360u32..1_400,
    ) {
        let data = IntervalRanges {
            rows: rows
                .into_iter()
                .map(|(usages, words, more)| {
                    let at = |n: usize| usages[n].map(|u| 10f64.powf(scale + spread * u));
                    RangeRow {
                        name: words.clone(),
                        place: more.then(|| words.clone()),
                        near: at(0).map(|from| (from, at(1).map(|to| from + to))),
                        recommended: at(2),
                        today: at(3),
                        ceiling: at(4),
                        says: at(2).is_none().then(|| words.clone()),
                        worth: more.then_some(words),
                    }
                })
                .collect(),
            ..ranges(0)
        };
        let svg = match interval_ranges(&data, data.size(width)) {
            Err(ChartError::Axis { .. }) => return Ok(()), // beyond what an axis holds
            svg => svg.unwrap(),
        };
        assert_sound(&svg, "intervals");
    }

    #[test]
    fn any_rate_is_sound(
        points in prop::collection::vec((0.0f64..1.0, 0.0f64..1.0, 0.0f64..1.0, 0.0f64..9.0), 0..60),
        ages in prop::collection::vec(0.0f64..2.0, 0..60),
        money in -6.0f64..9.0,
        scale in -3.0f64..9.0,
        mark in 0.0f64..3.0,
        size in super::sizes(),
    ) {
        let scale = 10f64.powf(scale);
        let mut points: Vec<_> = points
            .into_iter()
            .map(|(usage, value, down, up)| {
                let value = value * 10f64.powf(money);
                HazardPoint { usage: usage * scale, value, lower: value * (1.0 - down), upper: value * (1.0 + up) }
            })
            .collect();
        points.sort_by(|a, b| a.usage.total_cmp(&b.usage));
        let data = HazardCurve {
            points,
            failures: ages.iter().map(|a| a * scale).collect(),
            suspensions: ages.iter().map(|a| a * scale * 0.7).collect(),
            interval: Some((mark * scale, "recommended".into())),
            ..hazard(0, 0, 0)
        };
        let svg = hazard_curve(&data, size).unwrap();
        assert_sound(&svg, "rate");
    }

    #[test]
    fn any_change_is_sound(
        before in -2.0f64..100.0,
        steps in prop::collection::vec((-1.0f64..1.0, ".{0,30}"), 0..30),
        money in -6.0f64..9.0,
        width in 360u32..1_400,
    ) {
        let money = 10f64.powf(money);
        let steps: Vec<_> = steps.into_iter().map(|(step, words)| (words, step * money)).collect();
        let after = before * money + steps.iter().map(|s| s.1).sum::<f64>();
        let data = ChangeBars {
            before: ("before".into(), before * money),
            steps,
            after: ("after".into(), after),
            ..change(&[])
        };
        let svg = change_bars(&data, data.size(width)).unwrap();
        assert_sound(&svg, "change");
    }
}
