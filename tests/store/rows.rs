//! Rows as the rest of the program takes them.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use wearbook::life::{Flag, Outcome, RenewalKind};
use wearbook::store::Cell;

use crate::plants::{Plant, at, shown};

#[test]
fn lives_come_back_as_rows() {
    let lives = Plant::of_case("inspections")
        .store()
        .lives()
        .expect("lives");
    assert_eq!(lives.len(), 10);
    let first = &lives[0];
    assert_eq!(first.component, "packing-set");
    assert_eq!(first.outcome, Outcome::Interval);
    assert_eq!((first.lo, first.hi), (Some(120.0), Some(240.0)));
    assert_eq!(first.mode.as_deref(), Some("leaking"));
    assert_eq!(first.start_time.to_rfc3339(), "2025-01-01T00:00:00+00:00");
    let lives = Plant::of_case("beyond-readings")
        .store()
        .lives()
        .expect("lives");
    assert_eq!(lives[1].flags, [Flag::Extrapolated, Flag::NoLength]);
    assert_eq!(lives[4].flags, [Flag::NoUsage]);
    assert_eq!((lives[4].entry, lives[4].lo), (Some(0.0), None));
    let lives = Plant::of_case("unknown-age")
        .store()
        .lives()
        .expect("lives");
    assert_eq!(
        (lives[0].entry, lives[0].lo, lives[0].hi),
        (None, None, None)
    );
    assert!(lives[0].life(None).is_err());
}

#[test]
fn the_other_rows_come_back_typed() {
    let store = Plant::of_case("meter-reset").store();
    let usage = store.usage_now().expect("usage");
    assert_eq!(usage.len(), 1);
    assert_eq!((usage[0].readings, usage[0].resets), (6, 1));
    assert!((usage[0].usage.expect("usage") - 5480.0).abs() < 1e-9);
    assert!((usage[0].per_week.expect("rate") - 96.0).abs() < 1e-9);
    let stays = store.slot_history().expect("stays");
    assert_eq!(stays.len(), 2);
    assert_eq!(stays[0].reason.as_deref(), Some("failed"));
    assert_eq!(stays[1].end_time, None);
    let counts = store.entry_counts().expect("counts");
    assert_eq!(counts.iter().map(|count| count.entries).sum::<u64>(), 9);
    let head = &store.heads()[0];
    assert_eq!((head.book.as_str(), head.lines), ("books/line-1.jsonl", 9));
}

/// Usage at any moment is that of the queries at the moments they tell of, across an exchange
/// of the meter, before the first reading and after the last.
#[test]
fn usage_at_any_moment_agrees_with_the_queries() {
    let mut met = 0;
    for case in [
        "meter-reset",
        "beyond-readings",
        "inspections",
        "single-reading",
    ] {
        let store = Plant::of_case(case).store();
        let meters = store.meters().expect("meters");
        let told = store.table("usage_at").expect("usage_at");
        let column = |name: &str| at(&told.columns, name);
        let places = ["machine", "meter", "time", "usage"].map(column);
        for row in &told.rows {
            let [machine, meter, time, usage] = places.map(|n| &row[n]);
            let (Cell::Text(machine), Cell::Text(meter), Cell::Time(time)) = (machine, meter, time)
            else {
                continue; // an entry that names no machine
            };
            let got = meters.usage(machine, meter, *time);
            match usage {
                Cell::Float(usage) => {
                    met += 1;
                    let got = got.expect("usage");
                    assert!((got - usage).abs() < 1e-9, "{case}: {got} for {usage}");
                }
                _ => assert_eq!(got, None, "{case}: {machine} {meter} {time}"),
            }
        }
    }
    assert!(met > 20, "{met}");
    let meters = Plant::of_case("meter-reset")
        .store()
        .meters()
        .expect("meters");
    assert_eq!(
        meters.usage("nowhere", "hours", chrono::DateTime::UNIX_EPOCH),
        None
    );
}

/// However a job's costs are shared, the shares are the whole: parts of every renewal,
/// labour, downtime and extra cost of the job.
#[test]
fn shares_of_a_job_add_up_to_its_whole() {
    let plant = Plant::of_case("jobs");
    let store = plant.store();
    let renewals = store.renewal_costs().expect("renewals");
    assert!(renewals.iter().any(|row| row.kind == RenewalKind::Failed));
    for (job, labour, downtime, extra, parts) in [
        ("J-1", "225", "1200", "100.01", "1000"),
        ("J-2", "100", "400", "0", "720"),
        ("J-3", "75", "0", "0", "1040"),
    ] {
        let amount = |text: &str| text.parse::<Decimal>().expect("amount");
        let rows = || renewals.iter().filter(move |row| row.job == job);
        assert_eq!(
            rows().map(|r| r.labour).sum::<Decimal>(),
            amount(labour),
            "{job}"
        );
        assert_eq!(
            rows().map(|r| r.downtime).sum::<Decimal>(),
            amount(downtime),
            "{job}"
        );
        assert_eq!(
            rows().map(|r| r.extra).sum::<Decimal>(),
            amount(extra),
            "{job}"
        );
        assert_eq!(
            rows().filter_map(|r| r.parts).sum::<Decimal>(),
            amount(parts),
            "{job}"
        );
        let whole = amount(labour) + amount(downtime) + amount(extra) + amount(parts);
        assert_eq!(
            rows().filter_map(|r| r.total).sum::<Decimal>(),
            whole,
            "{job}"
        );
    }
}

/// The same, for jobs of every size and odd amounts, made from a seed.
#[test]
fn shares_add_up_whatever_the_job() {
    let mut seed = 7u64;
    let mut draw = |below: u64| {
        // Numbers that look random enough: a linear congruential generator (Knuth, MMIX).
        seed = seed
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (seed >> 33) % below
    };
    let slots = [
        "packing-set P1",
        "packing-set P2",
        "packing-set P3",
        "plunger P1",
        "plunger P2",
        "plunger P3",
    ];
    let reasons = [
        "failed",
        "worn",
        "planned",
        "opportunity",
        "damaged",
        "changed-type",
    ];
    let mut lines = String::new();
    for slot in slots {
        let (component, position) = slot.split_once(' ').expect("slot");
        lines.push_str(&format!("{{\"entry\":\"installed\",\"time\":\"2020-01-01T00:00:00Z\",\"machine\":\"H-01\",\"component\":\"{component}\",\"position\":\"{position}\"}}\n"));
    }
    let mut wholes: BTreeMap<String, Decimal> = BTreeMap::new();
    for n in 0..120 {
        let day = format!("2021-{:02}-{:02}T00:00:00Z", n % 12 + 1, n / 12 + 1);
        let job = format!("J-{n}");
        let mut whole = Decimal::ZERO;
        let count = 1 + draw(6) as usize;
        for slot in &slots[..count] {
            let (component, position) = slot.split_once(' ').expect("slot");
            let reason = reasons[draw(6) as usize];
            let found = if draw(2) == 0 {
                "running"
            } else {
                "inspection"
            };
            let pieces = 1 + draw(4) as i64;
            whole += Decimal::from(pieces * if component == "plunger" { 400 } else { 80 });
            lines.push_str(&format!("{{\"entry\":\"replaced\",\"time\":\"{day}\",\"machine\":\"H-01\",\"component\":\"{component}\",\"position\":\"{position}\",\"pieces\":{pieces},\"reason\":\"{reason}\",\"found\":\"{found}\",\"job\":\"{job}\"}}\n"));
        }
        let labour = Decimal::new(draw(2000) as i64, 2);
        let downtime = Decimal::new(draw(3000) as i64, 2);
        let extra = Decimal::new(draw(100_000) as i64, 2);
        whole += labour * Decimal::from(50) + downtime * Decimal::from(400) + extra;
        let kind = if draw(2) == 0 {
            "corrective"
        } else {
            "preventive"
        };
        lines.push_str(&format!("{{\"entry\":\"job\",\"time\":\"{day}\",\"machine\":\"H-01\",\"start\":\"{day}\",\"stop\":\"{day}\",\"kind\":\"{kind}\",\"labour_h\":{labour},\"downtime_h\":{downtime},\"cost\":{extra},\"job\":\"{job}\"}}\n"));
        wholes.insert(job, whole);
    }
    let renewals = Plant::with(&lines)
        .store()
        .renewal_costs()
        .expect("renewals");
    for (job, whole) in wholes {
        let rows = renewals.iter().filter(|row| row.job == job);
        assert_eq!(
            rows.filter_map(|row| row.total).sum::<Decimal>(),
            whole,
            "{job}"
        );
        assert!(renewals.iter().all(|row| row.labour >= Decimal::ZERO));
    }
}

/// DuckDB works in vectors of 2,048 rows: none may be lost or doubled at the seam, and
/// the last line of a book must have its name.
#[test]
fn no_row_is_lost_at_a_vectors_end() {
    for rows in [2_047usize, 2_048, 2_049] {
        let mut lines = String::from(
            "{\"entry\":\"reading\",\"time\":\"2020-01-01T00:00:00Z\",\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":0}\n",
        );
        // The opened line, the reading, and the rest: `rows` lines in all, one renewal an hour.
        let start = "2020-01-01T00:00:00Z"
            .parse::<chrono::DateTime<chrono::Utc>>()
            .expect("time");
        let count = rows - 3;
        for n in 0..count {
            let time = start + chrono::TimeDelta::hours(n as i64 + 1);
            let time = time.format("%Y-%m-%dT%H:%M:%SZ");
            let (entry, reason) = if n == 0 {
                ("installed", "")
            } else {
                ("replaced", ",\"reason\":\"planned\"")
            };
            lines.push_str(&format!("{{\"entry\":\"{entry}\",\"time\":\"{time}\",\"machine\":\"H-01\",\"component\":\"packing-set\",\"position\":\"P1\"{reason}}}\n"));
        }
        let end = start + chrono::TimeDelta::hours(count as i64 + 1);
        lines.push_str(&format!(
            "{{\"entry\":\"reading\",\"time\":\"{}\",\"machine\":\"H-01\",\"meter\":\"hours\",\"value\":{}}}\n",
            end.format("%Y-%m-%dT%H:%M:%SZ"),
            count + 1
        ));
        let plant = Plant::with(&lines);
        let store = plant.store();
        let entries = store.table("entries").expect("entries");
        assert_eq!(entries.rows.len(), rows);
        let sha = at(&entries.columns, "sha");
        for (n, row) in entries.rows.iter().enumerate() {
            assert_eq!(shown(&row[sha], &plant.names), format!("line-1#{}", n + 1));
        }
        // One hour of usage each, all alike; the last still runs.
        let lives = store.lives().expect("lives");
        assert_eq!(lives.len(), count);
        for life in &lives {
            assert_eq!(life.lo, Some(1.0));
        }
        assert_eq!(
            lives.iter().filter(|life| life.end_time.is_none()).count(),
            1
        );
    }
}
