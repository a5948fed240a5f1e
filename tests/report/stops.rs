//! The part on stops: what it tells of a plan, of many machines, and of names that mean harm.

use chrono::{Days, NaiveDate};
use wearbook::plan::{Clash, KitLine, MachinePlan, Order, Overdue, Plan, Stop, Task, Why};
use wearbook::report::model::Report;
use wearbook::report::render;
use wearbook::report::since::{ChangeRow, Changes};
use wearbook::report::stops::{Outlook, PlantPlan, StopsFacts, StopsPart, stops_part};

use super::{as_xml, parse, quillmoor};

fn day(n: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 6, 15).expect("a day") + Days::new(n)
}

fn task(name: &str, position: &str, renew: Option<Why>) -> Task {
    Task {
        slot: 0,
        component: name.to_lowercase(),
        name: name.to_owned(),
        position: position.to_owned(),
        renew,
        look: false,
        age: Some(900.0),
        at_least: false,
        interval: Some(750.0),
        basis: None,
        unit: "h".to_owned(),
        measures: vec!["clearance".to_owned()],
        part: Some("PK-1".to_owned()),
        pieces: 3,
    }
}

fn stop(machine: &str, n: u64, spread: u64, tasks: Vec<Task>) -> Stop {
    Stop {
        machine: machine.to_owned(),
        date: day(n),
        earliest: day(n - spread),
        latest: day(n + spread),
        day: n as f64,
        opened_names: vec!["Cap off P1".to_owned()],
        opened_keys: Vec::new(),
        tasks,
        hours: 2.0,
        labour_h: 4.0,
        cost: 1_500.0,
    }
}

fn machine(name: &str, stops: Vec<Stop>, overdue: Vec<Overdue>) -> MachinePlan {
    MachinePlan {
        machine: name.to_owned(),
        name: name.to_owned(),
        overdue,
        stops,
        base: Some((750.0, "h".to_owned())),
        rate: None,
        undated: Vec::new(),
    }
}

fn plan(machines: Vec<MachinePlan>) -> Plan {
    let kits = machines.iter().flat_map(|m| &m.stops);
    let kits = kits.map(|_| Vec::new()).collect();
    Plan {
        as_of: day(0),
        from: day(0),
        to: day(364),
        machines,
        kits,
        orders: Vec::new(),
        clashes: Vec::new(),
    }
}

fn part(plan: &Plan, notes: &[Vec<String>]) -> StopsPart {
    let plans = [PlantPlan {
        plant: "Oat Works",
        plan,
        machines: &[],
        notes,
    }];
    stops_part(&StopsFacts {
        currency: "EUR",
        plans: &plans,
        subjects: &[],
        narrowed: false,
    })
}

fn page(part: StopsPart, since: Option<Changes>) -> String {
    let report = Report {
        stops: Some(part),
        since,
        ..quillmoor::report()
    };
    render(&report).expect("a page").html
}

fn late(position: &str) -> Overdue {
    Overdue {
        component: "packing set".to_owned(),
        position: position.to_owned(),
        age: Some(900.4),
        interval: Some(750.0),
        unit: "h".to_owned(),
        past_ceiling: false,
        condemned: None,
    }
}

#[test]
fn what_is_overdue_and_what_comes_next_is_said_first() {
    let due = |why| vec![task("Packing set", "P1", Some(why))];
    let mut past = late("P3");
    past.past_ceiling = true;
    let plan = plan(vec![
        machine(
            "H-01",
            vec![
                stop("H-01", 0, 0, due(Why::Overdue { by: 150.0 })),
                stop("H-01", 90, 9, due(Why::Due)),
            ],
            vec![late("P1"), late("P2"), past],
        ),
        machine("H-02", vec![stop("H-02", 40, 4, due(Why::Due))], Vec::new()),
    ]);
    let part = part(&plan, &[Vec::new(), Vec::new()]);
    assert_eq!(
        part.findings[0],
        "3 items are past their interval: 3 on H-01. One of them is past its ceiling: it may not \
         run on."
    );
    assert_eq!(
        part.findings[1],
        "The next stop is due now: H-01. After it, H-02 on 25 July 2026 (between 21 July 2026 \
         and 29 July 2026)."
    );
    assert!(part.findings[2].contains("there are 3 stops: 6.0 h of production, 12 h of labour"));
    assert_eq!(part.outlook.overdue, 3);
    // What may not run on stands first; positions of one kind share a row.
    let rows: Vec<(&str, bool)> = part
        .overdue
        .iter()
        .map(|row| (row.positions.as_str(), row.stop_now))
        .collect();
    assert_eq!(rows, [("P3", true), ("P1, P2", false)]);
    assert_eq!(part.overdue[1].age.as_deref(), Some("900 h"));
}

#[test]
fn nothing_to_plan_is_said_in_a_sentence() {
    let empty = plan(vec![machine("H-01", Vec::new(), Vec::new())]);
    let part = part(&empty, &[Vec::new()]);
    assert_eq!(
        part.findings,
        [
            "Nothing is past its interval.",
            "No stop is planned from 15 June 2026 to 14 June 2027."
        ]
    );
    parse(&as_xml(&page(part, None)));
    assert_eq!(Outlook::of(&[]).stops, 0);
}

#[test]
fn of_two_hundred_machines_the_next_stops_are_told_and_the_rest_counted() {
    let machines: Vec<MachinePlan> = (0..200)
        .map(|m| {
            let name = format!("H-{m:03}");
            let stops = (0..3)
                .map(|s| {
                    let tasks = vec![task("Packing set", "P1", Some(Why::Due))];
                    stop(&name, 5 + (m * 7 + s * 120) % 355, 2, tasks)
                })
                .collect();
            machine(&name, stops, vec![late("P1"), late("P2")])
        })
        .collect();
    let plan = plan(machines);
    let part = part(&plan, &vec![Vec::new(); 200]);
    let months = part.months.as_ref().expect("the rest is counted");
    assert_eq!(part.stops.len(), 60);
    assert_eq!((part.overdue.len(), part.more_overdue), (60, 280));
    assert_eq!(months.stops, 540);
    assert_eq!(months.sums.iter().sum::<usize>(), 540);
    for row in &months.rows {
        assert_eq!(row.counts.len(), months.months.len());
    }
    let last = plan.stops()[59].date;
    assert!(plan.stops()[60..].iter().all(|stop| stop.date >= last));
    assert_eq!(part.lanes.len(), 6);
    let page = page(part, None);
    parse(&as_xml(&page));
    assert!(page.contains("The other 540 stops"));
}

#[test]
fn late_orders_of_a_part_are_one_and_stand_first() {
    let order = |machine: &str, pieces, by: Option<i64>| Order {
        part: Some("PK-1".to_owned()),
        component: "packing set".to_owned(),
        name: "Packing set".to_owned(),
        pieces,
        machine: machine.to_owned(),
        stop: day(20),
        order_by: by.map(|n| day(0) + chrono::TimeDelta::days(n)),
        late_days: by.map_or(0, |n| u32::try_from(-n).unwrap_or(0)),
        lead_time_days: by.map(|_| 14),
        supplier: Some("Seal Works".to_owned()),
        stock_unknown: machine == "H-03",
    };
    let mut plan = plan(vec![machine(
        "H-01",
        vec![stop(
            "H-01",
            20,
            0,
            vec![task("Packing set", "P1", Some(Why::Due))],
        )],
        Vec::new(),
    )]);
    plan.orders = vec![
        order("H-01", 3, Some(-9)),
        order("H-02", 6, Some(-2)),
        order("H-03", 3, Some(5)),
        order("H-04", 3, Some(200)),
        order("H-05", 3, None),
    ];
    plan.kits = vec![vec![KitLine {
        part: Some("PK-1".to_owned()),
        component: "packing set".to_owned(),
        name: "Packing set".to_owned(),
        positions: vec!["P1".to_owned()],
        pieces: 3,
        from_stock: None,
    }]];
    plan.clashes = vec![Clash {
        date: day(20),
        machines: vec!["H-01".to_owned(), "H-02".to_owned()],
        crews: 1,
        instead: vec![("H-02".to_owned(), day(21))],
    }];
    let part = part(&plan, &[vec!["its rate differs".to_owned()]]);
    let rows: Vec<(&str, u32, bool)> = part
        .orders
        .iter()
        .map(|row| (row.when.as_str(), row.pieces, row.late))
        .collect();
    assert_eq!(
        rows,
        [
            ("now: 9 days late", 9, true),
            ("by 20 June 2026", 3, false),
            ("no lead time stated", 3, false)
        ]
    );
    assert_eq!(part.later_orders, 1);
    assert_eq!(
        part.orders[0].stops,
        ["3 for H-01 on 5 July 2026", "6 for H-02 on 5 July 2026"]
    );
    assert!(part.orders[1].stock_unknown);
    assert_eq!(
        (part.pieces[0].needed, part.pieces[0].from_stock),
        (3, None)
    );
    assert_eq!(
        part.crews,
        [
            "5 July 2026: H-01 and H-02 are down together, and there is one crew to open them. H-02 \
          could go on 6 July 2026."
        ]
    );
    assert_eq!(part.notes, ["H-01: its rate differs."]);
    let page = page(part, None);
    parse(&as_xml(&page));
    assert!(page.contains("PK-1 and") || page.contains("PK-1 should have been ordered"));
}

/// Text of others stands in every field, and is text.
#[test]
fn no_name_in_a_plan_or_an_earlier_report_is_markup() {
    let evil = "</td><script>alert(1)</script>\u{202e}";
    let fill = |text: &str| {
        let tasks = vec![task(text, text, Some(Why::Due)), task(text, "P9", None)];
        let mut plan = plan(vec![machine(
            text,
            vec![stop(text, 20, 2, tasks)],
            vec![Overdue {
                component: text.to_owned(),
                condemned: Some(text.to_owned()),
                ..late(text)
            }],
        )]);
        plan.kits = vec![vec![KitLine {
            part: Some(text.to_owned()),
            component: text.to_owned(),
            name: text.to_owned(),
            positions: vec![text.to_owned()],
            pieces: 3,
            from_stock: Some(1),
        }]];
        let row = ChangeRow {
            what: text.to_owned(),
            place: text.to_owned(),
            then: text.to_owned(),
            now: text.to_owned(),
            why: text.to_owned(),
        };
        let since = Changes {
            since: text.to_owned(),
            headline: text.to_owned(),
            sentences: vec![text.to_owned()],
            answers: vec![row.clone()],
            stops: vec![row],
            more_stops: 3,
        };
        page(part(&plan, &[vec![text.to_owned()]]), Some(since))
    };
    let (plain, hostile) = (fill("Plain"), fill(evil));
    let elements = |page: &str| {
        let xml = as_xml(page);
        let found: Vec<String> = parse(&xml)
            .descendants()
            .filter(|node| node.is_element() && !is_drawn(node))
            .map(|node| node.tag_name().name().to_owned())
            .collect();
        found
    };
    assert_eq!(elements(&plain), elements(&hostile));
    assert!(!hostile.contains("<script") && !hostile.contains('\u{202e}'));
}

/// Pictures may break a long label into several pieces.
fn is_drawn(node: &roxmltree::Node<'_, '_>) -> bool {
    node.ancestors().any(|a| a.tag_name().name() == "svg")
}
