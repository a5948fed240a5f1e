//! The charts as pictures a machine can judge: well-formed, titled, labelled, finite, and with no
//! label over another. What a person must judge was looked at by eye.

use chrono::NaiveDate;
use proptest::prelude::*;
use roxmltree::{Document, Node};
use wearbook::chart::{
    Calibration, ChartError, CostCurve, CostPoint, Ending, EstimateStep, IntervalMark, Lane,
    LaneBar, LifeLimits, ProbabilityPlot, Size, SlotHistory, StepEstimate, WearChart, WearItem,
    calibration, cost_curve, probability_plot, slot_history, text_width_px, wear_chart,
};

#[path = "charts/columns.rs"]
mod columns;
#[path = "charts/png.rs"]
mod png;
#[path = "charts/ranges.rs"]
mod ranges;

fn date(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).expect("a date of the calendar")
}

/// Texts of a picture with the box each takes, in pixels, by the same widths the labels were
/// placed with but from the finished SVG.
fn labels(svg: &str) -> Vec<(String, [f64; 4])> {
    let tree = Document::parse(svg).expect("well-formed XML");
    tree.descendants()
        .filter(|n| n.has_tag_name("text"))
        .map(|n| {
            let number = |name: &str| -> f64 {
                n.attribute(name)
                    .and_then(|v| v.parse().ok())
                    .unwrap_or_else(|| panic!("{name} of a text"))
            };
            let text = n.text().unwrap_or("").trim().to_owned();
            let size = number("font-size") / 10.0;
            let bold = n.attribute("font-weight") == Some("bold");
            let width = text_width_px(&text, size, bold);
            let x = number("x") / 10.0;
            let x0 = match n.attribute("text-anchor") {
                Some("end") => x - width,
                Some("middle") => x - width / 2.0,
                _ => x,
            };
            let baseline = number("y") / 10.0 + 0.76 * size;
            // Capital height and descent, without the line's air.
            let area = [
                x0,
                baseline - 0.74 * size,
                x0 + width,
                baseline + 0.2 * size,
            ];
            (text, area)
        })
        .collect()
}

/// Fails where two labels cover each other or one leaves the picture. Marks with a single letter
/// step aside in a way of their own and are not judged here.
fn assert_labels_apart(svg: &str) {
    let tree = Document::parse(svg).expect("well-formed XML");
    let root = tree.root_element();
    let size = |name: &str| -> f64 { root.attribute(name).unwrap().parse().unwrap() };
    let (width, height) = (size("width"), size("height"));
    let labels: Vec<_> = labels(svg)
        .into_iter()
        .filter(|(text, _)| text.chars().count() > 1 || text.chars().all(|c| c.is_ascii_digit()))
        .collect();
    for (i, (text, a)) in labels.iter().enumerate() {
        assert!(
            a[0] >= -0.5 && a[1] >= 0.0 && a[2] <= width + 0.5 && a[3] <= height,
            "`{text}` at {a:?} leaves the picture of {width} by {height}\n{svg}"
        );
        for (other, b) in &labels[i + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "`{text}` {a:?} covers `{other}` {b:?}\n{svg}");
        }
    }
}

/// What every picture must have.
fn assert_sound(svg: &str, id: &str) {
    let tree = Document::parse(svg).expect("well-formed XML");
    let root = tree.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let by_id = |wanted: String| -> Node<'_, '_> {
        tree.descendants()
            .find(|n| n.attribute("id") == Some(wanted.as_str()))
            .unwrap_or_else(|| panic!("no element with id {wanted}"))
    };
    let title = by_id(format!("{id}-title"));
    let desc = by_id(format!("{id}-desc"));
    assert!(title.has_tag_name("title") || title.tag_name().name() == "title");
    assert!(!title.text().unwrap_or("").is_empty());
    assert!(desc.text().unwrap_or("").len() > 10);
    assert_eq!(
        root.attribute("aria-labelledby"),
        Some(format!("{id}-title {id}-desc").as_str())
    );
    assert!(root.attribute("viewBox").is_some());
    for node in tree.descendants().filter(|n| n.is_element()) {
        for attribute in node.attributes() {
            let value = attribute.value();
            assert!(
                !value.contains("NaN") && !value.contains("inf"),
                "{}=\"{value}\"",
                attribute.name()
            );
        }
    }
    // Ids are the picture's own, as a page holds many.
    let ids: Vec<&str> = tree
        .descendants()
        .filter_map(|n| n.attribute("id"))
        .collect();
    for (n, one) in ids.iter().enumerate() {
        assert!(one.starts_with(id) && !ids[..n].contains(one), "{one}");
    }
    assert_labels_apart(svg);
}

fn has(svg: &str, words: &str) -> bool {
    labels(svg).iter().any(|(text, _)| text == words)
}

fn count(svg: &str, tag: &str) -> usize {
    Document::parse(svg)
        .expect("well-formed XML")
        .descendants()
        .filter(|n| n.tag_name().name() == tag)
        .count()
}

/// A Weibull of shape 2 and scale 1,000 h with six lives, made by hand.
fn plot() -> ProbabilityPlot {
    let fractions = [0.001, 0.01, 0.1, 0.3, 0.632, 0.9, 0.99];
    let usage = |f: f64| 1_000.0 * (-(-f).ln_1p()).sqrt();
    ProbabilityPlot {
        id: "packing-p".to_owned(),
        title: "Packing set: how lives spread".to_owned(),
        usage_label: "Running hours (h)".to_owned(),
        usage_unit: "h".to_owned(),
        failures: vec![(420.0, 0.11), (690.0, 0.27), (1_180.0, 0.62)],
        intervals: vec![IntervalMark {
            lo: 600.0,
            hi: 900.0,
            position: 0.44,
        }],
        suspensions: vec![300.0, 1_300.0],
        line: fractions.iter().map(|f| (usage(*f), *f)).collect(),
        band: fractions
            .iter()
            .map(|f| LifeLimits {
                fraction: *f,
                lower: usage(*f) * 0.7,
                upper: usage(*f) * 1.4,
            })
            .collect(),
        line_name: String::new(),
        band_name: "90 % limits".to_owned(),
        b10: Some(usage(0.1)),
        estimate: Some(windows()),
        all: None,
    }
}

/// Four steps, one of them somewhere within a window.
fn windows() -> StepEstimate {
    let step = |from, usage, failed| EstimateStep {
        from,
        usage,
        failed,
        limits: None,
    };
    StepEstimate {
        name: "estimate from windows (Turnbull)".to_owned(),
        limits_name: String::new(),
        steps: vec![
            step(None, 420.0, 0.18),
            step(None, 690.0, 0.35),
            step(Some(690.0), 900.0, 0.52),
            step(None, 1_180.0, 0.76),
        ],
        until: 1_300.0,
    }
}

fn curve() -> CostCurve {
    let points: Vec<_> = (1..=60)
        .map(|i| {
            let usage = f64::from(i) * 50.0;
            let expected = 400.0 / usage * 1_000.0 + usage * 0.4;
            CostPoint {
                usage,
                expected,
                lower: expected * 0.8,
                upper: expected * 1.3,
            }
        })
        .collect();
    CostCurve {
        id: "packing-c".to_owned(),
        title: "Packing set: cost against interval".to_owned(),
        usage_label: "Interval to renew (running hours)".to_owned(),
        usage_unit: "h".to_owned(),
        cost_label: "Cost (EUR per 1,000 h)".to_owned(),
        cost_unit: "EUR per 1,000 h".to_owned(),
        points,
        band_name: "90 % limits".to_owned(),
        least: Some((1_000.0, 800.0)),
        recommended: Some(750.0),
        near_optimal: Some((750.0, 1_350.0)),
        near_optimal_name: "within 5 % of the least".to_owned(),
        ceiling: Some(2_400.0),
        present: Some(2_000.0),
        run_to_failure: Some(1_400.0),
    }
}

fn history(lanes: usize) -> SlotHistory {
    let bar = |start, end, ending, age_unknown| LaneBar {
        start,
        end,
        ending,
        age_unknown,
    };
    SlotHistory {
        id: "packing-h".to_owned(),
        title: "Packing set: items in their slots".to_owned(),
        lanes: (0..lanes)
            .map(|i| Lane {
                label: format!("H-{:02} P{}", i / 5 + 1, i % 5 + 1),
                bars: vec![
                    bar(
                        date(2021, 1, 4),
                        date(2022, 3, 1),
                        Ending::ALL[i % 5],
                        i % 4 == 0,
                    ),
                    bar(
                        date(2022, 3, 1),
                        date(2022, 3, 9),
                        Ending::FailedRunning,
                        false,
                    ),
                    bar(date(2022, 3, 9), date(2026, 11, 24), Ending::StillIn, false),
                ],
            })
            .collect(),
    }
}

/// Pixel places of circles that are failure marks, largest first by `cx`.
fn circles(svg: &str) -> Vec<(f64, f64)> {
    let tree = Document::parse(svg).expect("well-formed XML");
    let mut out: Vec<(f64, f64)> = tree
        .descendants()
        .filter(|n| n.has_tag_name("circle") || n.tag_name().name() == "circle")
        .filter(|n| n.attribute("fill") == Some("#A33A1C"))
        .map(|n| {
            let at = |name: &str| n.attribute(name).unwrap().parse::<f64>().unwrap() / 10.0;
            (at("cx"), at("cy"))
        })
        .collect();
    out.sort_by(|a, b| a.0.total_cmp(&b.0));
    out
}

#[test]
fn a_probability_plot_is_sound_and_says_its_counts() {
    let svg = probability_plot(&plot(), Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert!(has(
        &svg,
        "3 failures, 1 more found at inspection, 2 suspensions"
    ));
    assert!(has(&svg, "Running hours (h)"));
    assert!(has(&svg, "Share failed (%)"));
    assert!(has(&svg, "63.2"));
    // 1,000·√(−ln 0.9) = 324.59…, and 0.7 and 1.4 times that.
    assert!(has(&svg, "B10 325 h (227 to 454)"), "{:?}", labels(&svg));
}

#[test]
fn failures_found_only_at_inspections_are_counted_as_failures() {
    let mut data = plot();
    data.failures.clear();
    let svg = probability_plot(&data, Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert!(has(
        &svg,
        "1 failure, found at an inspection, 2 suspensions"
    ));
    data.intervals.push(data.intervals[0]);
    let svg = probability_plot(&data, Size::default()).unwrap();
    assert!(has(
        &svg,
        "2 failures, all found at inspections, 2 suspensions"
    ));
}

/// Where marks stand must follow from the scales: equal ratios of usage are equal steps across,
/// and the height is linear in ln(−ln(1 − F)).
#[test]
fn failures_stand_where_the_scales_put_them() {
    let mut data = plot();
    data.failures = vec![(200.0, 0.05), (400.0, 0.2), (800.0, 0.6), (1_600.0, 0.95)];
    let svg = probability_plot(&data, Size::default()).unwrap();
    let marks: Vec<_> = circles(&svg).into_iter().rev().take(4).rev().collect();
    let steps: Vec<f64> = marks.windows(2).map(|p| p[1].0 - p[0].0).collect();
    assert!(
        steps.iter().all(|s| (s - steps[0]).abs() < 0.25),
        "{steps:?}"
    );
    let scale = |f: f64| (-(-f).ln_1p()).ln();
    let slope = |a: usize, b: usize| {
        (marks[b].1 - marks[a].1) / (scale(data.failures[b].1) - scale(data.failures[a].1))
    };
    assert!(slope(0, 1) < 0.0, "more failed stands higher");
    for (a, b) in [(1, 2), (2, 3), (0, 3)] {
        assert!((slope(a, b) / slope(0, 1) - 1.0).abs() < 0.005);
    }
}

/// The points of every line drawn in pencil, in pixels.
fn pencil(svg: &str) -> Vec<Vec<(f64, f64)>> {
    let tree = Document::parse(svg).expect("well-formed XML");
    tree.descendants()
        .filter(|n| n.tag_name().name() == "polyline" && n.attribute("stroke") == Some("#80868D"))
        .map(|n| {
            let points = n.attribute("points").unwrap_or("").split_whitespace();
            points
                .map(|pair| {
                    let (x, y) = pair.split_once(',').expect("a pair");
                    (
                        x.parse::<f64>().expect("x") / 10.0,
                        y.parse::<f64>().expect("y") / 10.0,
                    )
                })
                .collect()
        })
        .collect()
}

/// An estimate whose steps rise to the failures' own places must touch their marks; its level
/// stands until the next step, its limits on either side.
#[test]
fn the_estimate_steps_where_it_says() {
    let mut data = plot();
    data.failures = vec![(200.0, 0.05), (400.0, 0.2), (800.0, 0.6), (1_600.0, 0.95)];
    data.intervals.clear();
    data.estimate = Some(StepEstimate {
        name: "product-limit estimate".to_owned(),
        limits_name: "its 90 % limits".to_owned(),
        steps: data
            .failures
            .iter()
            .map(|(usage, failed)| EstimateStep {
                from: None,
                usage: *usage,
                failed: *failed,
                limits: Some((failed * 0.7, failed + 0.04)),
            })
            .collect(),
        until: 1_700.0,
    });
    let svg = probability_plot(&data, Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert!(has(&svg, "product-limit estimate") && has(&svg, "its 90 % limits"));
    assert!(svg.contains("The product-limit estimate stands in steps behind; at its end 95 %"));
    let lines = pencil(&svg);
    let (limits, steps) = (&lines[..2], &lines[2]);
    let near = |a: f64, b: f64| (a - b).abs() < 0.25;
    let marks: Vec<_> = circles(&svg).into_iter().rev().take(4).rev().collect();
    for pair in marks.windows(2) {
        for (x, y) in [pair[0], (pair[1].0, pair[0].1), pair[1]] {
            let there = steps.iter().any(|p| near(p.0, x) && near(p.1, y));
            assert!(there, "no corner at {x}, {y}: {steps:?}");
        }
    }
    // Both limits stand where the paper's own scale puts them.
    let scale = |f: f64| (-(-f).ln_1p()).ln();
    let slope = (marks[3].1 - marks[0].1) / (scale(0.95) - scale(0.05));
    let height = |f: f64| marks[0].1 + slope * (scale(f) - scale(0.05));
    for (line, limit) in limits.iter().zip([0.6 * 0.7, 0.6 + 0.04]) {
        let there = line
            .iter()
            .any(|p| near(p.0, marks[2].0) && near(p.1, height(limit)));
        assert!(there, "no limit of {limit}: {line:?}");
    }
    // Windows have a dotted rise and no limits.
    let svg = probability_plot(&plot(), Size::default()).unwrap();
    assert!(has(&svg, "estimate from windows (Turnbull)"));
    assert!(!has(&svg, "its 90 % limits"));
    let without = ProbabilityPlot {
        estimate: None,
        ..plot()
    };
    let bare = probability_plot(&without, Size::default()).unwrap();
    assert!(pencil(&bare).is_empty());
    let dashed = |svg: &str| svg.matches("stroke-dasharray").count();
    // The rise itself and its sample in the key.
    assert_eq!(dashed(&svg), dashed(&bare) + 2);
}

#[test]
fn the_key_names_the_line_and_an_empty_unit_leaves_no_gap() {
    let svg = probability_plot(&plot(), Size::default()).unwrap();
    assert!(has(&svg, "fitted Weibull") && !svg.contains("The line is the"));
    let other = ProbabilityPlot {
        line_name: "fitted lognormal".to_owned(),
        usage_label: "Usage".to_owned(),
        usage_unit: String::new(),
        ..plot()
    };
    let svg = probability_plot(&other, Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert!(has(&svg, "fitted lognormal") && !has(&svg, "fitted Weibull"));
    assert!(svg.contains("The line is the fitted lognormal."));
    assert!(has(&svg, "B10 325 (227 to 454)"), "{:?}", labels(&svg));
    assert!(svg.contains("Failures lie between 420 and 1,180."));
}

#[test]
fn no_failure_is_said_and_the_suspensions_are_shown() {
    let data = ProbabilityPlot {
        failures: Vec::new(),
        intervals: Vec::new(),
        line: Vec::new(),
        band: Vec::new(),
        b10: None,
        estimate: None,
        suspensions: vec![800.0, 2_500.0, 3_100.0],
        ..plot()
    };
    let svg = probability_plot(&data, Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert!(svg.contains("No failure on record"));
    let without = probability_plot(
        &ProbabilityPlot {
            suspensions: Vec::new(),
            ..data.clone()
        },
        Size::default(),
    )
    .unwrap();
    assert!(without.contains("nothing to plot"));
    // Three ticks in the strip and three in the key, and no other line added.
    assert!(count(&svg, "line") >= count(&without, "line") + 3);
    // One failure alone, without a fit.
    let one = ProbabilityPlot {
        failures: vec![(900.0, 0.3)],
        ..data
    };
    assert_sound(
        &probability_plot(&one, Size::default()).unwrap(),
        "packing-p",
    );
}

#[test]
fn short_suspensions_are_counted_at_the_edge() {
    let mut data = plot();
    data.suspensions = vec![0.0, 0.5, 2.0, 700.0];
    let svg = probability_plot(&data, Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert!(has(&svg, "3 farther left"));
}

#[test]
fn a_cost_curve_labels_its_marks() {
    let svg = cost_curve(&curve(), Size::default()).unwrap();
    assert_sound(&svg, "packing-c");
    for words in [
        "recommended 750 h",
        "present 2,000 h",
        "ceiling 2,400 h",
        "run to failure 1,400",
        "Cost (EUR per 1,000 h)",
        "Interval to renew (running hours)",
        "within 5 % of the least: 750 to 1,350 h",
    ] {
        assert!(has(&svg, words), "{words}: {:?}", labels(&svg));
    }
    let all: String = labels(&svg).into_iter().map(|(t, _)| t + " ").collect();
    assert!(all.contains("least 800") && all.contains("at 1,000 h"));
}

#[test]
fn marks_at_one_interval_share_a_label() {
    let svg = cost_curve(
        &CostCurve {
            present: Some(750.0),
            ceiling: Some(750.0),
            ..curve()
        },
        Size::default(),
    )
    .unwrap();
    assert_sound(&svg, "packing-c");
    assert!(has(&svg, "recommended = present = ceiling 750 h"));
}

#[test]
fn a_cost_curve_without_points_says_so() {
    let svg = cost_curve(
        &CostCurve {
            points: Vec::new(),
            least: None,
            recommended: None,
            near_optimal: None,
            run_to_failure: None,
            ..curve()
        },
        Size::default(),
    )
    .unwrap();
    assert_sound(&svg, "packing-c");
    assert!(has(&svg, "Not enough evidence for a cost curve."));
}

#[test]
fn a_history_has_a_lane_a_slot_and_a_key_for_each_ending() {
    for lanes in [1, 3, 11, 40, 75] {
        let data = history(lanes);
        let svg = slot_history(&data, data.size(720)).unwrap();
        assert_sound(&svg, "packing-h");
        assert!(has(&svg, "H-01 P1"));
        assert!(has(&svg, "2023"));
        assert!(has(&svg, Ending::StillIn.words()));
        assert!(!has(&svg, "never drawn"));
    }
    let empty = SlotHistory {
        lanes: vec![Lane {
            label: "H-01 P1".to_owned(),
            bars: Vec::new(),
        }],
        ..history(1)
    };
    assert_sound(&slot_history(&empty, empty.size(720)).unwrap(), "packing-h");
}

#[test]
fn every_ending_has_its_own_letter_and_words() {
    let letters: std::collections::BTreeSet<_> = Ending::ALL.iter().map(|e| e.letter()).collect();
    let words: std::collections::BTreeSet<_> = Ending::ALL.iter().map(|e| e.words()).collect();
    assert_eq!(letters.len(), Ending::ALL.len());
    assert_eq!(words.len(), Ending::ALL.len());
}

/// So many items in place, and as many that are gone.
fn wear(items: usize) -> WearChart {
    let item = |n: usize, in_place: bool| {
        let slope = 3e-5 * (1.0 + 0.02 * n as f64);
        let now = 2_000.0 + 40.0 * n as f64;
        let meets = 0.22 / slope;
        WearItem {
            name: format!("H-01 P{n}"),
            in_place,
            points: vec![
                (800.0, 0.08 + slope * 810.0),
                (1_900.0, 0.08 + slope * 1_880.0),
            ],
            line: Some((0.08, slope)),
            now: Some(now),
            meets: Some(meets),
            meets_limits: Some((0.8 * meets, n.is_multiple_of(2).then_some(1.4 * meets))),
            band: vec![(0.0, 0.07, 0.09), (8_000.0, 0.2, 0.5)],
        }
    };
    WearChart {
        id: "wear-1".into(),
        title: "adjusting-ring clearance: wear lines".into(),
        usage_label: "Running hours since renewal (h)".into(),
        usage_unit: "h".into(),
        value_label: "clearance (mm)".into(),
        limit: Some((0.3, "at most 0.3 mm".into())),
        limits_name: "90 % limits".into(),
        items: (0..items)
            .flat_map(|n| [item(n, true), item(n + 1, false)])
            .collect(),
    }
}

#[test]
fn wear_lines_show_readings_limit_and_where_they_go() {
    for items in [1, 3, 40] {
        let svg = wear_chart(&wear(items), Size::default()).expect("drawn");
        assert_sound(&svg, "wear-1");
        assert_labels_apart(&svg);
        assert!(has(&svg, "limit: at most 0.3 mm"));
        assert!(has(&svg, "clearance (mm)") && has(&svg, "Running hours since renewal (h)"));
        assert!(has(&svg, "items that are gone"));
        // Names stand where there is room for them.
        assert_eq!(has(&svg, "H-01 P0"), items <= 12, "{items}");
        assert!(count(&svg, "circle") >= 4 * items);
    }
}

#[test]
fn wear_that_cannot_be_drawn_is_an_error_and_none_at_all_is_not() {
    let mut chart = wear(1);
    chart.items[0].points[0].1 = f64::NAN;
    let error = wear_chart(&chart, Size::default()).expect_err("NaN");
    assert!(matches!(error, ChartError::Axis { axis: "value", .. }));
    chart.items[0].points[0] = (-1.0, 0.1);
    let error = wear_chart(&chart, Size::default()).expect_err("below 0");
    assert!(matches!(error, ChartError::Axis { axis: "usage", .. }));
    let mut chart = wear(1);
    chart.items[0].meets_limits = Some((5.0, Some(4.0)));
    let error = wear_chart(&chart, Size::default()).expect_err("backwards");
    assert!(matches!(error, ChartError::Backwards { .. }));
    chart.items.clear();
    assert_sound(
        &wear_chart(&chart, Size::default()).expect("empty"),
        "wear-1",
    );
}

#[test]
fn hostile_words_stay_words() {
    let hostile = "<script>alert(1)</script> & \"q\" 'a' \u{7}\n]]>";
    let mut data = plot();
    data.title = hostile.to_owned();
    data.usage_label = hostile.to_owned();
    data.usage_unit = "<b>".to_owned();
    let svg = probability_plot(&data, Size::default()).unwrap();
    assert_sound(&svg, "packing-p");
    assert_eq!(count(&svg, "script") + count(&svg, "b"), 0);
    let mut data = history(2);
    data.lanes[0].label = hostile.to_owned();
    let svg = slot_history(&data, data.size(720)).unwrap();
    assert_sound(&svg, "packing-h");
    assert_eq!(count(&svg, "script"), 0);
}

#[test]
fn numbers_that_cannot_be_drawn_are_errors() {
    let size = Size::default();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 0.0, 1e300] {
        let mut data = plot();
        data.failures.push((bad, 0.5));
        assert!(
            matches!(
                probability_plot(&data, size),
                Err(ChartError::Axis { axis: "usage", .. })
            ),
            "{bad}"
        );
        let mut data = plot();
        data.failures.push((500.0, bad));
        assert!(matches!(
            probability_plot(&data, size),
            Err(ChartError::Share { .. })
        ));
    }
    for bad in [f64::NAN, f64::INFINITY, -1.0, 1e300] {
        for spoil in [
            (|step: &mut EstimateStep, bad| step.usage = bad) as fn(&mut EstimateStep, f64),
            |step, bad| step.failed = bad,
            |step, bad| step.from = Some(bad),
            |step, bad| step.limits = Some((bad, 0.9)),
        ] {
            let mut data = plot();
            if let Some(estimate) = &mut data.estimate {
                spoil(&mut estimate.steps[2], bad);
            }
            assert!(probability_plot(&data, size).is_err(), "{bad}");
        }
        let mut data = curve();
        data.points[3].expected = bad;
        assert!(matches!(
            cost_curve(&data, size),
            Err(ChartError::Axis { axis: "cost", .. })
        ));
        let mut data = curve();
        data.ceiling = Some(bad);
        assert!(cost_curve(&data, size).is_err());
    }
    let mut data = history(1);
    data.lanes[0].bars[0].end = date(2020, 1, 1);
    assert!(matches!(
        slot_history(&data, size),
        Err(ChartError::Backwards { .. })
    ));
    for id in ["", "1a", "a b", "a\"b", "é"] {
        let mut data = plot();
        data.id = id.to_owned();
        assert_eq!(
            probability_plot(&data, size),
            Err(ChartError::Id(id.to_owned()))
        );
    }
    let tiny = Size {
        width_px: 20,
        height_px: 20,
    };
    assert!(matches!(
        probability_plot(&plot(), tiny),
        Err(ChartError::Size { .. })
    ));
}

#[test]
fn the_same_numbers_give_the_same_bytes() {
    let size = Size::default();
    assert_eq!(
        probability_plot(&plot(), size),
        probability_plot(&plot(), size)
    );
    assert_eq!(cost_curve(&curve(), size), cost_curve(&curve(), size));
}

fn sizes() -> impl Strategy<Value = Size> {
    (480u32..1_400, 320u32..900).prop_map(|(width_px, height_px)| Size {
        width_px,
        height_px,
    })
}

/// Usages over 18 decades, or crowded into one per mille.
fn usages(count: impl Into<prop::collection::SizeRange>) -> impl Strategy<Value = Vec<f64>> {
    let count = count.into();
    prop_oneof![
        prop::collection::vec((-6.0f64..12.0).prop_map(|e| 10f64.powf(e)), count.clone()),
        (prop::collection::vec(0.0f64..1e-3, count), -3.0f64..6.0).prop_map(|(many, e)| many
            .into_iter()
            .map(|v| (1.0 + v) * 10f64.powf(e))
            .collect()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_probability_plot_is_sound(
        usage in usages(0..40),
        suspensions in usages(0..40),
        shape in 0.2f64..60.0,
        found in prop::collection::vec((0.0f64..1.0, 0.01f64..0.99), 0..6),
        with_estimate in any::<bool>(),
        size in sizes(),
    ) {
        let n = usage.len() as f64;
        let mut sorted = usage.clone();
        sorted.sort_by(f64::total_cmp);
        let failures: Vec<_> = sorted
            .iter()
            .enumerate()
            .map(|(i, u)| (*u, (i as f64 + 0.7) / (n + 0.4)))
            .collect();
        // Steps with limits, every third in a window, the last to the very top.
        let estimate = StepEstimate {
            name: "product-limit estimate".to_owned(),
            limits_name: "its 90 % limits".to_owned(),
            steps: sorted
                .iter()
                .enumerate()
                .map(|(i, u)| {
                    let failed = (i as f64 + 1.0) / n;
                    EstimateStep {
                        from: (i % 3 == 2).then(|| sorted[i - 1]),
                        usage: *u,
                        failed,
                        limits: (i % 3 < 2 && failed < 1.0).then(|| (failed * failed, failed.sqrt())),
                    }
                })
                .collect(),
            until: suspensions.iter().copied().fold(0.0, f64::max),
        };
        let scale = sorted.last().copied().unwrap_or(1_000.0);
        let intervals: Vec<_> = found
            .iter()
            .map(|(part, position)| IntervalMark { lo: scale * part, hi: scale, position: *position })
            .collect();
        let fits = !(failures.is_empty() && intervals.is_empty());
        // Lines of steep shapes on wide axes leave the range a caller may ask for.
        let line: Vec<_> = (0..40)
            .map(|i| 1.0 - 0.999f64.powi(1 + i * i * 4))
            .map(|f| (scale * (-(-f).ln_1p()).powf(1.0 / shape), f))
            .filter(|p| fits && p.1 < 1.0 && p.0 > 0.0 && p.0 < 1e15)
            .collect();
        let data = ProbabilityPlot {
            all: None,
            id: "x".to_owned(),
            title: "Any".to_owned(),
            usage_label: "Running hours (h)".to_owned(),
            usage_unit: "h".to_owned(),
            failures,
            intervals,
            suspensions,
            band: line.iter().map(|(u, f)| LifeLimits { fraction: *f, lower: u * 0.4, upper: u * 1.3 }).collect(),
            b10: line.iter().find(|p| p.1 > 0.1).map(|p| p.0),
            line,
            line_name: String::new(),
            band_name: "90 % limits".to_owned(),
            estimate: with_estimate.then_some(estimate),
        };
        let svg = probability_plot(&data, size).unwrap();
        assert_sound(&svg, "x");
    }

    #[test]
    fn any_cost_curve_is_sound(
        scale in (-6.0f64..9.0).prop_map(|e| 10f64.powf(e)),
        money in (-6.0f64..9.0).prop_map(|e| 10f64.powf(e)),
        rates in prop::collection::vec((0.0f64..5.0, 0.0f64..1.0, 0.0f64..1.0), 0..80),
        marks in prop::collection::vec(prop::option::of(0.0f64..4.0), 4),
        size in sizes(),
    ) {
        let n = rates.len().max(1) as f64;
        let points: Vec<_> = rates
            .iter()
            .enumerate()
            .map(|(i, (rate, down, up))| CostPoint {
                usage: scale * (i as f64 + 1.0) / n,
                expected: rate * money,
                lower: rate * money * (1.0 - down),
                upper: rate * money * (1.0 + up),
            })
            .collect();
        let at = |i: usize| marks[i].map(|m| m * scale);
        let data = CostCurve {
            least: points.first().map(|p| (p.usage, p.expected)),
            points,
            recommended: at(0),
            ceiling: at(1),
            present: at(2),
            run_to_failure: marks[3].map(|m| m * money),
            near_optimal: at(0).map(|a| (a, a * 1.5)),
            ..curve()
        };
        let svg = cost_curve(&data, size).unwrap();
        assert_sound(&svg, "packing-c");
    }

    #[test]
    fn any_history_is_sound(
        lanes in prop::collection::vec(prop::collection::vec((0u64..400, 0usize..6), 0..25), 0..50),
        label in "[A-Z]{1,3}-[0-9]{1,4} .{0,40}",
    ) {
        let data = SlotHistory {
            id: "x".to_owned(),
            title: "Any".to_owned(),
            lanes: lanes
                .into_iter()
                .map(|bars| {
                    let mut start = date(2020, 2, 29);
                    let bars = bars
                        .into_iter()
                        .map(|(days, kind)| {
                            let end = start + chrono::Days::new(days);
                            let bar = LaneBar { start, end, ending: Ending::ALL[kind], age_unknown: days % 7 == 0 };
                            start = end;
                            bar
                        })
                        .collect();
                    Lane { label: label.clone(), bars }
                })
                .collect(),
        };
        let svg = slot_history(&data, data.size(720)).unwrap();
        assert_sound(&svg, "x");
    }
}

#[test]
fn a_calibration_plot_says_what_it_shows() {
    let mut data = Calibration {
        id: "calibration".into(),
        title: "Where what came fell in what was forecast".into(),
        subject: "132 forecasts of 11 components".into(),
        shares: vec![0.08, 0.12, 0.1, 0.11, 0.09, 0.1, 0.13, 0.07, 0.1, 0.1],
    };
    for shares in [data.shares.clone(), vec![0.0, 1.0], vec![]] {
        data.shares = shares;
        let svg = calibration(&data, Size::default()).unwrap();
        let tree = Document::parse(&svg).unwrap();
        let has = |tag: &str| tree.descendants().any(|n| n.has_tag_name(tag));
        assert!(has("title") && has("desc"));
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        for (name, [x0, _, x1, _]) in labels(&svg) {
            assert!(x0 >= 0.0 && x1 <= 720.0, "{name} leaves the picture");
        }
    }
    for bad in [-0.1, f64::NAN, f64::INFINITY] {
        data.shares = vec![bad];
        assert!(matches!(
            calibration(&data, Size::default()),
            Err(ChartError::Axis { .. })
        ));
    }
}
