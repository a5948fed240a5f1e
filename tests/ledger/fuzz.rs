//! The bodies of the fuzz targets over their corpora, mutated with a seed: a bounded run of what
//! `cargo fuzz` does without bounds (DEVELOPERS.md, "Fuzzing").

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::fuzz_bodies::{TARGETS, Target};

/// Runs a target, unless told otherwise: `WEARBOOK_FUZZ=1000000` for a longer evening.
fn runs() -> u64 {
    let asked = std::env::var("WEARBOOK_FUZZ").ok();
    let asked = asked.map(|runs| runs.parse().expect("WEARBOOK_FUZZ is a number"));
    // Unoptimised code would take a minute for the full number.
    asked.unwrap_or(if cfg!(debug_assertions) {
        2_000
    } else {
        20_000
    })
}

/// Longest input.
const MOST: usize = 8_192;

/// Pieces that mean something to one reader or another.
const PIECES: [&str; 48] = [
    "\"",
    "\\",
    "\\u0000",
    "\\ud800",
    "\\u",
    "{",
    "}",
    "[",
    "]",
    "[[",
    "]]",
    ":",
    ",",
    ",,",
    "\n",
    "\r",
    "\r\n",
    "\t",
    " ",
    "\u{feff}",
    "é",
    "\u{202e}",
    "\u{0}",
    "null",
    "true",
    "-",
    "+",
    ".",
    "e",
    "E+",
    "1e308",
    "1e999",
    "-0",
    "0.1",
    "00",
    "9223372036854775807",
    "NaN",
    "inf",
    "=",
    "'",
    "\"\"\"",
    "#",
    "2025-03-30T01:30:00Z",
    "9999-12-31T23:59:59Z",
    "+14:00",
    "\"prev\":\"0000000000000000000000000000000000000000000000000000000000000000\"",
    "\"entry\":\"reading\"",
    "lo,hi",
];

fn mutate(rng: &mut impl Rng, corpus: &[Vec<u8>]) -> Vec<u8> {
    let pick = |rng: &mut _| -> &Vec<u8> {
        let at = RngExt::random_range(rng, 0..corpus.len());
        &corpus[at]
    };
    let mut bytes = pick(rng).clone();
    for _ in 0..rng.random_range(1..=6) {
        let at = rng.random_range(0..=bytes.len());
        let to = (at + rng.random_range(0..=24)).min(bytes.len());
        match rng.random_range(0..9) {
            0 if at < bytes.len() => bytes[at] ^= 1 << rng.random_range(0..8),
            1 if at < bytes.len() => bytes[at] = rng.random(),
            2 => bytes.insert(at, rng.random()),
            3 => drop(bytes.drain(at..to)),
            4 => {
                let piece = PIECES[rng.random_range(0..PIECES.len())];
                bytes.splice(at..at, piece.bytes());
            }
            5 => {
                let piece = PIECES[rng.random_range(0..PIECES.len())];
                bytes.splice(at..to, piece.bytes());
            }
            6 => {
                let copy = bytes[at..to].to_vec();
                let times = rng.random_range(1..=4);
                bytes.splice(at..at, copy.repeat(times));
            }
            7 => {
                let other = pick(rng);
                let from = rng.random_range(0..=other.len());
                let end = (from + rng.random_range(0..=200)).min(other.len());
                bytes.splice(at..to, other[from..end].iter().copied());
            }
            8 if rng.random_range(0..8) == 0 => bytes.truncate(at),
            _ => {
                // Two lines change places, or one stands twice.
                let mut lines: Vec<&[u8]> = bytes.split_inclusive(|b| *b == b'\n').collect();
                if lines.len() > 1 {
                    let (a, b) = (
                        rng.random_range(0..lines.len()),
                        rng.random_range(0..lines.len()),
                    );
                    lines.swap(a, b);
                    if rng.random() {
                        lines.push(lines[a]);
                    }
                    bytes = lines.concat();
                }
            }
        }
    }
    bytes.truncate(MOST);
    bytes
}

fn corpus(target: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(target);
    let mut files: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|item| item.expect("item").path())
        .collect();
    files.sort();
    files
        .into_iter()
        .map(|file| fs::read(file).expect("corpus"))
        .collect()
}

fn try_out((name, body): Target, seed: u64) {
    let corpus = corpus(name);
    assert!(corpus.len() >= 3, "{name} has no corpus to speak of");
    for input in &corpus {
        body(input);
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    // Each of these goes over a file and unpacks it.
    let share = if name == "workbook" { 4 } else { 1 };
    for run in 0..runs() / share {
        let input = mutate(&mut rng, &corpus);
        if catch_unwind(AssertUnwindSafe(|| body(&input))).is_err() {
            panic!(
                "{name}, seed {seed}, run {run}: broken by {:?}",
                String::from_utf8_lossy(&input)
            );
        }
    }
}

macro_rules! smoke {
    ($($test:ident: $n:literal),+ $(,)?) => {$(
        #[test]
        fn $test() {
            assert_eq!(concat!(stringify!($test)), TARGETS[$n].0);
            try_out(TARGETS[$n], 20_260 + $n);
        }
    )+};
}

smoke! { book_line: 0, chain: 1, register: 2, lives_csv: 3, events_csv: 4, seals: 5, import: 6, workbook: 7, work_sheet: 8 }

/// Every target has its file, and its place in the fuzz crate.
#[test]
fn every_body_is_a_target() {
    let fuzz = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let manifest = fs::read_to_string(fuzz.join("Cargo.toml")).expect("manifest");
    for (name, _) in TARGETS {
        let target = fs::read_to_string(fuzz.join(format!("fuzz_targets/{name}.rs")));
        assert!(
            target
                .expect(name)
                .contains(&format!("fuzz_bodies::{name}("))
        );
        assert!(manifest.contains(&format!("name = \"{name}\"")), "{name}");
    }
}
