//! Plans of small machines worked by hand, and what holds for any.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use proptest::prelude::*;

use super::*;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn slot(component: &str, position: &str, age: f64, interval: Option<f64>) -> SlotNow {
    SlotNow {
        component: component.into(),
        name: component.into(),
        position: position.into(),
        opening: Some(0),
        usage: "hours".into(),
        unit: "h".into(),
        since: Since::Age(age),
        condemned: None,
        renewal: interval.map(|interval| Renewal {
            interval,
            latest: interval,
            basis: Basis::Grouped { multiple: 1 },
        }),
        ceiling: None,
        take_exposed: None,
        take_down: None,
        look_at: None,
        own_labour_h: 0.5,
        own_stop_h: 0.5,
        shared_h: 1.0,
        parts_cost: 100.0,
        part: Some(format!("N-{component}")),
        pieces: 1,
        measures: Vec::new(),
    }
}

/// 70 h a week, so 10 h a day; a cap whose gasket is always renewed.
fn machine(base: Option<f64>, mut slots: Vec<SlotNow>) -> MachineNow {
    let mut gasket = slot("gasket", "P1", 0.0, None);
    gasket.own_labour_h = 0.0;
    gasket.own_stop_h = 0.0;
    gasket.parts_cost = 10.0;
    slots.push(gasket);
    MachineNow {
        machine: "H-01".into(),
        name: "One".into(),
        openings: vec![Opening {
            access: "cylinder".into(),
            cylinder: "P1".into(),
            name: "Cap off".into(),
            labour_h: 1.5,
            always: vec![slots.len() - 1],
        }],
        slots,
        base: base.map(|base| ("hours".into(), base)),
        rates: BTreeMap::from([(
            "hours".to_owned(),
            Rate::of(&[60.0, 80.0, 70.0, 70.0], Some(70.0)).unwrap(),
        )]),
        downtime_cost: 400.0,
        labour_rate: 50.0,
    }
}

const AS_OF: &str = "2026-01-01";

fn plan(machine: &MachineNow, days: f64) -> MachinePlan {
    plan_machine(machine, day(AS_OF), days)
}

fn taken(stop: &Stop) -> Vec<(&str, Why)> {
    stop.renewals()
        .map(|task| (task.component.as_str(), task.renew.unwrap()))
        .collect()
}

#[test]
fn two_parts_share_stops_by_their_multiples() {
    let mut spring = slot("spring", "P1", 1_000.0, Some(2_000.0));
    spring.renewal.as_mut().unwrap().basis = Basis::Grouped { multiple: 2 };
    let now = machine(
        Some(1_000.0),
        vec![slot("packing", "P1", 0.0, Some(1_000.0)), spring],
    );
    let plan = plan(&now, 365.0);
    let told: Vec<(String, Vec<&str>)> = plan
        .stops
        .iter()
        .map(|s| {
            (
                s.date.to_string(),
                s.renewals().map(|t| t.component.as_str()).collect(),
            )
        })
        .collect();
    // 1,000 h at 10 h a day: every hundred days; the spring at the first and the third.
    assert_eq!(
        told,
        [
            ("2026-04-11".to_owned(), vec!["packing", "spring", "gasket"]),
            ("2026-07-20".to_owned(), vec!["packing", "gasket"]),
            ("2026-10-28".to_owned(), vec!["packing", "spring", "gasket"]),
        ]
    );
    // Cap 1.5 h, two parts 0.5 h each; one shared hour of production.
    let first = &plan.stops[0];
    assert_eq!((first.labour_h, first.hours), (2.5, 2.0));
    assert_eq!(first.cost, 210.0 + 2.5 * 50.0 + 2.0 * 400.0);
    assert!(first.earliest < first.date && first.date < first.latest);
}

#[test]
fn what_is_overdue_comes_first_and_at_once() {
    let now = machine(
        Some(1_000.0),
        vec![slot("packing", "P1", 1_300.0, Some(1_000.0))],
    );
    let plan = plan(&now, 50.0);
    assert_eq!(plan.overdue.len(), 1);
    assert!(!plan.overdue[0].past_ceiling);
    assert_eq!(plan.stops[0].date, day(AS_OF));
    assert_eq!(plan.stops[0].earliest, plan.stops[0].latest);
    assert_eq!(
        taken(&plan.stops[0]),
        [
            ("packing", Why::Overdue { by: 300.0 }),
            ("gasket", Why::Disturbed)
        ]
    );
}

#[test]
fn a_condemned_item_is_taken_at_once_though_it_runs_to_failure() {
    let mut ball = slot("ball", "P1", 400.0, None);
    ball.condemned = Some("found worn on 2025-12-24".into());
    let plan = plan(&machine(None, vec![ball]), 300.0);
    assert_eq!(plan.stops.len(), 1);
    assert!(plan.stops[0].is_overdue());
    assert_eq!(taken(&plan.stops[0])[0], ("ball", Why::Condemned));
}

#[test]
fn items_past_their_age_are_taken_along_and_younger_ones_are_not() {
    let mut old = slot("old", "P1", 500.0, None);
    old.take_exposed = Some(700.0);
    let mut young = slot("young", "P1", 100.0, None);
    young.take_exposed = Some(700.0);
    let mut belts = slot("belts", "drive", 900.0, None);
    belts.opening = None;
    belts.take_down = Some(1_100.0);
    let now = machine(
        Some(1_000.0),
        vec![
            slot("packing", "P1", 750.0, Some(1_000.0)),
            old,
            young,
            belts,
        ],
    );
    let plan = plan(&now, 30.0);
    // After 250 h: 750, 350 and 1,150 h.
    assert_eq!(
        taken(&plan.stops[0]),
        [
            ("packing", Why::Due),
            ("old", Why::Exposed),
            ("belts", Why::Down),
            ("gasket", Why::Disturbed),
        ]
    );
}

#[test]
fn what_can_wait_waits_and_what_cannot_is_taken_early() {
    let mut waits = slot("waits", "P1", 800.0, Some(1_000.0));
    waits.renewal.as_mut().unwrap().latest = 1_900.0;
    let cannot = slot("cannot", "P1", 800.0, Some(1_000.0));
    let now = machine(
        Some(1_000.0),
        vec![slot("packing", "P1", 990.0, Some(1_000.0)), waits, cannot],
    );
    let plan = plan(&now, 110.0);
    assert_eq!(
        taken(&plan.stops[0]),
        [
            ("packing", Why::Due),
            ("cannot", Why::Early),
            ("gasket", Why::Disturbed)
        ]
    );
    assert_eq!(taken(&plan.stops[1])[1], ("waits", Why::Due));
}

#[test]
fn a_look_is_a_stop_with_nothing_renewed_and_everything_exposed_is_measured() {
    let mut seat = slot("seat", "P1", 500.0, None);
    seat.look_at = Some(1_000.0);
    seat.measures = vec!["face-width".into()];
    let mut ball = slot("ball", "P1", 500.0, None);
    ball.measures = vec!["diameter".into()];
    let plan = plan(&machine(None, vec![seat, ball]), 160.0);
    // And again as much later.
    assert_eq!(plan.stops.len(), 2);
    assert_eq!(plan.stops[1].date, day("2026-05-31"));
    let stop = &plan.stops[0];
    assert_eq!(stop.date, day("2026-02-20"));
    // The cap must come off for it, so its gasket goes.
    assert_eq!(taken(stop), [("gasket", Why::Disturbed)]);
    let looked: Vec<(&str, bool)> = stop
        .tasks
        .iter()
        .filter(|task| task.renew.is_none())
        .map(|task| (task.component.as_str(), task.look))
        .collect();
    assert_eq!(looked, [("seat", true), ("ball", false)]);
}

#[test]
fn kits_draw_the_shelf_down_by_date_and_orders_start_a_lead_time_before() {
    let now = machine(
        Some(1_000.0),
        vec![slot("packing", "P1", 0.0, Some(1_000.0))],
    );
    let mut other = now.clone();
    other.machine = "H-02".into();
    other.slots[0].since = Since::Age(500.0);
    other.slots[0].pieces = 4;
    let shelf = Shelf::from([
        (
            "N-packing".to_owned(),
            OnShelf {
                stock: Some(3),
                lead_time_days: Some(14),
                supplier: Some("Lindmoor".into()),
            },
        ),
        (
            "N-gasket".to_owned(),
            OnShelf {
                stock: Some(9),
                ..OnShelf::default()
            },
        ),
    ]);
    let plan = Plan::make(
        &[now.clone(), other.clone()],
        &shelf,
        Some(1),
        day(AS_OF),
        (day(AS_OF), day("2026-05-01")),
    );
    let stops = plan.stops();
    assert_eq!(stops[0].machine, "H-02");
    assert_eq!(stops[1].machine, "H-01");
    let packing: Vec<(u32, Option<u32>)> = plan
        .kits
        .iter()
        .map(|k| (k[0].pieces, k[0].from_stock))
        .collect();
    assert_eq!(packing, [(4, Some(3)), (1, Some(0))]);
    let [first, second] = &plan.orders[..] else {
        panic!("{:?}", plan.orders);
    };
    assert_eq!((first.pieces, second.pieces), (1, 1));
    assert_eq!(
        first.order_by,
        stops[0].earliest.checked_sub_days(chrono::Days::new(14))
    );
    assert!(plan.clashes.is_empty());

    // A period that begins later shows later stops, and the shelf has been drawn on before.
    let later = Plan::make(
        &[now, other],
        &shelf,
        None,
        day(AS_OF),
        (day("2026-03-15"), day("2026-05-01")),
    );
    assert_eq!(later.stops().len(), 1);
    assert_eq!(later.kits, plan.kits[1..]);
}

#[test]
fn two_machines_on_one_day_are_one_too_many_for_one_crew() {
    let now = machine(
        Some(1_000.0),
        vec![slot("packing", "P1", 500.0, Some(1_000.0))],
    );
    let mut other = now.clone();
    other.machine = "H-02".into();
    let plan = Plan::make(
        &[now, other],
        &Shelf::new(),
        Some(1),
        day(AS_OF),
        (day(AS_OF), day("2026-03-31")),
    );
    let [clash] = &plan.clashes[..] else {
        panic!("{:?}", plan.clashes);
    };
    assert_eq!(clash.machines, ["H-01", "H-02"]);
    assert_eq!(clash.instead, [("H-02".to_owned(), day("2026-02-19"))]);
    assert!(
        plan.orders
            .iter()
            .all(|order| order.stock_unknown && order.order_by.is_none())
    );
}

fn any_slot() -> impl Strategy<Value = SlotNow> {
    (
        0.0..5_000.0_f64,
        proptest::option::of(200.0..6_000.0_f64),
        1.0..1.6_f64,
        proptest::option::of(100.0..3_000.0_f64),
        proptest::option::of(100.0..3_000.0_f64),
        10.0..2_000.0_f64,
        any::<bool>(),
    )
        .prop_map(|(age, interval, slack, exposed, down, cost, opened)| {
            let mut slot = slot("part", "P1", age, interval);
            if let Some(renewal) = &mut slot.renewal {
                renewal.latest = renewal.interval * slack;
            }
            slot.opening = opened.then_some(0);
            slot.take_exposed = exposed;
            slot.take_down = down;
            slot.parts_cost = cost;
            slot
        })
}

proptest! {
    /// Nothing runs past its latest age (by more than the day a stop is rounded to), whatever
    /// the intervals; stops come in order; the same machine gives the same plan.
    #[test]
    fn no_item_runs_past_its_latest_age(
        slots in proptest::collection::vec(any_slot(), 1..8),
        base in proptest::option::of(150.0..3_000.0_f64),
    ) {
        let now = machine(base, slots);
        let horizon = 500.0;
        let plan = plan(&now, horizon);
        prop_assert_eq!(&plan, &plan_machine(&now, day(AS_OF), horizon));
        for pair in plan.stops.windows(2) {
            prop_assert!(pair[0].day < pair[1].day);
        }
        for (n, slot) in now.slots.iter().enumerate() {
            let Some(renewal) = slot.renewal else { continue };
            let mut last = (0.0, slot.since.age().unwrap());
            let days = plan.stops.iter().filter(|s| s.renewals().any(|t| t.slot == n)).map(|s| s.day);
            for day in days.chain([horizon]) {
                let age = last.1 + 10.0 * (day - last.0);
                let allowed = renewal.latest.max(last.1) + 20.0;
                prop_assert!(age <= allowed, "slot {n} at {age} on day {day}, latest {}", renewal.latest);
                last = (day, 0.0);
            }
        }
    }
}
