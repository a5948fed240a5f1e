//! The part from facts made by hand: what is added up, joined, left out and said.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;

use super::*;
use crate::chart::OTHERS;
use crate::cost::{By, Every, Span, Spent, breakdown, split};
use crate::life::{CostClass, CostItem, CostKind, RenewalKind};
use crate::policy::decide::Saving;
use crate::quantity::Currency;
use crate::quantity::time::start_of_day;
use crate::recurrence::{rate_limits, rate_ratio};
use crate::view::cost_change::{ChangeView, FailureRow, KindRow};
use crate::view::cost_saved::SavedView;

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn item(machine: &str, component: Option<&str>, kind: CostKind, on: &str, euros: i64) -> CostItem {
    CostItem {
        ledger: "one".into(),
        machine: (!machine.is_empty()).then(|| machine.to_owned()),
        component: component.map(str::to_owned),
        position: component.map(|_| "P1".to_owned()),
        part: None,
        mode: (kind == CostKind::Corrective && component.is_some()).then(|| "leaking".to_owned()),
        kind,
        class: match kind {
            CostKind::Expense => CostClass::Expense,
            _ => CostClass::Parts,
        },
        time: start_of_day(date(on), chrono_tz::UTC),
        job: None,
        cause: (kind == CostKind::Corrective).then_some(RenewalKind::Failed),
        shared: false,
        amount: Some(Decimal::from(euros)),
        what: None,
        sha: format!("{machine}{component:?}{on}{euros}"),
    }
}

const QUARTERS: [&str; 2] = ["2025-01-01", "2025-04-01"];

/// Two quarters of `usage` each, by machine.
fn facts(items: &[CostItem], usage: &[(&str, Option<f64>)]) -> MoneyFacts {
    let span = Span::new(date(QUARTERS[0]), date("2025-06-30"));
    let of = |span: &Span, by: &[By], share: f64| {
        let usage: BTreeMap<String, Option<f64>> = usage
            .iter()
            .map(|(name, ran)| ((*name).to_owned(), ran.map(|ran| ran * share)))
            .collect();
        let within = |item: &&CostItem| {
            let day = item.time.date_naive();
            span.from <= day && day <= span.to
        };
        let found = breakdown(items.iter().filter(within), by, &usage);
        (found, usage)
    };
    let cut = |by: &[By]| Stretches {
        every: Every::Quarter,
        each: span
            .cut(Every::Quarter)
            .into_iter()
            .map(|span| {
                let (found, usage) = of(&span, by, 0.5);
                Stretch { span, found, usage }
            })
            .collect(),
    };
    let whole = |by: &[By]| of(&span, by, 1.0).0;
    MoneyFacts {
        currency: Currency::from_code("EUR").unwrap(),
        usage: "Running hours".into(),
        unit: "h".into(),
        confidence: 0.9,
        as_of: span.to,
        names: BTreeMap::from([("packing".to_owned(), "Packing set".to_owned())]),
        whole: whole(&[By::Machine, By::Component]),
        over_time: cut(&[By::Machine, By::Component]),
        kinds: whole(&[By::Kind]),
        by_kind: cut(&[By::Kind]),
        recent: span.clone(),
        causes: whole(&[By::Component, By::Mode, By::Kind]),
        change: None,
        saved: SavedView {
            as_of: String::new(),
            currency: Currency::from_code("EUR").unwrap(),
            span: span.clone(),
            confidence: 0.9,
            rows: Vec::new(),
            total: None,
            notes: Vec::new(),
        },
        offer: OnOffer::default(),
        indicators: Vec::new(),
        notes: Vec::new(),
        span,
    }
}

fn columns(part: &MoneyPart) -> Option<&StackedColumns> {
    part.blocks
        .iter()
        .flat_map(|b| &b.items)
        .find_map(|item| match item {
            Item::Columns(chart, _) => Some(chart),
            _ => None,
        })
}

fn ranked(part: &MoneyPart) -> Option<&RankedBars> {
    part.blocks
        .iter()
        .flat_map(|b| &b.items)
        .find_map(|item| match item {
            Item::Ranked(chart, _) => Some(chart),
            _ => None,
        })
}

fn grid<'a>(part: &'a MoneyPart, title: &str) -> Option<&'a Grid> {
    part.blocks
        .iter()
        .flat_map(|b| &b.items)
        .find_map(|item| match item {
            Item::Table(grid) if grid.title == title => Some(grid),
            _ => None,
        })
}

/// Every machine's columns times its hours give back the money, whatever series it is in.
#[test]
fn the_columns_hold_all_the_money_of_the_machines() {
    use CostKind::{Corrective, Expense, Preventive};
    let names: Vec<String> = (0..9).map(|n| format!("part-{n}")).collect();
    let mut items: Vec<CostItem> = names
        .iter()
        .enumerate()
        .map(|(n, name)| {
            item(
                "H-01",
                Some(name),
                Corrective,
                QUARTERS[n % 2],
                100 + n as i64,
            )
        })
        .collect();
    items.push(item("H-02", None, Preventive, QUARTERS[0], 40));
    items.push(item("", None, Expense, QUARTERS[1], 60));
    let facts = facts(&items, &[("H-01", Some(1_000.0)), ("H-02", Some(600.0))]);
    let part = money_part(&facts);
    let chart = columns(&part).unwrap();
    // Six by themselves, each with a look of its own, the dearest first.
    let looks: Vec<usize> = chart.series.iter().map(|s| s.look).collect();
    assert_eq!(looks, [0, 1, 2, 3, 4, 5, OTHERS]);
    assert_eq!(chart.series[0].name, "part-8");
    let sums: Vec<(&str, f64)> = chart
        .panels
        .iter()
        .map(|panel| {
            let rates = panel.columns.iter().flatten().flatten();
            (panel.name.as_str(), rates.sum())
        })
        .collect();
    // 936 over 500 h a quarter; 40 over 300 h; all of 1,036 over 800 h.
    for ((name, rate), (expected, money, hours)) in sums.iter().zip([
        ("all machines", 1_036.0, 800.0),
        ("H-01", 936.0, 500.0),
        ("H-02", 40.0, 300.0),
    ]) {
        assert_eq!(*name, expected);
        assert!((rate - money / hours).abs() < 1e-12, "{name}: {rate}");
    }
}

#[test]
fn many_machines_share_the_last_panel_and_one_that_cost_nothing_ran_all_the_same() {
    let names: Vec<String> = (0..15).map(|n| format!("M-{n:02}")).collect();
    let items: Vec<CostItem> = names
        .iter()
        .enumerate()
        .map(|(n, name)| {
            let on = QUARTERS[n % 2];
            item(
                name,
                Some("packing"),
                CostKind::Corrective,
                on,
                10 + n as i64,
            )
        })
        .collect();
    let usage: Vec<(&str, Option<f64>)> = names
        .iter()
        .map(|name| (name.as_str(), Some(200.0)))
        .collect();
    let part = money_part(&facts(&items, &usage));
    let chart = columns(&part).unwrap();
    assert_eq!(chart.panels.len(), 1 + 8 + 1);
    let rest = chart.panels.last().unwrap();
    assert_eq!(rest.name, "the other 7 machines");
    // Machines 0, 2, 4 and 6 spent 10 + 12 + 14 + 16 in the first quarter; all seven ran 100 h.
    let first = rest.columns[0].as_ref().unwrap();
    assert!((first.iter().sum::<f64>() - 52.0 / 700.0).abs() < 1e-12);
}

#[test]
fn without_a_meter_there_is_no_rate_and_no_empty_chart() {
    let items = [item(
        "H-01",
        Some("packing"),
        CostKind::Corrective,
        QUARTERS[0],
        500,
    )];
    let part = money_part(&facts(&items, &[("H-01", None)]));
    assert!(columns(&part).is_none());
    assert!(
        part.findings[0].contains("cannot be said, as no meter tells"),
        "{:?}",
        part.findings
    );
    let rates = grid(&part, "Planned against unplanned.").unwrap();
    assert_eq!(rates.rows.last().unwrap().cells[1].text, "–");
    // A machine that hardly ran has no column: 500 for 2 h says nothing of an hour.
    let items = [
        item(
            "H-01",
            Some("packing"),
            CostKind::Corrective,
            QUARTERS[0],
            500,
        ),
        item(
            "H-01",
            Some("packing"),
            CostKind::Corrective,
            QUARTERS[1],
            500,
        ),
    ];
    let mut facts = facts(&items, &[("H-01", Some(2_000.0))]);
    facts.over_time.each[0]
        .usage
        .insert("H-01".into(), Some(2.0));
    let part = money_part(&facts);
    let chart = columns(&part).unwrap();
    assert!(chart.panels[0].columns[0].is_none());
    assert!(chart.panels[0].columns[1].is_some());
}

#[test]
fn the_ranking_adds_up_and_joins_what_is_small() {
    use CostKind::{Corrective, Expense, Preventive};
    let mut items = Vec::new();
    for n in 0..20 {
        let name = format!("part-{n:02}");
        items.push(item(
            "H-01",
            Some(&name),
            Corrective,
            QUARTERS[0],
            1_000 - 40 * n,
        ));
        items.push(item("H-01", Some(&name), Preventive, QUARTERS[1], 5));
    }
    items.push(item("", None, Expense, QUARTERS[1], 2_000));
    items.push(item("H-01", None, Corrective, QUARTERS[1], 1_500));
    let part = money_part(&facts(&items, &[("H-01", Some(1_000.0))]));
    let chart = ranked(&part).unwrap();
    assert_eq!(chart.rows.len(), 10);
    let names: Vec<&str> = chart.rows[..3].iter().map(|r| r.name.as_str()).collect();
    assert_eq!(names, ["Expenses", "Machines as a whole", "part-00"]);
    assert_eq!(chart.rows[2].detail.as_deref(), Some("leaking"));
    assert_eq!(chart.rows[9].name, "33 others");
    let all: f64 = chart.rows.iter().flat_map(|r| &r.parts).sum();
    let spent: i64 = (0..20).map(|n| 1_005 - 40 * n).sum::<i64>() + 3_500;
    assert!((all - spent as f64).abs() < 1e-9);
    assert!((chart.rows[9].share_so_far - 1.0).abs() < 1e-12);
    assert!(
        chart
            .rows
            .windows(2)
            .all(|w| w[0].share_so_far <= w[1].share_so_far)
    );
    // No look here is one that a component has over time.
    assert!(chart.parts.iter().all(|s| s.look >= 6), "{:?}", chart.parts);
}

#[test]
fn a_change_is_told_with_its_parts_and_its_doubt() {
    let items = [item(
        "H-01",
        Some("packing"),
        CostKind::Corrective,
        QUARTERS[0],
        500,
    )];
    let mut facts = facts(&items, &[("H-01", Some(1_000.0))]);
    let spent = |usage: f64, events: u64, euros: i64| Spent {
        usage,
        events,
        money: Decimal::from(euros),
    };
    let (before, after) = (spent(1_000.0, 2, 1_000), spent(1_000.0, 3, 1_500));
    let row = |machine: Option<&str>, one: (u64, f64), two: (u64, f64)| FailureRow {
        machine: machine.map(str::to_owned),
        before: (one.0, one.1, rate_limits(one.0, one.1, 0.9)),
        after: (two.0, two.1, rate_limits(two.0, two.1, 0.9)),
        ratio: rate_ratio(one, two, 0.9),
    };
    facts.change = Some(ChangeView {
        as_of: String::new(),
        currency: facts.currency,
        unit: "h".into(),
        before: Span::new(date("2025-01-01"), date("2025-03-31")),
        after: Span::new(date("2025-04-01"), date("2025-06-30")),
        usage: (Some(1_000.0), Some(1_000.0)),
        confidence: 0.9,
        kinds: vec![KindRow {
            kind: "corrective",
            before,
            after,
            split: split(before, after, 2),
        }],
        failures: vec![
            row(None, (22, 2_000.0), (23, 2_000.0)),
            row(Some("H-01"), (20, 1_000.0), (5, 1_000.0)),
            row(Some("H-02"), (2, 1_000.0), (18, 1_000.0)),
        ],
        notes: Vec::new(),
    });
    let part = money_part(&facts);
    let said = part.findings.join(" ");
    for words in [
        "Each running hour cost EUR 1.50 after 1.00 in the first half of the record.",
        "The cost rose by EUR 500: +500 from work that came more often.",
        "Failures came 1.0 times as often",
        "which may be chance.",
        "Only at H-01 (0.25 times) and at H-02 (9.0 times) is it more than chance makes of it.",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    let failures = grid(&part, "Failures before and after.").unwrap();
    let last: Vec<&str> = failures
        .rows
        .iter()
        .map(|r| r.cells[6].text.as_str())
        .collect();
    assert_eq!(last, ["yes, less often", "yes, more often", "no"]);
}

#[test]
fn what_is_on_offer_is_told_with_its_limits() {
    let items = [item(
        "H-01",
        Some("packing"),
        CostKind::Corrective,
        QUARTERS[0],
        500,
    )];
    let mut facts = facts(&items, &[("H-01", Some(1_000.0))]);
    let part = money_part(&facts);
    assert!(!part.findings.join(" ").contains("a year"));
    let worth = Saving {
        median: 12_345.0,
        lower: -820.4,
        upper: 17_090.0,
    };
    facts.offer = OnOffer {
        rows: vec![OfferRow {
            component: "packing".into(),
            name: "Packing set".into(),
            place: "all positions".into(),
            today: None,
            instead: Some(1_250.0),
            unit: "h".into(),
            slots: 3,
            usage: 15_000.0,
            per_year: worth,
            chance: 0.93,
        }],
        total: Some(worth),
        at_openings: vec!["Cap gasket".into()],
        without_usage: vec!["H-09".into()],
    };
    let part = money_part(&facts);
    let said = part.findings.join(" ");
    assert!(
        said.contains("is worth about EUR 12,300 a year (90 % limits −820 to 17,100)."),
        "{said}"
    );
    let table = grid(&part, "What is still on offer.").unwrap();
    let cells: Vec<&str> = table.rows[0]
        .cells
        .iter()
        .map(|c| c.text.as_str())
        .collect();
    assert_eq!(
        cells,
        [
            "Packing set",
            "at failure",
            "1,250 h",
            "15,000 h",
            "12,300",
            "93 %"
        ]
    );
    let words: Vec<String> = part
        .blocks
        .iter()
        .flat_map(|b| &b.items)
        .filter_map(|item| match item {
            Item::Words(text) => Some(text.clone()),
            _ => None,
        })
        .collect();
    assert!(
        words
            .iter()
            .any(|w| w.starts_with("Not counted: cap gasket")),
        "{words:?}"
    );
    assert!(
        words.iter().any(|w| w.contains("slots of H-09")),
        "{words:?}"
    );
}

#[test]
fn money_is_exact_and_estimates_are_not() {
    use super::grid::{about, exact, rate, signed};
    let cents = |cents: i64| Decimal::new(cents, 2);
    assert_eq!(exact(cents(75_345_550), 2), "753,455.50");
    assert_eq!(exact(cents(-104), 2), "−1.04");
    assert_eq!(exact(cents(1_050), 0), "11");
    assert_eq!(signed(cents(-42)), "0");
    assert_eq!(signed(cents(199_950)), "+2,000");
    assert_eq!(about(12_345.0), "12,300");
    assert_eq!(about(-41.6), "−42");
    assert_eq!(
        [rate(11.756), rate(0.1234), rate(0.0123)],
        ["11.76", "0.123", "0.0123"]
    );
}

/// Names come from ledgers: none of them may be read as a page.
#[test]
fn names_cannot_spoil_the_page() {
    let bad = "<b onclick=x>&\"H</b>";
    let items = [
        item(bad, Some("packing"), CostKind::Corrective, QUARTERS[0], 500),
        item("H-02", Some(bad), CostKind::Corrective, QUARTERS[1], 300),
    ];
    let mut facts = facts(&items, &[(bad, Some(900.0)), ("H-02", Some(900.0))]);
    facts.names.insert("packing".into(), bad.into());
    facts.notes.push(bad.into());
    let report = crate::report::model::Report {
        money: Some(money_part(&facts)),
        ..Default::default()
    };
    let page = crate::report::render(&report).unwrap();
    assert!(!page.html.contains("<b onclick"));
    assert!(page.html.contains("&lt;b onclick"));
    assert_eq!(page.charts.len(), 2);
}
