//! Stacked columns, ranked bars and stop lanes.

use chrono::{Days, NaiveDate};
use proptest::prelude::*;
use roxmltree::Document;
use wearbook::chart::{
    ChartError, OTHERS, Panel, RankedBars, RankedRow, Series, Size, StackedColumns, StopLane,
    StopLanes, StopMark, ranked_bars, stacked_columns, stop_lanes,
};

use super::{assert_sound, count, date, has, labels};

const HOSTILE: &str = "<script>alert(1)</script> & \"q\" 'a' \u{7}\n]]>";

fn series(names: &[&str]) -> Vec<Series> {
    let number = |(look, name): (usize, &&str)| Series {
        name: (*name).to_owned(),
        look,
    };
    names.iter().enumerate().map(number).collect()
}

/// Value 1 + panel + period / 10 in each series, nothing known of every fifth period.
fn columns(panels: usize, periods: usize, gaps: bool) -> StackedColumns {
    let column = |panel: usize, period: usize| {
        let value = 1.0 + panel as f64 + period as f64 / 10.0;
        (!gaps || period % 5 != 3).then(|| vec![value, value, value])
    };
    StackedColumns {
        id: "cost-1".into(),
        title: "Cost per running hour".into(),
        y_title: "EUR per running hour (h)".into(),
        periods: (0..periods)
            .map(|n| format!("{}-Q{}", 2020 + n / 4, n % 4 + 1))
            .collect(),
        series: series(&["packing set", "plunger", "suction valve"]),
        panels: (0..panels)
            .map(|panel| Panel {
                name: format!("H-{:02}", panel + 1),
                columns: (0..periods).map(|period| column(panel, period)).collect(),
            })
            .collect(),
    }
}

/// The rectangles of a fill, a path of "M x y h w v h h −w z" pieces, in pixels.
pub(super) fn rectangles(svg: &str, fill: &str) -> Vec<[f64; 4]> {
    let tree = Document::parse(svg).expect("well-formed XML");
    let mut out = Vec::new();
    for node in tree
        .descendants()
        .filter(|n| n.attribute("fill") == Some(fill))
    {
        let path = node.attribute("d");
        for piece in path.unwrap_or("").split('z').filter(|p| !p.is_empty()) {
            let numbers: Vec<f64> = piece
                .split(|c: char| !(c.is_ascii_digit() || c == '-'))
                .filter_map(|n| n.parse::<f64>().ok())
                .map(|n| n / 10.0)
                .collect();
            let [x, y, w, h, _] = numbers[..] else {
                panic!("{piece}")
            };
            out.push([x, y, x + w, y + h]);
        }
    }
    out
}

#[test]
fn stacked_columns_are_sound_from_one_period_to_sixty() {
    for (panels, periods) in [(1, 1), (1, 3), (3, 8), (4, 12), (8, 60), (1, 60), (8, 300)] {
        for gaps in [false, true] {
            for width in [480, 720, 1_000] {
                let data = columns(panels, periods, gaps);
                let svg = stacked_columns(&data, data.size(width)).unwrap();
                assert_sound(&svg, "cost-1");
                assert!(has(&svg, "EUR per running hour (h)") && has(&svg, "H-01"));
                assert!(has(&svg, "packing set") && has(&svg, "suction valve"));
                assert_eq!(has(&svg, "nothing known"), gaps && periods > 3);
            }
        }
    }
}

/// Slices of equal values are equally high in every panel, stand on each other and on the foot.
#[test]
fn slices_stand_where_the_scale_puts_them() {
    let data = columns(3, 4, false);
    let svg = stacked_columns(&data, data.size(720)).unwrap();
    let foot = rectangles(&svg, "#1F4E79");
    let middle = rectangles(&svg, "#F0C05A");
    let near = |a: f64, b: f64| (a - b).abs() < 0.15;
    let slices: Vec<_> = foot.iter().filter(|r| r[3] - r[1] > 12.0).collect();
    for (n, [x0, y0, x1, y1]) in slices.iter().enumerate() {
        let (panel, period) = (n / 4, n % 4);
        let value = 1.0 + panel as f64 + period as f64 / 10.0;
        let scale = (y1 - y0) / value;
        let first = (slices[0][3] - slices[0][1]) / 1.0;
        assert!((scale - first).abs() < 0.25, "{scale} {first}");
        let above = middle
            .iter()
            .find(|m| near(m[0], *x0) && near(m[2], *x1) && near(m[3], *y0));
        assert!(above.is_some(), "nothing on the slice at {x0}, {y0}");
    }
    assert_eq!(slices.len(), 12);
    // Totals over the columns: thrice 1.0, thrice 3.3.
    assert!(has(&svg, "3.00") && has(&svg, "9.90"), "{:?}", labels(&svg));
}

#[test]
fn the_year_stands_once_and_other_names_are_thinned() {
    let data = columns(1, 8, false);
    let svg = stacked_columns(&data, data.size(720)).unwrap();
    let named = |words: &str| {
        labels(&svg)
            .iter()
            .filter(|(text, _)| text == words)
            .count()
    };
    assert_eq!((named("2020"), named("2021"), named("Q1")), (1, 1, 2));
    let mut data = columns(1, 60, false);
    data.periods = (0..60).map(|n| format!("campaign no. {n}")).collect();
    let svg = stacked_columns(&data, data.size(720)).unwrap();
    assert_sound(&svg, "cost-1");
    assert!(has(&svg, "campaign no. 0") && !has(&svg, "campaign no. 1"));
}

#[test]
fn columns_that_cannot_be_drawn_are_errors_and_none_at_all_is_not() {
    let spoilt = |bad: f64| {
        let mut data = columns(2, 3, false);
        data.panels[1].columns[2] = Some(vec![1.0, bad, 1.0]);
        stacked_columns(&data, data.size(720))
    };
    for bad in [f64::NAN, f64::INFINITY, -0.1, 1e300] {
        let error = spoilt(bad).expect_err("cannot be drawn");
        assert!(
            matches!(error, ChartError::Axis { axis: "cost", .. }),
            "{bad}"
        );
    }
    let mut data = columns(1, 3, false);
    data.panels[0].columns.pop();
    let error = stacked_columns(&data, Size::default()).expect_err("a column short");
    assert!(matches!(
        error,
        ChartError::Count {
            wanted: 3,
            found: 2,
            ..
        }
    ));
    let mut data = columns(1, 3, false);
    data.series.pop();
    let error = stacked_columns(&data, Size::default()).expect_err("a value too many");
    assert!(matches!(
        error,
        ChartError::Count {
            wanted: 2,
            found: 3,
            ..
        }
    ));
    let mut data = columns(1, 3, false);
    data.series[0].look = OTHERS + 1;
    let error = stacked_columns(&data, Size::default()).expect_err("no such fill");
    assert_eq!(error, ChartError::Look(9));
    let mut data = columns(2, 3, false);
    for panel in &mut data.panels {
        panel.columns = vec![None; 3];
    }
    assert_sound(&stacked_columns(&data, data.size(720)).unwrap(), "cost-1");
    data.panels.clear();
    assert_sound(&stacked_columns(&data, data.size(720)).unwrap(), "cost-1");
    let mut data = columns(2, 0, false);
    data.series.clear();
    assert_sound(&stacked_columns(&data, data.size(720)).unwrap(), "cost-1");
    let mut data = columns(1, 2, false);
    data.panels[0].columns = vec![Some(vec![0.0; 3]); 2];
    assert_sound(&stacked_columns(&data, data.size(720)).unwrap(), "cost-1");
}

fn bars(rows: usize, parts: usize) -> RankedBars {
    let whole: f64 = (1..=rows).map(|n| 90_000.0 / n as f64).sum();
    let mut so_far = 0.0;
    RankedBars {
        id: "dear".into(),
        title: "Where the money goes".into(),
        x_title: "EUR in 12 months".into(),
        rows: (1..=rows)
            .map(|n| {
                let value = 90_000.0 / n as f64;
                so_far += value / whole;
                RankedRow {
                    name: format!("component {n}"),
                    detail: n.is_multiple_of(2).then(|| format!("H-0{}", n % 7)),
                    parts: vec![value / parts as f64; parts],
                    share_so_far: so_far,
                }
            })
            .collect(),
        parts: series(&["planned", "unplanned", "other"][..parts]),
    }
}

#[test]
fn ranked_bars_say_value_and_share() {
    for rows in [0, 1, 3, 30, 200] {
        for parts in [1, 2, 3] {
            for width in [400, 720, 1_100] {
                let data = bars(rows, parts);
                let svg = ranked_bars(&data, data.size(width)).unwrap();
                assert_sound(&svg, "dear");
                if rows > 0 {
                    assert!(has(&svg, "EUR in 12 months") && has(&svg, "90,000"));
                    assert!(has(&svg, "100 %") && has(&svg, "share so far"));
                    assert_eq!(has(&svg, "unplanned"), parts > 1);
                }
            }
        }
    }
    // 90,000 of 90,000 + 45,000 + 30,000 is 54.5 %; with the second 81.8 %.
    let svg = ranked_bars(&bars(3, 2), Size::default()).unwrap();
    assert!(has(&svg, "55 %") && has(&svg, "82 %"));
    let bars = rectangles(&svg, "#1F4E79");
    let widths: Vec<f64> = bars.iter().map(|r| r[2] - r[0]).take(3).collect();
    assert!(
        (widths[0] / widths[1] - 2.0).abs() < 0.01 && (widths[0] / widths[2] - 3.0).abs() < 0.01
    );
}

#[test]
fn bars_that_cannot_be_drawn_are_errors() {
    for bad in [f64::NAN, f64::INFINITY, -1.0] {
        let mut data = bars(3, 2);
        data.rows[1].parts[0] = bad;
        let error = ranked_bars(&data, Size::default()).expect_err("cannot be drawn");
        assert!(matches!(error, ChartError::Axis { axis: "value", .. }));
    }
    for bad in [f64::NAN, -0.1, 1.2] {
        let mut data = bars(3, 2);
        data.rows[2].share_so_far = bad;
        let error = ranked_bars(&data, Size::default()).expect_err("no share");
        assert!(matches!(error, ChartError::Share { .. }));
    }
    let mut data = bars(3, 2);
    data.rows[2].share_so_far = 0.1;
    let error = ranked_bars(&data, Size::default()).expect_err("falls");
    assert!(matches!(error, ChartError::Backwards { .. }));
    data.rows[0].parts.pop();
    let error = ranked_bars(&data, Size::default()).expect_err("short");
    assert!(matches!(
        error,
        ChartError::Count {
            wanted: 2,
            found: 1,
            ..
        }
    ));
}

fn lanes(lanes: usize, stops: usize) -> StopLanes {
    let from = date(2026, 11, 2);
    let stop = |lane: usize, n: usize| {
        let day = from + Days::new((n * 360 / stops.max(1) + lane * 3 % 30) as u64);
        StopMark {
            day,
            earliest: day - Days::new(20),
            latest: day + Days::new(20),
            label: format!("{} renewals", 2 + (lane + n) % 12),
            weight: ((lane + n) % 12) as f64 / 11.0,
            overdue: n == 0 && lane % 3 == 1,
        }
    };
    StopLanes {
        id: "stops".into(),
        title: "Stops of the next year".into(),
        from,
        to: date(2027, 11, 2),
        today: date(2026, 11, 24),
        lanes: (0..lanes)
            .map(|lane| StopLane {
                name: format!("H-{:02}", lane + 1),
                stops: (0..stops).map(|n| stop(lane, n)).collect(),
            })
            .collect(),
    }
}

#[test]
fn stop_lanes_mark_every_stop_and_tell_the_overdue_apart() {
    for (machines, stops) in [(0, 0), (1, 0), (1, 1), (3, 3), (36, 6), (36, 12), (1, 300)] {
        for width in [480, 720, 1_200] {
            let data = lanes(machines, stops);
            let svg = stop_lanes(&data, data.size(width)).unwrap();
            assert_sound(&svg, "stops");
            let overdue = if stops > 0 { (machines + 1) / 3 } else { 0 };
            let marks = labels(&svg).iter().filter(|(text, _)| text == "!").count();
            // One more in the key.
            assert_eq!(marks, overdue + usize::from(overdue > 0));
            assert!(has(&svg, "today, 24 Nov 2026"));
            if machines > 0 {
                assert!(has(&svg, "H-01"));
            }
        }
    }
    let svg = stop_lanes(&lanes(3, 3), Size::default()).unwrap();
    let planned = Document::parse(&svg).unwrap();
    let discs = planned
        .descendants()
        .filter(|n| n.attribute("fill") == Some("#1F4E79"));
    // Nine stops less the overdue one, and one in the key.
    assert_eq!(
        discs
            .filter(|n| n.has_tag_name("circle") || n.tag_name().name() == "circle")
            .count(),
        9
    );
    assert!(has(&svg, "2 renewals"));
    assert!(svg.contains("9 in all, 1 overdue."));
}

#[test]
fn stops_beyond_the_calendar_stand_at_its_edge() {
    let mut data = lanes(1, 1);
    data.lanes[0].stops[0].day = date(2026, 1, 1);
    data.lanes[0].stops[0].earliest = date(2025, 12, 1);
    data.today = date(2028, 1, 1);
    let svg = stop_lanes(&data, data.size(720)).unwrap();
    assert_sound(&svg, "stops");
    assert!(
        !labels(&svg)
            .iter()
            .any(|(text, _)| text.starts_with("today"))
    );
    assert!(svg.contains("1 Jan 2026 (2 renewals)"));
    // The disc's arrow head.
    let plain = stop_lanes(&lanes(1, 1), data.size(720)).unwrap();
    assert_eq!(count(&svg, "polygon"), count(&plain, "polygon") + 1);
}

#[test]
fn lanes_that_cannot_be_drawn_are_errors() {
    let mut data = lanes(2, 2);
    data.lanes[1].stops[1].latest = date(2020, 1, 1);
    let error = stop_lanes(&data, Size::default()).expect_err("backwards");
    assert!(matches!(
        error,
        ChartError::Backwards {
            what: "a stop's range",
            ..
        }
    ));
    for bad in [f64::NAN, -0.1, 1.1] {
        let mut data = lanes(2, 2);
        data.lanes[1].stops[1].weight = bad;
        let error = stop_lanes(&data, Size::default()).expect_err("no weight");
        assert!(matches!(error, ChartError::Share { .. }));
    }
    let mut data = lanes(2, 2);
    data.to = date(2020, 1, 1);
    let error = stop_lanes(&data, Size::default()).expect_err("backwards");
    assert!(matches!(
        error,
        ChartError::Backwards {
            what: "the calendar",
            ..
        }
    ));
}

#[test]
fn hostile_words_stay_words_in_columns_bars_and_lanes() {
    let mut data = columns(2, 3, true);
    data.title = HOSTILE.into();
    data.y_title = HOSTILE.into();
    data.periods[1] = HOSTILE.into();
    data.series[1].name = HOSTILE.into();
    data.panels[0].name = HOSTILE.into();
    let mut bars = bars(3, 2);
    bars.rows[0].name = HOSTILE.into();
    bars.rows[0].detail = Some(HOSTILE.into());
    bars.parts[0].name = HOSTILE.into();
    let mut lanes = lanes(2, 2);
    lanes.lanes[0].name = HOSTILE.into();
    lanes.lanes[0].stops[0].label = HOSTILE.into();
    for (svg, id) in [
        (stacked_columns(&data, data.size(720)).unwrap(), "cost-1"),
        (ranked_bars(&bars, bars.size(720)).unwrap(), "dear"),
        (stop_lanes(&lanes, lanes.size(720)).unwrap(), "stops"),
    ] {
        assert_sound(&svg, id);
        assert_eq!(count(&svg, "script"), 0);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_columns_are_sound(
        panels in prop::collection::vec(
            prop::collection::vec(prop::option::of(prop::collection::vec(0.0f64..1.0, 4)), 30), 0..9),
        periods in 1usize..30,
        money in -6.0f64..12.0,
        name in ".{0,30}",
        period in "[a-zA-Z0-9 -]{0,12}",
        width in 360u32..1_400,
    ) {
        let data = StackedColumns {
            periods: (0..periods).map(|n| format!("{period}{n}")).collect(),
            series: series(&["a", &name, "c", "d"]),
            panels: panels
                .into_iter()
                .map(|mut columns| {
                    columns.truncate(periods);
                    for value in columns.iter_mut().flatten().flatten() {
                        *value *= 10f64.powf(money);
                    }
                    Panel { name: name.clone(), columns }
                })
                .collect(),
            ..columns(0, 0, false)
        };
        let svg = stacked_columns(&data, data.size(width)).unwrap();
        assert_sound(&svg, "cost-1");
    }

    #[test]
    fn any_bars_are_sound(
        rows in prop::collection::vec((prop::collection::vec(0.0f64..1.0, 3), 0.0f64..1.0, ".{0,40}"), 0..30),
        money in -6.0f64..12.0,
        width in 360u32..1_400,
    ) {
        let mut shares: Vec<f64> = rows.iter().map(|r| r.1).collect();
        shares.sort_by(f64::total_cmp);
        let data = RankedBars {
            rows: rows
                .into_iter()
                .zip(shares)
                .map(|((parts, share, name), share_so_far)| RankedRow {
                    detail: (share > 0.5).then(|| name.clone()),
                    name,
                    parts: parts.iter().map(|p| p * 10f64.powf(money)).collect(),
                    share_so_far,
                })
                .collect(),
            ..bars(0, 3)
        };
        let svg = ranked_bars(&data, data.size(width)).unwrap();
        assert_sound(&svg, "dear");
    }

    #[test]
    fn any_lanes_are_sound(
        lanes_of in prop::collection::vec(
            prop::collection::vec((0u64..500, 0u64..90, 0u64..90, 0.0f64..=1.0, any::<bool>()), 0..14), 0..40),
        label in ".{0,20}",
        days in 0u64..900,
        width in 360u32..1_400,
    ) {
        let from: NaiveDate = date(2026, 2, 28);
        let data = StopLanes {
            from,
            to: from + Days::new(days),
            lanes: lanes_of
                .into_iter()
                .map(|stops| StopLane {
                    name: label.clone(),
                    stops: stops
                        .into_iter()
                        .map(|(day, before, after, weight, overdue)| StopMark {
                            day: from + Days::new(day) - Days::new(40),
                            earliest: from + Days::new(day) - Days::new(40 + before),
                            latest: from + Days::new(day + after) - Days::new(40),
                            label: format!("{day} {label}"),
                            weight,
                            overdue,
                        })
                        .collect(),
                })
                .collect(),
            ..lanes(0, 0)
        };
        let svg = stop_lanes(&data, data.size(width)).unwrap();
        assert_sound(&svg, "stops");
    }
}
