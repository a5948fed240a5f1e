//! An engineer's pages as data: what is said must follow from the lives and the tests given.

use wearbook::model::trend::{NoTrend, Trend};
use wearbook::report::component::{at_stake, by_stake};
use wearbook::report::model::ComponentSection;

use super::*;

/// Cells of a life table's row by heading.
fn cell<'a>(section: &'a ComponentSection, place: &str, head: &str) -> &'a str {
    let table = &section.table;
    let row = table.rows.iter().find(|row| row.place == place);
    let at = table.heads.iter().position(|h| h.starts_with(head));
    let (row, at) = (row.expect("a row"), at.expect("a column"));
    &row.cells[at]
}

#[test]
fn lives_are_counted_by_place_and_by_how_they_ended() {
    let mut lives = vec![
        row("H-01", "P1", 900.0, Outcome::Failure),
        row("H-01", "P1", 1_400.0, Outcome::Interval),
        row("H-01", "P2", 2_100.0, Outcome::Suspension),
        row("H-01", "P2", 2_600.0, Outcome::Suspension),
        row("H-01", "P2", 700.0, Outcome::Failure),
        row("H-01", "P2", 1_100.0, Outcome::Failure),
    ];
    lives[2].reason = Some("planned".to_owned());
    lives[3].reason = None;
    lives[3].end_time = None;
    let report = report_of(&[subject(lives, (400.0, 3_000.0), GRID)]);
    let section = &report.components[0];
    // One machine: rows are positions.
    assert_eq!(section.table.place, "Position");
    let places: Vec<_> = section
        .table
        .rows
        .iter()
        .map(|r| r.place.as_str())
        .collect();
    assert_eq!(places, ["P1", "P2", "All"]);
    // Nothing was taken along: that column is not there.
    assert!(!section.table.heads.iter().any(|head| head == "Taken along"));
    assert_eq!(cell(section, "P2", "Lives"), "4");
    assert_eq!(cell(section, "P1", "Failed in a window"), "1");
    assert_eq!(cell(section, "P2", "Planned"), "1");
    assert_eq!(cell(section, "P2", "Running"), "1");
    assert_eq!(cell(section, "P1", "Planned"), "");
    // A failure in a window counts where it was found, 200 h on.
    assert_eq!(cell(section, "P1", "Longest to failure"), "1,600");
    assert_eq!(cell(section, "All", "Shortest to failure"), "700");
    assert_eq!(cell(section, "All", "Median of these"), "1,000");
    assert_eq!(cell(section, "All", "Longest without"), "2,600");
    assert_eq!(cell(section, "P2", "Oldest in place"), "2,600");
    assert!(
        section
            .table
            .note
            .contains("counts at the age at which it was found")
    );
}

#[test]
fn many_machines_share_a_row() {
    let lives: Vec<LifeRow> = (1..=20)
        .flat_map(|n| {
            rows(
                &format!("H-{n:02}"),
                "P1",
                if n == 20 { 9 } else { 3 },
                2.0,
                900.0,
            )
        })
        .collect();
    let mut subject = subject(lives, (400.0, 3_000.0), GRID);
    subject.slots = (1..=20)
        .map(|n| slot(&format!("H-{n:02}"), "P1", 0))
        .collect();
    let report = report_of(&[subject]);
    let table = &report.components[0].table;
    // The one with most failures first, twelve in all, the others together, and all.
    assert_eq!(table.rows.len(), 14);
    assert_eq!(table.rows[0].place, "H-20");
    assert_eq!(table.rows[12].place, "8 other machines");
    let lives: usize = table.rows[..13]
        .iter()
        .map(|row| row.cells[0].parse::<usize>().expect("a count"))
        .sum();
    assert_eq!(lives.to_string(), table.rows[13].cells[0]);
    assert!(table.rows[13].all);
}

/// A slot in which so many items failed.
fn slot(machine: &str, position: &str, failures: usize) -> Slot {
    let stay = |n: usize| Stay {
        start: day(2022, 3, 1) + chrono::Days::new(30 * n as u64),
        end: Some(day(2022, 3, 31) + chrono::Days::new(30 * n as u64)),
        reason: Some("failed".to_owned()),
        found: Some("running".to_owned()),
        age_unknown: false,
    };
    Slot {
        machine: machine.to_owned(),
        position: position.to_owned(),
        stays: (0..failures).map(stay).collect(),
        usage_a_year: Some(4_000.0),
    }
}

#[test]
fn of_many_slots_those_with_most_failures_are_shown() {
    let mut subject = subject(rows("H-01", "P1", 30, 3.0, 2_000.0), (400.0, 3_000.0), GRID);
    subject.slots = (0..60)
        .map(|n| slot("H-01", &format!("P{n}"), n % 13))
        .collect();
    let report = report_of(std::slice::from_ref(&subject));
    let section = &report.components[0];
    assert_eq!(section.positions.len(), 40);
    assert!(
        section
            .positions_note
            .contains("40 of 60 slots with most failures")
            && section.positions_note.contains("--format csv"),
        "{}",
        section.positions_note
    );
    assert_eq!(section.history.lanes.len(), 36);
    assert!(section.history_note.contains("36 of 60 slots"));
    // In the order of the register, and none with fewer failures than one left out.
    let shown: Vec<usize> = section
        .positions
        .iter()
        .map(|row| row.position[1..].parse().expect("a number"))
        .collect();
    assert!(shown.is_sorted());
    let least = shown.iter().map(|n| n % 13).min();
    let left = (0..60_usize)
        .filter(|n| !shown.contains(n))
        .map(|n| n % 13)
        .max();
    assert!(least >= left, "{least:?} {left:?}");
    // Many stays: fewer lanes, so that the picture stays legible.
    subject.slots = (0..30)
        .map(|n| slot("H-01", &format!("P{n}"), 70 + n))
        .collect();
    let report = report_of(&[subject]);
    let section = &report.components[0];
    assert_eq!(section.positions.len(), 30);
    assert!(section.positions_note.is_empty());
    let bars: usize = section
        .history
        .lanes
        .iter()
        .map(|lane| lane.bars.len())
        .sum();
    assert!((600..=800).contains(&bars), "{bars}");
    assert_eq!(section.history.lanes[0].label, "H-01 P22");
}

#[test]
fn the_hazard_and_its_words_follow_from_the_fit() {
    let report = report_of(&[subject(
        rows("H-01", "P1", 30, 3.0, 2_000.0),
        (400.0, 3_000.0),
        GRID,
    )]);
    let group = &report.components[0].groups[0];
    let curve = group.hazard.as_ref().expect("a curve");
    assert_eq!((curve.failures.len(), curve.suspensions.len()), (20, 10));
    assert_eq!(curve.all, None);
    let longest = curve.points.last().expect("points").usage;
    assert!((longest / curve.failures.iter().copied().fold(0.0, f64::max) - 1.0).abs() < 1e-9);
    // Shape above 2: it rises all the way, and lies within its limits.
    assert!(curve.points.windows(2).all(|p| p[0].value < p[1].value));
    assert!(
        curve
            .points
            .iter()
            .all(|p| p.lower < p.value && p.value < p.upper)
    );
    let truth = Weibull::new(3.0, 2_000.0).expect("a Weibull");
    let middle = &curve.points[24];
    let ratio = middle.value / (1_000.0 * truth.hazard(middle.usage));
    assert!((0.7..1.4).contains(&ratio), "{ratio}");
    assert!(
        group
            .hazard_words
            .starts_with("The hazard rises with age: ")
    );
    assert!(
        curve
            .interval
            .as_ref()
            .is_some_and(|(_, words)| words.starts_with("recommended "))
    );

    let early = report_of(&[subject(
        rows("H-01", "P1", 60, 0.6, 2_000.0),
        (400.0, 900.0),
        GRID,
    )]);
    let words = &early.components[0].groups[0].hazard_words;
    assert!(words.starts_with("The hazard falls with age"), "{words}");
    let open = report_of(&[subject(
        rows("H-01", "P1", 6, 1.2, 2_000.0),
        (400.0, 900.0),
        GRID,
    )]);
    let words = &open.components[0].groups[0].hazard_words;
    assert!(words.contains("the record does not tell"), "{words}");
}

#[test]
fn models_are_compared_and_a_better_one_is_named() {
    let report = report_of(&[subject(
        rows("H-01", "P1", 30, 3.0, 2_000.0),
        (400.0, 3_000.0),
        GRID,
    )]);
    let group = &report.components[0].groups[0];
    assert_eq!(group.models.len(), 4);
    assert!(
        group
            .models
            .iter()
            .filter(|m| m.used)
            .all(|m| m.name == "Weibull")
    );
    assert!(group.models.iter().any(|m| m.behind == "0.0"));
    assert!(group.models_note.contains("no other model is better"));
    // Lives at the quantiles of a wide lognormal.
    let lives = (0..40)
        .map(|i| {
            let p = (f64::from(i) + 0.5) / 40.0;
            let life = wearbook::model::distribution::Lognormal {
                mu: 7.0,
                sigma: 1.1,
            };
            row("H-01", "P1", life.life_at(p), Outcome::Failure)
        })
        .collect();
    let report = report_of(&[subject(lives, (400.0, 3_000.0), GRID)]);
    let group = &report.components[0].groups[0];
    assert!(
        group
            .models_note
            .starts_with("Lognormal describes these lives better"),
        "{}",
        group.models_note
    );
    let lognormal = group
        .models
        .iter()
        .find(|m| m.name == "lognormal")
        .expect("a row");
    assert_eq!((lognormal.behind.as_str(), lognormal.used), ("0.0", false));
}

fn trend(factor: f64, p: f64) -> Trend {
    let slope = wearbook::model::trend::Slope {
        ln_scale: 7.0,
        slope: factor.ln(),
        shape: 2.0,
        error: 0.1,
        log_likelihood: -100.0,
        level_log_likelihood: -104.0,
        statistic: 8.0,
        p,
        gradient: 0.0,
    };
    Trend {
        slope,
        factor,
        limits: wearbook::model::Limits::default(),
        p,
        lives: 30,
        failures: 20,
    }
}

#[test]
fn tests_are_told_and_a_trend_is_warned_of_first() {
    let mut subject = subject(rows("H-01", "P1", 30, 3.0, 2_000.0), (400.0, 3_000.0), GRID);
    subject.successive = Some(Ok(trend(0.8, 0.004)));
    let unit = |late: f64| {
        let events = (1..12).map(|n| late + 5.0 * f64::from(n)).collect();
        wearbook::recurrence::Unit::new(0.0, Some(1_000.0), events).expect("a unit")
    };
    let of = |late| wearbook::recurrence::Units::new(vec![unit(late)]);
    subject.rate = Some(wearbook::recurrence::trend::trend(&of(900.0)));
    let apart = wearbook::policy::evidence::Apart {
        life_ratio: 0.62,
        statistic: 3.1,
        p_adjusted: 0.31,
    };
    subject.tried = Some(wearbook::policy::evidence::Tried {
        machines: 3,
        positions: 5,
        slots: 11,
        batches: 0,
        closest: Some((
            wearbook::policy::evidence::Scope::Machine {
                machine: "H-02".to_owned(),
            },
            apart,
        )),
    });
    subject.alike = Some(wearbook::policy::siblings::Found {
        groups: 5,
        machines: false,
        no_difference: 0.83,
        spread: 0.1,
    });
    let told = |subject: &Subject| {
        let report = report_of(std::slice::from_ref(subject));
        let section = report.components[0].clone();
        let rows: Vec<[String; 4]> = section
            .tests
            .iter()
            .map(|r| [&r.test, &r.statistic, &r.p, &r.says].map(Clone::clone))
            .collect();
        (section.warning, rows)
    };
    let (warning, rows) = told(&subject);
    let warning = warning.expect("a warning");
    assert!(
        warning.contains("shorter-lived") && warning.contains("p = 0.004"),
        "{warning}"
    );
    let says = |test: &str| {
        let row = rows.iter().find(|row| row[0].starts_with(test));
        row.unwrap_or_else(|| panic!("{test} in {rows:?}")).clone()
    };
    assert!(says("Anderson-Darling")[1].starts_with("A² "));
    assert_eq!(
        says("Weibull regression")[1..],
        ["× 0.80 an item", "0.004", "No: they get shorter."]
    );
    assert_eq!(says("Laplace")[3], "Both tests say faster.");
    assert!(says("Chi-square")[1].ends_with(" on 22"));
    let likelihood = says("Likelihood ratio; tried 3 machines, 5 positions and 11 slots");
    assert_eq!(
        likelihood[1..],
        [
            "life × 0.62",
            "0.31",
            "Nothing is set apart; nearest to it machine H-02."
        ]
    );
    let partial = says("Partial pooling of 5 positions");
    assert_eq!(partial[1], "spread 11 %");
    assert!(partial[3].contains("one answer serves all"));

    // No trend, nothing to warn of; too few failures to tell.
    subject.successive = Some(Ok(trend(0.97, 0.6)));
    let (warning, rows) = told(&subject);
    assert_eq!(warning, None);
    assert!(
        rows.iter()
            .any(|row| row[3] == "Lives do not get shorter beyond chance.")
    );
    subject.successive = Some(Err(NoTrend::FewFailures { failures: 2 }));
    let (_, rows) = told(&subject);
    assert!(
        rows.iter()
            .any(|row| row[3] == "Cannot be told: 2 failed, fewer than 4."),
        "{rows:?}"
    );
}

#[test]
fn a_look_that_pays_is_said() {
    let mut subject = subject(rows("H-01", "P1", 30, 3.0, 2_000.0), (400.0, 3_000.0), GRID);
    subject.groups[0].look = Some(wearbook::view::interval::LookView {
        look_at: 750.0,
        risk: 0.05,
        cost_rate: 0.6,
        rival_rate: 0.8,
        look_cost: 60.0,
        quantity: "clearance".to_owned(),
        foretold: 0.9,
    });
    let report = report_of(&[subject]);
    let words = report.components[0].findings.join(" ");
    assert!(
        words.contains("A look pays: measure clearance every 750 h")
            && words.contains("expected to cost 25 % less")
            && words.contains("90 % of the failures on record"),
        "{words}"
    );
}

/// Money at stake a year: what today's practice is expected to cost an hour, times the hours.
#[test]
fn components_with_most_at_stake_have_pages_of_their_own() {
    let of = |cost: f64, n: usize| {
        let lives = rows("H-01", "P1", 30, 3.0, 2_000.0);
        let mut one = subject(lives, (4.0 * cost, 30.0 * cost), GRID);
        one.name = format!("Part {n:02}");
        one.id = format!("part-{n}");
        one
    };
    let one = of(100.0, 1);
    let as_of = day(2026, 11, 24);
    // Two slots at 4,000 h a year, at the cost its own curve shows for today's 2,500 h.
    let curve = report_of(std::slice::from_ref(&one)).components[0].groups[0]
        .cost
        .clone();
    let points = curve.expect("a curve").points;
    let pair = points
        .windows(2)
        .find(|p| p[1].usage >= 2_500.0)
        .expect("within it");
    let stake = at_stake(&one, as_of);
    let rates = [pair[0].expected, pair[1].expected].map(|rate| rate / 1_000.0 * 8_000.0);
    let (low, high) = (rates[0].min(rates[1]), rates[0].max(rates[1]));
    assert!(
        (0.999 * low..=1.001 * high).contains(&stake),
        "{low} {stake} {high}"
    );
    // Without a usage to expect: 20 failures at 3,000 over the years on record.
    let mut unknown = one.clone();
    unknown
        .slots
        .iter_mut()
        .for_each(|slot| slot.usage_a_year = None);
    let days = (as_of - day(2022, 3, 1)).num_days() as f64;
    let want = 20.0 * 3_000.0 / (days / 365.25);
    assert!((at_stake(&unknown, as_of) / want - 1.0).abs() < 1e-9);

    let many: Vec<Subject> = (1..=15).map(|n| of(n as f64, n)).collect();
    let order = by_stake(&many, as_of);
    assert!(order.windows(2).all(|pair| pair[0].1 >= pair[1].1));
    let report = report_of(&many);
    let names: Vec<_> = report.components.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names.len(), 12);
    assert_eq!((names[0], names[11]), ("Part 15", "Part 04"));
    let others = report.others.as_ref().expect("a table of the others");
    assert!(others.words.contains("The 12 components") && others.words.contains("other 3 have"));
    let rest: Vec<_> = others
        .rows
        .iter()
        .map(|row| row.component.as_str())
        .collect();
    assert_eq!(rest, ["Part 03", "Part 02", "Part 01"]);
    let row = &others.rows[0];
    assert_eq!((row.lives, row.failures), (30, 20));
    assert!(row.shape.is_some() && row.b10.is_some() && row.interval.is_some());
    // The first page has room for some, and says how many more there are.
    assert_eq!((report.recommendations.len(), report.more), (12, 3));
    // And without an engineer to read it there is no such part.
    let manager = Frame {
        in_full: None,
        ..frame()
    };
    let report = build(&manager, &many);
    assert!(report.components.is_empty() && report.others.is_none());
}

/// Of very many lives a picture holds the extremes and some between, and counts them all.
#[test]
fn very_many_lives_are_thinned_in_pictures_alone() {
    let lives = rows("H-01", "P1", 3_000, 2.0, 2_000.0);
    let usages: Vec<f64> = lives
        .iter()
        .filter(|row| row.outcome == Outcome::Failure)
        .filter_map(|row| row.lo)
        .collect();
    let subject = subject(lives, (400.0, 3_000.0), GRID);
    let sample = subject.groups[0].sample.clone();
    let report = report_of(&[subject]);
    let group = &report.components[0].groups[0];
    let plot = &group.probability;
    assert_eq!(plot.all, Some((2_000, 0, 1_000)));
    assert!(
        (120..=300).contains(&plot.failures.len()),
        "{}",
        plot.failures.len()
    );
    assert_eq!(plot.suspensions.len(), 250);
    let ends = [
        usages.iter().copied().fold(f64::MAX, f64::min),
        usages.iter().copied().fold(0.0, f64::max),
    ];
    assert_eq!(
        [plot.failures[0].0, plot.failures[plot.failures.len() - 1].0],
        ends
    );
    // Where each stands all lives tell.
    let all = wearbook::model::ranks::plot_points(&sample);
    for (usage, share) in &plot.failures {
        let same = all
            .iter()
            .any(|p| p.usage == *usage && (p.share - share).abs() < 1e-12);
        assert!(same, "{usage} {share}");
    }
    let steps = plot.estimate.as_ref().map_or(0, |e| e.steps.len());
    assert!(steps <= 250, "{steps}");
    let curve = group.hazard.as_ref().expect("a curve");
    assert_eq!(curve.all, Some((2_000, 1_000)));
    let page = render(&report).expect("a page");
    assert!(page.html.contains("2,000 failures, 1,000 suspensions"));
    assert!(page.html.contains("Of so many lives only some are drawn"));
    // The test of fit takes some of them and says so.
    let fit = &report.components[0].tests[0];
    assert!(fit.test.contains("on 1,000 lives"), "{}", fit.test);
}
