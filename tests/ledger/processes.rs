//! Several processes, and processes that are killed.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Stdio};
use std::time::Duration;

use wearbook::book::{Appender, Ledger, read_chain};

use crate::bench::{Bench, reading};

fn recorder(bench: &Bench, who: &str) -> Child {
    bench
        .command(&["--quiet", "record", "--from", "-", "--who", who])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("wearbook")
}

fn line(machine: &str, minute: usize, value: usize) -> String {
    let (day, hour) = (1 + minute / 1440, minute / 60 % 24);
    format!(
        "{{\"entry\":\"reading\",\"machine\":\"{machine}\",\"meter\":\"hours\",\"value\":{value},\
         \"time\":\"2025-03-{day:02}T{hour:02}:{:02}:00Z\"}}\n",
        minute % 60
    )
}

/// 250 appends each, every one with its own lock, check and sync, into one book.
#[test]
fn eight_processes_record_into_one_book_at_once() {
    let bench = Bench::new();
    let mut children = Vec::new();
    for turn in 0..8 {
        let mut child = recorder(&bench, &format!("fitter {turn}"));
        let mut stdin = child.stdin.take().expect("stdin");
        let feeder = std::thread::spawn(move || {
            for n in 0..250 {
                // The meter agrees with the clock, so any order of writing can stand.
                let minute = n * 8 + turn;
                stdin
                    .write_all(line("H-01", minute, minute).as_bytes())
                    .expect("feed");
            }
        });
        children.push((child, feeder));
    }
    let mut acknowledged = Vec::new();
    for (child, feeder) in children {
        let output = child.wait_with_output().expect("output");
        feeder.join().expect("feeder");
        assert!(output.status.success(), "{output:?}");
        let text = String::from_utf8(output.stdout).expect("text");
        acknowledged.extend(text.lines().map(|line| line[..12].to_owned()));
    }
    assert_eq!(acknowledged.len(), 2000);
    let chain = read_chain(&bench.bytes());
    assert_eq!(chain.fault, None);
    assert!(chain.torn.is_empty());
    assert_eq!(chain.lines.len(), 2001, "one opened line and 2,000 entries");
    let mut names: Vec<String> = chain.lines[1..]
        .iter()
        .map(|line| line.sha.short())
        .collect();
    names.sort();
    acknowledged.sort();
    assert_eq!(names, acknowledged);
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert!(ledger.broken().is_empty());
    // Did they work side by side? One after the other would prove nothing.
    let order: Vec<&str> = ledger
        .lines()
        .skip(1)
        .map(|placed| placed.entry.who.as_str())
        .collect();
    let turns = order.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(turns > 20, "the eight took {turns} turns");
}

/// Kills a recorder 200 times, each time a little later in its work. What it told as
/// written is there; every chain verifies; what was half-written never counts.
#[test]
fn nothing_acknowledged_is_lost_by_kill_9() {
    let bench = Bench::new();
    let mut acknowledged: Vec<String> = Vec::new();
    let mut value = 0;
    let mut killed_at_work = 0;
    for round in 0..200u64 {
        let mut child = recorder(&bench, "A. Example");
        let mut stdin = child.stdin.take().expect("stdin");
        let stdout = BufReader::new(child.stdout.take().expect("stdout"));
        let from = value;
        let feeder = std::thread::spawn(move || {
            // The pipe breaks when the recorder dies: that is the end of the round.
            for n in from..from + 400 {
                if stdin.write_all(line("H-01", n, n).as_bytes()).is_err() {
                    return;
                }
            }
        });
        let mut lines = stdout.lines();
        let wanted = 1 + round % 5;
        let mut told = 0;
        while told < wanted {
            match lines.next() {
                Some(Ok(line)) => {
                    acknowledged.push(line[..12].to_owned());
                    told += 1;
                }
                _ => break,
            }
        }
        // A different moment of the next entry each time, up to about one of them.
        std::thread::sleep(Duration::from_micros(round * 37 % 3000));
        child.kill().expect("kill");
        let status = child.wait().expect("wait");
        killed_at_work += usize::from(!status.success());
        for line in lines.map_while(Result::ok) {
            // A line of the pipe may be cut too; what is whole was told.
            if line.len() > 12 {
                acknowledged.push(line[..12].to_owned());
            }
        }
        feeder.join().expect("feeder");
        let bytes = bench.bytes();
        let chain = read_chain(&bytes);
        assert_eq!(chain.fault, None, "round {round}");
        let names: std::collections::HashSet<String> =
            chain.lines.iter().map(|line| line.sha.short()).collect();
        for name in &acknowledged {
            assert!(
                names.contains(name),
                "round {round}: {name} was told and is lost"
            );
        }
        value = chain.lines.len();
        if value > 40_000 {
            break;
        }
    }
    assert!(
        killed_at_work > 190,
        "only {killed_at_work} were killed at work"
    );
    let ledger = Ledger::read(bench.folder()).expect("read");
    assert!(ledger.broken().is_empty());
    let mut appender = Appender::open(bench.folder(), "main").expect("open");
    let far = reading(24 * 365, 1_000_000);
    appender.append(&far, crate::bench::now()).expect("go on");
}

/// The same write that a full disk cuts short, on a disk that really is full.
#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_leaves_the_book_as_it_was() {
    let bench = Bench::new();
    let books = bench.folder().join("books");
    std::fs::create_dir(&books).expect("books");
    let mount = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=8k", "tmpfs"])
        .arg(&books)
        .output();
    if !mount.is_ok_and(|output| output.status.success()) {
        // Without the right to mount, `tests/errors/full-disk` stands alone.
        eprintln!("no right to mount a small disk: not tried");
        return;
    }
    let unmount = || {
        let _ = std::process::Command::new("umount").arg(&books).output();
    };
    let outcome = std::panic::catch_unwind(|| {
        let mut appender = Appender::open(bench.folder(), "main").expect("open");
        for n in 0..100 {
            let before = bench.bytes();
            let appended = appender.append(&reading(n, n as i32), crate::bench::now());
            if let Err(error) = appended {
                assert!(n > 10, "full too soon");
                assert!(error.is_io(), "{error}");
                assert_eq!(bench.bytes(), before);
                assert_eq!(read_chain(&before).fault, None);
                return;
            }
        }
        panic!("8 kB never became full");
    });
    unmount();
    outcome.expect("as it was");
}
