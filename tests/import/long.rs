//! A long file, made from a seed.

use std::fmt::Write;
use std::time::Instant;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::desk::Desk;

const MAP: &str = r#"
[file]
delimiter = ";"
decimal = ","

[times]
dates = "DD.MM.YYYY hh:mm"

[common]
time = { column = "Date" }
machine = { column = "Machine" }
who = { column = "Fitter" }
note = { column = "Remarks" }

[[entry]]
entry = "reading"
meter = "hours"
value = { column = "Meter" }

[[entry]]
entry = "replaced"
when = { column = "Work", empty = false }
component = { column = "Work", table = "work" }
position = { column = "Where", table = "where" }
reason = { column = "Cause", table = "cause" }
mode = { column = "Cause", table = "cause" }
found = { column = "Cause", table = "cause" }

[[in_place]]
age = "unknown"

[tables.work]
Pkg = "packing-set"
"V-ball" = "valve-ball"

[tables.where]
1 = "P1"
2 = "P2"
3 = "P3"
"1 S" = "P1.suction"
"2 S" = "P2.suction"
"3 S" = "P3.suction"

[tables.cause]
PM = { reason = "planned" }
leak = { reason = "failed", mode = "leaking", found = "running" }
"#;

/// Rows every few minutes on three machines in turn, two of three with a renewal.
fn csv(rows: u32) -> String {
    let mut draw = ChaCha8Rng::seed_from_u64(200_000);
    let mut text = String::from("Date;Machine;Meter;Work;Where;Cause;Fitter;Remarks\n");
    let start = chrono::NaiveDate::from_ymd_opt(2021, 7, 1).expect("day");
    for n in 0..rows {
        // None falls into the hour of a clock change, which is at night.
        let day = start.and_hms_opt(4, 0, 0).expect("time") + chrono::Days::new((n / 150).into());
        let time = day + chrono::TimeDelta::minutes(i64::from(n % 150 * 6));
        let machine = ["H-01", "H-02", "H-03"][n as usize % 3];
        let position = draw.random_range(1..=3);
        let work = match draw.random_range(0..3) {
            0 => format!("Pkg;{position};{}", ["PM", "leak"][draw.random_range(0..2)]),
            1 => format!("V-ball;{position} S;PM"),
            _ => ";;".to_owned(),
        };
        let meter = format!("{:.1}", f64::from(n / 3) * 0.3).replace('.', ",");
        let date = time.format("%d.%m.%Y %H:%M");
        let rest = "R. Tamm;checked and in order";
        writeln!(text, "{date};{machine};{meter};{work};{rest}").expect("text");
    }
    text
}

/// 4,000 rows; with WEARBOOK_ROWS as many as that says, and the time it took.
#[test]
fn a_long_file_comes_in_whole() {
    let rows = std::env::var("WEARBOOK_ROWS").ok();
    let rows: u32 = rows.map_or(4000, |rows| rows.parse().expect("a number"));
    let desk = Desk::new();
    desk.write("long.csv", csv(rows));
    desk.write("map.toml", MAP);
    let args = [
        "import",
        "long.csv",
        "--map",
        "map.toml",
        "oat-works",
        "--write",
    ];
    let began = Instant::now();
    let output = desk.run(&args);
    // No bar and nothing else where nobody looks on.
    assert!(output.stderr.is_empty(), "{output:?}");
    let code = output.status.code().expect("exit code");
    let told = String::from_utf8(output.stdout).expect("text");
    println!(
        "{rows} rows in {:.2} s\n{told}",
        began.elapsed().as_secs_f64()
    );
    assert_eq!(code, 0, "{told}");
    let all = format!("{rows} rows, {rows} good, 0 rejected");
    assert!(told.contains(&all), "{told}");
    let (code, told) = desk.told(&args);
    assert_eq!(code, 0);
    assert!(told.contains("Nothing was new"), "{told}");
}
