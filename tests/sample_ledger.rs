//! The sample ledger: its truth is found again, and `simulate` makes it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use wearbook::life::{Life, LifeRow, Sample};
use wearbook::model::pooling::{Candidate, set_apart};
use wearbook::model::posterior::{Posterior, ShapePrior};
use wearbook::model::{Limits, Target};
use wearbook::simulate::{Truth, parse_truth};
use wearbook::store::{Options, Store};

fn sample(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-ledger")
        .join(file)
}

fn truth() -> Truth {
    let text = std::fs::read_to_string(sample("truth.toml")).expect("there");
    parse_truth(&text).expect("sound")
}

fn rows() -> Vec<LifeRow> {
    let store = Store::open(&[sample("")], None, &Options::default()).expect("a sound ledger");
    store.lives().expect("lives")
}

/// 90 % posterior limits of shape and scale; `None` with fewer than two failures.
fn limits(lives: Vec<Life>) -> Option<(Limits, Limits)> {
    let sample = Sample::new(lives).ok().filter(|s| s.failures() >= 2)?;
    let posterior = Posterior::new(&sample, ShapePrior::Flat).ok()?;
    let limits = |target| posterior.limits(target, 0.9);
    Some((limits(Target::Shape), limits(Target::Scale)))
}

fn holds(limits: &Limits, value: f64) -> bool {
    limits.lower.is_none_or(|low| low <= value) && limits.upper.is_none_or(|high| value <= high)
}

/// A group counts only where shape and scale both lie inside, of which about 82 % are to be
/// expected. The seed was picked out of about sixty for showing the stated oddities; among
/// those the share ran mostly from 65 to 89 %, so another seed may well fail this. What the
/// limits hold is proved in `tests/numbers/study.rs`, not here.
#[test]
fn limits_of_nine_in_ten_hold_the_truth_in_four_groups_of_five() {
    let truth = truth();
    let mut groups: BTreeMap<(String, String), Vec<Life>> = BTreeMap::new();
    for row in rows() {
        if let Ok(life) = row.life(None) {
            let key = (row.component, row.position);
            groups.entry(key).or_default().push(life);
        }
    }
    let (mut fitted, mut both, mut table) = (0, 0, String::new());
    for ((component, position), lives) in groups {
        let Some(component) = truth.components.iter().find(|c| c.id == component) else {
            panic!("{component} stands in no truth");
        };
        let Some((shape, scale)) = limits(lives) else {
            continue;
        };
        let true_scale = component.scale * component.factor_at(&position);
        let inside = holds(&shape, component.shape) && holds(&scale, true_scale);
        fitted += 1;
        both += usize::from(inside);
        table.push_str(&format!(
            "{} {position}: shape {} in {:?}..{:?}, scale {true_scale} in {:?}..{:?}: {inside}\n",
            component.id, component.shape, shape.lower, shape.upper, scale.lower, scale.upper
        ));
    }
    assert!(fitted >= 25, "only {fitted} groups\n{table}");
    assert!(both * 5 >= fitted * 4, "{both} of {fitted}\n{table}");
}

#[test]
fn the_fast_packing_is_set_apart_and_nothing_else() {
    let mut lives = Vec::new();
    let mut slots: BTreeMap<(String, String), Vec<usize>> = BTreeMap::new();
    for row in rows().into_iter().filter(|r| r.component == "packing-set") {
        if let Ok(life) = row.life(None) {
            let key = (row.machine, row.position);
            slots.entry(key).or_default().push(lives.len());
            lives.push(life);
        }
    }
    let candidates: Vec<Candidate<(String, String)>> = slots
        .into_iter()
        .map(|(key, members)| Candidate { key, members })
        .collect();
    let split = set_apart(&lives, &candidates, 0.05);
    let apart: Vec<String> = split
        .exceptions
        .iter()
        .map(|e| format!("{} {}", e.key.0, e.key.1))
        .collect();
    assert_eq!(apart, ["H-02 P2"]);
    // The truth is 1/2.2.
    let ratio = split.exceptions[0].life_ratio;
    assert!((0.3..0.65).contains(&ratio), "{ratio}");
}

#[test]
fn infant_mortality_and_the_lack_of_evidence_show() {
    let of = |component: &str| -> Vec<Life> {
        rows()
            .into_iter()
            .filter(|row| row.component == component)
            .filter_map(|row| row.life(None).ok())
            .collect()
    };
    let (shape, _) = limits(of("valve-spring")).expect("many failures");
    assert!(shape.upper.is_some_and(|high| high < 1.0), "{shape:?}");
    let plungers = of("plunger");
    assert!(plungers.len() > 20);
    assert!(plungers.iter().all(|life| !life.failed()));
}

/// Runs the program in an empty environment.
fn wearbook() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_wearbook"));
    command.env_clear();
    command
}

#[test]
fn check_finds_only_the_parts_of_unknown_age() {
    let output = wearbook()
        .arg("check")
        .arg(sample(""))
        .output()
        .expect("run");
    let told = String::from_utf8(output.stdout).expect("text");
    assert!(
        told.ends_with("0 errors, 0 warnings, 1 note in 3751 lines\n"),
        "{told}"
    );
    assert_eq!(output.status.code(), Some(0));
}

#[test]
fn simulate_makes_a_ledger_and_never_overwrites_one() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("again");
    let run = |truth: &Path, out: &Path| {
        let mut command = wearbook();
        command.arg("simulate").arg("--truth").arg(truth);
        command.arg("--register").arg(sample("plant.toml"));
        command.args(["--seed", "2028", "--entries", "300", "--out"]);
        command.arg(out);
        let output = command.output().expect("run");
        let said = String::from_utf8(output.stderr).expect("text");
        assert!(output.stdout.is_empty());
        (
            output.status.code(),
            said.replace(&*folder.path().to_string_lossy(), "FOLDER"),
        )
    };
    let truth = sample("truth.toml");
    assert_eq!(
        run(&truth, &out),
        (
            Some(0),
            "300 entries of 3 machines in FOLDER/again\n".to_owned()
        )
    );
    assert!(out.join("books/workshop.jsonl").exists());

    let before = std::fs::read(out.join("books/workshop.jsonl")).expect("made");
    let (code, said) = run(&truth, &out);
    assert_eq!(code, Some(2));
    assert_eq!(
        said,
        "error: FOLDER/again: there is something here already\n   \
         A simulated ledger is never written over or into another.\n   \
         help: name a folder that does not exist yet, or an empty one\n"
    );
    let after = std::fs::read(out.join("books/workshop.jsonl")).expect("kept");
    assert_eq!(before, after);

    let bad = folder.path().join("truth.toml");
    let text = std::fs::read_to_string(&truth).expect("there");
    std::fs::write(&bad, text.replace("shape = 2.6\n", "shape = -2.6\n")).expect("written");
    let other = folder.path().join("other");
    assert_eq!(
        run(&bad, &other),
        (
            Some(3),
            "error: FOLDER/truth.toml: [[component]] packing-set: shape = -2.6 cannot be\n   \
             help: shape has to be above 0\n"
                .to_owned()
        )
    );
    assert!(!other.exists());
    let left: Vec<_> = std::fs::read_dir(folder.path()).expect("there").collect();
    assert_eq!(left.len(), 2, "{left:?}");
}
