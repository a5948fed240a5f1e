//! All money of a ledger stands in `costs` once, and adds up however it is kept apart.

use std::collections::BTreeMap;
use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rust_decimal::Decimal;
use wearbook::cost::{By, breakdown};
use wearbook::life::{CostItem, CostKind};
use wearbook::store::{Cell, Options, Store};

use crate::plants::Plant;

const BYS: [By; 6] = [
    By::Machine,
    By::Component,
    By::Position,
    By::Part,
    By::Mode,
    By::Kind,
];

/// What the entries themselves come to, without `jobs`, `costs` or `renewal_costs`: every
/// line's own money. Cents, each product rounded by itself; an item put back with its serial
/// was not bought.
const BY_ENTRIES: &str = "
    WITH lines AS (
        SELECT e.*, lag(kind) OVER w AS before_kind,
            lag(serial, 2) OVER w AS old_serial, l.labour_rate, m.downtime_cost,
            coalesce(e.pieces, s.pieces, c.pieces) * coalesce(p.price, c.price) AS parts
        FROM entries_live AS e
        JOIN ledgers AS l USING (ledger)
        LEFT JOIN machines AS m USING (ledger, machine)
        LEFT JOIN slots AS s USING (ledger, machine, component, \"position\")
        LEFT JOIN components AS c USING (ledger, component)
        LEFT JOIN parts AS p USING (ledger, component, part)
        WINDOW w AS (PARTITION BY ledger, machine, component, \"position\",
                         kind IN ('installed', 'replaced', 'removed')
                     ORDER BY \"time\", logged, book, line)
    )
    SELECT CAST(sum(CASE kind
        WHEN 'job' THEN round(coalesce(labour_h, 0) * labour_rate, 2)
            + round(coalesce(downtime_h, 0) * downtime_cost, 2) + round(coalesce(cost, 0), 2)
        WHEN 'expense' THEN round(cost, 2)
        WHEN 'replaced' THEN round(parts, 2)
        WHEN 'installed' THEN CASE
            WHEN before_kind = 'removed' AND (serial IS NULL OR serial IS DISTINCT FROM old_serial)
            THEN round(parts, 2) ELSE 0 END
        ELSE 0 END) AS VARCHAR)
    FROM lines";

fn sum(store: &Store, question: &str) -> Decimal {
    let answer = store.ask(question).expect("sum");
    match &answer.rows[0][0] {
        Cell::Text(text) => text.parse().expect("a decimal"),
        other => panic!("{other:?}"),
    }
}

fn total(items: &[CostItem]) -> Decimal {
    items.iter().filter_map(|item| item.amount).sum()
}

fn adds_up(items: &[CostItem], whole: Decimal) {
    let usage = BTreeMap::new();
    for one in BYS {
        for two in BYS {
            let by = if one == two {
                vec![one]
            } else {
                vec![one, two]
            };
            let found = breakdown(items, &by, &usage);
            let groups = found.groups.iter().map(|group| group.amounts.total());
            assert_eq!(groups.sum::<Decimal>(), whole, "{by:?}");
            assert_eq!(found.total.amounts.total(), whole, "{by:?}");
            let renewals: u64 = found.groups.iter().map(|group| group.renewals).sum();
            assert_eq!(renewals, found.total.renewals, "{by:?}");
        }
    }
}

/// The sample: to the last cent what its entries say.
#[test]
fn the_sample_reconciles_with_its_entries() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-ledger");
    let store = Store::open(&[sample], None, &Options::default()).expect("sample");
    let items = store.costs().expect("costs");
    let whole = total(&items);
    assert_eq!(whole, sum(&store, BY_ENTRIES));
    assert_eq!(
        whole,
        sum(&store, "SELECT CAST(sum(amount) AS VARCHAR) FROM costs")
    );
    assert!(whole > Decimal::from(500_000), "{whole}");
    assert!(items.iter().all(|item| item.amount.is_some()));
    adds_up(&items, whole);
    // Every job is whole, in every class.
    for job in store.jobs().expect("jobs") {
        let of = |word: &str| -> Decimal {
            let items = items
                .iter()
                .filter(|item| item.job.as_ref() == Some(&job.job) && item.machine == job.machine);
            items
                .filter(|item| item.class.word() == word)
                .filter_map(|item| item.amount)
                .sum()
        };
        assert_eq!(of("labour"), job.labour, "{}", job.job);
        assert_eq!(Some(of("downtime")), job.downtime, "{}", job.job);
        assert_eq!(of("extra"), job.extra, "{}", job.job);
    }
}

/// Random ledgers, seeded: jobs with odd hours, renewals in and out of jobs, pairs of removed
/// and installed, expenses of machines and of the plant.
#[test]
fn any_ledger_adds_up_however_it_is_kept_apart() {
    for seed in 0..6 {
        let plant = Plant::with(&random_ledger(seed));
        let store = plant.store();
        let items = store.costs().expect("costs");
        let whole = total(&items);
        assert_eq!(whole, sum(&store, BY_ENTRIES), "seed {seed}");
        adds_up(&items, whole);
        assert!(items.iter().any(|item| item.kind == CostKind::Other));
        assert!(items.iter().all(|item| {
            let cents = item.amount.expect("priced") * Decimal::from(100);
            cents == cents.trunc()
        }));
    }
}

fn random_ledger(seed: u64) -> String {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let slots = ["packing-set", "plunger"]
        .into_iter()
        .flat_map(|c| ["P1", "P2", "P3"].map(|p| (c, p)));
    let slots: Vec<(&str, &str)> = slots.collect();
    let mut lines = String::new();
    let mut say = |line: String| lines.push_str(&(line + "\n"));
    for machine in ["H-01", "H-02"] {
        for (component, position) in &slots {
            say(format!(
                r#"{{"entry":"installed","time":"2020-01-01T00:00:00Z","machine":"{machine}","component":"{component}","position":"{position}"}}"#
            ));
        }
    }
    let start = "2020-02-01T00:00:00Z"
        .parse::<chrono::DateTime<chrono::Utc>>()
        .expect("time");
    for n in 0..150 {
        let time = (start + chrono::TimeDelta::hours(30 * n)).format("%Y-%m-%dT%H:%M:%SZ");
        let machine = if rng.random_bool(0.5) { "H-01" } else { "H-02" };
        let job = if rng.random_bool(0.7) {
            format!(r#","job":"J-{n}""#)
        } else {
            String::new()
        };
        let count = rng.random_range(0..=slots.len());
        for (component, position) in &slots[..count] {
            let reasons = [
                "failed",
                "worn",
                "planned",
                "opportunity",
                "damaged",
                "changed-type",
            ];
            let reason = reasons[rng.random_range(0..reasons.len())];
            let found = ["running", "inspection"][rng.random_range(0..2)];
            let pieces = rng.random_range(1..4);
            let slot = format!(
                r#""time":"{time}","machine":"{machine}","component":"{component}","position":"{position}""#
            );
            let end = format!(r#""reason":"{reason}","found":"{found}""#);
            if rng.random_bool(0.8) {
                say(format!(
                    r#"{{"entry":"replaced",{slot},"pieces":{pieces},{end}{job}}}"#
                ));
            } else {
                // Taken out under the job; the new one may come outside it.
                let into = if rng.random_bool(0.5) { &job } else { "" };
                say(format!(r#"{{"entry":"removed",{slot},{end}{job}}}"#));
                say(format!(
                    r#"{{"entry":"installed",{slot},"pieces":{pieces}{into}}}"#
                ));
            }
        }
        if !job.is_empty() && rng.random_bool(0.9) {
            let kind = ["corrective", "preventive"][rng.random_range(0..2)];
            let hundredth = |rng: &mut ChaCha8Rng, below: u32| {
                Decimal::new(i64::from(rng.random_range(0..below)), 2)
            };
            let (labour, downtime, extra) = (
                hundredth(&mut rng, 2000),
                hundredth(&mut rng, 1000),
                hundredth(&mut rng, 100_000),
            );
            say(format!(
                r#"{{"entry":"job","time":"{time}","machine":"{machine}","start":"{time}","stop":"{time}","kind":"{kind}","labour_h":{labour},"downtime_h":{downtime},"cost":{extra}{job}}}"#
            ));
        }
        if rng.random_bool(0.2) {
            let cost = Decimal::new(rng.random_range(0..50_000), 2);
            let whose = if rng.random_bool(0.5) {
                format!(r#","machine":"{machine}""#)
            } else {
                String::new()
            };
            say(format!(
                r#"{{"entry":"expense","time":"{time}"{whose},"cost":{cost},"what":"oil"}}"#
            ));
        }
    }
    lines
}
